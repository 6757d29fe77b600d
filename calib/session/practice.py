"""A bench session to practise on: made up from first to last, and marked as such."""

from __future__ import annotations

import copy
from typing import Any

from calib.session import choices as c

OPEN = "open"
LEADS = ("1", "2", "3", "4", "5", "6", "7", "8", "9")
READINGS = (
    ("1", "2", "5.7"),
    ("3", "4", "92"),
    ("4", "5", "97.2"),
    ("3", "5", "188.9"),
    ("6", "7", "0.4"),
    ("8", "9", "0.4"),
    *((one, other, OPEN) for one, other in (("1", "3"), ("1", "6"), ("1", "8"), ("3", "6"), ("3", "8"), ("6", "8"))),
)


def _test(number: int, between: str, test_v: float, megohm: float) -> dict[str, Any]:
    values = {"between": between, "test_v": test_v, "megohm": megohm, "temp_c": 21.5}
    return {f"{name}_{number}": value for name, value in values.items()}


ENTRIES: dict[str, dict[str, Any]] = {
    "look": {
        "simulated": True,
        "tag": "AL-5",
        "contributor": "Alder Lane",
        "from_what": "a radio of five valves (simulated)",
        "decade": "1940-1959",
        "sheets": "tight",
        "lead_count": 9.0,
        "colours": "black, black, red, red/yellow, red, yellow, yellow, green, green",
        "weight_kg": 1.55,
    },
    "leads": {
        "names": list(LEADS),
        "readings": [list(row) for row in READINGS],
        "primary": "1-2",
        "hv_ends": "3 and 5",
        "hv_tap": "4",
        "heaters": "6-7, 8-9",
        "core_path": c.CORE_OPEN,
    },
    "insulation": {
        "circuit": "full-wave",
        "works_hv_v": 700.0,
        "works_line_v": 117.0,
        **_test(1, "High voltage to core", 500.0, 190.0),
        **_test(2, "High voltage to core", 1000.0, 180.0),
        **_test(3, "Primary to all the rest, core and screen", 500.0, 440.0),
        **_test(4, "Primary to all the rest, core and screen", 1000.0, 420.0),
        **_test(5, "High voltage to other heaters", 500.0, 330.0),
        **_test(6, "High voltage to other heaters", 1000.0, 310.0),
        **_test(7, "Rectifier heater to core", 500.0, 270.0),
        **_test(8, "Rectifier heater to core", 1000.0, 260.0),
        "protects_8": c.REINFORCED,
        **_test(9, "Other heaters to core", 500.0, 900.0),
        "seconds": 60.0,
    },
    "resistance": {
        "hv_ohm": 188.9,
        "hv_half_1_ohm": 92.0,
        "hv_half_2_ohm": 97.2,
        "winding_temp_c": 21.5,
        "rest_h": 12.0,
        "primary_ohm": 5.7,
        "heater_leads": c.FOUR_WIRES,
        "heater_name_1": "6-7",
        "heater_ohm_1": 0.118,
        "heater_name_2": "8-9",
        "heater_ohm_2": 0.096,
        "ohm_leads": c.NULL_ON,
        "null_ohm": 0.3,
    },
    "ratio": {
        "line_voltage_v": 117.0,
        "line_frequency_hz": 60.0,
        "expected_hv_v": 700.0,
        "excitation_v": 4.97,
        "hv_v": 27.76,
        "hv_half_1_v": 13.88,
        "hv_half_2_v": 13.87,
        "heater_v_1": 0.233,
        "heater_v_2": 0.291,
        "meter_megohm": 10.0,
    },
    "core": {"tongue": 28.6, "stack": 31.0},
    "wire": {"wire_by": c.MICROMETER, "micrometer_1": 0.25, "micrometer_2": 0.247, "series": "AWG"},
}


def entries() -> dict[str, dict[str, Any]]:
    """Its entries, by step and field, for the caller's own."""
    return copy.deepcopy(ENTRIES)
