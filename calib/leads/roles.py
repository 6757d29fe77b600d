"""What each winding probably is, by its resistance beside the others', its taps and the colours of its leads.

At like copper loss the resistances of two windings stand as V²/VA of one to V²/VA of the other, so that the high
voltage reads most, then the primary, then bias or auxiliary windings, then heaters. Sources: Magnetic Circuits and
Transformers (MIT EE Staff); Radiotron Designer's Handbook, 4th edition (Langford-Smith). Only the voltages of a ratio
test decide; until then every answer is graded probable at most.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from calib.bench.faults import HIGHEST_HALF_RATIO
from calib.bench.guard import Quantity, positive
from calib.leads.colours import ColourHint

HV, PRIMARY, AUXILIARY, HEATER = FAMILIES = ("high voltage", "primary", "bias or auxiliary", "heater")

# Usual resistance of a whole winding [ohm] (judgement): a primary reads 1.5 to 15 for 117 V and 8 to 60 for 230 V.
USUAL_OHM = {HV: (50.0, 1000.0), PRIMARY: (1.5, 60.0), AUXILIARY: (0.5, 60.0), HEATER: (0.02, 0.5)}
PRIMARY_117_OHM, PRIMARY_230_OHM = (1.5, 15.0), (8.0, 60.0)
PROBABLE = 0.8  # probability from which a role is called probable, else possible (judgement)

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
    for name, value, unit in (
        ("voltage of the first winding", volts_i, "V"),
        ("load of the first winding", va_i, "VA"),
        ("voltage of the second winding", volts_j, "V"),
        ("load of the second winding", va_j, "VA"),
    ):
        positive(name, value, unit)
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
