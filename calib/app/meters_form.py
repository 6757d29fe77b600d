"""Which meters a unit was read on, and the list of the user's own."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

import calib
from calib import bench, words
from calib.app import fields, parts
from calib.app.fields import Fields
from calib.session import fields as measured, meters as m

NAMES = {"volt": "volts", "ohm": "ohms"}
SYMBOLS = {"volt": "V", "ohm": "Ω"}
DIGITS = 1000  # a reading of so many steps of its last digit shows what a meter's figures amount to
TITLE = "Your meters: how sure the readings are"


def draw(form: Fields, now: Mapping[str, Any], meters: Sequence[calib.Meter], ratio: bool) -> None:
    """Choose the meters of a unit's readings; add to the list, and take off it."""
    with st.expander(TITLE):
        _voltages(form, now, [one.label for one in meters if one.reads == "volt"], ratio)
        _resistance(form, now, [one.label for one in meters if one.reads == "ohm"])
        st.markdown("**Your own meters**")
        _list(meters)
        _add()


def _voltages(form: Fields, now: Mapping[str, Any], own: list[str], ratio: bool) -> None:
    key = f"{form.prefix}voltmeter"
    fields.select(key, "Voltages read on" if ratio else "No-load voltage read on", [m.ORDINARY, *own, m.STATED])
    chosen = st.session_state[key]
    if chosen == m.STATED:
        label = "Standard uncertainty of the no-load voltage"
        form.number("u_voltage_pct", label, "%", "About 0.6 of a ± accuracy. Empty: an ordinary digital meter.")
    elif chosen != m.ORDINARY and ratio:
        st.radio(
            "The two voltages were read on",
            list(m.CORRELATION),
            key=f"{form.prefix}volts_metered",
            help="On one meter and one range its error of scale is in both voltages, and cancels in their ratio.",
        )
        if now.get("volts_metered") in (m.OTHER_RANGE, m.TWO_METERS):
            fields.select(f"{form.prefix}second_voltmeter", "The high-voltage winding's volts read on", own)
    form.said("voltmeter", "Voltages")


def _resistance(form: Fields, now: Mapping[str, Any], own: list[str]) -> None:
    key = f"{form.prefix}ohmmeter"
    fields.select(key, "Resistance read on", [m.ORDINARY, *own, m.STATED])
    chosen = st.session_state[key]
    if chosen == m.STATED:
        label = "Standard uncertainty of the resistance"
        form.number("u_resistance_pct", label, "%", "About 0.6 of a ± accuracy. Empty: an ordinary digital meter.")
    st.radio("The ohms entered are", m.LEADS, key=f"{form.prefix}ohm_leads")
    leads = now.get("ohm_leads")
    if leads == m.NULL:
        form.number("null_ohm", "Ohms with the clips joined", "Ω", "At the same clip points, on the same range.")
    named = chosen not in (m.ORDINARY, m.STATED)
    if named and leads != m.FOUR_WIRE:
        usual = f"{bench.LEAD_NULL_U_OHM:g}"
        form.number("null_u_ohm", "That null is good to ±", "Ω", "How far it wanders when repeated.", usual)
    if named:
        usual = f"{bench.WINDING_TEMP_HALF_WIDTH_K:g}"
        form.number("temp_within_k", "The winding's temperature is known within ±", "K", "Half its range.", usual)
    form.said("ohmmeter", "Resistance")


def _list(meters: Sequence[calib.Meter]) -> None:
    if not meters:
        st.write("None on the list yet. Copy each range's figures from the meter's data.")
    for place, one in enumerate(meters):
        figures = f"±({one.percent:g} % + {one.counts:g} × {one.resolution:g} {SYMBOLS[one.reads]})"
        with st.container(horizontal=True, vertical_alignment="center", gap="small", key=f"meter_row_{place}"):
            st.html(
                f'<b>{html.escape(one.label)}</b>, {NAMES[one.reads]}: <span class="calib-whole">{figures}</span>',
                width="stretch",
            )
            name = words.plain(f"Take {one.label} ({NAMES[one.reads]}) off the list")
            st.button("Remove", key=f"drop_meter_{place}", help=name, on_click=_drop, args=(one,))


