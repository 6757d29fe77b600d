"""When things go wrong: killed programs, spoiled files, a full disk, a place that cannot be written."""

from __future__ import annotations

import errno
import os
import random
import shutil
import signal
import socket
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from calib.errors import RegisterError
from calib.register import file, gate, trouble
from calib.register.file import opened
from calib.register.frame import frame_of
from calib.register.records import KnownUnit
from calib.register.register import Register
from tests import warm
from tests.counts import share
from tests.register.conftest import TYPED

if sys.platform != "win32":
    import resource

ADVICE = "restore it from a backup"
# Adds what its first argument names and is killed at the moment that the second names, after which nothing can be done.
KILLED = """
import os, signal, sys
from calib.register import file, revisions
from calib.register.register import Register
path, table, moment = sys.argv[1:]
append = revisions.Ledger.append
def die(): os.kill(os.getpid(), signal.SIGKILL)
def half(ledger, con, rows, *why):
    append(ledger, con, rows.iloc[:1], *why)
    die()
if moment == "between": revisions.Ledger.append = half
register = Register(path)
if moment == "making":
    file.os.link = lambda *names: die()
    Register(path + ".second")
register.import_csv(table)
print("acknowledged", flush=True)
die()
"""
ENDLESS = """
import itertools, sys
from calib.register.records import KnownUnit
from calib.register.register import Register
typed = dict(cell.split("=", 1) for cell in sys.argv[2:])
for number in itertools.count():
    unit = f"W-{number}"
    Register(sys.argv[1]).add(KnownUnit.parse({**typed, "unit": unit}))
    print(unit, flush=True)
"""
FULL = """
import resource, sys
from calib.errors import RegisterError
from calib.register import register
path, table, limit = sys.argv[1:]
register.read_known(table)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), int(limit)))
try:
    print(register.Register(path).import_csv(table).added)
except RegisterError as error:
    print(error)
"""
BARRED = """
import os, sys
from calib.errors import RegisterError
from calib.register.records import KnownUnit
from calib.register.register import Register
paths, warm, *cells = sys.argv[1:]
record = KnownUnit.parse(dict(cell.split("=", 1) for cell in cells))
Register(warm).add(record)
Register(warm).known()
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
for path in paths.split(os.pathsep):
    try:
        register = Register(path)
        print(len(register.known()))
        register.add(record)
    except RegisterError as error:
        print(error)
"""
# Adds one unit a change and ends, as if killed, before the changes are out of the log and in the file.
UNSAVED = """
import os, sys
from pathlib import Path
from calib.register.frame import frame_of
from calib.register.gate import session, transaction
from calib.register.revisions import bring
from calib.register.records import KnownUnit
path, *cells = sys.argv[1:]
typed = dict(cell.split("=", 1) for cell in cells)
with session(Path(path)) as con:
    for unit in ("L-1", "L-2", "L-3"):
        with transaction(con):
            bring(con, frame_of(KnownUnit, [KnownUnit.parse({**typed, "unit": unit})]), "", "")
    os._exit(0)
"""


def cells_of(typed: dict[str, str]) -> list[str]:
    return [f"{name}={value}" for name, value in typed.items()]


