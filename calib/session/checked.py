"""The entries of one step of a bench session, checked against their limits and converted to the units kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import calib
from calib import bench, words
from calib.session import measured
from calib.session.step import Field, Step

LEAST = 1e-6  # below this a number that has to be above zero is none, in whatever unit: no meter here shows it


@dataclass(frozen=True)
class Checked:
    """The entries of a step.

    Attributes
    ----------
    values : dict of str to float
        The sound numbers, by field, in the units that are kept.
    said : mapping of str to object
        Everything as it was entered, numbers read, in the units that they were typed in.
    aloud, unusual, faults : dict of str to str
        By field: the conversion in words, why it is worth a second look, what is wrong with it.
    """

    values: dict[str, float] = field(default_factory=dict)
    said: Mapping[str, Any] = field(default_factory=dict)
    aloud: dict[str, str] = field(default_factory=dict)
    unusual: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)

    def get(self, name: str) -> float | None:
        """A sound number; None where there is none."""
        return self.values.get(name)

    def chosen(self, name: str, first: str) -> str:
        """What was chosen, or the first choice where nothing was."""
        return str(self.said.get(name) or first)

    def words(self, name: str) -> str:
        """A text; blank where nothing was entered."""
        return str(self.said.get(name) or "").strip()


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
    choices = step.choices
    numbers = [one for one in step.every_field() if one.kind == "number" and one.asked(entries, choices)]
    usual = {one.name: _limits(one)[1] or _limits(one)[0] for one in numbers}
    read = measured.read(entries, {one.name: one.unit for one in numbers}, usual)
    done = Checked(said=read.typed, aloud=read.aloud, faults=read.faults)
    for one in numbers:
        value, typed = read.kept[one.name], read.typed[one.name]
        if value is None or one.unit == "wire":
            continue
        wrong, odd = _judged(one, value)
        if wrong:
            done.faults[one.name] = f"{measured.as_typed(read.typed, one.name) or f'{typed:.6g}'}: {wrong}"
            continue
        done.values[one.name] = value
        if odd:
            done.unusual[one.name] = words.sentence(odd)
    return done


def _judged(one: Field, value: float) -> tuple[str, str]:
    """What is wrong with a number, and what is unusual about it; each blank where nothing is."""
    limits, usual, above_zero, unit = _limits(one)
    if limits is None:
        return "", ""
    low, high = limits
    if not low <= value <= high or (above_zero and value < LEAST):
        least = "above 0" if above_zero and low < LEAST else f"{low:.6g}"
        asked = _meant(value, limits, usual, unit)
        remedy = asked or "check it, or leave it empty."
        return f"is outside the limits, {least} to {high:.6g} {_shown(unit)}".rstrip() + f"; {remedy}", ""
    if usual is None or usual[0] <= value <= usual[1]:
        return "", ""
    said = f"{value:.5g} {_shown(unit)}".rstrip() + f" is unusual: most are {usual[0]:g} to {usual[1]:g}"
    said = f"{said} {_shown(unit)}".rstrip()
    asked = _meant(value, usual, usual, unit)
    return "", f"{said}; {asked}" if asked else said


def _meant(value: float, limits: tuple[float, float], usual: tuple[float, float] | None, unit: str) -> str:
    """What was probably meant, as a question; blank where nothing is likely."""
    guess = bench.meant(value, *limits, *usual, {"Ω": "ohm"}.get(unit, unit)) if usual else None
    return words.symbols(guess.sentence().partition(": ")[2]) if guess else ""


def _limits(one: Field) -> tuple[tuple[float, float] | None, tuple[float, float] | None, bool, str]:
    if not one.column:
        return one.limits, one.usual, one.above_zero, one.unit
    facts = _columns()[one.column]
    limits = None if facts.low is None or facts.high is None else (facts.low, facts.high)
    return limits, facts.usual, facts.low_excluded, facts.unit


@cache
def _columns() -> dict[str, Any]:
    return {facts.name: facts for facts in calib.fields(calib.UnknownUnit)}


def _shown(unit: str) -> str:
    return {"ohm": "Ω", "K": "°C"}.get(unit, unit)
