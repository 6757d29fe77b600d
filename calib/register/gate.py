"""Hold the register's file for the moment of one piece of work, and queue fairly for it."""

from __future__ import annotations

import os
import random
import shutil
import stat
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from filelock import FileLock, Timeout

from calib.errors import RegisterError
from calib.register.trouble import (
    WAIT_S,
    AlteredError,
    Patience,
    busy,
    check_name,
    holder,
    is_held,
    log_beside,
    patience,
    told,
    told_of_log,
)

if TYPE_CHECKING:
    import duckdb

TELL_S = 0.4  # a wait that is longer is told
NEW_FILE = "STORAGE_VERSION 'v1.4.0'"  # option for a new file, so that DuckDB 1.4 and later can read it
LOGS = (".wal", ".wal.checkpoint", ".wal.recovery")  # ends of the names of the database's own files beside a register
LARGE = 100_000  # rows of a table from which on only what was written is read again after writing
HEAVY = ("attached_files",)  # tables of which that holds however many rows they have
# One piece of work at a time on a file within this process; between processes the gate file and the database's lock.
_TURNS: defaultdict[Path, threading.Lock] = defaultdict(threading.Lock)
_TURNS_GUARD = threading.Lock()
# A new connection takes ten times what the opening of a file takes, so one that let go of a register is kept for the
# next piece of work on it, by process and path.
_IDLE: dict[tuple[int, Path], duckdb.DuckDBPyConnection] = {}
MOST_IDLE = 2


