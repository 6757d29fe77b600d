"""The model: what each known unit says, and where each coefficient stands.

::

    ln(k m) = a + b ln(A/10 cm²) + c ln(f/60 Hz) + d ln[(V/R)/2] + e ln(V/600 V) + g w + h p
              + j q + supply + evidence + era + size class + maker + contributor + error

with m = I/(V/R) the multiplier [mA per V/ohm], I the rated direct current [mA]; k the winding's rms current per direct
current of the supply (form factor); A the core's gross area, f the line's frequency, V the no-load voltage and
R the resistance at 20 °C of the whole winding; w, p and q by how much the wire's area, the primary's resistance and the
weight depart, in their logarithms, from what the readings before them lead one to expect. Supply, evidence, era, size
class, maker and contributor are deviations about 0 (of evidence about its bias). The error is normal: noise² + the
meters' variance of ln(V/R) + the evidence's own; or the record is grossly wrong and the error is shifted or broad
(gross_errors.py, mixture.py). a to j come under the design model's prior (prior.py); the standard deviations of noise,
class, contributor and evidence are variance components that are averaged over (variance_components.py). Whatever was
not read is expected from what was (imputation.py), and how far it may lie from that is part of the error.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS
from calib.errors import CannotError
from calib.fitting.features import CORE, ERAS, PAIRS, READINGS, V_OVER_R, VOLTAGE, Features, places
from calib.fitting.imputation import Completed, Imputation
from calib.fitting.prior import HANGING, MAIN, MAKER_SD, Prior
from calib.register.fields import GRADES as EVIDENCE_GRADES
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


GRADES = {name: Grade(one["bias"], one["bias_sd"], one["sd"]) for name, one in EVIDENCE_GRADES.items()}
GRADE_NAMES = tuple(GRADES)
SUPPLY_SD_FLOOR = 0.01
# Makers' habits drift between the units that were recorded and one that is asked about: sd in ln I (judgement). With
# the wire measured, what drifts in how full a window is wound is seen, and the habit of current density is left.
DRIFT_SD = 0.05
DRIFT_WITH_WIRE_SD = 0.045
# Of each era, sd in ln I: a judgement, since of the valve era hardly a unit with all three figures was found.
ERA_SD = 0.28
MOST_NAMES = 2000  # contributors, and makers: the normal equations hold the square of that
SUPPLIES = tuple(f"{rectifier}, {filter}" for rectifier, filter in PAIRS)


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
    """The columns of the design matrix: terms, supplies, evidence grades, eras, size classes, makers, contributors.

    Attributes
    ----------
    contributors, makers : tuple of str
        Names of those with known units, sorted.
    """

    contributors: tuple[str, ...]
    makers: tuple[str, ...] = ()

    @classmethod
    def of(cls, contributors: Iterable[str], makers: Iterable[str] = ()) -> Design:
        """For names as they occur; raises CannotError where they are more than can be told apart."""
        names = [tuple(sorted(set(each) - {""})) for each in (contributors, makers)]
        for what, each in zip(("contributors", "makers"), names, strict=True):
            if len(each) > MOST_NAMES:
                raise CannotError(f"{len(each)} {what} are more than the {MOST_NAMES} that one fit tells apart")
        return cls(*names)

    @cached_property
    def levels(self) -> dict[str, tuple[str, ...]]:
        """The blocks of coefficients after those of main, each with its levels."""
        return {
            "supply": SUPPLIES,
            "evidence": GRADE_NAMES,
            "era": ERAS,
            "class": SIZE_CLASS_LABELS,
            "maker": self.makers,
            "contributor": self.contributors,
        }

    @property
    def names(self) -> tuple[str, ...]:
        """A readable name for every coefficient, in order."""
        called = {"class": "size class"}
        blocks = [f"{called.get(block, block)} {level}" for block, levels in self.levels.items() for level in levels]
        return (*MAIN, *blocks)

    @cached_property
    def starts(self) -> dict[str, int]:
        """First column of each block."""
        sizes = {"main": len(MAIN), **{block: len(levels) for block, levels in self.levels.items()}}
        return dict(zip(sizes, np.cumsum([0, *sizes.values()]).tolist(), strict=False))

    @property
    def width(self) -> int:
        """Number of coefficients."""
        return self.starts["contributor"] + len(self.contributors)

    def block(self, name: str) -> slice:
        """The columns of a block."""
        return slice(self.starts[name], self.starts[name] + len(self.levels[name]))

    def matrix(self, rows: Features, completed: np.ndarray | float) -> np.ndarray:
        """Design matrix of units; unknown ones have no evidence column, strangers no contributor or maker column."""
        x = np.zeros((len(rows), self.width))
        x[:, : len(MAIN)] = completed
        at = np.arange(len(rows))
        x[at, self.starts["supply"] + rows.pair] = 1.0
        for block, levels in list(self.levels.items())[1:]:
            index = places(levels, rows.frame["size_class" if block == "class" else block])
            x[at[index >= 0], self.starts[block] + index[index >= 0]] = 1.0
        return x

    def strange(self, rows: Features) -> np.ndarray:
        """Variance of ln(k m) of units whose maker is not told, or has no known unit, shape (n,)."""
        return np.where(places(self.makers, rows.frame["maker"]) >= 0, 0.0, MAKER_SD**2)

    def prior(self, prior: Prior, scales: VarianceComponents) -> tuple[np.ndarray, np.ndarray]:
        """Prior mean, shape (p,), and precision, shape (p, p), of the coefficients at given scales."""
        mean, sd = np.zeros(self.width), np.ones(self.width)
        mean[: len(MAIN)] = prior.main.mean
        mean[self.block("evidence")] = [grade.bias for grade in GRADES.values()]
        sd[self.block("supply")] = [max(FORM_FACTOR_SD[pair], SUPPLY_SD_FLOOR) for pair in PAIRS]
        sd[self.block("evidence")] = [grade.bias_sd for grade in GRADES.values()]
        sd[self.block("era")], sd[self.block("maker")] = ERA_SD, MAKER_SD
        sd[self.block("class")], sd[self.block("contributor")] = scales.size_class, scales.contributor
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
class Unmeasured:
    """What a unit's current is uncertain by for what was not measured on it.

    Attributes
    ----------
    slope : numpy.ndarray, shape (6,)
        Coefficients of the columns that hang on readings, for ln(k m).
    moment : numpy.ndarray, shape (6, 6)
        Their expected products.
    without_ratio : numpy.ndarray, shape (6, 6)
        The same for ln(k I) of a unit whose V/R is not known, and is part of what is expected.
    """

    slope: np.ndarray
    moment: np.ndarray
    without_ratio: np.ndarray

    @classmethod
    def of(cls, mean: np.ndarray, covariance: np.ndarray) -> Unmeasured:
        """From the mean and covariance of the coefficients, of which those of main count."""
        slope, spread = mean[HANGING], covariance[np.ix_(HANGING, HANGING)]
        blank = slope + (np.array(HANGING) == MAIN.index("v_over_r"))
        return cls(slope, np.outer(slope, slope) + spread, np.outer(blank, blank) + spread)

    @classmethod
    def before(cls, prior: Prior) -> Unmeasured:
        """By the prior's terms, where there is no posterior yet."""
        return cls.of(prior.main.mean, np.zeros_like(prior.main.covariance))

    def variance(self, rows: Features, completed: Completed) -> np.ndarray:
        """What the blanks and the meters add to the variance of ln(k m), without V/R of ln(k I), shape (n,)."""
        carried = np.array([self.carried(one) for one in completed.by_ratio])[completed.pattern]
        ratio = completed.variance(self.moment) + carried * rows.reading_variance
        return np.where(rows.has_ratio, ratio, completed.variance(self.without_ratio))

    def carried(self, by_ratio: np.ndarray) -> float:
        """Share of the variance of ln(V/R) that ends in ln(k I): little where the wire is known beside."""
        return float(1 + 2 * by_ratio @ self.slope + by_ratio @ self.moment @ by_ratio)

    def beside(self, imputation: Imputation) -> float:
        """Variance that a unit carries of which V, R and core alone were read."""
        pattern = np.isin(np.arange(len(READINGS) + 2), (VOLTAGE, V_OVER_R, CORE))
        return float(np.sum(imputation.gain(pattern)[1] * self.moment))


def unit_variance(rows: Features, unmeasured: np.ndarray, scales: VarianceComponents) -> np.ndarray:
    """Variance of ln(k m) of each unit about its line: noise, and what is not known of it (`Unmeasured`, `strange`)."""
    # Without a core its expectation stands in; the class it would have had is unknown too.
    return scales.noise**2 + unmeasured + np.where(rows.has_core, 0.0, scales.size_class**2)


def drift_variance(rows: Features) -> np.ndarray:
    """Variance in ln I of each unit for habits that drift, less where its wire was measured."""
    return np.where(rows.has_wire, DRIFT_WITH_WIRE_SD, DRIFT_SD) ** 2


def grade_variance(rows: Features, scales: VarianceComponents) -> np.ndarray:
    """Variance of each known unit's stated current about the maker's own rating, by its evidence."""
    return np.square(scales.grades)[places(GRADE_NAMES, rows.frame["evidence"])]
