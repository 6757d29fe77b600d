"""A heat run: its plan, its forecast while it lasts, its result, and the unit that it makes known."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import streamlit as st

import calib
from calib import charts, words
from calib.app import context, forms, session_state, session_state as session
from calib.app.pages.what_can_it_give import unit_entries
from calib.bench.uncertainty import WINDING_TEMP_HALF_WIDTH_K, rectangular
from calib.errors import Fault, InputError
from calib.estimate.cooling import IDLE
from calib.estimate.heat_run import HEAT, HeatRun, HeatRunResult, heat_run
from calib.estimate.unit import beside_heat_run
from calib.estimate.warming import Entry, entries_by_ohms, forecast_rise, run_plan
from calib.paths import data
from calib.register.records import standing
from calib.session import fields as measured, readings as r
from calib.session.interpret import RUN

if TYPE_CHECKING:
    import pandas as pd

SAYS = context.SAID["heat"]
UNLOADED = data("estimate/heat_run.toml")["unloaded"]
PLAN = ("dc_v", "load_ma", "tongue_mm")
RESULT = ("cold_ohm", "cold_temp_c", "ambient_start_c", "ambient_end_c")
LOSSES = ("copper_w", "iron_w", *IDLE)
PRIMARY = "line_ohm_cold"
FIELDS = {name: measured.Field.of(one) for name, one in HEAT.items()}
NOW = {name: replace(FIELDS[name], name=f"now_{name}", label=SAYS["now"][name]) for name in ("ohm", "case_c", "air_c")}
STEP = measured.step_of("heat", *(FIELDS[name] for name in (*PLAN, *RESULT, *LOSSES, PRIMARY)), *NOW.values())
CASE_U_K = 0.5  # of a case's temperature (judgement)
SAID_LINES = 3  # of what was understood, beneath a text
STARTED, METAL, TAG = "heat_started", "heat_metal", "heat_tag"  # of the run in the form, kept with it
SHOWN = "prove_shown"  # the session whose run the form shows


def draw() -> None:
    """The plan, the run, the result, one below the other, each with its cautions before it."""
    opened = context.opened_register()
    context.head("Prove it", opened)
    _take_up()
    typed_in = unit_entries()
    unit = r.understand(typed_in, opened.meters).unit
    if not _same_unit(str(typed_in.get("tag") or "").strip()):
        unit = None
    row = None if unit is None else {str(name): value for name, value in unit.iloc[0].items()}
    context.cautions(SAYS["cautions"])
    st.write(SAYS["no_unit" if row is None else "unit"])
    if row is not None:
        if against := context.drawn(row, SAYS["stopped"]):
            st.html(against)
        if any(kind == "stop" for kind, _ in standing(row)):
            return
    metal = _metal(typed_in, row is not None)
    st.header("Plan", anchor=False)
    _offer()
    form, done = forms.Form.checked("heat_", STEP)
    form.grid(PLAN)
    _plan(done.values)
    st.header("What is read", anchor=False)
    context.caution(SAYS["before_reading"])
    form.grid(RESULT)
    with st.expander(SAYS["losses"]):
        st.write(SAYS["parted"])
        context.caution(UNLOADED["plan"])
        form.grid(LOSSES)
    label, classes = FIELDS["allowed_rise_k"].label, SAYS["classes"]
    allowed = float(forms.select("heat_class", label, list(classes), names=classes))
    st.header("While it runs", anchor=False)
    _while_it_runs(form, done, allowed, metal)
    st.header("After switching off", anchor=False)
    found = _after(form, done, allowed, metal)
    if found is not None:
        _answer(opened, unit, found)


def _same_unit(tag: str) -> bool:
    """Whether the run in the form is of the unit under 'What can it give?', as far as tags tell; it is said if not."""
    visit = st.session_state
    if not _begun(forms.entries("heat_")) or not visit.get(TAG):
        visit[TAG] = tag
    if not tag or tag == visit[TAG]:
        return True
    st.error(words.plain(SAYS["other_unit"].format(run=visit[TAG], now=tag)))
    st.button(words.plain(SAYS["is_of"].format(now=tag)), key="prove_is_of", on_click=visit.update, args=({TAG: tag},))
    return False


def _metal(typed_in: Mapping[str, Any], known: bool) -> str:
    """The winding's metal: as said of the unit; of a run that outlived its unit's form, as it was said then."""
    visit, said = st.session_state, r.metal_of(typed_in)
    if known or said != r.COPPER or METAL not in visit:
        visit[METAL] = said
    metal = str(visit[METAL])
    if metal != r.COPPER:
        st.write(SAYS["metal" if metal == said else "metal_then"].format(metal=metal))
    return metal


def _answer(opened: context.Opened, unit: pd.DataFrame | None, found: HeatRunResult) -> None:
    """What the run showed, what it makes of the unit's estimate, and the ways on from there."""
    _told(found)
    if unit is not None and found.reference_ma is not None:
        _estimate(context.model_of(opened), unit, found.reference_ma)
        if st.button(SAYS["make_known"], key="prove_known", on_click=_fill, args=(unit, found.reference_ma)):
            st.switch_page(Path(__file__).with_name("known_units.py"))
    if unit is not None:
        session_state.keep_heat_run(opened, unit, found)
    st.write(SAYS["after_all"])


