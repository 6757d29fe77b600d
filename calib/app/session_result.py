"""The last step of a bench session: its facts in a table, what is still needed, and the way to the estimate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from calib import words
from calib.app import (
    context as parts,
    context as readings_form,
    context as standing,
    session_forms as forms,
    session_state as session,
)
from calib.app.answer import Origin, counted
from calib.app.context import table
from calib.app.forms import LABELS
from calib.session import readings
from calib.session.fields import Step
from calib.session.interpret import Session, form_of, further
from calib.session.protocol import STEPS
from calib.session.steps import TIED

if TYPE_CHECKING:
    import pandas as pd

HOME = "what_can_it_give.py"
ELSEWHERE = ("read_rectifier", "read_filter", "read_demand_ma")  # of the form, and nothing that a session reads
SUPPLY = {"rectifier": "full-wave", "filter": "capacitor"}  # taken until another is chosen in the estimate's form
ELSE_SET = "Set on the page 'What can it give?'"
PROOF = ("excitation_v", "volts_read", "no_load_read", "ohms_read")


def draw(step: Step, understood: Session, opened: parts.Opened | None) -> bool:
    """The result.

    Parameters
    ----------
    step : Step
        The last one.
    understood : Session
        All that was entered.
    opened : parts.Opened or None
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
        st.html(standing.cleared("A doubt was cleared", understood.doubts_cleared))
    if understood.standing["doubts"]:
        st.write("A doubt is cleared at the step that it came from, with what was looked at again and what it showed.")
    parts.cautions([words.plain(text) for text in step.cautions])
    _table(understood)
    wrong = [one.short for one in STEPS if understood.steps[one.name].checked.faults]
    if wrong:
        st.write(f"There is something to mend at: {', '.join(wrong)}.")
    form = form_of(understood)
    supply = _supply()
    checked = readings.understand({**supply, **form})
    if checked.missing:
        labels = [LABELS.get(name, name).lower() for name in checked.missing]
        st.write(f"Still needed for an estimate: {', '.join(labels)}.")
    for name, said in {**checked.unusual, **checked.faults}.items():
        st.warning(words.plain(f"Look again. {LABELS.get(name, name)}: {said}"))
    if checked.unit is not None and opened is not None:
        _further(understood, checked.unit, opened, Origin({**supply, **form}, form, "this session", SUPPLY, ELSE_SET))
    with st.container(horizontal=True, gap="small"):
        filled = st.button("Fill the estimate's form with these", key="bench_fill", type="primary", disabled=not form)
        st.button("This session is finished", key="bench_finish", on_click=session.finish)
    forms.steering(step)
    if filled:
        _fill(form, understood)
    return filled


def _table(understood: Session) -> None:
    rows = []
    for fact in understood.facts:
        value, u, share = fact.shown
        unit = f"{TIED}{fact.unit}" if fact.unit else ""
        doubt = f"{u}{unit} ({share.replace(' ', TIED)})" if u else "–"
        rows.append((fact.name, f"{value}{unit}", doubt, fact.how))
    if rows:
        st.html(table(("what", "is", "standard uncertainty", "from"), rows, numeric=(1, 2)))
    else:
        st.write("Nothing is established yet: the steps before this one are still empty.")


def _further(understood: Session, unit: pd.DataFrame, opened: parts.Opened, origin: Origin) -> None:
    """What the fit and the core add, and what it was made from."""
    lines = further(parts.model_of(opened), unit, understood, parts.LEVEL)
    if not lines:
        return
    st.subheader("What its heaters and its core probably give", anchor=False)
    if opened.simulated:
        st.write("The known units behind this are simulated: it says nothing of a real unit.")
    forms.lines([words.marked(understood.standing, line) for line in lines])
    st.html(counted(unit.iloc[0].to_dict(), origin))


def _supply() -> dict[str, Any]:
    """The supply that the form asks about, or its usual one."""
    return SUPPLY | {name: st.session_state[f"read_{name}"] for name in SUPPLY if f"read_{name}" in st.session_state}


def pass_on(understood: Session) -> None:
    """Let the estimate's form know what stands against the unit now, where it was filled from this session."""
    filled = st.session_state.get(readings_form.FILLED)
    if filled is not None and filled["session"] and filled["session"] == st.session_state[session.ID]:
        cleared = {"standing": understood.standing, "doubts_cleared": understood.doubts_cleared}
        st.session_state[readings_form.FILLED] = {**filled, **cleared}


def _fill(form: dict[str, Any], understood: Session) -> None:
    """Put the session's readings into the estimate's form in the place of those that stand there."""
    stay = {name: st.session_state[name] for name in ELSEWHERE if name in st.session_state}
    parts.forget("read_", "seen_filled")
    st.session_state["read_tag"] = ""
    for name, value in form.items():
        st.session_state[f"read_{name}"] = value
    st.session_state.update(stay)
    source = f"the bench session of {tag}" if (tag := str(session.of("look").get("tag") or "")) else "the bench session"
    put = readings_form.filled(form, source, understood.standing, str(st.session_state[session.ID]))
    st.session_state[readings_form.FILLED] = {**put, "doubts_cleared": understood.doubts_cleared}
    if session.of("look").get("simulated"):
        st.session_state["seen_filled"] = {name: form.get(name) for name in PROOF}
