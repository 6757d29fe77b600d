"""The pictures of a fit and of an estimate, each made from the frames that they give."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import altair as alt
import numpy as np
import pandas as pd

from calib import words
from calib.charts.style import CLICKED, LIGHT, Palette, styled

CURRENTS = ("low_ma", "rated_current_ma", "high_ma", "floor_ma")
DIRECT = words.current_title("full-wave")
# Height of the picture, its title and axis included [px].
HEIGHT = 380
FAR_APART = 4.0  # currents further apart than by this factor stand on a logarithmic axis
SHAPES = {
    "nameplate": "circle",
    "maker-data": "square",
    "set-data": "triangle-up",
    "wire-measured": "cross",
    "heat-run": "diamond",
}
# Where the rating of a published winding is known from, as the legend has it; it stands in a shape of its own.
PUBLISHED, PUBLISHED_SHAPE = "published winding (not yours)", "triangle-down"
STRIP = 1.28  # how far left of the smallest core the units without one stand, as a factor of area
AREA_MARKS = (2, 3, 5, 7, 10, 14, 20, 30, 50, 80)
MULTIPLIER_MARKS = (1, 2, 3, 5, 7, 10, 15, 20, 30, 40, 50, 70, 100, 150, 200, 300)


def _estimate_in_words(answer: Mapping[str, object], demand_ma: float, level: float) -> str:
    """The estimate's picture in words, with every number that it shows."""
    low, likely, high, floor = (words.milliamps(_number(answer[key])) for key in CURRENTS)
    said = (
        f"Most likely {likely} mA; {words.share(level)} like this are rated between {low} and {high} mA; "
        f"{words.share(level)} are rated at least {floor} mA."
    )
    if math.isfinite(demand_ma):
        chance = words.odds(_number(answer["odds_of_demand"]))
        said += f" The set draws {words.milliamps(demand_ma)} mA; odds that it is rated for that: {chance}."
    return words.marked(answer, said)


def _number(value: object) -> float:
    return float(str(value))


def _span(curve: pd.DataFrame, marks: list[float]) -> tuple[float, float]:
    """Where the axis begins and ends: the marks, and the curve as far as it is worth seeing."""
    tall = curve[curve["density"] > 0.03 * curve["density"].max()]["current_ma"]
    low, high = min([tall.min(), *marks]), max([tall.max(), *marks])
    room = 0.06 * (high - low)
    return max(0.0, low - room), high + room


def _label(
    text: str, at: float, height: float, span: tuple[float, float], colour: str, bold: bool = False
) -> alt.Chart:
    """Words beside a mark, on the side of it where there is room."""
    right = at > (span[0] + span[1]) / 2
    return (
        alt.Chart(pd.DataFrame({"current_ma": [at], "height": [height], "text": [text]}))
        .mark_text(
            align="right" if right else "left",
            dx=-8 if right else 8,
            fontSize=14,
            fontWeight="bold" if bold else "normal",
            color=colour,
        )
        .encode(x=alt.X("current_ma:Q"), y=alt.Y("height:Q"), text=alt.Text("text:N"))
    )


def _rule(at: float, colour: str, top: float, dash: list[int], bottom: float = 0.0) -> alt.Chart:
    return (
        alt.Chart(pd.DataFrame({"current_ma": [at], "bottom": [bottom], "top": [top]}))
        .mark_rule(color=colour, strokeWidth=2.5, strokeDash=dash)
        .encode(x=alt.X("current_ma:Q"), y=alt.Y("bottom:Q"), y2=alt.Y2("top"))
    )


def _hill(curve: pd.DataFrame, low: float, high: float, place: alt.X, colours: Palette) -> list[alt.Chart]:
    """The curve of likelihood per mA, so that areas are shares, its middle part (low to high) darker."""
    per_ma = curve["density"] / curve["current_ma"]
    hill = pd.DataFrame({"current_ma": curve["current_ma"], "height": per_ma / per_ma.max()})
    height = alt.Y("height:Q", scale=alt.Scale(domain=[-0.62, 1.34]), axis=None)
    area = alt.Chart(hill).mark_area(color=colours.accent, opacity=0.16).encode(x=place, y=height)
    inner = alt.Chart(hill[hill["current_ma"].between(low, high)]).mark_area(color=colours.accent, opacity=0.3)
    line = alt.Chart(hill).mark_line(color=colours.accent, strokeWidth=2).encode(x=place, y=height)
    return [area, inner.encode(x=place, y=height), line]


