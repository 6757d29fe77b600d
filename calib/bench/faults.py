"""Faults of a transformer and their signatures: readings to findings, each with its numbers, its limit and a remedy.

A clean unit has no finding. A finding says what to look at, not that the unit is lost. CAUTION: the readings without
load are taken with all secondaries open, through a series lamp or another current limit, and with a person watching.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from calib.bench.insulation import (
    DRY_OUT,
    GOOD_ABOVE_MEGOHM,
    STOP,
    STOP_BELOW_MEGOHM,
    InsulationGrade,
    InsulationTest,
    grade_insulation,
)
from calib.bench.ratio_test import COUPLING_SUSPECT
from calib.bench.uncertainty import DEFAULT_U_RESISTANCE_PCT
from calib.errors import not_negative, positive
from calib.paths import data

__all__ = ["FaultSigns", "Finding", "HalfReadings", "PASS_PROVES_LITTLE", "UnloadedReading", "WindingReading"]
__all__ += ["findings", "knee_power"]


@dataclass(frozen=True)
class HalfReadings:
    """Both sides of a centre-tapped winding; NaN where not read.

    Attributes
    ----------
    volts : (float, float)
        Each side to the tap in one ratio test, rms, 0 or more [V].
    ohms : (float, float)
        Each side's resistance, 0 or more [ohm].
    """

    volts: tuple[float, float] = (math.nan, math.nan)
    ohms: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True)
class UnloadedReading:
    """The unit on its line with all secondaries open; NaN where not read.

    Attributes
    ----------
    exciting_ma : float
        Current of the primary, rms, 0 or more [mA].
    full_load_ma : float
        Its estimated full-load current, rms, above 0 [mA].
    watts : float
        Power drawn, 0 or more [W].
    iron_w : float
        Usual loss of the iron: mass times `iron_loss_w_kg`, above 0 [W].
    rise_k : float
        Rise of the case in the first half hour [K].
    volts : float
        On the primary then, rms, above 0 [V].
    low_volts, low_ma : float
        A second reading at about 85 % of that: volts on the primary, above 0 [V], and its current, above 0 [mA].
    lamp_bright : bool
        Whether a lamp in series stays bright.
    alarms : tuple of str
        Smell, smoke or buzz, as noticed.
    """

    exciting_ma: float = math.nan
    full_load_ma: float = math.nan
    watts: float = math.nan
    iron_w: float = math.nan
    rise_k: float = math.nan
    volts: float = math.nan
    low_volts: float = math.nan
    low_ma: float = math.nan
    lamp_bright: bool = False
    alarms: tuple[str, ...] = ()


@dataclass(frozen=True)
class WindingReading:
    """One winding, end to end; NaN where not read or not known.

    Attributes
    ----------
    name : str
        What it is called.
    ohms : tuple of float
        Resistance as read, once or several times; inf where there is no continuity [ohm].
    parts_ohm : tuple of float
        Resistances of the parts between its taps; empty where it has none [ohm].
    u_ohm : float
        Standard uncertainty of each, 0 or more; NaN: that of an ordinary ohmmeter [ohm].
    expected_ohm : float
        What it should read, above 0 [ohm].
    volts, expected_volts : float
        No-load voltage and what it should be, rms [V].
    """

    name: str
    ohms: tuple[float, ...] = ()
    parts_ohm: tuple[float, ...] = ()
    u_ohm: float = math.nan
    expected_ohm: float = math.nan
    volts: float = math.nan
    expected_volts: float = math.nan


@dataclass(frozen=True)
class FaultSigns:
    """All that a search for faults goes by; whatever was not read is left out.

    Attributes
    ----------
    halves : HalfReadings
        The centre-tapped winding.
    unloaded : UnloadedReading
        The unit on its line without load.
    windings : tuple of WindingReading
        Each winding.
    ratio_gap : float
        A ratio from the suspected limb over what it should be, less 1 [-].
    coupling : float
        From `two_way`, 0 to 1 [-].
    bond_ohm : float
        From protective earth to core and frame, less the lead's own, 0 or more [ohm].
    core_ohm : float
        Any winding to the core by the ohmmeter; inf where there is no continuity [ohm].
    insulation : tuple of InsulationTest
        The insulation tests.
    """

    halves: HalfReadings = field(default_factory=HalfReadings)
    unloaded: UnloadedReading = field(default_factory=UnloadedReading)
    windings: tuple[WindingReading, ...] = ()
    ratio_gap: float = math.nan
    coupling: float = math.nan
    bond_ohm: float = math.nan
    core_ohm: float = math.nan
    insulation: tuple[InsulationTest, ...] = ()


HALVES_ALIKE = 0.01  # voltages of the halves of a centre tap agree within this (judgement)
HALVES_APART = 0.02  # beyond this something is wrong (judgement)
SMALL_CORE_HALF_RATIO = 1.20  # met on small cores (judgement)
HIGHEST_HALF_RATIO = 1.25  # beyond this the tap is not the centre (judgement)


def _larger_over_smaller(pair: tuple[float, float]) -> float:
    if any(math.isnan(side) for side in pair) or max(pair) == 0.0:
        return math.nan
    return max(pair) / min(pair) if min(pair) > 0.0 else math.inf


SEVERITIES = ("stop", "doubt")  # apply no mains until explained; look again before going on

EXCITING_SHARE_LIMIT = 0.35  # exciting current over full-load current at which a short is suspected (judgement)
LOSS_LIMIT = 2.0  # no-load watts over the iron's usual loss at which a short is suspected (judgement)
RATIO_LOW = 0.03  # share by which a ratio from one limb falls before it counts as a sign (judgement)
UNLOADED_RISE_K = 25.0  # rise of the case in half an hour without load that says stop [K] (judgement)
LOW_LINE = 0.85  # share of the line at which a doubtful unit is read a second time (judgement)
LOW_LINE_FROM, LOW_LINE_TO = 0.75, 0.92  # a second reading outside these shares of the first tells nothing (judgement)
# Power of the volts with which the current falls: at a knee at least, with a shorted turn at most (judgement).
KNEE_POWER, TURN_POWER = 2.0, 1.3
BOND_LIMIT_OHM = 0.1  # protective earth to core and frame, beside the lead's own [ohm] (judgement; local code rules)
PASS_PROVES_LITTLE: str = data("bench/faults.toml")["pass-proves-little"]
SAME_VOLTS = 0.05  # a voltage this near what is expected is normal (judgement)
# Resistance over what is expected, at a normal voltage, that points to a parallel path (judgement).
PARALLEL_BELOW = 0.6
UNSTEADY = 0.03  # spread of repeated resistances, over their mean, that points to a bad joint (judgement)
OPEN_OHM = 1e6  # above this there is no continuity, and below it to the core there is a leak [ohm] (judgement)
COVERAGE_FACTOR = 2.0  # JCGM 100:2008
SWAPPED_BELOW = 0.05  # a half's voltage below this share of the other's is none at all (judgement)


@dataclass(frozen=True)
class Finding:
    """One thing that is not as it should be.

    Attributes
    ----------
    what : str
        The fault that it points to.
    why : str
        The numbers, against their limits.
    remedy : str
        What to do.
    severity : str
        stop: no mains until it is explained; doubt: look again before going on.
    """

    what: str
    why: str
    remedy: str
    severity: str


def findings(signs: FaultSigns) -> tuple[Finding, ...]:
    """What is wrong with a unit, the gravest first; empty where every reading is in order.

    Parameters
    ----------
    signs : FaultSigns
        The readings that there are.

    Returns
    -------
    tuple of Finding
        Each with its numbers against the limit.

    Raises
    ------
    ValueError
        A negative reading.
    """
    found = [
        *_halves(signs.halves),
        *_short(signs),
        *(finding for winding in signs.windings for finding in _winding(winding)),
        *_bond(signs.bond_ohm),
        *_core(signs.core_ohm),
        *_insulation(signs.insulation),
    ]
    return tuple(sorted(found, key=lambda finding: SEVERITIES.index(finding.severity)))


def _found(fault: str, severity: str, **figures: Any) -> Finding:
    """A finding in the words that faults.toml has for that fault, its figures put in."""
    told = data("bench/faults.toml")[fault]
    said = {part: told[part].format(**figures) for part in ("what", "why", "remedy")}
    return Finding(**said, severity=severity)


def _halves(read: HalfReadings) -> Iterator[Finding]:
    if any(ohm >= OPEN_OHM for ohm in read.ohms):
        yield _found("open", "stop", name="one side of the tap")
        return
    for name, sides, unit in (("voltage", read.volts, "V"), ("resistance", read.ohms, "ohm")):
        for side in sides:
            not_negative(f"{name} of a half", side, unit)
    small, large = sorted(read.volts)
    gap, ratio = _larger_over_smaller(read.volts) - 1.0, _larger_over_smaller(read.ohms)
    if small < SWAPPED_BELOW * large:
        yield _found("swapped", "stop", small=small, large=large)
        return
    if gap > HALVES_ALIKE:
        grave = gap > HALVES_APART
        limit = HALVES_APART if grave else HALVES_ALIKE
        yield _found("unequal-halves", "stop" if grave else "doubt", small=small, large=large, gap=gap, limit=limit)
    if ratio > SMALL_CORE_HALF_RATIO:
        yield _found("unlike-halves", "doubt", more=ratio - 1.0, limit=SMALL_CORE_HALF_RATIO - 1.0)


def knee_power(idle: UnloadedReading) -> float:
    """Power of the volts with which the unloaded current falls at a second, lower reading.

    Parameters
    ----------
    idle : UnloadedReading
        Both readings.

    Returns
    -------
    float
        ln(I1/I2) / ln(V1/V2): 2 and more at a knee of the iron, about 1 with a shorted turn; NaN where the second
        reading is missing, is not at 75 to 92 % of the first voltage, or has no smaller current [-].
    """
    positive("volts of the unloaded run", idle.volts, "V")
    positive("volts of the second reading", idle.low_volts, "V")
    positive("current of the second reading", idle.low_ma, "mA")
    if not LOW_LINE_FROM <= idle.low_volts / idle.volts <= LOW_LINE_TO or not 0.0 < idle.low_ma < idle.exciting_ma:
        return math.nan
    return math.log(idle.exciting_ma / idle.low_ma) / math.log(idle.volts / idle.low_volts)


def _short(signs: FaultSigns) -> Iterator[Finding]:
    """Signs of a shorted turn, which hardly show in the resistance; current or watts alone never stop."""
    idle = signs.unloaded
    not_negative("exciting current", idle.exciting_ma, "mA")
    not_negative("no-load watts", idle.watts, "W")
    positive("full-load current", idle.full_load_ma, "mA")
    positive("iron loss", idle.iron_w, "W")
    grave = ["a lamp in series stays bright"] if idle.lamp_bright else []
    grave += list(idle.alarms)
    if idle.rise_k >= UNLOADED_RISE_K:
        grave.append(f"{idle.rise_k:.3g} K warmer after half an hour unloaded, limit {UNLOADED_RISE_K:g} K")
    if grave:
        yield _found("short", "stop", signs="; ".join(grave))
    current, loss, power = idle.exciting_ma / idle.full_load_ma, idle.watts / idle.iron_w, knee_power(idle)
    drawn = []
    if current > EXCITING_SHARE_LIMIT:
        drawn.append(f"exciting current {current:.0%} of full load, limit {EXCITING_SHARE_LIMIT:.0%}")
    if loss > LOSS_LIMIT:
        drawn.append(f"{idle.watts:.3g} W without load, {loss:.1f} times the iron's usual loss, limit {LOSS_LIMIT:g}")
    if drawn:
        yield _drawn("; ".join(drawn), power)
    seen = [f"ratio {-signs.ratio_gap:.1%} low, limit {RATIO_LOW:.0%}"] if signs.ratio_gap < -RATIO_LOW else []
    if signs.coupling < COUPLING_SUSPECT:
        seen.append(f"coupling {signs.coupling:.3f}, limit {COUPLING_SUSPECT}")
    if seen:
        yield _found("short-by-ratio", "doubt", signs="; ".join(seen))


def _drawn(signs: str, power: float) -> Finding:
    """What is drawn without load beyond what is usual: a doubt, read by how the current falls with the volts."""
    if math.isnan(power):
        return _found("drawn", "doubt", signs=signs, low_line=LOW_LINE)
    how = "knee" if power >= KNEE_POWER else "short-by-draw" if power <= TURN_POWER else "drawn-between"
    return _found(how, "doubt", signs=signs, power=power)


def _bond(ohm: float) -> Iterator[Finding]:
    """Protective earth to core and frame, less the lead's own."""
    not_negative("earth bond", ohm, "ohm")
    if ohm > BOND_LIMIT_OHM + 1e-9:
        yield _found("bond", "stop", ohm=ohm, limit=BOND_LIMIT_OHM)


