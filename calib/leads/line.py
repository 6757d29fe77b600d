"""The order of the leads along a tapped winding, and every other order that its readings leave open.

Leads are put on the line one by one, each on either side of those placed, and all orders that fit nearly as well as the
best are followed. Two orders are told apart by their odds, exp(difference of misfit / 2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from calib.leads.fit import BEND, Placed, Spans, misfit_cost, place

if TYPE_CHECKING:
    import numpy as np

# An order is settled when the odds against every other are at least so many to one (judgement).
SETTLED_ODDS = 100.0
OPEN_COST = 2.0 * math.log(SETTLED_ODDS)
SLACK = 40.0  # cost above the best up to which a beginning is followed [1]
WIDTHS = ((12, 32), (40, 16), (100, 8))  # up to so many leads, so many beginnings are followed
WIDTH_BEYOND = 3
FEWEST_EXCHANGES, EXCHANGE_WORK = 60, 4e8  # limits of the search among neighbours: at least so many, and leads³ times
PROBES = 8  # readings, the surest and the longest, that propose places for a lead
LISTED = 8  # other orders that a result names


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
        return _blocks(self.best.order, [other.order for other, _ in self.others])


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
    Search by breadth, limited to `WIDTHS` beginnings; then neighbours are exchanged until nothing improves.
    """
    found, all_followed = _followed(spans)
    known = {_key(one.order): one for one in found}
    best, tried, left = min(found, key=_rank), set[tuple[int, ...]](), _most_exchanges(spans.leads)
    while _key(best.order) not in tried:
        tried.add(_key(best.order))
        orders = {_key(order): order for order in _exchanged(spans, best)}
        fresh = [order for key, order in orders.items() if key not in known]
        all_followed &= len(fresh) <= left
        known |= {_key(order): place(spans, order) for order in fresh[: max(0, left)]}
        left -= len(fresh)
        best = min(known.values(), key=_rank)
    others = sorted((one for key, one in known.items() if key != _key(best.order)), key=_rank)
    open_ones = [(_turned(one, best), _odds(one, best)) for one in others if one.cost < best.cost + OPEN_COST]
    steady = best.steady and all(one.steady for one, _ in open_ones)
    return LineFit(best, tuple(open_ones), all_followed and steady)


def _odds(one: Placed, best: Placed) -> float:
    return math.exp(max(0.0, one.cost - best.cost) / 2.0)


def _rank(one: Placed) -> tuple[float, float]:
    """Least misfit first; among equals the shortest line, on which the greatest reading joins the ends."""
    return round(one.cost, 6), one.length


def _key(order: np.ndarray) -> tuple[int, ...]:
    """An order and its reverse alike."""
    return tuple(order.tolist() if order[0] < order[-1] else order[::-1].tolist())


def _turned(one: Placed, like: Placed) -> Placed:
    """An order in the direction in which more of its leads stand where they do in another."""
    import numpy as np

    place_in = np.argsort(like.order)[one.order]
    rising = np.arange(len(place_in))
    if np.abs(place_in - rising).sum() <= np.abs(place_in - rising[::-1]).sum():
        return one
    return Placed(one.order[::-1], one.at[-1] - one.at[::-1], one.cost, one.steady)


def _followed(spans: Spans) -> tuple[list[Placed], bool]:
    """Orders that fit nearly as well as the best, and whether none was dropped for want of room."""
    import numpy as np

    sequence = _sequence(spans)
    width = next((width for leads, width in WIDTHS if spans.leads <= leads), WIDTH_BEYOND)
    states = [(0.0, np.zeros(1))]
    all_followed, settled_at = True, 1
    for step, lead in enumerate(sequence[1:], start=1):
        placed = sequence[:step]
        grown = []
        for cost, at in states:
            sites = _sites(spans, placed, at, lead)
            grown += [(cost + more, np.append(at, site)) for site, more in (sites[:1] if step == 1 else sites)]
        refit = step < 12 or step >= settled_at * 1.25 or step == spans.leads - 1
        if refit:
            settled_at = step
            part = spans.part(np.append(placed, lead))
            grown = [_settle(part, at) for _, at in _least(grown, 2 * width)]
        states = _least(grown, width)
        near = [state for state in _least(grown, len(grown)) if state[0] < states[0][0] + OPEN_COST]
        all_followed &= len(near) <= len(states)
    whole = spans.part(np.asarray(sequence))
    ends = [place(whole, np.argsort(at, kind="stable")) for _, at in states]
    return [replace(one, order=np.asarray(sequence)[one.order]) for one in ends], all_followed


def _settle(part: Spans, at: np.ndarray) -> tuple[float, np.ndarray]:
    """A beginning with its places found together."""
    import numpy as np

    fitted = place(part, np.argsort(at, kind="stable"))
    places = np.empty(len(at))
    places[fitted.order] = fitted.at
    return fitted.cost, places


