"""How far to trust the fit: each known unit estimated from the others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.fit.effects import grade_variance, unit_variance
from calib.fit.predict import density, quantiles

if TYPE_CHECKING:
    from calib.fit.multiplier import Multiplier

SOUND = 0.5


@dataclass(frozen=True)
class Check:
    """Outcome of leaving each sound record out.

    Attributes
    ----------
    folds : int
        How many records were left out, one at a time; doubtful ones are not asked.
    coverage : float
        Share of them whose stated current lay inside the interval; NaN without records.
    level : float
        Probability that the interval claims.
    median_error : float
        Median of |estimate / stated current - 1|; NaN without records.
    """

    folds: int
    coverage: float
    level: float
    median_error: float


def leave_one_out(model: Multiplier, level: float) -> Check:
    """Each sound known unit estimated from all others, its own record's pull taken out of the solution exactly.

    The scales' nodes and the other records' odds are kept; the nodes are weighted anew as the record's likelihood is
    divided out. The interval is that of the stated current, so it carries the grade's own scatter.
    """
    rows = model.rows
    asked = np.flatnonzero(model.odds[:, 0] > SOUND)
    if not len(asked):
        return Check(0, float("nan"), level, float("nan"))
    completed, _, _ = model.sides.complete(rows)
    x, y = model.layout.design(rows, completed)[asked], rows.response[asked]
    means, sds, likelihood = [], [], []
    for node, one in zip(model.nodes, model.solutions, strict=True):
        leverage = np.einsum("ij,ij->i", x @ one.covariance, x)
        fitted, weight = x @ one.mean, one.weight[asked]
        left = 1 - weight * leverage
        means.append((fitted - weight * leverage * y) / left)
        noise = unit_variance(rows, model.unmeasured, node.scales)[asked] + grade_variance(rows)[asked]
        sds.append(np.sqrt(leverage / left + noise))
        likelihood.append(density(np.ones(1), means[-1][None], sds[-1][None], y))
    mean, sd = np.array(means), np.array(sds)
    shares = model.shares[:, None] / np.array(likelihood)
    shares = shares / shares.sum(axis=0)
    tail = (1 - level) / 2
    limits = np.array(
        [
            [quantiles(shares[:, k], mean[:, [k]], sd[:, [k]], at)[0] for at in (tail, 0.5, 1 - tail)]
            for k in range(len(asked))
        ]
    )
    inside = (limits[:, 0] <= y) & (y <= limits[:, 2])
    return Check(len(asked), float(inside.mean()), level, float(np.median(np.abs(np.exp(limits[:, 1] - y) - 1))))
