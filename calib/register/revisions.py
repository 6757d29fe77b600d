"""Revisions in an open register: the one way of appending them, and the known units that they amount to."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from calib.errors import SHOWN, Fault, InputError, visible
from calib.register.fields import is_blank
from calib.register.frame import KEPT, checked, record_of, settled, text_of
from calib.register.lakehouse import NO_ROLE, SIGNS_IN, TAKEN_OUT, barred
from calib.register.records import KnownUnit, columns, fields, record_id
from calib.register.trouble import ENTER_AGAIN, AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from calib.register.fields import FieldFacts


PUT_BACK = "restore"  # the action that makes an earlier revision count again
# How like the tag asked for (Jaro and Winkler, 0 to 1) a tag is that is named, and how many are.
NEAR, MOST_NEAR = 0.8, 3


# As what a connection writes the revisions of known units, see write_as; nothing in a file.
CONTRIBUTOR, CURATOR = "contributor", "curator"
_WRITER = "calib_written_as"
SIGNED = f"CAST(getvariable('{_WRITER}') AS VARCHAR) AS written_as"


def write_as(con: duckdb.DuckDBPyConnection, login: str, owns: bool) -> None:
    """Let a connection write as what the register's members say of a login; the owner of the catalogue is a curator.

    Who signed in on the page is what the members say and nothing else, whoever's login the page works by.

    Raises
    ------
    RegisterError
        The register has members, and the login may only read, or is none of them.
    """
    roles = {
        name: told for name, *told in con.execute("SELECT login, role, contributor FROM latest_members").fetchall()
    }
    free = (owns or not roles) and not login.startswith(SIGNS_IN)
    role, contributor = roles.get(login, (CURATOR if free else "", ""))
    if role not in (CURATOR, CONTRIBUTOR):
        raise barred(login, NO_ROLE if role in ("", TAKEN_OUT) else "may read this register and not write it")
    written = "" if not roles else role if role == CURATOR else f"{role} {contributor}"
    quoted = written.replace("'", "''")
    con.execute(f"SET VARIABLE {_WRITER} = nullif('{quoted}', '')")


def refuse_foreign(con: duckdb.DuckDBPyConnection, contributors: Iterable[str]) -> None:
    """Refuse records of a contributor's that whoever writes may not revise.

    Raises
    ------
    InputError
        With a fault for each contributor.
    """
    ((written,),) = con.execute(f"SELECT getvariable('{_WRITER}')").fetchall()
    if written is None or written == CURATOR:
        return
    own = str(written).removeprefix(f"{CONTRIBUTOR} ")
    remedy = f"write records of {own}, or ask a curator of the register"
    problem = f"its records are not yours to write, who write as {written}"
    faults = [
        Fault("", None, "contributor", one, problem, remedy, "conflict") for one in sorted({*contributors} - {own})
    ]
    if faults:
        raise InputError(faults)


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
    signed : bool
        Whether it is kept as what a revision was written, and each contributor's things are that contributor's own.
    """

    table: str
    latest: str
    identity: str
    heads: tuple[str, ...]
    cells: Mapping[str, str]
    gone: str = ""
    unsaid: tuple[str, ...] = ()
    signed: bool = False

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
        with brought(con, incoming.assign(place=range(len(incoming)))):
            asked = f"SELECT was, gone, differs FROM ({self.state(self.typed('place'))}) ORDER BY place"
            return con.execute(asked).df().set_index(incoming.index)

    def state(self, typed: str) -> str:
        """SQL of what is brought, with the number of its last revision, whether that took it out, and what differs."""
        differing = ", ".join(
            f"""CASE WHEN old."{name}" IS DISTINCT FROM new."{name}"{self._said(name)} THEN '{name}' END"""
            for name in self.cells
        )
        gone = f"coalesce(old.\"action\" = '{self.gone}', false)" if self.gone else "false"
        return f"""
            SELECT new.*, coalesce(old.revision, 0) AS was, {gone} AS gone, concat_ws(', ', {differing}) AS differs
            FROM ({typed}) AS new LEFT JOIN {self.latest} AS old USING ({self.identity})
        """

    def append(
        self, con: duckdb.DuckDBPyConnection, rows: pd.DataFrame, action: str = "", by: str = "", reason: str = ""
    ) -> None:
        """Append a revision for each row, whose last was `was`.

        What an addition revises is marked for review; what is put back keeps the mark that it had, its `needs_review`.
        """
        if rows.empty:
            return
        if self.signed:
            refuse_foreign(con, rows["contributor"])
        now = datetime.now(UTC).replace(tzinfo=None)
        noted = {"action": action, "by": by or None, "reason": reason or None, "made_at": now}
        noted = {name: value for name, value in noted.items() if name in self.heads}
        heads = [f'${number} AS "{name}"' for number, name in enumerate(noted, 1)]
        more = "was"
        if "needs_review" in self.heads and action == PUT_BACK:
            more = "was, needs_review"
        elif "needs_review" in self.heads:
            heads.append(f"{action == 'add'} AND was > 0 AS needs_review")
        heads += [SIGNED] if self.signed else []
        made = f"* EXCLUDE (was), CAST(was + 1 AS INTEGER) AS revision, {', '.join(heads)}"
        with brought(con, rows):
            con.execute(f"INSERT INTO {self.table} BY NAME SELECT {made} FROM ({self.typed(more)})", [*noted.values()])

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

    def bring(self, con: duckdb.DuckDBPyConnection, rows: pd.DataFrame) -> None:
        """Append revisions as they were made elsewhere, inside the caller's transaction."""
        if self.signed:
            refuse_foreign(con, rows["contributor"])
        with brought(con, rows.assign(made_at=rows["made_at"].dt.tz_localize(None))):
            made = f"*, {SIGNED}" if self.signed else "*"
            con.execute(f"INSERT INTO {self.table} BY NAME SELECT {made} FROM ({self._made_elsewhere()})")

    def beside(self, con: duckdb.DuckDBPyConnection, rows: pd.DataFrame) -> pd.DataFrame:
        """Of each thing in a frame of revisions, how many are `ours`, `theirs` and the `same`."""
        told = [name for name in (*self.heads, *self.cells) if name != self.identity]
        alike = " AND ".join(f'new."{name}" IS NOT DISTINCT FROM old."{name}"' for name in told)
        asked = f"""
            SELECT {self.identity}, count(old.revision) AS ours, count(new.revision) AS theirs,
                count(*) FILTER (new.revision IS NOT NULL AND old.revision IS NOT NULL AND {alike}) AS same
            FROM ({self._made_elsewhere()}) AS new
            FULL JOIN (SELECT * FROM {self.table} WHERE {self.identity} IN (SELECT {self.identity} FROM brought)) AS old
            USING ({self.identity}, revision) GROUP BY {self.identity}
        """
        with brought(con, rows.assign(made_at=rows["made_at"].dt.tz_localize(None))):
            return con.execute(asked).df()

    def _made_elsewhere(self) -> str:
        made = {name: f'"{name}"' for name in self.heads if name != self.identity}
        made["revision"] = "CAST(revision AS INTEGER)"
        made |= {name: f"nullif({made[name]}, '')" for name in ("by", "reason")}
        heads = [f'{cell} AS "{name}"' for name, cell in made.items()]
        return self.typed(", ".join(heads))

    def _said(self, name: str) -> str:
        return f' AND new."{name}" IS NOT NULL' if name in self.unsaid else ""

    def typed(self, more: str, source: str = "brought") -> str:
        """SQL of the frame that is `brought`, each column of the register's type, with `more` before them."""
        cells = ", ".join(f'{made} AS "{name}"' for name, made in self.cells.items())
        identity = f"CAST({self.identity} AS VARCHAR) AS {self.identity}"  # of a frame without rows it may be any type
        return f"SELECT {more}, {identity}, {cells} FROM {source}"


