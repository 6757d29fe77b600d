"""Make a register, bring its tables up to date, open one that is there, copy one."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, nullcontext, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from platformdirs import user_data_path

from calib.errors import RegisterError, visible
from calib.register.gate import (
    LOGS,
    NEW_FILE,
    Hold,
    attach,
    confine,
    engine,
    explained,
    gate_of,
    hold,
    in_the_way,
    interruptible,
    is_idle,
    keep_idle,
    make_gate,
    read_table,
    read_through,
    rows,
    share,
    tables,
    transaction,
    turn,
)
from calib.register.lakehouse import Lakehouse, refuse_stranger
from calib.register.revisions import bring, write_as
from calib.register.trouble import DAMAGED, READ_ONLY, WAIT_S, AlteredError, busy, patience, say

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

ENDS = ("", *LOGS)  # a register's file, and the database's own files beside it
_LEFT_OVER = re.compile(r"\.[0-9a-f]{12}\.calib\.new(\.wal.*)?")
# The state in which a file was last looked through for what is none of calib's, or written by calib: looking takes the
# database as long as all else of an opening, so an unchanged file is looked through once.
_OURS: dict[Path | Lakehouse, tuple[int, ...] | None] = {}
SET_UP_AGAIN = "run calib set-up once more, which goes on where it stopped"
_IN_LAKEHOUSE = "SELECT 1 FROM duckdb_databases() WHERE database_name = current_database() AND type = 'ducklake'"
NOT_OURS = "somebody altered the file: use a backup of it, or ask whoever gave it to you for an export"


def data_folder() -> Path:
    """The user's own folder for the data of this program; it need not be there."""
    return user_data_path("calib", appauthor=False)


def make(path: Path, simulated: bool, first: pd.DataFrame | None = None, wait: float = WAIT_S) -> None:
    """Make a register where there is none; one that is there by then is left as it is.

    It is made beside its place and moved there when it is whole, so that nobody ever sees half of one.

    Parameters
    ----------
    path : Path
        Where it is to be; its folder is there, or is the user's data folder.
    simulated : bool
        Whether it is for records made up for practice.
    first : pandas.DataFrame or None
        Records that it holds from the start, as `read_known` gives them.
    wait : float
        How long to wait for others [s].

    Raises
    ------
    RegisterError
        It cannot be made there.
    """
    if path.parent == Path(os.path.realpath(data_folder())):
        with suppress(OSError):  # where it cannot be made, the next lines say so
            path.parent.mkdir(parents=True, exist_ok=True)
    if not path.parent.is_dir():
        raise RegisterError(f"{path}: there is no folder {path.parent}; make it first, or name another place")
    if not path.exists() and not os.access(path.parent, os.W_OK):
        raise RegisterError(f"{path.parent}: {READ_ONLY}")
    with patience(wait) as left, ExitStack() as held:
        with left.waiting() as until:
            ours = held.enter_context(turn(path, left, until))
        if not ours:
            raise busy(path, "another program, which makes it,", left.whole)
        try:
            if not path.exists():
                _make(path, simulated, first)
        finally:
            if (
                not path.exists()
            ):  # no gate beside nothing: whoever waits for it sees that it is gone, and makes his own
                with suppress(OSError):
                    gate_of(path).unlink()


