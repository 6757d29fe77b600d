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
from calib.app import context, forms
from calib.app.forms import Form
from calib.register.fields import FIELDS
from calib.register.tables import columns_explained, template
from calib.session import readings
from calib.session.fields import Field
from calib.session.interpret import refuse_stopped, stops_on_the_bench

if TYPE_CHECKING:
    import pandas as pd
    from streamlit.elements.lib.column_types import ColumnConfig

    from calib.register.fields import FieldFacts


VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
# What the next unit on the same bench is likely to share.
STAYS = frozenset(context.SAID["known"]["stays"])
# Fields that stand after the one that they belong to.
AFTER = {
    "rated_current_ma": ("rating_basis", "guide_factor"),
    "hv_resistance_ohm": ("hv_half_1_ohm", "hv_half_2_ohm"),
    "conductor": ("wire",),
}
TRIED = "seen_add_tried"
DECIMALS = {"a comma": ",", "a point": "."}
WIRE = Field(
    "wire", "Wire (if known)", unit="wire", help="Gauge or diameter of the winding's wire, without its enamel."
)


def draw() -> None:
    """Table, adding, bringing in, handing out."""
    opened = context.opened_register()
    context.head("Known units", opened)
    _table(opened.known)
    _hand_out(opened)
    st.header("Add one", anchor=False)
    _add_one(opened)
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
    with tempfile.TemporaryDirectory() as folder, context.register() as register:
        register.export(Path(folder))
        return (Path(folder) / "known.csv").read_bytes()


def _hand_out(opened: context.Opened) -> None:
    try:
        table = _known_csv(opened.content, context.practising())
    except calib.CannotError as error:
        st.error(words.plain(f"The table cannot be handed out: {error}."))
        return
    st.download_button(
        "Hand out as CSV (known.csv)", table, file_name="known.csv", mime="text/csv", disabled=opened.known.empty
    )


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
    label = "The rated current is of what?" if facts.name == "rating_basis" else facts.label
    return replace(forms.with_limits(facts), label=f"{label}{known}")


def _grid(form: Form, names: list[str]) -> None:
    """Fields in two columns, each with those that belong to it; the factor of a maker's guide where one was used."""
    half = (len(names) + 1) // 2
    for column, part in zip(st.columns(2, gap="medium"), (names[:half], names[half:]), strict=True):
        with column:
            for name in part:
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


def _bring_in() -> None:
    done = st.session_state.pop("seen_brought", "")
    if done:
        st.success(words.plain(done))
    _hand_out_a_blank_one()
    given = st.file_uploader(
        "A CSV file of known units, as a spreadsheet writes it too", type=["csv", "tsv", "txt"], key=f"upload_{_turn()}"
    )
    if given is None:
        return
    decimal = st.session_state.get(asked := f"seen_decimal_{_turn()}")
    faults: tuple[calib.errors.Fault, ...] = ()
    try:
        table = calib.read_known(given, given.name, DECIMALS[decimal] if decimal else "")
    except calib.InputError as error:
        faults = error.faults
    if decimal or any(one.code == "unclear" for one in faults):
        st.radio("Which mark stands before decimals in this file?", list(DECIMALS), index=None, key=asked)
    if faults:
        context.show_faults(f"Nothing was brought in: {words.count(len(faults), 'thing')} to mend in the file.", faults)
        return
    units = words.count(len(table), "unit")
    st.write(f"{units} in {words.plain(given.name)}, nothing wrong with the table.")
    if otherwise := table.attrs.get("understood"):
        st.info("Some of it is read otherwise than it stands. Bringing it in confirms this for the next such table:")
        st.html(context.plain_lines(otherwise))
    if unlikely := table.attrs["improbable"]:
        st.warning("Worth a second look before you bring it in; what is right as it stands can stay:")
        st.html(context.plain_lines(unlikely))
    by = st.text_input("Brought in by (kept in the history)", key="seen_by")
    if st.button(f"Bring in {units}", key="bring_in", type="primary"):
        _import(given.name, table, by)


def _turn() -> int:
    """How many files were brought in: each has an upload field of its own, so that the next one starts empty."""
    return int(st.session_state.setdefault("seen_uploads", 0))


def _hand_out_a_blank_one() -> None:
    blank = template(calib.KnownUnit)
    with st.expander("A blank table, and what its columns are"):
        st.download_button("Save a blank table (CSV)", blank, file_name="blank.csv", mime="text/csv", key="seen_blank")
        explained = [{"column": name, "what it holds": told} for name, told in columns_explained(calib.KnownUnit)]
        st.dataframe(explained, hide_index=True)


def _import(name: str, table: pd.DataFrame, by: str) -> None:
    try:
        with context.register() as register:
            refuse_stopped(register, table, name)
            report = register.import_table(table, by, where=name)
    except calib.InputError as error:
        context.show_faults("Nothing was brought in.", error.faults)
        return
    except calib.CannotError as error:
        st.error(words.plain(f"Nothing was brought in: {error}."))
        return
    told = [f"{words.count(report.added, 'unit')} added", f"{report.unchanged} there already"]
    told.append(f"{report.revised} revised and marked for review")
    st.session_state["seen_brought"] = f"{name}: {', '.join(told)}."
    st.session_state["seen_uploads"] = _turn() + 1
    st.rerun()


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
