"""Derivatives of the collocation's residuals: complex steps at each point, and the chain rule.

At a point the circuit's motion depends on the state there alone and on the two ends and the load resistance. So a few
complex steps of the motion give every derivative, and the polynomials, which are linear, carry them to the knots.
"""

from __future__ import annotations

import numpy as np

from calib.supply import valve_wave as wave
from calib.supply.numerics import Array
from calib.supply.valve_wave import Wanted

STEP = 1e-30


def slopes(wanted: Wanted, unknowns: Array) -> Array:
    """Derivative of every residual by every unknown, shape (cases, residuals, unknowns); exact to rounding."""
    values, start, stop, ratio = wave.unpack(wanted, unknowns)
    states = wanted.shape[1]
    points, knots, size = wave.DEGREE, wave.DEGREE + 1, unknowns.shape[1]
    found = np.zeros((len(unknowns), size, size))
    row = 0
    for number, (low, high) in enumerate(wave.ends_of(wanted, start, stop)):
        angle, stretch = wave.angles(low, high, wave.POINTS)
        motion, current = _by_state(wanted, angle, values[:, number] @ wave.VALUE.T, ratio)
        for state in range(states):
            column = (number * states + state) * knots
            where = slice(column, column + knots)
            for moved in range(states):
                rows = slice(row + moved * points, row + (moved + 1) * points)
                found[:, rows, where] = -(stretch * motion[:, moved, state])[:, :, None] * wave.VALUE
                if moved == state:
                    found[:, rows, where] += wave.SLOPE
            pulled = wave.WEIGHTS * stretch * current[:, state]
            found[:, -1, where] = pulled @ wave.VALUE / wanted.period
            if number:
                found[:, row + states * points + state, column] = 1
                found[:, row + states * points + state, column - (states - 1) * knots - 1] = -1
        row += states * points + (states if number else 0)
    _by_ends(wanted, unknowns, found, row)
    return found


def _by_state(wanted: Wanted, angle: Array, state: Array, ratio: Array) -> tuple[Array, Array]:
    """Derivatives by the state at each point: of its motion, (cases, moved, state, points), and of the current."""
    wide, motions, currents = wanted.wider(1), [], []
    for one in range(state.shape[1]):
        stepped = state.astype(complex)
        stepped[:, one] += STEP * 1j
        motion, current = wave.motion(wide, angle, stepped, ratio[:, None])
        motions.append(motion.imag / STEP)
        currents.append(current.imag / STEP)
    return np.stack(motions, axis=2), np.stack(currents, axis=1)


def _by_ends(wanted: Wanted, unknowns: Array, found: Array, first: int) -> None:
    """Put in derivatives by both ends and the load resistance, and those of the conditions from row ``first`` on."""
    size = unknowns.shape[1]
    probes = np.zeros((3, size), complex)
    probes[:, -3:] = 1j * STEP * np.eye(3)
    stepped = wave.residuals(wanted.wider(1), unknowns[:, None, :] + probes)
    found[:, :, -3:] = np.swapaxes(stepped.imag / STEP, 1, 2)
    values, start, stop, ratio = wave.unpack(wanted, unknowns)
    elements, states = wanted.shape
    knots = wave.DEGREE + 1
    for element, knot in ((0, 0), (elements - 1, knots - 1)):
        for state in range(states):
            ends = [values[:, 0, :, 0].astype(complex), values[:, -1, :, -1].astype(complex)]
            ends[knot > 0][:, state] += 1j * STEP
            conditions = wave.edges(wanted, (ends[0], ends[1]), (start, stop), ratio)
            column = (element * states + state) * knots + knot
            found[:, first:-1, column] = np.stack([np.imag(one) / STEP for one in conditions], axis=1)
