"""The units on the bench: each with its state, what it can give, what is next, and the way to its session."""

from __future__ import annotations

import html
from pathlib import Path

import pandas as pd
import streamlit as st

import calib
from calib import words
from calib.app import context, session_state as session
from calib.session.on_the_bench import SAID, Bench, BenchUnit, on_the_bench


def draw() -> None:
    """The units, the one that was kept last first."""
    opened = context.opened_register()
    context.head("What is on the bench?", opened)
    session.begin()
    try:
        found = _bench(opened)
    except calib.CannotError as error:
        st.error(words.plain(f"The bench could not be read: {error}."))
        return
    if not found:
        st.write(SAID["empty"])
        st.page_link(Path(__file__).with_name("what_do_the_meters_say.py"), label="To the bench session")
    for one in found:
        _unit(one)


@st.cache_data(max_entries=4, show_spinner="Looking over the bench …")
def _looked(fit: str, sessions: str, meters: str, place: str, _model: calib.Multiplier) -> Bench:
    with context.register() as register:
        return on_the_bench(register, _model, context.LEVEL)


def _bench(opened: context.Opened) -> Bench:
    """What is on the bench, remembered until a session, a meter, a record or the fit changes."""
    model = context.model_of(opened)
    content = pd.util.hash_pandas_object(opened.sessions, index=False).to_numpy().tobytes().hex()
    return _looked(f"{model.content_hash} {opened.content}", content, repr(opened.meters), opened.place, model)


def _unit(one: BenchUnit) -> None:
    with st.container(border=True):
        st.html(f"<p><b>{html.escape(one.unit)}</b> – {html.escape(SAID['state'][one.state])}</p>")
        if one.state == "stopped":
            st.html(context.drawn({"stop": one.why, "stop_cleared": "", "doubts": ""}, SAID["cleared_there"]))
        elif one.state == "doubtful":
            st.warning(words.plain(f"{words.sentence(one.why)}"))
        if one.told:
            st.write(words.plain(f"As full-wave with the capacitor first: {one.told}."))
        if one.state in ("known", "measured", "met"):
            st.write(words.plain(f"Next: {one.next}."))
        says = words.plain(f"Open the session of {one.unit}")
        if st.button("Open its session", key=f"bench_open_{one.session_id}", help=says):
            session.resume(one.session_id)
            st.switch_page(Path(__file__).with_name("what_do_the_meters_say.py"))


if __name__ == "__main__":
    draw()