def ran(program: str, *words: str) -> tuple[int, str]:
    done = warm.ran(program, *words)
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A register of fifty units, and beside it one with three more in its log, a change each."""
    path = tmp_path_factory.mktemp("made") / "club.duckdb"
    records = [KnownUnit.parse({**TYPED, "unit": f"U-{number}"}) for number in range(50)]
    file.make(path, False, frame_of(KnownUnit, records))
    unsaved = Path(shutil.copy(path, path.with_name("unsaved.duckdb")))
    assert ran(UNSAVED, str(unsaved), *cells_of(TYPED)) == (0, "")
    assert Path(f"{unsaved}.wal").stat().st_size > 100
    return path


@pytest.fixture
def filled(made: Path, tmp_path: Path) -> Register:
    """Fifty units."""
    return Register(shutil.copy(made, tmp_path))


@pytest.fixture
def unsaved(made: Path, tmp_path: Path) -> Register:
    """Fifty units in the file and three in the log beside it."""
    register = Register(shutil.copy(made, tmp_path))
    for end in ("", ".wal"):
        shutil.copy(f"{made.with_name('unsaved.duckdb')}{end}", f"{register.path}{end}")
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


@pytest.mark.parametrize("after", [0.0, 0.11])
def test_killed_at_any_moment_every_acknowledged_addition_is_there(
    filled: Register, typed: dict[str, str], after: float
) -> None:
    process = warm.Begun(ENDLESS, str(filled.path), *cells_of(typed))
    process.printed(2)
    time.sleep(after)
    process.kill()
    heard = process.out.split()
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
    for _ in range(share(8, 25)):
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


def spoilt_name(folder: Path, name: str) -> Path:
    """A name that no register can have, with what stands there."""
    place = folder / name
    if name == "pipe":
        os.mkfifo(place)
    elif name == "socket":
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(os.path.relpath(place))  # its name has little room
    elif name == "notes.csv":
        place.write_text("unit,contributor\n" * 300)
    return place


@pytest.mark.skipif(sys.platform == "win32", reason="names of this kind are a matter of POSIX systems")
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("n" * 244 + ".duckdb", "its name is too long for the place where it is"),
        ("n" * 300, "its name is too long for the place where it is"),
        ("a\0b", "its name is no plain text"),
        ("a\udc80", "its name is no plain text"),
        ("a\\b", "there is a backslash in its name"),
        ("/dev/zero", "it is a device and no file"),
        ("pipe", "it is a pipe and no file"),
        ("socket", "it is a socket and no file"),
        ("notes.csv", "it is no register"),
        ("club.duckdb/x", "a part of its path is a file and no folder"),
    ],
)
def test_what_can_be_no_register_is_told_as_what_it_is_and_gets_no_gate(filled: Register, name: str, said: str) -> None:
    place, before = spoilt_name(filled.path.parent, name), sorted(filled.path.parent.rglob("*"))
    for create in (True, False):
        with pytest.raises(RegisterError, match=said):
            Register(place, create=create)
    assert sorted(path for path in filled.path.parent.rglob("*") if path != place) == [x for x in before if x != place]
    assert not Path(f"{place!r}.gate").exists()


@pytest.mark.parametrize(
    ("raised", "said"),
    [
        (OSError(errno.EMFILE, os.strerror(errno.EMFILE)), "too many files are open in this program"),
        ('IO Error: Could not read from file "{}": Input/output error', "the disk fails to read or write it"),
        ('IO Error: Cannot open file "{}": Too many open files in system', "too many files are open on this machine"),
        ('IO Error: Could not fsync file "{}": Stale file handle', "the network drive that it is on was lost"),
        ("Out of Memory Error: could not allocate block of size 256.0 KiB", "there is too little memory to work on it"),
        (MemoryError(), "there is too little memory to work on it"),
        ('Serialization Error: Failed to deserialize: field id mismatch, "{}"', "it is damaged; restore it"),
        ('IO Error: Cannot open encrypted database "{}" without a key', "it is encrypted"),
        ('Error: the moon is full over "{}"', "it cannot be used, and why is unknown: Error: the moon is full over"),
    ],
)
def test_what_the_database_says_is_told_as_what_it_means(
    filled: Register, raised: str | BaseException, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a folder of a name that the database's messages might be mistaken for."""
    folder = filled.path.parent / "read-only corrupt"
    folder.mkdir()
    path = Path(shutil.copy(filled.path, folder))
    error = duckdb.Error(raised.format(path)) if isinstance(raised, str) else raised

    def attach(*_: object) -> None:
        raise error

    monkeypatch.setattr(gate, "attach", attach)
    with pytest.raises(RegisterError) as caught:
        Register(path)
    assert str(caught.value).startswith(f"{path}: {said}")


