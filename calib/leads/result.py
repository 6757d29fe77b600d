"""What lead identification gives: windings, contradictions and the next step, for people, tables and programs."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from calib.leads.report import CAUTIONS, report

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Order:
    """Another order of a winding's leads that its readings leave open.

    Attributes
    ----------
    leads : tuple of str
        From end to end.
    at_ohm : tuple of float
        Place of each lead along the winding, from its first lead [ohm].
    odds_against : float
        Odds of the order given against this one, 1 (even) to 100, from where it counts as settled [1].
    """

    leads: tuple[str, ...]
    at_ohm: tuple[float, ...]
    odds_against: float


@dataclass(frozen=True)
class LeadWinding:
    """One winding.

    Attributes
    ----------
    leads : tuple of str
        Every lead in order from end to end, taps included.
    at_ohm : tuple of float
        Place of each lead along the winding, from the first lead, by all readings together [ohm].
    sections_ohm : tuple of float
        Between neighbours: as read where read, else by all readings together [ohm].
    ohm, u_ohm : float
        From end to end, as `sections_ohm`, and its standard uncertainty; NaN where it is lost in it [ohm].
    likely_role : str
        What it probably is; only a ratio test proves it.
    family : str
        high voltage, primary, bias or auxiliary, or heater.
    grade : str
        probable or possible.
    probability : float
        Of the family, with the rest of the transformer as its readings stand, 0 to 1 (judgement) [1].
    other_roles : tuple of (str, float)
        Other families with their probabilities.
    reasons : tuple of str
        Why that role.
    note : str
        What to mind; blank where nothing.
    shape : str
        line; slip (a line but for a wrong reading); joint, parallel path or contradictory.
    checks : int
        Readings beyond those that span the winding: each must agree with the others [1].
    worst_residual_ohm, worst_limit_ohm : float
        How far the check that is furthest off for its limit is off, and that limit; NaN without checks [ohm].
    unsettled : tuple of tuples of str
        Groups of leads whose order among themselves the readings leave open.
    other_orders : tuple of Order
        The likeliest of the other orders that stay open.
    orders_open : int
        How many orders stay open, the one given included; 1 where the order is settled. At least so many, where
        `orders_open` is more than `other_orders` names.
    colour_hint : str
        What the colours of its leads say, and how far to trust them; blank where they say nothing.
    """

    leads: tuple[str, ...]
    at_ohm: tuple[float, ...]
    sections_ohm: tuple[float, ...]
    ohm: float
    u_ohm: float
    likely_role: str
    family: str
    grade: str
    probability: float
    other_roles: tuple[tuple[str, float], ...]
    reasons: tuple[str, ...]
    note: str
    shape: str
    checks: int
    worst_residual_ohm: float
    worst_limit_ohm: float
    unsettled: tuple[tuple[str, ...], ...]
    other_orders: tuple[Order, ...]
    orders_open: int
    colour_hint: str

    @property
    def taps(self) -> tuple[str, ...]:
        """The leads between the two ends."""
        return self.leads[1:-1]

    @property
    def ambiguous(self) -> bool:
        """Whether the order of the leads stays open."""
        return self.orders_open > 1 or not self.on_line

    @property
    def on_line(self) -> bool:
        """Whether its leads lie on a line, as those of a tapped winding do; no order means anything where not."""
        return self.shape in ("line", "slip")


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
class NextStep:
    """What to do next.

    Attributes
    ----------
    caution : str
        Stands before the step.
    action : str
        The step and why.
    pair : (str, str) or None
        The pair of leads to read; None where the step is another.
    """

    caution: str
    action: str
    pair: tuple[str, str] | None


@dataclass(frozen=True)
class LeadsFound:
    """What lead-pair readings say of a transformer. `str` gives a report for people.

    Attributes
    ----------
    windings : tuple of LeadWinding
        The highest resistance first.
    isolated : tuple of str
        Leads with continuity to no other.
    unplaced : tuple of str
        Those of `isolated` that may still belong to another lead or winding, since pairs were not read.
    undecided : tuple of (tuple of str, tuple of str)
        Two windings, or leads, that may be one: no pair between them was read.
    contradictions : tuple of Contradiction
    remarks : tuple of str
        What else the readings say: leakage, a scatter beyond the meter's class.
    leakage : tuple of str
        Those of the remarks that have to be explained before anything is energised.
    next : NextStep
    read, missing : int
        Pairs of leads that were read, and that were not.
    scatter : float
        How many times the stated uncertainty the readings scatter; 1 where they keep to it or too few tell [1].
    """

    windings: tuple[LeadWinding, ...]
    isolated: tuple[str, ...]
    unplaced: tuple[str, ...]
    undecided: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]
    contradictions: tuple[Contradiction, ...]
    remarks: tuple[str, ...]
    leakage: tuple[str, ...]
    next: NextStep
    read: int
    missing: int
    scatter: float

    @property
    def next_step(self) -> str:
        """The next step, its caution before it."""
        return f"{self.next.caution} {self.next.action}".strip()

    @property
    def settled(self) -> bool:
        """Whether windings and orders are known and nothing contradicts: only the ratio test is left."""
        return not (self.undecided or self.contradictions or any(one.ambiguous for one in self.windings))

    def __str__(self) -> str:
        return report(self)

    def __repr__(self) -> str:
        return f"<LeadsFound: {len(self.windings)} windings, {len(self.isolated)} leads alone, {self.read} pairs read>"

    def as_dict(self) -> dict[str, Any]:
        """The result as plain values, with the keys of ``calib leads --format json``; None for what is unknown."""
        return {
            "windings": [_winding(one) for one in self.windings],
            "isolated": list(self.isolated),
            "next_step": self.next_step,
            "cautions": list(CAUTIONS),
            "next_caution": self.next.caution,
            "next_action": self.next.action,
            "next_pair": list(self.next.pair) if self.next.pair else None,
            "settled": self.settled,
            "unplaced": list(self.unplaced),
            "undecided": _plain(self.undecided),
            "contradictions": [
                _plain({**asdict(one), "residual_ohm": one.residual_ohm}) for one in self.contradictions
            ],
            "remarks": list(self.remarks),
            "pairs_read": self.read,
            "pairs_missing": self.missing,
            "scatter": self.scatter,
        }

    def frame(self) -> pd.DataFrame:
        """The windings as a table, one row each; leads and taps joined by `` - ``."""
        import pandas as pd

        names = ("leads", "taps", "ohm", "u_ohm", "likely_role", "grade", "probability", "ambiguous", "note")
        rows = [{name: getattr(one, name) for name in names} for one in self.windings]
        for row in rows:
            row |= {"leads": " - ".join(row["leads"]), "taps": " - ".join(row["taps"])}
        return pd.DataFrame(rows, columns=list(names))


def _winding(one: LeadWinding) -> dict[str, Any]:
    first = {"leads": one.leads, "taps": one.taps, "ohm": one.ohm, "likely_role": one.likely_role, "note": one.note}
    more = {"grade": one.grade, "ambiguous": one.ambiguous}
    roles = [{"role": role, "probability": value} for role, value in one.other_roles]
    return _plain({**first, **more, **asdict(one), "other_roles": roles})


def _plain(value: Any) -> Any:
    """A value of lists, dictionaries, text and numbers; None for a number that does not exist."""
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
