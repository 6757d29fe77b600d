"""A register in a lakehouse: many writers, copies there and back, a catalogue that goes and comes, clear errors."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from uuid import uuid4

import pytest

import calib
from calib.cli.main import main
from calib.errors import InputError, RegisterError
from calib.register import bulk, lakehouse, moving
from calib.register.attachments import evidence_of, of_record
from calib.register.lakehouse import Lakehouse
from calib.register.register import Register
from calib.register.safekeeping import check_register
from tests.app.visits import KNOWN, opened, settle, text_of
from tests.counts import share
from tests.lakehouse import catalogue
from tests.lakehouse.plugin import OF_EACH_KIND
from tests.register.conftest import TYPED
from tests.register.test_evidence_file import picture
from tests.warm import Begun, ran

ADDER = """
import sys
import calib
from tests.register.conftest import TYPED
address, bench, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
register = calib.Register(address, create=False)
for number in range(count):
    report = register.add(calib.KnownUnit.parse({**TYPED, "contributor": bench, "unit": f"unit {number}"}, where="row"))
    assert report.added == 1, report
"""
FULL = """
import resource, sys
import calib
place, table, limit = sys.argv[1:]
register, known = calib.Register(place, create=False), calib.read_known(table)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), resource.RLIM_INFINITY))
try:
    said = register.import_table(known).added
except calib.CannotError as error:
    said = error
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(said)
"""


def record(**more: str) -> calib.KnownUnit:
    return calib.KnownUnit.parse({**TYPED, **more}, where="row")


@pytest.fixture
def address() -> Iterator[str]:
    yield catalogue.made(f"own_{uuid4().hex}")
    lakehouse.let_go()


def contents(register: Register, folder: Path) -> dict[str, bytes]:
    """What an export of a register holds, by the path of each file."""
    register.export(folder)
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_many_processes_add_while_a_fit_runs_and_the_page_is_open_and_nothing_is_lost(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eight, of 100 records each, when all is tried."""
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_REGISTER", address)
    writers, each = share(4, 8), share(5, 100)
    started = [Begun(ADDER, address, f"bench {n}", str(each)) for n in range(writers)]
    at = opened(KNOWN)
    register, seen = Register(address, create=False), []
    while any(one.runs for one in started):
        known = register.known()
        seen.append(len(known))
        assert len(known) < 2 or calib.fit(known, published=False).nobs == len(known)
        at.run()
        assert not [*at.exception, *at.error]
        time.sleep(0.3)
    assert [(done.returncode, done.stderr) for done in (one.ended() for one in started)] == [(0, "")] * writers
    assert seen == sorted(seen)
    assert len(register.known()) == writers * each
    assert f"{writers * each} known units" in text_of(at.run())
    assert register.known().groupby("contributor").size().tolist() == [each] * writers
    assert check_register(address).is_sound


def test_amendments_of_one_record_at_once_are_each_a_revision(address: str) -> None:
    register = Register(address, create=False)
    register.add(record())
    notes = [f"read by hand {number}" for number in range(6)]
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(lambda text: Register(address, create=False).amend(record(notes=text), reason=text), notes))
    found = register.history(TYPED["contributor"], TYPED["unit"])
    assert found["revision"].tolist() == [*range(1, 8)]
    assert sorted(found["notes"].tolist()[1:]) == notes
    assert register.record(TYPED["contributor"], TYPED["unit"]).notes == found["notes"].iloc[-1]
    assert check_register(address).is_sound


def test_an_amendment_of_what_was_revised_meanwhile_is_asked_again(address: str) -> None:
    register = Register(address, create=False)
    register.add(was := record())
    assert register.import_table(register.known().head(0)).holds == 1  # what has no rows is of no type either
    register.amend(record(notes="first"), instead_of=was)
    with pytest.raises(InputError, match="revised"):
        register.amend(record(notes="second"), instead_of=was)


