"""A likely slip put right by one click: both answers side by side, what the click changed, and the way back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from calib import charts, words
from calib.app import context
from calib.session.repair import Repair, read_again

if TYPE_CHECKING:
    import pandas as pd

SAYS = context.SAID["repair"]
DONE = "seen_repaired"  # the repairs made on the page by click, by the form that they were made in
FIGURES = {"rated_current_ma": "most likely", "low_ma": "from", "high_ma": "to", "floor_ma": "at least"}


@dataclass(frozen=True)
class Mending:
    """What a form offers of a likely slip.

    Attributes
    ----------
    repair : calib.session.repair.Repair or None
        What puts it right there; None where the form cannot say it.
    unit : pandas.DataFrame or None
        The unit as it would be then; None where it is none.
    put : callable
        Takes the repair and the entries to put into the form: those after it, or before it.
    """

    repair: Repair | None
    unit: pd.DataFrame | None
    put: Callable[[Repair, Mapping[str, Any]], None]


def offer(model: Any, unit: pd.DataFrame, slip: str, mending: Mending) -> None:
    """Offer to put a slip right, with the answer as read and the one put right; or say what to read again."""
    st.subheader(SAYS["head"], anchor=False)
    repair = mending.repair
    table = None if repair is None or mending.unit is None else _answers(model, unit, mending.unit)
    if repair is None or table is None:
        st.write(words.plain(f"{words.sentence(slip)} {read_again(slip)}"))
        return
    st.write(words.plain(f"{words.sentence(slip)} {SAYS['says']}"))
    st.button(f"{repair.offer}: put it right", key="repair", on_click=_do, args=(mending.put, repair))
    rows = [
        (one["predictors"], *(f"{words.milliamps(one[name])} mA" for name in FIGURES))
        for one in table.to_dict("records")
    ]
    if len(rows) == 1:  # what is withheld is not told here either
        rows.insert(0, (SAYS["as_read"], SAYS["withheld"], *[""] * (len(FIGURES) - 1)))
    st.html(context.table(("", *FIGURES.values()), rows, numeric=(1, 2, 3, 4)))
    if len(table) > 1:
        chart = charts.repair(table, context.colours(), words.current_title(unit["rectifier"].iloc[0]))
        context.picture(chart, "repair_chart")
        context.in_words(chart.description)


def _answers(model: Any, unit: pd.DataFrame, right: pd.DataFrame) -> pd.DataFrame | None:
    """Both answers in two rows, the one as read left out where it is withheld; None where neither can be told."""
    import pandas as pd

    told = [model.estimate(right, context.LEVEL).assign(predictors=SAYS["put_right"])]
    if model.estimate(unit, context.LEVEL)["rated_current_ma"].notna().all():
        told.insert(0, model.estimate(unit, context.LEVEL, as_read=True).assign(predictors=SAYS["as_read"]))
    both = pd.concat(told, ignore_index=True)[["predictors", *FIGURES, "level"]]
    return None if both.isna().any(axis=None) else both


def made(form: str, entries: Mapping[str, Any], put: Callable[[Repair, Mapping[str, Any]], None]) -> None:
    """Say what was put right by a click in this form, with the way back, for as long as it stands there."""
    repair = st.session_state.get(DONE)
    if repair is None or repair.form != form:
        return
    if not repair.stands(entries):
        st.session_state.pop(DONE, None)
        return
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="repair_made"):
        st.write(words.plain(f"{SAYS['done']} {repair.done}"))
        st.button(SAYS["undo"], key="repair_undo", on_click=_undo, args=(put, repair))


def _do(put: Callable[[Repair, Mapping[str, Any]], None], repair: Repair) -> None:
    put(repair, repair.after)
    st.session_state[DONE] = repair


def _undo(put: Callable[[Repair, Mapping[str, Any]], None], repair: Repair) -> None:
    put(repair, repair.before)
    st.session_state.pop(DONE, None)
