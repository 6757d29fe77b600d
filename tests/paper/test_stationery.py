"""One page of text: every letter arrives or stands as its number, nothing runs off, the same gives the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from calib.errors import InputError
from calib.paper.stationery import TEXT, Stationery, height_of, letters
from tests.paper.reading import size_mm, text


@pytest.mark.parametrize(
    ("written", "as_printed"),
    [
        ("Ω ≥ ± × ² ³ ° µ → – „a“ €", "Ω ≥ ± × ² ³ ° µ → – „a“ €"),
        ("Müller, Łódź, Жук, Νίκος", "Müller, Łódź, Жук, Νίκος"),
        ("e\u0301", "é"),  # composed: one letter of the font instead of two
        ("東", "[U+6771]"),
        ("🔥", "[U+1F525]"),
        ("a\u202eb", "a[U+202E]b"),  # a mark that turns the line about is shown and not followed
        ("a\u00adb\x07", "a[U+00AD]b[U+0007]"),
        ("a\u2009b\tc\u00a0d", "a b c\u00a0d"),
        ("{nb}", "{nb}"),
    ],
)
def test_a_letter_is_printed_or_stands_as_its_number(written: str, as_printed: str) -> None:
    assert letters(written) == as_printed
    sheet = Stationery("a4", written)
    sheet.stack(sheet.paragraph(written, sheet.width), sheet.left, sheet.top)
    assert text(sheet.bytes()) == " ".join(as_printed.split())
    assert sheet.strange == ("[U+" in as_printed)


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_each_paper_has_its_size(paper: str, size: tuple[float, float]) -> None:
    assert size_mm(Stationery(paper, "x").bytes()) == pytest.approx(size, abs=0.01)


def test_another_paper_is_refused() -> None:
    with pytest.raises(InputError, match="paper 'a3': is no paper that is printed on; give one of: a4, letter"):
        Stationery("a3", "x")


@pytest.mark.parametrize("said", ["a short word", "word " * 60, "x" * 700, "one\n\ntwo", "a " + "y" * 300 + " b", ""])
def test_lines_are_no_wider_than_their_column_and_lose_nothing(said: str) -> None:
    sheet = Stationery("a4", "x")
    lines = sheet.wrapped(said, 60.0, TEXT)
    assert max(sheet.text_width(line, TEXT) for line in lines) <= 60.0
    assert "".join("".join(lines).split()) == "".join(said.split())


def test_what_does_not_fit_is_cut_with_a_sentence_that_counts_it() -> None:
    sheet = Stationery("a4", "x")
    strips = [one for item in range(9) for one in sheet.paragraph(f"item {item} " + "word " * 30, 80.0, item=item)]
    assert sheet.fitted(strips, height_of(strips) + 0.1, 80.0, "{count} left out") == strips
    cut = sheet.fitted(strips, 20.0, 80.0, "{count} left out")
    assert height_of(cut) <= 20.0
    sheet.stack(cut, sheet.left, sheet.top)
    said = text(sheet.bytes())
    whole = sum(f"item {item} " + ("word " * 30).strip() in said for item in range(9))
    assert 0 < whole < 9
    assert said.endswith(f"{9 - whole} left out")


def test_the_file_bears_the_date_of_what_it_shows_whatever_zone_that_is_said_in() -> None:
    at = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    made = {Stationery("a4", "x", at.astimezone(timezone(timedelta(hours=hours)))).bytes() for hours in (-11, 0, 13)}
    assert len(made) == 1
    assert b"D:20260301233000" in made.pop()
    assert b"D:20200101000000" in Stationery("a4", "x").bytes()
