"""The side regressions: what a core and a wire must be, given the readings, with slips kept from pulling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.fitting import prior as prior_module
from calib.fitting.mixture import Iteration
from calib.fitting.rows import Facts

CORE_COLUMNS = [0, 2, 3, 4]
ROUNDS, TOLERANCE = 300, 1e-10  # of a coefficient and of ln scatter
UNSOUND, UNSOUND_SD = 0.05, 1.0


@dataclass(frozen=True)
class Side:
    """A side regression after the records.

    Attributes
    ----------
    terms : numpy.ndarray
        Its coefficients.
    scatter : float
        Residual standard deviation of sound records.
    covariance : numpy.ndarray
        Of the coefficients.
    iteration : Iteration
        How it was found.
    """

    terms: np.ndarray
    scatter: float
    covariance: np.ndarray
    iteration: Iteration


@dataclass(frozen=True)
class Sides:
    """Both side regressions, and how they complete a unit's covariates."""

    core: Side
    wire: Side

    @property
    def iterations(self) -> tuple[Iteration, ...]:
        """How both were found."""
        return self.core.iteration, self.wire.iteration

    def complete(self, rows: Facts) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Covariates of main with blanks filled by expectation, and each departure from the chains.

        Returns
        -------
        tuple of numpy.ndarray
            Design columns in the order of prior.MAIN, shape (n, 6); departure of the core, shape (n,), and of the
            wire, shape (n,), NaN where not recorded.
        """
        x = rows.covariates
        expected = x[:, CORE_COLUMNS] @ self.core.terms
        filled = x.copy()
        filled[:, 1] = np.where(rows.has_core, x[:, 1], expected)
        wire = np.where(rows.has_core, rows.wire, np.nan) - filled @ self.wire.terms
        design = np.column_stack([filled, np.nan_to_num(wire)])
        return design, x[:, 1] - expected, wire


def fit_sides(rows: Facts, prior: prior_module.Prior) -> Sides:
    """Both side regressions from the known units."""
    known, wired = rows.take(rows.has_core), rows.take(rows.has_wire)
    core = _robust(known.covariates[:, CORE_COLUMNS], known.covariates[:, 1], prior.core, "cores given the readings")
    wire = _robust(wired.covariates, wired.wire, prior.wire, "wires given the readings")
    return Sides(core, wire)


def _robust(x: np.ndarray, y: np.ndarray, chain: prior_module.Chain, what: str) -> Side:
    """Regression under the chain's prior in which a share of rows scatters broadly, by expectation maximisation."""
    precision = np.linalg.inv(chain.covariance)
    terms, ln_scatter, held = chain.mean, chain.ln_scatter, precision
    rounds, converged = 0, not len(y)
    while not converged and rounds < ROUNDS:
        rounds += 1
        scatter = np.exp(ln_scatter)
        residual = y - x @ terms
        odds = sound_odds(residual, scatter)
        weight = odds / scatter**2 + (1 - odds) / (scatter**2 + UNSOUND_SD**2)
        held = precision + (x * weight[:, None]).T @ x
        before, terms = terms, np.linalg.solve(held, precision @ chain.mean + x.T @ (weight * y))
        spread = np.einsum("ij,ij->i", x @ np.linalg.inv(held), x)
        # Mode of ln scatter under its normal prior, one Newton step.
        count, squares = odds.sum(), (odds * ((y - x @ terms) ** 2 + spread)).sum() / scatter**2
        slope = -count + squares - (ln_scatter - chain.ln_scatter) / chain.ln_scatter_sd**2
        move = np.clip(slope / (2 * squares + 1 / chain.ln_scatter_sd**2), -0.5, 0.5)
        ln_scatter = ln_scatter + move
        converged = bool(max(np.max(np.abs(terms - before)), abs(move)) < TOLERANCE)
    covariance = np.linalg.inv(held)
    return Side(terms, float(np.exp(ln_scatter)), covariance, Iteration(what, rounds, ROUNDS, converged))


def sound_odds(residual: np.ndarray, scatter: float) -> np.ndarray:
    """Probability that a row scatters as sound ones do and not broadly."""
    broad = np.hypot(scatter, UNSOUND_SD)
    sound = (1 - UNSOUND) / scatter * np.exp(-0.5 * (residual / scatter) ** 2)
    other = UNSOUND / broad * np.exp(-0.5 * (residual / broad) ** 2)
    return sound / (sound + other)
