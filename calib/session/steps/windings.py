"""The steps of the windings: each one's resistance at 20 °C, halves side by side; then the ratio test and V/R.

What may be fed is stated before it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from calib import bench, words
from calib.bench.ratio_test import HIGHEST_TAKEN_V, LINE_TAKEN_V
from calib.estimate.heaters import FOUR_WIRE_METER
from calib.session.fields import Checked
from calib.session.meters import CORRELATION, HALVES_U_PCT, SAME_RANGE, Used, lead_null, used
from calib.session.protocol import HEATERS, SAME_METER, TAPS, said
from calib.session.steps import Fact, StepRead, meant, nominal, sections

if TYPE_CHECKING:
    from calib import Meter

HV, HALF_1, HALF_2 = "hv_ohm", "hv_half_1_ohm", "hv_half_2_ohm"


def resistance(checked: Checked, meters: Sequence[Meter], tongue_mm: float | None) -> StepRead:
    """What the resistances say.

    Parameters
    ----------
    checked : Checked
        The step's entries.
    meters : sequence of calib.Meter
        The user's own.
    tongue_mm : float or None
        Of the core, where it is measured: a large one takes longer to the room's temperature [mm].

    Returns
    -------
    StepRead
        Known for later steps: r20 (the whole winding at 20 °C), halves_ohm (each as read, less the null), temp_c,
        zero_c (of the metal), metal, and heater_1 on (reading, null and meter of each).
    """
    read = StepRead(checked)
    meter, temp = used(checked, "ohmmeter", "ohm", meters), checked.get("winding_temp_c")
    metal = checked.chosen("conductor")
    read.known.update({"metal": metal, "zero_c": bench.INFERRED_ZERO_C[metal], "temp_c": temp})
    rest = checked.get("rest_h")
    if rest is not None:
        warning = rest_warning(rest, tongue_mm, metal)
        read.lines.append(warning or f"After {rest:g} h it has the temperature of the room.")
    if checked.chose("ohm_leads", "null-on") and checked.get("null_ohm") is None:
        read.lines.append("The null of the leads is not entered yet, so nothing is taken off.")
    if any(checked.get(name) is not None for name in (HV, HALF_1, HALF_2, "primary_ohm")):
        read.lines.append(f"Meter: {meter.said}.")
        if temp is None:
            read.lines.append("The temperature of the winding is still needed: nothing can be brought to 20 °C.")
    _high_voltage(read, meter)
    _primary(read, meter)
    for number in range(1, HEATERS + 1):
        _heater_ohm(read, number, meter)
    return read


def null_of(checked: Checked) -> tuple[float, float] | None:
    """The leads' null and its standard uncertainty [ohm]; None for four wires."""
    null = checked.get("null_ohm") if checked.chose("ohm_leads", "null-on") else None
    return None if checked.chose("ohm_leads", "four-wires") else lead_null(null, checked.get("null_u_ohm"))


def _taken(read: StepRead, ohm: float, accuracy: bench.MeterClass, null: tuple[float, float] | None) -> Any:
    """A reading at 20 °C; None where the temperature is not known or the null is no less than the reading."""
    temp, within = read.known["temp_c"], read.checked.get("temp_within_k")
    if temp is None:
        return None
    half_width = bench.WINDING_TEMP_HALF_WIDTH_K if within is None else within
    try:
        return bench.resistance_taken(ohm, accuracy, temp, null, half_width, read.known["zero_c"])
    except ValueError as error:
        read.lines.append(meant(error))
        return None


def _high_voltage(read: StepRead, meter: Used) -> None:
    whole, halves = read.checked.get(HV), sections(read.checked.get(HALF_1), read.checked.get(HALF_2))
    null = null_of(read.checked)
    r20, how = _joined(read, meter, null)
    if r20 is not None:
        read.known["r20"] = r20
        read.tell(Fact.of("High voltage, whole winding, at 20 °C", r20, "Ω", how))
    off = null[0] if null else 0.0
    net = tuple(max(ohm - off, 0.0) for ohm in halves) if halves else ()
    if net and min(net) > 0.0:
        read.known["halves_ohm"] = net
    reading = bench.WindingReading(
        "The high-voltage winding",
        ohms=() if whole is None else (max(whole - off, 0.0),),
        parts_ohm=net,
        u_ohm=math.hypot(bench.standard_uncertainty(whole or sum(net), meter.accuracy), null[1] if null else 0.0),
    )
    pair = (net[0], net[1]) if halves else (math.nan, math.nan)
    signs = bench.FaultSigns(halves=bench.HalfReadings(ohms=pair), windings=(reading,))
    read.findings.extend(bench.findings(signs))
    if halves and min(pair) > 0.0 and not read.findings:
        gap = 100.0 * (max(pair) / min(pair) - 1.0)
        read.lines.append(
            f"The halves differ by {gap:.1f} %, as an outer half with longer turns may; the voltages decide whether it "
            "is a centre tap."
        )