def _winding(read: WindingReading) -> Iterator[Finding]:
    for ohm in (*read.ohms, *read.parts_ohm):
        if ohm < 0.0:
            raise ValueError(f"resistance of {read.name} is {ohm} ohm: it must be 0 or more")
    if any(ohm >= OPEN_OHM for ohm in (*read.ohms, *read.parts_ohm)):
        yield _found("open", "stop", name=read.name)
        return
    whole = math.fsum(read.ohms) / len(read.ohms) if read.ohms else math.nan
    spread = max(read.ohms) - min(read.ohms) if read.ohms else math.nan
    if spread > UNSTEADY * whole:
        low, high = min(read.ohms), max(read.ohms)
        yield _found("unsteady", "doubt", name=read.name, low=low, high=high, limit=UNSTEADY)
        return
    yield from _path(read, whole)


def _path(read: WindingReading, whole: float) -> Iterator[Finding]:
    """A winding against the sum of its parts, and against what it should read."""
    total, limit = math.fsum(read.parts_ohm), _limit_ohm(read, whole)
    figures = {"name": read.name, "whole": whole, "total": total, "limit": limit}
    if read.parts_ohm and whole < total - limit:
        yield _found("parallel-parts", "doubt", **figures)
    elif read.parts_ohm and whole > total + limit:
        yield _found("parts-apart", "doubt", **figures)
    elif whole < PARALLEL_BELOW * read.expected_ohm and abs(read.volts / read.expected_volts - 1.0) <= SAME_VOLTS:
        share, figures["limit"] = whole / read.expected_ohm, PARALLEL_BELOW
        yield _found("parallel", "doubt", share=share, expected=read.expected_ohm, **figures)


