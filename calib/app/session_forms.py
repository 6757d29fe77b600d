"""Drawing of a bench session's steps: the row of steps, cautions, fields, and what was understood beside them."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from calib import bench, words
from calib.app import context, session_state as session
from calib.app.context import table
from calib.app.forms import Form as Fields
from calib.bench.faults import BOND_LIMIT_OHM
from calib.session.fields import Field, Part, Rows, Step
from calib.session.interpret import Session, is_done, said_of
from calib.session.protocol import LIVE, STEPS, said
from calib.session.steps import TIED, StepRead, symbols
from calib.session.steps.cold import Plan, gentle
from calib.session.steps.windings import allowed, heater_name

if TYPE_CHECKING:
    from calib import Meter

PAGES = Path(__file__).resolve().parent / "pages"
SAYS = context.SAID["session"]


def row_of_steps(here: str, understood: Session) -> None:
    """A button for each step; done ones say so, and so does the one that is shown."""
    with st.container(horizontal=True, gap="small"):
        for number, step in enumerate(STEPS, start=1):
            label = f"{number} {step.short}{_mark(step, understood)}"
            st.button(
                f"▸ {label}" if step.name == here else label,
                key=f"bench_go_{step.name}",
                type="primary" if step.name == here else "secondary",
                on_click=session.go,
                args=(step.name,),
            )


def _mark(step: Step, understood: Session) -> str:
    """What the button of a step says of it besides its name."""
    read = understood.steps[step.name]
    severities, doubts = {one.severity for one in read.findings}, said_of(read.findings, "doubt")
    if "stop" in severities and not understood.cleared:
        return " ■ STOP"
    said = " ✓ done" if is_done(step, session.of(step.name), read, bool(understood.cleared)) else ""
    said += ", stop cleared" if said and "stop" in severities else ""
    if not {*doubts} <= {*understood.doubts_explained}:
        return f"{said} △ doubt"
    return f"{said}, doubt cleared" if said and doubts else said


def stands(understood: Session, own: Sequence[bench.Finding] = ()) -> None:
    """What forbids to feed the unit, or how that was cleared; and the way to clear it, with a reason that is kept.

    Parameters
    ----------
    understood : Session
        The session.
    own : sequence of bench.Finding
        Those that stand above this already.
    """
    stops = understood.said("stop")
    if not stops:
        return
    if understood.cleared or {*stops} - {*said_of(own, "stop")}:
        st.html(context.drawn({**understood.standing, "doubts": ""}))
    if understood.cleared:
        st.button("The stop stands after all", key="bench_unclear", on_click=session.clear_stops, args=((),))
        return
    st.session_state.setdefault(session.REASON, understood.explained)
    st.text_input("What was found and done about it, and read since", key=session.REASON)
    st.button("Clear the stop with this reason", key="bench_clear", on_click=session.clear_stops, args=(stops,))
    _trouble(session.UNCLEARED)


def doubted(found: Sequence[bench.Finding], understood: Session) -> None:
    """The doubts of a step that were cleared, and the way to clear the others, with a reason that is kept."""
    said = said_of(found, "doubt")
    doubts = [one for one in said if one not in understood.doubts_explained]
    cleared = understood.why_cleared(said)
    if cleared:
        st.html(context.cleared("A doubt was cleared", cleared))
        again, args = "The doubt stands after all", (said, True)
        st.button(again, key="bench_doubt_again", on_click=session.clear_doubts, args=args)
    if doubts:
        which = "the doubt" if len(doubts) == 1 else f"these {len(doubts)} doubts"
        st.text_input("What was looked at again, and what it showed", key=session.REASON + session.OF_DOUBTS)
        label = f"Clear {which} with this reason"
        st.button(label, key="bench_doubt_clear", on_click=session.clear_doubts, args=(doubts,))
        _trouble(session.UNCLEARED + session.OF_DOUBTS)


def _trouble(name: str) -> None:
    """Why something was not cleared."""
    if said := st.session_state.get(name, ""):
        st.error(words.plain(said))


def draw(step: Step, understood: Session, meters: Sequence[Meter]) -> None:
    """A step: its cautions, then its fields, and beside them what was understood.

    A stop comes before all of them; at the step that found it, it stands beside its readings, so that no field moves
    while it is being filled in.
    """
    read = understood.steps[step.name]
    own = [one for one in read.findings if one.severity == "stop"]
    st.header(f"{STEPS.index(step) + 1}. {step.title}", anchor=False)
    if not own:
        stands(understood)
    context.cautions([words.plain(text) for text in cautions_of(step, understood)])
    left, right = st.columns([3, 2], gap="large")
    with left:
        _fields(step, understood, meters)
        steering(step)
    with right:
        what_was_understood(read, understood)
        if own:
            stands(understood, own)
        doubted(read.findings, understood)


def from_the_top(number: int, turn: int) -> None:
    """Bring the heading of a step that has just come up into view, so that its cautions are seen before its fields.

    Parameters
    ----------
    number : int
        Of the step, which its heading begins with.
    turn : int
        How often another step was shown; nothing is moved where none was.
    """
    if turn:
        script = SAYS["into_view"].replace("NUMBER", str(number)).replace("TURN", str(turn))
        st.html(f"<script>{script}</script>", unsafe_allow_javascript=True)


def cautions_of(step: Step, understood: Session) -> list[str]:
    """The step's cautions, and before them those that this unit asks for."""
    first = []
    if step.name == "insulation" and gentle(understood.steps["look"].checked):
        first.append(SAYS["gentle"])
    insulated = understood.steps["insulation"].known
    if step.name in LIVE and not insulated["tests"]:
        first.append(SAYS["no_test"])
    elif step.name in LIVE and insulated["untested"]:
        first.append(f"Insulation not tested yet: {'; '.join(map(said, insulated['untested']))}.")
    return [*first, *step.cautions]


