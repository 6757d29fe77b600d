"""The engine of the page's forms: fields in, what they amount to out, and what is wrong beneath its field.

A form is drawn from definitions of fields, be they a record's, a meter's or a step's: each has a label, a unit or a
choice of units beside it, help, and beneath it what was understood. What the entries amount to is reckoned without the
page and handed in. The fields of an unknown unit's form and the meters that a unit is read on stand here too.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field as member, replace
from typing import TYPE_CHECKING, Any, Protocol

import streamlit as st

import calib
from calib import bench, words
from calib.app import context
from calib.register.fields import FIELDS
from calib.session import fields as measured, meters as m, readings as r
from calib.session.fields import Field
from calib.session.protocol import said

if TYPE_CHECKING:
    from calib.errors import Fault
    from calib.register.fields import FieldFacts

REMEMBERED, PLACES = "seen_units", "seen_unit_fields"
YES_NO = {"true": "yes", "false": "no"}
ACROSS = 2  # fields side by side on a wide window
AT_ONCE = 4  # choices of a step up to so many are all shown, more fold into a list


class Asked(Protocol):
    """What the engine needs of a field's definition: `calib.fields`, `calib.meter_fields` and a step's have it."""

    @property
    def name(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def help(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def choices(self) -> tuple[str, ...]: ...


def with_limits(facts: FieldFacts) -> FieldFacts:
    """The same field, its limits told in its help."""
    told = f"Allowed: {facts.limits}." if facts.limits else ""
    return replace(facts, help=f"{facts.help} {told}".strip())


def parsed(kind: Any, fields: Iterable[FieldFacts], now: Mapping[str, Any]) -> r.Understood:
    """A record of some kind of what stands in a form, each number in its field's unit."""
    facts = {one.name: one for one in fields}
    numbers = [one for one in facts.values() if one.kind == "number"]
    typed = measured.read(now, {one.name: one.unit for one in numbers}, {one.name: one.usual for one in numbers})
    record, missing = None, dict[str, str]()
    try:
        record = kind.parse({name: typed.kept.get(name) for name in facts}, where="the form")
    except calib.InputError as error:
        for one in error.faults:
            told = typed.faults if one.value or one.column in typed.faults else missing
            told.setdefault(one.column, f"{one.value or 'empty'}: {one.problem}; {one.remedy}.")
    return r.Understood(None if typed.faults else record, missing, typed.faults, typed.aloud)


