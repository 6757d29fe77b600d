"""Lamination sizes that the trade names, each with its tongue.

One name can mean two sizes (150 is 40, 50 or 38.1 mm of tongue): keep the tongue, not the name.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from calib.bench.guard import positive
from calib.bench.tables import shipped_rows

LAMINATIONS_TABLE = "datasets/laminations/laminations.csv"


@dataclass(frozen=True)
class Lamination:
    """One size of sheet.

    Attributes
    ----------
    shape : str
        EI (scrapless), EI-old (not scrapless) or M.
    tongue_mm : float
        Width of the centre limb [mm].
    metric_name, inch_name : str
        As catalogues name it; blank where that trade has none.
    inch_tongue : str
        The tongue in inches as a fraction; blank for metric sizes.
    note : str
        What to beware of; blank where nothing.
    """

    shape: str
    tongue_mm: float
    metric_name: str
    inch_name: str
    inch_tongue: str
    note: str

    @property
    def scrapless(self) -> bool:
        """Whether the window, path and mass follow from the tongue."""
        return self.shape == "EI"


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


def nearest_laminations(tongue_mm: float, within_mm: float = 0.3) -> tuple[Lamination, ...]:
    """Sizes whose tongue lies within so many mm of one measured, nearest first; both above 0 [mm]."""
    positive("tongue", tongue_mm, "mm")
    positive("reach", within_mm, "mm")
    near = (sheet for sheet in all_laminations() if abs(sheet.tongue_mm - tongue_mm) <= within_mm)
    return tuple(sorted(near, key=lambda sheet: (abs(sheet.tongue_mm - tongue_mm), sheet.shape)))
