"""The step of the resistances: each winding at 20 °C with its uncertainty, and the halves side by side."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from calib import bench, words
from calib.estimate.heaters import FOUR_WIRE_METER
from calib.session.fields import Checked
from calib.session.meters import HALVES_U_PCT, Used, lead_null, used
from calib.session.protocol import HEATERS
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
        _heater(read, number, meter)
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
    r20, how = _whole(read, meter, null)
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


def _whole(read: StepRead, meter: Used, null: tuple[float, float] | None) -> tuple[Any, str]:
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


def _heater(read: StepRead, number: int, meter: Used) -> None:
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
