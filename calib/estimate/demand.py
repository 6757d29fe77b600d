"""Does a unit feed a set: what the set draws against what the unit can give, and what its supply then does.

The source that a rectifier sees is the winding and the reflected primary (Schade, "Analysis of Rectifier Operation",
Proc. IRE 1943); its steady state and the limits of its parts are calib.supply's. The odds carry the spread of the
rating and of the demand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.estimate.mains_side import MainsSide, mains_side
from calib.estimate.set_supply import SetSupply
from calib.fitting.features import CENTRE_V_OVER_R, PRIMARY
from calib.fitting.mixture import same_digits
from calib.fitting.predictive import Prediction, check_level
from calib.fitting.tables import estimates
from calib.paths import data
from calib.supply.duty import AT_LIMIT, BROKEN, KEPT, NOT_TOLD, Judged, rectifier_duty
from calib.supply.loads import LineUp
from calib.supply.mending import Mending, mendings
from calib.supply.parameters import Settings
from calib.supply.section import FilterSection
from calib.supply.steady_state import SupplyState, solve, states_of

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting.predictive import Fitted, Readings

__all__ = ["Demand", "SetSupply", "demand_of"]

# R_hv / (n² R_primary), whole winding: median and sd of ln over 27 catalogued windings of one maker.
HV_OVER_PRIMARY, HV_OVER_PRIMARY_SD = 1.73, 0.21
LINE_HALF_WIDTH = 0.05  # of the nominal line, where today's is not told (EN 50160 allows 10 %; judgement)
WARM = 1.2  # copper at some 70 °C over 20 °C
RATING_BROKEN_BELOW = 0.5
DEMAND_POINTS = 9  # of the quadrature over the demand's spread
ROUNDS, AT_REST = 40, 1e-6  # of the load that resistors draw
MOST_V = 2.0 * math.sqrt(2.0)  # direct volts over the winding's rms ones: a doubler without load
TOGETHER = ("critical-current",)  # judged at the least load, not the greatest


@dataclass(frozen=True)
class Demand:
    """A set's demand against one unit; ``str()`` says it in words.

    Attributes
    ----------
    unit : str
        Its tag.
    average_ma, worst_ma, average_u_ma, worst_u_ma : float
        Direct current in all, at rest and at full signal, with standard uncertainties [mA].
    odds_average, odds_worst : float or None
        That the rating suffices, 0 to 1; None where the unit's current is withheld.
    margin : float or None
        Median of the rating over the worst demand; likewise [-].
    source_ohm : float or None
        Of one conducting side at 20 °C, reflected primary and series resistor included [ohm].
    dc_v, dc_v_low, dc_v_high, dc_v_worst : float or None
        Direct voltage at the average load with its interval, and at the worst [V].
    average, worst : SupplyState or None
        The steady state at either load; None where volts or resistance are not known.
    peak_inverse_v : float or None
        Across one rectifier, with no load [V].
    mains : MainsSide
        What the line gives at the worst load, fuse, inrush, and what today's line makes of it.
    hv_fuse_ma : float or None
        Time-lag fuse in the lead of a centre tap, or of the winding (judgement) [mA].
    section : FilterSection or None
        What a second section leaves at the average load; None where none was told.
    mendings : tuple of Mending
        What would make the supply fit its rectifier at the worst load.
    heaters : tuple of (float, float)
        Volts and amperes [V], [A].
    judged : tuple of Judged
        Every limit that applies, the rating among them.
    flags, stop, stop_cleared, doubts : str
        As the estimate has them, with the duty's.
    notes : tuple of str
        What is to be known besides.
    level : float
        Probability of the interval.
    """

    unit: str
    average_ma: float
    worst_ma: float
    average_u_ma: float
    worst_u_ma: float
    odds_average: float | None
    odds_worst: float | None
    margin: float | None
    source_ohm: float | None
    dc_v: float | None
    dc_v_low: float | None
    dc_v_high: float | None
    dc_v_worst: float | None
    peak_inverse_v: float | None
    average: SupplyState | None = field(repr=False)
    worst: SupplyState | None = field(repr=False)
    mains: MainsSide = field(repr=False)
    hv_fuse_ma: float | None
    section: FilterSection | None = field(repr=False)
    mendings: tuple[Mending, ...] = field(repr=False)
    heaters: tuple[tuple[float, float], ...]
    judged: tuple[Judged, ...] = field(repr=False)
    flags: str
    stop: str
    stop_cleared: str
    doubts: str
    notes: tuple[str, ...] = ()
    level: float = 0.9

    @property
    def broken(self) -> tuple[Judged, ...]:
        """The limits that are broken."""
        return tuple(one for one in self.judged if one.verdict == BROKEN)

    @property
    def not_told(self) -> tuple[str, ...]:
        """Codes of the limits that nothing tells."""
        return tuple(one.limit for one in self.judged if one.verdict == NOT_TOLD)

    def as_dict(self) -> dict[str, Any]:
        """Plain values under the contract's keys."""
        told = {
            name: getattr(self, name) for name in self.__dataclass_fields__ if name not in ("judged", "worst", "mains")
        }
        state = told.pop("average")
        told |= self.mains.as_dict() | {"section": self.section.as_dict() if self.section else None}
        told["mendings"] = [one.as_dict() for one in self.mendings]
        told |= {name: getattr(state, name) if state else None for name in ("ripple_v_pp", "winding_rms_ma", "peak_ma")}
        told |= {f"{name}_worst": getattr(self.worst, name) if self.worst else None for name in ("peak_ma",)}
        told |= {
            "heaters": [{"heater_v": volts, "amperes": amperes} for volts, amperes in self.heaters],
            "broken": [
                {"limit": one.limit, "value": one.value, "allowed": one.allowed, "unit": one.unit, "remedy": one.remedy}
                for one in self.broken
            ],
            "not_told": list(self.not_told),
            "notes": list(self.notes),
        }
        return {name: None if isinstance(one, float) and not math.isfinite(one) else one for name, one in told.items()}

    def __str__(self) -> str:
        said = data("estimate/demand.toml")["say"]
        lines = [said["caution"]]
        lines += [said["stop"].format(stop=self.stop)] if self.stop and not self.stop_cleared else []
        lines += [said["doubt"].format(doubts=self.doubts)] if self.doubts else []
        lines += [said["draws"].format(**self._figures)]
        if self.odds_worst is not None and self.margin is None:
            lines.append(said["idle"])
        elif self.odds_worst is not None:
            lines.append(said["odds"].format(**self._figures))
        elif "withheld" in self.flags.split(";"):
            lines.append(said["withheld"])
        told = "no_volts" if self.dc_v is None else "volts_average" if self.dc_v_worst is None else "volts"
        lines.append(said[told].format(**self._figures))
        if self.average is not None:
            lines.append(said["state"].format(**self._figures))
        if self.section is not None:
            lines.append(said["section"].format(**self.section.as_dict()))
            lines += [said["resonates"].format(**self.section.as_dict())] if self.section.resonates else []
        lines += self.mains.words
        lines += [said["hv_fuse"].format(**self._figures)] if self.hv_fuse_ma is not None else []
        lines += [said["heater"].format(volts=volts, amperes=amperes) for volts, amperes in self.heaters]
        lines += [said["broken"].format(one=one, remedy=one.remedy) for one in self.broken]
        lines += [data("supply/mending.toml")["caution"], *map(str, self.mendings)] if self.mendings else []
        lines += [said["not_told"].format(limits=", ".join(self.not_told))] if self.not_told else []
        return "\n".join([*lines, *self.notes, *self.mains.line_words])

    @property
    def _figures(self) -> dict[str, Any]:
        """What the sentences are filled from."""
        state = self.average.as_dict() if self.average else {}
        told = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {**state, **told, "percent": 100.0 * self.level}


