"""A record on a page: the form to add and amend it, itself beside its correction, steps with who and why, undo."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import streamlit as st

import calib
from calib import words
from calib.app import context, forms
from calib.app.forms import Form
from calib.register.fields import FIELDS, FieldFacts
from calib.session import meters as m, readings
from calib.session.fields import Field, symbols_of
from calib.units import own_symbol

if TYPE_CHECKING:
    import pandas as pd

WHO, WHY, DONE, TROUBLE = "seen_doubt_by", "seen_doubt_why", "seen_doubt_done", "seen_doubt_wrong"
FACTS = {one.name: one for one in calib.fields(calib.KnownUnit)}
LABELS = {name: f"{one.label}, {own_symbol(one.unit)}" if one.unit else one.label for name, one in FACTS.items()}
LEFT = 8  # registers' states whose number of doubtful records is remembered
_COUNTS: dict[tuple[str, str, str], int | None] = {}  # of doubtful records; None while they are looked for


@st.cache_data(max_entries=4, show_spinner="Looking through the records …")
def found(fit: str, content: str, place: str, _model: calib.Multiplier, _known: pd.DataFrame) -> list[calib.Doubt]:
    """What the review finds, remembered until records or fit change, or something is decided on the page."""
    with context.register() as register:
        return list(calib.review_of(_model, _known, register.revisions()))


def review(model: calib.Multiplier, opened: context.Opened) -> list[calib.Doubt]:
    """The same for the register that is open; where it cannot be looked through, the page says so and stops."""
    try:
        doubts = found(model.content_hash, opened.content, opened.place, model, opened.known)
    except calib.CannotError as error:
        st.error(words.plain(f"The records cannot be looked through: {error}."))
        st.stop()
    _remember((model.content_hash, opened.content, opened.place), len(doubts))
    return doubts


def number_in_doubt(model: calib.Multiplier, opened: context.Opened) -> int | None:
    """How many records are in doubt; None while that is reckoned, beside the page that it must not keep waiting."""
    key = (model.content_hash, opened.content, opened.place)
    if key not in _COUNTS:
        with context.register() as register:
            history = register.revisions()
        _remember(key, None)

        def count() -> None:
            with suppress(calib.CannotError):  # the number is not known then, which is no 0
                _COUNTS[key] = len(calib.review_of(model, opened.known, history))

        threading.Thread(target=count, daemon=True).start()
    return _COUNTS.get(key)


def _remember(key: tuple[str, str, str], count: int | None) -> None:
    _COUNTS[key] = count
    while len(_COUNTS) > LEFT:
        _COUNTS.pop(next(iter(_COUNTS)), None)


def side_by_side(doubt: calib.Doubt) -> str:
    """The record's readings, those that the correction changes first, beside the corrected ones."""
    now, changed = doubt.record.values(), doubt.changed
    names = [*changed, *(name for name in now if name not in changed and now[name] not in (None, "", False))]
    rows = [
        [LABELS[name], shown(name, now[name]), shown(name, changed[name][1]) if name in changed else ""]
        for name in names
        if name not in ("unit", "contributor")
    ]
    return context.table(["", "As it stands", "Corrected"], rows, numeric=(1, 2))


def shown(name: str, value: object) -> str:
    """A value of a record's column as these tables show it: in words, as the form puts it, where it is a code."""
    if value is None or value == "" or value != value:
        return "blank"
    facts = FACTS.get(name)
    if facts is not None and facts.kind == "flag":
        return "yes" if value else "no"
    if facts is not None and facts.said:
        return facts.names.get(str(value), str(value))
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def who_and_why(why: str) -> None:
    """Who takes the step, and why, as its history keeps them."""
    left, right = st.columns(2)
    left.text_input("Who decides (kept in the history)", key=WHO)
    right.text_input(why, key=WHY)


def who() -> str:
    """Who decides, as typed."""
    return str(st.session_state.get(WHO, "") or "").strip()


def why() -> str:
    """The reason, as typed."""
    return str(st.session_state.get(WHY, "") or "").strip()


def step(tag: tuple[str, str], said: str, do: Callable[[calib.Register], Any]) -> bool:
    """Take one step with a record, and remember the revision that it made, so that it can be undone."""

    def taken(register: calib.Register) -> None:
        do(register)
        revision = int(register.history(*tag)["revision"].iloc[-1])
        st.session_state[DONE] = (str(register.path), *tag, revision, f"{tag[1]} of {tag[0]} is {said}.")

    if not _write(taken):
        return False
    st.session_state.pop(WHY, None)
    return True


def undo(contributor: str, unit: str, revision: int) -> None:
    """Take the last step back."""
    if _write(lambda register: register.undo(contributor, unit, revision, who())):
        place = st.session_state[DONE][0]
        st.session_state[DONE] = (place, "", "", 0, f"Undone: {unit} of {contributor} is as it was.")


def _write(do: Callable[[calib.Register], None]) -> bool:
    try:
        with context.register() as register:
            do(register)
    except (calib.InputError, calib.CannotError) as error:
        st.session_state[TROUBLE] = f"Nothing was done: {error}."
        return False
    found.clear()
    return True


def done(open_now: str) -> None:
    """What was done last in the register that is open, and its undoing."""
    last = st.session_state.get(DONE)
    if last and last[0] == open_now:
        _, contributor, unit, revision, said = last
        st.success(words.plain(said))
        if revision:
            st.button("Undo", key="doubt_undo", on_click=undo, args=(contributor, unit, revision))


