"""What carried an estimate is named, and what was given and moved nothing is named apart."""

from __future__ import annotations

from functools import cache

import pytest

import calib
from calib.fitting import Multiplier, fit
from calib.paths import data
from calib.register.records import UnknownUnit, fields
from tests.fitting.making import FIGURES, known, unknown

CORE = {"tongue_mm": 28, "stack_mm": 30}
HALVES = {"hv_half_1_ohm": 94, "hv_half_2_ohm": 94.6}


@cache
def made_here() -> Multiplier:
    """Four units of one maker and one bench."""
    return fit(known(*({**CORE, "maker": "East", "rated_current_ma": ma} for ma in (80, 88, 95, 101))))


@pytest.mark.parametrize(
    ("changes", "name", "blank"),
    [
        ({**CORE, "lamination": "m"}, "lamination", "lamination"),
        ({"core_area_cm2": 8.4, "lamination": "ei-scrapless"}, "lamination", "lamination"),
        ({**CORE, **HALVES, "hv_resistance_ohm": 188}, "halves", "hv_half_1_ohm"),
        ({"maker": " east"}, "maker", "maker"),
        ({"made_year": 1990}, "era", "made_year"),
        ({"contributor": "Alder Lane"}, "bench", "contributor"),
    ],
)
def test_what_is_named_moves_the_answer(changes, name, blank):
    without = {
        one: value for one, value in changes.items() if one != blank and not (name == "halves" and "half" in one)
    }
    told = made_here().estimate(unknown(changes, {"contributor": "", **without, "unit": "B"}))
    first, second = told["predictors"].str.split("+")
    assert [*first] == [*second, name]
    assert told["unused"].tolist() == ["", ""]
    assert not told.loc[0, FIGURES].equals(told.loc[1, FIGURES])


@pytest.mark.parametrize(
    ("changes", "idle"),
    [
        ({"no_load_v": 650}, "no_load_v"),
        ({**CORE, "core_area_cm2": 8.0}, "core_area_cm2"),
        ({"awg": 33, "wire_diameter_mm": 0.2}, "awg"),
        ({"lamination": "m"}, "lamination"),
        ({"maker": "West"}, "maker"),
        ({"contributor": "Tin Street"}, "contributor"),
    ],
)
def test_what_moves_nothing_is_named_as_given_and_not_used(changes, idle):
    without = {name: value for name, value in changes.items() if name != idle}
    told = made_here().estimate(unknown(changes, {**without, "unit": "B"}))
    assert told["unused"].tolist() == [idle, ""]
    assert told["predictors"].nunique() == 1
    assert told.loc[0, FIGURES].equals(told.loc[1, FIGURES])
    estimate = calib.estimate_unit(made_here(), unknown(changes))
    (said,) = estimate.unused
    assert f"Given, but not used: {said}." in str(estimate)


def test_without_volts_neither_resistance_tells_anything_and_as_read_no_slip_is_looked_for():
    wired = {"unit": "W", "rectifier": "bridge", "filter": "capacitor", "awg": 34}
    ohms = {"hv_resistance_ohm": 190, "winding_temp_c": 20, "primary_resistance_ohm": 4}
    told = made_here().estimate({**wired, **ohms}).iloc[0]
    assert (told["predictors"], told["unused"]) == ("gauge", "hv_resistance_ohm+primary_resistance_ohm")
    apart = unknown({**CORE, **HALVES, "lamination": "m", "hv_resistance_ohm": 188})
    assert made_here().estimate(apart, as_read=True)["unused"].tolist() == ["hv_half_1_ohm+lamination"]
    summed = unknown({**HALVES, "hv_resistance_ohm": ""})
    assert made_here().estimate(summed, as_read=True)["predictors"].tolist() == ["v_over_r+halves"]


def test_each_reason_is_of_a_column():
    assert {*data("unused.toml")} <= {one.name for one in fields(UnknownUnit)}
