"""A rewind plan: what a core and a target ask of the windings, beside what it was and what came of it."""

from __future__ import annotations

from typing import Any

import streamlit as st

from calib import words
from calib.app import context, forms, printing
from calib.errors import InputError
from calib.estimate.rewind import (
    REWIND,
    SERIES,
    Heater,
    RewindPlan,
    RewindTarget,
    as_planned,
    rewind_plan,
    turns_by_loose_turn,
)
from calib.paper import OldWinding
from calib.paths import data
from calib.session import fields as measured

SAYS = context.SAID["rewind"]
PLAN = data("estimate/rewind.toml")
LABELS = SAYS["fields"]
CORE = ("tongue_mm", "stack_mm", "window_width_mm", "window_height_mm", "flux_t")
TARGET = ("volts", "current_ma", "line_voltage_v", "line_frequency_hz")
NEEDED = ("tongue_mm", "stack_mm", *TARGET)
WAS = ("winding_v", "turn_v", "counted", "wire_mm")
READ = ("read_v", "read_ohm", "read_temp_c")
STEP = measured.step_of("wind", *(measured.Field.of(one) for one in REWIND.values()))


def draw() -> None:
    """Core and target, the plan, as it was, after winding."""
    opened = context.opened_register()
    context.head("Wind it again?", opened)
    form, done = forms.Form.checked("wind_", STEP)
    st.header("Core and target", anchor=False)
    form.grid((*CORE, *TARGET))
    rectifier, filter_input = forms.supply("wind_")
    forms.number("wind_heaters", LABELS["heaters"], placeholder="5x2 6.3x3")
    series = forms.select("wind_series", LABELS["series"], SERIES)
    st.header("As it was", anchor=False)
    context.caution(SAYS["loose_turn"])
    form.grid(WAS)
    numbers = done.values
    was = _as_it_was(numbers)
    st.header("As planned", anchor=False)
    if any(name in done.faults for name in (*CORE, *TARGET)) or any(name not in numbers for name in NEEDED):
        st.write(SAYS["nothing"])
        return
    try:
        given: dict[str, Any] = {name: numbers[name] for name in (*CORE, *TARGET) if name in numbers}
        heaters = tuple(Heater.of(one) for one in str(st.session_state.get("wind_heaters") or "").split())
        target = RewindTarget(rectifier=rectifier, filter=filter_input, heaters=heaters, series=series, **given)
        plan = rewind_plan(context.model_of(opened), target)
    except InputError as error:
        forms.told(error.faults, STEP.fields, LABELS)
        return
    _plan(plan, was, numbers.get("wire_mm"))
    printing.of_plan(opened, context.model_of(opened), plan, OldWinding(was, numbers.get("wire_mm")))
    st.header("After winding", anchor=False)
    _after(form, numbers, plan)


def _as_it_was(numbers: dict[str, float]) -> float | None:
    """Turns of the old high-voltage winding, counted or by the loose turn; None where not told."""
    if "counted" in numbers:
        return numbers["counted"]
    if "winding_v" not in numbers or "turn_v" not in numbers:
        return None
    try:
        turns = turns_by_loose_turn(numbers["winding_v"], numbers["turn_v"])
    except ValueError as error:
        st.error(words.plain(f"{error}."))
        return None
    st.write(SAYS["turns"].format(turns=words.figure(turns, 4)))
    return turns


def _plan(plan: RewindPlan, was: float | None, wire_mm: float | None) -> None:
    """The caution, the windings, the fit, and what known makers did."""
    context.caution(PLAN["caution"]["before"])
    if plan.doubts:
        st.html(context.doubts("In doubt, look again", plan.doubts))
    said = str(plan).splitlines()
    rows = []
    for one in plan.windings:
        figures = (f"{one.turns}", one.wire, f"{one.layers}", words.figure(one.mean_turn_mm), words.figure(one.ohm_20c))
        rows.append((SAYS["role"][one.role], words.figure(one.volts, 4), *figures))
    st.html(context.table(SAYS["columns"], rows, (1, 2, 4, 5, 6)))
    for line in said[-4:]:
        st.write(words.plain(words.sentence(line.strip())))
    hv = plan.windings[1]
    if was is not None:
        st.write(SAYS["beside"].format(was=words.figure(was, 4), planned=hv.turns, share=hv.turns / was - 1.0))
    if wire_mm is not None:
        st.write(SAYS["wire"].format(was=words.figure(wire_mm), planned=words.figure(hv.bare_mm)))


def _after(form: forms.Form, numbers: dict[str, float], plan: RewindPlan) -> None:
    """The new winding's readings against the plan."""
    context.caution(SAYS["new"])
    form.grid(READ)
    if any(name not in numbers for name in READ):
        st.write(SAYS["no_readings"])
        return
    over, within = as_planned(plan, *(numbers[name] for name in READ))
    verdict = "kept" if abs(over - 1.0) <= within else "apart"
    st.write(words.plain(SAYS[verdict].format(off=over - 1.0, within=within)))


if __name__ == "__main__":
    draw()
