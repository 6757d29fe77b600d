"""Read a shipped trade table: its rows as they stand in the file, once."""

from __future__ import annotations

from functools import cache

from calib.places import shipped


@cache
def shipped_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a shipped CSV, such as ``datasets/wire/swg.csv``, each by column name; not to be changed."""
    import csv

    with shipped(name).open(encoding="utf-8", newline="") as lines:
        return tuple(csv.DictReader(lines))
