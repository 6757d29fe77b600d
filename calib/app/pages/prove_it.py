"""A heat run: its plan, its forecast while it lasts, its result, and the unit that it makes known."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import streamlit as st

import calib
from calib import words
from calib.app import context, forms, typed
from calib.app.pages.what_can_it_give import unit_entries
from calib.bench.uncertainty import WINDING_TEMP_HALF_WIDTH_K, rectangular
from calib.errors import Fault, InputError
from calib.estimate.heat_run import HeatRun, HeatRunResult, heat_run
from calib.estimate.unit import beside_heat_run
from calib.estimate.warming import Entry, entries_by_ohms, forecast_rise, run_plan
from calib.register.records import standing
from calib.session import fields as measured, readings as r

if TYPE_CHECKING:
    import pandas as pd

SAYS = context.SAID["heat"]
LABELS = SAYS["fields"]
PLAN = ("dc_v", "load_ma", "tongue_mm")
RESULT = ("cold_ohm", "cold_temp_c", "ambient_start_c", "ambient_end_c", "iron_w", "copper_w")
OPTIONAL = ("iron_w", "copper_w")
CASE_U_K = 0.5  # of a case's temperature (judgement)
STARTED = "heat_started"


def draw() -> None:
    """The plan, the run, the result, one below the other, each with its cautions before it."""
    opened = context.opened_register()
    context.head("Prove it", opened)
    typed_in = unit_entries()
    unit, metal = r.understand(typed_in, opened.meters).unit, r.metal_of(typed_in)
    row = None if unit is None else {str(name): value for name, value in unit.iloc[0].items()}
    context.cautions(SAYS["cautions"])
    st.write(SAYS["no_unit" if row is None else "unit"])
    if row is not None:
        if against := context.drawn(row, SAYS["stopped"]):
            st.html(against)
        if any(kind == "stop" for kind, _ in standing(row)):
            return
    if metal != r.COPPER:
        st.write(SAYS["metal"].format(metal=metal))
    numbers: typed.Numbers = {}
    faults: list[Fault] = []
    st.header("Plan", anchor=False)
    typed.ask("heat_", LABELS, PLAN, (numbers, faults))
    _plan(numbers, faults)
    st.header("What is read", anchor=False)
    context.caution(SAYS["before_reading"])
    typed.ask("heat_", LABELS, RESULT, (numbers, faults))
    allowed = float(forms.select("heat_class", LABELS["allowed_rise_k"], list(SAYS["classes"]), names=SAYS["classes"]))
    st.header("While it runs", anchor=False)
    _while_it_runs(numbers, allowed, metal)
    st.header("After switching off", anchor=False)
    found = _after(numbers | {"allowed_rise_k": allowed}, faults, metal)
    if found is not None:
        _told(found)
        if unit is not None and found.reference_ma is not None:
            _estimate(context.model_of(opened), unit, found.reference_ma)
            if st.button(SAYS["make_known"], key="prove_known", on_click=_fill, args=(unit, found.reference_ma)):
                st.switch_page(Path(__file__).with_name("known_units.py"))
        st.write(SAYS["after_all"])


def _plan(numbers: typed.Numbers, faults: list[Fault]) -> None:
    """The load, how long, and when to read."""
    typed.say([one for one in faults if one.column in PLAN], LABELS)
    if "dc_v" not in numbers or "load_ma" not in numbers:
        st.write(SAYS["no_plan"])
        return
    try:
        plan = run_plan(numbers["dc_v"], numbers["load_ma"], numbers.get("tongue_mm"))
    except ValueError as error:
        st.error(words.plain(f"{error}."))
        return
    st.write(SAYS["plan"].format(ohm=words.figure(plan.load_ohm), watts=words.figure(plan.load_w)))
    made = SAYS["no_parts"] if plan.made_of is None else SAYS["made_of"].format(parts=plan.made_of)
    st.write(words.plain(made))
    hours, most = (words.figure(one, 2) for one in (plan.hours, plan.most_hours))
    st.write(SAYS["hours"].format(hours=hours, most=most, step=f"{plan.entries_min[0]:g}"))
    st.write(SAYS["after"].format(times=", ".join(f"{one:g}" for one in plan.after_s)))


def _rows(key: str, count: int) -> list[tuple[float, ...]]:
    """The lines of a text as numbers; raises InputError with every line that is none."""
    rows, faults = [], []
    for line, text in enumerate(str(st.session_state.get(key) or "").splitlines(), start=1):
        cells = text.split()
        if not cells:
            continue
        try:
            row = tuple(typed.number(one) for one in cells)
        except ValueError:
            row = ()
        if len(row) != count:
            remedy = f"write {count} numbers, parted by spaces"
            faults.append(typed.fault("Entries", text.strip()[:60], "is not understood", remedy, line))
        rows.append(row)
    if faults:
        raise InputError(faults)
    return rows


def _while_it_runs(numbers: typed.Numbers, allowed: float, metal: str) -> None:
    """Entries with a clock, and where they lead."""
    forms.pick("heat_part", "What is read", SAYS["part"])
    part = str(st.session_state.get("heat_part") or "winding")
    if part == "case":
        st.write(SAYS["case"].format(margin=SAYS["case_margin_k"]))
    now, air, start, note = st.columns(4, gap="small", vertical_alignment="bottom")
    with now:
        forms.number("heat_now", "Reading now, Ω" if part == "winding" else "Reading now, °C")
    with air:
        forms.number("heat_air", "Air now, °C")
    start.button("The run begins now", key="prove_start", on_click=_start)
    began = st.session_state.get(STARTED)
    note.button("Note it with the clock", key="prove_note", on_click=_note, disabled=began is None)
    st.text_area(SAYS["entries"], key="heat_entries", height=140)
    try:
        rows = _rows("heat_entries", 3)
        if len(rows) < 3:
            st.write(SAYS["no_entries"])
            return
        told = forecast_rise(
            *_entries(rows, part, numbers, allowed, metal), tongue_mm=numbers.get("tongue_mm"), part=part
        )
    except InputError as error:
        typed.say(list(error.faults), LABELS)
        return
    except ValueError as error:
        st.error(words.plain(f"{error}."))
        return
    if told.stop:
        st.html(context.stop("Stop now: open the line", [str(told).removeprefix("STOP NOW: ")]))
    else:
        st.info(words.plain(SAYS["stop_later"].format(told=told)))


def _entries(
    rows: list[tuple[float, ...]], part: str, numbers: typed.Numbers, allowed: float, metal: str
) -> tuple[list[Entry], float, float, float]:
    """Entries as temperatures, the limit, and how sure each is, alone and together."""
    if part == "case":
        limit = allowed - float(SAYS["case_margin_k"])
        return [Entry(*row) for row in rows], limit, CASE_U_K, 0.0
    needed = ("cold_ohm", "cold_temp_c")
    if missing := [name for name in needed if name not in numbers]:
        raise InputError([typed.fault(one, "", "is empty", "give the cold reading above first") for one in missing])
    entries, read_u = entries_by_ohms(rows, numbers["cold_ohm"], numbers["cold_temp_c"], metal)
    return entries, allowed, read_u, rectangular(WINDING_TEMP_HALF_WIDTH_K)


def _start() -> None:
    """Begin the clock; what was noted of an earlier run stays until its user takes it out."""
    st.session_state[STARTED] = time.time()


def _note() -> None:
    """Add an entry with the minutes of the clock."""
    state = st.session_state
    minutes = (time.time() - float(state[STARTED])) / 60.0
    line = f"{minutes:.1f} {str(state.get('heat_now') or '').strip()} {str(state.get('heat_air') or '').strip()}"
    before = str(state.get("heat_entries") or "").rstrip()
    state["heat_entries"] = f"{before}\n{line}".lstrip()
    state["heat_now"] = ""


def _after(numbers: typed.Numbers, faults: list[Fault], metal: str) -> HeatRunResult | None:
    """The result of the readings after switching off; None where something is missing or wrong, which is said."""
    st.text_area(SAYS["readings"], key="heat_readings", height=180)
    wrong = [one for one in faults if one.column not in PLAN]
    typed.say(wrong, LABELS)
    given: dict[str, Any] = {name: value for name, value in numbers.items() if name not in ("dc_v", "tongue_mm")}
    needed = {"load_ma", *RESULT} - set(OPTIONAL)
    try:
        rows = _rows("heat_readings", 2)
        if not rows or wrong:
            st.write(SAYS["no_result"])
            return None
        if missing := sorted(needed - set(given)):
            raise InputError([typed.fault(one, "", "is empty", "the result needs it") for one in missing])
        seconds, ohm = zip(*rows, strict=True)
        return heat_run(HeatRun(seconds=seconds, ohm=ohm, conductor=metal, **given))
    except InputError as error:
        typed.say(list(error.faults), LABELS)
        return None


def _told(found: HeatRunResult) -> None:
    """Rise, ways back, both currents, doubts."""
    if found.doubts:
        st.html(context.doubts("In doubt, look again", found.doubts))
    st.write(SAYS["rise"].format(rise=found.rise_k, u=found.rise_u_k, drift=found.drift_k))
    cooling = found.cooling
    ways = [SAYS["way"].format(name=name, ohm=words.figure(ohm, 5)) for name, ohm in cooling.by_method.items()]
    st.write(SAYS["ways"].format(ways=", ".join(ways), method=cooling.method))
    names = (("allowed", SAYS["yours"].format(wanted=found.run.allowed_rise_k)), ("reference", SAYS["register"]))
    for name, said in names:
        most, low, high = (getattr(found, f"{name}{end}_ma") for end in ("", "_low", "_high"))
        if most is None:
            st.write(SAYS["untold"].format(name=said))
            continue
        rule = found.rule if name == "allowed" else found.reference_rule
        figures = {key: words.figure(one) for key, one in (("most", most), ("low", low), ("high", high))}
        st.write(words.plain(SAYS["permitted"].format(name=said, rule=rule, **figures)))


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
