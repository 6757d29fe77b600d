"""What was entered on the page, turned into a table of one unknown unit: halves, inches and gauges converted once.

An entry that is empty is None and stays out of the columns. Nothing here is asked of the page itself, so that all of it
can be tested without one.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import calib
from calib import bench
from calib.show import words

if TYPE_CHECKING:
    import pandas as pd

RATIO_TEST, NO_LOAD = "a ratio test at low voltage", "its no-load voltage, known"
WHOLE, HALF = "the whole winding", "one half of it"
NOT_MEASURED = "not measured"
TONGUE_MM, TONGUE_INCH, AREA = "tongue and stack, mm", "tongue and stack, inch", "gross area, cm²"
AWG, SWG, BARE = "AWG gauge", "SWG gauge", "bare diameter, mm"
CORE_WAYS = (NOT_MEASURED, TONGUE_MM, TONGUE_INCH, AREA)
WIRE_WAYS = (NOT_MEASURED, AWG, SWG, BARE)

# Standard uncertainty of doubling one half's resistance: halves differ by 3 to 15 %; bench practice (judgement) [%].
HALVES_U_PCT = 4.0

FIELD_OF = {
    "hv_v": "volts_read",
    "no_load_v": "no_load_read",
    "hv_resistance_ohm": "ohms_read",
    "tongue_mm": "tongue",
    "stack_mm": "stack",
    "core_area_cm2": "area",
    "awg": "wire",
    "wire_diameter_mm": "wire",
    "unit": "tag",
}
PLAIN = (
    "winding_temp_c",
    "line_voltage_v",
    "line_frequency_hz",
    "rectifier",
    "filter",
    "u_voltage_pct",
    "u_resistance_pct",
    "demand_ma",
    "contributor",
)


@dataclass(frozen=True)
class Understood:
    """What the entries amount to.

    Attributes
    ----------
    unit : pandas.DataFrame or None
        One row as `calib.read_unknown` gives it, where nothing is missing or wrong.
    missing : tuple of str
        Fields of the page that a first answer still needs.
    faults : dict of str to str
        For each field that is wrong, what is and what to do about it.
    aloud : dict of str to str
        For each field whose entry was converted, the conversion in words.
    """

    unit: pd.DataFrame | None
    missing: tuple[str, ...]
    faults: dict[str, str]
    aloud: dict[str, str]


def understand(entries: Mapping[str, Any]) -> Understood:
    """Convert what was entered, check it, and say what is missing, wrong or was converted."""
    aloud: dict[str, str] = {}
    faults: dict[str, str] = {}
    columns = _plain(entries) | _voltage(entries, aloud) | _resistance(entries, aloud) | _core(entries, aloud)
    columns |= _wire(entries, aloud, faults)
    columns["centre_tapped"] = columns.get("rectifier") == "full-wave" or _halved(entries)
    try:
        unit = calib.read_unknown(_table(columns), where="the readings")
    except calib.InputError as error:
        missing = [fault.column for fault in error.faults if not fault.value]
        faults = {
            FIELD_OF.get(fault.column, fault.column): told(fault) for fault in error.faults if fault.value
        } | faults
        return Understood(None, _asked_for(missing, entries), faults, aloud)
    return Understood(None if faults else unit, (), faults, aloud)


def _halved(entries: Mapping[str, Any]) -> bool:
    """Whether anything was read on one half, which there is only where the winding has a centre tap."""
    return HALF in (entries.get("volts_across"), entries.get("ohms_across"))


def _table(columns: Mapping[str, Any]) -> io.BytesIO:
    """The columns as a table of one row, every column of an unknown unit in its header."""
    text = io.StringIO()
    writer = csv.DictWriter(text, [facts.name for facts in calib.fields(calib.UnknownUnit)])
    writer.writeheader()
    writer.writerow({name: f"{value:.12g}" if isinstance(value, float) else value for name, value in columns.items()})
    return io.BytesIO(text.getvalue().encode())


def _asked_for(missing: list[str], entries: Mapping[str, Any]) -> tuple[str, ...]:
    """The page's fields for the columns that are missing, in the words of the way in which the voltage was found."""
    asked = []
    for column in missing:
        if column == "no_load_v" and entries.get("voltage_by") != NO_LOAD:
            asked += ["excitation_v", "volts_read"]
        else:
            asked.append(FIELD_OF.get(column, column))
    return tuple(asked)


def told(fault: Any) -> str:
    """A fault beside its field: the value, what is wrong with it, the remedy."""
    value = f"{fault.value}: " if fault.value else ""
    return f"{value}{fault.problem}; {fault.remedy}."