@same_digits  # the supply's equations are many and small: a second thread's waiting takes longer than solving them
def demand_of(
    model: Fitted, unknown: Readings, line_up: LineUp, supply: SetSupply, level: float = 0.9
) -> tuple[Demand, ...]:
    """Hold a set's demand against each unit.

    Parameters
    ----------
    model : Multiplier
        A fit.
    unknown : pandas.DataFrame, UnknownUnit or mapping
        Units as :meth:`calib.Multiplier.estimate` takes them; rectifier and filter are theirs.
    line_up : LineUp
        What the set draws.
    supply : SetSupply
        Capacitor, choke, rectifier and line of the set.
    level : float
        Probability of the interval, above 0 and below 1.

    Returns
    -------
    tuple of Demand
        One a unit, in order.

    Raises
    ------
    InputError
        What a unit's filter needs and was not given, and values beyond their limits.
    """
    check_level(level)
    asked = Prediction.of(model, unknown)
    answer = estimates(asked, level)
    line_up = line_up.with_rectifier(supply.valve)
    return tuple(_one(asked, answer.iloc[at], at, line_up, (supply, level)) for at in range(len(answer)))


def _one(asked: Prediction, answer: pd.Series, at: int, line_up: LineUp, told: tuple[SetSupply, float]) -> Demand:
    """The demand against one unit."""
    supply, level = told
    unit = asked.readings.iloc[at]
    direct = unit["rectifier"] != "none"
    source = _source(asked, at, supply) if direct else None
    works = None if source is None else _works(asked, at, source, line_up, told)
    average, worst = (None, None) if works is None else works.states
    cases = [(case, state.dc_v if state else 0.0) for case, state in ((False, average), (True, worst or average))]
    drawn = [line_up.fixed_ma(case) + 1e3 * line_up.siemens * volts for case, volts in cases]
    relative = [line_up.relative_u(case, volts) for case, volts in cases]
    odds = odds_of_demand(asked, at, answer, drawn, relative) if direct else [None, None]
    judged = (*_with_untold(unit, supply, works), _rating(answer, drawn[1], odds))
    marks = {
        "no-rectifier": not direct,
        "beyond-source": works is not None and worst is None,
        "unverified-loads": bool(line_up.unverified),
        "no-primary": works is not None and not asked.rows.seen[at, PRIMARY],
    }
    flags = _flags(str(answer["flags"]), judged, marks)
    return Demand(
        unit=str(answer["unit"]),
        average_ma=drawn[0],
        worst_ma=drawn[1],
        average_u_ma=relative[0] * drawn[0],
        worst_u_ma=relative[1] * drawn[1],
        odds_average=odds[0],
        odds_worst=odds[1],
        margin=None if odds[1] is None or not drawn[1] else float(answer["rated_current_ma"]) / drawn[1],
        source_ohm=None if source is None else source[1],
        **_volts(works) | {name: str(answer[name] or "") for name in ("stop", "stop_cleared", "doubts")},
        average=average,
        worst=worst,
        mains=mains_side(
            unit, float(asked.rows.frame["no_load_v"].iloc[at]), worst or average, line_up.heaters, supply
        ),
        heaters=line_up.heaters,
        judged=judged,
        flags=";".join(flags),
        notes=_notes(line_up, supply, unit, flags),
        level=level,
    )