def _bar(low: float, high: float, colours: Palette) -> list[alt.Chart]:
    """The interval below the curve, its ends named."""
    ends = pd.DataFrame(
        {"current_ma": [low, high], "height": [-0.18] * 2, "text": [words.milliamps(low), words.milliamps(high)]}
    )
    bar = alt.Chart(pd.DataFrame({"low": [low], "high": [high], "height": [-0.18]})).mark_rule(
        color=colours.ink, strokeWidth=3
    )
    return [
        bar.encode(x=alt.X("low:Q"), x2=alt.X2("high"), y=alt.Y("height:Q")),
        alt.Chart(ends)
        .mark_tick(orient="vertical", size=16, thickness=3, color=colours.ink)
        .encode(x=alt.X("current_ma:Q"), y=alt.Y("height:Q")),
        alt.Chart(ends)
        .mark_text(dy=17, fontSize=14, color=colours.ink)
        .encode(x=alt.X("current_ma:Q"), y=alt.Y("height:Q"), text=alt.Text("text:N")),
    ]


def estimate(
    curve: pd.DataFrame,
    answer: pd.DataFrame | Mapping[str, object],
    demand_ma: float = math.nan,
    colours: Palette = LIGHT,
    current: str = DIRECT,
) -> alt.LayerChart:
    """Likely current, its interval, the floor and the set's demand on one axis.

    Parameters
    ----------
    curve : pandas.DataFrame
        Columns current_ma [mA] and density, the likelihood of each rating per unit of ln current.
    answer : pandas.DataFrame or mapping
        One row of the table of estimates, its level with it.
    demand_ma : float
        Direct current that the set draws; nan where it was not given [mA].
    colours : Palette
        Colours of the ground that it stands on.
    current : str
        What the axis is called, unit included.

    Returns
    -------
    altair chart
        The picture, its finding as title.
    """
    answer = dict(answer.iloc[0]) if isinstance(answer, pd.DataFrame) else answer
    low, likely, high, floor, level = (_number(answer[key]) for key in (*CURRENTS, "level"))
    asked = math.isfinite(demand_ma)
    span = _span(curve, [low, high, floor, likely] + [demand_ma] * asked)
    scale = alt.Scale(domain=list(span), nice=False, zero=False)
    place = alt.X("current_ma:Q", scale=scale, title=current, axis=alt.Axis(tickCount=6, grid=False))
    # The words that run towards the other mark's rule stand above it.
    over = asked and (likely < demand_ma) == (demand_ma <= sum(span) / 2)
    row, demand_row = (1.29, 1.12) if over else (1.12, 1.29)
    layers = [
        *_hill(curve[curve["current_ma"].between(*span)], low, high, place, colours),
        *_bar(low, high, colours),
        _rule(likely, colours.ink, row, [1, 0], -0.18),
        _label(f"likely {words.milliamps(likely)} mA", likely, row, span, colours.ink, bold=True),
        alt.Chart(pd.DataFrame({"current_ma": [floor], "height": [-0.46]}))
        .mark_point(shape="triangle-up", filled=True, size=110, color=colours.accent)
        .encode(x=alt.X("current_ma:Q"), y=alt.Y("height:Q")),
        _label(
            f"{words.share(level)}: at least {words.milliamps(floor)} mA", floor, -0.46, span, colours.accent, bold=True
        ),
    ]
    if asked:
        layers += [
            _rule(demand_ma, colours.warning, demand_row, [6, 4], -0.04),
            _label(f"the set draws {words.milliamps(demand_ma)} mA", demand_ma, demand_row, span, colours.warning),
        ]
    said = _estimate_in_words(answer, demand_ma, level)
    title = words.marked(answer, _finding(answer, demand_ma))
    return styled(layers, HEIGHT, colours, (title, f"Darker: where {words.share(level)} like this are rated"), said)


def _finding(answer: Mapping[str, object], demand_ma: float) -> str:
    low, likely, high, floor = (_number(answer[key]) for key in CURRENTS)
    if not math.isfinite(demand_ma):
        return f"About {words.milliamps(likely)} mA, within {words.milliamps(low)} to {words.milliamps(high)} mA"
    chance = words.odds(_number(answer["odds_of_demand"]))
    return f"{words.beside(demand_ma, likely)}; odds {chance}"


def _opinions_in_words(opinions: pd.DataFrame) -> str:
    """The opinions' picture in words, with every number that it shows."""
    said = []
    for one in opinions.to_dict("records"):
        low, likely, high = (words.milliamps(one[name]) for name in CURRENTS[:3])
        said.append(f"From {words.predictors(one['predictors'])}: {likely} mA, {low} to {high} mA.")
    return " ".join(said)


