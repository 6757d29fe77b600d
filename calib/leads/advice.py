"""What the readings leave open, and the next step: the reading that tells most, and why.

Once all is settled the ratio test follows, with its caution.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from calib.bench.ratio_test import HAZARDOUS_LIVE_V, HIGHEST_RESISTANCE, feed
from calib.leads.checks import Contradiction, Winding
from calib.leads.order import OPEN_COST
from calib.leads.readings import Parts, named, ohms, pair_name, say
from calib.leads.roles import HV, PRIMARY, Roles, colour_of, too_high

KICK = say("caution", "kick")
RATIO_CAUTION = say("caution", "ratio", volts=HAZARDOUS_LIVE_V)
MOST_ORDERS = 24  # other orders that a reading is weighed against


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
class State:
    """All that the next step follows from.

    Attributes
    ----------
    parts : Parts
    windings : tuple of Winding
    roles : Roles
        Of the same windings.
    contradictions : tuple of Contradiction
    read : set of (str, str)
        Pairs that were read, each in alphabetical order.
    u_of : function
        Standard uncertainty of a resistance read with the meter in use [ohm].
    colours : mapping of str to str
    """

    parts: Parts
    windings: tuple[Winding, ...]
    roles: Roles
    contradictions: tuple[Contradiction, ...]
    read: frozenset[tuple[str, str]]
    u_of: Callable[[float], float]
    colours: Mapping[str, str]


def next_step(state: State) -> NextStep:
    """What to do next: what contradicts is read again first, then what joins windings, then what orders leads."""
    if not state.parts.groups:
        return NextStep(KICK, say("next", "begin"), None)
    for one in state.contradictions:
        if one.suspects:
            return _again(one)
    return _joining(state) or _ordering(state) or _repair(state) or _ratio_test(state)


def _again(one: Contradiction) -> NextStep:
    first, *others = one.suspects
    also = f", then {named(map(pair_name, others[:3]))}" if others else ""
    why = "it contradicts the other readings" if not others else "these readings contradict one another"
    return NextStep(KICK, say("next", "again", first=pair_name(first), also=also, why=why), first)


def _joining(state: State) -> NextStep | None:
    """The reading between two groups of leads that are most likely one winding."""
    undecided = state.parts.undecided()
    if not undecided:
        return None
    groups = state.parts.groups
    bodies = [{colour_of(state.colours.get(lead, "") or lead)[0] for lead in group} - {""} for group in groups]

    def worth(pair: tuple[int, int]) -> tuple[int, int]:
        a, b = pair
        return 2 * bool(bodies[a] & bodies[b]) + (len(groups[a]) == 1) + (len(groups[b]) == 1), -b

    a, b = max(undecided, key=worth)
    pair, left = (groups[a][0], groups[b][0]), len(undecided) - 1
    told = {"pair": pair_name(pair), "one": named(groups[a]), "other": named(groups[b])}
    told["belong"] = "belongs" if len(groups[a]) == 1 else "belong"
    told["alike"] = say("next", "join_alike") if bodies[a] & bodies[b] else ""
    told["more"] = say("next", "join_more", left=left, s="s" if left > 1 else "") if left else ""
    return NextStep(KICK, say("next", "join", **told), pair)


def _ordering(state: State) -> NextStep | None:
    """The reading that decides best between the orders that stay open."""
    for one in state.windings:
        if one.orders_open == 1 or not one.on_line:
            continue
        orders = [(one.fit.best.places, 1.0), *((each.places, odds) for each, odds in one.fit.others[:MOST_ORDERS])]
        gains = {}
        for a, b in combinations(range(len(one.leads)), 2):
            values = [abs(at[a] - at[b]) for at, _ in orders]
            gains[a, b] = decides(values, state.u_of(values[0]), [odds for _, odds in orders]), values
        unread = [pair for pair in gains if tuple(sorted(one.names(pair))) not in state.read]
        best = max(unread, key=lambda pair: gains[pair][0], default=None)
        if best is not None and gains[best][0] >= OPEN_COST / 2.0:
            return _new_reading(one, best, gains[best][1], state)
        if one.resolved and not one.only_at_points:
            best = max(gains, key=lambda pair: gains[pair][0])
            return _finer_reading(one, best, gains[best][1])
    return None


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


def _new_reading(one: Winding, best: tuple[int, int], values: Sequence[float], state: State) -> NextStep:
    u = state.u_of(values[0])
    told = list(dict.fromkeys(ohms(value, u) for value in values))
    shown = f"about {' or '.join(told[:3])} ohm" + (", or other values," if len(told) > 3 else "")
    return _reading("order", one.names(best), leads=named(one.order), shown=shown)


def _finer_reading(one: Winding, best: tuple[int, int], values: Sequence[float]) -> NextStep:
    apart = max(abs(value - values[0]) for value in values)
    return _reading("finer", one.names(best), leads=_open_leads(one), apart=apart)


def _reading(name: str, pair: tuple[str, ...], **values: object) -> NextStep:
    first, last = pair
    return NextStep(KICK, say("next", name, first=first, last=last, **values), (first, last))


def _open_leads(one: Winding) -> str:
    return " and of ".join(named(one.names(block)) for block in one.fit.unsettled) or named(one.order)


def _repair(state: State) -> NextStep | None:
    bent = next((one for one in state.windings if not one.on_line), None)
    return NextStep(KICK, say("next", "repair", leads=named(bent.order)), None) if bent else None


def _ratio_test(state: State) -> NextStep:
    before = ""
    if state.parts.leakage:
        before = say("next", "leakage", pairs=named(pair_name(one.pair) for one in state.parts.leakage))
    elif alone := [group[0] for group in state.parts.groups if len(group) == 1]:
        before = say("next", "alone", leads=named(alone))
    sound = [number for number, one in enumerate(state.roles.facts) if not too_high(one.ohm)]
    able = [number for number in sound if state.roles.odds[number].family in (HV, PRIMARY)]
    if len(state.windings) < 2 or not able:
        return NextStep(KICK, say("next", "more_leads", before=before), None)
    highest = max(sound, key=lambda number: max(0.0, state.roles.facts[number].ohm))
    leads = state.windings[highest].order
    how = feed(False, winding=f"{leads[0]} to {leads[-1]}, {HIGHEST_RESISTANCE}").advice
    left = " and of ".join(_open_leads(one) for one in state.windings if one.orders_open > 1)
    order = say("next", "ratio_order", leads=left) if left else ""
    return NextStep(RATIO_CAUTION, say("next", "ratio", before=before, how=how, order=order), None)


def order_note(one: Winding) -> str:
    """What stays open of the order of a winding's leads; blank where it is settled."""
    if not one.on_line:
        return say("order", one.verdict.shape)
    blocks = [one.names(block) for block in one.fit.unsettled]
    if not blocks and one.fit.all_followed:
        return ""
    if one.only_at_points:
        together = "; ".join(named(one.names(point)) for point in one.points if len(point) > 1)
        return say("order", "one_point", leads=together)
    odds = min((against for _, against in one.fit.others), default=1.0)
    if len(one.fit.others) == 1 and len(blocks) == 1 and len(blocks[0]) == 2:
        how = "fits as well" if odds < 1.5 else f"stays open at {min(odds, 99):.0f} to 1"
        return say("order", "two", leads=named(blocks[0]), how=how)
    behind = "" if odds < 1.5 else f", the next best behind at {min(odds, 99):.0f} to 1"
    which = "; ".join(named(block) for block in blocks) or "its leads"
    orders = f"{'more than ' if not one.fit.all_followed else ''}{len(one.fit.others) + 1}"
    return say("order", "many", orders=orders, leads=which, behind=behind)


def leakage(parts: Parts) -> tuple[str, ...]:
    """What has to be explained before anything is energised: readings too high for a winding."""
    return tuple(say("remark", "leakage", pair=pair_name(one.pair), ohm=one.ohm) for one in parts.leakage)


def remarks(parts: Parts, scatter: float) -> tuple[str, ...]:
    """What else the readings say."""
    return leakage(parts) + ((say("remark", "scatter", scatter=scatter),) if scatter > 1.0 else ())
