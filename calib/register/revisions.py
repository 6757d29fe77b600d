"""Revisions in an open register: the one way of appending them, and the known units that they amount to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from calib.errors import InputError
from calib.register.frame import KEPT, checked, settled, text_of
from calib.register.records import KnownUnit, columns, fields, record_id
from calib.register.trouble import ENTER_AGAIN, AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from calib.register.fields import FieldFacts


@dataclass(frozen=True)
class Ledger:
    """Things that are revised and never overwritten: a row is appended for each change, and a thing's last row counts.

    Attributes
    ----------
    table, latest : str
        The table of revisions, and the view of each thing's last.
    identity : str
        The column that identifies a thing.
    heads : tuple of str
        What is noted of a revision: its number, when it was made and, where that is kept, action, by, reason and
        whether somebody should look at it.
    cells : dict
        The thing's own columns in their order, each with the SQL that makes it of a data frame's.
    gone : str
        The action that takes a thing out of those that count; blank where none does.
    unsaid : tuple of str
        Columns of which a blank says nothing: it does not differ from what stands there.
    """

    table: str
    latest: str
    identity: str
    heads: tuple[str, ...]
    cells: Mapping[str, str]
    gone: str = ""
    unsaid: tuple[str, ...] = ()

    def keep(
        self, con: duckdb.DuckDBPyConnection, incoming: pd.DataFrame, action: str = "", by: str = "", reason: str = ""
    ) -> pd.DataFrame:
        """Append what a frame has new, inside the caller's transaction; what stands there word for word is passed over.

        Returns
        -------
        pandas.DataFrame
            For each row of the frame: `was`, the number of its thing's last revision (0 for none), whether that took it
            out (`gone`), the names of what `differs` from it, and whether it was `kept`.
        """
        state = self.compared(con, incoming)
        kept = state["was"].eq(0) | state["gone"] | state["differs"].ne("")
        self.append(con, incoming.assign(was=state["was"])[kept], action, by, reason)
        return state.assign(kept=kept)

    def compared(self, con: duckdb.DuckDBPyConnection, incoming: pd.DataFrame) -> pd.DataFrame:
        """What `keep` would do, but for `kept`."""
        differing = ", ".join(
            f"""CASE WHEN old."{name}" IS DISTINCT FROM new."{name}"{self._said(name)} THEN '{name}' END"""
            for name in self.cells
        )
        gone = f"coalesce(old.\"action\" = '{self.gone}', false)" if self.gone else "false"
        asked = f"""
            SELECT coalesce(old.revision, 0) AS was, {gone} AS gone, concat_ws(', ', {differing}) AS differs
            FROM ({self._typed("place")}) AS new LEFT JOIN {self.latest} AS old USING ({self.identity})
            ORDER BY new.place
        """
        with _brought(con, incoming.assign(place=range(len(incoming)))):
            return con.execute(asked).df().set_index(incoming.index)

    def append(
        self, con: duckdb.DuckDBPyConnection, rows: pd.DataFrame, action: str = "", by: str = "", reason: str = ""
    ) -> None:
        """Append a revision for each row, whose last was `was`; what an addition revises is marked for review."""
        if rows.empty:
            return
        now = datetime.now(UTC).replace(tzinfo=None)
        noted = {"action": action, "by": by or None, "reason": reason or None, "made_at": now}
        noted = {name: value for name, value in noted.items() if name in self.heads}
        heads = [f'${number} AS "{name}"' for number, name in enumerate(noted, 1)]
        if "needs_review" in self.heads:
            heads.append(f"{action == 'add'} AND was > 0 AS needs_review")
        made = f"* EXCLUDE (was), CAST(was + 1 AS INTEGER) AS revision, {', '.join(heads)}"
        with _brought(con, rows):
            con.execute(
                f"INSERT INTO {self.table} BY NAME SELECT {made} FROM ({self._typed('was')})", list(noted.values())
            )

    def last(self, con: duckdb.DuckDBPyConnection, identity: str) -> pd.DataFrame:
        """A thing as it counts now, in one row, `was` the number of its revision; no row where it does not."""
        there = f"AND \"action\" <> '{self.gone}'" if self.gone else ""
        asked = f"SELECT *, revision AS was FROM {self.latest} WHERE {self.identity} = $1 {there}"
        return con.execute(asked, [identity]).df()

    def history(self, con: duckdb.DuckDBPyConnection, order: str, identity: str | None = None) -> pd.DataFrame:
        """Every revision, or those of one thing, in an order, each with what is noted of it; times are UTC."""
        names = ", ".join(f'"{name}"' for name in (*self.heads, *self.cells))
        where, values = ("", []) if identity is None else (f"WHERE {self.identity} = $1", [identity])
        found = con.execute(f"SELECT {names} FROM {self.table} {where} ORDER BY {order}", values).df()
        return timed(found, "made_at")

    def _said(self, name: str) -> str:
        return f' AND new."{name}" IS NOT NULL' if name in self.unsaid else ""

    def _typed(self, more: str) -> str:
        cells = ", ".join(f'{made} AS "{name}"' for name, made in self.cells.items())
        return f"SELECT {more}, {self.identity}, {cells} FROM brought"


@contextmanager
def _brought(con: duckdb.DuckDBPyConnection, table: pd.DataFrame) -> Iterator[None]:
    """Let statements read a data frame by the name of `brought`."""
    con.register("brought", table)
    try:
        yield
    finally:
        con.unregister("brought")


def timed(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """A table from the database, these columns of times marked as UTC."""
    return table.assign(**{name: table[name].dt.tz_localize("UTC") for name in columns})


_TYPES = {"number": "DOUBLE", "flag": "BOOLEAN", "date": "DATE"}


def _cell(facts: FieldFacts) -> str:
    """SQL of a record's field, of the register's type, blank as NULL."""
    kind = _TYPES.get(facts.kind, "VARCHAR")
    if facts.kind in ("number", "flag"):
        return f'CAST("{facts.name}" AS {kind})'
    return f"""CAST(nullif(CAST("{facts.name}" AS VARCHAR), '') AS {kind})"""


RECORDS = Ledger(
    *("revisions", "latest", "record_id"),
    ("record_id", "revision", "action", "by", "reason", "made_at", "needs_review"),
    {facts.name: _cell(facts) for facts in fields(KnownUnit)},
    gone="withdraw",
    unsaid=("kept",),
)
_NAMES = ", ".join(f'"{name}"' for name in RECORDS.cells)


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
    state = RECORDS.keep(con, incoming := _identified(table), "add", by, reason)
    again = incoming.assign(**state)[state["kept"] & state["was"].gt(0)]
    columns = ("contributor", "unit", "was", "gone", "differs")
    notes = [
        f"{contributor}, {unit}: {_changed(differs, gone)}; kept as revision {was + 1}, for review"
        for contributor, unit, was, gone, differs in zip(*(again[name] for name in columns), strict=True)
    ]
    return ImportReport(int(state["was"].eq(0).sum()), int((~state["kept"]).sum()), len(again), tuple(notes))


def holds(con: duckdb.DuckDBPyConnection, table: pd.DataFrame) -> bool:
    """Whether every record of a table stands in the register word for word."""
    state = RECORDS.compared(con, _identified(table))
    return bool((state["was"].gt(0) & ~state["gone"] & state["differs"].eq("")).all())


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
    last = _last(con, str(table["contributor"].iloc[0]), str(table["unit"].iloc[0]))
    new = _identified(table)
    differs = set(RECORDS.compared(con, new)["differs"].iloc[0].split(", "))
    if differs - {"", "notes"} and "kept" not in differs:
        new["kept"] = ""  # it was said of other readings
    RECORDS.append(con, new.assign(was=last["was"].iloc[0]), "amend", by, reason)


def keep(con: duckdb.DuckDBPyConnection, contributor: str, unit: str, by: str, reason: str) -> None:
    """Note that the record of a unit was looked into and is right; this settles a review too.

    Raises
    ------
    InputError
        The register has no such unit, or it was withdrawn.
    """
    RECORDS.append(con, _last(con, contributor, unit).assign(kept=reason), "keep", by, reason)


def withdraw(con: duckdb.DuckDBPyConnection, contributor: str, unit: str, by: str, reason: str) -> None:
    """Take the record of a unit out of those that count; its revisions stay.

    Raises
    ------
    InputError
        The register has no such unit, or it was withdrawn already.
    """
    RECORDS.append(con, _last(con, contributor, unit), "withdraw", by, reason)


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
    table = RECORDS.history(con, "made_at, contributor, unit, revision", identity)
    noted = table[list(RECORDS.heads)]
    return noted.assign(
        **{name: text_of(noted[name]) for name in ("by", "reason")}, **_tidy(table[list(RECORDS.cells)])
    )


def _tidy(table: pd.DataFrame) -> pd.DataFrame:
    """What the database gives, with the types of `read_known`."""
    days = table["recorded_on"].dt.strftime("%Y-%m-%d").str.zfill(10)  # pandas 2.2 leaves out a year's leading zeros
    tidy = settled(KnownUnit, table.assign(recorded_on=days))
    tidy.attrs[KEPT] = True
    return tidy


def _last(con: duckdb.DuckDBPyConnection, contributor: str, unit: str) -> pd.DataFrame:
    """The record of a unit as it counts now."""
    found = RECORDS.last(con, record_id(contributor, unit))
    if found.empty:
        remedy = "look the unit and its contributor up among the known units; one that was withdrawn can be added again"
        raise InputError.one(
            f"the register has no such unit of {contributor}", remedy, column="unit", value=unit, code="not-found"
        )
    return found


def _changed(differs: str, gone: bool) -> str:
    parts = ["was withdrawn"] if gone else []
    return " and ".join([*parts, f"differs in {differs}"] if differs else parts)
