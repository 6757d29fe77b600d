"""Plain numbers of a page that has no record behind it: asked for, read, and what is wrong with them said."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import streamlit as st

from calib import words
from calib.app import forms
from calib.errors import Code, Fault

Numbers = dict[str, float]
ROW = 3


def ask(prefix: str, labels: Mapping[str, str], names: Sequence[str], into: tuple[Numbers, list[Fault]]) -> None:
    """Fields, three a row; what stands in them goes into the numbers, and what is none into the faults.

    Row by row, so that on a phone, where columns stand one below the other, they keep their order.
    """
    numbers, faults = into
    for at in range(0, len(names), ROW):
        for column, name in zip(st.columns(ROW, gap="medium"), names[at : at + ROW], strict=False):
            with column:
                forms.number(f"{prefix}{name}", labels[name])
            text = str(st.session_state.get(f"{prefix}{name}") or "").strip()
            if not text:
                continue
            try:
                numbers[name] = number(text)
            except ValueError:
                faults.append(fault(name, text, "is no number", "write its figure alone"))


def number(text: str) -> float:
    """A number as people write it, its decimals after a point or a comma; ValueError where it is none or not finite."""
    found = float(text.replace(",", "."))
    if not math.isfinite(found):
        raise ValueError(f"{text} is not finite")
    return found


def fault(column: str, value: str, problem: str, remedy: str, row: int | None = None, code: Code = "limits") -> Fault:
    """A fault of a field of the page."""
    return Fault("", row, column, value, problem, remedy, code)


def say(faults: Sequence[Fault], labels: Mapping[str, str]) -> None:
    """Each fault in a line, by the label of its field."""
    for one in faults:
        label = labels.get(one.column, one.column or "This")
        at = "" if one.row is None else f", line {one.row}"
        value = f" '{one.value}'" if one.value else ""
        st.error(words.plain(f"{label}{at}{value}: {one.problem}; {one.remedy}."))
