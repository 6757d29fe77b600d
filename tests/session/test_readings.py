"""What the home form's entries amount to: halves, inches and gauges converted, what is missing, what is wrong."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

import calib
from calib.app.context import account
from calib.session import fields as measured, meters as metering, readings as r
from calib.session.meters import STATED
from tests.counts import share

# The bench example: one half read 13.88 V with 4.97 V on a 117 V primary, 94.3 ohm.
ENTRIES: dict[str, Any] = {
    "voltage_by": r.RATIO_TEST,
    "excitation_v": 4.97,
    "volts_read": 13.88,
    "volts_across": r.HALF,
    "ohms_read": 94.3,
    "ohms_across": r.HALF,
    "winding_temp_c": 20.0,
    "line_voltage_v": 117.0,
    "line_frequency_hz": 60.0,
    "rectifier": "full-wave",
    "filter": "capacitor",
    "core_by": r.LIMBS,
}


def unit_of(**changes: Any) -> dict[str, Any]:
    understood = r.understand(ENTRIES | changes)
    assert understood.unit is not None, understood
    row: dict[str, Any] = understood.unit.iloc[0].to_dict()
    return row


def test_a_half_counts_twice_and_says_so() -> None:
    """27.76 V over the whole winding is 653.505 V at 117 V."""
    understood = r.understand(ENTRIES)
    assert understood.unit is not None
    assert understood.unit.iloc[0]["hv_v"] == pytest.approx(27.76)
    assert understood.unit.iloc[0]["hv_resistance_ohm"] == pytest.approx(188.6)
    assert understood.aloud["volts_read"] == "One half read 13.88 V, so the whole winding counts as 27.76 V."
    assert understood.aloud["ohms_read"].startswith("One half read 94.3 Ω, so the whole winding counts as 188.6 Ω.")


def test_a_doubled_resistance_is_less_sure_than_one_read_end_to_end() -> None:
    """The meter's 0.8 % and the halves' 4 % in quadrature (Guide to the expression of uncertainty, 5.1.2): 4.079 %."""
    assert unit_of()["u_resistance_pct"] == pytest.approx(4.0792, abs=1e-4)
    assert unit_of(ohmmeter=STATED, u_resistance_pct=3.0)["u_resistance_pct"] == pytest.approx(5.0)
    whole = unit_of(ohms_across=r.WHOLE)
    assert whole["u_resistance_pct"] != whole["u_resistance_pct"]


def test_halves_read_singly_are_their_sum_where_the_whole_is_empty_each_less_the_null() -> None:
    both = {"hv_half_1_ohm": 92.3, "hv_half_2_ohm": "96,9", "ohm_leads": "null-on", "null_ohm": 0.3}
    alone = r.understand(ENTRIES | both | {"ohms_read": None, "rectifier": "bridge"})
    assert alone.record is not None, alone
    assert alone.record.centre_tapped
    assert (alone.record.hv_half_1_ohm, alone.record.hv_half_2_ohm) == pytest.approx((92.0, 96.6))
    assert alone.record.hv_resistance_ohm == pytest.approx(188.6)
    assert alone.aloud["hv_half_2_ohm"].endswith("The halves add up to 188.6 Ω for the whole winding.")
    assert alone.metered.u_pct > 0.5
    half = r.understand(ENTRIES | both | {"hv_half_2_ohm": None})
    assert set(half.missing) == {"hv_half_2_ohm"}


def test_a_half_read_for_the_whole_is_doubted_where_the_halves_are_there() -> None:
    slip = unit_of(ohms_read=92.0, ohms_across=r.WHOLE, hv_half_1_ohm=92.0, hv_half_2_ohm=96.6)
    assert "half the winding was read for the whole" in slip["doubts"]
    assert unit_of(ohms_read=188.6, ohms_across=r.WHOLE, hv_half_1_ohm=92.0, hv_half_2_ohm=96.6)["doubts"] == ""


def test_a_whole_winding_is_taken_as_read_and_not_said_aloud() -> None:
    understood = r.understand(ENTRIES | {"volts_across": r.WHOLE, "ohms_across": r.WHOLE})
    assert understood.unit is not None
    assert understood.unit.iloc[0]["hv_v"] == 13.88
    assert understood.aloud == {}


def test_a_no_load_voltage_stands_instead_of_the_ratio_test() -> None:
    unit = unit_of(voltage_by=r.NO_LOAD, no_load_read=326.7525)
    assert unit["no_load_v"] == pytest.approx(653.505)
    assert unit["hv_v"] != unit["hv_v"]


def test_inches_become_millimetres_once() -> None:
    """A tongue of 1-1/4 inch with a square stack has 10.08 cm² (McLyman's table of laminations)."""
    sides = {"tongue": 1.25, "tongue_unit": "in", "stack": 31.75, "stack_unit": "mm"}
    unit = unit_of(**sides)
    assert (unit["tongue_mm"], unit["stack_mm"]) == (31.75, 31.75)
    aloud = r.understand(ENTRIES | sides).aloud
    assert (aloud["tongue"], aloud["stack"]) == ("1.25 in (1 1/4) is 31.75 mm.", "10.1 cm² of core.")
    both = r.understand(ENTRIES | sides | {"stack": 1.25, "stack_unit": "in"}).aloud
    assert both["stack"] == "1.25 in (1 1/4) is 31.75 mm. 10.1 cm² of core."


def test_a_tongue_alone_waits_for_its_stack_and_spoils_nothing() -> None:
    understood = r.understand(ENTRIES | {"tongue": 28.0})
    assert understood.unit is not None
    assert "both" in understood.aloud["stack"]


@pytest.mark.parametrize(
    ("unit", "wire", "column", "value", "said"),
    [
        ("AWG", 31.0, "awg", 31.0, "AWG 31 is 0.227 mm bare."),
        ("SWG", 30.0, "wire_diameter_mm", 0.31496, "SWG 30 is 0.315 mm bare."),
        (
            "mm",
            0.183,
            "wire_diameter_mm",
            0.183,
            "0.183 mm bare: nearest AWG 33, SWG 36, metric 0.180, old metric 0.18.",
        ),
        (
            "in",
            0.0124,
            "wire_diameter_mm",
            0.31496,
            "0.0124 in is 0.315 mm bare: nearest AWG 28, SWG 30, metric 0.315, old metric 0.31.",
        ),
    ],
)
def test_wire_by_gauge_or_diameter(unit: str, wire: float, column: str, value: float, said: str) -> None:
    """AWG 31 is 0.2268 mm and 0.183 mm nearest to AWG 33 (ASTM B258); SWG 30 is 12.4 mil in BS 3737, 0.31496 mm."""
    assert unit_of(wire_unit=unit, wire=wire)[column] == pytest.approx(value)
    assert r.understand(ENTRIES | {"wire_unit": unit, "wire": wire}).aloud["wire"] == said


def test_fahrenheit_and_kilohms_become_what_the_table_keeps() -> None:
    """68 °F is 20 °C; 2.611 kilohm is 2611 ohm."""
    warm = {"winding_temp_c": 68.0, "winding_temp_c_unit": "°F"}
    unit = unit_of(**warm, ohms_read=2.611, ohms_read_unit="kΩ", ohms_across=r.WHOLE)
    assert (unit["winding_temp_c"], unit["hv_resistance_ohm"]) == (20.0, 2611.0)
    aloud = r.understand(ENTRIES | warm).aloud
    assert aloud["winding_temp_c"] == "68 °F is 20 °C."


def test_a_toroid_has_an_area_in_either_unit() -> None:
    """One square inch is 6.4516 cm²."""
    assert unit_of(core_by=r.AREA, area=2.0, area_unit="in²", tongue=28.0)["core_area_cm2"] == 12.9032
    assert unit_of(core_by=r.AREA, area=9.5)["core_area_cm2"] == 9.5


def test_a_gauge_that_is_not_in_the_table_is_said_beside_its_field() -> None:
    understood = r.understand(ENTRIES | {"wire_unit": "SWG", "wire": 3.0})
    assert understood.unit is None
    assert "3" in understood.faults["wire"]
    assert "16 to 44" in understood.faults["wire"]


def test_a_value_outside_its_limits_names_value_limit_and_remedy() -> None:
    understood = r.understand(ENTRIES | {"winding_temp_c": 500.0})
    assert understood.unit is None
    assert list(understood.faults) == ["winding_temp_c"]
    assert "500" in understood.faults["winding_temp_c"]
    assert "200" in understood.faults["winding_temp_c"]


@pytest.mark.parametrize(
    ("blank", "missing"),
    [
        ({"excitation_v": None}, {"excitation_v"}),
        ({"volts_read": None}, {"volts_read"}),
        ({"excitation_v": None, "volts_read": None}, {"excitation_v", "volts_read"}),
        ({"voltage_by": r.NO_LOAD}, {"no_load_read"}),
        ({"ohms_read": None}, {"ohms_read"}),
        ({"line_voltage_v": None, "ohms_read": None}, {"line_voltage_v", "ohms_read"}),
    ],
)
def test_what_is_not_filled_in_yet_is_asked_for_and_not_blamed(blank: dict[str, Any], missing: set[str]) -> None:
    understood = r.understand(ENTRIES | blank)
    assert understood.unit is None
    assert set(understood.missing) == missing
    assert understood.faults == {}


def test_simulated_readings_stay_marked() -> None:
    assert unit_of(simulated=True)["simulated"]
    assert not unit_of()["simulated"]


def test_a_limb_beyond_the_limits_makes_no_area() -> None:
    """-5 mm by 31 mm were -1.55 cm²."""
    for tongue in (-5.0, 0.19, 1234.5):
        understood = r.understand(ENTRIES | {"tongue": tongue, "stack": 31.0})
        assert set(understood.faults) == {"tongue"}
        assert "cm²" not in understood.aloud.get("stack", "")


def test_each_reason_for_a_second_look_stands_beneath_the_field() -> None:
    """0.19 V read: little by itself, and 117 V x 0.19 / 4.97 = 4.473 V by the ratio test."""
    said = r.understand(ENTRIES | {"excitation_v": 4.97, "volts_read": 0.19, "volts_across": r.WHOLE}).unusual
    assert "0.19 V is unusual: most are 1 to 1500 V; did you mean 1.9 V" in said["volts_read"]
    assert "4.473 V is unusual: most are 40 to 3000 V" in said["volts_read"]


def test_ordinary_readings_are_not_doubted() -> None:
    assert r.understand(ENTRIES | {"tongue": 28.0, "stack": 33.0, "wire": 31.0}).unusual == {}


@pytest.mark.parametrize(
    ("rest", "tongue", "needed"),
    [
        (1.0, {}, "4.0 hours"),
        (2.0, {"tongue": 2.0, "tongue_unit": "in"}, "4.2 hours"),
        (2.0, {"tongue": 25.4}, "2.1 hours"),
        (1.0, {"core_by": r.AREA, "tongue": 25.4}, "4.0 hours"),
    ],
)
def test_a_winding_that_cannot_have_settled_is_warned_of(rest: float, tongue: dict[str, Any], needed: str) -> None:
    """Four hours where the core is not known, else 5 min a mm of tongue: 50.8 mm makes 4.2 h, 25.4 mm 2.1 h."""
    warning = r.rest_warning(ENTRIES | tongue | {"rest_h": rest})
    assert needed in warning
    assert r.rest_warning(ENTRIES | tongue | {"rest_h": 4.5}) == ""
    assert r.rest_warning(ENTRIES | tongue) == ""


def test_the_warning_says_how_much_the_reading_may_be_high() -> None:
    """Straight off a full load: 55 K, which is 55 x 0.393 % = 22 % more resistance."""
    assert "55 °C above the room, and read 22 % high" in r.rest_warning(ENTRIES | {"rest_h": 0.0})


def test_above_thirty_volts_is_live_work_and_the_most_to_feed_is_named() -> None:
    """At most 5.3710 V on the primary of that unit (limit of IEC 61010-1)."""
    warning = r.live_warning(ENTRIES | {"excitation_v": 4.97 * 1.25, "volts_read": 13.88 * 1.25})
    assert "34.7 V across the whole winding is above 30 V" in warning
    assert "feed less: 5.37 V on the primary at most" in warning
    assert r.live_warning(ENTRIES) == ""


def test_more_than_thirty_volts_on_the_primary_is_refused_too() -> None:
    warning = r.live_warning(ENTRIES | {"excitation_v": 40.0, "volts_read": 8.0, "volts_across": r.WHOLE})
    assert warning.startswith("40 V on the primary is above 30 V")
    alone = {name: value for name, value in ENTRIES.items() if name not in ("excitation_v", "volts_read")}
    assert r.live_warning(alone | {"excitation_v": 40.0}) == warning
    assert "98 V across the whole winding is above 30 V" in r.live_warning(alone | {"volts_read": 49.0})


def test_what_may_be_fed_is_told_for_each_state_of_knowledge_and_by_the_ratio_once_it_is_read() -> None:
    """650 V on 117 V: 5.4 V; before any reading 1000 V are taken, 3.51 V; what is nonsense counts as not read."""
    unproven, proven = r.feed_advice(ENTRIES | {"excitation_v": 4.5, "volts_read": 12.5})
    assert unproven.startswith("Leads not yet proven: feed the winding of highest resistance, end to end, from zero to")
    assert proven.startswith("Primary proven: feed it at most 5.4 V (650 V end to end then reads 30 V)")
    for unread in (None, 0.0, -3.0):
        assert "feed it at most 3.51 V" in r.feed_advice(ENTRIES | {"excitation_v": unread})[1]
    assert "95 V for the line" in r.feed_advice(ENTRIES | {"line_voltage_v": None})[1]


def test_the_entries_are_left_as_they_were() -> None:
    before = dict(ENTRIES)
    r.understand(ENTRIES)
    assert before == ENTRIES


def test_every_number_is_read_as_people_write_it_and_said_back() -> None:
    """The same unit typed with commas, units and an inch; 1 1/8 in is 28.575 mm."""
    typed = {"excitation_v": "4,97", "volts_read": "13,88 V", "ohms_read": "94,3 Ω", "line_voltage_v": "117 V~"}
    typed |= {
        "winding_temp_c": "68 °F",
        "tongue": "1 1/8 in",
        "stack": "3,1 cm",
        "wire": "SWG 35",
        "demand_ma": "0,07 A",
    }
    understood = r.understand(ENTRIES | typed)
    plain = ENTRIES | {"tongue": 28.575, "stack": 31.0, "wire": 35.0, "wire_unit": "SWG", "demand_ma": 70.0}
    assert understood.unit is not None
    assert understood.unit.equals(r.understand(plain).unit)
    assert {name: understood.aloud[name].split(". ")[0].rstrip(".") for name in (*typed, "line_voltage_v")} == {
        "excitation_v": "Read as 4.97 V",
        "volts_read": "Read as 13.88 V",
        "ohms_read": "Read as 94.3 Ω",
        "line_voltage_v": "Read as 117 V",
        "winding_temp_c": "68 °F is 20 °C",
        "tongue": "1 1/8 in is 28.575 mm",
        "stack": "3.1 cm is 31 mm",
        "wire": "SWG 35 is 0.213 mm bare",
        "demand_ma": "0.07 A is 70 mA",
    }


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("ohms_read", "9,4,3", "9,4,3: has points and commas that make no number; write one point"),
        ("volts_read", "1,234", "1,234: may be 1.234 or 1234; write 1.234 or 1234"),
        ("excitation_v", "5 Ω", "5 Ω: has 'Ω' behind it, which is no unit of this reading; write it alone, or with V"),
        ("line_frequency_hz", "50/60", "50/60: is two frequencies; write the one that it was designed for: 50"),
        ("wire", "thin", "thin: is not a number"),
        ("null_ohm", "o.3", "o.3: is not a number"),
        ("excitation_v", "0.5 kV dc", "0.5 kV dc: has 'kV dc' behind it"),
        ("demand_ma", "900 A", "900 A: is outside the limits, 0.1 to 100000 mA"),
        ("rest_h", "x" * 99, f"{'x' * 40}…: is not a number"),
    ],
)
def test_what_is_no_number_is_a_fault_of_its_field_and_not_missing(field: str, typed: str, said: str) -> None:
    understood = r.understand(ENTRIES | {field: typed})
    assert understood.unit is None
    assert understood.missing == {}
    assert list(understood.faults) == [field]
    assert understood.faults[field].startswith(said)


