"""The model: what each known unit says, and where each coefficient stands.

::

    ln(k m) = a + b ln(A/10 cm²) + c ln(f/60 Hz) + d ln[(V/R)/2] + e ln(V/600 V) + g w
              + supply + evidence + size class + contributor + error

with m = I/(V/R) the multiplier [mA per V/ohm], I the rated direct current [mA]; k the winding's rms current per direct
current of the supply (form factor); A the core's gross area, f the line's frequency, V the no-load voltage and
R the resistance at 20 °C of the whole winding; w by how much ln(wire area) departs from what the other readings lead
one to expect. Supply, evidence, size class and contributor are deviations about 0 (of evidence about its bias). The
error is normal: noise² + the meters' variance of ln(V/R) + the evidence's own; or the record is grossly wrong and the
error is shifted or broad (gross_errors.py, mixture.py). a to g come under the design model's prior (prior.py); the
standard deviations of noise, class, contributor and evidence are variance components that are averaged over
(variance_components.py). A core or a wire that was not measured is imputed by a regression on what was, whose scatter
is then part of the error.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS
from calib.errors import CannotError
from calib.fitting.features import PAIRS, Features, places
from calib.fitting.mixture import Iteration
from calib.fitting.prior import MAIN, Prior, PriorRegression
from calib.supply.form_factor import FORM_FACTOR_SD


@dataclass(frozen=True)
class Grade:
    """What an evidence grade says of the maker's own rating, in ln I; starting values by judgement.

    Attributes
    ----------
    bias, bias_sd : float
        Mean error of the grade, and how well that mean is known: estimated with the rest.
    sd : float
        Scatter of one record of the grade.
    """

    bias: float
    bias_sd: float
    sd: float


GRADES = {
    "nameplate": Grade(0.0, 0.02, 0.08),
    "maker-data": Grade(0.0, 0.02, 0.06),
    "set-data": Grade(-0.15, 0.08, 0.18),
    "wire-measured": Grade(0.0, 0.15, 0.20),  # the assumed current density is common to the grade
    "heat-run": Grade(0.0, 0.03, 0.08),
}
GRADE_NAMES = tuple(GRADES)
SUPPLY_SD_FLOOR = 0.01
# Makers' habits drift between the units that were recorded and one that is asked about: sd in ln I (judgement). With
# the wire measured, what drifts in how full a window is wound is seen, and the habit of current density is left.
DRIFT_SD = 0.1
DRIFT_WITH_WIRE_SD = 0.09
MOST_CONTRIBUTORS = 2000  # the normal equations hold the square of that
CORE_COLUMNS = [0, 2, 3, 4]
ROUNDS, TOLERANCE = 300, 1e-10  # of an imputation: of a coefficient and of ln scatter
UNSOUND, UNSOUND_SD = 0.05, 1.0  # there: share of records that scatter broadly, and how broadly
# The blocks of coefficients after those of MAIN, each with its levels; the contributors' follow.
LEVELS = {
    "supply": tuple(f"{rectifier}, {filter}" for rectifier, filter in PAIRS),
    "evidence": GRADE_NAMES,
    "class": SIZE_CLASS_LABELS,
}


@dataclass(frozen=True)
class VarianceComponents:
    """The standard deviations that are averaged over.

    Attributes
    ----------
    noise : float
        Of ln(k m) between sound units whose core and wire are known.
    size_class, contributor : float
        Of the class and of the contributor deviations.
    grades : tuple of float
        Of a stated current about the maker's own rating, by evidence in the order of GRADES.
    """

    noise: float
    size_class: float
    contributor: float
    grades: tuple[float, ...] = tuple(grade.sd for grade in GRADES.values())


@dataclass(frozen=True)
class Design:
    """The columns of the design matrix: terms, supplies, evidence grades, size classes, contributors.

    Attributes
    ----------
    contributors : tuple of str
        Names of the contributors with known units, sorted.
    """

    contributors: tuple[str, ...]

    @classmethod
    def of(cls, contributors: Iterable[str]) -> Design:
        """For contributors as they occur; raises CannotError where they are more than can be told apart."""
        names = tuple(sorted(set(contributors) - {""}))
        if len(names) > MOST_CONTRIBUTORS:
            raise CannotError(
                f"{len(names)} contributors are more than the {MOST_CONTRIBUTORS} that one fit tells apart"
            )
        return cls(names)

    @property
    def names(self) -> tuple[str, ...]:
        """A readable name for every coefficient, in order."""
        called = {"class": "size class"}
        blocks = [f"{called.get(block, block)} {level}" for block, levels in LEVELS.items() for level in levels]
        return (*MAIN, *blocks, *(f"contributor {name}" for name in self.contributors))

    @property
    def starts(self) -> dict[str, int]:
        """First column of each block."""
        sizes = {"main": len(MAIN), **{block: len(levels) for block, levels in LEVELS.items()}}
        ends = np.cumsum([0, *sizes.values()]).tolist()
        return dict(zip([*sizes, "contributor"], ends, strict=True))

    @property
    def width(self) -> int:
        """Number of coefficients."""
        return self.starts["contributor"] + len(self.contributors)

    @property
    def classes(self) -> slice:
        """The columns of the size classes."""
        return slice(self.starts["class"], self.starts["contributor"])

    def matrix(self, rows: Features, completed: np.ndarray | float) -> np.ndarray:
        """Design matrix of units; unknown ones have no evidence column, strangers no contributor column."""
        x = np.zeros((len(rows), self.width))
        x[:, : len(MAIN)] = completed
        starts, at = self.starts, np.arange(len(rows))
        x[at, starts["supply"] + rows.pair] = 1.0
        for block, column, levels in (
            ("evidence", "evidence", GRADE_NAMES),
            ("class", "size_class", SIZE_CLASS_LABELS),
            ("contributor", "contributor", self.contributors),
        ):
            index = places(levels, rows.frame[column])
            x[at[index >= 0], starts[block] + index[index >= 0]] = 1.0
        return x

    def prior(self, prior: Prior, scales: VarianceComponents) -> tuple[np.ndarray, np.ndarray]:
        """Prior mean, shape (p,), and precision, shape (p, p), of the coefficients at given scales."""
        mean, starts = np.zeros(self.width), self.starts
        mean[: len(MAIN)] = prior.main.mean
        grades = slice(starts["evidence"], starts["class"])
        mean[grades] = [grade.bias for grade in GRADES.values()]
        sd = np.ones(self.width)
        sd[starts["supply"] : starts["evidence"]] = [max(FORM_FACTOR_SD[pair], SUPPLY_SD_FLOOR) for pair in PAIRS]
        sd[grades] = [grade.bias_sd for grade in GRADES.values()]
        sd[self.classes] = scales.size_class
        sd[starts["contributor"] :] = scales.contributor
        precision = np.diag(sd**-2.0)
        precision[: len(MAIN), : len(MAIN)] = np.linalg.inv(prior.main.covariance)
        return mean, precision


def is_placed(rows: Features) -> np.ndarray:
    """Which known units have all that the model needs: supply, evidence and the readings of V, R and current."""
    known = (rows.pair >= 0) & (places(GRADE_NAMES, rows.frame["evidence"]) >= 0)
    return known & np.isfinite(rows.response)


def refuse(unplaced: int) -> None:
    """Refuse records that the model has no place for, so many of them, by a CannotError; of none nothing."""
    if unplaced:
        said = f"{unplaced} records lack a needed reading, evidence or supply; calib.read_known names them"
        raise CannotError(said)


@dataclass(frozen=True)
class SideRegression:
    """A regression of what a unit may lack on what it has, after the records.

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
class Imputation:
    """What a core and a wire must be, given the readings: both regressions, and how they complete covariates."""

    core: SideRegression
    wire: SideRegression

    @property
    def iterations(self) -> tuple[Iteration, ...]:
        """How both were found."""
        return self.core.iteration, self.wire.iteration

    def complete(self, rows: Features) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Covariates of main with blanks filled by expectation, and each departure from it.

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


