"""Which leads belong together: continuity as a graph, and what contradicts it.

A finite reading joins two leads, and continuity is transitive: the connected parts are the windings. An open reading
keeps two parts apart.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from calib.leads.readings import LeadReading

# No winding of a valve set's mains transformer reads so much [ohm] (judgement): from here on a reading that is also so
# many times another winding's is leakage between two, not a winding.
LEAKAGE_OHM, LEAKAGE_TIMES = 2e4, 20.0


OUTVOTED = 2  # open readings that outvote the only finite one between two groups of leads (judgement)

_Near = dict[str, list[tuple[str, LeadReading]]]


@dataclass(frozen=True)
class Clash:
    """A reading that continuity along other readings speaks against.

    Attributes
    ----------
    reading : LeadReading
        An open one inside a winding, or a finite one between two windings.
    path : tuple of str
        Leads from one of its ends to the other, joined by finite readings; or the pairs' leads that read open.
    opens : int
        How many pairs between the same two groups of leads read open.
    taken_as_slip : bool
        Whether the reading was set aside: one finite reading between two groups of leads that several others call open.
    """

    reading: LeadReading
    path: tuple[str, ...]
    opens: int
    taken_as_slip: bool


@dataclass(frozen=True)
class Parts:
    """Leads in groups.

    Attributes
    ----------
    groups : tuple of tuples of str
        Leads that continuity joins, one lead alone being a group too; both in the order of their first mention.
    apart : set of (int, int)
        Pairs of groups, lower index first, that a reading keeps apart.
    clashes : tuple of Clash
        What contradicts.
    leakage : tuple of LeadReading
        Finite readings too high to be a winding's.
    """

    groups: tuple[tuple[str, ...], ...]
    apart: frozenset[tuple[int, int]]
    clashes: tuple[Clash, ...]
    leakage: tuple[LeadReading, ...]

    def undecided(self) -> list[tuple[int, int]]:
        """Pairs of groups that may still be one winding, since no pair of leads between them was read."""
        last = len(self.groups)
        return [(a, b) for a in range(last) for b in range(a + 1, last) if (a, b) not in self.apart]


@dataclass
class _Union:
    """Sets that grow together."""

    parent: dict[str, str] = field(default_factory=dict)

    def root(self, lead: str) -> str:
        self.parent.setdefault(lead, lead)
        while self.parent[lead] != lead:
            self.parent[lead] = self.parent[self.parent[lead]]
            lead = self.parent[lead]
        return lead

    def join(self, a: str, b: str) -> None:
        self.parent[self.root(b)] = self.root(a)


def parts_of(readings: Sequence[LeadReading]) -> Parts:
    """Group the leads by continuity.

    Parameters
    ----------
    readings : sequence of LeadReading
        Each pair once; resistances 0.001 to 1e6 or about zero once the null is off [ohm].

    Returns
    -------
    Parts

    Notes
    -----
    Edge of the graph = finite reading, connected component = winding. Two refinements: a reading of `LEAKAGE_OHM` or
    more that is also `LEAKAGE_TIMES` another winding's does not join; and a single finite reading between two groups
    that two readings or more keep apart is taken as a slip.
    """
    leads = list(dict.fromkeys(lead for one in readings for lead in (one.lead_a, one.lead_b)))
    joins, leakage = _without_leakage([one for one in readings if one.is_finite])
    opens = [one for one in readings if one.is_open]
    clashes: list[Clash] = []
    while True:
        groups = _components(leads, joins)
        inside = [one for one in opens if groups[one.lead_a] == groups[one.lead_b]]
        slip = _slip(joins, inside) if inside else None
        if slip is None:
            break
        clashes.append(slip)
        joins = [one for one in joins if one is not slip.reading]
    clashes += [Clash(one, _path(joins, one.lead_a, one.lead_b), 1, False) for one in inside]
    listed: dict[int, list[str]] = defaultdict(list)
    for lead in leads:
        listed[groups[lead]].append(lead)
    apart = {(groups[one.lead_a], groups[one.lead_b]) for one in [*opens, *leakage]}
    return Parts(
        tuple(tuple(listed[group]) for group in sorted(listed)),
        frozenset((min(pair), max(pair)) for pair in apart if pair[0] != pair[1]),
        tuple(clashes),
        tuple(leakage),
    )


def _without_leakage(finite: Sequence[LeadReading]) -> tuple[list[LeadReading], list[LeadReading]]:
    """The readings that join, and those too high for it, the lowest being joined first."""
    joins, leakage = [], []
    union = _Union()
    most: dict[str, float] = {}
    for one in sorted(finite, key=lambda each: each.ohm):
        a, b = union.root(one.lead_a), union.root(one.lead_b)
        wound = [most[root] for root in (a, b) if root in most]
        if a != b and one.ohm >= LEAKAGE_OHM and wound and one.ohm > LEAKAGE_TIMES * min(wound):
            leakage.append(one)
            continue
        joins.append(one)
        if a != b:
            union.join(a, b)
            most[a] = max([*wound, one.ohm])
    order = {id(one): place for place, one in enumerate(finite)}
    return sorted(joins, key=lambda one: order[id(one)]), leakage


def _components(leads: Iterable[str], joins: Iterable[LeadReading]) -> dict[str, int]:
    """The number of each lead's group, groups being numbered as their first lead comes."""
    union = _Union()
    for one in joins:
        union.join(one.lead_a, one.lead_b)
    numbers: dict[str, int] = {}
    return {lead: numbers.setdefault(union.root(lead), len(numbers)) for lead in leads}


