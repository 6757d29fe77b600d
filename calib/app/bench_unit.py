"""One unit on the bench: what stands against it, its answers over time, beside another one, made known, its history."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context, files, forms, revising, session_state as session
from calib.app.pages.does_it_feed_the_set import STEP as SET
from calib.app.pages.what_can_it_give import take_up
from calib.paths import data
from calib.register.fields import FIELDS
from calib.register.revisions import PUT_BACK
from calib.session import fields as measured
from calib.session.on_the_bench import (
    SAID,
    demand_figures,
    history_of,
    known_of,
    make_known,
    metal,
    of_bench,
    side_by_side,
    told_of,
)

if TYPE_CHECKING:
    from calib.session.bench_unit import UnitNow
    from calib.session.on_the_bench import BenchUnit

SAYS = data("app/bench_unit.toml")["unit"]
PAGES = Path(__file__).parent / "pages"
DONE, TROUBLE = "seen_bench_done", "seen_bench_wrong"
WHO, WHY = "seen_bench_by", "seen_bench_why"
Identity = tuple[str, str]


def draw(opened: context.Opened, model: Any, one: UnitNow, listed: BenchUnit, others: Sequence[UnitNow]) -> None:
    """A unit in full.

    Parameters
    ----------
    opened : context.Opened
        The register that is open.
    model : calib.Multiplier
        The fit at hand.
    one : UnitNow
        The unit.
    listed : BenchUnit
        The same as the list has it.
    others : sequence of UnitNow
        The other units on the bench.
    """
    st.header(words.plain(_named(one)), anchor=False)
    _standing(one, listed)
    with st.container(horizontal=True, gap="small", key="bench_unit_ways"):
        if one.record is not None and st.button(SAYS["work_on"], key="bench_work_on", help=SAYS["work_on_help"]):
            source = SAYS["source"].format(tag=one.kept.tag)
            take_up({**one.record.values()}, source, listed.session_id, _windings(one))
            st.switch_page(PAGES / "what_can_it_give.py")
        if listed.session_id and st.button("Open its session", key="bench_unit_session"):
            session.resume(listed.session_id)
            st.switch_page(PAGES / "what_do_the_meters_say.py")
    if one.kept.tag:
        files.print_of_register("bench_sheet", model, *_identity(one))
    _who_and_why()
    _clear_stop(one)
    _estimates(one)
    _demand(one)
    _heat_run(one)
    _beside(opened, model, one, others)
    _make_known(one)
    st.subheader("Photographs and data sheets", anchor=False)
    if one.kept.revision:
        files.attached(of_bench(*_identity(one)), opened.place)
    else:
        st.write(SAYS["no_files_yet"])
    _history(one)


def _identity(one: UnitNow) -> Identity:
    return one.kept.tag, one.kept.contributor


def _standing(one: UnitNow, listed: BenchUnit) -> None:
    """What stands against it, its state, its metal, and what is next."""
    against = {"stop": one.stop, "stop_cleared": one.stop_cleared, "doubts": one.doubts}
    if told := context.drawn(against, SAYS["way_out"]):
        st.html(told)
    if one.trouble:
        st.error(words.plain(words.sentence(one.trouble)))
    if one.record is not None and one.record.simulated:
        st.html(f'<p class="calib-aloud">{html.escape(SAYS["simulated"])}</p>')
    said = SAYS["metal"].format(metal=metal(one)) if metal(one) else SAYS["no_metal"]
    st.html(f"<p><b>{html.escape(SAID['state'][listed.state])}</b>. {html.escape(said)}.</p>")
    st.write(words.plain(f"Next: {listed.next}."))


def _who_and_why() -> None:
    left, right = st.columns(2)
    left.text_input("Who (kept in the history)", key=WHO)
    right.text_input("Why, or what was found", key=WHY)
    if trouble := st.session_state.pop(TROUBLE, ""):
        st.error(words.plain(trouble))


def _typed(key: str) -> str:
    return str(st.session_state.get(key) or "").strip()


def _do(identity: Identity, said: str, do: Callable[[calib.Register], object]) -> None:
    """One step with a unit, and the revision that it made, so that it can be undone."""
    try:
        with context.register() as register:
            do(register)
            past = register.bench_history(*identity)
            revision = int(past["revision"].iloc[-1]) if len(past) else 0
            st.session_state[DONE] = (str(register.path), identity, revision, said)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[TROUBLE] = f"Nothing was done: {error}."
        return
    st.session_state.pop(WHY, None)


def done(open_now: str) -> None:
    """What was done last in the register that is open, and its undoing."""
    last = st.session_state.get(DONE)
    if not last or last[0] != open_now:
        return
    _, identity, revision, said = last
    st.success(words.plain(said))
    if revision:
        st.button("Undo", key="bench_undo_done", on_click=_undo, args=(identity, revision))


def _undo(identity: Identity, revision: int) -> None:
    by, why = _typed(WHO), _typed(WHY)
    tag, contributor = identity
    said = f"Undone: {tag} is as it was before."
    _do(identity, said, lambda one: one.undo_on_bench(tag, contributor, revision=revision, by=by, reason=why))


def _clear_stop(one: UnitNow) -> None:
    """A stop that was kept is cleared here; one of its session there."""
    if (
        not one.kept.stop
        or one.kept.stop_cleared
        or (one.read is not None and one.kept.stop in one.read.standing["stop"])
    ):
        return
    st.write(SAYS["clear_stop"])
    st.button("Clear the stop, for the reason above", key="bench_clear_stop", on_click=_cleared, args=(_identity(one),))


def _cleared(identity: Identity) -> None:
    by, why = _typed(WHO), _typed(WHY)
    _do(identity, SAYS["cleared"], lambda register: register.clear_stop(*identity, reason=why, by=by))


def _estimates(one: UnitNow) -> None:
    """What it can give by the register as it stands, and what was kept of that, the last first."""
    st.subheader("What it can give", anchor=False)
    if one.estimate is None and not one.kept.estimates:
        st.write(SAYS["no_estimate"])
        return
    if one.moved:
        st.write(words.plain(words.sentence(one.moved)))
    rows = [] if one.estimate is None else [("by the register as it stands", told_of(one.estimate))]
    rows += [(f"kept {each.made_at:%Y-%m-%d %H:%M} UTC", told_of(each)) for each in one.kept.estimates[::-1]]
    st.html(context.table(("when", "what was told"), rows))


def _demand(one: UnitNow) -> None:
    """The set that was asked about last, and the odds by today's register."""
    st.subheader("Does it feed the set?", anchor=False)
    demand = one.kept.demand
    if demand is None:
        st.write(SAYS["no_demand"])
        return
    figures = demand_figures(one, demand)
    loads = ", ".join(f"{row.get('count') or 1} × {row.get('load')}" for row in demand.loads)
    rows = [(SAYS["demand"][name], value) for name, value in ({"loads": loads} | figures).items()]
    st.html(context.table(("", ""), rows))
    if one.odds_moved:
        st.write(words.plain(one.odds_moved))
    for each in demand.broken:
        st.warning(words.plain(words.sentence(f"{each.get('limit')}: {each.get('remedy') or 'broken'}")))
    if one.record is not None and st.button(SAYS["again"], key="bench_demand_again", help=SAYS["again_help"]):
        source = SAYS["source"].format(tag=one.kept.tag)
        take_up({**one.record.values()}, source, one.session.session_id if one.session else "", _windings(one))
        _put_set(demand)
        st.switch_page(PAGES / "does_it_feed_the_set.py")


