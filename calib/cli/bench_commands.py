"""What was read at the bench: ``calib bench``, ``leads`` and ``heat-run``."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.cli.terminal import all_of, as_json, existing_register, note, number_of, plain, read_rows, rows_of_table, say
from calib.errors import Fault, InputError, visible

if TYPE_CHECKING:
    from calib.bench.uncertainty import MeterClass
    from calib.estimate.heat_run import HeatRunResult
    from calib.leads.readings import LeadReading
    from calib.leads.result import LeadsFound
    from calib.session import BenchUnit


def run_bench(asked: argparse.Namespace) -> None:
    """Say what is on the bench."""
    from calib.register.register import Register
    from calib.session.on_the_bench import on_the_bench

    with Register(existing_register(asked.register), create=False) as register:
        found = on_the_bench(register)
    told = [_keys(one) for one in found]
    text = "\n".join(visible(line) for line in str(found).splitlines())
    say(as_json(told) if asked.format == "json" else text)


def _keys(one: BenchUnit) -> dict[str, Any]:
    """A unit as the JSON tells it: what stands against it too, null where nothing does."""
    told: dict[str, Any] = {"unit": one.unit, "state": one.state, "changed_on": one.changed_on.isoformat()}
    names = ["next", "stop", "stop_cleared", "doubts", "contributor", "rectifier", "filter", "conductor", "level"]
    names += ["rated_current_ma", "low_ma", "high_ma", "moved", "odds_worst", "proven_ma", "trouble"]
    return told | {name: plain(getattr(one, name)) for name in names}


LEADS = "calib leads"


def run_leads(asked: argparse.Namespace) -> None:
    """Identify the leads and print what was found."""
    found = found_in(asked)
    say(as_json(found.as_dict()) if asked.format == "json" else str(found))


def found_in(asked: argparse.Namespace) -> LeadsFound:
    """What the readings of a file say.

    Raises
    ------
    InputError
        With every fault of the file and of the options.
    """
    from calib.leads import CODED_WEIGHT, OTHER_WEIGHT, identify_leads

    readings, null, meter = all_of(
        lambda: read_table(asked.readings), lambda: _null(asked.null_ohm), lambda: _meter(asked.meter)
    )
    weight = CODED_WEIGHT if asked.north_american else OTHER_WEIGHT
    try:
        return identify_leads(readings, meter=meter, null_ohm=null, colour_weight=weight)
    except InputError as error:
        raise InputError([replace(fault, where=asked.readings) for fault in error.faults]) from None


def _null(typed: str) -> float:
    null = number_of("--null-ohm", typed, LEADS)
    if not 0.0 <= null <= 100.0:
        remedy = "give what the meter shows with its clips joined"
        raise InputError.one(
            "is not from 0 to 100 ohm", remedy, column="--null-ohm", value=typed, where=LEADS, code="limits"
        )
    return null


def _meter(typed: str | None) -> MeterClass:
    from calib.bench.uncertainty import ORDINARY_OHMMETER, MeterClass

    if typed is None:
        return ORDINARY_OHMMETER
    parts = typed.split(",")
    try:
        numbers = [number_of("--meter", part, LEADS) for part in parts]
        if len(numbers) == 3:
            return MeterClass(*numbers)
    except ValueError:
        pass
    problem = "is not three numbers of 0 or more, parted by commas"
    remedy = "write per cent of reading, counts, and one count in ohm, such as 0.8,2,0.1"
    raise InputError.one(problem, remedy, column="--meter", value=typed, where=LEADS, code="not-a-number")


def read_table(path: str) -> tuple[LeadReading, ...]:
    """Readings of a CSV file, checked.

    Parameters
    ----------
    path : str
        CSV in UTF-8 with or without a byte-order mark, cells parted by commas, a header row.

    Raises
    ------
    InputError
        With every fault of the file: what cannot be read, a column that is missing or unknown, a row of too few or too
        many cells, and the faults of the readings.
    """
    from calib.leads.readings import COLUMNS, NEEDED, lead_readings

    read: tuple[LeadReading, ...] = read_rows(path, COLUMNS, NEEDED, lead_readings, NEEDED)
    return read


HEAT_RUN = "calib heat-run"
NUMBERS: tuple[str, ...] = ("cold_ohm", "cold_temp_c", "ambient_start_c", "ambient_end_c", "load_ma", "allowed_rise_k")
NUMBERS += ("iron_w", "copper_w", "idle_w", "idle_ma", "idle_ohm", "idle_rise_k", "line_ohm_cold")
COLUMNS, NEEDED = ("seconds", "ohm", "line_ohm"), ("seconds", "ohm")


def run_heat_run(asked: argparse.Namespace) -> None:
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
            numbers[name] = number_of(name, text, HEAT_RUN)
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
        return replace(fault, where=HEAT_RUN, value=typed.get(fault.column, ""))
    line = next((line for line, row in rows if fault.value and f"{row[fault.column]:g}" == fault.value), None)
    return replace(fault, where=path, row=line)
