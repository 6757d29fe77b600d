"""The dress that all charts share: fonts, colours, a title that states the finding, a text alternative."""

from __future__ import annotations

import textwrap

import altair as alt

from calib.charts.palette import Palette

TITLE_WIDTH = 36
BODY_FONT = '"Source Sans", sans-serif'
HEAD_FONT = '"Source Serif", serif'
Drawing = alt.LayerChart | alt.FacetChart | alt.Chart


def styled(chart: Drawing, colours: Palette, title: str, subtitle: str, told: str) -> Drawing:
    """A chart in the house's dress, with the finding as title and the numbers as text for those who cannot see it.

    Parameters
    ----------
    chart : altair chart
        The drawing.
    colours : Palette
        Colours of the ground that it stands on.
    title, subtitle : str
        The finding, and what is drawn; wrapped so that a phone shows them whole.
    told : str
        The text alternative, with the numbers.

    Returns
    -------
    altair chart
        A new chart that fills the width of its place.
    """
    heading = alt.TitleParams(
        text=textwrap.wrap(title, TITLE_WIDTH),
        subtitle=textwrap.wrap(subtitle, TITLE_WIDTH + 6),
        anchor="start",
        font=HEAD_FONT,
        fontSize=17,
        fontWeight="bold",
        color=colours.ink,
        subtitleFont=BODY_FONT,
        subtitleFontSize=13,
        subtitleColor=colours.soft_ink,
        subtitlePadding=4,
        offset=12,
    )
    return (
        chart.properties(title=heading, width="container", description=told, background=colours.ground)
        .configure(font=BODY_FONT, padding={"left": 4, "right": 14, "top": 4, "bottom": 4})
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=colours.ink,
            titleColor=colours.ink,
            tickColor=colours.rule,
            domainColor=colours.rule,
            gridColor=colours.rule,
            gridOpacity=0.5,
            labelFontSize=13,
            titleFontSize=13,
            titleFontWeight="normal",
        )
        .configure_legend(
            orient="bottom", columns=2, labelColor=colours.ink, titleColor=colours.ink, labelFontSize=13, labelLimit=200
        )
    )
