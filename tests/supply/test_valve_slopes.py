"""The derivatives that Newton's method for valves is given, against complex steps through everything at once."""

from __future__ import annotations

import numpy as np
import pytest

from calib.supply import valve_wave
from calib.supply.valve_slopes import slopes


@pytest.mark.parametrize(
    ("kind", "period"),
    [
        ("capacitor", np.pi),
        ("capacitor", 2 * np.pi),
        ("doubler", 2 * np.pi),
        ("stopping", np.pi),
        ("stopping", 2 * np.pi),
        ("continuous", np.pi),
    ],
)
def test_derivatives_are_those_of_the_residuals(kind, period):
    rng = np.random.default_rng(11)
    count = 5
    wanted = valve_wave.Wanted(
        rng.uniform(0.02, 0.1, count),
        rng.uniform(3, 30, count),
        rng.uniform(0.2, 2, count),
        rng.uniform(-0.02, 0.02, count),
        rng.uniform(5, 30, count),
        period,
        kind,
    )
    elements, states = wanted.shape
    knots = rng.uniform(0.2, 0.9, (count, elements * states * (valve_wave.DEGREE + 1)))
    ends = np.stack((rng.uniform(0.3, 0.9, count), rng.uniform(2.2, 3.6, count), rng.uniform(-0.5, 0.2, count)), axis=1)
    unknowns = np.concatenate((knots, ends), axis=1)
    stepped = unknowns[:, None, :] + 1e-30j * np.eye(unknowns.shape[1])
    expected = np.swapaxes(valve_wave.residuals(wanted.wider(1), stepped).imag / 1e-30, 1, 2)
    assert np.abs(expected).max() > 1
    np.testing.assert_allclose(slopes(wanted, unknowns), expected, rtol=1e-9, atol=1e-11)
