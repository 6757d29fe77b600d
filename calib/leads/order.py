"""The order of the leads along a tapped winding: the best one, and every other that its readings leave open.

A tapped winding is a line on which every reading is a distance. With the order given, the places follow by weighted
least squares, gaps never negative; a reading far off counts for little, so that one slip does not bend the line. Leads
are put on the line one by one, and the orders begun that may still fit are followed. Two orders are told apart by their
odds, exp(difference of misfit / 2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

# Beyond so many standard uncertainties a misfit counts by its logarithm, not its square (judgement).
BEND = 3.0
ROUNDS = 300
STEADY = 1e-3  # largest change of a weight, as a share of it, at which the weighing stops
HOPELESS = 2.0  # an order so many times worse, by plain least squares, than the best beside it is given up
# An order is settled when the odds against every other are at least so many to one (judgement).
SETTLED_ODDS = 100.0
OPEN_COST = 2.0 * math.log(SETTLED_ODDS)
TRIED_LEADS = 6  # up to so many leads every order is tried
EXACT_LEADS, MOST_BEGUN = 12, 64  # up to so many none that fits is missed, while so few beginnings do
SLACK = 40.0  # cost above the best up to which a beginning is followed [1]
WIDTHS = ((12, 32), (40, 16), (100, 8), (math.inf, 3))  # up to so many leads, so many beginnings
FEWEST_EXCHANGES, EXCHANGE_WORK = 60, 4e8  # limits of the search among neighbours: at least so many, and leads³ times
PROBES = 8  # readings, the surest and the longest, that propose places for a lead
CELLS = 1_000_000  # of all the orders that are placed at a time


@dataclass(frozen=True)
class Spans:
    """Readings between the leads of one winding, by number.

    Attributes
    ----------
    ohm : array of n by n
        Readings, symmetrical; 0 where none [ohm].
    per_u : array of n by n
        1 / standard uncertainty; 0 where none [1/ohm].
    """

    ohm: np.ndarray
    per_u: np.ndarray

    @classmethod
    def of(cls, leads: int, pairs: Sequence[tuple[int, int, float, float]]) -> Spans:
        """From (lead, lead, reading, standard uncertainty above 0)."""
        ohm, per_u = np.zeros((leads, leads)), np.zeros((leads, leads))
        for a, b, value, u in pairs:
            ohm[a, b] = ohm[b, a] = value
            per_u[a, b] = per_u[b, a] = 1.0 / u
        return cls(ohm, per_u)

    @property
    def leads(self) -> int:
        """How many leads."""
        return len(self.ohm)


@dataclass(frozen=True)
class Placed:
    """Leads at their places for one order.

    Attributes
    ----------
    order : array of n
        Lead numbers from end to end.
    at : array of n
        Place of each lead of `order`, the first at 0, never falling [ohm].
    cost : float
        Misfit: the sum of z², z being a reading's misfit over its uncertainty, or less where z is beyond `BEND` [1].
    steady : bool
        Whether the weighing came to rest; where not, places and misfit are not the best.
    """

    order: np.ndarray
    at: np.ndarray
    cost: float
    steady: bool = True

    @property
    def length(self) -> float:
        """From end to end [ohm]."""
        return float(self.at[-1])

    @property
    def places(self) -> dict[int, float]:
        """Place of each lead by its number [ohm]."""
        return dict(zip(self.order.tolist(), self.at.tolist(), strict=True))

    @property
    def key(self) -> tuple[int, ...]:
        """The order, alike for it and its reverse."""
        order = tuple(self.order.tolist())
        return min(order, order[::-1])

    def reversed(self) -> Placed:
        """The same from the other end."""
        return replace(self, order=self.order[::-1], at=self.at[-1] - self.at[::-1])


@dataclass(frozen=True)
class LineFit:
    """The best order of a winding's leads.

    Attributes
    ----------
    best : Placed
        The best order; of those that fit equally the shortest line.
    others : tuple of (Placed, float)
        Other orders that stay open, each with the odds of the best against it, 1 to `SETTLED_ODDS` [1].
    all_followed : bool
        Whether every order that fits could be followed, and the places of those named came to rest; there may be more
        than `others` where not.
    """

    best: Placed
    others: tuple[tuple[Placed, float], ...]
    all_followed: bool

    @property
    def unsettled(self) -> tuple[tuple[int, ...], ...]:
        """Groups of leads whose order among themselves stays open, as they stand in the best order."""
        leads = len(self.best.order)
        rank = np.argsort(self.best.order)
        apart = np.ones(leads + 1, bool)  # before each lead, whether all orders part there
        for other, _ in self.others:
            apart[1:-1] &= np.maximum.accumulate(rank[other.order])[:-1] == np.arange(leads - 1)
        runs = np.split(self.best.order, np.flatnonzero(apart[1:-1]) + 1)
        return tuple(tuple(run.tolist()) for run in runs if len(run) > 1)


def misfit_cost(z: np.ndarray) -> np.ndarray:
    """Cost of misfits in units of their uncertainty: z², and 9 + 18 ln(|z|/3) beyond 3, where slope meets slope."""
    size = np.abs(z)
    return np.where(size <= BEND, size * size, BEND**2 * (1.0 + 2.0 * np.log(np.maximum(size, BEND) / BEND)))


def place(spans: Spans, orders: Sequence[Sequence[int]] | np.ndarray) -> list[Placed]:
    """Best places of the leads in each of several orders.

    Parameters
    ----------
    spans : Spans
        Readings that connect all leads of an order.
    orders : array of m by n
        Lead numbers from end to end, all leads or some, one order a row.

    Returns
    -------
    list of Placed

    Notes
    -----
    Minimises sum cost(z), z = (|x_i - x_j| - r_ij) / u_ij, with x in the given order: least squares weighted anew until
    steady (P. J. Huber, "Robust Statistics"), leads that would pass one another being held together. Orders that are
    placed together and fit far worse than the best of them are given up early.
    """
    orders = np.asarray(orders, int)
    room = max(1, CELLS // orders.shape[1] ** 2)
    return [one for first in range(0, len(orders), room) for one in _placed(spans, orders[first : first + room])]


def _placed(spans: Spans, orders: np.ndarray) -> list[Placed]:
    cells = orders[:, :, None], orders[:, None, :]
    ohm, per_u = spans.ohm[cells], spans.per_u[cells]
    square = per_u**2
    at, weight = np.zeros(orders.shape), square.copy()
    going, rounds = np.arange(len(orders)), 0
    while len(going) and rounds < ROUNDS:
        rounds += 1
        at[going] = _in_order(ohm[going], weight[going])
        z = np.abs(np.abs(at[going, :, None] - at[going, None, :]) - ohm[going]) * per_u[going]
        fresh = square[going] * (BEND / np.maximum(z, BEND)) ** 2
        moving = np.any(np.abs(fresh - weight[going]) > STEADY * weight[going], axis=(1, 2))
        if rounds == 1:
            cost = misfit_cost(z).sum(axis=(1, 2)) / 2.0
            moving &= cost <= HOPELESS * (cost.min() + SLACK)
        going = going[moving]
        weight[going] = fresh[moving]
    cost = misfit_cost((np.abs(at[:, :, None] - at[:, None, :]) - ohm) * per_u).sum(axis=(1, 2)) / 2.0
    steady = ~np.isin(np.arange(len(orders)), going)
    return [Placed(*one) for one in zip(orders, at, cost.tolist(), steady.tolist(), strict=True)]


def _in_order(ohm: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Weighted least squares places of leads that stand in order; a gap that would be negative is closed."""
    count, leads = weight.shape[:2]
    upper = np.tri(leads, dtype=bool).T & ~np.eye(leads, dtype=bool)
    both = np.stack([weight, weight * ohm]) * upper
    # sums of the readings that span from a gap, or from before it, to another, or beyond it
    spanning = np.cumsum(np.cumsum(both[..., ::-1], axis=3)[..., ::-1], axis=2)[:, :, :-1, 1:]
    pull = np.diagonal(spanning[1], axis1=1, axis2=2)
    above = spanning[0] * upper[:-1, 1:]
    stiff = np.where(upper[:-1, :-1], above, above.swapaxes(1, 2))
    held, closed = stiff, np.zeros(pull.shape, bool)
    at = np.zeros((count, leads))
    while True:
        gaps = np.linalg.solve(held, np.where(closed, 0.0, pull)[:, :, None])[:, :, 0]
        if not (gaps < 0.0).any():
            np.cumsum(gaps, axis=1, out=at[:, 1:])
            return at
        closed |= gaps < 0.0
        held = np.where(closed[:, :, None] | closed[:, None, :], np.eye(leads - 1), stiff)


