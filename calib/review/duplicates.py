"""Likely duplicates: one winding that stands in the register under two tags.

Two records are either of one unit (copied, read again on the same meters, or on others), of two units of one model, or
of two that have nothing to do with one another. What each of these leads one to expect of every reading that both have
is weighed by its likelihood: units of one model are wound alike, but their wire's resistance scatters by a per cent or
two, and so does the balance of their halves; a copy has the same digits, which chance seldom gives. How far is judged
from the meters' uncertainty where the records tell it. The odds before anything is looked at, and the tolerances of
winding, are judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.bench.uncertainty import DEFAULT_U_RESISTANCE_PCT, DEFAULT_U_VOLTAGE_PCT
from calib.fitting.features import Features, features_of, text

if TYPE_CHECKING:
    import pandas as pd

LIKELY = 0.5  # probability of one unit from which on a pair is told
# Of ln V, ln R and ln I: how far apart two records may be to be looked at together.
NEAR = (0.035, 0.035, 0.05)
SAME_CURRENT = 0.01
COPIED, AGAIN, ELSEWHERE = 0.5, 0.25, 0.25  # of one unit's two records: the same digits, the same meters, others
MODELS_TO_ONE = 12.0  # pairs of one model to each of one unit; more than there are, since to call them one is worse
STRANGERS_TO_ONE = 20.0  # records for each that stands twice
FINEST = 1e-6  # relative step of a number with more digits than any meter gives
MOST_DECIMALS = 6
AT_ONCE = 1_000_000  # pairs that are weighed together


@dataclass(frozen=True)
class Compared:
    """A reading that two records may both have.

    Attributes
    ----------
    value : numpy.ndarray, shape (n,)
        Its natural logarithm, NaN where blank.
    step : numpy.ndarray, shape (n,)
        One step of its last digit over it.
    again : float
        Standard deviation of the difference where one unit is read twice on the same meters.
    elsewhere : numpy.ndarray, shape (n,)
        Standard uncertainty of one record of it, for a reading on other meters.
    model : float
        Standard deviation of the difference between two units of one model.
    spread : float
        Standard deviation between units of the register.
    """

    value: np.ndarray
    step: np.ndarray
    again: float
    elsewhere: np.ndarray
    model: float
    spread: float


def duplicates(known: pd.DataFrame) -> pd.DataFrame:
    """Pairs of records that are likely of one unit.

    Parameters
    ----------
    known : pandas.DataFrame
        Known units, as :func:`calib.read_known` gives them.

    Returns
    -------
    pandas.DataFrame
        one, other (places of the records, counted from 0 as ``iloc`` does, the first of a pair first), odds (0 to 1:
        that they are of one unit) and apart (in per cent, the largest difference of volts, resistance and current); the
        likeliest first.
    """
    import pandas as pd

    rows = features_of(known)
    pairs = _near(rows)
    readings = _readings(known, rows)
    parts = [pairs[at : at + AT_ONCE] for at in range(0, len(pairs), AT_ONCE)]
    odds = [_odds(known, readings, part) for part in parts]
    found = pd.DataFrame(pairs, columns=["one", "other"])
    found["odds"] = np.concatenate(odds) if odds else np.zeros(0)
    found = found[found["odds"] >= LIKELY]
    both = _three(rows)
    apart = np.abs(both[found["one"].to_numpy(int)] - both[found["other"].to_numpy(int)]).max(axis=1, initial=0.0)
    return found.assign(apart=100 * apart).sort_values(["odds", "one", "other"], ascending=[False, True, True])


def _three(rows: Features) -> np.ndarray:
    """ln V, ln R and ln I of each record, shape (n, 3); a part of one that is blank is NaN."""
    volts, ohms = (rows.frame[name].to_numpy(dtype=float) for name in ("no_load_v", "resistance_ohm"))
    current = rows.response - rows.form + np.log(rows.frame["v_over_r"].to_numpy(dtype=float))
    return np.column_stack([np.log(volts), np.log(ohms), current])


def _near(rows: Features) -> np.ndarray:
    """Places of the records that lie near one another in volts, resistance and current, for one supply; (m, 2)."""
    from scipy.spatial import cKDTree

    points = np.column_stack([_three(rows) / NEAR, 10.0 * rows.pair])
    sound = np.flatnonzero(np.isfinite(points).all(axis=1))
    found = cKDTree(points[sound]).query_pairs(1.0, p=np.inf, output_type="ndarray") if len(sound) else np.zeros((0, 2))
    return sound[np.sort(found.astype(int), axis=1)]


def _readings(known: pd.DataFrame, rows: Features) -> list[Compared]:
    def number(name: str) -> np.ndarray:
        return known[name].to_numpy(dtype=float, na_value=np.nan) if name in known else np.full(len(known), np.nan)

    def told(name: str, usual: float) -> np.ndarray:
        return np.where(np.isfinite(number(name)), number(name), usual) / 100

    def plain(value: np.ndarray, again: float, elsewhere: float, model: float, spread: float) -> Compared:
        return Compared(np.log(value), _step(value), again, np.full(len(value), elsewhere), model, spread)

    tested = np.isfinite(number("excitation_v") + number("hv_v"))
    ratio = np.hypot(_step(number("excitation_v")), _step(number("hv_v")))
    first, second = number("hv_half_1_ohm"), number("hv_half_2_ohm")
    balance = np.abs(np.log(first / second))
    volts, ohms = (rows.frame[name].to_numpy(dtype=float) for name in ("no_load_v", "resistance_ohm"))
    u_volts, u_ohms = (
        told("u_voltage_pct", DEFAULT_U_VOLTAGE_PCT),
        told("u_resistance_pct", DEFAULT_U_RESISTANCE_PCT),
    )
    diameter = 2 * np.sqrt(rows.frame["wire_area_mm2"].to_numpy(dtype=float) / np.pi)
    halves = Compared(balance, np.hypot(_step(first), _step(second)), 0.002, np.full(len(known), 0.003), 0.007, 0.06)
    return [
        Compared(np.log(volts), np.where(tested, ratio, _step(volts)), 0.002, u_volts, 0.003, 0.35),
        Compared(np.log(ohms), _step(number("hv_resistance_ohm")), 0.003, u_ohms, 0.017, 0.9),
        halves,
        plain(number("primary_resistance_ohm"), 0.004, 0.009, 0.015, 0.9),
        plain(number("weight_kg"), 0.003, 0.01, 0.012, 0.6),
        plain(rows.frame["core_area_cm2"].to_numpy(dtype=float), 0.004, 0.01, 0.012, 0.6),
        plain(diameter, 0.01, 0.02, 0.01, 0.3),
    ]


def _step(value: np.ndarray) -> np.ndarray:
    """One step of the last digit of each number over it; of a long number a small one."""
    step = np.full(len(value), 10.0**-MOST_DECIMALS)
    for decimals in range(MOST_DECIMALS - 1, -1, -1):
        scaled = value * 10.0**decimals
        step = np.where(np.abs(scaled - np.round(scaled)) < 1e-6, 10.0**-decimals, step)
    return np.maximum(step / np.abs(value), FINEST)


def _odds(known: pd.DataFrame, readings: list[Compared], pairs: np.ndarray) -> np.ndarray:
    """Probability that each pair of records is of one unit, shape (m,)."""
    one, other = pairs.T
    names = ("copied", "again", "elsewhere", "model", "model apart", "strangers")
    logs = {name: np.zeros(len(pairs)) for name in names}
    for reading in readings:
        apart = reading.value[one] - reading.value[other]
        both = np.isfinite(apart)
        step = np.maximum(reading.step[one], reading.step[other])
        square, rounded = apart**2, step**2 / 6
        meters = reading.elsewhere[one] ** 2 + reading.elsewhere[other] ** 2
        with np.errstate(divide="ignore"):
            copied = np.where(np.abs(apart) <= 0.51 * step + FINEST, -np.log(step), -np.inf)
        variances = {
            "again": reading.again**2,
            "elsewhere": meters,
            "model": reading.again**2 + reading.model**2,
            "model apart": meters + reading.model**2,
            "strangers": 2 * reading.spread**2,
        }
        logs["copied"] += np.where(both, copied, 0.0)
        for name, variance in variances.items():
            logs[name] += np.where(both, _log_normal(square, variance + rounded), 0.0)
    current = np.log(known["rated_current_ma"].to_numpy(dtype=float))
    same = np.abs(current[one] - current[other]) < SAME_CURRENT
    logs["strangers"] += np.where(same, np.log(0.05 / 0.9), np.log(0.95 / 0.1))
    unit = np.logaddexp.reduce(
        [
            logs["copied"] + np.log(COPIED),
            logs["again"] + np.log(AGAIN),
            logs["elsewhere"] + np.log(ELSEWHERE),
        ]
    )
    model = np.logaddexp(logs["model"], logs["model apart"]) + np.log(MODELS_TO_ONE / 2)
    strangers = logs["strangers"] + np.log(STRANGERS_TO_ONE * len(known))
    total = np.logaddexp.reduce([unit, model, strangers])
    return np.where(_contradicted(known, one, other), 0.0, np.exp(unit - total))


def _log_normal(square: np.ndarray, variance: np.ndarray) -> np.ndarray:
    return -0.5 * (square / variance + np.log(2 * np.pi * variance))


def _contradicted(known: pd.DataFrame, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Which pairs cannot be of one unit: two windings of one transformer, other makers, other metals."""
    never = np.zeros(len(one), dtype=bool)
    for name in ("maker", "conductor", "lamination"):
        told = np.char.lower(text(known, name).astype(str))
        never |= (told[one] != told[other]) & (told[one] != "") & (told[other] != "")
    bench, whole = text(known, "contributor"), text(known, "transformer")
    return never | ((whole[one] == whole[other]) & (whole[one] != "") & (bench[one] == bench[other]))
