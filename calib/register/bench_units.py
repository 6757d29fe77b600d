"""Units on the bench: what was read, estimated, demanded and proven of each, a revision whenever something is kept.

A session at the bench is kept by itself (:mod:`calib.register.bench_book`). Here stands what came of it and of the
pages and commands beside it, by the unit's tag and whose bench it is. Answers are kept as they were given, so that what
a unit could give by the register of that day can be told beside what it can give by today's.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, JsonValue, ValidationError

from calib.errors import InputError
from calib.register.bench_book import LIMIT, BenchSession, standing_meters, standing_sessions
from calib.register.fields import line
from calib.register.file import kind_of, opened
from calib.register.gate import transaction
from calib.register.lakehouse import Lakehouse
from calib.register.records import UnknownUnit, record_id
from calib.register.revisions import PUT_BACK, Ledger
from calib.register.trouble import ENTER_AGAIN, AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

READ_AT = "read_at"  # beside the readings' columns
PARTS = ("readings", "estimates", "demand", "heat_run")
BENCH = Ledger(
    *("bench_revisions", "latest_bench", "bench_id", ("bench_id", "revision", "action", "by", "reason", "made_at")),
    {name: f'"{name}"' for name in ("tag", "contributor", "sessions", *PARTS, "stop", "stop_cleared")},
    gone="drop",
)
MOST_ESTIMATES = 60  # of one unit, the last that are kept in its latest revision; earlier ones stay in its history
SAID = {
    "session_id": "session",
    "readings": "readings",
    "estimate": "estimate",
    "demand": "demand",
    "heat_run": "heat run",
}


def _plain(value: object) -> object:
    """What is not a number as blank, which is all that JSON has for it."""
    if isinstance(value, Mapping):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    value = value.item() if hasattr(value, "item") else value
    return None if isinstance(value, float) and not math.isfinite(value) else value


Number = Annotated[float | None, BeforeValidator(_plain)]
Json = Annotated[dict[str, JsonValue], BeforeValidator(_plain)]


class _Answer(BaseModel):
    """An answer as it was given, and when."""

    model_config = ConfigDict(frozen=True, extra="ignore", hide_input_in_errors=True)

    made_at: datetime


class KeptEstimate(_Answer):
    """An estimate as it was given; figures are those of the table of estimates, None where blank.

    Attributes
    ----------
    made_at : datetime
        When, in UTC.
    fit : str
        Name of the fit that it is by, a hash of what it was made of.
    records, published : int
        How many of the user's own records and of the published windings that fit was made of.
    rectifier, filter : str
        The supply that it is for.
    level : float
        Probability of its interval.
    """

    fit: str
    records: int = 0
    published: int = 0
    rectifier: str
    filter: str
    level: float
    no_load_v: Number = None
    v_over_r: Number = None
    predictors: str | None = ""
    unit_multiplier: Number = None
    rated_current_ma: Number = None
    low_ma: Number = None
    high_ma: Number = None
    floor_ma: Number = None
    odds_sound: Number = None
    likely_slip: str | None = ""
    repaired_ma: Number = None
    repaired_low_ma: Number = None
    repaired_high_ma: Number = None
    flags: str | None = ""

    def same(self, other: KeptEstimate) -> bool:
        """Whether the other says the same, whenever it was made."""
        return self.model_copy(update={"made_at": other.made_at}) == other


class KeptDemand(_Answer):
    """A set's demand as it was answered, with all that it takes to reckon it again.

    Attributes
    ----------
    made_at : datetime
        When, in UTC.
    fit : str
        Name of the fit that the odds are by.
    level : float
        Probability of its intervals.
    loads : tuple of dict
        What the set draws, a row a kind, as `calib.load_rows` takes them.
    supply : dict
        The set's supply, as `calib.SetSupply` takes it; what was not told is left out.
    answer : dict
        Under the keys of the JSON of `calib demand`.
    windings : tuple of dict
        The unit's heater windings that were told with it, as `calib.HeaterReading` takes them.
    """

    fit: str
    level: float
    loads: tuple[dict[str, str], ...]
    supply: Json
    answer: Json
    windings: tuple[Json, ...] = ()

    def _number(self, name: str) -> float | None:
        value = self.answer.get(name)
        return float(value) if isinstance(value, int | float) else None

    @property
    def odds_average(self) -> float | None:
        """That the rating suffices at rest, 0 to 1; None where no current was told."""
        return self._number("odds_average")

    @property
    def odds_worst(self) -> float | None:
        """The same at full signal."""
        return self._number("odds_worst")

    @property
    def worst_ma(self) -> float | None:
        """Direct current in all at full signal [mA]."""
        return self._number("worst_ma")

    @property
    def broken(self) -> tuple[dict[str, Any], ...]:
        """The limits that are broken: limit, value, allowed, remedy."""
        found = self.answer.get("broken")
        return tuple(one for one in found if isinstance(one, dict)) if isinstance(found, list) else ()


class KeptHeatRun(_Answer):
    """A heat run as it was reckoned.

    Attributes
    ----------
    made_at : datetime
        When, in UTC.
    given : dict
        What was read, as `calib.HeatRun` takes it: cold ohms, temperatures, load, seconds and ohm after switching off.
    result : dict
        Under the keys of the JSON of `calib heat-run`.
    """

    given: Json
    result: Json

    @property
    def reference_ma(self) -> float | None:
        """The permitted current for 60 K in air of 40 °C, which a record stores; None where none was told [mA]."""
        value = self.result.get("reference_ma")
        return float(value) if isinstance(value, int | float) else None

    @property
    def doubts(self) -> tuple[str, ...]:
        """What the run itself puts in doubt."""
        found = self.result.get("doubts")
        said = found.split(" | ") if isinstance(found, str) else found if isinstance(found, list) else ()
        return tuple(one for one in said if isinstance(one, str) and one)


@dataclass(frozen=True)
class BenchEntry:
    """What is to be kept of a unit on the bench, each part None where there is nothing new.

    Attributes
    ----------
    session_id : str
        A session at the bench that it came from.
    readings : UnknownUnit or None
        What was read, for the supply that it is meant for.
    estimate : KeptEstimate or None
        What it can give.
    demand : KeptDemand or None
        Whether it feeds a set.
    heat_run : KeptHeatRun or None
        What a heat run proved.
    """

    session_id: str = ""
    readings: UnknownUnit | None = None
    estimate: KeptEstimate | None = None
    demand: KeptDemand | None = None
    heat_run: KeptHeatRun | None = None


@dataclass(frozen=True)
class KeptUnit:
    """A unit on the bench as it was last kept; what there is nothing of is blank, None or empty.

    Attributes
    ----------
    tag, contributor : str
        What is written on it, and whose bench it is.
    revision : int
        Number of its last revision; 0 where a session is all that there is.
    begun_at, kept_at : datetime or None
        When something of it was kept first and last, in UTC.
    sessions : tuple of str
        Its sessions, the one kept last first.
    readings : UnknownUnit or None
        What was read when an answer was kept last.
    read_at : datetime or None
        When those readings were kept, in UTC.
    stop, stop_cleared : str
        Why it must not be fed, and why that no longer stands; stops are joined by " | ".
    estimates : tuple of KeptEstimate
        The oldest first.
    demand, heat_run : KeptDemand, KeptHeatRun or None
        The last of each.
    """

    tag: str
    contributor: str = ""
    revision: int = 0
    begun_at: datetime | None = None
    kept_at: datetime | None = None
    sessions: tuple[str, ...] = ()
    readings: UnknownUnit | None = None
    read_at: datetime | None = None
    stop: str = ""
    stop_cleared: str = ""
    estimates: tuple[KeptEstimate, ...] = field(default=(), repr=False)
    demand: KeptDemand | None = field(default=None, repr=False)
    heat_run: KeptHeatRun | None = field(default=None, repr=False)

    @property
    def estimate(self) -> KeptEstimate | None:
        """The last estimate that was kept."""
        return self.estimates[-1] if self.estimates else None

    @property
    def doubts(self) -> str:
        """What its readings and its heat run put in doubt, joined by " | "."""
        return _joined(self.readings.doubts if self.readings else "", *(self.heat_run.doubts if self.heat_run else ()))

    @property
    def conductor(self) -> str:
        """Metal of the winding's wire: as read, else as the heat run took it; blank where nobody said."""
        said = self.readings.conductor if self.readings else None
        run = self.heat_run.given.get("conductor") if self.heat_run else None
        return str(said or run or "")


