"""The fields of a bench session and of the forms: what is asked, numbers read as they are typed, limits, two windows.

A field is data. What a person types into it becomes a number with its unit, that number is held against its limits and
against what is usual, and what is wrong or odd about it is said in the unit that was typed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from calib import bench, words
from calib.errors import Fault, InputError
from calib.register.fields import outside_limits

if TYPE_CHECKING:
    from calib.errors import Code
    from calib.register.fields import FieldFacts
    from calib.register.improbable import Unlikely

AWG, SWG, MM, INCH = "AWG", "SWG", "mm", "in"
WIRE_UNITS = (AWG, SWG, MM, INCH)
SIGNS = {"ohm": "Ω", "K": "°C"}  # how a unit is shown
ENTERED = ("number", "text", "pick", "several")  # kinds of fields that start empty; the others start at their first
LEAST = 1e-6  # below this a number that has to be above zero is none, in whatever unit: no meter here shows it
LONGEST = 40  # characters of what was typed that are repeated


@dataclass(frozen=True)
class Field:
    """One thing to enter.

    Attributes
    ----------
    name : str
        Under which it is kept.
    label : str
        What page and sheet call it.
    kind : str
        number, text, choice (one of `choices`), pick (one of them, or another that is typed), several (any of them), or
        meter (ordinary, one of the user's own, or typed).
    unit : str
        Of a number: the unit that is kept, `wire` for a gauge; of a meter: volt or ohm.
    help : str
        For someone with a meter in hand.
    choices : tuple of str
        Codes of what may be chosen, whose wording is `protocol.SAID`; the first of a choice says nothing yet.
    limits, usual : (float, float) or None
        Beyond the first a number is refused, beyond the second it is worth a second look; a low limit of 0 is refused
        itself where `above_zero` is set.
    above_zero : bool
        Whether zero is refused.
    column : str
        The record's column whose limits these are.
    when : mapping of str to tuple of str
        Fields of the same step, each with the choices at which this one is asked; empty: always.
    placeholder : str
        What an empty number is taken for, where it is taken for anything.
    wide : bool
        Whether it has a line to itself.
    remedy : str
        What to do about a number beyond the limits; blank for to check it, or leave it empty.
    """

    name: str
    label: str
    kind: str = "number"
    unit: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    limits: tuple[float, float] | None = None
    usual: tuple[float, float] | None = None
    above_zero: bool = True
    column: str = ""
    when: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    placeholder: str = ""
    wide: bool = False
    remedy: str = ""

    @classmethod
    def of(cls, facts: FieldFacts, label: str = "") -> Field:
        """The field of a number whose facts stand elsewhere, with that label where another than theirs is wanted."""
        limits = None if facts.low is None or facts.high is None else (facts.low, facts.high)
        return cls(
            facts.name,
            label or facts.label,
            unit=facts.unit,
            help=facts.help,
            limits=limits,
            usual=facts.usual,
            above_zero=facts.low_excluded,
            remedy=facts.remedy,
        )


@dataclass(frozen=True)
class Rows:
    """Fields that come several times over, each time with the number of the row after its name.

    Attributes
    ----------
    name, label : str
        Under which the number of rows is kept, and what one row is called.
    fields : tuple of Field
        Of one row.
    shown, most : int
        Rows at first and at the most.
    like : (str, str) or None
        Step and field whose text names the row of the same number, where an earlier step asks for the name.
    paper : int
        Rows on the printed sheet.
    """

    name: str
    label: str
    fields: tuple[Field, ...]
    shown: int
    most: int
    like: tuple[str, str] | None = None
    paper: int = 4

    def named(self, number: int) -> tuple[Field, ...]:
        """The fields of one row, 1 being the first."""
        return tuple(replace(field, name=f"{field.name}_{number}") for field in self.fields)


@dataclass(frozen=True)
class Part:
    """Some fields, or rows of fields, under a heading.

    Attributes
    ----------
    title : str
        The heading; blank for none.
    fields : tuple of Field
        Asked once.
    rows : Rows or None
        Asked several times, after them.
    note : str
        What to know before they are filled in; blank for nothing.
    closed : bool
        Whether the page folds it up until it is opened.
    """

    title: str = ""
    fields: tuple[Field, ...] = ()
    rows: Rows | None = None
    note: str = ""
    closed: bool = False


@dataclass(frozen=True)
class Step:
    """One step of the session.

    Attributes
    ----------
    name : str
        Under which its entries are kept.
    short, title : str
        In the row of steps, and as its heading.
    cautions : tuple of str
        To be read before it is begun.
    parts : tuple of Part
        What is entered.
    """

    name: str
    short: str
    title: str
    cautions: tuple[str, ...]
    parts: tuple[Part, ...] = ()

    @cached_property
    def fields(self) -> dict[str, Field]:
        """All its fields by name, rows counted out to the most."""
        found: list[Field] = []
        for part in self.parts:
            found += part.fields
            for number in range(1, part.rows.most + 1 if part.rows else 1):
                found += part.rows.named(number) if part.rows else ()
        return {one.name: one for one in found}

    def first(self, name: str) -> str:
        """The first choice of a field, which says nothing yet; blank where it starts empty."""
        one = self.fields[name]
        return "" if one.kind in ENTERED else one.choices[0]

    def asks(self, one: Field, entries: Mapping[str, Any]) -> bool:
        """Whether a field is asked, by what stands in the step; a choice that was never made counts as its first."""
        return all((entries.get(name) or self.first(name)) in allowed for name, allowed in one.when.items())


@dataclass(frozen=True)
class Numbers:
    """The numbers of a form, read.

    Attributes
    ----------
    kept : dict of str to object
        The form's entries, each number in the unit that its column is kept in; None where empty or no number.
    typed : dict of str to object
        The same, each number in the unit that it was typed in, and that unit under the field's name with `_unit`.
    aloud, faults : dict of str to str
        By field: what was understood where that is not plainly what was typed, and why something is no number.
    codes : dict of str to str
        By field of the faults, its code, see `calib.errors.Code`.
    """

    kept: dict[str, Any]
    typed: dict[str, Any]
    aloud: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    codes: dict[str, Code] = field(default_factory=dict)


def read(
    entries: Mapping[str, Any], units: Mapping[str, str], usual: Mapping[str, tuple[float, float] | None] | None = None
) -> Numbers:
    """Read the numbers of a form.

    Parameters
    ----------
    entries : mapping of str to object
        What stands in the form: a field's text or number, and under the field's name with `_unit` the unit chosen.
    units : mapping of str to str
        By field that holds a number, the unit that its column is kept in, or `wire`.
    usual : mapping of str to (float, float), optional
        By field, where such numbers lie, in the unit that is kept.

    Returns
    -------
    Numbers
        Entries of other fields are as they were.
    """
    done = Numbers(dict(entries), dict(entries))
    for name, unit in units.items():
        text = shown(entries.get(name)).strip()
        done.kept[name] = done.typed[name] = None
        if not text:
            continue
        try:
            one = bench.read_number(text, unit, entries.get(f"{name}_unit") or "", (usual or {}).get(name))
        except bench.NotRead as error:
            done.faults[name] = f"{brief(text)}: {error.problem}; {error.remedy}."
            done.codes[name] = error.code
            continue
        done.kept[name], done.typed[name] = one.kept, one.number
        own = AWG if unit == "wire" else symbols_of(unit)[0]
        if one.symbol != own or f"{name}_unit" in entries:
            done.typed[f"{name}_unit"] = done.kept[f"{name}_unit"] = one.symbol
        if one.aloud:
            done.aloud[name] = one.aloud
    return done


def symbols_of(unit: str) -> tuple[str, ...]:
    """What a quantity may be read in, by the unit that its column is kept in; the column's own alone where no other."""
    return tuple(one.symbol for one in bench.MEASURES.get(unit, ())) or ("Ω" if unit == "ohm" else unit,)


def shown(value: Any) -> str:
    """An entry as its field shows it: text as it was typed, a number in figures, nothing where empty."""
    if value is None or value != value:
        return ""
    return value if isinstance(value, str) else bench.in_figures(value)


def brief(text: str) -> str:
    """What was typed, cut short, with nothing in it that cannot be seen."""
    seen = "".join(mark if mark.isprintable() else "?" for mark in text)
    return seen if len(seen) <= LONGEST else f"{seen[:LONGEST]}…"


def as_typed(entries: Mapping[str, Any], name: str) -> str:
    """A number with the unit that it was read in, where that is not its column's; blank elsewhere."""
    symbol, typed = entries.get(f"{name}_unit"), entries.get(name)
    own = {others[0].symbol for others in bench.MEASURES.values()}
    return f"{typed:.6g} {symbol}" if typed is not None and symbol and symbol not in own else ""


@dataclass(frozen=True)
class Checked:
    """The entries of a step.

    Attributes
    ----------
    step : Step
        What is asked.
    values : dict of str to float
        The sound numbers, by field, in the units that are kept.
    typed : mapping of str to object
        Everything as it was entered, numbers read, in the units that they were typed in.
    aloud, unusual, faults : dict of str to str
        By field: the conversion in words, why it is worth a second look, what is wrong with it.
    codes : dict of str to str
        By field of the faults, its code, see `calib.errors.Code`; one that has none is at odds with another entry.
    """

    step: Step
    values: dict[str, float]
    typed: Mapping[str, Any]
    aloud: dict[str, str] = field(default_factory=dict)
    unusual: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    codes: dict[str, Code] = field(default_factory=dict)

    def get(self, name: str) -> float | None:
        """A sound number; None where there is none."""
        return self.values.get(name)

    def chosen(self, name: str) -> str:
        """What was chosen, or the first choice where nothing was."""
        return str(self.typed.get(name) or self.step.first(name))

    def chose(self, name: str, code: str) -> bool:
        """Whether that was chosen, alone or among several; a code that the field does not have is an error."""
        one = self.step.fields[name]
        if code not in one.choices:
            raise KeyError(f"{code} is no choice of {name}")
        return code in (self.typed.get(name) or ()) if one.kind == "several" else self.chosen(name) == code

    def words(self, name: str) -> str:
        """A text; blank where nothing was entered."""
        return str(self.typed.get(name) or "").strip()


def step_of(name: str, *fields: Field, rows: Rows | None = None) -> Step:
    """Fields of a page that is no session, and rows of such, to be checked as a step's are."""
    return Step(name, "", "", (), (Part(fields=fields, rows=rows),))


def checked(step: Step, entries: Mapping[str, Any]) -> Checked:
    """Check every number of a step that is asked for.

    Parameters
    ----------
    step : Step
        What is asked.
    entries : mapping of str to object
        By field, what was entered; under the field's name with `_unit`, what a number was read in.

    Returns
    -------
    Checked
        A number beyond its limits is a fault, and among the values it is missing.
    """
    numbers = [one for one in step.fields.values() if one.kind == "number" and step.asks(one, entries)]
    usual = {one.name: one.usual or one.limits for one in numbers}
    made = read(entries, {one.name: one.unit for one in numbers}, usual)
    done = Checked(step, {}, made.typed, made.aloud, {}, made.faults, made.codes)
    for one in numbers:
        value = made.kept[one.name]
        if value is None or one.unit == "wire":
            continue
        wrong, odd = _judged(one, value)
        if wrong:
            typed = as_typed(done.typed, one.name) or f"{done.typed[one.name]:.6g}"
            done.faults[one.name], done.codes[one.name] = f"{typed}: {wrong}", "limits"
            continue
        done.values[one.name] = value
        if odd:
            done.unusual[one.name] = words.sentence(odd)
    return done


def _judged(one: Field, value: float) -> tuple[str, str]:
    """What is wrong with a number, and what is unusual about it; each blank where nothing is."""
    if one.limits is None:
        return "", ""
    (low, high), unit = one.limits, SIGNS.get(one.unit, one.unit)
    if not low <= value <= high or (one.above_zero and value < LEAST):
        least = "above 0" if one.above_zero and low < LEAST else f"{low:.6g}"
        remedy = _meant(one, value, one.limits) or f"{one.remedy or 'check it, or leave it empty'}."
        return f"{outside_limits(f'{least} to {high:.10g} {unit}'.rstrip()).problem}; {remedy}", ""
    if one.usual is None or one.usual[0] <= value <= one.usual[1]:
        return "", ""
    said = f"{value:.5g} {unit}".rstrip() + f" is unusual: most are {one.usual[0]:g} to {one.usual[1]:g}"
    said = f"{said} {unit}".rstrip()
    asked = _meant(one, value, one.usual)
    return "", f"{said}; {asked}" if asked else said


def lines_read(text: str, fields: Sequence[Field]) -> tuple[list[tuple[float, ...]], list[str]]:
    """The lines of a text as numbers, one of each field in a line, parted by blanks, tabs or semicolons.

    Parameters
    ----------
    text : str
        Each number as people write it, with its unit behind it or none; empty lines are passed over.
    fields : sequence of Field
        What each number of a line is.

    Returns
    -------
    (list of tuple of float, list of str)
        The numbers in the units that are kept, and what was understood or is worth a second look, with its line.

    Raises
    ------
    InputError
        With every line that does not hold just these numbers, and every number that is none or beyond its limits.
    """
    rows: list[tuple[float, ...]] = []
    said: list[str] = []
    faults: list[Fault] = []
    for line, written in enumerate(text.splitlines(), start=1):
        cells = re.split(r"[;\t]", written) if re.search(r"[;\t]", written.strip()) else written.split()
        cells = [cell.strip() for cell in cells if cell.strip()]
        if not cells:
            continue
        if len(cells) != len(fields):
            named = ", ".join(one.label for one in fields)
            remedy = (
                f"write {len(fields)} numbers parted by blanks ({named}), or by semicolons where units stand behind"
            )
            faults.append(Fault("", line, "", brief(written.strip()), "is not understood", remedy, "text"))
            continue
        told = read(
            {one.name: cell for one, cell in zip(fields, cells, strict=True)},
            {one.name: one.unit for one in fields},
            {one.name: one.usual or one.limits for one in fields},
        )
        for one, cell in zip(fields, cells, strict=True):
            wrong, odd = (told.faults[one.name], "") if one.name in told.faults else _judged(one, told.kept[one.name])
            if wrong:
                problem, _, remedy = wrong.removeprefix(f"{brief(cell)}: ").rstrip(".").partition("; ")
                faults.append(
                    Fault("", line, one.name, brief(cell), problem, remedy, told.codes.get(one.name, "limits"))
                )
            said += [f"line {line}: {text}" for text in (told.aloud.get(one.name, ""), odd) if text]
        rows.append(tuple(float(told.kept[one.name] or 0.0) for one in fields))
    if faults:
        raise InputError(faults)
    return rows, said


def _meant(one: Field, value: float, limits: tuple[float, float]) -> str:
    """What was probably meant, as a question; blank where nothing is likely."""
    guess = bench.meant(value, *limits, *one.usual, {"Ω": "ohm"}.get(one.unit, one.unit)) if one.usual else None
    return words.symbols(guess.question()) if guess else ""


def refused(fault: Any, facts: FieldFacts | None, entries: Mapping[str, Any], name: str) -> str:
    """A fault beside its field: the value as it was typed, the limit that it broke, what was probably meant.

    Parameters
    ----------
    fault : calib.Fault
        As the record's check tells it.
    facts : FieldFacts or None
        Of the fault's column.
    entries : mapping of str to object
        What stands in the form.
    name : str
        The form's field.
    """
    typed = as_typed(entries, name)
    plain = f"{fault.problem}; {fault.remedy}."
    if not typed or facts is None:
        return f"{fault.value}: {plain}" if fault.value else plain
    here = _in_unit(facts, entries, name)
    refusal = None
    if here is not None and fault.code == "limits":
        refusal = here.judged(float(entries[name]), _own_unit(facts, entries, name))
    return f"{typed}: {refusal}." if refusal else f"{typed}: {plain}"


def doubted(one: Unlikely, facts: FieldFacts | None, entries: Mapping[str, Any], name: str) -> str:
    """Why an entry is worth a second look, as a sentence; where it is unusual by itself, in the unit typed."""
    here = _in_unit(facts, entries, name) if facts is not None else None
    if facts is None or here is None or one.code != "unusual":
        return words.sentence(one.why)
    return words.sentence(here.unlikely(float(entries[name]), _own_unit(facts, entries, name)) or one.why)


def _in_unit(facts: FieldFacts, entries: Mapping[str, Any], name: str) -> FieldFacts | None:
    """The facts with limits and usual range in the unit that was typed in; None where that is the column's own."""
    symbol = entries.get(f"{name}_unit")
    if not as_typed(entries, name) or facts.unit not in bench.MEASURES or symbol not in symbols_of(facts.unit):
        return None
    if facts.low is None or facts.high is None or facts.usual is None:
        return None
    one = bench.measure(facts.unit, symbol)
    low, high, *usual = (float(f"{one.typed(kept):.4g}") for kept in (facts.low, facts.high, *facts.usual))
    return replace(facts, unit=symbol, low=low, high=high, usual=(usual[0], usual[1]))


def _own_unit(facts: FieldFacts, entries: Mapping[str, Any], name: str) -> str:
    """The question whether the number was meant in the column's own unit; blank where that is not likely."""
    number = float(entries[name])
    if facts.usual is None or not facts.usual[0] <= number <= facts.usual[1]:
        return ""
    return f"did you mean {number:.6g} {symbols_of(facts.unit)[0]}?"


def as_shown(one: Field, value: Any) -> Any:
    """An entry as its field holds it."""
    if one.kind == "text":
        return value or ""
    if one.kind == "number":
        return shown(value)
    if one.kind == "several":
        return [choice for choice in value or [] if choice in one.choices]
    if one.kind == "choice":
        return value if value in one.choices else one.choices[0]
    return one.choices[0] if one.kind == "meter" and value is None else value


def gathered(
    step: Step, before: Mapping[str, Any], fields: Mapping[str, tuple[Any, Any]]
) -> tuple[dict[str, Any], bool]:
    """A step's entries by what stands in its fields.

    A window that was torn down and drawn again, as by a click on another page while an entry was still on its way, has
    forgotten its fields. Nobody empties two fields at once: what is gone then is put back.

    Parameters
    ----------
    step : Step
        The step.
    before : mapping of str to object
        Its entries so far.
    fields : mapping of str to (object, object)
        By field that is shown: its value, and what a number was read in.

    Returns
    -------
    (dict of str to object, bool)
        The entries, and whether the window has forgotten some of them.
    """
    mine, gone = dict(before), 0
    for one in step.fields.values():
        if one.name in fields:
            _take(mine, one, *fields[one.name])
        gone += one.kind in ENTERED and one.name in before and one.name not in mine
    if gone > 1 or (gone and any(value != before.get(name) for name, value in mine.items())):
        return {**before, **mine}, True
    return mine, False


def _take(mine: dict[str, Any], one: Field, value: Any, unit: Any) -> None:
    """An entry with what it was read in; an empty one is none, nor is a first choice, which says nothing yet."""
    first = None if one.kind in ENTERED else one.choices[0]
    if value is None or value == "" or value == [] or value == first:
        mine.pop(one.name, None)
        mine.pop(f"{one.name}_unit", None)
        return
    if one.kind != "number" or shown(mine.get(one.name)) != value:  # else it stands there as a number
        mine[one.name] = value
    if unit is not None:
        mine[f"{one.name}_unit"] = unit


def merge(base: Mapping[str, Any], mine: Mapping[str, Any], theirs: Mapping[str, Any]) -> dict[str, Any]:
    """Entries from two places that both began from the same: mine where I changed a field, else theirs."""
    merged: dict[str, Any] = {}
    for step in {*mine, *theirs}:
        was, own, other = ({**(one.get(step) or {})} for one in (base, mine, theirs))
        entries = {name: own.get(name) if own.get(name) != was.get(name) else other.get(name) for name in own | other}
        merged[step] = {name: value for name, value in entries.items() if value is not None}
    return merged
