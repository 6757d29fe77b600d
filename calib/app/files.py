"""What the pages take in and hand out as files: tables and bundles, attached evidence, and sheets to print."""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context
from calib.estimate.old_winding import AsItWas
from calib.paper import Behind, of_answer
from calib.register.attachments import (
    FACTS,
    KEPT,
    MOST_BYTES,
    Attachment,
    Owner,
    evidence_of,
    length_in_words,
    type_in_words,
)
from calib.register.merge import Bundle, read_bundle, unzipped
from calib.register.tables import columns_explained, template
from calib.session.interpret import refuse_stopped
from calib.session.meters import Metered

if TYPE_CHECKING:
    import pandas as pd

EVIDENCE_ENDS = [str(one["end"]) for one in KEPT.values()]
DECIMALS = {"a comma": ",", "a point": "."}


@st.cache_data(max_entries=4, show_spinner=False)
def _known_csv(content: str, practising: bool) -> bytes:
    """The current view as the register exports it."""
    with tempfile.TemporaryDirectory() as folder, context.register() as register:
        register.export(Path(folder))
        return (Path(folder) / "known.csv").read_bytes()


def hand_out(opened: context.Opened) -> None:
    """The known units as a table, and all of the register's history as a bundle."""
    try:
        table = _known_csv(opened.content, context.practising())
    except calib.CannotError as error:
        st.error(words.plain(f"The table cannot be handed out: {error}."))
        return
    st.download_button(
        "Hand out as CSV (known.csv)", table, file_name="known.csv", mime="text/csv", disabled=opened.known.empty
    )
    with st.expander("Hand out as a bundle, with the history"):
        st.write("Whoever merges it keeps who read and revised what: tables and attached files in one zip.")
        licence = st.text_input("Licence that you give, by name (CC-BY-4.0) or address", key="seen_licence")
        if st.button("Make the bundle", key="seen_make_bundle", disabled=opened.known.empty):
            st.session_state["seen_bundle_made"] = (opened.content, opened.place, _bundle(licence.strip()))
        content, place, made = st.session_state.get("seen_bundle_made", ("", "", None))
        if made and (content, place) == (opened.content, opened.place):
            st.download_button("Save it: known-units.zip", made, file_name="known-units.zip", mime="application/zip")


def _bundle(licence: str) -> bytes | None:
    """What an export writes, as the bytes of one file."""
    packed = io.BytesIO()
    try:
        with tempfile.TemporaryDirectory() as folder, context.register() as register:
            files = register.export(Path(folder), licence=licence)
            with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
                for path in files:
                    made.write(path, path.relative_to(folder))
    except (calib.CannotError, calib.InputError) as error:
        st.error(words.plain(f"No bundle was made: {error}."))
        return None
    return packed.getvalue()


def bring_in() -> None:
    """A table of known units, read as a spreadsheet writes it too, shown before it is kept."""
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


def merge_in() -> None:
    """Somebody's bundle: what is new, identical, amended and contradicting is shown before anything is written."""
    if done := st.session_state.pop("seen_merged", ""):
        st.success(words.plain(done))
    label = "Somebody's bundle: the zip, or its files (known.csv, revisions.csv, datapackage.json and what is attached)"
    turn = int(st.session_state.setdefault("seen_merges", 0))
    given = st.file_uploader(
        label, type=["zip", "csv", "json", *EVIDENCE_ENDS], accept_multiple_files=True, key=f"bundle_{turn}"
    )
    if not given:
        return
    try:
        bundle = _read(given)
        with context.register() as register:
            found = register.merge(bundle, preview=True)
    except calib.InputError as error:
        context.show_faults("Nothing was merged.", error.faults)
        return
    except calib.CannotError as error:
        st.error(words.plain(f"Nothing was merged: {error}."))
        return
    licence = f" Licence: {bundle.licence}." if bundle.licence else " Its licence is not said."
    st.write(words.plain(f"{bundle.name}: {found}.{licence}"))
    _show(found.records)
    labels = {f"{one.contributor}, {one.unit}": (one.contributor, one.unit) for one in found.contradicting}
    taken: list[str] = []
    if labels:
        st.warning("These contradict: both went on from where they last were the same. They stay as they are here.")
        st.html(context.plain_lines(found.contradicting))
        taken = st.multiselect("Take theirs instead, marked for review", list(labels), key=f"seen_take_{turn}")
    brings = int(found.records["brings"].sum()) + len(taken) + found.attached
    by = st.text_input("Merged by (kept with where each record came from)", key="seen_merged_by")
    told = f"Merge {words.count(brings, 'revision')}"
    if st.button(told, key="merge_in", type="primary", disabled=not brings):
        _merge(bundle, by, [labels[one] for one in taken])