def bench_id(tag: str, contributor: str) -> str:
    """Hash of what identifies a unit on the bench, the same on every machine: that of its record, were it known."""
    return record_id(contributor, tag)


def _joined(*texts: str) -> str:
    """Sentences, each once."""
    return " | ".join(dict.fromkeys(one.strip() for text in texts for one in text.split(" | ") if one.strip()))


def _json(value: Any) -> str:
    text = "" if value is None else json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True, default=str)
    if len(text) > LIMIT:
        problem, remedy = f"takes {len(text):,} characters, and {LIMIT:,} is the most", "keep less of it"
        raise InputError.one(problem, remedy, column="unit on the bench", value="…", code="limits")
    return text


def _cells(unit: KeptUnit) -> dict[str, str]:
    """A unit as a row."""
    read = unit.readings.values() if unit.readings else {}
    there = {name: value for name, value in read.items() if value not in (None, "")}
    models = {name: getattr(unit, name) for name in ("demand", "heat_run")}
    return {
        **{name: getattr(unit, name) for name in ("tag", "contributor", "stop", "stop_cleared")},
        **{name: _json(None if one is None else one.model_dump(mode="json")) for name, one in models.items()},
        "sessions": _json(list(unit.sessions) or None),
        "readings": _json({READ_AT: unit.read_at.isoformat(), **there} if unit.read_at else None),
        "estimates": _json([one.model_dump(mode="json") for one in unit.estimates[-MOST_ESTIMATES:]] or None),
    }