def _flags(of_estimate: str, judged: Sequence[Judged], marks: Mapping[str, bool]) -> list[str]:
    """The estimate's flags, what is at its limit, and what is to be known of the demand."""
    flags = [one for one in of_estimate.split(";") if one]
    flags += [f"{one.limit} {AT_LIMIT}" for one in judged if one.verdict == AT_LIMIT]
    return flags + [name for name, holds in marks.items() if holds]


def _volts(works: _Works | None) -> dict[str, Any]:
    """The voltages of a demand and its fuse; None where the supply does not work, or was not told."""
    average, worst = works.states if works else (None, None)
    low, high = works.limits_v if works and average else (None, None)
    return {
        "dc_v": average.dc_v if average else None,
        "dc_v_low": low,
        "dc_v_high": high,
        "dc_v_worst": worst.dc_v if worst else None,
        "peak_inverse_v": works.inverse_v if works else None,
        "hv_fuse_ma": works.hv_fuse_ma if works else None,
        "section": works.section if works else None,
        "mendings": works.mendings if works else (),
    }


@dataclass(frozen=True)
class _Works:
    """How the supply works: states at both loads, limits of the direct volts, peak inverse, fuse, section, judged."""

    states: tuple[SupplyState | None, ...]
    limits_v: tuple[float, float]
    inverse_v: float | None
    hv_fuse_ma: float | None
    section: FilterSection | None
    mendings: tuple[Mending, ...]
    judged: tuple[Judged, ...]


