"""Photographs and data sheets on the page of the known units: attached, seen, taken off, and hostile ones refused."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import duckdb
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from calib.errors import RegisterError
from calib.register.attachments import evidence_of, of_record
from calib.register.records import KnownUnit
from calib.register.register import Register
from tests.app.visits import KNOWN, opened, settle, text_of
from tests.register.conftest import TYPED
from tests.register.test_evidence_file import PDF, from_a_camera

OWNER = of_record("Alder Lane", "AL-7")


@pytest.fixture
def register(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Register:
    """A register of one's own with one unit, which the page opens."""
    settle(tmp_path, monkeypatch)
    made = Register(tmp_path / "own.duckdb")
    monkeypatch.setenv("CALIB_REGISTER", str(made.path))
    made.add(KnownUnit.parse(TYPED))
    return made


def give(at: AppTest, name: str, content: bytes) -> AppTest:
    at.file_uploader[2].set_value((name, content, "image/jpeg")).run()
    at.text_input(key="seen_attached_by").set_value("me")
    at.text_input(key="seen_attached_why").set_value("its *plate*")
    at.button(key="attach_it").click().run()
    assert not at.exception
    return at


def test_a_photograph_is_attached_seen_and_taken_off(register: Register) -> None:
    at = opened(KNOWN)
    at.selectbox(key="seen_files_of").set_value("AL-7 of Alder Lane").run()
    at = give(at, "pl_at_e.jpg", from_a_camera())
    (one,) = register.attachments(OWNER)
    assert (one.by, one.reason, one.name) == ("me", "its *plate*", "pl_at_e.jpg")
    with Image.open(BytesIO(register.attachment(one))) as kept:
        assert not kept.getexif()
    said = text_of(at)
    assert "is attached" in said
    assert "its \\*plate\\*" in said  # as it stands, not as formatting
    at = give(at, "odd.jpg", b"<html>")
    assert "odd.jpg: is not a photograph or picture" in text_of(at)
    assert len(register.attachments(OWNER)) == 1
    at.button(key=f"attached_off_{one.sha256}").click().run()
    assert register.attachments(OWNER) == ()
    assert "taken off; the history keeps" in text_of(at)


def test_a_pdf_is_only_to_be_saved_and_what_was_altered_is_told(register: Register, tmp_path: Path) -> None:
    for name, content in (("sheet.pdf", PDF), ("[a](b).pdf", PDF + b"%")):
        register.attach(OWNER, evidence_of(content, name))
    with duckdb.connect(str(register.path)) as con:
        con.execute("UPDATE attached_files SET content = 'x'")
        con.execute("UPDATE attachment_revisions SET media = '<b>html' WHERE name <> 'sheet.pdf'")
    at = opened(KNOWN)
    at.selectbox(key="seen_files_of").set_value("AL-7 of Alder Lane").run()
    assert not at.exception
    assert "only what stands openly in it was looked at" in "".join(one.value for one in at.caption)
    assert "is not as it was kept; take it off, and attach it again" in text_of(at)
    assert "\\[a\\]\\(b\\)" in text_of(at)
    with pytest.raises(RegisterError, match="the attached file .* is not as it was kept; take it off"):
        register.export(tmp_path / "out")
