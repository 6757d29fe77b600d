"""Averaging over the variance components: expectation maximisation to their mode, then quadrature round it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Protocol

import numpy as np

from calib.fitting.features import Features, places
from calib.fitting.gross_errors import ErrorEffects, error_effects
from calib.fitting.imputation import Completed, Imputation
from calib.fitting.mixture import Evidence, Iteration, Posterior, solve
from calib.fitting.model import GRADE_NAMES, GRADES, Design, Unmeasured, VarianceComponents, unit_variance
from calib.fitting.prior import Prior, PriorRegression

# Median and standard deviation of ln of the class's and the contributor's deviations (judgement).
CLASS_SD, CLASS_SPREAD = 0.04, 0.5
CONTRIBUTOR_SD, CONTRIBUTOR_SPREAD = 0.05, 0.6
GRADE_SPREAD = 0.35  # the same of what each evidence grade scatters by
AVERAGED = 3  # noise, class and contributor are averaged over; the grades' scatter is taken at its mode
ALL = AVERAGED + len(GRADES)
HERMITE = np.polynomial.hermite_e.hermegauss(3)
LEAST_WIDTH = 1e-3  # of a point's distance from the mode, in standard deviations of the prior
LEAST_SHARE = 1e-3  # points below this share of the average are left out
MODE_ROUNDS, MODE_TOLERANCE, LONGEST_MOVE = 60, 1e-3, 0.7


class Solver(Protocol):
    """What can be solved at any scales: the records and the prior."""

    def solve(self, scales: VarianceComponents, start: Posterior | None = None) -> Posterior:
        """Posterior at these scales."""

    def step(self, scales: VarianceComponents, posterior: Posterior) -> tuple[np.ndarray, np.ndarray]:
        """Slope (8,) and information (8, 8) of the expected log-likelihood in the ln of the scales."""


@dataclass(frozen=True)
class QuadraturePoint:
    """One value of the scales with its share of the average, and the posterior there."""

    scales: VarianceComponents
    share: float
    posterior: Posterior


def scales_at(u: np.ndarray, noise: PriorRegression) -> VarianceComponents:
    """The scales at a point in units of their prior's standard deviation."""
    centre, spread = _prior(noise)
    noise_sd, size_class, contributor, *grades = (float(value) for value in np.exp(centre + u * spread))
    return VarianceComponents(noise_sd, size_class, contributor, tuple(grades))


def _prior(noise: PriorRegression) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of the ln of each scale."""
    centre = [noise.ln_scatter, np.log(CLASS_SD), np.log(CONTRIBUTOR_SD), *(np.log(one.sd) for one in GRADES.values())]
    return np.array(centre), np.array(
        [noise.ln_scatter_sd, CLASS_SPREAD, CONTRIBUTOR_SPREAD] + [GRADE_SPREAD] * len(GRADES)
    )


def quadrature_of(solver: Solver, noise: PriorRegression) -> tuple[tuple[QuadraturePoint, ...], Iteration]:
    """Quadrature over the scales: their posterior's mode first, then a grid round it.

    Parameters
    ----------
    solver : Solver
        The records.
    noise : PriorRegression
        Whose scatter is the noise.

    Returns
    -------
    tuple of QuadraturePoint, Iteration
        The mode first; shares add to 1; and how the mode was found. Gauss-Hermite points along the axes of the
        posterior's curvature, each weighted by the evidence found there (importance weights), so that skewness is
        kept. Known slips do not pull the mode but count in the evidence, whose slope there is therefore not quite 0:
        it is taken out.
    """
    mode, centre, search = mode_of(solver, noise)

    def value(u: np.ndarray) -> tuple[float, Posterior]:
        posterior = solver.solve(scales_at(u, noise), centre)
        return posterior.bound - 0.5 * float(u @ u), posterior

    top, centre = value(mode)
    sd, slope = _widths(lambda u: value(u)[0], mode, top)
    points, logs, posteriors = [], [], []
    for z in sorted(product(range(3), repeat=AVERAGED), key=lambda z: z != (1, 1, 1)):
        step = HERMITE[0][list(z)]
        point = mode.copy()
        point[:AVERAGED] += sd * step
        height, posterior = value(point)
        points.append(point)
        posteriors.append(posterior)
        logs.append(height + float(np.log(HERMITE[1][list(z)]).sum() + 0.5 * step @ step - slope @ (sd * step)))
    shares = np.exp(np.array(logs) - max(logs))
    shares = np.where(shares < LEAST_SHARE * shares.sum(), 0.0, shares)
    shares /= shares.sum()
    parts = zip(points, shares, posteriors, strict=True)
    kept = [QuadraturePoint(scales_at(point, noise), float(share), posterior) for point, share, posterior in parts]
    return (kept[0], *(point for point in kept[1:] if point.share)), search


def mode_of(solver: Solver, noise: PriorRegression) -> tuple[np.ndarray, Posterior, Iteration]:
    """Mode of the scales by expectation maximisation, one scoring step a round (Dempster, Laird and Rubin 1977)."""
    u, posterior = np.zeros(ALL), None
    rounds, converged = 0, False
    while not converged and rounds < MODE_ROUNDS:
        rounds += 1
        posterior = solver.solve(scales_at(u, noise), posterior)
        move = scoring_move(u, *solver.step(scales_at(u, noise), posterior), noise)
        u = u + move
        converged = bool(np.max(np.abs(move)) < MODE_TOLERANCE)
    assert posterior is not None
    return u, posterior, Iteration("scatters of units, classes, benches and evidence", rounds, MODE_ROUNDS, converged)


def scoring_move(u: np.ndarray, slope: np.ndarray, information: np.ndarray, noise: PriorRegression) -> np.ndarray:
    """Step of the scales, in units of their prior's standard deviation, by slope and information in their ln."""
    _, spread = _prior(noise)
    curved = information * np.outer(spread, spread) + np.eye(len(u))
    return np.clip(np.linalg.solve(curved, slope * spread - u), -LONGEST_MOVE, LONGEST_MOVE)


