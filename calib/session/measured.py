"""Entries in the units that they were read in, turned into the units of the tables, each conversion said aloud."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import calib
from calib import bench

AWG, SWG, MM, INCH = "AWG", "SWG", "mm", "in"
WIRE_UNITS = (AWG, SWG, MM, INCH)
SAID = {"ohm": "Ω"}
# A stock size of sheet this near the tongue is named, and one of another shape is asked after [mm] (judgement).
STOCK_WITHIN_MM, SAME_MM = 0.4, 0.15
LONGEST = 40  # characters of what was typed that are repeated


def symbols_of(unit: str) -> tuple[str, ...]:
    """What a quantity may be read in, by the unit that its column is kept in; the column's own alone where no other."""
    return tuple(one.symbol for one in bench.MEASURES.get(unit, ())) or (SAID.get(unit, unit),)


@dataclass(frozen=True)
class Numbers:
    """The numbers of a form, read.

    Attributes
    ----------
    kept : dict of str to object
        The form's entries, each number in the unit that its column is kept in; None where empty or no number.
    typed : dict of str to object
        The same, each number in the unit that it was typed in, and that unit under the field's name with `_unit`.
    aloud, faults : dict of str to str
        By field: what was understood where that is not plainly what was typed, and why something is no number.
    """

    kept: dict[str, Any]
    typed: dict[str, Any]
    aloud: dict[str, str]
    faults: dict[str, str]


def read(
    entries: Mapping[str, Any], units: Mapping[str, str], usual: Mapping[str, tuple[float, float] | None] | None = None
) -> Numbers:
    """Read the numbers of a form.

    Parameters
    ----------
    entries : mapping of str to object
        What stands in the form: a field's text or number, and under the field's name with `_unit` the unit chosen.
    units : mapping of str to str
        By field that holds a number, the unit that its column is kept in, or `wire`.
    usual : mapping of str to (float, float), optional
        By field, where such numbers lie, in the unit that is kept.

    Returns
    -------
    Numbers
        Entries of other fields are as they were.
    """
    done = Numbers(dict(entries), dict(entries), {}, {})
    for field, unit in units.items():
        text = shown(entries.get(field)).strip()
        done.kept[field] = done.typed[field] = None
        if not text:
            continue
        try:
            one = bench.read_number(text, unit, entries.get(f"{field}_unit") or "", (usual or {}).get(field))
        except bench.NotRead as error:
            done.faults[field] = f"{brief(text)}: {error.problem}; {error.remedy}."
            continue
        done.kept[field], done.typed[field] = one.kept, one.number
        own = AWG if unit == "wire" else symbols_of(unit)[0]
        if one.symbol != own or f"{field}_unit" in entries:
            done.typed[f"{field}_unit"] = done.kept[f"{field}_unit"] = one.symbol
        if one.aloud:
            done.aloud[field] = one.aloud
    return done


def shown(value: Any) -> str:
    """An entry as its field shows it: text as it was typed, a number in figures, nothing where empty."""
    if value is None or value != value:
        return ""
    return value if isinstance(value, str) else bench.in_figures(value)


def brief(text: str) -> str:
    """What was typed, cut short, with nothing in it that cannot be seen."""
    seen = "".join(mark if mark.isprintable() else "?" for mark in text)
    return seen if len(seen) <= LONGEST else f"{seen[:LONGEST]}…"


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


def as_typed(entries: Mapping[str, Any], field: str) -> str:
    """A number with the unit that it was read in, where that is not its column's; blank elsewhere."""
    symbol, typed = entries.get(f"{field}_unit"), entries.get(field)
    own = {others[0].symbol for others in bench.MEASURES.values()}
    return f"{typed:.6g} {symbol}" if typed is not None and symbol and symbol not in own else ""


def wire(entries: Mapping[str, Any], aloud: dict[str, str], faults: dict[str, str]) -> dict[str, Any]:
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
        said = f"{size:.6g} in is {diameter:.3f} mm bare" if unit == INCH else f"{diameter:.4g} mm bare"
        aloud["wire"] = f"{said}: {near}"
    return {"wire_diameter_mm": diameter}
