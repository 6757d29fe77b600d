"""A heat run: the winding's rise from resistances read after switching off, and the current that a rise permits.

The resistance is carried back to the instant of switching off (`calib.estimate.cooling`); the rise by resistance
follows from it; the current at another rise and in other air follows from the losses. Sources: IEC 60034-1, IEC
60076-2, IEC 60076-11 and IEEE C57.12.90; what is judgement says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from calib.bench.resistance import INFERRED_ZERO_C, metal_faults, resistance_at, rise_by_resistance
from calib.bench.uncertainty import (
    ONE_METER_ONE_RANGE,
    ORDINARY_OHMMETER,
    WINDING_TEMP_HALF_WIDTH_K,
    MeterClass,
    read_pair,
    rectangular,
    with_u,
)
from calib.errors import Code, Fault, InputError
from calib.estimate.cooling import (
    CONSTANT,
    FREE,
    IDLE,
    LEAST_READINGS,
    Cooling,
    IronLoss,
    back_to_switch_off,
    idle_faults,
    iron_loss,
    slip_between,
)
from calib.paths import data
from calib.register.fields import facts_of, faults_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["HEAT", "HeatRun", "HeatRunResult", "REFERENCE_AIR_C", "REFERENCE_RISE_K", "current_at_rise", "heat_run"]

REFERENCE_RISE_K, REFERENCE_AIR_C = 60.0, 40.0  # class 105 by resistance, IEC 60076-11: what a record stores
METHODS_WITHIN_K = 1.0  # fits of one curve may differ by this (judgement)
FIRST_WITHIN_S = 30.0  # IEC 60034-1, ratings up to 50 kVA
DRIFT_DOUBT_K = 5.0  # (judgement)
SOAKED_WITHIN_K = 5.0  # of the air when the run began: a winding farther from it was not soaked to it (judgement)
MOST_RISE_K, HOT_RISE_K = 250.0, 125.0  # beyond the first nothing stands; the second is class 180's (judgement)
UPWARD, DOWNWARD = (
    1.0 / 1.6,
    0.8,
)  # of the rises' ratio, without an iron loss; IEC 60076-11, and T10's losses (judgement)
IRON_SHARES = (0.0, 1.0)  # iron loss over copper loss of units whose losses were not parted (judgement)
FURTHEST = 1.3  # times the tested current: beyond it, test again
FLOOR = 0.01  # of the current: what makes it less is taken as that (judgement)
INTERVAL = 0.9
Z_90 = 1.6448536269514722  # 95 % point of the normal distribution
IRON_SEPARATED = "iron-separated"
EXPONENT = {True: "exponent 1/1.6", False: "exponent 0.8"}  # upward or not


@cache
def words() -> Mapping[str, Any]:
    """What is said of a heat run."""
    return data("estimate/heat_run.toml")


HEAT = facts_of(data("estimate/heat_run.toml")["field"])
UNREAD: dict[str, Any] = dict.fromkeys(IDLE)


@dataclass(frozen=True)
class HeatRun:
    """What was read in a heat run, checked.

    Attributes
    ----------
    cold_ohm, cold_temp_c : float
        Resistance of the winding soaked to the room, 0.001 to 1e6, and its temperature then, -40 to 200 [ohm, °C].
    ambient_start_c, ambient_end_c : float
        Air near the unit when the run began and when the line was opened, -40 to 200 [°C].
    load_ma : float
        Current borne, 0.1 to 1e5 [mA].
    allowed_rise_k : float
        Mean rise by resistance that the user allows, 5 to 200 [K].
    seconds, ohm : tuple of float
        Since the line was opened, and read then: three or more [s, ohm].
    line_ohm : tuple of float
        The primary's at the same times, NaN where not read; empty without `line_ohm_cold` [ohm].
    line_ohm_cold : float or None
        The primary's at `cold_temp_c` [ohm].
    conductor : str
        copper or aluminium.
    iron_w, copper_w : float or None
        Losses at the end of the run, both or neither, or the copper's alone with what was read without load [W].
    idle_w, idle_ma, idle_ohm : float or None
        Watts and rms current that it took from the line without load, and the primary's resistance then; all or none
        [W, mA, ohm].
    idle_rise_k : float or None
        Rise of the winding at the end of a run without load [K].
    line_seconds : tuple of float
        Times of `line_ohm` where the primary was read between the readings of the winding; empty: at those times [s].
    """

    cold_ohm: float
    cold_temp_c: float
    ambient_start_c: float
    ambient_end_c: float
    load_ma: float
    allowed_rise_k: float
    seconds: tuple[float, ...]
    ohm: tuple[float, ...]
    line_ohm: tuple[float, ...] = ()
    line_ohm_cold: float | None = None
    conductor: str = "copper"
    iron_w: float | None = None
    copper_w: float | None = None
    idle_w: float | None = None
    idle_ma: float | None = None
    idle_ohm: float | None = None
    idle_rise_k: float | None = None
    line_seconds: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        given = {name: getattr(self, name, None) for name in HEAT}
        given["line_ohm"] = tuple(one for one in self.line_ohm if one == one)
        faults = faults_of(HEAT, given) + self._at_odds()
        if faults:
            raise InputError(faults)

    def _at_odds(self) -> list[Fault]:
        """Faults of values that do not go together."""
        faults = metal_faults("conductor", self.conductor)
        idle = any(getattr(self, name) is not None for name in IDLE)
        faults += idle_faults(vars(self))
        if not idle and (self.iron_w is None) != (self.copper_w is None):
            missing = "iron_w" if self.iron_w is None else "copper_w"
            problem = "one loss is given without the other"
            faults.append(_fault(missing, "", problem, "give the watts of iron and of copper, or neither", "missing"))
        if len(self.seconds) != len(self.ohm):
            problem = f"{len(self.seconds)} times stand beside {len(self.ohm)} resistances"
            faults.append(_fault("seconds", "", problem, "give a time for each resistance", "conflict"))
        if self.line_seconds and len(self.line_seconds) != len(self.line_ohm):
            problem = f"{len(self.line_seconds)} times stand beside {len(self.line_ohm)} resistances"
            faults.append(_fault("line_seconds", "", problem, "give a time for each resistance", "conflict"))
        for name, times in (("seconds", self.seconds), ("line_seconds", self.line_seconds)):
            if any(later <= sooner for sooner, later in pairwise(times)):
                backwards = list(times) == sorted(times, reverse=True)
                remedy = words()["slip"]["backwards" if backwards else "order"]
                faults.append(_fault(name, "", "do not rise from row to row", remedy, "conflict"))
        if any(one == one for one in self.line_ohm) and self.line_ohm_cold is None:
            remedy = "give the primary's cold resistance, or leave its hot ones out"
            faults.append(_fault("line_ohm_cold", "", "the primary was read hot and not cold", remedy, "missing"))
        if self.line_ohm_cold is not None and sum(one == one for one in self.line_ohm) < LEAST_READINGS:
            remedy = f"give {LEAST_READINGS} or more of it after switching off, or leave its cold one out"
            faults.append(_fault("line_ohm", "", "the primary was read cold and not hot", remedy, "missing"))
        return faults


def _fault(column: str, value: object, problem: str, remedy: str, code: Code) -> Fault:
    return Fault("", None, column, "" if value == "" else str(value), problem, remedy, code)


def _one(column: str, value: object, problem: str, remedy: str, code: Code) -> InputError:
    return InputError([_fault(column, value, problem, remedy, code)])


def current_at_rise(
    load_ma: float,
    rise_k: float,
    wanted_k: float,
    losses_w: tuple[float, float] | None = None,
    exponent: float = CONSTANT,
    temperatures: tuple[float, float, float] = (INFERRED_ZERO_C["copper"], 20.0, 20.0),
) -> float:
    """Current that brings a winding to another rise, in the air of the test or in other air.

    Parameters
    ----------
    load_ma, rise_k : float
        Tried, and the mean rise that it made, above 0 [mA, K].
    wanted_k : float
        Rise asked for, above 0 [K].
    losses_w : (float, float) or None
        Of iron and of copper at the end of the run; None where they were not parted [W].
    exponent : float
        Of loss over rise: 1 for a constant surface coefficient, 1.25 for free convection; used with losses only [-].
    temperatures : (float, float, float)
        Inferred zero of the metal, air of the test, air asked for [°C].

    Returns
    -------
    float
        With losses I sqrt{[(P_fe + P_cu)(w/r)^p - P_fe] / P_cu (K + t + r)/(K + t + w)}; without, I (w/r)^(1/1.6)
        upward and I (w/r)^0.8 downward; either times sqrt((K + t + w)/(K + t' + w)). 0 where the iron alone is hotter
        [mA].

    Notes
    -----
    Source: IEC 60076-11 (the exponent 1/1.6); losses by heat balance.
    """
    zero, air, other_air = temperatures
    step = wanted_k / rise_k
    moved = math.sqrt((zero + air + wanted_k) / (zero + other_air + wanted_k))
    if losses_w is None:
        return load_ma * step ** (UPWARD if step >= 1.0 else DOWNWARD) * moved
    iron, copper = losses_w
    left = ((iron + copper) * step**exponent - iron) / copper
    hotter = (zero + air + rise_k) / (zero + air + wanted_k)
    return load_ma * math.sqrt(max(left, 0.0) * hotter) * moved


@dataclass(frozen=True)
class HeatRunResult:
    """What a heat run showed.

    Attributes
    ----------
    hot_ohm : float
        Resistance of the winding at the instant of switching off [ohm].
    rise_k, rise_u_k : float
        Its mean rise above the air at the end, and the standard uncertainty [K].
    line_rise_k : float or None
        The primary's [K].
    drift_k : float
        Air at the end less air at the start [K].
    allowed_ma, allowed_low_ma, allowed_high_ma : float or None
        Current for the rise allowed, in the air of the test, with its 90 % interval; None where not told [mA].
    reference_ma, reference_low_ma, reference_high_ma : float or None
        For 60 K by resistance in 40 °C air, which a record stores [mA].
    rule, reference_rule : str
        iron-separated, exponent 1/1.6 or exponent 0.8.
    flags : tuple of str
        retest where a current is beyond 1.3 times the one tried, iron-too-hot where none is permitted.
    doubts : tuple of str
        In words.
    cooling : Cooling
        How the resistance was carried back.
    run : HeatRun
        What was read.
    iron_w : float or None
        The iron's loss, as given or from what was read without load; None where it was not parted [W].
    iron : IronLoss or None
        How it came from that.
    """

    hot_ohm: float
    rise_k: float
    rise_u_k: float
    line_rise_k: float | None
    drift_k: float
    allowed_ma: float | None
    allowed_low_ma: float | None
    allowed_high_ma: float | None
    reference_ma: float | None
    reference_low_ma: float | None
    reference_high_ma: float | None
    rule: str
    reference_rule: str
    flags: tuple[str, ...]
    doubts: tuple[str, ...]
    cooling: Cooling
    run: HeatRun
    iron_w: float | None = None
    iron: IronLoss | None = None

    def as_dict(self) -> dict[str, Any]:
        """The result with the contract's keys; a run that stands by itself bears no unit's stop."""
        told = {one.name: getattr(self, one.name) for one in fields(self) if one.name not in ("cooling", "run", "iron")}
        told |= {"flags": ";".join(self.flags), "doubts": " | ".join(self.doubts)}
        return told | {"stop": None, "stop_cleared": None}

    def frame(self) -> pd.DataFrame:
        """The result as a table of one row, with the level of its intervals."""
        import pandas as pd

        return pd.DataFrame([self.as_dict() | {"level": INTERVAL}])

    def __str__(self) -> str:
        run, cooling, said = self.run, self.cooling, words()
        lines = [said["caution"]["before"], *(f"doubt: {one}" for one in self.doubts)]
        lines += [
            f"  at switching off        {self.hot_ohm:.5g} ohm (way {cooling.method}, {len(run.ohm)} readings)",
            f"  mean rise               {self.rise_k:.1f} K ± {self.rise_u_k:.1f} K (standard uncertainty), "
            f"above {run.ambient_end_c:.4g} °C",
        ]
        if self.line_rise_k is not None:
            lines.append(f"  the primary's           {self.line_rise_k:.1f} K")
        if self.iron is not None:
            lines.append(f"  the iron's loss         {self.iron}")
        lines += [
            f"  for {run.allowed_rise_k:.4g} K, this air    {_current(self, 'allowed')}; by {self.rule}",
            f"  for the register        {_current(self, 'reference')}; {REFERENCE_RISE_K:.0f} K by resistance in "
            f"{REFERENCE_AIR_C:.0f} °C air, by {self.reference_rule}",
            said["caution"]["after"],
        ]
        return "\n".join(lines)


def _current(result: HeatRunResult, name: str) -> str:
    most, low, high = (getattr(result, f"{name}{end}_ma") for end in ("", "_low", "_high"))
    return "not told" if most is None else f"{most:.4g} mA (90 %: {low:.4g} to {high:.4g})"


def heat_run(run: HeatRun, meter: MeterClass = ORDINARY_OHMMETER) -> HeatRunResult:
    """The rise and the permitted currents of a heat run.

    Parameters
    ----------
    run : HeatRun
        What was read.
    meter : MeterClass
        The ohmmeter's class on its range: one meter, whose gain error cancels between cold and hot.

    Returns
    -------
    HeatRunResult
        Its uncertainties are those of both resistances, of both temperatures (each within 1.5 K), of the fit back to
        switching off, and of the rule: the spread between its exponents, or, without the losses, between iron shares.

    Raises
    ------
    InputError
        Readings that are no cooling winding's.

    Notes
    -----
    Source: IEC 60034-1; IEC 60076-2; IEC 60076-11; JCGM 100:2008.
    """
    zero = INFERRED_ZERO_C[run.conductor]
    end_ohm = resistance_at(run.cold_ohm, run.cold_temp_c, run.ambient_end_c, zero)
    cooling = back_to_switch_off(run.seconds, run.ohm, end_ohm)
    rise = _rise(run.cold_ohm, cooling, run, meter)
    if rise.nominal_value > MOST_RISE_K:
        problem = f"makes a rise of {rise.nominal_value:.0f} K of {cooling.ohm:.4g} ohm hot, which no winding stands"
        remedy = "check both readings, their units and the winding that was read"
        remedy = f"{remedy}. {slip_between(cooling.ohm, run.cold_ohm)}".rstrip(". ")
        raise _one("cold_ohm", f"{run.cold_ohm:g}", problem, remedy, "improbable")
    line, iron = _line_rise(run, meter), iron_loss(vars(run), rise.nominal_value)
    parted = run if iron is None else replace(run, iron_w=iron.watts, **UNREAD)
    spread = () if iron is None else (iron.low_w, iron.high_w)
    allowed, reference = (
        _permitted(parted, spread, rise.nominal_value, rise.std_dev, wanted, air)
        for wanted, air in ((run.allowed_rise_k, run.ambient_end_c), (REFERENCE_RISE_K, REFERENCE_AIR_C))
    )
    doubts = _doubts(
        parted, cooling, rise.nominal_value, line, {"the current allowed": allowed, "the reference": reference}
    )
    return HeatRunResult(
        cooling.ohm,
        rise.nominal_value,
        rise.std_dev,
        line,
        run.ambient_end_c - run.ambient_start_c,
        *allowed.told,
        *reference.told,
        allowed.rule,
        reference.rule,
        tuple(dict.fromkeys(flag for one in (allowed, reference) for flag in one.flags)),
        doubts if iron is None else (*doubts, *iron.doubts),
        cooling,
        run,
        parted.iron_w,
        iron,
    )


def _rise(cold_ohm: float, cooling: Cooling, run: HeatRun, meter: MeterClass) -> Any:
    """The rise with its uncertainty: one meter's gain cancels between cold and hot."""
    cold, hot = read_pair(cold_ohm, cooling.ohm, (meter, meter), ONE_METER_ONE_RANGE, ("cold", "hot"))
    hot = hot + with_u(0.0, cooling.u_ohm, "back to switching off")
    u_temp = rectangular(WINDING_TEMP_HALF_WIDTH_K)
    start = with_u(run.cold_temp_c, u_temp, "cold temperature")
    end = with_u(run.ambient_end_c, u_temp, "air at the end")
    return rise_by_resistance(cold, start, hot, end, INFERRED_ZERO_C[run.conductor])


def _line_rise(run: HeatRun, meter: MeterClass) -> float | None:
    """The primary's rise; None where it was not read."""
    if run.line_ohm_cold is None:
        return None
    read = [(at, ohm) for at, ohm in zip(run.line_seconds or run.seconds, run.line_ohm, strict=False) if ohm == ohm]
    zero = INFERRED_ZERO_C[run.conductor]
    end_ohm = resistance_at(run.line_ohm_cold, run.cold_temp_c, run.ambient_end_c, zero)
    try:
        cooling = back_to_switch_off([at for at, _ in read], [ohm for _, ohm in read], end_ohm)
    except InputError as error:
        raise InputError([replace(fault, column="line_ohm") for fault in error.faults]) from None
    return float(_rise(run.line_ohm_cold, cooling, run, meter).nominal_value)


@dataclass(frozen=True)
class _Permitted:
    """A current for a rise: it and its interval or three None, the rule, the flags, and how it came."""

    told: tuple[float | None, float | None, float | None]
    rule: str
    flags: tuple[str, ...]
    wanted_k: float


def _permitted(
    run: HeatRun, iron_w: tuple[float, ...], rise_k: float, rise_u_k: float, wanted_k: float, air_c: float
) -> _Permitted:
    """The current for one rise in one air; iron_w are the ends of the iron's loss, where it is not sure [W]."""
    upward = wanted_k >= rise_k
    parted = run.iron_w is not None and run.copper_w is not None
    losses = (run.iron_w or 0.0, run.copper_w or 0.0) if parted else None
    rule = IRON_SEPARATED if parted else EXPONENT[upward]
    temperatures = (INFERRED_ZERO_C[run.conductor], run.ambient_end_c, air_c)

    def at(rise: float, losses_w: tuple[float, float] | None = losses, exponent: float = CONSTANT) -> float:
        return current_at_rise(run.load_ma, max(rise, 1.0), wanted_k, losses_w, exponent, temperatures)

    current = at(rise_k)
    if current <= 0.0:
        return _Permitted((None, None, None), rule, ("iron-too-hot",), wanted_k)
    if current > FURTHEST * run.load_ma:
        return _Permitted((None, None, None), rule, ("retest",), wanted_k)
    other = [at(rise_k, exponent=FREE)] if parted else [at(rise_k, (share, 1.0)) for share in IRON_SHARES]
    unsure = [at(rise_k, (watts, run.copper_w or 0.0)) for watts in iron_w]
    read = [at(rise_k + sign * rise_u_k) for sign in (-1.0, 1.0)]

    def end(sign: float) -> float:
        """The interval's end upward or downward, by what the current would be otherwise."""
        reach = [
            max([sign * math.log(max(one, FLOOR * current) / current) for one in ones], default=0.0)
            for ones in (other, unsure, read)
        ]
        rule_u, iron_u, read_u = rectangular(max(reach[0], 0.0)), rectangular(max(reach[1], 0.0)), max(reach[2], 0.0)
        return current * math.exp(sign * Z_90 * math.hypot(rule_u, iron_u, read_u))

    return _Permitted((current, end(-1.0), end(1.0)), rule, (), wanted_k)


def _doubts(
    run: HeatRun, cooling: Cooling, rise_k: float, line_k: float | None, permitted: Mapping[str, _Permitted]
) -> tuple[str, ...]:
    """What speaks against the run, in words."""
    said, zero = words()["doubt"], INFERRED_ZERO_C[run.conductor]
    ways = [cooling.by_method[way] for way in ("A", "B") if way in cooling.by_method]
    apart = (max(ways) - min(ways)) / run.cold_ohm * (zero + run.cold_temp_c)
    drift, first = run.ambient_end_c - run.ambient_start_c, run.seconds[0]
    doubts = []
    if cooling.method == "B":
        doubts.append(said["bends"].format(span=cooling.span_s))
    elif apart > METHODS_WITHIN_K:
        doubts.append(said["methods"].format(apart=apart, allowed=METHODS_WITHIN_K))
    if cooling.off is not None:
        doubts.append(said["off"].format(at=cooling.off[0], off=cooling.off[1]))
    if first > FIRST_WITHIN_S:
        doubts.append(said["late"].format(first=first))
    if abs(drift) > DRIFT_DOUBT_K:
        doubts.append(said["drift"].format(drift=drift))
    if abs(soaked := run.cold_temp_c - run.ambient_start_c) > SOAKED_WITHIN_K:
        doubts.append(said["soaked"].format(apart=abs(soaked)))
    if rise_k > HOT_RISE_K:
        doubts.append(said["hot"].format(rise=rise_k))
    if line_k is not None and line_k > rise_k:
        doubts.append(said["hot_line"].format(line=line_k))
    for name, one in permitted.items():
        if "retest" in one.flags:
            doubts.append(said["retest"].format(name=name.capitalize(), factor=FURTHEST, load=run.load_ma))
        if "iron-too-hot" in one.flags:
            iron, copper = run.iron_w or 0.0, run.copper_w or 1.0
            alone = rise_k * iron / (iron + copper)
            doubts.append(said["iron"].format(rise=alone, name=name, allowed=one.wanted_k))
    return tuple(doubts)