def _least(states: list[tuple[float, np.ndarray]], width: int) -> list[tuple[float, np.ndarray]]:
    """The beginnings of least misfit, each order once."""
    import numpy as np

    states = sorted(states, key=lambda state: (round(state[0], 6), np.ptp(state[1])))
    once: dict[tuple[int, ...], tuple[float, np.ndarray]] = {}
    for cost, at in states:
        if cost > states[0][0] + SLACK or len(once) == width:
            break
        once.setdefault(_key(np.argsort(at, kind="stable")), (cost, at))
    return list(once.values())


def _sequence(spans: Spans) -> np.ndarray:
    """Leads as they are placed: the two of the greatest reading, then always one that has most readings to those."""
    import numpy as np

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
    return np.asarray(sequence)


def _sites(spans: Spans, placed: np.ndarray, at: np.ndarray, lead: int) -> list[tuple[float, float]]:
    """Places for a lead among those placed, one for each gap that fits, with the misfit that it adds."""
    import numpy as np

    per_u = spans.per_u[lead, placed]
    read = np.flatnonzero(per_u)
    xs, ohm, per_u = at[read], spans.ohm[lead, placed][read], per_u[read]
    if len(read) > 2 * PROBES:
        probes = np.concatenate([np.argsort(-per_u, kind="stable")[:PROBES], np.argsort(-ohm)[:PROBES]])
    else:
        probes = np.arange(len(read))
    sites = np.concatenate([xs[probes] + ohm[probes], xs[probes] - ohm[probes]])
    for _ in range(3):
        z = (np.abs(sites[:, None] - xs) - ohm) * per_u
        weight = (per_u * BEND / np.maximum(np.abs(z), BEND)) ** 2
        sites = (weight * (xs + np.sign(sites[:, None] - xs) * ohm)).sum(axis=1) / weight.sum(axis=1)
    cost = misfit_cost((np.abs(sites[:, None] - xs) - ohm) * per_u).sum(axis=1)
    gaps = np.searchsorted(np.sort(at), sites)
    best: dict[int, tuple[float, float]] = {}
    for site in np.argsort(cost, kind="stable"):
        best.setdefault(int(gaps[site]), (float(sites[site]), float(cost[site])))
    least = min(more for _, more in best.values())
    return [(site, more) for site, more in best.values() if more <= least + SLACK]


def _most_exchanges(leads: int) -> int:
    """How many exchanges of neighbours are worked out in full, so that hundreds of leads take seconds."""
    return max(FEWEST_EXCHANGES, int(EXCHANGE_WORK / leads**3))


def _exchanged(spans: Spans, best: Placed) -> list[np.ndarray]:
    """The order with two neighbours exchanged, for each two that this might not hurt much, the least hurt first."""
    here = spans.part(best.order)
    found = []
    for first in range(spans.leads - 1):
        two = [first, first + 1]
        at = best.at.copy()
        at[two] = at[two[::-1]]
        for _ in range(2):
            for lead in two:
                at[lead] = _moved(here, at, lead)
        hurt = _cost_of(here, at, two) - _cost_of(here, best.at, two)
        if hurt < SLACK:
            order = best.order.copy()
            order[two] = order[two[::-1]]
            found.append((hurt, order))
    return [order for _, order in sorted(found, key=lambda each: each[0])]


def _cost_of(here: Spans, at: np.ndarray, leads: list[int]) -> float:
    """Misfit of the readings to some leads, those between them counted twice."""
    import numpy as np

    z = (np.abs(at[leads, None] - at) - here.ohm[leads]) * here.per_u[leads]
    return float(misfit_cost(z).sum())


def _moved(here: Spans, at: np.ndarray, lead: int) -> float:
    """A better place for one lead, all others staying where they are, on the same side of each."""
    import numpy as np

    apart = at[lead] - at
    z = np.abs(np.abs(apart) - here.ohm[lead]) * here.per_u[lead]
    weight = here.per_u[lead] ** 2 * np.minimum(1.0, BEND / np.maximum(z, BEND)) ** 2
    return float((weight * (at + np.sign(apart) * here.ohm[lead])).sum() / weight.sum())


def _blocks(best: np.ndarray, others: Sequence[np.ndarray]) -> tuple[tuple[int, ...], ...]:
    """The least runs of leads of an order within which other orders differ from it."""
    import numpy as np

    leads = len(best)
    place_in = np.empty(leads, int)
    place_in[best] = np.arange(leads)
    tied = np.zeros(leads - 1, bool)
    for other in others:
        highest = np.maximum.accumulate(place_in[other])
        tied |= highest[:-1] > np.arange(leads - 1)
    runs, start = [], 0
    for edge in range(leads):
        if edge == leads - 1 or not tied[edge]:
            if edge > start:
                runs.append(tuple(best[start : edge + 1].tolist()))
            start = edge + 1
    return tuple(runs)
