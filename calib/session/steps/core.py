"""The steps of the core and what is held against it: its sheets and weight, the wire, what it draws without load."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import calib
from calib import bench, words
from calib.bench.faults import KNEE_POWER, LOW_LINE, TURN_POWER
from calib.bench.magnetics import LOSS_W_KG, USUAL_FLUX_T
from calib.session.fields import AWG, INCH, SWG, Checked
from calib.session.protocol import SERIES, said
from calib.session.steps import Fact, StepRead, meant, nominal, u_pct

SQUARE_WITHIN = 0.05  # sides of a sheet that differ by less are taken for square (judgement)
SCRAPLESS = bench.SHAPES[0]
# A stock size of sheet this near the tongue is named, and one of another shape is asked after [mm] (judgement).
STOCK_WITHIN_MM, SAME_MM = 0.4, 0.15
NEW_STEEL_FROM = "from-1960"  # the decade from which better sheets are taken for granted (judgement)
# A lead alone may read so much more than with core and frame by the meter's own doubt (judgement).
BOND_WITHIN_OHM = 0.05
LINE_WITHIN = 0.1  # a reading at a voltage further from the line than this share says less (judgement)
MEASURED_TURN = 0.03  # a mean turn that was measured is known within this share of it (judgement)


def core(checked: Checked, weight_kg: float | None) -> StepRead:
    """What the core says.

    Parameters
    ----------
    checked : Checked
        The step's entries.
    weight_kg : float or None
        Of the whole unit [kg].

    Returns
    -------
    StepRead
        Known for later steps: tongue_mm, stack_mm, and lamination, window_mm and sheets where they are told; or
        area_cm2 alone.
    """
    read = StepRead(checked)
    if checked.chose("core_by", "area"):
        area = checked.get("area")
        if area is not None:
            _area(read, area, "as measured")
        return read
    stack = checked.get("stack")
    shape = checked.chosen("lamination")
    tongue = _hidden(read, shape) if checked.chose("core_by", "outside") else checked.get("tongue")
    if tongue is None or stack is None:
        if tongue is not None or stack is not None:
            read.lines.append("The core counts once its tongue and stack are both known.")
        return read
    read.known.update({"tongue_mm": tongue, "stack_mm": stack})
    _area(read, float(bench.core_area_cm2(tongue, stack)), f"{tongue:.4g} mm × {stack:.4g} mm")
    window = _window(read) if shape != SCRAPLESS else None
    sheets = bench.core_sheets(tongue, shape, window)
    read.known.update({"sheets": sheets, "window_mm": window, "lamination": None if shape == SCRAPLESS else shape})
    sentence = sheets_said(tongue, shape, window)
    read.lines.extend([sentence] if sentence else [])
    if weight_kg is not None and sheets is not None:
        _weight(read, weight_kg, sheets, stack)
    return read


def _window(read: StepRead) -> tuple[float, float] | None:
    """Width and height of a window, where both were measured."""
    wide, high = read.checked.get("window_width"), read.checked.get("window_height")
    if wide is not None and high is not None:
        return wide, high
    if wide is not None or high is not None:
        read.lines.append("The window counts once its width and height are both known.")
    return None


def _weight(read: StepRead, weight_kg: float, sheets: bench.CoreSheets, stack: float) -> None:
    """The weight against sheets of that shape and their windings."""
    check = bench.weight_check(weight_kg, sheets, stack)
    if check.agrees:
        read.lines.append(check.sentence)
        return
    remedy = (
        "Measure tongue and stack again; a can filled with pitch, a massive frame, or sheets of another shape explain "
        "it too."
    )
    read.findings.append(bench.Finding("Weight and core disagree", check.sentence, remedy, "doubt"))


def _area(read: StepRead, area: float, how: str) -> None:
    read.known["area_cm2"] = area
    read.tell(Fact("Gross area of the core", area, math.nan, "cm²", how))
    low, high = calib.size_class_bounds(calib.size_class(area))
    to = "and more" if math.isinf(high) else f"to {high:g}"
    read.lines.append(f"Size class {calib.size_class(area)}: {low:g} {to} cm².")


def _hidden(read: StepRead, shape: str) -> float | None:
    """The tongue by the outside of the sheets."""
    sides = [read.checked.get(name) for name in ("long_side", "short_side", "stack")]
    long_side, short_side, stack = sides
    if long_side is None or short_side is None or stack is None:
        if any(side is not None for side in sides):
            read.lines.append("Long side, short side and stack are all three needed.")
        return None
    try:
        found = bench.core_from_outside(long_side, short_side, shape)
    except ValueError as error:
        square = shape == SCRAPLESS and abs(long_side / short_side - 1.0) < SQUARE_WITHIN
        hint = " Square sheets are M: say so." if square else ""
        read.checked.faults["short_side"] = f"{short_side:.5g} mm: {meant(error)}{hint}"
        return None
    stock = f", {found.tongue_mm:.5g} mm as of {found.laminations[0].name}" if found.laminations else ""
    read.lines.append(f"Tongue by the outside: {found.measured_tongue_mm:.4g} mm{stock}.")
    return found.tongue_mm


@dataclass(frozen=True)
class Others:
    """What the other steps say that wire and unloaded run are held against: resistances, ratio test, core."""

    ohms: StepRead
    volts: StepRead
    core: StepRead


def wire(checked: Checked, others: Others) -> StepRead:
    """What the wire says, and whether the resistance agrees.

    Returns
    -------
    StepRead
        Known for later steps: bare_mm, and awg or wire_diameter_mm.
    """
    read = StepRead(checked)
    measured_u = None
    if checked.chose("wire_by", "gauge"):
        _gauge(read)
    elif checked.chose("wire_by", "micrometer"):
        measured_u = _micrometer(read)
    implied = _implied(read, others)
    if implied is None:
        return read
    bare = read.known.get("bare_mm")
    if bare is None:
        sizes = ", ".join(implied.nearest)
        read.lines.append(f"By its resistance the wire has about {implied.diameter_mm:.3g} mm bare: {sizes}.")
        return read
    found = bench.wire_agreement(implied, bare, measured_u)
    if found.agrees:
        read.lines.append(found.sentence)
    else:
        remedy = "Read wire, turns and resistance again before either is trusted."
        read.findings.append(bench.Finding("Wire and resistance disagree", found.sentence, remedy, "doubt"))
    return read


def _gauge(read: StepRead) -> None:
    entries, faults = read.checked.typed, read.checked.faults
    column = wire_column(entries, read.checked.aloud, faults)
    (name, value), *_ = [*column.items(), ("", None)]
    if "wire" in faults:
        read.checked.codes.setdefault("wire", "choice")
    if value is None or "wire" in faults:
        return
    facts = next(one for one in calib.fields(calib.UnknownUnit) if one.name == name)
    if not (facts.low or 0.0) <= value <= (facts.high or math.inf):
        read.checked.codes["wire"] = "limits"
        faults["wire"] = f"{entries['wire']:g}: is outside the limits, {facts.limits}; check it, or leave it empty."
        return
    bare = float(bench.awg_diameter_mm(value)) if name == "awg" else float(value)
    unit = entries.get("wire_unit") or AWG
    read.known.update({"bare_mm": bare, name: float(value)})
    read.tell(Fact("Wire of the high-voltage winding, bare", bare, math.nan, "mm", f"{entries['wire']:g} {unit}"))


def _micrometer(read: StepRead) -> float | None:
    """Bare diameter by a micrometer; gives its standard uncertainty."""
    values = [read.checked.get(f"micrometer_{number}") for number in (1, 2, 3)]
    readings = [value for value in values if value is not None]
    if not readings:
        return None
    mean, u = bench.micrometer_reading(readings)
    over, series = read.checked.chosen("covering"), read.checked.chosen("series")
    try:
        named = bench.name_wire(mean, u, over, SERIES[series])
    except ValueError as error:
        read.checked.faults["micrometer_1"] = meant(error)
        return None
    read.lines.append(words.sentence(str(named)))
    bare = float(f"{named.bare_mm:.4g}")
    if named.fits:
        read.known.update({"bare_mm": bare, "wire_diameter_mm": bare})
        how = f"micrometer {mean:.4g} mm, {said(over)}"
        read.facts.append(Fact("Wire of the high-voltage winding, bare", named.bare_mm, named.bare_u_mm, "mm", how))
    return named.bare_u_mm


def _implied(read: StepRead, others: Others) -> Any:
    """The wire that resistance, turns and mean turn imply; None where one of them is not known."""
    r20 = others.ohms.known.get("r20")
    turn, how_sure = _mean_turn(read.checked, others.core)
    turns = _turns(read, others)
    if r20 is None or turn is None or turns is None:
        return None
    wound = bench.WoundWire(
        float(nominal(r20)),
        turns,
        turn,
        u_resistance_pct=u_pct(r20),
        conductor=others.ohms.known["metal"],
        **how_sure,
    )
    return bench.implied_wire(wound)


def _mean_turn(checked: Checked, core: StepRead) -> tuple[float | None, dict[str, float]]:
    """Mean turn [mm], and how sure it is where that is better than by the core alone."""
    typed = checked.get("mean_turn")
    if typed is not None:
        return typed, {"mean_turn_half_width": MEASURED_TURN}
    sheets = core.known.get("sheets")
    if sheets is None:
        return None, {}
    return float(sheets.mean_turn_mm(core.known["stack_mm"])), {}


def _turns(read: StepRead, others: Others) -> Any:
    """Turns as counted, else by voltage and core at the flux that makers used."""
    counted = read.checked.get("turns")
    if counted is not None:
        return bench.Turns(counted, 0.0)
    volts, hertz = others.volts.known.get("no_load"), others.volts.known.get("frequency_hz")
    area = others.core.known.get("area_cm2")
    if volts is None or hertz is None or area is None:
        return None
    turns = bench.turns_from_volts(float(nominal(volts)), area, hertz)
    read.lines.append(
        f"About {turns.turns:.0f} turns by voltage and core, within {turns.u_pct:.2g} % (standard uncertainty), since "
        "makers chose the flux."
    )
    return turns


def sheets_said(tongue_mm: float, shape: str, window_mm: tuple[float, float] | None) -> str:
    """What is understood of a core's sheets, as sentences; blank where there is nothing to say.

    Parameters
    ----------
    tongue_mm : float
        Width of the limb that the coil sits on, above 0 [mm].
    shape : str
        As the record has it; blank or ei-scrapless where nothing else was said.
    window_mm : (float, float) or None
        Width and height of a window as measured [mm].
    """
    shape = shape or bench.SHAPES[0]
    sheets = bench.core_sheets(tongue_mm, shape, window_mm)
    if sheets is None:
        what = "no M sheet listed has such a tongue: measure" if shape == "m" else "measure"
        return f"For what such a core carries and weighs, {what} its window too."
    near = bench.nearest_laminations(tongue_mm, STOCK_WITHIN_MM, (shape,))
    said = f"Nearest stock sheet: {near[0].name}, tongue {near[0].tongue_mm:g} mm. " if near else ""
    if shape == bench.SHAPES[0]:
        if window_mm is not None:
            return f"{said}The window counts as measured, {sheets.window_cm2:.3g} cm²."
        others = [one for one in bench.nearest_laminations(tongue_mm, SAME_MM, ("m",)) if near]
        alike = f"{others[0].name} has that tongue too, and another window: say which it is. " if others else ""
        return f"{said}{alike}".strip()
    size = f"{sheets.window_width_mm:.4g} by {sheets.window_height_mm:.4g} mm, {sheets.window_cm2:.3g} cm²"
    if window_mm is not None:
        return f"{said}Window {size}, as measured."
    whose = "Its window" if near else f"A window by the {sheets.known_by}"
    return f"{said}{whose}, {size}, counts until you measure it."


def wire_column(entries: Mapping[str, Any], aloud: dict[str, str], faults: dict[str, str]) -> dict[str, Any]:
    """The column for the wire: its American gauge as it is, any other size as the bare diameter in mm."""
    size = entries.get("wire")
    unit = entries.get("wire_unit") or AWG
    if size is None:
        return {}
    if unit == AWG:
        facts = next(one for one in calib.fields(calib.UnknownUnit) if one.name == "awg")
        if facts.low is not None and facts.high is not None and facts.low <= size <= facts.high:
            aloud["wire"] = f"AWG {size:g} is {bench.awg_diameter_mm(size):.3f} mm bare."
        return {"awg": float(size)}
    if unit == SWG:
        try:
            diameter = bench.swg_diameter_mm(int(size) if float(size).is_integer() else size)
        except ValueError as error:
            faults["wire"] = f"{error}; enter the bare diameter for wire between two gauges."
            return {}
        aloud["wire"] = f"SWG {size:g} is {diameter:.3f} mm bare."
        return {"wire_diameter_mm": diameter}
    diameter = bench.measure("mm", unit).kept(float(size))
    if math.isfinite(diameter) and diameter > 0:
        near = f"nearest {', '.join(bench.nearest_sizes(diameter))}."
        told = f"{size:.6g} in is {diameter:.3f} mm bare" if unit == INCH else f"{diameter:.4g} mm bare"
        aloud["wire"] = f"{told}: {near}"
    return {"wire_diameter_mm": diameter}


def idle(checked: Checked, others: Others, decade: str) -> StepRead:
    """What the unloaded run says; known is what it waits for: the bond to earth (bonded), a lamp or smell (alarm)."""
    read = StepRead(checked, known={"bonded": False})
    _bond(read)
    taken = {name: checked.get(f"idle_{name}") for name in ("v", "ma", "w", "rise", "low_v", "low_ma")}
    line_v = others.volts.known.get("line_v")
    full_ma, iron_w = _expected(others, decade, taken["v"])
    volts, exciting, watts, rise, low_v, low_ma = (math.nan if value is None else value for value in taken.values())
    if not math.isnan(full_ma * exciting):
        share = f"{exciting / full_ma:.0%}"
        read.lines.append(f"Full load by the core: about {words.figure(full_ma)} mA; exciting current {share} of it.")
    if not math.isnan(iron_w * watts):
        read.lines.append(f"Iron's usual loss: about {words.figure(iron_w, 2)} W; it draws {words.figure(watts)} W.")
    if math.isnan(full_ma) and not (math.isnan(exciting) and math.isnan(watts)):
        read.lines.append("Without tongue, stack and line there is nothing to hold current and watts against.")
    if line_v and abs(volts / line_v - 1.0) > LINE_WITHIN:
        read.lines.append(f"Read at {words.figure(volts)} V, not at its line of {line_v:g} V: it says less.")
    bright = checked.chose("lamp", "lamp-bright")
    alarms = tuple(map(str, checked.typed.get("alarms") or ()))
    read.known["alarm"] = bright or bool(alarms)
    signs = bench.UnloadedReading(exciting, full_ma, watts, iron_w, rise, volts, low_v, low_ma, bright, alarms)
    found = bench.findings(bench.FaultSigns(unloaded=signs))
    read.findings.extend(found)
    if not (math.isnan(low_v) and math.isnan(low_ma)):
        read.lines.append(_second(signs))
    if not found and not math.isnan(full_ma) and not (math.isnan(exciting) and math.isnan(watts)):
        read.lines.append(bench.PASS_PROVES_LITTLE)
    return read


def _bond(read: StepRead) -> None:
    """Whether core and frame are bonded to protective earth: the readings of it, less the lead's own."""
    reads, lead = read.checked.get("bond_ohm"), read.checked.get("bond_lead_ohm") or 0.0
    if reads is None:
        return
    if reads < lead - BOND_WITHIN_OHM:
        read.checked.faults["bond_lead_ohm"] = (
            f"{lead:g} Ω for the lead alone is more than the {reads:g} Ω with core and frame: read both again."
        )
        return
    bond = max(reads - lead, 0.0)
    found = bench.findings(bench.FaultSigns(bond_ohm=bond))
    read.findings.extend(found)
    read.known["bonded"] = not found
    if not found:
        read.lines.append(f"Bonded to protective earth: {bond:.2g} Ω beside the lead's own.")


