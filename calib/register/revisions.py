"""Revisions in an open register: what is added, what is the same as before, what stands now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from calib.errors import InputError
from calib.register.frame import checked, settled, text_of
from calib.register.records import KnownUnit, columns, fields, record_id
from calib.register.trouble import ENTER_AGAIN, AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

HEADINGS = ("record_id", "revision", "action", "by", "reason", "made_at", "needs_review")
_TYPES = {"number": "DOUBLE", "flag": "BOOLEAN", "date": "DATE"}
_NAMES = ", ".join(f'"{name}"' for name in columns(KnownUnit))


@dataclass(frozen=True)
class ImportReport:
    """What became of the records that were brought in.

    Attributes
    ----------
    added : int
        Records of units that the register did not have.
    unchanged : int
        Records that it had, word for word; nothing was written for them.
    revised : int
        Records that it had otherwise, or that had been withdrawn: kept as a later revision, marked for review.
    notes : tuple of str
        One line for each thing worth knowing.
    holds : int
        Known units that the register then holds.
    """

    added: int
    unchanged: int
    revised: int
    notes: tuple[str, ...] = ()
    holds: int = field(default=0, compare=False)


def bring(con: duckdb.DuckDBPyConnection, table: pd.DataFrame, by: str, reason: str) -> ImportReport:
    """Add the records of a table, inside the caller's transaction.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        Connection whose current database is the register.
    table : pandas.DataFrame
        As `read_known` gives it, each unit once.
    by, reason : str
        Who brings them and why; may be blank.

    Returns
    -------
    ImportReport
        A record that differs from the register's is not refused, since it may be the better one: it becomes the later
        revision, which counts, marked for review.
    """
    incoming = _identified(table)
    state = _compared(con, incoming)
    incoming["was"], incoming["new"] = state["was"], state["was"] == 0
    fresh = incoming[state["was"].eq(0) | state["withdrawn"] | state["differs"].ne("")]
    _append(con, fresh, ("add", by, reason))
    again = state[state["was"].gt(0) & (state["withdrawn"] | state["differs"].ne(""))]
    notes = [
        f"{contributor}, {unit}: {_changed(differs, withdrawn)}; kept as revision {was + 1}, for review"
        for contributor, unit, was, withdrawn, differs in zip(*(again[name] for name in again.columns), strict=True)
    ]
    added = int(incoming["new"].sum())
    return ImportReport(added, len(incoming) - len(fresh), len(fresh) - added, tuple(notes))


def holds(con: duckdb.DuckDBPyConnection, table: pd.DataFrame) -> bool:
    """Whether every record of a table stands in the register word for word."""
    state = _compared(con, _identified(table))
    return bool((state["was"].gt(0) & ~state["withdrawn"] & state["differs"].eq("")).all())


def _identified(table: pd.DataFrame) -> pd.DataFrame:
    incoming = table[list(columns(KnownUnit))].copy()
    incoming["record_id"] = [record_id(*pair) for pair in zip(table["contributor"], table["unit"], strict=True)]
    return incoming


def amend(con: duckdb.DuckDBPyConnection, table: pd.DataFrame, by: str, reason: str) -> None:
    """Put a one-row table in the place of the record of its unit; the same content again settles a review.

    Raises
    ------
    InputError
        The register has no such unit, or it was withdrawn.
    """
    contributor, unit = str(table["contributor"].iloc[0]), str(table["unit"].iloc[0])
    _append(con, _standing(con, contributor, unit, table), ("amend", by, reason))


def withdraw(con: duckdb.DuckDBPyConnection, contributor: str, unit: str, by: str, reason: str) -> None:
    """Take the record of a unit out of those that count; its revisions stay.

    Raises
    ------
    InputError
        The register has no such unit, or it was withdrawn already.
    """
    _append(con, _standing(con, contributor, unit, None), ("withdraw", by, reason))


def current(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The known units as they stand, by contributor and unit."""
    return _tidy(con.execute(f"SELECT {_NAMES} FROM current_units ORDER BY contributor, unit").df())


