"""What contradicts, in words: the readings, how far they lie apart and how far they may, and what to read again."""

from __future__ import annotations

import math
from collections.abc import Sequence

from calib.leads.checks import Check
from calib.leads.graph import LEAKAGE_OHM, Clash, Parts
from calib.leads.result import Contradiction
from calib.leads.solve import Solved
from calib.leads.words import named, ohms, pair_name, path_sum

SHOWN = 5  # failed checks of one winding that are told, the worst first

WHY_LESS = (
    "If it stands, a second path lies beside it: a part left connected, windings in parallel, or a series-parallel "
    "primary."
)
WHY_MORE = "No winding reads more than the sum of its parts: a poor contact, a slip, or a reading taken too soon."
WHY_JOINT = "The four-point test passes: three or more windings seem to meet at a joint inside that has no lead."


def disputes(parts: Parts, solved: Sequence[Solved]) -> tuple[Contradiction, ...]:
    """Everything that contradicts: continuity first, then sums, the worst of each winding first."""
    found = [_continuity(clash) for clash in parts.clashes]
    for one in solved:
        failed = one.verdict.failed[:SHOWN]
        found += [_sum(check, one, told=number == 0) for number, check in enumerate(failed)]
    return tuple(found)


def _continuity(clash: Clash) -> Contradiction:
    one = clash.reading
    if clash.taken_as_slip:
        says = (
            f"{pair_name(one.pair)} reads {ohms(one.ohm, one.u_ohm)} ohm, but {clash.opens} other pairs between the "
            f"same two windings read open; it is taken as a slip here. Read it again"
        )
        return Contradiction((one.pair,), (one.pair,), one.ohm, math.nan, math.nan, says + ".")
    steps = tuple((a, b) if a <= b else (b, a) for a, b in zip(clash.path, clash.path[1:], strict=False))
    says = (
        f"{pair_name(one.pair)} reads open, but {named(map(pair_name, steps))} read a resistance, and continuity runs "
        f"through: one of these readings is wrong. Read {pair_name(one.pair)} again first"
    )
    return Contradiction((one.pair, *steps), (one.pair, *steps), math.inf, math.nan, math.nan, says + ".")


def _sum(check: Check, solved: Solved, told: bool) -> Contradiction:
    verdict = solved.verdict
    u = check.limit_ohm / 4.0
    apart = check.residual_ohm
    says = (
        f"{pair_name(check.pair)} reads {ohms(check.reads_ohm, u)} ohm, but {path_sum(check.path)} make "
        f"{ohms(check.makes_ohm, u)}: {ohms(abs(apart), u)} {'more' if apart > 0 else 'less'}, where "
        f"{ohms(check.limit_ohm, u)} is allowed."
    )
    steps = tuple((a, b) for a, b, _ in check.path)
    suspects = verdict.suspects or ((check.pair,) if verdict.shape in ("line", "contradictory") else ())
    if told:
        says = f"{says} {_why(check, solved, u)}"
    return Contradiction((check.pair, *steps), suspects, check.reads_ohm, check.makes_ohm, check.limit_ohm, says)


def _why(check: Check, solved: Solved, u: float) -> str:
    verdict = solved.verdict
    if verdict.shape == "joint":
        return WHY_JOINT
    if len(verdict.suspects) == 1 and verdict.shape == "slip":
        return f"All others agree with one another and make it {ohms(verdict.expected_ohm, u)} ohm: read it again."
    asked = f"Read {named(map(pair_name, verdict.suspects), 'and')} again." if verdict.suspects else "Read them again."
    return f"{asked} {WHY_MORE if check.residual_ohm > 0 else WHY_LESS}"


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


def too_high(ohm: float) -> bool:
    """Whether a resistance [ohm] is above any winding of a valve set's mains transformer."""
    return ohm >= LEAKAGE_OHM