def _plan(numbers: dict[str, float]) -> None:
    """The load, how long, and when to read."""
    if "dc_v" not in numbers or "load_ma" not in numbers:
        st.write(SAYS["no_plan"])
        return
    plan = run_plan(numbers["dc_v"], numbers["load_ma"], numbers.get("tongue_mm"))
    st.write(SAYS["plan"].format(ohm=words.figure(plan.load_ohm), watts=words.figure(plan.load_w)))
    made = SAYS["no_parts"] if plan.made_of is None else SAYS["made_of"].format(parts=plan.made_of)
    st.write(words.plain(words.symbols(made)))
    hours, most = (words.figure(one, 2) for one in (plan.hours, plan.most_hours))
    st.write(SAYS["hours"].format(hours=hours, most=most, step=f"{plan.entries_min[0]:g}"))
    st.write(SAYS["after"].format(times=", ".join(f"{one:g}" for one in plan.after_s)))


def _rows(key: str, *names: str) -> list[tuple[float, ...]]:
    """The lines of a text as numbers, and beneath it what was understood; raises InputError with all that is wrong."""
    rows, said = measured.lines_read(str(st.session_state.get(key) or ""), [FIELDS[name] for name in names])
    for one in said[:SAID_LINES]:
        forms.aloud(one)
    if len(said) > SAID_LINES:
        forms.aloud(SAYS["more_lines"].format(count=len(said) - SAID_LINES))
    return rows


def _while_it_runs(form: forms.Form, done: measured.Checked, allowed: float, metal: str) -> None:
    """Entries with a clock, where they are kept, and where they lead."""
    _keep()
    forms.pick("heat_part", "What is read", SAYS["part"])
    part = str(st.session_state.get("heat_part") or "winding")
    if part == "case":
        st.write(SAYS["case"].format(margin=SAYS["case_margin_k"]))
    read = "ohm" if part == "winding" else "case_c"
    form.grid((f"now_{read}", "now_air_c"))
    now = [done.values.get(f"now_{name}") for name in (read, "air_c")]
    with st.container(horizontal=True, gap="small"):
        started = st.session_state.get(STARTED)
        st.button(SAYS["begin" if started is None else "begin_anew"], key="prove_start", on_click=_start)
        idle = started is None or None in now
        st.button(SAYS["note"], key="prove_note", on_click=_note, args=(f"heat_now_{read}", now), disabled=idle)
    if started is not None:
        begun = datetime.fromtimestamp(float(started))
        st.write(SAYS["clock"].format(at=f"{begun:%H:%M}", minutes=f"{(time.time() - float(started)) / 60.0:.0f}"))
    st.text_area(SAYS["entries"], key="heat_entries", height=140)
    try:
        rows = _rows("heat_entries", "minutes", read, "air_c")
        if len(rows) < 3:
            st.write(SAYS["no_entries"])
            return
        given = _entries(rows, part, done.values, allowed, metal)
        told = forecast_rise(*given, tongue_mm=done.values.get("tongue_mm"), part=part)
    except InputError as error:
        forms.told(error.faults, FIELDS, SAYS["columns"])
        return
    if told.stop:
        allows = SAYS["limit"].format(limit=f"{given[1]:g}")
        st.html(context.stop("Stop now: open the line", [told.words, allows]))
    else:
        st.info(words.plain(SAYS["stop_later"].format(limit=f"{given[1]:g}", told=told)))