def _slip(joins: Sequence[LeadReading], inside: Sequence[LeadReading]) -> Clash | None:
    """The finite reading that alone joins two groups which more open readings keep apart than any other such two."""
    near = _neighbours(joins)
    found = []
    for one in _bridges(near):
        side = _reached(near, one.lead_a, one)
        across = [each for each in inside if (each.lead_a in side) != (each.lead_b in side)]
        if len(across) >= OUTVOTED:
            ends = tuple(dict.fromkeys(lead for each in across for lead in each.pair))
            found.append(Clash(one, ends, len(across), True))
    found.sort(key=lambda clash: -clash.opens)
    return found[0] if found and (len(found) == 1 or found[0].opens > found[1].opens) else None


def _bridges(near: _Near) -> list[LeadReading]:
    """The finite readings without which two leads would not be joined (R. E. Tarjan 1974)."""
    entered: dict[str, int] = {}
    lowest: dict[str, int] = {}
    found: list[LeadReading] = []
    for start in list(near):
        if start in entered:
            continue
        entered[start] = lowest[start] = len(entered)
        trail: list[tuple[str, LeadReading | None, Iterator[tuple[str, LeadReading]]]]
        trail = [(start, None, iter(near[start]))]
        while trail:
            here, came_by, ways = trail[-1]
            for lead, by in ways:
                if by is came_by:
                    continue
                if lead in entered:
                    lowest[here] = min(lowest[here], entered[lead])
                    continue
                entered[lead] = lowest[lead] = len(entered)
                trail.append((lead, by, iter(near[lead])))
                break
            else:
                trail.pop()
                if trail and came_by is not None:
                    above = trail[-1][0]
                    lowest[above] = min(lowest[above], lowest[here])
                    if lowest[here] > entered[above]:
                        found.append(came_by)
    return found


def _neighbours(joins: Iterable[LeadReading]) -> _Near:
    near: _Near = defaultdict(list)
    for one in joins:
        near[one.lead_a].append((one.lead_b, one))
        near[one.lead_b].append((one.lead_a, one))
    return near


def _reached(near: _Near, start: str, without: LeadReading) -> set[str]:
    seen, waiting = {start}, [start]
    while waiting:
        for lead, by in near[waiting.pop()]:
            if lead not in seen and by is not without:
                seen.add(lead)
                waiting.append(lead)
    return seen


def _path(joins: Iterable[LeadReading], start: str, end: str) -> tuple[str, ...]:
    """Leads of a shortest way from one lead to another."""
    near = _neighbours(joins)
    came = {start: start}
    waiting = deque([start])
    while waiting and end not in came:
        here = waiting.popleft()
        for lead, _ in near[here]:
            if lead not in came:
                came[lead] = here
                waiting.append(lead)
    way = [end]
    while way[-1] != start:
        way.append(came[way[-1]])
    return tuple(reversed(way))
