"""Entries in the units that they were read in, turned into the units of the tables, each conversion said aloud."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import calib
from calib import bench

AWG, SWG, MM, INCH = "AWG", "SWG", "mm", "in"
WIRE_UNITS = (AWG, SWG, MM, INCH)
SAID = {"ohm": "Ω"}


def symbols_of(unit: str) -> tuple[str, ...]:
    """What a quantity may be read in, by the unit that its column is kept in; the column's own alone where no other."""
    return tuple(one.symbol for one in bench.MEASURES.get(unit, ())) or (SAID.get(unit, unit),)


def kept(entries: Mapping[str, Any], field: str, unit: str, aloud: dict[str, str]) -> float | None:
    """A field's number in the unit that its column is kept in; None where it is empty.

    Parameters
    ----------
    entries : mapping of str to object
        What stands in the form: the field's number, and under the field's name with `_unit` what it was read in.
    field, unit : str
        The field, and the unit of its column.
    aloud : dict of str to str
        Takes the conversion in words, where there is one.
    """
    typed = entries.get(field)
    symbol = entries.get(f"{field}_unit") or symbols_of(unit)[0]
    if typed is None or symbol == symbols_of(unit)[0]:
        return None if typed is None else float(typed)
    value = bench.measure(unit, symbol).kept(float(typed))
    mark = bench.inch_fraction(float(typed)) if symbol == INCH else ""
    read = f"{typed:.6g} {symbol}" + (f" ({mark})" if mark else "")
    aloud[field] = f"{read} is {value:.5g} {SAID.get(unit, unit)}."
    return value


def as_typed(entries: Mapping[str, Any], field: str) -> str:
    """A number with the unit that it was read in, where that is not its column's; blank elsewhere."""
    symbol = entries.get(f"{field}_unit")
    typed = entries.get(field)
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
        near = f"nearest AWG {bench.nearest_awg(diameter)}, SWG {bench.nearest_swg(diameter)}."
        said = f"{size:.6g} in is {diameter:.3f} mm bare" if unit == INCH else f"{diameter:.4g} mm bare"
        aloud["wire"] = f"{said}: {near}"
    return {"wire_diameter_mm": diameter}
