"""What a visit keeps at the bench: its session with the copy in the register, and answers with their unit.

What was entered stands in the visit's own state first, so that a register that cannot be reached loses nothing. A
session may change elsewhere meanwhile, on another page or in another window: what came from there is taken over, field
by field, unless the same field was changed here too.
"""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context
from calib.paths import data
from calib.register import fields
from calib.register.frame import record_of
from calib.session import kept_demand, kept_estimate, kept_heat_run
from calib.session.fields import as_shown, gathered, merge
from calib.session.interpret import DOUBTS_EXPLAINED, EXPLAINED, EXPLAINS, RUN, with_leads
from calib.session.protocol import NAMES, practice_entries, step_named, translated

if TYPE_CHECKING:
    import pandas as pd

    from calib.register.bench_book import BenchSession
    from calib.session.repair import Repair

INPUT = "bench_in_"  # what the keys of the fields begin with
ID, ENTRIES, STEP = "bench_session_id", "bench_entries", "bench_step"
BASE, REVISION, KEPT_AT, STATE = "bench_base", "bench_revision", "bench_kept_at", "bench_state"
TROUBLE, TROUBLE_AT, SEEN = "bench_trouble", "bench_trouble_at", "bench_seen"
PLACE, ASIDE, FRESH, DONE = "bench_place", "bench_aside", "bench_fresh", "bench_done"
TURN = "bench_turn"  # how often another step was shown
REASON, UNCLEARED = "bench_reason", "bench_uncleared"  # why a stop is to be cleared, and why it was not
OF_DOUBTS = "_doubts"  # after those, the same for the doubts of the step that is shown
OF_SESSION = (ID, ENTRIES, STEP, BASE, REVISION, KEPT_AT, STATE)
LEAVE_ALONE_S = 20.0  # a register that could not be reached is left alone for so long, unless it is asked for [s]


def begin() -> None:
    """Have a session, be it an empty one; each register has its own, and changing the register changes between them."""
    state, place = st.session_state, context.PRACTICE if context.practising() else context.OWN
    if state.get(PLACE) == place:
        return
    aside = state.setdefault(ASIDE, {})
    if PLACE in state:
        collect()
        aside[state[PLACE]] = {name: state[name] for name in OF_SESSION}
    state[PLACE] = place
    _show(aside.pop(place, None) or _empty())
    state.update({TROUBLE: "", TROUBLE_AT: -math.inf, SEEN: None})


def _empty() -> dict[str, Any]:
    return {ID: "", ENTRIES: {}, STEP: NAMES[0], BASE: {}, REVISION: 0, KEPT_AT: None, STATE: "open"}


def _show(session: Mapping[str, Any]) -> None:
    st.session_state.update(session)
    st.session_state[FRESH] = True
    for name in (REASON, UNCLEARED):
        st.session_state.pop(name, None)
        st.session_state.pop(name + OF_DOUBTS, None)
    st.session_state[TURN] = st.session_state.get(TURN, -1) + 1
    context.forget(INPUT)


def entries() -> dict[str, dict[str, Any]]:
    """What was entered, by step and field."""
    found: dict[str, dict[str, Any]] = st.session_state[ENTRIES]
    return found


def of(step: str) -> dict[str, Any]:
    """What was entered at a step, by field."""
    return entries().get(step, {})


def key(step: str, field: str) -> str:
    """The key of a field of the form."""
    return f"{INPUT}{step}_{field}"


def collect() -> None:
    """Take over what stands in the fields of the step that is shown."""
    step = step_named(st.session_state[STEP])
    shown = {}
    for field in step.fields.values():
        place = key(step.name, field.name)
        if place in st.session_state:
            shown[field.name] = (st.session_state[place], st.session_state.get(f"{place}_unit"))
    mine, forgotten = gathered(step, of(step.name), shown)
    if forgotten:
        st.session_state[FRESH] = True
    if mine != of(step.name):
        st.session_state[ENTRIES] = {**entries(), step.name: mine}


def gather() -> None:
    """Take over the same at the begin of a run, whatever page it draws: the run that an entry began may have been cut
    short by a click on another page, and the server forgets the fields of a page that it does not draw.
    """
    if PLACE in st.session_state:
        collect()


