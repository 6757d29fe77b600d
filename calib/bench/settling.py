"""How long a unit has to stand before its winding has the temperature of the air round it."""

from __future__ import annotations

import math

from calib.bench.guard import not_negative, positive

# Thermal time constant of an open unit on a square stack [min per mm of tongue]; from the heat stored in iron and
# copper over what the surface gives off at 12 W/m²K; end bells or potting make it 1.5 to 2 times that (judgement).
TIME_CONSTANT_MIN_PER_MM = 1.0
# Time constants after which less than 1 % of a difference is left: exp(-5) = 0.7 %.
TIME_CONSTANTS = 5.0
# Where the core is not known; practice of winding-resistance tests, IEEE C57.12.90 and IEC 60076-1.
SETTLING_H = 4.0
# Mean rise of a winding that has just been switched off, at the most; workshop limit for old enamel and paper [K].
RISE_AFTER_RUNNING_K = 55.0


def settling_h(tongue_mm: float | None = None) -> float:
    """Hours after which a winding has the temperature of the room.

    Parameters
    ----------
    tongue_mm : float or None
        Width of the core's centre limb, above 0; None where it is not known [mm].

    Returns
    -------
    float
        Five thermal time constants; SETTLING_H without a core [h].

    Raises
    ------
    ValueError
        A tongue of zero or less.
    """
    if tongue_mm is None:
        return SETTLING_H
    positive("tongue", tongue_mm, "mm")
    return TIME_CONSTANTS * TIME_CONSTANT_MIN_PER_MM * tongue_mm / 60.0


def difference_left_k(hours: float, tongue_mm: float | None = None, at_first_k: float = RISE_AFTER_RUNNING_K) -> float:
    """What is left of the difference between winding and room.

    Parameters
    ----------
    hours : float
        Since the unit last ran or was brought in, 0 or more [h].
    tongue_mm : float or None
        As for `settling_h` [mm].
    at_first_k : float
        Difference at first [K].

    Returns
    -------
    float
        at_first exp(-t / tau), tau a fifth of `settling_h` [K].

    Raises
    ------
    ValueError
        Hours below zero, or a tongue of zero or less.
    """
    not_negative("time at rest", hours, "h")
    return at_first_k * math.exp(-hours * TIME_CONSTANTS / settling_h(tongue_mm))
