"""What the register keeps for its own user, a revision for each change: the meters on the bench, and sessions there."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, get_args
from uuid import uuid4

from pydantic import BaseModel, ConfigDict, model_validator

from calib.bench.uncertainty import MeterClass
from calib.errors import InputError
from calib.register.fields import (
    METER,
    FieldFacts,
    Name,
    OneLine,
    Reads,
    as_number,
    line,
    of,
    trimmed,
)
from calib.register.file import opened
from calib.register.gate import transaction
from calib.register.lakehouse import Lakehouse
from calib.register.records import Contradiction, Contradictions, parsed
from calib.register.revisions import Ledger, timed
from calib.register.trouble import ENTER_AGAIN, AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

COLUMNS = tuple(facts.name for facts in METER)
METERS = Ledger(
    *("meter_revisions", "latest_meters", "meter_id", ("meter_id", "revision", "action", "made_at")),
    {name: f'"{name}"' for name in COLUMNS},
    gone="drop",
)
SESSIONS = Ledger(
    *("session_revisions", "latest_sessions", "session_id", ("revision", "made_at")),
    {name: f'"{name}"' for name in ("tag", "contributor", "step", "state", "entries")},
)


class Meter(BaseModel):
    """One range of one of the user's own meters, for one quantity, with its stated limits of error.

    A meter of several ranges is several of these under one name. A pointer meter has no per cent of reading; its per
    cent of full scale counts in hundredths of the scale: resolution a hundredth of full scale, counts that per cent.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)

    name: Name
    reads: Annotated[Reads, trimmed]
    range_label: OneLine = ""
    percent: Annotated[float, of("percent"), as_number]
    counts: Annotated[float, of("counts"), as_number]
    resolution: Annotated[float, of("resolution"), as_number]

    @model_validator(mode="after")
    def _errs(self) -> Self:
        if self.percent == 0.0 and self.counts == 0.0:
            remedy = "copy both figures, ±(% of reading + counts), from the meter's data"
            raise Contradictions([Contradiction("counts", "no meter is without error", remedy, "improbable")])
        return self

    @classmethod
    def parse(cls, values: Mapping[str, object], where: str = "") -> Self:
        """Make a meter of values as typed, or raise `InputError` with everything that is wrong with them."""
        return parsed(cls, meter_fields(), values, where)

    @property
    def accuracy(self) -> MeterClass:
        """Its limits of error, as the bench functions take them."""
        return MeterClass(self.percent, self.counts, self.resolution)

    @property
    def label(self) -> str:
        """Its name and range, as a list of meters shows them."""
        return f"{self.name}, {self.range_label}" if self.range_label else self.name


@cache
def meter_fields() -> tuple[FieldFacts, ...]:
    """The facts of a meter's fields, in their order."""
    return tuple(replace(facts, needed=Meter.model_fields[facts.name].is_required()) for facts in METER)


def meter_id(name: str, reads: str, range_label: str) -> str:
    """Hash of what identifies a meter's range, the same on every machine."""
    return hashlib.sha256(f"{len(name)}:{name}{reads}:{range_label}".encode()).hexdigest()[:32]


def add_meter(con: duckdb.DuckDBPyConnection, meter: Meter) -> bool:
    """Add a meter, or a later revision of one that differs, inside the caller's transaction.

    Returns
    -------
    bool
        Whether anything was written: the same again is not.
    """
    row = {"meter_id": meter_id(meter.name, meter.reads, meter.range_label), **meter.model_dump()}
    return bool(METERS.keep(con, _frame(row), "keep")["kept"].iloc[0])


def drop_meter(con: duckdb.DuckDBPyConnection, name: str, reads: str, range_label: str) -> None:
    """Take a meter off the list; its revisions stay.

    Raises
    ------
    InputError
        The list has no such meter.
    """
    found = METERS.last(con, meter_id(name, reads, range_label))
    if found.empty:
        problem = f"the register has no such meter for {reads}s, range '{range_label}'"
        raise InputError.one(
            problem, "look its name and range up among the meters", column="name", value=name, code="not-found"
        )
    METERS.append(con, found, "drop")


