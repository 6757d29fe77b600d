"""How far to trust it: each known unit estimated from the others, rules of thumb beside, trials on other units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

import calib
from calib import charts, words
from calib.app import context

if TYPE_CHECKING:
    import pandas as pd

SAID = context.SAID["trust"]
CHART, WHOLE = "trust_chart", "seen_trust_contributors"
SPOILED_PCT = 5  # of the simulated known units that are shown


@st.cache_data(max_entries=4, show_spinner="Leaving out one unit after another …")
def _left_out(fit: str, level: float, _model: calib.Multiplier) -> pd.DataFrame:
    return _model.left_out(level)


@st.cache_data(max_entries=4, show_spinner="Leaving out one contributor after another …")
def _comparison(fit: str, level: float, contributors: bool, _model: calib.Multiplier) -> pd.DataFrame:
    return _model.comparison(level, contributors)


def draw() -> None:
    """The check on the register's own units, then what the answers rest on besides."""
    opened = context.opened_register()
    context.head("How far to trust it", opened)
    model = context.model_of(opened)
    table = _left_out(model.content_hash, context.LEVEL, model)
    if table.empty:
        st.info(SAID["nobody"])
    else:
        _own_units(model, table)
    st.header("Before any unit of yours", anchor=False)
    st.write(context.SAID["size"]["rests"])
    st.header("On registers that it had not seen", anchor=False)
    st.write(SAID["simulated"])
    st.html(_simulated())
    st.write(SAID["real"])
    st.html(_real())


def _own_units(model: calib.Multiplier, table: pd.DataFrame) -> None:
    """Sentence, picture and tables of the units left out."""
    st.write(_sentence(table))
    st.caption(SAID["how"])
    chart = charts.left_out(table, context.colours())
    context.picture(chart, CHART, lambda: context.to_clicked(CHART, table))
    st.caption("A click on a known unit opens its own page.")
    context.in_words(chart.description)
    st.header("Beside two rules of thumb", anchor=False)
    contributors = table["contributor"].nunique() > 1 and st.checkbox("Leave out whole contributors too", key=WHOLE)
    if contributors:
        st.caption(SAID["contributors"])
    st.html(_beside(_comparison(model.content_hash, context.LEVEL, bool(contributors), model)))
    st.caption(SAID["against"])
    st.header("By size and by contributor", anchor=False)
    for heading, column in (("size class", "size_class"), ("contributor", "contributor")):
        st.html(_groups(table, heading, column))


def _sentence(table: pd.DataFrame) -> str:
    """How many lay inside, what chance alone would make of it, and how far off the estimates were."""
    from scipy.stats import binom

    count, inside, level = len(table), int(table["inside"].sum()), float(table["level"].iloc[0])
    low, high = (int(end) for end in binom.interval(context.LEVEL, count, level))
    off = (table["rated_current_ma"] / table["stated_ma"] - 1.0).abs().median()
    meant = words.share(level).replace(" units", "")
    between = f"{low} to {high}" if low < high else f"{low}"
    return (
        f"**{inside} of {words.count(count, 'known unit')} lie inside the interval that was to hold {meant}.** "
        f"Where all is as supposed, chance puts {between} inside, nine times in ten. "
        f"Half of the estimates lie within {words.percent(off)} of what the record states."
    )


def _of(some: int, whole: int) -> str:
    """A share in figures, which stays in one piece in a narrow column."""
    return f"{some}\N{NO-BREAK SPACE}of\N{NO-BREAK SPACE}{whole}"


def _beside(compared: pd.DataFrame) -> str:
    """The fit and the rules of thumb on the same units; a rule that could not be set for a unit was not asked there."""
    rows = []
    for one in compared[compared["folds"] > 0].to_dict("records"):
        inside = _of(round(one["coverage"] * one["folds"]), one["folds"])
        figures = [words.percent(one["median_error"]), words.figure(one["interval_score"])]
        rows.append((f"a {one['left_out']}", one["method"], inside, *figures))
    headings = ("left out", "by", "inside", "median error", "score")
    return context.table(headings, rows, numeric=(2, 3, 4))


def _groups(table: pd.DataFrame, heading: str, column: str) -> str:
    """How the units of each class, or of each contributor, came out."""
    rows = []
    for name, one in table.groupby(column, sort=True):
        ratio = one["rated_current_ma"] / one["stated_ma"]
        inside = _of(int(one["inside"].sum()), len(one))
        middle = f"{ratio.median():.2f}"
        rows.append((str(name) or "core not known", inside, words.percent((ratio - 1.0).abs().median()), middle))
    headings = (heading, "inside", "median error", "median estimate over stated")
    return context.table(headings, rows, numeric=(1, 2, 3))


def _simulated() -> str:
    """Coverage on simulated registers by their number of known units, from the shipped trial."""
    import pandas as pd

    trial = pd.read_csv(calib.shipped("datasets/validation/coverage.csv"))
    rows = []
    for known, one in trial[trial["spoiled_pct"].isin([0, SPOILED_PCT])].groupby("known"):
        asked = one[one["spoiled_pct"] == (SPOILED_PCT if known else 0)]
        inside = asked["coverage"]
        ends = f"{words.percent(inside.min())} to {words.percent(inside.max())}"
        rows.append((f"{known:,}", str(asked["scene"].nunique()), words.percent(inside.mean()), ends))
    headings = ("known units", "populations", "inside, mean", "worst and best population")
    return context.table(headings, rows, numeric=(0, 1, 2, 3))


def _real() -> str:
    """The published windings, each left out, from the shipped trial."""
    import pandas as pd

    trial = pd.read_csv(calib.shipped("datasets/validation/real.csv"))
    rows = []
    for one in trial[trial["left_out"]].to_dict("records"):
        inside = _of(round(one["coverage"] * one["windings"]), one["windings"])
        figures = (words.percent(one["median_error"]), words.figure(one["high_over_low"], 2))
        rows.append((one["told"], inside, *figures))
    headings = ("told besides", "inside", "median error", "high over low")
    return context.table(headings, rows, numeric=(1, 2, 3))


if __name__ == "__main__":
    draw()