def test_a_warning_of_live_work_reads_commas_too() -> None:
    assert "34.7 V across the whole" in r.live_warning(ENTRIES | {"excitation_v": "6,2125", "volts_read": "17,35 V"})


@pytest.mark.parametrize("typed", ["1e300", "1e-300", "nan", "inf", "1e308 in"])
@pytest.mark.parametrize("field", r.KEPT_IN)
def test_an_absurd_number_is_one_sentence_at_its_field(field: str, typed: str) -> None:
    understood = r.understand(ENTRIES | {field: typed})
    assert (understood.unit, understood.missing, list(understood.faults)) == (None, {}, [field])
    assert understood.faults[field].startswith(f"{typed}: ")
    if typed in ("1e300", "1e-300"):
        assert understood.faults[field] == f"{typed}: is beyond what any reading can be; check the number and its unit."


ABSURD = st.sampled_from(["1e300", "1e-300", "-1", "0", "nan", "inf", "1e14", "1e-14", "-234.5", "0.001", "1e6", "1e4"])
METERS = [
    calib.Meter(name="bench", reads="volt", range_label="20 V", percent=1, counts=3, resolution=0.01),
    calib.Meter(name="bench", reads="ohm", range_label="200 ohm", percent=1, counts=3, resolution=0.1),
]
WAYS = {
    "voltage_by": [r.RATIO_TEST, r.NO_LOAD],
    "volts_across": [r.WHOLE, r.HALF],
    "ohms_across": [r.WHOLE, r.HALF],
    "core_by": [r.LIMBS, r.AREA],
    "voltmeter": [metering.ORDINARY, STATED, METERS[0].label],
    "ohmmeter": [metering.ORDINARY, STATED, METERS[1].label],
    "volts_metered": list(metering.CORRELATION),
    "ohm_leads": list(metering.LEADS),
    "heaters": list(r.COUNTS),
    "heater_leads": list(r.WAYS),
    "wire_unit": list(measured.WIRE_UNITS),
    "ohms_read_unit": ["Ω", "kΩ"],
    "winding_temp_c_unit": ["°C", "°F"],
}
NUMBERS = st.sampled_from([*r.KEPT_IN, "heater_v_1", "heater_ohm_1", "heater_a_1", "heater_null"])