@contextmanager
def brought(con: duckdb.DuckDBPyConnection, table: pd.DataFrame) -> Iterator[None]:
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
    signed=True,
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
    notes = [revised(*one) for one in zip(*(again[name] for name in columns), strict=True)]
    return ImportReport(int(state["was"].eq(0).sum()), int((~state["kept"]).sum()), len(again), tuple(notes))


def revised(contributor: str, unit: str, was: int, gone: bool, differs: str) -> str:
    """What an addition made of a unit that the register had otherwise, as a note."""
    return f"{contributor}, {unit}: {_changed(differs, gone)}; kept as revision {was + 1}, for review"


def holds(con: duckdb.DuckDBPyConnection, table: pd.DataFrame) -> bool:
    """Whether every record of a table stands in the register word for word."""
    state = RECORDS.compared(con, _identified(table))
    return bool((state["was"].gt(0) & ~state["gone"] & state["differs"].eq("")).all())


PROGRAM, RENEWED = "calib", "the practice data that come with the program changed"


def renew(con: duckdb.DuckDBPyConnection, table: pd.DataFrame, write: bool = True) -> bool:
    """Bring the records that a register was made with to those of a table, inside the caller's transaction.

    What a user has added, changed or withdrawn since is the user's and stays: a record is brought to the table's only
    where its last revision is one that the register was made with, or that this made.

    Returns
    -------
    bool
        Whether there was anything to bring.
    """
    incoming, past = _identified(table), history(con)
    made = past["made_at"].eq(past["made_at"].min()) | (past["by"].eq(PROGRAM) & past["reason"].eq(RENEWED))
    last = past.assign(own=made).sort_values("revision").drop_duplicates("record_id", keep="last")
    own = last[last["own"]]
    state = RECORDS.compared(con, incoming)
    new, kept = state["was"].eq(0), incoming["record_id"].isin(own["record_id"])
    changed = kept & (state["differs"].ne("") | state["gone"])
    gone = own[~own["record_id"].isin(incoming["record_id"]) & own["action"].ne("withdraw")]
    if write:
        for action, which in (("add", new), ("amend", changed)):
            RECORDS.append(con, incoming.assign(was=state["was"])[which], action, PROGRAM, RENEWED)
        for contributor, unit in zip(gone["contributor"], gone["unit"], strict=True):
            withdraw(con, contributor, unit, PROGRAM, RENEWED)
    return bool((new | changed).any() or len(gone))


