"""Lead-pair readings as they are typed on the page: tags, a grid of pairs, and what they come to. No page in it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib import bench
from calib.errors import InputError
from calib.leads import identify_leads
from calib.leads.readings import lead_readings
from calib.session import fields as measured

if TYPE_CHECKING:
    import pandas as pd

    from calib.leads.result import LeadsFound

Pair = tuple[str, str]
OPEN = "open"
# What meters show, and people write, where there is no continuity.
OPEN_WORDS = frozenset({"open", "o", "ol", "o.l", "o.l.", "0l", "inf", "∞", "none", "no", "-", "–"})
USUAL_OHM = (0.01, 10000.0)  # where resistances of windings lie, heaters and all [ohm]
NULL_OHM = (0.0, 100.0)  # what test leads may read alone [ohm]
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
MOST_TAGS = 60
LONGEST_TAG = 24
NO_PAIR = "·"  # what the grid shows where no pair belongs
HERE = "the grid"


@dataclass(frozen=True)
class LeadsRead:
    """What the readings on the page come to.

    Attributes
    ----------
    found : LeadsFound or None
        Windings and the next step; None where nothing was read yet or something is wrong.
    faults : tuple of str
        What is wrong, one sentence each.
    """

    found: LeadsFound | None
    faults: tuple[str, ...]


def tags_of(text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Tags from what was typed, parted by commas (by blanks where there is none), and what is wrong with them."""
    parts = text.replace("\n", ",").split(",") if "," in text or "\n" in text else text.split()
    tags = [" ".join(part.split()) for part in parts if part.strip()]
    faults = [f"'{tag}' stands twice: give every lead a tag of its own" for tag in dict.fromkeys(tags)]
    faults = [fault for fault, tag in zip(faults, dict.fromkeys(tags), strict=True) if tags.count(tag) > 1]
    faults += [
        f"'{tag[:30]}…' is longer than {LONGEST_TAG} characters: shorten it" for tag in tags if len(tag) > LONGEST_TAG
    ]
    if len(tags) > MOST_TAGS:
        faults.append(f"{len(tags)} leads are more than the {MOST_TAGS} that this page takes: use calib leads for them")
    return tuple(dict.fromkeys(tags)), tuple(faults)


def typed_ohm(text: object) -> str:
    """A cell as a reading is kept: ``open``, a plain number of ohms, or as typed where it is neither."""
    typed = "" if text is None or text != text or text == NO_PAIR else str(text).strip()
    if typed.lower() in OPEN_WORDS:
        return OPEN
    if _PLAIN.fullmatch(typed):
        return typed
    try:
        return measured.shown(bench.read_number(typed, "ohm", usual=USUAL_OHM).kept) if typed else ""
    except bench.NotRead:
        return typed


def understood_ohm(text: object) -> tuple[str, str]:
    """What was understood of a reading where that is not plainly what was typed, and why it is no number.

    Each is a sentence, and blank where there is nothing to say.
    """
    typed = str(text or "").strip()
    if not typed or typed_ohm(typed) == OPEN:
        return "", ""
    try:
        return bench.read_number(typed, "ohm", usual=USUAL_OHM).aloud, ""
    except bench.NotRead as error:
        return "", f"{measured.brief(typed)}: {error.problem}; {error.remedy}, or open where there is no continuity."


def grid_of(tags: Sequence[str], readings: Mapping[Pair, str]) -> pd.DataFrame:
    """The grid: a row for every lead but the last, a column for every lead but the first, each pair once."""
    import pandas as pd

    rows, columns = list(tags[:-1]), list(tags[1:])
    cells = {
        b: [readings.get(ordered(a, b, tags), "") if _above(a, b, tags) else NO_PAIR for a in rows] for b in columns
    }
    return pd.DataFrame(cells, index=pd.Index(rows, name="lead"), columns=columns, dtype=object)


def readings_in(grid: pd.DataFrame, tags: Sequence[str]) -> tuple[dict[Pair, str], tuple[str, ...]]:
    """Readings from the grid as edited, and what is wrong with where they stand."""
    found: dict[Pair, str] = {}
    faults = []
    for a in grid.index:
        for b in grid.columns:
            typed = typed_ohm(grid.at[a, b])
            if not typed:
                continue
            if a == b:
                faults.append(f"{a} to {b}: a lead is not read against itself; put the reading where it belongs")
                continue
            pair = ordered(str(a), str(b), tags)
            if found.get(pair, typed) != typed:
                faults.append(f"{pair[0]} to {pair[1]}: stands twice, as {found[pair]} and as {typed}; keep one")
            found.setdefault(pair, typed)
    return found, tuple(faults)


