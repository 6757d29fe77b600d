"""Tables of units from CSV: their cells, every row checked against the record, every fault told at once."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import stat
import sys
import tempfile
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import cache
from mmap import mmap
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, TextIO

from calib.errors import Code, Fault, InputError
from calib.register import improbable, spreadsheet
from calib.register.frame import Kind, frame_of
from calib.register.records import (
    ADD_VOLTS,
    HALVES,
    OR_THE_WIRE,
    VOLTAGES,
    WHOLE,
    WIRE,
    KnownUnit,
    Unit,
    UnknownUnit,
    columns,
    fields,
    lacking,
)

if TYPE_CHECKING:
    import pandas as pd


def read_known(source: Source, where: str = "", decimal: str = "") -> pd.DataFrame:
    """Read and check a table of known units.

    Parameters
    ----------
    source : path or open binary file
        CSV in UTF-8 with or without a byte-order mark, or in UTF-16, one row a unit. Where it is not the contract's
        table to the letter, it is read as a spreadsheet wrote it: see `calib.register.spreadsheet`.
    where : str
        What the faults call the file; its path where blank.
    decimal : str
        The mark before decimals, ``,`` or ``.``, of a table whose cells do not show it.

    Returns
    -------
    pandas.DataFrame
        Every column of the contract in its order, then `simulated`: float64 with NaN where blank, str with ""
        where blank, `centre_tapped` and `simulated` bool, `recorded_on` as str. ``attrs["notes"]`` tells
        of rows that were merged, ``attrs["improbable"]`` in a line each of readings that are worth a second look,
        ``attrs["understood"]`` of what was read otherwise than it stands.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return _read(KnownUnit, source, where, decimal)


def read_unknown(source: Source, where: str = "", decimal: str = "") -> pd.DataFrame:
    """Read and check a table of unknown units: as `read_known`, without the columns of the rating.

    One unit may stand in several rows when the supplies asked for differ.

    Parameters
    ----------
    source : path or open binary file
        CSV as for `read_known`.
    where : str
        What the faults call the file; its path where blank.
    decimal : str
        As for `read_known`.

    Returns
    -------
    pandas.DataFrame
        Every column of the table of unknown units, as `read_known` gives them; `demand_ma` is the last.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return _read(UnknownUnit, source, where, decimal)


def template(kind: type[Unit]) -> str:
    """A blank table of known or unknown units: the header alone."""
    return ",".join(name for name, _ in columns_explained(kind)) + "\n"


def columns_explained(kind: type[Unit]) -> list[tuple[str, str]]:
    """Each column of a blank table with what it holds: whether it is needed, its unit, limits or choices, its help."""
    return [
        (one.name, "; ".join(filter(None, ("needed" * one.needed, one.limits or ", ".join(one.choices), one.help))))
        for one in fields(kind)
        if one.name != "simulated"
    ]


def name_of(source: Source) -> str:
    """What the faults call a table."""
    if is_piped(source):
        return "standard input"
    return str(source if isinstance(source, str | PathLike) else getattr(source, "name", "table"))


def _read(kind: type[Unit], source: Source, where: str, decimal: str) -> pd.DataFrame:
    where = where or name_of(source)
    raw = bytes_of(source, where)
    if isinstance(source, str | PathLike) and not is_piped(source):
        refuse_mixture(Path(source), raw)
    text = decoded(raw, where)
    try:
        return table_of(kind, where, *headed(text, where, "give a table with a header row"))
    except InputError as error:
        found = _as_a_spreadsheet_has_it(kind, text, where, decimal)
        if found is None:
            raise InputError(list(map(_two_numbers, error.faults))) from None
    try:
        table = table_of(kind, where, found.row, found.names, iter(found.lines))
    except InputError as error:
        as_typed = (replace(one, value=found.typed.get((one.row, one.column), one.value)) for one in error.faults)
        raise InputError(list(map(_two_numbers, as_typed))) from None
    known_before = spreadsheet.recalled(found.key).get("told") == found.told
    told = [f"{len(found.told)} things are read as in the last table of this header"] if known_before else found.told
    table.attrs["understood"] = tuple(f"{where}: {line}" for line in told)
    table.attrs["header"] = (found.key, found.decimal, tuple(found.told))
    return table


def _as_a_spreadsheet_has_it(kind: type[Unit], text: str, where: str, decimal: str) -> spreadsheet.Understood | None:
    """The table read as a spreadsheet may have written it; None where nothing is to be read otherwise."""
    marks = list(spreadsheet.MARKS)
    if said := _SEP.match(text):
        marks, text = [said[1]], f"\n{text[said.end() :]}"
    heads = {mark: next(lines_of(text, where, mark), (1, [])) for mark in marks}
    mark = spreadsheet.parted(heads, fields(kind))
    (row, names), lines = heads[mark], lines_of(text, where, mark)
    if isinstance(names, Fault) or not names:
        return None
    next(lines)
    found = spreadsheet.understood(mark, (row, names), list(lines), fields(kind), decimal)
    return found if found.told else None


def _two_numbers(fault: Fault) -> Fault:
    """The fault of a number that is unclear for the mark before decimals, with how to say which it is."""
    if fault.code != "not-a-number" or "," not in fault.value or not spreadsheet.MAY_BE_TWO.fullmatch(fault.value):
        return fault
    either = f"write {float(fault.value.replace(',', '.')):g} or {fault.value.replace(',', '')}"
    remedy = f"{either}, or say which mark stands before decimals (--decimal comma or --decimal point)"
    return replace(fault, problem="may be two numbers", remedy=remedy, code="unclear")


def table_of(
    kind: type[Unit], where: str, row: int, names: list[str], lines: Iterator[tuple[int, list[str] | Fault]]
) -> pd.DataFrame:
    """The records of a table's rows, or every fault of its header and its rows; arguments as `headed` gives them."""
    faults, absent = faults_of_header(kind, names, where, row)
    if any(names.count(name) > 1 for name in set(names) if name):
        raise InputError(faults)  # which of two columns is meant, no row can tell
    taken = [name if name in columns(kind) else "" for name in names]
    records: dict[tuple[str, ...], tuple[int, Unit]] = {}
    notes: list[str] = []
    for row, cells in lines:
        try:
            record = record_in(kind, taken, cells, (where, row))
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
    table.attrs["improbable"] = improbable.told(table, where, [row for row, _ in records.values()])
    return table