def standing(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The known units as `current` gives them, each as sound as one from a file.

    Raises
    ------
    AlteredError
        One is not.
    """
    table = current(con)
    if found := list(faults_of(table)):
        raise AlteredError(f"{found[0]}{f' (and {len(found) - 1} more)' if found[1:] else ''}; {ENTER_AGAIN}")
    return table


def faults_of(table: pd.DataFrame) -> Iterator[str]:
    """What is wrong with known units that stand in a register, by what a file is held to."""
    try:
        checked(KnownUnit, table)
    except InputError as error:
        for fault in error.faults:
            row = table.iloc[fault.row or 0]
            value = f" '{fault.value}'" if fault.value else ""
            yield f"known unit {row['contributor']}, {row['unit']}: {fault.column}{value} {fault.problem}"


def count(con: duckdb.DuckDBPyConnection) -> int:
    """How many known units stand."""
    found = con.execute("SELECT count(*) FROM current_units").fetchone()
    return int(found[0]) if found else 0


def history(con: duckdb.DuckDBPyConnection, identity: str | None = None) -> pd.DataFrame:
    """Every revision, or those of one record, the oldest first."""
    heads = ", ".join(f'"{name}"' for name in HEADINGS)
    where = "" if identity is None else "WHERE record_id = $1"
    order = "ORDER BY made_at, contributor, unit, revision"
    values = [] if identity is None else [identity]
    table = con.execute(f"SELECT {heads}, {_NAMES} FROM revisions {where} {order}", values).df()
    tidy, made = _tidy(table), table["made_at"].dt.tz_localize("UTC")
    tidy = tidy.assign(made_at=made, **{name: text_of(table[name]) for name in ("by", "reason")})
    return tidy[[*HEADINGS, *columns(KnownUnit)]]


def _tidy(table: pd.DataFrame) -> pd.DataFrame:
    """What the database gives, with the types of `read_known`."""
    days = table["recorded_on"].dt.strftime("%Y-%m-%d").str.zfill(10)  # pandas 2.2 leaves out a year's leading zeros
    return settled(KnownUnit, table.assign(recorded_on=days))


def _typed(source: str) -> str:
    """SQL of the records in a registered frame, blanks as NULL, each column of the register's type."""
    cells = (
        f'CAST(nullif(CAST("{facts.name}" AS VARCHAR), \'\') AS {_TYPES.get(facts.kind, "VARCHAR")}) AS "{facts.name}"'
        if facts.kind in ("text", "choice", "date")
        else f'CAST("{facts.name}" AS {_TYPES[facts.kind]}) AS "{facts.name}"'
        for facts in fields(KnownUnit)
    )
    return f"SELECT record_id, {', '.join(cells)} FROM {source}"


def _compared(con: duckdb.DuckDBPyConnection, incoming: pd.DataFrame) -> pd.DataFrame:
    """For each record: its last revision in the register (0 for none), whether that withdrew it, what differs."""
    differing = ", ".join(
        f"""CASE WHEN old."{name}" IS DISTINCT FROM new."{name}" THEN '{name}' END""" for name in columns(KnownUnit)
    )
    con.register("brought", incoming.assign(place=range(len(incoming))))
    try:
        return (
            con.execute(
                f"""
            WITH new AS ({_typed("brought").replace("SELECT ", "SELECT place, ", 1)})
            SELECT new.contributor, new.unit, coalesce(old.revision, 0) AS was,
                   coalesce(old."action" = 'withdraw', false) AS withdrawn, concat_ws(', ', {differing}) AS differs
            FROM new LEFT JOIN latest AS old ON old.record_id = new.record_id ORDER BY new.place
            """
            )
            .df()
            .set_index(incoming.index)
        )
    finally:
        con.unregister("brought")


def _append(con: duckdb.DuckDBPyConnection, rows: pd.DataFrame, why: tuple[str, str, str]) -> None:
    """Add a revision for each row; those that differ from an earlier one by mere addition are marked for review."""
    if rows.empty:
        return
    action, by, reason = why
    values = [action, by or None, reason or None, datetime.now(UTC).replace(tzinfo=None), action == "add"]
    con.register("brought", rows)
    try:
        con.execute(
            f"""
            INSERT INTO revisions BY NAME
            SELECT typed.*, CAST(was + 1 AS INTEGER) AS revision, $1 AS "action", $2 AS "by", $3 AS reason,
                   $4 AS made_at, $5 AND was > 0 AS needs_review
            FROM ({_typed("brought").replace("SELECT ", "SELECT was, ", 1)}) AS typed
            """.replace("typed.*", "typed.* EXCLUDE (was)"),
            values,
        )
    finally:
        con.unregister("brought")


def _standing(
    con: duckdb.DuckDBPyConnection, contributor: str, unit: str, instead: pd.DataFrame | None
) -> pd.DataFrame:
    """The current record of a unit, or what is to stand instead of it, with the number of its last revision."""
    identity = record_id(contributor, unit)
    found = con.execute(f"SELECT revision, {_NAMES} FROM current_units WHERE record_id = $1", [identity]).df()
    if found.empty:
        remedy = "look the unit and its contributor up among the known units; one that was withdrawn can be added again"
        raise InputError.one(
            f"the register has no such unit of {contributor}", remedy, column="unit", value=unit, code="not-found"
        )
    table = found if instead is None else instead.reset_index(drop=True)
    return table[list(columns(KnownUnit))].assign(record_id=identity, was=found["revision"].iloc[0])


def _changed(differs: str, withdrawn: bool) -> str:
    parts = ["was withdrawn"] if withdrawn else []
    return " and ".join([*parts, f"differs in {differs}"] if differs else parts)