def spread() -> None:
    """Put the entries of the step that is shown into its fields: all of them where it was not shown before."""
    step, fresh = step_named(st.session_state[STEP]), st.session_state.pop(FRESH, False)
    mine = of(step.name)
    for field in step.fields.values():
        place = key(step.name, field.name)
        if fresh or place not in st.session_state:
            st.session_state[place] = as_shown(field, mine.get(field.name))
            st.session_state.pop(f"{place}_unit", None)
            if f"{field.name}_unit" in mine:
                st.session_state[f"{place}_unit"] = mine[f"{field.name}_unit"]


def put(step: str, fields: Mapping[str, Any]) -> None:
    """Take over fields from elsewhere, such as another page, and keep the session."""
    begin()
    st.session_state[ENTRIES] = {**entries(), step: {**of(step), **fields}}
    keep()


def put_run(fields: Mapping[str, Any]) -> None:
    """Keep the entries of a heat run in the session, in place of those that were."""
    if dict(fields) != of(RUN):
        st.session_state[ENTRIES] = {**entries(), RUN: dict(fields)}
    if changed():
        keep()


def runs() -> list[BenchSession]:
    """Open sessions of the register that hold a heat run, the one kept last first; none where it cannot be reached."""
    try:
        with context.register() as register:
            found = register.on_bench().sessions
    except calib.CannotError as error:
        _failed(error)
        return []
    return [one for one, fault in found if not fault and one.state == "open" and one.entries.get(RUN)]


def put_right(repair: Repair, fields: Mapping[str, Any]) -> None:
    """Put a repair's entries into its step, or take them back; those that are empty are taken out."""
    collect()
    mine = {**of(repair.step), **fields}
    there = {name: value for name, value in mine.items() if value not in (None, "")}
    st.session_state[ENTRIES] = {**entries(), repair.step: there}
    st.session_state[FRESH] = True
    keep()


def put_leads(names: Sequence[str], readings: Sequence[Sequence[Any]]) -> None:
    """Take over the readings of lead pairs, and the leads that they tell apart."""
    begin()
    put("leads", with_leads(of("leads"), names, readings))


def go(step: str) -> None:
    """Leave the step that is shown, keep the session, and show another step."""
    collect()
    if step != st.session_state[STEP]:
        st.session_state[TURN] += 1
        for name in (REASON, UNCLEARED):
            st.session_state.pop(name + OF_DOUBTS, None)
    st.session_state[STEP] = step
    st.session_state[FRESH] = True
    keep()


def more_rows(step: str, rows: str, number: int) -> None:
    """Show more rows at a step."""
    collect()
    st.session_state[ENTRIES] = {**entries(), step: {**of(step), f"{rows}_rows": number}}


def clear_stops(stops: Sequence[str]) -> None:
    """Keep what was found and done about these stops, which clears them; with none of them, they stand again."""
    collect()
    kept = _reason("", "the stop stands" if stops else "")
    if kept is not None:
        put("ratio", {EXPLAINED: kept, EXPLAINS: [*stops]} if stops else {EXPLAINS: []})


def clear_doubts(doubts: Sequence[str], stand: bool = False) -> None:
    """Keep why these doubts no longer stand, or let them stand again."""
    collect()
    before = of("ratio").get(DOUBTS_EXPLAINED) or {}
    if stand:
        put("ratio", {DOUBTS_EXPLAINED: {one: why for one, why in before.items() if one not in doubts}})
        return
    kept = _reason(OF_DOUBTS, "the doubt stands")
    if kept is not None:
        put("ratio", {DOUBTS_EXPLAINED: {**before, **dict.fromkeys(doubts, kept)}})
        st.session_state.pop(REASON + OF_DOUBTS, None)


def _reason(which: str, without: str) -> str | None:
    """The reason as typed; None where it cannot be kept or, where one is needed, there is none, which is said."""
    visit, reason = st.session_state, str(st.session_state.get(REASON + which) or "")
    visit[UNCLEARED + which] = ""
    try:
        kept = fields.one_line(reason)
    except fields.Refusal as refused:
        visit[UNCLEARED + which] = f"Not cleared: {reason} {refused.problem}; {refused.remedy}."
        return None
    if without and not kept:
        said = f"Not cleared: say what was found and done about it; without a reason {without}."
        visit[UNCLEARED + which] = said
        return None
    return kept


