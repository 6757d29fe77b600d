"""Bundles merged: the same register comes out, nothing is rewritten, and what contradicts is shown and waits."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import duckdb
import frictionless
import pytest

from calib.errors import InputError
from calib.register import merge as merging
from calib.register.merge import Bundle, read_bundle
from calib.register.package import NAMES, descriptor
from calib.register.records import KnownUnit
from calib.register.register import Register
from calib.register.tables import sha256_of
from tests.register.conftest import TYPED

LANE = "Alder Lane"


def record(**changed: str) -> KnownUnit:
    return KnownUnit.parse({**TYPED, **changed})


def files_of(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in NAMES}


def described(files: dict[str, bytes]) -> dict[str, bytes]:
    """The same files, with a descriptor that has their hashes."""
    told = json.loads(files["datapackage.json"])
    for one in told["resources"]:
        one["hash"] = f"sha256:{sha256_of(files[one['path']])}"
    return files | {"datapackage.json": json.dumps(told).encode()}


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A register of three units and six revisions, and its export beside it; not to be changed."""
    place = tmp_path_factory.mktemp("club")
    register = Register(place / "club.duckdb")
    register.add(record(notes='=two\nlines, "quoted"', recorded_on="0999-03-09", hv_resistance_ohm="310.1234567890123"))
    for unit in ("AL-8", "AL-9"):
        register.add(record(unit=unit), by="'=Ferry House")
    register.amend(record(rated_current_ma="95"), by="Ferry House", reason="read again")
    register.withdraw(LANE, "AL-8", reason="scrapped")
    register.add(record(unit="AL-9", awg="34"))
    register.export(place / "out", licence="CC-BY-4.0")
    return place


@pytest.fixture(scope="module")
def bundle(club: Path) -> Bundle:
    return read_bundle(club / "out")


@pytest.fixture
def mine(club: Path, tmp_path: Path) -> Register:
    """A copy of the register, to be changed."""
    return copy(club, tmp_path / "mine.duckdb")


def copy(club: Path, path: Path) -> Register:
    return Register(shutil.copy(club / "club.duckdb", path))


def states(register: Register, bundle: Bundle | Path) -> dict[str, int]:
    return {state: number for state, number in register.merge(bundle, preview=True).counts().items() if number}


def test_an_export_merged_into_an_empty_register_is_that_register_byte_for_byte(club: Path, tmp_path: Path) -> None:
    register = Register(tmp_path / "new.duckdb")
    preview = register.merge(club / "out", preview=True)
    assert (preview.counts()["new"], register.count(), preview.written) == (3, 0, 0)
    done = register.merge(club / "out", by="Tin Street")
    assert (done.written, done.holds) == (6, 2)
    register.export(tmp_path / "again", licence="CC-BY-4.0")
    assert files_of(tmp_path / "again") == files_of(club / "out")
    assert states(register, club / "out") == {"identical": 3}
    assert register.merge(club / "out").written == 0


def test_where_each_revision_came_from_is_kept(bundle: Bundle, tmp_path: Path) -> None:
    register = Register(tmp_path / "new.duckdb")
    register.merge(bundle, by="Tin Street")
    with duckdb.connect(register.path, read_only=True) as con:
        found = con.execute('SELECT first_revision, last_revision, bundle, licence, "by" FROM merges').fetchall()
        (content,) = con.execute("SELECT DISTINCT content FROM merges").fetchall()
    assert found == [(1, 2, "out", "CC-BY-4.0", "Tin Street")] * 3
    assert content == (bundle.content,)


def test_a_history_that_goes_on_where_the_other_ends_is_an_amendment(
    mine: Register, bundle: Bundle, club: Path, tmp_path: Path
) -> None:
    mine.amend(record(rated_current_ma="97"), by="Quarry Bank")
    mine.add(record(unit="AL-10"))
    assert states(mine, bundle) == {"identical": 2, "amended here": 1}
    mine.export(tmp_path / "back")
    theirs = copy(club, tmp_path / "theirs.duckdb")
    assert states(theirs, tmp_path / "back") == {"new": 1, "identical": 2, "amended": 1}
    assert theirs.merge(tmp_path / "back").written == 2
    assert theirs.revisions().equals(mine.revisions())


