"""The blank bench sheet: the steps of the session on paper, made from the same data as the page."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from calib.session.choices import said
from calib.session.paper import ACROSS, Box, Paper
from calib.session.step import Field, Rows, Step
from calib.session.steps import LIVE, STEPS

if TYPE_CHECKING:
    from calib.session.step import Part

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
