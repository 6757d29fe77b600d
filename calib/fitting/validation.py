"""How far to trust the fit: each known unit estimated from the others, beside two rules of thumb."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from calib.fitting.features import CENTRE_AREA_CM2, CENTRE_FREQUENCY_HZ, CENTRE_V_OVER_R, CORE, V_OVER_R, Features
from calib.fitting.gross_errors import DOUBTFUL_BELOW
from calib.fitting.model import drift_variance, grade_variance, unit_variance
from calib.fitting.predictive import Fitted, density, ln_v_over_r, quantiles

if TYPE_CHECKING:
    import pandas as pd

FEWEST = 3  # records that a rule of thumb is set by


@dataclass(frozen=True)
class Check:
    """Outcome of leaving records out.

    Attributes
    ----------
    folds : int
        How many records were estimated from others; doubtful ones are not asked.
    coverage : float
        Share of them whose stated current lay inside the interval; NaN without records.
    level : float
        Probability that the interval claims.
    median_error : float
        Median of |estimate / stated current - 1|; NaN without records.
    interval_score : float
        Mean width of the interval in ln current plus the penalty for misses (Gneiting and Raftery 2007); the smaller
        the better; NaN without records.
    """

    folds: int
    coverage: float
    level: float
    median_error: float
    interval_score: float

    @classmethod
    def of(cls, limits: np.ndarray, stated: np.ndarray, level: float) -> Check:
        """From low, middle and high in ln current, shape (3, n), and the stated ln currents, shape (n,)."""
        asked = np.isfinite(limits).all(axis=0)
        if not asked.any():
            return cls(0, float("nan"), level, float("nan"), float("nan"))
        (low, middle, high), y = limits[:, asked], stated[asked]
        penalty = np.maximum(low - y, 0) + np.maximum(y - high, 0)
        return cls(
            folds=int(asked.sum()),
            coverage=float(np.mean((low <= y) & (y <= high))),
            level=level,
            median_error=float(np.median(np.abs(np.exp(middle - y) - 1))),
            interval_score=float(np.mean(high - low + 2 / (1 - level) * penalty)),
        )


def leave_one_out(model: Fitted, level: float) -> Check:
    """Each sound known unit estimated from all others."""
    asked = _sound(model)
    return Check.of(_left_out(model, asked, level), _ln_current(model.rows.take(asked)), level)


def left_out(model: Fitted, level: float) -> pd.DataFrame:
    """Each sound known unit as the others would have it, beside what its record states.

    Parameters
    ----------
    model : Fitted
        A fit.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        contributor, unit, evidence, size_class, core_area_cm2 [cm²]; stated_ma, the record's direct current; low_ma,
        rated_current_ma (the likely one), high_ma [mA] from all other records; inside, level.
    """
    asked = _sound(model)
    rows = model.rows.take(asked)
    low, likely, high = np.exp(_left_out(model, asked, level))
    stated = np.exp(_ln_current(rows))
    about = rows.frame[["contributor", "unit", "evidence", "size_class", "core_area_cm2"]].reset_index(drop=True)
    found = about.assign(stated_ma=stated, low_ma=low, rated_current_ma=likely, high_ma=high)
    return found.assign(inside=(low <= stated) & (stated <= high), level=level)


def comparison(model: Fitted, level: float, refit: Callable[[Features], Fitted] | None) -> pd.DataFrame:
    """The fit beside one multiplier for each filter and the core-area rule, on the same units.

    Parameters
    ----------
    model : Fitted
        A fit.
    level : float
        Probability of the intervals.
    refit : callable or None
        Fits other rows, for leaving out a whole contributor; without it none is.

    Returns
    -------
    pandas.DataFrame
        left_out (unit or contributor), method, folds, coverage, level, median_error, interval_score.
    """
    import pandas as pd

    asked = _sound(model)
    rows = model.rows.take(asked)
    stated = _ln_current(rows)
    trials = [("unit", "this fit", _left_out(model, asked, level))]
    for without, groups in (("unit", np.arange(len(rows))), ("contributor", _codes(rows))):
        if without == "contributor":
            if refit is None:
                break
            trials.append((without, "this fit", _contributors_left_out(model, rows, level, refit)))
        trials.append((without, "one multiplier for each filter", _one_multiplier(rows, stated, groups, level)))
        trials.append((without, "core-area rule", _area_rule(rows, stated, groups, level)))
    return pd.DataFrame(
        [
            {"left_out": without, "method": method, **vars(Check.of(limits, stated, level))}
            for without, method, limits in trials
        ]
    )


def _sound(model: Fitted) -> np.ndarray:
    return np.flatnonzero(model.rows.own & (model.responsibilities[:, 0] > DOUBTFUL_BELOW))


def _ln_current(rows: Features) -> np.ndarray:
    return rows.response + _ln_ratio(rows) - rows.form


def _ln_ratio(rows: Features) -> np.ndarray:
    return rows.readings[:, V_OVER_R] + np.log(CENTRE_V_OVER_R)


def _codes(rows: Features) -> np.ndarray:
    return np.unique(rows.frame["contributor"].to_numpy(dtype=str), return_inverse=True)[1]


def _left_out(model: Fitted, asked: np.ndarray, level: float) -> np.ndarray:
    """Limits for records whose own pull is taken out of the solution exactly, shape (3, n), in ln current.

    The quadrature over the scales and the other records' odds are kept; its points are weighted anew as the record's
    likelihood is divided out. The interval is that of the stated current, so it carries the grade's own scatter.
    """
    rows, completed = model.rows, model.imputation.complete(model.rows)
    x, y = model.matrix(rows, completed)[asked], rows.response[asked]
    blanks = model.unmeasured.variance(rows, completed) + model.design.strange(rows)
    mean, sd = np.empty((len(model.quadrature), len(asked))), np.empty((len(model.quadrature), len(asked)))
    for k, point in enumerate(model.quadrature):
        one = point.posterior
        leverage = np.einsum("ij,ij->i", x @ one.covariance, x)
        pull = one.weight[asked] * leverage
        mean[k] = (x @ one.mean - pull * y) / (1 - pull)
        noise = unit_variance(rows, blanks, point.scales)[asked] + grade_variance(rows, point.scales)[asked]
        sd[k] = np.sqrt(leverage / (1 - pull) + noise + drift_variance(rows)[asked])
    own = np.array([density(np.ones(1), mean[[k]], sd[[k]], y) for k in range(len(mean))])
    shares = model.shares[:, None] / own
    shares = shares / shares.sum(axis=0)
    back = ln_v_over_r(x) - rows.form[asked]
    limits = [[quantiles(shares[:, k], mean[:, [k]], sd[:, [k]], p)[0] for p in _tails(level)] for k in range(len(y))]
    return np.array(limits).reshape(len(y), 3).T + back


def _tails(level: float) -> tuple[float, float, float]:
    return (1 - level) / 2, 0.5, (1 + level) / 2


def _contributors_left_out(
    model: Fitted, rows: Features, level: float, refit: Callable[[Features], Fitted]
) -> np.ndarray:
    """Limits for each contributor's records from a fit to all the others' records."""
    limits = np.full((3, len(rows)), np.nan)
    names = rows.frame["contributor"].to_numpy(dtype=str)
    everyone = model.rows.frame["contributor"].to_numpy(dtype=str)
    for name in np.unique(names):
        other = refit(model.rows.take(everyone != name))
        own = rows.take(names == name)
        made = other.predictive(own)  # own rows name their evidence, so its bias is in the mean
        sd = np.sqrt(made.ln_sd**2 + grade_variance(own, other.quadrature[0].scales))
        limits[:, names == name] = [quantiles(made.share, made.ln_mean, sd, p) for p in _tails(level)]
    return limits


def _one_multiplier(rows: Features, stated: np.ndarray, groups: np.ndarray, level: float) -> np.ndarray:
    """Median multiplier of the others' records of the same filter, with their own scatter."""
    filters = rows.frame["filter"].to_numpy(dtype=str)
    return _rule(stated - _ln_ratio(rows), _ln_ratio(rows), groups, filters, level)


