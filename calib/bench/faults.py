"""Faults of a transformer and their signatures: readings to findings, each with its numbers, its limit and a remedy.

A clean unit has no finding. A finding says what to look at, not that the unit is lost. CAUTION: the readings without
load are taken with all secondaries open, through a series lamp or another current limit, and with a person watching.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

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

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FaultSigns", "Finding", "HalfReadings", "Halves", "PASS_PROVES_LITTLE", "UnloadedReading"]
__all__ += ["WindingReading", "compare_halves", "findings", "findings_frame", "half_ratio_by_order", "knee_power"]


@dataclass(frozen=True)
class HalfReadings:
    """Both sides of a centre-tapped winding; NaN where not read.

    Attributes
    ----------
    volts : (float, float)
        Each side to the tap in one ratio test, rms, 0 or more [V].
    ohms : (float, float)
        Each side's resistance, 0 or more [ohm].
    ratio_by_order : float
        What the order of winding explains of their ratio, from `half_ratio_by_order`; 1 or more [-].
    """

    volts: tuple[float, float] = (math.nan, math.nan)
    ohms: tuple[float, float] = (math.nan, math.nan)
    ratio_by_order: float = math.nan


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
USUAL_HALF_RATIO = (1.03, 1.15)  # outer half's resistance over the inner's, by the winding's order (judgement)
SMALL_CORE_HALF_RATIO = 1.20  # met on small cores (judgement)
HIGHEST_HALF_RATIO = 1.25  # beyond this something is wrong (judgement)


@dataclass(frozen=True)
class Halves:
    """The halves of a centre-tapped winding side by side.

    Attributes
    ----------
    voltage_gap : float
        Larger over smaller voltage, less 1; NaN where not read [-].
    resistance_ratio : float
        Larger over smaller resistance; NaN where not read [-].
    verdict : str
        centre tap, doubtful, not a centre tap, or not read.
    """

    voltage_gap: float
    resistance_ratio: float
    verdict: str


def compare_halves(volts: tuple[float, float], ohms: tuple[float, float] = (math.nan, math.nan)) -> Halves:
    """Whether a lead is the centre tap, from the voltages and resistances of both sides; the voltages decide.

    Parameters
    ----------
    volts : (float, float)
        Each side to the tap in one ratio test, rms, 0 or more; NaN where not read [V].
    ohms : (float, float)
        Each side's resistance, 0 or more; NaN where not read [ohm].

    Returns
    -------
    Halves
        A centre tap: voltages within 1 % and resistances within 1.25. Doubtful: up to 2 % apart, or no voltages.

    Raises
    ------
    ValueError
        A negative reading.
    """
    for side in volts:
        not_negative("voltage of a half", side, "V")
    for side in ohms:
        not_negative("resistance of a half", side, "ohm")
    gap, ratio = _larger_over_smaller(volts) - 1.0, _larger_over_smaller(ohms)
    if math.isnan(gap) and math.isnan(ratio):
        verdict = "not read"
    elif gap > HALVES_APART or ratio > HIGHEST_HALF_RATIO:
        verdict = "not a centre tap"
    elif math.isnan(gap) or gap > HALVES_ALIKE:
        verdict = "doubtful"
    else:
        verdict = "centre tap"
    return Halves(gap, ratio, verdict)


def _larger_over_smaller(pair: tuple[float, float]) -> float:
    if any(math.isnan(side) for side in pair) or max(pair) == 0.0:
        return math.nan
    return max(pair) / min(pair) if min(pair) > 0.0 else math.inf


def half_ratio_by_order(perimeter_mm: float, inner_mm: float, outer_mm: float) -> float:
    """Resistance of the outer half over the inner's that the order of winding explains.

    Parameters
    ----------
    perimeter_mm : float
        Of what the high-voltage coil is wound on, above 0 [mm].
    inner_mm, outer_mm : float
        Mean depth of each half in the coil, 0 or more, the outer at least the inner [mm].

    Returns
    -------
    float
        (p + 2 pi r_o) / (p + 2 pi r_i) [-].

    Raises
    ------
    ValueError
        A perimeter of zero or less, a negative depth, or the depths the wrong way round.

    Notes
    -----
    Equal turns of one wire, round corners. Source: Electronic Transformers and Circuits (R. Lee), mean turns.
    """
    positive("perimeter", perimeter_mm, "mm")
    not_negative("depth of the inner half", inner_mm, "mm")
    not_negative("depth of the outer half beyond the inner", outer_mm - inner_mm, "mm")
    return (perimeter_mm + 2.0 * math.pi * outer_mm) / (perimeter_mm + 2.0 * math.pi * inner_mm)


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
# One closed turn on a core of 60 VA, of 0.26 V and 0.09 ohm, seen from a primary of 117 V.
PASS_PROVES_LITTLE = (
    "A pass proves little for fine wire: one closed turn of the high-voltage winding on a 60 VA core adds 0.75 W and, "
    "on 117 V, 6.4 mA. The heat run sees it."
)
SAME_VOLTS = 0.05  # a voltage this near what is expected is normal (judgement)
PARALLEL_BELOW = (
    0.6  # resistance over what is expected, at a normal voltage, that points to a parallel path (judgement)
)
UNSTEADY = 0.03  # spread of repeated resistances, over their mean, that points to a bad joint (judgement)
OPEN_OHM = 1e6  # above this there is no continuity, and below it to the core there is a leak [ohm] (judgement)
COVERAGE_FACTOR = 2.0  # JCGM 100:2008
ORDER_MARGIN = 0.06  # a ratio of halves beyond the winding order's by more than this is not explained (judgement)
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


def findings_frame(found: tuple[Finding, ...]) -> pd.DataFrame:
    """Columns what, why, remedy, severity; one row a finding."""
    import pandas as pd

    return pd.DataFrame([vars(one) for one in found], columns=["what", "why", "remedy", "severity"])


def _halves(read: HalfReadings) -> Iterator[Finding]:
    if any(ohm >= OPEN_OHM for ohm in read.ohms):
        yield _open("one side of the tap")
        return
    compared = compare_halves(read.volts, read.ohms)
    small, large = sorted(read.volts)
    if small < SWAPPED_BELOW * large:
        why = f"the sides read {small:.3g} and {large:.4g} V: none, and the whole winding"
        yield Finding("Swapped lead", why, "The tap's lead is an end of the winding: find the tap anew.", "stop")
        return
    if compared.voltage_gap > HALVES_ALIKE:
        grave = compared.voltage_gap > HALVES_APART
        limit = HALVES_APART if grave else HALVES_ALIKE
        why = (
            f"the sides read {small:.4g} and {large:.4g} V, {compared.voltage_gap:.1%} apart; the limit is {limit:.0%}"
        )
        remedy = (
            "Read both again on one range; else shorted turns, a wrong tap, or a winding mended beside the old one."
        )
        yield Finding("Unequal halves", why, remedy, "stop" if grave else "doubt")
    yield from _half_resistances(compared.resistance_ratio, read.ratio_by_order)


def _half_resistances(ratio: float, by_order: float) -> Iterator[Finding]:
    explained = by_order * (1.0 + ORDER_MARGIN)
    limit = SMALL_CORE_HALF_RATIO if math.isnan(explained) else explained
    if not ratio > limit:
        return
    said = (
        f"{limit - 1.0:.0%}, met on small cores"
        if math.isnan(explained)
        else f"{explained - 1.0:.0%} by the order of winding"
    )
    why = f"one side's resistance is {ratio - 1.0:.0%} above the other's; the limit is {said}"
    remedy = "Read both again at one temperature, the leads nulled; else a bad joint, shorted turns, or a wrong tap."
    yield Finding("Halves of unlike resistance", why, remedy, "doubt")


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
        remedy = (
            "Switch off, and feed it nothing until it is explained: a shorted turn, a 60 Hz unit on 50 Hz, a wrong tap "
            "of the primary, or a secondary that is not open."
        )
        yield Finding("Shorted turn suspected", "; ".join(grave), remedy, "stop")
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
        remedy = "Read both again; first rule out an air gap, the wrong pair of windings, or another tap."
        yield Finding("Shorted turn suspected", "; ".join(seen), remedy, "doubt")


def _drawn(why: str, power: float) -> Finding:
    """What is drawn without load beyond what is usual: a doubt, read by how the current falls with the volts."""
    causes = "First rule out a 60 Hz unit on 50 Hz, and a tap for a lower line."
    if math.isnan(power):
        remedy = (
            f"Sound units do that too. Read it again at {LOW_LINE:.0%} of the line: at a knee of the iron the current "
            f"falls much faster than the voltage, with a shorted turn about in proportion. {causes}"
        )
        return Finding("Draws much without load", why, remedy, "doubt")
    falls = f"{why}; the current falls as the volts to the power {power:.1f}"
    if power >= KNEE_POWER:
        remedy = f"{causes} Else its iron works at the knee, and it runs the hotter for it."
        return Finding("Iron worked at its knee", falls, remedy, "doubt")
    if power <= TURN_POWER:
        remedy = (
            f"{causes} Then watch it for half an hour without load, and do not load it before this is explained: about "
            "in proportion is as with a shorted turn, or as with iron far from its knee."
        )
        return Finding("Shorted turn suspected", falls, remedy, "doubt")
    remedy = f"{causes} Between a knee and a shorted turn: watch it for half an hour without load before you load it."
    return Finding("Draws much without load", falls, remedy, "doubt")


def _bond(ohm: float) -> Iterator[Finding]:
    """Protective earth to core and frame, less the lead's own."""
    not_negative("earth bond", ohm, "ohm")
    if ohm > BOND_LIMIT_OHM + 1e-9:
        why = (
            f"{ohm:.3g} ohm from protective earth to core and frame beside the lead's own; limit {BOND_LIMIT_OHM:g} ohm"
        )
        remedy = (
            "Scrape, clamp and read again: no mains until core, frame and screen are bonded. Follow your local code."
        )
        yield Finding("Earth bond", why, remedy, "stop")


