"""The steps of core and wire: area and sheet, weight against core, gauge and its odds, gauge against resistance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import calib
from calib import bench, words
from calib.session import choices as c, measured
from calib.session.checked import Checked
from calib.session.said import Fact, StepRead, meant, nominal, u_pct

SQUARE_WITHIN = 0.05  # sides of a sheet that differ by less are taken for square (judgement)
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
    way = checked.chosen("core_by", c.LIMBS)
    if way == c.AREA:
        area = checked.get("area")
        if area is not None:
            _area(read, area, "as measured")
        return read
    stack = checked.get("stack")
    shape = checked.chosen("lamination", c.SCRAPLESS)
    tongue = _hidden(read, shape) if way == c.OUTSIDE else checked.get("tongue")
    if tongue is None or stack is None:
        if tongue is not None or stack is not None:
            read.lines.append("The core counts once its tongue and stack are both known.")
        return read
    read.known.update({"tongue_mm": tongue, "stack_mm": stack})
    _area(read, float(bench.core_area_cm2(tongue, stack)), f"{tongue:.4g} mm × {stack:.4g} mm")
    window = _window(read) if shape != c.SCRAPLESS else None
    sheets = bench.core_sheets(tongue, shape, window)
    read.known.update({"sheets": sheets, "window_mm": window, "lamination": None if shape == c.SCRAPLESS else shape})
    said = measured.sheets_said(tongue, shape, window)
    read.lines.extend([said] if said else [])
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
    check = bench.weight_check(weight_kg, sheets.tongue_mm, stack, sheets=sheets)
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
        found = bench.core_from_outside(long_side, short_side, stack, shape)
    except ValueError as error:
        square = shape == c.SCRAPLESS and abs(long_side / short_side - 1.0) < SQUARE_WITHIN
        hint = " Square sheets are M: say so." if square else ""
        read.checked.faults["short_side"] = f"{short_side:.5g} mm: {meant(error)}{hint}"
        return None
    stock = f", {found.tongue_mm:.5g} mm as of {found.laminations[0].name}" if found.laminations else ""
    read.lines.append(f"Tongue by the outside: {found.measured_tongue_mm:.4g} mm{stock}.")
    return found.tongue_mm


@dataclass(frozen=True)
class Others:
    """What the other steps say that the wire is held against: the resistances, the ratio test, the core."""

    ohms: StepRead
    volts: StepRead
    core: StepRead


def wire(checked: Checked, others: Others) -> StepRead:
    """What the wire says, and whether the resistance agrees.

    Returns
    -------
    StepRead
        Known for later steps: bare_mm, and wire with wire_unit as they go into a form.
    """
    read = StepRead(checked)
    way = checked.chosen("wire_by", c.NO_WIRE)
    measured_u = None
    if way == c.GAUGE:
        _gauge(read)
    elif way == c.MICROMETER:
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
    entries, faults = read.checked.said, read.checked.faults
    column = measured.wire(entries, read.checked.aloud, faults)
    (name, value), *_ = [*column.items(), ("", None)]
    if value is None or "wire" in faults:
        return
    facts = next(one for one in calib.fields(calib.UnknownUnit) if one.name == name)
    if not (facts.low or 0.0) <= value <= (facts.high or math.inf):
        faults["wire"] = f"{entries['wire']:g}: is outside the limits, {facts.limits}; check it, or leave it empty."
        return
    bare = float(bench.awg_diameter_mm(value)) if name == "awg" else float(value)
    unit = entries.get("wire_unit") or measured.AWG
    read.known.update({"bare_mm": bare, "wire": entries["wire"], "wire_unit": unit})
    read.tell(Fact("Wire of the high-voltage winding, bare", bare, math.nan, "mm", f"{entries['wire']:g} {unit}"))


def _micrometer(read: StepRead) -> float | None:
    """Bare diameter by a micrometer; gives its standard uncertainty."""
    values = [read.checked.get(f"micrometer_{number}") for number in (1, 2, 3)]
    readings = [value for value in values if value is not None]
    if not readings:
        return None
    mean, u = bench.micrometer_reading(readings)
    over = read.checked.chosen("covering", c.COVERINGS[0])
    series = read.checked.chosen("series", "any")
    try:
        named = bench.name_wire(mean, u, over, c.SERIES[series])
    except ValueError as error:
        read.checked.faults["micrometer_1"] = meant(error)
        return None
    read.lines.append(words.sentence(str(named)))
    bare = float(f"{named.bare_mm:.4g}")
    if named.fits:
        read.known.update({"bare_mm": bare, "wire": bare, "wire_unit": measured.MM})
        how = f"micrometer {mean:.4g} mm, {c.said(over)}"
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
