"""The two sides of a centre-tapped winding: alike in voltage, unlike in resistance by the order of winding."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.guard import not_negative, positive

HALVES_ALIKE = 0.01  # voltages of the halves of a centre tap agree within this (judgement)
HALVES_APART = 0.02  # beyond this something is wrong (judgement)
USUAL_HALF_RATIO = (1.03, 1.15)  # outer half's resistance over the inner's, by the winding's order (judgement)
SMALL_CORE_HALF_RATIO = 1.20  # met on small cores (judgement)
HIGHEST_HALF_RATIO = 1.25  # beyond this something is wrong (judgement)


@dataclass(frozen=True)
class Halves:
    """The halves of a centre-tapped winding side by side.

    Attributes
    ----------
    voltage_gap : float
        Larger over smaller voltage, less 1; NaN where not read [-].
    resistance_ratio : float
        Larger over smaller resistance; NaN where not read [-].
    verdict : str
        centre tap, doubtful, not a centre tap, or not read.
    """

    voltage_gap: float
    resistance_ratio: float
    verdict: str


def compare_halves(volts: tuple[float, float], ohms: tuple[float, float] = (math.nan, math.nan)) -> Halves:
    """Whether a lead is the centre tap, from the voltages and resistances of both sides; the voltages decide.

    Parameters
    ----------
    volts : (float, float)
        Each side to the tap in one ratio test, rms, 0 or more; NaN where not read [V].
    ohms : (float, float)
        Each side's resistance, 0 or more; NaN where not read [ohm].

    Returns
    -------
    Halves
        A centre tap: voltages within 1 % and resistances within 1.25. Doubtful: up to 2 % apart, or no voltages.

    Raises
    ------
    ValueError
        A negative reading.
    """
    for side in volts:
        not_negative("voltage of a half", side, "V")
    for side in ohms:
        not_negative("resistance of a half", side, "ohm")
    gap, ratio = _larger_over_smaller(volts) - 1.0, _larger_over_smaller(ohms)
    if math.isnan(gap) and math.isnan(ratio):
        verdict = "not read"
    elif gap > HALVES_APART or ratio > HIGHEST_HALF_RATIO:
        verdict = "not a centre tap"
    elif math.isnan(gap) or gap > HALVES_ALIKE:
        verdict = "doubtful"
    else:
        verdict = "centre tap"
    return Halves(gap, ratio, verdict)


def _larger_over_smaller(pair: tuple[float, float]) -> float:
    if any(math.isnan(side) for side in pair) or max(pair) == 0.0:
        return math.nan
    return max(pair) / min(pair) if min(pair) > 0.0 else math.inf


def half_ratio_by_order(perimeter_mm: float, inner_mm: float, outer_mm: float) -> float:
    """Resistance of the outer half over the inner's that the order of winding explains.

    Parameters
    ----------
    perimeter_mm : float
        Of what the high-voltage coil is wound on, above 0 [mm].
    inner_mm, outer_mm : float
        Mean depth of each half in the coil, 0 or more, the outer at least the inner [mm].

    Returns
    -------
    float
        (p + 2 pi r_o) / (p + 2 pi r_i) [-].

    Raises
    ------
    ValueError
        A perimeter of zero or less, a negative depth, or the depths the wrong way round.

    Notes
    -----
    Equal turns of one wire, round corners. Source: Electronic Transformers and Circuits (R. Lee), mean turns.
    """
    positive("perimeter", perimeter_mm, "mm")
    not_negative("depth of the inner half", inner_mm, "mm")
    not_negative("depth of the outer half beyond the inner", outer_mm - inner_mm, "mm")
    return (perimeter_mm + 2.0 * math.pi * outer_mm) / (perimeter_mm + 2.0 * math.pi * inner_mm)
