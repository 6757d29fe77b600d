"""What is wrong with a row as typed: each fault in plain words, with its limit and a remedy."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from calib.errors import Fault, InputError
from calib.register.facts import FieldFacts, NoNumber, Refusal
from calib.register.rules import READ_BY_RULES, Contradiction, Contradictions

Rules = Callable[[Mapping[str, object]], list[Contradiction]]
Record = TypeVar("Record", bound=BaseModel)

CHECK = "check the reading and its unit"


class Slip(NamedTuple):
    """A fault of one row: the column, the value as typed, the problem and the remedy."""

    column: str
    value: str
    problem: str
    remedy: str


def is_blank(value: object) -> bool:
    """Whether a cell or a value says nothing: None, NaN, or text of spaces alone."""
    return value is None or value != value or (isinstance(value, str) and not value.strip())


def parsed(
    kind: type[Record],
    known: tuple[FieldFacts, ...],
    values: Mapping[str, object],
    where: str = "",
    row: int | None = None,
    rules: Rules | None = None,
) -> Record:
    """Make a record of values as typed, or say everything that is wrong with them.

    Parameters
    ----------
    kind : class
        The record's.
    known : tuple of FieldFacts
        The facts of its fields.
    values : mapping of str to object
        As typed, or as numbers, flags and dates; "", None and NaN are blank.
    where : str
        File or form that they came from, for the faults.
    row : int or None
        Line in that file.
    rules : function or None
        Rules between the fields, asked of the sound ones where another is faulty.

    Raises
    ------
    InputError
        With a fault for each field that is missing, refused or at odds with another.
    """
    given = {name: value for name, value in values.items() if not is_blank(value)}
    try:
        return kind.model_validate(given)
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)
    raise InputError([Fault(where, row, *each) for each in faults_of(known, given, details, rules)])


def faults_of(
    known: tuple[FieldFacts, ...],
    given: Mapping[str, object],
    details: list[ErrorDetails],
    rules: Rules | None = None,
) -> list[Slip]:
    """Say everything that is wrong with a row.

    Parameters
    ----------
    known : tuple of FieldFacts
        The fields that the row may have, in their order.
    given : mapping of str to object
        What is filled in.
    details : list of ErrorDetails
        What the record's own check found.
    rules : function or None
        Rules between the fields.

    Returns
    -------
    list of Slip
        In the order of the fields; the rules between fields are asked of those that are sound.
    """
    facts = {each.name: each for each in known}
    found: list[tuple[str, str, str]] = []
    faulty: set[str] = set()
    for each in details:
        error = each.get("ctx", {}).get("error")
        if isinstance(error, Contradictions):
            found += [(rule.column, rule.problem, rule.remedy) for rule in error.found]
            continue
        name = str(each["loc"][0])
        faulty.add(name)
        found.append((name, *_single(facts.get(name), each["type"], error, given.get(name))))
    if faulty and rules is not None:
        found += [(rule.column, rule.problem, rule.remedy) for rule in rules(_for_rules(given, faulty))]
    order = list(dict.fromkeys((*facts, *given)))
    found.sort(key=lambda fault: order.index(fault[0]))
    return [Slip(name, _shown(given.get(name, "")), problem, remedy) for name, problem, remedy in found]


def _shown(value: object) -> str:
    """A value as it was typed; a number without the digits that only the machine gives it."""
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _for_rules(given: Mapping[str, object], faulty: set[str]) -> dict[str, object]:
    """What the rules between fields may look at: sound choices and flags as values, the others as typed."""
    readable = {name: value for name, value in given.items() if name not in faulty or name not in READ_BY_RULES}
    for name in READ_BY_RULES & readable.keys():
        value = readable[name]
        if isinstance(value, str):
            readable[name] = value.strip() if name != "centre_tapped" else value.strip().lower() == "true"
    return readable


def _single(facts: FieldFacts | None, slip: str, error: object, value: object) -> tuple[str, str]:
    """Problem and remedy of one field's fault."""
    if facts is None:
        return "is not a column of this table", "leave it out, or put what it says into notes"
    or_empty = "" if facts.needed else ", or leave it empty where it was not measured"
    if slip == "missing":
        return "is needed", f"fill it in: {facts.help[0].lower()}{facts.help[1:].rstrip('.')}"
    if isinstance(error, Refusal):
        better = facts.as_a_table_has_it(value) if isinstance(error, NoNumber) else ""
        return error.problem, (better or error.remedy) + or_empty
    if slip in ("greater_than", "greater_than_equal", "less_than_equal"):
        asked = facts.probably_meant(float(str(value)))
        return f"is outside the limits, {facts.limits}", f"{f'{asked} If not, ' if asked else ''}{CHECK}{or_empty}"
    if facts.choices:
        return "is not one of the choices", f"write one of: {', '.join(facts.choices)}"
    return f"is not a {facts.kind}", f"write a {facts.kind}{or_empty}"