def u_between(spans: Spans, first: int, last: int) -> float:
    """Standard uncertainty of the resistance between two leads by all readings together, all of them sound [ohm]."""
    weight = spans.per_u**2
    stiff = np.diag(weight.sum(axis=1)) - weight
    others = np.arange(spans.leads) != first
    pull = np.zeros(spans.leads)
    pull[last] = 1.0
    got = np.linalg.solve(stiff[np.ix_(others, others)], pull[others])
    return float(np.sqrt(got[np.flatnonzero(others) == last][0]))


def solve_line(spans: Spans) -> LineFit:
    """Find the order of the leads along a line.

    Parameters
    ----------
    spans : Spans
        Readings that connect all leads, 2 leads or more.

    Returns
    -------
    LineFit

    Notes
    -----
    Up to `TRIED_LEADS` leads every order is tried. Up to `EXACT_LEADS` by branch and bound: a beginning never fits
    better when a lead is added, so that one which fits worse than a whole order that is known, by more than what
    settles, is dropped. Beyond, and where more than `MOST_BEGUN` beginnings are left: by breadth, limited to `WIDTHS`
    beginnings; then neighbours are exchanged until nothing improves.
    """
    if spans.leads <= TRIED_LEADS:
        every = [order for order in permutations(range(spans.leads)) if order[0] < order[-1]]
        found, all_followed = place(spans, every), True
    else:
        begun, all_followed = _by_breadth(spans)
        found, all_followed = _by_bound(spans, begun) or _exchanged(spans, begun, all_followed)
    best, *others = sorted(found, key=_rank)
    open_ones = tuple(
        (_turned(one, best), math.exp(max(0.0, one.cost - best.cost) / 2.0))
        for one in others
        if one.cost < best.cost + OPEN_COST
    )
    return LineFit(best, open_ones, all_followed and all(one.steady for one in (best, *(one for one, _ in open_ones))))


