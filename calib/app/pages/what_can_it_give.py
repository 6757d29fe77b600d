"""The home page: one unit's readings, in the order in which they are taken, and what it can give.

Each caution stands before the reading that it belongs to.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import bench, words
from calib.app import answer, context, files, forms, session_state
from calib.app.forms import Form
from calib.session import fields as measured, readings as r
from calib.session.protocol import BY_NAME
from calib.session.repair import HOME, Repair, repair_of
from calib.session.steps.core import SCRAPLESS

if TYPE_CHECKING:
    import pandas as pd

SAID, CAUTION, SAYS = (context.SAID[part] for part in ("choices", "caution", "answer"))
HEATERS = SAID["heaters"] | {
    code: words.count(number, "heater winding") for number, code in enumerate(r.COUNTS[2:], start=1)
}
START: dict[str, Any] = context.SAID["start"]
# Numbers that are empty at the start.
NUMBERS = {*forms.UNIT_FIELDS, *forms.METER_FIELDS, "heater_null"}
NUMBERS -= {"winding_temp_c", "line_voltage_v", "line_frequency_hz"}
NUMBERS |= {f"heater_{kind}_{number}" for kind in r.LIMITS for number in range(1, r.MOST + 1)}
# Columns of a practice unit that go into the form as they are: those that tell it from a unit of one's own, its core.
PROOF = ("excitation_v", "hv_v", "no_load_v", "hv_resistance_ohm")
CORE = ("tongue_mm", "stack_mm", "core_area_cm2")
STRANGER = "a bench that is not in the register"


def draw() -> None:
    """Readings on the left, the answer on the right; on a phone the one below the other."""
    opened = context.opened_register()
    context.head("What can it give?", opened)
    _begin(opened)
    now = unit_entries()
    understood = r.understand(now, opened.meters)
    heaters = r.heaters_of(now, now.get("voltage_by") == r.NO_LOAD)
    with st.container():
        _standing()
    left, right = st.columns([5, 7], gap="large")
    with left:
        _form(opened, now, understood, heaters)
    with right:
        put = st.session_state.get(context.FILLED) or {"fields": {}, "source": ""}
        origin = answer.Origin(now, put["fields"], put["source"], _start(opened.known))
        _answer(opened, understood, heaters, origin)


def _answer(opened: context.Opened, understood: r.Understood, heaters: r.HeatersRead, origin: answer.Origin) -> None:
    st.header("The answer", anchor=False)
    with st.container():
        answer.made(HOME, origin.entries, _put)
    if understood.faults:
        st.write("There is something to mend among the readings: it is said beside the field.")
    if understood.missing:
        labels = [forms.LABELS.get(name, name).lower() for name in understood.missing]
        alone = "" if origin.entries.get("wire") else f" {SAYS['wire_alone']}"
        st.write(f"Still needed for a first answer: {', '.join(labels)}.{alone}")
    if understood.unit is None:
        return
    try:
        model = context.model_of(opened)
        estimate = context.estimate_of(model, understood.record, heaters.windings)
    except calib.CannotError as error:
        st.error(words.plain(f"No estimate could be made: {error}."))
        return
    frame, slip = understood.unit, str(estimate.answer["likely_slip"].iloc[0])
    unit = frame.iloc[0].to_dict()

    def mend() -> None:
        repair = repair_of(slip, origin.entries)
        right = r.understand({**origin.entries, **repair.after}, opened.meters).unit if repair else None
        answer.offer_repair(model, frame, slip, answer.Mending(repair, right, _put))

    answer.draw(estimate, unit, context.account(understood.metered), answer.counted(unit, origin), mend)
    session_state.keep_estimate(opened, model, understood.record, estimate)
    if understood.record is not None:
        files.print_of_estimate("sheet", opened, model, (understood.record, estimate, understood.metered))


def _put(repair: Repair, fields: Mapping[str, Any]) -> None:
    """Put a repair's entries into the form, or take them back; a practice unit's readings stay a practice unit's."""
    proof = st.session_state.get("seen_filled") or {}
    if unit_entries()["simulated"]:
        st.session_state["seen_filled"] = proof | {name: fields[name] for name in fields if name in proof}
    for name, value in fields.items():
        st.session_state[f"read_{name}"] = value


