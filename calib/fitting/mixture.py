"""Given the scales, everything but each record's soundness is linear and Gaussian: the inner solution.

The posterior of the coefficients and each record's odds are found together by mean-field iteration (variational
Bayes; Bishop, Pattern Recognition and Machine Learning, chapter 10), which is deterministic and also bounds the
evidence for the scales from below. The formulas of the mixture serve the fit in memory, of arrays, and the fit in
passes, of columns of a table.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, wraps
from typing import Any, ParamSpec, TypeVar

import numpy as np
from scipy.linalg.lapack import dpotrs
from threadpoolctl import ThreadpoolController

LN_2PI = float(np.log(2 * np.pi))
SHARE_PRIOR = (2.0, 38.0)  # Beta prior of the share of unsound records: mean 5 %
MAX_ROUNDS = 300
TOLERANCE = 1e-5  # in the log evidence, where the search for the scales is read to 1e-2
P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True)
class Iteration:
    """How an iteration ended.

    Attributes
    ----------
    what : str
        What was iterated for, in words.
    rounds, most : int
        Rounds taken, and how many it may take.
    converged : bool
        Whether it came to rest within its tolerance.
    """

    what: str
    rounds: int
    most: int
    converged: bool

    def __str__(self) -> str:
        end = "settled" if self.converged else "not settled"
        return f"{self.what}: {end} in {self.rounds} of at most {self.most} rounds"


def unsettled(iterations: tuple[Iteration, ...]) -> tuple[str, ...]:
    """A note for each iteration that did not come to rest."""
    return tuple(str(one) for one in iterations if not one.converged)


@dataclass(frozen=True)
class Evidence:
    """What the inner solution is given; s slips, of which the last is an unexplained error of the response.

    Attributes
    ----------
    matrix : numpy.ndarray, shape (n, p)
        Of the design, one row a record.
    response : numpy.ndarray, shape (n,)
        ln(k m).
    variance : numpy.ndarray, shape (n, s + 1)
        Variance about the line: of a sound record first, then under each slip.
    shift : numpy.ndarray, shape (n, s + 1)
        What each adds to the residual; nothing where sound.
    log_side : numpy.ndarray, shape (n, s + 1)
        Log-likelihood of what else is known of the record (core and wire against V/R), with the log of each slip's
        share among the unsound.
    counts : numpy.ndarray, shape (n,)
        How many records each counts for: below 1 where several are of one transformer.
    """

    matrix: np.ndarray
    response: np.ndarray
    variance: np.ndarray
    shift: np.ndarray
    log_side: np.ndarray
    counts: np.ndarray

    @cached_property
    def ln_variance(self) -> np.ndarray:
        """Of each variance, shape (n, s + 1): the iteration asks for it every round."""
        return np.log(self.variance)


@dataclass(frozen=True)
class Posterior:
    """Posterior at one value of the scales.

    Attributes
    ----------
    mean, covariance : numpy.ndarray
        Of the coefficients.
    weight : numpy.ndarray, shape (n,)
        Precision with which each record pulled.
    responsibilities : numpy.ndarray, shape (n, s + 1)
        Of sound, then of each slip: the probability of each.
    share : float
        Share of unsound records.
    bound : float
        Lower bound of the log evidence; NaN where it was not reckoned.
    converged : bool
        Whether the iteration came to rest; True where none is needed.
    rounds : int
        How many it took; 0 where none is needed.
    """

    mean: np.ndarray
    covariance: np.ndarray
    weight: np.ndarray
    responsibilities: np.ndarray
    share: float
    bound: float
    converged: bool = True
    rounds: int = 0


def soundness(posteriors: Sequence[Posterior]) -> Iteration:
    """How the responsibilities and the coefficients were found together: the worst of several posteriors."""
    worst = min(posteriors, key=lambda one: (one.converged, -one.rounds))
    return Iteration("odds that each record is sound", worst.rounds, MAX_ROUNDS, worst.converged)


def solve(
    evidence: Evidence, prior_mean: np.ndarray, prior_precision: np.ndarray, start: Posterior | None = None
) -> Posterior:
    """Posterior of the coefficients and of each record's soundness at given scales.

    Parameters
    ----------
    evidence : Evidence
        The records; none is a valid number.
    prior_mean : numpy.ndarray, shape (p,)
        Prior mean.
    prior_precision : numpy.ndarray, shape (p, p)
        Inverse of the prior's covariance.
    start : Posterior, optional
        A posterior at nearby scales, whose odds are gone on from.

    Returns
    -------
    Posterior
        At the fixed point, or after MAX_ROUNDS rounds, and then not converged.
    """
    x, y = evidence.matrix, evidence.response
    identity, pull = np.eye(len(prior_mean)), prior_precision @ prior_mean
    log_prior = np.linalg.slogdet(prior_precision)[1]
    if start is None:
        covariance = dpotrs(np.linalg.cholesky(prior_precision), identity, lower=True)[0]
        odds, _ = _normalised(_log_each(evidence, prior_mean, covariance, SHARE_PRIOR[0] / sum(SHARE_PRIOR)))
    else:
        odds = start.responsibilities
    last, converged, rounds = -np.inf, False, 0
    while not converged and rounds < MAX_ROUNDS:
        rounds += 1
        share = unsound_share(evidence.counts @ (1 - odds[:, 0]), evidence.counts.sum())
        weight = _weight(evidence, odds)
        weighted = x * weight[:, None]
        factor = np.linalg.cholesky(prior_precision + weighted.T @ x)
        covariance = dpotrs(factor, identity, lower=True)[0]
        mean = covariance @ (pull + weighted.T @ y)
        odds, log_totals = _normalised(_log_each(evidence, mean, covariance, share))
        away = mean - prior_mean
        divergence = np.sum(prior_precision * covariance) + away @ prior_precision @ away - len(mean)
        divergence = 0.5 * (divergence - log_prior + 2 * np.log(np.diag(factor)).sum())
        bound = (
            evidence.counts @ log_totals
            - divergence
            + (SHARE_PRIOR[0] * np.log(share) + SHARE_PRIOR[1] * np.log1p(-share))
        )
        converged = bool(abs(bound - last) < TOLERANCE)
        last = bound
    return Posterior(mean, covariance, weight, odds, float(share), float(bound), converged, rounds)


def judged(evidence: Evidence, mean: np.ndarray, covariance: np.ndarray, share: float) -> Posterior:
    """What given coefficients say of each record; the bound is not reckoned."""
    odds, _ = _normalised(_log_each(evidence, mean, covariance, share))
    return Posterior(mean, covariance, _weight(evidence, odds), odds, share, float("nan"))


def log_normal(square: Any, variance: Any, ln_variance: Any) -> Any:
    """Log of a normal density by the square of what lies off its mean: of arrays or of columns of a table."""
    return -0.5 * (LN_2PI + ln_variance + square / variance)


def precision_pulled(sound: Any, variance: Any, unexplained: Any, broad: Any) -> Any:
    """Precision with which a record pulls: as far as it is sound, and as far as its response is off, cause unknown."""
    return sound / variance + unexplained / broad


def unsound_share(unsound: float, count: float) -> float:
    """Posterior mean of the share of unsound records, so many of the count being unsound."""
    return (SHARE_PRIOR[0] + unsound) / (sum(SHARE_PRIOR) + count)


def _weight(evidence: Evidence, odds: np.ndarray) -> np.ndarray:
    pulled = precision_pulled(odds[:, 0], evidence.variance[:, 0], odds[:, -1], evidence.variance[:, -1])
    return evidence.counts * pulled


def _normalised(log_each: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each row's probabilities, and the log of their total."""
    if not len(log_each):
        return np.exp(log_each), np.zeros(0)
    top = log_each.max(axis=1, keepdims=True)
    odds = np.exp(log_each - top)
    total = odds.sum(axis=1, keepdims=True)
    return odds / total, (top + np.log(total))[:, 0]


def _log_each(evidence: Evidence, mean: np.ndarray, covariance: np.ndarray, share: float) -> np.ndarray:
    """Expected log-likelihood of each record under sound and under each slip, with the log of its share."""
    x = evidence.matrix
    residual = evidence.response - x @ mean
    spread = np.einsum("ij,ij->i", x @ covariance, x)
    square = (residual[:, None] - evidence.shift) ** 2 + spread[:, None]
    logs = evidence.log_side + log_normal(square, evidence.variance, evidence.ln_variance)
    logs[:, 0] += np.log1p(-share)
    logs[:, 1:] += np.log(share)
    return logs


@cache
def _threads() -> ThreadpoolController:
    return ThreadpoolController()


def same_digits(function: Callable[P, R]) -> Callable[P, R]:
    """Run a function with linear algebra on one thread, so that its digits do not depend on the number of cores.

    A linear algebra library shares its sums among threads, and sums in another order end in other digits; at the sizes
    of a fit one thread is the faster way too.
    """

    @wraps(function)
    def alone(*args: P.args, **kwargs: P.kwargs) -> R:
        with _threads().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return alone