def trouble() -> None:
    """Why the last step was not taken."""
    if said := st.session_state.pop(TROUBLE, ""):
        st.error(words.plain(said))


VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
ASKS = context.SAID["known"]
# Fields that stand after the one that they belong to.
AFTER = {
    "rated_current_ma": ("rating_basis", "guide_factor"),
    "hv_resistance_ohm": ("hv_half_1_ohm", "hv_half_2_ohm"),
    "conductor": ("wire",),
}
WIRE = Field(
    "wire", "Wire (if known)", unit="wire", help="Gauge or diameter of the winding's wire, without its enamel."
)
AMENDS = "amends"  # of the form that amends: the register's file, the record it began from, and its entries then


def form(prefix: str, understood: readings.Understood, opened: context.Opened, tried: bool) -> Form:
    """The fields, the meters and what they amount to; what is wrong stands beside its field."""
    now = forms.entries(prefix)
    asked = [_entry_told(one) for one in readings.known_fields()]
    form = Form.over(prefix, {"wire": WIRE, **{one.name: one for one in asked}}, understood, tried)
    first = [one.name for one in asked if one.needed or one.name in VOLTAGES]
    others = [one.name for one in asked if one.name not in (*first, *itertools.chain(*AFTER.values()))]
    st.write("Readings are over the whole winding. Of the voltage: either both of a ratio test, or the no-load volts.")
    _grid(form, first)
    with st.expander("If you have it: core, wire, notes"):
        _grid(form, others)
    forms.meters(form, now, opened.meters, now.get("no_load_v") is None or now.get("hv_v") is not None)
    if understood.record is not None:
        st.html(context.account(understood.metered))
    return form


def begin(place: str, record: calib.KnownUnit, typed: Mapping[str, Any] | None = None) -> None:
    """Begin to amend a record: the form stands as the record does, or as was typed for it elsewhere."""
    context.forget("amend_")
    first = entries_of(record)
    st.session_state[AMENDS] = place, record, first
    for name, value in (first if typed is None else typed).items():
        st.session_state[f"amend_{name}"] = value


def entries_of(record: calib.KnownUnit) -> dict[str, Any]:
    """What stands in the form where it is filled from a record."""
    made: dict[str, Any] = {}
    values = record.values()
    for facts in readings.known_fields():
        value = values[facts.name]
        if facts.kind == "flag":
            made[facts.name] = None if value is None else str(value).lower()
        elif facts.kind == "choice":
            made[facts.name] = value or None
        elif facts.kind == "date":
            made[facts.name] = date.fromisoformat(str(value)) if value else None
        else:
            made[facts.name] = "" if value is None else value if facts.kind == "text" else forms.measured.shown(value)
            if facts.kind == "number" and len(symbols := symbols_of(facts.unit)) > 1:
                made[f"{facts.name}_unit"] = symbols[0]
    for column, unit in (("awg", "AWG"), ("wire_diameter_mm", "mm")):  # the diameter counts where both stand
        if values.get(column) is not None:
            made |= {"wire": forms.measured.shown(values[column]), "wire_unit": unit}
    for column, meter in (("u_voltage_pct", "voltmeter"), ("u_resistance_pct", "ohmmeter")):
        if values.get(column) is not None:
            made |= {meter: m.STATED, column: forms.measured.shown(values[column])}
    return made


def amended(
    entries: Mapping[str, Any], record: calib.KnownUnit, first: Mapping[str, Any], opened: context.Opened
) -> readings.Understood:
    """What the entries make of a record that the form was filled from: a column whose entry was left alone stays."""
    read = readings.understand_known(entries, opened.meters, opened.simulated)
    begun = readings.understand_known(first, opened.meters, opened.simulated).record
    if read.record is None:
        return read
    old = record.values() if begun is None else begun.values()
    new = {name: value for name, value in read.record.values().items() if value != old[name]}
    try:
        return replace(read, record=calib.KnownUnit.parse({**record.values(), **new}))
    except calib.InputError as error:
        return replace(read, record=None, faults={one.column: f"{one.problem}; {one.remedy}." for one in error.faults})


def _entry_told(facts: FieldFacts) -> FieldFacts:
    """A field as the form calls it: what may be left out says so, and limits stand in the help."""
    known = "" if facts.needed or facts.name in VOLTAGES else " (if known)"
    asked = forms.with_limits(facts)
    if facts.name == "rating_basis":  # the help of the column names its codes, of which the form shows none
        asked = replace(asked, label=ASKS["basis"], help=ASKS["basis_help"])
    return replace(asked, label=f"{asked.label}{known}")


def _grid(form: Form, names: list[str]) -> None:
    """Fields in two columns, each with those that belong to it; the factor of a maker's guide where one was used."""
    half = (len(names) + 1) // 2
    for column, part in zip(st.columns(2, gap="medium"), (names[:half], names[half:]), strict=True):
        with column:
            for name in part:
                if name == "evidence":
                    form.choice(form.fields[name], FIELDS[name].names)
                else:
                    form.ask(name)
                for other in AFTER.get(name, ()):
                    if other == "rating_basis":
                        form.choice(form.fields[other], FIELDS[other].names)
                    elif other != "guide_factor" or st.session_state.get(f"{form.prefix}rating_basis") == "guide":
                        form.ask(other)