def _identified(table: pd.DataFrame) -> pd.DataFrame:
    incoming = table[list(columns(KnownUnit))].copy()
    incoming["record_id"] = [record_id(*pair) for pair in zip(table["contributor"], table["unit"], strict=True)]
    return incoming


def refuse_another(con: duckdb.DuckDBPyConnection, table: pd.DataFrame) -> None:
    """Refuse a record of a unit that stands with other readings: the same unit's, to be amended, or another unit's.

    Raises
    ------
    InputError
        With a fault for each.
    """
    state = RECORDS.compared(con, _identified(table))
    there = table[(state["was"].gt(0) & ~state["gone"] & state["differs"].ne("")).to_numpy()]
    faults = [
        Fault(
            *("", None, "unit", unit, f"{contributor} has a known unit of that tag, and its {differs} is another"),
            "if it is the same unit, amend its record: calib amend "
            f"{shlex.quote(unit)} --contributor {shlex.quote(contributor)} --why TEXT and what is to be changed; "
            "if it is another unit, give it a tag of its own",
            "exists",
        )
        for contributor, unit, differs in zip(
            there["contributor"], there["unit"], state["differs"][there.index], strict=True
        )
    ]
    if faults:
        raise InputError(faults)


def amend(
    con: duckdb.DuckDBPyConnection, table: pd.DataFrame, by: str, reason: str, instead_of: pd.DataFrame | None = None
) -> None:
    """Put a one-row table in the place of the record of its unit; the same content again settles a review.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        Connection whose current database is the register, within a transaction.
    table : pandas.DataFrame
        The record.
    by, reason : str
        Who amends it and why.
    instead_of : pandas.DataFrame or None
        The record that was looked at when it was amended; None for whatever stands.

    Raises
    ------
    InputError
        The register has no such unit, it was withdrawn, or another record than `instead_of` stands by now.
    """
    last = _last(con, str(table["contributor"].iloc[0]), str(table["unit"].iloc[0]))
    if instead_of is not None and RECORDS.compared(con, _identified(instead_of))["differs"].iloc[0]:
        raise _revised_since(last)
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


