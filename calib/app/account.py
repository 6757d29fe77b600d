"""How sure V/R is by the meters that were used, what makes most of that, and what would make it smaller."""

from __future__ import annotations

import html

from calib import bench, words
from calib.app.answer import table
from calib.session.meters import Metered

SHOWN = 0.01  # a part below this share of the variance is left out of the table


def account(metered: Metered) -> str:
    """The sentence and the table, as HTML; blank where V/R is not known yet.

    Parameters
    ----------
    metered : Metered
        What the meters make of the readings.
    """
    if not metered.parts:
        return ""
    most = html.escape(words.sentence(bench.main_part(metered.parts)))
    rows = [
        (part.source, f"{words.figure(part.u_pct, 2)} %", words.percent(part.share), part.remedy)
        for part in metered.parts
        if part.share >= SHOWN
    ]
    heads = ("how sure V/R is", "makes", "share", "what makes it smaller")
    said = (
        f'<p class="calib-more" id="account">By these meters V/R has a standard uncertainty of '
        f"<b>{words.figure(metered.u_pct, 2)} %</b>. {most} It is in the interval above; units of one size differ by "
        "far more.</p>"
    )
    return said + table(heads, rows, numeric=(1, 2))