@contextmanager
def opened(
    path: Path | Lakehouse, wait: float = WAIT_S, *, write: bool = False, also: Path | None = None, of: str = ""
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Hold a register for one piece of work, its tables up to date; `also` is a file that the work writes too.

    A lakehouse's writers go on beside one another where each says which record its work is `of`.

    A register that an older calib wrote is brought up to date where it is to be written, once a copy of it stands
    beside it; to be read, its content is brought up to date in memory, and the file stays as it is. What was written
    is read back from the file before the block is left.

    Raises
    ------
    RegisterError
        As `session` does; where the file is a database but no register, or one of a newer calib; where it is to be
        written and cannot be, or cannot be read back.
    """
    if isinstance(path, Lakehouse):
        with _opened_lakehouse(path, wait, write, also, of) as con:
            yield con
        return
    barred = in_the_way(path) if write and path.exists() else None
    if barred:
        raise RegisterError(f"{barred}: {READ_ONLY}")
    with hold(path, wait, in_turn=write) as held, aside(path) as copy:
        current = path.exists() and _state_of(path) in ({_OURS.get(path)} - {None})
        with held.open(also=also or (copy if write and not current else None)) as con:
            if schema_of(con, path) < len(steps()):
                bring_up_to_date(con, path, copy if write else None)
            if in_the_way(path) is None:
                make_gate(path)
            before = rows(con) if write else {}
            yield con
            after = rows(con) if write else {}
        if after != before:
            _read_back(held, before, after)


@contextmanager
def _opened_lakehouse(
    place: Lakehouse, wait: float, write: bool, also: Path | None, of: str
) -> Iterator[duckdb.DuckDBPyConnection]:
    with ExitStack() as held:
        who = held.enter_context(place.turn(wait, of)) if write else None
        con = held.enter_context(place.opened(also=also))
        if schema_of(con, place) < len(steps()):
            with nullcontext() if write and not of else place.turn(wait):
                migrate(con, steps())
        if place.by:
            refuse_stranger(con, place.by)
        if who:
            write_as(con, *who)
        yield con


def schema_of(con: duckdb.DuckDBPyConnection, path: Path | Lakehouse) -> int:
    """The number of the last step of the schema that an open register has had.

    Raises
    ------
    RegisterError
        It is no register, or one of a newer calib.
    """
    state = _state_of(path)
    looked_through = state is not None and state == _OURS.get(path)
    if not looked_through and not {"about", "revisions", "schema_steps"} <= tables(con):
        raise RegisterError(f"{path}: it is a database but no register; name a register")
    done = _last_step(con)
    if done > len(steps()):
        raise RegisterError(f"{path}: a newer version of calib wrote it (schema {done}); bring calib up to date")
    if not looked_through and (strange := stranger(con, steps()[:done])):
        raise RegisterError(f"{path}: it {visible(strange, 100)}; {NOT_OURS}")
    _OURS[path] = state if done == len(steps()) else None
    return done


def _state_of(path: Path | Lakehouse) -> tuple[int, ...] | None:
    """What another change of a file changes too; None where a log beside it is still to be taken in."""
    if isinstance(path, Lakehouse):  # others write it all the time: it is looked through once
        return (0,)
    if any(os.path.lexists(f"{path}{end}") for end in LOGS):
        return None
    told = path.stat()
    return told.st_dev, told.st_ino, told.st_size, told.st_mtime_ns, told.st_ctime_ns


def kind_of(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether an open register is one of simulated records.

    Raises
    ------
    AlteredError
        It does not say so, once.
    """
    found = con.execute("SELECT simulated FROM about").fetchall()
    if not found and con.execute(_IN_LAKEHOUSE).fetchone():
        raise AlteredError(f"its set-up did not come to its end, or somebody altered it; {SET_UP_AGAIN}")
    if len(found) != 1:
        raise AlteredError(f"it does not say, once, whether its records are simulated; {NOT_OURS}")
    return bool(found[0][0])


def copy_to(con: duckdb.DuckDBPyConnection, new: Path, path: Path) -> None:
    """Copy the open register to a new file that the connection may write, read that through, move it to its place.

    Raises
    ------
    RegisterError
        The copy cannot be written, or is not the same.
    """
    with explained(path):
        duplicate(con, new, path)
        put(new, path)


def duplicate(con: duckdb.DuckDBPyConnection, new: Path, path: Path) -> None:
    """Copy the open register to a new file that the connection may write, and is to be at `path`; read it through.

    Raises
    ------
    RegisterError
        The copy cannot be written, or is not the same.
    """
    with explained(path):
        attach(con, new, "duplicate", NEW_FILE)
        _keep_as_close(con, new)
        copy_content(con, "duplicate")
        con.execute("CHECKPOINT duplicate")
        con.execute("DETACH duplicate")
        attach(con, new, "duplicate", "READ_ONLY")
        same = _contents(con, "duplicate") == _contents(con, "register")
        con.execute("DETACH duplicate")
    if not same:
        raise RegisterError(f"{path}: the copy is not the same as the register; try again, on another disk")


def copy_content(con: duckdb.DuckDBPyConnection, database: str) -> None:
    """Make the tables of the open register, as old as they are, in another database, which is empty, and fill them."""
    (current,) = con.execute("SELECT current_database()").fetchone() or ("register",)
    con.execute("USE register")
    done = applied(con)
    con.execute(f"USE {database}")
    migrate(con, steps()[:done])
    con.execute("DELETE FROM schema_steps")
    for name in sorted(tables(con)):
        con.execute(f"INSERT INTO {name} BY NAME SELECT * FROM register.{name}")
    con.execute(f"USE {current}")


def _keep_as_close(con: duckdb.DuckDBPyConnection, new: Path) -> None:
    """Let nobody read a new file who may not read the open register."""
    (source,) = con.execute("SELECT path FROM duckdb_databases() WHERE database_name = 'register'").fetchone() or ("",)
    with suppress(OSError):  # some drives know no permissions
        new.chmod(stat.S_IMODE(new.stat().st_mode) & (stat.S_IMODE(os.stat(source).st_mode) | 0o600))


def beside(path: Path, what: str) -> Path:
    """A name for another state of a register, in its folder and with today's date, that no file has yet, nor a log."""
    names = (f"{path.stem}.{what}.{date.today()}{f'-{number}' if number else ''}{path.suffix}" for number in count())
    free = (place for place in map(path.with_name, names) if not any(os.path.lexists(f"{place}{end}") for end in ENDS))
    return next(free)


def bring_up_to_date(con: duckdb.DuckDBPyConnection, path: Path, new: Path | None = None) -> None:
    """Apply the steps that an open register lacks: to its file, once it was copied, or to its content in memory."""
    if new is not None:
        copy = beside(path, f"schema-{applied(con)}")
        copy_to(con, new, copy)
        migrate(con, steps())
        say(f"{path}: it was made by an older calib and is brought up to date; it stays as it was in {copy.name}")
    else:
        copy_content(con, "memory")
        con.execute("USE memory")
        migrate(con, steps())


def _read_back(held: Hold, before: Mapping[str, int], after: Mapping[str, int]) -> None:
    """Open a register anew and read it through, so that what is acknowledged is in its file, and can be read."""
    tail = "what was entered just now could not be read back, so enter it again after that"
    try:
        with held.open() as con:
            found = read_through(con, before)
            _OURS[held.path] = _state_of(held.path)
    except RegisterError as error:
        raise RegisterError(f"{error}; {tail}") from error
    if any(found.get(name, 0) < count for name, count in after.items()):
        raise RegisterError(f"{held.path}: {DAMAGED}; {tail}")


def _contents(con: duckdb.DuckDBPyConnection, database: str) -> list[tuple[str, int, int]]:
    """Each table's name, rows, and a number made of all its cells."""
    con.execute(f"USE {database}")
    found = [(name, *read_table(con, name)) for name in sorted(tables(con))]
    con.execute("USE register")
    return found


def _make(path: Path, simulated: bool, first: pd.DataFrame | None) -> None:
    with explained(path), aside(path) as new:
        con = _fill(new, simulated, first)
        put(new, path)
    if con is not None:
        confine(con, path)
        keep_idle(con, path)
    _OURS[path] = _state_of(path)  # only now: a name that is taken from a file alters its state


def put(new: Path, path: Path) -> None:
    """Give a file that is whole its name, which nothing had meanwhile, nor a log that would be taken for its own."""
    for log in (Path(f"{path}{end}") for end in LOGS):
        if log.exists():
            raise RegisterError(f"{log}: it is left over from a register that is gone; move it elsewhere")
    share(new)
    try:
        _rename(new, path)
    except FileExistsError:
        raise RegisterError(f"{path}: a file of that name has come to be there; name another") from None
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)  # the name as well is on the disk
        finally:
            os.close(folder)


