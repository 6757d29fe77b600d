"""The record of one high-voltage winding, known or unknown: its class, and what its fields must be together."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from functools import cache, partial
from typing import Annotated, Any, NamedTuple, Self, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic_core import ErrorDetails

from calib.bench.faults import HIGHEST_HALF_RATIO
from calib.errors import Code, Fault, InputError
from calib.paths import data
from calib.register.fields import (
    FIELDS,
    RECORD,
    Conductor,
    Day,
    Evidence,
    FieldFacts,
    FilterInput,
    Flag,
    FlagOrBlank,
    LaminationShape,
    Name,
    NameIfAny,
    OneLine,
    RatingBasis,
    Rectifier,
    Refusal,
    Words,
    as_number,
    is_blank,
    of,
    outside_limits,
    trimmed,
)

# What the rules between fields read; of the other fields they ask only whether they are filled in.
READ_BY_RULES = frozenset({"rectifier", "filter", "centre_tapped", "rating_basis"})
VOLTAGES = ("excitation_v", "hv_v", "no_load_v")
WIRE = ("awg", "wire_diameter_mm")  # of an unknown unit either is enough
WHOLE, HALVES = "hv_resistance_ohm", ("hv_half_1_ohm", "hv_half_2_ohm")
ADD_VOLTS = "add no_load_v, or both excitation_v and hv_v"
OR_THE_WIRE = "; or give the wire, awg or wire_diameter_mm, which is enough by itself"
HALF_AS_WHOLE = 0.03  # one half within this of the whole is the slip 'half R'


class Rule(NamedTuple):
    """A rule between fields: what it says, the fields that it asks to be filled in, and those asked to be empty."""

    says: dict[str, Any]
    filled: set[str]
    empty: set[str]

    @classmethod
    def of(cls, says: dict[str, Any], column: str, when: dict[str, Any]) -> Rule:
        """A rule about one column, what is said of it put in."""
        empty = {name for name, asked in when.items() if asked is False}
        remedy = says["remedy"].replace("{help}", _help(FIELDS[column])).replace("{or_the_wire}", OR_THE_WIRE)
        return cls({**says, "column": column, "when": when, "remedy": remedy}, {*when} - empty, empty)


def _help(facts: FieldFacts) -> str:
    """What is said of a field, to go on a remedy with."""
    return f"{facts.help[0].lower()}{facts.help[1:].rstrip('.')}"


RULES: tuple[Rule, ...] = tuple(
    Rule.of(says, column, {**says["when"], **({} if "column" in says else {column: False})})
    for says in data("register/rules.toml")["rule"]
    for column in (says["columns"] if "columns" in says else [says["column"]])
)
# Columns that an unknown unit needs where its wire is not known; of the volts see VOLTAGES.
WITHOUT_WIRE = {one.says["column"] for one in RULES if {*WIRE} <= one.empty and not one.filled} - {"no_load_v"}


class Contradiction(NamedTuple):
    """Two fields that do not go together: the one to mend, what is wrong, the remedy, and a code for programs."""

    column: str
    problem: str
    remedy: str
    code: Code = "conflict"


class Contradictions(ValueError):
    """Every contradiction of one record."""

    def __init__(self, found: list[Contradiction]) -> None:
        super().__init__("; ".join(f"{each.column} {each.problem}" for each in found))
        self.found = tuple(found)


Rules = Callable[[Mapping[str, object]], list[Contradiction]]
Record = TypeVar("Record", bound=BaseModel)


class Unit(BaseModel):
    """What is read of any unit, known or not: supply, voltages, resistance, core and wire of one winding.

    Each field's label, unit, limits and help stand in `calib.register.fields`.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)

    unit: Name
    contributor: NameIfAny = ""
    rectifier: Annotated[Rectifier, trimmed]
    filter: Annotated[FilterInput, trimmed]
    line_voltage_v: Annotated[float | None, of("line_voltage_v"), as_number] = None
    line_frequency_hz: Annotated[float | None, of("line_frequency_hz"), as_number] = None
    centre_tapped: FlagOrBlank = None
    excitation_v: Annotated[float | None, of("excitation_v"), as_number] = None
    hv_v: Annotated[float | None, of("hv_v"), as_number] = None
    no_load_v: Annotated[float | None, of("no_load_v"), as_number] = None
    hv_resistance_ohm: Annotated[float | None, of("hv_resistance_ohm"), as_number] = None
    winding_temp_c: Annotated[float | None, of("winding_temp_c"), as_number] = None
    tongue_mm: Annotated[float | None, of("tongue_mm"), as_number] = None
    stack_mm: Annotated[float | None, of("stack_mm"), as_number] = None
    core_area_cm2: Annotated[float | None, of("core_area_cm2"), as_number] = None
    conductor: Annotated[Conductor | None, trimmed] = None
    awg: Annotated[float | None, of("awg"), as_number] = None
    wire_diameter_mm: Annotated[float | None, of("wire_diameter_mm"), as_number] = None
    u_voltage_pct: Annotated[float | None, of("u_voltage_pct"), as_number] = None
    u_resistance_pct: Annotated[float | None, of("u_resistance_pct"), as_number] = None
    primary_resistance_ohm: Annotated[float | None, of("primary_resistance_ohm"), as_number] = None
    u_primary_pct: Annotated[float | None, of("u_primary_pct"), as_number] = None
    weight_kg: Annotated[float | None, of("weight_kg"), as_number] = None
    hv_half_1_ohm: Annotated[float | None, of("hv_half_1_ohm"), as_number] = None
    hv_half_2_ohm: Annotated[float | None, of("hv_half_2_ohm"), as_number] = None
    lamination: Annotated[LaminationShape | None, trimmed] = None
    window_width_mm: Annotated[float | None, of("window_width_mm"), as_number] = None
    window_height_mm: Annotated[float | None, of("window_height_mm"), as_number] = None
    maker: NameIfAny = ""
    made_year: Annotated[int | None, of("made_year"), as_number] = None
    transformer: NameIfAny = ""
    stop: OneLine = ""
    stop_cleared: OneLine = ""
    doubts: OneLine = ""
    recorded_on: Day | None = None
    notes: Words = ""
    simulated: Flag = False

    @model_validator(mode="before")
    @classmethod
    def _whole_of_halves(cls, given: Any) -> Any:
        """The whole winding's resistance where its halves alone were read: their sum."""
        if not isinstance(given, dict) or not is_blank(given.get(WHOLE)):
            return given
        halves = [_number_or_nan(given.get(name)) for name in HALVES]
        return {**given, WHOLE: float(f"{sum(halves):.12g}")} if all(map(math.isfinite, halves)) else given

    @model_validator(mode="after")
    def _hang_together(self) -> Self:
        there = {name: value for name, value in self.__dict__.items() if value not in (None, "")}
        if found := contradictions(there, type(self)):
            raise Contradictions(found)
        if self.centre_tapped is None:
            self.__dict__["centre_tapped"] = self.rectifier == "full-wave"
        new = [one for one in _doubts_of_halves(self) if one not in self.doubts]
        if new:
            self.__dict__["doubts"] = " | ".join(filter(None, (self.doubts, *new)))
        return self

    @classmethod
    def parse(cls, values: Mapping[str, object], where: str = "", row: int | None = None) -> Self:
        """Make a record of values as typed, or say everything that is wrong with them.

        Parameters
        ----------
        values : mapping of str to object
            Field names with what was typed, or with numbers, flags and dates; "", None and NaN are blank.
        where : str
            File or form that they came from, for the faults.
        row : int or None
            Line in that file.

        Returns
        -------
        KnownUnit or UnknownUnit
            The record.

        Raises
        ------
        InputError
            With a fault for each field that is missing, refused or at odds with another.
        """
        return parsed(cls, fields(cls), values, where, row, partial(contradictions, kind=cls))

    @property
    def stopped(self) -> str:
        """Why the unit must not be fed; "" where nothing is against it, or where that was cleared."""
        return "" if self.stop_cleared else self.stop

    def values(self) -> dict[str, Any]:
        """The fields in the order of the tables, None where blank."""
        return {name: getattr(self, name) for name in columns(type(self))}

    def entered(self) -> dict[str, Any]:
        """The same without the doubts that its own readings raise: a record that is made of it raises them anew."""
        own = _doubts_of_halves(self)
        kept = [one for one in self.doubts.split(" | ") if one and one not in own]
        return {**self.values(), "doubts": " | ".join(kept)}


