"""Read a register from end to end and say what is wrong with it; put a backup in its place."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import InputError, RegisterError
from calib.register import revisions
from calib.register.attachments import attachment_faults
from calib.register.bench_book import meter_faults, session_faults
from calib.register.bench_units import bench_faults
from calib.register.file import (
    ENDS,
    aside,
    beside,
    bring_up_to_date,
    duplicate,
    kind_of,
    left_over,
    opened,
    put,
    schema_of,
    steps,
)
from calib.register.gate import Hold, hold, read_table, tables
from calib.register.lakehouse import Lakehouse, found_at
from calib.register.records import KnownUnit, fields, record_id
from calib.register.trouble import ENTER_AGAIN, WAIT_S, AlteredError, BusyError, log_beside, patience, told

if TYPE_CHECKING:
    import duckdb

RESTORE = "restore it from a backup (calib restore-from)"
_WORDS = {
    "revisions": "revisions of known units",
    "meter_revisions": "of meters",
    "session_revisions": "of bench sessions",
    "bench_revisions": "of units on the bench",
    "attachment_revisions": "of attached files",
}
# What identifies a row's thing in each table of revisions, and what people call it.
_REVISED = {
    "revisions": ("record_id", "contributor || ', ' || unit", "known unit"),
    "meter_revisions": ("meter_id", "name || ' ' || range_label", "meter"),
    "session_revisions": ("session_id", "'session ' || tag", "session"),
    "bench_revisions": ("bench_id", "tag", "unit on the bench"),
    "attachment_revisions": ("attachment_id", "name", "attached file"),
}


@dataclass(frozen=True)
class RegisterCheck:
    """What came out when a register was read from end to end.

    Attributes
    ----------
    path : Path
        The register's file.
    schema : int
        The number of its schema.
    rows : dict
        How many rows each of its tables has, all of them read.
    standing : int or None
        How many known units stand; None where that cannot be told.
    findings : tuple of str
        What is wrong, a sentence each, with what to do; empty for a sound register.
    left_over : tuple of str
        What lies in its folder and is no part of it, a sentence each, with what to do.
    """

    path: Path | Lakehouse
    schema: int
    rows: dict[str, int]
    standing: int | None
    findings: tuple[str, ...]
    left_over: tuple[str, ...] = ()

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong with it."""
        return not self.findings

    def __str__(self) -> str:
        units = "not counted" if self.standing is None else self.standing
        read = ", ".join(f"{what} {self.rows.get(table, 'none')}" for table, what in _WORDS.items())
        head = f"{self.path}: schema {self.schema}; known units: {units}; read through: {read}"
        first = [head, *self.findings] if self.findings else [f"{head}; nothing is wrong with it"]
        return "\n".join([*first, *self.left_over])


def check_register(path: str | os.PathLike[str] | Lakehouse, wait: float = WAIT_S) -> RegisterCheck:
    """Read every block of a register, hold its tables against each other and each record to what a file is held to.

    Nothing is written, nothing is brought up to date, and a log beside it stays as it is.

    Parameters
    ----------
    path : str or Path
        Its file.
    wait : float
        How long to wait while others hold it [s].

    Raises
    ------
    RegisterError
        It cannot be opened, or is no register: with the reason.
    """
    place = found_at(path)
    if isinstance(place, Lakehouse):
        with opened(place, wait) as con:
            return _checked(con, place)
    with hold(place, wait) as held, patience(wait, lambda _: None), held.open(read_only=True) as con:
        return _checked(con, place)


def restore_register(
    backup: str | os.PathLike[str], path: str | os.PathLike[str] | Lakehouse, wait: float = WAIT_S
) -> tuple[RegisterCheck, Path | None]:
    """Put a copy of a backup in the place of a register; the register's file is moved aside and never deleted.

    Parameters
    ----------
    backup : str or Path
        A register's file that `Register.backup` wrote, or any copy of one that was closed.
    path : str or Path
        The register's file; it need not be there, and need not be one any more.
    wait : float
        How long to wait while others hold either [s].

    Returns
    -------
    RegisterCheck
        Of what now is the register.
    Path or None
        Where the file that was there is now, its log beside it; None where none was.

    Raises
    ------
    InputError
        The backup is the register itself, or of the other kind, simulated or real.
    RegisterError
        The backup is not sound, the register is busy, or its place cannot be written. All is as it was then.
    """
    source, place = (found_at(each) for each in (backup, path))
    if not (isinstance(source, Path) and isinstance(place, Path)):
        problem, remedy = (
            "is a lakehouse and no file",
            "set a lakehouse up anew, and carry the backup into it",
        )
        where = place if isinstance(source, Path) else source
        raise InputError.one(problem, remedy, column="register", value=str(where), code="kind")
    with patience(wait):
        if place.exists() and source.exists() and place.samefile(source):
            raise InputError.one(
                "is the register itself", "name the backup's file", column="BACKUP", value=source, code="conflict"
            )
        found = check_register(source)
        if not found.is_sound:
            what = found.findings[0].rpartition("; ")[0]
            raise RegisterError(f"{source}: it is not sound, so nothing was restored: {what}; take another backup")
        with aside(place) as new:
            with hold(source) as held, held.open(also=new, read_only=True) as con:
                duplicate(con, new, place)
                simulated = kind_of(con)
            with hold(place, in_turn=True) as held:
                _refuse_if_held(held, simulated, source)
                moved = _put_in_place(new, place)
        return check_register(place), moved


