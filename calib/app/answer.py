"""What one unit can give: the picture, the sentence, the working, what would sharpen it; a likely slip put right."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import bench, charts, words
from calib.app import context, forms
from calib.session import fields as measured, meters as metering
from calib.session.readings import FIELD_OF, METALS, count_of, heater_rows, metal_of
from calib.session.repair import Repair, read_again

if TYPE_CHECKING:
    import pandas as pd

    from calib.charts.style import Palette

SAYS = context.SAID["answer"]
OTHER = {"capacitor": "With a choke first instead", "choke": "With a capacitor first instead"}

HERE, START, LEFT_OUT = "Entered here", "As the form starts", "Left out"
LIKELIEST, UNLIKELY = "The likeliest slip", "Worth a second look"
# What is read of voltage, resistance and line, as the account of an answer says it.
READ = {
    "excitation_v": "{} V on the primary",
    "hv_v": "{} V then across the whole high-voltage winding",
    "no_load_v": "{} V without load",
    "hv_resistance_ohm": "{} Ω of the whole winding",
    "winding_temp_c": "at {} °C",
    "line_voltage_v": "line of {} V",
    "line_frequency_hz": "{} Hz",
}
LABELS = {
    facts.name: forms.LABELS.get(FIELD_OF.get(facts.name, facts.name), facts.label)
    for facts in calib.fields(calib.UnknownUnit)
}


def draw(
    estimate: Any,
    unit: Mapping[Any, Any],
    account: str = "",
    counted: str = "",
    mend: Callable[[], None] | None = None,
) -> None:
    """Everything that is known of the unit, the picture first.

    Parameters
    ----------
    estimate : calib.UnitEstimate
        The answer.
    unit : mapping of str to object
        The unit's row.
    account, counted : str
        HTML: what ends the working, and what the answer was made from, to stand beside it.
    mend : callable or None
        Draws what the form offers where a slip is likely.
    """
    answer = estimate.answer.iloc[0].to_dict()
    demand, current = float(unit["demand_ma"]), words.current_title(unit["rectifier"])
    if estimate.simulated:
        st.html(f'<div class="calib-band calib-practice">{_simulated(unit)}</div>')
    if estimate.withheld:
        _withheld(estimate, answer, counted, mend)
        return
    chart, opinions = _pictures(estimate, context.colours(), demand, current)[1:]
    context.picture(chart, "estimate_chart")
    _sentences(estimate, answer, unit)
    st.html(counted)
    context.in_words(chart.description)
    _second_look(estimate, mend)
    _narrowing(estimate.narrowing)
    st.subheader("The working", anchor=False)
    st.html(working_table(estimate.working) + account)
    if estimate.supply:
        st.subheader("What this supply asks", anchor=False)
        st.markdown("\n".join(f"- {words.plain(words.symbols(text))}" for text in estimate.supply))
    st.subheader("Before you take the next reading", anchor=False)
    context.cautions([words.plain(text) for text in estimate.cautions])
    if estimate.sharpen:
        st.subheader("What would sharpen it most", anchor=False)
        st.markdown("\n".join(f"1. {words.plain(text[0].upper() + text[1:])}." for text in estimate.sharpen))
    _heaters(estimate)
    _opinions(opinions)
    if estimate.core is not None:
        st.write(words.plain(f"The core by itself: {estimate.core}."))
        if estimate.core.remark and math.isfinite(estimate.core.rated_current_ma):
            st.warning(words.plain(words.sentence(estimate.core.remark)))


def _withheld(estimate: Any, answer: Mapping[Any, Any], counted: str, mend: Callable[[], None] | None) -> None:
    """What stands in the answer's place where the readings do not go together: no current, no odds, no picture."""
    mark = words.mark(answer)
    before = f'<b class="calib-mark">{mark}.</b> ' if mark else ""
    flagged = {**answer, "flags": str(answer["flags"]).replace("suspect-reading", "")}
    st.html(SAYS["withheld"].format(mark=before) + _flags(flagged, estimate))
    st.html(counted)
    _second_look(estimate, mend)
    st.subheader("The working, as far as it goes", anchor=False)
    st.html(working_table(estimate.working))
    st.subheader("Before you take the next reading", anchor=False)
    context.cautions([words.plain(text) for text in estimate.cautions])


