"""What the tests of the register share: one sound record as typed, and tables made of such."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

TYPED = {
    "unit": "AL-7",
    "contributor": "Alder Lane",
    "evidence": "nameplate",
    "rectifier": "full-wave",
    "filter": "capacitor",
    "rated_current_ma": "90",
    "line_voltage_v": "117",
    "line_frequency_hz": "60",
    "centre_tapped": "true",
    "excitation_v": "4.97",
    "hv_v": "27.76",
    "hv_resistance_ohm": "310",
    "winding_temp_c": "19.6",
}


@pytest.fixture
def typed() -> dict[str, str]:
    """A sound known unit as typed, with nothing but what is needed."""
    return dict(TYPED)


@pytest.fixture
def typed_unknown(typed: dict[str, str]) -> dict[str, str]:
    """A sound unknown unit as typed."""
    return {name: value for name, value in typed.items() if name not in ("contributor", "evidence", "rated_current_ma")}


@pytest.fixture
def table(tmp_path: Path) -> Callable[..., Path]:
    """Write rows (dicts as typed) as a CSV file; the header is of the first row unless given."""

    def write(*rows: dict[str, str], header: list[str] | None = None, name: str = "known.csv") -> Path:
        path = tmp_path / name
        with open(path, "w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, header or list(rows[0]), restval="")
            writer.writeheader()
            writer.writerows(rows)
        return path

    return write
