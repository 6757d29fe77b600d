"""A register that many machines write at once: DuckLake's tables, catalogue in PostgreSQL, data on shared storage.

The tables, and all SQL on them, are those of a register's file; only what holds them differs. Writers of one record
wait for one another by PostgreSQL's advisory locks, writers of different ones do not (PostgreSQL documentation,
Explicit Locking; DuckLake specification 1.0).
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import CannotError, InputError, RegisterError, visible
from calib.register.gate import LOGS, engine, explained as said_of
from calib.register.trouble import WAIT_S, busy, check_name, patience

if TYPE_CHECKING:
    import duckdb
    import psycopg

PREFIX = "ducklake:postgres:"
SIGNS_IN = "mailto:"  # begins the name of a member who signs in on the page; no login of PostgreSQL that does writes
NO_ROLE = "has no role in this register"
TAKEN_OUT = "none"  # the role of a member who was taken out
EXTENSIONS = ("postgres_scanner", "ducklake")
_WHO = """
SELECT session_user, pg_has_role(session_user, datdba, 'member') FROM pg_database WHERE datname = current_database()
"""
LOCK = 0x6B616C  # the first half of every lock that calib takes in a catalogue
WHOLE = 0  # the second half of the lock for the register as a whole
ADDRESS = f"write it as {PREFIX}dbname=club host=server user=name, as PostgreSQL's own programs take it"
EXTRA = "install it with: pip install 'calib[federation]'"
# A connection takes a second to make: one that was let go is kept for the next piece of work, by process and address.
_IDLE: dict[tuple[int, str], duckdb.DuckDBPyConnection] = {}
# DuckDB reads the whole of an extension to check its signature, which takes it an eighth of a second at every loading.
# What this process has loaded so from a package, and lies there unchanged, it has in memory: that is not checked again.
_CHECKED: dict[str, tuple[int, ...]] = {}


class Lakehouse:
    """Where such a register is: it stands in the place of a file's path.

    Parameters
    ----------
    address : str
        ``ducklake:postgres:`` and what PostgreSQL's client library takes to find a database. As text it is shown
        without its password.
    by : str
        The verified e-mail of whoever signed in on the page and is at work by the address's login; blank where it is
        that login's own work. It goes with the object into whatever thread does the work.

    Raises
    ------
    InputError
        It is no such address.
    CannotError
        The extra ``federation`` is not installed.
    """

    def __init__(self, address: str, by: str = "") -> None:
        conninfo = _psycopg().conninfo
        self.catalogue = address.removeprefix(PREFIX)
        try:
            told = conninfo.conninfo_to_dict(self.catalogue)
        except _psycopg().Error as error:
            problem = f"is no address of a catalogue: {' '.join(str(error).split())}"
            raise InputError.one(problem, ADDRESS, column="register", value=address, code="text") from None
        if not told.get("dbname"):
            raise InputError.one("names no database", ADDRESS, column="register", value=address, code="missing")
        self.address, self.name = f"{PREFIX}{self.catalogue}", str(told["dbname"])
        self.by = by and f"{SIGNS_IN}{by}"
        shown = {name: value for name, value in told.items() if name != "password"}
        self._shown = f"{PREFIX}{conninfo.make_conninfo('', **shown)}"

    def __str__(self) -> str:
        return self._shown

    def __repr__(self) -> str:
        return f"Lakehouse({self._shown!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Lakehouse) and (other.catalogue, other.by) == (self.catalogue, self.by)

    def __hash__(self) -> int:
        return hash((self.catalogue, self.by))

    def absolute(self) -> Lakehouse:
        """The same: an address does not hang on the folder that one is in."""
        return self

    def exists(self) -> bool:
        """Whether a lakehouse was set up in that database.

        Raises
        ------
        RegisterError
            The catalogue cannot be reached.
        """
        with self.explained(), closing(self.client()) as client:
            found = client.execute("SELECT to_regclass('ducklake_metadata') IS NOT NULL").fetchone()
        return bool(found and found[0])

    def mark(self) -> tuple[int, ...]:
        """What tells one state of it from the next.

        Raises
        ------
        RegisterError
            The catalogue cannot be reached.
        """
        with self.opened() as con:
            (snapshot,) = con.execute("SELECT id FROM register.current_snapshot()").fetchone() or (0,)
        return (int(snapshot),)

    def set_up(self, data: str | os.PathLike[str]) -> None:
        """Make the lakehouse's own tables in the catalogue, where there are none; its data are to lie in a folder.

        Raises
        ------
        RegisterError
            The catalogue cannot be reached, or the folder cannot be used.
        """
        folder = os.path.realpath(data)
        with self.explained(), closing(_engine()) as con:
            _attach(con, self.catalogue, folder)

    @contextmanager
    def opened(self, *, also: Path | None = None) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection whose current database, named `register`, it is; it reaches no file but its data and `also`.

        Raises
        ------
        RegisterError
            The catalogue cannot be reached, or what was asked of it failed.
        """
        mine = (os.getpid(), self.catalogue)
        with self.explained(), ExitStack() as held:
            kept = None if also else _IDLE.pop(mine, None)
            con = held.enter_context(closing(kept or self._connected(also)))
            yield con
            if also is None and mine not in _IDLE:
                held.pop_all()
                _IDLE[mine] = con

    @contextmanager
    def turn(self, wait: float = WAIT_S, of: str = "") -> Iterator[tuple[str, bool]]:
        """Keep other writers away for as long as the block lasts: from one record, or from all where none is named.

        Gives the name of whoever writes, as the members have it, and whether the catalogue is that login's own.

        Raises
        ------
        RegisterError
            Somebody wrote for longer than one may wait, or the catalogue cannot be reached.
        """
        psycopg = _psycopg()
        with self.explained(), closing(self.client()) as client:
            try:
                with patience(wait) as left, left.waiting():
                    client.execute(f"SET lock_timeout = {max(round(1000 * left.left), 1)}")
                    for asked, key in self._locks(client, of):
                        client.execute(asked, [LOCK, key])
            except psycopg.errors.LockNotAvailable:
                raise busy(self, self._writer(client), wait) from None
            login, owns = client.execute(_WHO).fetchone() or ("", False)
            if str(login).startswith(SIGNS_IN):
                raise RegisterError(f"{login}: a login named so writes nothing; use one that does not begin {SIGNS_IN}")
            yield (self.by, False) if self.by else (str(login), bool(owns))

    def _locks(self, client: psycopg.Connection[Any], of: str) -> list[tuple[str, int]]:
        if not of:
            return [("SELECT pg_advisory_lock(%s, %s)", WHOLE)]
        (key,) = client.execute("SELECT hashtext(%s)", [of]).fetchone() or (1,)
        return [
            ("SELECT pg_advisory_lock_shared(%s, %s)", WHOLE),
            ("SELECT pg_advisory_lock(%s, %s)", key or 1),
        ]

    def _writer(self, client: psycopg.Connection[Any]) -> str:
        asked = """
            SELECT application_name FROM pg_stat_activity JOIN pg_locks USING (pid)
            WHERE locktype = 'advisory' AND classid = %s AND granted AND pid <> pg_backend_pid() LIMIT 1
        """
        (name,) = client.execute(asked, [LOCK]).fetchone() or ("another program",)
        return str(name)

    def client(self) -> psycopg.Connection[Any]:
        who = f"calib, process {os.getpid()} on {socket.gethostname()}"
        return _psycopg().connect(self.catalogue, autocommit=True, connect_timeout=10, application_name=who)

    def _connected(self, also: Path | None) -> duckdb.DuckDBPyConnection:
        if not self.exists():
            remedy = "set it up with calib set-up, or name a register's file"
            raise RegisterError(f"{self}: there is no register in that database; {remedy}")
        con = _engine()
        try:
            _attach(con, self.catalogue)
            (folder,) = con.execute(
                "SELECT value FROM ducklake_options('register') WHERE option_name = 'data_path'"
            ).fetchone() or ("",)
            con.execute("SET allowed_directories = ?", [[folder]])
            con.execute("SET allowed_paths = ?", [[f"{also}{end}" for end in ("", *LOGS)] if also else []])
            con.execute("SET enable_external_access = false")  # what a register holds may come from anybody
            con.execute("SET lock_configuration = true")
        except BaseException:
            con.close()
            raise
        return con

    @contextmanager
    def explained(self) -> Iterator[None]:
        """Turn what PostgreSQL raises into an error as of a register's file."""
        with said_of(self):
            try:
                yield
            except _psycopg().Error as error:
                raise OSError(" ".join(str(error).split())) from error


