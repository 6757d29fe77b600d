"""The form for one unit's readings, in the order in which they are taken; each caution stands before its reading."""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import bench, words
from calib.app import fields, heaters_form, meters_form, parts
from calib.app.counted import Origin
from calib.app.fields import Fields
from calib.session import fields as measured, meters as metering, readings as r
from calib.session.steps.core import SCRAPLESS

if TYPE_CHECKING:
    import pandas as pd

LABELS = {
    "excitation_v": "Volts on the primary",
    "volts_read": "Volts read on the high-voltage winding",
    "no_load_read": "No-load volts of the high-voltage winding",
    "ohms_read": "Ohms read on the high-voltage winding",
    "winding_temp_c": "Temperature of the winding then",
    "rest_h": "Hours it has stood in that room (if known)",
    "line_voltage_v": "Line voltage of the primary",
    "line_frequency_hz": "Line frequency",
    "rectifier": "Rectifier",
    "filter": "Filter",
}
EMPTY = {"volts_across": r.WHOLE, "ohms_across": r.WHOLE, "voltage_by": r.RATIO_TEST, "winding_temp_c": 20.0}
EMPTY |= {"conductor": r.COPPER, "rectifier": "full-wave", "filter": "capacitor", "core_by": r.LIMBS}
EMPTY |= {"lamination": SCRAPLESS}
EMPTY |= {"voltmeter": metering.ORDINARY, "ohmmeter": metering.ORDINARY}
EMPTY |= {"volts_metered": metering.SAME_RANGE, "ohm_leads": metering.NULL_OFF}
# Numbers that are empty at the start.
NUMBERS = (
    *("excitation_v", "volts_read", "no_load_read", "ohms_read", "rest_h", "tongue", "stack", "area", "wire"),
    *("window_width", "window_height"),
    *("demand_ma", "u_voltage_pct", "u_resistance_pct", "null_ohm", "null_u_ohm", "temp_within_k", "heater_null"),
    *(f"heater_{kind}_{number}" for kind in r.LIMITS for number in range(1, r.MOST + 1)),
)
FILLED = "seen_filled_from"  # what the form was filled from, until it is cleared
STRANGER = "a bench that is not in the register"


def entries() -> dict[str, Any]:
    """What stands in the form now, by field."""
    found = fields.entries("read_")
    if found.get("contributor") == STRANGER:
        found["contributor"] = None
    found |= (st.session_state.get(FILLED) or {}).get("standing", {})
    filled = st.session_state.get("seen_filled") or {}
    found["simulated"] = bool(filled) and all(
        measured.shown(found.get(name)) == measured.shown(value) for name, value in filled.items()
    )
    return found


def filled(fields: Mapping[str, Any], source: str, standing: Mapping[str, str], session: str = "") -> dict[str, Any]:
    """What the form was filled from.

    Parameters
    ----------
    fields : mapping of str to object
        What was put into it, by field.
    source : str
        Where that came from, in words.
    standing : mapping of str to str
        What stands against the unit: the columns stop, stop_cleared and doubts.
    session : str
        The bench session that it came from; blank where from none.

    Returns
    -------
    dict
        To be kept under `FILLED`.
    """
    return {"fields": dict(fields), "source": source, "standing": dict(standing), "session": session}


def begin(known: pd.DataFrame, practising: bool) -> None:
    """Put the form's starting values in, where nothing was typed yet; the line is that of most known units.

    A visit that starts on the practice register starts with a practice unit, so that there is an answer to look at.
    """
    if practising and "read_tag" not in st.session_state and "seen_turn" not in st.session_state:
        _fill_in()
    for name, value in _start(known).items():
        st.session_state.setdefault(f"read_{name}", value)
    if st.session_state.get("read_contributor") not in set(known["contributor"]):
        st.session_state["read_contributor"] = STRANGER


def _start(known: pd.DataFrame) -> dict[str, Any]:
    start = dict(EMPTY)
    if len(known):
        for name in ("line_voltage_v", "line_frequency_hz"):
            start[name] = float(known[name].mode().iloc[0])
    return start


