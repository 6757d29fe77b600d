"""The step of the ratio test: what may be fed, stated before it is; then the no-load voltages and V/R."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib import bench
from calib.show.session import choices as c
from calib.show.session.checked import Checked
from calib.show.session.meters import used
from calib.show.session.ohms import HEATERS, heater_name
from calib.show.session.said import Fact, StepRead, meant, nominal, sections
from calib.show.session.taps import taps

if TYPE_CHECKING:
    from calib import Meter

EXPECTED_HV_V = 1000.0  # taken for the high voltage where nobody guesses it: above most, end to end [V] (judgement)
LEAST_LINE_V = 95.0  # taken for the line where it is not entered yet: below every usual one [V] (judgement)
CORRELATION = {
    c.ONE_RANGE: bench.ONE_METER_ONE_RANGE,
    c.TWO_RANGES: bench.ONE_METER_OTHER_RANGE,
    c.TWO_METERS: bench.TWO_METERS,
}
PARTS_APART = 0.02  # two halves that add up to another voltage than the whole by more than this (judgement)


@dataclass(frozen=True)
class Allowed:
    """How much may be fed.

    Attributes
    ----------
    volts : float
        The most, rms; NaN where it cannot be told yet [V].
    said : str
        The same in words, to stand before the source is switched on.
    """

    volts: float
    said: str


def allowed(checked: Checked) -> Allowed:
    """How much may be fed into the winding that is chosen, by what is known before the first reading.

    Source of the limit on any winding: IEC 61010-1.
    """
    limit, fed = bench.HAZARDOUS_LIVE_V, checked.chosen("fed", c.PRIMARY)
    if fed == c.HIGH:
        return Allowed(limit, f"Feed the high-voltage winding, end to end, with {limit:g} V at most.")
    line, expected = checked.get("line_voltage_v"), checked.get("expected_hv_v")
    highest = max(expected or EXPECTED_HV_V, line or LEAST_LINE_V)
    taken = [] if expected else [f"{EXPECTED_HV_V:g} V for the high voltage"]
    if fed == c.HEATER:
        own = checked.get("heater_nominal_v")
        if own is None:
            return Allowed(math.nan, "Enter the heater winding's own voltage first; until then feed nothing.")
        told = bench.heater_excitation(own, max(highest, own))
        return Allowed(told.allowed_v, told.caution + _taken(taken))
    volts = bench.max_excitation_v(line or LEAST_LINE_V, highest)
    taken += [] if line else [f"{LEAST_LINE_V:g} V for the line"]
    said = f"Put at most {down(volts)} V on the primary: {highest:g} V end to end then read {limit:g} V."
    return Allowed(volts, said + _taken(taken))


def _taken(taken: Sequence[str]) -> str:
    return f" Taken until it is entered: {' and '.join(taken)}." if taken else ""


def down(volts: float) -> str:
    """A limit with three digits, never rounded up."""
    after = max(0, 2 - math.floor(math.log10(volts)))
    return f"{math.floor(volts * 10**after + 1e-9) / 10**after:.{after}f}"


def ratio(checked: Checked, meters: Sequence[Meter], ohms: StepRead) -> StepRead:
    """What the ratio test says.

    Parameters
    ----------
    checked : Checked
        The step's entries.
    meters : sequence of calib.Meter
        The user's own.
    ohms : StepRead
        What the resistances said: the meter's load and V/R go by them.

    Returns
    -------
    StepRead
        Known for later steps: no_load, v_over_r, primary_v, whole_v (as they would stand without the meter), line_v,
        and heater_volts_1 on, each at the line without load.
    """
    read = StepRead(checked)
    read.warnings.extend(_live(checked))
    line, on_primary = checked.get("line_voltage_v"), checked.get(_on_primary(checked))
    whole, how = _whole(read, ohms)
    read.known.update({"line_v": line, "frequency_hz": checked.get("line_frequency_hz"), "primary_v": on_primary})
    if on_primary and whole:
        read.known["whole_v"] = whole
        read.lines.append(f"Ratio of high voltage to primary: {whole / on_primary:.4g}.")
        if line is None:
            read.lines.append("The line voltage is still needed to scale it up.")
        else:
            _scaled(read, meters, ohms, how)
            read.lines.extend(_share(on_primary, line))
    if on_primary and line:
        for number in range(1, HEATERS + 1):
            _heater(read, number, ohms.checked, line / on_primary)
        taps(read, on_primary, line)
    coupling = _both_ways(read, on_primary, whole)
    halves = sections(checked.get("hv_half_1_v"), checked.get("hv_half_2_v")) or (math.nan, math.nan)
    signs = bench.FaultSigns(halves=bench.HalfReadings(volts=halves), coupling=coupling)
    read.findings.extend(bench.findings(signs))
    if min(halves) > 0.0 and not read.findings:
        gap = 100.0 * (max(halves) / min(halves) - 1.0)
        read.lines.append(f"The halves are {gap:.2f} % apart in voltage: it is the centre tap.")
    return read


def _on_primary(checked: Checked) -> str:
    """The field that holds the volts on the primary."""
    return "excitation_v" if checked.chosen("fed", c.PRIMARY) == c.PRIMARY else "primary_v"


def _whole(read: StepRead, ohms: StepRead) -> tuple[float | None, str]:
    """Volts across the whole high-voltage winding as they stand without the meter, and what they were made from."""
    checked = read.checked
    fed_high = checked.chosen("fed", c.PRIMARY) == c.HIGH
    whole = checked.get("excitation_v" if fed_high else "hv_v")
    halves = sections(checked.get("hv_half_1_v"), checked.get("hv_half_2_v"))
    if whole and halves and abs(sum(halves) / whole - 1.0) > PARTS_APART:
        read.lines.append(
            f"The halves add up to {sum(halves):.4g} V and the whole reads {whole:.4g} V: read them again on one range."
        )
    if whole:
        return (whole if fed_high else _unloaded(read, ohms, whole, 1.0)), "whole"
    if halves:
        return _unloaded(read, ohms, sum(halves), 0.5), "halves"
    half = checked.get("hv_half_1_v") or checked.get("hv_half_2_v")
    if half is None:
        return None, ""
    read.lines.append(f"Only one half is read, so the whole winding counts as {2 * half:.5g} V.")
    return _unloaded(read, ohms, 2.0 * half, 0.5), "half"


def _unloaded(read: StepRead, ohms: StepRead, volts: float, part: float) -> float:
    """Volts without the meter's load, corrected where that is worth it; `part` of the winding was read at a time."""
    megohm, r20 = read.checked.get("meter_megohm"), ohms.known.get("r20")
    if megohm is None or r20 is None:
        return volts
    winding = part * float(nominal(r20))
    low = 100.0 * bench.meter_loading(winding, megohm * 1e6)
    if low <= bench.LOADING_IGNORED_PCT:
        read.lines.append(f"The meter's own load makes it read {low:.2g} % low: left as it is.")
        return volts
    put_right = float(bench.unloaded_voltage(volts, winding, megohm * 1e6))
    read.lines.append(f"The meter's own load makes it read {low:.2g} % low: {volts:.5g} V counts as {put_right:.5g} V.")
    return put_right


