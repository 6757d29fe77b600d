"""The next step: the reading that tells most, and why; once all is settled, the ratio test with its caution."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from calib.bench.ratio_test import HAZARDOUS_LIVE_V, HIGHEST_RESISTANCE, feed
from calib.leads.colours import colour_of
from calib.leads.disputes import too_high
from calib.leads.graph import Parts
from calib.leads.line import OPEN_COST
from calib.leads.result import Contradiction, LeadWinding, NextStep
from calib.leads.roles import HV, PRIMARY
from calib.leads.solve import Solved, decides
from calib.leads.words import named, ohms, pair_name

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
class State:
    """All that the next step follows from.

    Attributes
    ----------
    parts : Parts
    solved : tuple of Solved
    windings : tuple of LeadWinding
        As reported.
    contradictions : tuple of Contradiction
    read : set of (str, str)
        Pairs that were read, either way.
    u_of : function
        Standard uncertainty of a resistance read with the meter in use [ohm].
    colours : mapping of str to str
    """

    parts: Parts
    solved: tuple[Solved, ...]
    windings: tuple[LeadWinding, ...]
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
    for one in state.solved:
        if one.orders_open == 1 or not one.on_line:
            continue
        orders = [(one.fit.best, 1.0), *one.fit.others[:MOST_ORDERS]]
        places = [dict(zip(placed.order.tolist(), placed.at.tolist(), strict=True)) for placed, _ in orders]
        odds = [against for _, against in orders]

        def would_read(pair: tuple[int, int], places: Sequence[Mapping[int, float]] = places) -> list[float]:
            return [abs(at[pair[0]] - at[pair[1]]) for at in places]

        def gain(pair: tuple[int, int], odds: Sequence[float] = odds) -> float:
            values = would_read(pair)
            return decides(values, state.u_of(values[0]), odds)

        pairs = list(combinations(range(len(one.leads)), 2))
        unread = [pair for pair in pairs if one.names(pair) not in state.read]
        best = max(unread, key=gain, default=None)
        if best is not None and gain(best) >= OPEN_COST / 2.0:
            return _new_reading(one, best, would_read(best), state)
        if one.resolved and not one.only_at_points:
            return _finer_reading(one, max(pairs, key=gain), would_read)
    return None


def _new_reading(one: Solved, best: tuple[int, int], values: Sequence[float], state: State) -> NextStep:
    pair = _pair(one.names(best))
    u = state.u_of(values[0])
    told = list(dict.fromkeys(ohms(value, u) for value in values))
    shown = f"about {' or '.join(told[:3])} ohm" + (", or other values," if len(told) > 3 else "")
    action = (
        f"Read {pair_name(pair)}: it tells best which order of {named(one.order)} is right; it reads {shown} according "
        f"to the order."
    )
    return NextStep(KICK, action, pair)


def _finer_reading(
    one: Solved, best: tuple[int, int], would_read: Callable[[tuple[int, int]], list[float]]
) -> NextStep:
    pair = _pair(one.names(best))
    values = would_read(best)
    apart = max(abs(value - values[0]) for value in values)
    action = (
        f"Read {pair_name(pair)} again on the finest range, or by four wires: the orders of {_open_leads(one)} that "
        f"are left differ by {apart:.2g} ohm there, less than these readings resolve. A ratio test tells it too: the "
        f"voltage from one end rises along the winding."
    )
    return NextStep(KICK, action, pair)


def _open_leads(one: Solved) -> str:
    return " and of ".join(named(one.names(block)) for block in one.fit.unsettled) or named(one.order)


def _pair(names: Sequence[str]) -> tuple[str, str]:
    return names[0], names[1]


def _repair(state: State) -> NextStep | None:
    for one in state.solved:
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
    able = [one for one in state.windings if one.family in (HV, PRIMARY) and not too_high(one.ohm)]
    if len(state.windings) < 2 or not able:
        action = (
            f"{lone}A mains transformer has at least a primary and one other winding: look for leads that are not in "
            f"the readings, and read them too."
        )
        return NextStep(KICK, action, None)
    highest = max(
        (one for one in state.windings if not too_high(one.ohm)), key=lambda one: (one.ohm == one.ohm, one.ohm)
    )
    how = feed(False, winding=f"{pair_name((highest.leads[0], highest.leads[-1]))}, {HIGHEST_RESISTANCE}").advice
    left = " and of ".join(_open_leads(one) for one in state.solved if one.orders_open > 1)
    order = f" It also tells the order of {left}: the voltage from one end rises along the winding." if left else ""
    action = f"{lone}Resistance tells no more. Do the ratio test. {how} It turns probable into proven.{order}"
    return NextStep(RATIO_CAUTION, action, None)
