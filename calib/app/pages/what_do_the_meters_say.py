"""The bench session: step by step what to do, what was read, what it means; left at any step and taken up again."""

from __future__ import annotations

import html
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import answer, context, session_forms as forms, session_state as session
from calib.app.answer import Origin, counted
from calib.app.forms import LABELS
from calib.register.frame import frame_of
from calib.session import readings
from calib.session.interpret import interpret
from calib.session.protocol import STEPS, step_named
from calib.session.repair import SESSION, repair_of
from calib.session.sheet import bench_sheet
from calib.session.steps import TIED

if TYPE_CHECKING:
    import pandas as pd

    from calib.session.fields import Step
    from calib.session.interpret import Session

TITLE = "What do the meters say?"
HOME = "what_can_it_give.py"
ELSEWHERE = ("read_rectifier", "read_filter", "read_demand_ma")  # of the form, and nothing that a session reads
SUPPLY = {"rectifier": "full-wave", "filter": "capacitor"}  # taken until another is chosen in the estimate's form
ELSE_SET = "Set on the page 'What can it give?'"
PROOF = ("excitation_v", "volts_read", "no_load_read", "ohms_read")
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
    _pass_on(read)
    with steps:
        forms.row_of_steps(step.name, read)
    with body:
        _step(step, read, reached)
    forms.from_the_top(STEPS.index(step) + 1, st.session_state[session.TURN])


def _step(step: Step, read: Session, reached: context.Opened | None) -> None:
    if step is not STEPS[-1]:
        forms.draw(step, read, reached.meters if reached else ())
    elif _result(step, read, reached):
        session.keep()
        st.switch_page(Path(__file__).with_name(HOME))


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


def _result(step: Step, understood: Session, opened: context.Opened | None) -> bool:
    """The result.

    Parameters
    ----------
    step : Step
        The last one.
    understood : Session
        All that was entered.
    opened : context.Opened or None
        The register, where it can be reached.

    Returns
    -------
    bool
        Whether the estimate's form is to be shown, filled with the session's readings.
    """
    st.header(f"{STEPS.index(step) + 1}. {step.title}", anchor=False)
    forms.findings(understood.findings, understood)
    forms.stands(understood, understood.findings)
    if understood.doubts_cleared:
        st.html(context.cleared("A doubt was cleared", understood.doubts_cleared))
    if understood.standing["doubts"]:
        st.write("A doubt is cleared at the step that it came from, with what was looked at again and what it showed.")
    context.cautions([words.plain(text) for text in step.cautions])
    _facts(understood)
    wrong = [one.short for one in STEPS if understood.steps[one.name].checked.faults]
    if wrong:
        st.write(f"There is something to mend at: {', '.join(wrong)}.")
    supply, form = _supply(), readings.entries_of(understood.columns, understood.heaters or ())
    made = understood.understood(**supply)
    if made.missing:
        labels = [LABELS.get(name, name).lower() for name in made.missing]
        st.write(f"Still needed for an estimate: {', '.join(labels)}.")
    for name, said in {**made.unusual, **made.faults}.items():
        st.warning(words.plain(f"Look again. {LABELS.get(name, name)}: {said}"))
    with st.container(horizontal=True, gap="small"):
        filled = st.button("Fill the estimate's form with these", key="bench_fill", type="primary", disabled=not form)
        st.button("This session is finished", key="bench_finish", on_click=session.finish)
    if made.record is not None and opened is not None:
        _answer(understood, made, opened, Origin({**supply, **form}, form, "this session", SUPPLY, ELSE_SET))
    forms.steering(step)
    if filled:
        _fill(form, understood)
    return filled


def _answer(understood: Session, made: readings.Understood, opened: context.Opened, origin: Origin) -> None:
    """What the unit can give, drawn as the home page draws it."""
    st.subheader("What it can give", anchor=False)
    answer.made(SESSION, session.entries(), session.put_right)
    model = context.model_of(opened)
    try:
        estimate = context.estimate_of(model, made.record, understood.heaters)
    except calib.CannotError as error:
        st.error(words.plain(f"No estimate could be made: {error}."))
        return
    frame, slip = frame_of(calib.UnknownUnit, [made.record]), str(estimate.answer["likely_slip"].iloc[0])
    unit = frame.iloc[0].to_dict()

    def mend() -> None:
        repair = repair_of(slip, session.entries(), SESSION)
        right = None
        if repair is not None:
            there = {**session.entries(), repair.step: {**session.of(repair.step), **repair.after}}
            right = interpret(there, opened.meters).understood(**_supply()).unit
        answer.offer_repair(model, frame, slip, answer.Mending(repair, right, session.put_right))

    answer.draw(estimate, unit, context.account(made.metered), counted(unit, origin), mend)


def _facts(understood: Session) -> None:
    rows = []
    for fact in understood.facts:
        value, u, share = fact.shown
        unit = f"{TIED}{fact.unit}" if fact.unit else ""
        doubt = f"{u}{unit} ({share.replace(' ', TIED)})" if u else "–"
        rows.append((fact.name, f"{value}{unit}", doubt, fact.how))
    if rows:
        st.html(context.table(("what", "is", "standard uncertainty", "from"), rows, numeric=(1, 2)))
    else:
        st.write("Nothing is established yet: the steps before this one are still empty.")


def _supply() -> dict[str, str]:
    """The supply that the form asks about, or its usual one."""
    return SUPPLY | {name: st.session_state[f"read_{name}"] for name in SUPPLY if f"read_{name}" in st.session_state}


def _pass_on(understood: Session) -> None:
    """Let the estimate's form know what stands against the unit now, where it was filled from this session."""
    filled = st.session_state.get(context.FILLED)
    if filled is not None and filled["session"] and filled["session"] == st.session_state[session.ID]:
        cleared = {"standing": understood.standing, "doubts_cleared": understood.doubts_cleared}
        st.session_state[context.FILLED] = {**filled, **cleared}


def _fill(form: dict[str, Any], understood: Session) -> None:
    """Put the session's readings into the estimate's form in the place of those that stand there."""
    stay = {name: st.session_state[name] for name in ELSEWHERE if name in st.session_state}
    context.forget("read_", "seen_filled")
    st.session_state["read_tag"] = ""
    for name, value in form.items():
        st.session_state[f"read_{name}"] = value
    st.session_state.update(stay)
    source = f"the bench session of {tag}" if (tag := str(session.of("look").get("tag") or "")) else "the bench session"
    put = context.filled(form, source, understood.standing, str(st.session_state[session.ID]))
    st.session_state[context.FILLED] = {**put, "doubts_cleared": understood.doubts_cleared}
    if session.of("look").get("simulated"):
        st.session_state["seen_filled"] = {name: form.get(name) for name in PROOF}


if __name__ == "__main__":
    draw()