def _limit_ohm(read: WindingReading, whole: float) -> float:
    """What the sum may differ by: twice the uncertainty of all its readings together."""
    each = [DEFAULT_U_RESISTANCE_PCT / 100.0 * ohm if math.isnan(read.u_ohm) else read.u_ohm for ohm in read.parts_ohm]
    own = DEFAULT_U_RESISTANCE_PCT / 100.0 * whole if math.isnan(read.u_ohm) else read.u_ohm
    return COVERAGE_FACTOR * math.hypot(own, *each)


def _core(ohm: float) -> Iterator[Finding]:
    if ohm < 0.0:
        raise ValueError(f"resistance to the core is {ohm} ohm: it must be 0 or more")
    if ohm < OPEN_OHM:
        yield _found("core", "stop", ohm=ohm)


def _insulation(tests: Sequence[InsulationTest]) -> Iterator[Finding]:
    """Low readings, each; and for every pair of parts whether the highest test that it passed was enough."""
    best: dict[str, InsulationGrade] = {}
    for graded in map(grade_insulation, tests):
        test = graded.test
        if graded.passed:
            held = best.get(test.between)
            best[test.between] = graded if held is None or test.test_v > held.test.test_v else held
            continue
        grave = graded.grade == STOP
        low = {"good": GOOD_ABOVE_MEGOHM, "stop": STOP_BELOW_MEGOHM, "test": test, "graded": graded}
        yield _found("insulation", "stop" if grave else "doubt", **low)
        harder = [other.test_v for other in tests if other.between == test.between and other.test_v > test.test_v]
        if harder and graded.grade in (STOP, DRY_OUT):
            yield _found("tested-harder", "doubt", test=test, harder=max(harder))
    for graded in best.values():
        if graded.test.test_v < graded.test.stress_v:
            yield _found("not-proven", "doubt", test=graded.test, graded=graded)
