"""The picture of the calibration: every known unit of a supply, the line, both bands, and the classes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import streamlit as st

from calib import charts, words
from calib.app import context, forms

if TYPE_CHECKING:
    import pandas as pd

SEEN = (2.0, 40.0)  # core areas drawn where the known units span less [cm²]
STEPS = 60
SAID = context.SAID["size"]


def draw() -> None:
    """The chart for one supply, and its classes as a table below."""
    opened = context.opened_register()
    context.head("How the multiplier falls with size", opened)
    model = context.model_of(opened)
    if not model.converged:
        what = "; ".join(str(one) for one in model.iterations if not one.converged)
        context.caution(f"This fit did not come to rest, so its figures may still move. {words.sentence(what)}")
    if len(against := model.conflicts()):
        st.warning(
            f"**{SAID['conflict']}**\n" + "\n".join(f"- {words.plain(words.sentence(one))}" for one in against["said"])
        )
    rectifier, filter_input = _supply(opened.known)
    points = model.points(rectifier, filter_input)
    line = model.line(rectifier, filter_input, context.LEVEL, areas_of(points))
    classes = classes_of(model, rectifier, filter_input)
    chart = charts.multiplier(line, points, classes, context.colours())
    context.picture(chart, "size_chart", _clicked)
    st.caption("A click on a known unit opens its own page.")
    _notes(points)
    context.in_words(chart.description)
    st.header("The size classes", anchor=False)
    st.write(
        f"For {words.supply(rectifier, filter_input)}, in mA per V/Ω. The interval is that of the class's mean; single "
        "units scatter more widely, as the pale band shows."
    )
    st.html(class_table(classes))


def _supply(known: pd.DataFrame) -> tuple[str, str]:
    """The supply asked for; to begin with, the one that most known units have."""
    start = known["rectifier"].mode().iloc[0] if len(known) else "full-wave"
    st.session_state.setdefault("seen_rectifier", start)
    return forms.supply("seen_", *st.columns(2))


def areas_of(points: pd.DataFrame) -> np.ndarray:
    """Where the line is drawn: as far as the known units span, and the usual sizes [cm²]."""
    placed = points["core_area_cm2"].dropna()
    low = min([SEEN[0], *placed]) if len(placed) else SEEN[0]
    high = max([SEEN[1], *placed]) if len(placed) else SEEN[1]
    return np.geomspace(low, high, STEPS)


def classes_of(model: Any, rectifier: str, filter_input: str) -> pd.DataFrame:
    """The size classes of one supply."""
    classes = model.classes(context.LEVEL)
    return classes[(classes["rectifier"] == rectifier) & (classes["filter"] == filter_input)]


def _notes(points: pd.DataFrame) -> None:
    """What is drawn and does not speak for itself, and what the line rests on before any record."""
    own = points[points["own"]]
    if without := int(own["core_area_cm2"].isna().sum()):
        st.write(
            f"{words.count(without, 'known unit')} without a core: in the strip at the left; in the fit all the same."
        )
    doubtful = own[own["doubtful"]]
    if len(doubtful):
        names = "; ".join(f"{one.unit} ({one.contributor})" for one in doubtful.itertuples())
        st.write(words.plain(f"Doubtful, and so counted for less: {names}."))
    if len(own) < len(points):
        st.write(SAID["published"])
    if own.empty:
        st.write(f"{SAID['prior']} {SAID['rests']}")


def _clicked() -> None:
    """Lead to the known unit that was clicked on; a published winding has no page."""
    model, _ = st.session_state[context.FIT_AT_HAND]
    context.to_clicked("size_chart", model.rows.frame[model.rows.own])


def class_table(classes: pd.DataFrame) -> str:
    """The classes of one supply as a table for reading."""
    rows = []
    for one in classes.to_dict("records"):
        low, high = one["low_area_cm2"], one["high_area_cm2"]
        span = f"{low:g} and up" if not math.isfinite(high) else f"{low:g} to {high:g}"
        means = [words.figure(one[name]) for name in ("multiplier", "low", "high")]
        rows.append((one["size_class"], span, str(one["count"]), means[0], f"{means[1]} to {means[2]}"))
    interval = f"{context.LEVEL * 100:g} % interval"
    return context.table(("class", "core, cm²", "known units", "mean multiplier", interval), rows, numeric=(2, 3, 4))


if __name__ == "__main__":
    draw()