def _scaled(read: StepRead, meters: Sequence[Meter], ohms: StepRead, how: str) -> None:
    """The no-load voltage at the line, and V/R, each with its uncertainty."""
    checked = read.checked
    first = used(checked, "voltmeter", "volt", meters)
    together = checked.chosen("volts_metered", c.ONE_RANGE)
    named = checked.chosen("second_voltmeter", c.SAME_METER)
    apart = together != c.ONE_RANGE and named != c.SAME_METER
    second = used(checked, "second_voltmeter", "volt", meters) if apart else first
    read.lines.append(f"Meter: {first.said}{f', and {second.said}' if apart else ''}; {c.said(together)}.")
    pair = (first.accuracy, second.accuracy if how == "whole" else second.twice())
    try:
        volts = bench.ratio_taken(
            read.known["primary_v"], read.known["whole_v"], read.known["line_v"], pair, CORRELATION[together]
        )
    except ValueError as error:
        read.lines.append(meant(error))
        return
    line = read.known["line_v"]
    read.known["no_load"] = volts
    scaled = f"{line:g} V × {read.known['whole_v']:.5g} / {read.known['primary_v']:.5g}"
    read.tell(Fact.of(f"No-load voltage, whole winding, at {line:g} V", volts, "V", scaled))
    r20 = ohms.known.get("r20")
    if r20 is None:
        return
    read.known["v_over_r"] = bench.v_over_r(volts, r20)
    read.tell(Fact.of("V/R", read.known["v_over_r"], "V/Ω", "no-load voltage over resistance at 20 °C"))
    most = bench.main_part(bench.uncertainty_budget(read.known["v_over_r"]))
    if most:
        read.lines.append(f"{most[0].upper()}{most[1:]}.")


