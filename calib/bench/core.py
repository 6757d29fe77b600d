"""The core: its area, its size class, and what the sheets of a scrapless EI lamination fix besides.

A scrapless EI has a tongue a, windows a/2 by 3a/2, side limbs and yokes a/2, 3a by 2.5a outside: two Es and two Is are
cut from one strip without waste. Source: Transformer and Inductor Design Handbook (McLyman).
"""

from __future__ import annotations

import math
from bisect import bisect_right

from calib.bench.guard import Quantity, positive, within

IRON_DENSITY_KG_M3 = 7650.0  # silicon steel [kg/m³]; McLyman
STACKING_FACTOR = 0.95  # iron in the gross stack, 0.35 mm sheet, tight, interleaved one by one; McLyman
OLD_STACKING_FACTOR = (0.90, 0.93)  # old or hand-stacked cores; McLyman
OUTSIDE_TOLERANCE = 0.03  # outside sides may depart this far from 3 to 2.5 and still be scrapless (judgement)

# Edges of the size classes by gross core area, each [low, high) [cm²]; class 7 is open upward.
SIZE_CLASSES = (0.0, 4.5, 7.0, 10.0, 14.0, 20.0, 32.0, math.inf)
SIZE_CLASS_LABELS = tuple(str(number) for number in range(1, len(SIZE_CLASSES)))


def core_area_cm2(tongue_mm: Quantity, stack_mm: Quantity) -> Quantity:
    """Gross area of the core: width of the centre limb times height of the stack.

    Parameters
    ----------
    tongue_mm : number
        Width of the centre limb, above 0 [mm].
    stack_mm : number
        Height of the stack of sheets, above 0 [mm].

    Returns
    -------
    number
        a b, insulation of the sheets included [cm²].

    Raises
    ------
    ValueError
        A tongue or stack of zero or less.
    """
    positive("tongue", tongue_mm, "mm")
    positive("stack", stack_mm, "mm")
    return tongue_mm * stack_mm / 100.0


def size_class(area_cm2: float | None) -> str:
    """Size class of a core by its gross area.

    Parameters
    ----------
    area_cm2 : float or None
        Gross area, above 0; None or NaN where no core was measured [cm²].

    Returns
    -------
    str
        "1" to "7", or "" without a core.

    Raises
    ------
    ValueError
        An area of zero or less.
    """
    if area_cm2 is None or math.isnan(area_cm2):
        return ""
    positive("core area", area_cm2, "cm²")
    return SIZE_CLASS_LABELS[bisect_right(SIZE_CLASSES, area_cm2) - 1]


def size_class_bounds(label: str) -> tuple[float, float]:
    """Low edge (within the class) and high edge (outside it) of a size class "1" to "7" [cm²]."""
    if label not in SIZE_CLASS_LABELS:
        raise ValueError(f"size class is '{label}': it must be one of {', '.join(SIZE_CLASS_LABELS)}")
    index = SIZE_CLASS_LABELS.index(label)
    return SIZE_CLASSES[index], SIZE_CLASSES[index + 1]


def tongue_from_outside_mm(long_side_mm: float, short_side_mm: float) -> float:
    """Tongue of a scrapless EI from its outside, for a core that cannot be taken apart.

    Parameters
    ----------
    long_side_mm : float
        Outside of the sheets across the three limbs, above 0 [mm].
    short_side_mm : float
        Outside along the limbs, E and I together, above 0 [mm].

    Returns
    -------
    float
        A third of the long side [mm].

    Raises
    ------
    ValueError
        A side of zero or less, or sides that are not as 3 to 2.5 within 3 %: not scrapless, measure the tongue itself.
    """
    positive("long side", long_side_mm, "mm")
    positive("short side", short_side_mm, "mm")
    ratio = long_side_mm / short_side_mm
    low, high = 1.2 * (1.0 - OUTSIDE_TOLERANCE), 1.2 * (1.0 + OUTSIDE_TOLERANCE)
    within("long side over short side of a scrapless EI (else measure the tongue)", ratio, low, high, "")
    return long_side_mm / 3.0


def scrapless_window_mm(tongue_mm: Quantity) -> tuple[Quantity, Quantity]:
    """Width and height of one window of a scrapless EI, a/2 and 3a/2, from a tongue above 0 [mm]; each in [mm]."""
    positive("tongue", tongue_mm, "mm")
    return tongue_mm / 2.0, 1.5 * tongue_mm


def window_area_cm2(tongue_mm: Quantity) -> Quantity:
    """Area of one window of a scrapless EI, 0.75 a², from a tongue above 0 [mm]; the area in [cm²]."""
    positive("tongue", tongue_mm, "mm")
    return 0.75 * tongue_mm * tongue_mm / 100.0


def path_length_mm(tongue_mm: Quantity) -> Quantity:
    """Mean length of the flux's path in a scrapless EI, 6 a, from a tongue above 0 [mm]; the length in [mm]."""
    positive("tongue", tongue_mm, "mm")
    return 6.0 * tongue_mm


def mean_turn_mm(tongue_mm: Quantity, stack_mm: Quantity) -> Quantity:
    """Mean length of a turn that fills the window of a scrapless EI evenly.

    Parameters
    ----------
    tongue_mm : number
        Width of the centre limb, above 0 [mm].
    stack_mm : number
        Height of the stack, above 0 [mm].

    Returns
    -------
    number
        2 (a + b) + pi a / 2, round corners at half the window's depth a/4 [mm].

    Raises
    ------
    ValueError
        A tongue or stack of zero or less.
    """
    positive("tongue", tongue_mm, "mm")
    positive("stack", stack_mm, "mm")
    return 2.0 * (tongue_mm + stack_mm) + math.pi / 2.0 * tongue_mm


def iron_mass_kg(tongue_mm: Quantity, stack_mm: Quantity, stacking_factor: float = STACKING_FACTOR) -> Quantity:
    """Mass of the sheets of a scrapless EI core.

    Parameters
    ----------
    tongue_mm : number
        Width of the centre limb, above 0 [mm].
    stack_mm : number
        Height of the stack, above 0 [mm].
    stacking_factor : float
        Share of iron in the stack's height, 0.5 to 1 [-].

    Returns
    -------
    number
        6 a² b k 7650 kg/m³ [kg].

    Raises
    ------
    ValueError
        A tongue or stack of zero or less, or a stacking factor out of range.
    """
    positive("stack", stack_mm, "mm")
    positive("tongue", tongue_mm, "mm")
    within("stacking factor", stacking_factor, 0.5, 1.0, "")
    return 6.0 * tongue_mm * tongue_mm * stack_mm * 1e-9 * stacking_factor * IRON_DENSITY_KG_M3


def stack_effect(stack_over_tongue: Quantity) -> Quantity:
    """Multiplier of a core against that of a square stack of the same gross area.

    It is nearly flat, which is why the gross area is the right measure of a core and the tongue alone is not.

    Parameters
    ----------
    stack_over_tongue : number
        s = b / a, above 0 [-].

    Returns
    -------
    number
        (2 + pi/2 + 2 s) / sqrt(s), as a share of its value at s = 1 [-].

    Raises
    ------
    ValueError
        A ratio of zero or less.
    """
    positive("stack over tongue", stack_over_tongue, "")
    corner = 2.0 + math.pi / 2.0
    return (corner + 2.0 * stack_over_tongue) / stack_over_tongue**0.5 / (corner + 2.0)