def _second_look(estimate: Any, mend: Callable[[], None] | None) -> None:
    """The readings that disagree, and what the repair of each likely slip would give; nothing where all is sound."""
    if mend is not None and estimate.answer["likely_slip"].iloc[0]:
        mend()
    if len(estimate.disagreement):
        st.subheader("The readings that disagree", anchor=False)
        rows = [
            (words.sentence(one["reading"])[:-1], _read(one, "value"), f"{_read(one, 'low')} to {_read(one, 'high')}")
            for one in estimate.disagreement.to_dict("records")
        ]
        st.html(context.table(("reading", "as read", "the others lead one to expect"), rows))
    if len(estimate.repairs):
        st.subheader("What each repair would give", anchor=False)
        rows = [
            (words.sentence(one["slip"])[:-1], words.symbols(one["then"]), _repaired(one))
            for one in estimate.repairs.to_dict("records")
        ]
        st.html(context.table(("if the slip is this", "then", f"likely ({words.share(context.LEVEL)})"), rows))
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
    lines.append(f'<p class="calib-more" id="carried">It stands on {words.predictors(answer["predictors"])}.</p>')
    st.html("".join(lines) + _flags(answer, estimate))


def _flags(answer: Mapping[Any, Any], estimate: Any) -> str:
    """What a reader must know of an estimate, improbable readings first, as a list; blank where there is nothing."""
    unlikely = (
        f"{LABELS[one.column].lower()}: {one.why[0]}{words.symbols(words.sentence(one.why))[1:]}"
        for one in estimate.improbable
    )
    said = "".join(_flag(f"{UNLIKELY}, {one}") for one in unlikely)
    said += "".join(_flag(flag) for flag in words.flags(str(answer["flags"])))
    if answer["likely_slip"]:
        said += _flag(f"{LIKELIEST}: {answer['likely_slip']}. Read it again before you go on.")
    said += "".join(_flag(f"Given, but not used: {one}.") for one in estimate.unused)
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
        f"{before} likely <b>{likely} mA</b>; {words.share(context.LEVEL)} like this are rated between <b>{low} and "
        f"{high} mA</b>, and {words.share(context.LEVEL).replace(' units', '')} at least <b>{floor} mA</b>."
    )


def working_table(working: pd.DataFrame) -> str:
    """The working line by line, as one would do it on paper."""
    rows = []
    for line in working.to_dict("records"):
        value, unit = line["value"], words.symbols(line["unit"])
        shown = value if isinstance(value, str) else words.figure(float(value), 4)
        gives = f"× {value:.5f}" if unit == "×" else f"{shown} {unit}".rstrip()
        rows.append((line["step"], words.symbols(line["formula"]), gives))
    return context.table(("step", "how", "gives"), rows, numeric=(2,))


def _narrowing(narrowing: pd.DataFrame) -> None:
    """What each reading took off the interval, in the order said, and what it would be without each."""
    if not len(narrowing):
        return
    st.subheader("What each reading took off the interval", anchor=False)
    rows = []
    for place, one in enumerate(narrowing.to_dict("records")):
        name, times = words.predictors(one["reading"]), [words.figure(one[part]) for part in ("width", "without")]
        span = f"{words.milliamps(one['low_ma'])} to {words.milliamps(one['high_ma'])} mA"
        rows.append((f"with {name}" if place else f"{name} alone", span, times[0], times[1] if place else "–"))
    st.html(
        context.table(("reading by reading", "interval", "high over low", "without it alone"), rows, numeric=(2, 3))
    )
    st.write(SAYS["narrowing"])


def _heaters(estimate: Any) -> None:
    """What the heater windings give, where they were read."""
    if estimate.heaters is None or not estimate.heaters.windings:
        return
    st.subheader("The heater windings", anchor=False)
    rows = heater_rows(estimate.heaters)
    st.html(context.table(("winding", "at the line", "at 20 °C", f"rms current ({words.share(context.LEVEL)})"), rows))
    if math.isfinite(estimate.heaters.drop):
        st.write(SAYS["heaters"].format(drop=words.figure(estimate.heaters.drop / 10, 2)))


@st.cache_resource(max_entries=context.LEFT_ANSWERED, show_spinner=False, hash_funcs=context.BY_IDENTITY)
def _pictures(estimate: Any, colours: Palette, _demand: float, _current: str) -> tuple[Any, Any, Any]:
    """An estimate, its picture, and that of its opinions where there are several; demand and axis are the unit's."""
    answer, several = estimate.answer.iloc[0].to_dict(), len(estimate.opinions) > 1
    drawn = charts.opinions(estimate.opinions, colours, _current) if several else None
    return estimate, charts.estimate(estimate.curve, answer, _demand, colours, _current), drawn


def _opinions(chart: Any) -> None:
    st.subheader("The opinions, side by side", anchor=False)
    if chart is None:
        st.write("Only one set of readings speaks so far. Core and wire would each add an opinion of their own.")
        return
    context.picture(chart, "opinions_chart")
    context.in_words(chart.description)


