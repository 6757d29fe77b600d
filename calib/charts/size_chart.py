"""The picture of the calibration: how the multiplier falls with the size of the core."""

from __future__ import annotations

from dataclasses import dataclass

import altair as alt
import numpy as np
import pandas as pd

from calib import words
from calib.charts.chart_dress import Drawing, styled
from calib.charts.palette import Palette

SHAPES = {
    "nameplate": "circle",
    "maker-data": "square",
    "set-data": "triangle-up",
    "wire-measured": "cross",
    "heat-run": "diamond",
}
AREA_MARKS = (2, 3, 5, 7, 10, 14, 20, 30, 50, 80)
MULTIPLIER_MARKS = (1, 2, 3, 5, 7, 10, 15, 20, 30, 40, 50, 70, 100, 150, 200, 300)


def class_middles(classes: pd.DataFrame) -> pd.DataFrame:
    """The classes with the area at which each is drawn: the middle of its bounds in logs, a fifth inside an open one.

    Parameters
    ----------
    classes : pandas.DataFrame
        Columns low_area_cm2, high_area_cm2 (0 and infinity where open) [cm²], and others that are kept.

    Returns
    -------
    pandas.DataFrame
        A copy with the column core_area_cm2 [cm²].
    """
    low = classes["low_area_cm2"].to_numpy(dtype=float)
    high = classes["high_area_cm2"].to_numpy(dtype=float)
    open_below, open_above = low <= 0, ~np.isfinite(high)
    middle = np.sqrt(np.where(open_below, high / 1.44, low) * np.where(open_above, low * 1.44, high))
    return classes.assign(core_area_cm2=middle)


def size_finding(line: pd.DataFrame, records: int) -> str:
    """What the line says, from its one end to the other, as a title."""
    first, last = line.iloc[0], line.iloc[-1]
    source = "" if records else "Before any record: "
    return (
        f"{source}{words.figure(first['multiplier'], 2)} mA per V/Ω at {words.figure(first['core_area_cm2'], 2)} cm² "
        f"falls to {words.figure(last['multiplier'], 2)} at {words.figure(last['core_area_cm2'], 2)} cm²"
    )


def size_told(line: pd.DataFrame, points: pd.DataFrame, classes: pd.DataFrame, level: float) -> str:
    """The picture in words, with the numbers of its line and its classes."""
    told = [f"{size_finding(line, len(points))}. {words.count(len(points), 'known unit')} drawn."]
    for one in classes.to_dict("records"):
        mean, low, high = (words.figure(one[column]) for column in ("multiplier", "low", "high"))
        told.append(f"Class {one['size_class']}: {mean} ({low} to {high}), {words.count(one['count'], 'known unit')}.")
    return " ".join([*told, f"Brackets: the class's mean with probability {level:g}."])


@dataclass(frozen=True)
class _Axes:
    """The two logarithmic axes, and where the first begins and ends."""

    span: tuple[float, float]
    heights: tuple[float, float]

    @property
    def across(self) -> alt.X:
        scale = alt.Scale(type="log", domain=list(self.span), nice=False)
        axis = alt.Axis(values=AREA_MARKS, format="d")
        return alt.X("core_area_cm2:Q", scale=scale, title="gross core area, cm²", axis=axis)

    def up(self, column: str = "multiplier") -> alt.Y:
        scale = alt.Scale(type="log", domain=list(self.heights), nice=False)
        axis = alt.Axis(values=MULTIPLIER_MARKS, format="d")
        return alt.Y(f"{column}:Q", scale=scale, title="multiplier, mA per V/Ω", axis=axis)


def _axes(line: pd.DataFrame, points: pd.DataFrame) -> _Axes:
    areas = [*line["core_area_cm2"], *points["core_area_cm2"]]
    heights = [*line["unit_low"], *line["unit_high"], *points["multiplier"]]
    return _Axes((min(areas) * 0.97, max(areas) * 1.03), (min(heights) * 0.95, max(heights) * 1.05))


def _bands(line: pd.DataFrame, axes: _Axes, colours: Palette) -> list[alt.Chart]:
    base = alt.Chart(line).encode(x=axes.across)
    unit_band = base.mark_area(color=colours.accent, opacity=0.13).encode(y=axes.up("unit_low"), y2="unit_high:Q")
    mean_band = base.mark_area(color=colours.accent, opacity=0.32).encode(y=axes.up("low"), y2="high:Q")
    return [unit_band, mean_band, base.mark_line(color=colours.accent, strokeWidth=2.5).encode(y=axes.up())]


