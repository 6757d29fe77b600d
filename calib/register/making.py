"""Make a register, open one that is there, copy one."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from filelock import Timeout
from platformdirs import user_data_path

from calib.errors import RegisterError, visible
from calib.register.gate import NEW_FILE, WAIT_S, attach, engine, interruptible, session, transaction, turn, writable
from calib.register.ledger import bring
from calib.register.migrate import applied, migrate, steps, stranger, tables
from calib.register.trouble import READ_ONLY, busy, told

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


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
    try:
        with turn(path, wait):
            if not path.exists():
                _make(path, simulated, first)
    except Timeout:
        raise busy(path, None, wait) from None


@contextmanager
def opened(
    path: Path, wait: float = WAIT_S, *, write: bool = False, also: Path | None = None
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Hold a register for one piece of work, its tables up to date; `also` is a file that the work writes too.

    Raises
    ------
    RegisterError
        As `session` does; where the file is a database but no register, or one of a newer calib; where it is to be
        written and cannot be.
    """
    if write and path.exists() and not writable(path):
        raise RegisterError(f"{path}: {READ_ONLY}")
    with session(path, wait, also) as con:
        if not {"about", "revisions", "schema_steps"} <= tables(con):
            raise RegisterError(f"{path}: it is a database but no register; name a register")
        done, known = applied(con), steps()
        if done > len(known):
            raise RegisterError(f"{path}: a newer version of calib wrote it (schema {done}); bring calib up to date")
        if done < len(known) and not writable(path):
            raise RegisterError(f"{path}: an older version of calib wrote it, and {READ_ONLY}")
        if strange := stranger(con, known[:done]):
            raise RegisterError(f"{path}: it holds {visible(strange, 80)}, which no register of calib has; {NOT_OURS}")
        migrate(con, known)
        yield con


def copy_to(con: duckdb.DuckDBPyConnection, new: Path, path: Path) -> None:
    """Copy the open register to a new file that the connection may write, then move that to its place.

    Raises
    ------
    RegisterError
        The copy cannot be written.
    """
    import duckdb

    try:
        attach(con, new, "duplicate", NEW_FILE)
        con.execute("COPY FROM DATABASE register TO duplicate")
        con.execute("CHECKPOINT duplicate")
        con.execute("DETACH duplicate")
        os.replace(new, path)
    except (duckdb.Error, OSError) as error:
        raise told(path, error) from error


def _make(path: Path, simulated: bool, first: pd.DataFrame | None) -> None:
    import duckdb

    log = Path(f"{path}.wal")
    if log.exists():
        raise RegisterError(f"{log}: it is left over from a register that is gone; move it elsewhere")
    with aside(path) as new:
        try:
            _fill(new, simulated, first)
            os.replace(new, path)
        except (duckdb.Error, OSError) as error:
            raise told(path, error) from error


def _fill(new: Path, simulated: bool, first: pd.DataFrame | None) -> None:
    with interruptible(), closing(engine()) as con:
        attach(con, new, "register", NEW_FILE)
        con.execute("USE register")
        migrate(con, steps())
        with transaction(con):
            con.execute("INSERT INTO about VALUES (?, ?)", [simulated, datetime.now(UTC).replace(tzinfo=None)])
            if first is not None:
                bring(con, first, "", "")
        con.execute("CHECKPOINT register")
        con.execute("USE memory")
        con.execute("DETACH register")


@contextmanager
def aside(path: Path) -> Iterator[Path]:
    """A name beside a path, of which nothing is left afterwards."""
    new = path.with_name(f".{path.name}.{uuid4().hex}.new")
    try:
        yield new
    finally:
        for leftover in (new, Path(f"{new}.wal")):
            with suppress(OSError):
                leftover.unlink(missing_ok=True)
