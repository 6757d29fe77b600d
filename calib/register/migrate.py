"""Bring a register's tables up to date: numbered SQL steps, each applied once, in order, and never edited."""

from __future__ import annotations

import re
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from calib.register.gate import interruptible, tables, transaction

if TYPE_CHECKING:
    import duckdb

SCHEMA = Path(__file__).resolve().parent / "schema"
_FILE = re.compile(r"(\d{4})_(\w+)\.sql")


@dataclass(frozen=True)
class Step:
    """One step of the schema: its number, its name and its SQL."""

    number: int
    name: str
    sql: str


@cache
def steps(folder: Path = SCHEMA) -> tuple[Step, ...]:
    """The steps in a folder, in their order.

    Raises
    ------
    ValueError
        Two steps have one number, or a number is left out.
    """
    named = [(match, path) for path in sorted(folder.glob("*.sql")) if (match := _FILE.fullmatch(path.name))]
    found = tuple(Step(int(match[1]), match[2], path.read_text(encoding="utf-8")) for match, path in named)
    numbers = [step.number for step in found]
    if numbers != list(range(1, len(found) + 1)):
        raise ValueError(f"the steps in {folder} are numbered {numbers}, not 1 to {len(found)}")
    return found


def applied(con: duckdb.DuckDBPyConnection) -> int:
    """Number of the last step that the open database has had; 0 where it has had none."""
    if "schema_steps" not in tables(con):
        return 0
    last = con.execute("SELECT max(step) FROM schema_steps").fetchone()
    return int(last[0] or 0) if last else 0


_OBJECTS = """
SELECT 'the view ' || view_name, sql FROM duckdb_views() WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the table ' || table_name, sql FROM duckdb_tables() WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the macro ' || function_name, '' FROM duckdb_functions()
WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the sequence ' || sequence_name, '' FROM duckdb_sequences() WHERE database_name = current_database()
UNION ALL
SELECT 'the type ' || type_name, '' FROM duckdb_types() WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the index ' || index_name, '' FROM duckdb_indexes() WHERE database_name = current_database()
"""


def objects(con: duckdb.DuckDBPyConnection) -> set[tuple[str, str]]:
    """Everything that the open database has in its catalogue, with the SQL that makes it; nothing of it is run."""
    return {(name, sql) for name, sql in con.execute(_OBJECTS).fetchall()}


@cache
def _own(done: tuple[Step, ...]) -> frozenset[tuple[str, str]]:
    """What a database has that had these steps."""
    import duckdb

    with interruptible(), closing(duckdb.connect()) as con:
        migrate(con, done)
        return frozenset(objects(con))


def stranger(con: duckdb.DuckDBPyConnection, done: tuple[Step, ...]) -> str:
    """Say what the open database has that these steps did not make, or lacks, or has otherwise; "" for nothing.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        Connection whose current database is the register.
    done : tuple of Step
        The steps that it has had.
    """
    there, own = objects(con), _own(done)
    names = {name for name, _ in own}
    for name, _ in sorted(there - own):
        return f"holds {name}, altered" if name in names else f"holds {name}, which no register of calib has"
    return f"no longer has {gone}" if (gone := next(iter(sorted(names - {name for name, _ in there})), "")) else ""


def migrate(con: duckdb.DuckDBPyConnection, pending: tuple[Step, ...]) -> int:
    """Apply the steps that the open database has not had, each in one transaction with the note of it.

    A step that fails is rolled back, the ones before it stay, and its error is raised.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        Connection whose current database is the register.
    pending : tuple of Step
        All steps, as `steps` gives them; those applied are passed over.

    Returns
    -------
    int
        How many were applied.
    """
    done = applied(con)
    new = [step for step in pending if step.number > done]
    for step in new:
        with transaction(con):
            con.execute("CREATE TABLE IF NOT EXISTS schema_steps (step INTEGER, name VARCHAR, applied_at TIMESTAMP)")
            con.execute(step.sql)
            note = [step.number, step.name, datetime.now(UTC).replace(tzinfo=None)]
            con.execute("INSERT INTO schema_steps VALUES (?, ?, ?)", note)
    return len(new)