def _second(signs: bench.UnloadedReading) -> str:
    """What the second reading says."""
    power = bench.knee_power(signs)
    if math.isnan(power):
        return (
            "The second reading tells nothing: it wants both volts and currents, the second at about "
            f"{LOW_LINE:.0%} of the first volts, and a smaller current."
        )
    said = f"The current falls as the volts to the power {power:.1f}"
    if power >= KNEE_POWER:
        return f"{said}: much faster, as at a knee of the iron."
    return (
        f"{said}: about in proportion, as with a shorted turn or iron far from its knee."
        if power <= TURN_POWER
        else f"{said}."
    )


def _expected(others: Others, decade: str, volts: float | None) -> tuple[float, float]:
    """Full-load current [mA] and the iron's usual loss at the voltage applied [W]; NaN where the core is not known.

    The upper end of what sheets of its day lose is taken, so that an ordinary unit is not suspected. Source: Magnetic
    Circuits and Transformers (MIT EE Staff).
    """
    sheets, stack = (others.core.known.get(name) for name in ("sheets", "stack_mm"))
    line, hertz = (others.volts.known.get(name) for name in ("line_v", "frequency_hz"))
    if sheets is None or stack is None or line is None or hertz is None:
        return math.nan, math.nan
    area = bench.core_area_cm2(sheets.tongue_mm, stack)
    va = bench.area_rule_va(area, sheets.window_cm2, bench.usual_area_rule(sheets.tongue_mm, hertz))
    steel = "good non-oriented" if decade == NEW_STEEL_FROM else "old radio steel"
    flux = USUAL_FLUX_T * (1.0 if volts is None else volts / line)
    loss = bench.iron_loss_w_kg(LOSS_W_KG[steel][1], flux, hertz)
    return 1000.0 * float(va) / line, float(loss * sheets.iron_mass_kg(stack))
