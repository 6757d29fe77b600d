"""What stands in the form for a known unit, turned into its record: units converted once, the null off, meters used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import calib
from calib import words
from calib.session import measured, metering, refusals
from calib.session.metering import Metered

if TYPE_CHECKING:
    from calib import KnownUnit, Meter
    from calib.register.facts import FieldFacts

# Columns that the form asks for in another way: the wire by any gauge, the uncertainties by the meters.
BY_WIRE = ("awg", "wire_diameter_mm")
BY_METERS = ("u_voltage_pct", "u_resistance_pct")
NEVER_ASKED = ("simulated",)


@dataclass(frozen=True)
class UnderstoodKnown:
    """What the entries amount to.

    Attributes
    ----------
    record : calib.KnownUnit or None
        The record, where nothing is missing or wrong.
    missing : dict of str to str
        For each field that is needed and empty, what is to be filled in.
    faults, aloud, unusual : dict of str to str
        For each field: what is wrong, what was converted, what is worth a second look.
    metered : Metered
        How sure the readings are.
    """

    record: KnownUnit | None
    missing: dict[str, str]
    faults: dict[str, str]
    aloud: dict[str, str]
    unusual: dict[str, str]
    metered: Metered


def asked() -> tuple[FieldFacts, ...]:
    """The columns that the form asks for as they are."""
    left_out = (*BY_WIRE, *BY_METERS, *NEVER_ASKED)
    return tuple(one for one in calib.fields(calib.KnownUnit) if one.name not in left_out)


def understand(entries: Mapping[str, Any], meters: Sequence[Meter], simulated: bool) -> UnderstoodKnown:
    """Convert what was entered, check it, and say what is missing, wrong, unusual or was converted."""
    numbers = [one for one in asked() if one.kind == "number"]
    usual = metering.USUAL | {one.name: one.usual for one in numbers}
    units = metering.KEPT_IN | {one.name: one.unit for one in numbers} | {"wire": "wire"}
    typed = measured.read(entries, units, usual)
    read, entries, aloud = typed.kept, typed.typed, typed.aloud
    read["ohms_read"] = read.get("hv_resistance_ohm")
    faults = metering.faults_of(read) | typed.faults
    columns = {one.name: read.get(one.name) for one in asked()}
    columns["hv_resistance_ohm"] = metering.less_null(read, read["ohms_read"], aloud)
    for name in ("hv_resistance_ohm", "primary_resistance_ohm"):
        metering.four_wire_hint(read, name, read.get(name), aloud)
    columns |= measured.wire(entries, aloud, faults)
    says = metering.metered(read, _as_read(read), meters, aloud)
    columns |= says.columns
    if simulated:
        columns["simulated"] = "true"
    missing: dict[str, str] = {}
    unusual: dict[str, str] = {}
    facts = {one.name: one for one in calib.fields(calib.KnownUnit)}
    record = None
    try:
        record = calib.KnownUnit.parse(columns, where="the form")
    except calib.InputError as error:
        for fault in error.faults:
            name = field_of(fault.column)
            said = refusals.refused(fault, facts.get(fault.column), entries, name)
            if fault.value:
                faults.setdefault(name, said)
            elif name not in faults:
                missing.setdefault(name, f"empty: {said}")
    for one in calib.improbabilities(record) if record is not None else ():
        name = field_of(one.column)
        unusual[name] = refusals.doubted(one.why, facts[one.column], entries, name)
    aloud |= _core(columns, aloud)
    return UnderstoodKnown(None if faults else record, missing, faults, aloud, unusual, says)


def field_of(column: str) -> str:
    """The form's field that a column comes from."""
    return "wire" if column in BY_WIRE else column


def _core(columns: Mapping[str, Any], aloud: Mapping[str, str]) -> dict[str, str]:
    tongue, stack = columns.get("tongue_mm"), columns.get("stack_mm")
    if not tongue or not stack:
        return {}
    said = {"stack_mm": f"{aloud.get('stack_mm', '')} {words.figure(tongue * stack / 100)} cm² of core.".strip()}
    wide, high = columns.get("window_width_mm") or 0.0, columns.get("window_height_mm") or 0.0
    window = (wide, high) if wide > 0 and high > 0 else None
    if tongue > 0:
        said["lamination"] = measured.sheets_said(tongue, columns.get("lamination") or "", window)
    return {name: text for name, text in said.items() if text}


def _as_read(read: Mapping[str, Any]) -> metering.Read:
    return metering.Read(
        metering.ratio_of(read.get("excitation_v"), read.get("hv_v"), read.get("line_voltage_v")),
        no_load_v=read.get("no_load_v"),
        ohm=read.get("hv_resistance_ohm"),
        temp_c=read.get("winding_temp_c"),
        metal=read.get("conductor") or "copper",
    )