def _read(given: list[Any]) -> Bundle:
    """The bundle in the files that were uploaded, read once."""
    ids = tuple(one.file_id for one in given)
    before, bundle = st.session_state.get("seen_bundle", (None, None))
    if before != ids or bundle is None:
        files: dict[str, bytes] = {}
        for one in given:
            raw = one.getvalue()
            files |= unzipped(raw, one.name) if one.name.lower().endswith(".zip") else {one.name: raw}
        far = st.empty()
        name = next((one.name for one in given if one.name.lower().endswith(".zip")), "bundle")
        bundle = read_bundle(files, name, lambda what, rows: far.write(f"{what}: {rows} rows"))
        far.empty()
        st.session_state["seen_bundle"] = (ids, bundle)
    return bundle


def _show(records: pd.DataFrame) -> None:
    """The records of a bundle that are not identical here."""
    other = records[records["state"] != "identical"]
    if len(other):
        st.dataframe(
            other[["contributor", "unit", "state", "brings"]],
            hide_index=True,
            column_config={"brings": st.column_config.NumberColumn("revisions that come in")},
            height=min(300, 38 * len(other) + 40),
        )


def _merge(bundle: Bundle, by: str, take: list[tuple[str, str]]) -> None:
    far = st.empty()
    try:
        with context.register() as register:
            coming = register.merge(bundle, preview=True, take=take).coming(bundle, take)
            refuse_stopped(register, coming, bundle.name)
            done = register.merge(bundle, by, take, progress=lambda what, rows: far.write(f"{what}: {rows} rows"))
    except calib.InputError as error:
        context.show_faults("Nothing was merged.", error.faults)
        return
    except calib.CannotError as error:
        st.error(words.plain(f"Nothing was merged: {error}."))
        return
    known = words.count(done.holds, "known unit")
    st.session_state["seen_merged"] = (
        f"{bundle.name}: {words.count(done.written + done.attached, 'revision')} merged; the register holds {known}."
    )
    st.session_state["seen_merges"] = int(st.session_state["seen_merges"]) + 1
    st.session_state.pop("seen_bundle", None)
    st.rerun()


SIDE_PX = 240
TYPES = ["jpg", "jpeg", "png", "webp", "pdf"]
DONE, TROUBLE, TURN = "seen_attached", "seen_attached_wrong", "seen_attached_turn"
WHO, WHY = "seen_attached_by", "seen_attached_why"


def attached(owner: Owner, place: str) -> None:
    """The files of one owner, one below the other, and what can be done with them.

    Parameters
    ----------
    owner : Owner
        What they are attached to, such as a record.
    place : str
        The file of the register that is open.
    """
    if done := st.session_state.pop(DONE, ""):
        st.success(words.plain(done))
    if trouble := st.session_state.pop(TROUBLE, ""):
        st.error(words.plain(trouble))
    try:
        with context.register() as register:
            there = register.attachments(owner)
    except calib.CannotError as error:
        st.error(words.plain(f"What is attached cannot be read: {error}."))
        return
    for one in there:
        _one(owner, place, one)
    if any(one.media == "application/pdf" for one in there):
        st.caption(str(FACTS["says"]["pdf"]))
    _attach(owner)


def _one(owner: Owner, place: str, one: Attachment) -> None:
    """One file: what it is, and for a photograph a small picture of it."""
    whose = f"by {one.by}" if one.by else "by nobody named"
    told = f"{one.name}: {type_in_words(one.media)}, {length_in_words(one.size)}, {whose}, {one.made_at:%Y-%m-%d}"
    told += f": {one.reason}" if one.reason else ""
    left, right = st.columns([1, 2], gap="medium")
    with right:
        st.write(words.plain(told))
        try:
            content = _content(place, one)
        except calib.CannotError as error:
            st.error(words.plain(f"{error}."))
        else:
            end = KEPT[one.media]["end"]
            name, key = f"{one.short}.{end}", f"attached_save_{one.sha256}"
            st.download_button("Save a copy", content, file_name=name, mime=one.media, key=key, on_click="ignore")
            if end != "pdf" and (small := _small(one.sha256, content)):
                left.image(small, width=SIDE_PX)
        st.button("Take it off", key=f"attached_off_{one.sha256}", on_click=_take_off, args=(owner, one))