class KnownUnit(Unit):
    """A unit whose rated current is known."""

    contributor: Name
    evidence: Annotated[Evidence, trimmed]
    line_voltage_v: Annotated[float, of("line_voltage_v"), as_number]
    line_frequency_hz: Annotated[float, of("line_frequency_hz"), as_number]
    centre_tapped: Flag
    hv_resistance_ohm: Annotated[float, of("hv_resistance_ohm"), as_number]
    winding_temp_c: Annotated[float, of("winding_temp_c"), as_number]
    rated_current_ma: Annotated[float, of("rated_current_ma"), as_number]
    rating_basis: Annotated[RatingBasis | None, trimmed] = None
    guide_factor: Annotated[float | None, of("guide_factor"), as_number] = None
    kept: OneLine = ""

    @property
    def record_id(self) -> str:
        """What identifies the record, whatever its readings: a hash of contributor and unit."""
        return record_id(self.contributor, self.unit)


class UnknownUnit(Unit):
    """A unit whose rating is sought for the supply that `rectifier` and `filter` name.

    It needs volts and resistance with what belongs to them, or the wire alone: line_voltage_v, line_frequency_hz,
    hv_resistance_ohm and winding_temp_c may then be None, and centre_tapped, where blank, is that of its rectifier.
    """

    demand_ma: Annotated[float | None, of("demand_ma"), as_number] = None


