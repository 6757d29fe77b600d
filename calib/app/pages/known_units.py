"""The register's page: the known units as a table, one more by hand, many by CSV, and all of them out again."""

from __future__ import annotations

import itertools
import shlex
import tempfile
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import attachments, context, exchange, forms
from calib.app.forms import Form
from calib.register.attachments import of_record
from calib.register.fields import FIELDS
from calib.session import readings
from calib.session.fields import Field
from calib.session.interpret import stops_on_the_bench

if TYPE_CHECKING:
    import pandas as pd
    from streamlit.elements.lib.column_types import ColumnConfig

    from calib.register.fields import FieldFacts


VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
# What the next unit on the same bench is likely to share.
ASKS = context.SAID["known"]
STAYS = frozenset(ASKS["stays"])
# Fields that stand after the one that they belong to.
AFTER = {
    "rated_current_ma": ("rating_basis", "guide_factor"),
    "hv_resistance_ohm": ("hv_half_1_ohm", "hv_half_2_ohm"),
    "conductor": ("wire",),
}
TRIED = "seen_add_tried"
WIRE = Field(
    "wire", "Wire (if known)", unit="wire", help="Gauge or diameter of the winding's wire, without its enamel."
)


def draw() -> None:
    """Table, adding, bringing in, handing out."""
    opened = context.opened_register()
    context.head("Known units", opened)
    _table(opened.known)
    exchange.hand_out(opened)
    st.header("Add one", anchor=False)
    _add_one(opened)
    st.header("Bring in", anchor=False)
    exchange.bring_in()
    exchange.merge_in()
    st.header("Photographs and data sheets", anchor=False)
    _attached(opened)
    st.header("Keep it safe", anchor=False)
    _keep_safe(opened)


def _table(known: pd.DataFrame) -> None:
    if known.empty:
        st.info("No known units yet. Add one below, or bring in a table.")
        return
    shown = _filtered(known)
    st.write(f"{len(shown)} of {words.count(len(known), 'known unit')}. A column's head sorts by it.")
    settings = {facts.name: _heading(facts) for facts in calib.fields(calib.KnownUnit) if facts.name in shown.columns}
    filled = [
        name for name in shown.columns if not shown[name].isna().all() and not (shown[name].astype(str) == "").all()
    ]
    st.dataframe(
        shown, hide_index=True, column_config=settings, column_order=filled, height=min(430, 38 * len(shown) + 40)
    )


def _heading(facts: FieldFacts) -> ColumnConfig:
    title = f"{facts.label}, {facts.unit}" if facts.unit else facts.label
    if facts.kind == "number":
        return st.column_config.NumberColumn(title, help=facts.help, format="%.6g")
    return st.column_config.Column(title, help=facts.help)


def _filtered(known: pd.DataFrame) -> pd.DataFrame:
    """The rows that the reader asks to see."""
    left, middle, right = st.columns([2, 2, 2])
    wanted = left.text_input("Find in unit, contributor or notes", key="seen_find").strip().casefold()
    evidence = middle.multiselect("Rating known from", sorted(set(known["evidence"])), key="seen_evidence")
    supplies = known["rectifier"] + ", " + known["filter"]
    supply = right.multiselect("Supply", sorted(set(supplies)), key="seen_supply")
    keep = known["unit"].notna()
    if wanted:
        text = known["unit"] + "\n" + known["contributor"] + "\n" + known["notes"]
        keep &= text.str.casefold().str.contains(wanted, regex=False)
    if evidence:
        keep &= known["evidence"].isin(evidence)
    if supply:
        keep &= supplies.isin(supply)
    return known[keep]


def _add_one(opened: context.Opened) -> None:
    """The form, a field for each of the record's; what is wrong stands beside it, and nothing typed is lost."""
    with st.container():
        if done := st.session_state.pop("seen_added", ""):
            st.success(words.plain(done))
        if again := st.session_state.pop("seen_added_unlikely", ()):
            st.warning(words.plain(f"Worth a second look: {' '.join(again)}"))
    now, tried = forms.entries("add_"), bool(st.session_state.get(TRIED))
    understood = readings.understand_known(now, opened.meters, opened.simulated)
    asked = [_told(one) for one in readings.known_fields()]
    form = Form.over("add_", {"wire": WIRE, **{one.name: one for one in asked}}, understood, tried)
    first = [one.name for one in asked if one.needed or one.name in VOLTAGES]
    others = [one.name for one in asked if one.name not in (*first, *itertools.chain(*AFTER.values()))]
    with st.container(border=True, key="add_a_known_unit"):
        st.write(
            "Readings are over the whole winding. Of the voltage: either both of a ratio test, or the no-load volts."
        )
        _grid(form, first)
        with st.expander("If you have it: core, wire, notes"):
            _grid(form, others)
        forms.meters(form, now, opened.meters, now.get("no_load_v") is None or now.get("hv_v") is not None)
        if understood.record is not None:
            st.html(context.account(understood.metered))
        st.button("Add this unit", key="submit_unit", type="primary", on_click=_add)
    trouble = st.session_state.get("seen_add_trouble", "")
    if tried and form.faults:
        trouble = f"Not added: {words.count(len(form.faults), 'thing')} to mend above. {trouble}"
    if trouble:
        st.error(words.plain(trouble.strip()))