def _share(on_primary: float, line: float) -> list[str]:
    """Whether the excitation is in the range in which a ratio test says most."""
    least, most = bench.EXCITATION_SHARE
    share = on_primary / line
    if least <= share <= most:
        return []
    return [f"The primary had {100 * share:.2g} % of its line voltage; {100 * least:g} to {100 * most:g} % says most."]


def _heater(read: StepRead, number: int, ohms: Checked, scale: float) -> None:
    read_v = read.checked.get(f"heater_v_{number}")
    if read_v is None:
        return
    volts, name = read_v * scale, heater_name(ohms, number)
    usual = bench.usual_heater_v(volts)
    read.known[f"heater_volts_{number}"] = volts
    stands = " or ".join(f"{one:g}" for one in usual)
    stands = f"a {stands} V heater winding" if usual else "no usual heater voltage"
    read.lines.append(f"{name}: {volts:.4g} V without load, {stands}.")
    read.facts.append(Fact(f"{name}, no-load voltage", volts, math.nan, "V", stands))


def _both_ways(read: StepRead, on_primary: float | None, whole: float | None) -> float:
    """Coupling of the two windings, where the ratio was read both ways; NaN elsewhere."""
    fed, back = read.checked.get("rev_hv_v"), read.checked.get("rev_primary_v")
    if not on_primary or not whole or fed is None or back is None:
        return math.nan
    found = bench.two_way(whole / on_primary, back / fed)
    read.lines.append(f"Both ways together: turns ratio {found.turns_ratio:.4g}, coupling {found.coupling:.3f}.")
    return float(found.coupling)


def _live(checked: Checked) -> list[str]:
    """What to say of a reading above the limit on any winding, or of more fed in than is allowed."""
    limit, fed = bench.HAZARDOUS_LIVE_V, checked.get("excitation_v")
    halves = sections(checked.get("hv_half_1_v"), checked.get("hv_half_2_v"))
    seen: dict[str, Any] = {
        "fed in": fed,
        "on the primary": checked.get("primary_v"),
        "across the high-voltage winding": checked.get("hv_v") or (sum(halves) if halves else None),
        "fed to the high-voltage winding": checked.get("rev_hv_v"),
    }
    over = [f"{volts:.4g} V {where}" for where, volts in seen.items() if volts and volts > limit]
    high = max((volts for volts in seen.values() if volts), default=0.0)
    if over:
        less = f" Feed {down(limit * fed / high)} V at most." if fed and high > fed else ""
        return [f"{', '.join(over)}: above {limit:g} V, so this is live high-voltage work. Switch off.{less}"]
    most = allowed(checked).volts
    if fed and not seen["across the high-voltage winding"] and fed > most:
        return [f"{fed:.4g} V fed in is more than the {down(most)} V allowed so far: switch off and feed less."]
    return []
