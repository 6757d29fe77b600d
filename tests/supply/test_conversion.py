"""Ratings from one rectifier and filter to another."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from calib.errors import InputError
from calib.supply.conversion import convert_rating, primary_rms_per_dc
from calib.supply.form_factor import FORM_FACTOR

PAIR = st.sampled_from(sorted(FORM_FACTOR))


@given(st.floats(0.1, 1e5), PAIR, PAIR)
def test_there_and_back_returns_the_start(current_ma, was, becomes):
    there = convert_rating(current_ma, was, becomes)
    assert convert_rating(there.current_ma, becomes, was).current_ma == pytest.approx(current_ma, rel=1e-14)
    assert convert_rating(there.primary_limited_ma, becomes, was).primary_limited_ma == pytest.approx(
        current_ma, rel=1e-14
    )


@pytest.mark.parametrize(("factor", "expected"), [(1.0, 153.615), (1.06227, 144.610)])
def test_the_worked_half_with_choke_input(factor, expected):
    """Worked value T4.8: 108.622 mA in each half at 93.7494 mA; choke input without limit and at twice critical."""
    found = convert_rating(
        93.7494, ("full-wave", "capacitor"), ("full-wave", "choke"), 108.622 / 93.7494, factor / math.sqrt(2)
    )
    assert found.current_ma == pytest.approx(expected, rel=5e-6)


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


def test_a_pair_that_does_not_exist_is_refused():
    with pytest.raises(InputError, match=r"^rectifier 'doubler': does not go with filter 'choke'; give one of:"):
        convert_rating(50.0, ("doubler", "choke"), ("full-wave", "choke"))
