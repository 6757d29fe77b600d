"""The blank bench sheet: the steps of the session on paper, as a PDF, made from the same data as the page.

Headings, ruled cautions, boxes with units, tables and a grid of lead pairs. Only the fonts that every reader of PDF has
are used, whose letters are those of Latin-1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from calib.session.fields import Field, Part, Rows, Step
from calib.session.protocol import LIVE, STEPS, said

if TYPE_CHECKING:
    from fpdf import FPDF

TITLE = "Bench sheet: mains transformer of a valve set"
DISCLAIMER = (
    "It estimates and does not certify: no rating, no approval, and a sound old winding can still fail. Local codes "
    "and licensed practice come first."
)
# The same day in every copy, so that the same steps give the same bytes.
MADE = datetime(2020, 1, 1, tzinfo=UTC)
PAIRED = 10  # leads whose pairs have a box of their own
READ_IN = {"mm": "mm / in", "cm²": "cm² / in²", "°C": "°C / °F", "K": "°C / °F", "kg": "kg / lb"}
READ_IN |= {"ohm": "ohm", "Ω": "ohm", "wire": "AWG / SWG / mm / in"}
LETTERS = {"text": 24, "pick": 30, "choice": 26, "number": 14}  # room in a table's column, by what is written there
MARGIN_MM, FOOT_MM = 9.0, 8.0
ACROSS = 6  # boxes side by side
GAP_MM = 2.0
LABEL_MM, BOX_MM, LINE_MM, PAIR_MM = 2.6, 5.3, 2.9, 4.8  # heights
FONT = "Helvetica"
TITLE_PT, STEP_PT, LABEL_PT, TEXT_PT = 12.0, 9.5, 6.6, 7.2
RULE_MM, HEAVY_MM = 0.15, 0.5
TICK_MM = 2.4
IN_LATIN_1 = {"MΩ": "Mohm", "kΩ": "kohm", "Ω": "ohm", "–": "-", "’": "'"}


def bench_sheet() -> bytes:
    """The blank sheet.

    Returns
    -------
    bytes
        A PDF of A4 pages, black on white: before each step its cautions in a ruled box, then boxes to write into with
        their units beside them, and a grid for the resistances between lead pairs.
    """
    paper = Paper(TITLE, DISCLAIMER, MADE)
    for number, step in enumerate(STEPS, start=1):
        _step(paper, number, step)
    return paper.bytes()


def _step(paper: Paper, number: int, step: Step) -> None:
    paper.step(f"{number}  {step.title}", step.cautions)
    if step.name == LIVE[0]:
        paper.boxes([Box("If a test before this one failed: what was found and done about it", columns=ACROSS)])
    for part in step.parts:
        _part(paper, part)
    if step.name == "leads":
        paper.pairs("Resistance between lead pairs, ohm; 'open' for no continuity", PAIRED)
    if step is STEPS[-1]:
        paper.rest("Done by, on what day, and what else is to be said")


def _part(paper: Paper, part: Part) -> None:
    if part.title:
        paper.heading(part.title)
    if part.note:
        paper.note(part.note)
    paper.boxes([_box(field) for field in part.fields])
    if part.rows:
        _rows(paper, part.rows)


def _box(field: Field) -> Box:
    """A field as a box."""
    if field.kind == "number":
        return Box(field.label, READ_IN.get(field.unit, field.unit), columns=2 if field.unit == "wire" else 1)
    if field.kind in ("choice", "several"):
        return Box(field.label, choices=tuple(map(said, field.choices)))
    return Box(field.label, columns=3 if field.wide else 2)


def _rows(paper: Paper, rows: Rows) -> None:
    """A table; rows of few fields stand side by side in it."""
    columns = [(rows.label, LETTERS["text"])] if rows.like else []
    for field in rows.fields:
        box = _box(field)
        more = box.unit or " / ".join(box.choices)
        head = f"{field.label}, {more}" if more else field.label
        columns.append((head, LETTERS.get(field.kind, LETTERS["number"])))
    if len(columns) == 2:
        columns[0] = (columns[0][0] if rows.like else f"{rows.label}: {columns[0][0].lower()}", columns[0][1])
    if len(columns) > 2:
        paper.table(columns, rows.paper)
    else:
        paper.table(columns * rows.paper, 1)


@dataclass(frozen=True)
class Box:
    """A box to write into.

    Attributes
    ----------
    label, unit : str
        Above it and beside it; blank for none.
    choices : tuple of str
        To be ticked instead of written; empty where it is written.
    columns : int
        How many columns it takes at the least.
    """

    label: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    columns: int = 1


class Paper:
    """Sheets of A4 that fill from the top.

    Parameters
    ----------
    title, disclaimer : str
        At the head of the first sheet, and the title at the foot of each.
    made : datetime
        What the file says of when it was made.
    """

    def __init__(self, title: str, disclaimer: str, made: datetime) -> None:
        from fpdf import FPDF

        class Sheets(FPDF):
            def footer(self) -> None:
                self.set_y(-FOOT_MM + 2.0)
                self.set_font(FONT, size=LABEL_PT)
                self.cell(0, 4.0, f"{latin(title)}: sheet {self.page_no()} of {{nb}}", align="R")

        self._pdf: FPDF = Sheets(format="A4")
        self._pdf.set_creation_date(made)
        self._pdf.set_title(latin(title))
        self._pdf.set_lang("en-GB")
        self._pdf.set_margins(MARGIN_MM, MARGIN_MM)
        self._pdf.set_auto_page_break(True, FOOT_MM)
        self._pdf.add_page()
        self._pdf.set_line_width(RULE_MM)
        self._text(title, TITLE_PT, bold=True, height=6.0)
        self._text(disclaimer, TEXT_PT)

    def bytes(self) -> bytes:
        """The file."""
        return bytes(self._pdf.output())

    def step(self, title: str, cautions: Sequence[str]) -> None:
        """A step's heading and its cautions in a ruled box, never torn from the first boxes after them."""
        pdf = self._pdf
        lines = [f"-  {text}" for text in cautions]
        pdf.set_font(FONT, size=TEXT_PT)
        inner = pdf.epw - 4.0
        height = LINE_MM * (1 + sum(self._line_count(line, inner) for line in lines)) + 1.4
        self._keep_together(6.0 + height + LABEL_MM + 2 * BOX_MM)
        pdf.ln(1.0)
        self._text(title, STEP_PT, bold=True, height=4.6)
        top = pdf.get_y()
        pdf.set_line_width(HEAVY_MM)
        pdf.rect(pdf.l_margin, top, pdf.epw, height)
        pdf.set_line_width(RULE_MM)
        pdf.set_y(top + 0.7)
        for number, line in enumerate(["CAUTION", *lines]):
            pdf.set_x(pdf.l_margin + 2.0)
            pdf.set_font(FONT, "B" if number == 0 else "", TEXT_PT)
            pdf.multi_cell(inner, LINE_MM, latin(line), align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.set_y(top + height + 1.0)

    def heading(self, title: str) -> None:
        """A heading within a step."""
        self._keep_together(4.0 + LABEL_MM + BOX_MM)
        self._text(title, TEXT_PT, bold=True, height=3.6)

    def note(self, text: str) -> None:
        """A few lines to read."""
        self._text(text, TEXT_PT)
        self._pdf.ln(0.6)

    def boxes(self, boxes: Sequence[Box]) -> None:
        """Boxes to write into, side by side; one whose choices are ticked takes the room that they need."""
        line: list[tuple[Box, int]] = []
        for box in boxes:
            wide = self._columns(box)
            if line and sum(one for _, one in line) + wide > ACROSS:
                self._line(line)
                line = []
            line.append((box, wide))
        self._line(line)

    def table(self, columns: Sequence[tuple[str, int]], rows: int) -> None:
        """A table of empty rows; of each column its head, and how many letters it should have room for."""
        pdf = self._pdf
        widths = [pdf.epw * letters / sum(one for _, one in columns) for _, letters in columns]
        pdf.set_font(FONT, size=LABEL_PT)
        high = LABEL_MM * max(self._line_count(head, width) for (head, _), width in zip(columns, widths, strict=True))
        self._keep_together(high + rows * BOX_MM)
        top, left = pdf.get_y(), pdf.l_margin
        for (head, _), width in zip(columns, widths, strict=True):
            pdf.set_xy(left, top)
            pdf.multi_cell(width, LABEL_MM, latin(head), align="L")
            for row in range(rows):
                pdf.rect(left, top + high + row * BOX_MM, width, BOX_MM)
            left += width
        pdf.set_y(top + high + rows * BOX_MM + 1.0)

    def pairs(self, title: str, leads: int) -> None:
        """A triangle of boxes, one for each pair of leads, with a box for the name of each lead."""
        pdf, high = self._pdf, PAIR_MM
        width = pdf.epw / leads
        self._keep_together(5.0 + leads * high)
        self._text(title, LABEL_PT, height=4.0)
        top = pdf.get_y()
        pdf.set_font(FONT, size=LABEL_PT)
        for row in range(leads):
            for column in range(row + 1):
                own = row == column
                pdf.set_line_width(HEAVY_MM if own else RULE_MM)
                pdf.rect(pdf.l_margin + column * width, top + row * high, width, high)
                if own:
                    pdf.set_xy(pdf.l_margin + column * width, top + row * high)
                    pdf.cell(width, high, f" lead {row + 1}:")
        pdf.set_line_width(RULE_MM)
        pdf.set_y(top + leads * high + 1.5)

    def rest(self, label: str) -> None:
        """One box over what is left of the sheet."""
        pdf = self._pdf
        self._keep_together(LABEL_MM + 2 * BOX_MM)
        self._text(label, LABEL_PT, height=LABEL_MM)
        pdf.rect(pdf.l_margin, pdf.get_y(), pdf.epw, pdf.h - FOOT_MM - pdf.get_y() - 1.0)

    def _text(self, text: str, size: float, *, bold: bool = False, height: float = LINE_MM) -> None:
        self._pdf.set_font(FONT, "B" if bold else "", size)
        self._pdf.multi_cell(0, height, latin(text), align="L", new_x="LMARGIN", new_y="NEXT")

    def _keep_together(self, height: float) -> None:
        if self._pdf.will_page_break(height):
            self._pdf.add_page()

    def _line_count(self, text: str, width: float) -> int:
        found = self._pdf.multi_cell(width, LINE_MM, latin(text), align="L", dry_run=True, output="LINES")
        return len(found) if isinstance(found, list) else 1

    def _columns(self, box: Box) -> int:
        """How many columns a box needs."""
        one = (self._pdf.epw + GAP_MM) / ACROSS
        self._pdf.set_font(FONT, size=LABEL_PT)
        ticks = sum(self._pdf.get_string_width(latin(choice)) + TICK_MM + 3.0 for choice in box.choices)
        needed = max(ticks, self._pdf.get_string_width(latin(box.label))) + GAP_MM
        return min(ACROSS, max(box.columns, -int(-needed // one)))

    def _line(self, line: Sequence[tuple[Box, int]]) -> None:
        """One line of boxes."""
        if not line:
            return
        pdf = self._pdf
        self._keep_together(LABEL_MM + BOX_MM + 1.0)
        top, left = pdf.get_y(), pdf.l_margin
        for box, columns in line:
            width = columns * (pdf.epw + GAP_MM) / ACROSS - GAP_MM
            pdf.set_font(FONT, size=LABEL_PT)
            pdf.set_xy(left, top)
            pdf.cell(width, LABEL_MM, latin(box.label))
            self._box(left, top + LABEL_MM, width, box)
            left += width + GAP_MM
        pdf.set_y(top + LABEL_MM + BOX_MM + 0.8)

    def _box(self, left: float, top: float, width: float, box: Box) -> None:
        pdf = self._pdf
        for choice in box.choices:
            pdf.rect(left + 0.4, top + 1.2, TICK_MM, TICK_MM)
            pdf.set_xy(left + TICK_MM + 0.2, top)
            said = latin(choice)
            pdf.cell(pdf.get_string_width(said) + 2.0, BOX_MM - 1.0, said)
            left += pdf.get_string_width(said) + TICK_MM + 3.0
        if box.choices:
            return
        beside = pdf.get_string_width(latin(box.unit)) + 2.0 if box.unit else 0.0
        pdf.rect(left, top, width - beside, BOX_MM)
        pdf.set_xy(left + width - beside, top)
        pdf.cell(beside, BOX_MM, latin(box.unit), align="R")


def latin(text: str) -> str:
    """Text in the letters that the font has."""
    for letter, instead in IN_LATIN_1.items():
        text = text.replace(letter, instead)
    return text.encode("latin-1", "replace").decode("latin-1")
