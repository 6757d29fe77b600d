"""A form's numbers: a unit or a choice of units beside each, beneath it what was understood and what is wrong."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from calib import words
from calib.session import fields as measured

REMEMBERED, PLACES = "seen_units", "seen_unit_fields"


@dataclass(frozen=True)
class Fields:
    """The fields of one form, and what is to be said beneath each.

    Attributes
    ----------
    prefix : str
        What the keys of its fields begin with.
    aloud, unusual, faults : mapping of str to str
        By field: what was understood, what is worth a second look, what is wrong.
    """

    prefix: str
    aloud: Mapping[str, str] = field(default_factory=dict)
    unusual: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)

    def number(self, name: str, label: str, unit: str, help: str, placeholder: str = "") -> None:
        """One number, with the unit that its column is kept in or a choice of those that it may be read in."""
        symbols = measured.WIRE_UNITS if unit == "wire" else measured.symbols_of(unit)
        key = f"{self.prefix}{name}"
        with st.container():  # one place in the form, however much is said: what was folded out below stays so
            with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
                number(key, label, help, placeholder)
                if len(symbols) > 1:
                    _choice(key, label, unit, symbols)
                else:
                    st.html(f'<div class="calib-unit">{html.escape(symbols[0])}</div>', width="content")
            self.said(name, label)

    def said(self, name: str, label: str) -> None:
        """What stands beneath a field."""
        aloud(self.aloud.get(name, ""))
        if name in self.unusual:
            st.html(f'<p class="calib-unusual">Look again: {html.escape(self.unusual[name])}</p>')
        if name in self.faults:
            st.error(words.plain(f"{label}: {self.faults[name]}"))


def number(key: str, label: str, help: str = "", placeholder: str = "") -> None:
    """A field for a number as people write it; what reads it is `measured.read`.

    It is a field for text: one for numbers makes 497 of 4,97. A telephone shows its whole keyboard for it, since the
    server has no way to ask for the one of figures, which has neither minus nor unit anyway.
    """
    held = st.session_state.get(key)
    if not isinstance(held, str):  # put there by a program: what a person types is text, and is left alone
        st.session_state[key] = measured.shown(held)
    st.text_input(
        label, key=key, help=help or None, placeholder=placeholder or None, autocomplete="off", width="stretch"
    )


def aloud(said: str) -> None:
    """What was understood of an entry; nothing where there is nothing to say."""
    if said:
        st.html(f'<p class="calib-aloud">{html.escape(said)}</p>')


def entries(prefix: str) -> dict[str, Any]:
    """What stands in a form now, by field."""
    state = {key: st.session_state[key] for key in list(st.session_state) if isinstance(key, str)}
    return {key.removeprefix(prefix): value for key, value in state.items() if key.startswith(prefix)}


def select(key: str, label: str, options: Sequence[str], help: str = "") -> None:
    """A choice that falls back to its first option where the one chosen is there no more."""
    if st.session_state.get(key) not in options:
        st.session_state[key] = options[0]
    st.selectbox(label, options, key=key, help=help or None)


def empty(prefix: str, texts: Iterable[str], choices: Iterable[str] = ()) -> None:
    """Empty fields of a form. To let go of an entry is not enough: the browser would go on showing it."""
    kept = st.session_state.get("kept", {})
    for name in texts:
        kept.pop(f"{prefix}{name}", None)
        st.session_state[f"{prefix}{name}"] = ""
    for name in choices:
        kept.pop(f"{prefix}{name}", None)
        st.session_state[f"{prefix}{name}"] = None


def _choice(key: str, label: str, unit: str, symbols: Sequence[str]) -> None:
    """The units that a number may be read in; one that was chosen is offered for the fields after it."""
    unit_key = f"{key}_unit"
    st.session_state.setdefault(PLACES, {})[unit_key] = unit
    if st.session_state.get(unit_key) not in symbols:
        st.session_state[unit_key] = st.session_state.get(REMEMBERED, {}).get(unit, symbols[0])
    st.radio(
        f"Unit of: {label}",
        symbols,
        key=unit_key,
        horizontal=True,
        label_visibility="collapsed",
        width="content",
        on_change=_remember,
        args=(unit_key, unit),
    )


def _remember(unit_key: str, unit: str) -> None:
    """Keep a choice for as long as the page is open; fields that are still empty follow it, filled ones do not."""
    symbol = st.session_state.get(unit_key)
    if symbol is None:  # let go of in the meantime: the browser showed another session's step still
        return
    st.session_state.setdefault(REMEMBERED, {})[unit] = symbol
    for other, kept_in in st.session_state.get(PLACES, {}).items():
        held = st.session_state.get(other.removesuffix("_unit"))
        if kept_in == unit and held in (None, "") and other in st.session_state:
            st.session_state[other] = symbol