def faults_of_header(kind: type[Unit], names: Sequence[str], where: str, row: int) -> tuple[list[Fault], set[str]]:
    """The faults of the header, and the needed columns that it lacks."""
    absent = lacking(kind, names, any(name in names for name in WIRE))
    absent -= {WHOLE} if {*HALVES} <= {*names} else set()
    or_else = OR_THE_WIRE if kind is UnknownUnit else ""
    faults = header_faults(names, columns(kind), absent - {*VOLTAGES}, (where, row))
    faults = [replace(one, remedy=f"{one.remedy}{or_else}") if one.column == WHOLE else one for one in faults]
    if VOLTAGES[2] in absent:
        problem, remedy = "the header has no voltage of the winding", f"{ADD_VOLTS}{or_else}"
        faults.append(Fault(where, row, VOLTAGES[2], "", problem, remedy, "missing"))
    return faults, absent


def record_in(kind: type[Kind], names: Sequence[str], cells: list[str] | Fault, place: tuple[str, int]) -> Kind:
    """The record that one row holds; columns whose name is blank are passed over."""
    where, row = place
    given = {name: cell for name, cell in cells_of(cells, names, place).items() if cell and name}
    texts = text_columns(kind) & given.keys()
    return kind.parse({**given, **{name: text_in(given[name]) for name in texts}}, where, row)


@cache
def text_columns(kind: type[Unit]) -> frozenset[str]:
    """The columns of free text."""
    return frozenset(facts.name for facts in fields(kind) if facts.kind == "text")


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
    remedy = "keep the row that is right, or give one another tag"
    faults.append(Fault(*place, "unit", record.unit, problem, remedy, "duplicate"))


DESCRIPTOR = "datapackage.json"
CELL_LIMIT = 1 << 24
FOR_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # signs that a spreadsheet takes a cell for a formula by
PIPED_LIMIT = 2 << 30  # bytes that are taken from standard input
Source = str | PathLike[str] | BinaryIO
_SEP = re.compile(r"sep=([,;|\t])\r?\n")  # a first line by which some spreadsheets say what parts the cells
_PIPED = re.compile(r"-|/dev/stdin|(?:/dev|/proc/self)/fd/(\d+)")
_KINDS = (
    (stat.S_ISDIR, "it is a folder"),
    (stat.S_ISFIFO, "it is a pipe"),
    (stat.S_ISSOCK, "it is a socket"),
    (stat.S_ISCHR, "it is a device"),
    (stat.S_ISBLK, "it is a device"),
)


