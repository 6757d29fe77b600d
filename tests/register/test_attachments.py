"""Files attached to records: kept by their content, taken off, copied with the register, and found where altered."""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb
import pytest

from calib.errors import InputError, RegisterError
from calib.register import attachments
from calib.register.attachments import PART, EvidenceFile, Owner, evidence_of, of_record
from calib.register.records import KnownUnit
from calib.register.register import Register
from calib.register.safekeeping import check_register, restore_register
from tests.register.conftest import TYPED
from tests.register.test_evidence_file import PDF, picture

OWNER = of_record("Alder Lane", "AL-7")
PLATE = evidence_of(picture(), "plate.jpg")
SHEET = EvidenceFile("sheet.pdf", "application/pdf", PDF[:9] + b"%" * 3 * PART + PDF[9:])  # of several parts


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One unit with a photograph and a PDF."""
    made = Register(tmp_path_factory.mktemp("original") / "club.duckdb")
    made.add(KnownUnit.parse(TYPED))
    assert made.attach(OWNER, PLATE, "me", "its plate")
    assert made.attach(OWNER, SHEET)
    return made.path


@pytest.fixture
def register(original: Path, tmp_path: Path) -> Register:
    """A copy of it."""
    return Register(shutil.copy(original, tmp_path / "club.duckdb"))


def contents(register: Register) -> list[bytes]:
    return [register.attachment(one) for one in register.attachments(OWNER)]


def test_what_is_attached_comes_back_byte_for_byte(register: Register) -> None:
    plate, sheet = register.attachments(OWNER)
    assert (plate.name, plate.media, plate.size) == ("plate.jpg", "image/jpeg", len(PLATE.content))
    assert (plate.by, plate.reason, plate.sha256) == ("me", "its plate", PLATE.sha256)
    assert (sheet.by, sheet.short) == ("", SHEET.sha256[:8])
    assert contents(register) == [PLATE.content, SHEET.content]
    before = register.path.stat()
    assert not register.attach(OWNER, PLATE)  # the same again
    assert register.path.stat() == before


def test_taking_off_keeps_the_history_and_attaching_again_brings_it_back(register: Register) -> None:
    register.detach(OWNER, PLATE.sha256, "you", "another unit's")
    assert [one.name for one in register.attachments(OWNER)] == ["sheet.pdf"]
    with pytest.raises(InputError, match=r"is no file that is attached; take one of those that are listed"):
        register.detach(OWNER, PLATE.sha256)
    assert register.attach(OWNER, PLATE, reason="it was this one's")
    told = register.attachment_revisions(OWNER)
    mine = told[told["sha256"].eq(PLATE.sha256)]
    assert mine["action"].tolist() == ["attach", "detach", "attach"]
    assert mine["revision"].tolist() == [1, 2, 3]
    assert mine["reason"].tolist() == ["its plate", "another unit's", "it was this one's"]
    assert check_register(register.path).is_sound


def test_what_cannot_be_attached_is_refused_and_nothing_is_written(register: Register) -> None:
    before = register.path.stat()
    with pytest.raises(InputError, match="the register has no such known unit; look it up"):
        register.attach(of_record("Alder Lane", "AL-8"), PLATE)
    with pytest.raises(InputError, match=r"odd\.jpg: is no photograph"):
        register.attach(OWNER, EvidenceFile("odd.jpg", "image/jpeg", b"<html>"))
    assert register.path.stat() == before


def test_a_record_has_so_many_files_and_no_more(register: Register, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(attachments, "MOST_FILES", 2)
    one_more = EvidenceFile("y.pdf", "application/pdf", PDF)
    with pytest.raises(InputError, match=r"y\.pdf: there are 2 files already, and 2 is the most; take one off"):
        register.attach(OWNER, one_more)
    register.detach(OWNER, PLATE.sha256)
    assert register.attach(OWNER, one_more)


def test_a_backup_carries_them_and_puts_them_back(register: Register, tmp_path: Path) -> None:
    backup = register.backup(tmp_path / "backup.duckdb")
    register.detach(OWNER, PLATE.sha256)
    restore_register(backup, register.path)
    assert contents(Register(register.path)) == [PLATE.content, SHEET.content]


@pytest.mark.parametrize(
    ("altered", "said"),
    [
        ("UPDATE attached_files SET content = 'x' WHERE part = 1", "attached file sheet.pdf: the attached file"),
        ("DELETE FROM attached_files WHERE part = 2", "attached file sheet.pdf: the attached file"),
        ("DELETE FROM attached_files", "attached file plate.jpg: the attached file"),
        ("UPDATE attachment_revisions SET media = 'text/html'", "is of a type that is not kept (text/html)"),
        ("UPDATE attachment_revisions SET size = 3", "attached file plate.jpg: it is not as long as was noted"),
        ("UPDATE attachment_revisions SET owner = 'x'", "attached file plate.jpg: it is not kept under its own name"),
        ("DELETE FROM revisions", "attached file plate.jpg: the register has no such known unit"),
        ("UPDATE attachment_revisions SET revision = 2", "attached file plate.jpg: of its revisions 1 can be counted"),
    ],
)
def test_what_was_altered_is_found_and_not_given_out(register: Register, altered: str, said: str) -> None:
    with duckdb.connect(str(register.path)) as con:
        con.execute(altered)
    found = check_register(register.path)
    assert any(said in finding for finding in found.findings), found
    if "attached_files" in altered or "media" in altered:
        with pytest.raises(RegisterError, match=r"club\.duckdb: the attached file \w{8} .*; take it off, and attach"):
            contents(register)


def test_a_register_of_another_kind_of_owner_has_none(register: Register) -> None:
    assert register.attachments(Owner("bench", "x")) == ()