def _works(
    asked: Prediction, at: int, source: tuple[float, float, float], line_up: LineUp, told: tuple[SetSupply, float]
) -> _Works:
    what = _loaded(asked.readings.iloc[at], source, line_up, told[0])
    states = states_of(what)
    found = [(replace(what, load_ma=one.load_ma), one) for one in states if one is not None]
    if states[0] is None or not found:
        return _Works(states, (math.nan, math.nan), None, None, None, (), ())
    limits = _interval(asked, at, found[0][0], states[0].dc_v, told)
    duties = [rectifier_duty(*one) for one in found]
    fuse = duties[-1].hv_fuse_ma
    blank = None if math.isnan(fuse) else fuse
    section = told[0].section(states[0], float(what.frequency_hz))
    judged = _judged(duties[0].judged, duties[-1].judged)
    return _Works(states, limits, duties[0].peak_inverse_v, blank, section, mendings(found[-1][0], duties[-1]), judged)


def _source(asked: Prediction, at: int, supply: SetSupply) -> tuple[float, float, float] | None:
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


def _loaded(unit: pd.Series, source: tuple[float, float, float], line_up: LineUp, supply: SetSupply) -> Settings:
    """The supply at the average and the worst load, what resistors draw at its own direct voltage included.

    Both by the secant through two loads: without the resistors, and with what they would draw then.
    """
    fixed, hz = np.array([line_up.fixed_ma(case) for case in (False, True)]), float(unit["line_frequency_hz"])
    hz = supply.line_now_hz or hz
    per_volt = 1e3 * line_up.siemens
    what = supply.settings(unit["rectifier"], unit["filter"], source, fixed, hz)
    if not per_volt:
        return what
    load, beyond = fixed, per_volt * solve(what, blank=True)["dc_v"]
    able = np.isfinite(beyond)
    further = np.where(able, fixed + beyond, fixed)
    for _ in range(ROUNDS):
        over = fixed + per_volt * solve(replace(what, load_ma=further), blank=True)["dc_v"] - further
        refused, moved = np.isnan(over), further - load
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(moved != 0.0, over * moved / (beyond - over), 0.0)
        # What the source cannot give is halfway back to what it could.
        step = np.where(refused, -moved / 2.0, step)
        load, beyond = np.where(refused, load, further), np.where(refused, beyond, over)
        further = np.clip(further + step, fixed, fixed + per_volt * MOST_V * source[0])
        if not np.any(np.abs(step) > AT_REST * np.maximum(further, 1.0)):
            break
    # A load that the source cannot give stays what it would be without a drop: it is said to be beyond the source.
    return replace(what, load_ma=np.where(able, further, fixed + per_volt * source[0]))


def _interval(
    asked: Prediction, at: int, what: Settings, dc_v: float, told: tuple[SetSupply, float]
) -> tuple[float, float]:
    """Low and high of the direct voltage: line, ratio, resistances and warm copper, each moved by itself."""
    from scipy.special import ndtri

    supply, level = told
    read = asked.readings.iloc[at]
    u_ratio = _relative(read, "u_voltage_pct", 0.9)
    u_ohm = _relative(read, "u_resistance_pct", 0.8)
    line = LINE_HALF_WIDTH / math.sqrt(3.0) if supply.line_now_v is None else 0.0
    volts, ohm, primary = float(what.volts), float(what.source_ohm), float(what.primary_ohm)
    own = ohm - primary - supply.series_ohm
    primary_u = _relative(read, "u_primary_pct", 1.0) if asked.rows.seen[at, PRIMARY] else HV_OVER_PRIMARY_SD
    # As it is, then each moved by itself: line, ratio, winding, primary, both warm.
    moved_v = volts * np.array([1.0, 1.0 - line, 1.0 - u_ratio, 1.0, 1.0, 1.0])
    moved_primary = primary * np.array([1.0, 1.0, 1.0, 1.0, 1.0 + primary_u, WARM])
    moved_own = own * np.array([1.0, 1.0, 1.0, 1.0 + u_ohm, 1.0, WARM])
    moved_ohm = moved_own + moved_primary + supply.series_ohm
    moved = solve(replace(what, volts=moved_v, source_ohm=moved_ohm, primary_ohm=moved_primary))["dc_v"]
    down = moved[0] - moved[1:]
    warm = down[4]  # rectangular between cold and warm
    u = math.sqrt(float(np.sum(down[:4] ** 2)) + (warm / 2.0) ** 2 / 3.0)
    z = float(ndtri((1.0 + level) / 2.0))
    middle = dc_v - warm / 2.0
    return min(middle - z * u, dc_v), max(middle + z * u, dc_v)