def engine(**options: str) -> duckdb.DuckDBPyConnection:
    """A connection with nothing attached, which never fetches an extension."""
    import duckdb

    offline = {"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}
    con = duckdb.connect(config={**options, **offline})
    con.execute("SET enable_progress_bar_print = false")  # what takes long would else print among a command's results
    return con


def attach(con: duckdb.DuckDBPyConnection, path: Path, name: str, *options: str) -> None:
    """Open a database file under a name; a file of another kind is refused, whatever its name ends in."""
    quoted = str(path).replace("'", "''")
    con.execute(f"ATTACH '{quoted}' AS {name} ({', '.join(('TYPE duckdb', *options))})")


class Hold:
    """A register's file for one piece of work: nothing else in this program opens it meanwhile.

    Parameters
    ----------
    path : Path
        The register's file, links resolved.
    left : Patience
        How long it may wait.
    in_turn : bool
        Whether the gate is held as well, so that nobody gets in between two openings.
    """

    def __init__(self, path: Path, left: Patience, in_turn: bool) -> None:
        self.path, self._left, self._in_turn = path, left, in_turn

    @contextmanager
    def open(self, *, also: Path | None = None, read_only: bool = False) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection whose current database, named `register`, the file is, and which reaches no other but `also`.

        Raises
        ------
        KeyboardInterrupt
            Also where the database was interrupted, which says so in a way of its own.
        RegisterError
            As `session` does.
        """
        kept = None if also else _IDLE.pop((os.getpid(), self.path), None)
        with explained(self.path), ExitStack() as held:
            con = held.enter_context(closing(kept or engine()))
            with self._left.waiting() as until:
                self._open_in_turn(con, until, read_only or in_the_way(self.path) is not None)
            log = _tell_of_log(self.path, self._left)
            if not kept:
                confine(con, self.path, *([also] if also else []))
            yield con
            if not (also or log) and is_idle(con):
                held.pop_all()
                keep_idle(con, self.path)

    def _open_in_turn(self, con: duckdb.DuckDBPyConnection, until: float, read_only: bool) -> None:
        # Where there is no gate yet it is not known whether this is a register, beside which one may be made.
        if self._in_turn or read_only or not os.path.lexists(gate_of(self.path)):
            self._open(con, until, read_only)
        else:
            with turn(self.path, self._left, until):  # else out of turn: it opens, or it says who holds the file
                self._open(con, until, read_only)

    def _open(self, con: duckdb.DuckDBPyConnection, until: float, read_only: bool) -> None:
        import duckdb

        begun = time.monotonic()
        while True:
            check_there(self.path)
            try:
                attach(con, self.path, "register", *(["READ_ONLY"] if read_only else []))
            except (duckdb.Error, OSError) as error:
                if not is_held(error):
                    raise told_of_log(self.path, error, alone) or told(self.path, error) from error
                now = time.monotonic()
                if now > until:
                    raise busy(self.path, holder(error), self._left.whole) from error
                if now > begun + TELL_S:
                    self._left.say_for_whom(self.path, holder(error))
                time.sleep(0.002 + 0.02 * random.random())
            else:
                con.execute("USE register")
                return


@contextmanager
def hold(path: Path, wait: float = WAIT_S, *, in_turn: bool = False) -> Iterator[Hold]:
    """Hold a register's file for one piece of work, which may open it more than once.

    Parameters
    ----------
    path : Path
        The register's file, links resolved.
    wait : float
        How long to wait for others, in all [s].
    in_turn : bool
        Whether to keep the gate for as long as the block lasts.

    Raises
    ------
    RegisterError
        It stayed busy.
    """
    with patience(wait) as left, ExitStack() as held:
        with left.waiting() as until:
            held.enter_context(_alone_in_here(path, left, until))
            if in_turn and os.path.lexists(gate_of(path)):
                held.enter_context(turn(path, left, until))
        yield Hold(path, left, in_turn)


def keep_idle(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Keep an idle connection for the next piece of work on a register, in the place of the one idle longest."""
    _IDLE[os.getpid(), path] = con
    for mine in [each for each in [*_IDLE] if each[0] == os.getpid()][:-MOST_IDLE]:
        if (unused := _IDLE.pop(mine, None)) is not None:
            unused.close()


def is_idle(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether a connection has let go of its register and has nothing of it left, so that it can open it again."""
    import duckdb

    try:
        con.execute("USE memory")
        con.execute("DETACH register")
        return not tables(con)
    except duckdb.Error:
        return False


def confine(con: duckdb.DuckDBPyConnection, *files: Path) -> None:
    """Let a connection reach no file but those it has open, and these; nothing that it runs can change that.

    What a register holds may come from anybody: a view in it could else read any file of whoever opens it.
    """
    con.execute("SET allowed_paths = ?", [[f"{each}{end}" for each in files for end in ("", *LOGS)]])
    con.execute("SET enable_external_access = false")
    con.execute("SET lock_configuration = true")


@contextmanager
def interruptible() -> Iterator[None]:
    """Let what the engine says of an interruption by the keyboard be one."""
    try:
        yield
    except RuntimeError as error:
        if str(error) == "Query interrupted":
            raise KeyboardInterrupt from None
        raise


@contextmanager
def session(path: Path, wait: float = WAIT_S) -> Iterator[duckdb.DuckDBPyConnection]:
    """Hold a register's file: a connection whose current database, named `register`, it is, and which reads no other.

    Parameters
    ----------
    path : Path
        The register's file, links resolved.
    wait : float
        How long to wait for others [s].

    Raises
    ------
    RegisterError
        The file is missing, busy, damaged, no database, written by a newer version, or the disk is full.
    """
    with hold(path, wait) as held, held.open() as con:
        yield con


@contextmanager
def turn(path: Path, left: Patience, until: float) -> Iterator[bool]:
    """Wait for the gate file beside the register; whoever has it is the next to open the register.

    Gives whether the gate was had by the moment `until`.

    Raises
    ------
    RegisterError
        Its folder cannot be written, or what has its name is no plain file.
    """
    place = gate_of(path)
    if place.is_symlink() or (place.exists() and not place.is_file()):  # who planted a link could empty another file
        what = "a link" if place.is_symlink() else "no file"
        raise RegisterError(f"{place}: it is {what}, and the gate of a register is a plain file; take it away")
    new, shared = not place.exists(), is_shared(path.parent)
    gate = FileLock(str(place), mode=0o664) if shared else FileLock(str(place))
    try:
        got = _had(gate, min(TELL_S, max(until - time.monotonic(), 0.0)))
        if not got and time.monotonic() < until:
            left.say_for_whom(path, _holder_of(path))
            got = _had(gate, max(until - time.monotonic(), 0.0))
    except OSError as error:
        raise told(path, error) from None
    try:
        if got and new:
            share(place)
        yield got
    finally:
        if got:
            gate.release()


def gate_of(path: Path) -> Path:
    """The gate file of a register."""
    return Path(f"{path}.gate")


def make_gate(path: Path) -> None:
    """Put a gate beside what has turned out to be a register; where it cannot be made the register is read without."""
    place = gate_of(path)
    if not place.exists():
        with suppress(OSError):
            place.open("x").close()  # which follows no link
            share(place)


@contextmanager
def explained(path: object) -> Iterator[None]:
    """Turn what the database raises into an error that says what is the matter with a register's file.

    A mistake in what it was asked is passed on as it is. That it was interrupted it says in a way of its own.

    Raises
    ------
    KeyboardInterrupt
        It was interrupted.
    RegisterError
        It cannot work on the file.
    """
    import duckdb

    try:
        with interruptible():
            yield
    except duckdb.ProgrammingError:
        raise
    except (duckdb.Error, OSError, MemoryError, AlteredError) as error:
        raise told(path, error) from error


@contextmanager
def transaction(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """All of what is done inside, or none of it."""
    import duckdb

    con.execute("BEGIN")
    try:
        yield
    except BaseException:
        with suppress(duckdb.Error):  # the first error is the one to tell
            con.execute("ROLLBACK")
        raise
    con.execute("COMMIT")


def check_there(path: Path) -> None:
    """Refuse a register that is not there, is empty, or is no file.

    Raises
    ------
    RegisterError
        With the reason; nothing was opened.
    """
    check_name(path)
    if not path.exists():
        raise RegisterError(f"{path}: there is no such register; name one that is there, or add a unit to make it")
    if path.stat().st_size == 0:
        raise RegisterError(f"{path}: it is empty and no register; name a register, or restore it from a backup")


def in_the_way(path: Path) -> Path | None:
    """The file or folder for which a register can only be read, without a gate then; None where it can be written."""
    beside = (gate_of(path), Path(f"{path}.wal"))
    needed = (path, path.parent, *(each for each in beside if each.exists()))
    return next((each for each in needed if not os.access(each, os.W_OK)), None)


def is_shared(folder: Path) -> bool:
    """Whether a folder is a group's: what is made in it belongs to the group, whose members may all write there."""
    mode = folder.stat().st_mode
    return os.name == "posix" and bool(mode & stat.S_ISGID and mode & stat.S_IWGRP)


def share(path: Path) -> None:
    """Give a new file the group of its folder, and that group the right to write it, where the folder is a group's."""
    if is_shared(path.parent):
        with suppress(OSError):
            os.chown(path, -1, path.parent.stat().st_gid)
            path.chmod(stat.S_IMODE(path.stat().st_mode) | stat.S_IRGRP | stat.S_IWGRP)


def tables(con: duckdb.DuckDBPyConnection) -> set[str]:
    """Names of the tables of the open database."""
    found = con.execute("SELECT table_name FROM duckdb_tables() WHERE database_name = current_database()").fetchall()
    return {name for (name,) in found}


def rows(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How many rows each table of the open database has."""
    each = [f"SELECT '{name}', count(*) FROM \"{name}\"" for name in sorted(tables(con))]
    return dict(con.execute(" UNION ALL ".join(each)).fetchall())  # as one row they would be a join of all tables


def read_through(con: duckdb.DuckDBPyConnection, since: Mapping[str, int] | None = None) -> dict[str, int]:
    """Read every block of the tables of the open database, and count their rows.

    Parameters
    ----------
    con : duckdb.DuckDBPyConnection
        The connection.
    since : mapping of str to int, optional
        Rows that each table had before: a large table is read from there on only.

    Raises
    ------
    duckdb.Error
        A block cannot be read.
    """
    found = rows(con)
    for name, count in found.items():
        read_table(con, name, (since or {}).get(name, 0) if count > LARGE or name in HEAVY else 0)
    return found


def read_table(con: duckdb.DuckDBPyConnection, name: str, start: int = 0) -> tuple[int, int]:
    """Read every block of a table from a row on: its rows, and a number made of all their cells."""
    asked = f'SELECT count(*), coalesce(bit_xor(hash(whole)), 0) FROM "{name}" AS whole WHERE rowid >= {start}'
    count, mark = con.execute(asked).fetchone() or (0, 0)
    return count, mark


def alone(path: Path) -> str:
    """How a register's file is without the log beside it, in a word or two; a copy is looked at."""
    import duckdb

    try:
        with tempfile.TemporaryDirectory() as folder, closing(engine()) as con:
            copy = Path(shutil.copyfile(path, Path(folder) / "alone.duckdb"))
            attach(con, copy, "register", "READ_ONLY")
            confine(con)
            con.execute("USE register")
            read_through(con)
    except duckdb.Error:
        return "damaged too"
    except OSError:
        return "not looked at, since there is no room for a copy"
    return "sound"


def _had(gate: FileLock, seconds: float) -> bool:
    """Whether a gate was had within some seconds."""
    try:
        gate.acquire(timeout=seconds, poll_interval=0.005)
    except Timeout:
        return False
    return True


@contextmanager
def _alone_in_here(path: Path, left: Patience, until: float) -> Iterator[None]:
    """Keep the other threads of this program from a register."""
    with _TURNS_GUARD:
        lock = _TURNS[path]
    who = "another piece of work of this program"
    got = lock.acquire(timeout=min(TELL_S, max(until - time.monotonic(), 0.0)))
    if not got:
        left.say_for_whom(path, who)
        got = lock.acquire(timeout=max(until - time.monotonic(), 0.0))
    if not got:
        raise busy(path, who, left.whole)
    try:
        yield
    finally:
        lock.release()


def _holder_of(path: Path) -> str:
    """Who holds a register just now, found by trying to look into it."""
    import duckdb

    try:
        with closing(engine()) as con:
            if path.exists():
                attach(con, path, "register", "READ_ONLY")
    except duckdb.Error as error:
        return holder(error)
    return holder("")


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def _tell_of_log(path: Path, left: Patience) -> bool:
    """Tell what was in the log that the database has just taken in, or that it could not; whether there was one.

    Raises
    ------
    RegisterError
        It is no log: the next thing written would put an end to it.
    """
    log = log_beside(path)
    if log is None:
        return False
    if not log.is_one:
        what = f"it is no log of a register ({log.size} bytes); the register beside it opens without it"
        raise RegisterError(f"{log.path}: {what}; move it elsewhere and try again")
    if log.dropped:
        what = f"the log of what was written last breaks off; {log.holds} in it {_were(len(log.changes))} taken in"
        lost = (
            f"its last {log.dropped} bytes are lost; look whether what you entered last is there, else enter it again"
        )
        left.tell(f"{log.path}: {what}, {lost}")
    elif log.changes:
        taken = f"{log.holds} in the log beside it {_were(len(log.changes))} taken in"
        left.tell(f"{path}: it was not closed in order the last time; {taken}")
    return True
