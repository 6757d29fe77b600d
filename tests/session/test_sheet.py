"""The blank bench sheet: everything that the page asks and warns of stands on it, in letters that every reader has."""

from __future__ import annotations

import re
import zlib

import pytest

from calib import bench
from calib.session.protocol import STEPS, said
from calib.session.sheet import DISCLAIMER, bench_sheet, latin

A4_PT = (595.28, 841.89)  # 210 mm by 297 mm; ISO 216


@pytest.fixture(scope="module")
def sheet() -> bytes:
    return bench_sheet()


def shown(sheet: bytes) -> str:
    """What is written on it, in the order in which it is drawn."""
    written = []
    for stream in re.findall(rb"\nstream\r?\n(.*?)endstream", sheet, re.DOTALL):
        try:
            content = zlib.decompressobj().decompress(stream).decode("latin-1")  # whatever ends the line after it
        except zlib.error:
            continue
        for text in re.findall(r"\((.*?)(?<!\\)\) Tj", content, re.DOTALL):
            written.append(re.sub(r"\\(.)", r"\1", text))
    return " ".join(" ".join(written).split())


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_each_step_stands_on_it_with_every_caution_before_its_fields(sheet: bytes, step: object) -> None:
    text = shown(sheet)
    number = STEPS.index(step) + 1  # type: ignore[arg-type]
    begins = text.index(f"{number} {latin(step.title)} CAUTION")  # type: ignore[attr-defined]
    ends = text.index(f"{number + 1} {latin(STEPS[number].title)} CAUTION") if number < len(STEPS) else len(text)
    own = text[begins:ends]
    cautions = [own.index(latin(one)) for one in step.cautions]  # type: ignore[attr-defined]
    labels = [latin(field.label) for part in step.parts for field in part.fields]  # type: ignore[attr-defined]
    places = [own.index(label, max(cautions)) for label in labels]
    assert min(places, default=len(own)) > max(cautions)


def test_every_choice_can_be_ticked(sheet: bytes) -> None:
    text = shown(sheet)
    choices = [
        choice
        for step in STEPS
        for part in step.parts
        for field in part.fields
        if field.kind in ("choice", "several")
        for choice in field.choices
    ]
    assert len(choices) > 30
    assert [choice for choice in choices if latin(said(choice)) not in text] == []


def test_it_says_that_it_does_not_certify(sheet: bytes) -> None:
    assert "It estimates and does not certify" in DISCLAIMER
    assert DISCLAIMER in shown(sheet)


def test_it_says_what_may_be_fed_before_any_volts_are_asked_for(sheet: bytes) -> None:
    text = shown(sheet)
    rules = [text.index(latin(one)) for one in bench.FEED_RULES]
    assert max(rules) < text.index("Volts fed in")


def test_units_stand_beside_the_boxes(sheet: bytes) -> None:
    text = shown(sheet)
    for unit in ("ohm", "Mohm", "V dc", "°C / °F", "mm / in", "cm² / in²", "kg / lb", "AWG / SWG / mm / in"):
        assert unit in text


def test_there_is_a_box_for_each_of_ten_leads(sheet: bytes) -> None:
    text = shown(sheet)
    assert all(f"lead {number}:" in text for number in range(1, 11))
    assert "lead 11:" not in text


def test_it_is_three_pages_of_a4_in_built_in_fonts(sheet: bytes) -> None:
    assert len(re.findall(rb"/Type /Page\b", sheet)) == 3
    (box,) = set(re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", sheet))
    assert tuple(map(float, box)) == pytest.approx(A4_PT, abs=0.01)
    assert set(re.findall(rb"/BaseFont /(\S+)", sheet)) == {b"Helvetica", b"Helvetica-Bold"}
    assert b"/FontFile" not in sheet


def test_the_same_bytes_come_out_every_time(sheet: bytes) -> None:
    assert bench_sheet() == sheet


def test_no_letter_is_lost_to_the_font() -> None:
    """A letter that the font lacks would be a question mark."""
    written = [field.label for step in STEPS for field in step.fields.values()]
    written += [field.unit for step in STEPS for field in step.fields.values()]
    written += [text for step in STEPS for text in (step.title, *step.cautions, *(part.note for part in step.parts))]
    assert [text for text in written if latin(text).count("?") != text.count("?")] == []
    assert latin("10 MΩ") == "10 Mohm"
    assert latin("→") == "?"
