"""Where known units contradict what was to be expected of them: the prior, or one bench or maker the others.

Before the known units are looked at, the posterior mean of a linear form of the coefficients is itself normal, about
the prior mean, with the variance that they take off it (law of total variance). What is found is held against that: a
departure is told where, of registers that are as the prior has them, about 1 in 100 would have any told, each kind by
its share of BEYOND (Bonferroni). Published windings that are learned from beside belong to what is
expected. The level of units of the valve era is open by half (ERA_SD), so of those little contradicts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import ndtr
from scipy.stats import betabinom

from calib.fitting.features import CORE, READINGS, V_OVER_R
from calib.fitting.mixture import SHARE_PRIOR
from calib.fitting.model import Design
from calib.fitting.predictive import Fitted
from calib.fitting.prior import MAIN
from calib.fitting.tables import frame
from calib.fitting.variance_components import CONTRIBUTOR_SD, CONTRIBUTOR_SPREAD, EMSolver

if TYPE_CHECKING:
    import pandas as pd

# Half of 1 in 100: that records may be unsound makes the tails heavier than normal ones (500 registers drawn from the
# prior, of 12 and of 30 units, said it 9 times at 0.01).
BEYOND = 0.005
LEAST_TAKEN = 1e-6  # of a form's variance: where the known units take off less they say nothing of it
EVEN = 0.5  # odds of soundness below which a record is more likely wrong than right
HERMITE = np.polynomial.hermite_e.hermegauss(15)
SHARES = {"level": 0.35, "slope": 0.1, "noise": 0.05, "maker": 0.2, "bench": 0.2, "doubts": 0.1}
SLOPES = {"core": CORE, "V/R": V_OVER_R}


class Conflict(NamedTuple):
    """A contradiction.

    Attributes
    ----------
    kind, name : str
        level, slope, noise, maker, bench, or doubts (of a bench); which slope, maker or bench, blank of the others.
    found, expected : float
        A slope as it is; of level, maker and bench the ratio to what is expected, which is 1; of noise the standard
        deviations of ln multiplier; of doubts the share of the bench's records that are more likely wrong than right,
        and that of the others.
    tail : float
        Probability of so large a departure where nothing contradicts, what else was looked at allowed for.
    """

    kind: str
    name: str
    found: float
    expected: float
    tail: float

    def __str__(self) -> str:
        if self.kind == "level":
            return f"they rate {self.found:.2f} times as much as was to be expected"
        if self.kind == "slope":
            more = "faster" if self.found < self.expected else "less"
            return (
                f"their multiplier falls {more} with {self.name} than was to be expected (power {self.found:.2f}, not "
                f"{self.expected:.2f})"
            )
        if self.kind == "noise":
            return (
                f"they differ among themselves by about {self.found:.0%}, where {self.expected:.0%} was to be expected"
            )
        if self.kind == "doubts":
            return f"of the units read by {self.name} {self.found:.0%} look wrong, of the others {self.expected:.0%}"
        whose = f"the units read by {self.name}" if self.kind == "bench" else f"those made by {self.name}"
        return f"{whose} rate {self.found:.2f} times as much as the others"


def conflicts(model: Fitted) -> list[Conflict]:
    """The contradictions in the known units of a fit, those of the prior first."""
    if not model.records:
        return []
    found = [*_of_the_prior(model), *_of_makers(model), *_of_benches(model), *_of_doubts(model)]
    many = Counter(one.kind for one in found)
    told = (one._replace(tail=min(1.0, one.tail * many[one.kind] / SHARES[one.kind])) for one in found)
    return [one for one in told if one.tail < BEYOND]


def frame_of(model: Fitted) -> pd.DataFrame:
    """See :meth:`Multiplier.conflicts`."""
    found = conflicts(model)
    columns = {name: [getattr(one, name) for one in found] for name in Conflict._fields}
    return frame({**columns, "said": [str(one) for one in found]})


def _of_the_prior(model: Fitted) -> Iterator[Conflict]:
    """Level, slopes and noise of the user's own units."""
    own = model.rows.take(model.rows.own)
    forms = {("level", ""): _level(model.design, model.matrix(own))}
    for name, reading in SLOPES.items():
        forms["slope", name] = np.eye(model.design.width)[MAIN.index(READINGS[reading])]
    before, after = _before(model), model.posteriors[0]
    for (kind, name), form in forms.items():
        taken = form @ (before[1] - after.covariance) @ form
        if taken > LEAST_TAKEN * (form @ before[1] @ form):
            was, now = form @ before[0], form @ after.mean
            ratio = (float(np.exp(now - was)), 1.0) if kind == "level" else (float(now), float(was))
            yield Conflict(kind, name, *ratio, _two_sided((now - was) / np.sqrt(taken)))
    noise = model.prior.main
    ln = np.log([point.scales.noise for point in model.quadrature])
    middle = float(model.shares @ ln)
    taken = noise.ln_scatter_sd**2 - float(model.shares @ (ln - middle) ** 2)
    if taken > LEAST_TAKEN:
        tail = _two_sided((middle - noise.ln_scatter) / np.sqrt(taken))
        yield Conflict("noise", "", float(np.exp(middle)), noise.scatter, tail)


