"""Figures as people read them."""

from __future__ import annotations

import math

import pytest

from calib import words


@pytest.mark.parametrize(
    ("value", "u", "told"),
    [
        (187.5432, 1.16, ("187.5", "1.2")),
        (77.102, 0.0057, ("77.1020", "0.0057")),
        (5.0925, 0.0997, ("5.09", "0.10")),  # which rounds to one place less
        (-12532.4987, 123.4, ("-12532", "123")),
        (188.6, 0.0, ("188.60", "0")),
        (188.6, math.nan, ("188.60", "–")),
    ],
)
def test_a_value_has_the_digits_that_its_uncertainty_deserves(value: float, u: float, told: tuple[str, str]) -> None:
    assert words.with_u(value, u) == told
