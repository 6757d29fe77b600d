"""The carrying back of a heat run: resistance against time after switching off, and the instant's value."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from calib import words
from calib.charts.style import LIGHT, Palette, styled

if TYPE_CHECKING:
    from calib.estimate.heat_run import HeatRunResult

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
    return styled(layers, HEIGHT, colours, (_title(found), subtitle), _in_words(found))


def _title(found: HeatRunResult) -> str:
    """The finding: the instant's resistance and the rise that it is."""
    return f"{_ohm(found.hot_ohm)} at switching off, a mean rise of {found.rise_k:.1f} K"


def _ohm(value: float) -> str:
    return f"{words.figure(value, FIGURES)} Ω"


def _in_words(found: HeatRunResult) -> str:
    """The picture in words, with its numbers."""
    back, run = found.cooling, found.run
    said = [
        f"{_title(found)}.",
        f"At 0 s {_ohm(found.hot_ohm)} ± {words.figure(back.u_ohm, 2)} Ω (standard uncertainty of way {back.method}).",
    ]
    for way, numbers in back.fits.items():
        told = f"Way {WAYS[way]}, over {back.reach_s[way]:.0f} s: {_ohm(back.by_method[way])} at 0 s"
        if way != "C":
            told += f", time constant {words.figure(numbers[2])} s, toward {_ohm(numbers[0])}"
        said.append(f"{told}.")
    read = [f"{ohm:g} Ω at {at:g} s" for at, ohm in zip(run.seconds, run.ohm, strict=True)]
    said.append(f"Read: {', '.join(read)}.")
    return " ".join(said)
