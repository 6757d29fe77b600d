"""``calib demand``: whether units feed a set, and what its supply then does."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.cli.fit_commands import known_units, with_notes, with_published
from calib.cli.options import all_of, decimal_of, level_of, number_of, rows_of_table
from calib.cli.output import SIMULATED, as_json, note, plain, say
from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from calib.estimate.heaters import HeaterReading
    from calib.estimate.set_supply import SetSupply
    from calib.supply.loads import LineUp

HERE = "calib demand"
NUMBERS = ("capacitance_uf", "choke_h", "choke_ohm", "capacitor_volts", "diode_drop_v", "series_ohm")
MORE = ("line_now_v", "line_now_hz", "section_ohm", "section_uf", "section_h")


def run(asked: argparse.Namespace) -> None:
    """Hold the set's demand against every unit of the table and print what comes of it."""
    from calib.register.tables import read_unknown

    level, known, unknown, line_up, supply, windings = all_of(
        lambda: level_of(asked.level),
        lambda: known_units(asked),
        lambda: with_notes(read_unknown(asked.unknown, decimal=decimal_of(asked))),
        lambda: line_up_of(asked.loads),
        lambda: supply_of(asked),
        lambda: windings_of(asked.heater_windings),
    )
    from calib.estimate.demand import demand_of
    from calib.estimate.set_supply import SUPPLY
    from calib.fitting.result import fit
    from calib.register.fields import unlikely_of

    model = fit(known, published=with_published(asked, known))
    try:
        found = demand_of(model, unknown, line_up, supply, level, windings)
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None
    if model.simulated:
        note(SIMULATED)
    for said in unlikely_of(SUPPLY, vars(supply)):
        note(said)
    if asked.format == "json":
        say(as_json([{name: plain(value) for name, value in one.as_dict().items()} for one in found]))
    else:
        say("\n\n".join(map(str, found)))


def line_up_of(path: str) -> LineUp:
    """The loads of a file; InputError with every fault of it."""
    from calib.supply.loads import COLUMNS, NEEDED, load_rows

    return _of_rows(path, COLUMNS, NEEDED, load_rows)


def windings_of(path: str | None) -> dict[str, tuple[HeaterReading, ...]]:
    """The heater windings of a file by their unit's tag, none where no file is named; InputError with every fault."""
    from calib.estimate.heater_side import WINDING_COLUMNS, winding_rows

    return {} if path is None else _of_rows(path, WINDING_COLUMNS, ("no_load_v",), winding_rows)


def _of_rows(path: str, columns: Sequence[str], needed: Sequence[str], read: Callable[..., Any]) -> Any:
    """What the rows of a small table come to; InputError with every fault of it."""
    rows, faults = rows_of_table(path, columns, needed, f"give a table with the header {','.join(columns)}")
    try:
        found = read([row for _, row in rows], path, [line for line, _ in rows])
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(sorted(faults, key=lambda fault: fault.row or 0))
    return found


def supply_of(asked: argparse.Namespace) -> SetSupply:
    """The set's supply as typed; InputError with every fault."""
    from calib.estimate.set_supply import SUPPLY, SetSupply
    from calib.register.fields import faults_of

    numbers: dict[str, float] = {}
    faults: list[Fault] = []
    for name in (*NUMBERS, *MORE):
        typed = getattr(asked, name)
        try:
            numbers |= {} if typed is None else {name: number_of(name, typed, HERE)}
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults + [_placed(fault, asked) for fault in faults_of(SUPPLY, numbers)])
    try:
        return SetSupply(valve=asked.valve, **numbers)
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None


def _placed(fault: Fault, asked: argparse.Namespace) -> Fault:
    """A fault of this command, its value as it was typed."""
    return replace(fault, where=HERE, value=getattr(asked, fault.column, None) or fault.value)
