"""What is said beside a field of an entry that is refused or doubted, in the unit that the entry was typed in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib import bench, words
from calib.session import measured

if TYPE_CHECKING:
    from calib.register.facts import FieldFacts

CHECK = "check the reading and its unit"


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
    typed = measured.as_typed(entries, name)
    plain = f"{fault.problem}; {fault.remedy}."
    if not typed or facts is None:
        return f"{fault.value}: {plain}" if fault.value else plain
    here = _in_unit(facts, entries, name)
    if here is None or not fault.problem.startswith("is outside the limits"):
        return f"{typed}: {plain}"
    asked = _own_unit(facts, entries, name) or here.probably_meant(float(entries[name]))
    tail = fault.remedy.partition(CHECK)[2]
    return f"{typed}: is outside the limits, {here.limits}; {f'{asked} If not, ' if asked else ''}{CHECK}{tail}."


def doubted(why: str, facts: FieldFacts | None, entries: Mapping[str, Any], name: str) -> str:
    """Why an entry is worth a second look, as a sentence; where it is unusual by itself, in the unit typed."""
    here = _in_unit(facts, entries, name) if facts is not None else None
    if facts is None or here is None or " is unusual: most are " not in why:
        return words.sentence(why)
    said = here.unlikely(float(entries[name]))
    asked = _own_unit(facts, entries, name)
    return words.sentence(f"{said.partition('; ')[0]}; {asked}" if asked else said or why)


def _in_unit(facts: FieldFacts, entries: Mapping[str, Any], name: str) -> FieldFacts | None:
    """The facts with limits and usual range in the unit that was typed in; None where that is the column's own."""
    symbol = entries.get(f"{name}_unit")
    if not measured.as_typed(entries, name) or facts.unit not in bench.MEASURES:
        return None
    if None in (facts.low, facts.high, facts.usual) or symbol not in measured.symbols_of(facts.unit):
        return None
    one = bench.measure(facts.unit, symbol)

    def brought(kept: float | None) -> float:
        return float(f"{one.typed(float(kept or 0.0)):.4g}")

    usual = facts.usual or (0.0, 0.0)
    return replace(
        facts,
        unit=symbol,
        low=brought(facts.low),
        high=brought(facts.high),
        usual=(brought(usual[0]), brought(usual[1])),
    )


def _own_unit(facts: FieldFacts, entries: Mapping[str, Any], name: str) -> str:
    """The question whether the number was meant in the column's own unit; blank where that is not likely."""
    number = float(entries[name])
    if facts.usual is None or not facts.usual[0] <= number <= facts.usual[1]:
        return ""
    return f"did you mean {number:.6g} {measured.symbols_of(facts.unit)[0]}?"
