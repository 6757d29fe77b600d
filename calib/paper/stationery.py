"""A printed sheet of one page: its letters, and blocks of text that are measured before they are drawn.

Everything is black or grey on white, and what a shade says is said in words too. Text stays text, in a font that the
file carries; a letter that the font has not stands as its number. The same content gives the same bytes.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from calib.errors import InputError
from calib.paths import shipped

if TYPE_CHECKING:
    from fpdf import FPDF

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216, ANSI/ASME Y14.1 [mm]
SIDE_MM, TOP_MM, FOOT_MM = 13.0, 11.0, 9.0
MM_PER_PT = 25.4 / 72.0
INK, SOFT, FAINT, WHITE = 0, 90, 200, 255  # shades of grey, 0 being black
HAIR_MM, RULE_MM, HEAVY_MM = 0.12, 0.25, 0.7
FONT, FACES = "sheet", {"": "Regular", "B": "Semibold"}
EARLIEST = datetime(2020, 1, 1, tzinfo=UTC)  # said of a file's making where nothing on it has a date
CUT = "…"
LEAST_RULED_MM, RULED_MM = 22.0, 7.0
MOST_LINES = 150  # more than a page has room for


@dataclass(frozen=True)
class Style:
    """How text is set: size [pt], bold, shade of grey, height of a line [mm]."""

    size: float
    bold: bool = False
    shade: int = INK
    leading: float = 0.0

    @property
    def line_mm(self) -> float:
        """Height of a line [mm]."""
        return self.leading or 1.22 * self.size * MM_PER_PT


TITLE, HEADING, TEXT = Style(17.0, bold=True), Style(8.6, bold=True), Style(7.6, leading=3.3)
KIND = Style(7.4, bold=True, shade=SOFT)
SMALL, FINE = Style(6.6, leading=2.85), Style(6.2, shade=SOFT, leading=2.7)


class Strip(NamedTuple):
    """Something across a column that is drawn whole or not at all: its height [mm], and what draws it at x and y.

    `item` is the number of the thing that it is of, so that it can be said how many were left out; -1 of a heading and
    of room between.
    """

    height: float
    draw: Callable[[float, float], None]
    item: int = -1


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height of a paper [mm].

    Raises
    ------
    InputError
        It is none of a4 and letter.
    """
    size = PAPERS.get(paper.lower())
    if size is None:
        remedy = f"give one of: {', '.join(PAPERS)}"
        raise InputError.one("is no paper that is printed on", remedy, column="paper", value=paper, code="choice")
    return size


@cache
def _has() -> frozenset[int]:
    """The letters that both faces have."""
    from fpdf import FPDF
    from fpdf.fonts import TTFFont

    pdf = FPDF()
    for style, face in FACES.items():
        pdf.add_font(FONT, style, _file(face))
    regular, bold = (frozenset(font.cmap) for font in pdf.fonts.values() if isinstance(font, TTFFont))
    return regular & bold


def _file(face: str) -> str:
    return str(shipped(f"datasets/fonts/SourceSansPro-{face}.ttf"))


def letters(text: str) -> str:
    """Text in letters that the font has: composed, every blank a plain one, and any other by its number, as [U+6771].

    Marks that are not to be seen stand as their numbers too, since they could make two names look the same.
    """
    found = []
    for letter in unicodedata.normalize("NFC", text):
        kind = unicodedata.category(letter)
        if letter in "\n\t" or kind in ("Zs", "Zl", "Zp"):
            found.append(letter if letter in "\n\u00a0" else " ")
        elif kind[0] == "C" or ord(letter) not in _has():
            found.append(f"[U+{ord(letter):04X}]")
        else:
            found.append(letter)
    return "".join(found)


