"""What one unit can give: the picture, the sentence, the working, the cautions, and what would sharpen it."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import bench, words
from calib.app import parts, readings_form
from calib.charts.charts import estimate_chart, estimate_told, opinions_chart, opinions_told
from calib.session.readings import FIELD_OF, heater_rows

if TYPE_CHECKING:
    import pandas as pd

OTHER = {"capacitor": "With a choke first instead", "choke": "With a capacitor first instead"}

LIKELIEST, UNLIKELY = "The likeliest slip", "Worth a second look"
LABELS = {
    facts.name: readings_form.LABELS.get(FIELD_OF.get(facts.name, facts.name), facts.label)
    for facts in calib.fields(calib.UnknownUnit)
}


def draw(estimate: Any, unit: Mapping[Any, Any], account: str = "", counted: str = "") -> None:
    """Everything that is known of the unit, the picture first.

    Parameters
    ----------
    estimate : calib.UnitEstimate
        The answer.
    unit : mapping of str to object
        The unit's row.
    account, counted : str
        HTML: what ends the working, and what the answer was made from, to stand beside it.
    """
    answer = estimate.answer.iloc[0].to_dict()
    demand, current = float(unit["demand_ma"]), words.current_title(unit["rectifier"])
    if estimate.simulated:
        st.html(f'<div class="calib-band calib-practice">{_simulated(unit)}</div>')
    if estimate.withheld:
        _withheld(estimate, answer, counted)
        return
    chart = estimate_chart(estimate.curve, answer, demand, parts.LEVEL, parts.colours(), current=current)
    st.altair_chart(chart, theme=None, width="stretch", key="estimate_chart")
    _sentences(estimate, answer, unit)
    st.html(counted)
    parts.in_words(estimate_told(answer, demand, parts.LEVEL))
    _second_look(estimate)
    st.subheader("The working", anchor=False)
    st.html(working_table(estimate.working) + account)
    if estimate.supply:
        st.subheader("What this supply asks", anchor=False)
        st.markdown("\n".join(f"- {words.plain(words.symbols(text))}" for text in estimate.supply))
    st.subheader("Before you take the next reading", anchor=False)
    parts.cautions([words.plain(text) for text in estimate.cautions])
    if estimate.sharpen:
        st.subheader("What would sharpen it most", anchor=False)
        st.markdown("\n".join(f"1. {words.plain(text[0].upper() + text[1:])}." for text in estimate.sharpen))
    _heaters(estimate)
    _opinions(estimate.opinions, current)
    if estimate.core is not None:
        st.write(words.plain(f"The core by itself: {estimate.core}."))
        if estimate.core.remark and math.isfinite(estimate.core.rated_current_ma):
            st.warning(words.plain(words.sentence(estimate.core.remark)))


def _withheld(estimate: Any, answer: Mapping[Any, Any], counted: str) -> None:
    """What stands in the answer's place where the readings do not go together: no current, no odds, no picture."""
    mark = words.mark(answer)
    before = f'<b class="calib-mark">{mark}.</b> ' if mark else ""
    lines = [
        f'<p class="calib-answer" id="answer">{before}<b>No current is told:</b> these readings do not go together.'
        "</p>",
        '<p class="calib-more">A figure from them could be wrong many times over. Read again what is listed here, and '
        "mend the entry.</p>",
    ]
    flagged = {**answer, "flags": str(answer["flags"]).replace("suspect-reading", "")}
    st.html("".join(lines) + _flags(flagged, estimate.improbable))
    st.html(counted)
    _second_look(estimate)
    st.subheader("The working, as far as it goes", anchor=False)
    st.html(working_table(estimate.working))
    st.subheader("Before you take the next reading", anchor=False)
    parts.cautions([words.plain(text) for text in estimate.cautions])


def _second_look(estimate: Any) -> None:
    """The readings that disagree, and what the repair of each likely slip would give; nothing where all is sound."""
    if len(estimate.disagreement):
        st.subheader("The readings that disagree", anchor=False)
        rows = [
            (words.sentence(one["reading"])[:-1], _read(one, "value"), f"{_read(one, 'low')} to {_read(one, 'high')}")
            for one in estimate.disagreement.to_dict("records")
        ]
        st.html(table(("reading", "as read", "the others lead one to expect"), rows))
    if len(estimate.repairs):
        st.subheader("What each repair would give", anchor=False)
        rows = [
            (words.sentence(one["slip"])[:-1], words.symbols(one["then"]), _repaired(one))
            for one in estimate.repairs.to_dict("records")
        ]
        st.html(table(("if the slip is this", "then", f"likely ({words.share(parts.LEVEL)})"), rows))
        st.write("The likelier slip first. None of them is proven: only a second reading tells.")


def _read(one: Mapping[str, Any], name: str) -> str:
    """A reading with its unit; a wire's diameter with its gauge too."""
    value = float(one[name])
    said = f"{words.figure(value)} {words.symbols(one['unit'])}"
    if "wire" not in one["reading"]:
        return said
    return f"{said} (AWG {round(float(bench.awg_from_diameter(value)))})"


def _repaired(one: Mapping[str, Any]) -> str:
    likely, low, high = (words.milliamps(float(one[f"repaired_{name}ma"])) for name in ("", "low_", "high_"))
    return f"{likely} mA ({low} to {high})"


