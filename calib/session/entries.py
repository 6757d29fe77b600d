"""Entries of a bench session as its fields hold them, gathered from the fields, and merged from two windows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calib.session import measured
from calib.session.step import Field, Step

ENTERED = ("number", "text", "pick", "several")  # kinds of fields that start empty


def as_shown(field: Field, value: Any) -> Any:
    """An entry as its field holds it."""
    if field.kind == "text":
        return value or ""
    if field.kind == "number":
        return measured.shown(value)
    if field.kind == "several":
        return [one for one in value or [] if one in field.choices]
    if field.kind == "choice":
        return value if value in field.choices else field.choices[0]
    return field.choices[0] if field.kind == "meter" and value is None else value


def gathered(
    step: Step, before: Mapping[str, Any], shown: Mapping[str, tuple[Any, Any]]
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
    shown : mapping of str to (object, object)
        By field that is shown: its value, and what a number was read in.

    Returns
    -------
    (dict of str to object, bool)
        The entries, and whether the window has forgotten some of them.
    """
    mine, gone = dict(before), 0
    for field in step.every_field():
        if field.name in shown:
            _take(mine, field, *shown[field.name])
        gone += field.kind in ENTERED and field.name in before and field.name not in mine
    if gone > 1 or (gone and any(value != before.get(name) for name, value in mine.items())):
        return {**before, **mine}, True
    return mine, False


def _take(mine: dict[str, Any], field: Field, value: Any, unit: Any) -> None:
    """An entry with what it was read in; an empty one is none, nor is a first choice, which says nothing yet."""
    first = field.choices[0] if field.kind in ("choice", "meter") else None
    if value is None or value == "" or value == [] or value == first:
        mine.pop(field.name, None)
        mine.pop(f"{field.name}_unit", None)
        return
    if field.kind != "number" or measured.shown(mine.get(field.name)) != value:  # else it stands there as a number
        mine[field.name] = value
    if unit is not None:
        mine[f"{field.name}_unit"] = unit


def merge(base: Mapping[str, Any], mine: Mapping[str, Any], theirs: Mapping[str, Any]) -> dict[str, Any]:
    """Entries from two places that both began from the same: mine where I changed a field, else theirs."""
    merged: dict[str, Any] = {}
    for step in {*mine, *theirs}:
        was, own, other = ({**(one.get(step) or {})} for one in (base, mine, theirs))
        fields = {name: own.get(name) if own.get(name) != was.get(name) else other.get(name) for name in {*own, *other}}
        merged[step] = {name: value for name, value in fields.items() if value is not None}
    return merged