def origin(now: Mapping[str, Any], known: pd.DataFrame) -> Origin:
    """Where the form's entries came from."""
    put = st.session_state.get(FILLED) or {"fields": {}, "source": ""}
    return Origin(now, put["fields"], put["source"], _start(known))


def draw(opened: parts.Opened, understood: r.Understood, heaters: r.HeatersRead) -> None:
    """The form."""
    with st.container(horizontal=True, gap="small"):
        st.button("Fill in a practice unit", key="fill_in", on_click=_fill_in, help="The readings of a simulated unit.")
        st.button("Clear the readings", key="clear", on_click=_clear)
    now = entries()
    form = Fields("read_", understood.aloud, understood.unusual, understood.faults)
    with st.container():  # each part keeps its place, however much is said in the one before
        if now["simulated"]:
            st.html(f'<p class="calib-aloud">Simulated practice unit <b>{html.escape(now["tag"])}</b>.</p>')
    with st.container():
        st.subheader("Its voltage", anchor=False)
        st.radio("Known from", [r.RATIO_TEST, r.NO_LOAD], key="read_voltage_by")
        _voltage(form, now)
    with st.container():
        st.subheader("Its resistance", anchor=False)
        _resistance(form, now)
    st.subheader("What it is for", anchor=False)
    _number(form, "line_voltage_v", "V", "Nominal supply, such as 110, 117, 120, 220, 230 or 240.")
    _number(
        form,
        "line_frequency_hz",
        "Hz",
        "What it was designed for: 50 for a plate of 50/60. The line that it will run on moves nothing here.",
    )
    _supply()
    with st.expander("Sharpen it: core, wire, the set's demand"):
        _sharpen(opened.known, form, now)
    at_line = now.get("voltage_by") == r.NO_LOAD
    heaters_form.draw(heaters, now, at_line)
    meters_form.draw(form, now, opened.meters, not at_line)


def _voltage(form: Fields, now: dict[str, Any]) -> None:
    stopped, at_line = words.mark(now) == words.AGAINST["stop"], now.get("voltage_by") == r.NO_LOAD
    if stopped:
        parts.caution(
            "Feed it nothing, neither the line nor the few volts of a ratio test, until the stop is cleared: every "
            "winding comes alive in proportion to its turns."
        )
    elif at_line:
        parts.caution(
            "Reading it on a winding fed from the line is live high-voltage work, which can kill: not before the "
            "insulation test is passed and core and frame are bonded to protective earth. The maker's figure or a "
            "ratio test does as well."
        )
    else:
        alive = (
            "Every winding comes alive in proportion to its turns. Feed it from an isolated, current-limited source of "
            "mains frequency, never a heater winding; put the clips on before it is switched on; keep every winding "
            f"at or below {bench.HAZARDOUS_LIVE_V:g} V."
        )
        parts.cautions([alive, *map(words.plain, r.feed_advice(now))])
    if at_line:
        _number(form, "no_load_read", "V", "Rms volts at nominal line with nothing connected.")
        across("volts")
        return
    _number(form, "excitation_v", "V", "Rms volts at the primary's own leads, whichever winding you feed.")
    _number(form, "volts_read", "V", "Rms volts in the same test, whichever winding you feed; nothing else connected.")
    across("volts")
    warning = r.live_warning(now)
    if warning:
        st.error(warning)


def _resistance(form: Fields, now: dict[str, Any]) -> None:
    parts.caution(
        "Unplugged, capacitors discharged and proved dead, every lead of the winding free. The meter's current leaves "
        "a kick: hold the clips by their insulation when you take them off."
    )
    _number(form, "ohms_read", "ohm", "Dc resistance. It creeps while the current builds up: wait until it stands.")
    across("ohms")
    _number(form, "winding_temp_c", "°C", "Room temperature, if the unit has stood in that room for four hours.")
    _number(form, "rest_h", "h", "Since it last ran, or was brought in from elsewhere. Empty: long enough.")
    warning = r.rest_warning(now)
    if warning:
        st.warning(warning)
    st.radio(
        "Metal of its wire",
        list(r.METALS),
        format_func=r.METALS.__getitem__,
        key="read_conductor",
        horizontal=True,
        help="Aluminium is silvery where it is scraped and light in the hand; it is found from the 1960s on.",
    )