def _class_marks(classes: pd.DataFrame, axes: _Axes, colours: Palette) -> list[alt.Chart]:
    drawn = class_middles(classes)
    base = alt.Chart(drawn[drawn["core_area_cm2"].between(*axes.span)]).encode(x=axes.across)
    hover = [
        alt.Tooltip("size_class:N", title="size class"),
        alt.Tooltip("multiplier:Q", title="mean multiplier", format=".1f"),
        alt.Tooltip("low:Q", title="from", format=".1f"),
        alt.Tooltip("high:Q", title="to", format=".1f"),
        alt.Tooltip("count:Q", title="known units", format="d"),
    ]
    bars = base.mark_rule(color=colours.ink, strokeWidth=2).encode(y=axes.up("low"), y2="high:Q")
    marks = base.mark_tick(orient="horizontal", size=18, thickness=4, opacity=1, color=colours.ink).encode(
        y=axes.up(), tooltip=hover
    )
    return [bars, marks]


def _point_marks(points: pd.DataFrame, axes: _Axes, colours: Palette) -> list[alt.Chart]:
    if points.empty:
        return []
    doubtful = points["doubtful"]
    drawn = points.assign(
        known_from=points["evidence"],
        standing=np.where(doubtful, "doubtful", "sound"),
    )
    shown = [name for name in SHAPES if name in set(points["evidence"])]
    shape = alt.Shape(
        "known_from:N",
        scale=alt.Scale(domain=shown, range=[SHAPES[name] for name in shown]),
        legend=alt.Legend(title="rating known from", symbolStrokeColor=colours.ink, symbolFillColor="transparent"),
    )
    colour = alt.Color(
        "standing:N",
        scale=alt.Scale(domain=["sound", "doubtful"], range=[colours.ink, colours.warning]),
        legend=None,
    )
    hover = [
        alt.Tooltip("contributor:N"),
        alt.Tooltip("unit:N"),
        alt.Tooltip("known_from:N", title="rating from"),
        alt.Tooltip("multiplier:Q", title="mA per V/Ω", format=".1f"),
        alt.Tooltip("core_area_cm2:Q", title="core, cm²", format=".1f"),
        alt.Tooltip("odds_sound:Q", title="odds that it is sound", format=".0%"),
    ]
    marks = alt.Chart(drawn).mark_point(size=75, strokeWidth=1.8, filled=False, opacity=0.95)
    drawings = [marks.encode(x=axes.across, y=axes.up(), shape=shape, color=colour, tooltip=hover)]
    if doubtful.any():
        queries = alt.Chart(drawn[doubtful.to_numpy()]).mark_text(text="?", dx=10, fontSize=14, color=colours.warning)
        drawings.append(queries.encode(x=axes.across, y=axes.up()))
    return drawings


def size_chart(
    line: pd.DataFrame, points: pd.DataFrame, classes: pd.DataFrame, level: float, colours: Palette
) -> Drawing:
    """Known units, the line with both its bands, and the classes' means, for one supply.

    Parameters
    ----------
    line : pandas.DataFrame
        Columns core_area_cm2 [cm²]; multiplier with the mean's band low, high and one unit's band unit_low, unit_high
        [mA per V/ohm].
    points : pandas.DataFrame
        Known units: contributor, unit, evidence, core_area_cm2 [cm²], multiplier [mA per V/ohm], odds_sound (0 to 1),
        doubtful (whether those odds are low).
        Those without a core are left out.
    classes : pandas.DataFrame
        This supply's rows of the table of classes.
    level : float
        Probability that each band holds, 0 to 1.
    colours : Palette
        Colours of the ground that it stands on.

    Returns
    -------
    altair chart
        The picture on logarithmic axes, its finding as title.
    """
    placed = points[np.isfinite(points["core_area_cm2"].astype(float))]
    axes = _axes(line, placed)
    layers = [
        *_bands(line, axes, colours),
        *_point_marks(placed, axes, colours),
        *_class_marks(classes, axes, colours),
    ]
    told = size_told(line, placed, classes, level)
    drawing = alt.layer(*layers).properties(height=580)
    subtitle = f"Dark band: the mean; pale: {words.share(level)}; bars: class means; ?: doubtful record"
    return styled(drawing, colours, size_finding(line, len(placed)), subtitle, told)