def _windings(one: UnitNow) -> tuple[calib.HeaterReading, ...]:
    """Its heater windings; none where those that were kept cannot be read any more."""
    try:
        return one.heaters
    except calib.InputError as error:
        context.keep_notice(f"{error}.")
        return ()


def _put_set(demand: calib.KeptDemand) -> None:
    """Put a kept set into the form that asks about sets."""
    context.forget("set_")
    put: dict[str, Any] = {"rows": max(3, len(demand.loads)), **demand.supply}
    for number, row in enumerate(demand.loads, start=1):
        put |= {f"{name}_{number}": value for name, value in row.items()}
    for name, value in put.items():
        st.session_state[f"set_{name}"] = value if isinstance(value, int | str) else measured.shown(value)
        unit = SET.fields[name].unit if name in SET.fields else ""
        if unit and len(symbols := measured.symbols_of(unit)) > 1:
            st.session_state[f"set_{name}_unit"] = symbols[0]


def _heat_run(one: UnitNow) -> None:
    st.subheader("Its heat run", anchor=False)
    run = one.kept.heat_run
    if run is None:
        st.write(SAYS["no_run"])
        return
    told = SAYS["no_reference"] if run.reference_ma is None else f"{words.milliamps(run.reference_ma)} mA"
    said = SAYS["run"].format(
        at=f"{run.made_at:%Y-%m-%d %H:%M} UTC", proven=told, rise=_figure(run.result.get("rise_k"))
    )
    st.write(words.plain(said))


