"""How well a fit does on a scene, beside the population's own regression and one multiplier for each filter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.scenes.population import Scene, as_asked, units

LEVEL = 0.9
Z = 1.6448536269514722  # 95 % point of the normal distribution


@dataclass(frozen=True)
class Score:
    """Coverage, interval score in ln current (Gneiting and Raftery 2007) and median error of a set of estimates."""

    coverage: float
    interval: float
    error: float


def score(true_ma: np.ndarray, middle: np.ndarray, low: np.ndarray, high: np.ndarray) -> Score:
    """Score intervals of probability LEVEL against the true ratings."""
    y, a, b = np.log(true_ma), np.log(low), np.log(high)
    miss = 2 / (1 - LEVEL)
    interval = (b - a) + miss * np.maximum(a - y, 0) + miss * np.maximum(y - b, 0)
    return Score(
        float(np.mean((a <= y) & (y <= b))), float(interval.mean()), float(np.median(np.abs(middle / true_ma - 1)))
    )


@dataclass(frozen=True)
class Best:
    """A population's own regression of ln(I R / V) on ln core area and supply, known to rounding."""

    terms: np.ndarray
    sd: float
    supplies: tuple[str, ...]

    @classmethod
    def of(cls, scene: Scene, count: int = 40_000) -> Best:
        """From a great many units of the scene as those asked about are drawn."""
        many = units(as_asked(scene), count, np.random.default_rng(99), asked=True)
        supplies = tuple(sorted(set(many["rectifier"] + many["filter"])))
        x, y = _rows(many, supplies), np.log(many["rated_current_ma"]) - _ln_v_over_r(many)
        terms, *_ = np.linalg.lstsq(x, y, rcond=None)
        return cls(terms, float((y - x @ terms).std()), supplies)

    def score(self, asked: pd.DataFrame) -> Score:
        """Score of its own estimates of units."""
        middle = _rows(asked, self.supplies) @ self.terms + _ln_v_over_r(asked)
        limits = (np.exp(middle + k * Z * self.sd) for k in (0, -1, 1))
        return score(asked["rated_current_ma"].to_numpy(), *limits)


def _ln_v_over_r(table: pd.DataFrame) -> np.ndarray:
    return np.log(table["no_load_v"] / table["hv_resistance_ohm"]).to_numpy()


def _rows(table: pd.DataFrame, supplies: tuple[str, ...]) -> np.ndarray:
    area = np.where(table["core_area_cm2"].isna(), table["tongue_mm"] * table["stack_mm"] / 100, table["core_area_cm2"])
    name = (table["rectifier"] + table["filter"]).to_numpy()
    return np.column_stack([np.log(area / 10), *[(name == one).astype(float) for one in supplies]])


def one_multiplier(known: pd.DataFrame, asked: pd.DataFrame) -> float:
    """Median error of one multiplier for each filter, the median of the known units'; NaN without known units."""
    if known.empty:
        return float("nan")
    shares = np.log(known["rated_current_ma"]) - _ln_v_over_r(known)
    everywhere = shares.median()
    each = shares.groupby(known["rectifier"] + known["filter"]).median()
    used = (asked["rectifier"] + asked["filter"]).map(each).fillna(everywhere)
    made = np.exp(used.to_numpy() + _ln_v_over_r(asked))
    return float(np.median(np.abs(made / asked["rated_current_ma"] - 1)))
