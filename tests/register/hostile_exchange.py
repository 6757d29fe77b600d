"""Bundles and spreadsheets' tables as anybody may hand them over, drawn by hypothesis: sound, gone on, and spoiled."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings, strategies as st

from tests.register.bundles import CELLS, OWN, csv_of, packed, revision
from tests.register.conftest import TYPED

HOSTILE = (
    "",
    "nan",
    "-1",
    "1e999",
    "1,5",
    "=cmd",
    "\u202eabc",
    "\x00",
    "a\nb",
    '"',
    "x" * 300,
    "true",
    "none",
    "9" * 20,
)
TEXT = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=12))
HEADERS = {"hv_resistance_ohm": "R (kΩ)", "rated_current_ma": "Rated current [A]", "centre_tapped": "Center Tap"}
HEADERS |= {"tongue_mm": "tongue_in", "unit": "TAG"}


@st.composite
def bundles(draw: st.DrawFn) -> dict[str, bytes]:
    """A few records, each with revisions; in every other bundle something is spoiled."""
    rows: list[dict[str, str]] = []
    for unit in draw(st.lists(st.sampled_from("ABCDEF"), min_size=1, max_size=4, unique=True)):
        for number in range(1, draw(st.integers(1, 3)) + 1):
            changed = {"rated_current_ma": str(90 + draw(st.integers(0, 2))), "by": draw(st.sampled_from(("", "me")))}
            gone = number > 1 and draw(st.integers(0, 5)) == 0
            rows.append(revision(unit, number, **changed, **({"action": "withdraw"} if gone else {})))
    last = {row["unit"]: row for row in rows}
    known = [{name: row[name] for name in CELLS} for row in last.values() if row["action"] != "withdraw"]
    if draw(st.booleans()):
        row = draw(st.sampled_from(rows))
        row[draw(st.sampled_from([*OWN, *TYPED, "notes", "awg"]))] = draw(TEXT)
    files = packed(rows, known)
    if draw(st.integers(0, 5)) == 0:
        name = draw(st.sampled_from([*files]))
        at = draw(st.integers(0, len(files[name])))
        files[name] = files[name][:at] + draw(st.binary(max_size=4)) + files[name][at + draw(st.integers(0, 9)) :]
    return files


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    """A table as a spreadsheet of some country writes it, with some cells that no reading has."""
    comma = draw(st.booleans())
    mark = draw(st.sampled_from((";", "\t") if comma else (",", ";", "\t")))
    rows = []
    for number in range(draw(st.integers(1, 3))):
        row = TYPED | {"unit": f"S-{draw(st.integers(0, 40))}-{number}", "tongue_mm": "28.6", "stack_mm": "31"}
        if draw(st.integers(0, 2)) == 0:
            row[draw(st.sampled_from([*row]))] = draw(TEXT)
        rows.append({name: cell.replace(".", ",") if comma else cell for name, cell in row.items()})
    names = [HEADERS.get(name, name) if draw(st.integers(0, 3)) == 0 else name for name in rows[0]]
    renamed = [dict(zip(names, row.values(), strict=True)) for row in rows]
    raw = csv_of(names, renamed, mark)
    encoding = draw(st.sampled_from(("utf-8", "utf-8", "utf-8-sig", "utf-16")))
    return raw.decode("utf-8", "replace").encode(encoding, "replace")


def each(count: int, seen: Callable[[Any], None]) -> None:
    """Hand over so many bundles and tables, the same every time."""

    @settings(
        max_examples=count,
        database=None,
        deadline=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.one_of(bundles(), tables()))
    def one(handed: Any) -> None:
        seen(handed)

    one()