def let_go() -> None:
    """Close the connections that this process keeps for the next piece of work."""
    for mine in [each for each in [*_IDLE] if each[0] == os.getpid()]:
        _IDLE.pop(mine).close()


def place_of(named: str | os.PathLike[str] | Lakehouse) -> Path | Lakehouse:
    """Where a register is that is named: a lakehouse's address, or the path of a file."""
    if isinstance(named, Lakehouse):
        return named
    return Lakehouse(str(named)) if str(named).startswith(PREFIX) else Path(named)


def found_at(named: str | os.PathLike[str] | Lakehouse) -> Path | Lakehouse:
    """Where a register is that is named, links resolved.

    Raises
    ------
    RegisterError
        No register can have that name.
    """
    place = place_of(named)
    if isinstance(place, Lakehouse):
        return place
    check_name(place)
    return Path(os.path.realpath(place))


def _engine() -> duckdb.DuckDBPyConnection:
    packaged = [_packaged(name) for name in EXTENSIONS]
    checked = all(packaged) and all(_CHECKED.get(path) == _state_of(path) for path in packaged)
    con = engine(allow_unsigned_extensions=str(checked).lower())
    try:
        for name in EXTENSIONS:
            _load(con, name)
    except BaseException:
        con.close()
        raise
    return con


