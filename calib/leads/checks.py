"""Whether a winding's readings agree with a line, what shape they have where not, and which of them is to blame.

Every reading beyond those that span the line is a check: it must equal the sum of the readings along its path. What
contradicts is told in words: the readings, how far they lie apart and how far they may, and what to read again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations, islice, pairwise
from statistics import NormalDist, median
from typing import Any

import numpy as np

from calib.leads.order import BEND, OPEN_COST, LineFit, Placed, Spans, place, solve_line, u_between
from calib.leads.readings import Clash, LeadReading, Parts, named, ohms, pair_name, path_sum, say

# A check fails beyond so many standard uncertainties of its sum; with more checks than one the limit is widened so
# that a sound set fails no oftener than a single check does.
LIMIT = 2.0
GROSS = 2.0  # times its limit by which a check must fail before the winding is taken for anything but a line
MANY = 500  # checks above which the worst that passes is not looked for
TRIALS = 6  # readings that are left out in turn to find the one to blame
QUADRUPLES = 300  # sets of four leads that the test for a joint looks at
NORMAL_MEDIAN = 0.67449  # of the size of a standard normal error
FEWEST_CHECKS = 12  # checks from which the readings' own scatter is judged (judgement)
CLEAR = 5.0  # standard errors by which the scatter must exceed what is stated (judgement)
SHOWN = 5  # failed checks of one winding that are told, the worst first

_Pair = tuple[int, int, float, float]
_Names = tuple[str, str]


@dataclass(frozen=True)
class Contradiction:
    """Readings that cannot all be right.

    Attributes
    ----------
    pairs : tuple of (str, str)
        The readings: first the one that is compared, then those along its path.
    suspects : tuple of (str, str)
        Those of which one is wrong, or that are to be read again first.
    reads_ohm, makes_ohm : float
        What the first reads, and what the others make of it; NaN where it is a matter of continuity [ohm].
    limit_ohm : float
        How far the two may lie apart [ohm].
    says : str
        The contradiction in words.
    """

    pairs: tuple[tuple[str, str], ...]
    suspects: tuple[tuple[str, str], ...]
    reads_ohm: float
    makes_ohm: float
    limit_ohm: float
    says: str

    @property
    def residual_ohm(self) -> float:
        """Reading less sum [ohm]."""
        return self.reads_ohm - self.makes_ohm


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

    pair: _Names
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
    """

    shape: str = "line"
    worst: Check | None = None
    failed: tuple[Check, ...] = ()
    suspects: tuple[_Names, ...] = ()
    expected_ohm: float = math.nan


