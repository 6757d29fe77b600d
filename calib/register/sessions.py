"""Sessions at the bench in an open register: what was entered at each step, kept time after time and never lost."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Literal, get_args
from uuid import uuid4

from calib.errors import InputError
from calib.register.trouble import AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

State = Literal["open", "done"]
STATES: tuple[str, ...] = get_args(State)
LIMIT = 1 << 18  # most that one session's entries may take as JSON, in characters; an ordinary one takes some thousand
_NAMES = "session_id, tag, contributor, step, state, revision, started_at, made_at AS kept_at"


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


def keep(con: duckdb.DuckDBPyConnection, session_id: str, row: tuple[str, str, str, str, str]) -> BenchSession:
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
    identity = session_id or uuid4().hex
    last = _row(con, session_id) if session_id else None
    if last is None or last[:5] != row:
        revision = last[5] + 1 if last else 1
        values = [identity, revision, datetime.now(UTC).replace(tzinfo=None), *row]
        columns = "session_id, revision, made_at, tag, contributor, step, state, entries"
        con.execute(f"INSERT INTO session_revisions ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)
    return one(con, identity)


def one(con: duckdb.DuckDBPyConnection, session_id: str) -> BenchSession:
    """A session as it stands.

    Raises
    ------
    InputError
        The register has no session of that name.
    AlteredError
        What was entered in it cannot be read.
    """
    tag, contributor, step, state, entries, revision, started_at, kept_at = _row(con, session_id)
    if fault := _fault_of(tag, entries):
        raise AlteredError(f"{fault}; begin it anew, or use a backup")
    times = (started_at.replace(tzinfo=UTC), kept_at.replace(tzinfo=UTC))
    return BenchSession(session_id, tag, contributor, json.loads(entries), step, state, revision, *times)


def faults_of(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """What is wrong with the sessions as they stand in a register."""
    found = con.execute("SELECT tag, entries FROM latest_sessions ORDER BY made_at").fetchall()
    return filter(None, (_fault_of(*row) for row in found))


def _fault_of(tag: str, entries: str) -> str:
    try:
        sound = isinstance(json.loads(entries), dict)
    except (ValueError, RecursionError):
        sound = False
    return "" if sound else f"bench session {tag or 'without a tag'}: what was entered cannot be read"


def listed(con: duckdb.DuckDBPyConnection, state: str = "") -> pd.DataFrame:
    """The sessions as they stand, or those of one state, the one that was kept last first."""
    where, values = ("WHERE state = $1", [state]) if state else ("", [])
    asked = f"SELECT {_NAMES} FROM latest_sessions {where} ORDER BY made_at DESC, session_id"
    return _timed(con.execute(asked, values).df(), "started_at", "kept_at")


def history(con: duckdb.DuckDBPyConnection, session_id: str) -> pd.DataFrame:
    """The revisions of one session, the oldest first; no row where there is none."""
    asked = "SELECT revision, made_at, tag, contributor, step, state, entries FROM session_revisions"
    return _timed(
        con.execute(f"{asked} WHERE session_id = $1 ORDER BY revision, made_at", [session_id]).df(), "made_at"
    )


def _row(con: duckdb.DuckDBPyConnection, session_id: str) -> tuple[Any, ...]:
    asked = "SELECT tag, contributor, step, state, entries, revision, started_at, made_at FROM latest_sessions"
    found: tuple[Any, ...] | None = con.execute(f"{asked} WHERE session_id = $1", [session_id]).fetchone()
    if found is None:
        problem = "the register has no such session"
        raise InputError.one(
            problem, "look it up among the sessions", column="session_id", value=session_id, code="not-found"
        )
    return found


def _timed(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    return table.assign(**{name: table[name].dt.tz_localize("UTC") for name in columns})