@dataclass(frozen=True)
class Origin:
    """Where the entries of a form came from.

    Attributes
    ----------
    entries : mapping of str to object
        What stands in the form, by field.
    filled : mapping of str to object
        What was put there from elsewhere, by field.
    source : str
        Where that came from, in words.
    start : mapping of str to object
        What stood there at the start.
    here : str
        What an entry is called that came from neither.
    """

    entries: Mapping[str, Any]
    filled: Mapping[str, Any]
    source: str
    start: Mapping[str, Any]
    here: str = HERE

    def of(self, field: str) -> str:
        """Where a field's entry came from."""
        if self._stands(field, self.filled):
            return self.source[0].upper() + self.source[1:]
        return START if self._stands(field, self.start) else self.here

    def _stands(self, field: str, put: Mapping[str, Any]) -> bool:
        """Whether the form still holds what was put there, in the unit that it was put there in."""
        if put.get(field) in (None, ""):
            return False
        names = [field, *(name for name in [f"{field}_unit"] if name in put and name in self.entries)]
        return all(measured.shown(self.entries.get(name)) == measured.shown(put[name]) for name in names)


def counted(unit: Mapping[Any, Any], origin: Origin) -> str:
    """Everything that an answer was made from, by where it came from, as HTML.

    Parameters
    ----------
    unit : mapping of str to object
        The unit's row, as `calib.read_unknown` gives it.
    origin : Origin
        Where the form's entries came from.
    """
    groups: dict[str, list[str]] = {}
    for field, said in _said(unit, origin.entries):
        groups.setdefault(origin.of(field) if field else LEFT_OUT, []).append(said)
    last = (START, LEFT_OUT)
    order = [*(one for one in groups if one not in last), *(one for one in last if one in groups)]
    lines = "".join(f"<dt>{html.escape(one)}</dt><dd>{html.escape('; '.join(groups[one]))}</dd>" for one in order)
    return (
        f'<p class="calib-more"><b>What this was made from</b></p><dl class="calib-counted" id="counted">{lines}</dl>'
    )


