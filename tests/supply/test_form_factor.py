"""The nominal form factors: what the solver makes of typical supplies, and the ranges that textbooks give."""

from __future__ import annotations

import math

import pytest

from calib.errors import InputError
from calib.supply.form_factor import FORM_FACTOR, FORM_FACTOR_SD, LARGE_CAPACITOR, SPREAD, winding_rms_per_dc
from calib.supply.typical import CIRCUITS, spread, typical_form_factor


@pytest.mark.parametrize("pair", sorted(CIRCUITS))
def test_the_constants_are_what_the_solver_gives(pair):
    """The constants' own recipe run again, to the digits that they keep."""
    nominal, sd = typical_form_factor(*pair)
    assert (round(nominal, 4), round(sd, 4)) == FORM_FACTOR[pair]
    assert (winding_rms_per_dc(*pair), FORM_FACTOR_SD[pair]) == FORM_FACTOR[pair]


@pytest.mark.parametrize(
    ("pair", "low", "high"),
    [
        (("none", "none"), 1.0, 1.0),
        (("full-wave", "capacitor"), 1.14, 1.46),
        (("bridge", "capacitor"), 1.85, 2.06),
        (("half-wave", "capacitor"), 2.1, 2.6),
        (("doubler", "capacitor"), 2.9, 3.75),
        (("full-wave", "choke"), 0.71, 0.75),
        (("full-wave", "none"), 0.785, 0.8),
        (("bridge", "none"), 1.11, 1.13),
        (("half-wave", "none"), 1.57, 1.6),
    ],
)
def test_the_constants_lie_where_textbooks_have_them(pair, low, high):
    """R. Lee, "Electronic Transformers and Circuits", and O. H. Schade 1943, read at usual resistances."""
    assert low <= winding_rms_per_dc(*pair) <= high


def test_without_a_filter_they_are_those_of_a_sine():
    """pi/4, pi/(2 sqrt 2), pi/2 for an ideal rectifier; a drop narrows the pulse a little."""
    for rectifier, ideal in (
        ("full-wave", math.pi / 4),
        ("bridge", math.pi / math.sqrt(8)),
        ("half-wave", math.pi / 2),
    ):
        assert ideal <= winding_rms_per_dc(rectifier, "none") <= 1.01 * ideal


def test_a_pair_that_does_not_exist_is_refused():
    with pytest.raises(
        InputError, match=r"^rectifier 'bridge': does not go with filter 'pi'; give one of: none with none"
    ):
        winding_rms_per_dc("bridge", "pi")


@pytest.mark.parametrize("pair", [("half-wave", "capacitor"), ("full-wave", "choke")])
def test_silicon_and_valves_apart_are_what_the_solver_gives(pair):
    """The same recipe: smallest and largest k, by hand of `python -m calib.supply.typical` for the other pairs."""
    assert spread(*pair) == SPREAD[pair]


def test_the_mean_lies_within_what_it_is_the_mean_of():
    for pair, apart in SPREAD.items():
        low, high = min(apart["valve"][0], apart["silicon"][0]), max(apart["valve"][1], apart["silicon"][1])
        assert low < FORM_FACTOR[pair][0] < high
    for pair, (low, high) in LARGE_CAPACITOR.items():
        assert SPREAD[pair]["silicon"][0] < low < high
        assert high > SPREAD[pair]["silicon"][1]  # the cautious end
