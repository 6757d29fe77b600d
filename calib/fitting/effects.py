"""The coefficients of the fit in one vector: terms, supplies, evidence grades, size classes, contributors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS
from calib.fitting.chains import Sides
from calib.fitting.prior import MAIN, Prior
from calib.fitting.rows import PAIRS, Facts, places
from calib.supply.form_factor import FORM_FACTOR_SD

if TYPE_CHECKING:
    import pandas as pd


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


@dataclass(frozen=True)
class Scales:
    """The scale parameters.

    Attributes
    ----------
    noise : float
        Standard deviation of ln(k m) between sound units whose core and wire are known.
    size_class, contributor : float
        Standard deviation of the class and of the contributor deviations.
    grades : tuple of float
        Standard deviation of a stated current about the maker's own rating, by evidence in the order of GRADES.
    """

    noise: float
    size_class: float
    contributor: float
    grades: tuple[float, ...] = tuple(grade.sd for grade in GRADES.values())


@dataclass(frozen=True)
class Layout:
    """Where each coefficient stands.

    Attributes
    ----------
    contributors : tuple of str
        Names of the contributors with known units, sorted.
    """

    contributors: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """A readable name for every coefficient, in order."""
        supplies = [f"supply {rectifier}, {filter}" for rectifier, filter in PAIRS]
        grades = [f"evidence {name}" for name in GRADE_NAMES]
        classes = [f"size class {label}" for label in SIZE_CLASS_LABELS]
        return (*MAIN, *supplies, *grades, *classes, *(f"contributor {name}" for name in self.contributors))

    @property
    def starts(self) -> dict[str, int]:
        """First column of each block."""
        sizes = {"main": len(MAIN), "supply": len(PAIRS), "evidence": len(GRADES), "class": len(SIZE_CLASS_LABELS)}
        at, starts = 0, {}
        for name, size in sizes.items():
            starts[name] = at
            at += size
        return {**starts, "contributor": at}

    @property
    def width(self) -> int:
        """Number of coefficients."""
        return self.starts["contributor"] + len(self.contributors)

    def design(self, rows: Facts, completed: np.ndarray) -> np.ndarray:
        """Design matrix of units; unknown ones have no evidence column, strangers no contributor column."""
        x = np.zeros((len(rows), self.width))
        x[:, : len(MAIN)] = completed
        starts, at = self.starts, np.arange(len(rows))
        x[at, starts["supply"] + rows.pair] = 1.0
        for name, known in (
            ("evidence", GRADE_NAMES),
            ("class", SIZE_CLASS_LABELS),
            ("contributor", self.contributors),
        ):
            column = {"class": "size_class"}.get(name, name)
            index = places(known, rows.frame[column])
            x[at[index >= 0], starts[name] + index[index >= 0]] = 1.0
        return x

    @property
    def classes(self) -> slice:
        """The columns of the size classes."""
        return slice(self.starts["class"], self.starts["contributor"])

    @staticmethod
    def class_columns(labels: pd.Series) -> np.ndarray:
        """The columns of the size classes for units of these classes, shape (n, 7)."""
        return (places(SIZE_CLASS_LABELS, labels)[:, None] == np.arange(len(SIZE_CLASS_LABELS))).astype(float)

    def prior(self, prior: Prior, scales: Scales) -> tuple[np.ndarray, np.ndarray]:
        """Prior mean, shape (p,), and precision, shape (p, p), of the coefficients at given scales."""
        mean, starts = np.zeros(self.width), self.starts
        mean[: len(MAIN)] = prior.main.mean
        grades = slice(starts["evidence"], starts["class"])
        mean[grades] = [grade.bias for grade in GRADES.values()]
        sd = np.ones(self.width)
        sd[starts["supply"] : starts["evidence"]] = [max(FORM_FACTOR_SD[pair], SUPPLY_SD_FLOOR) for pair in PAIRS]
        sd[grades] = [grade.bias_sd for grade in GRADES.values()]
        sd[starts["class"] : starts["contributor"]] = scales.size_class
        sd[starts["contributor"] :] = scales.contributor
        precision = np.diag(sd**-2.0)
        precision[: len(MAIN), : len(MAIN)] = np.linalg.inv(prior.main.covariance)
        return mean, precision


@dataclass(frozen=True)
class Unmeasured:
    """Variance that a unit carries for what was not measured on it.

    Attributes
    ----------
    core, wire : float
        Expected square of the term times the square of its side regression's scatter.
    """

    core: float
    wire: float

    @classmethod
    def of(cls, mean: np.ndarray, covariance: np.ndarray, sides: Sides) -> Unmeasured:
        """From the mean and covariance of the terms of main."""
        square = mean**2 + np.diag(covariance)
        core, wire = MAIN.index("core"), MAIN.index("wire")
        return cls(float(square[core] * sides.core.scatter**2), float(square[wire] * sides.wire.scatter**2))


def unit_variance(rows: Facts, unmeasured: Unmeasured, scales: Scales) -> np.ndarray:
    """Variance of ln(k m) of each unit about its line: noise, what was not measured, and the meters' share."""
    total = np.full(len(rows), scales.noise**2) + rows.reading_variance
    total += np.where(rows.has_wire, 0.0, unmeasured.wire)
    # Without a core its expectation stands in; the class it would have had is unknown too.
    return total + np.where(rows.has_core, 0.0, unmeasured.core + scales.size_class**2)


def drift_variance(rows: Facts) -> np.ndarray:
    """Variance in ln I of each unit for habits that drift, less where its wire was measured."""
    return np.where(rows.has_wire, DRIFT_WITH_WIRE_SD, DRIFT_SD) ** 2


def grade_variance(rows: Facts, scales: Scales) -> np.ndarray:
    """Variance of each known unit's stated current about the maker's own rating, by its evidence."""
    return np.square(scales.grades)[places(GRADE_NAMES, rows.frame["evidence"])]
