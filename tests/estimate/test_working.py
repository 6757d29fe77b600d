"""The working, reckoned again by hand from the raw readings: worked values T3.2 (ratio test) and T3.9 (V/R)."""

from __future__ import annotations

import math
import re

import pytest

from calib.estimate import UnitEstimate, estimate_unit
from calib.supply.form_factor import winding_rms_per_dc
from tests.fit.making import practice_fit, unknown

WARM = {"hv_resistance_ohm": 197.4, "winding_temp_c": 31}


def estimated(changes: dict) -> UnitEstimate:
    """The estimate of a unit by a fit of the practice data."""
    return estimate_unit(practice_fit(), unknown(changes))


def working(changes: dict) -> tuple[dict[str, float], dict[str, str], dict[str, str], object]:
    """Values, formulas and units by step, and the answer."""
    made = estimated(changes)
    steps = made.working["step"].str.replace(r", size class .*", "", regex=True)
    assert steps.is_unique
    return (
        *(dict(zip(steps, made.working[name], strict=True)) for name in ("value", "formula", "unit")),
        made.answer.iloc[0],
    )


def test_ratio_and_voltage():
    """Worked value T3.2: both halves together 2 * 2.792757, 653.505 V at 117 V."""
    value, formula, unit, _ = working({})
    assert value["Ratio"] == pytest.approx(2 * 2.792757, rel=1e-6)
    assert value["No-load voltage"] == pytest.approx(653.505, rel=1e-6)
    assert unit["No-load voltage"] == "V"
    assert "27.76" in formula["Ratio"]
    assert "4.97" in formula["Ratio"]
    assert "117" in formula["No-load voltage"]


def test_v_over_r():
    """Worked value T3.9: 653.505 V over 188.6 ohm, 3.465032."""
    value, _, unit, answer = working({})
    assert value["V/R"] == pytest.approx(3.465032, rel=1e-6)
    assert unit["V/R"] == "V per ohm"
    assert answer["v_over_r"] == pytest.approx(3.465032, rel=1e-6)


def test_resistance_is_brought_to_20_degrees_by_hand():
    """R (234.5 + 20)/(234.5 + t), IEC 60034-1."""
    value, formula, unit, _ = working(WARM)
    assert value["Resistance at 20 °C"] == pytest.approx(197.4 * 254.5 / 265.5, rel=1e-12)
    assert unit["Resistance at 20 °C"] == "ohm"
    assert "197.4" in formula["Resistance at 20 °C"]
    assert "31" in formula["Resistance at 20 °C"]


@pytest.mark.parametrize("changes", [{}, WARM, {"tongue_mm": 28, "stack_mm": 30}, {"filter": "choke"}])
def test_the_last_line_follows_from_the_raw_readings(changes):
    """117 V * 27.76/4.97 over R at 20 °C, times the unit's multiplier, is the current of the answer."""
    value, formula, unit, answer = working(changes)
    ohm = {**{"hv_resistance_ohm": 188.6, "winding_temp_c": 20}, **changes}
    by_hand = 117 * 27.76 / 4.97 / (ohm["hv_resistance_ohm"] * 254.5 / (234.5 + ohm["winding_temp_c"]))
    assert value["Multiplier of this unit"] * by_hand == pytest.approx(answer["rated_current_ma"], rel=1e-9)
    assert value["Rated current"] == pytest.approx(answer["rated_current_ma"], rel=1e-12)
    factors = [float(part) for part in re.findall(r"[\d.]+", formula["Rated current"])]
    assert factors[0] * factors[1] == pytest.approx(answer["rated_current_ma"], rel=1e-3)
    assert unit["Rated current"] == "mA"


def test_a_voltage_read_directly_is_said_to_be():
    value, formula, _, _ = working({"excitation_v": None, "hv_v": None, "no_load_v": 640})
    assert value["No-load voltage"] == 640
    assert "Ratio" not in value
    assert "read or stated" in formula["No-load voltage"]


def test_the_classs_mean_multiplier_stands_beside_the_units_own():
    value, formula, unit, answer = working({"tongue_mm": 28, "stack_mm": 30})
    assert value["Mean multiplier"] == answer["multiplier"]
    assert "full-wave" in formula["Mean multiplier"]
    assert unit["Mean multiplier"] == unit["Multiplier of this unit"] == "mA per V/ohm"


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"tongue_mm": 28, "stack_mm": 30},
        {"tongue_mm": 28, "stack_mm": 30, "awg": 33},
        {"tongue_mm": 28, "stack_mm": 30, "awg": 33, "contributor": "Alder Lane", "conductor": "aluminium"},
        {"tongue_mm": 28, "stack_mm": 30, "rectifier": "bridge"},
        {"rectifier": "half-wave", "centre_tapped": False},
    ],
)
def test_the_printed_factors_multiply_up_to_the_printed_multiplier_and_current(changes):
    value, _, _, answer = working(changes)
    shown = {step: float(f"{number:.4g}") for step, number in value.items()}
    begun = next(number for step, number in shown.items() if step.startswith("Mean multiplier"))
    factors = [number for step, number in shown.items() if step.startswith("× ")]
    assert begun * math.prod(factors) == pytest.approx(shown["Multiplier of this unit"], rel=1e-3)
    assert shown["Multiplier of this unit"] * shown["V/R"] == pytest.approx(shown["Rated current"], rel=1e-3)
    assert answer["unit_multiplier"] * answer["v_over_r"] == pytest.approx(answer["rated_current_ma"], rel=1e-12)
    assert 0.9 < value["× what is left over"] < 1.1


