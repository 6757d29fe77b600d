"""The fit's posterior sampled: quantiles of a unit's ln I by Gibbs sampling beside those of the fit.

``pip install -e '.[mcmc]'``, then ``python -m tests.sampled --out datasets/validation/sampled.csv``: two minutes on one
core. In turn drawn are each record's soundness, the share of unsound records (Beta), each scale (slice sampling; Neal,
Slice Sampling, Annals of Statistics, 2003) and the coefficients (normal). What the fit takes as given (the side
regressions, and what they leave open) is given here too; the fit's iteration over the odds of soundness, its quadrature
over three scales and the mode at which it takes the others are not. Every chain begins at a draw from the prior.

The effective size of the tails is that of arviz-stats: the lesser of those of the indicators of the 5 and of the 95 %
quantile over split chains, and beside it the rank-normalised split R-hat (Vehtari, Gelman, Simpson, Carpenter and
Bürkner, Rank-Normalization, Folding, and Localization, Bayesian Analysis, 2021). Both are of what the coefficients say
of the unit, whose draws hang together; the unit's own scatter is drawn afresh each time.

``--seed`` draws other registers. Where several records bear a known slip the two lie further apart: sampled, such a
record pulls with its slip undone, while the fit lets it not pull at all.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd

from calib.fitting.features import features_of
from calib.fitting.mixture import SHARE_PRIOR, log_normal
from calib.fitting.model import VarianceComponents, drift_variance, unit_variance
from calib.fitting.predictive import ln_v_over_r
from calib.fitting.result import Multiplier, fit
from calib.fitting.variance_components import ALL, EMSolver, scales_at
from tests.scenes.population import SCENES, recorded, units, without_core

REGISTERS = {"6": (6, 0.0), "30, 5 % spoiled": (30, 0.05), "60, 10 % spoiled": (60, 0.10)}
LEVELS = (0.05, 0.5, 0.95)
CHAINS, WARM_UP, DRAWS, SEED = 32, 300, 2000, 3
STEP = 4.0  # of the slice sampler's stepping out, in standard deviations of a scale's prior
READ = ("all", "all", "volts and ohms", "volts and ohms")  # of each unit
SAMPLED, FITTED = ([f"{how}_{round(100 * at):02d}" for at in LEVELS] for how in ("mcmc", "fit"))
COLUMNS = ["register", "unit", "read", "chains", "draws", "tail_ess", "rhat", *SAMPLED, *FITTED]


class Chains:
    """Several chains of one register, a step of all at once: the first axis of what varies is the chain."""

    def __init__(self, model: Multiplier, asked: pd.DataFrame, rng: np.random.Generator, chains: int = CHAINS) -> None:
        self.rng, self.count = rng, chains
        solver = EMSolver(model.rows, model.design, model.imputation, model.unmeasured, model.prior)
        self.x, self.y, self.errors = solver.matrix, solver.rows.response, solver.errors
        # The scales enter by their squares: the variance of a record is linear in them, and so is a unit's.
        self.ln_centre, self.ln_spread = _ln_prior(model)
        self.blanks, self.of_scales = _linear(solver.sound_variance)
        self.blocks = [model.design.block(name) for name in ("class", "contributor")]
        self.mean, self.precision = model.design.prior(model.prior, scales_at(np.zeros(ALL), model.prior.main))
        self.u = rng.normal(size=(chains, ALL))
        self.share = rng.beta(*SHARE_PRIOR, size=chains)
        spread = np.linalg.cholesky(np.linalg.inv(self.precision))
        self.beta = self.mean + rng.normal(size=(chains, len(self.mean))) @ spread.T
        rows = features_of(asked)
        completed = model.imputation.complete(rows)
        self.asked = model.matrix(rows, completed)
        self.back = ln_v_over_r(self.asked) - rows.form
        blanks = model.unmeasured.variance(rows, completed) + model.design.strange(rows)
        self.asked_variance = _linear(lambda scales: unit_variance(rows, blanks, scales) + drift_variance(rows))

    def squares(self, u: np.ndarray) -> np.ndarray:
        """The squares of the scales, shape (chains, 8)."""
        return np.exp(2 * (self.ln_centre + u * self.ln_spread))

    def step(self) -> tuple[np.ndarray, np.ndarray]:
        """One round: what the coefficients say of each unit's ln I, and the sd of the unit about it."""
        kind = self.kinds()
        unsound = np.sum(kind > 0, axis=1)
        self.share = self.rng.beta(SHARE_PRIOR[0] + unsound, SHARE_PRIOR[1] + kind.shape[1] - unsound)
        at = np.arange(len(self.y))
        y, extra = self.y - self.errors.shift[at, kind], self.errors.extra_variance[at, kind]
        self.u = self.sliced(y, extra)
        squares = self.squares(self.u)
        self.beta = self.coefficients(squares, y, 1 / (self.blanks + squares @ self.of_scales + extra))
        constant, by_scales = self.asked_variance
        return self.beta @ self.asked.T + self.back, np.sqrt(constant + squares @ by_scales)

    def kinds(self) -> np.ndarray:
        """Sound (0) or which gross error, of each record: drawn by its odds, the largest of logs with Gumbel noise."""
        sound = self.blanks + self.squares(self.u) @ self.of_scales
        variance = sound[:, :, None] + self.errors.extra_variance
        off = (self.y - self.beta @ self.x.T)[:, :, None] - self.errors.shift
        logs = self.errors.log_side + log_normal(off**2, variance, np.log(variance))
        logs[:, :, 0] += np.log1p(-self.share)[:, None]
        logs[:, :, 1:] += np.log(self.share)[:, None, None]
        return np.argmax(logs + self.rng.gumbel(size=logs.shape), axis=2)

    def coefficients(self, squares: np.ndarray, y: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """A draw of them, given all else."""
        precision = np.repeat(self.precision[None], self.count, axis=0)
        for block, square in zip(self.blocks, squares.T[1:3], strict=True):
            diagonal = np.arange(block.start, block.stop)
            precision[:, diagonal, diagonal] = 1 / square[:, None]
        pull = precision @ self.mean + (weight * y) @ self.x
        precision += np.einsum("cn,ni,nj->cij", weight, self.x, self.x, optimize=True)
        factor = np.linalg.cholesky(precision)
        right = np.linalg.solve(factor, pull[:, :, None]) + self.rng.normal(size=(*pull.shape, 1))
        return np.linalg.solve(np.swapaxes(factor, 1, 2), right)[:, :, 0]

    def height(self, u: np.ndarray, y: np.ndarray, extra: np.ndarray) -> np.ndarray:
        """Log density of the scales but for a constant, the coefficients and the kinds given, shape (chains,)."""
        squares = self.squares(u)
        variance = self.blanks + squares @ self.of_scales + extra
        found = np.sum(log_normal((y - self.beta @ self.x.T) ** 2, variance, np.log(variance)), axis=1)
        for block, square in zip(self.blocks, squares.T[1:3], strict=True):
            found += np.sum(log_normal(self.beta[:, block] ** 2, square[:, None], np.log(square)[:, None]), axis=1)
        return found - 0.5 * np.sum(u**2, axis=1)

    def sliced(self, y: np.ndarray, extra: np.ndarray) -> np.ndarray:
        """Each scale in turn, stepping out and shrinking; the coefficients and the kinds stay."""
        u, rng = self.u.copy(), self.rng
        for axis in range(ALL):
            old = u[:, axis].copy()
            level = self.height(u, y, extra) - rng.exponential(size=self.count)

            def above(value: np.ndarray, at: int = axis, level: np.ndarray = level) -> np.ndarray:
                moved = u.copy()
                moved[:, at] = value
                return self.height(moved, y, extra) > level

            low = old - STEP * rng.random(self.count)
            high = low + STEP
            for end, step in ((low, -STEP), (high, STEP)):
                while np.any(out := above(end)):
                    end[out] += step
            left, found = np.ones(self.count, dtype=bool), old.copy()
            while left.any():
                value = rng.uniform(low, high)
                good = left & above(value)
                found[good] = value[good]
                left &= ~good
                below = value < old
                low[left & below], high[left & ~below] = value[left & below], value[left & ~below]
            u[:, axis] = found
        return u


def _ln_prior(model: Multiplier) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of the ln of each scale, shape (8,): as scales_at has them."""
    at = [_scales(model, u) for u in (np.zeros(ALL), np.ones(ALL))]
    return np.log(at[0]), np.log(at[1] / at[0])


def _scales(model: Multiplier, u: np.ndarray) -> np.ndarray:
    scales = scales_at(u, model.prior.main)
    return np.array([scales.noise, scales.size_class, scales.contributor, *scales.grades])


def _linear(variance: Callable[..., np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """A variance as a constant, shape (n,), and what each squared scale adds to it, shape (8, n)."""
    unit = [
        VarianceComponents(one[0], one[1], one[2], tuple(one[3:])) for one in np.vstack([np.zeros(ALL), np.eye(ALL)])
    ]
    constant, *each = (variance(scales) for scales in unit)
    return constant, np.array(each) - constant


def asked_of(name: str, seed: int = SEED) -> tuple[Multiplier, pd.DataFrame, np.random.Generator]:
    """The fit to a register, and four units: two of them fully read, two by their volts and ohms alone."""
    count, spoiled = REGISTERS[name]
    rng, scene = np.random.default_rng([seed, count]), SCENES["ordinary"]
    model = fit(recorded(scene, units(scene, count, rng), spoiled, rng))
    asked = units(scene, len(READ), rng, asked=True).drop(columns=["rated_current_ma"])
    return model, pd.concat([asked[:2], without_core(asked[2:])], ignore_index=True), rng


def drawn_of(
    model: Multiplier, asked: pd.DataFrame, rng: np.random.Generator, draws: int, warm_up: int = WARM_UP
) -> tuple[np.ndarray, np.ndarray]:
    """What the coefficients say of each unit's ln I, and its ln I, both of shape (draws, chains, units)."""
    chains = Chains(model, asked, rng)
    for _ in range(warm_up):
        chains.step()
    middle, sd = (np.array(one) for one in zip(*(chains.step() for _ in range(draws)), strict=True))
    return middle, middle + sd * rng.normal(size=middle.shape)


def by_fit(model: Multiplier, asked: pd.DataFrame) -> np.ndarray:
    """The fit's own quantiles of each unit's ln I, shape (3, units)."""
    made = model.predict(asked, as_read=True)
    return np.array([made.ln_ppf(at) for at in LEVELS])


def run(name: str, draws: int, seed: int = SEED) -> list[list[object]]:
    """The quantiles of the units of one register by both."""
    from arviz_stats.base import array_stats

    model, asked, rng = asked_of(name, seed)
    middle, own = drawn_of(model, asked, rng, draws)
    rows: list[list[object]] = []
    for place, (read, mine) in enumerate(zip(READ, by_fit(model, asked).T, strict=True)):
        one = middle[:, :, place].T
        tail = float(array_stats.ess(one, chain_axis=0, draw_axis=1, method="tail", prob=(LEVELS[0], LEVELS[-1])))
        rhat = float(array_stats.rhat(one, chain_axis=0, draw_axis=1, method="rank"))
        ends = np.quantile(own[:, :, place], LEVELS)
        rows.append([name, place + 1, read, CHAINS, CHAINS * draws, round(tail), rhat, *ends, *mine])
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=DRAWS, help="of each chain, after its warming up")
    parser.add_argument("--seed", type=int, default=SEED, help="of the registers")
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    made = pd.DataFrame([row for name in REGISTERS for row in run(name, asked.draws, asked.seed)], columns=COLUMNS)
    apart = np.abs(made[FITTED].to_numpy() - made[SAMPLED].to_numpy())
    print(made.assign(furthest=apart.max(axis=1)).round(4).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.4f")


if __name__ == "__main__":
    main()
