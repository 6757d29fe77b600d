"""Units that people read in: each conversion against its definition, there and back, and the marks of a rule."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from calib.bench import MEASURES, inch_fraction, measure


@pytest.mark.parametrize(
    ("unit", "symbol", "typed", "kept"),
    [
        ("mm", "in", 1.125, 28.575),  # 25.4 mm to the inch, exactly
        ("mm", "mm", 28.0, 28.0),
        ("°C", "°F", 68.0, 20.0),  # room temperature of IEC 60028
        ("°C", "°F", -40.0, -40.0),  # where both scales agree
        ("°C", "°F", 212.0, 100.0),  # boiling
        ("K", "°F", 9.0, 5.0),  # a difference has no zero of its own
        ("cm²", "in²", 1.0, 6.4516),  # 25.4 mm squared
        ("kg", "lb", 1.0, 0.45359237),  # NIST SP 811
        ("ohm", "kΩ", 2.611, 2611.0),
    ],
)
def test_what_is_typed_becomes_what_is_kept(unit, symbol, typed, kept):
    assert measure(unit, symbol).kept(typed) == kept
    assert measure(unit, symbol).typed(kept) == pytest.approx(typed, rel=1e-11)


@given(st.sampled_from(sorted(MEASURES)), st.floats(-1e4, 1e4), st.data())
def test_there_and_back_is_where_one_was(unit, value, data):
    one = data.draw(st.sampled_from(MEASURES[unit]))
    assert one.typed(one.kept(value)) == pytest.approx(value, rel=1e-9, abs=1e-8)


@pytest.mark.parametrize("unit", sorted(MEASURES))
def test_the_first_of_each_is_the_unit_itself(unit):
    assert MEASURES[unit][0].kept(12.34) == 12.34


def test_a_unit_that_is_not_read_in_names_those_that_are():
    with pytest.raises(ValueError, match="unit is 'cubit': for a quantity kept in mm it must be one of mm, in"):
        measure("mm", "cubit")
    with pytest.raises(ValueError, match="kept in A it must be one of none"):
        measure("A", "mA")


@pytest.mark.parametrize(
    ("inch", "mark"),
    [(1.125, "1 1/8"), (0.875, "7/8"), (1.0, ""), (2.031, "2 1/32"), (1.13, ""), (0.0126, ""), (0.0156, "1/64")],
)
def test_a_rules_mark(inch, mark):
    assert inch_fraction(inch) == mark
