"""What has to be looked up about round wire: the Imperial gauge, and diameters over the enamel.

The tables keep only what no equation gives; areas, millimetres and ohms per metre are computed. The diameters over
enamel are typical maxima, copied in part without a check: each row says which, and how far it may be out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

from calib.bench.guard import positive
from calib.bench.tables import shipped_rows
from calib.bench.wire import MM_PER_MIL, nearest_awg

SWG_TABLE = "datasets/wire/swg.csv"
AWG_FILM_TABLE = "datasets/wire/awg_film.csv"
IEC_FILM_TABLE = "datasets/wire/iec_film.csv"
FILMS = ("single", "heavy")  # NEMA MW 1000
OLD_METRIC_TABLE = "datasets/wire/metric_old.csv"
OLD_METRIC = "old metric"  # what the series of metric sizes before about 1970 is called

SWG_LISTED = range(16, 45)  # numbers in the shipped table
AWG_FILM_LISTED = range(16, 45)
GRADES = (1, 2)  # IEC 60317-0-1: the equivalents of single and heavy
# Increase of diameter by the film as c d^p, d in mm, within 2.3 % of the listed overall diameters (fitted to them).
INCREASE = {1: (0.0620, 0.567), 2: (0.0936, 0.561)}


Listed = TypeVar("Listed")


@dataclass(frozen=True)
class Overall:
    """A maximum diameter over the enamel.

    Attributes
    ----------
    mm : float
        Diameter [mm].
    tolerance_mm : float
        How far the listed figure may be out for want of a check; 0 where it was checked [mm].
    status : str
        checked, partly checked, unverified or approximated.
    """

    mm: float
    tolerance_mm: float
    status: str


def swg_diameter_mm(swg: int) -> float:
    """Bare diameter of an Imperial standard wire gauge number listed (16 to 44) [mm]; source: BS 3737, withdrawn."""
    return _found("SWG", swg, _swg_mm())


def nearest_swg(diameter_mm: float) -> int:
    """Imperial standard wire gauge number, 16 to 44, nearest to a bare diameter above 0 [mm]."""
    positive("bare diameter", diameter_mm, "mm")
    listed = _swg_mm()
    return min(listed, key=lambda number: abs(listed[number] - diameter_mm))


def iec_sizes_mm() -> tuple[float, ...]:
    """Preferred bare diameters of metric wire, 0.050 to 1.600, the thinnest first [mm]; source: IEC 60317-0-1."""
    return tuple(float(row["bare_mm"]) for row in shipped_rows(IEC_FILM_TABLE) if int(row["grade"]) == GRADES[0])


def nearest_iec_mm(diameter_mm: float) -> float:
    """Preferred bare diameter of metric wire, 0.050 to 1.600, nearest by ratio to one above 0 [mm]."""
    positive("bare diameter", diameter_mm, "mm")
    return min(iec_sizes_mm(), key=lambda size: abs(math.log(size / diameter_mm)))


def old_metric_sizes_mm() -> dict[float, str]:
    """Bare diameters of metric wire before about 1970, 0.03 to 2.00, the thinnest first [mm].

    Returns
    -------
    dict of float to str
        By size, its status: checked, or unverified where it stands on memory in every list.

    Notes
    -----
    Sources: DIN 46435 (withdrawn); tables of wire PEL and PET to GOST. The shipped table says which size is whose.
    """
    found: dict[float, str] = {}
    for row in shipped_rows(OLD_METRIC_TABLE):
        size = float(row["bare_mm"])
        found[size] = row["status"] if found.get(size) != "checked" else "checked"
    return dict(sorted(found.items()))


def nearest_old_metric_mm(diameter_mm: float) -> float:
    """Metric size before about 1970, 0.03 to 2.00, nearest by ratio to a bare diameter above 0 [mm]."""
    positive("bare diameter", diameter_mm, "mm")
    return min(old_metric_sizes_mm(), key=lambda size: abs(math.log(size / diameter_mm)))


def nearest_sizes(diameter_mm: float) -> tuple[str, str, str, str]:
    """Nearest AWG, SWG, metric and old metric size to a bare diameter above 0 [mm], by name."""
    old = nearest_old_metric_mm(diameter_mm)
    unverified = "" if old_metric_sizes_mm()[old] == "checked" else " (unverified)"
    return (
        f"AWG {nearest_awg(diameter_mm)}",
        f"SWG {nearest_swg(diameter_mm)}",
        f"metric {nearest_iec_mm(diameter_mm):.3f}",
        f"{OLD_METRIC} {old:.2f}{unverified}",
    )


def awg_overall(awg: int, film: str) -> Overall:
    """Typical maximum diameter over a "single" or "heavy" film, gauges 16 to 44; source: NEMA MW 1000."""
    listed = {
        (int(row["awg"]), row["film"]): Overall(
            float(row["max_overall_mil"]) * MM_PER_MIL, float(row["tolerance_mil"]) * MM_PER_MIL, row["status"]
        )
        for row in shipped_rows(AWG_FILM_TABLE)
    }
    if film not in FILMS:
        raise ValueError(f"film is '{film}': it must be one of {', '.join(FILMS)}")
    return _found("AWG", awg, {number: overall for (number, kind), overall in listed.items() if kind == film})


def iec_overall(bare_mm: float, grade: int) -> Overall:
    """Maximum diameter over the enamel of a metric wire, as listed or between two listed sizes.

    Parameters
    ----------
    bare_mm : float
        Bare diameter, 0.050 to 1.600 [mm].
    grade : int
        1 or 2.

    Returns
    -------
    Overall
        Between two sizes, the bare diameter with the increase of the next larger size.

    Raises
    ------
    ValueError
        A diameter outside the list, or another grade.

    Notes
    -----
    Source: IEC 60317-0-1.
    """
    if grade not in GRADES:
        raise ValueError(f"grade is {grade}: it must be 1 or 2")
    rows = [row for row in shipped_rows(IEC_FILM_TABLE) if int(row["grade"]) == grade]
    sizes = [float(row["bare_mm"]) for row in rows]
    if not sizes[0] <= bare_mm <= sizes[-1]:
        raise ValueError(f"bare diameter is {bare_mm} mm: it must be from {sizes[0]:g} to {sizes[-1]:g}")
    size, row = next((size, row) for size, row in zip(sizes, rows, strict=True) if size >= bare_mm)
    increase = float(row["max_overall_mm"]) - size
    return Overall(bare_mm + increase, float(row["tolerance_mm"]), row["status"])


def approximate_overall(bare_mm: float, grade: int) -> Overall:
    """Diameter over the enamel from a bare one above 0 [mm], d + c d^p, within 2.3 % of the list for grade 1 or 2."""
    positive("bare diameter", bare_mm, "mm")
    if grade not in GRADES:
        raise ValueError(f"grade is {grade}: it must be 1 or 2")
    factor, power = INCREASE[grade]
    overall = bare_mm + factor * bare_mm**power
    return Overall(overall, 0.023 * overall, "approximated")


def _swg_mm() -> dict[int, float]:
    return {int(row["swg"]): float(row["diameter_mil"]) * MM_PER_MIL for row in shipped_rows(SWG_TABLE)}


def _found(gauge: str, number: int, listed: dict[int, Listed]) -> Listed:
    if number not in listed:
        raise ValueError(f"{gauge} is {number}: it must be a whole number from {min(listed)} to {max(listed)}")
    return listed[number]