def text_in(cell: str) -> str:
    """A text cell as it was before an export kept it from being taken for a formula (`package.text_cell`)."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(("'", *FOR_FORMULA)) else cell


def is_piped(source: Source) -> bool:
    """Whether a name stands for what is piped in: ``-``, ``/dev/stdin``, ``/dev/fd/N``."""
    return isinstance(source, str | PathLike) and _PIPED.fullmatch(os.fspath(source)) is not None


def odd_kind(path: str | PathLike[str]) -> str:
    """What a name stands for where that is neither a file nor nothing: a folder, a pipe, a socket, a device."""
    try:
        mode = os.stat(path).st_mode
    except (OSError, ValueError):
        return ""
    return next((said for is_kind, said in _KINDS if is_kind(mode)), "")


def bytes_of(source: Source, where: str) -> bytes:
    """The content of a path or open binary file.

    What is piped in is read once, by way of a temporary file of at most `PIPED_LIMIT` bytes.

    Raises
    ------
    InputError
        What keeps it from being read.
    """
    remedy = "name a CSV file that is there"
    try:
        if not isinstance(source, str | PathLike):
            raw = source.read()
        elif is_piped(source):
            raw = _piped(os.fspath(source), where)
        elif said := odd_kind(source):
            raise InputError.one(f"cannot be read, {said}", remedy, where=where, code="file")
        else:
            raw = Path(source).read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        why = "there is no such file" if isinstance(error, FileNotFoundError) else _why(error)
        code: Code = "not-found" if isinstance(error, FileNotFoundError) else "file"
        raise InputError.one(f"cannot be read, {why}", remedy, where=where, code=code) from None
    return raw


def text_of(source: Source, where: str) -> str:
    """The text of a path or open binary file, as `decoded` gives it.

    Raises
    ------
    InputError
        What keeps it from being read.
    """
    return decoded(bytes_of(source, where), where)


def decoded(raw: bytes, where: str) -> str:
    """Text in UTF-8, with or without a byte-order mark, or in UTF-16 with one.

    Raises
    ------
    InputError
        It is in another encoding.
    """
    try:
        return raw.decode("utf-16" if raw.startswith((BOM_UTF16_LE, BOM_UTF16_BE)) else "utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw.count(b"\n", 0, error.start) + 1
        value = raw[max(0, error.start - 8) : error.start + 8].decode("ascii", "replace")
        remedy = "save the table again as CSV with the encoding UTF-8"
        raise InputError([Fault(where, row, "", value, "is not in UTF-8", remedy, "file")]) from None


def _why(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error) or "for a reason unknown").lower()


def _piped(name: str, where: str) -> bytes:
    """What is piped in, all of it."""
    found = _PIPED.fullmatch(name)
    number = int(found[1]) if found and found[1] else sys.stdin.fileno()
    with os.fdopen(os.dup(number), "rb") as pipe, tempfile.TemporaryFile() as kept:
        while chunk := pipe.read(1 << 20):
            kept.write(chunk)
            if kept.tell() > PIPED_LIMIT:
                problem = f"cannot be read, more than {PIPED_LIMIT >> 30} GB were piped in"
                raise InputError.one(problem, "save the table as a file, and name that", where=where, code="file")
        kept.seek(0)
        return kept.read()


def headed(text: str, where: str, otherwise: str) -> tuple[int, list[str], Iterator[tuple[int, list[str] | Fault]]]:
    """A table's header and what follows: the header's line, the names in it, and the rows below as `lines_of` has them.

    Raises
    ------
    InputError
        Nothing is there, for which `otherwise` is the remedy, or the header cannot be read.
    """
    lines = lines_of(text, where)
    row, header = next(lines, (1, []))
    if isinstance(header, Fault):
        raise InputError([header])
    if not header:
        raise InputError.one("the file is empty", otherwise, where=where, code="missing")
    return row, [name.strip() for name in header], lines


def cells_of(cells: Sequence[str] | Fault, names: Sequence[str], place: tuple[str, int]) -> dict[str, str]:
    """The cells of one row by the names of their columns; an `InputError` for a row that is none or has not as many."""
    if isinstance(cells, Fault):
        raise InputError([cells])
    if fault := width_fault(cells, len(names), place):
        raise InputError([fault])
    return dict(zip(names, cells, strict=True))


def lines_of(text: str | TextIO, where: str, mark: str = ",") -> Iterator[tuple[int, list[str] | Fault]]:
    """The rows that hold anything, each with the line that it starts on; a quote gone wrong ends them with a fault.

    A file is opened with newline="".
    """
    csv.field_size_limit(CELL_LIMIT)
    reader = csv.reader(io.StringIO(text, newline="") if isinstance(text, str) else text, delimiter=mark, strict=True)
    while True:
        start = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            problem = f"a cell's quotes do not match up ({error}), so that nothing from here on could be read"
            remedy = 'close the quote; write a quote inside a cell as ""'
            yield start, Fault(where, start, "", "", problem, remedy, "file")
            return
        if any(cell.strip() for cell in cells):
            yield start, cells


def header_faults(
    names: Sequence[str], known: Sequence[str], needed: Collection[str], place: tuple[str, int]
) -> list[Fault]:
    """The faults of a header: columns without a name, twice, unknown or missing.

    Parameters
    ----------
    names : sequence of str
        As they stand in it.
    known, needed : collections of str
        The columns that the table may have, in order, and those that it must have.
    place : (str, int)
        What the faults call the file, and the header's line.

    Raises
    ------
    InputError
        The cells are parted by another mark than commas.
    """
    faults = []
    if len(names) == 1 and (mark := next((mark for mark in ";\t|" if mark in names[0]), "")):
        told = "tabs" if mark == "\t" else f"'{mark}'"
        problem = f"the cells are parted by {told}, not by commas"
        remedy = "save the table again as CSV with commas"
        raise InputError([Fault(*place, "", names[0][:60], problem, remedy, "file")])
    for name in dict.fromkeys(names):
        if not name:
            problem = f"column {names.index(name) + 1} of the header has no name"
            faults.append(Fault(*place, "", "", problem, "name the column, or take it out of every row", "column"))
        elif names.count(name) > 1:
            problem, remedy = "stands twice in the header", "keep one column of that name"
            faults.append(Fault(*place, name, name, problem, remedy, "column"))
        elif name not in known:
            near = get_close_matches(name.lower().replace(" ", "_").replace("-", "_"), known, n=1)
            remedy = f"write {near[0]} if that is meant, else leave the column out" if near else "leave the column out"
            faults.append(Fault(*place, name, name, "is not a column of this table", remedy, "column"))
    absent = [name for name in known if name in needed and name not in names]
    problem, remedy = "the header lacks this column", "add the column"
    return faults + [Fault(*place, name, "", problem, remedy, "missing") for name in absent]


def width_fault(cells: Sequence[str], width: int, place: tuple[str, int]) -> Fault | None:
    """The fault of a row that has more or fewer cells than the header; None where it has as many."""
    if len(cells) == width:
        return None
    few = "few" if len(cells) < width else "many"
    problem = f"the row has {len(cells)} cells where the header has {width}: too {few}"
    remedy = "put a comma for each empty cell and quotes round a cell that has commas; look for an unclosed quote"
    return Fault(*place, "", ",".join(cells)[:60], problem, remedy, "file")


def descriptor_of(folder: Path) -> dict[str, Any] | None:
    """What the descriptor in a folder says; None where there is none that can be read."""
    try:
        told = json.loads((folder / DESCRIPTOR).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return told if isinstance(told, dict) else None


def sha256_of(content: bytes | mmap) -> str:
    """Hash of a file's content, as a descriptor gives it."""
    return hashlib.sha256(content).hexdigest()


def refuse_mixture(path: Path, content: bytes | mmap) -> None:
    """Refuse a table that a descriptor beside it says is another: one that was cut short, mixed or changed.

    Raises
    ------
    InputError
        Its hash is not what ``datapackage.json`` in the same folder says of it.
    """
    told = descriptor_of(path.parent)
    resources = told.get("resources") if told else None
    for one in resources if isinstance(resources, list) else ():
        if not isinstance(one, dict) or one.get("path") != path.name or not isinstance(one.get("hash"), str):
            continue
        if one["hash"].removeprefix("sha256:") != sha256_of(content):
            problem = f"is not the table that {DESCRIPTOR} beside it describes: an export cut short, or a later change"
            remedy = f"export it again, or, where you changed it yourself, take {DESCRIPTOR} out of the folder"
            raise InputError.one(problem, remedy, where=str(path), code="conflict")
