"""The home page: the readings of one unit, and what it can give."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

import calib
from calib import words
from calib.app import answer, parts, readings_form, standing
from calib.app.account import account
from calib.app.counted import Origin, counted
from calib.session import readings


def draw() -> None:
    """Readings on the left, the answer on the right; on a phone the one below the other."""
    opened = parts.opened_register()
    parts.head("What can it give?", opened)
    readings_form.begin(opened.known, opened.simulated)
    entries = readings_form.entries()
    understood = readings.understand(entries, opened.meters)
    heaters = readings.heaters_of(entries, entries.get("voltage_by") == readings.NO_LOAD)
    with st.container():
        _standing()
    left, right = st.columns([5, 7], gap="large")
    with left:
        readings_form.draw(opened, understood, heaters)
    with right:
        _answer(opened, understood, heaters, readings_form.origin(entries, opened.known))


def _answer(
    opened: parts.Opened, understood: readings.Understood, heaters: readings.HeatersRead, origin: Origin
) -> None:
    st.header("The answer", anchor=False)
    if understood.faults:
        st.write("There is something to mend among the readings: it is said beside the field.")
    if understood.missing:
        labels = [readings_form.LABELS.get(name, name).lower() for name in understood.missing]
        st.write(f"Still needed for a first answer: {', '.join(labels)}.")
    if understood.unit is None:
        return
    try:
        model = parts.model_of(opened)
        estimate = calib.estimate_unit(model, understood.unit, level=parts.LEVEL, heaters=heaters.windings)
    except calib.CannotError as error:
        st.error(words.plain(f"No estimate could be made: {error}."))
        return
    unit = understood.unit.iloc[0].to_dict()
    answer.draw(estimate, unit, account(understood.metered), counted(unit, origin))


def _standing() -> None:
    """What stands against the unit, before all else, on a phone too, and where it is cleared."""
    filled = st.session_state.get(readings_form.FILLED)
    cleared = (filled or {}).get("doubts_cleared", ())
    if filled is None or not (cleared or any(filled["standing"].values())):
        return
    came = f"It came with the readings of {filled['source']}. "
    way_out = f"{came}Clear it there, with the reason; 'Clear the readings' begins another unit."
    st.html(standing.drawn(filled["standing"], way_out) + standing.cleared("A doubt was cleared", cleared))
    if filled["session"]:
        st.page_link(Path(__file__).with_name("what_do_the_meters_say.py"), label="To the bench session")


draw()
