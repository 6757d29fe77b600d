"""A register read from end to end, copied, and put back from a copy: what is wrong is found, and nothing is deleted."""

from __future__ import annotations

import errno
import os
import random
import shutil
import stat
import sys
from datetime import date
from pathlib import Path
from unittest.mock import Mock

import duckdb
import pytest

from calib.errors import InputError, RegisterError
from calib.register import file
from calib.register.bench_book import Meter
from calib.register.frame import frame_of
from calib.register.records import KnownUnit
from calib.register.register import Register
from calib.register.safekeeping import check_register, restore_register
from tests.counts import share
from tests.register.conftest import TYPED
from tests.register.test_gate import HOLD
from tests.register.test_trouble import UNSAVED, cells_of, ran
from tests.warm import Begun

TODAY = date.today()
METER = {"name": "Bench", "reads": "volt", "range_label": "20 V", "percent": "0.5", "counts": "3", "resolution": "0.01"}


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty units, one of them revised and one withdrawn, a meter and a session."""
    path = tmp_path_factory.mktemp("original") / "club.duckdb"
    file.make(path, False, frame_of(KnownUnit, [KnownUnit.parse({**TYPED, "unit": f"U-{n}"}) for n in range(20)]))
    register = Register(path)
    register.amend(KnownUnit.parse({**TYPED, "unit": "U-1", "rated_current_ma": "95"}))
    register.withdraw("Alder Lane", "U-2")
    register.keep_meter(Meter.parse(METER))
    register.keep_session("AL-9", {"look": {"tag": "AL-9"}}, "look")
    return path


@pytest.fixture
def club(original: Path, tmp_path: Path) -> Path:
    """A copy of it, with nothing beside it."""
    return Path(shutil.copy(original, tmp_path / "club.duckdb"))


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_a_sound_register_is_found_sound_and_left_as_it_is(club: Path) -> None:
    before, found = club.read_bytes(), check_register(club)
    assert (found.is_sound, found.standing, found.findings) == (True, 19, ())
    assert (found.rows["revisions"], found.rows["meter_revisions"], found.rows["session_revisions"]) == (22, 1, 1)
    assert str(found).endswith(
        "known units: 19; read through: revisions of known units 22, of meters 1, of bench sessions 1, "
        "of units on the bench 0, of attached files 0; nothing is wrong with it"
    )
    assert club.read_bytes() == before
    assert names_in(club.parent) == {"club.duckdb"}


@pytest.mark.parametrize(
    ("altered", "said"),
    [
        (
            "UPDATE revisions SET hv_resistance_ohm = 'inf' WHERE unit = 'U-3'",
            "U-3: hv_resistance_ohm 'inf' is not a",
        ),
        (
            "UPDATE revisions SET hv_v = -3 WHERE unit = 'U-4'",
            "known unit Alder Lane, U-4: hv_v '-3' is outside",
        ),
        ("UPDATE revisions SET hv_v = 'inf' WHERE unit = 'U-2'", "2 of its revisions have a hv_v that is no number"),
        (
            "UPDATE revisions SET evidence = 'hearsay' WHERE unit = 'U-5'",
            "U-5: evidence 'hearsay' is not one of",
        ),
        ("UPDATE revisions SET simulated = true WHERE unit = 'U-1'", "2 of its revisions are simulated, and it is not"),
        (
            "DELETE FROM revisions WHERE unit = 'U-1' AND revision = 1",
            "known unit Alder Lane, U-1: of its revisions 1 can",
        ),
        (
            "INSERT INTO revisions SELECT * FROM revisions WHERE unit = 'U-6'",
            "U-6: of its revisions 2 can be counted, the last is number 1",
        ),
        (
            "UPDATE revisions SET unit = 'U-99' WHERE unit = 'U-7'",
            "U-99: it is not kept under its own name",
        ),
        ("DELETE FROM about", "it does not say, once, whether its records are simulated"),
        ("UPDATE session_revisions SET entries = '{'", "bench session AL-9: what was entered cannot be read"),
        ("UPDATE session_revisions SET entries = '[1]'", "bench session AL-9: what was entered cannot be read"),
        ("UPDATE meter_revisions SET percent = 'inf'", "meter Bench: percent 'inf' is not a number; enter it again as"),
        (
            "UPDATE meter_revisions SET revision = 3",
            "meter Bench 20 V: of its revisions 1 can be counted, the last is number 3",
        ),
    ],
)
def test_what_was_altered_is_found_and_never_a_traceback(club: Path, altered: str, said: str) -> None:
    with duckdb.connect(str(club)) as con:
        con.execute(altered)
    found = check_register(club)
    assert any(said in finding for finding in found.findings), found
    assert all("; " in finding for finding in found.findings)  # each with what to do
    told = ""
    try:
        register = Register(club)
        register.known(), register.revisions(), register.meters()
        register.session(register.sessions()["session_id"].iloc[0])
    except RegisterError as error:
        told = str(error)
    assert told == "" or told.startswith(f"{club}: ")
    assert len(told.splitlines()) <= 1


@pytest.mark.parametrize(
    "altered",
    [
        "UPDATE revisions SET recorded_on = 'infinity'",
        "DROP VIEW latest",
        "ALTER TABLE session_revisions DROP COLUMN tag",
        "DELETE FROM schema_steps",
    ],
)
def test_what_cannot_be_read_at_all_is_one_line(club: Path, altered: str) -> None:
    with duckdb.connect(str(club)) as con:
        con.execute(altered)
    for attempt in (lambda: check_register(club), lambda: Register(club).known()):
        with pytest.raises(RegisterError, match=r"club\.duckdb: (it|a) .*: use a backup") as caught:
            attempt()
        assert len(str(caught.value).splitlines()) == 1


def test_flipped_bytes_are_found_or_do_no_harm(club: Path) -> None:
    raw, sound, rolls, found = club.read_bytes(), Register(club).revisions(), random.Random(5), 0
    for _ in range(share(8, 25)):
        spoiled, at = bytearray(raw), rolls.randrange(len(raw) - 8)
        spoiled[at : at + 8] = bytes(byte ^ 255 for byte in spoiled[at : at + 8])
        club.write_bytes(spoiled)
        told = ""
        try:
            told = "".join(check_register(club).findings)
        except RegisterError as error:
            told = str(error)
        if told:
            found += 1
            assert "it is damaged" in told or "it is no register" in told
        else:
            assert Register(club).revisions().equals(sound)
    assert found


def test_a_log_that_breaks_off_is_found_and_left(club: Path) -> None:
    assert ran(UNSAVED, str(club), *cells_of(TYPED)) == (0, "")
    log = Path(f"{club}.wal")
    log.write_bytes(log.read_bytes()[:-20])
    cut = log.read_bytes()
    found = check_register(club)
    assert found.standing == 21
    assert "the log beside it, club.duckdb.wal, breaks off: 2 complete changes in it are counted" in found.findings[0]
    assert log.read_bytes() == cut


def test_what_a_killed_copy_left_is_told_and_is_no_fault_of_the_register(club: Path) -> None:
    left, another = club.with_name(".0123456789ab.calib.new"), club.with_name(".notes.calib.new")
    left.write_bytes(bytes(2_500_000))
    another.write_bytes(b"somebody's own")
    found = check_register(club)
    assert found.is_sound
    (said,) = found.left_over
    assert said.startswith(
        f"{left}: part of a register that somebody makes or copies, or was stopped at (2.5 MB); delete"
    )
    assert str(found).splitlines()[1:] == [said]
    left.unlink()
    assert check_register(club).left_over == ()


@pytest.mark.parametrize("taken", [False, True])
def test_where_there_are_no_links_nothing_is_overwritten_either(
    club: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken: bool
) -> None:
    """As on a memory stick; somebody's file comes to be there after the name was found free."""
    copy, sound = tmp_path / "backup.duckdb", Register(club).revisions()

    def link(*_: object) -> None:
        if taken:
            copy.write_bytes(b"somebody's own")
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(file.os, "link", link)
    if taken:
        with pytest.raises(
            RegisterError, match=r"backup\.duckdb: a file of that name has come to be there; name another"
        ):
            Register(club).backup(copy)
        assert copy.read_bytes() == b"somebody's own"
    else:
        Register(club).backup(copy)
        assert Register(copy).revisions().equals(sound)
    assert {".gate" if each.suffix == ".gate" else each.name for each in tmp_path.iterdir()} == {
        "club.duckdb",
        "backup.duckdb",
        ".gate",
    }


