"""Which lead is which: from resistances read between pairs of leads to windings, taps, likely roles and the next step.

CAUTION: disconnect everything first, discharge every capacitor and prove it dead; the test current kicks when a clip
comes off. Resistance and colour never prove what a winding is: only the voltages of a ratio test do. What is found is
for people, tables and programs.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any

from calib.bench.uncertainty import LEAD_NULL_U_OHM, ORDINARY_OHMMETER, MeterClass, standard_uncertainty
from calib.errors import not_negative, within
from calib.leads.advice import NextStep, State, leakage, next_step, order_note, remarks
from calib.leads.checks import Contradiction, Winding, disputes, solve_windings
from calib.leads.readings import LeadReading, checked, less_null, named, ohms, parts_of, say, sentence, short
from calib.leads.roles import OTHER_WEIGHT, PROBABLE, RoleFacts, Roles, colour_hint, colour_note
from calib.paths import data

if TYPE_CHECKING:
    import pandas as pd

LISTED = 8  # other orders that a result names
WIDTH = 100  # characters of the report's lines
CAUTIONS: tuple[str, ...] = tuple(data("leads/words.toml")["cautions"])


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
            "windings": [_as_dict(one) for one in self.windings],
            "isolated": list(self.isolated),
            "next_step": self.next_step,
            "cautions": list(CAUTIONS),
            "next_caution": self.next.caution,
            "next_action": self.next.action,
            "next_pair": list(self.next.pair) if self.next.pair else None,
            "settled": self.settled,
            "unplaced": list(self.unplaced),
            "undecided": _plain(self.undecided),
            "contradictions": _plain([asdict(one) | {"residual_ohm": one.residual_ohm} for one in self.contradictions]),
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


def _as_dict(one: LeadWinding) -> dict[str, Any]:
    first = ("leads", "taps", "ohm", "likely_role", "note", "grade", "ambiguous")
    roles = [{"role": role, "probability": value} for role, value in one.other_roles]
    return _plain({**{name: getattr(one, name) for name in first}, **asdict(one), "other_roles": roles})


def _plain(value: Any) -> Any:
    """A value of lists, dictionaries, text and numbers; None for a number that does not exist."""
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def identify_leads(
    readings: Iterable[LeadReading | Sequence[object]],
    *,
    meter: MeterClass = ORDINARY_OHMMETER,
    null_ohm: float = 0.0,
    null_u_ohm: float = LEAD_NULL_U_OHM,
    colour_weight: float = OTHER_WEIGHT,
) -> LeadsFound:
    """Find the windings of a transformer from resistances read between pairs of its leads.

    Parameters
    ----------
    readings : iterable of LeadReading or of (lead_a, lead_b, ohm) or (lead_a, lead_b, ohm, u_ohm)
        ohm is 0.001 to 1e6 [ohm], ``"open"`` for no continuity, None or NaN where the pair was not read; pairs may be
        missing. A standard uncertainty given with a reading is taken as it is [ohm].
    meter : MeterClass
        Of the ohmmeter, for readings without an uncertainty of their own.
    null_ohm : float
        What the meter shows with its clips joined, 0 or more; 0 where it is off the readings already [ohm].
    null_u_ohm : float
        Standard uncertainty of the null, 0 or more [ohm].
    colour_weight : float
        How far the colours of leads may be believed, 0 to 1: 0.8 for a North American unit of the late 1930s or later,
        else 0.3 [1].

    Returns
    -------
    LeadsFound

    Raises
    ------
    InputError
        With every fault of the readings.
    ValueError
        A null, its uncertainty or a weight beyond its limits.

    Notes
    -----
    Windings are the connected parts of the graph of finite readings. A winding's leads are points on a line: the order
    of least misfit is taken, and every other that fits within odds of 100 to 1 is said. Readings beyond those that span
    the line must equal the sum along their path within 2 sqrt(sum u²). Roles follow from R_i/R_j = (V_i²/VA_i) /
    (V_j²/VA_j). Sources: J. B. Kruskal 1956 (least spanning tree); Magnetic Circuits and Transformers (MIT EE Staff).

    Examples
    --------
    >>> import calib.bench
    >>> found = calib.identify_leads([("C", "D", 148.2), ("D", "E", 171.9), ("C", "E", 320.4)])
    >>> found.windings[0].leads, found.windings[0].likely_role
    (('C', 'D', 'E'), 'high voltage (centre-tapped)')
    """
    not_negative("lead null", null_ohm, "ohm")
    not_negative("uncertainty of the lead null", null_u_ohm, "ohm")
    within("weight of colours", colour_weight, 0.0, 1.0, "")
    known = less_null(checked(readings), meter, null_ohm, null_u_ohm)
    parts = parts_of(known)
    solved, scatter = solve_windings(parts, known)
    contradictions = disputes(parts, solved)
    told = [each for one in known for each in ((one.lead_a, one.colour_a), (one.lead_b, one.colour_b))]
    colours = {lead: colour for lead, colour in told if colour}
    read = [one.pair for one in known if not math.isnan(one.ohm)]
    roles = Roles([_facts(one, colours, colour_weight) for one in solved])
    windings = [_winding(one, roles, number) for number, one in enumerate(solved)]

    def u_of(ohm: float) -> float:
        return scatter * math.hypot(standard_uncertainty(ohm, meter), null_u_ohm) or 1e-6

    leads = sum(map(len, parts.groups))
    undecided = parts.undecided()
    touched = {number for pair in undecided for number in pair}
    alone = [(number, group[0]) for number, group in enumerate(parts.groups) if len(group) == 1]
    return LeadsFound(
        windings=tuple(sorted(windings, key=lambda one: -one.ohm if math.isfinite(one.ohm) else math.inf)),
        isolated=tuple(lead for _, lead in alone),
        unplaced=tuple(lead for number, lead in alone if number in touched),
        undecided=tuple((parts.groups[a], parts.groups[b]) for a, b in undecided),
        contradictions=contradictions,
        remarks=remarks(parts, scatter),
        leakage=leakage(parts),
        next=next_step(State(parts, solved, roles, contradictions, frozenset(read), u_of, colours)),
        read=len(read),
        missing=leads * (leads - 1) // 2 - len(read),
        scatter=scatter,
    )


def _facts(one: Winding, colours: Mapping[str, str], weight: float) -> RoleFacts:
    """What is known of a winding's role; leads that read as one point count as one."""
    merged = [one.between(a[-1], b[0])[0] for a, b in pairwise(one.points)]
    ohm, u = one.whole
    sections = tuple(max(0.0, each) for each in merged) or (ohm,)
    return RoleFacts(ohm, u, sections, one.on_line, colour_hint(one.order, colours), weight)


