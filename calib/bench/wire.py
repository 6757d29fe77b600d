"""Round wire: gauges, area, ohm per metre, current density; what has to be looked up; what it reads over its enamel.

Diameters are of the bare wire unless they say otherwise: take the film, or the cotton or silk, off first. The tables
keep only what no equation gives. The diameters over enamel are typical maxima, copied in part without a check: each
row says which, and how far it may be out; real wire lies between bare and thickest film, how is taken simply here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

from calib.bench.resistance import RESISTIVITY_OHM_M
from calib.bench.uncertainty import rectangular
from calib.errors import Quantity, positive, within
from calib.paths import shipped_rows
from calib.units import MM_PER_MIL, awg_of_mm, mm_of_awg

__all__ = ["MM2_PER_CIRCULAR_MIL", "Overall", "SERIES", "approximate_overall", "awg_diameter_mm", "awg_from_diameter"]
__all__ += ["awg_overall", "circular_mils_per_ampere", "current_density_a_mm2", "current_ma_at_density", "iec_overall"]
__all__ += ["nearest_awg", "nearest_iec_mm", "nearest_old_metric_mm", "nearest_sizes", "nearest_swg", "ohm_per_metre"]
__all__ += ["old_metric_sizes_mm", "swg_diameter_mm", "wire_area_mm2", "wire_diameter_mm"]

MM2_PER_CIRCULAR_MIL = math.pi / 4.0 * MM_PER_MIL**2  # area of a circle one mil across [mm²]

AWG_LOW, AWG_HIGH = -3, 56  # numbers that ASTM B258 lists: 0000 is -3


def awg_diameter_mm(awg: Quantity) -> Quantity:
    """Exact bare diameter of an American wire gauge number.

    Parameters
    ----------
    awg : number
        Gauge number, -3 (0000) to 56; fractions allowed [-].

    Returns
    -------
    number
        d = 0.127 mm 92^((36 - n)/39); trade tables round it to 0.1 mil [mm].

    Raises
    ------
    ValueError
        A number outside the gauge.

    Notes
    -----
    Source: ASTM B258.
    """
    within("wire gauge AWG", awg, AWG_LOW, AWG_HIGH, "")
    return mm_of_awg(awg)


def awg_from_diameter(diameter_mm: Quantity) -> Quantity:
    """American wire gauge number of a bare diameter, with its fraction.

    Parameters
    ----------
    diameter_mm : number, array or value with its uncertainty
        Bare diameter, above 0 [mm].

    Returns
    -------
    number
        n = 36 - 39 ln(d / 0.127 mm) / ln 92 [-].

    Raises
    ------
    ValueError
        A diameter of zero or less.

    Notes
    -----
    Source: ASTM B258.
    """
    positive("bare diameter", diameter_mm, "mm")
    return awg_of_mm(diameter_mm)


def nearest_awg(diameter_mm: float) -> int:
    """Whole American wire gauge number nearest to a bare diameter [mm]."""
    return round(awg_from_diameter(diameter_mm))


def wire_area_mm2(diameter_mm: Quantity) -> Quantity:
    """Cross-section of a round wire, pi d²/4, of a bare diameter above 0 [mm]; the area in [mm²]."""
    positive("bare diameter", diameter_mm, "mm")
    return math.pi / 4.0 * diameter_mm * diameter_mm


def wire_diameter_mm(area_mm2: Quantity) -> Quantity:
    """Bare diameter [mm] of a round wire of that cross-section, above 0 [mm²]."""
    positive("cross-section", area_mm2, "mm²")
    return (area_mm2 * (4.0 / math.pi)) ** 0.5


def ohm_per_metre(diameter_mm: Quantity, resistivity_ohm_m: float = RESISTIVITY_OHM_M["copper"]) -> Quantity:
    """Resistance of a metre of round wire at 20 °C.

    Parameters
    ----------
    diameter_mm : number
        Bare diameter, above 0; its tolerance of 1 % makes 2 % here, and 4..6 % in the finest sizes [mm].
    resistivity_ohm_m : float
        At 20 °C, above 0 [ohm m].

    Returns
    -------
    number
        rho / A [ohm/m].

    Raises
    ------
    ValueError
        A diameter or resistivity of zero or less.
    """
    positive("resistivity", resistivity_ohm_m, "ohm m")
    return resistivity_ohm_m * 1e6 / wire_area_mm2(diameter_mm)


def current_density_a_mm2(current_ma: Quantity, diameter_mm: Quantity) -> Quantity:
    """Current density in a round wire.

    Parameters
    ----------
    current_ma : number
        Current in the wire, rms: a direct load current is first brought to the rms of its winding; above 0 [mA].
    diameter_mm : number
        Bare diameter, above 0 [mm].

    Returns
    -------
    number
        J = I / A [A/mm²].

    Raises
    ------
    ValueError
        A current or diameter of zero or less.
    """
    positive("current", current_ma, "mA")
    return current_ma * 1e-3 / wire_area_mm2(diameter_mm)


def current_ma_at_density(density_a_mm2: Quantity, diameter_mm: Quantity) -> Quantity:
    """Current, rms [mA], that a round wire of that bare diameter [mm] carries at a density [A/mm²], both above 0."""
    positive("current density", density_a_mm2, "A/mm²")
    return density_a_mm2 * wire_area_mm2(diameter_mm) * 1e3


def circular_mils_per_ampere(density_a_mm2: Quantity) -> Quantity:
    """Circular mils per ampere of a current density, above 0 [A/mm²]."""
    positive("current density", density_a_mm2, "A/mm²")
    return 1.0 / (density_a_mm2 * MM2_PER_CIRCULAR_MIL)


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
    """

    mm: float
    tolerance_mm: float


