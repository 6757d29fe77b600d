"""How near to a regression that knows the population sixty records can bring anybody, and how near the fit comes.

``python -m tests.scenes.bound --out datasets/validation/bound.csv`` makes the table, in some five minutes on one core.
Of every scene registers of 60 units, 5 in 100 spoiled, and 400 sound units that are asked about, read as the known are.
Scores are mean interval scores over that of the population's own regression on the same readings.

The bounds are posteriors of that regression's terms, told what no fit is: which records are spoiled, the scatter of the
units, each grade's bias and scatter, and what a bad ohmmeter reads. What is left for them to learn is the terms: under
the shipped prior, as well as any fit with it can; under none, by least squares; and `family` has for its prior the mean
and covariance of the scenes' own terms, which nobody has. The fit is scored as it answers (`mixture`, which leaves room
for slips that these units do not bear) and with every reading taken as sound.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from functools import cache
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd

from calib.fitting import fit
from calib.fitting.features import CORE, PAIRS, PRIMARY, V_OVER_R, VOLTAGE, WIRE, features_of
from calib.fitting.imputation import Imputation
from calib.fitting.model import ERA_SD, SUPPLY_SD_FLOOR
from calib.fitting.predictive import Prediction
from calib.fitting.prior import REGRESSIONS, load_prior
from calib.supply.form_factor import FORM_FACTOR_SD
from tests.scenes import missing
from tests.scenes.held_out import HELD_OUT
from tests.scenes.population import BENCHES, EVIDENCE, FORM, SCENES, Scene, as_asked, recorded, units
from tests.scenes.scoring import LEVEL, Z, score

EVERY = SCENES | HELD_OUT
DRIFTING = ("a drifting decade", "small sets, a low ohmmeter, some drift")  # no known unit tells where these go
KNOWN, SPOILED, ASKED, SEED = 60, 0.05, 400, 8303
SETS = {"V/R": (), "V/R, gauge": (WIRE,), "V/R, core": (CORE,), "V/R, core, gauge": (CORE, WIRE)}
SETS["V/R, core, gauge, primary"] = (CORE, WIRE, PRIMARY)
SUPPLIES = [PAIRS.index(pair) for pair in FORM]
KINDS = ("mixture", "as_read", "shipped", "flat", "family")
Terms = tuple[np.ndarray, np.ndarray]


def read(table: pd.DataFrame, beside: tuple[int, ...], rng: np.random.Generator) -> pd.DataFrame:
    """Units of which V and R, and these readings beside, were read."""
    chances = tuple(float(one in beside) for one in (CORE, WIRE, PRIMARY))
    return missing.read(missing.Missing(Scene(), lambda *_: chances), table, np.zeros(len(table), bool), rng)


def lines(table: pd.DataFrame, beside: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Columns of a regression (frequency, readings, supply), and its response, ln(k I) less a constant."""
    rows = features_of(table)
    supplies = (rows.pair[:, None] == np.array(SUPPLIES)).astype(float)
    x = np.column_stack([rows.frequency, rows.readings[:, [VOLTAGE, V_OVER_R, *beside]], supplies])
    return x, rows.response + rows.readings[:, V_OVER_R]


@cache
def shipped(beside: tuple[int, ...], draws: int = 400) -> Terms:
    """Mean and covariance of those columns' coefficients under the shipped prior, by draws of all its regressions."""
    prior, rng, found = load_prior(), np.random.default_rng(4), []
    table = read(units(Scene(), 400, rng), beside, rng)
    rows, x = features_of(table), lines(table, beside)[0]
    for _ in range(draws):
        each = {name: getattr(prior, name) for name in REGRESSIONS}
        drawn = {n: replace(one, mean=rng.multivariate_normal(one.mean, one.covariance)) for n, one in each.items()}
        main = Imputation.before(replace(prior, **drawn)).complete(rows).main
        found.append(np.linalg.lstsq(x, main @ drawn["main"].mean + rows.readings[:, V_OVER_R], rcond=None)[0])
    covariance, supply = np.cov(np.array(found).T), slice(-len(SUPPLIES), None)
    own = [max(FORM_FACTOR_SD[PAIRS[one]], SUPPLY_SD_FLOOR) ** 2 for one in SUPPLIES]
    covariance[supply, supply] += ERA_SD**2 + np.diag(own)
    return np.mean(found, axis=0), covariance


