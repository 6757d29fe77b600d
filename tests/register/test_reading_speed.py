"""Reading stays quick as tables grow: compared with the same machine's bare CSV reader, not with a clock."""

from __future__ import annotations

import csv
import time
from collections.abc import Callable
from pathlib import Path

from calib.register.tables import read_known


def seconds(work: Callable[[], object]) -> float:
    """Processor time of the quickest of three runs [s]."""
    taken = []
    for _ in range(3):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def test_a_large_table_takes_time_in_proportion(table: Callable[..., Path], typed: dict[str, str]) -> None:
    def long(rows: int) -> Path:
        return table(*({**typed, "unit": f"U-{number}"} for number in range(rows)), name=f"{rows}.csv")

    def bare() -> int:
        with open(large, encoding="utf-8", newline="") as file:
            return sum(len(cells) for cells in csv.reader(file))

    small, large = long(1000), long(8000)
    taken = seconds(lambda: read_known(large))
    assert taken < 24 * seconds(lambda: read_known(small))  # eight times the rows; a search through all for each: 64
    assert taken < 120 * seconds(bare)
