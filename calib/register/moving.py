"""Set a lakehouse up, and carry a whole register from a file into it or back, with every revision and attached file."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import InputError
from calib.register.file import make_tables, note_kind, opened
from calib.register.gate import rows, tables, transaction
from calib.register.lakehouse import Lakehouse, place_of
from calib.register.register import Register
from calib.register.revisions import refuse_foreign
from calib.register.trouble import WAIT_S

if TYPE_CHECKING:
    import duckdb

OWN = ("about", "schema_steps")  # tables that say of a register what it is, and not what it holds


@dataclass(frozen=True)
class Carried:
    """What was carried from one register to another.

    Attributes
    ----------
    source, target : str
        From where and to where.
    rows : dict of str to int
        By table, how many rows the target was given; what it had already is not counted.
    known : int
        Known units that it holds now.
    """

    source: str
    target: str
    rows: dict[str, int]
    known: int

    def __str__(self) -> str:
        new = sum(self.rows.values())
        what = (
            "nothing that was not there"
            if not new
            else f"{new} rows, {self.rows.get('revisions', 0)} of them revisions"
        )
        return f"carried from {self.source} to {self.target}: {what}; known units there: {self.known}"


def set_up_lakehouse(
    address: str, data: str | os.PathLike[str], *, simulated: bool = False, wait: float = WAIT_S
) -> Register:
    """Make a register in a lakehouse; one that is there by then is left as it is.

    Parameters
    ----------
    address : str
        ``ducklake:postgres:`` and what PostgreSQL's client library takes to find a database that is there.
    data : str or Path
        The folder, on storage that every user reaches by that path, where its Parquet files are to lie.
    simulated : bool
        Whether it is for records made up for practice.
    wait : float
        How long to wait for others who set it up [s].

    Raises
    ------
    InputError
        That is no lakehouse's address, the folder is none, or the lakehouse there is of the other kind.
    RegisterError
        The catalogue cannot be reached or written.
    """
    place = place_of(address)
    if not isinstance(place, Lakehouse):
        problem, remedy = "is no lakehouse's address", "begin it with ducklake:postgres:"
        raise InputError.one(problem, remedy, column="ADDRESS", value=address, code="text")
    if not Path(data).is_dir():
        problem, remedy = "there is no such folder", "make it first, where every user reaches it by that path"
        raise InputError.one(problem, remedy, column="data_path", value=str(data), code="not-found")
    with place.turn(wait):
        if not place.exists():
            place.set_up(data)
        with place.opened() as con:
            _laid_out(con, simulated)
    register = Register(place, create=False, wait=wait)
    if register.is_simulated != simulated:
        kind = "simulated" if register.is_simulated else "real"
        problem = f"a register of {kind} records is there already"
        raise InputError.one(problem, "name another database", column="ADDRESS", value=str(place), code="kind")
    return register


def _laid_out(con: duckdb.DuckDBPyConnection, simulated: bool) -> None:
    """Make the tables where they are not whole; what is no longer empty then is left as it is.

    DuckLake keeps figures of a table from its first row on, and asks the catalogue for them once. Of a table that never
    had a row it asks anew, for each column, whenever the table is read or all are listed: so each is given one, which
    is taken out again before the register is one.
    """
    if not tables(con):
        with transaction(con):
            make_tables(con)
            for name, row in _first_rows(con).items():
                cells = ", ".join(f'{cell} AS "{column}"' for column, cell in row.items())
                con.execute(f"INSERT INTO {name} BY NAME SELECT {cells}")
    if con.execute("FROM about").fetchall():
        return
    with transaction(con):
        for name, row in _first_rows(con).items():
            its_own = " AND ".join(f'"{column}" = {cell}' for column, cell in row.items())
            con.execute(f"DELETE FROM {name} WHERE {its_own}")
        if not any(count for name, count in rows(con).items() if name != "schema_steps"):
            note_kind(con, simulated)


def _first_rows(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, str]]:
    """For each table that is to hold something, some row of it: SQL of each column's value."""
    asked = """
        SELECT table_name, column_name, data_type FROM duckdb_columns() WHERE database_name = 'register' ORDER BY ALL
    """
    found: dict[str, dict[str, str]] = {name: {} for name in _carried(con)}
    for table, column, kind in con.execute(asked).fetchall():
        if table in found:
            found[table][column] = f"CAST('{'epoch' if kind in ('DATE', 'TIMESTAMP') else 1}' AS {kind})"
    return found


def carry(source: str | os.PathLike[str], target: str | os.PathLike[str], wait: float = WAIT_S) -> Carried:
    """Copy every revision, meter, session and attached file of one register into another.

    Out of a lakehouse they go into a new file, made whole or not at all. Into a lakehouse they go table by table, each
    in one transaction: what a copying that was stopped had brought is passed over by the next, which brings the rest.

    Parameters
    ----------
    source, target : str or Path
        A register's file or a lakehouse's address. A target that is a file is not there yet; a lakehouse was set up,
        and holds nothing that the source does not.
    wait : float
        How long to wait while others hold either [s].

    Raises
    ------
    InputError
        The target is a file that is there; the lakehouse has revisions of its own, or is of the other kind.
    RegisterError
        Either cannot be worked on.
    """
    origin, place = Register(source, create=False, wait=wait), place_of(target)
    if isinstance(place, Path):
        with opened(origin.path, wait) as con:
            there = {name: len(con.execute(f"SELECT 1 FROM {name}").fetchall()) for name in _carried(con)}
        return Carried(str(origin.path), str(origin.backup(place)), there, len(Register(place, create=False).known()))
    goal = Register(place, create=False, wait=wait)
    if goal.is_simulated != origin.is_simulated:
        problem = "one of the two holds simulated records and the other real ones"
        raise InputError.one(problem, "name registers of one kind", column="TO", value=str(place), code="kind")
    with tempfile.TemporaryDirectory() as folder:
        copy = origin.backup(Path(folder) / "whole.duckdb")
        rows = _brought(copy, place, wait)
    return Carried(str(origin.path), str(place), rows, len(goal.known()))


def _carried(con: duckdb.DuckDBPyConnection) -> list[str]:
    return sorted(tables(con) - set(OWN))


def _brought(copy: Path, place: Lakehouse, wait: float) -> dict[str, int]:
    """Give the lakehouse what a register's file has and it has not; by table, how many rows."""
    rows: dict[str, int] = {}
    quoted = str(copy).replace("'", "''")
    with opened(place, wait, write=True, also=copy) as con:
        con.execute(f"ATTACH '{quoted}' AS source (TYPE duckdb, READ_ONLY)")
        for name in _carried(con):
            own = con.execute(f"SELECT count(*) FROM (FROM register.{name} EXCEPT ALL FROM source.{name})").fetchone()
            if own and own[0]:
                problem = f"{own[0]} rows of its table {name} are not in {copy.name}"
                remedy = "carry it into a lakehouse that was set up anew, or hand out and merge a bundle"
                raise InputError.one(problem, remedy, column="TO", value=str(place), code="conflict")
        refuse_foreign(
            con, [one for (one,) in con.execute("SELECT DISTINCT contributor FROM source.revisions").fetchall()]
        )
        for name in _carried(con):
            with transaction(con):
                new = f"FROM source.{name} EXCEPT ALL FROM register.{name}"
                (rows[name],) = con.execute(f"INSERT INTO register.{name} BY NAME ({new})").fetchone() or (0,)
        con.execute("DETACH source")
    return rows
