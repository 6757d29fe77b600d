"""The register's page: the known units as a table, one more by hand, many by CSV, and all of them out again."""

from __future__ import annotations

import itertools
import shlex
import tempfile
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context, files, forms, revising
from calib.register.attachments import of_record
from calib.session import readings
from calib.session.interpret import stops_on_the_bench
from calib.session.meters import meters_of

if TYPE_CHECKING:
    import pandas as pd
    from streamlit.elements.lib.column_types import ColumnConfig

    from calib.register.fields import FieldFacts


ASKS = context.SAID["known"]
STAYS = frozenset(ASKS["stays"])
TRIED, THERE = "seen_add_tried", "seen_add_there"


def draw() -> None:
    """Table, adding, bringing in, handing out."""
    opened = context.opened_register()
    context.head("Known units", opened)
    _table(opened.known)
    files.hand_out(opened)
    st.header("Add one", anchor=False)
    _add_one(opened)
    st.header("Bring in", anchor=False)
    files.bring_in()
    files.merge_in()
    st.header("Photographs and data sheets", anchor=False)
    _attached(opened)
    st.header("Keep it safe", anchor=False)
    _keep_safe(opened)


def _table(known: pd.DataFrame) -> None:
    if known.empty:
        st.info("No known units yet. Add one below, or bring in a table.")
        return
    shown = _filtered(known)
    number = f"{len(shown)} of {words.count(len(known), 'known unit')}"
    st.write(f"{number}. A column's head sorts by it; the box before a row opens its own page.")
    settings = {facts.name: _heading(facts) for facts in calib.fields(calib.KnownUnit) if facts.name in shown.columns}
    filled = [
        name for name in shown.columns if not shown[name].isna().all() and not (shown[name].astype(str) == "").all()
    ]
    tags = list(zip(shown["contributor"], shown["unit"], strict=True))
    st.dataframe(
        shown,
        hide_index=True,
        column_config=settings,
        column_order=filled,
        height=min(430, 38 * len(shown) + 40),
        key="known_table",
        on_select=lambda: _row(tags),
        selection_mode="single-row",
    )


def _row(tags: list[tuple[str, str]]) -> None:
    """Lead to the record whose row was chosen."""
    for place in st.session_state["known_table"].selection.rows:
        context.to_record(*tags[place])


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
    with st.container(border=True, key="add_a_known_unit"):
        form = revising.form("add_", understood, opened, tried)
        st.button("Add this unit", key="submit_unit", type="primary", on_click=_add)
    _there_already()
    trouble = st.session_state.get("seen_add_trouble", "")
    if tried and form.faults:
        trouble = f"Not added: {words.count(len(form.faults), 'thing')} to mend above. {trouble}"
    if trouble:
        st.error(words.plain(trouble.strip()))


def _add() -> None:
    """Add what stands in the form to the open register, or leave what is wrong with it for the form to show."""
    typed = forms.entries("add_")
    st.session_state[TRIED], st.session_state["seen_add_trouble"] = True, ""
    st.session_state.pop(THERE, None)
    try:
        with context.register() as register:
            meters = meters_of(register.meters())
            record = readings.understand_known(typed, meters, register.is_simulated).record
            if record is None:
                return
            mine = (record.contributor, record.unit)
            stop = "" if record.stop_cleared else stops_on_the_bench(register, [mine]).get(mine, "")
            if stop:
                told = f"its bench session says stop, feed nothing: {stop}. Clear it there with the reason first."
                st.session_state["seen_add_trouble"] = f"Not added: {told}"
                return
            if not _same(register, record):
                st.session_state[THERE] = mine
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


def _same(register: calib.Register, record: calib.KnownUnit) -> bool:
    """Whether no record of that tag stands, or one with the same readings."""
    try:
        stands = register.record(record.contributor, record.unit)
    except calib.InputError:
        return True
    return stands.model_copy(update={"kept": record.kept}) == record


def _there_already() -> None:
    """Ask what is meant by a tag that stands with other readings; what was typed stays for either answer."""
    there, now = st.session_state.get(THERE), forms.entries("add_")
    if there is None or there != tuple(str(now.get(name) or "").strip() for name in ("contributor", "unit")):
        return
    st.warning(
        words.plain(f"Not added: {there[1]} of {there[0]} is there with other readings. Amend it, or another unit?")
    )
    amend, another = st.columns(2)
    amend.button("It is the same unit: amend it", key="there_amend", on_click=_amend, args=there)
    another.button("It is another unit: give it a tag of its own", key="there_another", on_click=_another, args=there)


def _amend(contributor: str, unit: str) -> None:
    """Take what was typed to the record's own page, where it is amended with a reason."""
    try:
        with context.register() as register:
            revising.begin(str(register.path), register.record(contributor, unit), forms.entries("add_"))
    except (calib.InputError, calib.CannotError) as error:
        st.session_state["seen_add_trouble"] = f"Not amended: {error}."
        return
    st.session_state.pop(THERE, None)
    st.session_state[TRIED] = False
    context.to_record(contributor, unit)


def _another(contributor: str, unit: str) -> None:
    """Propose the next tag that is free; it is added once its user says so."""
    with context.register() as register:
        number = next(n for n in itertools.count(2) if register.history(contributor, f"{unit} ({n})").empty)
    st.session_state["add_unit"] = f"{unit} ({number})"
    st.session_state["seen_add_trouble"] = "Give it a tag that tells it from the other, then add it."
    st.session_state.pop(THERE, None)


def _outcome(report: Any, name: str) -> str:
    if report.unchanged:
        return f"{name} was there already, with the same readings: nothing changed."
    if report.revised:
        return f"{name} counts again, having been withdrawn, and is marked for review."
    return f"Added {name}."


def _attached(opened: context.Opened) -> None:
    """The files of one record; nothing is read until one is chosen."""
    pairs = zip(opened.known["unit"], opened.known["contributor"], strict=True)
    named = {f"{unit} of {contributor}": (contributor, unit) for unit, contributor in pairs}
    chosen = st.selectbox("Of which unit?", list(named), index=None, placeholder="choose", key="seen_files_of")
    if chosen is not None:
        files.attached(of_record(*named[chosen]), opened.place)


def _keep_safe(opened: context.Opened) -> None:
    """A backup to take away, and the register read from end to end."""
    st.write("A backup is the whole register with its history in one file. Keep it on another disk.")
    left, right = st.columns(2)
    if left.button("Make a backup", key="seen_make_backup"):
        st.session_state["seen_backup"] = (opened.content, opened.place, _backup())
    content, place, made = st.session_state.get("seen_backup", ("", "", None))
    if made and (content, place) == (opened.content, opened.place):
        name = f"{Path(opened.called).stem}.{date.today()}.duckdb"
        left.download_button(f"Save it: {name}", made, file_name=name, mime="application/octet-stream")
    if right.button("Check the register", key="seen_check"):
        _check()
    if not opened.is_file:
        st.write("A backup is put into a register that many share once that is set up anew, in a terminal:")
        st.code(f"calib carry BACKUP {shlex.quote(opened.place)}", language=None)
        return
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


def _check() -> None:
    try:
        with calib.patience(waits=context.waiting()):
            with context.register() as register:
                path = register.path
            found = calib.check_register(path)
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
