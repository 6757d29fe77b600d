"""The units on the bench: each with its state, what it can give, what is next; one in full where it is opened."""

from __future__ import annotations

import html
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

import calib
from calib import words
from calib.app import bench_unit, context, revising, session_state as session
from calib.session.bench_unit import UnitNow
from calib.session.on_the_bench import SAID, BenchUnit, bench_of, units_now

HERE = Path(__file__).parent


def draw() -> None:
    """The list, the one that was kept last first; or the unit that the address names."""
    opened = context.opened_register()
    context.head("What is on the bench?", opened)
    session.begin()
    revising.done(opened.place)
    bench_unit.done(opened.place)
    model = context.model_of(opened)
    try:
        units, fit = _units(opened, model)
    except calib.CannotError as error:
        st.error(words.plain(f"The bench could not be read: {error}."))
        return
    listed = bench_of(units, fit, context.LEVEL)
    if asked := _asked():
        _one(opened, model, asked, list(zip(units, listed, strict=True)))
        return
    if not listed:
        st.write(SAID["empty"])
        st.page_link(HERE / "what_do_the_meters_say.py", label="To the bench session")
    for place, one in enumerate(listed):
        _listed(one, place)


def _asked() -> tuple[str, str] | None:
    """The unit that the address names, so that a reload or a bookmark opens it again."""
    tag = st.query_params.get("unit")
    return None if tag is None else (tag, st.query_params.get("contributor", ""))


def _open(tag: str = "", contributor: str = "") -> None:
    """Name a unit in the address; none leads back to the list."""
    for name, value in (("unit", tag), ("contributor", contributor)):
        if value:
            st.query_params[name] = value
        else:
            st.query_params.pop(name, None)


@st.cache_resource(max_entries=4, show_spinner="Looking over the bench …")
def _looked(asked: str, _model: calib.Multiplier) -> tuple[list[UnitNow], str]:
    with context.register() as register:
        return units_now(register, _model, context.LEVEL)


def _units(opened: context.Opened, model: Any) -> tuple[list[UnitNow], str]:
    """What is on the bench, remembered until a session, a meter, a record, a unit there or the fit changes."""
    sessions = pd.util.hash_pandas_object(opened.sessions, index=False).to_numpy().tobytes().hex()
    kept = [(one.tag, one.contributor, one.revision) for one, _ in opened.bench]
    return _looked(repr((model.content_hash, opened.content, sessions, opened.meters, kept, opened.place)), model)


def _one(opened: context.Opened, model: Any, asked: tuple[str, str], units: list[tuple[UnitNow, BenchUnit]]) -> None:
    st.button("Back to the bench", key="bench_back", on_click=_open)
    mine = next((pair for pair in units if (pair[1].tag, pair[1].contributor) == asked), None)
    if mine is None:
        st.warning(words.plain(f"No unit '{asked[0]}' is on the bench of {opened.name}."))
        return
    bench_unit.draw(opened, model, *mine, [one for one, _ in units if one is not mine[0]])


def _listed(one: BenchUnit, place: int) -> None:
    with st.container(border=True):
        st.html(f"<p><b>{html.escape(one.unit)}</b> – {html.escape(SAID['state'][one.state])}</p>")
        against = {"stop": one.stop, "stop_cleared": one.stop_cleared, "doubts": one.doubts}
        if told := context.drawn(against, SAID["cleared_there"]):
            st.html(told)
        if one.trouble:
            st.error(words.plain(words.sentence(one.trouble)))
        elif one.state == "doubtful" and not one.doubts:
            st.warning(words.plain(words.sentence(one.why)))
        if one.told:
            moved = f" {words.sentence(one.moved)}" if one.moved else ""
            supply = words.supply(one.rectifier, one.filter)
            metal = f", wire of {one.conductor}" if one.conductor else ""
            st.write(words.plain(f"{words.sentence(f'{supply}{metal}: {one.told}')}{moved}"))
        if one.state not in ("stopped", "doubtful"):
            st.write(words.plain(f"Next: {one.next}."))
        with st.container(horizontal=True, gap="small"):
            if one.tag:
                says = words.plain(f"Open {one.unit}")
                st.button(
                    "Open it", key=f"bench_unit_{place}", help=says, on_click=_open, args=(one.tag, one.contributor)
                )
            if one.session_id:
                says = words.plain(f"Open the session of {one.unit}")
                if st.button("Open its session", key=f"bench_open_{one.session_id}", help=says):
                    session.resume(one.session_id)
                    st.switch_page(HERE / "what_do_the_meters_say.py")


if __name__ == "__main__":
    draw()