@st.cache_data(max_entries=40, show_spinner=False, hash_funcs={Attachment: lambda one: (one.sha256, one.media)})
def _content(place: str, one: Attachment) -> bytes:
    with context.register() as register:
        return register.attachment(one)


@st.cache_data(max_entries=200, show_spinner=False)
def _small(sha256: str, _content: bytes) -> bytes:
    """A small picture, drawn anew; nothing where it cannot be drawn."""
    from PIL import Image

    written = BytesIO()
    try:
        with Image.open(BytesIO(_content), formats=["JPEG", "PNG"]) as picture:
            picture.thumbnail((2 * SIDE_PX, 2 * SIDE_PX))
            picture.convert("RGB").save(written, "PNG")
    except (OSError, ValueError, Image.DecompressionBombError):
        return b""
    return written.getvalue()


def _attach(owner: Owner) -> None:
    """One more file, looked at before it is kept."""
    turn = int(st.session_state.setdefault(TURN, 0))
    label = f"Attach {FACTS['says']['types']}"
    help = (
        "A photograph is drawn anew, without the place and what else the camera wrote into it. Nothing in a PDF is run."
    )
    most = MOST_BYTES >> 20
    given = st.file_uploader(label, type=TYPES, key=f"attach_{turn}", help=help, max_upload_size=most)
    who, why = st.columns(2)
    by = who.text_input("Who (kept in the history)", key=WHO).strip()
    reason = why.text_input("What it shows, or why", key=WHY).strip()
    if not st.button("Attach it", key="attach_it", disabled=given is None) or given is None:
        return
    try:
        kept = evidence_of(given.getvalue(), given.name)
        with context.register() as register:
            new = register.attach(owner, kept, by, reason)
    except calib.InputError as error:
        context.show_faults("Nothing was attached.", error.faults)
        return
    except calib.CannotError as error:
        st.error(words.plain(f"Nothing was attached: {error}."))
        return
    st.session_state[DONE] = f"{kept.name} is attached." if new else f"{kept.name} is attached already."
    st.session_state[TURN] = turn + 1
    st.rerun()


def _take_off(owner: Owner, one: Attachment) -> None:
    by, why = (str(st.session_state.get(key, "")).strip() for key in (WHO, WHY))
    try:
        with context.register() as register:
            register.detach(owner, one.sha256, by, why)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[TROUBLE] = f"Nothing was taken off: {error}."
        return
    st.session_state[DONE] = f"{one.name} is taken off; the history keeps that it was attached."


PAPERS = {"a4": "A4", "letter": "US Letter"}


def print_buttons(key: str, tag: str, made: Callable[[str], bytes], label: str = "Print this unit's sheet") -> None:
    """A button for each paper; `made` gives the sheet on it, once one is pressed."""
    name = re.sub(r"[^A-Za-z0-9]+", "-", tag).strip("-")[:60] or "unit"
    with st.container(horizontal=True, gap="small", key=f"{key}_print"):
        for paper, called in PAPERS.items():

            def sheet(paper: str = paper) -> bytes:
                return made(paper)

            file = f"{name}-sheet-{paper}.pdf"
            st.download_button(
                f"{label} (PDF, {called})", sheet, file, "application/pdf", key=f"{key}_{paper}", on_click="ignore"
            )


def print_of_register(key: str, model: calib.Multiplier, tag: str, contributor: str) -> None:
    """The buttons for a known unit, or one on the bench, of the register that is open."""

    def made(paper: str) -> bytes:
        with context.register() as register:
            return calib.unit_sheet(register, tag, contributor, paper, model, context.LEVEL)

    print_buttons(key, tag, made)


def print_of_estimate(
    key: str,
    opened: context.Opened,
    model: calib.Multiplier,
    answered: tuple[calib.UnknownUnit, calib.UnitEstimate, Metered],
) -> None:
    """The buttons for an answer at hand, nothing of which is kept."""
    record, estimate, metered = answered
    behind = Behind.of(opened.place, opened.simulated, "typed", model)
    print_buttons(key, record.unit, lambda paper: of_answer(record, estimate, behind, metered).pdf(paper))


def print_of_plan(opened: context.Opened, model: calib.Multiplier, plan: calib.RewindPlan, was: AsItWas | None) -> None:
    """The buttons for the winding sheet of a plan."""
    behind = Behind.of(opened.place, opened.simulated, "typed", model)
    label = context.SAID["rewind"]["sheet"]
    print_buttons("rewind_sheet", "winding", lambda paper: calib.winding_sheet(plan, behind, was, paper), label)
