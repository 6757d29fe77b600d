"""``calib rewind``: a plan to wind a transformer again."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.cli.fit_commands import known_units, with_published
from calib.cli.options import all_of, number_of
from calib.cli.output import SIMULATED, as_json, note, plain, say
from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from calib.estimate.old_winding import NewWinding, OldWinding
    from calib.estimate.rewind import RewindTarget

HERE = "calib rewind"
CORE = ("tongue_mm", "stack_mm", "window_width_mm", "window_height_mm")
NUMBERS = (*CORE, "volts", "current_ma", "line_voltage_v", "line_frequency_hz", "flux_t")


def run(asked: argparse.Namespace) -> None:
    """Plan the windings and print the plan, beside it the old winding where something of it was found."""
    known, (target, old, new) = all_of(lambda: known_units(asked), lambda: asked_for(asked))
    from calib.estimate.old_winding import as_it_was, as_wound
    from calib.estimate.rewind import REWIND, rewind_plan
    from calib.fitting.result import fit
    from calib.register.fields import unlikely_of

    model = fit(known, published=with_published(asked, known))
    try:
        plan = rewind_plan(model, target)
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None
    if model.simulated:
        note(SIMULATED)
    for said in unlikely_of(REWIND, vars(target) | vars(old) | ({} if new is None else vars(new))):
        note(said)
    was, wound = as_it_was(plan, old), None if new is None else as_wound(plan, new)
    if asked.format == "json":
        told = {name: plain(value) for name, value in plan.as_dict().items()}
        beside = {"as_it_was": was, "as_wound": wound}
        say(as_json(told | {name: None if one is None else one.as_dict() for name, one in beside.items()}))
    else:
        say("\n".join(str(one) for one in (plan, was, wound) if one is not None))


def asked_for(asked: argparse.Namespace) -> tuple[RewindTarget, OldWinding, NewWinding | None]:
    """Core, wanted figures, what was found of the old winding and what the new one reads as, as typed.

    Raises
    ------
    InputError
        With every fault.
    """
    from calib.estimate.old_winding import OLD, READ, NewWinding, OldWinding
    from calib.estimate.rewind import REWIND, Heater, RewindTarget
    from calib.register.fields import faults_of

    numbers: dict[str, Any] = {}
    faults: list[Fault] = []
    heaters = []
    for name in (*NUMBERS, *OLD, *READ):
        typed = getattr(asked, name)
        try:
            numbers |= {} if typed is None else {name: number_of(name, typed, HERE)}
        except InputError as error:
            faults += error.faults
    for text in asked.heater:
        try:
            heaters.append(Heater.of(text))
        except InputError as error:
            faults += [replace(fault, where=HERE) for fault in error.faults]
    if faults:
        raise InputError(faults + [_placed(fault, asked) for fault in faults_of(REWIND, numbers)])
    was = {name: numbers.pop(name) for name in OLD if name in numbers}
    read: dict[str, Any] = {name: numbers.pop(name, None) for name in READ}
    supply = {"rectifier": asked.rectifier, "filter": asked.filter, "series": asked.wire, "conductor": asked.conductor}
    try:
        target, old, new = all_of(
            lambda: RewindTarget(heaters=tuple(heaters), **supply, **numbers),
            lambda: OldWinding(**was, was_conductor=asked.was_conductor),
            lambda: NewWinding(**read) if any(value is not None for value in read.values()) else None,
        )
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None
    return target, old, new


def _placed(fault: Fault, asked: argparse.Namespace) -> Fault:
    """A fault of this command, its value as it was typed."""
    return replace(fault, where=HERE, value=str(getattr(asked, fault.column, None) or fault.value))
