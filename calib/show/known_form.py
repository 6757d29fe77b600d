"""The form that adds a known unit: a field for each of the record's, with the record's own labels, units and help."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib.show import parts, words

if TYPE_CHECKING:
    from calib.register.facts import FieldFacts

VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
STAYS = ("contributor", "rectifier", "filter", "line_voltage_v", "line_frequency_hz", "recorded_on", "winding_temp_c")
UNITS = {"ohm": "Ω"}
NEVER_ASKED = ("simulated",)


def draw() -> None:
    """The form; what was wrong with the last attempt stands beside its field, and nothing typed is lost."""
    done = st.session_state.pop("seen_added", "")
    if done:
        st.success(words.plain(done))
    facts = [one for one in calib.fields(calib.KnownUnit) if one.name not in NEVER_ASKED]
    first = [one for one in facts if one.needed or one.name in VOLTAGES]
    with st.form("add_a_known_unit", enter_to_submit=False, border=True):
        st.write(
            "Readings are over the whole winding. Of the voltage: either both of a ratio test, or the no-load volts."
        )
        _grid(first)
        with st.expander("If you have it: core, wire, meters, notes"):
            _grid([one for one in facts if one not in first])
        st.form_submit_button("Add this unit", key="submit_unit", type="primary", on_click=_add)
    trouble = st.session_state.get("seen_add_trouble", "")
    if trouble:
        st.error(words.plain(trouble))


def _grid(facts: list[FieldFacts]) -> None:
    left, right = st.columns(2, gap="medium")
    half = (len(facts) + 1) // 2
    for place, one in enumerate(facts):
        with left if place < half else right:
            _field(one)


def _field(facts: FieldFacts) -> None:
    label = facts.label if facts.needed or facts.name in VOLTAGES else f"{facts.label} (if known)"
    help = " ".join(part for part in (facts.help, f"Allowed: {facts.limits}." if facts.limits else "") if part)
    key = f"add_{facts.name}"
    if facts.kind == "number":
        with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
            st.number_input(label, value=None, format="%.10g", key=key, help=help, width="stretch")
            st.html(f'<div class="calib-unit">{UNITS.get(facts.unit, facts.unit)}</div>', width="content")
    elif facts.kind in ("choice", "flag"):
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
    fault = st.session_state.get("seen_add_faults", {}).get(facts.name)
    if fault:
        st.error(words.plain(f"{facts.label}: {fault}"))


def _add() -> None:
    """Add what stands in the form to the open register, or keep what is wrong with it for the form to show."""
    typed = {str(key)[4:]: value for key, value in st.session_state.items() if str(key).startswith("add_")}
    st.session_state["seen_add_faults"] = {}
    st.session_state["seen_add_trouble"] = ""
    try:
        with parts.register() as register:
            if register.is_simulated:
                typed["simulated"] = "true"
            record = calib.KnownUnit.parse(typed, where="the form")
            report = register.add(record, by=record.contributor)
    except calib.InputError as error:
        _keep(error)
    except calib.CannotError as error:
        st.session_state["seen_add_trouble"] = f"Not added: {error}."
    else:
        st.session_state["seen_added"] = _outcome(report, f"{record.unit} of {record.contributor}")
        parts.forget(*(f"add_{name}" for name in typed if name not in STAYS))


def _outcome(report: Any, name: str) -> str:
    if report.unchanged:
        return f"{name} was there already, with the same readings: nothing changed."
    if report.revised:
        return f"{name} was there with other readings: yours now count, and the record is marked for review."
    return f"Added {name}."


def _keep(error: calib.InputError) -> None:
    shown = {one.name for one in calib.fields(calib.KnownUnit)} - set(NEVER_ASKED)
    st.session_state["seen_add_faults"] = {
        fault.column: _told(fault) for fault in error.faults if fault.column in shown
    }
    others = [str(fault) for fault in error.faults if fault.column not in shown]
    number = words.count(len(error.faults), "thing")
    st.session_state["seen_add_trouble"] = " ".join([f"Not added: {number} to mend above.", *others])


def _told(fault: Any) -> str:
    value = f"{fault.value}: " if fault.value else "empty: "
    return f"{value}{fault.problem}; {fault.remedy}."
