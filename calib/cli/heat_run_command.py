"""``calib heat-run``: what a heat run showed, from the readings after switching off."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.cli.options import number_of, rows_of_table
from calib.cli.output import as_json, note, plain, say
from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from calib.estimate.heat_run import HeatRunResult

HERE = "calib heat-run"
NUMBERS: tuple[str, ...] = ("cold_ohm", "cold_temp_c", "ambient_start_c", "ambient_end_c", "load_ma", "allowed_rise_k")
NUMBERS += ("iron_w", "copper_w", "idle_w", "idle_ma", "idle_ohm", "idle_rise_k", "line_ohm_cold")
COLUMNS, NEEDED = ("seconds", "ohm", "line_ohm"), ("seconds", "ohm")


def run(asked: argparse.Namespace) -> None:
    """Work the run out and print it."""
    found = result_of(asked)
    told = {name: plain(value) for name, value in found.as_dict().items()}
    say(as_json(told) if asked.format == "json" else str(found))


def result_of(asked: argparse.Namespace) -> HeatRunResult:
    """The result of the run asked for.

    Raises
    ------
    InputError
        With every fault of the options and of the table.
    """
    from calib.estimate.heat_run import HEAT, HeatRun, heat_run
    from calib.register.fields import unlikely_of

    typed = {name: text for name in NUMBERS if (text := getattr(asked, name)) is not None}
    numbers: dict[str, float] = {}
    faults: list[Fault] = []
    for name, text in typed.items():
        try:
            numbers[name] = number_of(name, text, HERE)
        except InputError as error:
            faults += error.faults
    try:
        readings, wrong = _readings(asked.readings)
    except InputError as error:  # no table at all: what the options say is still looked at
        readings, wrong = [], list(error.faults)
    both = {name: [row for _, row in readings if row[name] == row[name]] for name in ("ohm", "line_ohm")}
    columns = {name: tuple(row[name] for row in both["ohm"]) for name in ("seconds", "ohm")}
    columns["line_ohm"] = tuple(row["line_ohm"] for row in both["line_ohm"])
    columns["line_seconds"] = tuple(row["seconds"] for row in both["line_ohm"])
    unread = {fault.column for fault in (*faults, *wrong)} | ({*COLUMNS} if wrong else set())
    faults += wrong
    given: dict[str, Any] = dict.fromkeys(typed, math.nan) | numbers | columns
    found = None
    try:
        checked = HeatRun(conductor=asked.conductor, **given)
        found = heat_run(checked) if not wrong else None
    except InputError as error:
        named = typed | {"conductor": asked.conductor}
        placed = [_placed(fault, named, readings, asked.readings) for fault in error.faults]
        faults += [fault for fault in placed if fault.column not in unread]
    if faults or found is None:
        raise InputError(faults)
    for said in unlikely_of(HEAT, {**numbers, **columns}):
        note(said)
    return found


def _readings(path: str) -> tuple[list[tuple[int, dict[str, float]]], list[Fault]]:
    """The table's rows as numbers, an empty cell as NaN, each with its line; and the faults.

    A row has the winding's resistance, the primary's or both, as one meter reads them by turns.
    """
    rows, faults = rows_of_table(path, COLUMNS, NEEDED, "give a table with the header seconds,ohm")
    read: list[tuple[int, dict[str, float]]] = []
    for line, cells in rows:
        numbers = dict.fromkeys(COLUMNS, math.nan)
        for name, text in cells.items():
            try:
                if text.strip() or name == "seconds" or (name == "ohm" and not cells.get("line_ohm", "").strip()):
                    numbers[name] = number_of(name, text.strip(), path)
            except InputError as error:
                faults += [replace(fault, row=line) for fault in error.faults]
        read.append((line, numbers))
    return read, faults


def _placed(fault: Fault, typed: dict[str, str], rows: list[tuple[int, dict[str, float]]], path: str) -> Fault:
    """A fault where its reader finds it: the option as typed, or the table and its line."""
    fault = replace(fault, column="seconds") if fault.column == "line_seconds" else fault
    if fault.column not in COLUMNS:
        return replace(fault, where=HERE, value=typed.get(fault.column, ""))
    line = next((line for line, row in rows if fault.value and f"{row[fault.column]:g}" == fault.value), None)
    return replace(fault, where=path, row=line)
