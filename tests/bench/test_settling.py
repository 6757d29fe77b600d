"""How long a winding takes to the temperature of the room."""

from __future__ import annotations

import math

import pytest

from calib.bench import SETTLING_H, difference_left_k, settling_h


@pytest.mark.parametrize(
    ("tongue_mm", "hours"),
    [
        (25.4, 5 * 25.4 / 60),  # about 1 min a mm of tongue, five time constants: 2.1 h
        (50.8, 5 * 50.8 / 60),  # 4.2 h
        (None, 4.0),  # soaked to room air, 4 h or more
    ],
)
def test_five_time_constants(tongue_mm, hours):
    assert settling_h(tongue_mm) == pytest.approx(hours)


def test_the_difference_dies_away_by_the_time_constant():
    """Just switched off: all of 55 K; after one time constant (48 mm: 48 min) 1/e of it; settled: under 1 %."""
    assert difference_left_k(0.0) == 55.0
    assert difference_left_k(48 / 60, 48.0) == pytest.approx(55.0 / math.e)
    assert difference_left_k(SETTLING_H) < 0.01 * 55.0
    assert difference_left_k(1.0, 25.4, at_first_k=10.0) == pytest.approx(10 * math.exp(-60 / 25.4))


@pytest.mark.parametrize(("hours", "tongue"), [(-1.0, None), (1.0, 0.0)])
def test_what_cannot_be_is_refused(hours, tongue):
    with pytest.raises(ValueError, match="must be finite and"):
        difference_left_k(hours, tongue)