def standing_meters(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The meters as they stand, by name and quantity, the finest range first.

    Raises
    ------
    AlteredError
        One is not as `keep` would have kept it.
    """
    table = _latest_meters(con)
    if fault := next(_meter_faults_in(table), ""):
        raise AlteredError(f"{fault}; {ENTER_AGAIN}")
    return timed(table, "kept_at")


def meter_faults(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """What is wrong with the meters as they stand in a register, by what the form holds them to."""
    return _meter_faults_in(_latest_meters(con))


def _meter_faults_in(table: pd.DataFrame) -> Iterator[str]:
    for row in table[list(COLUMNS)].to_dict("records"):
        try:
            Meter.parse({str(name): value for name, value in row.items()})
        except InputError as error:
            fault = error.faults[0]
            value = f" '{fault.value}'" if fault.value else ""
            yield f"meter {row['name']}: {fault.column}{value} {fault.problem}"


def _latest_meters(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    names = ", ".join(COLUMNS)
    asked = f"SELECT {names}, revision, made_at AS kept_at FROM latest_meters WHERE \"action\" = 'keep'"
    return con.execute(f"{asked} ORDER BY name, reads, resolution, range_label").df()


def _frame(row: Mapping[str, object]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame([row])


State = Literal["open", "done"]
STATES: tuple[str, ...] = get_args(State)
BEGIN_ANEW = "begin it anew, or use a backup"
LIMIT = 1 << 18  # most that one session's entries may take as JSON, in characters; an ordinary one takes some thousand
_WHOLE = "tag, contributor, step, state, entries, revision, started_at, made_at FROM latest_sessions"
_SESSION = "session_id, tag, contributor, step, state, revision, started_at, made_at AS kept_at"


@dataclass(frozen=True)
class BenchSession:
    """A session at the bench as it was last kept.

    Attributes
    ----------
    session_id : str
        What identifies it.
    tag, contributor : str
        The unit on the bench, and whose bench it is.
    entries : dict
        By step, what was entered there, by field.
    step : str
        Where it is at.
    state : str
        open or done.
    revision : int
        How many times it was kept with something new in it.
    started_at, kept_at : datetime
        When it was kept first and last, in UTC.
    """

    session_id: str
    tag: str
    contributor: str
    entries: dict[str, Any] = field(repr=False)
    step: str
    state: str
    revision: int
    started_at: datetime
    kept_at: datetime


def as_json(entries: Mapping[str, Any]) -> str:
    """What was entered as JSON text, the same for the same entries.

    Raises
    ------
    InputError
        There is something in it that JSON has no word for, or it is too long.
    """
    try:
        text = json.dumps(dict(entries), ensure_ascii=False, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        problem = f"cannot be kept as JSON: {error}"
        remedy = "keep texts, finite numbers, true or false, and lists and tables of such"
        raise InputError.one(problem, remedy, column="entries", value=type(entries).__name__, code="text") from None
    if len(text) > LIMIT:
        problem = f"take {len(text):,} characters, and a session may have {LIMIT:,}"
        raise InputError.one(
            problem, "keep long tables as files, and name them here", column="entries", value="…", code="limits"
        )
    return text


def add_session(con: duckdb.DuckDBPyConnection, session_id: str, row: tuple[str, str, str, str, str]) -> BenchSession:
    """Add a session, or a later revision of one that differs, inside the caller's transaction.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        Connection whose current database is the register.
    session_id : str
        The session; blank for a new one.
    row : (str, str, str, str, str)
        Tag, contributor, step, state and entries (as JSON).

    Returns
    -------
    BenchSession
        As it stands now.

    Raises
    ------
    InputError
        The register has no session of that name.
    """
    if session_id:
        _session_row(con, session_id)
    identity = session_id or uuid4().hex
    SESSIONS.keep(con, _frame({"session_id": identity, **dict(zip(SESSIONS.cells, row, strict=True))}))
    return standing_session(con, identity)


def standing_session(con: duckdb.DuckDBPyConnection, session_id: str) -> BenchSession:
    """A session as it stands.

    Raises
    ------
    InputError
        The register has no session of that name.
    AlteredError
        What was entered in it cannot be read.
    """
    tag, contributor, step, state, entries, revision, started_at, kept_at = _session_row(con, session_id)
    if fault := _session_fault(tag, entries):
        raise AlteredError(f"{fault}; {BEGIN_ANEW}")
    times = (started_at.replace(tzinfo=UTC), kept_at.replace(tzinfo=UTC))
    return BenchSession(session_id, tag, contributor, json.loads(entries), step, state, revision, *times)


def standing_sessions(con: duckdb.DuckDBPyConnection) -> tuple[tuple[BenchSession, str], ...]:
    """The sessions as they stand, the one kept last first, each with what is wrong with it and what to do; its entries
    are then left out. Blank for a sound one.
    """
    asked = (
        "SELECT session_id, tag, contributor, step, state, entries, revision, started_at, made_at FROM latest_sessions"
    )
    found = []
    for row in con.execute(f"{asked} ORDER BY made_at DESC, session_id").fetchall():
        name, tag, contributor, step, state, entries, revision, *times = row
        fault = _session_fault(tag, entries)
        read = {} if fault else json.loads(entries)
        at = (one.replace(tzinfo=UTC) for one in times)
        one = BenchSession(name, tag, contributor, read, step, state, revision, *at)
        found.append((one, f"{fault}; {BEGIN_ANEW}" if fault else ""))
    return tuple(found)


def session_faults(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """What is wrong with the sessions as they stand in a register."""
    found = con.execute("SELECT tag, entries FROM latest_sessions ORDER BY made_at").fetchall()
    return filter(None, (_session_fault(*row) for row in found))


def _session_fault(tag: str, entries: str) -> str:
    try:
        sound = isinstance(json.loads(entries), dict)
    except (ValueError, RecursionError):
        sound = False
    return "" if sound else f"bench session {tag or 'without a tag'}: what was entered cannot be read"


def latest_sessions(con: duckdb.DuckDBPyConnection, state: str = "") -> pd.DataFrame:
    """The sessions as they stand, or those of one state, the one that was kept last first."""
    where, values = ("WHERE state = $1", [state]) if state else ("", [])
    asked = f"SELECT {_SESSION} FROM latest_sessions {where} ORDER BY made_at DESC, session_id"
    return timed(con.execute(asked, values).df(), "started_at", "kept_at")


def _session_row(con: duckdb.DuckDBPyConnection, session_id: str) -> tuple[Any, ...]:
    found = con.execute(f"SELECT {_WHOLE} WHERE session_id = $1", [session_id]).fetchall()
    if not found:
        problem = "the register has no such session"
        raise InputError.one(
            problem, "look it up among the sessions", column="session_id", value=session_id, code="not-found"
        )
    return tuple(found[0])


class BenchStore:
    """Meters and sessions in a register's file; every change is a later revision, and nothing is ever taken out."""

    path: Path | Lakehouse
    _wait: float

    def keep_meter(self, meter: Meter) -> bool:
        """Put a meter on the list, or its new figures in the place of the old.

        Parameters
        ----------
        meter : Meter
            One range for one quantity; name, quantity and range identify it.

        Returns
        -------
        bool
            Whether anything was written: the same again is not.

        Raises
        ------
        RegisterError
            The file cannot be worked on.
        """
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return add_meter(con, meter)

    def drop_meter(self, name: str, reads: str, range_label: str = "") -> None:
        """Take a meter off the list; its revisions stay, and it can be kept again.

        Raises
        ------
        InputError
            The list has no such meter.
        RegisterError
            The file cannot be worked on.
        """
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            drop_meter(con, line("name", name), reads, line("range_label", range_label))

    def meters(self) -> pd.DataFrame:
        """The meters: name, reads (volt or ohm), range_label, percent, counts, resolution, revision, kept_at (UTC)."""
        with opened(self.path, self._wait) as con:
            return standing_meters(con)

    def meter_revisions(self) -> pd.DataFrame:
        """Every revision of the meters, the oldest first: action (keep or drop), made_at (UTC), then the meter."""
        with opened(self.path, self._wait) as con:
            return METERS.history(con, "made_at, name, reads, range_label, revision")

    def keep_session(
        self,
        tag: str,
        entries: Mapping[str, Any],
        step: str,
        *,
        contributor: str = "",
        state: str = "open",
        session_id: str = "",
    ) -> BenchSession:
        """Keep a session at the bench, so that it can be taken up again.

        Parameters
        ----------
        tag : str
            The unit on the bench, as written on it; may be blank.
        entries : mapping
            By step, what was entered there: what JSON has words for, 262,144 characters of it at most.
        step : str
            The step that it is at.
        contributor : str
            Whose bench; may be blank.
        state : str
            open or done.
        session_id : str
            The session that goes on; blank starts a new one.

        Returns
        -------
        BenchSession
            As it stands now; the same again writes nothing.

        Raises
        ------
        InputError
            An entry that cannot be kept, entries too long, another state, or no session of that name.
        RegisterError
            The file cannot be worked on.
        """
        if state not in STATES:
            remedy = f"write one of: {', '.join(STATES)}"
            raise InputError.one("is no state of a session", remedy, column="state", value=state, code="choice")
        row = (
            line("tag", tag),
            line("contributor", contributor),
            line("step", step),
            state,
            as_json(entries),
        )
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return add_session(con, session_id, row)

    def sessions(self, state: str = "") -> pd.DataFrame:
        """The sessions, or those of one state, the one kept last first; times are UTC, entries are left out."""
        with opened(self.path, self._wait) as con:
            return latest_sessions(con, state)

    def session(self, session_id: str) -> BenchSession:
        """A session as it was last kept.

        Raises
        ------
        InputError
            The register has no session of that name.
        RegisterError
            The file cannot be read.
        """
        with opened(self.path, self._wait) as con:
            return standing_session(con, session_id)

    def session_revisions(self, session_id: str) -> pd.DataFrame:
        """The revisions of one session, the oldest first, its entries as JSON; no row where there is none."""
        with opened(self.path, self._wait) as con:
            return SESSIONS.history(con, "revision, made_at", session_id)