@dataclass(frozen=True)
class Winding:
    """A winding's leads on a line.

    Attributes
    ----------
    leads : tuple of str
        By number, in the order of their first mention.
    pairs : tuple of (int, int, float, float)
        Lead, lead, reading, its standard uncertainty as the scatter has it [ohm].
    fit : LineFit
        Without the readings that are wrong, where those are known.
    verdict : Verdict
    """

    leads: tuple[str, ...]
    pairs: tuple[_Pair, ...]
    fit: LineFit
    verdict: Verdict = Verdict()

    @property
    def order(self) -> tuple[str, ...]:
        """The leads from end to end."""
        return self.names(self.fit.best.order)

    @property
    def checks(self) -> int:
        """How many readings there are beyond those that span the line."""
        return len(self.pairs) - len(self.leads) + 1

    @property
    def orders_open(self) -> int:
        """How many orders stay open, the best included; at least so many where not all could be followed."""
        return 1 + len(self.fit.others) + (not self.fit.all_followed)

    @property
    def on_line(self) -> bool:
        """Whether its leads lie on a line, as those of a tapped winding do."""
        return self.verdict.shape in ("line", "slip")

    @property
    def whole(self) -> tuple[float, float]:
        """Resistance from end to end, the greatest reading where it is no line, and its standard uncertainty [ohm]."""
        if self.on_line:
            return self.between(int(self.fit.best.order[0]), int(self.fit.best.order[-1]))
        return max((ohm, u) for _, _, ohm, u in self.pairs)

    @cached_property
    def sections(self) -> tuple[tuple[float, float], ...]:
        """Resistance between neighbours along the winding, each with its standard uncertainty [ohm]."""
        order = self.fit.best.order.tolist()
        return tuple(self.between(a, b) for a, b in pairwise(order))

    @cached_property
    def points(self) -> tuple[tuple[int, ...], ...]:
        """Leads from end to end, those together that no reading tells apart, unless none is told from any other."""
        order = self.fit.best.order.tolist()
        points = [[order[0]]]
        for lead, (ohm, u) in zip(order[1:], self.sections, strict=True):
            if ohm <= 2.0 * u and self.on_line:
                points[-1].append(lead)
            else:
                points.append([lead])
        return tuple(map(tuple, points)) if len(points) > 1 else tuple((lead,) for lead in order)

    @property
    def only_at_points(self) -> bool:
        """Whether all that stays open of the order is that of leads at one point."""
        points = {lead: number for number, point in enumerate(self.points) for lead in point}
        blocks = self.fit.unsettled
        return bool(blocks) and all(len({points[lead] for lead in block}) == 1 for block in blocks)

    @property
    def resolved(self) -> bool:
        """Whether the resistance from end to end stands out of twice its uncertainty."""
        ohm, u = self.whole
        return ohm > 2.0 * u

    def names(self, numbers: Sequence[int] | np.ndarray) -> tuple[str, ...]:
        """Leads by their numbers."""
        return tuple(self.leads[int(number)] for number in numbers)

    def pair(self, number: int) -> _Names:
        """Leads of a reading by its number."""
        a, b = self.pairs[number][:2]
        return self.leads[a], self.leads[b]

    def expected(self, number: int) -> float:
        """What the line makes of a reading [ohm]."""
        a, b = self.pairs[number][:2]
        return abs(self._places[a] - self._places[b])

    def misfit(self, number: int) -> float:
        """How far a reading lies off the line, in units of its uncertainty [1]."""
        _, _, ohm, u = self.pairs[number]
        return abs(self.expected(number) - ohm) / u

    def between(self, first: int, last: int) -> tuple[float, float]:
        """Resistance between two leads and its standard uncertainty: as read, else by all sound readings [ohm]."""
        if (first, last) in self._sound:
            return self._sound[first, last]
        return abs(self._places[last] - self._places[first]), u_between(self._spans, first, last)

    @cached_property
    def _places(self) -> dict[int, float]:
        return self.fit.best.places

    @cached_property
    def _sound(self) -> dict[tuple[int, int], tuple[float, float]]:
        """Readings with their uncertainties by pair, either way round, without those known to be wrong."""
        wrong = {frozenset(pair) for pair in self.verdict.suspects} if self.verdict.shape == "slip" else set()
        sound = [pair for pair in self.pairs if not wrong or frozenset(self.names(pair[:2])) not in wrong]
        return {key: (ohm, u) for a, b, ohm, u in sound for key in ((a, b), (b, a))}

    @cached_property
    def _spans(self) -> Spans:
        """The sound readings; all of them where those do not join every lead."""
        sound = [(a, b, *value) for (a, b), value in self._sound.items()]
        return Spans.of(len(self.leads), sound if _all_joined(len(self.leads), sound) else self.pairs)