def _present(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None and value != ""}


def _plain(entries: Mapping[str, Any]) -> dict[str, Any]:
    columns = _present(**{name: entries.get(name) for name in PLAIN})
    columns["unit"] = entries.get("tag") or "this unit"
    if entries.get("simulated"):
        columns["simulated"] = True
    return columns


def _doubled(value: float | None, across: str | None, name: str, unit: str, aloud: dict[str, str]) -> float | None:
    if value is None or across != HALF:
        return value
    aloud[name] = f"One half read {value:.6g} {unit}, so the whole winding counts as {2 * value:.6g} {unit}."
    return 2 * value


def _voltage(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    across = entries.get("volts_across")
    if entries.get("voltage_by") == NO_LOAD:
        return _present(no_load_v=_doubled(entries.get("no_load_read"), across, "no_load_read", "V", aloud))
    whole = _doubled(entries.get("volts_read"), across, "volts_read", "V", aloud)
    return _present(excitation_v=entries.get("excitation_v"), hv_v=whole)


def _resistance(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    half = entries.get("ohms_across") == HALF
    whole = _doubled(entries.get("ohms_read"), entries.get("ohms_across"), "ohms_read", "Ω", aloud)
    columns = _present(hv_resistance_ohm=whole)
    if half and whole is not None:
        meter = entries.get("u_resistance_pct")
        meter = bench.DEFAULT_U_RESISTANCE_PCT if meter is None else meter
        if math.isfinite(meter) and 0 <= meter <= 100:
            columns["u_resistance_pct"] = math.hypot(meter, HALVES_U_PCT)
        aloud["ohms_read"] += (
            f" Halves commonly differ by 3 to 15 %, so {HALVES_U_PCT:g} % is added to its uncertainty: "
            "end to end is the better reading."
        )
    return columns


def _core(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    way = entries.get("core_by")
    if way == AREA:
        return _present(core_area_cm2=entries.get("area"))
    if way not in (TONGUE_MM, TONGUE_INCH):
        return {}
    tongue, stack = entries.get("tongue"), entries.get("stack")
    if tongue is None or stack is None:
        aloud["stack"] = "The core counts once tongue and stack are both there."
        return {}
    inch = way == TONGUE_INCH
    factor = bench.MM_PER_INCH if inch else 1.0
    columns = {"tongue_mm": tongue * factor, "stack_mm": stack * factor}
    sides = f"{columns['tongue_mm']:.4g} mm by {columns['stack_mm']:.4g} mm, " if inch else ""
    aloud["stack"] = f"{sides}{words.figure(columns['tongue_mm'] * columns['stack_mm'] / 100)} cm² of core."
    return columns


def _wire(entries: Mapping[str, Any], aloud: dict[str, str], faults: dict[str, str]) -> dict[str, Any]:
    way, wire = entries.get("wire_by"), entries.get("wire")
    if wire is None or way not in (AWG, SWG, BARE):
        return {}
    if way == AWG:
        return {"awg": wire}
    if way == BARE:
        return {"wire_diameter_mm": wire}
    try:
        diameter = bench.swg_diameter_mm(int(wire) if float(wire).is_integer() else wire)
    except ValueError as error:
        faults["wire"] = f"{error}; enter the bare diameter for wire between two gauges."
        return {}
    aloud["wire"] = f"SWG {wire:g} is {diameter:.3f} mm bare."
    return {"wire_diameter_mm": diameter}


def whole_volts(entries: Mapping[str, Any]) -> float | None:
    """Volts that stand across the whole winding during the ratio test; None where not read, or none was made."""
    value = entries.get("volts_read")
    if value is None or entries.get("voltage_by") == NO_LOAD:
        return None
    return float(2 * value if entries.get("volts_across") == HALF else value)


def live_warning(entries: Mapping[str, Any]) -> str:
    """What to say where the ratio test as read leaves a winding above the limit; blank where it does not.

    Source of the limit: IEC 61010-1.
    """
    whole, fed = whole_volts(entries), entries.get("excitation_v")
    limit = bench.HAZARDOUS_LIVE_V
    if not whole or not fed or max(whole, fed) <= limit:
        return ""
    if whole > fed:
        most = words.figure(limit * fed / whole)
        return (
            f"{whole:.4g} V across the whole winding is above {limit:g} V: this is live high-voltage work. Switch off, "
            f"and put at most {most} V on the primary."
        )
    return f"{fed:.4g} V on the primary is above {limit:g} V: switch off, and feed it with less."
