"""When things go wrong: killed programs, spoiled files, a full disk, a place that cannot be written."""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from calib.errors import RegisterError
from calib.register import gate
from calib.register.making import opened
from calib.register.records import KnownUnit
from calib.register.store import Register

ADVICE = "restore it from a backup"
# Adds what its first argument names and is killed at the moment that the second names, after which nothing can be done.
KILLED = """
import os, signal, sys
from calib.register import gate, ledger, making, store
path, table, moment = sys.argv[1:]
append, commit = ledger._append, gate.transaction
def die(): os.kill(os.getpid(), signal.SIGKILL)
def half(con, rows, why):
    append(con, rows.iloc[:1], why)
    die()
if moment == "between": ledger._append = half
register = store.Register(path)
if moment == "making":
    making.os.replace = lambda *names: die()
    store.Register(path + ".second")
register.import_csv(table)
print("acknowledged", flush=True)
die()
"""
ENDLESS = """
import itertools, sys
from calib.register.records import KnownUnit
from calib.register.store import Register
typed = dict(cell.split("=", 1) for cell in sys.argv[2:])
for number in itertools.count():
    unit = f"W-{number}"
    Register(sys.argv[1]).add(KnownUnit.parse({**typed, "unit": unit}))
    print(unit, flush=True)
"""
FULL = """
import resource, sys
from calib.errors import RegisterError
from calib.register import store
path, table, limit = sys.argv[1:]
store.read_known(table)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), int(limit)))
try:
    print(store.Register(path).import_csv(table).added)
except RegisterError as error:
    print(error)
"""
BARRED = """
import os, sys
from calib.errors import RegisterError
from calib.register.records import KnownUnit
from calib.register.store import Register
path, warm, *cells = sys.argv[1:]
record = KnownUnit.parse(dict(cell.split("=", 1) for cell in cells))
Register(warm).add(record)
Register(warm).known()
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
try:
    register = Register(path)
    print(len(register.known()))
    register.add(record)
except RegisterError as error:
    print(error)
"""


def ran(program: str, *words: str) -> tuple[int, str]:
    done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True)
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout


@pytest.fixture
def filled(tmp_path: Path, typed: dict[str, str], table: Callable[..., Path]) -> Register:
    register = Register(tmp_path / "club.duckdb")
    register.import_csv(table(*({**typed, "unit": f"U-{number}"} for number in range(50)), name="first.csv"))
    return register


@pytest.fixture
def more(typed: dict[str, str], table: Callable[..., Path]) -> Path:
    return table(*({**typed, "unit": f"V-{number}"} for number in range(400)), name="more.csv")


def test_killed_after_the_acknowledgement_everything_is_there(filled: Register, more: Path) -> None:
    assert ran(KILLED, str(filled.path), str(more), "after") == (-signal.SIGKILL, "acknowledged\n")
    assert filled.count() == 450


def test_killed_amid_a_transaction_nothing_of_it_is_there(filled: Register, more: Path) -> None:
    assert ran(KILLED, str(filled.path), str(more), "between") == (-signal.SIGKILL, "")
    assert filled.count() == 50
    assert filled.import_csv(more).added == 400


def test_killed_amid_the_making_no_register_is_there(filled: Register, more: Path) -> None:
    second = Path(f"{filled.path}.second")
    assert ran(KILLED, str(filled.path), str(more), "making") == (-signal.SIGKILL, "")
    assert not second.exists()
    assert Register(second).count() == 0


@pytest.mark.parametrize("after", [0.0, 0.04, 0.11, 0.17])
def test_killed_at_any_moment_every_acknowledged_addition_is_there(
    filled: Register, typed: dict[str, str], after: float
) -> None:
    cells = [f"{name}={value}" for name, value in typed.items()]
    words = [sys.executable, "-c", ENDLESS, str(filled.path), *cells]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    heard = [process.stdout.readline().strip() for _ in range(2)]
    time.sleep(after)
    process.kill()
    heard += process.communicate()[0].split()
    there = {unit for unit in filled.known()["unit"] if unit.startswith("W-")}
    assert len(heard) >= 2
    assert set(heard) <= there
    assert len(there) <= len(heard) + 1  # one may have been done and not yet told


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda raw: b"", "it is empty and no register"),
        (lambda raw: b"unit,contributor\nAL-7,Alder Lane\n" * 200, "it is no register"),
        (lambda raw: b"SQLite format 3\0" + bytes(4096), "it is no register"),
        (lambda raw: raw[:1000], "it is damaged"),
        (lambda raw: raw[:20000], "it is damaged"),
        (lambda raw: raw[:4096] + bytes(byte ^ 255 for byte in raw[4096:12288]) + raw[12288:], "it is damaged"),
    ],
)
def test_a_spoiled_file_is_told_in_one_line(filled: Register, spoil: Callable[[bytes], bytes], said: str) -> None:
    filled.path.write_bytes(spoil(filled.path.read_bytes()))
    for attempt in (lambda: Register(filled.path), filled.known, filled.count):
        with pytest.raises(RegisterError) as caught:
            attempt()
        assert str(caught.value).startswith(f"{filled.path}: {said}")
        assert str(caught.value).endswith(ADVICE)
        assert "\n" not in str(caught.value)


def test_flipped_bytes_are_told_or_do_no_harm(filled: Register) -> None:
    raw, sound = filled.path.read_bytes(), filled.revisions()
    rolls, told = random.Random(3), []
    for _ in range(25):
        spoiled, at = bytearray(raw), rolls.randrange(len(raw) - 8)
        spoiled[at : at + 8] = bytes(byte ^ 255 for byte in spoiled[at : at + 8])
        filled.path.write_bytes(spoiled)
        try:
            read = Register(filled.path).revisions()
        except RegisterError as error:
            told.append(str(error))
        else:
            assert read.equals(sound)
    assert told
    assert all(message.endswith(ADVICE) for message in told)


