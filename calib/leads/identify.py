"""Which lead is which: from resistances read between pairs of leads to windings, taps, likely roles and the next step.

CAUTION: disconnect everything first, discharge every capacitor and prove it dead; the test current kicks when a clip
comes off. Resistance and colour never prove what a winding is: only the voltages of a ratio test do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from calib.bench.guard import not_negative, within
from calib.bench.uncertainty import LEAD_NULL_U_OHM, ORDINARY_OHMMETER, MeterClass, standard_uncertainty
from calib.leads.colours import OTHER_WEIGHT, colour_hint
from calib.leads.disputes import disputes, leakage, remarks
from calib.leads.graph import Parts, parts_of
from calib.leads.line import LISTED
from calib.leads.next import State, next_step
from calib.leads.notes import Roles, colour_note, order_note
from calib.leads.readings import LeadReading, checked, less_null
from calib.leads.result import LeadsFound, LeadWinding, Order
from calib.leads.roles import PROBABLE, RoleFacts, role_odds
from calib.leads.solve import Solved, solve_windings


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
    typed = checked(readings)
    known = less_null(typed, meter, null_ohm, null_u_ohm)
    parts = parts_of(known)
    solved, scatter = solve_windings(parts, known)
    contradictions = disputes(parts, solved)
    colours = {
        lead: colour
        for one in known
        for lead, colour in ((one.lead_a, one.colour_a), (one.lead_b, one.colour_b))
        if colour
    }
    windings = _windings(solved, colours, colour_weight)
    read = frozenset(
        pair
        for one in known
        if not math.isnan(one.ohm)
        for pair in ((one.lead_a, one.lead_b), (one.lead_b, one.lead_a))
    )

    def u_of(ohm: float) -> float:
        return scatter * math.hypot(standard_uncertainty(ohm, meter), null_u_ohm) or 1e-6

    leads = sum(len(group) for group in parts.groups)
    alone, unplaced, undecided = _alone(parts)
    return LeadsFound(
        windings=windings,
        isolated=alone,
        unplaced=unplaced,
        undecided=undecided,
        contradictions=contradictions,
        remarks=remarks(parts, scatter),
        leakage=leakage(parts),
        next=next_step(State(parts, solved, windings, contradictions, read, u_of, colours)),
        read=len(read) // 2,
        missing=leads * (leads - 1) // 2 - len(read) // 2,
        scatter=scatter,
    )


_Group = tuple[str, ...]


def _alone(parts: Parts) -> tuple[_Group, _Group, tuple[tuple[_Group, _Group], ...]]:
    """Leads alone, those of them that may still belong somewhere, and the groups that may be one."""
    pairs = parts.undecided()
    touched = {number for pair in pairs for number in pair}
    alone = [(number, group[0]) for number, group in enumerate(parts.groups) if len(group) == 1]
    unplaced = tuple(lead for number, lead in alone if number in touched)
    groups = tuple((parts.groups[a], parts.groups[b]) for a, b in pairs)
    return tuple(lead for _, lead in alone), unplaced, groups


def _windings(solved: Sequence[Solved], colours: Mapping[str, str], weight: float) -> tuple[LeadWinding, ...]:
    """The windings as reported, the highest resistance first."""
    facts = [_facts(one, colours, weight) for one in solved]
    odds = role_odds(facts)
    roles = Roles(facts, odds)
    found = [_winding(one, facts[number], roles, number) for number, one in enumerate(solved)]
    return tuple(sorted(found, key=lambda one: -one.ohm if math.isfinite(one.ohm) else math.inf))


def _facts(one: Solved, colours: Mapping[str, str], weight: float) -> RoleFacts:
    """What is known of a winding's role; leads that read as one point count as one."""
    points = one.points
    merged = [one.between(a[-1], b[0])[0] for a, b in zip(points, points[1:], strict=False)]
    ohm, u = one.whole
    sections = tuple(max(0.0, each) for each in merged) or (ohm,)
    return RoleFacts(ohm, u, sections, one.on_line, colour_hint(one.order, colours), weight)


def _winding(one: Solved, facts: RoleFacts, roles: Roles, number: int) -> LeadWinding:
    odds = roles.odds[number]
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
