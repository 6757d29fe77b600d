"""Readings of one unit that do not go together: which they are, and what the repair of each likely slip would give."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import ndtri

from calib.fitting import tables, weighing
from calib.fitting.weighing import CORE, RATIO, VOLTS, WIRE

if TYPE_CHECKING:
    from calib.fitting import Multiplier
    from calib.fitting.weighing import Weighed

WORTH, MOST = 0.01, 5  # odds below which a slip's repair is not worth a look, and how many are shown
FREE = 3.0  # standard deviation in ln of a reading that is asked what the others lead one to expect of it
NOTHING = 1e-9
DISAGREEMENT = ("reading", "value", "unit", "expected", "low", "high")
REPAIRS = ("slip", "odds", "then", "repaired_ma", "repaired_low_ma", "repaired_high_ma")


def disagreement(found: Weighed, slips: Sequence[str], level: float) -> pd.DataFrame:
    """The readings that the likely slips are in, beside what the others lead one to expect of them.

    Parameters
    ----------
    found : Weighed
        One unit.
    slips : sequence of str
        Their names; all readings are given where there is none.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        reading, value as read (the resistance brought to 20 °C), unit, expected, low and high: what the others say.
    """
    here, z = np.zeros(1, dtype=int), ndtri((1 + level) / 2)
    wanted: list[int] = []
    for name in slips:
        place = weighing.NAMES.index(name)
        by = _by_reading(found.step(np.array([place]))[0][0])
        wanted += [reading for reading, step in by.items() if abs(step) > NOTHING]
    lines = []
    for reading, (name, value, unit, power) in _readings(found).items():
        if slips and reading not in wanted:
            continue
        direction = np.eye(4)[reading]
        direction[RATIO] += reading == VOLTS  # volts that are off carry V/R with them
        mean, variance = (float(part[0]) for part in found.unknown_step(direction, FREE, here))
        low, expected, high = sorted(value * np.exp(power * (mean + k * z * np.sqrt(variance))) for k in (-1, 0, 1))
        lines.append((name, value, unit, expected, low, high))
    return pd.DataFrame(lines, columns=list(DISAGREEMENT))


def repairs(model: Multiplier, found: Weighed, level: float) -> pd.DataFrame:
    """What each likely slip's repair would give, the likeliest slip first.

    Parameters
    ----------
    model : Multiplier
        A fit.
    found : Weighed
        One unit.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        slip, odds (0 to 1), then (the readings that it changes, as they would be), repaired_ma, repaired_low_ma,
        repaired_high_ma [mA]; none whose median is no set's transformer's.
    """
    odds = np.where(found.repairable, found.odds[:, 1:], 0.0)[0]
    lines: list[tuple[object, ...]] = []
    for slip in np.argsort(-odds, kind="stable"):
        if odds[slip] < WORTH or len(lines) == MOST:
            break
        slips = np.array([slip])
        figures = tables.repaired(model, found, slips, np.zeros(1, dtype=int), level)[:, 0]
        if weighing.plausible(figures[0]):
            lines.append((weighing.NAMES[slip], float(odds[slip]), _then(found, slips), *figures))
    return pd.DataFrame(lines, columns=list(REPAIRS))


def nothing() -> tuple[pd.DataFrame, pd.DataFrame]:
    """No disagreement and no repair."""
    return pd.DataFrame(columns=list(DISAGREEMENT)), pd.DataFrame(columns=list(REPAIRS))


def _readings(found: Weighed) -> dict[int, tuple[str, float, str, float]]:
    """The readings of a unit: name, value and unit, and the power of exp(step) that leads to the expected value."""
    at, x = found.rows.frame.iloc[0], found.rows
    told = {
        RATIO: ("winding resistance at 20 °C", float(at["resistance_ohm"]), "ohm", 1.0),
        VOLTS: ("no-load voltage", float(at["no_load_v"]), "V", -1.0),
    }
    if x.has_core[0]:
        told[CORE] = ("core area", float(at["core_area_cm2"]), "cm²", -1.0)
    if x.has_wire[0]:
        told[WIRE] = ("bare wire diameter", float(np.sqrt(4 * at["wire_area_mm2"] / np.pi)), "mm", -0.5)
    return told


def _then(found: Weighed, slips: np.ndarray) -> str:
    """The readings that a slip changed, as they were before it."""
    by = _by_reading(found.step(slips)[0][0])
    told = [
        f"{name} {value * np.exp(power * by[reading]):.3g} {unit}"
        for reading, (name, value, unit, power) in _readings(found).items()
        if abs(by[reading]) > NOTHING
    ]
    return ", ".join(told)


def _by_reading(step: np.ndarray) -> dict[int, float]:
    """Steps of ln V/R, V, core and wire as steps of the readings, the resistance's downward in the place of V/R's."""
    return {RATIO: step[RATIO] - step[VOLTS], VOLTS: step[VOLTS], CORE: step[CORE], WIRE: step[WIRE]}
