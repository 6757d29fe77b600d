"""Nonsense is refused with the limit that it broke and what was probably meant, in the unit that it was typed in."""

from __future__ import annotations

from typing import Any

import pytest

from calib.session import readings as r
from calib.session.meters import NULL
from tests.session.test_readings import ENTRIES

INCHES = {"tongue": 1.0, "tongue_unit": "in", "stack_unit": "in"}
FAHRENHEIT = {"winding_temp_c_unit": "°F"}


@pytest.mark.parametrize(
    ("entry", "field", "limit", "meant"),
    [
        ({"tongue": 28.0, "stack": 4000.0}, "stack", "4000: is outside the limits, 3 to 500 mm", "40 mm (the decimal"),
        # 3 mm and 500 mm over 25.4 mm; 40 itself lies where stacks in mm do
        (INCHES | {"stack": 40.0}, "stack", "40 in: is outside the limits, 0.1181 to 19.69 in", "40 mm?"),
        (
            INCHES | {"stack": 1250.0},
            "stack",
            "1250 in: is outside the limits, 0.1181 to 19.69 in",
            "1.25 in (the decimal point slipped",
        ),
        # -40 is the same on both scales, 200 °C is 392 °F
        (
            FAHRENHEIT | {"winding_temp_c": 700.0},
            "winding_temp_c",
            "700 °F: is outside the limits, -40 to 392 °F",
            "70 °F",
        ),
        ({"winding_temp_c": 500.0}, "winding_temp_c", "500: is outside the limits, -40 to 200 °C", "5 °C (the decimal"),
        ({"wire": 330.0}, "wire", "330: is outside the limits, 0 to 50 AWG", "33 AWG"),
        (
            {"wire": 12.4, "wire_unit": "in"},
            "wire",
            "12.4 in: is outside the limits, 0.0003937 to 0.3937 in",
            "0.0124 in",
        ),
        (
            {"line_voltage_v": -117.0},
            "line_voltage_v",
            "-117: is outside the limits, above 0 to 10000 V",
            "117 V (a stray",
        ),
    ],
)
def test_nonsense_is_refused(entry: dict[str, Any], field: str, limit: str, meant: str) -> None:
    understood = r.understand(ENTRIES | entry)
    assert understood.unit is None
    assert understood.faults[field].startswith(f"{limit}; did you mean {meant}")
    assert "If not, check the reading and its unit" in understood.faults[field]


@pytest.mark.parametrize(
    ("entry", "field", "said"),
    [
        ({"ohm_leads": NULL, "null_ohm": 94.3}, "null_ohm", "94.3: is no less than the reading, 94.3 Ω"),
        ({"null_u_ohm": -0.1}, "null_u_ohm", "-0.1: is outside the limits, 0 to 10 Ω"),
        ({"temp_within_k": 40.0}, "temp_within_k", "40: is outside the limits, 0 to 30 °C"),
        ({"rest_h": -1.0}, "rest_h", "-1: is outside the limits, 0 to 10000 h"),
        ({"wire_unit": "SWG", "wire": 3.0}, "wire", "SWG is 3"),
    ],
)
def test_what_only_the_form_knows_is_refused_too(entry: dict[str, Any], field: str, said: str) -> None:
    understood = r.understand(ENTRIES | entry)
    assert understood.unit is None
    assert understood.faults[field].startswith(said)


@pytest.mark.parametrize(
    ("entry", "field", "said"),
    [
        # (70 - 32) / 1.8 = 21.1
        (
            {"winding_temp_c": 70.0},
            "winding_temp_c",
            "70 °C is unusual: most are 5 to 40 °C; did you mean 21.111 °C (typed",
        ),
        (
            FAHRENHEIT | {"winding_temp_c": 20.0},
            "winding_temp_c",
            "20 °F is unusual: most are 41 to 104 °F; did you mean 20 °C?",
        ),
        ({"tongue": 28.0, "stack": 300.0}, "stack", "300 mm is unusual with a tongue of 28 mm."),
        # 117 V x 1.30 / 4.97 = 30.6 V
        ({"volts_read": 0.65}, "volts_read", "The no-load voltage that the ratio test gives, 30.6 V is unusual"),
        ({"wire": 3.0}, "wire", "3 AWG is unusual: most are 18 to 44 AWG; did you mean 30 AWG"),
    ],
)
def test_what_is_improbable_is_doubted_and_not_refused(entry: dict[str, Any], field: str, said: str) -> None:
    understood = r.understand(ENTRIES | entry)
    assert understood.unit is not None
    assert said in understood.unusual[field]
