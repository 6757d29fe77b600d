"""What is flagged for a second look, and that an ordinary record is not."""

from __future__ import annotations

import pytest

from calib.places import shipped
from calib.register.exchange import read_known, read_unknown
from calib.register.frame import record_of
from calib.register.improbable import improbabilities
from calib.register.records import KnownUnit, Unit, UnknownUnit, fields


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


def test_an_unknown_is_flagged_too(typed_unknown: dict[str, str]) -> None:
    assert improbabilities(UnknownUnit.parse(typed_unknown)) == []
    assert len(improbabilities(UnknownUnit.parse({**typed_unknown, "winding_temp_c": "90"}))) == 1


def test_few_of_the_practice_units_are_flagged() -> None:
    """They are drawn like real ones, some with a slip on purpose: a flag is the exception."""
    known = read_known(shipped("datasets/practice/known.csv")).to_dict("records")
    unknown = read_unknown(shipped("datasets/practice/unknown.csv")).to_dict("records")
    records: list[Unit] = [record_of(KnownUnit, {str(k): v for k, v in row.items()}) for row in known]
    records += [record_of(UnknownUnit, {str(k): v for k, v in row.items()}) for row in unknown]
    flagged = [(record.unit, flag) for record in records for flag in improbabilities(record)]
    print(flagged)
    assert len({unit for unit, _ in flagged}) <= len(records) / 10


@pytest.mark.parametrize("facts", [f for f in fields(KnownUnit) if f.kind == "number"], ids=lambda facts: facts.name)
def test_every_number_has_a_usual_range_within_its_limits(facts) -> None:
    low, high = facts.usual
    assert facts.low <= low < high <= facts.high
    assert facts.unlikely(low) == facts.unlikely(high) == ""
    assert facts.unlikely(high * 1.01).startswith(f"{high * 1.01:.6g} {facts.unit}")
