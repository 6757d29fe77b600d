"""The form that adds a known unit: a field for each of the record's, with the record's own labels, units and help."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import fields, meters_form, parts
from calib.app.account import account
from calib.app.fields import Fields
from calib.session import readings
from calib.session.interpret import stops_on_the_bench

if TYPE_CHECKING:
    from calib.register.fields import FieldFacts

VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
# What the next unit on the same bench is likely to share.
STAYS = (
    *("contributor", "rectifier", "filter", "line_voltage_v", "line_frequency_hz", "recorded_on", "winding_temp_c"),
    *("winding_temp_c_unit", "voltmeter", "second_voltmeter", "volts_metered", "ohmmeter", "ohm_leads"),
    *("null_ohm", "null_u_ohm", "temp_within_k", "temp_within_k_unit", "hv_resistance_ohm_unit"),
)
TRIED = "seen_add_tried"
WIRE_HELP = "Gauge or diameter of the winding's wire, without its enamel."


def draw(opened: parts.Opened) -> None:
    """The form; what is wrong stands beside its field, and nothing typed is lost."""
    with st.container():
        _outcome_of_last()
    now = fields.entries("add_")
    understood = readings.understand_known(now, opened.meters, opened.simulated)
    faults = understood.faults | (understood.missing if st.session_state.get(TRIED) else {})
    form = Fields("add_", understood.aloud, understood.unusual, faults)
    asked = readings.known_fields()
    first = [one for one in asked if one.needed or one.name in VOLTAGES]
    with st.container(border=True, key="add_a_known_unit"):
        st.write(
            "Readings are over the whole winding. Of the voltage: either both of a ratio test, or the no-load volts."
        )
        _grid(form, first, wire=False)
        with st.expander("If you have it: core, wire, notes"):
            _grid(form, [one for one in asked if one not in first], wire=True)
        meters_form.draw(form, now, opened.meters, now.get("no_load_v") is None or now.get("hv_v") is not None)
        if understood.record is not None:
            st.html(account(understood.metered))
        st.button("Add this unit", key="submit_unit", type="primary", on_click=_add)
    _trouble(faults)


def _outcome_of_last() -> None:
    done = st.session_state.pop("seen_added", "")
    if done:
        st.success(words.plain(done))
    again = st.session_state.pop("seen_added_unlikely", ())
    if again:
        st.warning(words.plain(f"Worth a second look: {' '.join(again)}"))


def _trouble(faults: dict[str, str]) -> None:
    trouble = st.session_state.get("seen_add_trouble", "")
    if st.session_state.get(TRIED) and faults:
        trouble = f"Not added: {words.count(len(faults), 'thing')} to mend above. {trouble}"
    if trouble:
        st.error(words.plain(trouble.strip()))


def _grid(form: Fields, facts: list[FieldFacts], wire: bool) -> None:
    left, right = st.columns(2, gap="medium")
    half = (len(facts) + 1) // 2
    for place, one in enumerate(facts):
        with left if place < half else right:
            _field(form, one)
            if wire and one.name == "conductor":
                form.number("wire", "Wire (if known)", "wire", WIRE_HELP)


def _field(form: Fields, facts: FieldFacts) -> None:
    label = facts.label if facts.needed or facts.name in VOLTAGES else f"{facts.label} (if known)"
    help = " ".join(part for part in (facts.help, f"Allowed: {facts.limits}." if facts.limits else "") if part)
    key = f"add_{facts.name}"
    if facts.kind == "number":
        form.number(facts.name, label, facts.unit, help)
        return
    if facts.kind in ("choice", "flag"):
        names = {"true": "yes", "false": "no"} if facts.kind == "flag" else {}
        st.selectbox(
            label,
            facts.choices,
            index=None,
            placeholder="choose",
            format_func=lambda choice: names.get(choice, choice),
            key=key,
            help=help,
        )
    elif facts.kind == "date":
        st.date_input(label, value=None, format="YYYY-MM-DD", key=key, help=help)
    elif facts.name == "notes":
        st.text_area(label, key=key, help=help)
    else:
        st.text_input(label, key=key, help=help)
    form.said(facts.name, facts.label)


def _add() -> None:
    """Add what stands in the form to the open register, or leave what is wrong with it for the form to show."""
    typed = fields.entries("add_")
    st.session_state[TRIED], st.session_state["seen_add_trouble"] = True, ""
    try:
        with parts.register() as register:
            record = readings.understand_known(typed, parts.meters_of(register.meters()), register.is_simulated).record
            if record is None:
                return
            mine = (record.contributor, record.unit)
            stop = "" if record.stop_cleared else stops_on_the_bench(register, [mine]).get(mine, "")
            if stop:
                told = f"its bench session says stop, feed nothing: {stop}. Clear it there with the reason first."
                st.session_state["seen_add_trouble"] = f"Not added: {told}"
                return
            report = register.add(record, by=record.contributor)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state["seen_add_trouble"] = f"Not added: {error}."
        return
    st.session_state[TRIED] = False
    st.session_state["seen_added"] = _outcome(report, f"{record.unit} of {record.contributor}")
    labels = {one.name: one.label for one in calib.fields(calib.KnownUnit)}
    unlikely = [f"{labels[one.column]}: {words.sentence(one.why)}" for one in calib.improbabilities(record)]
    st.session_state["seen_added_unlikely"] = unlikely
    parts.forget(*(f"add_{name}" for name in typed if name not in STAYS))
    gone = [one for one in readings.known_fields() if one.name not in STAYS]
    typed_in = [one.name for one in gone if one.kind in ("text", "number")]
    fields.empty("add_", ["wire", *typed_in], [one.name for one in gone if one.name not in typed_in])


def _outcome(report: Any, name: str) -> str:
    if report.unchanged:
        return f"{name} was there already, with the same readings: nothing changed."
    if report.revised:
        return f"{name} was there with other readings: yours now count, and the record is marked for review."
    return f"Added {name}."
