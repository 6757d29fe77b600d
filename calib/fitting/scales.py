"""Averaging over the scale parameters: their mode, and nodes round it with weights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import Protocol

import numpy as np

from calib.fitting.effects import GRADES, Scales
from calib.fitting.mixture import Iteration, Solution
from calib.fitting.prior import Chain

# Median and standard deviation of ln of the class's and the contributor's deviations (judgement).
CLASS_SD, CLASS_SPREAD = 0.04, 0.5
CONTRIBUTOR_SD, CONTRIBUTOR_SPREAD = 0.05, 0.6
GRADE_SPREAD = 0.35  # the same of what each evidence grade scatters by
AVERAGED = 3  # noise, class and contributor are averaged over; the grades' scatter is taken at its mode
ALL = AVERAGED + len(GRADES)
HERMITE = np.polynomial.hermite_e.hermegauss(3)
LEAST_WIDTH = 1e-3  # of a node's distance from the mode, in standard deviations of the prior
LEAST_SHARE = 1e-3  # nodes below this share of the average are left out
MODE_ROUNDS, MODE_TOLERANCE, LONGEST_MOVE = 60, 1e-3, 0.7


class Solver(Protocol):
    """What can be solved at any scales: the records and the prior."""

    def solve(self, scales: Scales, start: Solution | None = None) -> Solution:
        """Posterior at these scales."""

    def step(self, scales: Scales, solution: Solution) -> tuple[np.ndarray, np.ndarray]:
        """Slope (8,) and information (8, 8) of the expected log-likelihood in the ln of the scales."""


@dataclass(frozen=True)
class Node:
    """One value of the scales with its share of the average, and the posterior there."""

    scales: Scales
    share: float
    solution: Solution


def scales_at(u: np.ndarray, noise: Chain) -> Scales:
    """Scales at a point in units of their prior's standard deviation."""
    centre, spread = _prior(noise)
    noise_sd, size_class, contributor, *grades = (float(value) for value in np.exp(centre + u * spread))
    return Scales(noise_sd, size_class, contributor, tuple(grades))


def _prior(noise: Chain) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of the ln of each scale."""
    centre = [noise.ln_scatter, np.log(CLASS_SD), np.log(CONTRIBUTOR_SD), *(np.log(one.sd) for one in GRADES.values())]
    return np.array(centre), np.array(
        [noise.ln_scatter_sd, CLASS_SPREAD, CONTRIBUTOR_SPREAD] + [GRADE_SPREAD] * len(GRADES)
    )


def nodes_of(problem: Solver, noise: Chain) -> tuple[tuple[Node, ...], Iteration]:
    """Quadrature over the scales: their posterior's mode first, then a grid round it.

    Parameters
    ----------
    problem : Solver
        The records.
    noise : Chain
        Whose scatter is the noise.

    Returns
    -------
    tuple of Node, Iteration
        The mode first; shares add to 1; and how the mode was found. Gauss-Hermite points along the axes of the
        posterior's curvature, each weighted by the evidence found there (importance weights), so that skewness is
        kept. Known slips do not pull the mode but count in the evidence, whose slope there is therefore not quite 0:
        it is taken out.
    """
    mode, centre, search = mode_of(problem, noise)

    def value(u: np.ndarray) -> tuple[float, Solution]:
        solution = problem.solve(scales_at(u, noise), centre)
        return solution.bound - 0.5 * float(u @ u), solution

    top, centre = value(mode)
    sd, slope = _widths(lambda u: value(u)[0], mode, top)
    points, logs, solutions = [], [], []
    for z in sorted(product(range(3), repeat=AVERAGED), key=lambda z: z != (1, 1, 1)):
        step = HERMITE[0][list(z)]
        point = mode.copy()
        point[:AVERAGED] += sd * step
        height, solution = value(point)
        points.append(point)
        solutions.append(solution)
        logs.append(height + float(np.log(HERMITE[1][list(z)]).sum() + 0.5 * step @ step - slope @ (sd * step)))
    shares = np.exp(np.array(logs) - max(logs))
    shares = np.where(shares < LEAST_SHARE * shares.sum(), 0.0, shares)
    shares /= shares.sum()
    parts = zip(points, shares, solutions, strict=True)
    kept = [Node(scales_at(point, noise), float(share), solution) for point, share, solution in parts]
    return (kept[0], *(node for node in kept[1:] if node.share)), search


def mode_of(problem: Solver, noise: Chain) -> tuple[np.ndarray, Solution, Iteration]:
    """Mode of the scales by expectation maximisation, one scoring step a round (Dempster, Laird and Rubin 1977)."""
    u, solution = np.zeros(ALL), None
    rounds, converged = 0, False
    while not converged and rounds < MODE_ROUNDS:
        rounds += 1
        solution = problem.solve(scales_at(u, noise), solution)
        move = scoring_move(u, *problem.step(scales_at(u, noise), solution), noise)
        u = u + move
        converged = bool(np.max(np.abs(move)) < MODE_TOLERANCE)
    assert solution is not None
    return u, solution, Iteration("scatters of units, classes, benches and evidence", rounds, MODE_ROUNDS, converged)


def scoring_move(u: np.ndarray, slope: np.ndarray, information: np.ndarray, noise: Chain) -> np.ndarray:
    """Step of the scales, in units of their prior's standard deviation, by slope and information in their ln."""
    _, spread = _prior(noise)
    curved = information * np.outer(spread, spread) + np.eye(len(u))
    return np.clip(np.linalg.solve(curved, slope * spread - u), -LONGEST_MOVE, LONGEST_MOVE)


def _widths(posterior: Callable[[np.ndarray], float], mode: np.ndarray, top: float) -> tuple[np.ndarray, np.ndarray]:
    """Standard deviation along each scale from the curvature, measured over about one deviation, and the slope.

    Two looks, the second over what the first found: it only places the nodes, whose weights make up for the rest.
    """
    sd, slope = np.ones(AVERAGED), np.zeros(AVERAGED)
    for axis in range(AVERAGED):
        step = np.zeros(ALL)
        for _ in range(2):
            step[axis] = sd[axis]
            drop = 2 * top - posterior(mode + step) - posterior(mode - step)
            sd[axis] = np.clip(sd[axis] / np.sqrt(max(drop, 0.25)), LEAST_WIDTH, 1.2)
        step[axis] = sd[axis] / 4
        slope[axis] = (posterior(mode + step) - posterior(mode - step)) / (2 * step[axis])
    return sd, slope