def _standing() -> None:
    """What stands against the unit, before all else, on a phone too, and where it is cleared."""
    filled = st.session_state.get(context.FILLED)
    cleared = (filled or {}).get("doubts_cleared", ())
    if filled is None or not (cleared or any(filled["standing"].values())):
        return
    came = f"It came with the readings of {filled['source']}. "
    way_out = f"{came}Clear it there, with the reason; 'Clear the readings' begins another unit."
    st.html(context.drawn(filled["standing"], way_out) + context.cleared("A doubt was cleared", cleared))
    if filled["session"]:
        st.page_link(Path(__file__).with_name("what_do_the_meters_say.py"), label="To the bench session")


def unit_entries() -> dict[str, Any]:
    """What stands in the form now, by field."""
    found = forms.entries("read_")
    if found.get("contributor") == STRANGER:
        found["contributor"] = None
    found |= (st.session_state.get(context.FILLED) or {}).get("standing", {})
    proof = st.session_state.get("seen_filled") or {}
    found["simulated"] = bool(proof) and all(
        measured.shown(found.get(name)) == measured.shown(value) for name, value in proof.items()
    )
    return found


def _begin(opened: context.Opened) -> None:
    """Put the form's starting values in, where nothing was typed yet; the line is that of most known units.

    A visit that starts on the practice register starts with a practice unit, so that there is an answer to look at.
    """
    if opened.simulated and "read_tag" not in st.session_state and "seen_turn" not in st.session_state:
        _fill_in()
    for name, value in _start(opened.known).items():
        st.session_state.setdefault(f"read_{name}", value)
    if st.session_state.get("read_contributor") not in set(opened.known["contributor"]):
        st.session_state["read_contributor"] = STRANGER


def _start(known: pd.DataFrame) -> dict[str, Any]:
    lines = ("line_voltage_v", "line_frequency_hz") if len(known) else ()
    return START | {name: float(known[name].mode().iloc[0]) for name in lines}


def _form(opened: context.Opened, now: dict[str, Any], understood: r.Understood, heaters: r.HeatersRead) -> None:
    """The form; each part keeps its place, however much is said in the one before."""
    with st.container(horizontal=True, gap="small"):
        st.button("Fill in a practice unit", key="fill_in", on_click=_fill_in, help="The readings of a simulated unit.")
        st.button("Clear the readings", key="clear", on_click=_clear)
    form = Form.over("read_", forms.UNIT_FIELDS, understood)
    at_line = now.get("voltage_by") == r.NO_LOAD
    with st.container():
        if now["simulated"]:
            st.html(f'<p class="calib-aloud">Simulated practice unit <b>{html.escape(now["tag"])}</b>.</p>')
    with st.container():
        st.subheader("Its voltage", anchor=False)
        forms.pick("read_voltage_by", "Known from", SAID["voltage_by"])
        _voltage(form, now, at_line)
    with st.container():
        st.subheader("Its resistance", anchor=False)
        _resistance(form, now)
    with st.container():
        st.subheader("Its wire", anchor=False)
        context.cautions([words.plain(text) for text in BY_NAME["wire"].cautions])
        form.ask("wire")
    st.subheader("What it is for", anchor=False)
    form.ask("line_voltage_v", "line_frequency_hz")
    forms.supply("read_")
    with st.expander("Sharpen it: core, halves, primary, weight, the set's demand"):
        with st.container():  # what comes and goes here leaves the fields below in their place
            _core(form, now)
        form.ask("hv_half_1_ohm", "hv_half_2_ohm", "primary_resistance_ohm", "weight_kg", "demand_ma")
        benches = [STRANGER, *sorted(set(opened.known["contributor"]))]
        forms.select("read_contributor", "Read by", benches, "A bench with known units has its own small bias.")
        st.text_input("Your tag for the unit", key="read_tag")
    _heaters(Form("read_", heaters.aloud, {}, heaters.faults), now, at_line)
    forms.meters(form, now, opened.meters, not at_line)


def _voltage(form: Form, now: dict[str, Any], at_line: bool) -> None:
    if words.mark(now) == words.AGAINST["stop"]:
        context.caution(CAUTION["stopped"])
    elif at_line:
        context.caution(CAUTION["at_line"])
    else:
        alive = CAUTION["alive"].format(limit=bench.HAZARDOUS_LIVE_V)
        context.cautions([alive, *map(words.plain, r.feed_advice(now))])
    form.ask(*(["no_load_read"] if at_line else ["excitation_v", "volts_read"]))
    forms.pick("read_volts_across", "Read across", SAID["across"], row=True)
    if warning := r.live_warning(now):
        st.error(warning)


