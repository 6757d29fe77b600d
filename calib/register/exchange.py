"""Tables of units from CSV: every row checked against the record, every fault told at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import Fault, InputError
from calib.register import improbable
from calib.register.cells import Source, bytes_of, decoded, header_faults, is_piped, lines_of, text_in, width_fault
from calib.register.frame import frame_of
from calib.register.package import refuse_mixture
from calib.register.records import HALVES, VOLTAGES, WHOLE, KnownUnit, Unit, UnknownUnit, columns, fields

if TYPE_CHECKING:
    import pandas as pd


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
        of rows that were merged, ``attrs["improbable"]`` in a line each of readings that are worth a second look.

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


def name_of(source: Source) -> str:
    """What the faults call a table."""
    if is_piped(source):
        return "standard input"
    return str(source if isinstance(source, str | PathLike) else getattr(source, "name", "table"))


def _read(kind: type[Unit], source: Source, where: str) -> pd.DataFrame:
    where = where or name_of(source)
    raw = bytes_of(source, where)
    if isinstance(source, str | PathLike) and not is_piped(source):
        refuse_mixture(Path(source), raw)
    lines = lines_of(decoded(raw, where), where)
    row, header = next(lines, (1, []))
    if isinstance(header, Fault):
        raise InputError([header])
    if not header:
        raise InputError.one("the file is empty", "give a table with a header row", where=where, code="missing")
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
    table.attrs["improbable"] = improbable.told(table, where, [row for row, _ in records.values()])
    return table


def _header_faults(kind: type[Unit], names: Sequence[str], where: str, row: int) -> tuple[list[Fault], set[str]]:
    """The faults of the header, and the needed columns that it lacks."""
    needed = {facts.name for facts in fields(kind) if facts.needed} - ({WHOLE} if {*HALVES} <= {*names} else set())
    faults, absent = header_faults(names, columns(kind), needed, (where, row)), needed - {*names}
    if not {*VOLTAGES[:2]} <= {*names} and VOLTAGES[2] not in names:
        absent.update(VOLTAGES)
        remedy = "add no_load_v, or both excitation_v and hv_v"
        faults.append(Fault(where, row, VOLTAGES[2], "", "the header has no voltage of the winding", remedy, "missing"))
    return faults, absent


def _record(kind: type[Unit], names: Sequence[str], cells: list[str] | Fault, place: tuple[str, int]) -> Unit:
    where, row = place
    if isinstance(cells, Fault):
        raise InputError([cells])
    fault = width_fault(cells, len(names), place)
    if fault:
        raise InputError([fault])
    given = {name: cell for name, cell in zip(names, cells, strict=True) if cell and name}
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