def _widths(height: Callable[[np.ndarray], float], mode: np.ndarray, top: float) -> tuple[np.ndarray, np.ndarray]:
    """Standard deviation along each scale from the curvature, measured over about one deviation, and the slope.

    Two looks, the second over what the first found: it only places the points, whose weights make up for the rest.
    """
    sd, slope = np.ones(AVERAGED), np.zeros(AVERAGED)
    for axis in range(AVERAGED):
        step = np.zeros(ALL)
        for _ in range(2):
            step[axis] = sd[axis]
            drop = 2 * top - height(mode + step) - height(mode - step)
            sd[axis] = np.clip(sd[axis] / np.sqrt(max(drop, 0.25)), LEAST_WIDTH, 1.2)
        step[axis] = sd[axis] / 4
        slope[axis] = (height(mode + step) - height(mode - step)) / (2 * step[axis])
    return sd, slope


@dataclass(frozen=True)
class EMSolver:
    """The records and the prior, ready to be solved at any scales."""

    rows: Features
    design: Design
    imputation: Imputation
    unmeasured: Unmeasured
    prior: Prior

    @cached_property
    def matrix(self) -> np.ndarray:
        """Design matrix of the known units, shape (n, p)."""
        return self.design.matrix(self.rows, self.completed.main)

    @cached_property
    def completed(self) -> Completed:
        """The known units with what was not read of them expected."""
        return self.imputation.complete(self.rows)

    @cached_property
    def blanks(self) -> np.ndarray:
        """Variance that each record has for what is not known of it and for the meters, shape (n,)."""
        return self.unmeasured.variance(self.rows, self.completed) + self.design.strange(self.rows)

    @cached_property
    def errors(self) -> ErrorEffects:
        """What each gross error would do to each record."""
        return error_effects(self.rows, self.imputation, self.prior)

    @cached_property
    def counts(self) -> np.ndarray:
        """How many records each counts for, shape (n,)."""
        return self.rows.counts

    @cached_property
    def grade(self) -> np.ndarray:
        """Place of each record's evidence among the grades, shape (n,)."""
        return places(GRADE_NAMES, self.rows.frame["evidence"])

    def sound_variance(self, scales: VarianceComponents) -> np.ndarray:
        """Variance of each sound record about its line, its evidence included, shape (n,)."""
        return unit_variance(self.rows, self.blanks, scales) + np.square(scales.grades)[self.grade]

    def evidence(self, scales: VarianceComponents) -> Evidence:
        """What the inner posterior is given at these scales."""
        variance = self.sound_variance(scales)[:, None] + self.errors.extra_variance
        errors = self.errors
        return Evidence(self.matrix, self.rows.response, variance, errors.shift, errors.log_side, self.counts)

    def solve(self, scales: VarianceComponents, start: Posterior | None = None) -> Posterior:
        """Posterior at these scales, gone on from a posterior at others where one is given."""
        return solve(self.evidence(scales), *self.design.prior(self.prior, scales), start)

    def step(self, scales: VarianceComponents, posterior: Posterior) -> tuple[np.ndarray, np.ndarray]:
        """Slope and information, in the ln of each scale, of the log-likelihood expected under a posterior."""
        variance = self.sound_variance(scales)
        residual = self.rows.response - self.matrix @ posterior.mean
        square = residual**2 + np.einsum("ij,ij->i", self.matrix @ posterior.covariance, self.matrix)
        # Twice the slope and four times the information in each record's variance, by grade.
        sound = self.counts * posterior.responsibilities[:, 0]
        slope, information = sound * (square / variance - 1) / variance, 2 * sound / variance**2
        by_grade = [np.bincount(self.grade, part, len(scales.grades)) for part in (slope, information)]
        return scale_step(self.design, scales, posterior, *by_grade)


def scale_step(
    design: Design, scales: VarianceComponents, posterior: Posterior, slope: np.ndarray, information: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Slope, shape (8,), and information, shape (8, 8), in the ln of the scales in the order of scales.scales_at.

    Parameters
    ----------
    design, scales, posterior
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
    slopes, informations = deviation_step(design, scales, posterior.mean, posterior.covariance)
    first[1:3], matrix[1, 1], matrix[2, 2] = slopes, *informations
    return first, matrix


def deviation_step(
    design: Design, scales: VarianceComponents, mean: np.ndarray, covariance: np.ndarray
) -> tuple[list[float], list[float]]:
    """Slope and expected information in the ln of the scales of class and contributor, from their coefficients."""
    slope, information = [], []
    for block, sd in (
        (design.block("class"), scales.size_class),
        (design.block("contributor"), scales.contributor),
    ):
        unknown = np.diag(covariance)[block] / sd**2
        slope.append(float(np.sum(mean[block] ** 2 / sd**2 + unknown - 1)))
        information.append(2.0 * float(np.sum((1 - unknown) ** 2)))
    return slope, information
