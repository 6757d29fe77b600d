"""What stands on a PDF: its text, where each piece of it is, and the shades that it is drawn in."""

from __future__ import annotations

import re
from io import BytesIO

from pypdf import PdfReader

FIGURE = re.compile(r"\d+(?:\.\d+)?")
GREY = re.compile(rb"(?<![\w.])([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b")
TOLERANCE_PT = 0.5


def pages(pdf: bytes) -> int:
    return len(PdfReader(BytesIO(pdf)).pages)


def size_mm(pdf: bytes) -> tuple[float, float]:
    box = PdfReader(BytesIO(pdf)).pages[0].mediabox
    return float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4


def text(pdf: bytes) -> str:
    """Its text in the order in which it was drawn, every blank one space."""
    return " ".join(PdfReader(BytesIO(pdf)).pages[0].extract_text().split())


def figures(said: str) -> set[str]:
    """The numbers in a text, as they are printed."""
    return set(FIGURE.findall(said))


def beyond(pdf: bytes) -> list[str]:
    """Pieces of text that begin outside the page's margins of 9 mm."""
    page = PdfReader(BytesIO(pdf)).pages[0]
    edge = 9.0 / 25.4 * 72 - TOLERANCE_PT
    wide, high = float(page.mediabox.width), float(page.mediabox.height)
    found: list[str] = []

    def look(said: str, _: object, place: list[float], *__: object) -> None:
        x, y = place[4], place[5]
        if said.strip() and not (edge <= x <= wide - edge and edge - 14.0 <= y <= high - edge):
            found.append(said)

    page.extract_text(visitor_text=look)
    return found


def coloured(pdf: bytes) -> list[bytes]:
    """What sets a colour that is no grey; a photograph's own are not among it."""
    content = PdfReader(BytesIO(pdf)).pages[0].get_contents()
    assert content is not None
    return [found.group() for found in GREY.finditer(content.get_data()) if len(set(found.groups())) > 1]
