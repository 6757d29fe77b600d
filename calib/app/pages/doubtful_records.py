"""The doubtful records, one at a time: the record, what would explain it, the record corrected, and three ways on."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

import calib
from calib import words
from calib.app import context

CHOSEN, WHO, WHY, DONE, TROUBLE = "seen_doubt", "seen_doubt_by", "seen_doubt_why", "seen_doubt_done", "seen_doubt_wrong"
LABELS = {one.name: f"{one.label}, {one.unit}" if one.unit else one.label for one in calib.fields(calib.KnownUnit)}


def draw() -> None:
    """The choice of a record, and what can be done about it."""
    opened = context.opened_register()
    context.head("Doubtful records", opened)
    _done(opened.place)
    found = _review(context.model_of(opened), opened)
    if not found:
        st.info("No record is in doubt.")
        return
    by_name = {f"{one.record.unit} of {one.record.contributor}": one for one in found}
    if st.session_state.get(CHOSEN) not in by_name:
        st.session_state[CHOSEN] = next(iter(by_name))
    heading = f"{words.count(len(by_name), 'record')} to look at, the most doubtful first"
    doubt = by_name[st.selectbox(heading, list(by_name), key=CHOSEN)]
    st.html(context.plain_lines(doubt.reasons))
    st.html(_side_by_side(doubt))
    who, why = st.columns(2)
    who.text_input("Who decides (kept in the history)", key=WHO)
    why.text_input("Why (needed to keep it as it is)", key=WHY)
    amend, withdraw, keep = st.columns(3)
    amend.button(
        "Amend it as corrected",
        key="doubt_amend",
        disabled=doubt.corrected is None,
        on_click=_do,
        args=(doubt, "amend"),
    )
    withdraw.button("Withdraw it", key="doubt_withdraw", on_click=_do, args=(doubt, "withdraw"))
    keep.button("It is right, keep it", key="doubt_keep", on_click=_do, args=(doubt, "keep"))
    if trouble := st.session_state.pop(TROUBLE, ""):
        st.error(words.plain(trouble))


@st.cache_data(max_entries=4, show_spinner="Looking through the records …")
def _found(fit: str, content: str, place: str, _model: calib.Multiplier, _known: pd.DataFrame) -> list[calib.Doubt]:
    with context.register() as register:
        return list(calib.review_of(_model, _known, register.revisions()))


def _review(model: calib.Multiplier, opened: context.Opened) -> list[calib.Doubt]:
    """What the review found, remembered until the records or the fit change, or something is decided here."""
    try:
        return _found(model.content_hash, opened.content, opened.place, model, opened.known)
    except calib.CannotError as error:
        st.error(words.plain(f"The records cannot be looked through: {error}."))
        st.stop()


def _side_by_side(doubt: calib.Doubt) -> str:
    """The record's readings, those that the correction changes first, beside the corrected ones."""
    now, changed = doubt.record.values(), doubt.changed
    names = [*changed, *(name for name in now if name not in changed and now[name] not in (None, "", False))]
    rows = [
        [LABELS[name], _shown(now[name]), _shown(changed[name][1]) if name in changed else ""]
        for name in names
        if name not in ("unit", "contributor")
    ]
    return context.table(["", "As it stands", "Corrected"], rows, numeric=(1, 2))


def _shown(value: object) -> str:
    if value is None or value == "":
        return "blank"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _do(doubt: calib.Doubt, what: str) -> None:
    """One of the three steps, with the number of the revision that it made, so that it can be undone."""
    by, why = st.session_state.get(WHO, "").strip(), st.session_state.get(WHY, "").strip()
    contributor, unit = doubt.tag
    said = {"amend": "amended", "withdraw": "withdrawn", "keep": "kept as it is"}[what]

    def step(register: calib.Register) -> None:
        if what == "amend" and doubt.corrected is not None:
            register.amend(doubt.corrected, by, why or doubt.likely_slip, instead_of=doubt.record)
        elif what == "withdraw":
            register.withdraw(contributor, unit, by, why)
        else:
            register.keep(contributor, unit, by, why)
        revision = int(register.history(contributor, unit)["revision"].iloc[-1])
        place = str(register.path)
        st.session_state[DONE] = (place, contributor, unit, revision, f"{unit} of {contributor} is {said}.")

    if _write(step):
        st.session_state.pop(WHY, None)


def _undo(contributor: str, unit: str, revision: int) -> None:
    if _write(lambda register: register.undo(contributor, unit, revision, st.session_state.get(WHO, "").strip())):
        place = st.session_state[DONE][0]
        st.session_state[DONE] = (place, "", "", 0, f"Undone: {unit} of {contributor} is as it was.")


def _write(step: Callable[[calib.Register], None]) -> bool:
    try:
        with context.register() as register:
            step(register)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[TROUBLE] = f"Nothing was done: {error}."
        return False
    _found.clear()
    return True


def _done(open_now: str) -> None:
    """What was done last in the register that is open, and its undoing."""
    done = st.session_state.get(DONE)
    if done and done[0] == open_now:
        _, contributor, unit, revision, said = done
        st.success(words.plain(said))
        if revision:
            st.button("Undo", key="doubt_undo", on_click=_undo, args=(contributor, unit, revision))


if __name__ == "__main__":
    draw()
