"""The style of page and charts: colours for paper and for a dark bench, fonts, a title that states the finding.

Accent and warning are the blue and the vermilion of a set that colour-blind people can tell apart (Okabe and Ito,
"Color Universal Design", 2008), darkened on paper and lightened on black until text in them reads well. The practice
colour marks nothing but simulated data.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.paths import data

if TYPE_CHECKING:
    import altair as alt

TITLE_WIDTH = 36
BODY_FONT = '"Source Sans", sans-serif'
CLICKED = "record"  # the selection that a click on a known unit makes: its contributor and unit
HEAD_FONT = '"Source Serif", serif'


@dataclass(frozen=True)
class Palette:
    """Colours as ``#rrggbb``, named by what they are for."""

    ground: str
    field: str
    rule: str
    ink: str
    soft_ink: str
    accent: str
    warning: str
    warning_ground: str
    practice: str
    practice_ground: str


LIGHT, DARK = (Palette(**data("charts/palettes.toml")[name]) for name in ("light", "dark"))


def palette(dark: bool) -> Palette:
    """The colours for a dark ground or for paper."""
    return DARK if dark else LIGHT


def styled(
    layers: Sequence[alt.Chart], height: float | alt.Step, colours: Palette, headings: tuple[str, str], words: str
) -> alt.LayerChart:
    """A chart in the house's style, with the finding as title and the numbers as text for those who cannot see it.

    It is made in one go: every further method of a chart would copy the whole of it.

    Parameters
    ----------
    layers : sequence of altair charts
        What is drawn, the lowest first.
    height : float or altair step
        Of the whole, or of a row [px].
    colours : Palette
        Colours of the ground that it stands on.
    headings : tuple of str
        The finding, and what is drawn; wrapped so that a phone shows them whole.
    words : str
        The text alternative, with the numbers.

    Returns
    -------
    altair chart
        A chart that fills the width of its place.
    """
    import altair as alt

    title, subtitle = headings
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
    return alt.LayerChart(
        layer=list(layers),
        height=height,
        width="container",
        title=heading,
        description=words,
        background=colours.ground,
        config=_config(colours),
    )


def _config(colours: Palette) -> alt.Config:
    import altair as alt

    axis = alt.AxisConfig(
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
    legend = alt.LegendConfig(
        orient="bottom", columns=2, labelColor=colours.ink, titleColor=colours.ink, labelFontSize=13, labelLimit=200
    )
    return alt.Config(
        font=BODY_FONT,
        padding={"left": 4, "right": 14, "top": 4, "bottom": 4},
        view=alt.ViewConfig(stroke=None),
        axis=axis,
        legend=legend,
    )
