"""Each winding's line: solved, checked, and solved again without what is wrong."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import median
from typing import TYPE_CHECKING

from calib.leads.checks import Winding, limit_for
from calib.leads.fit import Placed, Spans, u_between
from calib.leads.graph import Parts
from calib.leads.line import OPEN_COST, LineFit, solve_line
from calib.leads.readings import LeadReading
from calib.leads.verdict import Verdict, verdict_of

if TYPE_CHECKING:
    import numpy as np

# The median size of a standard normal error.
NORMAL_MEDIAN = 0.67449
FEWEST_CHECKS = 12  # checks from which the readings' own scatter is judged (judgement)
CLEAR = 5.0  # standard errors by which the scatter must exceed what is stated (judgement)
MOST_SUSPECTS = 6  # suspects that are each left out in turn for the orders that stay open

_Pair = tuple[int, int, float, float]


@dataclass(frozen=True)
class Solved:
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
    verdict: Verdict

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
        return tuple(self.between(a, b) for a, b in zip(order, order[1:], strict=False))

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

    def between(self, first: int, last: int) -> tuple[float, float]:
        """Resistance between two leads and its standard uncertainty: as read, else by all sound readings [ohm]."""
        if (first, last) in self._sound:
            return self._sound[first, last]
        at = dict(zip(self.fit.best.order.tolist(), self.fit.best.at.tolist(), strict=True))
        sound = [(a, b, *value) for (a, b), value in self._sound.items()]
        usable = sound if _spans_all(len(self.leads), sound) else list(self.pairs)
        return abs(at[last] - at[first]), u_between(Spans.of(len(self.leads), usable), first, last)

    @cached_property
    def _sound(self) -> dict[tuple[int, int], tuple[float, float]]:
        """Readings with their uncertainties by pair, either way round, without those known to be wrong."""
        wrong = {frozenset(pair) for pair in self.verdict.suspects} if self.verdict.shape == "slip" else set()
        sound = [pair for pair in self.pairs if not wrong or frozenset(self.names(pair[:2])) not in wrong]
        return {key: (ohm, u) for a, b, ohm, u in sound for key in ((a, b), (b, a))}


def solve_windings(parts: Parts, readings: Sequence[LeadReading]) -> tuple[tuple[Solved, ...], float]:
    """Solve every group of two leads or more.

    Parameters
    ----------
    parts : Parts
    readings : sequence of LeadReading
        With their uncertainties [ohm].

    Returns
    -------
    (tuple of Solved, float)
        The windings in the order of the groups, and how many times their stated uncertainty the readings scatter: 1
        unless at least `FEWEST_CHECKS` checks show clearly more [1]. Orders and checks are judged by that scatter.
    """
    groups = {lead: number for number, group in enumerate(parts.groups) for lead in group}
    index = {lead: place for group in parts.groups for place, lead in enumerate(group)}
    pairs: dict[int, list[_Pair]] = {number: [] for number, group in enumerate(parts.groups) if len(group) > 1}
    for one in readings:
        number = groups[one.lead_a]
        if one.is_finite and groups[one.lead_b] == number:
            pairs[number].append((index[one.lead_a], index[one.lead_b], one.ohm, one.u_ohm))
    fits = {number: solve_line(Spans.of(len(parts.groups[number]), read)) for number, read in pairs.items()}
    scatter = _scatter([(fits[number], read) for number, read in pairs.items()])
    if scatter > 1.0:
        pairs = {number: [(a, b, ohm, u * scatter) for a, b, ohm, u in read] for number, read in pairs.items()}
        fits = {number: solve_line(Spans.of(len(parts.groups[number]), read)) for number, read in pairs.items()}
    limit = limit_for(sum(len(read) - len(parts.groups[number]) + 1 for number, read in pairs.items()))
    return tuple(_solved(parts.groups[n], tuple(read), fits[n], limit) for n, read in pairs.items()), scatter


def _solved(leads: tuple[str, ...], pairs: tuple[_Pair, ...], fit: LineFit, limit: float) -> Solved:
    verdict = Verdict("line")
    if len(leads) > 2 and len(pairs) >= len(leads):
        verdict = verdict_of(Winding(leads, pairs, fit.best), limit)
    if verdict.shape == "slip":
        fit = _less_suspects(leads, pairs, fit, verdict)
    if verdict.line is not None:
        fit = LineFit(verdict.line, (), verdict.line.steady)
    return Solved(leads, pairs, _from_first(fit), verdict)


def _less_suspects(leads: tuple[str, ...], pairs: tuple[_Pair, ...], fit: LineFit, verdict: Verdict) -> LineFit:
    """The line with each suspect left out in turn: all orders that then stay open."""
    fits = []
    for suspect in verdict.suspects[:MOST_SUSPECTS]:
        rest = [pair for pair in pairs if {leads[pair[0]], leads[pair[1]]} != set(suspect)]
        if _spans_all(len(leads), rest):
            fits.append(solve_line(Spans.of(len(leads), rest)))
    if not fits:
        return fit
    open_orders: dict[tuple[int, ...], tuple[Placed, float]] = {}
    for one in fits:
        for placed, odds in ((one.best, 1.0), *one.others):
            open_orders.setdefault(_either_way(placed), (placed, odds))
    best = fit.best if len(fits) > 1 and _either_way(fit.best) in open_orders else fits[0].best
    open_orders.pop(_either_way(best))
    return LineFit(best, tuple(open_orders.values()), all(one.all_followed for one in fits))


def _either_way(placed: Placed) -> tuple[int, ...]:
    order = tuple(placed.order.tolist())
    return min(order, order[::-1])


def _from_first(fit: LineFit) -> LineFit:
    """The line in the direction that begins with the end that was mentioned first."""
    if fit.best.order[0] < fit.best.order[-1]:
        return fit
    return LineFit(_reversed(fit.best), tuple((_reversed(one), odds) for one, odds in fit.others), fit.all_followed)


def _reversed(one: Placed) -> Placed:
    return replace(one, order=one.order[::-1], at=one.at[-1] - one.at[::-1])


def _spans_all(leads: int, pairs: Sequence[_Pair]) -> bool:
    reached = {0}
    waiting = [0]
    near: dict[int, list[int]] = {}
    for a, b, _, _ in pairs:
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    while waiting:
        for lead in near.get(waiting.pop(), ()):
            if lead not in reached:
                reached.add(lead)
                waiting.append(lead)
    return len(reached) == leads


def _scatter(solved: Sequence[tuple[LineFit, Sequence[_Pair]]]) -> float:
    """Scatter of the readings about their lines over the stated uncertainty, by the median, slips aside [1].

    Source: the Birge ratio (R. T. Birge 1932), here by the median of the misfits.
    """
    sizes: list[float] = []
    spare = 0
    for fit, pairs in solved:
        at = dict(zip(fit.best.order.tolist(), fit.best.at.tolist(), strict=True))
        if len(pairs) >= len(at):
            spare += len(pairs) - len(at) + 1
            sizes += [abs(abs(at[a] - at[b]) - ohm) / u for a, b, ohm, u in pairs]
    if spare < FEWEST_CHECKS:
        return 1.0
    found = median(sizes) / NORMAL_MEDIAN / math.sqrt(spare / len(sizes))
    return found if found > 1.0 + CLEAR / math.sqrt(2.0 * spare) else 1.0


def decides(ohm: Sequence[float], u: float, odds: Sequence[float]) -> float:
    """How much a reading tells between orders, the first being the best.

    Parameters
    ----------
    ohm : sequence of float
        What it would read by each order [ohm].
    u : float
        Its standard uncertainty [ohm].
    odds : sequence of float
        Odds of the best order against each, 1 or more [1].

    Returns
    -------
    float
        Sum over the other orders of their weight 1/odds times the difference of misfit, up to four times what settles.
    """
    return sum(
        min(((one - ohm[0]) / u) ** 2, 4.0 * OPEN_COST) / against for one, against in zip(ohm, odds, strict=True)
    )
