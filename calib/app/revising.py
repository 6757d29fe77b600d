"""What every list of records and a record's own page share: the review, a record beside its correction, steps, undo."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context
from calib.units import own_symbol

if TYPE_CHECKING:
    import pandas as pd

WHO, WHY, DONE, TROUBLE = "seen_doubt_by", "seen_doubt_why", "seen_doubt_done", "seen_doubt_wrong"
FACTS = {one.name: one for one in calib.fields(calib.KnownUnit)}
LABELS = {name: f"{one.label}, {own_symbol(one.unit)}" if one.unit else one.label for name, one in FACTS.items()}
LEFT = 8  # registers' states whose number of doubtful records is remembered
_COUNTS: dict[tuple[str, str, str], int | None] = {}  # of doubtful records; None while they are looked for


@st.cache_data(max_entries=4, show_spinner="Looking through the records …")
def found(fit: str, content: str, place: str, _model: calib.Multiplier, _known: pd.DataFrame) -> list[calib.Doubt]:
    """What the review finds, remembered until records or fit change, or something is decided on the page."""
    with context.register() as register:
        return list(calib.review_of(_model, _known, register.revisions()))


def review(model: calib.Multiplier, opened: context.Opened) -> list[calib.Doubt]:
    """The same for the register that is open; where it cannot be looked through, the page says so and stops."""
    try:
        doubts = found(model.content_hash, opened.content, opened.place, model, opened.known)
    except calib.CannotError as error:
        st.error(words.plain(f"The records cannot be looked through: {error}."))
        st.stop()
    _remember((model.content_hash, opened.content, opened.place), len(doubts))
    return doubts


def number_in_doubt(model: calib.Multiplier, opened: context.Opened) -> int | None:
    """How many records are in doubt; None while that is reckoned, beside the page that it must not keep waiting."""
    key = (model.content_hash, opened.content, opened.place)
    if key not in _COUNTS:
        with context.register() as register:
            history = register.revisions()
        _remember(key, None)

        def count() -> None:
            with suppress(calib.CannotError):  # the number is not known then, which is no 0
                _COUNTS[key] = len(calib.review_of(model, opened.known, history))

        threading.Thread(target=count, daemon=True).start()
    return _COUNTS.get(key)


def _remember(key: tuple[str, str, str], count: int | None) -> None:
    _COUNTS[key] = count
    while len(_COUNTS) > LEFT:
        _COUNTS.pop(next(iter(_COUNTS)), None)


def side_by_side(doubt: calib.Doubt) -> str:
    """The record's readings, those that the correction changes first, beside the corrected ones."""
    now, changed = doubt.record.values(), doubt.changed
    names = [*changed, *(name for name in now if name not in changed and now[name] not in (None, "", False))]
    rows = [
        [LABELS[name], shown(name, now[name]), shown(name, changed[name][1]) if name in changed else ""]
        for name in names
        if name not in ("unit", "contributor")
    ]
    return context.table(["", "As it stands", "Corrected"], rows, numeric=(1, 2))


def shown(name: str, value: object) -> str:
    """A value of a record's column as these tables show it: in words, as the form puts it, where it is a code."""
    if value is None or value == "" or value != value:
        return "blank"
    facts = FACTS.get(name)
    if facts is not None and facts.kind == "flag":
        return "yes" if value else "no"
    if facts is not None and facts.said:
        return facts.names.get(str(value), str(value))
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def who_and_why(why: str) -> None:
    """Who takes the step, and why, as its history keeps them."""
    left, right = st.columns(2)
    left.text_input("Who decides (kept in the history)", key=WHO)
    right.text_input(why, key=WHY)


def who() -> str:
    """Who decides, as typed."""
    return str(st.session_state.get(WHO, "") or "").strip()


def why() -> str:
    """The reason, as typed."""
    return str(st.session_state.get(WHY, "") or "").strip()


def step(tag: tuple[str, str], said: str, do: Callable[[calib.Register], Any]) -> bool:
    """Take one step with a record, and remember the revision that it made, so that it can be undone."""

    def taken(register: calib.Register) -> None:
        do(register)
        revision = int(register.history(*tag)["revision"].iloc[-1])
        st.session_state[DONE] = (str(register.path), *tag, revision, f"{tag[1]} of {tag[0]} is {said}.")

    if not _write(taken):
        return False
    st.session_state.pop(WHY, None)
    return True


def undo(contributor: str, unit: str, revision: int) -> None:
    """Take the last step back."""
    if _write(lambda register: register.undo(contributor, unit, revision, who())):
        place = st.session_state[DONE][0]
        st.session_state[DONE] = (place, "", "", 0, f"Undone: {unit} of {contributor} is as it was.")


def _write(do: Callable[[calib.Register], None]) -> bool:
    try:
        with context.register() as register:
            do(register)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[TROUBLE] = f"Nothing was done: {error}."
        return False
    found.clear()
    return True


def done(open_now: str) -> None:
    """What was done last in the register that is open, and its undoing."""
    last = st.session_state.get(DONE)
    if last and last[0] == open_now:
        _, contributor, unit, revision, said = last
        st.success(words.plain(said))
        if revision:
            st.button("Undo", key="doubt_undo", on_click=undo, args=(contributor, unit, revision))


def trouble() -> None:
    """Why the last step was not taken."""
    if said := st.session_state.pop(TROUBLE, ""):
        st.error(words.plain(said))
