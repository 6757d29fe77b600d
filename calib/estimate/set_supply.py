"""The supply of a set: its parts, what stands in series and across it, and how a unit's winding works into it.

The source that a rectifier sees is the winding and the reflected primary (Schade, "Analysis of Rectifier Operation",
Proc. IRE 1943); steady state and limits are calib.supply's, at 20 °C. Series and cross resistors: circuit law;
Radiotron Designer's Handbook (regulators, field coils); calib.supply.budget has the formulas.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import Fault, InputError
from calib.fitting.features import CENTRE_V_OVER_R, PRIMARY
from calib.fitting.predictive import Prediction
from calib.paths import data
from calib.register.fields import facts_of, faults_of
from calib.supply.budget import GlowRegulator, Resistor, across, glow_regulator, in_series, preferred_ohm
from calib.supply.duty import BROKEN, Duty, Judged, rectifier_duty
from calib.supply.loads import Drawn, LineUp, Load
from calib.supply.mending import Mending, mendings
from calib.supply.parameters import Settings
from calib.supply.steady_state import FilterSection, SupplyState, filter_section, solve, states_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["GlowTube", "HV_OVER_PRIMARY", "LINE_HALF_WIDTH", "SUPPLY", "SetSide", "SetSupply", "Source", "WARM"]
__all__ += ["Works", "chosen_resistors", "set_side", "source_of", "works_of"]

SUPPLY = facts_of(data("supply/fields.toml")["supply"])
SECTION = ("section_ohm", "section_uf", "section_h")


@dataclass(frozen=True)
class SetSupply:
    """The supply of the set, whatever unit feeds it.

    Attributes
    ----------
    capacitance_uf : float or None
        First capacitor, each one's of a doubler; needed with a filter [µF].
    choke_h, choke_ohm : float or None
        Input choke; needed with filter choke [H], [ohm].
    capacitor_volts : float or None
        What the capacitors are rated for; None where not told [V].
    valve : str or None
        Type of a rectifier valve.
    diode_drop_v : float
        Of one solid-state rectifier [V].
    series_ohm : float
        Added in series with one conducting side, 0 or more [ohm].
    line_now_v : float or None
        Line that it will run on; None for the unit's nominal one, give or take 5 % [V].
    line_now_hz : float or None
        Its frequency; None for the unit's nominal one [Hz].
    section_ohm, section_uf, section_h : float or None
        A second section behind the first capacitor: its resistance, its capacitor, and the inductance of a choke or
        field coil, None of a resistor; the first two together or neither [ohm], [µF], [H].
    """

    capacitance_uf: float | None = None
    choke_h: float | None = None
    choke_ohm: float | None = None
    capacitor_volts: float | None = None
    valve: str | None = None
    diode_drop_v: float = 0.0
    series_ohm: float = 0.0
    line_now_v: float | None = None
    line_now_hz: float | None = None
    section_ohm: float | None = None
    section_uf: float | None = None
    section_h: float | None = None

    def __post_init__(self) -> None:
        given = {name: getattr(self, name) for name in SUPPLY}
        faults = faults_of(SUPPLY, given)
        if any(given[name] is not None for name in SECTION):
            missing = [name for name in SECTION if given[name] is None and name != "section_h"]
            problem = "a second section needs its resistance and its capacitor"
            faults += [_fault(name, "", problem, "missing") for name in missing]
        if faults:
            raise InputError(faults)

    def section(self, state: SupplyState, hz: float) -> FilterSection | None:
        """What the second section leaves of a steady state; None where there is none."""
        if self.section_ohm is None or self.section_uf is None:
            return None
        return filter_section(state, hz, self.section_ohm, self.section_uf, self.section_h or 0.0)

    def settings(
        self, rectifier: str, filter: str, source: tuple[float, float, float], load_ma: np.ndarray, hz: float
    ) -> Settings:
        """What the steady state follows from: source is volts, ohm and the reflected primary's part of one side.

        Raises
        ------
        InputError
            What the filter needs and was not given, or a value beyond its limits.
        """
        volts, ohm, primary = source
        faults = []
        if filter != "none" and self.capacitance_uf is None:
            faults.append(_fault("capacitance_uf", "", f"filter '{filter}' needs its capacitor", "missing"))
        if filter == "choke" and self.choke_h is None:
            faults.append(_fault("choke_h", "", "a choke-input filter needs its choke", "missing"))
        if filter == "choke" and self.choke_ohm is None:
            faults.append(_fault("choke_ohm", "", "a choke-input filter needs its choke's resistance", "missing"))
        if faults:
            raise InputError(faults)
        choked = filter == "choke"
        return Settings(
            rectifier,
            filter,
            volts,
            ohm,
            1.0 if self.capacitance_uf is None else self.capacitance_uf,
            load_ma,
            hz,
            valve=self.valve,
            diode_drop_v=self.diode_drop_v,
            primary_ohm=primary,
            capacitor_volts=None if filter == "none" else self.capacitor_volts,
            choke_h=self.choke_h if choked else None,
            choke_ohm=(self.choke_ohm or 0.0) if choked else 0.0,
        )


def _fault(column: str, value: object, problem: str, code: Any) -> Fault:
    return Fault("", None, column, str(value), problem, SUPPLY[column].remedy, code)


NO_TUBE = GlowRegulator(*(math.nan,) * 6, works=False)


@dataclass(frozen=True)
class GlowTube:
    """A glow tube of the set: its load, and how it does with its resistor on a line 5 % low and 5 % high."""

    load: Load
    does: GlowRegulator

    def as_dict(self) -> dict[str, Any]:
        """Plain values; None for a number that does not exist."""
        told = {"load": self.load.load, "regulated_v": self.load.regulated_v, "chosen": self.load.chosen_ohm}
        told |= asdict(self.does)
        return {name: None if isinstance(one, float) and math.isnan(one) else one for name, one in told.items()}

    @property
    def words(self) -> str:
        """Its resistor, its current at both lines, and whether that is inside its limits."""
        said = data("estimate/demand.toml")["tube"]
        one, does = self.load, self.does
        figures = {name: getattr(one, name) for name in ("load", "regulated_v", "worst_ma")} | asdict(does)
        figures |= {"least": one.tube_low_ma, "most": one.tube_high_ma}
        figures["tube_low_ma"] = max(does.tube_low_ma, 0.0)  # it is out
        figures |= {name: _plain(figures[name]) for name in ("ohm", "least_ohm", "most_ohm")}
        if math.isnan(does.tube_low_ma):
            return str(said["starved" if math.isnan(does.least_ohm) else "none"].format(**figures))
        how = said["chosen" if one.chosen_ohm else "given"].format(**figures)
        verdict = "works" if does.works else "other" if does.least_ohm <= does.most_ohm else "no_other"
        return f"{how} {said[verdict].format(**figures)}"


@dataclass(frozen=True)
class SetSide:
    """What of a set is reckoned from its direct voltage; ``words`` says it.

    Attributes
    ----------
    series : tuple of (str, Resistor)
        What all the current goes through, by name, at the worst load.
    across : tuple of (str, int, Resistor)
        Resistors across the direct voltage: name, how many, one of them at the average load, where it is hottest.
    tubes : tuple of GlowTube
        With the resistor that was given, or that would serve.
    set_v, set_worst_v : float
        Volts left to the loads behind all that stands in series, at either load; NaN where not reckoned [V].
    bled_ma : float
        What all resistors across draw at the worst load [mA].
    apart : bool
        Whether that is another voltage than the first capacitor's.
    """

    series: tuple[tuple[str, Resistor], ...] = ()
    across: tuple[tuple[str, int, Resistor], ...] = ()
    tubes: tuple[GlowTube, ...] = ()
    set_v: float = math.nan
    set_worst_v: float = math.nan
    bled_ma: float = 0.0
    apart: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Plain values by the keys of a demand."""
        volts = {"set_v": self.set_v, "set_v_worst": self.set_worst_v}
        return {
            **{name: None if math.isnan(value) else value for name, value in volts.items()},
            "series": [
                {"load": name, "ohm": one.ohm, "drop_v": one.volts, "watts": one.watts} for name, one in self.series
            ],
            "across": [
                {"load": name, "count": count, "ohm": one.ohm, "ma": 1000.0 * one.amperes, "watts": one.watts}
                for name, count, one in self.across
            ],
            "regulators": [one.as_dict() for one in self.tubes],
        }

    @property
    def words(self) -> list[str]:
        """A sentence each; none where nothing of the kind was told."""
        said = data("estimate/demand.toml")["say"]
        if self.apart and self.set_worst_v < 0.0:  # nothing of the rest is so then
            return [str(said["series_too_much"])]
        lines = [said["series"].format(load=name, one=one) for name, one in self.series]
        if self.apart:
            lines.append(said["left"].format(set_v=self.set_v, worst_v=self.set_worst_v))
        for name, count, one in self.across:
            each = "" if count == 1 else f" (each of {count})"
            lines.append(said["across"].format(load=name, each=each, one=one, ma=1000.0 * one.amperes))
        return lines + [one.words for one in self.tubes]


