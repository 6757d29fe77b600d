"""Compare two ways to the same result in one run; nothing is written, and no time is asserted."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any


def seconds(work: Callable[[], Any], rounds: int = 3) -> tuple[float, Any]:
    """Best time of several rounds [s], and what the work gave."""
    best, made = float("inf"), None
    for _ in range(rounds):
        began = time.perf_counter()
        made = work()
        best = min(best, time.perf_counter() - began)
    return best, made


def tell(record_property: Callable[[str, object], None], what: str, ours: float, theirs: float) -> None:
    """Keep a ratio in the report of the tests and print it: seen with ``pytest -s`` and in the JUnit file."""
    record_property(what, theirs / ours)
    print(f"\n{what}: {theirs / ours:.1f} ({ours * 1000:.3g} ms against {theirs * 1000:.3g} ms)")
