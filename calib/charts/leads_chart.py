"""The windings drawn as they emerge: a line for each, its leads placed by resistance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from calib import words
from calib.charts.style import LIGHT, Palette, styled

if TYPE_CHECKING:
    from calib.leads.result import LeadsFound, LeadWinding

HEAD_PX, ROW_PX = 110, 88  # height of the title, and of a winding's row
LEAST_GAP = 0.1  # between two leads, as a share of the width, so that their tags stay apart on a phone


def windings(found: LeadsFound, colours: Palette = LIGHT) -> alt.LayerChart:
    """All windings one beneath another.

    Parameters
    ----------
    found : LeadsFound
        What the readings come to; at least one winding.
    colours : Palette
        Colours of the ground that it stands on.

    Returns
    -------
    altair chart
        Circles are ends and squares taps; a broken line is a winding whose order is not settled.
    """
    leads, lines, sections = (pd.DataFrame(rows) for rows in _rows(found))
    down = alt.Y("row:Q", axis=None, scale=alt.Scale(domain=[-0.55, len(found.windings) - 0.3], reverse=True))
    furthest = max(1.0, leads["place"].max())
    across = alt.X("place:Q", axis=None, scale=alt.Scale(domain=[-0.06, furthest + 0.06], nice=False))
    dashes = alt.StrokeDash("open:N", scale=alt.Scale(domain=[False, True], range=[[1, 0], [6, 5]]), legend=None)
    shapes = alt.Shape("part:N", scale=alt.Scale(domain=["end", "tap"], range=["circle", "square"]), legend=None)
    hover = [alt.Tooltip("lead:N"), alt.Tooltip("role:N", title="winding"), alt.Tooltip("at:N", title="from its end")]
    coils = alt.Chart(lines).mark_rule(strokeWidth=4, color=colours.accent)
    marks = alt.Chart(leads).mark_point(size=130, strokeWidth=2, opacity=1, filled=True, color=colours.ink)
    tags = alt.Chart(leads).mark_text(dy=-17, fontSize=14, fontWeight=600, color=colours.ink)
    roles = alt.Chart(lines).mark_text(align="left", dy=-40, dx=-6, fontSize=14, color=colours.ink)
    layers = [
        coils.encode(x=across, x2=alt.X2("stop"), y=down, strokeDash=dashes),
        marks.encode(x=across, y=down, shape=shapes, tooltip=hover),
        tags.encode(x=across, y=down, text=alt.Text("lead:N")),
        roles.encode(x=across, y=down, text=alt.Text("role:N")),
    ]
    if len(sections):
        parts = alt.Chart(sections).mark_text(dy=17, fontSize=12, color=colours.soft_ink)
        layers.append(parts.encode(x=across, y=down, text=alt.Text("ohm:N")))
    height = HEAD_PX + ROW_PX * len(found.windings)
    subtitle = "● end, ■ tap; placed by resistance, in Ω; broken line: order not settled"
    return styled(layers, height, colours, (_title(found), subtitle), _in_words(found))


def _title(found: LeadsFound) -> str:
    """The finding: how many windings, and whether anything is open but their voltages."""
    counted = words.count(len(found.windings), "winding")
    return f"{counted}, settled but for the ratio test" if found.settled else f"{counted} so far"


def _in_words(found: LeadsFound) -> str:
    """The picture in words, with its numbers."""
    said = [f"{_title(found)}."]
    for one in found.windings:
        order = " to ".join(one.leads) if one.on_line else f"{', '.join(one.leads)} in no order"
        said.append(f"{order}: {_ohm(one)}, {one.likely_role}, {one.grade}.")
    if found.isolated:
        said.append(f"Alone: {', '.join(found.isolated)}.")
    return " ".join(said)


def _rows(found: LeadsFound) -> tuple[list[dict], list[dict], list[dict]]:
    """What is drawn: leads, windings and the sections between neighbours."""
    leads, lines, sections = [], [], []
    for row, one in enumerate(found.windings):
        places = places_of(one)
        role = f"{one.likely_role}, {_ohm(one)}"
        lines.append({"row": row, "place": places[0], "stop": places[-1], "open": one.ambiguous, "role": role})
        for lead, place, at in zip(one.leads, places, one.at_ohm, strict=True):
            part = "end" if lead in (one.leads[0], one.leads[-1]) else "tap"
            ohm = f"{words.figure(at)} Ω" if math.isfinite(at) else "–"
            leads.append({"row": row, "place": place, "lead": lead, "part": part, "role": role, "at": ohm})
        if one.on_line and len(one.leads) > 2:
            between = zip(one.sections_ohm, places, places[1:], strict=False)
            sections += [{"row": row, "place": (a + b) / 2, "ohm": words.figure(ohm)} for ohm, a, b in between]
    return leads, lines, sections


def _ohm(one: LeadWinding) -> str:
    return "too low to tell" if math.isnan(one.ohm) else f"{words.figure(one.ohm)} Ω"


def places_of(one: LeadWinding) -> list[float]:
    """Where each lead stands across, from 0: by resistance, but never so near to the last that their tags meet."""
    count, total = len(one.leads), one.at_ohm[-1] - one.at_ohm[0]
    if not total > 0 or not all(math.isfinite(at) for at in one.at_ohm):
        return [number / max(count - 1, 1) for number in range(count)]
    places: list[float] = []
    for at in one.at_ohm:
        wanted = (at - one.at_ohm[0]) / total
        places.append(max(wanted, places[-1] + LEAST_GAP) if places else wanted)
    return places
