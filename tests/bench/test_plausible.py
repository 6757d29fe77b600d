"""What an entry outside its limits was probably meant to be."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import example, given, strategies as st

from calib.units import meant

STACK = (3.0, 500.0, 10.0, 90.0, "mm")
OHM = (0.001, 1e6, 20.0, 2000.0, "ohm")
MILLIAMPERE = (0.1, 1e5, 10.0, 600.0, "mA")
TEMPERATURE = (-40.0, 200.0, 5.0, 40.0, "°C")
VOLT = (0.0, 1e4, 40.0, 3000.0, "V")
HERTZ = (10.0, 1000.0, 24.0, 62.0, "Hz")


@pytest.mark.parametrize(
    ("value", "limits", "expected", "slip"),
    [
        (4000.0, STACK, 40.0, "slipped by 2 places"),
        (1.5, (3.0, 500.0, 20.0, 90.0, "mm"), 38.1, "typed in inches"),  # 1.5 in x 25.4
        (967.74, STACK, 38.1, "multiplied by 25.4"),
        (0.0381, STACK, 38.1, "typed in metres"),
        (2.8, STACK, 28.0, "typed in cm"),
        (2e6, OHM, 2000.0, "typed in milliohms"),
        (-188.6, OHM, 188.6, "a stray minus sign"),
        (0.092, MILLIAMPERE, 92.0, "typed in amperes"),
        (212.0, (-40.0, 200.0, 5.0, 130.0, "°C"), 100.0, "typed in °F"),  # water boils
        (1e5, VOLT, 1000.0, "slipped by 2 places"),
        (6.5e5, VOLT, 650.0, "typed in millivolts"),
        (6000.0, HERTZ, 60.0, "slipped by 2 places"),
        (6.0, HERTZ, 60.0, "slipped by 1 place"),
        (1.47, (9.0, 2500.0, 9.0, 60.0, "cm²"), 9.4838, "typed in square inches"),  # x 6.4516
    ],
)
def test_slips(value, limits, expected, slip):
    found = meant(value, *limits)
    assert found.value == pytest.approx(expected, rel=1e-4)
    assert slip in found.slip
    assert (found.typed, found.unit) == (value, limits[-1])


@pytest.mark.parametrize(
    ("value", "limits"),
    [
        (40.0, STACK),  # usual
        (300.0, STACK),  # unusual, but within its limits
        (1e9, STACK),  # no change explains it
        (math.nan, STACK),
        (math.inf, STACK),
        (0.0, OHM),
    ],
)
def test_where_there_is_nothing_to_offer(value, limits):
    assert meant(value, *limits) is None


def test_the_smallest_change_comes_first_and_the_next_is_offered_too():
    found = meant(1.5, 3.0, 500.0, 10.0, 60.0, "mm")
    assert (found.value, found.slip) == (pytest.approx(15.0), "typed in cm")  # ten times; an inch would be 25.4 times
    assert found.others[0] == (pytest.approx(38.1), "typed in inches")
    assert found.sentence("a tongue") == (
        "a tongue of 1.5 mm: did you mean 15 mm (typed in cm) or 38.1 mm (typed in inches)?"
    )


def test_the_sentence():
    words = "a stack of 4000 mm: did you mean 40 mm (the decimal point slipped by 2 places)?"
    assert meant(4000.0, *STACK).sentence("a stack") == words
    assert meant(6000.0, 10.0, 1000.0, 24.0, 62.0).sentence() == (
        "an entry of 6000: did you mean 60 (the decimal point slipped by 2 places)?"
    )


@given(st.floats(-1e7, 1e7), st.sampled_from([STACK, OHM, MILLIAMPERE, TEMPERATURE, VOLT, HERTZ]))
def test_only_the_usual_is_offered_and_only_for_what_is_refused(value, limits):
    found = meant(value, *limits)
    low, high, usual_low, usual_high, _ = limits
    if low <= value <= high:
        assert found is None
    elif found is not None:
        assert all(usual_low <= one <= usual_high for one in (found.value, *(other for other, _ in found.others)))


@example(10.0, 1 / 25.4)
@given(st.floats(10.0, 90.0), st.sampled_from([10.0, 100.0, 1000.0, 0.1, 0.01, 0.001, 25.4, 1 / 25.4]))
def test_a_slip_of_a_usual_stack_is_found_again(true, factor):
    value = true * factor
    if not 3.0 <= value <= 500.0:
        found = meant(value, *STACK)
        assert any(one == pytest.approx(true) for one in (found.value, *(other for other, _ in found.others)))


@given(st.floats(-30.0, 40.0))
def test_fahrenheit_is_found_again(celsius):
    limits = (-40.0, 45.0, -30.0, 40.0, "°C")
    fahrenheit = 32.0 + 1.8 * celsius
    if fahrenheit > 45.0:
        assert meant(fahrenheit, *limits).value == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ((3.0, 500.0, 1.0, 90.0, "mm"), "usual range is 1 to 90 mm: it must lie in 3 to 500"),
        ((3.0, 500.0, 90.0, 10.0, "mm"), "usual range is 90 to 10 mm"),
        ((500.0, 3.0, 10.0, 90.0, ""), "usual range is 10 to 90: it must lie in 500 to 3"),
    ],
)
def test_impossible_limits_are_named(limits, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        meant(4000.0, *limits)
