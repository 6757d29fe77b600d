"""How long lead identification takes beside a least spanning tree of the same readings by scipy.

The tree says which leads belong together and no more; the ratio says what orders, checks, roles and the next step add.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from calib.leads import identify_leads
from tests.counts import share
from tests.speed.speeds import seconds, tell


def many_leads(sizes: tuple[int, ...], kept: float) -> tuple[list[tuple[object, ...]], int]:
    """Readings with noise of 1 % between the leads of windings of so many leads; neighbours are always read."""
    rng = np.random.default_rng(3)
    home = np.repeat(np.arange(len(sizes)), sizes)
    at = np.cumsum(rng.uniform(2.0, 20.0, len(home)))
    name = rng.permutation(len(home))
    rows: list[tuple[object, ...]] = []
    for a, b in combinations(range(len(home)), 2):
        if b != a + 1 and rng.random() > kept:
            continue
        ohm = float(at[b] - at[a])
        pair = (f"L{name[a]}", f"L{name[b]}")
        noisy = (ohm * (1.0 + 0.01 * rng.normal()), 0.01 * ohm)
        rows.append((*pair, *noisy) if home[a] == home[b] else (*pair, "open"))
    return rows, len(home)


@pytest.mark.parametrize(
    ("what", "sizes", "kept"),
    # The last takes as long as all others.
    [
        ("60 leads in 12 windings, every pair", (5,) * 12, 1.0),
        ("60 leads in 12 windings, a third of the pairs", (5,) * 12, 0.33),
        ("60 leads on one winding, every pair", (60,), 1.0),
        ("300 leads in 60 windings, every pair", (5,) * 60, 1.0),
        ("300 leads on one winding, every pair", (300,), 1.0),
    ][: share(4, 5)],
)
def test_ratio_to_a_spanning_tree(
    what: str, sizes: tuple[int, ...], kept: float, record_property: Callable[[str, object], None]
) -> None:
    rows, leads = many_leads(sizes, kept)

    def tree() -> Any:
        finite = [row for row in rows if row[2] != "open"]
        ends = [[int(str(row[place])[1:]) for row in finite] for place in (0, 1)]
        return minimum_spanning_tree(coo_array(([row[2] for row in finite], ends), shape=(leads, leads)))

    ours, found = seconds(lambda: identify_leads(rows), rounds=2 if leads < 100 else 1)
    theirs, spanning = seconds(tree)
    tell(record_property, f"identification over spanning tree, {what}", theirs, ours)
    assert sorted(len(one.leads) for one in found.windings) == sorted(sizes)
    if kept == 1.0:
        assert spanning.nnz == leads - len(sizes)
        assert not any(one.ambiguous for one in found.windings)