def _relative(read: pd.Series, column: str, otherwise: float) -> float:
    """A relative standard uncertainty of the record, or the usual one."""
    value = read.get(column, math.nan)
    return (float(value) if value is not None and value == value else otherwise) / 100.0


def odds_of_demand(
    asked: Prediction, at: int, answer: pd.Series, drawn: Sequence[float], relative: Sequence[float]
) -> list[float | None]:
    """Odds that the rating suffices for either demand, over the spread of the demand."""
    if answer["rated_current_ma"] != answer["rated_current_ma"]:
        return [None, None]
    share = asked.rated.share
    rated = replace(
        asked.rated,
        share=share if share.ndim == 1 else share[:, [at]],
        ln_mean=asked.rated.ln_mean[:, [at]],
        ln_sd=asked.rated.ln_sd[:, [at]],
    )
    limit = math.sqrt(2.0) if "primary-limit" in str(answer["flags"]).split(";") else 1.0
    nodes, weights = np.polynomial.hermite_e.hermegauss(DEMAND_POINTS)
    odds: list[float | None] = []
    for current, spread in zip(drawn, relative, strict=True):
        at_nodes = [float(rated.sf(current * limit * math.exp(spread * node))[0]) for node in nodes]
        odds.append(float(weights @ np.array(at_nodes) / weights.sum()))
    return odds


def _rating(answer: pd.Series, worst_ma: float, odds: Sequence[float | None]) -> Judged:
    """The rating as a limit of the worst demand."""
    remedy = data("estimate/demand.toml")["remedy"]["rating"]
    if odds[1] is None:
        return Judged("rating", NOT_TOLD, worst_ma, math.nan, "mA", False, "")
    verdict = BROKEN if odds[1] < RATING_BROKEN_BELOW else KEPT
    return Judged("rating", verdict, worst_ma, float(answer["rated_current_ma"]), "mA", True, remedy)


def _judged(average: Sequence[Judged], worst: Sequence[Judged]) -> tuple[Judged, ...]:
    """Each limit at the load that tries it most: a choke at the least, all else at the greatest."""
    least = {one.limit: one for one in average}
    return tuple(least[one.limit] if one.limit in TOGETHER else one for one in worst)


def _with_untold(unit: pd.Series, supply: SetSupply, works: _Works | None) -> list[Judged]:
    """What was judged of the supply, and the limits that nothing tells: a diode's, a capacitor's of no stated volts."""
    held = list(works.judged) if works else []
    applies = ["direct-current", "peak-current", "peak-inverse"] if unit["rectifier"] != "none" else []
    applies += ["ac-volts"] * (supply.valve is not None)
    applies += ["source-resistance", "first-capacitor"] * (supply.valve is not None and unit["filter"] == "capacitor")
    applies += ["capacitor-voltage"] * (unit["filter"] != "none")
    applies += ["critical-current"] * (unit["filter"] == "choke" and unit["rectifier"] != "half-wave")
    there = {one.limit for one in held}
    return held + [Judged(name, NOT_TOLD, math.nan, math.nan, "", False, "") for name in applies if name not in there]


def _notes(line_up: LineUp, supply: SetSupply, unit: pd.Series, flags: Sequence[str]) -> tuple[str, ...]:
    said = data("estimate/demand.toml")["note"]
    notes = [said[name] for name in ("beyond-source", "no-rectifier") if name in flags]
    if line_up.unverified:
        notes.append(said["unverified"].format(valves=", ".join(line_up.unverified)))
    if "no-primary" in flags:
        notes.append(said["no_primary"].format(ratio=HV_OVER_PRIMARY))
    if supply.line_now_v is None and unit["line_voltage_v"] == unit["line_voltage_v"]:
        notes.append(said["line"].format(line=float(unit["line_voltage_v"])))
    return tuple(notes)