def _simulated(unit: Mapping[Any, Any]) -> str:
    source = "the readings are a practice unit's" if unit["simulated"] else "the known units behind it are simulated"
    return f"<b>SIMULATED</b> – {source}: this says nothing about a real unit."


def _sentences(estimate: Any, answer: Mapping[Any, Any], unit: Mapping[Any, Any]) -> None:
    demand = float(unit["demand_ma"])
    lines = [f'<p class="calib-answer" id="answer">{sentence(answer)}</p>']
    if math.isfinite(demand):
        chance = words.odds(float(answer["odds_of_demand"]))
        asked = words.beside(demand, float(answer["rated_current_ma"]))
        asked = f"{asked}; odds that it is rated for that: <b>{chance}</b>."
        lines.append(f'<p class="calib-more" id="odds">{asked}</p>')
    if len(estimate.other) and unit["filter"] in OTHER and math.isfinite(estimate.other["rated_current_ma"].iloc[0]):
        other = sentence(estimate.other.iloc[0].to_dict())
        instead = f"<i>{OTHER[unit['filter']]}:</i> {other[0].lower() + other[1:]}"
        lines.append(f'<p class="calib-more" id="other-filter">{instead}</p>')
    st.html("".join(lines) + _flags(answer, estimate.improbable))


def _flags(answer: Mapping[Any, Any], improbable: Sequence[Any]) -> str:
    """What a reader must know of an estimate, improbable readings first, as a list; blank where there is nothing."""
    unlikely = (
        f"{LABELS[one.column].lower()}: {one.why[0]}{words.symbols(words.sentence(one.why))[1:]}" for one in improbable
    )
    said = "".join(_flag(f"{UNLIKELY}, {one}") for one in unlikely)
    said += "".join(_flag(flag) for flag in words.flags(str(answer["flags"])))
    if answer["likely_slip"]:
        said += _flag(f"{LIKELIEST}: {answer['likely_slip']}. Read it again before you go on.")
    return f'<ul class="calib-flags">{said}</ul>' if said else ""


def _flag(said: str) -> str:
    doubt = ' class="calib-doubt"' if said.startswith((words.FLAGS["suspect-reading"], LIKELIEST, UNLIKELY)) else ""
    return f"<li{doubt}>{html.escape(said)}</li>"


def sentence(answer: Mapping[str, Any]) -> str:
    """The answer in one sentence, its three figures set in bold."""
    low, likely, high, floor = (
        words.milliamps(float(answer[name])) for name in ("low_ma", "rated_current_ma", "high_ma", "floor_ma")
    )
    mark = words.mark(answer)
    before = f'<b class="calib-mark">{mark}:</b> most' if mark else "Most"
    return (
        f"{before} likely <b>{likely} mA</b>; {words.share(parts.LEVEL)} like this are rated between <b>{low} and "
        f"{high} mA</b>, and {words.share(parts.LEVEL).replace(' units', '')} at least <b>{floor} mA</b>."
    )


def working_table(working: pd.DataFrame) -> str:
    """The working line by line, as one would do it on paper."""
    rows = []
    for line in working.to_dict("records"):
        value, unit = line["value"], words.symbols(line["unit"])
        shown = value if isinstance(value, str) else words.figure(float(value), 4)
        gives = f"× {value:.5f}" if unit == "×" else f"{shown} {unit}".rstrip()
        rows.append((line["step"], words.symbols(line["formula"]), gives))
    return table(("step", "how", "gives"), rows, numeric=(2,))


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[int] = ()) -> str:
    """A table for reading, which wraps on a narrow screen; the columns named in `numeric` stand flush right."""
    place = [' class="num"' if column in numeric else "" for column in range(len(headings))]
    top = "".join(f'<th scope="col"{here}>{html.escape(name)}</th>' for name, here in zip(headings, place, strict=True))
    body = ""
    for row in rows:
        cells = "".join(f"<td{here}>{_cell(cell)}</td>" for cell, here in zip(row, place, strict=True))
        body += f"<tr>{cells}</tr>"
    inner = f"<thead><tr>{top}</tr></thead><tbody>{body}</tbody>"
    return f'<div class="calib-scroll"><table class="calib-table">{inner}</table></div>'


def _cell(text: str) -> str:
    """A cell's text, in which V/Ω stays in one piece."""
    return html.escape(text).replace("/Ω", "/&NoBreak;Ω")


def _heaters(estimate: Any) -> None:
    """What the heater windings give, where they were read."""
    if estimate.heaters is None or not estimate.heaters.windings:
        return
    st.subheader("The heater windings", anchor=False)
    rows = heater_rows(estimate.heaters)
    st.html(table(("winding", "at the line", "at 20 °C", f"rms current ({words.share(parts.LEVEL)})"), rows))
    drop = words.figure(estimate.heaters.drop / 10, 2)
    st.write(
        f"Reckoned as if each lost the same {drop} % of its voltage in its copper as the high-voltage winding does: a "
        "rough guide. The valves' data and the set's own count for more."
    )


def _opinions(opinions: pd.DataFrame, current: str) -> None:
    st.subheader("The opinions, side by side", anchor=False)
    if len(opinions) < 2:
        st.write("Only one set of readings speaks so far. Core and wire would each add an opinion of their own.")
        return
    chart = opinions_chart(opinions, parts.LEVEL, parts.colours(), current=current)
    st.altair_chart(chart, theme=None, width="stretch", key="opinions_chart")
    parts.in_words(opinions_told(opinions))