def _winding(one: Winding, roles: Roles, number: int) -> LeadWinding:
    """A winding as reported."""
    facts, odds = roles.facts[number], roles.odds[number]
    hint, doubt = colour_note(facts, odds.family)
    minds = [order_note(one), *roles.minds(number), doubt]
    worst = one.verdict.worst
    others = sorted(one.fit.others, key=lambda other: other[1])[:LISTED]
    return LeadWinding(
        leads=one.order,
        at_ohm=tuple(one.fit.best.at.tolist()),
        sections_ohm=tuple(max(0.0, ohm) for ohm, _ in one.sections),
        ohm=facts.ohm if facts.ohm > 0.0 else math.nan,
        u_ohm=facts.u_ohm,
        likely_role=roles.name(number),
        family=odds.family,
        grade="probable" if odds.probability >= PROBABLE else "possible",
        probability=odds.probability,
        other_roles=odds.others,
        reasons=roles.reasons(number),
        note="; ".join(each for each in minds if each),
        shape=one.verdict.shape,
        checks=one.checks,
        worst_residual_ohm=worst.residual_ohm if worst else math.nan,
        worst_limit_ohm=worst.limit_ohm if worst else math.nan,
        unsettled=tuple(one.names(block) for block in one.fit.unsettled),
        other_orders=tuple(Order(one.names(each.order), tuple(each.at.tolist()), against) for each, against in others),
        orders_open=one.orders_open,
        colour_hint=hint,
    )