def _told(facts: FieldFacts) -> FieldFacts:
    """A field as the form calls it: what may be left out says so, and limits stand in the help."""
    known = "" if facts.needed or facts.name in VOLTAGES else " (if known)"
    asked = forms.with_limits(facts)
    if facts.name == "rating_basis":  # the help of the column names its codes, of which the form shows none
        asked = replace(asked, label=ASKS["basis"], help=ASKS["basis_help"])
    return replace(asked, label=f"{asked.label}{known}")


def _grid(form: Form, names: list[str]) -> None:
    """Fields in two columns, each with those that belong to it; the factor of a maker's guide where one was used."""
    half = (len(names) + 1) // 2
    for column, part in zip(st.columns(2, gap="medium"), (names[:half], names[half:]), strict=True):
        with column:
            for name in part:
                if name == "evidence":
                    form.choice(form.fields[name], FIELDS[name].names)
                else:
                    form.ask(name)
                for other in AFTER.get(name, ()):
                    if other == "rating_basis":
                        form.choice(form.fields[other], FIELDS[other].names)
                    elif other != "guide_factor" or st.session_state.get("add_rating_basis") == "guide":
                        form.ask(other)


def _add() -> None:
    """Add what stands in the form to the open register, or leave what is wrong with it for the form to show."""
    typed = forms.entries("add_")
    st.session_state[TRIED], st.session_state["seen_add_trouble"] = True, ""
    try:
        with context.register() as register:
            meters = context.meters_of(register.meters())
            record = readings.understand_known(typed, meters, register.is_simulated).record
            if record is None:
                return
            mine = (record.contributor, record.unit)
            stop = "" if record.stop_cleared else stops_on_the_bench(register, [mine]).get(mine, "")
            if stop:
                told = f"its bench session says stop, feed nothing: {stop}. Clear it there with the reason first."
                st.session_state["seen_add_trouble"] = f"Not added: {told}"
                return
            report = register.add(record, by=record.contributor)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state["seen_add_trouble"] = f"Not added: {error}."
        return
    st.session_state[TRIED] = False
    st.session_state["seen_added"] = _outcome(report, f"{record.unit} of {record.contributor}")
    labels = {one.name: one.label for one in calib.fields(calib.KnownUnit)}
    unlikely = [f"{labels[one.column]}: {words.sentence(one.why)}" for one in calib.improbabilities(record)]
    st.session_state["seen_added_unlikely"] = unlikely
    context.forget(*(f"add_{name}" for name in typed if name not in STAYS))
    gone = {one.name: one.kind in ("text", "number") for one in readings.known_fields() if one.name not in STAYS}
    forms.empty("add_", ["wire", *(one for one in gone if gone[one])], [one for one in gone if not gone[one]])


def _outcome(report: Any, name: str) -> str:
    if report.unchanged:
        return f"{name} was there already, with the same readings: nothing changed."
    if report.revised:
        return f"{name} was there with other readings: yours now count, and the record is marked for review."
    return f"Added {name}."


def _attached(opened: context.Opened) -> None:
    """The files of one record; nothing is read until one is chosen."""
    pairs = zip(opened.known["unit"], opened.known["contributor"], strict=True)
    named = {f"{unit} of {contributor}": (contributor, unit) for unit, contributor in pairs}
    chosen = st.selectbox("Of which unit?", list(named), index=None, placeholder="choose", key="seen_files_of")
    if chosen is not None:
        attachments.draw(of_record(*named[chosen]), opened.place)


def _keep_safe(opened: context.Opened) -> None:
    """A backup to take away, and the register read from end to end."""
    st.write("A backup is the whole register with its history in one file. Keep it on another disk.")
    left, right = st.columns(2)
    if left.button("Make a backup", key="seen_make_backup"):
        st.session_state["seen_backup"] = (opened.content, opened.place, _backup())
    content, place, made = st.session_state.get("seen_backup", ("", "", None))
    if made and (content, place) == (opened.content, opened.place):
        name = f"{Path(place).stem}.{date.today()}.duckdb"
        left.download_button(f"Save it: {name}", made, file_name=name, mime="application/octet-stream")
    if right.button("Check the register", key="seen_check"):
        _check(opened.place)
    st.write("To put a backup in the register's place, type this in a terminal; what is there now is moved aside:")
    st.code(f"calib restore-from BACKUP --register {shlex.quote(opened.place)}", language=None)


def _backup() -> bytes | None:
    """The register copied, as the bytes of a file."""
    try:
        with tempfile.TemporaryDirectory() as folder, context.register() as register:
            return register.backup(Path(folder) / "backup.duckdb").read_bytes()
    except (calib.CannotError, calib.InputError) as error:
        st.error(words.plain(f"No backup was made: {error}."))
        return None


def _check(place: str) -> None:
    try:
        with calib.patience(waits=context.waiting()):
            found = calib.check_register(place)
    except calib.CannotError as error:
        st.error(words.plain(f"{error}."))
        return
    head, *others = str(found).splitlines()
    if found.findings:
        context.show_faults(words.plain(head), others)
        return
    st.success(words.plain(f"{head}."))
    for other in others:
        st.info(words.plain(f"{other}."))


if __name__ == "__main__":
    draw()