def impute(rows: Features, prior: Prior) -> Imputation:
    """Both regressions from the known units."""
    known, wired = rows.take(rows.has_core), rows.take(rows.has_wire)
    core = _robust(known.covariates[:, CORE_COLUMNS], known.covariates[:, 1], prior.core, "cores given the readings")
    wire = _robust(wired.covariates, wired.wire, prior.wire, "wires given the readings")
    return Imputation(core, wire)


def _robust(x: np.ndarray, y: np.ndarray, under: PriorRegression, what: str) -> SideRegression:
    """Regression under a prior in which a share of rows scatters broadly, by expectation maximisation."""
    precision = np.linalg.inv(under.covariance)
    terms, ln_scatter, held = under.mean, under.ln_scatter, precision
    rounds, converged = 0, not len(y)
    while not converged and rounds < ROUNDS:
        rounds += 1
        scatter = np.exp(ln_scatter)
        residual = y - x @ terms
        odds = sound_odds(residual, scatter)
        weight = odds / scatter**2 + (1 - odds) / (scatter**2 + UNSOUND_SD**2)
        held = precision + (x * weight[:, None]).T @ x
        before, terms = terms, np.linalg.solve(held, precision @ under.mean + x.T @ (weight * y))
        spread = np.einsum("ij,ij->i", x @ np.linalg.inv(held), x)
        # Mode of ln scatter under its normal prior, one Newton step.
        count, squares = odds.sum(), (odds * ((y - x @ terms) ** 2 + spread)).sum() / scatter**2
        slope = -count + squares - (ln_scatter - under.ln_scatter) / under.ln_scatter_sd**2
        move = np.clip(slope / (2 * squares + 1 / under.ln_scatter_sd**2), -0.5, 0.5)
        ln_scatter = ln_scatter + move
        converged = bool(max(np.max(np.abs(terms - before)), abs(move)) < TOLERANCE)
    covariance = np.linalg.inv(held)
    return SideRegression(terms, float(np.exp(ln_scatter)), covariance, Iteration(what, rounds, ROUNDS, converged))