Kept = TypeVar("Kept", bound=_Answer)


def _parsed(kind: type[Kept], value: Any) -> Kept:
    return kind.model_validate(value)


def unit_of(row: Mapping[str, Any]) -> KeptUnit:
    """A unit of a row of the table.

    Raises
    ------
    AlteredError
        It is not as calib keeps it.
    """
    try:
        read = {name: json.loads(row[name]) if row[name] else None for name in ("sessions", *PARTS)}
        read_at = read["readings"].pop(READ_AT) if read["readings"] else None
        return KeptUnit(
            **{name: str(row[name]) for name in ("tag", "contributor", "stop", "stop_cleared")},
            revision=int(row["revision"]),
            begun_at=row["begun_at"].replace(tzinfo=UTC),
            kept_at=row["made_at"].replace(tzinfo=UTC),
            sessions=tuple(map(str, read["sessions"] or ())),
            readings=UnknownUnit.parse(read["readings"]) if read["readings"] else None,
            read_at=datetime.fromisoformat(read_at) if read_at else None,
            estimates=tuple(_parsed(KeptEstimate, one) for one in read["estimates"] or ()),
            demand=_parsed(KeptDemand, read["demand"]) if read["demand"] else None,
            heat_run=_parsed(KeptHeatRun, read["heat_run"]) if read["heat_run"] else None,
        )
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError) as error:
        why = f" ({error.faults[0].column})" if isinstance(error, InputError) else _where(error)
        said = f"unit on the bench {row['tag']}: what was kept of it cannot be read{why}"
        raise AlteredError(f"{said}; {ENTER_AGAIN}") from None


def _readable(row: Mapping[str, Any]) -> KeptUnit:
    """What can be read of a row whatever happened to the rest: which unit it is, and its stop."""
    times = {"begun_at": row["begun_at"].replace(tzinfo=UTC), "kept_at": row["made_at"].replace(tzinfo=UTC)}
    unit = KeptUnit(str(row["tag"]), str(row["contributor"]), int(row["revision"]), **times)
    return replace(unit, stop=str(row["stop"]), stop_cleared=str(row["stop_cleared"]))