def _level(design: Design, x: np.ndarray) -> np.ndarray:
    """The middle of units, what is their makers', benches' and classes' aside."""
    form = x.mean(axis=0)
    for block in ("class", "maker", "contributor"):
        form[design.block(block)] = 0.0
    return form


def _before(model: Fitted) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the coefficients by the prior and the published windings, at the mode of the scales."""
    rows, scales = model.rows.take(~model.rows.own), model.quadrature[0].scales
    if not len(rows):
        mean, precision = model.design.prior(model.prior, scales)
        return mean, np.linalg.inv(precision)
    made = EMSolver(rows, model.design, model.imputation, model.unmeasured, model.prior).solve(scales)
    return made.mean, made.covariance


def _of_makers(model: Fitted) -> Iterator[Conflict]:
    """Each maker's deviation, of those with units of the user's own."""
    before, after = _before(model), model.posteriors[0]
    own = {*model.rows.frame["maker"][model.rows.own]}
    for at, name in enumerate(model.design.makers, model.design.starts["maker"]):
        taken = before[1][at, at] - after.covariance[at, at]
        if name in own and len(model.design.makers) > 1 and taken > LEAST_TAKEN:
            now = after.mean[at] - before[0][at]
            alone = now * before[1][at, at] / taken  # not drawn to the others
            yield Conflict("maker", name, float(np.exp(alone)), 1.0, _two_sided(now / np.sqrt(taken)))


def _of_benches(model: Fitted) -> Iterator[Conflict]:
    """Each bench's deviation as it is by itself, under all that benches may differ by."""
    after, sd = model.posteriors[0], model.quadrature[0].scales.contributor
    own = {*model.rows.frame["contributor"][model.rows.own]}
    spread = CONTRIBUTOR_SD * np.exp(CONTRIBUTOR_SPREAD * HERMITE[0])
    for at, name in enumerate(model.design.contributors, model.design.starts["contributor"]):
        told = 1 - after.covariance[at, at] / sd**2  # the rest was drawn to nothing
        if name in own and len(own) > 1 and told > LEAST_TAKEN:
            alone, variance = after.mean[at] / told, after.covariance[at, at] / told
            tails = 2 * ndtr(-abs(alone) / np.sqrt(spread**2 + variance))
            tail = float(HERMITE[1] @ tails / HERMITE[1].sum())
            yield Conflict("bench", name, float(np.exp(alone)), 1.0, tail)


def _of_doubts(model: Fitted) -> Iterator[Conflict]:
    """How many of each bench's records look wrong, by what the others and the prior say of that share."""
    own = model.rows.take(model.rows.own).frame["contributor"].to_numpy()
    wrong = model.responsibilities[model.rows.own, 0] < EVEN
    for name in [one for one in model.design.contributors if 0 < np.sum(own == one) < len(own)]:
        here = own == name
        count, of, rest = int(wrong[here].sum()), int(here.sum()), int(wrong[~here].sum())
        likely = SHARE_PRIOR[0] + rest, SHARE_PRIOR[1] + len(own) - of - rest
        tail = float(betabinom.sf(count - 1, of, *likely))
        yield Conflict("doubts", name, count / of, rest / (len(own) - of), tail)


def _two_sided(z: float) -> float:
    return float(2 * ndtr(-abs(z)))