def opinions(table: pd.DataFrame, colours: Palette = LIGHT, current: str = DIRECT) -> alt.LayerChart:
    """What each set of readings says by itself, one under another on one axis.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns predictors (readings joined by ``+``), rated_current_ma, low_ma, high_ma [mA] and their level.
    colours : Palette
        Colours of the ground that it stands on.
    current : str
        What the axis is called, unit included.

    Returns
    -------
    altair chart
        The picture, its finding as title.
    """
    likely = table["rated_current_ma"]
    apart = likely.max() / likely.min() if len(likely) else math.nan
    title = "One opinion only" if len(table) < 2 else f"The readings differ by a factor of {apart:.2f}"
    return _side_by_side(table, colours, current, title)


def repair(table: pd.DataFrame, colours: Palette = LIGHT, current: str = DIRECT) -> alt.LayerChart:
    """What a unit's readings say as they were read, and with a slip put right, one under the other on one axis.

    Parameters
    ----------
    table : pandas.DataFrame
        As :func:`opinions` takes it, with two rows; what stands in predictors is shown as it is.
    colours, current
        As there.

    Returns
    -------
    altair chart
        The picture, its finding as title.
    """
    read, right = (words.milliamps(value) for value in table["rated_current_ma"])
    return _side_by_side(table, colours, current, f"As read about {read} mA, put right about {right} mA")


def _side_by_side(table: pd.DataFrame, colours: Palette, current: str, title: str) -> alt.LayerChart:
    """Currents with their intervals, one under another; on a logarithmic axis where they lie far apart."""
    drawn = table.assign(readings=[words.predictors(name) for name in table["predictors"]])
    order = list(drawn["readings"])
    row = alt.Y(
        "readings:N", sort=order, title=None, axis=alt.Axis(grid=False, ticks=False, domain=False, labelLimit=150)
    )
    span, likely = [0.95 * table["low_ma"].min(), 1.05 * table["high_ma"].max()], table["rated_current_ma"]
    far = likely.max() > FAR_APART * likely.min()
    scale = alt.Scale(type="log" if far else "linear", domain=span, nice=False)
    place = alt.X("low_ma:Q", scale=scale, title=current, axis=alt.Axis(tickCount=6))
    hover = [
        alt.Tooltip("readings:N", title="from"),
        alt.Tooltip("rated_current_ma:Q", title="likely, mA", format=".0f"),
        alt.Tooltip("low_ma:Q", title="from, mA", format=".0f"),
        alt.Tooltip("high_ma:Q", title="to, mA", format=".0f"),
    ]
    base = alt.Chart(drawn).encode(y=row, tooltip=hover)
    bars = base.mark_rule(color=colours.ink, strokeWidth=3).encode(x=place, x2=alt.X2("high_ma"))
    dots = base.mark_point(shape="diamond", filled=True, size=150, color=colours.accent, opacity=1).encode(
        x=alt.X("rated_current_ma:Q")
    )
    drawn_are = f"Diamond: likely; bar: {words.share(table['level'].iloc[0])}"
    return styled([bars, dots], alt.Step(38), colours, (title, drawn_are), _opinions_in_words(table))


def _class_middles(classes: pd.DataFrame) -> pd.DataFrame:
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


def _multiplier_finding(line: pd.DataFrame, records: int) -> str:
    """What the line says, from its one end to the other, as a title."""
    first, last = line.iloc[0], line.iloc[-1]
    source = "" if records else "Before any record of yours: "
    return (
        f"{source}{words.figure(first['multiplier'], 2)} mA per V/Ω at {words.figure(first['core_area_cm2'], 2)} cm² "
        f"falls to {words.figure(last['multiplier'], 2)} at {words.figure(last['core_area_cm2'], 2)} cm²"
    )


def _multiplier_in_words(line: pd.DataFrame, points: pd.DataFrame, classes: pd.DataFrame, level: float) -> str:
    """The picture in words, with the numbers of its line and its classes."""
    own = int(_own(points).sum())
    said = [f"{_multiplier_finding(line, own)}. {words.count(own, 'known unit')} drawn."]
    if beside := len(points) - own:
        said.append(f"Beside them {words.count(beside, 'published winding')}.")
    if without := int(points["core_area_cm2"].isna().sum()):
        said.append(f"Core not known of {without}: in a strip at the left.")
    for one in classes.to_dict("records"):
        mean, low, high = (words.figure(one[column]) for column in ("multiplier", "low", "high"))
        said.append(f"Class {one['size_class']}: {mean} ({low} to {high}), {words.count(one['count'], 'known unit')}.")
    return " ".join([*said, f"Brackets: the class's mean with probability {level:g}."])