def _add() -> None:
    """Add a range of a meter; what is wrong stands beside its field."""
    done = st.session_state.pop("seen_meter_kept", "")
    if done:
        st.success(words.plain(done))
    if not st.toggle("Put a meter on the list", key="meter_open"):
        return
    now = fields.entries("meter_")
    faults = _faults(now) if st.session_state.get("seen_meter_tried") else _typed_wrong(now)
    form = Fields("meter_", _aloud(now), {}, faults)
    facts = {one.name: one for one in calib.meter_fields()}
    st.text_input(facts["name"].label, key="meter_name", help=facts["name"].help)
    form.said("name", facts["name"].label)
    st.radio(facts["reads"].label, list(NAMES), format_func=NAMES.__getitem__, key="meter_reads", horizontal=True)
    st.text_input(facts["range_label"].label, key="meter_range_label", help=facts["range_label"].help)
    form.said("range_label", facts["range_label"].label)
    symbol = SYMBOLS[st.session_state["meter_reads"]]
    for name, unit in (("percent", "%"), ("counts", ""), ("resolution", symbol)):
        help = f"{facts[name].help} Allowed: {facts[name].limits}."
        form.number(name, facts[name].label, unit, help)
    st.caption(
        "A pointer meter: 0 % of reading; as the last digit a hundredth of full scale; as counts its % of full scale."
    )
    st.button("Keep this meter", key="keep_meter", on_click=_keep)


def _aloud(now: Mapping[str, Any]) -> dict[str, str]:
    """What was understood, and what the figures amount to at a reading of a thousand steps."""
    aloud = _numbers(now).aloud
    try:
        meter = calib.Meter.parse(_own(now) | {"name": now.get("name") or "this meter"})
    except calib.InputError:
        return aloud
    reading = DIGITS * meter.resolution
    limit, symbol = float(bench.half_width(reading, meter.accuracy)), SYMBOLS[meter.reads]
    said = f"A reading of {reading:.6g} {symbol} is then good to ± {limit:.2g} {symbol}."
    return aloud | {"resolution": f"{aloud.get('resolution', '')} {said}".strip()}


def _numbers(now: Mapping[str, Any]) -> measured.Numbers:
    """The figures, read as they were typed."""
    facts = [one for one in calib.meter_fields() if one.kind == "number"]
    units = {one.name: one.unit for one in facts} | {"resolution": SYMBOLS.get(str(now.get("reads")), "V")}
    return measured.read(now, units, {one.name: one.usual for one in facts})


def _own(now: Mapping[str, Any]) -> dict[str, Any]:
    kept = _numbers(now).kept
    return {one.name: kept.get(one.name) for one in calib.meter_fields()}


def _faults(now: Mapping[str, Any]) -> dict[str, str]:
    wrong = _numbers(now).faults
    try:
        calib.Meter.parse(_own(now))
    except calib.InputError as error:
        return {one.column: f"{one.value or 'empty'}: {one.problem}; {one.remedy}." for one in error.faults} | wrong
    return wrong


def _typed_wrong(now: Mapping[str, Any]) -> dict[str, str]:
    """The faults of what is filled in; what is still empty is not blamed before the first attempt."""
    return {name: said for name, said in _faults(now).items() if not said.startswith("empty: ")}


def _keep() -> None:
    now = fields.entries("meter_")
    st.session_state["seen_meter_tried"] = True
    if _numbers(now).faults:
        return
    try:
        meter = calib.Meter.parse(_own(now), where="the form")
        with parts.register() as register:
            new = register.keep_meter(meter)
    except calib.InputError:
        return
    except calib.CannotError as error:
        st.session_state["seen_meter_kept"] = f"Not kept: {error}."
        return
    st.session_state["seen_meter_tried"] = False
    name = f"{meter.label} ({NAMES[meter.reads]})"
    st.session_state["seen_meter_kept"] = f"{name} is on the list." if new else f"{name} was on the list already."
    fields.empty("meter_", ["percent", "counts", "resolution", "range_label"])


def _drop(meter: calib.Meter) -> None:
    try:
        with parts.register() as register:
            register.drop_meter(meter.name, meter.reads, meter.range_label)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state["seen_meter_kept"] = f"Not taken off: {error}."
    else:
        st.session_state["seen_meter_kept"] = f"{meter.label} ({NAMES[meter.reads]}) is off the list."
