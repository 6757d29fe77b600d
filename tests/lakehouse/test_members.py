"""Who may write: readers, contributors of their own records, and curators, by PostgreSQL's rights and by calib."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import duckdb
import pytest

import calib
from calib.cli.main import main
from calib.errors import InputError, RegisterError
from calib.register import bulk, lakehouse
from calib.register.attachments import evidence_of, of_record
from calib.register.lakehouse import Lakehouse
from calib.register.register import Register
from calib.review import review_register
from tests.lakehouse import catalogue
from tests.register.conftest import TYPED
from tests.register.test_evidence_file import picture

LARGE = bulk.LARGE
OWN, ANOTHERS = "Alder Lane", "Tin Street"


def record(**more: str) -> calib.KnownUnit:
    return calib.KnownUnit.parse({**TYPED, **more}, where="row")


class Club:
    """A register with a record of each of two contributors, and the address by which each member knows it."""

    def __init__(self) -> None:
        self.address = catalogue.made(f"club_{(mark := uuid4().hex)}")
        self.logins = {role: f"{role}_{mark}" for role in ("reader", "anna", "curator", "nobody")}
        for login in self.logins.values():
            catalogue.asked(f"CREATE ROLE {login} LOGIN")
        owner = Register(self.address, create=False)
        owner.add(record())
        owner.add(record(contributor=ANOTHERS))
        calib.set_member(self.address, self.logins["reader"], "reader")
        calib.set_member(self.address, self.logins["anna"], "contributor", OWN)
        calib.set_member(self.address, self.logins["curator"], "curator")

    def by(self, login: str) -> str:
        return self.address.replace(f"user={catalogue.OWNER}", f"user={self.logins[login]}")

    def register(self, login: str) -> Register:
        return Register(self.by(login), create=False)


@pytest.fixture(scope="module")
def club() -> Iterator[Club]:
    yield Club()
    lakehouse.let_go()


def test_a_contributor_writes_their_own_records_and_nobody_elses(club: Club, tmp_path: Path) -> None:
    anna, curator = club.register("anna"), club.register("curator")
    anna.amend(record(notes="read again"), reason="a better meter")
    anna.attach(mine := of_record(OWN, TYPED["unit"]), evidence_of(picture(), "plate.jpg"))
    there, its = curator.known(), of_record(ANOTHERS, TYPED["unit"])
    curator.attach(its, (plate := evidence_of(picture(), "plate.jpg")))
    curator.export(tmp_path / "theirs")
    again = record(contributor=ANOTHERS, notes="mine now")
    for refused in (
        lambda: anna.amend(again),
        lambda: anna.add(record(contributor=ANOTHERS, unit="new")),
        lambda: anna.withdraw(ANOTHERS, TYPED["unit"], reason="no"),
        lambda: anna.keep(ANOTHERS, TYPED["unit"], reason="no"),
        lambda: anna.import_table(there.assign(notes="all of them")),
        lambda: anna.attach(its, evidence_of(picture(size=(80, 40)), "other.jpg")),
        lambda: anna.detach(its, plate.sha256),
    ):
        with pytest.raises(InputError, match=f"its records are not yours to write, who write as contributor {OWN}"):
            refused()
    assert anna.known().equals(there)
    assert len(anna.attachments(its)) == len(anna.attachments(mine)) == 1
    curator.amend(again, reason="asked by them")
    assert club.register("reader").record(ANOTHERS, TYPED["unit"]).notes == "mine now"
    with pytest.raises(InputError, match="not yours to write"):
        anna.undo(ANOTHERS, TYPED["unit"], len(curator.history(ANOTHERS, TYPED["unit"])))


def test_a_contributor_merges_no_bundle_with_anothers_records(club: Club, tmp_path: Path) -> None:
    beside = Register(tmp_path / "beside.duckdb")
    beside.add(record(contributor=ANOTHERS, unit="of a bundle"))
    beside.export(tmp_path / "bundle")
    before = club.register("anna").revisions()
    with pytest.raises(InputError, match="not yours to write"):
        club.register("anna").merge(tmp_path / "bundle")
    assert club.register("anna").revisions().equals(before)
    assert club.register("curator").merge(tmp_path / "bundle").written == 1


def test_no_command_of_a_contributors_writes_anothers_record(
    club: Club, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    named = ["--contributor", ANOTHERS, "--register", club.by("anna"), "--why", "no"]
    before = club.register("anna").revisions()
    file = tmp_path / "known.csv"
    columns = {**TYPED, "contributor": ANOTHERS, "unit": "typed"}
    file.write_text(f"{','.join(columns)}\n{','.join(columns.values())}\n", encoding="utf-8")
    for words in (
        ["amend", TYPED["unit"], *named, "--notes", "mine"],
        ["withdraw", TYPED["unit"], *named],
        ["import", str(file), "--register", club.by("anna")],
        ["import", str(file), "--register", club.by("anna")],  # as a large table
        ["carry", str(tmp_path / "own.duckdb"), club.by("anna")],
    ):
        if words[0] == "carry":
            Register(tmp_path / "own.duckdb").add(record(contributor=ANOTHERS, unit="typed"))
        assert main(words) == 2, (words, capsys.readouterr().err)
        assert capsys.readouterr().err.count("\n") == 1
        monkeypatch.setattr(bulk, "LARGE", 0 if words[0] == "import" else LARGE)
    assert club.register("anna").revisions().equals(before)


def test_a_reader_and_a_login_without_a_role_write_nothing(club: Club) -> None:
    reader = club.register("reader")
    assert len(reader.known()) >= 2
    with pytest.raises(RegisterError, match="may read this register and not write it; ask its owner"):
        reader.add(record(unit="mine"))
    with pytest.raises(RegisterError, match="may not do that; ask a curator"):
        club.register("nobody")
    with Lakehouse(club.by("reader")).opened() as con, pytest.raises(duckdb.Error, match="permission denied"):
        con.execute("INSERT INTO members VALUES ('me', 'curator', NULL, now()::TIMESTAMP)")  # PostgreSQL's doing
    lakehouse.let_go()


def test_what_was_written_past_calib_does_not_count_and_is_listed(club: Club) -> None:
    unit = f"past {uuid4().hex}"
    curator = club.register("curator")
    curator.add(record(contributor=ANOTHERS, unit=unit))
    with Lakehouse(club.by("anna")).opened() as con:
        con.execute(
            """
            INSERT INTO revisions BY NAME SELECT * REPLACE (revision + 1 AS revision, 'forged' AS notes,
            'contributor Alder Lane' AS written_as) FROM latest WHERE unit = ?
            """,
            [unit],
        )
    assert curator.record(ANOTHERS, unit).notes == ""
    (told,) = [one for one in review_register(curator) if one.tag == (ANOTHERS, unit) and "foreign" in one.kinds]
    assert f"was written as contributor {OWN}, and does not count" in str(told)


def test_roles_are_set_by_one_command_and_told(club: Club, capsys: pytest.CaptureFixture[str]) -> None:
    login = f"otto_{uuid4().hex}"
    catalogue.asked(f"CREATE ROLE {login} LOGIN")
    for words, said in (
        ([login, "--role", "contributor"], "a contributor writes the records of one contributor"),
        ([login, "--role", "curator", "--contributor", OWN], "a curator is not bound to one contributor"),
        ([login], "is no role"),
        (["nobody at all", "--role", "reader"], "PostgreSQL has no such login; make it in PostgreSQL first"),
        (["--role", "reader"], "is given without a login"),
    ):
        assert main(["member", club.address, *words]) == 2
        assert said in capsys.readouterr().err
    assert main(["member", club.address, login, "--role", "contributor", "--contributor", "Otto's bench"]) == 0
    assert capsys.readouterr().out == f"{login}: contributor of Otto's bench\n"
    assert main(["member", club.address, login, "--role", "reader"]) == 0
    assert main(["member", club.address]) == 0
    assert f"{login}: reader\n" in capsys.readouterr().out
    assert main(["member", club.by("anna"), login, "--role", "curator"]) == 1
    assert "does not own the catalogue and may give no roles" in capsys.readouterr().err
    assert main(["member", "club.duckdb"]) == 2
    assert "a file has no members" in capsys.readouterr().err


def test_who_was_taken_out_reads_and_writes_nothing_and_what_they_wrote_stays(
    club: Club, capsys: pytest.CaptureFixture[str]
) -> None:
    club.logins["otto"] = login = f"otto_{uuid4().hex}"
    database = club.address.rpartition("=")[2]
    catalogue.asked(f"CREATE ROLE {login} LOGIN")
    calib.set_member(club.address, login, "contributor", "Otto's bench")
    (otto := club.register("otto")).add(record(contributor="Otto's bench"))
    assert main(["member", club.address, login, "--role", "none"]) == 0
    assert capsys.readouterr().out == f"{login}: taken out\n"
    for refused in (otto.known, lambda: otto.add(record(contributor="Otto's bench", unit="no"))):
        with pytest.raises(RegisterError, match="may not do that; ask a curator"):
            refused()
    catalogue.asked(f"GRANT ALL ON ALL TABLES IN SCHEMA public TO {login}", database)  # as a group of theirs might have
    words = ["withdraw", TYPED["unit"], "--contributor", "Otto's bench", "--register", club.by("otto"), "--why", "no"]
    assert main(words) == 1
    assert f"{login} has no role in this register; ask its owner" in capsys.readouterr().err
    curator = club.register("curator")
    assert curator.history("Otto's bench", TYPED["unit"])["action"].tolist() == ["add"]
    assert curator.record("Otto's bench", TYPED["unit"]).contributor == "Otto's bench"
    assert curator.foreign_revisions()["contributor"].ne("Otto's bench").all()
    for words, said in (
        ([login], "is no member; see who is one"),
        ([catalogue.OWNER], "owns the catalogue and could then give no roles"),
        ([login, "--contributor", OWN], "whoever is taken out is not bound to one contributor"),
    ):
        assert main(["member", club.address, *words, "--role", "none"]) == 2
        assert said in capsys.readouterr().err
    calib.set_member(club.address, login, "curator")
    assert otto.add(record(contributor="Otto's bench", unit="again")).added == 1
    lakehouse.let_go()
    catalogue.asked(f"DROP OWNED BY {login}", database)
    catalogue.asked(f"DROP ROLE {login}")
    assert main(["member", club.address, login, "--role", "none"]) == 0
    assert calib.members(club.address).set_index("login")["role"][login] == "none"
