"""Tables of units from CSV: every row checked against the record, every fault told at once."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from calib.errors import Fault, InputError
from calib.register.frame import frame_of
from calib.register.records import KnownUnit, Unit, UnknownUnit, columns, fields

if TYPE_CHECKING:
    import pandas as pd

CELL_LIMIT = 1 << 24
Source = str | PathLike[str] | BinaryIO
_VOLTAGES = ("excitation_v", "hv_v", "no_load_v")


def read_known(source: Source, where: str = "") -> pd.DataFrame:
    """Read and check a table of known units.

    Parameters
    ----------
    source : path or open binary file
        CSV in UTF-8 with or without a byte-order mark, cells parted by commas, one row a unit.
    where : str
        What the faults call the file; its path where blank.

    Returns
    -------
    pandas.DataFrame
        Every column of the contract in its order, then `simulated`: float64 with NaN where blank, str with ""
        where blank, `centre_tapped` and `simulated` bool, `recorded_on` as str. ``attrs["notes"]`` tells
        of rows that were merged.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return _read(KnownUnit, source, where)


def read_unknown(source: Source, where: str = "") -> pd.DataFrame:
    """Read and check a table of unknown units: as `read_known`, without the columns of the rating.

    One unit may stand in several rows when the supplies asked for differ.

    Parameters
    ----------
    source : path or open binary file
        CSV as for `read_known`.
    where : str
        What the faults call the file; its path where blank.

    Returns
    -------
    pandas.DataFrame
        Every column of the table of unknown units, as `read_known` gives them; `demand_ma` is the last.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return _read(UnknownUnit, source, where)


def _read(kind: type[Unit], source: Source, where: str) -> pd.DataFrame:
    where = where or str(source if isinstance(source, str | PathLike) else getattr(source, "name", "table"))
    lines = _lines(_text(source, where), where)
    row, header = next(lines, (1, []))
    if isinstance(header, Fault):
        raise InputError([header])
    if not header:
        raise InputError.one("the file is empty", "give a table with a header row", where=where)
    names = [name.strip() for name in header]
    faults, absent = _header_faults(kind, names, where, row)
    if any(names.count(name) > 1 for name in set(names) if name):
        raise InputError(faults)  # which of two columns is meant, no row can tell
    taken = [name if name in columns(kind) else "" for name in names]
    records: dict[tuple[str, ...], tuple[int, Unit]] = {}
    notes: list[str] = []
    for row, cells in lines:
        try:
            record = _record(kind, taken, cells, (where, row))
        except InputError as error:
            faults += [fault for fault in error.faults if not (fault.column in absent and not fault.value)]
            continue
        known = records.setdefault(_key(record), (row, record))
        if known[0] != row:
            _twice(record, known, (where, row), faults, notes)
    if faults:
        raise InputError(faults)
    table = frame_of(kind, [record for _, record in records.values()])
    table.attrs["notes"] = tuple(notes)
    return table


def _text(source: Source, where: str) -> str:
    """The file's text, or what keeps it from being read."""
    try:
        raw = Path(source).read_bytes() if isinstance(source, str | PathLike) else source.read()
    except OSError as error:
        why = (
            "there is no such file" if isinstance(error, FileNotFoundError) else (error.strerror or str(error)).lower()
        )
        raise InputError.one(f"cannot be read, {why}", "name a CSV file that is there", where=where) from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw.count(b"\n", 0, error.start) + 1
        value = raw[max(0, error.start - 8) : error.start + 8].decode("ascii", "replace")
        raise InputError(
            [Fault(where, row, "", value, "is not in UTF-8", "save the table again as CSV with the encoding UTF-8")]
        ) from None


def _lines(text: str, where: str) -> Iterator[tuple[int, list[str] | Fault]]:
    """The rows that hold anything, each with the line that it starts on; a quote gone wrong ends them with a fault."""
    csv.field_size_limit(CELL_LIMIT)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    while True:
        start = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            problem = f"a cell's quotes do not match up ({error}), so that nothing from here on could be read"
            yield start, Fault(where, start, "", "", problem, 'close the quote; write a quote inside a cell as ""')
            return
        if any(cell.strip() for cell in cells):
            yield start, cells


def _header_faults(kind: type[Unit], names: Sequence[str], where: str, row: int) -> tuple[list[Fault], set[str]]:
    """The faults of the header, and the needed columns that it lacks."""
    known = columns(kind)
    faults = []
    if len(names) == 1 and (mark := next((mark for mark in ";\t|" if mark in names[0]), "")):
        told = "tabs" if mark == "\t" else f"'{mark}'"
        problem = f"the cells are parted by {told}, not by commas"
        raise InputError([Fault(where, row, "", names[0][:60], problem, "save the table again as CSV with commas")])
    for name in dict.fromkeys(names):
        if not name:
            problem = f"column {names.index(name) + 1} of the header has no name"
            faults.append(Fault(where, row, "", "", problem, "name the column, or take it out of every row"))
        elif names.count(name) > 1:
            faults.append(Fault(where, row, name, name, "stands twice in the header", "keep one column of that name"))
        elif name not in known:
            near = get_close_matches(name.lower().replace(" ", "_").replace("-", "_"), known, n=1)
            remedy = f"write {near[0]} if that is meant, else leave the column out" if near else "leave the column out"
            faults.append(Fault(where, row, name, name, "is not a column of this table", remedy))
    absent = {facts.name for facts in fields(kind) if facts.needed and facts.name not in names}
    for name in known:
        if name in absent:
            faults.append(Fault(where, row, name, "", "the header lacks this column", "add the column"))
    if not {*_VOLTAGES[:2]} <= {*names} and _VOLTAGES[2] not in names:
        absent.update(_VOLTAGES)
        remedy = "add no_load_v, or both excitation_v and hv_v"
        faults.append(Fault(where, row, _VOLTAGES[2], "", "the header has no voltage of the winding", remedy))
    return faults, absent


def _record(kind: type[Unit], names: Sequence[str], cells: list[str] | Fault, place: tuple[str, int]) -> Unit:
    where, row = place
    if isinstance(cells, Fault):
        raise InputError([cells])
    if len(cells) != len(names):
        few = "few" if len(cells) < len(names) else "many"
        problem = f"the row has {len(cells)} cells where the header has {len(names)}: too {few}"
        remedy = "put a comma for each empty cell and quotes round a cell that has commas; look for an unclosed quote"
        raise InputError([Fault(where, row, "", ",".join(cells)[:60], problem, remedy)])
    return kind.parse({name: cell for name, cell in zip(names, cells, strict=True) if cell and name}, where, row)


def _key(record: Unit) -> tuple[str, ...]:
    if isinstance(record, KnownUnit):
        return record.contributor, record.unit
    return record.contributor, record.unit, record.rectifier, record.filter


def _twice(
    record: Unit, known: tuple[int, Unit], place: tuple[str, int], faults: list[Fault], notes: list[str]
) -> None:
    """Note a row that repeats another; fault one that contradicts it."""
    row, other = known
    if record == other:
        notes.append(f"{place[0]}, row {place[1]}: the same as row {row}, taken once")
        return
    ours, theirs = record.values(), other.values()
    differing = ", ".join(name for name, value in ours.items() if value != theirs[name])
    problem = f"stands in row {row} too, with another {differing}"
    faults.append(Fault(*place, "unit", record.unit, problem, "keep the row that is right, or give one another tag"))