def understood_in(grid: pd.DataFrame) -> tuple[str, ...]:
    """What was understood of the grid's cells where that is not plainly what was typed, one sentence each."""
    cells = ((a, b, understood_ohm(grid.at[a, b])[0]) for a in grid.index for b in grid.columns)
    return tuple(f"{a} to {b}: {said}" for a, b, said in cells if said)


def ordered(a: str, b: str, tags: Sequence[str]) -> Pair:
    """A pair in the order of the tags."""
    return (a, b) if _above(a, b, tags) else (b, a)


def _above(a: str, b: str, tags: Sequence[str]) -> bool:
    return list(tags).index(a) < list(tags).index(b)


def rows_of(readings: Mapping[Pair, str]) -> list[list[str]]:
    """Readings as plain rows, lead, lead, ohm, for a session to keep."""
    return [[a, b, typed] for (a, b), typed in readings.items() if typed]


def from_rows(rows: Iterable[Sequence[Any]], tags: Sequence[str]) -> dict[Pair, str]:
    """Readings from rows that a session kept, of the leads that are tagged."""
    return {
        ordered(str(row[0]), str(row[1]), tags): str(row[2])
        for row in rows
        if len(row) == 3 and row[0] != row[1] and {str(row[0]), str(row[1])} <= set(tags)
    }


def lead_table(tags: Sequence[str], readings: Mapping[Pair, str]) -> str:
    """The readings as the table (CSV) that ``calib leads`` takes; a pair that was not read has an empty cell."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("lead_a", "lead_b", "ohm"))
    for number, a in enumerate(tags):
        writer.writerows((a, b, readings.get((a, b), "")) for b in tags[number + 1 :])
    return out.getvalue()


def identified(tags: Sequence[str], readings: Mapping[Pair, str], **settings: Any) -> LeadsRead:
    """What the readings come to.

    Parameters
    ----------
    tags : sequence of str
        Every lead, read or not.
    readings : mapping of (str, str) to str
        ``open`` or a number of ohms for each pair that was read [ohm].
    **settings
        As `calib.leads.identify_leads` takes them.

    Returns
    -------
    LeadsRead
        Faults name the pair, the value and the remedy.
    """
    if not any(readings.values()):
        return LeadsRead(None, ())
    pairs = [(a, b) for number, a in enumerate(tags) for b in tags[number + 1 :]]
    rows = [{"lead_a": a, "lead_b": b, "ohm": readings.get((a, b), "")} for a, b in pairs]
    try:
        return LeadsRead(identify_leads(lead_readings(rows, HERE, range(len(rows))), **settings), ())
    except InputError as error:
        told = []
        for fault in error.faults:
            a, b = pairs[fault.row] if fault.row is not None and fault.row < len(pairs) else ("", "")
            why = understood_ohm(fault.value)[1].rstrip(".")
            why = why or f"'{fault.value}' {fault.problem}; {fault.remedy}"
            told.append(f"{a} to {b}: {why}")
        return LeadsRead(None, tuple(told))


def unread(tags: Sequence[str], readings: Mapping[Pair, str]) -> Pair | None:
    """The first pair, in the order of the tags, that was not read; None where all were."""
    for number, a in enumerate(tags):
        for b in tags[number + 1 :]:
            if not readings.get((a, b)):
                return a, b
    return None


def null_in(typed: object) -> tuple[float, str, str]:
    """The lead null, 0 where none was entered, what was understood of it, and what is wrong with it."""
    read = measured.read({"null": typed}, {"null": "ohm"}, {"null": NULL_OHM})
    if read.faults:
        return 0.0, "", f"the lead null of {read.faults['null'].rstrip('.')}"
    value = read.kept["null"] or 0.0
    if not NULL_OHM[0] <= value <= NULL_OHM[1]:
        return 0.0, "", f"the lead null of {value:g} Ω is not from 0 to 100 Ω: enter what the meter shows, clips joined"
    return value, read.aloud.get("null", ""), ""
