"""A record: its fields, their limits, and what its fields must be together; limits as published."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from calib.errors import InputError
from calib.register.records import KnownUnit, Unit, UnknownUnit, columns, fields, record_id

SUPPLY = ["rectifier", "filter"]
LINE = ["line_voltage_v", "line_frequency_hz", "centre_tapped"]
VOLTAGES = ["excitation_v", "hv_v", "no_load_v"]
RESISTANCE = ["hv_resistance_ohm", "winding_temp_c"]
OPTIONAL = [
    *["tongue_mm", "stack_mm", "core_area_cm2", "conductor", "awg", "wire_diameter_mm", "u_voltage_pct"],
    *["u_resistance_pct", "primary_resistance_ohm", "u_primary_pct", "weight_kg", "hv_half_1_ohm", "hv_half_2_ohm"],
    *["lamination", "window_width_mm", "window_height_mm"],
    *["rating_basis", "guide_factor", "maker", "made_year", "transformer", "stop", "stop_cleared", "doubts"],
    *["kept", "recorded_on", "notes", "simulated"],
]
RATING = ["unit", "contributor", "evidence", *SUPPLY, "rated_current_ma"]
KNOWN = [*RATING, *LINE, *VOLTAGES, *RESISTANCE, *OPTIONAL]
NEEDED = [*RATING, *LINE, *RESISTANCE]
# column, low, high, the refused values next to them; "above 0" excludes the low itself
LIMITS = [
    *[(name, "0.001", "1000000", "0.00099", "1000001") for name in ("hv_resistance_ohm", "primary_resistance_ohm")],
    *[(name, "1e-9", "1e4", "0", "10000.1") for name in ("line_voltage_v", "excitation_v", "hv_v", "no_load_v")],
    ("rated_current_ma", "0.1", "1e5", "0.09", "100001"),
    ("line_frequency_hz", "10", "1000", "9.9", "1001"),
    ("winding_temp_c", "-40", "200", "-41", "201"),
    ("tongue_mm", "3", "500", "2.9", "501"),
    ("stack_mm", "3", "500", "2.9", "501"),
    ("window_width_mm", "3", "500", "2.9", "501"),
    ("window_height_mm", "3", "500", "2.9", "501"),
    ("awg", "0", "50", "-1", "51"),
]


def faults(kind: type[Unit], values: dict[str, object]) -> list[tuple[str, str]]:
    with pytest.raises(InputError) as caught:
        kind.parse(values, "bench.csv", 7)
    assert all((fault.where, fault.row) == ("bench.csv", 7) for fault in caught.value.faults)
    return [(fault.column, fault.value) for fault in caught.value.faults]


def told(kind: type[Unit], values: dict[str, object]) -> str:
    with pytest.raises(InputError) as caught:
        kind.parse(values)
    return str(caught.value)


def test_the_columns_of_known_units_stand_in_their_order() -> None:
    assert list(columns(KnownUnit)) == KNOWN


def test_the_columns_of_unknown_units_leave_out_the_rating_and_add_the_demand() -> None:
    left_out = {"evidence", "rated_current_ma", "rating_basis", "guide_factor", "kept"}
    assert list(columns(UnknownUnit)) == [
        "unit",
        "contributor",
        *(name for name in KNOWN[3:] if name not in left_out),
        "demand_ma",
    ]


def test_what_is_needed_is_needed_and_nothing_else() -> None:
    assert [facts.name for facts in fields(KnownUnit) if facts.needed] == NEEDED
    assert [facts.name for facts in fields(UnknownUnit) if facts.needed] == ["unit", "rectifier", "filter"]


def test_every_field_says_what_it_is_for_a_form() -> None:
    for kind in (KnownUnit, UnknownUnit):
        for facts in fields(kind):
            assert facts.label[0].isupper(), facts
            assert facts.help.endswith("."), facts
            assert (facts.kind == "number") == bool(facts.limits), facts
            assert not facts.unit or facts.kind == "number", facts
            assert (facts.kind in ("choice", "flag")) == bool(facts.choices), facts


def test_a_sound_row_becomes_a_record(typed: dict[str, str]) -> None:
    record = KnownUnit.parse({**typed, "centre_tapped": "TRUE", "recorded_on": "2024-03-09", "unit": " AL-7 "})
    assert (record.unit, record.rated_current_ma, record.centre_tapped) == ("AL-7", 90.0, True)
    assert str(record.recorded_on) == "2024-03-09"
    assert record.no_load_v is None
    assert list(record.values()) == KNOWN


@pytest.mark.parametrize(("column", "low", "high", "below", "above"), LIMITS)
def test_limits_are_allowed_and_what_lies_beyond_is_refused(
    typed: dict[str, str], column: str, low: str, high: str, below: str, above: str
) -> None:
    pairs = (("tongue_mm", "stack_mm"), ("window_width_mm", "window_height_mm"))
    partner = {other: "30" for pair in pairs if column in pair for other in pair if other != column}
    for value in (low, high):
        assert getattr(KnownUnit.parse({**typed, **partner, column: value}), column) == float(value)
    for value in (below, above):
        row = {**typed, **partner, column: value}
        assert faults(KnownUnit, row) == [(column, value)]
        limits = next(facts.limits for facts in fields(KnownUnit) if facts.name == column)
        assert f"outside the limits, {limits}" in told(KnownUnit, row)


@pytest.mark.parametrize(
    ("column", "value", "asked"),
    [
        ("stack_mm", "4000", "did you mean 40 mm (the decimal point slipped by 2 places)? If not, check the reading"),
        ("winding_temp_c", "-273.16", "check the reading and its unit"),
        ("hv_resistance_ohm", "3100000", "did you mean 3100 ohm (typed in milliohms)"),
        ("line_voltage_v", "-117", "did you mean 117 V (a stray minus sign)"),
    ],
)
def test_a_refusal_asks_what_was_probably_meant(typed: dict[str, str], column: str, value: str, asked: str) -> None:
    said = told(KnownUnit, {**typed, "tongue_mm": "30", "stack_mm": "30", column: value})
    assert f"{column} '{value}': is outside the limits" in said
    assert f"; {asked}" in said


def test_the_demand_has_the_limits_of_a_current(typed_unknown: dict[str, str]) -> None:
    assert UnknownUnit.parse({**typed_unknown, "demand_ma": "60"}).demand_ma == 60.0
    assert faults(UnknownUnit, {**typed_unknown, "demand_ma": "0"}) == [("demand_ma", "0")]


@pytest.mark.parametrize(
    "word", ["nan", "NaN", "NA", "N/A", "null", "inf", "-inf", "Infinity", "-", "1,5", "1_0", "0x10", "9 V"]
)
def test_a_number_cell_holds_a_number_or_nothing(typed: dict[str, str], word: str) -> None:
    for column in ("rated_current_ma", "no_load_v"):
        assert faults(KnownUnit, {**typed, column: word}) == [(column, word)]


def test_a_number_too_large_for_the_machine_is_refused(typed: dict[str, str]) -> None:
    assert faults(KnownUnit, {**typed, "rated_current_ma": "1e999"}) == [("rated_current_ma", "1e999")]


@pytest.mark.parametrize("word", ["nan", "NaN", "NA", "null", "NULL"])
def test_a_word_for_missing_is_a_fault_in_text_too(typed: dict[str, str], word: str) -> None:
    for column in ("unit", "contributor", "notes"):
        assert "stands for a missing value" in told(KnownUnit, {**typed, column: word})


@pytest.mark.parametrize("blank", ["", "  ", None, float("nan")])
def test_blank_is_not_measured_and_not_zero(typed: dict[str, object], blank: object) -> None:
    record = KnownUnit.parse({**typed, "no_load_v": blank, "notes": blank, "conductor": blank})
    assert (record.no_load_v, record.notes, record.conductor) == (None, "", None)
    assert faults(KnownUnit, {**typed, "unit": blank})[0][0] == "unit"


@pytest.mark.parametrize("word", ["yes", "1", "t", "wahr", "tru"])
def test_a_flag_is_true_or_false(typed: dict[str, str], word: str) -> None:
    assert faults(KnownUnit, {**typed, "centre_tapped": word}) == [("centre_tapped", word)]


@pytest.mark.parametrize(("word", "flag"), [("True", True), ("TRUE", True), ("fAlse", False), ("FALSE", False)])
def test_a_flag_is_read_in_any_case(typed: dict[str, str], word: str, flag: bool) -> None:
    assert KnownUnit.parse({**typed, "rectifier": "bridge", "centre_tapped": word}).centre_tapped is flag


@pytest.mark.parametrize(
    ("column", "word"),
    [("evidence", "hearsay"), ("rectifier", "Bridge"), ("filter", "coil"), ("conductor", "tin")],
)
def test_a_choice_is_one_of_the_choices_and_the_remedy_names_them(
    typed: dict[str, str], column: str, word: str
) -> None:
    choices = next(facts.choices for facts in fields(KnownUnit) if facts.name == column)
    message = told(KnownUnit, {**typed, column: word})
    assert f"{column} '{word}': is not one of the choices; write one of: {', '.join(choices)}" in message


@pytest.mark.parametrize(
    "day", ["2024-02-30", "9 March 2024", "20240309", "1709942400", "2024-3-9", "2024-03-09T10:00"]
)
def test_a_day_is_an_iso_date(typed: dict[str, str], day: str) -> None:
    assert faults(KnownUnit, {**typed, "recorded_on": day}) == [("recorded_on", day)]


@pytest.mark.parametrize("text", ["a\x00b", "bell\x07", "half \ud800"])
def test_text_that_cannot_be_printed_is_refused(typed: dict[str, str], text: str) -> None:
    mark = next(mark for mark in text if not mark.isprintable())
    assert f"has the character U+{ord(mark):04X}" in told(KnownUnit, {**typed, "notes": text})


NAMED = ("unit", "contributor", "maker", "transformer")


@pytest.mark.parametrize("name", NAMED)
def test_a_name_shows_all_that_it_holds_and_has_an_end(typed: dict[str, str], name: str) -> None:
    override = told(KnownUnit, {**typed, name: "AL\u202e7"})
    assert override.startswith(f"{name} 'AL\\u202e7': has the character U+202E (right-to-left override)")
    assert "U+200B (zero width space)" in told(KnownUnit, {**typed, name: "A\u200bL"})
    assert "has 201 characters, and a name has at most 200" in told(KnownUnit, {**typed, name: "x" * 201})
    longest = "ä" + "\u200d" + "x" * 198
    assert getattr(KnownUnit.parse({**typed, name: longest}), name) == longest


def test_a_tag_is_one_line_and_notes_may_be_more(typed: dict[str, str]) -> None:
    assert KnownUnit.parse({**typed, "notes": "first\r\nsecond"}).notes == "first\nsecond"
    assert "more than one line" in told(KnownUnit, {**typed, "unit": "A\nB"})


def test_a_ratio_test_or_the_no_load_voltage_is_needed(typed: dict[str, str]) -> None:
    without = {name: value for name, value in typed.items() if name not in ("excitation_v", "hv_v")}
    assert KnownUnit.parse({**without, "no_load_v": "653.5"}).no_load_v == 653.5
    assert faults(KnownUnit, without) == [("no_load_v", "")]
    assert faults(KnownUnit, {**without, "excitation_v": "5"}) == [("hv_v", "")]
    assert faults(KnownUnit, {**without, "hv_v": "27"}) == [("excitation_v", "")]


@pytest.mark.parametrize(
    ("changed", "column"),
    [
        ({"rectifier": "none", "filter": "capacitor"}, "filter"),
        ({"rectifier": "none", "filter": "choke"}, "filter"),
        ({"rectifier": "full-wave", "centre_tapped": "FALSE"}, "centre_tapped"),
        ({"rectifier": "doubler", "filter": "choke"}, "filter"),
        ({"rectifier": "doubler", "filter": "none"}, "filter"),
        ({"tongue_mm": "28"}, "stack_mm"),
        ({"stack_mm": "28"}, "tongue_mm"),
        ({"window_width_mm": "12.5"}, "window_height_mm"),
        ({"window_height_mm": "45"}, "window_width_mm"),
    ],
)
def test_fields_that_do_not_go_together(typed: dict[str, str], changed: dict[str, str], column: str) -> None:
    row = {**typed, **changed}
    assert faults(KnownUnit, row) == [(column, row.get(column, ""))]


@pytest.mark.parametrize(
    "changed",
    [
        {"rectifier": "none", "filter": "none", "centre_tapped": "false"},
        {"rectifier": "doubler", "filter": "capacitor", "centre_tapped": "false"},
        {"rectifier": "bridge", "filter": "none"},
        {"no_load_v": "900"},
        {"tongue_mm": "28", "stack_mm": "33", "core_area_cm2": "9.24"},
        {"core_area_cm2": "9.24"},
        {"lamination": "m", "window_width_mm": "12.5", "window_height_mm": "45"},
        {"lamination": "strip-wound", "core_area_cm2": "9.24"},
        {"awg": "33", "wire_diameter_mm": "0.18"},
    ],
)
def test_fields_that_go_together(typed: dict[str, str], changed: dict[str, str]) -> None:
    KnownUnit.parse({**typed, **changed})


def test_an_ac_rating_may_be_sought_of_an_unknown(typed_unknown: dict[str, str]) -> None:
    unknown = UnknownUnit.parse({**typed_unknown, "rectifier": "none", "filter": "none"})
    assert (unknown.rectifier, unknown.filter, unknown.contributor) == ("none", "none", "")
    assert UnknownUnit.parse({**typed_unknown, "contributor": "Tin Street"}).contributor == "Tin Street"
    assert faults(UnknownUnit, {**typed_unknown, "evidence": "nameplate"}) == [("evidence", "nameplate")]


def test_every_fault_of_a_row_is_told_at_once_in_the_order_of_the_columns(typed: dict[str, str]) -> None:
    row = {
        **typed,
        "unit": "",
        "evidence": "hearsay",
        "filter": "none",
        "rectifier": "doubler",
        "rated_current_ma": "nan",
        "excitation_v": "",
        "tongue_mm": "1",
        "recorded_on": "yesterday",
        "shelf": "3",
    }
    assert faults(KnownUnit, row) == [
        ("unit", ""),
        ("evidence", "hearsay"),
        ("filter", "none"),
        ("rated_current_ma", "nan"),
        ("excitation_v", ""),
        ("tongue_mm", "1"),
        ("stack_mm", ""),
        ("recorded_on", "yesterday"),
        ("shelf", "3"),
    ]


def test_a_fault_in_a_field_does_not_breed_others(typed: dict[str, str]) -> None:
    assert faults(KnownUnit, {**typed, "excitation_v": "five"}) == [("excitation_v", "five")]
    assert faults(KnownUnit, {**typed, "centre_tapped": "yes"}) == [("centre_tapped", "yes")]
    assert faults(KnownUnit, {**typed, "rectifier": "doubble"}) == [("rectifier", "doubble")]


def test_a_record_made_in_python_obeys_the_same_rules(typed: dict[str, str]) -> None:
    record = KnownUnit.parse(typed)
    with pytest.raises(ValidationError, match="stack_mm is needed beside tongue_mm"):
        KnownUnit(**{**record.values(), "tongue_mm": 28.0})
    with pytest.raises(ValidationError, match="frozen"):
        record.unit = "AL-8"  # type: ignore[misc]


def test_contributor_and_unit_identify_a_record(typed: dict[str, str]) -> None:
    record = KnownUnit.parse(typed)
    assert record.record_id == KnownUnit.parse({**typed, "rated_current_ma": "95"}).record_id
    assert len({record_id("Alder", "Lane 7"), record_id("Alder Lane", "7"), record_id("AlderLane", "7")}) == 3
    accents = [
        KnownUnit.parse({**typed, "contributor": name}).record_id for name in ("Z\u00fcrcher Hof", "Zu\u0308rcher Hof")
    ]
    assert accents[0] == accents[1]


@pytest.mark.parametrize(
    ("changed", "codes"),
    [
        ({"unit": ""}, {"unit": "missing"}),
        ({"rated_current_ma": "0"}, {"rated_current_ma": "limits"}),
        ({"rated_current_ma": "90 mA"}, {"rated_current_ma": "not-a-number"}),
        ({"filter": "coil"}, {"filter": "choice"}),
        ({"centre_tapped": "yes"}, {"centre_tapped": "choice"}),
        ({"notes": "nan"}, {"notes": "text"}),
        ({"recorded_on": "yesterday"}, {"recorded_on": "date"}),
        ({"rectifier": "none"}, {"filter": "conflict"}),
        ({"tongue_mm": "28"}, {"stack_mm": "missing"}),
        ({"shelf": "3"}, {"shelf": "column"}),
        ({"stop": "burnt"}, {"stop": "stopped"}),
    ],
)
def test_each_fault_carries_a_code_that_a_program_can_read(
    typed: dict[str, str], changed: dict[str, str], codes: dict[str, str]
) -> None:
    with pytest.raises(InputError) as caught:
        KnownUnit.parse({**typed, **changed})
    assert {fault.column: fault.code for fault in caught.value.faults} == codes


HALVES = {"hv_half_1_ohm": "148.2", "hv_half_2_ohm": "161.8"}


def test_the_sum_of_the_halves_is_the_whole_where_that_is_blank(typed: dict[str, str]) -> None:
    record = KnownUnit.parse({**typed, "hv_resistance_ohm": "", **HALVES})
    assert (record.hv_resistance_ohm, record.hv_half_1_ohm, record.doubts) == (310.0, 148.2, "")
    assert KnownUnit.parse({**typed, "hv_resistance_ohm": "311", **HALVES}).hv_resistance_ohm == 311.0
    assert KnownUnit.parse(record.values()) == record
    low = {"hv_half_1_ohm": "0.0001", "hv_half_2_ohm": "155"}
    assert faults(KnownUnit, {**typed, "hv_resistance_ohm": "", **low}) == [("hv_half_1_ohm", "0.0001")]
    assert faults(KnownUnit, {**typed, "hv_resistance_ohm": "", "hv_half_2_ohm": "155"}) == [("hv_half_1_ohm", "")]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"hv_resistance_ohm": "148", **HALVES}, "half the winding was read for the whole"),
        ({"hv_resistance_ohm": "165", **HALVES}, "half the winding was read for the whole"),
        ({"hv_resistance_ohm": "156", **HALVES}, ""),
        ({"hv_half_1_ohm": "124", "hv_half_2_ohm": "156"}, "more than 25 % apart"),
        ({"hv_half_1_ohm": "124", "hv_half_2_ohm": "154"}, ""),
    ],
)
def test_halves_that_do_not_fit_are_a_doubt_told_once(
    typed: dict[str, str], changed: dict[str, str], said: str
) -> None:
    record = KnownUnit.parse({**typed, **changed, "doubts": "smelt of wax"})
    told_of = record.doubts.split(" | ")
    assert told_of[0] == "smelt of wax"
    assert len(told_of) == (2 if said else 1)
    assert said in told_of[-1]
    assert KnownUnit.parse(record.values()) == record


@pytest.mark.parametrize(
    ("changed", "column"),
    [
        ({"hv_half_1_ohm": "155"}, "hv_half_2_ohm"),
        ({**HALVES, "rectifier": "bridge", "centre_tapped": "false"}, "hv_half_1_ohm"),
        ({"rating_basis": "ac"}, "rating_basis"),
        ({"rating_basis": "dc", "rectifier": "none", "filter": "none"}, "rating_basis"),
        ({"rating_basis": "guide", "guide_factor": "1", "rectifier": "none", "filter": "none"}, "rating_basis"),
        ({"rating_basis": "guide"}, "guide_factor"),
        ({"guide_factor": "0.62"}, "guide_factor"),
        ({"rating_basis": "dc", "guide_factor": "0.62"}, "guide_factor"),
        ({"made_year": "1938.5"}, "made_year"),
        ({"made_year": "1879"}, "made_year"),
        ({"made_year": "3000"}, "made_year"),
    ],
)
def test_what_the_maker_says_hangs_together(typed: dict[str, str], changed: dict[str, str], column: str) -> None:
    row = {**typed, **changed}
    assert faults(KnownUnit, row) == [(column, row.get(column, ""))]


@pytest.mark.parametrize(
    "changed",
    [
        {"rating_basis": "ac", "rectifier": "none", "filter": "none"},
        {"rating_basis": "guide", "guide_factor": "0.62"},
        {"maker": "Tin Street Works", "made_year": "1938", "transformer": "T1", "u_primary_pct": "0.4"},
    ],
)
def test_what_the_maker_says_is_kept(typed: dict[str, str], changed: dict[str, str]) -> None:
    record = KnownUnit.parse({**typed, **changed})
    assert {name: str(value) for name, value in record.values().items() if name in changed} == changed


def test_an_unknown_unit_has_no_basis_of_a_rating(typed_unknown: dict[str, str]) -> None:
    assert UnknownUnit.parse({**typed_unknown, **HALVES, "maker": "Tin Street Works"}).maker == "Tin Street Works"
    for name in ("rating_basis", "guide_factor"):
        assert faults(UnknownUnit, {**typed_unknown, name: "1"}) == [(name, "1")]


def test_a_doubt_of_the_halves_goes_when_they_are_read_anew_and_others_stay(typed: dict[str, str]) -> None:
    halves = {"hv_half_1_ohm": 60.0, "hv_half_2_ohm": 130.0, "doubts": "it hums"}
    record = KnownUnit.parse({**typed, **halves})
    assert "apart" in record.doubts
    assert KnownUnit.parse(record.entered()) == record
    assert KnownUnit.parse({**record.entered(), "hv_half_1_ohm": 92.0, "hv_half_2_ohm": 96.0}).doubts == "it hums"


WIRED = {"unit": "AL-7", "rectifier": "full-wave", "filter": "capacitor", "awg": "34"}


@pytest.mark.parametrize(
    ("rectifier", "tapped"), [("full-wave", True), ("bridge", False)], ids=["two-diodes", "four-diodes"]
)
def test_of_an_unknown_unit_its_wire_is_enough(rectifier: str, tapped: bool) -> None:
    unit = UnknownUnit.parse({**WIRED, "rectifier": rectifier})
    assert (unit.line_voltage_v, unit.line_frequency_hz, unit.hv_resistance_ohm, unit.winding_temp_c) == (None,) * 4
    assert unit.centre_tapped is tapped
    assert UnknownUnit.parse(unit.values()) == unit
    assert UnknownUnit.parse({**WIRED, "awg": "", "wire_diameter_mm": "0.16"}).wire_diameter_mm == 0.16


@pytest.mark.parametrize(
    ("changed", "columns"),
    [
        ({"awg": ""}, ["hv_resistance_ohm"]),
        ({"hv_resistance_ohm": "310", "no_load_v": "", "awg": ""}, ["no_load_v"]),
        ({"hv_resistance_ohm": "310", "winding_temp_c": ""}, ["winding_temp_c"]),
        ({"hv_resistance_ohm": "310", "line_frequency_hz": ""}, ["line_frequency_hz"]),
        ({"no_load_v": "", "excitation_v": "5", "hv_v": "28", "line_voltage_v": ""}, ["line_voltage_v"]),
        ({"no_load_v": "", "excitation_v": "5"}, ["hv_v"]),
        ({"line_voltage_v": "", "line_frequency_hz": "", "winding_temp_c": "", "centre_tapped": ""}, []),
    ],
    ids=["volts alone", "ohms alone", "ohms, no °C", "no Hz", "ratio, no line", "half a ratio", "wire and volts"],
)
def test_volts_or_resistance_alone_are_one_clear_fault(changed: dict[str, str], columns: list[str]) -> None:
    line = {"line_voltage_v": "117", "line_frequency_hz": "60", "centre_tapped": "true", "winding_temp_c": "20"}
    row = {**WIRED, **line, "no_load_v": "600", **changed}
    if not columns:
        assert UnknownUnit.parse(row).no_load_v == 600.0
        return
    with pytest.raises(InputError) as caught:
        UnknownUnit.parse(row)
    assert [(one.column, one.code) for one in caught.value.faults] == [(name, "missing") for name in columns]
    alone = not row["awg"]
    assert ("awg or wire_diameter_mm, which is enough by itself" in caught.value.faults[0].remedy) is alone


def test_a_known_unit_needs_more_than_its_wire(typed: dict[str, str]) -> None:
    row = {**typed, "awg": "34", "hv_resistance_ohm": "", "line_voltage_v": ""}
    assert faults(KnownUnit, row) == [("line_voltage_v", ""), ("hv_resistance_ohm", "")]
