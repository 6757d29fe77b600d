"""A core whose tongue is hidden: what its outside tells, and whether its weight agrees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.bench.copper import CONDUCTORS
from calib.bench.core import OLD_STACKING_FACTOR, core_area_cm2, tongue_from_outside_mm
from calib.bench.guard import positive
from calib.bench.laminations import (
    SCRAPLESS,
    STOCK_WITHIN_MM,
    CoreSheets,
    Lamination,
    core_sheets,
    nearest_laminations,
    tongue_of_outside_mm,
)

if TYPE_CHECKING:
    import pandas as pd

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
    tongue_mm, stack_mm : float
        Tongue of the stock sheet where one is near, else as the outside tells it; height of the stack [mm].
    measured_tongue_mm : float
        As the outside tells it: of a scrapless EI a third of the long side [mm].
    core_area_cm2, window_cm2 : float
        Gross area and area of one window [cm²].
    mean_turn_mm : float
        Of a coil that fills the window [mm].
    iron_kg : float
        Mass of the sheets [kg].
    laminations : tuple of Lamination
        Stock sizes near the measured tongue, the nearest first; empty where none is.
    """

    tongue_mm: float
    stack_mm: float
    measured_tongue_mm: float
    core_area_cm2: float
    window_cm2: float
    mean_turn_mm: float
    iron_kg: float
    laminations: tuple[Lamination, ...]

    def frame(self) -> pd.DataFrame:
        """One row with the attributes as columns, the stock sizes by their names."""
        import pandas as pd

        names = [sheet.metric_name or sheet.inch_name for sheet in self.laminations]
        return pd.DataFrame([{**vars(self), "laminations": ", ".join(names)}])


