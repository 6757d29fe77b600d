"""A PostgreSQL of the tests' own on loopback, and databases in it: one for each register, made from one set up once."""

from __future__ import annotations

import hashlib
import os
import shutil
import socket
import subprocess
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

SERVER = "CALIB_TEST_CATALOGUE"  # names the server for the processes of one run: host, port and user
OWNER = "calib"
TEMPLATE = "whole"


class Server:
    """A cluster in a folder of its own, run by whoever may: PostgreSQL refuses to be root's."""

    def __init__(self) -> None:
        self.folder = Path(mkdtemp(prefix="catalogue"))
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin")) or [Path(shutil.which("initdb") or "").parent]
        self.programs = found[-1]
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        if os.geteuid() == 0:
            shutil.chown(self.folder, "postgres")
        self._run("initdb", "-D", f"{self.folder}/data", "-A", "trust", "-U", OWNER)

    @property
    def told(self) -> str:
        """How it is reached, without a database."""
        return f"host=127.0.0.1 port={self.port} user={OWNER}"

    def start(self) -> None:
        """Start it, and wait until it answers."""
        # Nothing of it outlives the tests, so it waits for no disk; what it said that it keeps outlives its own stop.
        quick = "-c fsync=off -c full_page_writes=off -c autovacuum=off -c jit=off"
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c max_connections=100 {quick}"
        self._run("pg_ctl", "-D", f"{self.folder}/data", "-o", options, "-l", f"{self.folder}/log", "-w", "start")

    def stop(self) -> None:
        """Stop it as a power cut would: nobody is waited for."""
        self._run("pg_ctl", "-D", f"{self.folder}/data", "-m", "immediate", "-w", "stop")

    def remove(self) -> None:
        """Stop it, and leave nothing of it."""
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program: str, *words: str) -> None:
        command = [str(self.programs / program), *words]
        if os.geteuid() == 0:
            command = ["setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups", *command]
        done = subprocess.run(
            command, cwd="/", stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False
        )
        if done.returncode:
            raise OSError(f"{program}: {done.stderr.decode()[-500:]}")


def address(database: str) -> str:
    """The address of the register in a database."""
    return f"ducklake:postgres:{os.environ[SERVER]} dbname={database}"


def asked(statement: str, database: str = "postgres") -> list[tuple[object, ...]]:
    """What the server answers to a statement in a database."""
    import psycopg

    with psycopg.connect(f"{os.environ[SERVER]} dbname={database}", autocommit=True) as client:
        found = client.execute(statement)
        return found.fetchall() if found.description else []


def there(database: str) -> bool:
    """Whether the server has a database."""
    return bool(asked(f"SELECT 1 FROM pg_database WHERE datname = '{database}'"))


@cache
def template() -> str:
    """A database with a register, set up by the first process that asks, to which nobody is connected any more."""
    import psycopg

    import calib
    from calib.register import lakehouse

    with psycopg.connect(f"{os.environ[SERVER]} dbname=postgres", autocommit=True) as client:
        client.execute("SELECT pg_advisory_lock(1)")  # of this connection, until it is closed
        if not there(TEMPLATE):
            asked("CREATE DATABASE begun")
            (data := Path(str(asked("SHOW data_directory")[0][0])).with_name("lakehouse")).mkdir()
            calib.set_up_lakehouse(address("begun"), data)
            lakehouse.let_go()
            asked(f"ALTER DATABASE begun RENAME TO {TEMPLATE}")
    return TEMPLATE


def made(database: str, simulated: bool = False) -> str:
    """The address of a new, empty register."""
    from calib.register.lakehouse import Lakehouse

    asked(f"CREATE DATABASE {database} TEMPLATE {template()}")
    if simulated:
        with Lakehouse(address(database)).opened() as con:
            con.execute("UPDATE about SET simulated = true")
    return address(database)


def database_of(path: str | os.PathLike[str]) -> str:
    """The database that stands in for a file's path in this process."""
    return f"t{os.getpid()}_{hashlib.sha256(os.path.realpath(path).encode()).hexdigest()[:16]}"


def instead(path: object) -> bool:
    """Whether a register of that name is to be in a lakehouse: a path of a file that is not there."""
    return isinstance(path, str | Path) and not str(path).startswith("ducklake:") and not os.path.lexists(path)
