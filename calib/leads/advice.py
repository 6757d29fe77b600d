"""What the readings leave open, and the next step: the reading that tells most, and why.

Once all is settled the ratio test follows, with its caution.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from calib.bench.ratio_test import HAZARDOUS_LIVE_V, HIGHEST_RESISTANCE, feed
from calib.leads.checks import Contradiction, Winding
from calib.leads.graph import Parts
from calib.leads.order import OPEN_COST
from calib.leads.readings import named, ohms, pair_name
from calib.leads.roles import HV, PRIMARY, Roles, colour_of, too_high

KICK = (
    "Caution: keep hands off the clips while you read, wait until the reading settles, and take them off slowly: the "
    "test current kicks."
)
RATIO_CAUTION = (
    "Caution: every winding becomes live in proportion to its turns, and a heater fed with a few volts puts a lethal "
    "voltage on the others. Never energise on colour or resistance alone: isolated, current-limited source of mains "
    f"frequency, meters clipped on first, every winding kept at or under {HAZARDOUS_LIVE_V:g} V rms, source taken off "
    "at zero volts and clips last."
)
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
        Pairs that were read, either way.
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
        return NextStep(KICK, "Tag every lead, and read any two of them against each other.", None)
    for one in state.contradictions:
        if one.suspects:
            return _again(one)
    return _joining(state) or _ordering(state) or _repair(state) or _ratio_test(state)


def _again(one: Contradiction) -> NextStep:
    first, *others = one.suspects
    also = f", then {named(map(pair_name, others[:3]))}" if others else ""
    why = "it contradicts the other readings" if not others else "these readings contradict one another"
    return NextStep(KICK, f"Read {pair_name(first)} again{also}, on fresh metal: {why}.", first)


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
    pair = (groups[a][0], groups[b][0])
    one, other = named(groups[a]), named(groups[b])
    belong = "belongs" if len(groups[a]) == 1 else "belong"
    alike = " Their colours go together." if bodies[a] & bodies[b] else ""
    left = len(undecided) - 1
    more = f" {left} more such reading{'s' if left > 1 else ''} may be needed." if left else ""
    action = (
        f"Read {pair_name(pair)}: nothing yet says whether {one} {belong} to one winding with {other}; continuity runs "
        f"through, so one reading settles it.{alike}{more}"
    )
    return NextStep(KICK, action, pair)


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
        unread = [pair for pair in gains if one.names(pair) not in state.read]
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
    first, last = one.names(best)
    action = (
        f"Read {first} to {last}: it tells best which order of {named(one.order)} is right; it reads {shown} according "
        f"to the order."
    )
    return NextStep(KICK, action, (first, last))


def _finer_reading(one: Winding, best: tuple[int, int], values: Sequence[float]) -> NextStep:
    apart = max(abs(value - values[0]) for value in values)
    first, last = one.names(best)
    action = (
        f"Read {first} to {last} again on the finest range, or by four wires: the orders of {_open_leads(one)} that "
        f"are left differ by {apart:.2g} ohm there, less than these readings resolve. A ratio test tells it too: the "
        f"voltage from one end rises along the winding."
    )
    return NextStep(KICK, action, (first, last))


def _open_leads(one: Winding) -> str:
    return " and of ".join(named(one.names(block)) for block in one.fit.unsettled) or named(one.order)


def _repair(state: State) -> NextStep | None:
    for one in state.windings:
        if not one.on_line:
            action = (
                f"Look at {named(one.order)} again: take off whatever is still connected, part every outside joint, "
                f"then read its pairs once more."
            )
            return NextStep(KICK, action, None)
    return None


def _ratio_test(state: State) -> NextStep:
    lone = ""
    if state.parts.leakage:
        pairs = named(pair_name(one.pair) for one in state.parts.leakage)
        lone = (
            f"First find the leakage ({pairs}) with the insulation tester, and energise nothing until it is explained. "
        )
    elif alone := [group[0] for group in state.parts.groups if len(group) == 1]:
        what = "a screen, a broken end or a lead to the core"
        lone = f"First test {named(alone)} to the core with the insulation tester: {what}. "
    sound = [number for number, one in enumerate(state.windings) if not too_high(state.roles.facts[number].ohm)]
    able = [number for number in sound if state.roles.odds[number].family in (HV, PRIMARY)]
    if len(state.windings) < 2 or not able:
        action = (
            f"{lone}A mains transformer has at least a primary and one other winding: look for leads that are not in "
            f"the readings, and read them too."
        )
        return NextStep(KICK, action, None)
    highest = max(sound, key=lambda number: max(0.0, state.roles.facts[number].ohm))
    leads = state.windings[highest].order
    how = feed(False, winding=f"{leads[0]} to {leads[-1]}, {HIGHEST_RESISTANCE}").advice
    left = " and of ".join(_open_leads(one) for one in state.windings if one.orders_open > 1)
    order = f" It also tells the order of {left}: the voltage from one end rises along the winding." if left else ""
    action = f"{lone}Resistance tells no more. Do the ratio test. {how} It turns probable into proven.{order}"
    return NextStep(RATIO_CAUTION, action, None)


def order_note(one: Winding) -> str:
    """What stays open of the order of a winding's leads; blank where it is settled."""
    shape = one.verdict.shape
    if shape == "joint":
        return "ambiguous: its leads do not lie on one line; windings seem to meet at a joint inside"
    if shape == "parallel path":
        return "ambiguous: a reading is less than the sum of its parts, as with a second path beside it"
    if shape == "contradictory":
        return "ambiguous: its readings contradict one another, so that no order is sure"
    blocks = [one.names(block) for block in one.fit.unsettled]
    if not blocks and one.fit.all_followed:
        return ""
    if one.only_at_points:
        together = "; ".join(named(one.names(point)) for point in one.points if len(point) > 1)
        return (
            f"ambiguous: {together} read as one point: joined leads, as of sections in parallel, or too close to tell"
        )
    odds = min((against for _, against in one.fit.others), default=1.0)
    behind = "" if odds < 1.5 else f", the next best behind at {min(odds, 99):.0f} to 1"
    if len(one.fit.others) == 1 and len(blocks) == 1 and len(blocks[0]) == 2:
        how = "fits as well" if odds < 1.5 else f"stays open at {min(odds, 99):.0f} to 1"
        return f"ambiguous: {named(blocks[0])} may stand the other way round, which {how}"
    which = "; ".join(named(block) for block in blocks) or "its leads"
    orders = f"{'more than ' if not one.fit.all_followed else ''}{len(one.fit.others) + 1} orders"
    return f"ambiguous: {orders} of {which} fit{behind}"


def leakage(parts: Parts) -> tuple[str, ...]:
    """What has to be explained before anything is energised: readings too high for a winding."""
    return tuple(
        f"{pair_name(one.pair)} reads {one.ohm:,.0f} ohm, far above any winding of such a unit: leakage between two "
        f"windings. Test their insulation before anything is energised."
        for one in parts.leakage
    )


def remarks(parts: Parts, scatter: float) -> tuple[str, ...]:
    """What else the readings say."""
    found = [*leakage(parts)]
    if scatter > 1.0:
        found.append(
            f"The readings scatter about {scatter:.1f} times as much as the meter's stated accuracy explains; orders "
            f"are judged by that scatter. Look for poor clips or a drifting temperature, or state the meter's accuracy."
        )
    return tuple(found)