def _figure(value: object) -> str:
    return words.figure(float(value)) if isinstance(value, int | float) else "–"


@st.cache_data(max_entries=8, show_spinner="Holding both against the set …")
def _sides(asked: str, _model: Any, _units: Sequence[UnitNow], _demand: calib.KeptDemand) -> Any:
    return side_by_side(_model, _units, _demand, context.LEVEL)


def _beside(opened: context.Opened, model: Any, one: UnitNow, others: Sequence[UnitNow]) -> None:
    """Two units side by side against one demand, of either."""
    st.subheader("Beside another unit", anchor=False)
    able = {_named(each): each for each in others if each.record is not None and each.kept.tag}
    if one.record is None or not able:
        st.write(SAYS["no_other"])
        return
    chosen = st.selectbox("The other unit", list(able), index=None, placeholder="choose", key="seen_beside")
    if chosen not in able:
        return
    other = able[chosen]
    demand = one.kept.demand or other.kept.demand
    if demand is None:
        st.write(SAYS["no_common_set"])
        return
    fits = f"{model.content_hash} {opened.content} {demand.made_at}"
    asked = f"{fits} {[(_identity(each), each.changed_on) for each in (one, other)]}"
    try:
        found = _sides(asked, model, (one, other), demand)
    except calib.InputError as error:
        context.show_faults(SAYS["set_gone"], error.faults)
        return
    st.write(words.plain(SAYS["common_set"].format(tag=(one if one.kept.demand else other).kept.tag)))
    st.html(context.table(("", _named(one), _named(other)), _rows(found.to_dict("records"))))


def _named(one: UnitNow) -> str:
    return f"{one.kept.tag} of {one.kept.contributor}" if one.kept.contributor else one.kept.tag


def _rows(sides: list[dict[str, Any]]) -> list[tuple[str, ...]]:
    """The rows of two units: what stands against them first."""
    made: list[tuple[str, ...]] = []
    for name, said in SAYS["sides"].items():
        cells = [_side(name, each) for each in sides]
        if any(cells):
            made.append((said, *(cell or "–" for cell in cells)))
    return made


def _side(name: str, side: dict[str, Any]) -> str:
    if name == "supply":
        return words.supply(side["rectifier"], side["filter"])
    value = side.get(name)
    if value is None or value != value or value == "":
        return ""
    if name in ("odds_worst", "odds_average"):
        return words.odds(value)
    if name in ("rated_current_ma", "dc_v"):
        low, high = (("low_ma", "high_ma"), ("dc_v_low", "dc_v_high"))[name == "dc_v"]
        unit = "V" if name == "dc_v" else "mA"
        return f"{words.figure(value)} {unit} ({words.figure(side[low])} to {words.figure(side[high])})"
    if name == "stop" and side["stop_cleared"]:
        return f"{value}; cleared: {side['stop_cleared']}"
    return value if isinstance(value, str) else f"{words.figure(value)} {SAYS['units'].get(name, '')}".rstrip()