def _rank(one: Placed) -> tuple[float, float]:
    """Least misfit first; among equals the shortest line, on which the greatest reading joins the ends."""
    return round(one.cost, 6), one.length


def _turned(one: Placed, like: Placed) -> Placed:
    """An order in the direction in which more of its leads stand where they do in another."""
    rank, rising = np.argsort(like.order)[one.order], np.arange(len(one.order))
    return one if np.abs(rank - rising).sum() <= np.abs(rank - rising[::-1]).sum() else one.reversed()


def _by_bound(spans: Spans, known: list[Placed]) -> tuple[list[Placed], bool] | None:
    """Every order that fits within `OPEN_COST` of the best; None where there are too many leads or beginnings."""
    if spans.leads > EXACT_LEADS:
        return None
    bound = min(one.cost for one in known) + OPEN_COST
    first, second, *rest = _sequence(spans)
    begun = place(spans, [(first, second)])
    for lead in rest:
        orders = np.stack([one.order for one in begun])
        grown = np.concatenate([np.insert(orders, gap, lead, axis=1) for gap in range(orders.shape[1] + 1)])
        begun = [one for one in place(spans, grown) if one.cost < bound]
        if len(begun) > MOST_BEGUN:
            return None
        if not begun:
            break
    return list({one.key: one for one in (*known, *begun)}.values()), True


def _sequence(spans: Spans) -> list[int]:
    """Leads as they are placed: the two of the greatest reading, then always one that has most readings to those."""
    read = spans.per_u > 0.0
    first = int(np.unravel_index(np.argmax(np.where(read, spans.ohm, -np.inf)), read.shape)[0])
    second = int(np.argmax(np.where(read[first], spans.ohm[first], -np.inf)))
    sequence = [first, second]
    links = read[first].astype(int) + read[second]
    links[sequence] = -1
    while len(sequence) < spans.leads:
        lead = int(np.argmax(links))
        sequence.append(lead)
        links = np.where(links >= 0, links + read[lead], links)
        links[lead] = -1
    return sequence


def _by_breadth(spans: Spans) -> tuple[list[Placed], bool]:
    """Orders that fit nearly as well as the best, and whether none was dropped for want of room."""
    width = next(width for leads, width in WIDTHS if spans.leads <= leads)
    first, second, *rest = _sequence(spans)
    begun, all_followed, settled_at = place(spans, [(first, second)]), True, 1
    for step, lead in enumerate(rest, start=2):
        grown = [child for one in begun for child in _sited(spans, one, lead)]
        if step < 12 or step >= settled_at * 1.25 or step == spans.leads - 1:
            settled_at = step
            grown = place(spans, np.stack([one.order for one in _least(grown, 2 * width)]))
        begun = _least(grown, width)
        all_followed &= sum(one.cost < begun[0].cost + OPEN_COST for one in grown) <= len(begun)
    return begun, all_followed