def _rename(new: Path, path: Path) -> None:
    """Give a file a name, which it has alone: nothing that has it meanwhile is overwritten."""
    try:
        os.link(new, path)
    except FileExistsError:
        raise
    except OSError:  # a place that knows no links: there the name is taken first
        path.open("x").close()
        try:
            os.replace(new, path)
        except BaseException:
            path.unlink()
            raise


def _fill(new: Path, simulated: bool, first: pd.DataFrame | None) -> duckdb.DuckDBPyConnection | None:
    """Write a whole register to a new file; its connection, which has let go of it, where it can be used again."""
    with interruptible(), ExitStack() as held:
        con = held.enter_context(closing(engine()))
        attach(con, new, "register", NEW_FILE)
        con.execute("USE register")
        with transaction(con):  # one, since of a file that is not whole nothing stays
            make_tables(con)
            note_kind(con, simulated)
            if first is not None:
                bring(con, first, "", "")
        con.execute("CHECKPOINT register")
        if not is_idle(con):
            return None
        held.pop_all()
        return con


def make_tables(con: duckdb.DuckDBPyConnection) -> None:
    """Make the tables of a register in an empty database, inside the caller's transaction."""
    for step in steps():
        _apply(con, step)


def note_kind(con: duckdb.DuckDBPyConnection, simulated: bool) -> None:
    """Let tables be a register: say whether its records are simulated."""
    con.execute("INSERT INTO about VALUES (?, ?)", [simulated, datetime.now(UTC).replace(tzinfo=None)])