def swg_diameter_mm(swg: int) -> float:
    """Bare diameter of an Imperial standard wire gauge number listed (16 to 44) [mm]; source: BS 3737, withdrawn."""
    return _found("SWG", swg, _swg_mm())


def nearest_swg(diameter_mm: float) -> int:
    """Imperial standard wire gauge number, 16 to 44, nearest to a bare diameter above 0 [mm]."""
    positive("bare diameter", diameter_mm, "mm")
    return min(_swg_mm(), key=lambda number: abs(_swg_mm()[number] - diameter_mm))


def iec_sizes_mm() -> tuple[float, ...]:
    """Preferred bare diameters of metric wire, 0.050 to 1.600, the thinnest first [mm]; source: IEC 60317-0-1."""
    return tuple(float(row["bare_mm"]) for row in shipped_rows(IEC_FILM_TABLE) if int(row["grade"]) == GRADES[0])


def nearest_iec_mm(diameter_mm: float) -> float:
    """Preferred bare diameter of metric wire, 0.050 to 1.600, nearest by ratio to one above 0 [mm]."""
    return _nearest(iec_sizes_mm(), diameter_mm)


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
    return _nearest(old_metric_sizes_mm(), diameter_mm)


def _nearest(sizes_mm: Iterable[float], diameter_mm: float) -> float:
    positive("bare diameter", diameter_mm, "mm")
    return min(sizes_mm, key=lambda size: abs(math.log(size / diameter_mm)))


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
    if film not in FILMS:
        raise ValueError(f"film is '{film}': it must be one of {', '.join(FILMS)}")
    listed = {int(row["awg"]): row for row in shipped_rows(AWG_FILM_TABLE) if row["film"] == film}
    row = _found("AWG", awg, listed)
    return Overall(float(row["max_overall_mil"]) * MM_PER_MIL, float(row["tolerance_mil"]) * MM_PER_MIL)


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
    return Overall(bare_mm + increase, float(row["tolerance_mm"]))


def approximate_overall(bare_mm: float, grade: int) -> Overall:
    """Diameter over the enamel from a bare one above 0 [mm], d + c d^p, within 2.3 % of the list for grade 1 or 2."""
    positive("bare diameter", bare_mm, "mm")
    if grade not in GRADES:
        raise ValueError(f"grade is {grade}: it must be 1 or 2")
    factor, power = INCREASE[grade]
    overall = bare_mm + factor * bare_mm**power
    return Overall(overall, 0.023 * overall)


def _swg_mm() -> dict[int, float]:
    return {int(row["swg"]): float(row["diameter_mil"]) * MM_PER_MIL for row in shipped_rows(SWG_TABLE)}


def _found(gauge: str, number: int, listed: dict[int, Listed]) -> Listed:
    if number not in listed:
        raise ValueError(f"{gauge} is {number}: it must be a whole number from {min(listed)} to {max(listed)}")
    return listed[number]


SERIES = ("AWG", "SWG", "metric", OLD_METRIC)
AWG_WOUND = range(10, 47)  # gauges that windings of mains transformers are looked for among (judgement)

# A bare diameter lies within 1 % of its gauge's, but no maker holds less than 0.1 mil; trade tables.
BARE_TOLERANCE = 0.01
BARE_TOLERANCE_FLOOR_MM = 0.1 * MM_PER_MIL
# Thinnest film as a share of the thickest that a grade allows; any between is as likely (judgement, near the least
# increases of IEC 60317-0-1).
THINNEST_FILM = {"single": 0.5, "heavy": 0.65}


def bare_tolerance_mm(bare_mm: float) -> float:
    """How far real wire may lie from a nominal bare diameter above 0 [mm]: 1 %, and no less than 0.1 mil; in [mm]."""
    positive("bare diameter", bare_mm, "mm")
    return max(BARE_TOLERANCE * bare_mm, BARE_TOLERANCE_FLOOR_MM)


