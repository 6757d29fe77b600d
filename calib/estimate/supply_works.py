"""How a unit's winding works into the supply of a set: source, loads by their own voltage, steady states, limits.

The source that a rectifier sees is the winding and the reflected primary (Schade, "Analysis of Rectifier Operation",
Proc. IRE 1943); steady state and limits are calib.supply's, at 20 °C.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from calib.estimate.set_side import SetSide, chosen_resistors, set_side
from calib.estimate.set_supply import SetSupply
from calib.fitting.features import CENTRE_V_OVER_R, PRIMARY
from calib.fitting.predictive import Prediction
from calib.supply.duty import BROKEN, Duty, Judged, rectifier_duty
from calib.supply.loads import Drawn, LineUp
from calib.supply.mending import Mending, mendings
from calib.supply.parameters import Settings
from calib.supply.section import FilterSection
from calib.supply.steady_state import SupplyState, solve, states_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["HV_OVER_PRIMARY", "LINE_HALF_WIDTH", "Source", "WARM", "Works", "source_of", "works_of"]

# R_hv / (n² R_primary), whole winding: median and sd of ln over 27 catalogued windings of one maker.
HV_OVER_PRIMARY, HV_OVER_PRIMARY_SD = 1.73, 0.21
LINE_HALF_WIDTH = 0.05  # of the nominal line, where today's is not told (EN 50160 allows 10 %; judgement)
WARM = 1.2  # copper at some 70 °C over 20 °C
ROUNDS, AT_REST = 40, 1e-6  # of the load that resistors draw
MOST_V = 2.0 * math.sqrt(2.0)  # direct volts over the winding's rms ones: a doubler without load
TOGETHER = ("critical-current",)  # judged at the least load, not the greatest

Source = tuple[float, float, float]  # volts, ohm and the reflected primary's ohm of one conducting side


@dataclass(frozen=True)
class Works:
    """How the supply works at the average and at the worst load.

    Attributes
    ----------
    line_up : LineUp
        The loads, the resistors that were to be chosen among them.
    states : tuple of SupplyState or None
        At either load; None for a load that the source cannot give.
    drawn : tuple of Drawn
        What the loads draw in either case, and the volts that are left to them.
    limits_v : tuple of float
        Interval of the direct voltage at the average load [V].
    inverse_v, hv_fuse_ma : float or None
        Peak inverse with no load, and the fuse on the winding's side [V], [mA].
    section : FilterSection or None
        What a second section leaves at the average load.
    set_side : SetSide
        What stands in series, across, and with glow tubes.
    mendings : tuple of Mending
        What would make the supply fit.
    judged : tuple of Judged
        Every limit that applies to the supply.
    """

    line_up: LineUp
    states: tuple[SupplyState | None, ...]
    drawn: tuple[Drawn, ...]
    limits_v: tuple[float, float]
    inverse_v: float | None
    hv_fuse_ma: float | None
    section: FilterSection | None
    set_side: SetSide
    mendings: tuple[Mending, ...]
    judged: tuple[Judged, ...]


def works_of(asked: Prediction, at: int, source: Source, line_up: LineUp, told: tuple[SetSupply, float]) -> Works:
    """The supply of a set fed by a unit.

    Parameters
    ----------
    asked : Prediction
        Units with their readings.
    at : int
        Which of them.
    source : tuple of float
        As `source_of` gives it.
    line_up : LineUp
        What the set draws.
    told : (SetSupply, float)
        The set's supply, and the level of the interval.

    Raises
    ------
    InputError
        What the unit's filter needs and was not given, and values beyond their limits.
    """
    supply, unit = told[0], asked.readings.iloc[at]
    if any(one.use == "regulator" for one in line_up.loads):
        line_up = chosen_resistors(line_up, _extremes(unit, source, line_up, supply))
    what = _loaded(unit, source, line_up, supply)
    states = states_of(what)
    volts = [state.dc_v if state else 0.0 for state in (states[0], states[1] or states[0])]
    before = supply.section_ohm or 0.0
    drawn = tuple(line_up.drawn(case, dc_v, before) for case, dc_v in zip((False, True), volts, strict=True))
    found = [(replace(what, load_ma=one.load_ma), one) for one in states if one is not None]
    if states[0] is None or not found:
        return Works(line_up, states, drawn, (math.nan, math.nan), None, None, None, SetSide(), (), ())
    tubes = any(one.use == "regulator" for one in line_up.loads)
    side = set_side(line_up, drawn, _extremes(unit, source, line_up, supply) if tubes else None)
    limits = _interval(asked, at, found[0][0], states[0].dc_v, told)
    duties = [rectifier_duty(*one) for one in found]
    fuse = duties[-1].hv_fuse_ma
    mended = _mended(found, duties, side.bled_ma)
    blank = None if math.isnan(fuse) else fuse
    section = supply.section(states[0], float(what.frequency_hz))
    judged = _judged(duties[0].judged, duties[-1].judged)
    return Works(line_up, states, drawn, limits, duties[0].peak_inverse_v, blank, section, side, mended, judged)


def _mended(
    found: Sequence[tuple[Settings, SupplyState]], duties: Sequence[Duty], bled_ma: float
) -> tuple[Mending, ...]:
    """What mends the limits at the worst load, and at the least what is judged there."""
    made = mendings(found[-1][0], duties[-1], bled_ma)
    at_rest = {one.limit for one in duties[0].judged if one.verdict == BROKEN and one.limit in TOGETHER}
    if len(found) < 2 or not at_rest:
        return made
    more = [one for one in mendings(found[0][0], duties[0], bled_ma) if at_rest & set(one.mends)]
    return (*(one for one in made if one.how not in {other.how for other in more}), *more)


def _extremes(unit: pd.Series, source: Source, line_up: LineUp, supply: SetSupply) -> tuple[float, float]:
    """Volts left to the loads on a line 5 % low at full signal, and 5 % high at rest; NaN beyond the source."""
    cases = ((True, 1.0 - LINE_HALF_WIDTH), (False, 1.0 + LINE_HALF_WIDTH))
    dc_v = solve(_loaded(unit, source, line_up, supply, cases), blank=True)["dc_v"]
    left = [
        line_up.drawn(case, one, supply.section_ohm or 0.0).set_v if one == one else math.nan
        for (case, _), one in zip(cases, dc_v.tolist(), strict=True)
    ]
    return left[0], left[1]


def source_of(asked: Prediction, at: int, supply: SetSupply) -> Source | None:
    """Volts, ohm and the reflected primary's ohm of one conducting side at 20 °C; None without volts or resistance."""
    row = asked.rows.frame.iloc[at]
    volts, ohm = float(row["no_load_v"]), float(row["resistance_ohm"])
    if not (math.isfinite(volts) and math.isfinite(ohm)):
        return None
    nominal = float(asked.readings["line_voltage_v"].iloc[at])
    if supply.line_now_v is not None:
        volts *= supply.line_now_v / nominal
    reading = asked.rows.readings[at, PRIMARY]
    # n² R_p of the whole winding: from the primary as read, else as it usually stands to the winding's own.
    whole_v = float(row["no_load_v"])
    primary = whole_v / (math.exp(reading) * CENTRE_V_OVER_R) if math.isfinite(reading) else ohm / HV_OVER_PRIMARY
    if asked.readings["rectifier"].iloc[at] == "full-wave":
        volts, ohm, primary = volts / 2.0, ohm / 2.0, primary / 4.0
    return volts, ohm + primary + supply.series_ohm, primary


