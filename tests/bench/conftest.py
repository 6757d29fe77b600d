"""The worked tables of wires and of square stacks."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def worked_wires() -> list[dict[str, str]]:
    """Sizes computed once by a script of their own from ASTM B258 and BS 3737 diameters and 1.7241e-8 ohm m."""
    return _rows("worked_wire_table.csv")


@pytest.fixture(scope="session")
def worked_stacks() -> list[dict[str, str]]:
    """Square stacks of scrapless EI computed once by a script of their own: 60 Hz, 1.2 T, fill 0.195, stacking 0.95."""
    return _rows("worked_square_stacks.csv")


def _rows(name: str) -> list[dict[str, str]]:
    with (Path(__file__).parent / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))
