"""Periodic steady state with thermionic rectifiers, which obey i = G v^1.5: collocation on the conduction interval.

The law has no closed form through a capacitor. On the interval the states are polynomials that satisfy the circuit's
equations at Gauss points of an angle phi, t = start + (stop - start)(1 - cos phi)/2, in which current that begins and
ends as a 3/2 power is smooth; outside it the capacitor discharges exactly. The ends of the interval and the load
resistance are unknowns of the same system. Voltages are in units of the winding's peak, currents of the load current.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev, legendre

from calib.supply.numerics import Array

DEGREE = 24
POINTS, WEIGHTS = legendre.leggauss(DEGREE)
KNOTS = -np.cos(np.pi * np.arange(DEGREE + 1) / DEGREE)
_BASIS = np.linalg.inv(chebyshev.chebvander(KNOTS, DEGREE))
VALUE = chebyshev.chebvander(POINTS, DEGREE) @ _BASIS
SLOPE = np.stack([chebyshev.chebval(POINTS, chebyshev.chebder(row)) for row in np.eye(DEGREE + 1)], axis=1) @ _BASIS
LOOK_AT = np.linspace(-1, 1, 301)
LOOK = chebyshev.chebvander(LOOK_AT, DEGREE) @ _BASIS


@dataclass(frozen=True)
class Wanted:
    """What the cases of one system have, arrays of one value a case; every attribute may gain axes at its end.

    Attributes
    ----------
    source : array
        Source and choke resistance in units of peak over load current [1].
    reactance : array
        omega C (each capacitor's) times that unit [1].
    choke : array
        omega L over that unit; unused with capacitor input [1].
    drop : array
        Constant drop over peak; negative where the primary raises the source [1].
    perveance : array
        G of what conducts, times peak^1.5 over load current [1].
    period : float
        pi or 2 pi; 2 pi for a doubler [rad].
    kind : str
        capacitor, doubler, stopping (choke whose current stops) or continuous (choke whose current never stops).
    """

    source: Array
    reactance: Array
    choke: Array
    drop: Array
    perveance: Array
    period: float
    kind: str

    @property
    def shape(self) -> tuple[int, int]:
        """Elements of the interval and states."""
        return {"capacitor": (1, 1), "doubler": (1, 2), "stopping": (2, 2), "continuous": (1, 2)}[self.kind]

    def rows(self, which: slice | Array) -> Wanted:
        """Some of the cases."""
        return self._each(lambda part: part[which])

    def wider(self, axes: int) -> Wanted:
        """The same with ``axes`` more axes of length one."""
        return self._each(lambda part: part.reshape(part.shape + (1,) * axes))

    def _each(self, change: Callable[[Array], Array]) -> Wanted:
        parts = (self.source, self.reactance, self.choke, self.drop, self.perveance)
        source, reactance, choke, drop, perveance = (change(part) for part in parts)
        return Wanted(source, reactance, choke, drop, perveance, self.period, self.kind)


def current_through(volts: Array, source: Array, perveance: Array) -> Array:
    """Current through resistance and valve in series: source i + (i/perveance)^(2/3) = volts; complex steps allowed."""
    have = np.maximum(volts.real, 0)
    stiff = source * perveance
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.fmin(np.sqrt(have), np.cbrt(have / stiff))
        for _ in range(
            7
        ):  # from above, at most a third too large: each round squares the error, which is exact by the 6th
            root = root - np.where(root > 0, (stiff * root**3 + root**2 - have) / (3 * stiff * root**2 + 2 * root), 0)
    current = perveance * root**3
    if not np.iscomplexobj(volts):
        return current
    return current + 1j * volts.imag * (3 * perveance * root / (3 * stiff * root + 2))


def drop_of(current: Array, perveance: Array) -> Array:
    """Drop of the valve at a current, (i/perveance)^(2/3); complex steps allowed."""
    positive = current.real > 0
    return np.where(positive, (np.where(positive, current, 1) / perveance) ** (2 / 3), 0)


def ends_of(wanted: Wanted, start: Array, stop: Array) -> list[tuple[Array, Array]]:
    """Bounds of the elements: two for a choke, parted where the source is turned over or else halfway."""
    if wanted.shape[0] == 1:
        return [(start, stop)]
    crosses = (stop.real > np.pi) & (wanted.period < 4)
    middle = np.where(crosses, np.pi + 0 * start, (start + stop) / 2)
    return [(start, middle), (middle, stop)]


def angles(start: Array, stop: Array, points: Array) -> tuple[Array, Array]:
    """Angles at points from -1 to 1 of an element, and their derivative; an axis of points is added."""
    phi = (points + 1) * np.pi / 2
    length = (stop - start)[..., None]
    return start[..., None] + length * (1 - np.cos(phi)) / 2, length * np.sin(phi) * np.pi / 4


def source_emf(wanted: Wanted, angle: Array) -> Array:
    """The source less the constant drop, turned over after pi with a full-wave rectifier, over peak [1]."""
    turned = (angle.real > np.pi) & (wanted.period < 4)
    return np.where(turned, -np.sin(angle), np.sin(angle)) - wanted.drop


def motion(wanted: Wanted, angle: Array, state: Array, ratio: Array) -> tuple[Array, Array]:
    """Derivative of the states and the rectifier's current, axes (…, states, points); wanted has an axis for points."""
    emf = source_emf(wanted, angle)
    first = state[..., 0, :]
    if wanted.kind in ("capacitor", "doubler"):
        total = state.sum(axis=-2)
        current = current_through(emf - first, wanted.source, wanted.perveance)
        drain = total / ratio
        parts = [(current - drain) / wanted.reactance]
        if wanted.kind == "doubler":
            parts.append(-drain / wanted.reactance)
        return np.stack(parts, axis=-2), current
    voltage = state[..., 1, :]
    swing = emf - wanted.source * first - drop_of(first, wanted.perveance) - voltage
    return np.stack((swing / wanted.choke, (first - voltage / ratio) / wanted.reactance), axis=-2), first


def unpack(wanted: Wanted, unknowns: Array) -> tuple[Array, Array, Array, Array]:
    """States at the knots (…, elements, states, knots), start, stop and load resistance."""
    elements, states = wanted.shape
    values = unknowns[..., :-3].reshape(*unknowns.shape[:-1], elements, states, DEGREE + 1)
    return values, unknowns[..., -3], unknowns[..., -2], np.exp(unknowns[..., -1])


def residuals(wanted: Wanted, unknowns: Array) -> Array:
    """What the unknowns leave of the circuit's equations, zero at the steady state; wanted has the unknowns' axes."""
    values, start, stop, ratio = unpack(wanted, unknowns)
    found, charge = [], np.zeros_like(start)
    wide = wanted.wider(1)
    for number, (low, high) in enumerate(ends_of(wanted, start, stop)):
        angle, stretch = angles(low, high, POINTS)
        knots = values[..., number, :, :]
        slope, current = motion(wide, angle, knots @ VALUE.T, ratio[..., None])
        gap = knots @ SLOPE.T - stretch[..., None, :] * slope
        found.append(gap.reshape(*gap.shape[:-2], -1))
        charge = charge + (WEIGHTS * stretch * current).sum(axis=-1)
        if number:
            found.append(knots[..., 0] - values[..., number - 1, :, -1])
    conditions = edges(wanted, (values[..., 0, :, 0], values[..., -1, :, -1]), (start, stop), ratio)
    return np.concatenate((*found, np.stack((*conditions, charge / wanted.period - 1), axis=-1)), axis=-1)


def edges(wanted: Wanted, states: tuple[Array, Array], ends: tuple[Array, Array], ratio: Array) -> list[Array]:
    """The conditions at both ends of the interval."""
    (first, last), (start, stop) = states, ends
    w = wanted.reactance * ratio
    if wanted.kind == "continuous":
        return [start, stop - np.pi, last[..., 0] - first[..., 0], w * (last[..., 1] - first[..., 1])]
    at_start, at_stop = source_emf(wanted, start), source_emf(wanted, stop)
    if wanted.kind == "doubler":
        fall = np.exp(-2 * (np.pi + start - stop) / w)
        total = w * (last.sum(axis=-1) * fall - first.sum(axis=-1))
        other = w * (last[..., 0] - last[..., 1] - first[..., 1] + first[..., 0])
        return [first[..., 0] - at_start, last[..., 0] - at_stop, total, other]
    fall = np.exp(-(wanted.period + start - stop) / w)
    closure = w * (last[..., -1] * fall - first[..., -1])
    if wanted.kind == "capacitor":
        return [first[..., 0] - at_start, last[..., 0] - at_stop, closure]
    return [first[..., 0], first[..., 1] - at_start, last[..., 0], closure]