def restore(
    con: duckdb.DuckDBPyConnection, contributor: str, unit: str, by: str, reason: str, revision: int | None = None
) -> None:
    """Let a record count again as it stood before it was withdrawn, or as it stood at an earlier revision.

    Raises
    ------
    InputError
        The register never had such a unit, it was not withdrawn, it has no such revision, stands as at that one, or
        that one is none that a file would bring in.
    """
    import pandas as pd

    rows = _every(con, contributor, unit)
    last = rows.iloc[-1]
    wanted = rows[rows["action"].ne(RECORDS.gone)].tail(1) if revision is None else rows[rows["revision"].eq(revision)]
    if revision is None and last["action"] != RECORDS.gone:
        what = f"the unit of {contributor} was not withdrawn: its record counts"
        remedy = "to go back to one of its revisions, name that one's number, which its history lists"
        raise InputError.one(what, remedy, column="unit", value=unit, code="conflict")
    if wanted.empty:
        what = f"the record has no such revision: its last is {last['revision']}"
        remedy = "take one that its history lists"
        raise InputError.one(what, remedy, column="revision", value=revision, code="not-found")
    if last["action"] != RECORDS.gone and changes(pd.concat([rows.tail(1), wanted])).empty:
        raise InputError.one(
            "the record stands as it stood then", "leave it so", column="revision", value=revision, code="conflict"
        )
    checked(KnownUnit, _tidy(wanted[list(RECORDS.cells)]))
    RECORDS.append(con, wanted.assign(was=last["revision"]), PUT_BACK, by, reason)


def undo(con: duckdb.DuckDBPyConnection, contributor: str, unit: str, revision: int, by: str, reason: str) -> None:
    """Append what takes back the last revision of a record: it is as before that, withdrawn if it was or was not there.

    Raises
    ------
    InputError
        The register never had such a unit, or its last revision is another one.
    """
    rows = _every(con, contributor, unit)
    if int(rows["revision"].iloc[-1]) != revision:
        raise _revised_since(rows.tail(1))
    before, reason = rows.iloc[-2:-1], reason or f"revision {revision} undone"
    there = len(before) and before["action"].iloc[0] != RECORDS.gone
    action, put = (PUT_BACK, before) if there else (RECORDS.gone, rows.tail(1))
    RECORDS.append(con, put.assign(was=revision), action, by, reason)


def _revised_since(last: pd.DataFrame) -> InputError:
    """That somebody was quicker, and who."""
    found = last.iloc[0]
    whose = f" by {found['by']}" if isinstance(found["by"], str) else ""
    what = f"its record was revised meanwhile{whose}: revision {found['revision']}, {found['action']}"
    remedy = "look at its history, and begin again from what stands now"
    return InputError.one(what, remedy, column="unit", value=found["unit"], code="conflict")


def changes(history: pd.DataFrame) -> pd.DataFrame:
    """What each revision of one unit changed.

    Parameters
    ----------
    history : pandas.DataFrame
        As :meth:`Register.history` gives it.

    Returns
    -------
    pandas.DataFrame
        Columns revision, column, before and after, the last two as plain values, None for blank. The first revision,
        which made all of it, has no row, nor has one that left every column as it was.
    """
    import pandas as pd

    rows, names = history.to_dict("records"), list(RECORDS.cells)
    found = [
        (new["revision"], name, *(None if is_blank(one[name]) else one[name] for one in (old, new)))
        for old, new in pairwise(rows)
        for name in names
        if old[name] != new[name] and not (is_blank(old[name]) and is_blank(new[name]))
    ]
    return pd.DataFrame(found, columns=["revision", "column", "before", "after"], dtype=object)


