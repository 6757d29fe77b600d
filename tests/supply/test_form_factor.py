"""The nominal form factors: what the solver makes of typical supplies, textbooks' ranges; ratings by them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from calib.errors import InputError
from calib.supply.form_factor import (
    FORM_FACTOR,
    FORM_FACTOR_SD,
    LARGE_CAPACITOR,
    SPREAD,
    convert_rating,
    primary_rms_per_dc,
    winding_rms_per_dc,
)
from tests.counts import share
from tests.scenes.typical_supplies import TYPICAL, spread, typical_form_factor


@pytest.mark.parametrize("pair", list(TYPICAL)[: share(2, len(TYPICAL))])
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


@pytest.mark.parametrize("pair", [("full-wave", "capacitor"), *SPREAD][: share(1, len(SPREAD) + 1)])
def test_silicon_and_valves_apart_are_what_the_solver_gives(pair):
    """The same recipe: smallest and largest k."""
    assert spread(*pair) == SPREAD[pair]


def test_the_mean_lies_within_what_it_is_the_mean_of():
    for pair, apart in SPREAD.items():
        low, high = min(apart["valve"][0], apart["silicon"][0]), max(apart["valve"][1], apart["silicon"][1])
        assert low < FORM_FACTOR[pair][0] < high
    for pair, (low, high) in LARGE_CAPACITOR.items():
        assert SPREAD[pair]["silicon"][0] < low < high
        assert high > SPREAD[pair]["silicon"][1]  # the cautious end


PAIR = st.sampled_from(sorted(FORM_FACTOR))


@given(st.floats(0.1, 1e5), PAIR, PAIR)
def test_there_and_back_returns_the_start(current_ma, was, becomes):
    there = convert_rating(current_ma, was, becomes)
    assert convert_rating(there.current_ma, becomes, was).current_ma == pytest.approx(current_ma, rel=1e-14)
    assert convert_rating(there.primary_limited_ma, becomes, was).primary_limited_ma == pytest.approx(
        current_ma, rel=1e-14
    )


def test_a_bridge_across_the_whole_winding_gives_between_a_half_and_0_71():
    """A centre tap's pulses in turn in two halves become each pulse through both: sqrt 2 in k, 2 in primary load."""
    found = convert_rating(100.0, ("full-wave", "capacitor"), ("bridge", "capacitor"), 1.2, 1.2 * math.sqrt(2))
    assert found.current_ma == pytest.approx(70.7107, rel=1e-6)
    assert found.primary_limited_ma == pytest.approx(50.0)


def test_a_half_wave_primary_carries_no_direct_current():
    assert primary_rms_per_dc("half-wave", 2.6) == pytest.approx(2.4)
    with pytest.raises(InputError, match=r"^k '0.9': is not above 1, as a half-wave rectifier's always is"):
        primary_rms_per_dc("half-wave", 0.9)


@pytest.mark.parametrize("bad", [0.0, -5.0, math.nan, math.inf])
def test_a_rating_is_above_zero(bad):
    with pytest.raises(InputError, match=rf"^current_ma '{bad}': is not above 0"):
        convert_rating(bad, ("full-wave", "capacitor"), ("full-wave", "choke"))


def test_a_rating_of_a_pair_that_does_not_exist_is_refused():
    with pytest.raises(InputError, match=r"^rectifier 'doubler': does not go with filter 'choke'; give one of:"):
        convert_rating(50.0, ("doubler", "choke"), ("full-wave", "choke"))