@pytest.mark.skipif(sys.platform == "win32", reason="limits on the number of open files are a matter of POSIX systems")
def test_too_many_open_files_and_too_little_memory_are_not_taken_for_damage(
    filled: Register, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (len(os.listdir("/proc/self/fd")) - 1, limits[1]))
    try:
        with pytest.raises(RegisterError, match="too many files are open in this program"):
            filled.known()
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, limits)
    monkeypatch.setattr(gate, "engine", lambda: duckdb.connect(config={"memory_limit": "100kB"}))
    monkeypatch.setattr(gate, "_IDLE", {})
    with pytest.raises(RegisterError, match=r"club\.duckdb: there is too little memory to work on it"):
        filled.known()


@pytest.mark.parametrize(
    ("cut", "units", "said"),
    [
        (lambda raw: raw, 53, "it was not closed in order the last time; 3 complete changes in the log beside it"),
        (lambda raw: raw[:-1], 52, "breaks off; 2 complete changes in it were taken in, its last"),
        (lambda raw: raw[: len(raw) // 2], 51, "breaks off; 1 complete change in it was taken in, its last"),
        (lambda raw: raw[:70], 50, "breaks off; 0 complete changes in it were taken in, its last"),
        (lambda raw: raw[:20], 50, "breaks off; 0 complete changes in it were taken in, its last 20 bytes are lost"),
        (lambda raw: raw + b"junk" * 30, 53, "breaks off; 3 complete changes in it were taken in, its last 120 bytes"),
        (lambda raw: raw + b"junk" * 4, 53, "breaks off; 3 complete changes in it were taken in, its last 16 bytes"),
    ],
)
def test_a_log_that_was_left_is_taken_in_and_one_that_breaks_off_says_so(
    unsaved: Register, cut: Callable[[bytes], bytes], units: int, said: str
) -> None:
    log, told = Path(f"{unsaved.path}.wal"), []
    log.write_bytes(cut(log.read_bytes()))
    with gate.patience(tell=told.append):
        assert len(unsaved.known()) == units
        assert len(unsaved.known()) == units
    assert len(told) == (1 if units > 50 else 2)  # one with nothing in it stays until something is written
    assert said in told[0]


def test_a_log_of_gigabytes_is_looked_through_and_not_kept_in_memory(unsaved: Register) -> None:
    log, large = Path(f"{unsaved.path}.wal"), 2**28
    last = log.stat().st_size
    with log.open("ab") as file:  # one entry more, which is no end of a change
        file.write(large.to_bytes(8, "little") + bytes(8) + b"\x64\x00\x01")
        file.truncate(last + 16 + large)
    tracemalloc.start()
    try:
        found = trouble.log_beside(unsaved.path)
        (_, most) = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert found
    assert (len(found.changes), found.changes[-1], found.dropped) == (3, last, 16 + large)
    assert most < 1_000_000


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("spoiled", "the log of the last changes is damaged, 1 complete before the damage; move it elsewhere, open"),
        ("another's", "it is the log of another file, with 3 complete changes in it; move it to that file"),
        ("old", "it is an old log, from before the register was saved last; move it elsewhere"),
        ("later", "it is of a later state than the register, which is an old copy: 3 complete changes in it would be"),
        ("none", "it is no log of a register (270 bytes); the register beside it opens without it; move it elsewhere"),
    ],
)
def test_a_log_that_does_not_fit_is_told_from_a_damaged_register(
    unsaved: Register, tmp_path: Path, typed: dict[str, str], kind: str, said: str
) -> None:
    path, log = unsaved.path, Path(f"{unsaved.path}.wal")
    raw, file = bytearray(log.read_bytes()), path.read_bytes()
    if kind == "spoiled":
        raw[len(raw) // 2] ^= 255
        log.write_bytes(raw)
    elif kind == "another's":
        path.write_bytes(Register(tmp_path / "second.duckdb").path.read_bytes())
    elif kind == "old":
        assert unsaved.count() == 53
        log.write_bytes(raw)
    elif kind == "later":
        assert unsaved.count() == 53
        assert ran(UNSAVED, str(path), *cells_of({**typed, "contributor": "Tin Street"}))[0] == 0
        path.write_bytes(file)
    else:
        log.write_bytes(b"left over" * 30)
    left = log.read_bytes()
    for attempt in (unsaved.known, lambda: unsaved.add(KnownUnit.parse(typed))):
        with pytest.raises(RegisterError) as caught:
            attempt()
        assert str(caught.value).startswith(f"{log}: {said}")
        assert kind == "none" or str(caught.value).endswith("; the register beside it is sound")
        assert "\n" not in str(caught.value)
    assert log.read_bytes() == left
    log.rename(f"{log}.moved")
    assert unsaved.count() in (0, 50, 53)


def test_what_takes_long_prints_nothing_among_the_results(capfd: pytest.CaptureFixture[str]) -> None:
    with gate.engine() as con:
        con.execute("SET progress_bar_time = 1")  # ms, else two seconds
        con.execute("SELECT sum(sin(one.range * other.range)) FROM range(4000) AS one, range(4000) AS other").fetchall()
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("large", [gate.LARGE, 10])
def test_what_the_disk_spoils_as_it_is_written_is_not_acknowledged(
    filled: Register, typed: dict[str, str], monkeypatch: pytest.MonkeyPatch, large: int
) -> None:
    """Of a large register as well, of which only what was written is read again."""
    own, path, notes = file._read_back, filled.path, "a remark that is found in the file"

    def spoiled(*words: object) -> None:
        raw = bytearray(path.read_bytes())
        raw[raw.rindex(notes.encode())] ^= 255
        path.write_bytes(raw)
        own(*words)

    monkeypatch.setattr(gate, "LARGE", large)
    monkeypatch.setattr(file, "_read_back", spoiled)
    with pytest.raises(
        RegisterError, match=r"damaged.*; what was entered just now could not be read back, so enter it"
    ):
        filled.add(KnownUnit.parse({**typed, "notes": notes}))


def test_what_is_added_to_a_spoiled_file_is_acknowledged_only_where_it_can_be_read(
    filled: Register, typed: dict[str, str]
) -> None:
    raw, rolls, told, record = filled.path.read_bytes(), random.Random(8), [], KnownUnit.parse(typed)
    for _ in range(share(8, 24)):
        spoiled, at = bytearray(raw), rolls.randrange(len(raw) // 2, len(raw) - 8)
        spoiled[at : at + 8] = bytes(byte ^ 255 for byte in spoiled[at : at + 8])
        filled.path.write_bytes(spoiled)
        try:
            filled.add(record)
        except RegisterError as error:
            told.append(str(error).partition(f"{filled.path}: it is damaged; {ADVICE}")[2])
        else:
            assert len(Register(filled.path).revisions()) == 51
    assert set(told) <= {"", "; what was entered just now could not be read back, so enter it again after that"}
    assert max(map(len, told)) > 0


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
@pytest.mark.parametrize("limit", [16_000, 200_000, 1_100_000])
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
    folder = Path(tempfile.mkdtemp())  # outside tmp_path, which no other user may enter
    folder.chmod(0o755)
    barred = {name: folder / name / "club.duckdb" for name in ("file", "gate", "log", "folder")}
    try:
        for path in barred.values():
            path.parent.mkdir()
            Register(path).add(KnownUnit.parse(typed))
            path.parent.chmod(0o777)
            for each in path.parent.iterdir():
                each.chmod(0o666)
        barred["file"].chmod(0o444)
        Path(f"{barred['gate']}.gate").chmod(0o444)
        Path(f"{barred['log']}.wal").touch(0o444)
        barred["folder"].parent.chmod(0o555)
        new = barred["folder"].with_name("new.duckdb")
        closed = folder / "closed" / "club.duckdb"
        closed.parent.mkdir(0o000)
        words = os.pathsep.join(map(str, (*barred.values(), new, closed)))
        _, said = ran(BARRED, words, str(tmp_path / "warm.duckdb"), *cells_of(typed)[:-1], "winding_temp_c=20")
        tail = "it is read-only here; change its permissions or work on a copy"
        assert said.splitlines() == [
            *("1", f"{barred['file']}: {tail}"),
            *("1", f"{barred['gate']}.gate: {tail}"),
            *("1", f"{barred['log']}.wal: {tail}"),
            *("1", f"{barred['folder'].parent}: {tail}"),
            f"{new.parent}: {tail}",
            f"{closed}: its folder may not be entered; ask whoever owns it for the permission",
        ]
        assert {path.name for path in new.parent.iterdir()} == {"club.duckdb", "club.duckdb.gate"}
    finally:
        barred["folder"].parent.chmod(0o755)
        shutil.rmtree(folder)


@pytest.mark.parametrize("planted", ["link", "dangling link", "folder", "pipe"])
def test_what_is_planted_as_the_gate_is_told_and_not_followed(
    filled: Register, tmp_path: Path, typed: dict[str, str], planted: str
) -> None:
    """A link would have a file emptied, or made, that whoever planted it cannot write."""
    outside, gate_file = tmp_path / "outside.txt", Path(f"{filled.path}.gate")
    gate_file.unlink()
    if planted == "link":
        outside.write_text("untouched", encoding="utf-8")
    if "link" in planted:
        gate_file.symlink_to(outside)
    else:
        os.mkfifo(gate_file) if planted == "pipe" else gate_file.mkdir()
    what = "it is a link" if "link" in planted else "it is no file"
    for work in (filled.known, lambda: filled.add(KnownUnit.parse(typed))):
        with pytest.raises(RegisterError) as caught:
            work()
        assert str(caught.value) == f"{gate_file}: {what}, and the gate of a register is a plain file; take it away"
    assert outside.read_text(encoding="utf-8") == "untouched" if planted == "link" else not outside.exists()
    gate_file.rmdir() if planted == "folder" else gate_file.unlink()
    assert filled.count() == 50


@pytest.mark.skipif(sys.platform == "win32", reason="groups of this kind are a matter of POSIX systems")
def test_what_is_made_in_the_folder_of_a_group_belongs_to_the_group(tmp_path: Path, made: Path) -> None:
    """By somebody whose own new files nobody else may write."""
    shared, own = tmp_path / "shared", tmp_path / "own"
    before = os.umask(0o022)
    try:
        for folder in (shared, own):
            folder.mkdir()
        if os.geteuid() == 0:
            os.chown(shared, -1, 65534)
        shared.chmod(0o2775)
        for folder in (shared, own):
            Register(folder / "club.duckdb").backup(folder / "backup.duckdb")
            Register(shutil.copy(made, folder / "brought.duckdb"), create=False)
    finally:
        os.umask(before)
    names = {"club.duckdb", "club.duckdb.gate", "backup.duckdb", "brought.duckdb", "brought.duckdb.gate"}
    assert {path.name for path in shared.iterdir()} == {path.name for path in own.iterdir()} == names
    made_here = [path.stat() for path in shared.iterdir() if path.name != "brought.duckdb"]
    assert {found.st_gid for found in made_here} == {shared.stat().st_gid}
    assert {found.st_mode & 0o777 for found in made_here} == {0o664}
    assert {path.stat().st_mode & 0o777 for path in own.iterdir()} == {0o644}


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
        ("DROP VIEW latest_meters", "it no longer has the view latest_meters"),
        ("ALTER TABLE revisions DROP COLUMN notes", "it holds the table revisions, altered"),
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