@dataclass(frozen=True)
class Form:
    """One form: its fields, and what is to be said beneath each.

    Attributes
    ----------
    prefix : str
        What the keys of its fields begin with.
    aloud, unusual, faults : mapping of str to str
        By field: what was understood, what is worth a second look, what is wrong.
    fields : mapping of str to Asked
        The definitions that `ask` goes by.
    """

    prefix: str
    aloud: Mapping[str, str] = member(default_factory=dict)
    unusual: Mapping[str, str] = member(default_factory=dict)
    faults: Mapping[str, str] = member(default_factory=dict)
    fields: Mapping[str, Asked] = member(default_factory=dict)

    @classmethod
    def over(cls, prefix: str, fields: Mapping[str, Asked], read: r.Understood, tried: bool = False) -> Form:
        """The form over what its entries amount to; what is missing is a fault once the form was to be used."""
        return cls(prefix, read.aloud, read.unusual, {**read.faults, **(read.missing if tried else {})}, fields)

    @classmethod
    def checked(cls, prefix: str, step: measured.Step) -> tuple[Form, measured.Checked]:
        """The form over fields that are checked by themselves, as they stand in it now, and what they amount to."""
        done = measured.checked(step, entries(prefix))
        return cls(prefix, done.aloud, done.unusual, done.faults, step.fields), done

    def grid(self, names: Sequence[str]) -> None:
        """Fields side by side, row by row: a phone, where columns stand one below the other, keeps their order."""
        left = list(names)
        while left:
            wide = [name for name in left[:ACROSS] if getattr(self.fields[name], "wide", False)]
            row = left[: 1 if wide else ACROSS]
            for column, name in zip(st.columns(1 if row[0] in wide else ACROSS, gap="medium"), row, strict=False):
                with column:
                    self.ask(name)
            left = left[len(row) :]

    def ask(self, *names: str, **how: Any) -> None:
        """Fields one below the other, each by its definition; `how` as the method for its kind takes it."""
        for name in names:
            asked = self.fields[name]
            if asked.kind == "number":
                how = {"placeholder": getattr(asked, "placeholder", ""), **how}
                self.number(name, asked.label, asked.unit, asked.help, **how)
            elif asked.kind not in ("text", "date"):
                self.choice(asked, **how)
            else:
                key, help = f"{self.prefix}{name}", asked.help or None
                if asked.kind == "date":
                    st.date_input(asked.label, value=None, format="YYYY-MM-DD", key=key, help=help)
                else:
                    (st.text_area if key in ("add_notes", "amend_notes") else st.text_input)(
                        asked.label, key=key, help=help
                    )
                self.said(name, asked.label)

    def number(self, name: str, label: str, unit: str, help: str, placeholder: str = "") -> None:
        """One number, with the unit that its column is kept in or a choice of those that it may be read in."""
        symbols = measured.WIRE_UNITS if unit == "wire" else measured.symbols_of(unit)
        key = f"{self.prefix}{name}"
        with st.container():  # one place in the form, however much is said: what was folded out below stays so
            with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
                number(key, label, help, placeholder)
                if len(symbols) > 1:
                    _choose_unit(key, label, unit, symbols)
                else:
                    st.html(f'<div class="calib-unit">{html.escape(symbols[0])}</div>', width="content")
            self.said(name, label)

    def choice(self, asked: Asked, names: Mapping[str, str] | None = None) -> None:
        """A choice: of a record empty at first; of a step at its first, which says nothing yet, or any of several."""
        of_step, named = isinstance(asked, Field), names or (YES_NO if asked.kind == "flag" else {})
        how: dict[str, Any] = {"key": f"{self.prefix}{asked.name}", "help": asked.help or None}
        how["format_func"] = said if of_step else lambda code: named.get(code, code)
        if asked.kind == "several":
            st.multiselect(asked.label, asked.choices, placeholder="choose any", **how)
        elif of_step and asked.kind == "choice" and len(asked.choices) <= AT_ONCE:
            st.radio(asked.label, asked.choices, **how)
        else:
            if asked.kind == "pick":
                how |= {"index": None, "placeholder": "choose, or type another", "accept_new_options": True}
            elif not of_step:
                how |= {"index": None, "placeholder": "choose"}
            st.selectbox(asked.label, asked.choices, **how)
        self.said(asked.name, asked.label)

    def said(self, name: str, label: str) -> None:
        """What stands beneath a field."""
        aloud(self.aloud.get(name, ""))
        if name in self.unusual:
            st.html(f'<p class="calib-unusual">Look again: {html.escape(self.unusual[name])}</p>')
        if name in self.faults:
            st.error(words.plain(f"{label}: {self.faults[name]}"))


def number(key: str, label: str, help: str = "", placeholder: str = "") -> None:
    """A field for a number as people write it; what reads it is `measured.read`.

    It is a field for text: one for numbers makes 497 of 4,97. A telephone shows its whole keyboard for it, since the
    server has no way to ask for the one of figures, which has neither minus nor unit anyway.
    """
    held = st.session_state.get(key)
    if not isinstance(held, str):  # put there by a program: what a person types is text, and is left alone
        st.session_state[key] = measured.shown(held)
    st.text_input(
        label, key=key, help=help or None, placeholder=placeholder or None, autocomplete="off", width="stretch"
    )


def aloud(said: str) -> None:
    """What was understood of an entry; nothing where there is nothing to say."""
    if said:
        st.html(f'<p class="calib-aloud">{html.escape(said)}</p>')


def told(faults: Iterable[Fault], fields: Mapping[str, Asked], labels: Mapping[str, str] | None = None) -> None:
    """Each fault in a line, by the label of its field: its own, or another where the field is none of the form."""
    for one in faults:
        label = fields[one.column].label if one.column in fields else (labels or {}).get(one.column, one.column)
        at = "" if one.row is None else f"line {one.row}"
        value = f"'{one.value}'" if one.value else ""
        where = ", ".join(part for part in (label, at) if part) or "This"
        st.error(words.plain(f"{f'{where} {value}'.strip()}: {one.problem}; {one.remedy}."))


def entries(prefix: str) -> dict[str, Any]:
    """What stands in a form now, by field."""
    state = st.session_state.to_dict()  # to go through it key by key lists all of it anew at each
    return {str(key).removeprefix(prefix): value for key, value in state.items() if str(key).startswith(prefix)}


def select(key: str, label: str, options: Sequence[str], help: str = "", names: Mapping[str, str] | None = None) -> str:
    """A choice that falls back to its first option where the one chosen is there no more; the one chosen."""
    if st.session_state.get(key) not in options:
        st.session_state[key] = options[0]
    named = (names or {}).get
    return str(st.selectbox(label, options, format_func=lambda one: named(one, one), key=key, help=help or None))


def pick(key: str, label: str, names: Mapping[str, str], help: str = "", row: bool = False) -> None:
    """A choice of few, all of them shown; what is kept is the code, so that a wording may change."""
    st.radio(label, list(names), format_func=names.__getitem__, key=key, help=help or None, horizontal=row)


