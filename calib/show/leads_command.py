"""``calib leads``: from resistances between pairs of leads to windings, taps, likely roles and the next reading."""

from __future__ import annotations

import argparse
import csv
import io
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import Fault, InputError
from calib.show.options import all_of, number_of
from calib.show.printing import as_json, say

if TYPE_CHECKING:
    from calib.bench.leads.readings import LeadReading
    from calib.bench.leads.result import LeadsFound
    from calib.bench.meter import MeterClass

HERE = "calib leads"


def declare(part: argparse.ArgumentParser) -> None:
    """The options of ``calib leads``."""
    from calib.bench.meter import ORDINARY_OHMMETER as usual

    part.add_argument(
        "--readings",
        metavar="FILE",
        required=True,
        help="table of readings (CSV): lead_a, lead_b, ohm ('open' for no continuity, empty where not read), and where "
        "wanted u_ohm, colour_a, colour_b, notes",
    )
    part.add_argument(
        "--null-ohm",
        metavar="OHM",
        default="0",
        help="what the joined clips read, where it is not off the readings yet",
    )
    part.add_argument(
        "--meter",
        metavar="PERCENT,COUNTS,STEP",
        help="limits of error of the ohmmeter: per cent of reading, counts, and one count in ohm; "
        f"{usual.percent:g},{usual.counts:g},{usual.resolution:g} where not given",
    )
    part.add_argument(
        "--north-american",
        action="store_true",
        help="the unit is North American, late 1930s or later, not repaired: its lead colours are believed more",
    )
    part.add_argument("--format", choices=("text", "json"), default="text", help="text where not given")


def run(asked: argparse.Namespace) -> None:
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
    from calib.bench.leads import identify_leads
    from calib.bench.leads.colours import CODED_WEIGHT, OTHER_WEIGHT

    readings, null, meter = all_of(
        lambda: read_table(asked.readings), lambda: _null(asked.null_ohm), lambda: _meter(asked.meter)
    )
    weight = CODED_WEIGHT if asked.north_american else OTHER_WEIGHT
    try:
        return identify_leads(readings, meter=meter, null_ohm=null, colour_weight=weight)
    except InputError as error:
        raise InputError([replace(fault, where=asked.readings) for fault in error.faults]) from None


def _null(typed: str) -> float:
    null = number_of("--null-ohm", typed, HERE)
    if not 0.0 <= null <= 100.0:
        remedy = "give what the meter shows with its clips joined"
        raise InputError.one("is not from 0 to 100 ohm", remedy, column="--null-ohm", value=typed, where=HERE)
    return null


def _meter(typed: str | None) -> MeterClass:
    from calib.bench.meter import ORDINARY_OHMMETER, MeterClass

    if typed is None:
        return ORDINARY_OHMMETER
    parts = typed.split(",")
    try:
        numbers = [number_of("--meter", part, HERE) for part in parts]
        if len(numbers) == 3:
            return MeterClass(*numbers)
    except ValueError:
        pass
    problem = "is not three numbers of 0 or more, parted by commas"
    remedy = "write per cent of reading, counts, and one count in ohm, such as 0.8,2,0.1"
    raise InputError.one(problem, remedy, column="--meter", value=typed, where=HERE)


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
    from calib.bench.leads.readings import COLUMNS, lead_readings

    rows = _rows(path)
    if not rows:
        raise InputError.one("the file is empty", "give a table with the header lead_a,lead_b,ohm", where=path)
    (line, header), *rest = rows
    names = [name.strip() for name in header]
    faults = _header_faults(names, path, line)
    if faults:
        raise InputError(faults)
    width = len(names)
    problem = "the row has {} cells where the header has " + str(width)
    remedy = "put a comma for each empty cell, and quotes round a cell that has commas"
    faults = [
        Fault(path, line, "", ",".join(cells)[:60], problem.format(len(cells)), remedy)
        for line, cells in rest
        if len(cells) != width
    ]
    sound = [(line, cells) for line, cells in rest if len(cells) == width]
    typed = [{name: cell for name, cell in zip(names, cells, strict=True) if name in COLUMNS} for _, cells in sound]
    try:
        readings = lead_readings(typed, path, [line for line, _ in sound])
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(sorted(faults, key=lambda fault: fault.row or 0))
    return readings


def _rows(path: str) -> list[tuple[int, list[str]]]:
    """The rows that hold anything, each with its line in the file."""
    try:
        text = Path(path).read_bytes().decode("utf-8-sig")
    except OSError as error:
        missing = isinstance(error, FileNotFoundError)
        why = "there is no such file" if missing else (error.strerror or str(error)).lower()
        raise InputError.one(f"cannot be read, {why}", "name a CSV file that is there", where=path) from None
    except UnicodeDecodeError as error:
        row = error.object.count(b"\n", 0, error.start) + 1
        value = error.object[max(0, error.start - 8) : error.start + 8].decode("ascii", "replace")
        remedy = "save the table again as CSV with the encoding UTF-8"
        raise InputError([Fault(path, row, "", value, "is not in UTF-8", remedy)]) from None
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    found: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                found.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        problem = f"a cell's quotes do not match up ({error})"
        raise InputError([Fault(path, start, "", "", problem, "close the quote, or take it out")]) from None
    return found


def _header_faults(names: list[str], path: str, line: int) -> list[Fault]:
    from calib.bench.leads.readings import COLUMNS, NEEDED

    if len(names) == 1 and (mark := next((mark for mark in ";\t|" if mark in names[0]), "")):
        told = "tabs" if mark == "\t" else f"'{mark}'"
        problem = f"the cells are parted by {told}, not by commas"
        return [Fault(path, line, "", names[0][:60], problem, "save the table again as CSV with commas")]
    faults = []
    for name in dict.fromkeys(names):
        if names.count(name) > 1 and name:
            faults.append(Fault(path, line, name, name, "stands twice in the header", "keep one column of that name"))
        elif name not in COLUMNS:
            near = get_close_matches(name.lower().replace(" ", "_").replace("-", "_"), COLUMNS, n=1) if name else []
            remedy = f"write {near[0]} if that is meant, else leave the column out" if near else "leave the column out"
            problem = "is not a column of this table" if name else "a column of the header has no name"
            faults.append(Fault(path, line, name, name, problem, remedy))
    faults += [
        Fault(path, line, name, "", "the header lacks this column", "add the column")
        for name in NEEDED
        if name not in names
    ]
    return faults