def solve_windings(parts: Parts, readings: Sequence[LeadReading]) -> tuple[tuple[Winding, ...], float]:
    """Solve every group of two leads or more.

    Parameters
    ----------
    parts : Parts
    readings : sequence of LeadReading
        With their uncertainties [ohm].

    Returns
    -------
    (tuple of Winding, float)
        The windings in the order of the groups, and how many times their stated uncertainty the readings scatter: 1
        unless at least `FEWEST_CHECKS` checks show clearly more [1]. Orders and checks are judged by that scatter.
    """
    number = {lead: (n, at) for n, group in enumerate(parts.groups) for at, lead in enumerate(group)}
    pairs: list[list[_Pair]] = [[] for _ in parts.groups]
    for one in readings:
        (group, a), (other, b) = number[one.lead_a], number[one.lead_b]
        if one.is_finite and group == other:
            pairs[group].append((a, b, one.ohm, one.u_ohm))
    found = [_solved(group, read) for group, read in zip(parts.groups, pairs, strict=True) if len(group) > 1]
    scatter = _scatter(found)
    if scatter > 1.0:
        found = [_solved(one.leads, [(a, b, ohm, u * scatter) for a, b, ohm, u in one.pairs]) for one in found]
    limit = limit_for(sum(one.checks for one in found))
    return tuple(_from_first(judged(one, limit)) for one in found), scatter


def _solved(leads: tuple[str, ...], pairs: Sequence[_Pair]) -> Winding:
    return Winding(leads, tuple(pairs), solve_line(Spans.of(len(leads), pairs)))


def _scatter(windings: Sequence[Winding]) -> float:
    """Scatter of the readings about their lines over the stated uncertainty, by the median, slips aside [1].

    Source: the Birge ratio (R. T. Birge 1932), here by the median of the misfits.
    """
    checked = [one for one in windings if one.checks > 0]
    spare = sum(one.checks for one in checked)
    if spare < FEWEST_CHECKS:
        return 1.0
    sizes = [one.misfit(number) for one in checked for number in range(len(one.pairs))]
    found = median(sizes) / NORMAL_MEDIAN / math.sqrt(spare / len(sizes))
    return found if found > 1.0 + CLEAR / math.sqrt(2.0 * spare) else 1.0


def _from_first(winding: Winding) -> Winding:
    """The line in the direction that begins with the end that was mentioned first."""
    fit = winding.fit
    if fit.best.order[0] < fit.best.order[-1]:
        return winding
    others = tuple((one.reversed(), odds) for one, odds in fit.others)
    return replace(winding, fit=LineFit(fit.best.reversed(), others, fit.all_followed))


def limit_for(checks: int) -> float:
    """Limit of a check [standard uncertainties]: 2 for one; for many, as rarely passed by chance by any of them."""
    if checks <= 1:
        return LIMIT
    normal = NormalDist()
    return normal.inv_cdf(1.0 - normal.cdf(-LIMIT) / checks)


def judged(winding: Winding, limit: float) -> Winding:
    """Check a winding and say what shape its readings have.

    Parameters
    ----------
    winding : Winding
        By all its readings.
    limit : float
        As `limit_for` gives it [standard uncertainties].

    Returns
    -------
    Winding
        With its verdict; its line without the readings that are wrong, where those are known.

    Notes
    -----
    Four-point test of a joint: of AB + CD, AC + BD, AD + BC the two largest agree. A long reading that is less than the
    sum of its parts means a parallel path; more than the sum no winding gives.
    """
    if len(winding.leads) < 3 or not winding.checks:
        return winding
    failed = failed_checks(winding, limit)
    if not failed:
        passed = checks_of(winding, limit) if winding.checks <= MANY else ()
        return replace(winding, verdict=Verdict("line", next(iter(passed), None)))
    if all(abs(check.residual_ohm) <= GROSS * check.limit_ohm for check in failed):
        return replace(winding, verdict=Verdict("line", failed[0], failed))
    blamed, without = _to_blame(winding, limit)
    suspects = tuple(map(winding.pair, blamed))
    if without and len(winding.leads) > 3:
        least = replace(winding, fit=without[0])
        failed = failed_checks(least, limit, frozenset(blamed if len(blamed) == 1 else ())) or failed
        expected = least.expected(blamed[0]) if len(blamed) == 1 else math.nan
        verdict = Verdict("slip", failed[0], failed, suspects, expected)
        return replace(winding, fit=_less_suspects(winding.fit, without), verdict=verdict)
    if _has_joint(winding, limit):
        return replace(winding, verdict=Verdict("joint", failed[0], failed[:1]))
    chained = _chained(winding)
    less = failed_checks(chained, limit) if chained else ()
    if chained and less and all(check.residual_ohm < 0.0 for check in less):
        return replace(chained, verdict=Verdict("parallel path", less[0], less, suspects if without else ()))
    verdict = Verdict("slip" if without else "contradictory", failed[0], failed, suspects)
    return replace(winding, fit=_less_suspects(winding.fit, without) if without else winding.fit, verdict=verdict)


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
    import networkx as nx

    rank = {lead: place for place, lead in enumerate(winding.fit.best.order.tolist())}
    tree = _least_tree(winding, without)
    first = next(iter(rank))
    at = {first: 0.0}

    def step(here: int, lead: int) -> tuple[int, int]:
        return tree.edges[here, lead]["number"], 1 if rank[lead] > rank[here] else -1

    for here, lead in nx.bfs_edges(tree, first):
        number, sign = step(here, lead)
        at[lead] = at[here] + sign * winding.pairs[number][2]
    found = []
    for number, (a, b, ohm, u) in enumerate(winding.pairs):
        a, b = (a, b) if rank[a] < rank[b] else (b, a)
        makes = at[b] - at[a]
        if tree.has_edge(a, b) or abs(ohm - makes) <= least * u:
            continue
        steps = [step(*two) for two in pairwise(nx.shortest_path(tree, a, b))]
        total = u * u + sum(winding.pairs[each][3] ** 2 for each, _ in steps)
        path = tuple((*winding.pair(each), sign) for each, sign in steps)
        found.append(Check(winding.pair(number), ohm, makes, limit * math.sqrt(total), path))
    return tuple(sorted(found, key=lambda check: -abs(check.residual_ohm) / check.limit_ohm))


