"""The last step of a bench session: its facts in a table, what is still needed, and what the unit can give."""

from __future__ import annotations

from typing import Any

import streamlit as st

import calib
from calib import words
from calib.app import answer, context, session_forms as forms, session_state as session
from calib.app.answer import Origin, counted
from calib.app.forms import LABELS
from calib.session import readings
from calib.session.fields import Step
from calib.session.interpret import Session
from calib.session.protocol import STEPS
from calib.session.steps import TIED

HOME = "what_can_it_give.py"
ELSEWHERE = ("read_rectifier", "read_filter", "read_demand_ma")  # of the form, and nothing that a session reads
SUPPLY = {"rectifier": "full-wave", "filter": "capacitor"}  # taken until another is chosen in the estimate's form
ELSE_SET = "Set on the page 'What can it give?'"
PROOF = ("excitation_v", "volts_read", "no_load_read", "ohms_read")


def draw(step: Step, understood: Session, opened: context.Opened | None) -> bool:
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
    _table(understood)
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
    readings_of_it: Any = made.unit
    try:
        estimate = calib.estimate_unit(context.model_of(opened), readings_of_it, context.LEVEL, understood.heaters)
    except calib.CannotError as error:
        st.error(words.plain(f"No estimate could be made: {error}."))
        return
    unit = readings_of_it.iloc[0].to_dict()
    answer.draw(estimate, unit, context.account(made.metered), counted(unit, origin))


def _table(understood: Session) -> None:
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


def pass_on(understood: Session) -> None:
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
