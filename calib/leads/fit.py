"""Leads in a given order on a line: where each lies, and how well its readings fit.

A tapped winding is a line on which every reading is a distance. With the order given, the positions follow by weighted
least squares, gaps never negative; a reading far off counts for little, so that one slip does not bend the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

# Beyond so many standard uncertainties a misfit counts by its logarithm, not its square (judgement).
BEND = 3.0
ROUNDS = 300
STEADY = 1e-3  # largest change of a weight, as a share of it, at which the weighing stops


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
        import numpy as np

        ohm, per_u = np.zeros((leads, leads)), np.zeros((leads, leads))
        for a, b, value, u in pairs:
            ohm[a, b] = ohm[b, a] = value
            per_u[a, b] = per_u[b, a] = 1.0 / u
        return cls(ohm, per_u)

    @property
    def leads(self) -> int:
        """How many leads."""
        return len(self.ohm)

    def part(self, chosen: np.ndarray) -> Spans:
        """The readings among the leads chosen, in their order."""
        import numpy as np

        grid = np.ix_(chosen, chosen)
        return Spans(self.ohm[grid], self.per_u[grid])


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


def misfit_cost(z: np.ndarray) -> np.ndarray:
    """Cost of misfits in units of their uncertainty: z², and 9 + 18 ln(|z|/3) beyond 3, where slope meets slope."""
    import numpy as np

    size = np.abs(z)
    return np.where(size <= BEND, size * size, BEND**2 * (1.0 + 2.0 * np.log(np.maximum(size, BEND) / BEND)))


def place(spans: Spans, order: Sequence[int] | np.ndarray) -> Placed:
    """Best places of the leads in a given order.

    Parameters
    ----------
    spans : Spans
        Readings that connect all leads.
    order : sequence of int
        Lead numbers from end to end.

    Returns
    -------
    Placed

    Notes
    -----
    Minimises sum cost(z), z = (|x_i - x_j| - r_ij) / u_ij, with x in the given order: least squares weighted anew until
    steady (P. J. Huber, "Robust Statistics"), leads that would pass one another being held together.
    """
    import numpy as np

    order = np.asarray(order, int)
    here = spans.part(order)
    square = here.per_u**2
    weight = square
    steady, rounds = False, 0
    while not steady and rounds < ROUNDS:
        rounds += 1
        at = _in_order(here.ohm, weight)
        z = np.abs((np.abs(at[:, None] - at[None, :]) - here.ohm) * here.per_u)
        far = z > BEND
        fresh = np.where(far, square * (BEND / np.maximum(z, BEND)) ** 2, square)
        steady = bool(np.all(np.abs(fresh - weight) <= STEADY * weight))
        weight = weight if steady else fresh
    return Placed(order, at, float(misfit_cost(z).sum()) / 2.0, steady)


def _in_order(ohm: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Weighted least squares places of leads that stand in order; those that would pass one another are joined."""
    import numpy as np

    leads = len(ohm)
    above = np.tri(leads, k=-1)
    pull = (weight * ohm * (above - above.T)).sum(axis=1)
    stiff = np.diag(weight.sum(axis=1)) - weight
    group = np.arange(leads)
    while True:
        groups = group[-1] + 1
        if groups == 1:
            return np.zeros(leads)
        starts = np.flatnonzero(np.diff(group, prepend=-1))
        joined = np.add.reduceat(np.add.reduceat(stiff, starts, axis=0), starts, axis=1)
        at = np.zeros(groups)
        at[1:] = np.linalg.solve(joined[1:, 1:], np.add.reduceat(pull, starts)[1:])
        falls = np.diff(at) < 0.0
        if not falls.any():
            return at[group]
        group = np.concatenate([[0], np.cumsum(~falls)])[group]


def u_between(spans: Spans, first: int, last: int) -> float:
    """Standard uncertainty of the resistance between two leads by all readings together, all of them sound [ohm]."""
    import numpy as np

    weight = spans.per_u**2
    stiff = np.diag(weight.sum(axis=1)) - weight
    others = np.arange(spans.leads) != first
    pull = np.zeros(spans.leads)
    pull[last] = 1.0
    got = np.linalg.solve(stiff[np.ix_(others, others)], pull[others])
    return float(np.sqrt(got[np.flatnonzero(others) == last][0]))
