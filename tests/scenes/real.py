"""The published windings, real ones, estimated with and without themselves among the known units.

``python -m tests.scenes.real --out datasets/validation/real.csv`` makes the table: volts and resistance alone, the
prior without the source that they are.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from calib.fitting.features import features_of
from calib.fitting.prior import load_prior
from calib.fitting.result import fit_rows, published_windings
from tests.scenes.scoring import LEVEL, score

# What is told of a unit beside its volts and resistance.
TOLD: dict[str, dict[str, object]] = {
    "nothing": {"maker": "", "made_year": np.nan},
    "the year": {"maker": ""},
    "the year and the maker": {},
}


def scored(told: str, out: bool) -> dict[str, object]:
    """Figures of all windings, each estimated by the fit to all, or to all others."""
    windings, prior = published_windings(), load_prior(known_beside=True)
    blank = {"contributor": "", "evidence": "", "primary_resistance_ohm": np.nan, **TOLD[told]}
    asked, known = features_of(windings.assign(**blank)), features_of(windings)
    whole = None if out else fit_rows(known, prior)
    parts, true = [], windings["rated_current_ma"].to_numpy(dtype=float)
    for place in range(len(windings)):
        model = whole or fit_rows(known.take(np.arange(len(windings)) != place), prior)
        made = model.predictive(asked.take(np.array([place])))
        parts.append([*made.limits(LEVEL)[:, 0], 1 - made.sf(true[place])[0]])
    middle, low, high, pit = np.array(parts).T
    of = score(true, middle, low, high)
    figures = {"coverage": of.coverage, "interval_score": of.interval, "median_error": of.error}
    spread = {
        "high_over_low": float(np.exp(np.median(np.log(high / low)))),
        "pit_mean": pit.mean(),
        "pit_sd": pit.std(),
    }
    return {"told": told, "left_out": str(out).lower(), "windings": len(windings), **figures, **spread}


def table() -> pd.DataFrame:
    """All of it."""
    return pd.DataFrame([scored(told, out) for out in (False, True) for told in TOLD])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="table to write")
    asked, made = parser.parse_args(), table()
    print(made.round(3).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.3f")


if __name__ == "__main__":
    main()