def _loaded(
    unit: pd.Series,
    source: Source,
    line_up: LineUp,
    supply: SetSupply,
    cases: Sequence[tuple[bool, float]] = ((False, 1.0), (True, 1.0)),
) -> Settings:
    """The supply at each case, what resistors and tubes draw at their own voltage included.

    A case is whether the load is the worst, and the line over that of the source. Each by the secant through two loads:
    at no voltage, and what they would draw at the voltage of that.
    """
    before, lines = supply.section_ohm or 0.0, np.array([line for _, line in cases])

    def drawn(volts: np.ndarray) -> np.ndarray:
        """What the cases draw; NaN where there is no voltage."""
        every = [line_up.drawn(case, one, before).total_ma for (case, _), one in zip(cases, volts, strict=True)]
        return np.where(np.isnan(volts), np.nan, np.maximum(every, 0.0))

    fixed, hz = drawn(np.zeros(len(cases))), supply.line_now_hz or float(unit["line_frequency_hz"])
    what = supply.settings(unit["rectifier"], unit["filter"], source, fixed, hz)
    what = what if np.all(lines == 1.0) else replace(what, volts=source[0] * lines)
    if not line_up.by_volts:
        return what
    load, beyond = fixed, drawn(solve(what, blank=True)["dc_v"]) - fixed
    able, most = np.isfinite(beyond), drawn(MOST_V * source[0] * lines)
    further = np.where(able, fixed + beyond, fixed)
    for _ in range(ROUNDS):
        over = drawn(solve(replace(what, load_ma=further), blank=True)["dc_v"]) - further
        refused, moved = np.isnan(over), further - load
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(moved != 0.0, over * moved / (beyond - over), 0.0)
        # What the source cannot give is halfway back to what it could.
        step = np.where(refused, -moved / 2.0, step)
        load, beyond = np.where(refused, load, further), np.where(refused, beyond, over)
        further = np.clip(further + step, fixed, most)
        if not np.any(np.abs(step) > AT_REST * np.maximum(further, 1.0)):
            break
    # A load that the source cannot give stays what it would be without a drop: it is said to be beyond the source.
    return replace(what, load_ma=np.where(able, further, drawn(source[0] * lines)))


