"""What every periodic steady state is solved with, many cases at once: per-unit values, roots, averages, two states.

Arrays in, arrays out. Voltages are in units of the winding's peak; angles are omega t.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from scipy.optimize import elementwise

Array = np.ndarray
Pair = tuple[Array, Array]
Held = TypeVar("Held")
NEWTON_ROUNDS = 60
_HALF_NODES, _HALF_WEIGHTS = np.polynomial.legendre.leggauss(32)
_NODES, _WEIGHTS = (_HALF_NODES + 1) / 2, _HALF_WEIGHTS / 2
FAST_SPANS = 14.0  # a fast exponential is resolved over this many of its own lengths


def each(held: Held, change: Callable[[Array], Array]) -> Held:
    """A dataclass with every array of it changed."""
    arrays = {name: value for name, value in vars(held).items() if isinstance(value, np.ndarray)}
    return replace(held, **{name: change(value) for name, value in arrays.items()})  # type: ignore[type-var]


@dataclass(frozen=True)
class PerUnit:
    """Cases of one circuit in units of peak voltage and load current; every array may gain axes at its end.

    Attributes
    ----------
    source : array
        Source and choke resistance over the unit, which is peak over load current [1].
    reactance : array
        omega C (each capacitor's) times the unit [1].
    choke : array
        omega L over the unit; unused with capacitor input [1].
    drop : array
        Constant drop over peak; negative where the primary cannot carry the direct current and so raises the source
        [1].
    perveance : array
        G of what conducts, times peak^1.5 over load current; infinite with diodes [1].
    period : float
        Between two pulses of one rectifier into its capacitor: pi (full-wave, bridge) or 2 pi [rad].
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
    def mean_emf(self) -> Array:
        """Mean of the positive part of sin t - drop over the period: what a short circuit would drive [1]."""
        d = np.clip(self.drop, -1, 1)
        edge = np.arcsin(d)
        return (2 * np.cos(edge) - d * (np.pi - 2 * edge)) / self.period

    def rows(self, which: slice | Array) -> PerUnit:
        """Some of the cases."""
        return each(self, lambda part: part[which])

    def wider(self, axes: int) -> PerUnit:
        """The same with ``axes`` more axes of length one."""
        return each(self, lambda part: part.reshape(part.shape + (1,) * axes))

    def at_share(self, share: float) -> PerUnit:
        """The same supplies at a share of the load current."""
        rarer = replace(self, reactance=self.reactance / share, perveance=self.perveance / share)
        return replace(rarer, source=self.source * share, choke=self.choke * share)


def root(function: Callable[..., Array], low: Array, high: Array, args: tuple[Array, ...], tolerance: float) -> Array:
    """Root of each case between its own bounds; without a change of sign the bound at which it is nearer to zero.

    Parameters
    ----------
    function : callable
        Takes one value for each case, and its ``args``, and returns one for each; continuous between the bounds.
    low, high : array
        Bounds, one pair a case.
    args : tuple of array
        What else the function goes by, a value a case.
    tolerance : float
        Width relative to the root at which a case counts as done [1].
    """
    found = elementwise.find_root(function, (low, high), args=args, tolerances={"xrtol": tolerance})
    (left, right), (at_left, at_right) = found.bracket, found.f_bracket
    return np.where(found.status == -1, np.where(np.abs(at_left) <= np.abs(at_right), left, right), found.x)


def nodes_between(start: Array, stop: Array, rate: Array) -> tuple[Array, Array]:
    """Gauss-Legendre nodes and weights on each case's own interval, in two panels.

    Parameters
    ----------
    start, stop : array
        Ends of the intervals, shape (cases,) [rad].
    rate : array
        Fastest exponential that starts at ``start`` [1/rad]: the first panel ends where it has died away.

    Returns
    -------
    nodes, weights : array
        Shape (cases, 64) [rad].
    """
    length = stop - start
    with np.errstate(divide="ignore"):
        first = np.minimum(length / 2, FAST_SPANS / rate)
    first = np.where(first > 1e-9 * length, first, length / 2)
    rest = length - first
    nodes = np.concatenate(
        (start[:, None] + first[:, None] * _NODES, (start + first)[:, None] + rest[:, None] * _NODES), axis=1
    )
    return nodes, np.concatenate((first[:, None] * _WEIGHTS, rest[:, None] * _WEIGHTS), axis=1)


def greatest(curve: Callable[[Array], Array], samples: Array) -> Array:
    """Greatest value of each case's curve: its highest sample, then three closer looks around it.

    Parameters
    ----------
    curve : callable
        Takes points and returns values, both of shape (cases, points).
    samples : array
        Points to look at first, ascending, shape (cases, points); the curve has one hump between neighbours at most.
    """
    rows = np.arange(len(samples))
    values = curve(samples)
    for _ in range(3):
        at = np.argmax(values, axis=1)
        low = samples[rows, np.maximum(at - 1, 0)]
        high = samples[rows, np.minimum(at + 1, samples.shape[1] - 1)]
        samples = np.linspace(low, high, 25, axis=1)
        values = curve(samples)
    return values.max(axis=1)


def newton(
    residuals: Callable[[Array], Array],
    start: Array,
    slopes: Callable[[Array], Array] | None = None,
    rounds: int | None = None,
) -> tuple[Array, Array]:
    """Solve small systems of equations, one system a case, by damped Newton steps.

    (scipy.optimize solves one system at a time, and elementwise single equations only.)

    Parameters
    ----------
    residuals : callable
        Takes unknowns of shape (cases, n) and returns residuals of the same shape, of order one.
    start : array
        First guesses, shape (cases, n); unknowns of order one (angles, logarithms).
    slopes : callable, optional
        Derivatives of the residuals, shape (cases, n, n); by differences where it is not given.
    rounds : int, optional
        Steps at most; NEWTON_ROUNDS where it is not given.

    Returns
    -------
    unknowns, found : array, array of bool
        The solutions, and for which cases the residuals came down to rounding within that many steps.
    """
    here = np.array(start, dtype=float)
    slopes = slopes or (lambda unknowns: _differences(residuals, unknowns))
    with np.errstate(all="ignore"):
        value = residuals(here)
        size = np.nan_to_num(np.abs(value).max(1), nan=np.inf)
        for _ in range(rounds or NEWTON_ROUNDS):
            slope = slopes(here)
            usable = np.isfinite(slope).all((1, 2)) & np.isfinite(value).all(1)
            slope[~usable] = np.eye(here.shape[1])
            usable &= np.linalg.slogdet(slope)[0] != 0
            slope[~usable] = np.eye(here.shape[1])
            move = -np.linalg.solve(slope, np.nan_to_num(value)[:, :, None])[:, :, 0]
            move *= np.minimum(1, 0.5 / np.maximum(np.abs(move).max(1), 1e-300))[:, None]
            move[~usable] = 0
            here, value, size, moved = _descend(residuals, here, move, size, value)
            if not np.any(moved & (np.abs(move).max(1) > 1e-13)):
                break
    return here, size < 1e-8


def _differences(residuals: Callable[[Array], Array], here: Array) -> Array:
    """Derivatives of the residuals by central differences, shape (cases, n, n)."""
    probes = 1e-6 * np.eye(here.shape[1])
    return np.stack([(residuals(here + probe) - residuals(here - probe)) / 2e-6 for probe in probes], axis=2)


def _descend(
    residuals: Callable[[Array], Array], here: Array, move: Array, size: Array, value: Array
) -> tuple[Array, Array, Array, Array]:
    """Take the longest of the steps move, move/2, move/4 … that makes the residuals smaller."""
    moved = np.zeros(len(here), bool)
    here, value, size = here.copy(), value.copy(), size.copy()
    length = 1.0
    for _ in range(12):
        trial = np.where(moved[:, None], here, here + length * move)
        found = residuals(trial)
        found_size = np.nan_to_num(np.abs(found).max(1), nan=np.inf)
        better = ~moved & (found_size < size)
        here[better], value[better], size[better] = trial[better], found[better], found_size[better]
        moved |= better
        if np.all(moved):
            break
        length /= 2
    return here, value, size, moved


@dataclass(frozen=True)
class Circuit:
    """Exact motion of a linear circuit of two states under a sine and a constant.

    y' = A y + g sin t + c, with y = (first, second); A, g and c constant, A stable. Every attribute is an array
    of one value a case, or of shape (cases, 1).

    Attributes
    ----------
    a11, a12, a21, a22 : array
        The matrix A [1/rad].
    steady : tuple of arrays
        Complex amplitudes of both states under the sine: y = Im(amplitude exp(jt)).
    constant : tuple of arrays
        What both states settle to under the constant c.
    """

    a11: Array
    a12: Array
    a21: Array
    a22: Array
    steady: Pair
    constant: Pair

    @property
    def rates(self) -> Pair:
        """Both eigenvalues of A, complex [1/rad]; the second is the faster."""
        mean = (self.a11 + self.a22) / 2
        determinant = self.a11 * self.a22 - self.a12 * self.a21
        root = np.sqrt((mean**2 - determinant).astype(complex))
        fast = mean - root
        return determinant / fast, fast

    def settled(self, angle: Array, sign: Array | float = 1.0) -> Pair:
        """The particular motion at an angle; sign -1 for a source that has been turned over."""
        turn = np.exp(1j * angle)
        first, second = ((amplitude * turn).imag for amplitude in self.steady)
        return sign * first + self.constant[0], sign * second + self.constant[1]

    def transition(self, length: Array) -> tuple[Array, Array, Array, Array]:
        """Elements of exp(A length), length from 0 [rad]."""
        slow, fast = self.rates
        gap = slow - fast
        decay = np.exp(slow * length)
        with np.errstate(all="ignore"):
            ratio = np.where(np.abs(gap * length) > 1e-12, -np.expm1(-gap * length) / gap, length)
        share = decay * ratio  # (exp(slow x) - exp(fast x))/(slow - fast)
        # exp(A x) = exp(slow x) I + share (A - slow I)
        return (
            (decay + share * (self.a11 - slow)).real,
            (share * self.a12).real,
            (share * self.a21).real,
            (decay + share * (self.a22 - slow)).real,
        )

    def move(self, state: Pair, start: Array, angle: Array, sign: Array | float = 1.0) -> Pair:
        """State at ``angle``, having been ``state`` at ``start``."""
        from_first, from_second = self.settled(start, sign)
        first, second = state[0] - from_first, state[1] - from_second
        m11, m12, m21, m22 = self.transition(angle - start)
        to_first, to_second = self.settled(angle, sign)
        return to_first + m11 * first + m12 * second, to_second + m21 * first + m22 * second

    def cycle(self, length: float) -> Pair:
        """State at angle 0 that comes back after ``length`` of always conducting, the source then starting anew."""
        zero = np.zeros_like(self.a11)
        m11, m12, m21, m22 = self.transition(zero + length)
        at_start, at_stop = self.settled(zero), self.settled(zero + length)
        b1, b2 = at_stop[0] - at_start[0], at_stop[1] - at_start[1]
        scale = (1 - m11) * (1 - m22) - m12 * m21
        first = ((1 - m22) * b1 + m12 * b2) / scale
        second = (m21 * b1 + (1 - m11) * b2) / scale
        return at_start[0] + first, at_start[1] + second