def chosen_resistors(line_up: LineUp, extremes_v: tuple[float, float]) -> LineUp:
    """The same line-up with a resistor, as they are sold, before each glow tube that has none.

    Parameters
    ----------
    line_up : LineUp
        What the set draws.
    extremes_v : tuple of float
        Volts before the resistors on a line 5 % low at full signal and 5 % high at rest [V].

    Returns
    -------
    LineUp
        A tube that no resistor keeps inside its limits stays without one.
    """
    loads = []
    for one in line_up.loads:
        if one.use == "regulator" and not one.lit:
            does = _tube(one, extremes_v).does
            ohm = preferred_ohm(does.least_ohm, does.most_ohm)
            one = replace(one, ohm=ohm, chosen_ohm=ohm == ohm)
        loads.append(one)
    return replace(line_up, loads=tuple(loads))


def set_side(line_up: LineUp, drawn: Sequence[Drawn], extremes_v: tuple[float, float] | None) -> SetSide:
    """What stands in series, across, and with glow tubes.

    Parameters
    ----------
    line_up : LineUp
        What the set draws.
    drawn : sequence of Drawn
        At rest and at full signal.
    extremes_v : tuple of float or None
        As `chosen_resistors` takes them; None where there is no glow tube [V].
    """
    rest, worst = drawn
    series = [one for one in line_up.loads if one.use == "series"]
    resistors = [one for one in line_up.loads if one.across]
    tubes = [_tube(one, extremes_v) for one in line_up.loads if one.use == "regulator" and extremes_v is not None]
    return SetSide(
        series=tuple((one.load, in_series(one.count * one.ohm, worst.total_ma)) for one in series),
        across=tuple((one.load, one.count, across(one.ohm, max(rest.set_v, 0.0))) for one in resistors),
        tubes=tuple(tubes),
        set_v=rest.set_v,
        set_worst_v=worst.set_v,
        bled_ma=sum(one.count * one.drawn_ma(True, worst.set_v) for one in resistors),
        apart=bool(series) or rest.set_v != rest.dc_v,
    )


def _plain(ohm: float) -> str:
    """Ohms to three digits, without an exponent."""
    return f"{float(f'{ohm:.3g}'):.10g}"


def _tube(one: Load, extremes_v: tuple[float, float]) -> GlowTube:
    """A tube with its resistor, or with the limits of one; figures are NaN where it has not volts enough."""
    low, high = extremes_v
    if not low > one.regulated_v or math.isnan(high):
        return GlowTube(one, NO_TUBE)
    limits = (one.tube_low_ma, one.tube_high_ma)
    ohm = one.ohm if one.lit else None
    return GlowTube(one, glow_regulator((low, max(low, high)), one.regulated_v, one.worst_ma, limits, ohm))


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
