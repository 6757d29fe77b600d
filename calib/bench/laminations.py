"""The sheets of a core: the sizes that the trade names, and what each shape fixes besides the core's area.

One name can mean two sizes (150 is 40, 50 or 38.1 mm of tongue): keep the tongue, not the name. One tongue can belong
to two shapes (20 mm is EI-60's and M65's) whose windows are far apart: say the shape, or measure the window.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache

from calib.bench.core import IRON_DENSITY_KG_M3, STACKING_FACTOR, scrapless_window_mm
from calib.bench.guard import positive, within
from calib.bench.tables import shipped_rows

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
    inch_tongue : str
        The tongue in inches as a fraction; blank for metric sizes.
    outside_width_mm, window_width_mm, window_height_mm : float
        Across the limbs, and of one window; NaN where they follow from the tongue [mm].
    status : str
        checked, by rule (of its number) or unverified.
    note : str
        What to beware of; blank where nothing.
    """

    shape: str
    tongue_mm: float
    metric_name: str
    inch_name: str
    inch_tongue: str
    outside_width_mm: float
    window_width_mm: float
    window_height_mm: float
    status: str
    note: str

    @property
    def scrapless(self) -> bool:
        """Whether the window, path and mass follow from the tongue."""
        return self.shape == "EI"

    @property
    def name(self) -> str:
        """Its names, and whether nobody has checked them."""
        names = " or ".join(name for name in (self.metric_name, self.inch_name) if name)
        return f"{names} (unverified)" if self.status == "unverified" else names


@cache
def all_laminations() -> tuple[Lamination, ...]:
    """All sizes listed, as in the shipped table."""
    return tuple(
        Lamination(
            row["shape"],
            float(row["tongue_mm"]),
            row["metric_name"],
            row["inch_name"],
            row["inch_tongue"],
            float(row["outside_width_mm"] or "nan"),
            float(row["window_width_mm"] or "nan"),
            float(row["window_height_mm"] or "nan"),
            row["status"],
            row["note"],
        )
        for row in shipped_rows(LAMINATIONS_TABLE)
    )


def laminations_named(name: str) -> tuple[Lamination, ...]:
    """Every size of that name, such as "EI-150", in any case; more than one where the name is ambiguous.

    Raises
    ------
    ValueError
        No size listed has the name.
    """
    wanted = name.strip().upper()
    found = tuple(sheet for sheet in all_laminations() if wanted and wanted in (sheet.metric_name, sheet.inch_name))
    if not found:
        raise ValueError(f"lamination is '{name}': it is not listed; measure the tongue instead")
    return found


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
