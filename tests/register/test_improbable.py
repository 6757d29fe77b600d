"""What is flagged for a second look, and that an ordinary record is not."""

from __future__ import annotations

import numpy as np
import pytest

from calib.errors import InputError
from calib.paths import shipped
from calib.register.frame import frame_of, record_of
from calib.register.improbable import improbabilities
from calib.register.records import KnownUnit, UnknownUnit, fields
from calib.register.tables import read_known, read_unknown
from tests.scenes.population import SCENES, units

FLAGGED_IN_PRACTICE = {"TS-03", "LM-04"}  # of 72 units: a rating of 1100 mA for 110, and ten times too few ohms


def test_an_ordinary_record_is_not_flagged(typed: dict[str, str]) -> None:
    full = {"tongue_mm": "28", "stack_mm": "33.6", "awg": "33", "wire_diameter_mm": "0.18", "no_load_v": "655"}
    assert improbabilities(KnownUnit.parse({**typed, **full})) == []


@pytest.mark.parametrize(
    ("changed", "column", "said"),
    [
        # 117 V x 27.76 / 4.97 = 653.5 V; 3.5 % below that is 630.6 V and 2.5 % below 637.2 V
        ({"no_load_v": "630.6"}, "no_load_v", "3.6 % apart; the ratio test counts"),
        ({"no_load_v": "653", "hv_v": ""}, "hv_v", "the ratio test is not used"),
        ({"no_load_v": "653", "excitation_v": ""}, "excitation_v", "the ratio test is not used"),
        ({"hv_v": "1.3", "hv_resistance_ohm": "15"}, "hv_v", "30.6 V is unusual: most are 40 to 3000 V"),
        ({"no_load_v": "6530", "hv_v": "", "excitation_v": ""}, "no_load_v", "did you mean 653 V"),
        ({"line_voltage_v": "11.7", "hv_v": "277.6"}, "line_voltage_v", "did you mean 117 V"),
        ({"line_frequency_hz": "600"}, "line_frequency_hz", "did you mean 60 Hz"),
        ({"winding_temp_c": "70"}, "winding_temp_c", "did you mean 21.111 °C (typed in °F)"),
        ({"tongue_mm": "28", "stack_mm": "33", "core_area_cm2": "6"}, "core_area_cm2", "the latter counts"),
        (
            {"tongue_mm": "20", "stack_mm": "27", "window_width_mm": "12.5", "window_height_mm": "45"},
            "lamination",
            "none of a scrapless EI with a tongue of 20 mm, which has 10 by 30 mm; say what the sheets are",
        ),
        (
            {
                "tongue_mm": "20",
                "stack_mm": "27",
                "window_width_mm": "45",
                "window_height_mm": "12.5",
                "lamination": "m",
            },
            "window_width_mm",
            "they look swapped",
        ),
        ({"tongue_mm": "20", "stack_mm": "60"}, "stack_mm", "60 mm is unusual with a tongue of 20 mm"),
        ({"core_area_cm2": "924"}, "core_area_cm2", "typed in mm²"),
        ({"awg": "23", "wire_diameter_mm": "0.18"}, "wire_diameter_mm", "the diameter counts"),
        ({"u_voltage_pct": "0"}, "u_voltage_pct", "0 % is unusual: most are 0.01 to 10 %"),
        ({"u_resistance_pct": "50"}, "u_resistance_pct", "did you mean 5 %"),
        # 117 V x 1000 / 300 = 390 V
        (
            {"excitation_v": "300", "hv_v": "1000"},
            "excitation_v",
            "300 V is unusual: most are 0.5 to 60 V; did you mean 30 V",
        ),
        # 117 V x 5 / 6 = 97.5 V
        (
            {"excitation_v": "6", "hv_v": "5", "hv_resistance_ohm": "31"},
            "hv_v",
            "97.5 V by the ratio test is little for a line of 117 V; did you mean 5 V on the primary and 6 V read",
        ),
        ({"hv_resistance_ohm": "6"}, "rated_current_ma", "kilohms"),
        ({"rated_current_ma": "900"}, "rated_current_ma", "a slipped digit"),
    ],
)
def test_what_is_flagged(typed: dict[str, str], changed: dict[str, str], column: str, said: str) -> None:
    (flag,) = improbabilities(KnownUnit.parse({**typed, **changed}))
    assert flag.column == column
    assert said in flag.why


def test_the_window_of_an_m_is_its_own(typed: dict[str, str]) -> None:
    window = {"window_width_mm": "12.5", "window_height_mm": "45", "lamination": "m"}
    assert improbabilities(KnownUnit.parse({**typed, "tongue_mm": "20", "stack_mm": "27", **window})) == []