def _said(unit: Mapping[Any, Any], entries: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Each reading with the field that it came from; those that are not there, with none."""
    read = [(FIELD_OF.get(name, name), READ[name].format(_figure(unit, name))) for name in READ if _counts(unit, name)]
    return [
        *read,
        *(("", what) for what in ("voltage", "resistance") if _lacks(unit, what)),
        ("conductor", f"metal of its wire: {METALS[metal_of(unit)]}"),
        ("rectifier", words.RECTIFIERS[unit["rectifier"]]),
        ("filter", words.FILTERS[unit["filter"]]),
        *_how_sure(unit, entries),
        *_sharpening(unit, entries),
    ]


def _counts(unit: Mapping[Any, Any], column: str) -> bool:
    """Whether a reading is there and counts: beside a ratio test the no-load voltage does not."""
    beside = {"no_load_v": not _is(unit, "hv_v"), "winding_temp_c": _is(unit, "hv_resistance_ohm")}
    return _is(unit, column) and beside.get(column, True)


def _lacks(unit: Mapping[Any, Any], what: str) -> bool:
    """Whether the voltage, or the resistance, was not read."""
    return not any(_is(unit, name) for name in (("hv_v", "no_load_v") if what == "voltage" else ("hv_resistance_ohm",)))


def _how_sure(unit: Mapping[Any, Any], entries: Mapping[str, Any]) -> list[tuple[str, str]]:
    """How sure the two readings are, which the meters say."""
    found = []
    for what, meter, column, usual in (
        ("voltage", "voltmeter", "u_voltage_pct", bench.DEFAULT_U_VOLTAGE_PCT),
        ("resistance", "ohmmeter", "u_resistance_pct", bench.DEFAULT_U_RESISTANCE_PCT),
    ):
        if _lacks(unit, what):
            continue
        share = float(unit[column]) if _is(unit, column) else usual
        field = column if entries.get(meter) == metering.STATED else meter
        found.append((field, f"{what} known to {words.figure(share, 2)} %"))
    return found


def _sharpening(unit: Mapping[Any, Any], entries: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What sharpens the answer, or asks something of it."""
    found = [("", "core")]
    if _is(unit, "tongue_mm"):
        found = [("tongue", f"core with a tongue of {_figure(unit, 'tongue_mm')} mm")]
        found.append(("stack", f"a stack of {_figure(unit, 'stack_mm')} mm"))
    elif _is(unit, "core_area_cm2"):
        found = [("area", f"core of {_figure(unit, 'core_area_cm2')} cm²")]
    if _is(unit, "wire_diameter_mm"):
        found.append(("wire", f"wire {_figure(unit, 'wire_diameter_mm')} mm bare"))
    else:
        found.append(("wire", f"wire AWG {_figure(unit, 'awg')}") if _is(unit, "awg") else ("", "wire"))
    for column, said, unit_of in (("primary_resistance_ohm", "primary", "Ω"), ("weight_kg", "weight", "kg")):
        read = f"{said} of {_figure(unit, column)} {unit_of}" if _is(unit, column) else said
        found.append((column if _is(unit, column) else "", read))
    asked = f"the set's demand of {_figure(unit, 'demand_ma')} mA" if _is(unit, "demand_ma") else ""
    found.append(("demand_ma", asked) if asked else ("", "the set's demand"))
    lit = count_of(entries)
    found.append(("", "heater windings") if lit is None else ("heaters", words.count(lit, "heater winding")))
    if _is(unit, "contributor"):
        found.append(("contributor", f"read by {unit['contributor']}"))
    return found


def _is(unit: Mapping[Any, Any], column: str) -> bool:
    value = unit.get(column)
    return value not in (None, "") and value == value


def _figure(unit: Mapping[Any, Any], column: str) -> str:
    return f"{float(unit[column]):.5g}"


REPAIR = context.SAID["repair"]
DONE = "seen_repaired"  # the repairs made on the page by click, by the form that they were made in
FIGURES = {"rated_current_ma": "most likely", "low_ma": "from", "high_ma": "to", "floor_ma": "at least"}


@dataclass(frozen=True)
class Mending:
    """What a form offers of a likely slip.

    Attributes
    ----------
    repair : calib.session.repair.Repair or None
        What puts it right there; None where the form cannot say it.
    unit : pandas.DataFrame or None
        The unit as it would be then; None where it is none.
    put : callable
        Takes the repair and the entries to put into the form: those after it, or before it.
    """

    repair: Repair | None
    unit: pd.DataFrame | None
    put: Callable[[Repair, Mapping[str, Any]], None]


def offer_repair(model: Any, unit: pd.DataFrame, slip: str, mending: Mending) -> None:
    """Offer to put a slip right, with the answer as read and the one put right; or say what to read again."""
    st.subheader(REPAIR["head"], anchor=False)
    repair = mending.repair
    table = None if repair is None or mending.unit is None else _answers(model, unit, mending.unit)
    if repair is None or table is None:
        st.write(words.plain(f"{words.sentence(slip)} {read_again(slip)}"))
        return
    st.write(words.plain(f"{words.sentence(slip)} {REPAIR['says']}"))
    st.button(f"{repair.offer}: put it right", key="repair", on_click=_do, args=(mending.put, repair))
    rows = [
        (one["predictors"], *(f"{words.milliamps(one[name])} mA" for name in FIGURES))
        for one in table.to_dict("records")
    ]
    if len(rows) == 1:  # what is withheld is not told here either
        rows.insert(0, (REPAIR["as_read"], REPAIR["withheld"], *[""] * (len(FIGURES) - 1)))
    st.html(context.table(("", *FIGURES.values()), rows, numeric=(1, 2, 3, 4)))
    if len(table) > 1:
        chart = charts.repair(table, context.colours(), words.current_title(unit["rectifier"].iloc[0]))
        context.picture(chart, "repair_chart")
        context.in_words(chart.description)


def _answers(model: Any, unit: pd.DataFrame, right: pd.DataFrame) -> pd.DataFrame | None:
    """Both answers in two rows, the one as read left out where it is withheld; None where neither can be told."""
    import pandas as pd

    told = [model.estimate(right, context.LEVEL).assign(predictors=REPAIR["put_right"])]
    if model.estimate(unit, context.LEVEL)["rated_current_ma"].notna().all():
        told.insert(0, model.estimate(unit, context.LEVEL, as_read=True).assign(predictors=REPAIR["as_read"]))
    both = pd.concat(told, ignore_index=True)[["predictors", *FIGURES, "level"]]
    return None if both.isna().any(axis=None) else both


def made(form: str, entries: Mapping[str, Any], put: Callable[[Repair, Mapping[str, Any]], None]) -> None:
    """Say what was put right by a click in this form, with the way back, for as long as it stands there."""
    repair = st.session_state.get(DONE)
    if repair is None or repair.form != form:
        return
    if not repair.stands(entries):
        st.session_state.pop(DONE, None)
        return
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="repair_made"):
        st.write(words.plain(f"{REPAIR['done']} {repair.done}"))
        st.button(REPAIR["undo"], key="repair_undo", on_click=_undo, args=(put, repair))


def _do(put: Callable[[Repair, Mapping[str, Any]], None], repair: Repair) -> None:
    put(repair, repair.after)
    st.session_state[DONE] = repair


def _undo(put: Callable[[Repair, Mapping[str, Any]], None], repair: Repair) -> None:
    put(repair, repair.before)
    st.session_state.pop(DONE, None)