def _attach(con: duckdb.DuckDBPyConnection, catalogue: str, folder: str = "") -> None:
    quoted = [text.replace("'", "''") for text in (f"{PREFIX}{catalogue}", folder)]
    con.execute(f"ATTACH '{quoted[0]}' AS register" + (f" (DATA_PATH '{quoted[1]}')" if folder else ""))
    con.execute("USE register")


def _load(con: duckdb.DuckDBPyConnection, name: str) -> None:
    """Load an extension of DuckDB: from its package, from where DuckDB keeps them, or by DuckDB's own installer."""
    import duckdb

    packaged = _packaged(name)
    quoted = packaged.replace("'", "''")
    tried = (f"LOAD '{quoted}'",) if packaged else (f"LOAD {name}", f"INSTALL {name}")
    for statement in tried:
        try:
            con.execute(statement)
            if statement.startswith("INSTALL"):
                con.execute(f"LOAD {name}")
        except duckdb.Error as error:
            said = " ".join(str(error).split())[:200]
        else:
            if packaged:
                _CHECKED[packaged] = _state_of(packaged)
            return
    raise CannotError(f"DuckDB's extension {name} cannot be loaded: {said}; {EXTRA}")


def _state_of(packaged: str) -> tuple[int, ...]:
    try:
        told = os.stat(packaged)
    except OSError:  # the package is gone: loading it says so
        return ()
    return told.st_dev, told.st_ino, told.st_size, told.st_mtime_ns, told.st_ctime_ns


@cache
def _packaged(name: str) -> str:
    """Where the package of an extension keeps it for this DuckDB; blank where it is not installed."""
    from importlib.util import find_spec

    import duckdb

    found = find_spec(f"duckdb_extension_{name}")
    folders = [Path(folder) for folder in (found.submodule_search_locations or ())] if found else []
    files = [path for folder in folders for path in folder.glob(f"extensions/v{duckdb.__version__}/*.duckdb_extension")]
    return str(files[0]) if files else ""


def _psycopg() -> Any:
    try:
        import psycopg
    except ImportError as error:
        raise CannotError(f"a register in a lakehouse needs PostgreSQL's client; {EXTRA} ({error})") from None
    return psycopg


def refuse_stranger(con: duckdb.DuckDBPyConnection, login: str) -> None:
    """Refuse to show a register to somebody who signed in on the page and is none of its members.

    Raises
    ------
    RegisterError
        The login has no role.
    """
    asked = 'SELECT 1 FROM latest_members WHERE login = ? AND "role" <> ?'
    if not con.execute(asked, [login, TAKEN_OUT]).fetchone():
        raise barred(login, NO_ROLE)


def barred(login: str, what: str) -> RegisterError:
    """That somebody may not do what they are about to."""
    return RegisterError(f"{visible(login.removeprefix(SIGNS_IN))} {what}; ask its owner for one: calib member")