def _refuse_if_held(held: Hold, simulated: bool, source: Path) -> None:
    """Refuse a place whose register somebody has open, who would go on in what is moved, or is of the other kind."""
    import duckdb

    try:
        with held.open(read_only=True) as con:
            there = kind_of(con)
    except BusyError:
        raise
    except (RegisterError, duckdb.Error):
        return  # it cannot be opened any more, or is no register: that is what a backup is for
    if there != simulated:
        kinds = ("simulated", "real") if there else ("real", "simulated")
        problem = f"{held.path} holds {kinds[0]} records, and the backup {kinds[1]} ones"
        raise InputError.one(problem, "name another file to restore it to", column="BACKUP", value=source, code="kind")


def _put_in_place(new: Path, place: Path) -> Path | None:
    """Move the file at a place aside, with its logs, and put another there; all is as it was where that fails."""
    moved = beside(place, "before-restore")
    moves = [(Path(f"{place}{end}"), Path(f"{moved}{end}")) for end in ENDS]
    try:
        for was, becomes in moves:  # the file first: without its log it must not be opened
            if was.exists():
                os.rename(was, becomes)
        put(new, place)
    except BaseException as error:
        for was, becomes in reversed(moves):
            if becomes.exists():
                os.rename(becomes, was)
        if isinstance(error, OSError):
            raise told(place, error) from error
        raise
    return moved if any(becomes.exists() for _, becomes in moves) else None


def _checked(con: duckdb.DuckDBPyConnection, place: Path | Lakehouse) -> RegisterCheck:
    import duckdb

    schema = schema_of(con, place)
    findings = [*_log_findings(place)] if isinstance(place, Path) else []
    rows: dict[str, int] = {}
    for name in sorted(tables(con)):
        try:
            rows[name], _ = read_table(con, name)
        except duckdb.Error as error:
            findings.append(f"the table {name} cannot be read: {str(told(place, error)).removeprefix(f'{place}: ')}")
    standing = None
    if len(rows) == len(tables(con)):
        if schema < len(steps()) and isinstance(place, Path):
            bring_up_to_date(con, place)
        findings += [*_kind_findings(con), *_numbering_findings(con), *_figure_findings(con)]
        findings += [f"{fault}; {ENTER_AGAIN}" for fault in _stored_faults(con)]
        standing = revisions.count(con)
    left = tuple(_left_over(place.parent)) if isinstance(place, Path) else ()
    return RegisterCheck(place, schema, rows, standing, tuple(findings), left)


def _left_over(folder: Path) -> Iterator[str]:
    for each in left_over(folder):
        with suppress(OSError):  # whoever was at it is through with it
            what = f"{each}: part of a register that somebody makes or copies, or was stopped at"
            yield f"{what} ({each.stat().st_size / 1e6:.1f} MB); delete it while no calib is at work in this folder"


def _log_findings(place: Path) -> Iterator[str]:
    log = log_beside(place)
    if log is not None and log.dropped:
        what = f"the log beside it, {log.path.name}, breaks off: {log.holds} in it are counted here, its last"
        remedy = "see whether the last entries are there, and enter again what is not; the next addition clears the log"
        yield f"{what} {log.dropped} bytes cannot be read; {remedy}"


def _kind_findings(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    try:
        simulated = kind_of(con)
    except AlteredError as error:
        yield str(error)
        return
    others = con.execute("SELECT count(*) FROM revisions WHERE simulated <> ?", [simulated]).fetchone()
    if others and others[0]:
        yield f"{others[0]} of its revisions are {'real' if simulated else 'simulated'}, and it is not; {RESTORE}"


def _numbering_findings(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """Revisions are numbered from 1 without a gap, and what identifies a record is made of contributor and unit."""
    for table, (identity, named, what) in _REVISED.items():
        asked = f"""
            SELECT any_value({named}), count(*), max(revision) FROM {table} GROUP BY {identity}
            HAVING min(revision) <> 1 OR max(revision) <> count(*) OR count(DISTINCT revision) <> count(*) ORDER BY 1
        """
        for name, count, last in con.execute(asked).fetchall():
            yield f"{what} {name}: of its revisions {count} can be counted, the last is number {last}; {RESTORE}"
    asked = "SELECT DISTINCT contributor, unit, record_id FROM revisions"
    for contributor, unit, identity in con.execute(asked).fetchall():
        if record_id(contributor, unit) != identity:
            yield f"known unit {contributor}, {unit}: it is not kept under its own name; {RESTORE}"


def _figure_findings(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    names = [facts.name for facts in fields(KnownUnit) if facts.kind == "number"]
    asked = ", ".join(f'count(*) FILTER (NOT isfinite("{name}"))' for name in names)
    found = con.execute(f"SELECT {asked} FROM revisions").fetchone() or ()
    for name, count in zip(names, found, strict=True):
        if count:
            yield f"{count} of its revisions have a {name} that is no number; {RESTORE}"


def _stored_faults(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    yield from revisions.faults_of(revisions.current(con))
    yield from meter_faults(con)
    yield from session_faults(con)
    yield from bench_faults(con)
    yield from attachment_faults(con)