def _make_known(one: UnitNow) -> None:
    """The record that it would be, with the current and its evidence; nothing else is asked again."""
    st.subheader("Make it a known unit", anchor=False)
    if one.known:
        st.write(SAYS["is_known"])
        return
    if one.record is None or (one.stop and not one.stop_cleared):
        st.write(SAYS["not_yet"])
        return
    run = one.kept.heat_run
    proven = run.reference_ma if run else None
    begun = st.session_state.get("seen_known_of") == (_identity(one), proven)
    if not begun or "seen_known_rated_current_ma" not in st.session_state:  # what was not drawn is forgotten
        st.session_state["seen_known_of"] = (_identity(one), proven)
        st.session_state["seen_known_rated_current_ma"] = "" if proven is None else f"{proven:.1f}"
        st.session_state["seen_known_rated_current_ma_unit"] = "mA"
        st.session_state["seen_known_evidence"] = None if proven is None else "heat-run"
    names = ["rated_current_ma", *([] if one.kept.contributor else ["contributor"])]
    asked = {name: FIELDS[name] for name in ("evidence", *names)}
    now = forms.entries("seen_known_")
    units = {"rated_current_ma": FIELDS["rated_current_ma"].unit}
    read = measured.read(now, units, {"rated_current_ma": FIELDS["rated_current_ma"].usual})
    form = forms.Form("seen_known_", read.aloud, {}, read.faults, asked)
    st.write(SAYS["make_known"])
    form.choice(asked["evidence"], FIELDS["evidence"].names)
    form.ask(*names)
    ready = not read.faults
    st.button(SAYS["make_known_button"], key="bench_make_known", on_click=_known, args=(one,), disabled=not ready)
    revising.trouble()


def _known(one: UnitNow) -> None:
    """Add the record by the one check of the known units; what is wrong with it is said."""
    now = forms.entries("seen_known_")
    rated = measured.read(now, {"rated_current_ma": "mA"}).kept["rated_current_ma"]
    by, why = _typed(WHO), _typed(WHY)
    try:
        record = known_of(one, now.get("evidence") or "", "" if rated is None else rated, now.get("contributor") or "")
    except calib.InputError as error:
        st.session_state[revising.TROUBLE] = "Not made known: " + "; ".join(map(str, error.faults))
        return
    tag = (record.contributor, record.unit)
    revising.step(tag, "a known unit now", lambda register: make_known(register, one, record, by, why))


def _history(one: UnitNow) -> None:
    """Every revision, the last first; the last can be taken back."""
    if not one.kept.revision:
        return
    st.subheader("Its history", anchor=False)
    try:
        with context.register() as register:
            past = register.bench_history(*_identity(one))
    except calib.CannotError as error:
        st.error(words.plain(f"The history cannot be read: {error}."))
        return
    rows = [(str(row[0]), *row[1:]) for row in history_of(past)]
    st.html(context.table(("revision", "was", "when", "by", "why", "what changed"), rows, numeric=(0,)))
    last = int(past["revision"].iloc[-1])
    with st.container(horizontal=True, gap="small"):
        label = SAYS["undo_undo"] if past["action"].iloc[-1] == PUT_BACK else SAYS["undo"]
        st.button(label.format(revision=last), key="bench_undo", on_click=_undo, args=(_identity(one), last))
        st.button(SAYS["take_off"], key="bench_take_off", on_click=_take_off, args=(_identity(one),))


def _take_off(identity: Identity) -> None:
    by, why = _typed(WHO), _typed(WHY)
    tag, contributor = identity
    said = SAYS["off"].format(tag=tag)
    _do(identity, said, lambda register: register.take_off_bench(tag, contributor, by=by, reason=why))
