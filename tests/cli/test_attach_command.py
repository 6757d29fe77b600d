"""``calib attach``: a photograph on a record and off it, in words, and every file that is none."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from calib.register.records import KnownUnit
from calib.register.register import Register
from tests.cli.conftest import Run
from tests.register.conftest import TYPED
from tests.register.test_evidence_file import PDF, from_a_camera, picture

ONE = ("AL-7", "--contributor", "Alder Lane", "--register", "club.duckdb")


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    register = Register(tmp_path_factory.mktemp("original") / "club.duckdb")
    register.add(KnownUnit.parse(TYPED))
    return register.path.read_bytes()


@pytest.fixture
def kept(called: Run, original: bytes, tmp_path: Path) -> Run:
    """The command beside a register that holds one unit, AL-7, and some files."""
    (tmp_path / "club.duckdb").write_bytes(original)
    (tmp_path / "plate.jpg").write_bytes(from_a_camera())
    (tmp_path / "sheet.pdf").write_bytes(PDF)
    return called


def test_a_file_is_attached_listed_written_out_and_taken_off(kept: Run, tmp_path: Path) -> None:
    done = kept("attach", *ONE, "--file", "plate.jpg", "--why", "its plate", "--by", "me")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("attached plate.jpg (photograph (JPEG), ")
    assert "attached already: nothing was written" in kept("attach", *ONE, "--file", "plate.jpg").stdout
    done = kept("attach", *ONE, "--file", "sheet.pdf")
    assert done.stderr.startswith(
        "note: A PDF is kept as it was given, and only what stands openly in it was looked at"
    )
    plate, sheet = json.loads(kept("attach", *ONE, "--format", "json").stdout)
    assert list(plate) == ["name", "media", "size", "sha256", "by", "reason", "made_at"]
    assert (plate["by"], plate["reason"], sheet["by"]) == ("me", "its plate", "Alder Lane")
    listed = kept("attach", *ONE).stdout.splitlines()
    assert listed[1] == f"sheet.pdf  PDF, 0.1 kB, {sheet['sha256'][:8]}"
    assert kept("attach", *ONE, "--write-out", "plate.jpg", "--out", "out.jpg").returncode == 0
    assert (tmp_path / "out.jpg").stat().st_size == plate["size"]
    assert kept("attach", *ONE, "--write-out", sheet["sha256"][:8].upper(), "--out", "out.pdf").returncode == 0
    assert (tmp_path / "out.pdf").read_bytes() == PDF
    done = kept("attach", *ONE, "--take-off", "plate.jpg", "--why", "blurred")
    assert done.stdout == "took plate.jpg off AL-7 of Alder Lane; the history keeps that it was attached\n"
    told = [line.partition("  ")[0] + line.partition(" UTC  ")[2] for line in kept("history", *ONE).stdout.splitlines()]
    assert told[1].startswith("attachedplate.jpg (photograph (JPEG), ")
    assert told[3].endswith("by Alder Lane: blurred")
    assert [line[:8] for line in told] == ["1add  by", "attached", "attached", "taken of"]


REFUSED = {
    ("--file", "none.jpg"): "none.jpg: cannot be read, there is no such file; name a photograph",
    ("--file", "."): ".: cannot be read, it is a folder",
    ("--file", "pipe"): "pipe: cannot be read, it is a",
    ("--file", "empty.jpg"): "empty.jpg: is empty",
    ("--file", "notes.jpg"): "notes.jpg: is not a photograph or picture (JPEG, PNG, WebP) or a PDF",
    ("--file", "short.jpg"): "short.jpg: cannot be read as the picture that it says it is",
    ("--file", "plate.jpg", "--take-off", "x"): "--take-off (empty): stands beside --file",
    ("--take-off", "x"): "--take-off 'x': is no file that is attached; take one of those that are listed",
    ("--write-out", "x"): "--out (empty): is needed with the other; give both",
    ("--write-out", "x", "--out", "plate.jpg"): "--out 'plate.jpg': there is a file of that name",
    ("--out", "new.jpg"): "--write-out (empty): is needed with the other",
    ("--file", "plate.jpg", "--by", "x" * 201): "--by",
}


@pytest.mark.parametrize("words", REFUSED)
def test_what_is_wrong_is_one_line_and_writes_nothing(kept: Run, tmp_path: Path, words: tuple[str, ...]) -> None:
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "notes.jpg").write_text("notes")
    (tmp_path / "short.jpg").write_bytes(picture(size=(400, 400))[:500])
    if "pipe" in words:
        os.mkfifo(tmp_path / "pipe")
    before = (tmp_path / "club.duckdb").read_bytes()
    done = kept("attach", *ONE, *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert REFUSED[words] in done.stderr
    assert (tmp_path / "club.duckdb").read_bytes() == before


def test_an_unknown_unit_is_told_with_the_tags_near_to_it(kept: Run) -> None:
    done = kept("attach", "AL-8", *ONE[1:], "--file", "plate.jpg")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "unit 'AL-8': the register has no such unit of Alder Lane; there is 'AL-7'" in done.stderr
