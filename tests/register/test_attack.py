"""A tenth of the attacks that ``python -m tests.attack`` makes by hand."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.attack import COUNTS, attack

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a process")


@pytest.mark.parametrize("name", COUNTS)
def test_nothing_is_lost_or_half_written(name: str, tmp_path: Path) -> None:
    found = attack(name, 0.1, tmp_path)
    assert found.made >= COUNTS[name] // 10
    assert found.wrong == []
