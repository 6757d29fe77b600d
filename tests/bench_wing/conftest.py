"""Compare with printed figures to the last digit that they print, and read the worked tables."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest


def _printed(value: float, figure: str) -> None:
    """Assert that a value rounds to the figure as printed: half a unit of its last digit at most, plus rounding."""
    mantissa, _, exponent = figure.partition("e")
    decimals = len(mantissa.partition(".")[2])
    half_unit = 0.5 * 10.0 ** (int(exponent or 0) - decimals)
    assert abs(value - float(figure)) <= half_unit * (1.0 + 1e-6), f"{value!r} does not print as {figure}"


@pytest.fixture(scope="session")
def printed() -> Callable[[float, str], None]:
    return _printed


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
