"""Averaging over the scale parameters: their mode, and a few nodes round it with weights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.optimize import minimize

from calib.fit.effects import Scales
from calib.fit.prior import Chain

# Median and standard deviation of ln of the class's and the contributor's deviations (judgement).
CLASS_SD, CLASS_SPREAD = 0.04, 0.5
CONTRIBUTOR_SD, CONTRIBUTOR_SPREAD = 0.05, 0.6
FIRST_STEP = 0.5
HERMITE = np.polynomial.hermite_e.hermegauss(3)


@dataclass(frozen=True)
class Node:
    """One value of the scales with its share of the average."""

    scales: Scales
    share: float


def scales_at(u: np.ndarray, noise: Chain) -> Scales:
    """Scales at a point in units of their prior's standard deviation."""
    return Scales(
        float(np.exp(noise.ln_scatter + u[0] * noise.ln_scatter_sd)),
        float(CLASS_SD * np.exp(u[1] * CLASS_SPREAD)),
        float(CONTRIBUTOR_SD * np.exp(u[2] * CONTRIBUTOR_SPREAD)),
    )


def nodes_of(bound: Callable[[Scales], float], noise: Chain) -> list[Node]:
    """Quadrature over the scales: their posterior's mode first, found by simplex search, then a grid round it.

    Parameters
    ----------
    bound : callable
        Log evidence at given scales.
    noise : Chain
        Whose scatter is the noise.

    Returns
    -------
    list of Node
        The mode first; shares add to 1. Gauss-Hermite points along the axes of the posterior's curvature, each
        weighted by the evidence found there (importance weights), so that skewness is kept.
    """

    def posterior(u: np.ndarray) -> float:
        return bound(scales_at(u, noise)) - 0.5 * float(u @ u)

    start = np.zeros(3)
    simplex = np.vstack([start, np.eye(3) * FIRST_STEP])
    found = minimize(
        lambda u: -posterior(u),
        start,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.05, "fatol": 0.01, "maxfev": 70},
    )
    mode, top = found.x, -float(found.fun)
    sd = _widths(posterior, mode, top)
    points, log_weights = [mode], []
    for z in product(range(3), repeat=3):
        step = HERMITE[0][list(z)]
        if np.any(step):
            points.append(mode + sd * step)
        log_weights.append(float(np.log(HERMITE[1][list(z)]).sum() + 0.5 * step @ step))
    centre = log_weights.pop(13)
    values = np.array([top, *(posterior(point) for point in points[1:])])
    logs = values + np.array([centre, *log_weights])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    return [Node(scales_at(point, noise), float(share)) for point, share in zip(points, shares, strict=True)]


def _widths(posterior: Callable[[np.ndarray], float], mode: np.ndarray, top: float) -> np.ndarray:
    """Standard deviation along each scale from the curvature, measured over about one deviation."""
    sd = np.ones(3)
    for axis in range(3):
        for _ in range(2):
            step = np.zeros(3)
            step[axis] = sd[axis]
            drop = 2 * top - posterior(mode + step) - posterior(mode - step)
            sd[axis] = np.clip(sd[axis] / np.sqrt(max(drop, 0.25)), 0.02, 1.2)
    return sd