def test_a_backup_is_put_in_place_and_what_was_there_is_moved_aside(club: Path) -> None:
    """The register is damaged and has a log beside it; both are kept, byte for byte, under one new name."""
    backup, log = Register(club).backup(club.with_name("backup.duckdb")), Path(f"{club}.wal")
    club.write_bytes(club.read_bytes()[:20000])
    log.write_bytes(b"what was written last")
    was, was_in_log = club.read_bytes(), log.read_bytes()
    found, moved = restore_register(backup, club)
    assert moved == club.with_name(f"club.before-restore.{TODAY}.duckdb")
    assert moved.read_bytes() == was
    assert Path(f"{moved}.wal").read_bytes() == was_in_log
    assert (found.path, found.standing, found.is_sound) == (club, 19, True)
    assert Register(club).revisions().equals(Register(backup).revisions())
    Register(club).withdraw("Alder Lane", "U-3")
    _, again = restore_register(backup, club)
    assert again == club.with_name(f"club.before-restore.{TODAY}-1.duckdb")
    assert Register(again).count() == 18
    assert Register(club).count() == 19
    assert moved.read_bytes() == was


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of this kind are a matter of POSIX systems")
def test_who_may_not_read_a_register_may_not_read_its_copies(club: Path, tmp_path: Path) -> None:
    club.chmod(0o600)
    backup = Register(club).backup(tmp_path / "backup.duckdb")
    restore_register(backup, club)
    assert [stat.S_IMODE(path.stat().st_mode) for path in (backup, club)] == [0o600, 0o600]
    backup.chmod(0o400)  # a backup that nobody is to change
    restore_register(backup, club)
    assert stat.S_IMODE(club.stat().st_mode) == 0o600