def changed() -> bool:
    """Whether something was entered that is not kept yet."""
    return bool(entries() != st.session_state[BASE])


def keep(state: str = "") -> bool:
    """Keep the session in the register; where that cannot be done, say why and lose nothing.

    Parameters
    ----------
    state : str
        open or done; blank leaves it as it is.

    Returns
    -------
    bool
        Whether the register now holds all of it.
    """
    visit = st.session_state
    if not visit[ID] and not any(entries().values()):
        return True
    try:
        with context.register() as register:
            _catch_up(register)
            kept = register.keep_session(
                str(of("look").get("tag") or ""),
                entries(),
                visit[STEP],
                contributor=str(of("look").get("contributor") or ""),
                state=state or visit[STATE],
                session_id=visit[ID],
            )
    except (calib.CannotError, calib.InputError) as error:
        _failed(error)
        return False
    visit.update({ID: kept.session_id, BASE: copy.deepcopy(kept.entries), REVISION: kept.revision})
    visit.update({KEPT_AT: kept.kept_at, STATE: kept.state, TROUBLE: ""})
    return True


def _failed(error: Exception) -> None:
    st.session_state[TROUBLE] = "; ".join(str(error).splitlines())
    st.session_state[TROUBLE_AT] = time.monotonic() if isinstance(error, calib.CannotError) else -math.inf


def _catch_up(register: calib.Register) -> None:
    """Take over what was kept elsewhere since."""
    visit = st.session_state
    if not visit[ID]:
        return
    try:
        latest = register.session(visit[ID])
    except calib.InputError:  # another file stands in its place: begin the session there anew
        visit.update({ID: "", BASE: {}, REVISION: 0})
        return
    if latest.revision > visit[REVISION]:
        there = translated(latest.entries)
        merged = merge(visit[BASE], entries(), there)
        if merged.get(visit[STEP]) != entries().get(visit[STEP]):
            visit[FRESH] = True
        visit.update({ENTRIES: merged, BASE: there, REVISION: latest.revision})


def resume(session_id: str) -> None:
    """Put the present session aside, kept, and go on with another; stay where the present one cannot be kept."""
    collect()
    if changed() and not keep():
        return
    try:
        with context.register() as register:
            found = register.session(session_id)
    except (calib.CannotError, calib.InputError) as error:
        _failed(error)
        return
    step = found.step if found.step in NAMES else NAMES[0]
    there, times = translated(found.entries), {REVISION: found.revision, KEPT_AT: found.kept_at}
    _show({ID: found.session_id, ENTRIES: there, STEP: step, BASE: copy.deepcopy(there), STATE: "open", **times})


def another() -> None:
    """Put the present session aside, kept, and begin an empty one."""
    collect()
    if not changed() or keep():
        _show(_empty())


def practise() -> None:
    """Take the session to practise on, where nothing was entered yet."""
    _show({**_empty(), ENTRIES: practice_entries()})


def finish() -> None:
    """Mark the present session as done, and begin an empty one."""
    collect()
    tag = str(of("look").get("tag") or "The unit")
    if keep("done"):
        st.session_state[DONE] = f"{tag}: this session is finished. It stays in the register, and can be opened again."
        _show(_empty())


def reach() -> context.Opened | None:
    """Read the register, and keep what was entered; None where it cannot be reached, which is said in `TROUBLE`.

    One that could not be reached a moment ago is not asked for again at once, so that the fields stay quick.
    """
    visit = st.session_state
    if visit[TROUBLE] and time.monotonic() - visit[TROUBLE_AT] < LEAVE_ALONE_S:
        found: context.Opened | None = visit[SEEN]
        return found
    try:
        seen = context.as_it_stands()
    except calib.CannotError as error:
        _failed(error)
        return visit[SEEN]
    visit[TROUBLE], visit[SEEN] = "", seen
    newer = seen.sessions.loc[seen.sessions["session_id"] == visit[ID], "revision"]
    if changed() or (len(newer) and int(newer.iloc[0]) > visit[REVISION]):
        keep()
    return visit[SEEN]


KEEPS = data("app/bench_unit.toml")["keep"]
KEPT = "kept_on_bench"  # what was kept last, and what is said of it
PAGE = Path(__file__).parent / "pages" / "what_is_on_the_bench.py"


