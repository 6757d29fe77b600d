"""Odds that a rating suffices, as a demand states them, against how often the maker's rating did: scenes held out.

``python -m tests.scenes.odds --out datasets/validation/odds.csv`` makes the table, in some three minutes. Each register
is of one scene, of 6, 12, 30 or 60 known units with 5 in 100 spoiled, half of the registers without wire. Each unit
asked about is held against a demand that is drawn without its rating: a quantile of what the fit tells of it, at a
level drawn evenly, so that every bin of odds is filled. What the set draws in truth departs from the demand by its
stated uncertainty.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd

from calib.estimate.demand import odds_of_demand
from calib.fitting import Prediction, fit
from calib.fitting.tables import estimates
from tests.scenes.held_out import HELD_OUT
from tests.scenes.population import recorded, units, without_wire

KNOWN, SPOILED = (6, 12, 30, 60), 0.05
REGISTERS, ASKED = 24, 180  # of each scene; units of each register: 25,920 in all
LEVELS, BINS = 25, 10
DEMAND_U = 0.08  # relative standard uncertainty of the demand: a line-up of valves by the table
COLUMNS = ["scene", "low", "high", "registers", "units", "stated", "observed", "apart"]


def one_register(name: str, register: int) -> pd.DataFrame:
    """Odds as stated and whether the rating sufficed, of the units of one register; those withheld are left out."""
    scene = HELD_OUT[name]
    rng = np.random.default_rng([14, list(HELD_OUT).index(name), register])
    count = KNOWN[register % len(KNOWN)]
    known = recorded(scene, units(scene, count, rng), SPOILED, rng)
    true = units(scene, ASKED, rng, asked=True)
    if register // len(KNOWN) % 2:
        known, true = without_wire(known), without_wire(true)
    asked = Prediction.of(fit(known), true)
    answer = estimates(asked, 0.9)
    levels = np.sort(rng.random(LEVELS))
    demands = np.array([asked.rated.ppf(level) for level in levels])[rng.integers(LEVELS, size=ASKED), np.arange(ASKED)]
    drawn = demands * np.exp(DEMAND_U * rng.normal(size=ASKED))
    told = [odds_of_demand(asked, at, answer.iloc[at], demands[at : at + 1], [DEMAND_U])[0] for at in range(ASKED)]
    made = pd.DataFrame({"odds": np.array(told, dtype=float), "suffices": true["rated_current_ma"] >= drawn})
    return made.dropna().assign(scene=name, register=f"{name} {register}")


def in_bins(found: pd.DataFrame, scene: str) -> pd.DataFrame:
    """A row for each tenth of the odds: what was stated on average, and how often the rating sufficed."""
    of_bin = np.minimum((found["odds"] * BINS).astype(int), BINS - 1)
    rows = []
    for number in range(BINS):
        some = found[of_bin == number]
        stated, observed = some["odds"].mean(), some["suffices"].mean()
        edges = [number / BINS, (number + 1) / BINS]
        rows.append([scene, *edges, some["register"].nunique(), len(some), stated, observed, observed - stated])
    return pd.DataFrame(rows, columns=COLUMNS)


def table(registers: int) -> pd.DataFrame:
    """All scenes together, then each by itself."""
    found = pd.concat([one_register(name, one) for name in HELD_OUT for one in range(registers)], ignore_index=True)
    parts = [in_bins(found, "all"), *(in_bins(found[found["scene"] == name], name) for name in HELD_OUT)]
    return pd.concat(parts, ignore_index=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--registers", type=int, default=REGISTERS, help="of each scene")
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    made = table(asked.registers)
    print(made.round(3).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.3f")


if __name__ == "__main__":
    main()
