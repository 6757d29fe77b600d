"""Coverage and interval score of the fit on populations that its prior has not seen.

``python -m tests.speed.coverage --out datasets/validation/coverage.csv`` makes that table, in about half an hour on two
cores. ``--scenes``, ``--sizes`` and ``--spoiled`` choose a part, which is printed.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd

from calib.fitting import fit
from tests.scenes.held_out import HELD_OUT
from tests.scenes.population import SCENES, recorded, units, without_wire
from tests.scenes.scoring import LEVEL, Best, one_multiplier, score

SIZES = (0, 3, 6, 12, 30, 120, 1000)
SPOILED = (0.0, 0.05, 0.10)
ASKED = 200
SEED = 2026  # of draws that no setting was looked at with
EVERY = SCENES | HELD_OUT
PIT = (0.05, 0.5, 0.95)
COLUMNS = ["scene", "held_out", "known", "spoiled_pct", "draws", "coverage", "score", "withheld"]
COLUMNS += [f"pit_{round(100 * level):02d}" for level in PIT]


@dataclass(frozen=True)
class Cell:
    """One scene at one number of known units and one share of gross errors."""

    scene: str
    known: int
    spoiled: float
    draws: int
    wire: bool = False


def run(cell: Cell) -> dict:
    """Means over draws; a draw is one register and 200 units that are asked about. What is withheld is not scored."""
    scene = EVERY[cell.scene]
    best = Best.of(scene)
    rows = []
    for draw in range(cell.draws):
        rng = np.random.default_rng([SEED, list(EVERY).index(cell.scene), cell.known, round(100 * cell.spoiled), draw])
        known = recorded(scene, units(scene, cell.known, rng), cell.spoiled, rng)
        asked = units(scene, ASKED, rng, asked=True)
        if not cell.wire:
            known, asked = without_wire(known), without_wire(asked)
        model = fit(known)
        made = model.estimate(asked, LEVEL)
        told = made["low_ma"].notna().to_numpy()
        true = asked["rated_current_ma"].to_numpy()
        ours = score(
            *(column[told] for column in (true, *made[["rated_current_ma", "low_ma", "high_ma"]].to_numpy().T))
        )
        own, one = best.score(asked[told]), one_multiplier(known, asked[told])
        pit = 1 - model.predict(asked).sf(true)
        rows.append([ours.coverage, ours.interval, ours.error, own.interval, own.error, one, 1 - told.mean()])
        rows[-1] += [(pit < level).mean() for level in PIT]
    mean = np.array(rows).mean(axis=0)
    return {
        "scene": cell.scene,
        "known": cell.known,
        "spoiled_pct": round(100 * cell.spoiled),
        "draws": cell.draws,
        "coverage": mean[0],
        "score": mean[1] / mean[3],
        "error": mean[2],
        "error_ratio": mean[2] / mean[4],
        "one_multiplier": mean[5],
        "withheld": mean[6],
        **dict(zip(COLUMNS[-len(PIT) :], mean[7:], strict=True)),
    }


def table(cells: list[Cell], workers: int = 2) -> pd.DataFrame:
    """Every cell's means, in order."""
    with ProcessPoolExecutor(workers) as pool:
        return pd.DataFrame(pool.map(run, cells, chunksize=1))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=32)
    parser.add_argument("--sizes", type=int, nargs="*", default=list(SIZES))
    parser.add_argument("--scenes", nargs="*", default=list(EVERY))
    parser.add_argument("--spoiled", type=float, nargs="*", default=list(SPOILED))
    parser.add_argument("--wire", action="store_true")
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    cells = [
        Cell(scene, known, spoiled, max(3, asked.draws // (4 if known >= 1000 else 1)), asked.wire)
        for scene in asked.scenes
        for known in asked.sizes
        for spoiled in asked.spoiled
        if known or not spoiled
    ]
    made = table(cells)
    print(made.round(3).to_string(index=False))
    shown = ["coverage", "score", "error_ratio", "withheld", *COLUMNS[-len(PIT) :]]
    print(made.groupby(["known", "spoiled_pct"])[shown].mean().round(3).to_string())
    if asked.out:
        made.assign(held_out=made["scene"].isin(HELD_OUT).map({True: "true", False: "false"}))[COLUMNS].to_csv(
            asked.out, index=False, float_format="%.3f"
        )


if __name__ == "__main__":
    main()