def test_the_same_record_entered_by_two_is_identical(tmp_path: Path) -> None:
    one, other = Register(tmp_path / "one.duckdb"), Register(tmp_path / "other.duckdb")
    one.add(record(), by="me")
    other.add(record(), by="you")
    one.export(tmp_path / "out")
    assert states(other, tmp_path / "out") == {"identical": 1}


@pytest.fixture
def apart(mine: Register, club: Path, tmp_path: Path) -> Path:
    """A bundle in which two records went on otherwise than in `mine`."""
    theirs = copy(club, tmp_path / "theirs.duckdb")
    theirs.amend(record(rated_current_ma="98", notes="'+1"), by="Tin Street")
    theirs.withdraw(LANE, "AL-9", by="Tin Street")
    theirs.add(record(unit="AL-10"))
    mine.amend(record(rated_current_ma="99"), by="Ferry House")
    mine.amend(record(unit="AL-9", awg="35"))
    theirs.export(tmp_path / "apart")
    return tmp_path / "apart"


def test_what_contradicts_is_told_column_by_column_and_waits(mine: Register, apart: Path) -> None:
    before = mine.revisions()
    found = mine.merge(apart)
    assert (found.counts()["contradicting"], found.counts()["new"], found.written) == (2, 1, 1)
    lines = [str(one) for one in sorted(found.contradicting, key=lambda one: one.unit)]
    assert lines[0].startswith(
        f"{LANE}, AL-7: rated_current_ma 99 here, 98 there, notes (blank) here, '+1 there; here by"
    )
    assert "AL-9: withdrawn false here, true there, awg 35 here, 34 there; here by nobody named" in lines[1]
    assert mine.revisions()[mine.revisions()["unit"] != "AL-10"].reset_index(drop=True).equals(before)


def test_what_contradicts_is_taken_when_it_is_chosen_as_a_revision_for_review(mine: Register, apart: Path) -> None:
    assert mine.merge(apart, by="me", take=[(LANE, "AL-7"), (LANE, "AL-9")]).written == 3
    last = mine.history(LANE, "AL-7").iloc[-1]
    assert (last["revision"], last["rated_current_ma"], last["needs_review"], last["by"]) == (4, 98.0, True, "me")
    assert last["reason"] == "taken from the bundle apart"
    assert mine.history(LANE, "AL-9")["action"].tolist()[-1] == "withdraw"
    assert states(mine, apart) == {"identical": 4}
    with pytest.raises(InputError, match="unit 'AL-8': is no contradicting one of Alder Lane"):
        mine.merge(apart, take=[(LANE, "AL-8")])