@dataclass(frozen=True)
class Expected:
    """What a reading of one gauge and covering is expected to be.

    Attributes
    ----------
    series, gauge, covering : str
        AWG, SWG, metric or old metric; the number there or the size in mm; bare, single or heavy.
    bare_mm : float
        Nominal bare diameter [mm].
    thin_mm, thick_mm : float
        What the thinnest and the thickest film add to the diameter [mm].
    listed_u_mm : float
        Standard uncertainty of the listed maximum [mm].
    log_prior : float
        ln of its odds before the reading [-].
    """

    series: str
    gauge: str
    covering: str
    bare_mm: float
    thin_mm: float
    thick_mm: float
    listed_u_mm: float
    log_prior: float

    def sd(self, u_mm: float) -> float:
        """Standard uncertainty of a reading about its film [mm], the reading's own being u [mm]."""
        bare_u = rectangular(bare_tolerance_mm(self.bare_mm))
        return math.sqrt(bare_u**2 + self.listed_u_mm**2 + u_mm**2)

    def log_likelihood(self, reading_mm: float, u_mm: float) -> float:
        """ln of the density of a reading [mm]: normal errors folded with a film that is uniform between its limits."""
        sd = self.sd(u_mm)
        z = (reading_mm - self.bare_mm - self.thin_mm) / sd
        if self.thick_mm == self.thin_mm:
            return -0.5 * (z * z + math.log(2.0 * math.pi)) - math.log(sd)
        end = (reading_mm - self.bare_mm - self.thick_mm) / sd
        # From the nearer tail, so that what is far off does not cancel to nothing.
        area = _upper(-z) - _upper(-end) if z < 0.0 else _upper(end) - _upper(z)
        width = math.log(self.thick_mm - self.thin_mm)
        return (math.log(area) if area > 0.0 else -0.5 * min(z * z, end * end)) - width

    def bare_given(self, reading_mm: float, u_mm: float) -> tuple[float, float]:
        """Mean and variance of the bare diameter were it this gauge: the tolerance narrowed by the reading."""
        before = rectangular(bare_tolerance_mm(self.bare_mm)) ** 2
        film = (self.thick_mm - self.thin_mm) ** 2 / 12.0
        gain = before / (before + film + self.listed_u_mm**2 + u_mm**2)
        # The shift is held to the tolerance: a reading far off says that the gauge is another, not that it is fatter.
        edge = bare_tolerance_mm(self.bare_mm)
        shift = gain * (reading_mm - self.bare_mm - (self.thin_mm + self.thick_mm) / 2.0)
        return self.bare_mm + max(-edge, min(edge, shift)), before * (1.0 - gain)

    def misfit(self, reading_mm: float, u_mm: float) -> float:
        """How far a reading lies outside the films that are allowed, in standard uncertainties; 0 inside."""
        outside = max(self.bare_mm + self.thin_mm - reading_mm, reading_mm - self.bare_mm - self.thick_mm, 0.0)
        return outside / self.sd(u_mm)


def _upper(z: float) -> float:
    return 0.5 * math.erfc(z / math.sqrt(2.0))


@cache
def expected_readings(series: tuple[str, ...], coverings: tuple[str, ...]) -> tuple[Expected, ...]:
    """Every gauge of the series under every covering, each series and each gauge in it as likely as another."""
    found = []
    for name in series:
        sizes = _sizes(name)
        prior = -math.log(len(series) * len(sizes) * len(coverings))
        for covering in coverings:
            for gauge, bare in sizes:
                thin, thick, listed_u = _film(name, gauge, bare, covering)
                found.append(Expected(name, gauge, covering, bare, thin, thick, listed_u, prior))
    return tuple(found)


def _sizes(series: str) -> list[tuple[str, float]]:
    if series == "AWG":
        return [(str(number), awg_diameter_mm(number)) for number in AWG_WOUND]
    if series == "SWG":
        return [(str(number), swg_diameter_mm(number)) for number in SWG_LISTED]
    if series == OLD_METRIC:
        return [(f"{bare:.2f}", bare) for bare in old_metric_sizes_mm()]
    return [(f"{bare:.3f}", bare) for bare in iec_sizes_mm()]


def _film(series: str, gauge: str, bare_mm: float, covering: str) -> tuple[float, float, float]:
    """Thinnest and thickest film on the diameter, and the standard uncertainty of the listed maximum [mm]."""
    if covering == "bare":
        return 0.0, 0.0, 0.0
    overall = _overall(series, gauge, bare_mm, covering)
    thickest = overall.mm - bare_mm
    return THINNEST_FILM[covering] * thickest, thickest, rectangular(overall.tolerance_mm)


def _overall(series: str, gauge: str, bare_mm: float, covering: str) -> Overall:
    grade = FILMS.index(covering) + 1
    if series == "metric":
        return iec_overall(bare_mm, grade)
    if series == "AWG" and int(gauge) in AWG_FILM_LISTED:
        return awg_overall(int(gauge), covering)
    return approximate_overall(bare_mm, grade)