def test_another_database_and_a_folder_are_no_registers(tmp_path: Path) -> None:
    with duckdb.connect(str(tmp_path / "other.duckdb")) as con:
        con.execute("CREATE TABLE units (a INTEGER)")
    with pytest.raises(RegisterError, match=r"other\.duckdb: it is a database but no register"):
        Register(tmp_path / "other.duckdb")
    (tmp_path / "folder.duckdb").mkdir()
    with pytest.raises(RegisterError, match=r"folder\.duckdb: it is a folder; name a file"):
        Register(tmp_path / "folder.duckdb")


def test_the_log_of_a_register_that_is_gone_is_not_taken_for_ours(filled: Register) -> None:
    filled.path.rename(filled.path.with_name("elsewhere.duckdb"))
    log = Path(f"{filled.path}.wal")
    log.write_bytes(b"left over")
    with pytest.raises(RegisterError, match=r"club\.duckdb\.wal: it is left over from a register that is gone"):
        Register(filled.path)


@pytest.mark.skipif(sys.platform == "win32", reason="limits on the size of a file are a matter of POSIX systems")
@pytest.mark.parametrize("limit", [16_000, 60_000, 200_000, 600_000, 1_100_000])
def test_a_full_disk_loses_nothing(filled: Register, more: Path, limit: int) -> None:
    _, said = ran(FULL, str(filled.path), str(more), str(limit))
    if said.strip() == "400":
        assert filled.count() == 450
        assert limit > 16_000  # less than the 400 records take, whatever the layout of the file
    else:
        assert said.startswith(f"{filled.path}: the disk is full")
        assert filled.count() == 50


@pytest.mark.skipif(sys.platform == "win32", reason="limits on the size of a file are a matter of POSIX systems")
def test_a_disk_too_full_for_a_new_register(tmp_path: Path, more: Path) -> None:
    _, said = ran(FULL, str(tmp_path / "new.duckdb"), str(more), "8192")
    assert "new.duckdb: the disk is full" in said
    assert {path.name for path in tmp_path.iterdir()} <= {"more.csv", "new.duckdb.gate"}


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of this kind are a matter of POSIX systems")
def test_a_place_that_cannot_be_written_can_be_read(tmp_path: Path, typed: dict[str, str]) -> None:
    cells = [f"{name}={value}" for name, value in typed.items()]
    folder = Path(tempfile.mkdtemp())  # outside tmp_path, which no other user may enter
    try:
        Register(folder / "club.duckdb").add(KnownUnit.parse(typed))
        (folder / "club.duckdb").chmod(0o444)
        folder.chmod(0o555)
        _, said = ran(
            BARRED, str(folder / "club.duckdb"), str(tmp_path / "warm.duckdb"), *cells[:-1], "winding_temp_c=20"
        )
        assert said.splitlines() == [
            "1",
            f"{folder}/club.duckdb: it is read-only here; change its permissions or work on a copy",
        ]
        _, said = ran(BARRED, str(folder / "new.duckdb"), str(tmp_path / "warm.duckdb"), *cells)
        assert said.startswith(f"{folder}/new.duckdb: it is read-only here")
        assert {path.name for path in folder.iterdir()} <= {"club.duckdb", "club.duckdb.gate"}
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_no_extension_is_ever_fetched(filled: Register) -> None:
    with gate.session(filled.path) as con:
        names = "('autoinstall_known_extensions', 'autoload_known_extensions')"
        asked = f"SELECT value FROM duckdb_settings() WHERE name IN {names}"
        assert con.execute(asked).fetchall() == [("false",), ("false",)]


@pytest.mark.parametrize(
    ("altered", "named"),
    [
        (
            "CREATE OR REPLACE VIEW current_units AS SELECT * FROM latest, read_csv('{secret}')",
            "the view current_units",
        ),
        ("CREATE VIEW extra AS SELECT * FROM read_csv('{secret}')", "the view extra"),
        ("CREATE MACRO now_then(x) AS x", "the macro now_then"),
        ("CREATE SEQUENCE counted", "the sequence counted"),
        ("DROP VIEW latest_meters", "no longer the view latest_meters"),
        ("ALTER TABLE revisions DROP COLUMN notes", "the table revisions, altered"),
    ],
)
def test_a_register_that_somebody_altered_is_named_and_nothing_of_it_is_run(
    filled: Register, tmp_path: Path, altered: str, named: str
) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("line\nprivate\n", encoding="utf-8")
    with duckdb.connect(str(filled.path)) as con:
        con.execute(altered.format(secret=secret))
    before = filled.path.read_bytes()
    for work in (filled.known, filled.count, lambda: filled.export(tmp_path / "out"), lambda: Register(filled.path)):
        with pytest.raises(RegisterError, match=named) as told:
            work()
        assert "private" not in str(told.value)
        assert len(str(told.value).splitlines()) == 1
    assert not (tmp_path / "out").exists()
    assert filled.path.read_bytes() == before


def test_what_works_on_a_register_can_reach_no_other_file(filled: Register, tmp_path: Path) -> None:
    other = tmp_path / "other.csv"
    other.write_text("a\n1\n", encoding="utf-8")
    with opened(filled.path) as con:
        for said in (
            f"SELECT * FROM read_csv('{other}')",
            f"COPY about TO '{tmp_path / 'out.csv'}'",
            f"ATTACH '{tmp_path / 'x.duckdb'}'",
            "SET enable_external_access = true",
            "SET lock_configuration = false",
        ):
            with pytest.raises(duckdb.Error, match="disabled|locked|Cannot change"):
                con.execute(said)
