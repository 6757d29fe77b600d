"""From a mixture of normal distributions to medians, intervals and odds."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

NEWTON_ROUNDS = 30


def quantiles(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, level: float) -> np.ndarray:
    """Quantile of each unit's mixture.

    Parameters
    ----------
    share : numpy.ndarray, shape (g,)
        Shares of the parts, adding to 1.
    mean, sd : numpy.ndarray, shape (g, n)
        Of each part.
    level : float
        Probability below the quantile, 0 to 1.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The quantiles, by Newton's method held inside a bracket.
    """
    at = mean + ndtri(level) * sd
    low, high = at.min(axis=0), at.max(axis=0)
    x = np.clip(share @ at, low, high)
    for _ in range(NEWTON_ROUNDS):
        z = (x - mean) / sd
        gap = share @ ndtr(z) - level
        high, low = np.where(gap > 0, x, high), np.where(gap <= 0, x, low)
        slope = share @ (np.exp(-0.5 * z * z) / sd) / np.sqrt(2 * np.pi)
        step = x - gap / np.maximum(slope, 1e-300)
        following = np.where((step > low) & (step < high), step, (low + high) / 2)
        if np.all(np.abs(following - x) < 1e-12):
            return following
        x = following
    return x


def exceeds(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Probability that each unit's mixture lies above a value, shape (n,)."""
    return share @ ndtr((mean - value) / sd)


def density(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Density of one unit's mixture (parts of shape (g, 1)) at many values, shape (m,)."""
    z = (value - mean) / sd
    return share @ (np.exp(-0.5 * z * z) / sd) / np.sqrt(2 * np.pi)