def _entries(
    rows: list[tuple[float, ...]], part: str, numbers: dict[str, float], allowed: float, metal: str
) -> tuple[list[Entry], float, float, float]:
    """Entries as temperatures, the limit, and how sure each is, alone and together."""
    if part == "case":
        limit = allowed - float(SAYS["case_margin_k"])
        return [Entry(*row) for row in rows], limit, CASE_U_K, 0.0
    _refuse_missing(("cold_ohm", "cold_temp_c"), numbers, "give the cold reading above first")
    entries, read_u = entries_by_ohms(rows, numbers["cold_ohm"], numbers["cold_temp_c"], metal)
    return entries, allowed, read_u, rectangular(WINDING_TEMP_HALF_WIDTH_K)


def _refuse_missing(names: Sequence[str], numbers: dict[str, float], remedy: str) -> None:
    """Raise InputError with every field that is needed and has no sound number."""
    if missing := [name for name in names if name not in numbers]:
        problem = "is empty, or is to be put right"
        raise InputError([Fault("", None, name, "", problem, remedy, "missing") for name in missing])


def _take_up() -> None:
    """Put the run that the session holds into the form, where another stands there."""
    session.begin()
    visit, kept = st.session_state, session.of(RUN)
    shown = visit.get(SHOWN)
    if shown != visit[session.ID]:
        if kept or shown:
            context.forget("heat_")
        remembered = visit.setdefault("kept", {})
        for name, value in kept.items():
            visit[f"heat_{name}"] = remembered[f"heat_{name}"] = value
        visit[SHOWN] = visit[session.ID]


def _offer() -> None:
    """Where no run stands in the form, the way to those that the register keeps."""
    if session.of(RUN) or _begun(forms.entries("heat_")) or not (found := session.runs()):
        return
    named = {one.session_id: _named(one.entries[RUN].get("tag") or one.tag, one.kept_at) for one in found}
    which = forms.select("prove_which", SAYS["runs"], list(named), names=named)
    st.button(SAYS["go_on"], key="prove_go_on", on_click=session.resume, args=(which,))


def _named(tag: str, kept_at: datetime) -> str:
    """What a run that is kept is called."""
    return str(SAYS["run"].format(tag=tag or SAYS["untagged"], at=f"{kept_at:%Y-%m-%d %H:%M}"))


def _begun(entries: Mapping[str, Any]) -> bool:
    """Whether there is a run to keep: its clock runs, or something was read."""
    return any(entries.get(name) for name in ("started", "entries", "readings"))


def _keep() -> None:
    """Keep the run in the session at the bench once it has begun, and say so; what is not kept is said too."""
    held = {name: value for name, value in forms.entries("heat_").items() if value not in (None, "")}
    if not _begun(held):
        st.write(SAYS["to_be_kept"])
        return
    session.put_run({name: value for name, value in held.items() if not name.startswith("now_")})
    visit = st.session_state
    visit[SHOWN] = visit[session.ID]
    if visit[session.TROUBLE]:
        st.error(words.plain(SAYS["not_kept"].format(why=visit[session.TROUBLE])))
        return
    tag = str(visit.get(TAG) or session.of("look").get("tag") or "")
    named, untold = _named(tag, visit[session.KEPT_AT]), "" if tag else f" {SAYS['tag']}"
    st.write(words.plain(SAYS["kept_in"].format(run=named)) + untold)
    st.button(SAYS["another"], key="prove_another", on_click=session.another)


def _start() -> None:
    """Begin the clock; what was noted of an earlier run stays until its user takes it out."""
    st.session_state[STARTED] = time.time()


def _note(key: str, now: Sequence[float]) -> None:
    """Add an entry with the minutes of the clock."""
    state = st.session_state
    minutes = (time.time() - float(state[STARTED])) / 60.0
    before = str(state.get("heat_entries") or "").rstrip()
    line = " ".join([f"{minutes:.1f}", *map(measured.shown, now)])
    state["heat_entries"] = f"{before}\n{line}".lstrip()
    state[key] = ""


