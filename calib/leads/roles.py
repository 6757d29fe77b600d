"""What each winding probably is, by its resistance beside the others', its taps and the colours of its leads.

At like copper loss the resistances of two windings stand as V²/VA of one to V²/VA of the other, so that the high
voltage reads most, then the primary, then bias or auxiliary windings, then heaters. Only the voltages of a ratio test
decide; until then every answer is graded probable at most. The lead colour code of North American power transformers is
a hint, never a proof: earlier, European, military, repaired and exported units deviate, and dyes fade. Sources:
Magnetic Circuits and Transformers (MIT EE Staff); Radiotron Designer's Handbook, 4th edition (Langford-Smith), for the
RMA (later RETMA, EIA) colour code too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from calib.bench.faults import HIGHEST_HALF_RATIO
from calib.errors import Quantity, positive
from calib.leads.readings import LEAKAGE_OHM, named, ohms, say
from calib.paths import shipped_rows

HV, PRIMARY, AUXILIARY, HEATER = FAMILIES = ("high voltage", "primary", "bias or auxiliary", "heater")

# Usual resistance of a whole winding [ohm] (judgement): a primary reads 1.5 to 15 for 117 V and 8 to 60 for 230 V.
USUAL_OHM = {HV: (50.0, 1000.0), PRIMARY: (1.5, 60.0), AUXILIARY: (0.5, 60.0), HEATER: (0.02, 0.5)}
PRIMARY_117_OHM, PRIMARY_230_OHM = (1.5, 15.0), (8.0, 60.0)
PROBABLE = 0.8  # probability from which a role is called probable, else possible (judgement)

HEATERS_CLOSE = 2.0  # heaters within such a ratio of resistances cannot be told apart by it (judgement)
HV_NEAR_PRIMARY = 3.0  # a high voltage less than so many times the primary may be the primary (judgement)

COLOUR_TABLE = "datasets/leads/colours.csv"
# How far the colours of a unit may be believed: the prior weight that they follow the code [1] (judgement).
CODED_WEIGHT = 0.8  # North American, late 1930s or later, not repaired
OTHER_WEIGHT = 0.3  # any other, or unknown
ALIKE = {"grey": "slate", "gray": "slate"}  # other words for a colour of the code
OTHER_COLOURS = frozenset({"blue", "white", "orange", "violet", "purple", "pink", "bare", "clear"})

# The weights below are judgement throughout.
OUTSIDE = math.log(1.4)  # a step outside the usual resistance that costs one natural unit of likelihood
CANDIDATES = 12  # windings that are weighed as high voltage or as primary, the likeliest
RATIO_SPREAD = 0.8  # standard deviation of the logarithm of high voltage over primary about what is expected
RARE = {"no high voltage": 0.1, "no primary": 0.03, "two primaries": 0.1, "two high voltages": 0.1, "auxiliary": 0.2}
TAPPED = {  # how much likelier a family becomes with: a centre tap, one other tap, several taps
    HV: (3.0, 0.5, 0.5),
    PRIMARY: (0.2, 1.5, 3.0),
    AUXILIARY: (0.5, 0.5, 0.3),
    HEATER: (1.0, 0.5, 0.2),
}


@dataclass(frozen=True)
class ColourHint:
    """What the colours of a winding's leads say.

    Attributes
    ----------
    role : str
        primary, high voltage, rectifier heater or heater.
    winding : str
        The winding as the code names it.
    share : float
        Share of its leads whose colours are those of that winding, above 0 to 1 [1].
    misplaced : tuple of str
        Leads that the code has as a tap and the readings at an end, or the other way round.
    """

    role: str
    winding: str
    share: float
    misplaced: tuple[str, ...]


def colour_of(text: str) -> tuple[str, str]:
    """Body and tracer of a lead from its name or description, such as ``Red/yellow 2``; blank where none is named."""
    known = {row["body"] for row in shipped_rows(COLOUR_TABLE)} | OTHER_COLOURS
    words = [ALIKE.get(word, word) for word in re.findall(r"[a-z]+", text.lower())]
    named = [word for word in words if word in known]
    return (named[0], named[1] if len(named) > 1 and named[1] != named[0] else "") if named else ("", "")


def colour_hint(leads: Sequence[str], colours: Mapping[str, str]) -> ColourHint | None:
    """What the colours of a winding say of it.

    Parameters
    ----------
    leads : sequence of str
        The winding's leads from end to end.
    colours : mapping of str to str
        Colour of a lead by its name; a lead that is not in it may tell its colour by its name.

    Returns
    -------
    ColourHint or None
        The winding of the code that most leads agree with; None where fewer than half do, or two roles equally many.
    """
    worn = [colour_of(colours.get(lead, "") or lead) for lead in leads]
    found: list[tuple[float, ColourHint]] = []
    rows = shipped_rows(COLOUR_TABLE)
    for winding, role in dict.fromkeys((row["winding"], row["role"]) for row in rows):
        is_tap = {(row["body"], row["tracer"]): row["part"] == "tap" for row in rows if row["winding"] == winding}
        hits = [(lead, is_tap[colour]) for lead, colour in zip(leads, worn, strict=True) if colour in is_tap]
        misplaced = tuple(lead for lead, tap in hits if tap != (lead in leads[1:-1]))
        score = len(hits) / len(leads) - 0.01 * len(misplaced) - 0.001 * (len(is_tap) - len(set(worn)))
        found.append((score, ColourHint(role, winding, len(hits) / len(leads), misplaced)))
    top, best = max(found, key=lambda each: each[0])
    rivals = {one.role for score, one in found if abs(score - top) < 1e-9}
    return best if best.share >= 0.5 and len(rivals) == 1 else None


def expected_ohm_ratio(volts_i: Quantity, va_i: Quantity, volts_j: Quantity, va_j: Quantity) -> Quantity:
    """Resistance of one winding over another's at like copper loss per volt-ampere.

    Parameters
    ----------
    volts_i, volts_j : number
        No-load voltages, rms, above 0 [V].
    va_i, va_j : number
        What each carries, above 0 [VA].

    Returns
    -------
    number
        R_i / R_j = (V_i² / VA_i) / (V_j² / VA_j) [-].

    Raises
    ------
    ValueError
        A voltage or load of zero or less.
    """
    for which, volts, va in (("first", volts_i, va_i), ("second", volts_j, va_j)):
        positive(f"voltage of the {which} winding", volts, "V")
        positive(f"load of the {which} winding", va, "VA")
    return (volts_i**2 / va_i) / (volts_j**2 / va_j)


# High voltage over primary in two usual units [-]: 653 V at 64 VA against 117 V, or 230 V, at 80 VA.
EXPECTED_RATIOS = (expected_ohm_ratio(653.0, 64.0, 117.0, 80.0), expected_ohm_ratio(653.0, 64.0, 230.0, 80.0))


@dataclass(frozen=True)
class RoleFacts:
    """What is known of a winding when its role is asked for.

    Attributes
    ----------
    ohm : float
        End to end; NaN where it is lost in the uncertainty [ohm].
    u_ohm : float
        Its standard uncertainty [ohm].
    sections_ohm : tuple of float
        Between neighbours along the winding [ohm].
    on_line : bool
        Whether its leads lie on a line; its taps mean nothing where not.
    colour : ColourHint or None
    colour_weight : float
        How far the unit's colours may be believed, 0 to 1 [1].
    """

    ohm: float
    u_ohm: float
    sections_ohm: tuple[float, ...]
    on_line: bool = True
    colour: ColourHint | None = None
    colour_weight: float = 0.0

    @property
    def resolved(self) -> bool:
        """Whether the resistance stands out of twice its uncertainty."""
        return self.ohm > 2.0 * self.u_ohm

    @property
    def taps(self) -> int:
        """How many taps it has, as far as they mean anything."""
        return len(self.sections_ohm) - 1 if self.on_line else 0

    @property
    def centre(self) -> tuple[int, float] | None:
        """The tap nearest the middle and the ratio of the halves, where it may be a centre tap."""
        total = sum(self.sections_ohm)
        if not self.taps or not self.resolved:
            return None
        sums = [sum(self.sections_ohm[:tap]) for tap in range(1, len(self.sections_ohm))]
        halves = [(max(one, total - one) / max(min(one, total - one), 1e-12), tap) for tap, one in enumerate(sums, 1)]
        ratio, tap = min(halves)
        return (tap, ratio) if ratio <= HIGHEST_HALF_RATIO else None

    @property
    def halves_alike(self) -> bool:
        """Whether it has a centre tap and each other tap has its like in the other half."""
        pairs = zip(self.sections_ohm, reversed(self.sections_ohm), strict=True)
        return self.centre is not None and self.taps % 2 == 1 and all(alike(*pair) for pair in pairs)


@dataclass(frozen=True)
class RoleOdds:
    """Probability of each family for one winding.

    Attributes
    ----------
    family : str
        The likeliest: high voltage, primary, bias or auxiliary, or heater.
    probability : float
        Of that family, 0 to 1 [1].
    others : tuple of (str, float)
        The other families of a probability of 0.1 or more, the likeliest first.
    """

    family: str
    probability: float
    others: tuple[tuple[str, float], ...]


def role_odds(windings: Sequence[RoleFacts]) -> tuple[RoleOdds, ...]:
    """Weigh what the windings of one transformer may be, all together.

    Parameters
    ----------
    windings : sequence of RoleFacts

    Returns
    -------
    tuple of RoleOdds
        One for each winding.

    Notes
    -----
    Sums over every choice of a primary and a high voltage (none, one winding, or two alike); the rest are auxiliary or
    heaters. A choice weighs by each winding's likelihood in its role and by the ratio of high voltage to primary.
    """
    likely = [{family: _likelihood(one, family) for family in FAMILIES} for one in windings]
    rest = [{AUXILIARY: RARE["auxiliary"] * one[AUXILIARY], HEATER: one[HEATER]} for one in likely]
    sums: list[dict[str, float]] = [dict.fromkeys(FAMILIES, 0.0) for _ in windings]
    whole, chosen = 0.0, [0.0] * len(windings)
    choices = _choices(windings, likely, rest)
    top = max(score for score, _, _ in choices)
    for score, high, primary in choices:
        weight = math.exp(score - top)
        whole += weight
        for family, numbers in ((HV, high), (PRIMARY, primary)):
            for number in numbers:
                sums[number][family] += weight
                chosen[number] += weight
    for number, one in enumerate(rest):
        left = max(0.0, whole - chosen[number])
        for family, value in one.items():
            sums[number][family] += left * value / sum(one.values())
    return tuple(_odds({family: value / whole for family, value in one.items()}) for one in sums)


_Choice = tuple[float, tuple[int, ...], tuple[int, ...]]


def _choices(
    windings: Sequence[RoleFacts], likely: Sequence[dict[str, float]], rest: Sequence[dict[str, float]]
) -> list[_Choice]:
    """Every choice of high voltage and primary with the logarithm of its weight."""
    gains = [
        {family: math.log(one[family] / sum(left.values())) for family in (HV, PRIMARY)}
        for one, left in zip(likely, rest, strict=True)
    ]
    found: list[_Choice] = []
    for high in _candidates(windings, gains, HV):
        for primary in _candidates(windings, gains, PRIMARY):
            if set(high) & set(primary):
                continue
            score = sum(gains[number][HV] for number in high) + sum(gains[number][PRIMARY] for number in primary)
            score += math.log({0: RARE["no high voltage"], 2: RARE["two high voltages"]}.get(len(high), 1.0))
            score += math.log({0: RARE["no primary"], 2: RARE["two primaries"]}.get(len(primary), 1.0))
            if high and primary:
                score += _ratio_gain(sum(windings[n].ohm for n in high), sum(windings[n].ohm for n in primary))
            found.append((score, high, primary))
    return found


def _candidates(windings: Sequence[RoleFacts], gains: Sequence[dict[str, float]], family: str) -> list[tuple[int, ...]]:
    """None, each single winding that is likeliest, and each two of them that read alike and have no tap."""
    usable = [number for number, one in enumerate(windings) if one.resolved]
    usable = sorted(usable, key=lambda number: -gains[number][family])[:CANDIDATES]
    plain = [number for number in usable if not windings[number].taps]
    twins = [pair for pair in combinations(sorted(plain), 2) if alike(*(windings[number].ohm for number in pair))]
    return [(), *((number,) for number in usable), *twins]


def alike(one_ohm: float, other_ohm: float) -> bool:
    """Whether two resistances above 0 [ohm] are within the ratio of two halves of one winding."""
    return max(one_ohm, other_ohm) <= HIGHEST_HALF_RATIO * min(one_ohm, other_ohm)


def _ratio_gain(high_ohm: float, primary_ohm: float) -> float:
    """How much likelier a pair is for its ratio of resistances than for one drawn evenly from the usual ones."""
    low, high = USUAL_OHM[HV][0] / USUAL_OHM[PRIMARY][1], USUAL_OHM[HV][1] / USUAL_OHM[PRIMARY][0]
    even = 1.0 / math.log(high / low)
    off = [math.log(high_ohm / primary_ohm / expected) / RATIO_SPREAD for expected in EXPECTED_RATIOS]
    bells = [math.exp(-0.5 * each * each) / (RATIO_SPREAD * math.sqrt(2.0 * math.pi)) for each in off]
    return math.log((0.95 * sum(bells) / len(bells) + 0.05 * even) / even)


def _likelihood(one: RoleFacts, family: str) -> float:
    """Likelihood of what is known of a winding in one family; even over the logarithm of its usual resistance."""
    low, high = USUAL_OHM[family]
    if one.resolved:
        outside = max(0.0, math.log(low / one.ohm), math.log(one.ohm / high))
    else:
        outside = max(0.0, math.log(low / max(2.0 * one.u_ohm, low / 1e3)))
    value = math.exp(-outside / OUTSIDE) / math.log(high / low)
    if one.taps:
        value *= TAPPED[family][0 if one.halves_alike else min(one.taps, 2)]
    if one.colour is not None:
        believed = one.colour_weight * one.colour.share
        told = family in one.colour.role
        value *= believed * told + (1.0 - believed) / len(FAMILIES)
    return max(value, 1e-200)


def _odds(values: dict[str, float]) -> RoleOdds:
    ranked = sorted(values.items(), key=lambda item: -item[1])
    others = tuple((family, value) for family, value in ranked[1:] if value >= 0.1)
    return RoleOdds(*ranked[0], others)


def too_high(ohm: float) -> bool:
    """Whether a resistance [ohm] is above any winding of a valve set's mains transformer."""
    return ohm >= LEAKAGE_OHM