def supply(prefix: str, *places: Any) -> tuple[str, str]:
    """The rectifier and the filters that there are behind it, one below the other or each in a place of its own."""
    above, below = places or (st.container(), st.container())
    with above:
        rectifier = select(f"{prefix}rectifier", "Rectifier", list(words.RECTIFIERS), names=words.RECTIFIERS)
    allowed = {"none": ["none"], "doubler": ["capacitor"]}.get(rectifier, list(words.FILTERS))
    with below:
        return rectifier, select(f"{prefix}filter", "Filter", allowed, names=words.FILTERS)


def empty(prefix: str, texts: Iterable[str], choices: Iterable[str] = ()) -> None:
    """Empty fields of a form. To let go of an entry is not enough: the browser would go on showing it."""
    kept = st.session_state.get("kept", {})
    for names, nothing in ((texts, ""), (choices, None)):
        for name in names:
            kept.pop(f"{prefix}{name}", None)
            st.session_state[f"{prefix}{name}"] = nothing


def _choose_unit(key: str, label: str, unit: str, symbols: Sequence[str]) -> None:
    """The units that a number may be read in; one that was chosen is offered for the fields after it."""
    unit_key = f"{key}_unit"
    st.session_state.setdefault(PLACES, {})[unit_key] = unit
    if st.session_state.get(unit_key) not in symbols:
        st.session_state[unit_key] = st.session_state.get(REMEMBERED, {}).get(unit, symbols[0])
    st.radio(
        f"Unit of: {label}",
        symbols,
        key=unit_key,
        horizontal=True,
        label_visibility="collapsed",
        width="content",
        on_change=_remember,
        args=(unit_key, unit),
    )


def _remember(unit_key: str, unit: str) -> None:
    """Keep a choice for as long as the page is open; fields that are still empty follow it, filled ones do not."""
    symbol = st.session_state.get(unit_key)
    if symbol is None:  # let go of in the meantime: the browser showed another session's step still
        return
    st.session_state.setdefault(REMEMBERED, {})[unit] = symbol
    for other, kept_in in st.session_state.get(PLACES, {}).items():
        held = st.session_state.get(other.removesuffix("_unit"))
        if kept_in == unit and held in (None, "") and other in st.session_state:
            st.session_state[other] = symbol


def _fields(*groups: str) -> dict[str, Field]:
    told = {name: one for group in groups for name, one in r.FORM[group].items()}
    return {name: Field(name, one["label"], unit=r.KEPT_IN[name], help=one["help"]) for name, one in told.items()}


# What is asked of an unknown unit, and how sure a form's readings are.
UNIT_FIELDS, METER_FIELDS = _fields("needed", "more"), _fields("meter")
LABELS = {name: one["label"] for name, one in r.FORM["needed"].items()} | {"rectifier": "Rectifier", "filter": "Filter"}
SAID = {name: FIELDS[name].names for name in ("metered", "volts_metered", "ohm_leads")}
QUANTITIES = {"volt": "volts", "ohm": "ohms"}
SYMBOLS = {"volt": "V", "ohm": "Ω"}
STEPS = 1000  # a reading of so many steps of its last digit shows what a meter's figures amount to


def meters(form: Form, now: Mapping[str, Any], own: Sequence[calib.Meter], ratio: bool) -> None:
    """Choose the meters of a unit's readings; add to the list of one's own, and take off it."""
    form = replace(form, fields=METER_FIELDS)
    with st.expander("Your meters: how sure the readings are"):
        _voltages(form, now, [one.label for one in own if one.reads == "volt"], ratio)
        _resistance(form, now, [one.label for one in own if one.reads == "ohm"])
        st.markdown("**Your own meters**")
        _list(own)
        _add()


def _voltages(form: Form, now: Mapping[str, Any], own: list[str], ratio: bool) -> None:
    key = f"{form.prefix}voltmeter"
    label = "Voltages read on" if ratio else "No-load voltage read on"
    chosen = select(key, label, [m.ORDINARY, *own, m.STATED], names=SAID["metered"])
    if chosen == m.STATED:
        form.ask("u_voltage_pct")
    elif chosen != m.ORDINARY and ratio:
        help = "On one meter and one range its error of scale is in both voltages, and cancels in their ratio."
        pick(f"{form.prefix}volts_metered", "The two voltages were read on", SAID["volts_metered"], help)
        if now.get("volts_metered") in (m.OTHER_RANGE, m.TWO_METERS):
            select(f"{form.prefix}second_voltmeter", "The high-voltage winding's volts read on", own)
    form.said("voltmeter", "Voltages")


