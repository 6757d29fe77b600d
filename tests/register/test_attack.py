"""A small share of the attacks that ``python -m tests.attack`` makes by hand, the quickest kinds more often."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.attack import COUNTS, attack
from tests.counts import share

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a process")
# How many of each kind: most of the time of each goes into writing to the disk.
MADE = {"kills": 10, "adds": 3, "fills": 1, "spoiled files": 6, "hostile tables": 10}
MADE |= {"bundles and tables": 50, "adds beside the page": 2}


@pytest.mark.parametrize("name", COUNTS)
def test_nothing_is_lost_or_half_written(name: str, tmp_path: Path) -> None:
    count = share(MADE[name], COUNTS[name])
    found = attack(name, count / COUNTS[name], tmp_path)
    assert found.made >= count
    assert found.wrong == []