@settings(deadline=None, max_examples=share(40, 120))
@given(
    st.dictionaries(NUMBERS, ABSURD | st.floats() | st.floats().map(repr) | st.text(max_size=8), min_size=1),
    st.fixed_dictionaries({}, optional={name: st.sampled_from(ways) for name, ways in WAYS.items()}),
)
def test_whatever_is_typed_ends_in_a_unit_or_in_sentences_beside_the_fields(
    typed: dict[str, Any], ways: dict[str, str]
) -> None:
    entries = ENTRIES | ways | typed
    understood = r.understand(entries, METERS)
    heaters = r.heaters_of(entries, entries["voltage_by"] == r.NO_LOAD)
    account(understood.metered)
    numbers = r.numbers_of(entries)
    r.live_warning(numbers.kept)
    r.rest_warning(numbers.kept)
    unread = {name for name in r.KEPT_IN if measured.shown(entries.get(name)).strip() and numbers.kept[name] is None}
    assert unread <= understood.faults.keys()
    assert (understood.unit is None) == bool(understood.missing or understood.faults)
    for said in (understood.faults | heaters.faults).values():
        assert said.endswith((".", "?"))
        assert "\n" not in said


@pytest.mark.parametrize(
    ("sheets", "columns", "said"),
    [
        ({}, {}, "Nearest stock sheet: EI-60, tongue 20 mm. M65 (unverified) has that tongue too, and another window"),
        (
            {"lamination": "m"},
            {"lamination": "m"},
            "M65 (unverified), tongue 20 mm. Its window, 12.5 by 45 mm, 5.62 cm², counts until you measure it.",
        ),
        (
            {"lamination": "m", "window_width": "1/2 in", "window_height": "45"},
            {"lamination": "m", "window_width_mm": 12.7, "window_height_mm": 45.0},
            "Window 12.7 by 45 mm, 5.71 cm², as measured.",
        ),
        (
            {"lamination": "other"},
            {"lamination": "other"},
            "For what such a core carries and weighs, measure its window",
        ),
        (
            {"lamination": "ui"},
            {"lamination": "ui"},
            "UI-60 (unverified), tongue 20 mm. Its window, 20 by 60 mm, 12 cm², counts",
        ),
        # the window of sheets that are said to be scrapless follows from the tongue
        ({"lamination": "ei-scrapless", "window_width": 12.5}, {}, "Nearest stock sheet: EI-60"),
        ({"lamination": "m", "window_width": 12.5}, {"lamination": "m"}, "Its window, 12.5 by 45 mm"),
    ],
)
def test_the_sheets_of_the_core(sheets: dict[str, Any], columns: dict[str, Any], said: str) -> None:
    understood = r.understand(ENTRIES | {"tongue": 20.0, "stack": 27.0} | sheets)
    assert understood.unit is not None
    row = understood.unit.iloc[0][["lamination", "window_width_mm", "window_height_mm"]].dropna()
    assert {name: value for name, value in row.items() if value != ""} == columns
    assert said in understood.aloud["lamination"]
    if "window_width" in sheets and "window_height" not in sheets and sheets["lamination"] == "m":
        assert understood.aloud["window_height"] == "The window counts once width and height are both there."