def _where(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return ""
    return f" ({'.'.join(map(str, error.errors(include_input=False, include_url=False)[0]['loc']))})"


def _rows(con: duckdb.DuckDBPyConnection, identity: str = "") -> list[dict[str, Any]]:
    """The rows of the units that are on the bench, the one kept last first; or that of one."""
    more, values = ("AND bench_id = $2", [identity]) if identity else ("", [])
    asked = f'SELECT * FROM latest_bench WHERE "action" <> $1 {more} ORDER BY made_at DESC, bench_id'
    found = con.execute(asked, [BENCH.gone, *values])
    names = [one[0] for one in found.description or ()]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def _sessions_of(con: duckdb.DuckDBPyConnection, tag: str, contributor: str) -> list[str]:
    asked = (
        "SELECT session_id FROM latest_sessions WHERE tag = $1 AND contributor = $2 AND tag <> '' ORDER BY made_at DESC"
    )
    return [name for (name,) in con.execute(asked, [tag, contributor]).fetchall()]


def standing_unit(con: duckdb.DuckDBPyConnection, tag: str, contributor: str) -> KeptUnit:
    """A unit on the bench as it stands.

    Raises
    ------
    InputError
        Nothing of that tag and contributor is on the bench.
    AlteredError
        What was kept of it cannot be read.
    """
    there, sessions = _rows(con, bench_id(tag, contributor)), _sessions_of(con, tag, contributor)
    if not there and not sessions:
        whose = f" of {contributor}" if contributor else ""
        problem, remedy = f"no such unit{whose} is on the bench", "look its tag and whose bench it is up on the bench"
        raise InputError.one(problem, remedy, column="unit", value=tag, code="not-found")
    unit = unit_of(there[0]) if there else KeptUnit(tag, contributor)
    return replace(unit, sessions=tuple(dict.fromkeys((*sessions, *unit.sessions))))


def standing_units(con: duckdb.DuckDBPyConnection) -> tuple[tuple[KeptUnit, str], ...]:
    """The units of which something was kept, the last first, each with what is wrong with it; blank if sound."""
    found = []
    for row in _rows(con):
        try:
            found.append((unit_of(row), ""))
        except AlteredError as error:
            found.append((_readable(row), str(error)))
    return tuple(found)


def bench_faults(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """What is wrong with the units on the bench as they stand in a register."""
    return (fault.partition(f"; {ENTER_AGAIN}")[0] for _, fault in standing_units(con) if fault)


def _with(unit: KeptUnit, entry: BenchEntry) -> KeptUnit:
    """A unit with what is new: a stop stays until it is cleared, and estimates are added to."""
    changed: dict[str, Any] = {}
    if entry.session_id and entry.session_id not in unit.sessions:
        changed["sessions"] = (*unit.sessions, entry.session_id)
    if (read := entry.readings) is not None:
        own = {"unit": unit.tag, "contributor": unit.contributor}
        new_readings = UnknownUnit.parse({**read.entered(), **own}, where="the readings")
        if new_readings != unit.readings:
            changed |= {"readings": new_readings, "read_at": datetime.now(UTC)}
        changed |= _stops(unit, read)
    if (made := entry.estimate) is not None and not (unit.estimate and made.same(unit.estimate)):
        changed["estimates"] = (*unit.estimates, made)
    for name in ("demand", "heat_run"):
        new, old = getattr(entry, name), getattr(unit, name)
        if new is not None and (old is None or new.model_copy(update={"made_at": old.made_at}) != old):
            changed[name] = new
    return replace(unit, **changed)


def _stops(unit: KeptUnit, read: UnknownUnit) -> dict[str, str]:
    """The stops of a unit with those of new readings: each is cleared, or none of them counts as cleared."""
    here, new = _joined(unit.stop), _joined(read.stop)
    still = [one for one in here.split(" | ") if one and one not in new.split(" | ")]
    cleared = (not still or unit.stop_cleared) and (not new or read.stop_cleared)
    why = _joined(unit.stop_cleared if still else "", read.stop_cleared) if cleared else ""
    return {"stop": _joined(*still, new), "stop_cleared": why}


def keep_unit(
    con: duckdb.DuckDBPyConnection, identity: tuple[str, str], entry: BenchEntry, by: str, reason: str
) -> KeptUnit:
    """Keep what is new of a unit inside the caller's transaction; the same again writes nothing."""
    tag, contributor = identity
    if entry.readings is not None and entry.readings.simulated and not kind_of(con):
        problem, remedy = (
            "the readings are simulated, and the register is one of real ones",
            "keep them in the practice one",
        )
        raise InputError.one(problem, remedy, column="simulated", value="true", code="kind")
    there = _rows(con, bench_id(tag, contributor))
    try:
        unit = _with(unit_of(there[0]) if there else KeptUnit(tag, contributor), entry)
    except AlteredError:  # the history holds what was there; a stop is text, and stays
        unit = _with(_readable(there[0]), entry)
    new = [said for name, said in SAID.items() if getattr(entry, name)]
    _append(con, unit, "keep", by, reason or f"kept: {', '.join(new)}")
    return standing_unit(con, tag, contributor)


def _append(con: duckdb.DuckDBPyConnection, unit: KeptUnit, action: str, by: str, reason: str) -> None:
    import pandas as pd

    row = {"bench_id": bench_id(unit.tag, unit.contributor), **_cells(unit)}
    BENCH.keep(con, pd.DataFrame([row]), action, by, reason)


def clear_stop(con: duckdb.DuckDBPyConnection, identity: tuple[str, str], by: str, reason: str) -> None:
    """Note inside the caller's transaction why the stops of a unit no longer stand.

    Raises
    ------
    InputError
        There is no reason, no such unit, or no stop.
    """
    there = _rows(con, bench_id(*identity))
    unit = unit_of(there[0]) if there else standing_unit(con, *identity)
    if not reason:
        problem, remedy = "is needed to clear a stop", "say what was found and done about it"
        raise InputError.one(problem, remedy, column="reason", code="missing")
    if not unit.stop:
        problem, remedy = "has no stop that was kept here", "a stop of its session is cleared in the session"
        raise InputError.one(problem, remedy, column="unit", value=unit.tag, code="conflict")
    _append(con, replace(unit, stop_cleared=reason), "clear", by, reason)


def undo(con: duckdb.DuckDBPyConnection, identity: tuple[str, str], revision: int, by: str, reason: str) -> None:
    """Append what takes the last revision of a unit back: it is as before that, or off the bench if it was not there.

    Raises
    ------
    InputError
        Nothing was ever kept of it, or another revision came after.
    """
    asked = "SELECT * FROM bench_revisions WHERE bench_id = $1 ORDER BY revision"
    rows = con.execute(asked, [bench_id(*identity)]).df()
    last = 0 if rows.empty else int(rows["revision"].iloc[-1])
    if last != revision or not last:
        problem = f"its last revision is {last}" if last else "nothing was kept of it"
        remedy = "look at its history, and begin again from what stands now"
        raise InputError.one(problem, remedy, column="revision", value=revision, code="conflict")
    before, reason = rows.iloc[-2:-1], reason or f"revision {revision} undone"
    there = len(before) and before["action"].iloc[0] != BENCH.gone
    action, put = (PUT_BACK, before) if there else (BENCH.gone, rows.tail(1))
    BENCH.append(con, put.assign(was=revision), action, by, reason)


def drop(con: duckdb.DuckDBPyConnection, identity: tuple[str, str], by: str, reason: str) -> None:
    """Take what was kept of a unit off the bench inside the caller's transaction; its revisions stay."""
    found = BENCH.last(con, bench_id(*identity))
    if found.empty:
        standing_unit(con, *identity)
        problem, remedy = "nothing but its session is on the bench", "finish the session"
        raise InputError.one(problem, remedy, column="unit", value=identity[0], code="conflict")
    BENCH.append(con, found, BENCH.gone, by, reason)


class OnTheBench(NamedTuple):
    """All that is on a register's bench as of one moment, each with what is wrong with it; blank for what is sound."""

    units: tuple[tuple[KeptUnit, str], ...]
    sessions: tuple[tuple[BenchSession, str], ...]
    meters: pd.DataFrame


class UnitStore:
    """Units on the bench in a register's file; every change is a later revision, and nothing is ever taken out."""

    path: Path | Lakehouse
    _wait: float

    def keep_on_bench(
        self, tag: str, entry: BenchEntry, *, contributor: str = "", by: str = "", reason: str = ""
    ) -> KeptUnit:
        """Keep readings and answers of a unit on the bench, beside what was kept of it before.

        Parameters
        ----------
        tag : str
            What is written on the unit.
        entry : BenchEntry
            What is new. An estimate joins the earlier ones; a demand and a heat run take the place of the last, which
            stays in the history. A stop of earlier readings stays until it is cleared.
        contributor : str
            Whose bench; may be blank.
        by, reason : str
            Who keeps it and why; where no reason is given, what is kept.

        Returns
        -------
        KeptUnit
            As it stands now; the same again writes nothing.

        Raises
        ------
        InputError
            The tag is blank or none, what is to be kept is too long, or it is simulated and the register is not.
        RegisterError
            The file cannot be worked on.
        """
        identity, by, reason = _identity(tag, contributor), line("by", by), line("reason", reason)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return keep_unit(con, identity, entry, by, reason)

    def bench_unit(self, tag: str, contributor: str = "") -> KeptUnit:
        """A unit on the bench as it stands, one of which there is but a session too.

        Raises
        ------
        InputError
            Nothing of that tag and contributor is on the bench.
        RegisterError
            The file cannot be read, or what was kept of the unit cannot.
        """
        with opened(self.path, self._wait) as con:
            return standing_unit(con, *_identity(tag, contributor))

    def bench_units(self) -> tuple[tuple[KeptUnit, str], ...]:
        """The units of which something was kept, the last first, each with what is wrong with it; blank if sound.

        Raises
        ------
        RegisterError
            The file cannot be read.
        """
        with opened(self.path, self._wait) as con:
            return standing_units(con)

    def on_bench(self) -> OnTheBench:
        """Units, sessions and meters as of one moment, those kept last first.

        Raises
        ------
        RegisterError
            The file cannot be read, or a meter cannot.
        """
        with opened(self.path, self._wait) as con, transaction(con):
            return OnTheBench(standing_units(con), standing_sessions(con), standing_meters(con))

    def clear_stop(self, tag: str, contributor: str = "", *, reason: str, by: str = "") -> None:
        """Note what was found and done about a unit's stops, so that it may be fed again; both stay and are shown.

        Raises
        ------
        InputError
            No reason is given, or there is no such unit or no stop.
        RegisterError
            The file cannot be worked on.
        """
        identity, by, reason = _identity(tag, contributor), line("by", by), line("reason", reason)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            clear_stop(con, identity, by, reason)

    def undo_on_bench(self, tag: str, contributor: str = "", *, revision: int, by: str = "", reason: str = "") -> None:
        """Take the last revision of a unit on the bench back by a further one: it is as it was before.

        Parameters
        ----------
        tag, contributor : str
            The unit.
        revision : int
            The number of that revision: where another came after it, nothing is done.
        by, reason : str
            Who and why; where no reason is given, that the revision is undone.

        Raises
        ------
        InputError
            Nothing was kept of the unit, or it was revised since.
        RegisterError
            The file cannot be worked on.
        """
        identity, by, reason = _identity(tag, contributor), line("by", by), line("reason", reason)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            undo(con, identity, revision, by, reason)

    def take_off_bench(self, tag: str, contributor: str = "", *, by: str = "", reason: str = "") -> None:
        """Take what was kept of a unit off the bench; its revisions stay, and an undo brings it back.

        Raises
        ------
        InputError
            There is no such unit, or a session is all that there is.
        RegisterError
            The file cannot be worked on.
        """
        identity, by, reason = _identity(tag, contributor), line("by", by), line("reason", reason)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            drop(con, identity, by, reason)

    def bench_history(self, tag: str, contributor: str = "") -> pd.DataFrame:
        """The revisions of one unit on the bench, the oldest first: action, by, reason, made_at (UTC), then all."""
        with opened(self.path, self._wait) as con:
            found = BENCH.history(con, "revision", bench_id(*_identity(tag, contributor)))
        blank = {name: found[name].astype(object).where(found[name].notna(), "") for name in ("by", "reason")}
        return found.assign(**blank)


def _identity(tag: str, contributor: str) -> tuple[str, str]:
    """Tag and contributor as they are kept."""
    tag = line("tag", tag)
    if not tag:
        problem, remedy = "is needed to keep a unit on the bench", "give the unit a tag, such as the one tied to it"
        raise InputError.one(problem, remedy, column="tag", code="missing")
    return tag, line("contributor", contributor)
