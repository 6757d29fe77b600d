"""Does a unit feed a set: what the set draws against what the unit can give, and what its supply then does.

How the supply works is calib.estimate.set_supply'. The odds carry the spread of the rating and of the demand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import Fault, InputError
from calib.estimate.heater_side import HeaterSide, heater_side
from calib.estimate.heaters import HeaterReading
from calib.estimate.line import MainsSide, mains_side
from calib.estimate.set_supply import HV_OVER_PRIMARY, SetSide, SetSupply, Works, source_of, works_of
from calib.fitting.features import PRIMARY
from calib.fitting.mixture import same_digits
from calib.fitting.predictive import Prediction, check_level
from calib.fitting.tables import estimates
from calib.paths import data
from calib.supply.duty import AT_LIMIT, BROKEN, KEPT, NOT_TOLD, Judged
from calib.supply.loads import Drawn, LineUp
from calib.supply.mending import Mending
from calib.supply.steady_state import FilterSection, SupplyState

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting.predictive import Fitted, Readings

__all__ = ["Demand", "SetSupply", "demand_of"]

RATING_BROKEN_BELOW = 0.5
Told = tuple[SetSupply, float, Sequence[HeaterReading]]
DEMAND_POINTS = 9  # of the quadrature over the demand's spread


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
    set_side : SetSide
        What stands in series with the loads and across them, and glow tubes with their resistors.
    heater_side : HeaterSide
        The heater windings at that load, and the heat of all windings; empty where none was read.
    mendings : tuple of Mending
        What would make the supply fit at the load that tries it most.
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
    set_side: SetSide = field(repr=False)
    heater_side: HeaterSide = field(repr=False)
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
            name: getattr(self, name)
            for name in self.__dataclass_fields__
            if name not in ("judged", "worst", "mains", "set_side", "heater_side")
        }
        state = told.pop("average")
        told |= (
            self.mains.as_dict()
            | self.set_side.as_dict()
            | self.heater_side.as_dict()
            | {"section": self.section.as_dict() if self.section else None}
        )
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
        if self.section is not None and self.section.dc_v >= 0.0:
            lines.append(said["section"].format(**self.section.as_dict()))
        lines += self.set_words
        lines += self.mains.words
        lines += [said["hv_fuse"].format(**self._figures)] if self.hv_fuse_ma is not None else []
        lines += [
            said["heater"].format(volts=volts, amperes=amperes, va=volts * amperes) for volts, amperes in self.heaters
        ]
        lines += [*filter(None, [self.heater_side.caution]), *self.heater_side.words]
        lines += [said["broken"].format(one=one, remedy=one.remedy) for one in self.broken]
        lines += [data("supply/mending.toml")["caution"], *map(str, self.mendings)] if self.mendings else []
        lines += [said["not_told"].format(limits=", ".join(self.not_told))] if self.not_told else []
        return "\n".join([*lines, *self.notes, *self.mains.line_words])

    @property
    def set_words(self) -> list[str]:
        """A second section that resonates, and what stands in series, across and with glow tubes, a sentence each."""
        section = self.section if self.section is not None and self.section.resonates else None
        resonates = data("estimate/demand.toml")["say"]["resonates"]
        return [*([resonates.format(**section.as_dict())] if section else []), *self.set_side.words]

    @property
    def _figures(self) -> dict[str, Any]:
        """What the sentences are filled from."""
        state = self.average.as_dict() if self.average else {}
        told = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {**state, **told, "percent": 100.0 * self.level}


@same_digits  # the supply's equations are many and small: a second thread's waiting takes longer than solving them
def demand_of(
    model: Fitted,
    unknown: Readings,
    line_up: LineUp,
    supply: SetSupply,
    level: float = 0.9,
    windings: Mapping[str, Sequence[HeaterReading]] | None = None,
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
    windings : mapping of str to sequence of HeaterReading, optional
        Heater windings as read, by the unit's tag; those of a blank tag are every unit's.

    Returns
    -------
    tuple of Demand
        One a unit, in order.

    Raises
    ------
    InputError
        What a unit's filter needs and was not given, values beyond their limits, windings of a unit that is not there.
    """
    check_level(level)
    asked = Prediction.of(model, unknown)
    answer = estimates(asked, level)
    line_up = line_up.with_rectifier(supply.valve)
    read = dict(windings or {})
    faults = [_no_unit(tag) for tag in read if tag and tag not in set(answer["unit"])]
    if faults:
        raise InputError(faults)
    found = []
    for at in range(len(answer)):
        mine = (*read.get("", ()), *read.get(str(answer["unit"].iloc[at]), ()))
        found.append(_one(asked, answer.iloc[at], at, line_up, (supply, level, mine)))
    return tuple(found)


def _no_unit(tag: str) -> Fault:
    remedy = "give the tag of a unit of the table, or leave it empty"
    return Fault("", None, "unit", tag, "is no unit that the demand is held against", remedy, "not-found")


def _one(asked: Prediction, answer: pd.Series, at: int, line_up: LineUp, told: Told) -> Demand:
    """The demand against one unit, told the set's supply, the level, and the unit's heater windings."""
    supply, level, windings = told
    unit = asked.readings.iloc[at]
    direct = unit["rectifier"] != "none"
    source = source_of(asked, at, supply) if direct else None
    works = None if source is None else works_of(asked, at, source, line_up, (supply, level))
    average, worst = (None, None) if works is None else works.states
    line_up, each = (line_up, _untold(line_up)) if works is None else (works.line_up, works.drawn)
    drawn = [one.total_ma for one in each]
    relative = [line_up.relative_u(case, one.set_v) for case, one in zip((False, True), each, strict=True)]
    odds = odds_of_demand(asked, at, answer, drawn, relative) if direct else [None, None]
    judged = (*_with_untold(unit, supply, works), _rating(answer, drawn[1], odds))
    lit = HeaterSide()
    if source is not None and windings:
        of_heaters = (windings, line_up.heaters, supply, float(answer["rated_current_ma"]))
        lit = heater_side(asked, at, source, of_heaters, (average, worst or average))
    marks = {"no-rectifier": not direct, "unverified-loads": bool(line_up.unverified)} | _marks(asked, at, works)
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
        heater_side=lit,
        judged=judged,
        flags=";".join(flags),
        notes=_notes(line_up, supply, unit, flags),
        level=level,
    )


def _untold(line_up: LineUp) -> tuple[Drawn, ...]:
    """What the loads draw where no voltage is known: nothing by resistors."""
    return tuple(Drawn(0.0, line_up.fixed_ma(case), 0.0) for case in (False, True))


def _marks(asked: Prediction, at: int, works: Works | None) -> dict[str, bool]:
    """What is to be known of a supply that was reckoned."""
    if works is None:
        return {}
    marks = {"beyond-source": works.states[1] is None, "no-primary": not asked.rows.seen[at, PRIMARY]}
    return marks | {"regulator": any(not one.does.works for one in works.set_side.tubes)}


def _flags(of_estimate: str, judged: Sequence[Judged], marks: Mapping[str, bool]) -> list[str]:
    """The estimate's flags, what is at its limit, and what is to be known of the demand."""
    flags = [one for one in of_estimate.split(";") if one]
    flags += [f"{one.limit} {AT_LIMIT}" for one in judged if one.verdict == AT_LIMIT]
    return flags + [name for name, holds in marks.items() if holds]


def _volts(works: Works | None) -> dict[str, Any]:
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
        "set_side": works.set_side if works else SetSide(),
        "mendings": works.mendings if works else (),
    }


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


def _with_untold(unit: pd.Series, supply: SetSupply, works: Works | None) -> list[Judged]:
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
