"""What is flagged for a second look, and that an ordinary record is not."""

from __future__ import annotations

import pytest

from calib.register.improbable import improbabilities
from calib.register.records import KnownUnit, UnknownUnit


def test_an_ordinary_record_is_not_flagged(typed: dict[str, str]) -> None:
    full = {"tongue_mm": "28", "stack_mm": "33.6", "awg": "33", "wire_diameter_mm": "0.18", "no_load_v": "655"}
    assert improbabilities(KnownUnit.parse({**typed, **full})) == []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        # 117 V x 27.76 / 4.97 = 653.5 V; 3.5 % below that is 630.6 V and 2.5 % below 637.2 V
        ({"no_load_v": "630.6"}, "3.6 % apart; the ratio test counts"),
        ({"no_load_v": "653", "hv_v": ""}, "the ratio test is not used"),
        ({"hv_v": "1.3", "hv_resistance_ohm": "15"}, "unusual for a high-voltage winding"),
        ({"line_voltage_v": "11.7", "hv_v": "277.6"}, "no usual mains voltage"),
        ({"line_frequency_hz": "600"}, "no usual mains frequency"),
        ({"winding_temp_c": "70"}, "unusual for a unit that has stood in a room"),
        ({"tongue_mm": "28", "stack_mm": "33", "core_area_cm2": "6"}, "the latter counts"),
        ({"tongue_mm": "20", "stack_mm": "60"}, "stack_mm, 60 mm, is unusual"),
        ({"core_area_cm2": "924"}, "a core of 924 cm² is unusual"),
        ({"awg": "23", "wire_diameter_mm": "0.18"}, "the diameter counts"),
        ({"u_voltage_pct": "0"}, "u_voltage_pct of 0 %"),
        ({"u_resistance_pct": "50"}, "u_resistance_pct of 50 %"),
        ({"hv_resistance_ohm": "0.31"}, "kilohms"),
        ({"rated_current_ma": "90000"}, "a slipped digit"),
    ],
)
def test_what_is_flagged(typed: dict[str, str], changed: dict[str, str], said: str) -> None:
    flags = improbabilities(KnownUnit.parse({**typed, **changed}))
    assert len(flags) == 1
    assert said in flags[0]


def test_voltages_within_three_per_cent_agree(typed: dict[str, str]) -> None:
    assert improbabilities(KnownUnit.parse({**typed, "no_load_v": "637.2"})) == []


def test_an_unknown_is_flagged_too(typed_unknown: dict[str, str]) -> None:
    assert improbabilities(UnknownUnit.parse(typed_unknown)) == []
    assert len(improbabilities(UnknownUnit.parse({**typed_unknown, "winding_temp_c": "90"}))) == 1