def _after(form: forms.Form, done: measured.Checked, allowed: float, metal: str) -> HeatRunResult | None:
    """The result of the readings after switching off; None where something is missing or wrong, which is said."""
    st.text_area(SAYS["readings"], key="heat_readings", height=180)
    with st.expander(SAYS["primary"]):
        st.write(SAYS["primary_too"])
        form.ask(PRIMARY)
        st.text_area(SAYS["line_readings"], key="heat_line_readings", height=140)
    asked = ("load_ma", *RESULT, *LOSSES, PRIMARY)
    given: dict[str, Any] = {name: done.values[name] for name in asked if name in done.values}
    try:
        rows = _rows("heat_readings", "seconds", "ohm")
        if not rows:
            st.write(SAYS["no_result"])
            return None
        needed = [name for name in asked if name not in (*LOSSES, PRIMARY) or name in done.faults]
        _refuse_missing(needed, given, "the result needs it")
        seconds, ohm = zip(*rows, strict=True)
        if primary := _rows("heat_line_readings", "line_seconds", "line_ohm"):
            given["line_seconds"], given["line_ohm"] = zip(*primary, strict=True)
        return heat_run(HeatRun(seconds=seconds, ohm=ohm, allowed_rise_k=allowed, conductor=metal, **given))
    except InputError as error:
        forms.told(error.faults, FIELDS, SAYS["columns"])
        return None


def _told(found: HeatRunResult) -> None:
    """Rise, ways back, both currents, doubts."""
    if found.doubts:
        st.html(context.doubts("In doubt, look again", found.doubts))
    st.write(SAYS["rise"].format(rise=found.rise_k, u=found.rise_u_k, drift=found.drift_k))
    if found.line_rise_k is not None:
        st.write(SAYS["line_rise"].format(rise=found.line_rise_k))
    cooling = found.cooling
    names = SAYS["ways_of"]
    ways = [SAYS["way"].format(name=names[way], ohm=words.figure(ohm, 5)) for way, ohm in cooling.by_method.items()]
    st.write(SAYS["ways"].format(ways=", ".join(ways), method=cooling.method))
    chart = charts.cooling(found, context.colours())
    context.picture(chart, "prove_picture")
    context.in_words(str(chart.description))
    if found.iron is not None:
        st.write(words.plain(SAYS["iron"].format(iron=found.iron)))
    both = (("allowed", SAYS["yours"].format(wanted=found.run.allowed_rise_k)), ("reference", SAYS["register"]))
    for name, said in both:
        most, low, high = (getattr(found, f"{name}{end}_ma") for end in ("", "_low", "_high"))
        if most is None:
            st.write(SAYS["untold"].format(name=said))
            continue
        rule = found.rule if name == "allowed" else found.reference_rule
        figures = {key: words.figure(one) for key, one in (("most", most), ("low", low), ("high", high))}
        st.write(words.plain(SAYS["permitted"].format(name=said, rule=SAYS["rules"][rule], **figures)))


def _estimate(model: Any, unit: pd.DataFrame, proven_ma: float) -> None:
    """What the readings said before the run and with it."""
    moved = beside_heat_run(model, unit, proven_ma, context.LEVEL)
    if moved.empty:
        st.warning(SAYS["withheld"])
        return
    figures: dict[str, str] = {}
    for one in moved.to_dict("records"):
        middle, low, high = (words.figure(one[name]) for name in ("rated_current_ma", "low_ma", "high_ma"))
        figures |= {one["when"]: middle, f"{one['when']}_low": low, f"{one['when']}_high": high}
    st.write(SAYS["odds"].format(**figures))
    if not 0.05 <= moved["odds_of_proven"].iloc[0] <= 0.95:
        st.warning(SAYS["surprise"])


def _fill(unit: pd.DataFrame, proven_ma: float) -> None:
    """Put the unit with its proven current into the form of the known units, where it is looked at and added."""
    context.forget("add_")
    st.session_state.pop(forms.REMEMBERED, None)
    row = unit.iloc[0].to_dict() | {"rated_current_ma": round(proven_ma, 1), "evidence": "heat-run"}
    names = {one.name for one in calib.fields(calib.KnownUnit)} - {"stop", "stop_cleared", "doubts"}
    kept = st.session_state.setdefault("kept", {})
    kept["add_ohm_leads"] = "null-off"  # as the row has it
    for name, value in row.items():
        if name in names and value is not None and value == value and value != "":
            flag = isinstance(value, (bool, np.bool_))
            kept[f"add_{name}"] = str(value).lower() if flag else measured.shown(value)


if __name__ == "__main__":
    draw()
