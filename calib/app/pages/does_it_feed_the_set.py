"""What a set draws against what the unit of the home page gives: odds, direct voltage, heaters, broken limits."""

from __future__ import annotations

import html
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context, forms, session_state
from calib.app.pages.what_can_it_give import unit_entries
from calib.errors import InputError
from calib.paths import data
from calib.register.fields import facts_of
from calib.session import fields as measured, readings as r
from calib.session.on_the_bench import figures_of_set
from calib.supply.duty import NAMES, Judged
from calib.supply.loads import FIELDS, OF_REGULATOR, USES, LineUp, load_rows

if TYPE_CHECKING:
    import pandas as pd

    from calib.estimate.demand import Demand, SetSupply

SAYS = context.SAID["demand"]
LABELS = SAYS["fields"]
ROWS, MOST_ROWS = 3, 12
HARD = "\N{NO-BREAK SPACE}"  # a figure stays with its unit in a narrow column
SUPPLY = (
    *("capacitance_uf", "choke_h", "choke_ohm", "capacitor_volts", "series_ohm"),
    *("section_ohm", "section_h", "section_uf", "line_now_v", "line_now_hz"),
)
VALVE = ("average_ma", "worst_ma", "ohm", "heater_v", "heater_a")
# What is asked of a load, by its use.
ASKED = {"single": VALVE, "push-pull": VALVE, "series": ("ohm",), "lamp": ("heater_v", "heater_a")}
ASKED |= {"regulator": ("average_ma", "ohm", *OF_REGULATOR)}
OF_ROW = tuple(measured.Field.of(one) for one in facts_of(FIELDS).values())
ROWS_OF = measured.Rows("rows", SAYS["fields"]["load"], OF_ROW, ROWS, MOST_ROWS)
OF_SUPPLY = facts_of({name: data("supply/fields.toml")["supply"][name] for name in SUPPLY})
STEP = measured.step_of("set", *map(measured.Field.of, OF_SUPPLY.values()), rows=ROWS_OF)


def draw() -> None:
    """The set on the left, the answer on the right; on a phone the one below the other."""
    opened = context.opened_register()
    context.head("Does it feed the set?", opened)
    now = unit_entries()
    unit = r.understand(now, opened.meters).unit
    windings = r.heaters_of(now, now.get("voltage_by") == r.NO_LOAD).windings
    row = None if unit is None else unit.iloc[0].to_dict()
    with st.container():
        _of_unit(row)
    left, right = st.columns([5, 7], gap="large")
    form, done = forms.Form.checked("set_", STEP)
    with left:
        line_up = _loads(form, done)
        supply = _supply(form, done, "" if row is None else str(row["filter"]))
    with right:
        st.header("The answer", anchor=False)
        if unit is None or row is None or row["rectifier"] == "none" or line_up is None or supply is None:
            st.write(SAYS["nothing"] if line_up is None else "Something above is still to be put right.")
            return
        _answer(opened, unit, (line_up, supply), windings)


def _of_unit(row: dict[Any, Any] | None) -> None:
    """Which unit it is, and what stands against it."""
    if row is None:
        st.info(SAYS["no_unit"])
        return
    if against := context.drawn(row):
        st.html(against)
    if row["rectifier"] == "none":
        st.info(SAYS["no_direct"])
    else:
        st.write(SAYS["unit"].format(supply=words.supply(row["rectifier"], row["filter"])))


def _loads(form: forms.Form, done: measured.Checked) -> LineUp | None:
    """What the set draws, as typed; None where nothing is, or something is wrong, which is said at its field."""
    st.subheader("What the set draws", anchor=False)
    st.write(SAYS["loads"])
    count = int(st.session_state.setdefault("set_rows", ROWS))
    rows, places = [], []
    for number in range(1, count + 1):
        with st.container(border=True):
            rows.append(_row(form, done, number))
            places.append(st.container())
    if count < MOST_ROWS:
        st.button("Another kind of load", key="more_of_set", on_click=_more)
    asked = [at for at, row in enumerate(rows) if row["load"]]
    if not asked or any(f"{name}_{at + 1}" in done.faults for at in asked for name in _asked(rows[at]["use"])):
        return None
    try:
        return load_rows([rows[at] for at in asked], lines=asked)
    except InputError as error:
        for fault in error.faults:
            with places[fault.row or 0]:
                forms.told([replace(fault, row=None)], {one.name: one for one in OF_ROW}, LABELS)
        return None