def _joined(read: StepRead, meter: Used, null: tuple[float, float] | None) -> tuple[Any, str]:
    """The whole winding at 20 °C: end to end where read, else both halves, else twice the one."""
    whole, first, second = (read.checked.get(name) for name in (HV, HALF_1, HALF_2))
    if whole is not None:
        return _taken(read, whole, meter.accuracy, null), f"{whole:g} Ω end to end"
    if first is not None and second is not None:
        twice = (2.0 * null[0], 2.0 * null[1]) if null else None
        return _taken(read, first + second, meter.twice(), twice), f"both halves, {first:g} + {second:g} Ω"
    half = first if first is not None else second
    if half is None:
        return None, ""
    one = _taken(read, half, meter.accuracy, null)
    if one is None:
        return None, ""
    read.lines.append(
        f"Only one half is read. Halves commonly differ by 3 to 15 %, so {HALVES_U_PCT:g} % is added to the "
        "uncertainty: end to end is the better reading."
    )
    return 2.0 * one * bench.with_relative(1.0, HALVES_U_PCT, bench.HALVES), f"twice one half, {half:g} Ω"


def _primary(read: StepRead, meter: Used) -> None:
    ohm = read.checked.get("primary_ohm")
    if ohm is None:
        return
    if ohm < bench.FOUR_WIRE_BELOW_OHM and null_of(read.checked) is not None:
        read.lines.append(
            f"Below {bench.FOUR_WIRE_BELOW_OHM:g} Ω the leads count for much: read the primary by four wires."
        )
    r20 = _taken(read, ohm, meter.accuracy, null_of(read.checked))
    if r20 is not None:
        read.known["primary_r20"] = r20
        read.tell(Fact.of("Primary at 20 °C", r20, "Ω", f"{ohm:g} Ω as read"))


def _heater_ohm(read: StepRead, number: int, meter: Used) -> None:
    ohm, name = read.checked.get(f"heater_ohm_{number}"), heater_name(read.checked.typed, number)
    if ohm is None:
        return
    by_four = read.checked.chose("heater_leads", "four-wires")
    null = None if by_four else null_of(read.checked)
    accuracy = FOUR_WIRE_METER if by_four and not meter.known else meter.accuracy
    read.known[f"heater_{number}"] = (ohm, null[0] if null else None, accuracy)
    r20 = _taken(read, ohm, accuracy, null)
    if r20 is None:
        return
    if nominal(r20) <= 2.0 * r20.std_dev:
        read.lines.append(f"{name}: {ohm:g} Ω is lost in the leads and the last digit. Read it by four wires.")
        return
    read.tell(Fact.of(f"{name} at 20 °C", r20, "Ω", f"{ohm:g} Ω as read"))


def heater_name(entries: Mapping[str, Any], number: int) -> str:
    """What a heater winding is called by the step's entries: its leads or colour, else its number."""
    named = str(entries.get(f"heater_name_{number}") or "").strip()
    return f"Heater winding {named}" if named else f"Heater winding {number}"


def rest_warning(hours: float | None, tongue_mm: float | None, metal: str) -> str:
    """What to say where the winding cannot have the room's temperature yet; blank where it can, or nothing is known.

    Parameters
    ----------
    hours : float or None
        How long it has stood in that room [h].
    tongue_mm : float or None
        Of its core, where that is known [mm].
    metal : str
        Of the winding: copper or aluminium.
    """
    if hours is None or hours < 0:
        return ""
    tongue = tongue_mm if tongue_mm and tongue_mm > 0 else None
    needed = bench.settling_h(tongue)
    if hours >= needed:
        return ""
    left = bench.difference_left_k(hours, tongue)
    high = 100.0 * left * bench.CONDUCTORS[metal].coefficient_per_k
    size = "a core of this size" if tongue else "a unit"
    ago = f"{hours:g} {'hour' if hours == 1 else 'hours'} ago"
    return (
        f"Not settled yet: {size} takes about {needed:.1f} hours to the temperature of the room. If it came off a full "
        f"load {ago}, its winding may be {words.figure(left, 2)} °C above the room, and read {words.figure(high, 2)} % "
        "high. Wait, or read again later: two readings an hour apart should agree."
    )