def report(found: LeadsFound) -> str:
    """Cautions, windings, what contradicts, and the next step, in lines that a terminal holds."""
    blocks = [
        ["Before you read", *_listed(CAUTIONS)],
        [_head(found)],
        *(_told(number, one) for number, one in enumerate(found.windings, start=1)),
    ]
    if found.isolated:
        blocks.append(_lone(found))
    if found.contradictions:
        says = [one.says for one in found.contradictions]
        blocks.append(["These readings contradict one another", *_listed(map(sentence, says))])
    if found.remarks:
        blocks.append(["Note", *_listed(found.remarks)])
    blocks.append(["Next", *_wrapped(found.next.caution, "  "), *_wrapped(found.next.action, "  ")])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _head(found: LeadsFound) -> str:
    leads = sum(len(one.leads) for one in found.windings) + len(found.isolated)
    missing = f", {found.missing} not" if found.missing else ""
    windings = _count(len(found.windings), "winding")
    return f"{windings} in {_count(leads, 'lead')}, by {_count(found.read, 'pair')} read{missing}"


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" + ("" if number == 1 else "s")


def _told(number: int, one: LeadWinding) -> list[str]:
    taps = f"   (tap{'s' if len(one.taps) > 1 else ''}: {', '.join(one.taps)})" if one.taps else ""
    parts = " + ".join(ohms(value, one.u_ohm) for value in one.sections_ohm)
    sections = f" = {parts}" if len(one.sections_ohm) > 1 else ""
    leads = f"{' - '.join(one.leads)}{taps}"
    if not one.on_line:
        leads, sections = f"{', '.join(one.leads)}   (in no order)", " at most"
    whole = f"{ohms(one.ohm, one.u_ohm)}{sections}, u {short(one.u_ohm)}"
    told = {
        "leads": leads,
        "ohm": whole if one.ohm == one.ohm else f"under {short(2.0 * one.u_ohm)}",
        "check": _checked(one) if len(one.leads) > 2 else "",
        "why": "; ".join(one.reasons),
        "colour": one.colour_hint,
        "mind": one.note,
    }
    lines = [_wrapped(f"{label:<7}{text}", "   ", 7) for label, text in told.items() if text]
    return [f"{number}. {one.likely_role}: {one.grade}", *chain.from_iterable(lines)]


def _checked(one: LeadWinding) -> str:
    """How far readings beyond the needed ones agree."""
    if not one.checks:
        return "none: there are only the fewest readings that join these leads"
    u = one.worst_limit_ohm / 4.0
    if u != u:
        return f"{one.checks:,} further readings agree"
    off = f"{ohms(abs(one.worst_residual_ohm), u)} ohm off where {ohms(one.worst_limit_ohm, u)} is allowed"
    if abs(one.worst_residual_ohm) > one.worst_limit_ohm:
        return f"{_count(one.checks, 'further reading')}, and not all agree: one is {off}"
    return f"{_count(one.checks, 'further reading')} agree{'s' if one.checks == 1 else ''}, at worst {off}"


def _lone(found: LeadsFound) -> list[str]:
    proven = [lead for lead in found.isolated if lead not in found.unplaced]
    lines = [say("remark", "lone", leads=", ".join(proven))] if proven else []
    if found.unplaced:
        lines.append(f"not read enough to place: {named(found.unplaced)}")
    return ["Leads alone", *_listed(map(sentence, lines))]


def _listed(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in _wrapped(f"- {text}", "  ", 2)]


def _wrapped(text: str, indent: str, hang: int = 0) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + " " * hang, break_on_hyphens=False
    )
