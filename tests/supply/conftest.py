"""The worked tables of capacitor input, and comparison with printed figures to their last digit."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.fixture(scope="session")
def worked() -> Callable[[str], list[dict[str, str]]]:
    """Read a table beside this file: ideal diodes, closed form, re-run by adaptive integration to 2e-8.

    For a centre tap rms_over_dc is of both halves together. The curves of O. H. Schade, "Analysis of
    Rectifier Operation", Proc. IRE 1943, are the same quantities.
    """

    def read(name: str) -> list[dict[str, str]]:
        with open(HERE / f"worked_{name}.csv", encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    return read


@pytest.fixture(scope="session")
def prints_as() -> Callable[[float, str], None]:
    """Assert that a value is the printed figure to within the last digit that it prints."""

    def check(value: float, figure: str) -> None:
        decimals = len(figure.partition(".")[2])
        assert abs(value - float(figure)) <= 0.51 * 10.0**-decimals, f"{value!r} does not print as {figure}"

    return check
