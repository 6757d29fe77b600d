"""A rewind plan: what a core and a target ask of the windings, beside what it was and what came of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context, files, forms
from calib.app.pages.what_can_it_give import unit_entries
from calib.bench.resistance import CONDUCTORS
from calib.errors import InputError
from calib.estimate.old_winding import OLD, READ, AsItWas, NewWinding, OldWinding, as_it_was, as_wound, asked_by
from calib.estimate.rewind import REWIND, SERIES, Heater, RewindPlan, RewindTarget, rewind_plan
from calib.paths import data
from calib.register.frame import record_of
from calib.session import fields as measured, readings as r

if TYPE_CHECKING:
    import pandas as pd

SAYS = context.SAID["rewind"]
PLAN = data("estimate/rewind.toml")
LABELS = SAYS["fields"]
CORE = ("tongue_mm", "stack_mm", "window_width_mm", "window_height_mm", "flux_t")
TARGET = ("volts", "current_ma", "line_voltage_v", "line_frequency_hz")
NEEDED = ("tongue_mm", "stack_mm", *TARGET)
STEP = measured.step_of("wind", *(measured.Field.of(one) for one in REWIND.values()))


def draw() -> None:
    """Core and target, the plan, as it was, after winding."""
    opened = context.opened_register()
    context.head("Wind it again?", opened)
    typed_in = unit_entries()
    unit = r.understand(typed_in, opened.meters).unit
    st.header("Core and target", anchor=False)
    if unit is not None:
        st.button(SAYS["take"], key="rewind_take", on_click=_take, args=(unit,))
    form, done = forms.Form.checked("wind_", STEP)
    form.grid((*CORE, *TARGET))
    rectifier, filter_input = forms.supply("wind_")
    forms.number("wind_heaters", LABELS["heaters"], placeholder="5x2 6.3x3")
    series = forms.select("wind_series", LABELS["series"], SERIES)
    metal = forms.select("wind_conductor", LABELS["conductor"], list(CONDUCTORS))
    st.header("As it was", anchor=False)
    context.caution(SAYS["loose_turn"])
    form.grid(OLD)
    numbers, old_metal = done.values, r.metal_of(typed_in)
    if old_metal != r.COPPER:
        st.write(SAYS["old_metal"].format(metal=old_metal))
    old = _found(numbers, old_metal)
    st.header("As planned", anchor=False)
    if any(name in done.faults for name in (*CORE, *TARGET)) or any(name not in numbers for name in NEEDED):
        st.write(SAYS["nothing"])
        return
    try:
        given: dict[str, Any] = {name: numbers[name] for name in (*CORE, *TARGET) if name in numbers}
        heaters = tuple(Heater.of(one) for one in str(st.session_state.get("wind_heaters") or "").split())
        supply: dict[str, Any] = {"rectifier": rectifier, "filter": filter_input, "series": series, "conductor": metal}
        target = RewindTarget(heaters=heaters, **supply, **given)
        plan = rewind_plan(context.model_of(opened), target)
    except InputError as error:
        forms.told(error.faults, STEP.fields, LABELS)
        return
    was = None if old is None else as_it_was(plan, old)
    _plan(plan, was)
    files.print_of_plan(opened, context.model_of(opened), plan, was)
    st.header("After winding", anchor=False)
    _after(form, numbers, plan)


def _take(unit: pd.DataFrame) -> None:
    """Put what the unit at hand tells of its own rewind into the form; what it does not tell stays."""
    record = record_of(calib.UnknownUnit, {str(name): value for name, value in unit.iloc[0].items()})
    kept = st.session_state.setdefault("kept", {})
    for name, value in asked_by(record).items():
        shown = value if isinstance(value, str) else measured.shown(float(f"{value:.5g}"))
        if name in REWIND and len(measured.symbols_of(REWIND[name].unit)) > 1:
            shown = f"{shown} {REWIND[name].unit}"  # whatever unit is chosen beside it
        st.session_state[f"wind_{name}"] = kept[f"wind_{name}"] = shown


def _found(numbers: dict[str, float], metal: str) -> OldWinding | None:
    """What was found of the old winding; None where it cannot be so, which is said."""
    try:
        old = OldWinding(**{name: numbers[name] for name in OLD if name in numbers}, was_conductor=metal)
    except InputError as error:
        forms.told(error.faults, STEP.fields, LABELS)
        return None
    if old.by_turn is not None:
        st.write(SAYS["turns"].format(turns=words.figure(old.by_turn, 4)))
    return old


def _plan(plan: RewindPlan, was: AsItWas | None) -> None:
    """The caution, the windings, the fit, what known makers did, and the old winding beside it."""
    context.caution(PLAN["caution"]["before"])
    if plan.doubts:
        st.html(context.doubts("In doubt, look again", plan.doubts))
    said = str(plan).splitlines()
    rows = []
    for one in plan.windings:
        figures = (f"{one.turns}", one.wire, f"{one.layers}")
        said_of = (words.figure(value) for value in (one.mean_turn_mm, one.ohm_20c))
        rows.append((SAYS["role"][one.role], words.figure(one.volts, 4), *figures, *said_of))
    st.html(context.table(SAYS["columns"], rows, (1, 2, 4, 5, 6)))
    beneath = [
        (
            SAYS["role"][one.role],
            f"{one.beneath_mm:.2f}",
            f"{one.stress_v:.0f}",
            f"{one.per_layer}",
            f"{one.paper_mm:.2f}" if one.layers > 1 else "one layer",
        )
        for one in plan.windings
    ]
    st.html(context.table(SAYS["insulation"], beneath, (1, 2, 3, 4)))
    st.write(SAYS["free"])
    bought: dict[str, tuple[float, float]] = {}
    for one in plan.windings:
        metres, kilos = bought.get(one.wire, (0.0, 0.0))
        bought[one.wire] = (metres + one.metres, kilos + one.wire_kg)
    wires = [
        SAYS["wire"].format(wire=wire, metres=words.figure(metres), grams=words.figure(1000.0 * kilos))
        for wire, (metres, kilos) in bought.items()
    ]
    st.write(words.plain(SAYS["bought"].format(wires="; ".join(wires))))
    for line in said[-4:]:
        st.write(words.plain(words.symbols(words.sentence(line.strip()))))
    if was is not None:
        if was.doubts:
            st.html(context.doubts("In doubt, look again", was.doubts))
        beside = [(name, words.figure(old, 4), words.figure(new, 4)) for name, old, new in was.rows()]
        st.html(context.table(SAYS["beside"], beside, (1, 2)))
        st.write(words.plain(was.note))


def _after(form: forms.Form, numbers: dict[str, float], plan: RewindPlan) -> None:
    """The new winding's readings against the plan."""
    context.caution(SAYS["new"])
    form.grid(READ)
    if any(name not in numbers for name in READ):
        st.write(SAYS["no_readings"])
        return
    found = as_wound(plan, NewWinding(**{name: numbers[name] for name in READ}))
    if found.doubts:
        st.html(context.doubts("Not as planned", found.doubts))
    rows = [
        (name, words.figure(planned, 4), words.figure(read, 4), f"{off:+.1%}", words.percent(within))
        for name, planned, read, off, within in found.rows()
    ]
    st.html(context.table(SAYS["wound"], rows, (1, 2, 3, 4)))
    st.write(words.plain(found.kept))


if __name__ == "__main__":
    draw()
