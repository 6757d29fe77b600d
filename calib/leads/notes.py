"""A winding's likely role in words: its name, the reasons for it, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence

from calib.bench.faults import HIGHEST_HALF_RATIO
from calib.leads.disputes import too_high
from calib.leads.roles import (
    AUXILIARY,
    HEATER,
    HV,
    PRIMARY,
    PRIMARY_117_OHM,
    PRIMARY_230_OHM,
    USUAL_OHM,
    RoleFacts,
    RoleOdds,
    alike,
)
from calib.leads.solve import Solved
from calib.leads.words import named, ohms

HEATERS_CLOSE = 2.0  # heaters within such a ratio of resistances cannot be told apart by it (judgement)
HV_NEAR_PRIMARY = 3.0  # a high voltage less than so many times the primary may be the primary (judgement)
LIKE_HEATERS = "5 V at 2 A and 6.3 V at 3 A read alike; on a ratio test 6.3 V is 1.26 times 5 V"
PHASE_FIRST = (
    "never put them in parallel until, joined in series at a low voltage, their sense is known and the difference "
    "reads under 1 % of either"
)


class Roles:
    """The roles of all windings of a transformer, to be asked for one by one.

    Parameters
    ----------
    facts : sequence of RoleFacts
    odds : sequence of RoleOdds
        Of the same windings.
    """

    def __init__(self, facts: Sequence[RoleFacts], odds: Sequence[RoleOdds]) -> None:
        self.facts, self.odds = facts, odds
        self.of = {family: [n for n, one in enumerate(odds) if one.family == family] for family in USUAL_OHM}

    def name(self, number: int) -> str:
        """The likely role."""
        one, family = self.facts[number], self.odds[number].family
        if too_high(one.ohm):
            return "leakage or a broken winding"
        if family == HEATER and not one.resolved:
            return "heater, unresolved"
        if one.centre and family in (HV, HEATER):
            return f"{family} (centre-tapped)"
        if family == PRIMARY and one.taps > 1:
            return "universal primary"
        if family == HEATER and not one.taps:
            return "heater (rectifier or valves)"
        if one.taps:
            return f"{family} (tapped)"
        return f"{family}, one of two alike" if self.twin(number) is not None else family

    def twin(self, number: int) -> int | None:
        """The other of two untapped windings that read alike and have the same role, high voltage or primary."""
        one, family = self.facts[number], self.odds[number].family
        if family not in (HV, PRIMARY) or one.taps:
            return None
        others = [n for n in self.of[family] if n != number and not self.facts[n].taps]
        return next((n for n in others if alike(self.facts[n].ohm, one.ohm)), None)

    def reasons(self, number: int) -> tuple[str, ...]:
        """Why that role."""
        one, family = self.facts[number], self.odds[number].family
        if too_high(one.ohm):
            return (f"{one.ohm:,.0f} ohm is above any winding of such a unit",)
        found = [self._by_size(number)]
        heaters = self.of[HEATER]
        if (
            family == HEATER
            and len(heaters) > 1
            and one.resolved
            and one.ohm <= min(self.facts[n].ohm for n in heaters)
        ):
            found.append("the lowest of the heaters: the most current for its voltage")
        if family == HV and self.of[PRIMARY]:
            primary = self.facts[self.of[PRIMARY][0]]
            if primary.resolved:
                times = one.ohm / primary.ohm
                found.append(f"{times:.2g} times the likely primary (about 39 is usual on 117 V, 10 on 230 V)")
        if one.centre and family in (HV, HEATER):
            found.append(
                f"the halves' ratio is {one.centre[1]:.2f}: 1.00 to {HIGHEST_HALF_RATIO} goes with a centre tap"
            )
        return tuple(found)

    def _by_size(self, number: int) -> str:
        one, family = self.facts[number], self.odds[number].family
        low, high = USUAL_OHM[family]
        reads = f"{ohms(one.ohm, one.u_ohm)} ohm"
        if not one.resolved:
            return f"its resistance is lost in the reading's uncertainty (2 u = {2.0 * one.u_ohm:.2g} ohm)"
        if family == PRIMARY:
            fits = [
                f"{line} primaries read {span[0]:g} to {span[1]:g}"
                for line, span in (("117 V", PRIMARY_117_OHM), ("230 V", PRIMARY_230_OHM))
                if span[0] <= one.ohm <= span[1]
            ]
            return f"{reads}: {named(fits) if fits else f'outside {low:g} to {high:g}, usual for a primary'}"
        inside = "within" if low <= one.ohm <= high else "outside"
        return f"{reads}: {inside} {low:g} to {high:g}, usual for {_a(family)}"

    def minds(self, number: int) -> list[str]:
        """What to mind of the role."""
        one, odds = self.facts[number], self.odds[number]
        found = []
        if odds.others:
            found.append(f"may also be {named([family for family, _ in odds.others], 'or')}")
        if too_high(one.ohm):
            found.append("an insulation test tells; corroded fine wire reads unsteady kilohms")
            return found
        if odds.family == HEATER:
            found += self._heater_minds(number)
        found += self._tap_minds(one, odds.family)
        if odds.family == HV and one.ohm < HV_NEAR_PRIMARY * self._primary_ohm():
            found.append("a low high-voltage winding and a 230 V primary read alike: take neither for granted")
        if self.twin(number) is not None:
            found.append(f"halves of one winding, perhaps: {PHASE_FIRST}")
        return found

    def _primary_ohm(self) -> float:
        return max((self.facts[n].ohm for n in self.of[PRIMARY] if self.facts[n].resolved), default=0.0)

    def _heater_minds(self, number: int) -> list[str]:
        one = self.facts[number]
        if not one.resolved:
            return ["read it by four wires, or leave it to the ratio test"]
        close = [
            n
            for n in self.of[HEATER]
            if n != number
            and self.facts[n].resolved
            and max(one.ohm, self.facts[n].ohm) < HEATERS_CLOSE * min(one.ohm, self.facts[n].ohm)
        ]
        return [f"cannot be told from the other heaters by resistance: {LIKE_HEATERS}"] if close else []

    def _tap_minds(self, one: RoleFacts, family: str) -> list[str]:
        if not one.taps or not one.resolved:
            return []
        if family == PRIMARY:
            return [
                "taps for several line voltages, or an autotransformer that feeds a dial or a motor too: "
                "only voltages tell which lead is which line"
            ]
        if one.centre:
            return ["resistance only suggests a centre tap: the two halves' no-load voltages must agree within 1 %"]
        if family in (HV, HEATER):
            return [
                f"no centre tap by resistance (halves above {HIGHEST_HALF_RATIO}): a bias tap, several voltages, the "
                f"wrong lead, or shorted turns"
            ]
        return ["tapped: compare the voltages of its sections"] if family == AUXILIARY else []


def _a(family: str) -> str:
    return {HV: "a whole high-voltage winding", AUXILIARY: "a bias or auxiliary winding"}.get(family, f"a {family}")


def order_note(one: Solved) -> str:
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


def colour_note(facts: RoleFacts, family: str) -> tuple[str, str]:
    """What the colours say, and what to mind where they disagree; blank where they say nothing."""
    hint = facts.colour
    if hint is None:
        return "", ""
    says = f"North American code: {hint.winding}; a hint of weight {facts.colour_weight:g} at most, no proof"
    minds = []
    if family not in hint.role:
        minds.append(f"its colours say {hint.role}, its resistance {family}: never energise on colour alone")
    if hint.misplaced:
        minds.append(
            f"by the code {named(hint.misplaced)} would be an end for a tap, or a tap for an end: check the tags"
        )
    return says, "; ".join(minds)