class Roles:
    """The roles of all windings of a transformer, to be asked for one by one.

    Parameters
    ----------
    facts : sequence of RoleFacts
    """

    def __init__(self, facts: Sequence[RoleFacts]) -> None:
        self.facts, self.odds = facts, role_odds(facts)
        self.of = {family: [n for n, one in enumerate(self.odds) if one.family == family] for family in FAMILIES}

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
            return (say("role", "too_high", ohm=one.ohm),)
        found = [_by_size(one, family)]
        heaters = [self.facts[n].ohm for n in self.of[HEATER]]
        if family == HEATER and len(heaters) > 1 and one.resolved and one.ohm <= min(heaters):
            found.append(say("role", "lowest_heater"))
        if family == HV and self.of[PRIMARY]:
            primary = self.facts[self.of[PRIMARY][0]]
            if primary.resolved:
                found.append(say("role", "times_primary", times=one.ohm / primary.ohm))
        if one.centre and family in (HV, HEATER):
            found.append(say("role", "halves", ratio=one.centre[1], most=HIGHEST_HALF_RATIO))
        return tuple(found)

    def minds(self, number: int) -> list[str]:
        """What to mind of the role."""
        one, odds = self.facts[number], self.odds[number]
        found = []
        if odds.others:
            found.append(f"may also be {named([family for family, _ in odds.others], 'or')}")
        if too_high(one.ohm):
            return [*found, say("mind", "too_high")]
        primary = max((self.facts[n].ohm for n in self.of[PRIMARY] if self.facts[n].resolved), default=0.0)
        minded = {
            "heater_lost": odds.family == HEATER and not one.resolved,
            "heaters_alike": odds.family == HEATER and one.resolved and self._near_heaters(number),
            _of_taps(one, odds.family): True,
            "near_primary": odds.family == HV and one.ohm < HV_NEAR_PRIMARY * primary,
            "twin": self.twin(number) is not None,
        }
        return found + [say("mind", name, most=HIGHEST_HALF_RATIO) for name, holds in minded.items() if name and holds]

    def _near_heaters(self, number: int) -> bool:
        """Whether another heater's resistance is too near to be told from it."""
        ohm, others = self.facts[number].ohm, [self.facts[n] for n in self.of[HEATER] if n != number]
        near = (max(ohm, one.ohm) < HEATERS_CLOSE * min(ohm, one.ohm) for one in others if one.resolved)
        return any(near)