def _area_rule(rows: Features, stated: np.ndarray, groups: np.ndarray, level: float) -> np.ndarray:
    """Volt-amperes as the square of the core area and in proportion to frequency, its share set by the others.

    I = c A^2 f / (V k), the old shop rule A = c sqrt(VA) (Radiotron Designer's Handbook, 4th ed.).
    """
    area = rows.readings[:, CORE] + np.log(CENTRE_AREA_CM2)
    hertz = rows.frequency + np.log(CENTRE_FREQUENCY_HZ)
    rule = 2 * area + hertz - np.log(rows.frame["no_load_v"].to_numpy(dtype=float)) - rows.form
    return _rule(stated - rule, rule, groups, np.full(len(rows), ""), level)


def _rule(factor: np.ndarray, rule: np.ndarray, groups: np.ndarray, kinds: np.ndarray, level: float) -> np.ndarray:
    """Limits from the median and the robust scatter of the factor among records of the same kind left in."""
    limits = np.full((3, len(factor)), np.nan)
    known = np.isfinite(factor)
    for k in np.flatnonzero(known):
        others = factor[known & (groups != groups[k]) & (kinds == kinds[k])]
        if len(others) >= FEWEST:
            middle = np.median(others)
            sd = 1.4826 * np.median(np.abs(others - middle))
            limits[:, k] = rule[k] + middle + ndtri(np.array(_tails(level))) * sd
    return limits
