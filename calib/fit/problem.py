"""The known units and the prior, ready to be solved at any value of the scales."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calib.fit import doubts
from calib.fit.chains import Sides
from calib.fit.effects import Layout, Scales, Unmeasured, grade_variance, unit_variance
from calib.fit.mixture import Evidence, Solution, solve
from calib.fit.prior import Prior
from calib.fit.rows import Facts


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
    def grades(self) -> np.ndarray:
        """Variance of each stated current by its evidence, shape (n,)."""
        return grade_variance(self.rows)

    def evidence(self, scales: Scales) -> Evidence:
        """What the inner solution is given at these scales."""
        sound = unit_variance(self.rows, self.unmeasured, scales) + self.grades
        variance = sound[:, None] + self.slips.extra_variance
        return Evidence(self.design, self.rows.response, variance, self.slips.shift, self.slips.log_side)

    def solve(self, scales: Scales, start: Solution | None = None) -> Solution:
        """Posterior at these scales, gone on from a solution at others where one is given."""
        return solve(self.evidence(scales), *self.layout.prior(self.prior, scales), start)

    def step(self, scales: Scales, solution: Solution) -> tuple[np.ndarray, np.ndarray]:
        """Slope and information, in the ln of each scale, of the log-likelihood expected under a solution."""
        variance = unit_variance(self.rows, self.unmeasured, scales) + self.grades
        residual = self.rows.response - self.design @ solution.mean
        square = residual**2 + np.einsum("ij,ij->i", self.design @ solution.covariance, self.design)
        sound, noise = solution.odds[:, 0], scales.noise**2
        slope = float(np.sum(sound * noise * (square / variance - 1) / variance))
        information = float(np.sum(sound * 2 * (noise / variance) ** 2))
        slopes, informations = deviation_step(self.layout, scales, solution.mean, solution.covariance)
        return np.array([slope, *slopes]), np.array([information, *informations])


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