def _interval(
    asked: Prediction, at: int, what: Settings, dc_v: float, told: tuple[SetSupply, float]
) -> tuple[float, float]:
    """Low and high of the direct voltage: line, ratio, resistances and warm copper, each moved by itself."""
    from scipy.special import ndtri

    supply, level = told
    read = asked.readings.iloc[at]
    u_ratio = relative_of(read, "u_voltage_pct", 0.9)
    u_ohm = relative_of(read, "u_resistance_pct", 0.8)
    line = LINE_HALF_WIDTH / math.sqrt(3.0) if supply.line_now_v is None else 0.0
    volts, ohm, primary = float(what.volts), float(what.source_ohm), float(what.primary_ohm)
    own = ohm - primary - supply.series_ohm
    primary_u = relative_of(read, "u_primary_pct", 1.0) if asked.rows.seen[at, PRIMARY] else HV_OVER_PRIMARY_SD
    # As it is, then each moved by itself: line, ratio, winding, primary, both warm.
    moved_v = volts * np.array([1.0, 1.0 - line, 1.0 - u_ratio, 1.0, 1.0, 1.0])
    moved_primary = primary * np.array([1.0, 1.0, 1.0, 1.0, 1.0 + primary_u, WARM])
    moved_own = own * np.array([1.0, 1.0, 1.0, 1.0 + u_ohm, 1.0, WARM])
    moved_ohm = moved_own + moved_primary + supply.series_ohm
    moved = solve(replace(what, volts=moved_v, source_ohm=moved_ohm, primary_ohm=moved_primary), blank=True)["dc_v"]
    moved = np.where(np.isnan(moved), 0.0, moved)  # what the source can then not give brings it down
    down = moved[0] - moved[1:]
    warm = down[4]  # rectangular between cold and warm
    u = math.sqrt(float(np.sum(down[:4] ** 2)) + (warm / 2.0) ** 2 / 3.0)
    z = float(ndtri((1.0 + level) / 2.0))
    middle = dc_v - warm / 2.0
    return max(min(middle - z * u, dc_v), 0.0), max(middle + z * u, dc_v)


def relative_of(read: pd.Series, column: str, otherwise: float) -> float:
    """A relative standard uncertainty of the record, or the usual one."""
    value = read.get(column, math.nan)
    return (float(value) if value is not None and value == value else otherwise) / 100.0


def _judged(average: Sequence[Judged], worst: Sequence[Judged]) -> tuple[Judged, ...]:
    """Each limit at the load that tries it most: a choke at the least, all else at the greatest."""
    least = {one.limit: one for one in average}
    return tuple(least[one.limit] if one.limit in TOGETHER else one for one in worst)