def core_from_outside(long_side_mm: float, short_side_mm: float, stack_mm: float, shape: str = SCRAPLESS) -> HiddenCore:
    """Core from the outside of its sheets, where coil or bobbin hides the tongue.

    Parameters
    ----------
    long_side_mm, short_side_mm : float
        Outside of the sheets, of an EI across the three limbs and along them, each above 0 [mm].
    stack_mm : float
        Height of the sheets alone, without frame or end bells, above 0 [mm].
    shape : str
        ei-scrapless, m or ui.

    Returns
    -------
    HiddenCore
        Complete.

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
    tongue = stock[0].tongue_mm if stock else measured
    sheets = core_sheets(tongue, shape)
    assert sheets is not None, "an outside tells only shapes whose window follows"
    return HiddenCore(
        tongue_mm=tongue,
        stack_mm=stack_mm,
        measured_tongue_mm=measured,
        core_area_cm2=core_area_cm2(tongue, stack_mm),
        window_cm2=sheets.window_cm2,
        mean_turn_mm=sheets.mean_turn_mm(stack_mm),
        iron_kg=sheets.iron_mass_kg(stack_mm),
        laminations=stock,
    )


def winding_mass_kg(
    tongue_mm: float, stack_mm: float, fill: float, conductor: str = "copper", sheets: CoreSheets | None = None
) -> float:
    """Mass of the metal wound on a core.

    Parameters
    ----------
    tongue_mm, stack_mm : float
        Each above 0 [mm].
    fill : float
        Metal's share of the window, above 0 [-].
    conductor : str
        copper or aluminium.
    sheets : CoreSheets or None
        Of that tongue, from `core_sheets`; None for a scrapless EI.

    Returns
    -------
    float
        fill A_window MLT density [kg].

    Raises
    ------
    ValueError
        An input of zero or less, or another metal.
    """
    positive("copper fill", fill, "")
    if conductor not in CONDUCTORS:
        raise ValueError(f"conductor is '{conductor}': it must be one of {', '.join(CONDUCTORS)}")
    known = sheets or _scrapless(tongue_mm)
    volume_cm3 = fill * known.window_cm2 * known.mean_turn_mm(stack_mm) / 10.0
    return volume_cm3 * CONDUCTORS[conductor].density_g_cm3 / 1000.0


def _scrapless(tongue_mm: float) -> CoreSheets:
    sheets = core_sheets(tongue_mm)
    assert sheets is not None, "a scrapless EI's window follows from its tongue"
    return sheets


@dataclass(frozen=True)
class WeightCheck:
    """A weighed unit against its core.

    Attributes
    ----------
    weighed_kg, low_kg, high_kg : float
        As weighed, and the limits that iron, windings and the rest make [kg].
    iron_kg : float
        Mass of the sheets at the usual stacking factor [kg].
    low_stack_mm, high_stack_mm : float
        Stack heights that such a weight allows on this tongue [mm].
    agrees : bool
        Whether the weight lies within the limits.
    sentence : str
        The same in words.
    """

    weighed_kg: float
    low_kg: float
    high_kg: float
    iron_kg: float
    low_stack_mm: float
    high_stack_mm: float
    agrees: bool
    sentence: str


def weight_check(
    weighed_kg: float,
    tongue_mm: float,
    stack_mm: float,
    conductor: str = "copper",
    sheets: CoreSheets | None = None,
) -> WeightCheck:
    """Hold a unit's weight against what iron and windings of its core must weigh.

    Parameters
    ----------
    weighed_kg : float
        Weight of the whole unit, above 0 [kg].
    tongue_mm, stack_mm : float
        Of the core, each above 0 [mm].
    conductor : str
        copper or aluminium.
    sheets : CoreSheets or None
        Of that tongue, from `core_sheets`; None for a scrapless EI.

    Returns
    -------
    WeightCheck
        Limits from the least stacking factor, fill and rest to the greatest.

    Raises
    ------
    ValueError
        An input of zero or less, or another metal.

    Notes
    -----
    (a b l k 7650 kg/m³ + fill A_window MLT density) (1 + rest), l the path (6 a in a scrapless EI): linear in the
    stack b, so that the stack follows from a weight. Source: Transformer and Inductor Design Handbook (McLyman).
    """
    positive("weight", weighed_kg, "kg")
    known = sheets or _scrapless(tongue_mm)
    low, high = (_mass(known, stack_mm, end, conductor) for end in (0, 1))
    high_stack, low_stack = (_stack_of(weighed_kg, known, end, conductor) for end in (0, 1))
    agrees = low <= weighed_kg <= high
    head = (
        f"The unit weighs {weighed_kg:.3g} kg; a core of {tongue_mm:.4g} by {stack_mm:.4g} mm with its windings weighs "
        f"{low:.3g} to {high:.3g} kg"
    )
    if agrees:
        said = "the weight agrees."
    elif weighed_kg > high:
        said = f"too heavy: a stack of {low_stack:.3g} mm or more, a wider tongue, or a can filled with pitch."
    else:
        said = f"too light: a stack of {high_stack:.3g} mm or less, a narrower tongue, or aluminium wire."
    iron = known.iron_mass_kg(stack_mm)
    return WeightCheck(weighed_kg, low, high, iron, low_stack, high_stack, agrees, f"{head}: {said}")


def _mass(sheets: CoreSheets, stack_mm: float, end: int, conductor: str) -> float:
    iron = sheets.iron_mass_kg(stack_mm, STACKING_RANGE[end], end)
    wound = winding_mass_kg(sheets.tongue_mm, stack_mm, COPPER_FILL[end], conductor, sheets)
    return (iron + wound) * (1.0 + REST_SHARE[end])


def _stack_of(weighed_kg: float, sheets: CoreSheets, end: int, conductor: str) -> float:
    """Stack at which the limit equals the weight; 0 where the windings' heads alone weigh more."""
    tongue_mm = sheets.tongue_mm
    square = _mass(sheets, tongue_mm, end, conductor)
    slope = _mass(sheets, 2.0 * tongue_mm, end, conductor) - square
    return max(tongue_mm * (1.0 + (weighed_kg - square) / slope), 0.0)
