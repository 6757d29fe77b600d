"""From a micrometer's reading of a wire to its likely gauge, with the odds of the neighbours.

Over enamel the reading says less than it seems to: a gauge's overall diameter may lie anywhere between its thinnest
and its thickest film, and the next gauge begins before this one ends. The odds say how far that leaves the gauge open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.bench.guard import not_negative, positive, within
from calib.bench.meter import rectangular
from calib.bench.wire_film import SERIES, Expected, expected_readings
from calib.bench.wire_tables import FILMS, OLD_METRIC, old_metric_sizes_mm

if TYPE_CHECKING:
    import pandas as pd

COVERINGS = ("bare", *FILMS, "enamel")
SAME_COVERING = {"grade 1": "single", "grade 2": "heavy"}  # IEC 60317-0-1
NO_TABLE = ("cotton", "silk", "paper")  # old coverings, over enamel or not, whose thickness follows no table

# Half of a thimble's division of 0.01 mm, read without its vernier [mm] (judgement).
MICROMETER_HALF_WIDTH_MM = 0.005
MICROMETER_U_MM = MICROMETER_HALF_WIDTH_MM / math.sqrt(3.0)
# A reading further than this from what any gauge allows, in standard uncertainties, fits none (judgement).
FITS_WITHIN = 3.0
KEPT_ODDS = 0.001  # candidates below these odds are left out, the best one's neighbours aside


@dataclass(frozen=True)
class GaugeCandidate:
    """One gauge and covering that a reading may be of.

    Attributes
    ----------
    series, gauge : str
        AWG, SWG, metric or old metric (before about 1970), and the number there, or the size in mm.
    covering : str
        bare, single or heavy.
    bare_mm : float
        Nominal bare diameter [mm].
    least_mm, most_mm : float
        Between which the nominal wire's reading lies, by the thinnest and the thickest film [mm].
    odds : float
        Probability, 0 to 1, that the wire is this one [-].
    """

    series: str
    gauge: str
    covering: str
    bare_mm: float
    least_mm: float
    most_mm: float
    odds: float


@dataclass(frozen=True)
class NamedWire:
    """What a micrometer's reading says of the gauge.

    Attributes
    ----------
    reading_mm, u_mm : float
        The reading and its standard uncertainty [mm].
    covering : str
        As it was given: bare, single, heavy or enamel.
    candidates : tuple of GaugeCandidate
        The likely ones, the likeliest first, and the neighbours of the best.
    bare_mm, bare_u_mm : float
        Bare diameter over all candidates, with its standard uncertainty [mm].
    misfit : float
        How far the reading lies outside what the nearest candidate allows, in standard uncertainties; 0 inside [-].
    """

    reading_mm: float
    u_mm: float
    covering: str
    candidates: tuple[GaugeCandidate, ...]
    bare_mm: float
    bare_u_mm: float
    misfit: float

    @property
    def gauges(self) -> tuple[tuple[str, str, float], ...]:
        """Series, gauge and odds, the coverings added up, the likeliest first."""
        odds: dict[tuple[str, str], float] = {}
        for one in self.candidates:
            odds[one.series, one.gauge] = odds.get((one.series, one.gauge), 0.0) + one.odds
        return tuple((*name, share) for name, share in sorted(odds.items(), key=lambda pair: -pair[1]))

    @property
    def fits(self) -> bool:
        """Whether some candidate allows the reading, within FITS_WITHIN standard uncertainties."""
        return self.misfit <= FITS_WITHIN

    def frame(self) -> pd.DataFrame:
        """One row a candidate, with its attributes as columns."""
        import pandas as pd

        return pd.DataFrame([vars(one) for one in self.candidates])

    def __str__(self) -> str:
        if not self.fits:
            return (
                f"{self.reading_mm:.4g} mm lies between the gauges, {self.misfit:.1f} standard uncertainties from the "
                "nearest: another series or covering, or a stretched end; strip and measure"
            )
        likely = [one for one in self.gauges if one[2] >= 0.005]
        said = [f"{_named(series, gauge)} ({odds:.0%})" for series, gauge, odds in likely]
        return f"{' or '.join(said)}; bare {self.bare_mm:.4g} mm, standard uncertainty {self.bare_u_mm:.2g} mm"


def _named(series: str, gauge: str) -> str:
    """A size as it is called, marked where nobody has checked that it was one."""
    doubtful = series == OLD_METRIC and old_metric_sizes_mm()[float(gauge)] != "checked"
    return f"{series} {gauge}, unverified" if doubtful else f"{series} {gauge}"


def micrometer_reading(
    readings_mm: Sequence[float], half_width_mm: float = MICROMETER_HALF_WIDTH_MM
) -> tuple[float, float]:
    """Mean of repeated readings of one wire, turned a little between them, and its standard uncertainty.

    Parameters
    ----------
    readings_mm : sequence of float
        One or more, each above 0 [mm].
    half_width_mm : float
        Limits of error of the micrometer, 0 or more [mm].

    Returns
    -------
    (float, float)
        Mean, and sqrt(s²/n + a²/3), s the standard deviation of the n readings (left out for a single one) [mm].

    Raises
    ------
    ValueError
        No reading, or one of zero or less.

    Notes
    -----
    Source: JCGM 100:2008, clauses 4.2.3 and 4.3.7.
    """
    if not readings_mm:
        raise ValueError("readings are empty: give at least one diameter")
    for reading in readings_mm:
        positive("diameter", reading, "mm")
    count = len(readings_mm)
    mean = math.fsum(readings_mm) / count
    spread = math.fsum((one - mean) ** 2 for one in readings_mm) / (count - 1) / count if count > 1 else 0.0
    return mean, math.hypot(math.sqrt(spread), rectangular(half_width_mm))


def name_wire(
    reading_mm: float, u_mm: float = MICROMETER_U_MM, covering: str = "enamel", series: Sequence[str] = ("AWG",)
) -> NamedWire:
    """Likely gauge of a wire from its diameter, over the enamel or bare.

    Parameters
    ----------
    reading_mm : float
        Diameter as read, over the covering, 0.03 to 3.5 [mm].
    u_mm : float
        Its standard uncertainty, 0 or more; see `micrometer_reading` [mm].
    covering : str
        bare, single (grade 1), heavy (grade 2), or enamel where its grade is not known.
    series : sequence of str
        Which of AWG, SWG, metric and old metric to look among; each is as likely, and each gauge within it (judgement).

    Returns
    -------
    NamedWire
        Candidates with their odds by Bayes' rule, and the bare diameter over all of them.

    Raises
    ------
    ValueError
        A diameter out of range, an unknown series, or a covering that no table gives.

    Notes
    -----
    Reading = bare diameter + film + error; the film lies anywhere from THINNEST_FILM to its maximum, the bare diameter
    within `wire_film.bare_tolerance_mm`. Sources: ASTM B258; BS 3737; NEMA MW 1000; IEC 60317-0-1; DIN 46435 and GOST
    for the sizes of old metric wire, partly unverified; JCGM 100:2008 for
    the uncertainties.

    Examples
    --------
    >>> name_wire(0.183, covering="bare").gauges[0][:2]
    ('AWG', '33')
    """
    if math.isnan(reading_mm):
        raise ValueError("diameter is nan mm: it is needed")
    within("diameter", reading_mm, 0.03, 3.5, "mm")
    not_negative("uncertainty of the diameter", u_mm, "mm")
    kind = _covering(covering)
    expected = expected_readings(_series(series), FILMS if kind == "enamel" else (kind,))
    logs = [one.log_likelihood(reading_mm, u_mm) + one.log_prior for one in expected]
    top = max(logs)
    weights = [math.exp(log - top) for log in logs]
    odds = [weight / math.fsum(weights) for weight in weights]
    parts = [one.bare_given(reading_mm, u_mm) for one in expected]
    bare = math.fsum(share * mean for share, (mean, _) in zip(odds, parts, strict=True))
    square = math.fsum(share * (var + (mean - bare) ** 2) for share, (mean, var) in zip(odds, parts, strict=True))
    misfit = min(one.misfit(reading_mm, u_mm) for one in expected)
    return NamedWire(reading_mm, u_mm, kind, _kept(expected, odds), bare, math.sqrt(square), misfit)


def _covering(covering: str) -> str:
    kind = SAME_COVERING.get(covering, covering)
    if any(name in kind for name in NO_TABLE):
        raise ValueError(f"covering is '{covering}': its thickness follows no table; strip a tail and measure it bare")
    if kind not in COVERINGS:
        raise ValueError(f"covering is '{covering}': it must be one of {', '.join((*COVERINGS, *SAME_COVERING))}")
    return kind


def _series(series: Sequence[str]) -> tuple[str, ...]:
    asked = (series,) if isinstance(series, str) else tuple(series)
    wrong = [name for name in asked if name not in SERIES]
    if wrong or not asked:
        raise ValueError(f"series is '{', '.join(wrong)}': it must be one or more of {', '.join(SERIES)}")
    return tuple(dict.fromkeys(asked))


def _kept(expected: tuple[Expected, ...], odds: list[float]) -> tuple[GaugeCandidate, ...]:
    best = max(range(len(odds)), key=lambda at: odds[at])
    kept = [
        (at, one)
        for at, one in enumerate(expected)
        if odds[at] >= KEPT_ODDS
        or (abs(at - best) == 1 and (one.series, one.covering) == (expected[best].series, expected[best].covering))
    ]
    kept.sort(key=lambda pair: (-odds[pair[0]], pair[0]))
    return tuple(
        GaugeCandidate(
            one.series,
            one.gauge,
            one.covering,
            one.bare_mm,
            one.bare_mm + one.thin_mm,
            one.bare_mm + one.thick_mm,
            odds[at],
        )
        for at, one in kept
    )
