"""Which leads belong together: continuity as a graph, and what contradicts it.

A finite reading joins two leads, and continuity is transitive: the connected parts are the windings. An open reading
keeps two parts apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from calib.leads.readings import LeadReading

# No winding of a valve set's mains transformer reads so much [ohm] (judgement): from here on a reading that is also so
# many times another winding's is leakage between two, not a winding.
LEAKAGE_OHM, LEAKAGE_TIMES = 2e4, 20.0
OUTVOTED = 2  # open readings that outvote the only finite one between two groups of leads (judgement)


@dataclass(frozen=True)
class Clash:
    """A reading that continuity along other readings speaks against.

    Attributes
    ----------
    reading : LeadReading
        An open one inside a winding, or a finite one between two windings.
    path : tuple of str
        Leads from one of its ends to the other, joined by finite readings; empty for a finite one.
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
        return [pair for pair in combinations(range(len(self.groups)), 2) if pair not in self.apart]


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
    import networkx as nx

    joins, leakage = _without_leakage([one for one in readings if one.is_finite])
    opens = [one for one in readings if one.is_open]
    graph = nx.Graph()
    graph.add_nodes_from(lead for one in readings for lead in (one.lead_a, one.lead_b))
    graph.add_edges_from((one.lead_a, one.lead_b, {"reading": one}) for one in joins)
    clashes: list[Clash] = []
    while True:
        group = {lead: n for n, leads in enumerate(nx.connected_components(graph)) for lead in leads}
        inside = [one for one in opens if group[one.lead_a] == group[one.lead_b]]
        slip = _slip(graph, inside) if inside else None
        if slip is None:
            break
        clashes.append(slip)
        graph.remove_edge(*slip.reading.pair)
    for one in inside:
        path = nx.single_source_shortest_path(graph, one.lead_a)[one.lead_b]
        clashes.append(Clash(one, tuple(path), 1, False))
    listed: list[list[str]] = [[] for _ in set(group.values())]
    for lead in graph:
        listed[group[lead]].append(lead)
    apart = [sorted((group[one.lead_a], group[one.lead_b])) for one in (*opens, *leakage)]
    parted = frozenset((a, b) for a, b in apart if a != b)
    return Parts(tuple(map(tuple, listed)), parted, tuple(clashes), tuple(leakage))


def _without_leakage(finite: Sequence[LeadReading]) -> tuple[list[LeadReading], list[LeadReading]]:
    """The readings that join, and those too high for it, the lowest being joined first."""
    from networkx.utils import UnionFind

    leakage: list[LeadReading] = []
    windings = UnionFind()
    most: dict[str, float] = {}  # greatest reading of those that join each winding [ohm]
    for one in sorted(finite, key=lambda each: each.ohm):
        a, b = windings[one.lead_a], windings[one.lead_b]
        wound = [most[root] for root in (a, b) if root in most]
        if a != b and one.ohm >= LEAKAGE_OHM and wound and one.ohm > LEAKAGE_TIMES * min(wound):
            leakage.append(one)
        elif a != b:
            windings.union(a, b)
            most[windings[a]] = max([*wound, one.ohm])
    too_high = set(leakage)
    return [one for one in finite if one not in too_high], leakage


def _slip(graph: Any, inside: Sequence[LeadReading]) -> Clash | None:
    """The finite reading that alone joins two groups which more open readings keep apart than any other such two."""
    import networkx as nx

    found = []
    for a, b in nx.bridges(graph):
        side = nx.node_connected_component(nx.restricted_view(graph, (), [(a, b)]), a)
        across = sum((one.lead_a in side) != (one.lead_b in side) for one in inside)
        if across >= OUTVOTED:
            found.append(Clash(graph.edges[a, b]["reading"], (), across, True))
    found.sort(key=lambda clash: -clash.opens)
    return found[0] if found and (len(found) == 1 or found[0].opens > found[1].opens) else None