def _least(grown: list[Placed], most: int) -> list[Placed]:
    """The best of some beginnings, as far as they are followed."""
    ranked = sorted(grown, key=_rank)
    return [one for one in ranked if one.cost <= ranked[0].cost + SLACK][:most]


def _sited(spans: Spans, begun: Placed, lead: int) -> list[Placed]:
    """A beginning with a lead more, at the best place of each gap that fits, the others staying where they are."""
    per_u = spans.per_u[lead, begun.order]
    read = np.flatnonzero(per_u)
    xs, ohm, per_u = begun.at[read], spans.ohm[lead, begun.order][read], per_u[read]
    probes = np.arange(len(read))
    if len(read) > 2 * PROBES:
        probes = np.concatenate([np.argsort(-per_u, kind="stable")[:PROBES], np.argsort(-ohm)[:PROBES]])
    sites = np.concatenate([xs[probes] + ohm[probes], xs[probes] - ohm[probes]])
    for _ in range(3):
        z = (np.abs(sites[:, None] - xs) - ohm) * per_u
        weight = (per_u * BEND / np.maximum(np.abs(z), BEND)) ** 2
        sites = (weight * (xs + np.sign(sites[:, None] - xs) * ohm)).sum(axis=1) / weight.sum(axis=1)
    cost = misfit_cost((np.abs(sites[:, None] - xs) - ohm) * per_u).sum(axis=1)
    gaps = np.searchsorted(begun.at, sites, side="right").tolist()
    best: dict[int, int] = {}
    for site in np.argsort(cost, kind="stable").tolist():
        if cost[site] <= cost.min() + SLACK:
            best.setdefault(gaps[site], site)
    return [
        Placed(np.insert(begun.order, gap, lead), np.insert(begun.at, gap, sites[n]), begun.cost + float(cost[n]))
        for gap, n in best.items()
    ]


def _exchanged(spans: Spans, found: list[Placed], all_followed: bool) -> tuple[list[Placed], bool]:
    """The orders, and those with two neighbours of the best exchanged, until no exchange improves it."""
    known = {one.key: one for one in found}
    best, tried = min(found, key=_rank), set[tuple[int, ...]]()
    left = max(FEWEST_EXCHANGES, int(EXCHANGE_WORK / spans.leads**3))  # so that hundreds of leads take seconds
    while best.key not in tried:
        tried.add(best.key)
        orders = {min(tuple(order), tuple(order[::-1])): order for order in _neighbours(spans, best)}
        fresh = [order for key, order in orders.items() if key not in known]
        all_followed &= len(fresh) <= left
        if fresh[: max(0, left)]:
            known |= {one.key: one for one in place(spans, fresh[:left])}
        left -= len(fresh)
        best = min(known.values(), key=_rank)
    return list(known.values()), all_followed


def _neighbours(spans: Spans, best: Placed) -> list[list[int]]:
    """The order with two neighbours exchanged, for each two that this might not hurt much, the least hurt first."""
    cells = np.ix_(best.order, best.order)
    ohm, per_u = spans.ohm[cells], spans.per_u[cells]

    def cost_of(at: np.ndarray, two: list[int]) -> float:
        return float(misfit_cost((np.abs(at[two, None] - at) - ohm[two]) * per_u[two]).sum())

    found = []
    for first in range(spans.leads - 1):
        two = [first, first + 1]
        at = best.at.copy()
        at[two] = at[two[::-1]]
        for lead in two * 2:  # each to a better place, all others staying where they are, on the same side of each
            apart = at[lead] - at
            z = np.abs(np.abs(apart) - ohm[lead]) * per_u[lead]
            weight = (per_u[lead] * np.minimum(1.0, BEND / np.maximum(z, BEND))) ** 2
            at[lead] = (weight * (at + np.sign(apart) * ohm[lead])).sum() / weight.sum()
        hurt = cost_of(at, two) - cost_of(best.at, two)
        if hurt < SLACK:
            order = best.order.tolist()
            order[first], order[first + 1] = order[first + 1], order[first]
            found.append((hurt, order))
    return [order for _, order in sorted(found, key=lambda each: each[0])]
