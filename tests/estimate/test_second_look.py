"""One unit whose readings do not go together: nothing of it shows a current but what each repair would give."""

from __future__ import annotations

import numpy as np
import pytest

from calib.estimate import HeaterReading, UnitEstimate, estimate_unit, heater_currents
from tests.fitting.making import practice_fit, unknown

FULL = {"unit": "Q1", "tongue_mm": 28, "stack_mm": 30, "wire_diameter_mm": 0.23, "demand_ma": 70}
HEATERS = [HeaterReading("six volts", 6.86, 0.0612)]


@pytest.fixture(scope="module")
def mistyped() -> UnitEstimate:
    """0.23 mm of wire typed as its gauge."""
    return estimate_unit(practice_fit(), unknown({**FULL, "wire_diameter_mm": None, "awg": 0.23}), heaters=HEATERS)


@pytest.fixture(scope="module")
def sound() -> UnitEstimate:
    return estimate_unit(practice_fit(), unknown(FULL), heaters=HEATERS)


def test_a_withheld_unit_shows_no_current_anywhere(mistyped):
    assert mistyped.withheld
    for table in (mistyped.answer, mistyped.other):
        assert table[["rated_current_ma", "low_ma", "high_ma", "floor_ma", "odds_of_demand"]].isna().all(axis=None)
    assert len(mistyped.curve) == len(mistyped.opinions) == len(mistyped.sharpen) == 0
    assert mistyped.core is None
    assert "mA" not in set(mistyped.working["unit"])
    assert "multiplier" not in " ".join(mistyped.working["step"]).lower()
    assert mistyped.working["step"].iloc[-1] == "V/R"
    (winding,) = mistyped.heaters.windings
    assert np.isnan([winding.rated_a, winding.low_a, winding.high_a, mistyped.heaters.drop]).all()
    assert "do not go together" in str(winding)


def test_it_says_so_with_the_likely_slip_and_what_putting_it_right_gives(mistyped, sound):
    assert "most likely" not in str(mistyped)
    assert "Q1: no current is told, since its readings do not go together." in str(mistyped)
    assert "The likeliest slip: wire diameter in mm taken for its gauge; that put right: about " in str(mistyped)
    likely = sound.answer["rated_current_ma"].iloc[0]
    assert mistyped.repairs["repaired_ma"].iloc[0] == pytest.approx(likely, rel=0.01)
    assert mistyped.repairs["then"].iloc[0] == "bare wire diameter 0.23 mm"


def test_the_reading_that_disagrees_stands_beside_what_the_others_lead_one_to_expect(mistyped):
    (one,) = mistyped.disagreement.to_dict("records")
    assert (one["reading"], one["unit"]) == ("bare wire diameter", "mm")
    assert one["value"] == pytest.approx(0.127 * 92 ** ((36 - 0.23) / 39), rel=1e-6)
    assert 0.15 < one["low"] < 0.23 < one["high"] < 0.3


def test_sound_readings_leave_nothing_to_look_at_again(sound):
    assert not sound.withheld
    assert len(sound.disagreement) == len(sound.repairs) == 0
    assert "slip" not in str(sound)
    assert sound.heaters.windings[0].rated_a > 0


def test_suspect_readings_keep_their_figures_and_name_every_likely_slip():
    """British gauge 34 (0.234 mm) read as American: by its readings as likely half a resistance; both are told."""
    made = estimate_unit(practice_fit(), unknown({**FULL, "wire_diameter_mm": None, "awg": 34}), as_read=True)
    assert not made.withheld
    assert any("British gauge" in slip for slip in made.repairs["slip"])
    assert any("half the winding" in slip for slip in made.repairs["slip"])
    assert made.repairs["odds"].is_monotonic_decreasing
    assert "most likely" in str(made)
    assert "The likeliest slip" in str(made)


def test_as_read_every_reading_counts_as_typed(mistyped):
    asked = unknown({**FULL, "wire_diameter_mm": None, "awg": 0.23})
    made = estimate_unit(practice_fit(), asked, heaters=HEATERS, as_read=True)
    assert made.answer["rated_current_ma"].iloc[0] > 50_000
    assert made.answer["flags"].iloc[0] == mistyped.answer["flags"].iloc[0]
    assert len(made.opinions) == 4
    assert heater_currents(practice_fit(), asked, HEATERS, as_read=True).windings[0].rated_a > 0


# Each reading halved, 1000 times too high or low, swapped and absurd; alone, and with another: no door's business any
# more, and no headline either, or one within reach of the sound one's.
TRIALS = [
    *({"hv_resistance_ohm": 188.6 * factor} for factor in (0.5, 2, 0.001, 1000, 1e-4)),
    *({"hv_v": 27.76 * factor} for factor in (0.5, 2, 10, 0.001)),
    *({"excitation_v": 4.97 * factor} for factor in (0.5, 2, 0.1, 1000)),
    {"excitation_v": 27.76, "hv_v": 4.97},
    {"hv_v": 188.6, "hv_resistance_ohm": 27.76},
    {"line_voltage_v": 11.7},
    {"line_voltage_v": 1170},
    {"tongue_mm": 30, "stack_mm": 28},
    {"tongue_mm": 14, "stack_mm": 15},
    {"tongue_mm": 280, "stack_mm": 300},
    *({"wire_diameter_mm": 0.23 * factor} for factor in (0.5, 2, 10)),
    *({"wire_diameter_mm": None, "awg": awg} for awg in (0.23, 9, 3.1, 50)),
    {"hv_resistance_ohm": 0.1886, "wire_diameter_mm": None, "awg": 0.23},
    {"hv_resistance_ohm": 94.3, "tongue_mm": 280, "stack_mm": 300},
    {"excitation_v": 27.76, "hv_v": 4.97, "hv_resistance_ohm": 0.1886},
]


@pytest.mark.parametrize("changes", TRIALS, ids=str)
def test_no_slip_gives_a_headline_far_from_the_sound_one(changes, sound):
    """With core and wire measured: what is told lies within a factor of 1.6 of the sound unit's current, or none is."""
    made = estimate_unit(practice_fit(), unknown({**FULL, **changes}))
    told, true = made.answer["rated_current_ma"].iloc[0], sound.answer["rated_current_ma"].iloc[0]
    assert made.withheld or 1 / 1.6 < told / true < 1.6
    assert made.withheld == str(made).count("no current is told")
