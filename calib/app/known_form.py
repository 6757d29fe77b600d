"""The form for a known unit, to add one and to amend one: a field for each column of the record."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import streamlit as st

import calib
from calib.app import context, forms
from calib.app.forms import Form
from calib.register.fields import FIELDS, FieldFacts
from calib.session import meters as m, readings
from calib.session.fields import Field, symbols_of

VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
ASKS = context.SAID["known"]
# Fields that stand after the one that they belong to.
AFTER = {
    "rated_current_ma": ("rating_basis", "guide_factor"),
    "hv_resistance_ohm": ("hv_half_1_ohm", "hv_half_2_ohm"),
    "conductor": ("wire",),
}
WIRE = Field(
    "wire", "Wire (if known)", unit="wire", help="Gauge or diameter of the winding's wire, without its enamel."
)
AMENDS = "amends"  # of the form that amends: the register's file, the record it began from, and its entries then


def draw(prefix: str, understood: readings.Understood, opened: context.Opened, tried: bool) -> Form:
    """The fields, the meters and what they amount to; what is wrong stands beside its field."""
    now = forms.entries(prefix)
    asked = [_told(one) for one in readings.known_fields()]
    form = Form.over(prefix, {"wire": WIRE, **{one.name: one for one in asked}}, understood, tried)
    first = [one.name for one in asked if one.needed or one.name in VOLTAGES]
    others = [one.name for one in asked if one.name not in (*first, *itertools.chain(*AFTER.values()))]
    st.write("Readings are over the whole winding. Of the voltage: either both of a ratio test, or the no-load volts.")
    _grid(form, first)
    with st.expander("If you have it: core, wire, notes"):
        _grid(form, others)
    forms.meters(form, now, opened.meters, now.get("no_load_v") is None or now.get("hv_v") is not None)
    if understood.record is not None:
        st.html(context.account(understood.metered))
    return form


def begin(place: str, record: calib.KnownUnit, typed: Mapping[str, Any] | None = None) -> None:
    """Begin to amend a record: the form stands as the record does, or as was typed for it elsewhere."""
    context.forget("amend_")
    first = entries_of(record)
    st.session_state[AMENDS] = place, record, first
    for name, value in (first if typed is None else typed).items():
        st.session_state[f"amend_{name}"] = value


def entries_of(record: calib.KnownUnit) -> dict[str, Any]:
    """What stands in the form where it is filled from a record."""
    made: dict[str, Any] = {}
    values = record.values()
    for facts in readings.known_fields():
        value = values[facts.name]
        if facts.kind == "flag":
            made[facts.name] = None if value is None else str(value).lower()
        elif facts.kind == "choice":
            made[facts.name] = value or None
        elif facts.kind == "date":
            made[facts.name] = date.fromisoformat(str(value)) if value else None
        else:
            made[facts.name] = "" if value is None else value if facts.kind == "text" else forms.measured.shown(value)
            if facts.kind == "number" and len(symbols := symbols_of(facts.unit)) > 1:
                made[f"{facts.name}_unit"] = symbols[0]
    for column, unit in (("awg", "AWG"), ("wire_diameter_mm", "mm")):  # the diameter counts where both stand
        if values.get(column) is not None:
            made |= {"wire": forms.measured.shown(values[column]), "wire_unit": unit}
    for column, meter in (("u_voltage_pct", "voltmeter"), ("u_resistance_pct", "ohmmeter")):
        if values.get(column) is not None:
            made |= {meter: m.STATED, column: forms.measured.shown(values[column])}
    return made


def amended(
    entries: Mapping[str, Any], record: calib.KnownUnit, first: Mapping[str, Any], opened: context.Opened
) -> readings.Understood:
    """What the entries make of a record that the form was filled from: a column whose entry was left alone stays."""
    read = readings.understand_known(entries, opened.meters, opened.simulated)
    begun = readings.understand_known(first, opened.meters, opened.simulated).record
    if read.record is None:
        return read
    old = record.values() if begun is None else begun.values()
    new = {name: value for name, value in read.record.values().items() if value != old[name]}
    try:
        return replace(read, record=calib.KnownUnit.parse({**record.values(), **new}))
    except calib.InputError as error:
        return replace(read, record=None, faults={one.column: f"{one.problem}; {one.remedy}." for one in error.faults})


def _told(facts: FieldFacts) -> FieldFacts:
    """A field as the form calls it: what may be left out says so, and limits stand in the help."""
    known = "" if facts.needed or facts.name in VOLTAGES else " (if known)"
    asked = forms.with_limits(facts)
    if facts.name == "rating_basis":  # the help of the column names its codes, of which the form shows none
        asked = replace(asked, label=ASKS["basis"], help=ASKS["basis_help"])
    return replace(asked, label=f"{asked.label}{known}")


def _grid(form: Form, names: list[str]) -> None:
    """Fields in two columns, each with those that belong to it; the factor of a maker's guide where one was used."""
    half = (len(names) + 1) // 2
    for column, part in zip(st.columns(2, gap="medium"), (names[:half], names[half:]), strict=True):
        with column:
            for name in part:
                if name == "evidence":
                    form.choice(form.fields[name], FIELDS[name].names)
                else:
                    form.ask(name)
                for other in AFTER.get(name, ()):
                    if other == "rating_basis":
                        form.choice(form.fields[other], FIELDS[other].names)
                    elif other != "guide_factor" or st.session_state.get(f"{form.prefix}rating_basis") == "guide":
                        form.ask(other)