def test_copied_there_and_back_it_hands_out_the_same_bytes(address: str, tmp_path: Path) -> None:
    own = Register(tmp_path / "own.duckdb")
    for number in range(3):
        own.add(record(unit=f"unit {number}"), by="Anna", reason="read")
    own.amend(record(unit="unit 1", notes="read again"), by="Otto", reason="a better meter")
    own.withdraw(TYPED["contributor"], "unit 2", by="Otto", reason="rewound since")
    own.attach(of_record(TYPED["contributor"], "unit 1"), evidence_of(picture(), "plate.jpg"), by="Anna")
    own.keep_session("unit 1", {"look": {"rust": "none"}}, "look", contributor="Alder Lane")
    before = contents(own, tmp_path / "before")

    carried = calib.carry(own.path, address)
    assert (carried.known, carried.rows["revisions"], carried.rows["session_revisions"]) == (2, 5, 1)
    assert contents(Register(address, create=False), tmp_path / "there") == before
    assert sum(calib.carry(own.path, address).rows.values()) == 0
    calib.carry(address, tmp_path / "back.duckdb")
    assert contents(Register(tmp_path / "back.duckdb"), tmp_path / "after") == before
    assert check_register(address).is_sound
    with pytest.raises(InputError, match="a file of that name"):
        calib.carry(address, tmp_path / "back.duckdb")


def test_a_copying_that_was_stopped_goes_on_where_it_was(address: str, tmp_path: Path) -> None:
    own = Register(tmp_path / "own.duckdb")
    own.add(record())
    own.keep_session("unit 1", {"look": {}}, "look")
    with Lakehouse(address).opened(also=Path(str(own.path))) as con:
        con.execute(f"ATTACH '{own.path}' AS source (TYPE duckdb, READ_ONLY)")
        con.execute("INSERT INTO revisions BY NAME FROM source.revisions")
    carried = calib.carry(own.path, address)
    assert (carried.rows["revisions"], carried.rows["session_revisions"], carried.known) == (0, 1, 1)


def test_a_lakehouse_with_records_of_its_own_is_not_copied_over(address: str, tmp_path: Path) -> None:
    Register(address, create=False).add(record())
    Register(tmp_path / "own.duckdb").add(record(unit="another"))
    with pytest.raises(InputError, match="1 rows of its table revisions"):
        calib.carry(tmp_path / "own.duckdb", address)