def _least_tree(winding: Winding, without: frozenset[int] = frozenset()) -> Any:
    """Readings that span the line: the least ones, those to be left out only where no other does it."""
    import networkx as nx

    ranked = sorted(range(len(winding.pairs)), key=lambda number: (number in without, winding.pairs[number][2]))
    graph = nx.Graph()
    graph.add_edges_from(
        (*winding.pairs[number][:2], {"number": number, "rank": rank}) for rank, number in enumerate(ranked)
    )
    return nx.minimum_spanning_tree(graph, weight="rank")


def _all_joined(leads: int, pairs: Sequence[_Pair]) -> bool:
    """Whether readings join all leads of a winding."""
    import networkx as nx

    graph = nx.Graph([pair[:2] for pair in pairs])
    return len(graph) == leads and nx.is_connected(graph)


def _to_blame(winding: Winding, limit: float) -> tuple[list[int], list[LineFit]]:
    """Readings, each of which alone explains the misfit, the likeliest first, and the line without each.

    Those most out of keeping are left out in turn and the line solved anew. Without such a reading: all that lie far
    off, and no line.
    """
    trials = []
    for number in _out_of_keeping(winding, limit)[:TRIALS]:
        rest = winding.pairs[:number] + winding.pairs[number + 1 :]
        if _all_joined(len(winding.leads), rest):
            trials.append((number, _solved(winding.leads, rest)))
    trials.sort(key=lambda trial: round(trial[1].fit.best.cost, 6))  # readings that explain it alike as they came
    if not trials or failed_checks(trials[0][1], limit):
        numbers = sorted(range(len(winding.pairs)), key=lambda number: (winding.misfit(number), number), reverse=True)
        return [number for number in numbers if winding.misfit(number) > BEND], []
    least = trials[0][1].fit.best.cost
    alike = [(number, one.fit) for number, one in trials if one.fit.best.cost < least + OPEN_COST]
    return [number for number, _ in alike], [fit for _, fit in alike]


