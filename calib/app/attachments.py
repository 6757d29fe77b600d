"""Files attached as evidence, on a page: those that are there with small pictures of them, one more, and one off."""

from __future__ import annotations

from io import BytesIO

import streamlit as st

import calib
from calib import words
from calib.app import context
from calib.register.attachments import Attachment, Owner
from calib.register.evidence_file import FACTS, KEPT, MOST_BYTES, evidence_of, length_in_words, type_in_words

SIDE_PX = 240
TYPES = ["jpg", "jpeg", "png", "webp", "pdf"]
DONE, TROUBLE, TURN = "seen_attached", "seen_attached_wrong", "seen_attached_turn"
WHO, WHY = "seen_attached_by", "seen_attached_why"


def draw(owner: Owner, place: str) -> None:
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
