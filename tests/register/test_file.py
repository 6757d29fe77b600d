"""Steps of the schema: in order, each once, each whole with the note of it."""

from __future__ import annotations

import datetime
import errno
import gzip
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import Mock

import duckdb
import pytest

from calib.errors import RegisterError
from calib.register import file, gate
from calib.register.file import Step, applied, migrate, steps, tables
from calib.register.frame import frame_of
from calib.register.gate import attach, engine
from calib.register.records import KnownUnit, fields
from calib.register.register import Register
from tests.counts import WHOLE

FIRST = Step(1, "one", "CREATE TABLE one (a INTEGER); INSERT INTO one VALUES (1);")
SECOND = Step(2, "two", "CREATE TABLE two (a INTEGER); INSERT INTO one VALUES (2);")
BROKEN = Step(2, "broken", "CREATE TABLE two (a INTEGER); INSERT INTO one VALUES (2); SELECT * FROM nowhere;")


@pytest.fixture
def con(tmp_path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    with engine() as con:
        attach(con, tmp_path / "steps.duckdb", "register")
        con.execute("USE register")
        yield con


def test_steps_run_in_order_and_once(con: duckdb.DuckDBPyConnection) -> None:
    assert applied(con) == 0
    assert migrate(con, (FIRST,)) == 1
    assert migrate(con, (FIRST, SECOND)) == 1
    assert migrate(con, (FIRST, SECOND)) == 0
    assert con.execute("SELECT a FROM one ORDER BY a").fetchall() == [(1,), (2,)]
    assert con.execute("SELECT step, name FROM schema_steps ORDER BY step").fetchall() == [(1, "one"), (2, "two")]


def test_a_step_that_fails_leaves_the_earlier_ones_and_stays_to_be_done(con: duckdb.DuckDBPyConnection) -> None:
    with pytest.raises(duckdb.CatalogException, match="nowhere"):
        migrate(con, (FIRST, BROKEN))
    assert applied(con) == 1
    assert "two" not in tables(con)
    assert con.execute("SELECT a FROM one").fetchall() == [(1,)]
    assert migrate(con, (FIRST, SECOND)) == 1


def test_a_new_register_is_made_whole_or_not_at_all_and_opened_without_another_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, made = tmp_path / "club.duckdb", Mock(side_effect=gate.engine)
    monkeypatch.setattr(file, "engine", made)
    monkeypatch.setattr(gate, "engine", made)
    monkeypatch.setattr(file, "steps", lambda: (FIRST, BROKEN))
    with pytest.raises(duckdb.CatalogException, match="nowhere"):
        Register(path)
    assert [*tmp_path.iterdir()] == []
    monkeypatch.setattr(file, "steps", steps)
    made.reset_mock()
    looked = Mock(side_effect=file.stranger)
    monkeypatch.setattr(file, "stranger", looked)
    assert Register(path).count() == 0
    assert (made.call_count, looked.call_count) == (1, 0)
    with file.opened(path) as con, pytest.raises(duckdb.PermissionException):
        con.execute("SELECT * FROM read_text('/etc/hostname')")


def test_steps_are_numbered_without_a_gap(tmp_path: Path) -> None:
    (tmp_path / "0001_a.sql").write_text("SELECT 1")
    (tmp_path / "notes.txt").write_text("")
    assert [step.name for step in steps(tmp_path)] == ["a"]
    (tmp_path / "0003_c.sql").write_text("SELECT 1")
    steps.cache_clear()
    with pytest.raises(ValueError, match=r"numbered \[1, 3\], not 1 to 2"):
        steps(tmp_path)


def test_the_tables_hold_every_field_of_a_record_with_its_type(tmp_path: Path) -> None:
    path = Register(tmp_path / "club.duckdb").path
    with file.opened(path) as con:
        found = con.execute(
            "SELECT column_name, data_type, is_nullable FROM duckdb_columns() WHERE table_name = 'revisions'"
        ).fetchall()
    kinds = {"number": "DOUBLE", "flag": "BOOLEAN", "date": "DATE", "text": "VARCHAR", "choice": "VARCHAR"}
    wanted = [(each.name, kinds[each.kind], not each.needed and each.kind != "flag") for each in fields(KnownUnit)]
    assert {*wanted} <= {(name, kind, bool(nullable)) for name, kind, nullable in found}


def test_an_older_register_is_brought_up_to_date_with_its_records(
    tmp_path: Path, typed: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "club.duckdb"
    Register(path).add(KnownUnit.parse(typed))
    more = (*steps(), Step(len(steps()) + 1, "remarks", "CREATE TABLE remarks (text VARCHAR)"))
    monkeypatch.setattr(file, "steps", lambda: more)
    register = Register(path)
    assert register.count() == 1
    register.add(KnownUnit.parse({**typed, "unit": "AL-8"}))
    with file.opened(path) as con:
        assert "remarks" in tables(con)
        assert applied(con) == len(more)


SHIPPED = sorted((Path(__file__).parent / "shipped").glob("*.duckdb.gz"))
# The first goes through every step, the second is the first with sessions, the fourth with sheets; and the last two.
TRIED = SHIPPED if WHOLE else [*SHIPPED[:2], SHIPPED[3], *SHIPPED[-2:]]


@pytest.mark.parametrize("shipped", TRIED, ids=lambda path: path.name.split(".")[0])
def test_a_register_of_every_schema_ever_shipped_keeps_everything(
    tmp_path: Path, typed: dict[str, str], shipped: Path
) -> None:
    """Each was made by the code of its time: two adds of one unit, one of another, which was withdrawn."""
    path, old = tmp_path / "club.duckdb", gzip.decompress(shipped.read_bytes())
    path.write_bytes(old)
    register = Register(path)
    found = register.revisions()
    assert found[["unit", "revision", "action"]].to_numpy().tolist() == [
        ["AL-7", 1, "add"],
        ["AL-7", 2, "add"],
        ["AL-8", 1, "add"],
        ["AL-8", 2, "withdraw"],
    ]
    assert found["reason"].tolist() == ["", "new meter", "", "scrapped"]
    has_sheets = int(shipped.name[7:11]) >= 4
    assert found["lamination"].tolist() == ["", "", *(["ei-scrapless" if has_sheets else ""] * 2)]
    assert found["window_height_mm"].dropna().tolist() == ([42.0, 42.0] if has_sheets else [])
    assert frame_of(KnownUnit, [KnownUnit.parse({**typed, "rated_current_ma": "95"})]).equals(register.known())
    has_sessions = "schema_0001" not in shipped.name
    assert register.sessions()["tag"].tolist() == (["AL-9"] if has_sessions else [])
    assert len(register.meters()) == 0
    if shipped == SHIPPED[0]:
        register.export(tmp_path / "out")
    register.backup(tmp_path / "backup.duckdb")
    assert path.read_bytes() == old  # to read it changes nothing
    with gate.patience(tell=(told := []).append):
        assert register.add(KnownUnit.parse({**typed, "unit": "AL-9"})).holds == 2
        assert register.keep_session("AL-7", {}, "ratio").revision == 1
    with file.opened(path) as con:
        assert applied(con) == len(steps())
    copies = sorted(tmp_path.glob("club.schema-*"))
    if int(shipped.name[7:11]) == len(steps()):
        assert copies == told == []
        return
    (copy,) = copies
    today = datetime.date.today()
    assert copy.name == f"club.schema-{int(shipped.name[7:11])}.{today}.duckdb"
    said = "it was made by an older calib and is brought up to date; it stays as it was in"
    assert told == [f"{path}: {said} {copy.name}"]
    for kept in (copy, tmp_path / "backup.duckdb"):  # both are of the schema that it had
        assert Register(kept).revisions().equals(found)
        with gate.session(kept) as con:
            assert applied(con) == int(shipped.name[7:11])


def test_an_old_register_that_cannot_be_copied_is_not_brought_up_to_date(tmp_path: Path, typed: dict[str, str]) -> None:
    path, old = tmp_path / "club.duckdb", gzip.decompress(SHIPPED[0].read_bytes())
    path.write_bytes(old)
    with pytest.MonkeyPatch.context() as full:
        full.setattr(file.os, "link", Mock(side_effect=OSError(errno.ENOSPC, "No space left on device")))
        full.setattr(file.os, "replace", Mock(side_effect=OSError(errno.ENOSPC, "No space left on device")))
        with pytest.raises(RegisterError, match=r"club\.schema-1\.[-0-9]+\.duckdb: the disk is full"):
            Register(path).add(KnownUnit.parse(typed))
    assert path.read_bytes() == old
    assert {each.name for each in tmp_path.iterdir()} == {"club.duckdb", "club.duckdb.gate"}


def test_there_is_a_register_of_every_schema_but_the_present() -> None:
    assert len(SHIPPED) >= len(steps()) - 1
    assert [path.name[:11] for path in SHIPPED] == [f"schema_{number:04}" for number in range(1, len(SHIPPED) + 1)]


def test_a_register_of_a_newer_calib_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "club.duckdb"
    with monkeypatch.context() as newer:
        newer.setattr(
            file, "steps", lambda: (*steps(), Step(len(steps()) + 1, "later", "CREATE TABLE later (a INTEGER)"))
        )
        Register(path)
    said = rf"club\.duckdb: a newer version of calib wrote it \(schema {len(steps()) + 1}\)"
    with pytest.raises(RegisterError, match=said):
        Register(path)