def _fields(step: Step, understood: Session, meters: Sequence[Meter]) -> None:
    checked = understood.steps[step.name].checked
    own = {name: _with_meters(step, one, meters) for name, one in step.fields.items() if one.kind == "meter"}
    form = Fields(session.key(step.name, ""), checked.aloud, checked.unusual, checked.faults, {**step.fields, **own})
    if step.name in LIVE and understood.holding(step.name):
        st.write(SAYS["waits"])
        return
    for part in step.parts:
        with st.expander(part.title) if part.closed else st.container():
            _part(step, part, form)
            _after(step, part, understood)
            if waits := waits_after(part, understood):
                st.write(waits)
                return
            if part.rows:
                _rows(step, part.rows, form)


def waits_after(part: Part, understood: Session) -> str:
    """Why what follows a part of the run on mains waits, besides the stop of a step before; blank where it need not."""
    names, run = {field.name for field in part.fields}, understood.steps["idle"].known
    if "lamp" in names and run["alarm"] and not understood.cleared:
        return str(SAYS["alarm"])
    if "bond_ohm" not in names:
        return ""
    if not understood.steps["insulation"].known["tests"]:
        return str(SAYS["test_first"])
    return "" if run["bonded"] else str(SAYS["bond_first"].format(limit=BOND_LIMIT_OHM))


def _after(step: Step, part: Part, understood: Session) -> None:
    """What has to be said once a part's fields are there."""
    names = {field.name for field in part.fields}
    if "fed" in names:
        context.caution(words.plain(allowed(understood.steps["ratio"]).advice))
    if "works_hv_v" in names:
        _plan(understood.steps["insulation"].known["plan"])
    if "hv_ends" in names:
        st.page_link(PAGES / "which_lead_is_which.py", label="Which lead is which? Pair by pair")
    if "excitation_v" in names:
        for warning in understood.steps[step.name].warnings:
            st.error(f"**Stop.** {words.plain(warning)}")


def _plan(plan: Sequence[Plan]) -> None:
    """The tests of the insulation that the unit needs, with what each works at."""
    rows = [
        (
            said(one.between),
            "not told yet" if math.isnan(one.stress_v) else f"{one.stress_v:g}{TIED}V",
            f"{', '.join(f'{step:g}' for step in one.steps)}{TIED}V",
            one.so_far or "not tested",
        )
        for one in plan
    ]
    st.html(table(("test between", "works at, peak", "test with", "so far"), rows, numeric=(1,)))