def test_the_commands_work_on_it_as_on_a_file_once_setting_up_went_to_its_end(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    known = str(calib.shipped("datasets/practice/known.csv"))
    database, data = f"commands_{uuid4().hex}", tmp_path / "data"
    catalogue.asked(f"CREATE DATABASE {database}")
    place = catalogue.address(database)
    data.mkdir()
    assert main(["check", "--register", place]) == 2
    assert "make this one with calib set-up" in capsys.readouterr().err
    with monkeypatch.context() as patch:
        patch.setattr(moving, "note_kind", None)
        with pytest.raises(TypeError):
            calib.set_up_lakehouse(place, data, simulated=True)
    monkeypatch.setenv("CALIB_REGISTER", place)
    assert main(["fit"]) == 1
    assert "its set-up did not come to its end" in (told := capsys.readouterr().err)
    assert "run calib set-up once more" in told
    for _ in range(2):
        assert main(["set-up", place, "--data-path", str(data), "--simulated", "true"]) == 0
        assert capsys.readouterr().out.endswith("is a register of simulated records; known units: 0\n")
    found = check_register(place)
    assert (found.is_sound, sum(found.rows.values())) == (True, 1 + found.rows["schema_steps"])
    assert main(["import", known]) == 0
    assert main(["check"]) == 0
    assert main(["fit", "--format", "json"]) == 0
    assert f'"records": {len(calib.read_known(known))}' in capsys.readouterr().out
    assert main(["export", str(tmp_path / "out")]) == 0
    assert main(["backup", str(tmp_path / "copy.duckdb")]) == 0
    assert main(["restore-from", str(tmp_path / "copy.duckdb")]) == 2
    assert "carry the backup into it" in capsys.readouterr().err
    lakehouse.let_go()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("ducklake:postgres:dbname", "is no address of a catalogue"),
        ("ducklake:postgres:host=127.0.0.1", "names no database"),
    ],
)
def test_an_address_that_is_none_is_refused(typed: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        Register(typed, create=False)


def test_a_password_is_never_shown() -> None:
    place = Lakehouse("ducklake:postgres:dbname=club user=anna password=moth")
    assert "moth" not in f"{place} {place!r}"
    assert "anna" in str(place)


def test_a_catalogue_that_is_not_there_is_one_line() -> None:
    with pytest.raises(RegisterError, match="its catalogue in PostgreSQL cannot be reached") as told:
        Register("ducklake:postgres:dbname=club host=127.0.0.1 port=9 user=anna", create=False)
    assert "\n" not in str(told.value)


def test_a_database_without_a_register_is_said() -> None:
    catalogue.asked(f"CREATE DATABASE {(name := f'empty_{uuid4().hex}')}")
    with pytest.raises(RegisterError, match="there is no register in that database; set it up"):
        Register(catalogue.address(name), create=False)


def test_the_signature_of_an_extension_is_checked_where_this_process_has_not_loaded_it_as_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def unsigned() -> object:
        with closing(lakehouse._engine()) as con:
            return con.execute("SELECT current_setting('allow_unsigned_extensions')").fetchone()

    monkeypatch.setattr(lakehouse, "_CHECKED", seen := {})
    assert [unsigned(), unsigned()] == [(False,), (True,)]
    path = next(iter(seen))
    seen[path] = (*seen[path][:-1], 0)
    assert unsigned() == (False,)
    assert unsigned() == (True,)
    monkeypatch.setattr(lakehouse, "_packaged", lambda name: "")  # by DuckDB's own installer, in a folder of the user's
    monkeypatch.setattr(lakehouse, "_load", lambda con, name: None)
    assert [unsigned(), unsigned()] == [(False,), (False,)]


def test_a_writer_who_waits_too_long_is_told_who_writes(address: str) -> None:
    register = Register(address, create=False, wait=0.3)
    with Lakehouse(address).turn(), pytest.raises(RegisterError, match=r"busy; calib, process \d+ on .* holds it"):
        register.add(record())
    assert register.add(record()).added == 1


def test_what_stands_in_it_and_is_not_calibs_is_refused(address: str) -> None:
    with Lakehouse(address).opened() as con:
        con.execute("CREATE VIEW stray AS SELECT 1 AS one")
    lakehouse.let_go()
    from calib.register import file

    file._OURS.clear()
    with pytest.raises(RegisterError, match="holds the view stray"):
        Register(address, create=False)


def test_the_chosen_tests_of_the_register_are_there() -> None:
    root = Path(__file__).parents[1]
    for file, names in OF_EACH_KIND.items():
        (text,) = (path.read_text(encoding="utf-8") for path in root.rglob(file))
        assert not [name for name in names if f"def {name.partition('[')[0]}(" not in text]


def test_no_statement_reaches_another_file(address: str, tmp_path: Path) -> None:
    import duckdb

    (tmp_path / "secret.csv").write_text("a\n1\n")
    with Lakehouse(address).opened() as con:
        assert con.execute("SELECT count(*) FROM revisions").fetchone() == (0,)
        with pytest.raises(duckdb.Error, match="file system operations are disabled"):
            con.execute(f"SELECT * FROM read_csv('{tmp_path}/secret.csv')")


def test_a_storage_that_is_full_is_one_line_and_nothing_is_half_written(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder of the data takes no more; the catalogue does. Then the table is brought in as a large one is."""
    table = tmp_path / "many.csv"
    rows = [",".join({**TYPED, "unit": f"unit {number}"}.values()) for number in range(400)]
    table.write_text("\n".join([",".join(TYPED), *rows, ""]), encoding="utf-8")
    done = ran(FULL, address, str(table), "100")
    assert (done.returncode, done.stderr, done.stdout.count("\n")) == (0, "", 1)
    assert "full" in done.stdout
    register = Register(address, create=False)
    assert register.known().empty
    for name, some in (("LARGE", 0), ("SLICE", 150)):
        monkeypatch.setattr(bulk, name, some)
    assert register.import_csv(table).added == 400
    table.write_text(table.read_text(encoding="utf-8").replace("unit 7,", "unit seven,"), encoding="utf-8")
    again = register.import_csv(table)
    assert (again.added, again.unchanged, again.revised, again.holds) == (1, 399, 0, 401)
    assert check_register(address).is_sound
