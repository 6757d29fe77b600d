"""What a wire of each gauge and covering is expected to read: where real wire lies between bare and thickest film.

The tables give a nominal bare diameter and a greatest diameter over the film; real wire lies between. How it lies
there is taken simply here, and said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from calib.bench.guard import positive
from calib.bench.meter import rectangular
from calib.bench.wire import MM_PER_MIL, awg_diameter_mm
from calib.bench.wire_tables import (
    AWG_FILM_LISTED,
    FILMS,
    OLD_METRIC,
    SWG_LISTED,
    Overall,
    approximate_overall,
    awg_overall,
    iec_overall,
    iec_sizes_mm,
    old_metric_sizes_mm,
    swg_diameter_mm,
)

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