@dataclass(frozen=True)
class _Axes:
    """The two logarithmic axes, where the areas begin and end, and the strip left of them for units without a core."""

    span: tuple[float, float]
    heights: tuple[float, float]
    strip: bool = False

    @property
    def middle(self) -> float:
        """Where in the strip its units stand, as an area."""
        return self.span[0] / STRIP**0.5

    @property
    def across(self) -> alt.X:
        first = self.span[0] / STRIP if self.strip else self.span[0]
        scale = alt.Scale(type="log", domain=[first, self.span[1]], nice=False)
        axis = alt.Axis(values=[mark for mark in AREA_MARKS if mark >= self.span[0]], format="d")
        return alt.X("core_area_cm2:Q", scale=scale, title="gross core area, cm²", axis=axis)

    def up(self, column: str = "multiplier") -> alt.Y:
        scale = alt.Scale(type="log", domain=list(self.heights), nice=False)
        axis = alt.Axis(values=MULTIPLIER_MARKS, format="d")
        return alt.Y(f"{column}:Q", scale=scale, title="multiplier, mA per V/Ω", axis=axis)


def _own(points: pd.DataFrame) -> np.ndarray:
    """Which points are the user's own known units; all where the frame does not say."""
    return points["own"].to_numpy(dtype=bool) if "own" in points.columns else np.ones(len(points), dtype=bool)


def _axes(line: pd.DataFrame, points: pd.DataFrame) -> _Axes:
    placed = points["core_area_cm2"].dropna()
    areas = [*line["core_area_cm2"], *placed]
    heights = [*line["unit_low"], *line["unit_high"], *points["multiplier"]]
    span = min(areas) * 0.97, max(areas) * 1.03
    return _Axes(span, (min(heights) * 0.95, max(heights) * 1.05), len(placed) < len(points))


def _strip(axes: _Axes, colours: Palette) -> list[alt.Chart]:
    """The edge of the strip of units without a core, and what it is, written upward."""
    if not axes.strip:
        return []
    edge = pd.DataFrame({"core_area_cm2": [axes.span[0]], "multiplier": [axes.heights[0]]})
    text = edge.assign(core_area_cm2=axes.span[0] / STRIP, text="core not known")
    return [
        alt.Chart(edge).mark_rule(color=colours.rule, strokeWidth=1.5).encode(x=axes.across),
        alt.Chart(text)
        .mark_text(angle=270, align="left", baseline="top", dx=6, dy=3, fontSize=12, color=colours.soft_ink)
        .encode(x=axes.across, y=axes.up(), text=alt.Text("text:N")),
    ]


def _bands(line: pd.DataFrame, axes: _Axes, colours: Palette) -> list[alt.Chart]:
    base = alt.Chart(line).encode(x=axes.across)
    unit_band = base.mark_area(color=colours.accent, opacity=0.13).encode(y=axes.up("unit_low"), y2=alt.Y2("unit_high"))
    mean_band = base.mark_area(color=colours.accent, opacity=0.32).encode(y=axes.up("low"), y2=alt.Y2("high"))
    return [unit_band, mean_band, base.mark_line(color=colours.accent, strokeWidth=2.5).encode(y=axes.up())]


def _class_marks(classes: pd.DataFrame, axes: _Axes, colours: Palette) -> list[alt.Chart]:
    drawn = _class_middles(classes)
    base = alt.Chart(drawn[drawn["core_area_cm2"].between(*axes.span)]).encode(x=axes.across)
    hover = [
        alt.Tooltip("size_class:N", title="size class"),
        alt.Tooltip("multiplier:Q", title="mean multiplier", format=".1f"),
        alt.Tooltip("low:Q", title="from", format=".1f"),
        alt.Tooltip("high:Q", title="to", format=".1f"),
        alt.Tooltip("count:Q", title="known units", format="d"),
    ]
    bars = base.mark_rule(color=colours.ink, strokeWidth=2).encode(y=axes.up("low"), y2=alt.Y2("high"))
    marks = base.mark_tick(orient="horizontal", size=18, thickness=4, opacity=1, color=colours.ink).encode(
        y=axes.up(), tooltip=hover
    )
    return [bars, marks]


