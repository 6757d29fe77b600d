"""Many worlds regressed: makes the prior that is shipped.

``python -m calib.fitting.worlds`` draws the worlds anew and writes prior.json beside this file.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.design_model import draw, draw_world
from calib.fitting.prior import CHAINS, FILE
from calib.fitting.rows import facts

if TYPE_CHECKING:
    import pandas as pd

WORLDS, UNITS, SEED = 160, 3000, 20261124
WIDER = 2.0  # factor on the standard deviations of the terms between worlds
LEAST_SD = 0.05  # added in quadrature to every term: worlds that share the model's form may all err alike
WIDER_SCATTER = 1.5  # the same for the residual standard deviations


def regress_worlds(worlds: int = WORLDS, units: int = UNITS, seed: int = SEED) -> dict:
    """Draw worlds, regress each, and give the prior as plain values for prior.json."""
    rng = np.random.default_rng(seed)
    each = [_regress(draw(units, draw_world(rng), rng)) for _ in range(worlds)]
    stored: dict = {
        "about": "Simulated: regressions over worlds drawn by calib.fitting.design_model; regenerate with "
        "python -m calib.fitting.worlds",
        "worlds": worlds,
        "units_per_world": units,
        "seed": seed,
        "wider": WIDER,
    }
    for name in CHAINS:
        terms = np.array([one[name][0] for one in each])
        scatter = np.log([one[name][1] for one in each])
        stored[name] = {
            "terms": list(CHAINS[name]),
            "mean": _rounded(terms.mean(axis=0)),
            "covariance": _rounded(np.cov(terms.T) * WIDER**2 + np.eye(terms.shape[1]) * LEAST_SD**2),
            "ln_scatter": round(float(scatter.mean()), 6),
            "ln_scatter_sd": round(float(scatter.std() * WIDER_SCATTER), 6),
        }
    stored["usual"] = _rounded(np.mean([one["usual"] for one in each], axis=0))
    return stored


def _rounded(values: np.ndarray) -> list:
    return np.round(values, 8).tolist()


def _regress(units: pd.DataFrame) -> dict:
    """The chains of one world by least squares: terms and residual standard deviation of each."""
    rows = facts(units.rename(columns={"resistance_ohm": "hv_resistance_ohm"}).assign(winding_temp_c=20.0))
    x, wire = rows.covariates, rows.wire
    core, core_sd, _ = _least_squares(x[:, [0, 2, 3, 4]], x[:, 1])
    gauge, gauge_sd, departure = _least_squares(x, wire)
    # Each supply's own offset is a deviation of the fit, and no part of its noise.
    supplies = (rows.pair[:, None] == np.unique(rows.pair)[1:]).astype(float)
    supplies -= supplies.mean(axis=0)
    main, main_sd, _ = _least_squares(np.column_stack([x, departure, supplies]), rows.response)
    ratio, ratio_sd, _ = _least_squares(x[:, [0, 2, 4]], x[:, 3])
    usual = np.array([_least_squares(x[:, :2], x[:, column])[0] for column in (3, 4)])
    return {
        "core": (core, core_sd),
        "wire": (gauge, gauge_sd),
        "main": (main[: len(CHAINS["main"])], main_sd),
        "ratio": (ratio, ratio_sd),
        "usual": usual,
    }


def _least_squares(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
    terms, *_ = np.linalg.lstsq(x, y, rcond=None)
    residual = y - x @ terms
    return terms, float(residual.std(ddof=x.shape[1])), residual


if __name__ == "__main__":
    FILE.write_text(json.dumps(regress_worlds(), indent=1) + "\n", encoding="utf-8")