def test_a_merge_that_fails_on_its_way_leaves_nothing(
    mine: Register, apart: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = mine.revisions()
    monkeypatch.setattr(merging, "count", lambda con: con.execute("SELECT no_such_column FROM revisions"))
    with pytest.raises(Exception, match="no_such_column"):
        mine.merge(apart, take=[(LANE, "AL-7")])
    monkeypatch.undo()
    assert mine.revisions().equals(before)


Spoil = Callable[[dict[str, bytes]], dict[str, bytes]]


def changed(name: str, was: bytes, now: bytes, count: int = 1) -> Spoil:
    def spoil(files: dict[str, bytes]) -> dict[str, bytes]:
        assert was in files[name]
        return described(files | {name: files[name].replace(was, now, count)})

    return spoil


SPOILED: list[tuple[Spoil, str]] = [
    (lambda files: {name: files[name] for name in NAMES[:2]}, "is no export, it lacks datapackage.json"),
    (lambda files: files | {"datapackage.json": b"[" * 100_000}, "datapackage.json: is not what an export writes"),
    (lambda files: files | {"known.csv": files["known.csv"][:-9]}, "known.csv: is not the table that"),
    (lambda files: files | {"revisions.csv": b"x"}, "revisions.csv: is not the table that"),
    (lambda files: described(files | {"revisions.csv": b"unit\n"}), "record_id (empty): the header lacks this column"),
    (changed("revisions.csv", b",add,", b",ADD,"), "row 2, action 'ADD': is not one of the choices"),
    (changed("revisions.csv", b",1,add", b",01a,add"), "row 2, revision '01a': is no revision's number"),
    (changed("revisions.csv", b",1,add", b",3,add"), "revision (empty): those of AL-7 are not numbered 1, 2 and on"),
    (changed("revisions.csv", b"Z,false", b",false"), "made_at"),
    (changed("revisions.csv", b"Z,false", b"Z,no"), "row 2, needs_review 'no': is not true or false"),
    (changed("revisions.csv", b"310.1234567890123", b"-310"), "row 2, hv_resistance_ohm '-310': is outside the limits"),
    (changed("revisions.csv", b"AL-9", b"AL-99"), "does not identify the unit AL-99 of Alder Lane"),
    (changed("revisions.csv", b"read again", b"read\tagain"), "reason 'read\\tagain'"),
    (changed("known.csv", b",95,", b",96,"), "known.csv: is not what revisions.csv amounts to"),
    (changed("datapackage.json", b'"known-units"', b'"simulated-known-units"'), "and its descriptor says otherwise"),
]


@pytest.mark.parametrize(("spoil", "told"), SPOILED)
def test_a_spoiled_bundle_is_refused_with_the_reason(club: Path, spoil: Spoil, told: str) -> None:
    with pytest.raises(InputError) as caught:
        read_bundle(spoil(files_of(club / "out")), "theirs")
    assert told.replace("\\t", " ") in str(caught.value).replace("\\t", " ")


def test_simulated_bundles_come_into_no_register_of_real_units(mine: Register, tmp_path: Path) -> None:
    practice = Register(tmp_path / "practice.duckdb", simulated=True)
    practice.add(record(simulated="true"))
    practice.export(tmp_path / "out")
    with pytest.raises(InputError, match="is simulated but mine.duckdb is a register of real records"):
        mine.merge(tmp_path / "out")


def test_a_folder_that_is_none_and_an_export_of_nothing(tmp_path: Path) -> None:
    for place, told in ((tmp_path / "none", "there is no such folder"), (tmp_path / "file", "it is a file")):
        (tmp_path / "file").touch()
        with pytest.raises(InputError, match=told):
            read_bundle(place)
    register = Register(tmp_path / "empty.duckdb")
    register.export(tmp_path / "out")
    assert register.merge(tmp_path / "out").counts() == dict.fromkeys(merging.STATES, 0)


@pytest.mark.parametrize("licence", ["CC-BY-4.0", "free to use, with our name", "https://licence.example/free", "©"])
def test_a_licence_is_one_that_the_standard_takes(club: Path, tmp_path: Path, licence: str) -> None:
    place = tmp_path / "out"
    shutil.copytree(club / "out", place)
    (place / "datapackage.json").write_text(json.dumps(descriptor(False, licence)), encoding="utf-8")
    assert frictionless.validate(str(place / "datapackage.json")).valid
    assert read_bundle(described(files_of(place))).licence == licence


def test_a_licence_is_kept_for_the_next_export(mine: Register, club: Path, tmp_path: Path) -> None:
    mine.export(tmp_path / "later")
    assert files_of(tmp_path / "later") == files_of(club / "out")
    mine.export(tmp_path / "later", licence="our own")
    mine.export(tmp_path / "latest")
    assert read_bundle(tmp_path / "latest").licence == "our own"