def standing(values: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """What stands against a unit, the gravest first.

    Parameters
    ----------
    values : mapping of str to object
        At least the columns stop, stop_cleared and doubts, each blank where there is nothing.

    Returns
    -------
    tuple of (str, str)
        A kind with what is to be said: stop; or cleared, the stop with why it no longer stands; and doubt, one each.
    """
    texts = (values.get(name) for name in ("stop", "stop_cleared", "doubts"))
    stop, cleared, doubts = (text.strip() if isinstance(text, str) else "" for text in texts)
    found = []
    if stop:
        found.append(("cleared", f"{stop}; why it no longer stands: {cleared}") if cleared else ("stop", stop))
    return (*found, *(("doubt", one.strip()) for one in doubts.split("|") if one.strip()))


@cache
def fields(kind: type[Unit]) -> tuple[FieldFacts, ...]:
    """The facts of every field of a kind of record, in the order of the tables' columns.

    Parameters
    ----------
    kind : KnownUnit or UnknownUnit
        The class of the record.

    Returns
    -------
    tuple of FieldFacts
        `simulated` is the last but for `demand_ma`.
    """
    own = kind.model_fields
    return tuple(replace(facts, needed=own[facts.name].is_required()) for facts in RECORD if facts.name in own)


@cache
def columns(kind: type[Unit]) -> tuple[str, ...]:
    """The names of `fields`, in their order."""
    return tuple(facts.name for facts in fields(kind))


def lacking(kind: type[Unit], names: Collection[object], wired: bool) -> set[str]:
    """The columns that a table with these must have and has not; the three of the voltage where it has none of them.

    `wired` says whether the wire of each of its units may be known, which is enough of an unknown one.
    """
    needed = {facts.name for facts in fields(kind) if facts.needed}
    if kind is UnknownUnit:
        if wired:
            return needed - {*names}
        needed |= WITHOUT_WIRE
    absent = needed - {*names}
    volts = {*VOLTAGES[:2]} <= {*names} or VOLTAGES[2] in names
    return absent if volts else absent | {*VOLTAGES}


def record_id(contributor: str, unit: str) -> str:
    """Hash of contributor and unit, the same on every machine: what identifies a record through its revisions."""
    return hashlib.sha256(f"{len(contributor)}:{contributor}{unit}".encode()).hexdigest()[:32]


def contradictions(given: Mapping[str, object], kind: type[Unit]) -> list[Contradiction]:
    """Find what does not go together among the fields that are filled in.

    Parameters
    ----------
    given : mapping of str to object
        The fields that are not blank: `rectifier`, `filter` and `centre_tapped` (True or False) where they can be read;
        of the others presence alone counts.
    kind : KnownUnit or UnknownUnit
        What they are of.

    Returns
    -------
    list of Contradiction
        One of a column; empty for a sound record.
    """
    there, other = given.keys(), "unknown" if issubclass(kind, KnownUnit) else "known"
    found: dict[str, Contradiction] = {}
    for rule, filled, empty in RULES:
        if not filled <= there or not there.isdisjoint(empty) or rule.get("of") == other:
            continue
        if all(_among(given, rule["when"])) and not any(_among(given, rule.get("unless", {}))):
            told = rule["problem"].format_map(given), rule["remedy"], rule.get("code", "conflict")
            found.setdefault(rule["column"], Contradiction(rule["column"], *told))
    return [*found.values()]


def _among(given: Mapping[str, object], asked: Mapping[str, Any]) -> list[bool]:
    """Whether each field of which a rule names the values holds one of them."""
    return [
        any(given.get(name) is one if isinstance(one, bool) else given.get(name) == one for one in values)
        for name, values in asked.items()
        if isinstance(values, list)
    ]


def halves_in_doubt(first: Any, second: Any, whole: Any) -> tuple[Any, Any]:
    """Whether one half reads what is said of the whole, and whether the halves are too far apart; of arrays too."""
    as_whole = (abs(first - whole) <= HALF_AS_WHOLE * whole) | (abs(second - whole) <= HALF_AS_WHOLE * whole)
    return as_whole, (first > HIGHEST_HALF_RATIO * second) | (second > HIGHEST_HALF_RATIO * first)


def _number_or_nan(value: object) -> float:
    try:
        return float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return math.nan


def _doubts_of_halves(unit: Unit) -> list[str]:
    first, second, whole = unit.hv_half_1_ohm, unit.hv_half_2_ohm, unit.hv_resistance_ohm
    if first is None or second is None or whole is None:
        return []
    as_whole, apart = halves_in_doubt(first, second, whole)
    read = f"the halves read {first:.4g} and {second:.4g} ohm"
    slip = f"{read}, and the whole winding {whole:.4g} ohm: half the winding was read for the whole"
    far = f"{read}, more than {100 * (HIGHEST_HALF_RATIO - 1):.0f} % apart"
    return [said for said, so in ((slip, as_whole), (far, apart)) if so]


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
        With a fault for each field that is missing, refused or at odds with another, in the order of the fields.
    """
    given = {name: value for name, value in values.items() if not is_blank(value)}
    try:
        return kind.model_validate(given)
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)
    facts = {each.name: each for each in known}
    found: list[Contradiction] = []
    faulty: set[str] = set()
    for each in details:
        error_of = each.get("ctx", {}).get("error")
        if isinstance(error_of, Contradictions):
            found += error_of.found
            continue
        name = str(each["loc"][0])
        faulty.add(name)
        if name == WHOLE and each["type"] == "missing" and given.keys() & {*HALVES}:
            continue  # what is wrong with the halves is told
        refusal = _refused(facts.get(name), each, given.get(name))
        found.append(Contradiction(name, refusal.problem, refusal.remedy, refusal.code))
    if faulty and rules is not None:
        found += [rule for rule in rules(_for_rules(given, faulty, facts)) if rule.column in facts.keys() - faulty]
    order = list(dict.fromkeys((*facts, *given)))
    found.sort(key=lambda fault: order.index(fault.column))
    raise InputError([Fault(where, row, one[0], _shown(given.get(one[0], "")), *one[1:]) for one in found])


def _shown(value: object) -> str:
    """A value as it was typed; a number without the digits that only the machine gives it."""
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _for_rules(given: Mapping[str, object], faulty: set[str], facts: Mapping[str, FieldFacts]) -> dict[str, object]:
    """What the rules between fields may look at: sound choices and flags as values, the others as typed."""
    readable = dict(given)
    for name in given.keys() & facts.keys():
        value, kind = given[name], facts[name].kind
        if kind in ("choice", "flag") and name in faulty:
            del readable[name]
        elif kind in ("choice", "flag") and isinstance(value, str):
            readable[name] = value.strip().lower() == "true" if kind == "flag" else value.strip()
    return readable


def _refused(facts: FieldFacts | None, detail: ErrorDetails, value: object) -> Refusal:
    """Problem and remedy of one field's fault."""
    slip, error = detail["type"], detail.get("ctx", {}).get("error")
    if facts is None:
        return Refusal("is not a column of this table", "leave it out, or put what it says into notes", "column")
    if slip == "missing":
        return Refusal("is needed", f"fill it in: {_help(facts)}", "missing")
    if isinstance(error, Refusal):
        better = facts.as_a_table_has_it(value) if error.code == "not-a-number" else ""
        return Refusal(error.problem, (better or error.remedy) + facts.or_empty, error.code)
    if slip in ("greater_than", "greater_than_equal", "less_than_equal", "int_from_float"):
        number = float(str(value))
        return facts.judged(number) or outside_limits(facts.limits)
    if facts.choices:
        return Refusal("is not one of the choices", f"write one of: {', '.join(facts.choices)}", "choice")
    code: Code = "not-a-number" if facts.kind == "number" else "date" if facts.kind == "date" else "text"
    return Refusal(f"is not a {facts.kind}", f"write a {facts.kind}{facts.or_empty}", code)