FED_IN = "fed in"
ROOM_FOR_MORE = 1.1  # less than so many times more is not worth feeding (judgement)
SWAPPED = "Taps out of order"
PARTS_APART = 0.02  # two halves that add up to another voltage than the whole by more than this (judgement)


def allowed(read: StepRead) -> bench.Feed:
    """What may be fed, and the most to the winding that is chosen; once the ratio is read, by that."""
    checked, by_heater = read.checked, read.checked.chose("fed", "heater")
    proven, first = checked.chose("proven", "proven"), bench.feed(False)
    if checked.chose("fed", "high-voltage"):
        return bench.Feed(first.allowed_v, first.known if not proven else "Primary proven", first.how)
    line, expected, own = (checked.get(name) for name in ("line_voltage_v", "expected_hv_v", "heater_nominal_v"))
    expected = read.known.get("expected_v") if expected is None else expected
    whole, on_primary = (read.known.get(name) for name in ("whole_v", "primary_v"))
    highest = expected if not (line and whole and on_primary) else line * whole / on_primary
    told = bench.feed(True, line, highest)
    if by_heater and own is None:
        told = bench.Feed(math.nan, told.known, "enter the heater winding's own voltage; until then feed nothing.")
    elif by_heater and own is not None:
        most, caution = bench.heater_excitation(own, max(highest or HIGHEST_TAKEN_V, line or LINE_TAKEN_V, own))
        told = bench.Feed(most, told.known, f"rather feed it than a heater winding. {caution}")
    if proven:
        return told
    return bench.Feed(told.allowed_v, first.known, f"{first.how} Choose above that you feed it.")


def ratio(checked: Checked, meters: Sequence[Meter], ohms: StepRead, expected_v: float | None = None) -> StepRead:
    """What the ratio test says.

    Parameters
    ----------
    checked : Checked
        The step's entries.
    meters : sequence of calib.Meter
        The user's own.
    ohms : StepRead
        What the resistances said: the meter's load and V/R go by them.
    expected_v : float or None
        The high voltage to expect, end to end, as an earlier step has it [V].

    Returns
    -------
    StepRead
        Known for later steps: no_load, v_over_r, primary_v, whole_v (as they would stand without the meter), line_v,
        and heater_volts_1 on, each at the line without load.
    """
    read = StepRead(checked, known={"expected_v": expected_v})
    line, on_primary = checked.get("line_voltage_v"), checked.get(_on_primary(checked))
    whole, how = _whole(read, ohms)
    read.known.update({"line_v": line, "frequency_hz": checked.get("line_frequency_hz"), "primary_v": on_primary})
    read.known["whole_v"] = whole if on_primary else None
    read.warnings.extend(_live(read))
    if on_primary and whole:
        read.lines.append(f"Ratio of high voltage to primary: {whole / on_primary:.4g}.")
        if line is None:
            read.lines.append("The line voltage is still needed to scale it up.")
        else:
            _scaled(read, meters, ohms, how)
            read.lines.extend(_share(read, line))
    if on_primary and line:
        for number in range(1, HEATERS + 1):
            _heater_volts(read, number, ohms.checked, line / on_primary)
        _taps(read, on_primary, line)
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
    return "excitation_v" if checked.chose("fed", "primary") else "primary_v"


def _whole(read: StepRead, ohms: StepRead) -> tuple[float | None, str]:
    """Volts across the whole high-voltage winding as they stand without the meter, and what they were made from."""
    checked = read.checked
    fed_high = checked.chose("fed", "high-voltage")
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
    together = checked.chosen("volts_metered")
    apart = together != SAME_RANGE and checked.chosen("second_voltmeter") != SAME_METER
    second = used(checked, "second_voltmeter", "volt", meters) if apart else first
    read.lines.append(f"Meter: {first.said}{f', and {second.said}' if apart else ''}; {said(together)}.")
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


def _share(read: StepRead, line: float) -> list[str]:
    """Whether so little was fed that the iron shows, and how much more may be."""
    on_primary, least = read.known["primary_v"], bench.EXCITATION_SHARE[0]
    most = bench.HAZARDOUS_LIVE_V * on_primary / max(on_primary, read.known["whole_v"])
    if on_primary / line >= least or most < ROOM_FOR_MORE * on_primary:
        return []
    said = f"The primary had {100 * on_primary / line:.2g} % of its line voltage, which is little for the iron: with "
    return [f"{said}{bench.down(most)} V on it every winding is still at or below {bench.HAZARDOUS_LIVE_V:g} V."]


