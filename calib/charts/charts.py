"""The pictures of one unit's estimate, each made from the frames that the estimate carries."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import altair as alt
import pandas as pd

from calib import words
from calib.charts.chart_dress import Drawing, styled
from calib.charts.palette import Palette

if TYPE_CHECKING:
    from collections.abc import Mapping

CURRENTS = ("low_ma", "rated_current_ma", "high_ma", "floor_ma")


def estimate_told(answer: Mapping[str, object], demand_ma: float, level: float) -> str:
    """The estimate's picture in words, with every number that it shows."""
    low, likely, high, floor = (words.milliamps(_number(answer[key])) for key in CURRENTS)
    told = (
        f"Most likely {likely} mA; {words.share(level)} like this are rated between {low} and {high} mA; "
        f"{words.share(level)} are rated at least {floor} mA."
    )
    if math.isfinite(demand_ma):
        chance = words.odds(_number(answer["odds_of_demand"]))
        told += f" The set draws {words.milliamps(demand_ma)} mA; odds that it is rated for that: {chance}."
    return words.marked(answer, told)


DIRECT = words.current_title("full-wave")
# Height of the picture, its title and axis included [px].
HEIGHT = 380


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
        .encode(x="current_ma:Q", y="height:Q", text="text:N")
    )


def _rule(at: float, colour: str, top: float, dash: list[int], bottom: float = 0.0) -> alt.Chart:
    return (
        alt.Chart(pd.DataFrame({"current_ma": [at], "bottom": [bottom], "top": [top]}))
        .mark_rule(color=colour, strokeWidth=2.5, strokeDash=dash)
        .encode(x="current_ma:Q", y="bottom:Q", y2="top:Q")
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


def estimate_chart(
    curve: pd.DataFrame,
    answer: Mapping[str, object],
    demand_ma: float,
    level: float,
    colours: Palette,
    current: str = DIRECT,
) -> Drawing:
    """Likely current, its interval, the floor and the set's demand on one axis.

    Parameters
    ----------
    curve : pandas.DataFrame
        Columns current_ma [mA] and density, the likelihood of each rating per unit of ln current.
    answer : mapping
        One row of the table of estimates.
    demand_ma : float
        Direct current that the set draws; nan where it was not given [mA].
    level : float
        Probability that the interval holds, 0 to 1.
    colours : Palette
        Colours of the ground that it stands on.
    current : str
        What the axis is called, unit included.

    Returns
    -------
    altair chart
        The picture, its finding as title.
    """
    low, likely, high, floor = (_number(answer[key]) for key in CURRENTS)
    asked = math.isfinite(demand_ma)
    span = _span(curve, [low, high, floor, likely] + [demand_ma] * asked)
    scale = alt.Scale(domain=list(span), nice=False, zero=False)
    place = alt.X("current_ma:Q", scale=scale, title=current, axis=alt.Axis(tickCount=6, grid=False))
    ends = pd.DataFrame(
        {"current_ma": [low, high], "height": [-0.18] * 2, "text": [words.milliamps(low), words.milliamps(high)]}
    )
    bar = alt.Chart(pd.DataFrame({"low": [low], "high": [high], "height": [-0.18]})).mark_rule(
        color=colours.ink, strokeWidth=3
    )
    # The words that run towards the other mark's rule stand above it.
    over = asked and (likely < demand_ma) == (demand_ma <= sum(span) / 2)
    row, demand_row = (1.29, 1.12) if over else (1.12, 1.29)
    layers = [
        *_hill(curve[curve["current_ma"].between(*span)], low, high, place, colours),
        bar.encode(x="low:Q", x2="high:Q", y="height:Q"),
        alt.Chart(ends)
        .mark_tick(orient="vertical", size=16, thickness=3, color=colours.ink)
        .encode(x="current_ma:Q", y="height:Q"),
        alt.Chart(ends)
        .mark_text(dy=17, fontSize=14, color=colours.ink)
        .encode(x="current_ma:Q", y="height:Q", text="text:N"),
        _rule(likely, colours.ink, row, [1, 0], -0.18),
        _label(f"likely {words.milliamps(likely)} mA", likely, row, span, colours.ink, bold=True),
        alt.Chart(pd.DataFrame({"current_ma": [floor], "height": [-0.46]}))
        .mark_point(shape="triangle-up", filled=True, size=110, color=colours.accent)
        .encode(x="current_ma:Q", y="height:Q"),
        _label(
            f"{words.share(level)}: at least {words.milliamps(floor)} mA", floor, -0.46, span, colours.accent, bold=True
        ),
    ]
    if asked:
        layers += [
            _rule(demand_ma, colours.warning, demand_row, [6, 4], -0.04),
            _label(f"the set draws {words.milliamps(demand_ma)} mA", demand_ma, demand_row, span, colours.warning),
        ]
    told = estimate_told(answer, demand_ma, level)
    title = words.marked(answer, _finding(answer, demand_ma))
    drawing = alt.layer(*layers).properties(height=HEIGHT)
    return styled(drawing, colours, title, f"Darker: where {words.share(level)} like this are rated", told)


def _finding(answer: Mapping[str, object], demand_ma: float) -> str:
    low, likely, high, floor = (_number(answer[key]) for key in CURRENTS)
    if not math.isfinite(demand_ma):
        return f"About {words.milliamps(likely)} mA, within {words.milliamps(low)} to {words.milliamps(high)} mA"
    chance = words.odds(_number(answer["odds_of_demand"]))
    return f"{words.beside(demand_ma, likely)}; odds {chance}"


def opinions_told(opinions: pd.DataFrame) -> str:
    """The opinions' picture in words, with every number that it shows."""
    told = []
    for one in opinions.to_dict("records"):
        low, likely, high = (words.milliamps(one[name]) for name in CURRENTS[:3])
        told.append(f"From {words.predictors(one['predictors'])}: {likely} mA, {low} to {high} mA.")
    return " ".join(told)


def opinions_chart(opinions: pd.DataFrame, level: float, colours: Palette, current: str = DIRECT) -> Drawing:
    """What each set of readings says by itself, one under another on one axis.

    Parameters
    ----------
    opinions : pandas.DataFrame
        Columns predictors (readings joined by ``+``), rated_current_ma, low_ma, high_ma [mA].
    level : float
        Probability that each interval holds, 0 to 1.
    colours : Palette
        Colours of the ground that it stands on.
    current : str
        What the axis is called, unit included.

    Returns
    -------
    altair chart
        The picture, its finding as title.
    """
    drawn = opinions.assign(readings=[words.predictors(name) for name in opinions["predictors"]])
    order = list(drawn["readings"])
    row = alt.Y(
        "readings:N", sort=order, title=None, axis=alt.Axis(grid=False, ticks=False, domain=False, labelLimit=150)
    )
    span = [0.95 * opinions["low_ma"].min(), 1.05 * opinions["high_ma"].max()]
    place = alt.X("low_ma:Q", scale=alt.Scale(domain=span, nice=False), title=current, axis=alt.Axis(tickCount=6))
    hover = [
        alt.Tooltip("readings:N", title="from"),
        alt.Tooltip("rated_current_ma:Q", title="likely, mA", format=".0f"),
        alt.Tooltip("low_ma:Q", title="from, mA", format=".0f"),
        alt.Tooltip("high_ma:Q", title="to, mA", format=".0f"),
    ]
    base = alt.Chart(drawn).encode(y=row, tooltip=hover)
    bars = base.mark_rule(color=colours.ink, strokeWidth=3).encode(x=place, x2="high_ma:Q")
    dots = base.mark_point(shape="diamond", filled=True, size=150, color=colours.accent, opacity=1).encode(
        x="rated_current_ma:Q"
    )
    likely = opinions["rated_current_ma"]
    apart = likely.max() / likely.min() if len(likely) else math.nan
    title = "One opinion only" if len(drawn) < 2 else f"The readings differ by a factor of {apart:.2f}"
    drawing = alt.layer(bars, dots).properties(height=alt.Step(38))
    return styled(drawing, colours, title, f"Diamond: likely; bar: {words.share(level)}", opinions_told(opinions))
