"""The pictures of readings: a heat run carried back to switching off, and the windings drawn as they emerge."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from calib import words
from calib.charts.style import LIGHT, Palette, styled

if TYPE_CHECKING:
    from calib.estimate.heat_run import HeatRunResult
    from calib.leads.result import LeadsFound, LeadWinding

HEIGHT = 360  # of the picture, its title and axis included [px]
FIGURES = 5  # a heat run stands on the fourth
WAYS = {"A": "A, end fixed", "B": "B, all free", "C": "C, parabola"}
DASHES: Mapping[str, list[int]] = {"A": [1, 0], "B": [7, 4], "C": [2, 3]}
Z_90 = 1.645  # 95 % point of the normal distribution


def cooling(found: HeatRunResult, colours: Palette = LIGHT) -> alt.LayerChart:
    """Readings, the ways of carrying them back, and the resistance at the instant with its 90 % interval.

    Parameters
    ----------
    found : HeatRunResult
        What a heat run showed.
    colours : Palette
        Colours of the ground that it stands on.

    Returns
    -------
    altair chart
        Circles are readings; a line a way, the one that counts thicker; the square at 0 s is the instant.
    """
    curves = found.cooling.curves()
    curves["drawn"] = curves["way"].map(WAYS)
    read = pd.DataFrame({"seconds": found.run.seconds, "ohm": found.run.ohm})
    ends = [found.hot_ohm + sign * Z_90 * found.cooling.u_ohm for sign in (-1.0, 1.0)]
    instant = pd.DataFrame({"seconds": [0.0], "ohm": [found.hot_ohm], "low": ends[:1], "high": ends[1:]})
    there = [*curves["ohm"], *read["ohm"], *ends]
    room = 0.06 * (max(there) - min(there))
    across = alt.X("seconds:Q", title="time after opening the line, s", scale=alt.Scale(nice=False))
    span = alt.Scale(domain=[min(there) - room, max(there) + room], zero=False, nice=False)
    up = alt.Y("ohm:Q", title="resistance, Ω", scale=span)
    here = [name for way, name in WAYS.items() if way in found.cooling.fits]
    scale = alt.Scale(domain=here, range=[DASHES[name[0]] for name in here])
    lines = alt.Chart(curves).mark_line(color=colours.accent)
    layers = [
        lines.encode(
            x=across,
            y=up,
            strokeDash=alt.StrokeDash("drawn:N", title="way", scale=scale),
            strokeWidth=alt.condition("datum.counts", alt.value(3.5), alt.value(1.6)),
        ),
        alt.Chart(read)
        .mark_point(size=70, filled=True, opacity=1, color=colours.ink)
        .encode(x=across, y=up, tooltip=[alt.Tooltip("seconds:Q", title="s"), alt.Tooltip("ohm:Q", title="Ω")]),
        alt.Chart(instant).mark_rule(strokeWidth=2, color=colours.warning).encode(x=across, y="low:Q", y2="high:Q"),
        alt.Chart(instant)
        .mark_point(shape="square", size=120, filled=True, opacity=1, color=colours.warning)
        .encode(x=across, y=up),
    ]
    subtitle = "● read, ■ at the instant, its bar the 90 % of the way that counts (the thick line)"
    return styled(layers, HEIGHT, colours, (_cooling_title(found), subtitle), _cooling_in_words(found))


def _cooling_title(found: HeatRunResult) -> str:
    """The finding: the instant's resistance and the rise that it is."""
    return f"{_cooling_ohm(found.hot_ohm)} at switching off, a mean rise of {found.rise_k:.1f} K"


def _cooling_ohm(value: float) -> str:
    return f"{words.figure(value, FIGURES)} Ω"


def _cooling_in_words(found: HeatRunResult) -> str:
    """The picture in words, with its numbers."""
    back, run = found.cooling, found.run
    said = [
        f"{_cooling_title(found)}.",
        f"At 0 s {' ± '.join(words.with_u(found.hot_ohm, back.u_ohm))} Ω (standard uncertainty of way {back.method}).",
    ]
    for way, numbers in back.fits.items():
        told = f"Way {WAYS[way]}, over {back.reach_s[way]:.0f} s: {_cooling_ohm(back.by_method[way])} at 0 s"
        if way != "C":
            told += f", time constant {words.figure(numbers[2])} s, toward {_cooling_ohm(numbers[0])}"
        said.append(f"{told}.")
    read = [f"{ohm:g} Ω at {at:g} s" for at, ohm in zip(run.seconds, run.ohm, strict=True)]
    said.append(f"Read: {', '.join(read)}.")
    return " ".join(said)


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
    return styled(layers, height, colours, (_windings_title(found), subtitle), _windings_in_words(found))


def _windings_title(found: LeadsFound) -> str:
    """The finding: how many windings, and whether anything is open but their voltages."""
    counted = words.count(len(found.windings), "winding")
    return f"{counted}, settled but for the ratio test" if found.settled else f"{counted} so far"


def _windings_in_words(found: LeadsFound) -> str:
    """The picture in words, with its numbers."""
    said = [f"{_windings_title(found)}."]
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