def _heater_volts(read: StepRead, number: int, ohms: Checked, scale: float) -> None:
    read_v = read.checked.get(f"heater_v_{number}")
    if read_v is None:
        return
    volts, name = read_v * scale, heater_name(ohms.typed, number)
    usual = bench.usual_heater_v(volts)
    read.known[f"heater_volts_{number}"] = volts
    stands = " or ".join(f"{one:g}" for one in usual)
    stands = f"a {stands} V heater winding" if usual else "no usual heater voltage"
    read.lines.append(f"{name}: {volts:.4g} V without load, {stands}.")
    read.facts.append(Fact(f"{name}, no-load voltage", volts, math.nan, "V", stands))


def _taps(read: StepRead, on_primary: float, line: float) -> None:
    """Scale the taps that were read to the line, and say where resistance falls while voltage rises."""
    taken = []
    for number in range(1, TAPS + 1):
        volts, ohm = (read.checked.get(f"tap_{what}_{number}") for what in ("v", "ohm"))
        if volts is not None:
            name = read.checked.words(f"tap_name_{number}") or f"tap {number}"
            taken.append(bench.TapReading(name, volts, math.nan if ohm is None else ohm))
    if not taken:
        return
    try:
        highest = max([0.0, *(tap.ohm for tap in taken if not math.isnan(tap.ohm))])
        scaled = bench.scale_taps(taken, on_primary, line, bench.half_width(highest, bench.ORDINARY_OHMMETER))
    except ValueError as error:
        read.lines.append(f"Taps: {error}.")
        return
    for name, volts in zip(scaled.names, scaled.volts, strict=True):
        read.lines.append(f"{name}: {volts:.4g} V from its end at the line.")
        read.facts.append(Fact(f"{name}, no-load voltage from its end", volts, math.nan, "V", "ratio test"))
    remedy = "Read both again from the same end; else find the leads anew on the page that tells them apart."
    read.findings.extend(bench.Finding(SWAPPED, fault, remedy, "doubt") for fault in scaled.faults)


def _both_ways(read: StepRead, on_primary: float | None, whole: float | None) -> float:
    """Coupling of the two windings, where the ratio was read both ways; NaN elsewhere."""
    fed, back = read.checked.get("rev_hv_v"), read.checked.get("rev_primary_v")
    if not on_primary or not whole or fed is None or back is None:
        return math.nan
    found = bench.two_way(whole / on_primary, back / fed)
    read.lines.append(f"Both ways together: turns ratio {found.turns_ratio:.4g}, coupling {found.coupling:.3f}.")
    return float(found.coupling)


def _live(read: StepRead) -> list[str]:
    """What to say of a reading above the limit on any winding, of more than is fed, or of more fed than is allowed."""
    checked, limit, fed = read.checked, bench.HAZARDOUS_LIVE_V, read.checked.get("excitation_v")
    seen = _seen(checked)
    high = max(seen.values(), default=0.0)
    over = [f"{volts:.4g} V {where}" for where, volts in seen.items() if volts > limit]
    if over:
        less = f" Feed {bench.down(limit * fed / high)} V at most." if fed and high > fed else ""
        return [f"{', '.join(over)}: above {limit:g} V, so this is live high-voltage work. Switch off.{less}"]
    if fed and checked.chose("fed", "high-voltage") and high > fed * (1.0 + PARTS_APART):
        more = ", ".join(f"{volts:.4g} V {where}" for where, volts in seen.items() if volts > fed * (1.0 + PARTS_APART))
        return [f"{more}: more than the {fed:.4g} V fed in. Switch off: another winding is the highest; feed that one."]
    most = allowed(read).allowed_v
    if fed and set(seen) == {FED_IN} and fed > most:
        return [f"{fed:.4g} V fed in is more than the {bench.down(most)} V allowed so far: switch off and feed less."]
    return []


def _seen(checked: Checked) -> dict[str, float]:
    """Every voltage of the test, by where it stood; a half alone counts for the whole winding."""
    halves = [value for name in ("hv_half_1_v", "hv_half_2_v") if (value := checked.get(name)) is not None]
    whole = sum(halves) if len(halves) == 2 else 2.0 * sum(halves)
    seen = {
        FED_IN: checked.get("excitation_v"),
        "on the primary": checked.get("primary_v"),
        "across the high-voltage winding": checked.get("hv_v") or whole,
        "fed to the high-voltage winding": checked.get("rev_hv_v"),
        "on the primary, the other way round": checked.get("rev_primary_v"),
    }
    seen |= {f"on heater winding {number}": checked.get(f"heater_v_{number}") for number in range(1, HEATERS + 1)}
    seen |= {f"at tap {number}": checked.get(f"tap_v_{number}") for number in range(1, TAPS + 1)}
    return {where: volts for where, volts in seen.items() if volts}
