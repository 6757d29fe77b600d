"""Tables as spreadsheets write them: cells parted by other marks, decimal commas, units in the header, other words.

What is read otherwise than it stands is told, in a line each, before anything is kept of it; what may mean two things
is left as it stands, for the check of the rows to refuse. A table that needs none of this never comes here. The words
that are understood stand in ``spreadsheet.toml``.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from calib.errors import Fault
from calib.paths import data
from calib.register.fields import FieldFacts
from calib.units import NotRead, own_symbol, read_number, symbol_of

WORDS = data("register/spreadsheet.toml")
MARKS: dict[str, str] = WORDS["marks"]
EXAMPLES = 3  # cells that a line of what was understood repeats
Line = tuple[int, list[str] | Fault]

_APART = re.compile(r"[\s_\-/.:]+")
_BRACKETED = re.compile(r"(.*?)\s*[(\[]\s*(.*?)\s*[)\]]\s*", re.DOTALL)
_LAST = re.compile(r"(.+?)(?:\s+in)?[\s_,/]+([^\s_,/]+)", re.DOTALL)
_TABLE_S_OWN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
MAY_BE_TWO = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
# A cell that shows the mark before decimals: a comma, a point, and a comma that parts thousands.
_COMMA = re.compile(r"(^|[^\d,.])0?,\d|\d,(\d{1,2}|\d{4,})(?!\d)|\.\d{3},\d|\d\.\d{3}\.\d{3}")
_POINT = re.compile(r"(^|[^\d,.])0?\.\d|\d\.(\d{1,2}|\d{4,})(?!\d)")
_GROUPED = re.compile(r"\d,\d{3}\.\d|\d,\d{3},\d{3}")
_DAY = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", re.ASCII)
_YEAR_FIRST = re.compile(r"(\d{4})[./](\d{1,2})[./](\d{1,2})", re.ASCII)


class Column(NamedTuple):
    """A column as a header has it: its typed name, whose it is (blank for nobody's), the symbol of its unit."""

    typed: str
    name: str
    symbol: str = ""


@dataclass
class Understood:
    """A table as it is read.

    Attributes
    ----------
    row : int
        The header's line.
    names : list of str
        Each column's name; as typed where it is no column's.
    lines : list
        The rows below, as `tables.lines_of` gives them.
    told : list of str
        What is read otherwise than it stands, a line each.
    key : str
        What identifies the header, whatever its rows.
    decimal : str
        The mark before decimals, where somebody said it.
    typed : dict
        By line and column, the cells that are read otherwise, as they stand.
    """

    row: int
    names: list[str]
    lines: list[Line]
    told: list[str]
    key: str
    decimal: str = ""
    typed: dict[tuple[int | None, str], str] = field(default_factory=dict)


def plain(text: str) -> str:
    """A name or a word without case, accents of width, blanks and hyphens."""
    return _APART.sub(" ", unicodedata.normalize("NFKC", text).casefold().replace("’", "'")).strip()


def parted(lines_by: dict[str, Line], facts: Sequence[FieldFacts]) -> str:
    """Which mark parts the cells: the one by which most of the header's names are known, else a comma."""

    def known(mark: str) -> int:
        cells = lines_by[mark][1]
        return 0 if isinstance(cells, Fault) else sum(bool(column_of(cell, tuple(facts)).name) for cell in cells)

    return max(lines_by, key=known)


@cache
def _spellings(facts: tuple[FieldFacts, ...]) -> dict[str, FieldFacts]:
    """Every spelling of a column's name, with its unit left out or not."""
    found: dict[str, FieldFacts] = {}
    for one in facts:
        own = {one.name, one.label, *WORDS["columns"].get(one.name, ())}
        with suppress(NotRead):
            base, _, last = one.name.rpartition("_")
            own |= {base} if base and one.unit and symbol_of(last, one.unit) else set()
        for spelling in own:
            found.setdefault(plain(spelling), one)
    return found


@cache
def column_of(header: str, facts: tuple[FieldFacts, ...]) -> Column:
    """Whose column a header names, its unit in brackets or as its last word, or said by nobody."""
    known, typed = _spellings(facts), header.strip()
    if one := known.get(plain(typed)):
        return Column(typed, one.name, own_symbol(one.unit))
    for pattern in (_BRACKETED, _LAST):
        if (found := pattern.fullmatch(typed)) and (one := known.get(plain(found[1]))) and one.unit:
            with suppress(NotRead):
                return Column(typed, one.name, symbol_of(found[2], one.unit))
    return Column(typed, "")


def decimal_of(cells: Iterable[str]) -> tuple[str, bool]:
    """The mark before decimals, where cells show it and none shows the other; and whether any shows a point."""
    comma = point = grouped = False
    for cell in cells:
        if "," in cell:
            comma, grouped = comma or bool(_COMMA.search(cell)), grouped or bool(_GROUPED.search(cell))
        point = point or bool(_POINT.search(cell))
    return "," if comma and not point and not grouped else "." if grouped and not comma else "", point


def understood(
    mark: str, header: tuple[int, list[str]], lines: list[Line], facts: tuple[FieldFacts, ...], decimal: str = ""
) -> Understood:
    """Read a table as a spreadsheet wrote it.

    Parameters
    ----------
    mark : str
        What parts its cells.
    header : (int, list of str)
        The header's line, and its names.
    lines : list
        The rows below.
    facts : tuple of FieldFacts
        The columns that the table may have.
    decimal : str
        The mark before decimals, a point or a comma, where somebody said it; else what the cells show.
    """
    row, names = header
    empty = [not name.strip() and _all_blank(lines, place) for place, name in enumerate(names)]
    kept = [place for place, gone in enumerate(empty) if not gone]
    if len(kept) < len(names):
        lines = [(at, cells if isinstance(cells, Fault) else _at(cells, kept, len(names))) for at, cells in lines]
    columns = [column_of(names[place], facts) for place in kept]
    made = Understood(row, [one.name or one.typed for one in columns], [], [], _key(mark, names))
    made.decimal = decimal or recalled(made.key).get("decimal", "")
    by_name = {one.name: one for one in facts}
    asked = [by_name.get(column.name) for column in columns]
    shown, point = decimal_of(_numbers(lines, asked))
    decimal = made.decimal or shown
    readers = [
        Reader(one, column.symbol, decimal, decimal == "," and not point) if one else None
        for one, column in zip(asked, columns, strict=True)
    ]
    for at, cells in lines:
        if not isinstance(cells, Fault) and len(cells) == len(readers):
            made.lines.append((at, [_read(made, at, *pair) for pair in zip(cells, readers, strict=True)]))
        else:
            made.lines.append((at, cells))
    made.told += [f"the cells are parted by {MARKS[mark]}"] * (mark != ",")
    made.told += ["columns without a name and with nothing in them are left out"] * any(empty)
    made.told += ["the mark before decimals is a comma"] * (decimal == "," and any(r and r.numbers for r in readers))
    other = [one for one in columns if one.name and one.typed != one.name]
    alike = [one for one in other if plain(one.typed) == plain(one.name)]
    made.told += [f"{len(alike)} columns are named in other letters, such as '{alike[0].typed}'"] if alike else []
    made.told += [_renamed(one, by_name[one.name]) for one in other if one not in alike]
    made.told += [line for reader in readers if reader for line in reader.told()]
    return made


def _all_blank(lines: Iterable[Line], place: int) -> bool:
    return all(isinstance(cells, Fault) or not "".join(cells[place : place + 1]).strip() for _, cells in lines)


def _at(cells: list[str], kept: Sequence[int], width: int) -> list[str]:
    return [cells[place] for place in kept] if len(cells) == width else cells


def _numbers(lines: Iterable[Line], asked: Sequence[FieldFacts | None]) -> Iterator[str]:
    places = [place for place, one in enumerate(asked) if one and one.kind == "number"]
    for _, cells in lines:
        if not isinstance(cells, Fault) and len(cells) == len(asked):
            yield from (cells[place] for place in places)


def _renamed(column: Column, facts: FieldFacts) -> str:
    own = own_symbol(facts.unit)
    unit = f" ({column.symbol} → {own})" if column.symbol != own else ""
    return f"the column '{column.typed}' is {column.name}{unit}"


def _read(made: Understood, at: int, cell: str, reader: Reader | None) -> str:
    if reader is None:
        return cell
    now = reader.read(cell)
    if now != cell:
        made.typed[at, reader.facts.name] = cell.strip()
    return now


class Reader:
    """Reads the cells of one column, and remembers what it read otherwise than it stood.

    Parameters
    ----------
    facts : FieldFacts
        Of the column.
    symbol : str
        The unit of its numbers.
    decimal : str
        The mark before decimals; blank where it is not known.
    grouped : bool
        Whether a point parts thousands; else it is a mark before decimals as well.
    """

    def __init__(self, facts: FieldFacts, symbol: str, decimal: str, grouped: bool) -> None:
        self.facts, self._symbol, self._decimal, self._grouped = facts, symbol, decimal, grouped
        self._made: dict[str, str] = {}
        self.numbers = 0  # that had a mark before decimals which a table does not have

    def read(self, cell: str) -> str:
        """A cell as a table has it; as it stands where nothing else can be meant for certain."""
        typed = cell.strip()
        if not typed or self.facts.kind == "text":
            return cell
        if typed not in self._made:
            self._made[typed] = self._number(typed) if self.facts.kind == "number" else self._word(typed)
        return cell if self._made[typed] == typed else self._made[typed]

    def _number(self, typed: str) -> str:
        two = MAY_BE_TWO.fullmatch(typed)
        own = self._symbol == own_symbol(self.facts.unit)
        if own and _TABLE_S_OWN.fullmatch(typed) and not (two and self._grouped):
            return typed
        mark = self._decimal if "," in typed else "," if self._grouped else "."
        try:
            one = read_number(typed, self.facts.unit, self._symbol, None, mark)
        except NotRead:
            return typed
        self.numbers += "," in typed
        return repr(one.kept).removesuffix(".0")

    def _word(self, typed: str) -> str:
        if self.facts.kind == "date":
            return _iso(typed)
        return _choices(self.facts).get(plain(typed), typed) if typed not in self.facts.choices else typed

    def told(self) -> list[str]:
        """What was read otherwise, in a line; nothing of mere case, or of a decimal comma and a unit told already."""
        other = [(typed, now) for typed, now in self._made.items() if typed != now and not self._as_told(typed, now)]
        if not other:
            return []
        shown = ", ".join(f"'{typed[:40]}' is {now}" for typed, now in other[:EXAMPLES])
        more = f", and {len(other) - EXAMPLES} more" if len(other) > EXAMPLES else ""
        return [f"{self.facts.name}: {shown}{more}"]

    def _as_told(self, typed: str, now: str) -> bool:
        if self.facts.kind != "number":
            return typed.lower() == now
        if self._grouped and "." in typed:
            return False
        return _TABLE_S_OWN.fullmatch(typed.replace(",", ".") if self._decimal == "," else typed) is not None


@cache
def _choices(facts: FieldFacts) -> dict[str, str]:
    """Every spelling of a column's choices."""
    words = WORDS["choices"].get("flag" if facts.kind == "flag" else facts.name, {})
    found = {plain(spelling): choice for choice in facts.choices for spelling in words.get(choice, ())}
    found |= {plain(choice): choice for choice in facts.choices}
    return found | {plain(choice).replace(" ", ""): choice for choice in facts.choices}


def _iso(typed: str) -> str:
    """A day as a table has it, where its parts can stand for nothing else."""
    if found := _DAY.fullmatch(typed):
        return f"{found[3]}-{int(found[2]):02}-{int(found[1]):02}"
    if found := _YEAR_FIRST.fullmatch(typed):
        return f"{found[1]}-{int(found[2]):02}-{int(found[3]):02}"
    return typed


def _key(mark: str, names: Iterable[str]) -> str:
    return hashlib.sha256("\n".join([mark, *names]).encode()).hexdigest()[:32]


MOST_REMEMBERED = 200  # headers


def _memory() -> Path:
    from calib.register.file import data_folder

    return data_folder() / "tables.json"


def _all_recalled() -> dict[str, Any]:
    try:
        told = json.loads(_memory().read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}


def recalled(key: str) -> dict[str, Any]:
    """What was understood of a header before, once it was confirmed; empty where it was not."""
    told = _all_recalled().get(key)
    known = isinstance(told, dict) and told.get("decimal") in ("", ",", ".") and isinstance(told.get("told"), list)
    return told if known and told is not None else {}


def remember(key: str, decimal: str, told: Sequence[str]) -> None:
    """Keep in the user's data folder what was understood of a header, and confirmed; failing that, it is told again.

    Parameters
    ----------
    key : str
        The header's.
    decimal : str
        The mark before decimals that somebody chose; blank where none was asked for.
    told : sequence of str
        What was told.
    """
    place = _memory()
    kept = {**_all_recalled(), key: {"decimal": decimal, "told": list(told)}}
    draft = place.with_name(f".{place.name}.{os.getpid()}.new")
    with suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        draft.write_text(json.dumps(dict(list(kept.items())[-MOST_REMEMBERED:])), encoding="utf-8")
        os.replace(draft, place)
