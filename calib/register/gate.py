"""Hold the register's file for the moment of one piece of work, and queue fairly for it."""

from __future__ import annotations

import os
import random
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from filelock import FileLock, Timeout

from calib.errors import RegisterError
from calib.register.trouble import busy, is_held, told

if TYPE_CHECKING:
    import duckdb

WAIT_S = 15.0
NEW_FILE = "STORAGE_VERSION 'v1.4.0'"  # option for a new file, so that DuckDB 1.4 and later can read it
# One piece of work at a time on a file within this process; between processes the gate file and the database's lock.
_TURNS: defaultdict[Path, threading.Lock] = defaultdict(threading.Lock)
_TURNS_GUARD = threading.Lock()


def engine() -> duckdb.DuckDBPyConnection:
    """A connection with nothing attached, which never fetches an extension."""
    import duckdb

    return duckdb.connect(
        config={"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}  # offline, always
    )


def attach(con: duckdb.DuckDBPyConnection, path: Path, name: str, *options: str) -> None:
    """Open a database file under a name."""
    quoted = str(path).replace("'", "''")
    con.execute(f"ATTACH '{quoted}' AS {name} ({', '.join(options)})" if options else f"ATTACH '{quoted}' AS {name}")


@contextmanager
def turn(path: Path, wait: float = WAIT_S) -> Iterator[FileLock]:
    """Wait for the gate file beside the register; whoever has it is the next to open the register.

    Raises
    ------
    filelock.Timeout
        The gate stayed shut for `wait` [s].
    RegisterError
        Its folder cannot be written.
    """
    gate = FileLock(f"{path}.gate")
    try:
        gate.acquire(timeout=max(wait, 0.0), poll_interval=0.005)
    except Timeout:
        raise
    except OSError as error:
        raise told(path, error) from None
    try:
        yield gate
    finally:
        gate.release()


def confine(con: duckdb.DuckDBPyConnection, also: Path | None = None) -> None:
    """Let a connection reach no file but those it has open, and `also`; nothing that it runs can change that.

    What a register holds may come from anybody: a view in it could else read any file of whoever opens it.
    """
    if also is not None:
        logs = [
            f"{also}{end}" for end in (".wal", ".wal.checkpoint", ".wal.recovery")
        ]  # what the engine puts beside it
        con.execute("SET allowed_paths = ?", [[str(also), *logs]])
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
def session(path: Path, wait: float = WAIT_S, also: Path | None = None) -> Iterator[duckdb.DuckDBPyConnection]:
    """Hold a register's file: a connection whose current database, named `register`, it is, and which reads no other.

    Parameters
    ----------
    path : Path
        The register's file, links resolved.
    wait : float
        How long to wait for others [s].
    also : Path or None
        A file that the work is to write too.

    Raises
    ------
    RegisterError
        The file is missing, busy, damaged, no database, written by a newer version, or the disk is full.
    """
    import duckdb

    until = time.monotonic() + wait
    with _TURNS_GUARD:
        lock = _TURNS[path]
    if not lock.acquire(timeout=wait):
        raise busy(path, None, wait)
    try:
        with interruptible(), closing(engine()) as con:
            _open_in_turn(con, path, until, wait)
            confine(con, also)
            try:
                yield con
            except (duckdb.ProgrammingError, duckdb.ConversionException):
                raise
            except duckdb.Error as error:
                raise told(path, error) from error
    finally:
        lock.release()


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


def writable(path: Path) -> bool:
    """Whether a register can be written where it is; it can be read in any case, without a gate then."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def _open_in_turn(con: duckdb.DuckDBPyConnection, path: Path, until: float, wait: float) -> None:
    if path.exists() and not writable(path):
        _open(con, path, until, wait, "READ_ONLY")
        return
    try:
        with turn(path, until - time.monotonic()):
            _open(con, path, until, wait)
    except Timeout:
        _open(con, path, until, wait)  # once more, out of turn: it opens, or it says who holds the file


def _open(con: duckdb.DuckDBPyConnection, path: Path, until: float, wait: float, *options: str) -> None:
    import duckdb

    while True:
        if not path.exists():
            raise RegisterError(f"{path}: there is no such register; name one that is there, or add a unit to make it")
        if path.is_file() and path.stat().st_size == 0:
            raise RegisterError(f"{path}: it is empty and no register; name a register, or restore it from a backup")
        try:
            attach(con, path, "register", *options)
        except (duckdb.Error, OSError) as error:
            if not is_held(error):
                raise told(path, error) from error
            if time.monotonic() > until:
                raise busy(path, error, wait) from error
            time.sleep(0.002 + 0.02 * random.random())
        else:
            con.execute("USE register")
            return