def _resistance(form: Form, now: dict[str, Any]) -> None:
    context.caution(CAUTION["resistance"])
    form.ask("ohms_read")
    forms.pick("read_ohms_across", "Read across", SAID["across"], row=True)
    form.ask("winding_temp_c", "rest_h")
    if warning := r.rest_warning(now):
        st.warning(warning)
    help = "Aluminium is silvery where it is scraped and light in the hand; it is found from the 1960s on."
    forms.pick("read_conductor", "Metal of its wire", r.METALS, help, row=True)


def _core(form: Form, now: dict[str, Any]) -> None:
    forms.pick("read_core_by", "Core, if measured", SAID["core_by"], row=True)
    if now.get("core_by") == r.AREA:
        form.ask("area")
        return
    form.ask("tongue", "stack")
    shape = "Shape of the sheets"
    forms.select("read_lamination", shape, list(words.SHEETS), names=words.SHEETS)
    form.said("lamination", shape)
    if now.get("lamination") != SCRAPLESS:
        form.ask("window_width", "window_height")


def _heaters(form: Form, now: Mapping[str, Any], at_line: bool) -> None:
    """The heater windings: what is read on each, and what its valves draw; as many as are said to be there."""
    with st.expander("Heater windings: their current, and what they leave of the core"):
        forms.select("read_heaters", "Heater windings", r.COUNTS, names=HEATERS)
        count = r.count_of(now) or 0
        if not count:
            st.write("Say how many there are, or that there are none: the core's volt-amperes then speak as well.")
            return
        context.caution(CAUTION["heaters"])
        forms.select("read_heater_leads", "Their resistance was read by", r.WAYS, names=SAID["heater_leads"])
        if now.get("heater_leads") == r.TWO_LEADS:
            form.number(
                "heater_null", "What the test leads read alone", "Ω", "Clips joined; it comes off each reading."
            )
        volts = "No-load volts" if at_line else "Volts in the same ratio test"
        for number in range(1, count + 1):
            st.markdown(f"**Heater {number}**")
            form.number(f"heater_v_{number}", f"{volts}, heater {number}", "V", "Rms, nothing connected.")
            form.number(
                f"heater_ohm_{number}", f"Ohms of heater {number}", "Ω", "A few hundredths of an ohm are usual."
            )
            form.number(
                f"heater_a_{number}", f"Its valves draw, heater {number} (if known)", "A", "Sum of the data sheets."
            )


def _clear() -> None:
    context.forget("read_", "seen_filled")
    forms.empty("read_", (*NUMBERS, "tag"))


def _fill_in() -> None:
    """Put the readings of the next practice unit into the form."""
    units = calib.read_unknown(calib.shipped("datasets/practice/unknown.csv"))
    turn = st.session_state.get("seen_turn", 0)
    st.session_state["seen_turn"] = turn + 1
    row = {str(name): value for name, value in units.iloc[turn % len(units)].items()}
    take_up(row, f"practice unit {row['unit']}")


def take_up(
    row: Mapping[str, Any], source: str, session: str = "", heaters: Sequence[calib.HeaterReading] = ()
) -> None:
    """Put a unit's readings into the form in the place of those that stand there, with all that stands against it.

    Parameters
    ----------
    row : mapping of str to object
        Its columns, as `calib.read_unknown` gives them.
    source : str
        Where they come from, in words.
    session : str
        The bench session that they came from; blank where from none.
    heaters : sequence of calib.HeaterReading
        The unit's heater windings.
    """
    _clear()
    own = {f"{name}_unit": measured.symbols_of(kept)[0] for name, kept in r.KEPT_IN.items() if name != "wire"}
    put = {**START, **own, **r.entries_of(row, heaters)}
    for name, value in put.items():
        st.session_state[f"read_{name}"] = value
    if row.get("simulated"):
        fields = (r.FIELD_OF.get(name, name) for name in PROOF)
        st.session_state["seen_filled"] = {field: put.get(field) for field in fields}
    against = {name: row[name] for name in r.STANDING}
    st.session_state[context.FILLED] = context.filled(put, source, against, session)


if __name__ == "__main__":
    draw()