def _winding(read: WindingReading) -> Iterator[Finding]:
    for ohm in (*read.ohms, *read.parts_ohm):
        if ohm < 0.0:
            raise ValueError(f"resistance of {read.name} is {ohm} ohm: it must be 0 or more")
    if any(ohm >= OPEN_OHM for ohm in (*read.ohms, *read.parts_ohm)):
        yield _open(read.name)
        return
    whole = math.fsum(read.ohms) / len(read.ohms) if read.ohms else math.nan
    spread = max(read.ohms) - min(read.ohms) if read.ohms else math.nan
    if spread > UNSTEADY * whole:
        why = f"{read.name} reads {min(read.ohms):.4g} to {max(read.ohms):.4g} ohm; the limit is {UNSTEADY:.0%}"
        remedy = "Wait for the reading to settle; else warm and tap it: a joint or a corroded wire comes and goes."
        yield Finding("Unsteady resistance", why, remedy, "doubt")
        return
    yield from _path(read, whole)


def _open(name: str) -> Finding:
    remedy = (
        "Look for a green spot of corrosion at the lead-out: often it can be mended. A voltage that a 10 Mohm meter "
        "still shows may be capacitive: load it with 100 kohm and read again."
    )
    return Finding("Open winding", f"{name} reads over {OPEN_OHM / 1e6:g} Mohm: no continuity", remedy, "stop")