def _out_of_keeping(winding: Winding, limit: float) -> list[int]:
    """Readings by how many triples of leads with them are no line, then by how far off the line they lie.

    Of three leads on a line one reading is the sum of the others; a wrong one spoils every triple that it is in.
    """
    spans = Spans.of(len(winding.leads), winding.pairs)
    read = spans.per_u > 0.0
    square = np.where(read, 1.0 / np.where(read, spans.per_u, 1.0) ** 2, 0.0)
    ranked = []
    for number, (a, b, ohm, u) in enumerate(winding.pairs):
        both = read[a] & read[b]
        one, other = spans.ohm[a, both], spans.ohm[b, both]
        off = np.minimum(np.abs(ohm - one - other), np.abs(np.abs(one - other) - ohm))
        spoilt = off > limit * np.sqrt(u * u + square[a, both] + square[b, both])
        ranked.append((-int(spoilt.sum()), -winding.misfit(number), number))
    return [number for _, _, number in sorted(ranked)]


def _less_suspects(fit: LineFit, without: Sequence[LineFit]) -> LineFit:
    """The line with each suspect left out in turn: all orders that then stay open."""
    orders: dict[tuple[int, ...], tuple[Placed, float]] = {}
    for each in without:
        for one, odds in ((each.best, 1.0), *each.others):
            orders.setdefault(one.key, (one, odds))
    best = fit.best if len(without) > 1 and fit.best.key in orders else without[0].best
    orders.pop(best.key)
    return LineFit(best, tuple(orders.values()), all(one.all_followed for one in without))


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


def _chained(winding: Winding) -> Winding | None:
    """The winding with the order that its least spanning readings make, where these run in a single chain."""
    import networkx as nx

    tree = _least_tree(winding)
    if max(degree for _, degree in tree.degree) > 2:
        return None
    order = list(nx.dfs_preorder_nodes(tree, min(lead for lead, degree in tree.degree if degree == 1)))
    line = place(Spans.of(len(winding.leads), winding.pairs), [order])[0]
    return replace(winding, fit=LineFit(line, (), line.steady))


def disputes(parts: Parts, windings: Sequence[Winding]) -> tuple[Contradiction, ...]:
    """Everything that contradicts: continuity first, then sums, the worst of each winding first."""
    found = [_continuity(clash) for clash in parts.clashes]
    for one in windings:
        failed = one.verdict.failed[:SHOWN]
        found += [_sum(check, one.verdict, told=number == 0) for number, check in enumerate(failed)]
    return tuple(found)


def _continuity(clash: Clash) -> Contradiction:
    one = clash.reading
    steps = [(min(step), max(step)) for step in pairwise(clash.path)]
    path = named(map(pair_name, steps))
    told = {"pair": pair_name(one.pair), "ohm": ohms(one.ohm, one.u_ohm), "opens": clash.opens, "path": path}
    says = say("contradiction", "slip" if clash.taken_as_slip else "open", **told)
    pairs = (one.pair, *steps)
    return Contradiction(pairs, pairs, one.ohm, math.nan, math.nan, says)


def _sum(check: Check, verdict: Verdict, told: bool) -> Contradiction:
    u = check.limit_ohm / 4.0
    numbers = (check.reads_ohm, check.makes_ohm, check.limit_ohm)
    reads, makes, limit, apart = (ohms(value, u) for value in (*numbers, abs(check.residual_ohm)))
    side = "more" if check.residual_ohm > 0 else "less"
    said = {"pair": pair_name(check.pair), "path": path_sum(check.path), "reads": reads, "makes": makes}
    says = say("contradiction", "sum", **said, apart=apart, side=side, limit=limit)
    suspects = verdict.suspects or ((check.pair,) if verdict.shape in ("line", "contradictory") else ())
    pairs = (check.pair, *((a, b) for a, b, _ in check.path))
    return Contradiction(pairs, suspects, *numbers, f"{says} {_why(side, verdict, u)}" if told else says)


def _why(side: str, verdict: Verdict, u: float) -> str:
    if verdict.shape == "joint":
        return say("contradiction", "joint")
    if len(verdict.suspects) == 1 and verdict.shape == "slip":
        return say("contradiction", "one_slip", ohm=ohms(verdict.expected_ohm, u))
    asked = named(map(pair_name, verdict.suspects)) if verdict.suspects else "them"
    return f"Read {asked} again. {say('contradiction', side)}"