def _part(step: Step, part: Part, form: Fields) -> None:
    """The fields of a part that are asked once."""
    if part.title and not part.closed:
        st.subheader(part.title, anchor=False)
    if part.note:
        st.write(words.plain(part.note))
    form.grid(_asked(step, part.fields))


def _rows(step: Step, rows: Rows, form: Fields) -> None:
    shown = shown_rows(step, rows)
    for number in range(1, shown + 1):
        name = f"{rows.label} {number}"
        if rows.like:
            name = heater_name(session.of(rows.like[0]), number)
        with st.container(border=True):
            st.markdown(f"**{words.plain(name)}**")
            form.grid(_asked(step, rows.named(number)))
    if shown < rows.most:
        st.button(
            f"Another: {rows.label.lower()}",
            key=f"bench_more_{step.name}_{rows.name}",
            on_click=session.more_rows,
            args=(step.name, rows.name, shown + 1),
        )


def shown_rows(step: Step, rows: Rows) -> int:
    """How many rows to show: as many as were asked for here or at the step that names them, or hold an entry."""
    asked = [session.of(name).get(f"{rows.name}_rows") or 0 for name in {step.name, (rows.like or (step.name,))[0]}]
    filled = [
        number
        for number in range(1, rows.most + 1)
        if any(session.of(step.name).get(field.name) is not None for field in rows.named(number))
    ]
    return max([rows.shown, *asked, *filled])


def _asked(step: Step, fields: Sequence[Field]) -> list[str]:
    """Those of some fields that are asked as the others of the step stand."""
    mine = session.of(step.name)
    return [field.name for field in fields if step.asks(field, mine)]


def _with_meters(step: Step, field: Field, meters: Sequence[Meter]) -> Field:
    """A field with the meters to choose from; one that was chosen stays, though the register may not name it now."""
    own = [one.label for one in meters if one.reads == field.unit]
    chosen = st.session_state.get(session.key(step.name, field.name))
    options = [field.choices[0], *own, *field.choices[1:]]
    return replace(field, choices=(*options, *([] if chosen in (None, *options) else [str(chosen)])))


def steering(step: Step) -> None:
    """Back, next and keep."""
    at = STEPS.index(step)
    with st.container(horizontal=True, gap="small"):
        if at:
            before = STEPS[at - 1]
            st.button(f"Back: {before.short}", key="bench_back", on_click=session.go, args=(before.name,))
        if at + 1 < len(STEPS):
            after = STEPS[at + 1]
            st.button(f"Next: {after.short}", key="bench_next", type="primary", on_click=session.go, args=(after.name,))
        st.button("Keep", key="bench_keep", on_click=session.go, args=(step.name,), help="Keep the session now.")


def what_was_understood(read: StepRead, understood: Session) -> None:
    """The lines and findings of a step."""
    st.subheader("Understood", anchor=False)
    if not (read.lines or read.findings):
        st.write("Nothing yet.")
    if read.lines:
        lines(read.lines)
    findings(read.findings, understood)


def lines(said: Sequence[str]) -> None:
    """A list of lines in which nothing is read as formatting."""
    rows = "".join(f"<li>{html.escape(line)}</li>" for line in said)
    st.html(f'<ul class="calib-understood">{rows}</ul>')


def findings(found: Sequence[bench.Finding], understood: Session) -> None:
    """What is not as it should be: what, why, and what to do; but for what was cleared, see `stands` and `doubted`."""
    for one in found:
        said = [symbols(words.sentence(one.why)), symbols(one.remedy)]
        if one.severity == "stop" and not understood.cleared:
            st.html(context.stop(f"Stop, feed it nothing. {one.what}", said))
        elif one.severity != "stop" and not {*said_of([one], "doubt")} <= {*understood.doubts_explained}:
            st.html(context.doubts(f"Look again: {one.what}", said))
