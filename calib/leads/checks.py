"""Whether a winding's readings agree with a line.

Every reading beyond those that span the line is a check: it must equal the sum of the readings along its path.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist
from typing import TYPE_CHECKING

from calib.leads.fit import Placed

if TYPE_CHECKING:
    import numpy as np

# A check fails beyond so many standard uncertainties of its sum; with more checks than one the limit is widened so
# that a sound set fails no oftener than a single check does.
LIMIT = 2.0


@dataclass(frozen=True)
class Winding:
    """A winding's readings and their best line.

    Attributes
    ----------
    leads : tuple of str
        By number.
    pairs : tuple of (int, int, float, float)
        Lead, lead, reading [ohm], its standard uncertainty [ohm].
    line : Placed
        The best order.
    """

    leads: tuple[str, ...]
    pairs: tuple[tuple[int, int, float, float], ...]
    line: Placed

    @cached_property
    def places(self) -> dict[int, float]:
        """Place of each lead on the line [ohm]."""
        return dict(zip(self.line.order.tolist(), self.line.at.tolist(), strict=True))

    @property
    def checks(self) -> int:
        """How many readings there are beyond those that span the line."""
        return len(self.pairs) - len(self.leads) + 1


@dataclass(frozen=True)
class Check:
    """A reading against the sum along its path.

    Attributes
    ----------
    pair : (str, str)
        Leads of the reading.
    reads_ohm, makes_ohm : float
        The reading, and what the path's readings make [ohm].
    limit_ohm : float
        How far the two may lie apart: twice the root of the sum of squared uncertainties, or more where there are many
        checks [ohm].
    path : tuple of (str, str, int)
        The readings of the path, each with +1 where it is added and -1 where it is taken off.
    """

    pair: tuple[str, str]
    reads_ohm: float
    makes_ohm: float
    limit_ohm: float
    path: tuple[tuple[str, str, int], ...]

    @property
    def residual_ohm(self) -> float:
        """Reading less sum [ohm]."""
        return self.reads_ohm - self.makes_ohm

    @property
    def fails(self) -> bool:
        """Whether the two are further apart than the limit."""
        return abs(self.residual_ohm) > self.limit_ohm


def limit_for(checks: int) -> float:
    """Limit of a check [standard uncertainties]: 2 for one; for many, as rarely passed by chance by any of them."""
    if checks <= 1:
        return LIMIT
    normal = NormalDist()
    return normal.inv_cdf(1.0 - normal.cdf(-LIMIT) / checks)


def failed_checks(winding: Winding, limit: float, without: frozenset[int] = frozenset()) -> tuple[Check, ...]:
    """The checks that fail, the worst first; readings `without` are on a path only where no others span the line."""
    return tuple(check for check in checks_of(winding, limit, limit, without) if check.fails)


def checks_of(
    winding: Winding, limit: float, least: float = 0.0, without: frozenset[int] = frozenset()
) -> tuple[Check, ...]:
    """Each reading that does not span the line against the sum of those that do, the worst first.

    Parameters
    ----------
    winding : Winding
    limit : float
        As `limit_for` gives it [standard uncertainties].
    least : float
        Checks that are off by no more than so many times their own reading's uncertainty are left out [1].
    without : set of int
        Readings that are not to span the line while others can.
    """
    import numpy as np

    rank = np.empty(len(winding.leads), int)
    rank[winding.line.order] = np.arange(len(rank))
    tree = tree_of(winding, without)
    way = _ways(winding, tree, rank)
    found = []
    for number, (a, b, ohm, u) in enumerate(winding.pairs):
        if number in tree:
            continue
        a, b = (a, b) if rank[a] < rank[b] else (b, a)
        makes = way[b][0] - way[a][0]
        if abs(ohm - makes) <= least * u:
            continue
        steps = _between(way, a, b)
        total = u * u + sum(winding.pairs[step][3] ** 2 for step, _ in steps)
        path = tuple((*names_of(winding, step), sign) for step, sign in steps)
        found.append(Check(names_of(winding, number), ohm, makes, limit * math.sqrt(total), path))
    return tuple(sorted(found, key=lambda check: -abs(check.residual_ohm) / check.limit_ohm))


def names_of(winding: Winding, number: int) -> tuple[str, str]:
    a, b = winding.pairs[number][:2]
    return winding.leads[a], winding.leads[b]


def tree_of(winding: Winding, without: frozenset[int]) -> set[int]:
    """Readings that span the line: the least ones, those to be left out only where no other does it."""
    group = list(range(len(winding.leads)))
    tree = set()
    pairs = winding.pairs
    for number in sorted(range(len(pairs)), key=lambda at: (at in without, pairs[at][2])):
        a, b = group[pairs[number][0]], group[pairs[number][1]]
        if a != b:
            tree.add(number)
            group = [a if one == b else one for one in group]
    return tree


# For each lead its place by the readings of the tree [ohm], and the way to it from the first: (reading, sign).
_Ways = dict[int, tuple[float, tuple[tuple[int, int], ...]]]


def _ways(winding: Winding, tree: set[int], rank: np.ndarray) -> _Ways:
    near: dict[int, list[tuple[int, int]]] = {}
    for number in sorted(tree):
        a, b = winding.pairs[number][:2]
        near.setdefault(a, []).append((b, number))
        near.setdefault(b, []).append((a, number))
    first = int(winding.line.order[0])
    way: _Ways = {first: (0.0, ())}
    waiting = [first]
    while waiting:
        here = waiting.pop()
        for lead, number in near.get(here, ()):
            if lead not in way:
                sign = 1 if rank[lead] > rank[here] else -1
                at, steps = way[here]
                way[lead] = (at + sign * winding.pairs[number][2], (*steps, (number, sign)))
                waiting.append(lead)
    return way


def _between(way: _Ways, a: int, b: int) -> list[tuple[int, int]]:
    """The readings from one lead to another along the tree, with their signs."""
    to_a, to_b = way[a][1], way[b][1]
    common = 0
    while common < min(len(to_a), len(to_b)) and to_a[common] == to_b[common]:
        common += 1
    back = [(number, -sign) for number, sign in reversed(to_a[common:])]
    return back + list(to_b[common:])