def sound_odds(residual: np.ndarray, scatter: float) -> np.ndarray:
    """Probability that a row scatters as sound ones do and not broadly."""
    broad = np.hypot(scatter, UNSOUND_SD)
    sound = (1 - UNSOUND) / scatter * np.exp(-0.5 * (residual / scatter) ** 2)
    other = UNSOUND / broad * np.exp(-0.5 * (residual / broad) ** 2)
    return sound / (sound + other)


@dataclass(frozen=True)
class Unmeasured:
    """Variance that a unit carries for what was not measured on it.

    Attributes
    ----------
    core, wire : float
        Expected square of the term times the square of its imputation's scatter.
    """

    core: float
    wire: float

    @classmethod
    def of(cls, mean: np.ndarray, covariance: np.ndarray, imputation: Imputation) -> Unmeasured:
        """From the mean and covariance of the coefficients, of which those of main count."""
        square = mean**2 + np.diag(covariance)
        core, wire = MAIN.index("core"), MAIN.index("wire")
        return cls(float(square[core] * imputation.core.scatter**2), float(square[wire] * imputation.wire.scatter**2))

    @classmethod
    def before(cls, prior: Prior, imputation: Imputation) -> Unmeasured:
        """By the prior's terms, where there is no posterior yet."""
        return cls.of(prior.main.mean, np.zeros_like(prior.main.covariance), imputation)


def unit_variance(rows: Features, unmeasured: Unmeasured, scales: VarianceComponents) -> np.ndarray:
    """Variance of ln(k m) of each unit about its line: noise, what was not measured, and the meters' share."""
    total = np.full(len(rows), scales.noise**2) + rows.reading_variance
    total += np.where(rows.has_wire, 0.0, unmeasured.wire)
    # Without a core its expectation stands in; the class it would have had is unknown too.
    return total + np.where(rows.has_core, 0.0, unmeasured.core + scales.size_class**2)


def drift_variance(rows: Features) -> np.ndarray:
    """Variance in ln I of each unit for habits that drift, less where its wire was measured."""
    return np.where(rows.has_wire, DRIFT_WITH_WIRE_SD, DRIFT_SD) ** 2


def grade_variance(rows: Features, scales: VarianceComponents) -> np.ndarray:
    """Variance of each known unit's stated current about the maker's own rating, by its evidence."""
    return np.square(scales.grades)[places(GRADE_NAMES, rows.frame["evidence"])]
