"""The form for one unit's readings, in the order in which they are taken; each caution stands before its reading."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import bench
from calib.show import parts, words
from calib.show import readings as r

if TYPE_CHECKING:
    import pandas as pd

LABELS = {
    "excitation_v": "Volts put on the primary",
    "volts_read": "Volts read on the high-voltage winding",
    "no_load_read": "No-load volts of the high-voltage winding",
    "ohms_read": "Ohms read on the high-voltage winding",
    "winding_temp_c": "Temperature of the winding then",
    "line_voltage_v": "Line voltage of the primary",
    "line_frequency_hz": "Line frequency",
    "rectifier": "Rectifier",
    "filter": "Filter",
}
EMPTY = {"volts_across": r.WHOLE, "ohms_across": r.WHOLE, "voltage_by": r.RATIO_TEST, "winding_temp_c": 20.0}
EMPTY |= {"rectifier": "full-wave", "filter": "capacitor", "core_by": r.NOT_MEASURED, "wire_by": r.NOT_MEASURED}
STRANGER = "a bench that is not in the register"


def entries() -> dict[str, Any]:
    """What stands in the form now, by field."""
    found = {key.removeprefix("read_"): value for key, value in _state().items() if key.startswith("read_")}
    if found.get("contributor") == STRANGER:
        found["contributor"] = None
    filled = _state().get("seen_filled") or {}
    found["simulated"] = bool(filled) and all(found.get(name) == value for name, value in filled.items())
    return found


def begin(known: pd.DataFrame, practising: bool) -> None:
    """Put the form's starting values in, where nothing was typed yet; the line is that of most known units.

    A visit that starts on the practice register starts with a practice unit, so that there is an answer to look at.
    """
    if practising and "read_tag" not in st.session_state and "seen_turn" not in st.session_state:
        _fill_in()
    start = dict(EMPTY)
    if len(known):
        for name in ("line_voltage_v", "line_frequency_hz"):
            start[name] = float(known[name].mode().iloc[0])
    for name, value in start.items():
        st.session_state.setdefault(f"read_{name}", value)


def draw(known: pd.DataFrame, understood: r.Understood) -> None:
    """The form."""
    with st.container(horizontal=True, gap="small"):
        st.button("Fill in a practice unit", key="fill_in", on_click=_fill_in, help="The readings of a simulated unit.")
        st.button("Clear the readings", key="clear", on_click=_clear)
    now = entries()
    if now["simulated"]:
        st.html(f'<p class="calib-aloud">Simulated practice unit <b>{html.escape(now["tag"])}</b>.</p>')
    st.subheader("Its voltage", anchor=False)
    st.radio("Known from", [r.RATIO_TEST, r.NO_LOAD], key="read_voltage_by")
    _voltage(understood, now)
    st.subheader("Its resistance", anchor=False)
    parts.caution(
        "Unplugged, capacitors discharged and proved dead, every lead of the winding free. The meter's current leaves "
        "a kick: hold the clips by their insulation when you take them off."
    )
    number(
        "ohms_read", "Ω", understood, "Dc resistance, less that of the meter's leads. Wait until the reading settles."
    )
    across("ohms")
    number("winding_temp_c", "°C", understood, "Room temperature, if the unit has stood in that room for four hours.")
    st.subheader("What it is for", anchor=False)
    number("line_voltage_v", "V", understood, "Nominal supply, such as 110, 117, 120, 220, 230 or 240.")
    number("line_frequency_hz", "Hz", understood, "Nominal: 50 or 60.")
    _supply()
    with st.expander("Sharpen it: core, wire, meters, the set's demand"):
        _sharpen(known, understood, now)


def _voltage(understood: r.Understood, now: dict[str, Any]) -> None:
    if now.get("voltage_by") == r.NO_LOAD:
        parts.caution(
            "Reading it on a winding fed from the line is live high-voltage work, which can kill. The maker's figure "
            "or a ratio test does as well."
        )
        number("no_load_read", "V", understood, "Rms volts at nominal line with nothing connected.")
        across("volts")
        return
    parts.caution(
        f"Every winding comes alive in proportion to its turns. Feed the primary, never a heater winding, from an "
        f"isolated, current-limited source of mains frequency; put the clips on before it is switched on; keep every "
        f"winding at or below {bench.HAZARDOUS_LIVE_V:g} V."
    )
    number("excitation_v", "V", understood, "Rms volts at the primary's own leads, 3 to 15 % of its line voltage.")
    number("volts_read", "V", understood, "Rms volts, nothing else connected.")
    across("volts")
    warning = r.live_warning(now)
    if warning:
        st.error(warning)


def number(field: str, unit: str, understood: r.Understood, help: str, label: str = "") -> None:
    """One number with its unit beside it, what it was converted to, and what is wrong with it, if anything."""
    label = label or LABELS[field]
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        st.number_input(label, value=None, format="%.10g", key=f"read_{field}", help=help, width="stretch")
        st.html(f'<div class="calib-unit">{unit}</div>', width="content")
    if field in understood.aloud:
        st.html(f'<p class="calib-aloud">{html.escape(understood.aloud[field])}</p>')
    if field in understood.faults:
        st.error(words.plain(f"{label}: {understood.faults[field]}"))


def across(what: str) -> None:
    """Whether a reading spans the whole winding or a half: the commonest slip."""
    st.radio("Read across", [r.WHOLE, r.HALF], key=f"read_{what}_across", horizontal=True)


def _supply() -> None:
    st.selectbox("Rectifier", list(words.RECTIFIERS), format_func=words.RECTIFIERS.__getitem__, key="read_rectifier")
    allowed = {"none": ["none"], "doubler": ["capacitor"]}.get(st.session_state["read_rectifier"], list(words.FILTERS))
    if st.session_state["read_filter"] not in allowed:
        st.session_state["read_filter"] = allowed[0]
    st.selectbox("Filter", allowed, format_func=words.FILTERS.__getitem__, key="read_filter")


def _sharpen(known: pd.DataFrame, understood: r.Understood, now: dict[str, Any]) -> None:
    st.selectbox("Core", r.CORE_WAYS, key="read_core_by")
    way = now.get("core_by")
    if way in (r.TONGUE_MM, r.TONGUE_INCH):
        unit = "in" if way == r.TONGUE_INCH else "mm"
        number("tongue", unit, understood, "Width of the core's centre limb.", "Tongue")
        number("stack", unit, understood, "Height of the stack of sheets.", "Stack")
    elif way == r.AREA:
        number("area", "cm²", understood, "Gross area of the core that the coil sits on.", "Core area")
    st.selectbox("Wire of the high-voltage winding", r.WIRE_WAYS, key="read_wire_by")
    gauge = {r.AWG: "AWG", r.SWG: "SWG", r.BARE: "mm"}.get(now.get("wire_by", ""))
    if gauge:
        number("wire", gauge, understood, "Without its enamel, which is 5 to 15 % of a fine wire.", "Size of the wire")
    help = "Standard uncertainty: about 0.6 of a ± accuracy. Empty: an ordinary hand meter."
    number("u_voltage_pct", "%", understood, help, "Uncertainty of the no-load voltage")
    number("u_resistance_pct", "%", understood, help, "Uncertainty of the resistance")
    number("demand_ma", "mA", understood, "Direct current that the set draws from this winding.", "The set's demand")
    benches = [STRANGER, *sorted(set(known["contributor"]))]
    if st.session_state.get("read_contributor") not in benches:
        st.session_state["read_contributor"] = STRANGER
    st.selectbox("Read by", benches, key="read_contributor", help="A bench with known units has its own small bias.")
    st.text_input("Your tag for the unit", key="read_tag")


def _state() -> dict[str, Any]:
    return {key: st.session_state[key] for key in list(st.session_state) if isinstance(key, str)}


def _clear() -> None:
    parts.forget("read_", "seen_filled")


def _fill_in() -> None:
    """Put the readings of the next practice unit into the form."""
    units = calib.read_unknown(calib.shipped("datasets/practice/unknown.csv"))
    turn = st.session_state.get("seen_turn", 0)
    st.session_state["seen_turn"] = turn + 1
    unit = {name: _entry(value) for name, value in units.iloc[turn % len(units)].to_dict().items()}
    _clear()
    put = EMPTY | {
        "voltage_by": r.NO_LOAD if unit["hv_v"] is None else r.RATIO_TEST,
        "volts_read": unit["hv_v"],
        "no_load_read": unit["no_load_v"],
        "ohms_read": unit["hv_resistance_ohm"],
        "tag": unit["unit"],
    }
    put |= {name: unit[name] for name in (*r.PLAIN, "excitation_v")}
    put["contributor"] = STRANGER
    if unit["tongue_mm"] is not None:
        put |= {"core_by": r.TONGUE_MM, "tongue": unit["tongue_mm"], "stack": unit["stack_mm"]}
    elif unit["core_area_cm2"] is not None:
        put |= {"core_by": r.AREA, "area": unit["core_area_cm2"]}
    if unit["wire_diameter_mm"] is not None:
        put |= {"wire_by": r.BARE, "wire": unit["wire_diameter_mm"]}
    elif unit["awg"] is not None:
        put |= {"wire_by": r.AWG, "wire": unit["awg"]}
    for name, value in put.items():
        st.session_state[f"read_{name}"] = value
    proof = ("excitation_v", "volts_read", "no_load_read", "ohms_read")
    st.session_state["seen_filled"] = {name: put[name] for name in proof}


def _entry(value: Any) -> Any:
    """A cell as the form holds it: None where blank."""
    return None if value == "" or value != value else value