def test_a_bridge_on_a_centre_tapped_winding_gives_what_its_primary_gives():
    """Equal heating: of the winding's, the primary's share is 1/sqrt(2)."""
    bridge = {"tongue_mm": 28, "stack_mm": 30, "rectifier": "bridge", "demand_ma": 40}
    whole, tapped = (estimated({**bridge, "centre_tapped": one}) for one in (False, True))
    plain, limited = (one.answer.iloc[0] for one in (whole, tapped))
    assert limited["rated_current_ma"] == pytest.approx(plain["rated_current_ma"] / math.sqrt(2), rel=1e-9)
    assert limited["floor_ma"] == pytest.approx(plain["floor_ma"] / math.sqrt(2), rel=1e-9)
    assert limited["winding_limit_ma"] == pytest.approx(plain["rated_current_ma"], rel=1e-9)
    assert math.isnan(plain["winding_limit_ma"])
    assert "primary-limit" in limited["flags"].split(";")
    assert limited["odds_of_demand"] < plain["odds_of_demand"]
    assert any("twice as far from the core" in one for one in tapped.supply)


def test_a_half_wave_supply_says_how_far_its_current_biases_the_core():
    """H = N I / l by hand: 653.5 V at 60 Hz, 1.1 T, 0.95 of 8.4 cm2 is 3142 turns; 168 mm of iron path."""
    half = {"tongue_mm": 28, "stack_mm": 30, "rectifier": "half-wave"}
    made = estimated(half)
    turns = 653.505 / (math.sqrt(2) * math.pi * 60 * 1.1 * 0.95 * 8.4e-4)
    field = turns * made.answer["rated_current_ma"].iloc[0] / 1000 / 0.168
    assert any(f"about {field:.0f} A/m" in one for one in made.supply)
    assert ("doubt" in made.answer["flags"].iloc[0].split(";")) == (field > 600)
    assert (f"about {field:.0f} A/m" in made.answer["doubts"].iloc[0]) == (field > 600)
    assert any("not told without a core" in one for one in estimated({"rectifier": "half-wave"}).supply)
    assert not any("biases" in one for one in estimated({}).supply)


def test_the_bias_goes_round_the_path_of_the_sheets_that_are_there():
    """An M65 of tongue 20 has a path of 155 mm where an EI-60 has 120 (2 (w + h + a), DIN 41302)."""
    half = {"tongue_mm": 20, "stack_mm": 27, "rectifier": "half-wave"}
    fields = []
    for sheets in ({}, {"lamination": "m"}, {"lamination": "other"}):
        (said,) = (one for one in estimated(half | sheets).supply if "biases the core by" in one)
        fields.append(float(said.split("about ")[1].split(" A/m")[0]))
    assert fields[1] / fields[0] == pytest.approx(120.0 / 155.0, rel=2e-3)
    assert fields[2] == fields[0]  # a window that nothing tells: the shortest path, so the stronger field


def test_current_density_by_hand():
    """AWG 33 has 0.0253991 mm2 (ASTM B258); 1 A/mm2 is 1973.525 circular mils an ampere."""
    value, _, unit, answer = working({"tongue_mm": 28, "stack_mm": 30, "awg": 33})
    rms = answer["rated_current_ma"] * winding_rms_per_dc("full-wave", "capacitor")
    assert value["Winding current, rms"] == pytest.approx(rms, rel=1e-9)
    assert value["Current density"] == pytest.approx(rms / 1000 / 0.0253991, rel=1e-5)
    assert value["the same"] == pytest.approx(1973.525 / (rms / 1000 / 0.0253991), rel=1e-5)
    assert unit["Current density"] == "A/mm²"
    assert "Current density" not in working({"tongue_mm": 28, "stack_mm": 30})[0]


def test_steps_come_in_the_order_of_the_reckoning():
    steps = list(working({"tongue_mm": 28, "stack_mm": 30, "awg": 33})[0])
    wanted = ["Ratio", "No-load voltage", "Resistance at 20 °C", "V/R", "Multiplier of this unit", "Rated current"]
    assert [step for step in steps if step in wanted] == wanted
