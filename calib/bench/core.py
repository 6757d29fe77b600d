"""The core: its area and size class, what its sheets fix besides, and what the outside of a hidden one tells.

A scrapless EI has a tongue a, windows a/2 by 3a/2, side limbs and yokes a/2, 3a by 2.5a outside: two Es and two Is are
cut from one strip without waste. Source: Transformer and Inductor Design Handbook (McLyman).
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from typing import Any

from calib.bench.resistance import CONDUCTORS
from calib.errors import Quantity, positive, within
from calib.paths import shipped_rows

__all__ = ["CoreSheets", "HiddenCore", "IRON_DENSITY_KG_M3", "Lamination", "OLD_STACKING_FACTOR", "SHAPES"]
__all__ += ["SIZE_CLASSES", "SIZE_CLASS_LABELS", "STACKING_FACTOR", "WeightCheck", "all_laminations", "core_area_cm2"]
__all__ += ["core_from_outside", "core_sheets", "nearest_laminations", "size_class", "size_class_bounds"]
__all__ += ["tongue_from_outside_mm", "weight_check"]

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


LAMINATIONS_TABLE = "datasets/laminations/laminations.csv"
SCRAPLESS, M, UI, STRIP_WOUND, OTHER = SHAPES = ("ei-scrapless", "m", "ui", "strip-wound", "other")
LISTED_AS = {SCRAPLESS: "EI", M: "M", UI: "UI", OTHER: "EI-old"}  # what the table calls them
# A stock size of sheet within this of a measured tongue is taken for it [mm] (judgement).
STOCK_WITHIN_MM = 0.4
# Outside sides of square sheets may differ so far, and lie so far from the sheet's number (judgement).
SQUARE_WITHIN, OUTSIDE_WITHIN_MM = 0.03, 1.5
UI_WINDOW_HEIGHT = 3.0  # over its leg; a window as wide as the leg: the series of DIN 41302


@dataclass(frozen=True)
class Lamination:
    """One size of sheet.

    Attributes
    ----------
    shape : str
        EI (scrapless), EI-old (not scrapless), M or UI.
    tongue_mm : float
        Width of the centre limb, of a UI that of a limb [mm].
    metric_name, inch_name : str
        As catalogues name it; blank where that trade has none.
    outside_width_mm, window_width_mm, window_height_mm : float
        Across the limbs, and of one window; NaN where they follow from the tongue [mm].
    status : str
        checked, by rule (of its number) or unverified.
    """

    shape: str
    tongue_mm: float
    metric_name: str
    inch_name: str
    outside_width_mm: float
    window_width_mm: float
    window_height_mm: float
    status: str

    @property
    def name(self) -> str:
        """Its names, and whether nobody has checked them."""
        names = " or ".join(name for name in (self.metric_name, self.inch_name) if name)
        return f"{names} (unverified)" if self.status == "unverified" else names


@cache
def all_laminations() -> tuple[Lamination, ...]:
    """All sizes listed, as in the shipped table."""
    columns = Lamination.__dataclass_fields__
    return tuple(
        Lamination(**{name: _cell(name, row[name]) for name in columns}) for row in shipped_rows(LAMINATIONS_TABLE)
    )


def _cell(column: str, text: str) -> Any:
    """A length as a number, NaN where it is blank; anything else as it stands."""
    return float(text or "nan") if column.endswith("_mm") else text


def nearest_laminations(
    tongue_mm: float, within_mm: float = 0.3, shapes: Collection[str] = tuple(LISTED_AS)
) -> tuple[Lamination, ...]:
    """Sizes of some shapes whose tongue lies within so many mm of one measured, nearest first; both above 0 [mm]."""
    positive("tongue", tongue_mm, "mm")
    positive("reach", within_mm, "mm")
    listed = {LISTED_AS[shape] for shape in shapes if shape in LISTED_AS}
    near = (one for one in all_laminations() if one.shape in listed and abs(one.tongue_mm - tongue_mm) <= within_mm)
    return tuple(sorted(near, key=lambda sheet: (abs(sheet.tongue_mm - tongue_mm), sheet.shape)))


@dataclass(frozen=True)
class CoreSheets:
    """What the sheets of a core fix besides its area: window, path of the flux, mean turn, iron.

    The coil sits on a limb a wide, beside a window w by h. Yokes, and the outer limbs of a shell, are half as wide as
    the tongue; a UI's, and a C core's, are as wide as the limb. So the path is 2 (w + h + a) in a shell, which makes
    6 a of a scrapless EI, and 2 (w + h + 2 a) round a UI; the sheet's area is a times that. A shell's coil fills the
    window, a UI's two coils share it. Source: Transformer and Inductor Design Handbook (McLyman); DIN 41302.

    Attributes
    ----------
    shape : str
        One of SHAPES.
    tongue_mm, window_width_mm, window_height_mm : float
        a, w (from limb to limb) and h (along the limb) [mm].
    known_by : str
        How the window is known: measured, or the rule or the sheet that it follows from.
    """

    shape: str
    tongue_mm: float
    window_width_mm: float
    window_height_mm: float
    known_by: str

    @property
    def window_cm2(self) -> float:
        """Area of one window [cm²]."""
        return self.window_width_mm * self.window_height_mm / 100.0

    @property
    def path_range_mm(self) -> tuple[float, float]:
        """Least and greatest mean path of the flux [mm]: one figure, but of a strip-wound core, shell or not."""
        round_window = self.window_width_mm + self.window_height_mm
        shell, two_coils = (2.0 * (round_window + limbs * self.tongue_mm) for limbs in (1.0, 2.0))
        return {UI: (two_coils, two_coils), STRIP_WOUND: (shell, two_coils)}.get(self.shape, (shell, shell))

    @property
    def path_mm(self) -> float:
        """Mean path of the flux, the middle where it is a range [mm]."""
        return sum(self.path_range_mm) / 2.0

    def mean_turn_mm(self, stack_mm: float) -> float:
        """Mean length of a turn that fills its share of the window evenly, on a stack above 0 [mm]; in [mm]."""
        positive("stack", stack_mm, "mm")
        share = {UI: 0.5, STRIP_WOUND: 0.75}.get(self.shape, 1.0)
        return 2.0 * (self.tongue_mm + stack_mm) + math.pi * share * self.window_width_mm

    def iron_mass_kg(self, stack_mm: float, stacking_factor: float = STACKING_FACTOR, end: int | None = None) -> float:
        """Mass of the sheets [kg].

        Parameters
        ----------
        stack_mm : float
            Height of the stack, above 0 [mm].
        stacking_factor : float
            Share of iron in the stack's height, 0.5 to 1 [-].
        end : int or None
            0 or 1 for the least or the greatest path; None for the middle.
        """
        positive("stack", stack_mm, "mm")
        within("stacking factor", stacking_factor, 0.5, 1.0, "")
        path = self.path_mm if end is None else self.path_range_mm[end]
        return self.tongue_mm * path * stack_mm * 1e-9 * stacking_factor * IRON_DENSITY_KG_M3


def core_sheets(
    tongue_mm: float, shape: str = SCRAPLESS, window_mm: tuple[float, float] | None = None
) -> CoreSheets | None:
    """What is known of a core's sheets.

    Parameters
    ----------
    tongue_mm : float
        Width of the limb that the coil sits on, above 0 [mm].
    shape : str
        ei-scrapless, m, ui, strip-wound or other; blank is taken for a scrapless EI.
    window_mm : (float, float) or None
        Width, from limb to limb, and height, along the limb, of one window as measured, each above 0 [mm].

    Returns
    -------
    CoreSheets or None
        The measured window goes before everything; else a scrapless EI's is a/2 by 3a/2, a UI's a by 3a (the series of
        DIN 41302), an M's that of the stock sheet within STOCK_WITHIN_MM (unverified). None where nothing tells it.

    Raises
    ------
    ValueError
        A length of zero or less, or another shape.

    Examples
    --------
    >>> core_sheets(20.0, "m").window_cm2, core_sheets(20.0).window_cm2
    (5.625, 3.0)
    """
    positive("tongue", tongue_mm, "mm")
    shape = shape or SCRAPLESS
    if shape not in SHAPES:
        raise ValueError(f"shape is '{shape}': it must be one of {', '.join(SHAPES)}")
    if window_mm is not None:
        positive("width of the window", window_mm[0], "mm")
        positive("height of the window", window_mm[1], "mm")
        return CoreSheets(shape, tongue_mm, *window_mm, "measured")
    if shape == SCRAPLESS:
        return CoreSheets(shape, tongue_mm, *scrapless_window_mm(tongue_mm), "scrapless EI")
    if shape == UI:
        return CoreSheets(shape, tongue_mm, tongue_mm, UI_WINDOW_HEIGHT * tongue_mm, "series of DIN 41302")
    stock = nearest_laminations(tongue_mm, STOCK_WITHIN_MM, (M,)) if shape == M else ()
    if not stock:
        return None
    return CoreSheets(shape, tongue_mm, stock[0].window_width_mm, stock[0].window_height_mm, stock[0].name)


def tongue_of_outside_mm(long_side_mm: float, short_side_mm: float, shape: str) -> float:
    """Tongue of M or UI sheets from their outside, for a core that cannot be taken apart.

    Parameters
    ----------
    long_side_mm, short_side_mm : float
        Outside of the sheets, each above 0 [mm].
    shape : str
        m: square, its number the side in mm; ui: five to three, the leg a third of the short side.

    Returns
    -------
    float
        Tongue or leg [mm].

    Raises
    ------
    ValueError
        Sides that are not of that shape, or another shape: measure the tongue itself.
    """
    positive("long side", long_side_mm, "mm")
    positive("short side", short_side_mm, "mm")
    ratio = long_side_mm / short_side_mm
    if shape == M:
        square = "long side over short side of an M sheet (else measure the tongue)"
        within(square, max(ratio, 1.0 / ratio), 1.0, 1.0 + SQUARE_WITHIN, "")
        side = (long_side_mm + short_side_mm) / 2.0
        listed = [sheet for sheet in all_laminations() if sheet.shape == LISTED_AS[M]]
        near = min(listed, key=lambda sheet: abs(sheet.outside_width_mm - side))
        if abs(near.outside_width_mm - side) > OUTSIDE_WITHIN_MM:
            raise ValueError(f"no M sheet listed is {side:.4g} mm square: measure the tongue itself")
        return near.tongue_mm
    if shape == UI:
        third = "long side over short side of a UI (else measure the limb)"
        within(third, ratio, 5.0 / 3.0 * (1.0 - SQUARE_WITHIN), 5.0 / 3.0 * (1.0 + SQUARE_WITHIN), "")
        return short_side_mm / 3.0
    raise ValueError(f"the outside of sheets that are '{shape}' does not tell the tongue: measure it")


# Metal's share of the window, all windings: thin wire with paper at the low end; McLyman, Lee.
COPPER_FILL = (0.15, 0.35)
# Iron's share of the stack, hand-stacked to 0.5 mm sheet; McLyman.
STACKING_RANGE = (OLD_STACKING_FACTOR[0], 0.97)
# Bobbin, paper, wax, frame and end bells, as a share of iron and copper (judgement); a pitch-filled can weighs more.
REST_SHARE = (0.03, 0.20)


@dataclass(frozen=True)
class HiddenCore:
    """A core told from its outside.

    Attributes
    ----------
    tongue_mm : float
        Tongue of the stock sheet where one is near, else as the outside tells it [mm].
    measured_tongue_mm : float
        As the outside tells it: of a scrapless EI a third of the long side [mm].
    laminations : tuple of Lamination
        Stock sizes near the measured tongue, the nearest first; empty where none is.
    """

    tongue_mm: float
    measured_tongue_mm: float
    laminations: tuple[Lamination, ...]


def core_from_outside(long_side_mm: float, short_side_mm: float, shape: str = SCRAPLESS) -> HiddenCore:
    """Core from the outside of its sheets, where coil or bobbin hides the tongue.

    Parameters
    ----------
    long_side_mm, short_side_mm : float
        Outside of the sheets, of an EI across the three limbs and along them, each above 0 [mm].
    shape : str
        ei-scrapless, m or ui.

    Returns
    -------
    HiddenCore
        Its tongue, and the stock sheets that have it.

    Raises
    ------
    ValueError
        A side of zero or less, or sides that are not of that shape: measure the tongue itself.

    Notes
    -----
    Source: Transformer and Inductor Design Handbook (McLyman).
    """
    if shape == SCRAPLESS:
        measured = tongue_from_outside_mm(long_side_mm, short_side_mm)
    else:
        measured = tongue_of_outside_mm(long_side_mm, short_side_mm, shape)
    stock = nearest_laminations(measured, STOCK_WITHIN_MM, (shape,))
    return HiddenCore(stock[0].tongue_mm if stock else measured, measured, stock)


@dataclass(frozen=True)
class WeightCheck:
    """A weighed unit against its core.

    Attributes
    ----------
    low_kg, high_kg : float
        The limits that iron, windings and the rest make [kg].
    low_stack_mm, high_stack_mm : float
        Stack heights that such a weight allows on this tongue [mm].
    agrees : bool
        Whether the weight lies within the limits.
    sentence : str
        The same in words.
    """

    low_kg: float
    high_kg: float
    low_stack_mm: float
    high_stack_mm: float
    agrees: bool
    sentence: str


def weight_check(weighed_kg: float, sheets: CoreSheets, stack_mm: float) -> WeightCheck:
    """Hold a unit's weight against what iron and copper of its core must weigh.

    Parameters
    ----------
    weighed_kg : float
        Weight of the whole unit, above 0 [kg].
    sheets : CoreSheets
        From `core_sheets`.
    stack_mm : float
        Height of the stack, above 0 [mm].

    Returns
    -------
    WeightCheck
        Limits from the least stacking factor, fill and rest to the greatest.

    Raises
    ------
    ValueError
        An input of zero or less.

    Notes
    -----
    (a b l k 7650 kg/m³ + fill A_window MLT density) (1 + rest), l the path (6 a in a scrapless EI): linear in the
    stack b, so that the stack follows from a weight. Source: Transformer and Inductor Design Handbook (McLyman).
    """
    positive("weight", weighed_kg, "kg")
    low, high = (_mass(sheets, stack_mm, end) for end in (0, 1))
    high_stack, low_stack = (_stack_of(weighed_kg, sheets, end) for end in (0, 1))
    agrees = low <= weighed_kg <= high
    head = (
        f"The unit weighs {weighed_kg:.3g} kg; a core of {sheets.tongue_mm:.4g} by {stack_mm:.4g} mm with its windings "
        f"weighs {low:.3g} to {high:.3g} kg"
    )
    if agrees:
        said = "the weight agrees."
    elif weighed_kg > high:
        said = f"too heavy: a stack of {low_stack:.3g} mm or more, a wider tongue, or a can filled with pitch."
    else:
        said = f"too light: a stack of {high_stack:.3g} mm or less, a narrower tongue, or aluminium wire."
    return WeightCheck(low, high, low_stack, high_stack, agrees, f"{head}: {said}")


def _mass(sheets: CoreSheets, stack_mm: float, end: int) -> float:
    """Least or greatest mass of sheets, copper (fill A_window MLT density) and the rest [kg]."""
    iron = sheets.iron_mass_kg(stack_mm, STACKING_RANGE[end], end)
    copper_cm3 = COPPER_FILL[end] * sheets.window_cm2 * sheets.mean_turn_mm(stack_mm) / 10.0
    return (iron + copper_cm3 * CONDUCTORS["copper"].density_g_cm3 / 1000.0) * (1.0 + REST_SHARE[end])


def _stack_of(weighed_kg: float, sheets: CoreSheets, end: int) -> float:
    """Stack at which the limit equals the weight; 0 where the windings' heads alone weigh more."""
    tongue_mm = sheets.tongue_mm
    square = _mass(sheets, tongue_mm, end)
    slope = _mass(sheets, 2.0 * tongue_mm, end) - square
    return max(tongue_mm * (1.0 + (weighed_kg - square) / slope), 0.0)
