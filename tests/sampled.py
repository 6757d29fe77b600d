"""The fit's posterior sampled: quantiles of a unit's ln I by Gibbs sampling beside those of the fit.

``python -m tests.sampled --out datasets/validation/sampled.csv``, by hand: minutes. In turn drawn are each record's
soundness, the coefficients (normal), the share of unsound records (Beta) and each scale (slice sampling; Neal, Slice
Sampling, Annals of Statistics, 2003). What the fit takes as given (the side regressions, and what they leave open) is
given here too. Effective sizes are those of the indicators of the 5 and 95 % quantiles (Vehtari, Gelman, Simpson,
Carpenter and Bürkner, Rank-Normalization, Folding, and Localization, 2021).
"""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from scipy.linalg import solve_triangular

from calib.fitting.features import features_of
from calib.fitting.mixture import SHARE_PRIOR, log_normal
from calib.fitting.model import drift_variance, unit_variance
from calib.fitting.predictive import ln_v_over_r
from calib.fitting.result import Multiplier, fit
from calib.fitting.variance_components import ALL, EMSolver, scales_at
from tests.scenes.population import SCENES, recorded, units

REGISTERS = {"6": (6, 0.0), "30, 5 % spoiled": (30, 0.05), "60, 10 % spoiled": (60, 0.10)}
LEVELS = (0.05, 0.5, 0.95)
COLUMNS = [
    "register",
    "unit",
    "draws",
    "tail_ess",
    *(f"{how}_{round(100 * at):02d}" for how in ("mcmc", "fit") for at in LEVELS),
]


class Chain:
    """One register's chain."""

    def __init__(self, model: Multiplier, asked: pd.DataFrame, rng: np.random.Generator) -> None:
        self.model, self.rng = model, rng
        self.solver = EMSolver(model.rows, model.design, model.imputation, model.unmeasured, model.prior)
        self.u, self.share = np.zeros(ALL), 0.05
        self.beta = model.posteriors[0].mean
        self.rows = features_of(asked)
        completed = model.imputation.complete(self.rows)
        self.x = model.matrix(self.rows, completed)
        self.back = ln_v_over_r(self.x) - self.rows.form
        self.blanks = model.unmeasured.variance(self.rows, completed) + model.design.strange(self.rows)

    def scales(self, u: np.ndarray) -> object:
        return scales_at(u, self.model.prior.main)

    def step(self) -> tuple[np.ndarray, np.ndarray]:
        """One round: mean of the units' ln I, and a draw of each."""
        rng, evidence = self.rng, self.solver.evidence(self.scales(self.u))
        off = (evidence.response - evidence.matrix @ self.beta)[:, None] - evidence.shift
        logs = evidence.log_side + log_normal(off**2, evidence.variance, np.log(evidence.variance))
        logs[:, 0] += np.log1p(-self.share)
        logs[:, 1:] += np.log(self.share)
        kind = np.argmax(logs + rng.gumbel(size=logs.shape), axis=1)
        unsound = int(np.sum(kind > 0))
        self.share = rng.beta(SHARE_PRIOR[0] + unsound, SHARE_PRIOR[1] + len(kind) - unsound)
        at = np.arange(len(kind))
        self.u = self.sliced(kind, evidence.response - evidence.shift[at, kind])
        scales = self.scales(self.u)
        evidence = self.solver.evidence(scales)
        weight, y = 1 / evidence.variance[at, kind], evidence.response - evidence.shift[at, kind]
        mean, precision = self.model.design.prior(self.model.prior, scales)
        weighted = evidence.matrix * weight[:, None]
        factor = np.linalg.cholesky(precision + weighted.T @ evidence.matrix)
        right = solve_triangular(factor, precision @ mean + weighted.T @ y, lower=True)
        self.beta = solve_triangular(factor.T, right + rng.normal(size=len(right)))
        middle = self.x @ self.beta + self.back
        variance = unit_variance(self.rows, self.blanks, scales) + drift_variance(self.rows)
        return middle, middle + np.sqrt(variance) * rng.normal(size=len(middle))

    def sliced(self, kind: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Each scale in turn, stepping out and shrinking; the coefficients and the kinds stay."""
        u, rng = self.u.copy(), self.rng
        square, extra = (
            (y - self.solver.matrix @ self.beta) ** 2,
            self.solver.errors.extra_variance[np.arange(len(kind)), kind],
        )
        blocks = [self.beta[self.model.design.block(name)] for name in ("class", "contributor")]

        def height(value: float, axis: int) -> float:
            v = u.copy()
            v[axis] = value
            scales = self.scales(v)
            variance = self.solver.sound_variance(scales) + extra
            found = -0.5 * v @ v - 0.5 * np.sum(np.log(variance) + square / variance)
            for part, sd in zip(blocks, (scales.size_class, scales.contributor), strict=True):
                found += -len(part) * np.log(sd) - 0.5 * part @ part / sd**2
            return float(found)

        for axis in range(ALL):
            level = height(u[axis], axis) - rng.exponential()
            low = u[axis] - 2 * rng.random()
            high = low + 2
            while height(low, axis) > level:
                low -= 2
            while height(high, axis) > level:
                high += 2
            while True:
                value = rng.uniform(low, high)
                if height(value, axis) > level:
                    break
                low, high = (value, high) if value < u[axis] else (low, value)
            u[axis] = value
        return u


def effective(series: np.ndarray) -> float:
    """Effective size by the autocorrelation, summed in pairs while these are positive (Geyer 1992)."""
    centred = series - series.mean()
    size = 1 << (2 * len(series)).bit_length()
    spectrum = np.fft.rfft(centred, size)
    auto = np.fft.irfft(spectrum * np.conj(spectrum))[: len(series)]
    if auto[0] <= 0:
        return float(len(series))
    auto = auto / auto[0]
    pairs = auto[0:-1:2][: len(auto) // 2] + auto[1::2][: len(auto) // 2]
    stop = int(np.argmax(pairs < 0)) if np.any(pairs < 0) else len(pairs)
    return float(min(len(series) / max(2 * pairs[:stop].sum() - 1, 1e-9), len(series)))


def run(name: str, draws: int) -> list[list[object]]:
    """The quantiles of two units by both."""
    count, spoiled = REGISTERS[name]
    rng = np.random.default_rng([3, count])
    scene = replace(SCENES["ordinary"])
    model = fit(recorded(scene, units(scene, count, rng), spoiled, rng))
    asked = units(scene, 2, rng, asked=True)
    chain = Chain(model, asked.drop(columns=["rated_current_ma"]), rng)
    for _ in range(500):
        chain.step()
    drawn = np.array([chain.step() for _ in range(draws)])
    theirs = model.predict(asked.drop(columns=["rated_current_ma"]), as_read=True)
    rows = []
    for place in range(len(asked)):
        middle, own = drawn[:, 0, place], drawn[:, 1, place]
        ends = np.quantile(own, LEVELS)
        tail = min(effective((own <= end).astype(float)) for end in (ends[0], ends[2]))
        tail = min(tail, *(effective((middle <= np.quantile(middle, at)).astype(float)) for at in (0.05, 0.95)))
        rows.append([name, place + 1, draws, round(tail), *ends, *(theirs.ln_ppf(at)[place] for at in LEVELS)])
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=100_000)
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    made = pd.DataFrame([row for name in REGISTERS for row in run(name, asked.draws)], columns=COLUMNS)
    print(made.round(3).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.4f")


if __name__ == "__main__":
    main()