def keep_estimate(opened: context.Opened, model: Any, record: calib.UnknownUnit, answer: calib.UnitEstimate) -> None:
    """Offer to keep what a unit can give.

    Parameters
    ----------
    opened : context.Opened
        The register that is open.
    model : calib.Multiplier
        The fit that the answer is by.
    record : calib.UnknownUnit
        The unit.
    answer : calib.UnitEstimate
        What it can give.
    """
    row = answer.answer.iloc[0].to_dict()
    made = kept_estimate(model, row, (record.rectifier, record.filter), answer.level)
    _offer(opened, "estimate", record, calib.BenchEntry(readings=record, estimate=made))


def keep_demand(
    opened: context.Opened,
    model: Any,
    unit: pd.DataFrame,
    found: calib.Demand,
    asked: tuple[Any, calib.SetSupply, Sequence[calib.HeaterReading]],
) -> None:
    """Offer to keep whether a unit feeds a set; `asked` is the set's line-up and supply, and the heater windings."""
    record = _record(unit)
    made = kept_demand(model, found, *asked)
    _offer(opened, "demand", record, calib.BenchEntry(readings=record, demand=made))


def keep_heat_run(opened: context.Opened, unit: pd.DataFrame, found: calib.HeatRunResult) -> None:
    """Offer to keep what a heat run proved."""
    record = _record(unit)
    _offer(opened, "heat_run", record, calib.BenchEntry(readings=record, heat_run=kept_heat_run(found)))


def _record(unit: pd.DataFrame) -> calib.UnknownUnit:
    return record_of(calib.UnknownUnit, {str(name): value for name, value in unit.iloc[0].items()})


def _offer(opened: context.Opened, what: str, record: calib.UnknownUnit, entry: calib.BenchEntry) -> None:
    """The button, and what is on the bench of this unit already; where it has no tag, where to give it one."""
    tag = str(st.session_state.get("read_tag") or "").strip()
    contributor, session_id = _whose(opened, tag, record)
    with st.container(border=True, key=f"keep_{what}"):
        st.write(KEEPS["offer"][what])
        if not tag:
            st.write(KEEPS["no_tag"])
            return
        there = next((one for one, _ in opened.bench if (one.tag, one.contributor) == (tag, contributor)), None)
        if there is not None and _same(there, what, entry):
            kept = KEEPS["there"].format(tag=tag, at=f"{there.kept_at:%Y-%m-%d %H:%M}")
            st.success(words.plain(kept))
        else:
            entry = calib.BenchEntry(session_id, entry.readings, entry.estimate, entry.demand, entry.heat_run)
            label = words.plain(KEEPS["button"].format(tag=tag))
            st.button(label, key=f"keep_on_bench_{what}", on_click=_keep_answer, args=(tag, contributor, entry, what))
        if wrong := st.session_state.pop(f"{KEPT}_{what}", ""):
            st.error(words.plain(wrong))
        st.page_link(PAGE, label=KEEPS["to_bench"])


def _same(there: calib.KeptUnit, what: str, entry: calib.BenchEntry) -> bool:
    """Whether the bench has this answer with these readings."""
    own = {"unit": there.tag, "contributor": there.contributor}
    if entry.readings is None or there.readings != calib.UnknownUnit.parse({**entry.readings.entered(), **own}):
        return False
    new, old = getattr(entry, what), getattr(there, what)
    return bool(old is not None and new.model_copy(update={"made_at": old.made_at}) == old)


def _whose(opened: context.Opened, tag: str, record: calib.UnknownUnit) -> tuple[str, str]:
    """Whose bench it is, and the session that filled the form, where it is the unit's: a bench without known units has
    no name in the form.
    """
    filled = st.session_state.get(context.FILLED) or {}
    rows = opened.sessions[opened.sessions["session_id"].eq(filled.get("session") or "")].to_dict("records")
    mine = next((row for row in rows if row["tag"] == tag), None)
    if mine is None:
        return str(record.contributor or filled.get("contributor") or ""), ""
    return str(record.contributor or mine["contributor"]), str(mine["session_id"])


def _keep_answer(tag: str, contributor: str, entry: calib.BenchEntry, what: str) -> None:
    try:
        with context.register() as register:
            register.keep_on_bench(tag, entry, contributor=contributor, by=contributor, reason=KEEPS["why"][what])
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[f"{KEPT}_{what}"] = f"Not kept: {error}."