def _resistance(form: Form, now: Mapping[str, Any], own: list[str]) -> None:
    options = [m.ORDINARY, *own, m.STATED]
    chosen = select(f"{form.prefix}ohmmeter", "Resistance read on", options, names=SAID["metered"])
    if chosen == m.STATED:
        form.ask("u_resistance_pct")
    pick(f"{form.prefix}ohm_leads", "The ohms entered are", SAID["ohm_leads"])
    leads = now.get("ohm_leads")
    if leads == m.NULL:
        form.ask("null_ohm")
    if chosen not in (m.ORDINARY, m.STATED):
        if leads != m.FOUR_WIRE:
            form.ask("null_u_ohm", placeholder=f"{bench.LEAD_NULL_U_OHM:g}")
        form.ask("temp_within_k", placeholder=f"{bench.WINDING_TEMP_HALF_WIDTH_K:g}")
    form.said("ohmmeter", "Resistance")


def _list(own: Sequence[calib.Meter]) -> None:
    if not own:
        st.write("None on the list yet. Copy each range's figures from the meter's data.")
    for place, one in enumerate(own):
        figures = f"±({one.percent:g} % + {one.counts:g} × {one.resolution:g} {SYMBOLS[one.reads]})"
        with st.container(horizontal=True, vertical_alignment="center", gap="small", key=f"meter_row_{place}"):
            st.html(
                f'<b>{html.escape(one.label)}</b>, {QUANTITIES[one.reads]}: <span class="calib-whole">{figures}</span>',
                width="stretch",
            )
            name = words.plain(f"Take {_named(one)} off the list")
            st.button("Remove", key=f"drop_meter_{place}", help=name, on_click=_drop, args=(one,))


def _named(meter: calib.Meter) -> str:
    return f"{meter.label} ({QUANTITIES[meter.reads]})"


def _add() -> None:
    """Add a range of a meter; what is wrong stands beside its field."""
    done = st.session_state.pop("seen_meter_kept", "")
    if done:
        st.success(words.plain(done))
    if not st.toggle("Put a meter on the list", key="meter_open"):
        return
    now = entries("meter_")
    fields = {one.name: one for one in _meter_fields(now)}
    form = Form.over("meter_", fields, _meter_read(now), tried=bool(st.session_state.get("seen_meter_tried")))
    form.ask("name")
    pick("meter_reads", fields["reads"].label, QUANTITIES, row=True)
    form.ask("range_label", "percent", "counts", "resolution")
    st.caption(
        "A pointer meter: 0 % of reading; as the last digit a hundredth of full scale; as counts its % of full scale."
    )
    st.button("Keep this meter", key="keep_meter", on_click=_keep)


def _meter_read(now: Mapping[str, Any]) -> r.Understood:
    """A meter of what stands in its form; and what its figures amount to at a reading of a thousand steps."""
    fields = _meter_fields(now)
    read = parsed(calib.Meter, fields, now)
    nameless = parsed(calib.Meter, fields, {**now, "name": now.get("name") or "this meter"}).record
    if nameless is None:
        return read
    reading, symbol = STEPS * nameless.resolution, SYMBOLS[nameless.reads]
    limit = float(bench.half_width(reading, nameless.accuracy))
    said = f"A reading of {reading:.6g} {symbol} is then good to ± {limit:.2g} {symbol}."
    return replace(read, aloud={**read.aloud, "resolution": f"{read.aloud.get('resolution', '')} {said}".strip()})


def _meter_fields(now: Mapping[str, Any]) -> list[FieldFacts]:
    """The fields of a meter, the last digit in what is read on it."""
    symbol = SYMBOLS.get(str(now.get("reads")), "V")
    told = [with_limits(one) for one in calib.meter_fields()]
    return [replace(one, unit=symbol) if one.name == "resolution" else one for one in told]


def _keep() -> None:
    st.session_state["seen_meter_tried"] = True
    meter = _meter_read(entries("meter_")).record
    if meter is None:
        return
    try:
        with context.register() as register:
            new = register.keep_meter(meter)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state["seen_meter_kept"] = f"Not kept: {error}."
        return
    st.session_state["seen_meter_tried"] = False
    st.session_state["seen_meter_kept"] = f"{_named(meter)} {'is on the list' if new else 'was on the list already'}."
    empty("meter_", ["percent", "counts", "resolution", "range_label"])


def _drop(meter: calib.Meter) -> None:
    try:
        with context.register() as register:
            register.drop_meter(meter.name, meter.reads, meter.range_label)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state["seen_meter_kept"] = f"Not taken off: {error}."
    else:
        st.session_state["seen_meter_kept"] = f"{_named(meter)} is off the list."