def test_what_lies_about_under_a_new_name_is_neither_taken_in_nor_overwritten(club: Path, tmp_path: Path) -> None:
    log, another = tmp_path / "backup.duckdb.wal", Path(f"{club.stem}.before-restore.{TODAY}.duckdb.wal")
    log.write_bytes(b"left over")
    with pytest.raises(RegisterError, match=r"backup\.duckdb\.wal: it is left over from a register that is gone; move"):
        Register(club).backup(tmp_path / "backup.duckdb")
    assert log.read_bytes() == b"left over"
    assert not (tmp_path / "backup.duckdb").exists()
    log.unlink()
    backup = Register(club).backup(tmp_path / "backup.duckdb")
    (tmp_path / another).write_bytes(b"another's")
    Path(f"{club}.wal").write_bytes(b"what was written last")
    _, moved = restore_register(backup, club)
    assert moved == tmp_path / f"club.before-restore.{TODAY}-1.duckdb"
    assert (tmp_path / another).read_bytes() == b"another's"


def test_a_backup_makes_a_register_where_there_is_none(club: Path, tmp_path: Path) -> None:
    found, moved = restore_register(club, tmp_path / "new.duckdb")
    assert (found.standing, moved) == (19, None)
    assert Register(tmp_path / "new.duckdb", create=False).count() == 19


def test_what_is_no_sound_backup_of_the_same_kind_is_refused_and_nothing_is_moved(club: Path, tmp_path: Path) -> None:
    raw, bad = club.read_bytes(), tmp_path / "bad.duckdb"
    bad.write_bytes(raw[: len(raw) // 2])
    altered = Path(shutil.copy(club, tmp_path / "altered.duckdb"))
    with duckdb.connect(str(altered)) as con:
        con.execute("DELETE FROM revisions WHERE unit = 'U-1' AND revision = 1")
    notes = tmp_path / "notes.txt"
    notes.write_text("notes\n" * 900)
    simulated = Register(tmp_path / "practice.duckdb", simulated=True).path
    for backup, error, said in (
        (bad, RegisterError, r"bad\.duckdb: it is .*damaged; take another backup"),
        (altered, RegisterError, r"altered\.duckdb: it is not sound, so nothing was restored: .*; take another backup"),
        (notes, RegisterError, r"notes\.txt: it is no register"),
        (simulated, InputError, r"holds real records, and the backup simulated ones; name another file"),
        (club, InputError, "is the register itself"),
    ):
        before = names_in(tmp_path)
        with pytest.raises(error, match=said):
            restore_register(backup, club)
        assert club.read_bytes() == raw
        assert names_in(tmp_path) == before


def test_a_register_that_somebody_has_open_is_not_moved_away_under_him(club: Path, tmp_path: Path) -> None:
    backup, raw = Path(shutil.copy(club, tmp_path / "backup.duckdb")), club.read_bytes()
    holder = Begun(HOLD, str(club))
    assert holder.printed() == ["held"]
    try:
        with pytest.raises(RegisterError, match=rf"club\.duckdb: it is busy; process {holder.pid} "):
            restore_register(backup, club, wait=0.3)
    finally:
        holder.kill()
    assert club.read_bytes() == raw
    assert names_in(tmp_path) == {"backup.duckdb", "club.duckdb"}


@pytest.mark.parametrize("at", ["link", "rename"])
@pytest.mark.parametrize("interruption", [OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), KeyboardInterrupt()])
def test_where_it_cannot_be_put_in_place_all_is_as_it_was(
    club: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, interruption: BaseException, at: str
) -> None:
    """Interrupted where it is put in place, or just as what was there is moved aside."""
    backup, raw, log = Path(shutil.copy(club, tmp_path / "backup.duckdb")), club.read_bytes(), Path(f"{club}.wal")
    log.write_bytes(b"what was written last")
    rename, moved = os.rename, []

    def interrupted(*names: object) -> None:
        if at == "rename":
            rename(*names)
        if not moved:
            moved.append(names)
            raise interruption

    monkeypatch.setattr(file.os, at, interrupted)
    monkeypatch.setattr(file.os, "replace", Mock(side_effect=interruption))
    with pytest.raises((RegisterError, KeyboardInterrupt)) as caught:
        restore_register(backup, club)
    assert isinstance(caught.value, KeyboardInterrupt) or "the disk is full" in str(caught.value)
    assert club.read_bytes() == raw
    assert log.read_bytes() == b"what was written last"
    assert names_in(tmp_path) == {"backup.duckdb", "club.duckdb", "club.duckdb.wal"}
