"""Unknown units whose readings do not go together: said, with the slip that would explain it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.fit.making import scene_asked, scene_fit, without_core, without_gauge

SLIPS = [
    ({"hv_resistance_ohm": 0.5}, "resistance of half the winding"),
    ({"no_load_v": 0.5}, "voltage of half the winding"),
    ({"hv_resistance_ohm": 0.1}, "resistance ten times too low"),
    ({"hv_resistance_ohm": 10.0}, "resistance ten times too high"),
    ({"hv_resistance_ohm": 0.001}, "kilohm"),
    ({"no_load_v": 10.0}, "voltage ten times too high"),
    ({"no_load_v": 0.1}, "voltage ten times too low"),
]


def estimates(units: pd.DataFrame, changes: dict[str, float]) -> pd.DataFrame:
    moved = units.assign(**{name: units[name] * factor for name, factor in changes.items()})
    return scene_fit().estimate(moved[moved["no_load_v"] <= 1e4])  # beyond that a reading is refused


def flagged(made: pd.DataFrame) -> np.ndarray:
    return np.array(["suspect-reading" in cell.split(";") for cell in made["flags"]])


@pytest.mark.parametrize(("changes", "cause"), SLIPS)
def test_a_slip_of_a_reading_is_named(changes, cause):
    """200 units with core and wire, all read wrongly: measured all of them."""
    made = estimates(scene_asked(), changes)
    assert flagged(made).mean() > 0.9
    assert np.mean([cause in slip for slip in made["likely_slip"]]) > 0.9


def test_sound_readings_are_seldom_questioned():
    made = estimates(scene_asked(), {})
    assert flagged(made).mean() < 0.04
    assert (made["likely_slip"] == "").mean() > 0.96


def test_a_slip_is_never_named_without_the_flag():
    made = estimates(scene_asked(), {"hv_resistance_ohm": 0.5})
    assert flagged(made)[(made["likely_slip"] != "").to_numpy()].all()


def test_without_a_core_no_reading_can_be_weighed():
    """V and R alone contradict nothing: silence, not assurance."""
    made = estimates(without_core(scene_asked()), {"hv_resistance_ohm": 0.1})
    assert not flagged(made).any()
    assert (made["likely_slip"] == "").all()


def test_with_the_core_alone_a_decimal_slip_still_shows():
    made = estimates(without_gauge(scene_asked()), {"hv_resistance_ohm": 0.1})
    assert flagged(made).mean() > 0.6