@cache
def population(scene: Scene, beside: tuple[int, ...]) -> tuple[np.ndarray, float]:
    """Terms and scatter of a population's own regression; what does not vary in it has the prior's mean."""
    rng = np.random.default_rng(99)
    x, y = lines(read(units(as_asked(scene), 40_000, rng, asked=True), beside, rng), beside)
    terms, free = shipped(beside)[0].copy(), x.std(axis=0) > 1e-9
    terms[free] = np.linalg.lstsq(x[:, free], y - x[:, ~free] @ terms[~free], rcond=None)[0]
    return terms, float((y - x @ terms).std())


@cache
def priors(beside: tuple[int, ...]) -> dict[str, Terms]:
    """Of each bound."""
    scenes = np.array([population(scene, beside)[0] for scene in EVERY.values()])
    width = scenes.shape[1]
    family = (scenes.mean(axis=0), np.cov(scenes.T) + 1e-6 * np.eye(width))
    return {"shipped": shipped(beside), "flat": (np.zeros(width), 1e4 * np.eye(width)), "family": family}


def ratios(scene: Scene, known: pd.DataFrame, asked: pd.DataFrame, beside: tuple[int, ...]) -> dict[str, float]:
    """Scores of the fit and of the bounds over that of the population's regression."""
    (terms, sd), (x, y), (told, stated) = population(scene, beside), lines(asked, beside), lines(known, beside)

    def scored(middle: np.ndarray, spread: np.ndarray | float) -> float:
        return score(np.exp(y), *(np.exp(middle + k * Z * spread) for k in (0, -1, 1))).interval

    best, made = scored(x @ terms, sd), Prediction.of(fit(known), asked)
    limits = {"mixture": made.mixed.limits(LEVEL), "as_read": made.sound.limits(LEVEL)}
    true = asked["rated_current_ma"].to_numpy()
    found = {name: score(true, *each).interval / best for name, each in limits.items()}
    bias, scatter = (np.array([EVIDENCE[grade][k] for grade in known["evidence"]]) for k in (1, 2))
    weight = (known["slip"] == "").to_numpy() / (sd**2 + scatter**2)
    told[:, 2] += np.log(np.where(known["contributor"] == BENCHES[2], scene.bad_ohmmeter, 1.0))
    for name, (mean, covariance) in priors(beside).items():
        precision = np.linalg.inv(covariance)
        after = np.linalg.inv(precision + (told * weight[:, None]).T @ told)
        learned = after @ (precision @ mean + told.T @ (weight * (stated - bias)))
        found[name] = scored(x @ learned, np.sqrt(sd**2 + np.einsum("ij,jk,ik->i", x, after, x))) / best
    return found


def table(registers: int, seed: int = SEED) -> pd.DataFrame:
    """A row for each set of readings, over all scenes and over those that do not drift: means and standard errors."""
    rows, made = [], []
    for number, (name, scene) in enumerate(EVERY.items()):
        for register in range(registers):
            rng = np.random.default_rng([seed, number, register])
            known = recorded(scene, units(scene, KNOWN, rng), SPOILED, rng)
            asked = units(scene, ASKED, rng, asked=True)
            for what, beside in SETS.items():
                further = np.random.default_rng([seed, number, register, 1])
                parts = [read(each, beside, further) for each in (known, asked)]
                rows.append({"scene": name, "readings": what, **ratios(scene, *parts, beside)})
    found = pd.DataFrame(rows)
    for scenes, part in (("all", found), ("without drift", found[~found["scene"].isin(DRIFTING)])):
        for what, these in part.groupby("readings", sort=False):
            each = these.assign(beyond=these["as_read"] - these["shipped"]).groupby("scene")[[*KINDS, "beyond"]]
            error = np.sqrt((each.var() / registers).mean() / each.ngroups)
            errors = {"se": error[list(KINDS)].max(), "beyond_se": error["beyond"]}
            made.append({"scenes": scenes, "readings": what, "registers": len(these), **each.mean().mean(), **errors})
    return pd.DataFrame(made)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--registers", type=int, default=12, help="of each scene")
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    made = table(asked.registers)
    print(made.round(3).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.3f")


if __name__ == "__main__":
    main()
