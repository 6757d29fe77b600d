"""From a mixture of normal distributions to medians, intervals and odds."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

NEWTON_ROUNDS, TOLERANCE = 120, 1e-10
BLOCK = 1024  # units at a time, so that the parts stay in the processor's cache


def quantiles(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, level: float) -> np.ndarray:
    """Quantile of each unit's mixture.

    Parameters
    ----------
    share : numpy.ndarray, shape (g,) or (g, n)
        Shares of the parts, adding to 1: the same for every unit, or each unit's own.
    mean, sd : numpy.ndarray, shape (g, n)
        Of each part.
    level : float
        Probability below the quantile, 0 to 1.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The quantiles, by Newton's method held inside a bracket; NaN where it does not come to rest.
    """
    blocks = [slice(at, at + BLOCK) for at in range(0, mean.shape[1], BLOCK)]
    own = share.ndim > 1
    parts = [_quantiles(share[:, block] if own else share, mean[:, block], sd[:, block], level) for block in blocks]
    return np.concatenate(parts) if parts else np.empty(0)


def _quantiles(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, level: float) -> np.ndarray:
    at = mean + ndtri(level) * sd
    low, high = at.min(axis=0), at.max(axis=0)
    middle = _summed(share, mean)
    x = np.clip(middle + ndtri(level) * np.sqrt(_summed(share, sd**2 + (mean - middle) ** 2)), low, high)
    inverse = 1 / sd
    weights = share / np.sqrt(2 * np.pi)
    last = before = high - low
    found, left = x.copy(), np.arange(len(x))
    for _ in range(NEWTON_ROUNDS):
        z = (x - mean) * inverse
        gap = _summed(share, ndtr(z)) - level
        high, low = np.where(gap > 0, x, high), np.where(gap <= 0, x, low)
        slope = _summed(weights, np.exp(-0.5 * z * z) * inverse)
        step = -gap / np.maximum(slope, 1e-300)
        # Between humps Newton's steps can run in a circle: one that is not half the one before last halves the bracket.
        good = (x + step >= low) & (x + step <= high) & (np.abs(step) <= before / 2)
        following = np.where(good, x + step, (low + high) / 2)
        before, last = last, np.abs(following - x)
        x = found[left] = following
        going = last >= TOLERANCE
        if not going.any():
            return found
        if 2 * going.sum() < len(left):  # the few that take long are gone on with alone
            left, x, low, high, before, last = (one[going] for one in (left, x, low, high, before, last))
            mean, inverse = mean[:, going], inverse[:, going]
            share, weights = (one[:, going] if one.ndim > 1 else one for one in (share, weights))
    found[left[last >= TOLERANCE]] = np.nan
    return found


def exceeds(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Probability that each unit's mixture lies above a value, shape (n,)."""
    return _summed(share, ndtr((mean - value) / sd))


def density(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Density of one unit's mixture (parts of shape (g, 1)) at many values, shape (m,)."""
    z = (value - mean) / sd
    return _summed(share, np.exp(-0.5 * z * z) / sd) / np.sqrt(2 * np.pi)


def _summed(share: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """Sum over the parts, each by its share."""
    return share @ parts if share.ndim == 1 else np.einsum("gn,gn->n", np.broadcast_to(share, parts.shape), parts)
