"""Root finding and averages over many cases at once: arrays in, arrays out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

Array = np.ndarray
MOST_ROUNDS, NEWTON_ROUNDS = 90, 60
_HALF_NODES, _HALF_WEIGHTS = np.polynomial.legendre.leggauss(32)
_NODES, _WEIGHTS = (_HALF_NODES + 1) / 2, _HALF_WEIGHTS / 2
FAST_SPANS = 14.0  # a fast exponential is resolved over this many of its own lengths


def bracketed_root(function: Callable[[Array], Array], low: Array, high: Array, tolerance: float = 1e-14) -> Array:
    """Root of each case between its own bounds, by bisection helped by inverse quadratic interpolation.

    A case without a change of sign gets the bound at which the function is nearer to zero, one whose bounds have not
    closed in MOST_ROUNDS rounds NaN.

    Parameters
    ----------
    function : callable
        Takes one value for each case and returns one for each; continuous between the bounds.
    low, high : array
        Bounds, one pair a case.
    tolerance : float
        Width relative to the root at which a case counts as done [1].

    Returns
    -------
    array
        The roots. Method: T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm", Advances in Engineering
        Software 1997.
    """
    newest, oldest = np.array(low, dtype=float), np.array(high, dtype=float)
    f_newest, f_oldest = function(newest), function(oldest)
    third, f_third = newest, f_newest
    single = np.sign(f_newest) == np.sign(f_oldest)
    step = np.full_like(newest, 0.5)
    for _ in range(MOST_ROUNDS):
        trial = newest + step * (oldest - newest)
        f_trial = function(trial)
        same = np.sign(f_trial) == np.sign(f_newest)
        third, f_third = np.where(same, newest, oldest), np.where(same, f_newest, f_oldest)
        oldest, f_oldest = np.where(same, oldest, newest), np.where(same, f_oldest, f_newest)
        newest, f_newest = trial, f_trial
        better = np.abs(f_newest) < np.abs(f_oldest)
        best = np.where(better, newest, oldest)
        width = np.abs(oldest - newest)
        limit = (2e-16 + tolerance / 2) * np.abs(best) + 1e-300
        done = single | (width <= 2 * limit) | (f_newest == 0) | (f_oldest == 0)
        if np.all(done):
            break
        step = _next_step((newest, oldest, third), (f_newest, f_oldest, f_third))
        least = np.minimum(limit / np.where(width > 0, width, 1), 0.5)
        step = np.clip(step, least, 1 - least)
    best = np.where(done, np.where(np.abs(f_newest) < np.abs(f_oldest), newest, oldest), np.nan)
    if np.any(single):
        nearer = np.abs(function(np.asarray(low, float))) <= np.abs(function(np.asarray(high, float)))
        best = np.where(single, np.where(nearer, low, high), best)
    return best


def _next_step(points: tuple[Array, Array, Array], values: tuple[Array, Array, Array]) -> Array:
    """Where between the two bounds to try next, as a share of the way from the newest."""
    (a, b, c), (fa, fb, fc) = points, values
    with np.errstate(all="ignore"):
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        smooth = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
        quadratic = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    return np.where(smooth & np.isfinite(quadratic), quadratic, 0.5)


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
) -> tuple[Array, Array]:
    """Solve small systems of equations, one system a case, by damped Newton steps.

    Parameters
    ----------
    residuals : callable
        Takes unknowns of shape (cases, n) and returns residuals of the same shape, of order one.
    start : array
        First guesses, shape (cases, n); unknowns of order one (angles, logarithms).
    slopes : callable, optional
        Derivatives of the residuals, shape (cases, n, n); by differences where it is not given.

    Returns
    -------
    unknowns, found : array, array of bool
        The solutions, and for which cases the residuals came down to rounding within NEWTON_ROUNDS steps.
    """
    here = np.array(start, dtype=float)
    slopes = slopes or (lambda unknowns: _differences(residuals, unknowns))
    with np.errstate(all="ignore"):
        value = residuals(here)
        size = np.nan_to_num(np.abs(value).max(1), nan=np.inf)
        for _ in range(NEWTON_ROUNDS):
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