def _point_marks(points: pd.DataFrame, axes: _Axes, colours: Palette, mark: tuple[str, str] | None) -> list[alt.Chart]:
    if points.empty:
        return []
    doubtful, own = points["doubtful"], _own(points)
    drawn = points.assign(
        core_area_cm2=points["core_area_cm2"].fillna(axes.middle),
        area=points["core_area_cm2"],
        known_from=np.where(own, points["evidence"], PUBLISHED),
        standing=np.where(doubtful, "doubtful", np.where(own, "sound", "published")),
        odds=points["odds_sound"].map(words.odds),
    )
    shapes = SHAPES | {PUBLISHED: PUBLISHED_SHAPE}
    shown = [name for name in shapes if name in set(drawn["known_from"])]
    shape = alt.Shape(
        "known_from:N",
        scale=alt.Scale(domain=shown, range=[shapes[name] for name in shown]),
        legend=alt.Legend(title="rating known from", symbolStrokeColor=colours.ink, symbolFillColor="transparent"),
    )
    colour = alt.Color(
        "standing:N",
        scale=alt.Scale(
            domain=["sound", "doubtful", "published"], range=[colours.ink, colours.warning, colours.soft_ink]
        ),
        legend=None,
    )
    hover = [
        alt.Tooltip("contributor:N"),
        alt.Tooltip("unit:N"),
        alt.Tooltip("known_from:N", title="rating from"),
        alt.Tooltip("multiplier:Q", title="mA per V/Ω", format=".1f"),
        alt.Tooltip("area:Q", title="core, cm²", format=".1f"),
        alt.Tooltip("odds:N", title="odds that it is sound"),
    ]
    marks = alt.Chart(drawn).mark_point(size=75, strokeWidth=1.8, filled=False, opacity=0.95)
    clicked = alt.selection_point(name=CLICKED, fields=["contributor", "unit"])
    places = marks.encode(x=axes.across, y=axes.up(), shape=shape, color=colour, tooltip=hover)
    drawings = [places.properties(name="known_units").add_params(clicked)]
    if doubtful.any():
        queries = alt.Chart(drawn[doubtful.to_numpy()]).mark_text(text="?", dx=10, fontSize=14, color=colours.warning)
        drawings.append(queries.encode(x=axes.across, y=axes.up()))
    return [*drawings, *_ring(drawn, axes, colours, mark)]


def _ring(drawn: pd.DataFrame, axes: _Axes, colours: Palette, mark: tuple[str, str] | None) -> list[alt.Chart]:
    """A ring around the known unit that is looked at."""
    if mark is None:
        return []
    here = drawn[(drawn["contributor"] == mark[0]) & (drawn["unit"] == mark[1]) & _own(drawn)]
    ring = alt.Chart(here).mark_point(size=420, strokeWidth=3, filled=False, color=colours.accent)
    return [ring.encode(x=axes.across, y=axes.up())]


def multiplier(
    line: pd.DataFrame,
    points: pd.DataFrame,
    classes: pd.DataFrame,
    colours: Palette = LIGHT,
    mark: tuple[str, str] | None = None,
) -> alt.LayerChart:
    """Known units, the line with both its bands, and the classes' means, for one supply.

    Parameters
    ----------
    line : pandas.DataFrame
        Columns core_area_cm2 [cm²]; multiplier with the mean's band low, high and one unit's band unit_low, unit_high
        [mA per V/ohm], and the level of both.
    points : pandas.DataFrame
        Known units: contributor, unit, evidence, core_area_cm2 [cm²], multiplier [mA per V/ohm], odds_sound (0 to 1),
        doubtful (whether those odds are low), own (False of published windings; all own where it is not there).
        Those without a core stand in a strip of their own at the left; those without a multiplier are left out.
    classes : pandas.DataFrame
        This supply's rows of the table of classes.
    colours : Palette
        Colours of the ground that it stands on.
    mark : tuple of (str, str) or None
        Contributor and unit of a known unit that is ringed.

    Returns
    -------
    altair chart
        The picture on logarithmic axes, its finding as title; a click on a known unit is its selection `CLICKED`.
    """
    drawn = points[np.isfinite(points["multiplier"].astype(float))]
    axes, level = _axes(line, drawn), float(line["level"].iloc[0])
    layers = [
        *_strip(axes, colours),
        *_bands(line, axes, colours),
        *_point_marks(drawn, axes, colours, mark),
        *_class_marks(classes, axes, colours),
    ]
    said = _multiplier_in_words(line, drawn, classes, level)
    subtitle = f"Dark band: the mean; pale: {words.share(level)}; bars: class means; ?: doubtful record"
    return styled(layers, 580, colours, (_multiplier_finding(line, int(_own(drawn).sum())), subtitle), said)