class Stationery:
    """One page that is filled from above.

    Parameters
    ----------
    paper : str
        a4 or letter.
    title : str
        What the file is called by whatever shows it.
    made : datetime or None
        When what stands on it was, which is said of the file too; None where it has no date.

    Raises
    ------
    InputError
        The paper is neither.
    """

    def __init__(self, paper: str, title: str, made: datetime | None = None) -> None:
        from fpdf import FPDF

        size = paper_size(paper)
        self.pdf: FPDF = FPDF(format=size)
        self.pdf.str_alias_nb_pages = ""  # what somebody wrote is never taken for a place to fill in
        self.pdf.set_creation_date((made or EARLIEST).astimezone(UTC))
        self.pdf.set_title(letters(title))
        self.pdf.set_lang("en-GB")
        self.pdf.set_auto_page_break(False)
        for style, face in FACES.items():
            self.pdf.add_font(FONT, style, _file(face))
        self.pdf.add_page()
        self.left, self.top = SIDE_MM, TOP_MM
        self.width, self.bottom = size[0] - 2 * SIDE_MM, size[1] - FOOT_MM
        self.strange = False  # whether a letter stands as its number
        self._lines: dict[tuple[str, float, Style], list[str]] = {}  # a sheet is laid out in more than one way

    def bytes(self) -> bytes:
        """The file."""
        return bytes(self.pdf.output())

    def text_width(self, text: str, style: Style) -> float:
        """How wide text is on one line [mm]."""
        self._set(style)
        return float(self.pdf.get_string_width(text))

    def _set(self, style: Style) -> None:
        self.pdf.set_font(FONT, "B" if style.bold else "", style.size)
        self.pdf.set_text_color(style.shade)

    def known(self, text: str) -> str:
        """Text in the font's letters; it is remembered where one had to stand as its number."""
        written = letters(text)
        self.strange |= written.count("[U+") > text.count("[U+")
        return written

    def wrapped(self, text: str, width: float, style: Style) -> list[str]:
        """Text in lines that are no wider than that, as many as a page can hold; a word too long for one is parted."""
        asked = text, width, style
        if asked not in self._lines:
            self._lines[asked] = self._wrapped(text, width, style)
        return self._lines[asked]

    def _wrapped(self, text: str, width: float, style: Style) -> list[str]:
        lines: list[str] = []
        for part in self.known(text[: MOST_LINES * 200]).split("\n"):
            line = ""
            for word in part.split(" ") if len(lines) < MOST_LINES else ():
                wider = f"{line} {word}" if line else word
                if not line or self.text_width(wider, style) <= width:
                    line = wider
                else:
                    lines.append(line)
                    line = word
                while self.text_width(line, style) > width:
                    head = self._fitting(line, width, style)
                    lines.append(line[:head])
                    line = line[head:]
            lines.append(line)
        return lines[:MOST_LINES]

    def _fitting(self, word: str, width: float, style: Style) -> int:
        """How many letters of a word fit, one at the least."""
        low, high = 1, len(word)
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.text_width(word[:middle], style) <= width else (low, middle - 1)
        return low

    def shortened(self, text: str, width: float, style: Style) -> str:
        """Text on one line; what does not fit is cut off, with an ellipsis that says so."""
        one = " ".join(self.known(text).split("\n"))
        if self.text_width(one, style) <= width:
            return one
        return one[: self._fitting(one, width - self.text_width(CUT, style), style)].rstrip() + CUT

    def put(self, x: float, y: float, text: str, style: Style = TEXT, align: str = "L") -> None:
        """One line of text, its box's top at y; with align R it ends at x, with C its middle is there."""
        wide = self.text_width(text, style)
        begin = x - {"L": 0.0, "C": wide / 2.0, "R": wide}[align]
        self.pdf.text(begin, y + (style.line_mm + 0.7 * style.size * MM_PER_PT) / 2.0, text)

    def line(self, ends: tuple[float, float, float, float], width: float = RULE_MM, shade: int = INK) -> None:
        """A straight line from x, y to x, y [mm]."""
        self.pdf.set_draw_color(shade)
        self.pdf.set_line_width(width)
        self.pdf.line(*ends)

    def box(self, place: tuple[float, float, float, float], width: float = RULE_MM, shade: int = INK) -> None:
        """An empty box at x, y of a width and height [mm]."""
        self.pdf.set_draw_color(shade)
        self.pdf.set_line_width(width)
        self.pdf.rect(*place)

    def fill(self, place: tuple[float, float, float, float], shade: int = INK) -> None:
        """A filled box."""
        self.pdf.set_fill_color(shade)
        self.pdf.rect(*place, style="F")

    def paragraph(self, text: str, width: float, style: Style = TEXT, item: int = 0, hang: str = "") -> list[Strip]:
        """Text as strips, a line each; `hang` is a mark before the first, from which the others are indented."""
        indent = self.text_width(f"{hang} ", style) if hang else 0.0
        strips = []
        for number, line in enumerate(self.wrapped(text, width - indent, style)):
            mark = hang if number == 0 else ""

            def draw(x: float, y: float, line: str = line, mark: str = mark) -> None:
                if mark:
                    self.put(x, y, mark, style)
                self.put(x + indent, y, line, style)

            strips.append(Strip(style.line_mm, draw, item))
        return strips

    def heading(self, text: str, width: float) -> Strip:
        """A heading with a hairline below."""
        said = self.shortened(text, width, HEADING)

        def draw(x: float, y: float) -> None:
            self.put(x, y + 0.8, said, HEADING)
            self.line((x, y + HEADING.line_mm + 1.1, x + width, y + HEADING.line_mm + 1.1), HAIR_MM, SOFT)

        return Strip(HEADING.line_mm + 1.9, draw)

    def row(self, cells: Sequence[str], widths: Sequence[float], style: Style, right: Iterable[int] = ()) -> Strip:
        """A table's row, its cells wrapped in columns of those widths; those of `right` stand flush right."""
        gap, flush = 1.6, {*right}
        lines = [self.wrapped(cell, wide - gap, style) for cell, wide in zip(cells, widths, strict=True)]

        def draw(x: float, y: float) -> None:
            for column, (said, wide) in enumerate(zip(lines, widths, strict=True)):
                at = x + wide - (gap if column < len(widths) - 1 else 0.0) if column in flush else x
                for number, line in enumerate(said):
                    self.put(at, y + number * style.line_mm, line, style, "R" if column in flush else "L")
                x += wide

        return Strip(style.line_mm * max(map(len, lines), default=0), draw)

    def pairs(self, rows: Sequence[tuple[str, str]], width: float, style: Style = TEXT) -> list[Strip]:
        """Labels with their values, which stand flush right; a value too long for that goes below its label."""
        strips = []
        for item, (label, value) in enumerate(rows):
            head, told = self.known(label), self.known(value)
            if "\n" in told or self.text_width(head, style) + self.text_width(told, style) + 3.0 > width:
                strips += self.paragraph(label, width, replace(style, shade=SOFT), item)
                short = "\n" not in told and self.text_width(told, style) <= width
                strips += (
                    [self._flush(told, width, style, item)] if short else self.paragraph(value, width, style, item)
                )
                continue

            def draw(x: float, y: float, head: str = head, told: str = told) -> None:
                self.put(x, y, head, replace(style, shade=SOFT))
                self.put(x + width, y, told, style, "R")

            strips.append(Strip(style.line_mm, draw, item))
        return strips

    def _flush(self, line: str, width: float, style: Style, item: int) -> Strip:
        return Strip(style.line_mm, lambda x, y: self.put(x + width, y, line, style, "R"), item)

    def fitted(
        self, strips: Sequence[Strip], room: float, width: float, more: str, style: Style = SMALL
    ) -> list[Strip]:
        """As many strips as there is room for; where that is not all, a sentence in their place that says so.

        Parameters
        ----------
        strips : sequence of Strip
            In their order.
        room, width : float
            Height and width that there is [mm].
        more : str
            The sentence; {count} in it is how many items are not shown whole.
        """
        if height_of(strips) <= room:
            return list(strips)
        bold = replace(style, bold=True)
        left = room - height_of(self.paragraph(more.format(count=len(strips)), width, bold))
        kept: list[Strip] = []
        for one in strips:
            left -= one.height
            if left < 0.0:
                break
            kept.append(one)
        while kept and kept[-1].item < 0:
            kept.pop()
        count = len({one.item for one in strips[len(kept) :] if one.item >= 0})
        return [*kept, *self.paragraph(more.format(count=count), width, bold)]

    def named(self, kind: str, disclaimer: str) -> float:
        """What kind of sheet it is, the disclaimer beside it, a heavy line below; where that is [mm]."""
        self.put(self.left, self.top, kind, KIND)
        self.put(self.left + self.width, self.top, disclaimer, replace(KIND, bold=False), "R")
        y = self.top + KIND.line_mm + 0.8
        self.line((self.left, y, self.left + self.width, y), HEAVY_MM)
        return y

    def ruled(self, title: str, top: float, bottom: float) -> None:
        """Lines to write on by hand, where there is room for a few."""
        if bottom - top < LEAST_RULED_MM:
            return
        y = self.stack([self.heading(title, self.width)], self.left, top)
        while (y := y + RULED_MM) < bottom:
            self.line((self.left, y, self.left + self.width, y), HAIR_MM, FAINT)

    def stack(self, strips: Iterable[Strip], x: float, y: float) -> float:
        """Draw strips one below the other; where they end [mm]."""
        for one in strips:
            one.draw(x, y)
            y += one.height
        return y


def gap(height: float) -> Strip:
    """Room between two strips [mm]."""
    return Strip(height, lambda _x, _y: None)


def height_of(strips: Iterable[Strip]) -> float:
    """Height of strips one below the other [mm]."""
    return sum(one.height for one in strips)
