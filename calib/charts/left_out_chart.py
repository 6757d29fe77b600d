"""The picture of the check: each known unit as the others would have it, over what its record states."""

from __future__ import annotations

import altair as alt
import pandas as pd

from calib import words
from calib.charts.style import CLICKED, LIGHT, Palette, styled

HEIGHT = 460  # of the picture, its title and axis included [px]
RATIO_MARKS = (0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.4, 2, 3, 5, 10)
CURRENT_MARKS = (5, 10, 20, 30, 50, 70, 100, 150, 200, 300, 500, 700, 1000)
STANDINGS = ("inside", "outside")  # of the interval, the stated current
RATIOS = {"low": "low_ma", "likely": "rated_current_ma", "high": "high_ma"}


def left_out(table: pd.DataFrame, colours: Palette = LIGHT) -> alt.LayerChart:
    """Each known unit's estimate from the others over its stated current, with the interval.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns contributor, unit, stated_ma, low_ma, rated_current_ma, high_ma [mA], inside and level, one row or more.
    colours : Palette
        Colours of the ground that it stands on.

    Returns
    -------
    altair chart
        The picture on logarithmic axes, its finding as title; a click on a known unit is its selection `CLICKED`.
    """
    drawn = table.assign(
        standing=[STANDINGS[0] if inside else STANDINGS[1] for inside in table["inside"]],
        **{name: table[column] / table["stated_ma"] for name, column in RATIOS.items()},
    )
    ends = [drawn["low"].min() * 0.95, drawn["high"].max() * 1.05]
    place = alt.X(
        "stated_ma:Q",
        title="stated direct current, mA",
        scale=alt.Scale(type="log", nice=False, padding=14),
        axis=alt.Axis(values=CURRENT_MARKS, format="d", grid=False),
    )
    scale = alt.Scale(type="log", domain=[min(ends[0], 1.0), max(ends[1], 1.0)], nice=False)
    axis = alt.Axis(values=RATIO_MARKS, format="~g")

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", scale=scale, axis=axis, title="estimate over stated current")

    base = alt.Chart(drawn).encode(x=place, color=_colour(colours))
    layers = [
        alt.Chart(pd.DataFrame({"likely": [1.0]}))
        .mark_rule(color=colours.soft_ink, strokeWidth=1.5, strokeDash=[6, 4])
        .encode(y=up("likely")),
        base.mark_rule(strokeWidth=2, opacity=0.65).encode(y=up("low"), y2=alt.Y2("high")),
        base.mark_point(size=70, filled=True, opacity=1)
        .encode(y=up("likely"), shape=_shape(), tooltip=_hover())
        .properties(name="left_out")
        .add_params(alt.selection_point(name=CLICKED, fields=["contributor", "unit"])),
    ]
    subtitle = f"Mark: the likely current; bar: {words.share(float(table['level'].iloc[0]))}; dashed: as stated"
    return styled(layers, HEIGHT, colours, (_finding(table), subtitle), _in_words(table))


def _colour(colours: Palette) -> alt.Color:
    scale = alt.Scale(domain=list(STANDINGS), range=[colours.ink, colours.warning])
    return alt.Color("standing:N", scale=scale, legend=alt.Legend(title="stated current"))


def _shape() -> alt.Shape:
    scale = alt.Scale(domain=list(STANDINGS), range=["circle", "diamond"])
    return alt.Shape("standing:N", scale=scale, legend=alt.Legend(title="stated current"))


def _hover() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("contributor:N"),
        alt.Tooltip("unit:N"),
        alt.Tooltip("stated_ma:Q", title="stated, mA", format=".0f"),
        alt.Tooltip("rated_current_ma:Q", title="likely, mA", format=".0f"),
        alt.Tooltip("low_ma:Q", title="from, mA", format=".0f"),
        alt.Tooltip("high_ma:Q", title="to, mA", format=".0f"),
    ]


def _finding(table: pd.DataFrame) -> str:
    """How many lie inside, beside how many should."""
    level = words.share(float(table["level"].iloc[0])).replace(" units", "")
    return f"{int(table['inside'].sum())} of {words.count(len(table), 'unit')} inside; meant are {level}"


def _in_words(table: pd.DataFrame) -> str:
    """The picture in words, with the numbers of the units that lie outside."""
    said = [f"{_finding(table)}."]
    for one in table[~table["inside"].astype(bool)].to_dict("records"):
        low, likely, high, stated = (
            words.milliamps(one[name]) for name in ("low_ma", "rated_current_ma", "high_ma", "stated_ma")
        )
        said.append(
            f"{one['unit']} of {one['contributor']}: {stated} mA stated, {likely} mA likely by the others, "
            f"{low} to {high} mA."
        )
    return " ".join(said)
