"""The known units and the prior, ready to be solved at any value of the scales."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calib.fitting import doubts
from calib.fitting.chains import Sides
from calib.fitting.effects import GRADE_NAMES, Layout, Scales, Unmeasured, unit_variance
from calib.fitting.mixture import Evidence, Solution, solve
from calib.fitting.prior import Prior
from calib.fitting.rows import Facts, places


@dataclass(frozen=True)
class Problem:
    """The records and the prior, ready to be solved at any scales."""

    rows: Facts
    layout: Layout
    sides: Sides
    unmeasured: Unmeasured
    prior: Prior

    @cached_property
    def design(self) -> np.ndarray:
        """Design matrix of the known units, shape (n, p)."""
        completed, _, _ = self.sides.complete(self.rows)
        return self.layout.design(self.rows, completed)

    @cached_property
    def slips(self) -> doubts.SlipEffects:
        """What each slip would do to each record."""
        return doubts.effects(self.rows, self.sides, self.prior)

    @cached_property
    def grade(self) -> np.ndarray:
        """Place of each record's evidence among the grades, shape (n,)."""
        return places(GRADE_NAMES, self.rows.frame["evidence"])

    def sound_variance(self, scales: Scales) -> np.ndarray:
        """Variance of each sound record about its line, its evidence included, shape (n,)."""
        return unit_variance(self.rows, self.unmeasured, scales) + np.square(scales.grades)[self.grade]

    def evidence(self, scales: Scales) -> Evidence:
        """What the inner solution is given at these scales."""
        variance = self.sound_variance(scales)[:, None] + self.slips.extra_variance
        return Evidence(self.design, self.rows.response, variance, self.slips.shift, self.slips.log_side)

    def solve(self, scales: Scales, start: Solution | None = None) -> Solution:
        """Posterior at these scales, gone on from a solution at others where one is given."""
        return solve(self.evidence(scales), *self.layout.prior(self.prior, scales), start)

    def step(self, scales: Scales, solution: Solution) -> tuple[np.ndarray, np.ndarray]:
        """Slope and information, in the ln of each scale, of the log-likelihood expected under a solution."""
        variance = self.sound_variance(scales)
        residual = self.rows.response - self.design @ solution.mean
        square = residual**2 + np.einsum("ij,ij->i", self.design @ solution.covariance, self.design)
        # Twice the slope and four times the information in each record's variance, by grade.
        slope = solution.odds[:, 0] * (square / variance - 1) / variance
        information = 2 * solution.odds[:, 0] / variance**2
        by_grade = [np.bincount(self.grade, part, len(scales.grades)) for part in (slope, information)]
        return scale_step(self.layout, scales, solution, *by_grade)


def scale_step(
    layout: Layout, scales: Scales, solution: Solution, slope: np.ndarray, information: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Slope, shape (8,), and information, shape (8, 8), in the ln of the scales in the order of scales.scales_at.

    Parameters
    ----------
    layout, scales, solution
        Of the fit, where it stands.
    slope, information : numpy.ndarray, shape (5,)
        Twice the slope, and four times the information, of the expected log-likelihood in the variance of a record,
        summed over the records of each grade.
    """
    noise, grades = scales.noise**2, np.square(scales.grades)
    first, matrix = np.zeros(len(grades) + 3), np.zeros((len(grades) + 3,) * 2)
    first[0], first[3:] = noise * slope.sum(), grades * slope
    matrix[0, 0], matrix[3:, 3:] = noise**2 * information.sum(), np.diag(grades**2 * information)
    matrix[0, 3:] = matrix[3:, 0] = noise * grades * information
    slopes, informations = deviation_step(layout, scales, solution.mean, solution.covariance)
    first[1:3], matrix[1, 1], matrix[2, 2] = slopes, *informations
    return first, matrix


def deviation_step(
    layout: Layout, scales: Scales, mean: np.ndarray, covariance: np.ndarray
) -> tuple[list[float], list[float]]:
    """Slope and expected information in the ln of the scales of class and contributor, from their coefficients."""
    starts = layout.starts
    slope, information = [], []
    for block, sd in (
        (slice(starts["class"], starts["contributor"]), scales.size_class),
        (slice(starts["contributor"], None), scales.contributor),
    ):
        unknown = np.diag(covariance)[block] / sd**2
        slope.append(float(np.sum(mean[block] ** 2 / sd**2 + unknown - 1)))
        information.append(2.0 * float(np.sum((1 - unknown) ** 2)))
    return slope, information