def _by_size(one: RoleFacts, family: str) -> str:
    low, high = USUAL_OHM[family]
    if not one.resolved:
        return say("role", "lost", both=2.0 * one.u_ohm)
    reads = f"{ohms(one.ohm, one.u_ohm)} ohm"
    if family == PRIMARY:
        lines = (("117 V", PRIMARY_117_OHM), ("230 V", PRIMARY_230_OHM))
        fits = [f"{line} primaries read {lo:g} to {hi:g}" for line, (lo, hi) in lines if lo <= one.ohm <= hi]
        return f"{reads}: {named(fits) if fits else f'outside {low:g} to {high:g}, usual for a primary'}"
    inside = "within" if low <= one.ohm <= high else "outside"
    return f"{reads}: {inside} {low:g} to {high:g}, usual for {_a(family)}"


def _of_taps(one: RoleFacts, family: str) -> str:
    """What is to be minded of a winding's taps, by its name in the words; blank where nothing is."""
    if not one.taps or not one.resolved:
        return ""
    if family == PRIMARY:
        return "primary_taps"
    if one.centre:
        return "centre"
    return "auxiliary_taps" if family == AUXILIARY else "no_centre"


def _a(family: str) -> str:
    return {HV: "a whole high-voltage winding", AUXILIARY: "a bias or auxiliary winding"}.get(family, f"a {family}")


def colour_note(facts: RoleFacts, family: str) -> tuple[str, str]:
    """What the colours say, and what to mind where they disagree; blank where they say nothing."""
    hint = facts.colour
    if hint is None:
        return "", ""
    says = f"North American code: {hint.winding}; a hint of weight {facts.colour_weight:g} at most, no proof"
    minds = [say("mind", "colours", says=hint.role, family=family)] if family not in hint.role else []
    if hint.misplaced:
        minds.append(say("mind", "misplaced", leads=named(hint.misplaced)))
    return says, "; ".join(minds)