def left_over(folder: Path) -> list[Path]:
    """Files in a folder that are not whole and have no name yet; whoever made them is at it, or was killed."""
    return sorted(each for each in folder.glob(".*.calib.new*") if _LEFT_OVER.fullmatch(each.name))


@contextmanager
def aside(path: Path) -> Iterator[Path]:
    """A name beside a path, of which nothing is left afterwards, unless the program is killed: `left_over` finds it."""
    new = path.with_name(f".{uuid4().hex[:12]}.calib.new")
    try:
        yield new
    finally:
        for leftover in (new, *(Path(f"{new}{end}") for end in LOGS)):
            with suppress(OSError):
                leftover.unlink(missing_ok=True)


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
    return _last_step(con) if "schema_steps" in tables(con) else 0


def _last_step(con: duckdb.DuckDBPyConnection) -> int:
    last = con.execute("SELECT max(step) FROM schema_steps").fetchone()
    return int(last[0] or 0) if last else 0


_OBJECTS = """
SELECT 'the view ' || view_name, sql FROM duckdb_views() WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the table ' || table_name, sql FROM duckdb_tables() WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the sequence ' || sequence_name, '' FROM duckdb_sequences() WHERE database_name = current_database()
UNION ALL
SELECT 'the type ' || type_name, '' FROM duckdb_types() WHERE database_name = current_database() AND NOT internal
UNION ALL
SELECT 'the index ' || index_name, '' FROM duckdb_indexes() WHERE database_name = current_database()
"""
_MACROS = """
UNION ALL
SELECT 'the macro ' || function_name, '' FROM duckdb_functions()
WHERE database_name = current_database() AND NOT internal
"""  # for itself, since all of the engine's own functions are gone through for it


def objects(con: duckdb.DuckDBPyConnection, macros: bool = True) -> set[tuple[str, str]]:
    """Everything that the open database has in its catalogue, with the SQL that makes it; nothing of it is run."""
    found = con.execute(_OBJECTS + _MACROS * macros).fetchall()
    return {(name, sql.replace(" DEFAULT(NULL)", "")) for name, sql in found}


_OWN: dict[tuple[Step, ...], frozenset[tuple[str, str]]] = {}


def _own(con: duckdb.DuckDBPyConnection, done: tuple[Step, ...]) -> frozenset[tuple[str, str]]:
    """What a database has that had these steps: they are tried in the connection's memory, of which nothing stays."""
    if done not in _OWN:
        con.execute("USE memory")
        con.execute("BEGIN")
        try:
            for step in done:
                _apply(con, step)
            _OWN[done] = frozenset(objects(con, macros=any("MACRO" in step.sql for step in done)))
        finally:
            con.execute("ROLLBACK")
            con.execute("USE register")
    return _OWN[done]


def stranger(con: duckdb.DuckDBPyConnection, done: tuple[Step, ...]) -> str:
    """Say what the open database has that these steps did not make, or lacks, or has otherwise; "" for nothing.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        Connection whose current database, named `register`, is one.
    done : tuple of Step
        The steps that it has had.
    """
    there, own = objects(con), _own(con, done)
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
            _apply(con, step)
    return len(new)


def _apply(con: duckdb.DuckDBPyConnection, step: Step) -> None:
    con.execute("CREATE TABLE IF NOT EXISTS schema_steps (step INTEGER, name VARCHAR, applied_at TIMESTAMP)")
    con.execute(step.sql)
    note = [step.number, step.name, datetime.now(UTC).replace(tzinfo=None)]
    con.execute("INSERT INTO schema_steps VALUES (?, ?, ?)", note)
