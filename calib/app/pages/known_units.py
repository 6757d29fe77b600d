"""The register's page: the known units as a table, one more by hand, many by CSV, and all of them out again."""

from __future__ import annotations

import shlex
import tempfile
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import known_form, parts
from calib.session.interpret import refuse_stopped

if TYPE_CHECKING:
    import pandas as pd
    from streamlit.elements.lib.column_types import ColumnConfig

    from calib.register.fields import FieldFacts


def draw() -> None:
    """Table, adding, bringing in, handing out."""
    opened = parts.opened_register()
    parts.head("Known units", opened)
    _table(opened.known)
    _hand_out(opened)
    st.header("Add one", anchor=False)
    known_form.draw(opened)
    st.header("Bring in a table", anchor=False)
    _bring_in()
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


@st.cache_data(max_entries=4, show_spinner=False)
def _known_csv(content: str, practising: bool) -> bytes:
    """The current view as the register exports it."""
    with tempfile.TemporaryDirectory() as folder, parts.register() as register:
        register.export(Path(folder))
        return (Path(folder) / "known.csv").read_bytes()


def _hand_out(opened: parts.Opened) -> None:
    try:
        table = _known_csv(opened.content, parts.practising())
    except calib.CannotError as error:
        st.error(words.plain(f"The table cannot be handed out: {error}."))
        return
    st.download_button(
        "Hand out as CSV (known.csv)", table, file_name="known.csv", mime="text/csv", disabled=opened.known.empty
    )


def _bring_in() -> None:
    done = st.session_state.pop("seen_brought", "")
    if done:
        st.success(words.plain(done))
    given = st.file_uploader(
        "A CSV file with the columns of a table of known units", type="csv", key=f"upload_{_turn()}"
    )
    if given is None:
        return
    try:
        table = calib.read_known(given, where=given.name)
    except calib.InputError as error:
        faults = error.faults
        parts.show_faults(f"Nothing was brought in: {words.count(len(faults), 'thing')} to mend in the file.", faults)
        return
    units = words.count(len(table), "unit")
    st.write(f"{units} in {words.plain(given.name)}, nothing wrong with the table.")
    if unlikely := table.attrs["improbable"]:
        st.warning("Worth a second look before you bring it in; what is right as it stands can stay:")
        st.html(parts.plain_lines(unlikely))
    by = st.text_input("Brought in by (kept in the history)", key="seen_by")
    if st.button(f"Bring in {units}", key="bring_in", type="primary"):
        given.seek(0)
        _import(given, table, by)


def _turn() -> int:
    """How many files were brought in: each has an upload field of its own, so that the next one starts empty."""
    return int(st.session_state.setdefault("seen_uploads", 0))


def _import(given: Any, table: pd.DataFrame, by: str) -> None:
    try:
        with parts.register() as register:
            refuse_stopped(register, table, given.name)
            report = register.import_csv(given, by=by)
    except calib.InputError as error:
        parts.show_faults("Nothing was brought in.", error.faults)
        return
    except calib.CannotError as error:
        st.error(words.plain(f"Nothing was brought in: {error}."))
        return
    told = [f"{words.count(report.added, 'unit')} added", f"{report.unchanged} there already"]
    told.append(f"{report.revised} revised and marked for review")
    st.session_state["seen_brought"] = f"{given.name}: {', '.join(told)}."
    st.session_state["seen_uploads"] = _turn() + 1
    st.rerun()


def _keep_safe(opened: parts.Opened) -> None:
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
        with tempfile.TemporaryDirectory() as folder, parts.register() as register:
            return register.backup(Path(folder) / "backup.duckdb").read_bytes()
    except (calib.CannotError, calib.InputError) as error:
        st.error(words.plain(f"No backup was made: {error}."))
        return None


def _check(place: str) -> None:
    try:
        with calib.patience(waits=parts.waiting()):
            found = calib.check_register(place)
    except calib.CannotError as error:
        st.error(words.plain(f"{error}."))
        return
    head, *others = str(found).splitlines()
    if found.findings:
        parts.show_faults(words.plain(head), others)
        return
    st.success(words.plain(f"{head}."))
    for other in others:
        st.info(words.plain(f"{other}."))


draw()
