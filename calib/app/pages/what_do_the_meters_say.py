"""The bench session: step by step what to do, what was read, what it means; left at any step and taken up again."""

from __future__ import annotations

import html
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from calib import words
from calib.app import context, session_forms as forms, session_result as result, session_state as session
from calib.session.interpret import interpret
from calib.session.protocol import STEPS, step_named
from calib.session.sheet import bench_sheet

if TYPE_CHECKING:
    import pandas as pd

    from calib.session.fields import Step
    from calib.session.interpret import Session

TITLE = "What do the meters say?"
LISTED = 12  # sessions that are listed, the one kept last first


def draw() -> None:
    """The sessions, then the step of the one that goes on.

    Each part has a place of its own, so that what comes and goes above does not move a button from under a finger.
    """
    session.begin()
    session.collect()
    reached = session.reach()
    head, kept, others, steps, body = (st.container() for _ in range(5))
    with head:
        _head(reached)
    with kept:
        _how_it_is_kept()
    if reached is not None:
        with others:
            _listed(reached.sessions)
    session.spread()
    step = step_named(st.session_state[session.STEP])
    read = interpret(session.entries(), reached.meters if reached else ())
    result.pass_on(read)
    with steps:
        forms.row_of_steps(step.name, read)
    with body:
        _step(step, read, reached)
    forms.from_the_top(STEPS.index(step) + 1, st.session_state[session.TURN])


def _step(step: Step, read: Session, reached: context.Opened | None) -> None:
    if step is not STEPS[-1]:
        forms.draw(step, read, reached.meters if reached else ())
    elif result.draw(step, read, reached if reached else None):
        session.keep()
        st.switch_page(Path(__file__).with_name(result.HOME))


@st.cache_resource(show_spinner=False)
def _sheet() -> bytes:
    return bench_sheet()


def _head(reached: context.Opened | None) -> None:
    """The head of the page, also while no register can be read, and the blank sheet."""
    if reached is None:
        st.title(TITLE, anchor=False)
        st.html(f'<p class="calib-disclaimer">{context.DISCLAIMER}</p>')
    else:
        context.head(TITLE, reached)
    st.download_button(
        "Download the blank bench sheet (PDF)",
        _sheet(),
        file_name="bench-sheet.pdf",
        mime="application/pdf",
        key="bench_sheet",
        on_click="ignore",
    )


def _how_it_is_kept() -> None:
    """One line: which session this is, and since when it is kept, or that it is not."""
    done = st.session_state.pop(session.DONE, "")
    if done:
        st.success(words.plain(done))
    trouble = st.session_state[session.TROUBLE]
    if trouble:
        st.error(words.plain(f"Not kept yet: {trouble}. What you entered stays on this page."))
        st.button("Try again", key="bench_again", on_click=session.go, args=(st.session_state[session.STEP],))
    tag = html.escape(str(session.of("look").get("tag") or "no tag yet"))
    where = " (practice, in the simulated register)" if context.practising() else ""
    kept_at = st.session_state[session.KEPT_AT]
    when = f"kept {kept_at.astimezone():%d %B, %H:%M}" if kept_at else "kept as soon as something is entered"
    if session.changed():
        when = f"{when}; the last entries are not kept yet" if kept_at else "not kept yet"
    st.html(f'<p class="calib-more" id="bench-session">Session on the bench: <b>{tag}</b>{where} – {when}.</p>')


def _listed(sessions: pd.DataFrame) -> None:
    """The other sessions of the register, to go on with."""
    others = sessions[sessions["session_id"] != st.session_state[session.ID]]
    waiting, finished = (others[others["state"] == state].head(LISTED) for state in ("open", "done"))
    empty = not any(session.entries().values())
    if len(waiting):
        with st.expander(f"Sessions to go on with: {len(waiting)}", expanded=empty):
            _table(waiting, "Go on with this one")
    if len(finished):
        with st.expander(f"Finished sessions: {len(finished)}"):
            _table(finished, "Open it again")
    if empty and context.practising():
        st.button("Take a session to practise on", key="bench_practise", on_click=session.practise)
    if not empty:
        st.button("Put this one aside and begin another", key="bench_another", on_click=session.another)


def _table(sessions: pd.DataFrame, says: str) -> None:
    for row in sessions.to_dict("records"):
        tag, step = str(row["tag"] or "no tag"), step_named(str(row["step"]))
        who = f", {row['contributor']}" if row["contributor"] else ""
        practice = " (practice)" if context.practising() else ""
        kept_at = row["kept_at"].to_pydatetime().astimezone()
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            told = (
                f"<b>{html.escape(tag)}</b>{html.escape(who)}{practice}: at step {STEPS.index(step) + 1}, {step.short}"
            )
            st.html(f"{told}; kept {kept_at:%d %B %Y, %H:%M}", width="stretch")
            identity = str(row["session_id"])
            which = words.plain(f"{says}: {tag}")
            st.button(says, key=f"bench_on_{identity}", help=which, on_click=session.resume, args=(identity,))


draw()
