"""``calib sheet`` from its words: the file, and every way in which there is none."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.paper.reading import pages, size_mm, text


@pytest.fixture
def club(called: Run, known: Path) -> Path:
    """A register of four known units."""
    assert called("import", str(known), "--register", "club.duckdb").returncode == 0
    return known.with_name("club.duckdb")


def test_it_writes_a_page_and_says_so(called: Run, club: Path) -> None:
    done = called("sheet", "AL 1", "--register", "club.duckdb", "--out", "T1.pdf", "--published", "no")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "T1.pdf: the sheet of AL 1, one page\n"
    made = club.with_name("T1.pdf").read_bytes()
    assert (pages(made), round(size_mm(made)[1])) == (1, 297)
    assert "of 4 known units in club.duckdb." in text(made)
    words = "--register", "club.duckdb", "--out", "T1.pdf", "--paper", "letter", "--level", "0.5"
    with_all = called("sheet", "AL 1", *words)
    assert with_all.returncode == 0
    made = club.with_name("T1.pdf").read_bytes()
    assert round(size_mm(made)[1], 1) == 279.4
    assert "of 4 known units and 14 published windings in club.duckdb." in text(made)
    assert "five units in ten like this" in text(made)


@pytest.mark.parametrize(
    ("changed", "status", "said"),
    [
        ({"unit": "T9"}, 2, "club.duckdb, unit 'T9': the register has no such unit, known or on the bench; look it up"),
        ({"--contributor": "nobody"}, 2, "the register has no such unit, known or on the bench"),
        ({"--paper": "a3"}, 2, "argument --paper: invalid choice: 'a3' (choose from"),
        ({"--level": "2"}, 2, "command line, --level '2': is no probability between 0 and 1"),
        (
            {"--out": "none/T1.pdf"},
            2,
            "command line, --out 'none/T1.pdf': its folder is missing; make the folder",
        ),
        ({"--out": "club.duckdb"}, 2, "command line, --out 'club.duckdb': is a file that the command reads"),
        ({"--out": "/proc/T1.pdf"}, 1, "calib: /proc/"),
        ({"--register": "other.duckdb"}, 2, "command line, --register 'other.duckdb': there is no register"),
    ],
)
def test_each_fault_has_its_line_and_nothing_is_written(
    called: Run, club: Path, changed: dict[str, str], status: int, said: str
) -> None:
    words = {"unit": "AL 1", "--register": "club.duckdb", "--out": "T1.pdf", "--published": "no", **changed}
    before = sorted(path.name for path in club.parent.iterdir())
    done = called("sheet", words.pop("unit"), *(part for pair in words.items() for part in pair))
    assert (done.returncode, done.stdout) == (status, "")
    assert said in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert sorted(path.name for path in club.parent.iterdir()) == before
