"""What each set of readings says by itself, so that a reader sees where they disagree."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from calib.fitting.predict import quantiles

if TYPE_CHECKING:
    from calib.fitting import Facts, Multiplier
    from calib.fitting.weighing import Typed


def opinions(model: Multiplier, rows: Facts, level: float, typed: Typed | None = None) -> pd.DataFrame:
    """Rated current from V/R alone, with the core, from core and gauge without V/R, and from all.

    Parameters
    ----------
    model : Multiplier
        A fit.
    rows : Facts
        One unit.
    level : float
        Probability of the intervals.
    typed : Typed or None
        What was typed, by which each set's readings are weighed as the whole unit's are; None: each is taken as sound.

    Returns
    -------
    pandas.DataFrame
        predictors, rated_current_ma, low_ma, high_ma [mA]; one row for each set that the unit's readings allow.
    """
    unsized = rows.frame.assign(size_class="")
    bare = replace(rows, frame=unsized, covariates=_without_core(rows.covariates), wire=np.full(len(rows), np.nan))
    sets = [("v_over_r", bare, 0.0)]
    if rows.has_core[0]:
        sets.append(("v_over_r+core", replace(rows, wire=np.full(len(rows), np.nan)), 0.0))
    if rows.has_wire[0]:
        sets += [("core+gauge", *_without_v_over_r(model, rows)), ("v_over_r+core+gauge", rows, 0.0)]
    table = []
    for name, unit, extra in sets:
        weighed = None if typed is None or name == "core+gauge" else model.weighed(unit, typed)
        spread = model.predictive(unit) if weighed is None else model.mixture(weighed)
        table.append((name, *_interval(spread, extra, level)))
    return pd.DataFrame(table, columns=["predictors", "rated_current_ma", "low_ma", "high_ma"])


def _interval(
    spread: tuple[np.ndarray, np.ndarray, np.ndarray], extra_variance: float, level: float
) -> tuple[float, float, float]:
    share, mean, sd = spread
    sd, tail = np.sqrt(sd**2 + extra_variance), (1 - level) / 2
    middle, low, high = (float(np.exp(quantiles(share, mean, sd, at)[0])) for at in (0.5, tail, 1 - tail))
    return middle, low, high


def _without_core(covariates: np.ndarray) -> np.ndarray:
    covariates = covariates.copy()
    covariates[:, 1] = np.nan
    return covariates


def _without_v_over_r(model: Multiplier, rows: Facts) -> tuple[Facts, float]:
    """The unit with the V/R that its core and wire lead one to expect, and the variance of that expectation."""
    terms, scatter = model.sides.wire.terms, model.sides.wire.scatter
    covariates = rows.covariates.copy()
    rest = covariates[:, [0, 1, 2, 4]] @ terms[[0, 1, 2, 4]]
    covariates[:, 3] = (rows.wire - rest) / terms[3]
    carried = 1 + model.solutions[0].mean[3]
    return replace(rows, covariates=covariates), float((carried * scatter / terms[3]) ** 2)