def _path(read: WindingReading, whole: float) -> Iterator[Finding]:
    """A winding against the sum of its parts, and against what it should read."""
    total, limit = math.fsum(read.parts_ohm), _limit_ohm(read, whole)
    says = f"{read.name} reads {whole:.4g} ohm end to end and {total:.4g} ohm in parts; the limit is {limit:.3g} ohm"
    if read.parts_ohm and whole < total - limit:
        remedy = "Look for a part left connected outside, or two windings joined; read again with all leads free."
        yield Finding("Parallel path", says, remedy, "doubt")
    elif read.parts_ohm and whole > total + limit:
        remedy = "Clean the leads and read again; else a bad joint, or a tap that joins inside the winding."
        yield Finding("Parts that do not add up", says, remedy, "doubt")
    elif whole < PARALLEL_BELOW * read.expected_ohm and abs(read.volts / read.expected_volts - 1.0) <= SAME_VOLTS:
        why = (
            f"{read.name} reads {whole:.4g} ohm, {whole / read.expected_ohm:.0%} of the {read.expected_ohm:.4g} ohm "
            f"expected (limit {PARALLEL_BELOW:.0%}), at a normal voltage"
        )
        yield Finding("Parallel path", why, "Free every lead and read again; one part may still be connected.", "doubt")


def _limit_ohm(read: WindingReading, whole: float) -> float:
    """What the sum may differ by: twice the uncertainty of all its readings together."""
    each = [DEFAULT_U_RESISTANCE_PCT / 100.0 * ohm if math.isnan(read.u_ohm) else read.u_ohm for ohm in read.parts_ohm]
    own = DEFAULT_U_RESISTANCE_PCT / 100.0 * whole if math.isnan(read.u_ohm) else read.u_ohm
    return COVERAGE_FACTOR * math.hypot(own, *each)


def _core(ohm: float) -> Iterator[Finding]:
    if ohm < 0.0:
        raise ValueError(f"resistance to the core is {ohm} ohm: it must be 0 or more")
    if ohm < OPEN_OHM:
        why = f"{ohm:.4g} ohm from a winding to the core by the ohmmeter; the limit is 1 Mohm"
        remedy = "Find the lead-out, screw or screen that touches; no mains until it is clear and the test is passed."
        yield Finding("Continuity to the core", why, remedy, "stop")


def _insulation(tests: Sequence[InsulationTest]) -> Iterator[Finding]:
    """Low readings, each; and for every pair of parts whether the highest test that it passed was enough."""
    best: dict[str, InsulationGrade] = {}
    for graded in map(grade_insulation, tests):
        test = graded.test
        if graded.passed:
            held = best.get(test.between)
            best[test.between] = graded if held is None or test.test_v > held.test.test_v else held
            continue
        why = (
            f"{test.between}: {test.megohm:.4g} Mohm at {test.temp_c:g} °C, {graded.at_20_megohm:.3g} Mohm at 20 °C; "
            f"good is above {GOOD_ABOVE_MEGOHM:g} Mohm, stop below {STOP_BELOW_MEGOHM:g}"
        )
        yield Finding(f"Insulation: {graded.grade}", why, graded.remedy, "stop" if graded.grade == STOP else "doubt")
        harder = [other.test_v for other in tests if other.between == test.between and other.test_v > test.test_v]
        if harder and graded.grade in (STOP, DRY_OUT):
            why = f"{test.between}: tested with {max(harder):g} V, and {test.test_v:g} V was not passed"
            remedy = "Let it pass the lower step first, dried and explained, and then test again."
            yield Finding("Tested harder than it should be", why, remedy, "doubt")
    for graded in best.values():
        test = graded.test
        if test.test_v < test.stress_v:
            why = f"{test.between}: passed at {test.test_v:g} V, works at {test.stress_v:g} V"
            yield Finding("Insulation not proven at what it works at", why, graded.remedy, "doubt")