def record(con: duckdb.DuckDBPyConnection, contributor: str, unit: str) -> KnownUnit:
    """The record of a unit as it counts now; an `InputError` where none does."""
    found = _tidy(_last(con, contributor, unit)[list(RECORDS.cells)])
    return record_of(KnownUnit, {str(name): value for name, value in found.iloc[0].items()})


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
    ((found,),) = con.execute("SELECT count(*) FROM current_units").fetchall()
    return int(found)


def history(con: duckdb.DuckDBPyConnection, identity: str | None = None) -> pd.DataFrame:
    """Every revision, or those of one record, the oldest first."""
    order = "made_at, contributor, unit, revision" if identity is None else "revision"
    table = RECORDS.history(con, order, identity)
    noted = table[list(RECORDS.heads)]
    return noted.assign(
        **{name: text_of(noted[name]) for name in ("by", "reason")}, **_tidy(table[list(RECORDS.cells)])
    )


def foreign(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Revisions that do not count, since somebody wrote them who may not: `written_as`, then as in `history`."""
    table = con.execute("FROM foreign_revisions ORDER BY made_at, contributor, unit, revision").df()
    noted = timed(table[["written_as", *RECORDS.heads]], "made_at")
    return noted.assign(**_tidy(table[list(RECORDS.cells)]))


def provenance(con: duckdb.DuckDBPyConnection, identity: str) -> pd.DataFrame:
    """Which revisions of a record came with a bundle: first_revision, last_revision, bundle, licence, by, made_at."""
    asked = """
        SELECT first_revision, last_revision, bundle, coalesce(licence, '') AS licence,
            coalesce("by", '') AS "by", made_at
        FROM merges WHERE record_id = $1 ORDER BY first_revision
    """
    return con.execute(asked, [identity]).df()


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
        _every(con, contributor, unit)
        problem = f"the register has no such unit of {contributor} any more: it was withdrawn"
        raise InputError.one(problem, "restore it first", column="unit", value=unit, code="conflict")
    return found


def _every(con: duckdb.DuckDBPyConnection, contributor: str, unit: str) -> pd.DataFrame:
    """Every revision of a unit, the oldest first; an `InputError` that names the tags near to it where it has none."""
    found = con.execute(
        "SELECT * FROM revisions WHERE record_id = $1 ORDER BY revision", [record_id(contributor, unit)]
    )
    rows = found.df()
    if rows.empty:
        problem = f"the register has no such unit of {contributor}"
        raise InputError.one(problem, _near(con, contributor, unit), column="unit", value=unit, code="not-found")
    return rows


def _near(con: duckdb.DuckDBPyConnection, contributor: str, unit: str) -> str:
    """What to do about a unit that is not there: the likest tags, those of the same contributor first."""
    like = "jaro_winkler_similarity(lower({}), lower({}))"
    tag = like.format("unit", "$1")
    asked = f"""
        SELECT unit, contributor FROM latest WHERE {tag} >= {NEAR}
        ORDER BY {tag} + {like.format("contributor", "$2")} DESC, contributor, unit LIMIT {MOST_NEAR}
    """
    found = con.execute(asked, [unit, contributor]).fetchall()
    if not found:
        return "look the unit and its contributor up among the known units"
    names = [f"'{visible(one, SHOWN)}' of {visible(whose, SHOWN)}" for one, whose in found]
    return f"there is {' and '.join(filter(None, [', '.join(names[:-1]), names[-1]]))}"


def _changed(differs: str, gone: bool) -> str:
    parts = ["was withdrawn"] if gone else []
    return " and ".join([*parts, f"differs in {differs}"] if differs else parts)