def _row(form: forms.Form, done: measured.Checked, number: int) -> dict[str, str]:
    """One kind of load: its name first, the rest where it is asked for."""
    name, how_many = st.columns([5, 3])
    with name:
        forms.number(f"set_load_{number}", f"{LABELS['load']} {number}", placeholder="6V6-GT")
    with how_many:
        form.ask(f"count_{number}", placeholder="1")
    use = str(st.session_state.get(f"set_use_{number}") or USES[0])
    with st.expander(SAYS["more"]):
        forms.pick(f"set_use_{number}", LABELS["use"], SAYS["use"])
        if use in SAYS["of_use"]:
            st.write(SAYS["of_use"][use])
        named = SAYS["named"].get(use, {})
        for field in ASKED[use]:
            one = STEP.fields[f"{field}_{number}"]
            form.number(one.name, named.get(field, one.label), one.unit, one.help)
    load = str(st.session_state.get(f"set_load_{number}") or "").strip()
    told = {field: measured.shown(done.values.get(f"{field}_{number}")) for field in _asked(use)}
    return {"load": load, "use": use} | told


def _asked(use: str) -> tuple[str, ...]:
    """What a row of that use is asked for: what was typed under another one does not count."""
    return ("count", *ASKED[use])


def _more() -> None:
    st.session_state["set_rows"] = int(st.session_state.get("set_rows", ROWS)) + 1


def _supply(form: forms.Form, done: measured.Checked, filter_input: str) -> SetSupply | None:
    """The set's supply, as typed; None where something is wrong, which is said."""
    from calib.estimate.demand import SetSupply

    st.subheader("Its supply", anchor=False)
    context.caution(SAYS["caution"])
    asked = [field for field in SUPPLY if filter_input == "choke" or not field.startswith("choke")]
    form.ask(*asked)
    forms.number("set_valve", LABELS["valve"], placeholder="5Y3-GT")
    valve = str(st.session_state.get("set_valve") or "").strip() or None
    if any(field in done.faults for field in asked):
        return None
    try:
        return SetSupply(valve=valve, **{name: done.values[name] for name in asked if name in done.values})
    except InputError as error:
        forms.told(error.faults, STEP.fields)
        return None


def _answer(
    opened: context.Opened,
    unit: pd.DataFrame,
    asked: tuple[LineUp, SetSupply],
    windings: tuple[calib.HeaterReading, ...] | None,
) -> None:
    try:
        (found,) = calib.demand_of(context.model_of(opened), unit, *asked, context.LEVEL, {"": windings or ()})
    except InputError as error:
        forms.told(error.faults, STEP.fields, LABELS)
        return
    if found.odds_worst is None or found.odds_average is None:
        st.write(SAYS["no_odds"])
    else:
        worst, average = words.figure(found.worst_ma), words.figure(found.average_ma)
        said = SAYS["sentence"].format(
            odds=found.odds_worst, worst=worst, average_odds=found.odds_average, average=average
        )
        st.html(f'<p id="demand" class="calib-sentence">{html.escape(said)}</p>')
    _limits(found.judged)
    if found.mendings:
        context.caution(data("supply/mending.toml")["caution"])
        for one in found.mendings:
            st.write(words.plain(str(one)))
    st.html(context.table(("what", "figure"), figures_of_set(found, context.LEVEL)))
    for note in found.notes:
        st.write(words.plain(note))
    if said := found.set_words:
        st.subheader(SAYS["set_side"], anchor=False)
        for line in said:
            st.write(words.plain(line))
    st.subheader(SAYS["heaters"], anchor=False)
    if found.heater_side.caution:
        context.caution(found.heater_side.caution)
    for line in found.heater_side.words or [SAYS["no_windings"]]:
        st.write(words.plain(line))
    _mains(found)
    session_state.keep_demand(opened, context.model_of(opened), unit, found, (*asked, windings or ()))


def _limits(judged: tuple[Judged, ...]) -> None:
    """Every limit, the broken ones first, each with what would mend it."""
    order = list(SAYS["verdict"])
    rows = []
    for one in sorted(judged, key=lambda one: order.index(one.verdict)):
        told = one.verdict != "not told"
        figure, allowed = (
            f"{words.figure(value)}{HARD}{one.unit}" if told else "" for value in (one.value, one.allowed)
        )
        remedy = one.remedy if one.verdict == "broken" else ""
        rows.append((SAYS["verdict"][one.verdict], NAMES[one.limit], figure, allowed, remedy))
    st.html(context.table(("", "limit", "here", "allowed", "what would mend it"), rows))


def _mains(found: Demand) -> None:
    """What the line gives, fuses and inrush; what today's line makes of it, the caution before what mends it."""
    side = found.mains
    if said := side.words:
        st.subheader(SAYS["mains"], anchor=False)
        for line in said:
            st.write(words.plain(line))
        if found.hv_fuse_ma is not None:
            st.write(SAYS["hv_fuse"].format(fuse=words.figure(found.hv_fuse_ma)))
    if side.line is None:
        return
    st.subheader(SAYS["line"], anchor=False)
    for line in side.line.words:
        st.write(words.plain(line))
    caution, *remedies = side.line.remedy_words or [""]
    if remedies:
        context.caution(caution)
    for line in remedies:
        st.write(words.plain(line))


if __name__ == "__main__":
    draw()
