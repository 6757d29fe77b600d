"""What shape a winding's readings have where they do not agree with a line, and which of them is to blame."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, islice

from calib.leads.checks import Check, Winding, checks_of, failed_checks, names_of, tree_of
from calib.leads.fit import BEND, Placed, Spans, place
from calib.leads.line import OPEN_COST, solve_line

GROSS = 2.0  # times its limit by which a check must fail before the winding is taken for anything but a line
MANY = 500  # checks above which the worst that passes is not looked for
TRIALS = 6  # readings that are left out in turn to find the one to blame
QUADRUPLES = 300  # sets of four leads that the test for a joint looks at


@dataclass(frozen=True)
class Verdict:
    """What the checks say of a winding.

    Attributes
    ----------
    shape : str
        line, slip (a line but for the suspects), joint (several windings meet inside), parallel path, or contradictory.
    worst : Check or None
        The check that is furthest off for its limit; None without checks, and where hundreds all pass.
    failed : tuple of Check
        The worst first.
    suspects : tuple of (str, str)
        Pairs of which one reading is wrong, or all where `shape` is not slip; empty where none is to blame.
    expected_ohm : float
        What the others make of the only suspect; NaN where there is not exactly one [ohm].
    line : Placed or None
        The order by the least readings, where that of least misfit means nothing.
    """

    shape: str
    worst: Check | None = None
    failed: tuple[Check, ...] = ()
    suspects: tuple[tuple[str, str], ...] = ()
    expected_ohm: float = math.nan
    line: Placed | None = None


def verdict_of(winding: Winding, limit: float) -> Verdict:
    """Check a winding of 3 leads or more and say what shape its readings have.

    Parameters
    ----------
    winding : Winding
    limit : float
        As `limit_for` gives it [standard uncertainties].

    Returns
    -------
    Verdict

    Notes
    -----
    Four-point test of a joint: of AB + CD, AC + BD, AD + BC the two largest agree. A long reading that is less than the
    sum of its parts means a parallel path; more than the sum no winding gives.
    """
    failed = failed_checks(winding, limit)
    if not failed:
        passed = checks_of(winding, limit) if winding.checks <= MANY else ()
        return Verdict("line", next(iter(passed), None))
    worst = failed[0]
    if all(abs(check.residual_ohm) <= GROSS * check.limit_ohm for check in failed):
        return Verdict("line", worst, failed)
    blamed, line = _to_blame(winding, limit)
    suspects = tuple(names_of(winding, pair) for pair in blamed)
    if line is not None and len(winding.leads) > 3:
        winding = Winding(winding.leads, winding.pairs, line)
        alone = frozenset(blamed if len(blamed) == 1 else ())
        failed = failed_checks(winding, limit, without=alone) or failed
        expected = _expected(winding, blamed[0]) if len(blamed) == 1 else math.nan
        return Verdict("slip", failed[0], failed, suspects, expected)
    if _has_joint(winding, limit):
        return Verdict("joint", worst, failed[:1])
    chained = _chained(winding)
    if chained is not None:
        less = failed_checks(chained, limit)
        if less and all(check.residual_ohm < 0.0 for check in less):
            return Verdict("parallel path", less[0], less, suspects if line else (), line=chained.line)
    return Verdict("slip" if line else "contradictory", failed[0], failed, suspects)


def _chained(winding: Winding) -> Winding | None:
    """The winding with the order that its least spanning readings make, where these run in a single chain."""
    near: dict[int, list[int]] = {}
    for number in tree_of(winding, frozenset()):
        a, b = winding.pairs[number][:2]
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    if max(map(len, near.values())) > 2:
        return None
    order = [min(lead for lead, others in near.items() if len(others) == 1)]
    while len(order) < len(winding.leads):
        order.append(next(lead for lead in near[order[-1]] if lead not in order[-2:]))
    spans = Spans.of(len(winding.leads), winding.pairs)
    return Winding(winding.leads, winding.pairs, place(spans, order))


def _to_blame(winding: Winding, limit: float) -> tuple[list[int], Placed | None]:
    """Readings, each of which alone explains the misfit, the likeliest first, and the line without that one.

    Those most out of keeping are left out in turn and the line solved anew. Without such a reading: all that lie far
    off, and no line.
    """
    trials = []
    pairs = winding.pairs
    for number in _out_of_keeping(winding, limit)[:TRIALS]:
        rest = pairs[:number] + pairs[number + 1 :]
        if _connected(len(winding.leads), rest):
            line = solve_line(Spans.of(len(winding.leads), rest)).best
            trials.append((line.cost, number, Winding(winding.leads, rest, line)))
    trials.sort(key=lambda trial: trial[0])
    if not trials or failed_checks(trials[0][2], limit):
        return _far_off(winding), None
    least = trials[0][0]
    return [number for cost, number, _ in trials if cost < least + OPEN_COST], trials[0][2].line


def _out_of_keeping(winding: Winding, limit: float) -> list[int]:
    """Readings by how many triples of leads with them are no line, then by how far off the line they lie.

    Of three leads on a line one reading is the sum of the others; a wrong one spoils every triple that it is in.
    """
    import numpy as np

    spans = Spans.of(len(winding.leads), winding.pairs)
    read = spans.per_u > 0.0
    square = np.where(read, 1.0 / np.where(read, spans.per_u, 1.0) ** 2, 0.0)
    ranked = []
    for number, (a, b, ohm, u) in enumerate(winding.pairs):
        both = read[a] & read[b]
        one, other = spans.ohm[a, both], spans.ohm[b, both]
        off = np.minimum(np.abs(ohm - one - other), np.abs(np.abs(one - other) - ohm))
        spoilt = off > limit * np.sqrt(u * u + square[a, both] + square[b, both])
        misfit = abs(abs(winding.places[a] - winding.places[b]) - ohm) / u
        ranked.append((-int(spoilt.sum()), -misfit, number))
    return [number for _, _, number in sorted(ranked)]


def _far_off(winding: Winding) -> list[int]:
    """Readings far off the line, the furthest first."""
    at = winding.places
    misfit = [(abs(abs(at[a] - at[b]) - ohm) / u, number) for number, (a, b, ohm, u) in enumerate(winding.pairs)]
    return [number for z, number in sorted(misfit, reverse=True) if z > BEND]


def _connected(leads: int, pairs: Sequence[tuple[int, int, float, float]]) -> bool:
    group = list(range(leads))
    for a, b, _, _ in pairs:
        if group[a] != group[b]:
            group = [group[a] if one == group[b] else one for one in group]
    return len(set(group)) == 1


def _expected(winding: Winding, number: int) -> float:
    """What the line makes of a reading [ohm]."""
    a, b = winding.pairs[number][:2]
    return abs(winding.places[a] - winding.places[b])


def _has_joint(winding: Winding, limit: float) -> bool:
    """The four-point test: at least one set of four leads is read in full, and all such pass."""
    read = {frozenset(pair[:2]): pair[2:] for pair in winding.pairs}
    tested = False
    for four in islice(combinations(range(len(winding.leads)), 4), QUADRUPLES):
        pairs = [frozenset(pair) for pair in combinations(four, 2)]
        if not all(pair in read for pair in pairs):
            continue
        ohm, u = ([read[pair][at] for pair in pairs] for at in (0, 1))
        sums = sorted(ohm[one] + ohm[5 - one] for one in range(3))
        if sums[2] - sums[1] > limit * math.sqrt(sum(each * each for each in u)):
            return False
        tested = True
    return tested