def _number(form: Fields, name: str, unit: str, help: str) -> None:
    form.number(name, LABELS[name], unit, help)


def across(what: str) -> None:
    """Whether a reading spans the whole winding or a half: the commonest slip."""
    st.radio("Read across", [r.WHOLE, r.HALF], key=f"read_{what}_across", horizontal=True)


def _supply() -> None:
    st.selectbox("Rectifier", list(words.RECTIFIERS), format_func=words.RECTIFIERS.__getitem__, key="read_rectifier")
    allowed = {"none": ["none"], "doubler": ["capacitor"]}.get(st.session_state["read_rectifier"], list(words.FILTERS))
    if st.session_state["read_filter"] not in allowed:
        st.session_state["read_filter"] = allowed[0]
    st.selectbox("Filter", allowed, format_func=words.FILTERS.__getitem__, key="read_filter")


def _sharpen(known: pd.DataFrame, form: Fields, now: dict[str, Any]) -> None:
    with st.container():  # what comes and goes here leaves the fields below in their place
        _core(form, now)
    form.number("wire", "Wire of the high-voltage winding", "wire", "Gauge or diameter without its enamel.")
    form.number("demand_ma", "The set's demand", "mA", "Direct current that the set draws from this winding.")
    benches = [STRANGER, *sorted(set(known["contributor"]))]
    fields.select("read_contributor", "Read by", benches, "A bench with known units has its own small bias.")
    st.text_input("Your tag for the unit", key="read_tag")


def _core(form: Fields, now: dict[str, Any]) -> None:
    st.radio("Core, if measured", r.CORE_WAYS, key="read_core_by", horizontal=True)
    if now.get("core_by") == r.AREA:
        form.number("area", "Core area", "cm²", "Gross area of the core that the coil sits on.")
        return
    form.number("tongue", "Tongue", "mm", "Width of the core's centre limb.")
    form.number("stack", "Stack", "mm", "Height of the stack of sheets.")
    shape = "Shape of the sheets"
    st.selectbox(shape, list(words.SHEETS), format_func=words.SHEETS.__getitem__, key="read_lamination")
    form.said("lamination", shape)
    if now.get("lamination") != SCRAPLESS:
        form.number("window_width", "Window width", "mm", "Of one window, from limb to limb.")
        form.number("window_height", "Window height", "mm", "Of one window, along the limb.")


def _clear() -> None:
    parts.forget("read_", "seen_filled")
    fields.empty("read_", (*NUMBERS, "tag"))


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
    put |= {"contributor": unit["contributor"], "conductor": unit["conductor"] or r.COPPER}
    put |= {f"{name}_unit": measured.symbols_of(kept)[0] for name, kept in r.KEPT_IN.items()}
    for name, meter in (("u_voltage_pct", "voltmeter"), ("u_resistance_pct", "ohmmeter")):
        if unit[name] is not None:
            put |= {name: unit[name], meter: metering.STATED}
    if unit["tongue_mm"] is not None:
        put |= {"tongue": unit["tongue_mm"], "stack": unit["stack_mm"]}
    elif unit["core_area_cm2"] is not None:
        put |= {"core_by": r.AREA, "area": unit["core_area_cm2"]}
    if unit["wire_diameter_mm"] is not None:
        put |= {"wire_unit": measured.MM, "wire": unit["wire_diameter_mm"]}
    elif unit["awg"] is not None:
        put |= {"wire_unit": measured.AWG, "wire": unit["awg"]}
    for name, value in put.items():
        st.session_state[f"read_{name}"] = value
    proof = ("excitation_v", "volts_read", "no_load_read", "ohms_read")
    st.session_state["seen_filled"] = {name: put[name] for name in proof}
    against = {name: unit[name] or "" for name in r.STANDING}
    st.session_state[FILLED] = filled(put, f"practice unit {unit['unit']}", against)


def _entry(value: Any) -> Any:
    """A cell as the form holds it: None where blank."""
    return None if value == "" or value != value else value