def test_voltages_within_three_per_cent_agree(typed: dict[str, str]) -> None:
    assert improbabilities(KnownUnit.parse({**typed, "no_load_v": "637.2"})) == []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        # 117 V x 4.97 / 27.76 = 20.95 V
        ({"hv_v": "4.97", "excitation_v": "27.76"}, "the ratio test gives, 20.95 V is unusual"),
        # 0.4 of a line of 230 V is 92 V: below it a bridge too is questioned, above it none but a tapped winding
        ({"rectifier": "bridge", "hv_v": "5", "excitation_v": "13", "line_voltage_v": "230"}, "88.46 V by the ratio"),
        ({"rectifier": "doubler", "hv_v": "10.65", "excitation_v": "11.5"}, ""),
        ({"rectifier": "half-wave", "hv_v": "20", "excitation_v": "24", "line_voltage_v": "230"}, ""),
    ],
)
def test_a_high_voltage_below_the_primarys_is_asked_for_the_other_way_round(
    typed_unknown: dict[str, str], changed: dict[str, str], said: str
) -> None:
    found = improbabilities(UnknownUnit.parse({**typed_unknown, **changed}))
    assert [one.column for one in found] == ["hv_v"] * bool(said)
    for one in found:
        fed, read = changed["hv_v"], changed["excitation_v"]
        assert said in one.why
        assert one.why.endswith(f"; did you mean {fed} V on the primary and {read} V read (the two swapped)?")


def test_an_unknown_is_flagged_too(typed_unknown: dict[str, str]) -> None:
    assert improbabilities(UnknownUnit.parse(typed_unknown)) == []
    assert len(improbabilities(UnknownUnit.parse({**typed_unknown, "winding_temp_c": "90"}))) == 1


def test_few_of_the_practice_units_are_flagged_and_a_table_says_what_its_records_say() -> None:
    """They are drawn like real ones, some with a slip on purpose: a flag is the exception."""
    known = read_known(shipped("datasets/practice/known.csv"))
    unknown = read_unknown(shipped("datasets/practice/unknown.csv"))
    flagged = set()
    for kind, table in ((KnownUnit, known), (UnknownUnit, unknown)):
        spoiled = table.assign(winding_temp_c=np.where(np.arange(len(table)) % 3, table["winding_temp_c"], 70.0))
        for one in (table, spoiled):
            records = [record_of(kind, dict(row)) for _, row in one.iterrows()]
            said = [(place, *each) for place, record in enumerate(records) for each in improbabilities(record)]
            found = improbabilities(one)
            assert list(found[["row", "column", "why", "code"]].itertuples(index=False, name=None)) == said
            assert found["unit"].tolist() == [one["unit"][place] for place in found["row"]]
        flagged |= set(improbabilities(table)["unit"])
        assert len(found) >= len(table) / 3
    assert flagged == FLAGGED_IN_PRACTICE


@pytest.mark.parametrize(
    ("scene", "most"),
    [("ordinary", 0.02), ("50 Hz only", 0.02), ("aluminium", 0.02), ("120 V windings", 0.1), ("toroidal", 0.1)],
)
def test_hardly_any_sound_unit_is_flagged(scene: str, most: float) -> None:
    """Populations put together by rules of their own, read without a slip.

    One field's range alone flags any but a few: the last two scenes have many windings of an ohm or two and over 1 A.
    """
    sound = units(SCENES[scene], 2000, np.random.default_rng(5))
    found = improbabilities(sound.assign(contributor="Alder Lane", evidence="nameplate"))
    assert found["row"].nunique() <= most * len(sound)
    assert (~found["why"].str.contains(" is unusual: most are ")).sum() <= 0.001 * len(sound)


def test_a_table_of_anybodys_is_held_to_what_a_file_is_held_to(typed_unknown: dict[str, str]) -> None:
    """A comma for the point, and no column of tags; numbers written as text are numbers."""
    table = frame_of(UnknownUnit, [UnknownUnit.parse(typed_unknown)])
    spoiled = table.astype({"hv_v": object}).assign(hv_v="4,97").drop(columns="unit")
    with pytest.raises(InputError) as told:
        improbabilities(spoiled)
    assert {fault.column for fault in told.value.faults} == {"hv_v", "unit"}
    found = improbabilities(table.astype({"winding_temp_c": object}).assign(winding_temp_c="70"))
    assert found["column"].tolist() == ["winding_temp_c"]


@pytest.mark.parametrize("facts", [f for f in fields(KnownUnit) if f.kind == "number"], ids=lambda facts: facts.name)
def test_every_number_has_a_usual_range_within_its_limits(facts) -> None:
    low, high = facts.usual
    assert facts.low <= low < high <= facts.high
    assert facts.unlikely(low) == facts.unlikely(high) == ""
    assert facts.unlikely(high * 1.01).startswith(f"{high * 1.01:.6g} {facts.unit}")
