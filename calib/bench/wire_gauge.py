"""Which gauge a wire is: from a micrometer's reading, with the odds of the neighbours, and from a winding's resistance.

Over enamel a reading says less than it seems to: a gauge's overall diameter may lie anywhere between its thinnest and
its thickest film, and the next gauge begins before this one ends. Resistance and length together tell the wire better;
where the two disagree, one of the readings is wrong or the wire is not what it seems.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from calib.bench.core import STACKING_FACTOR
from calib.bench.magnetics import DESIGN_FLUX_T, turns_per_volt
from calib.bench.resistance import RESISTIVITY_OHM_M
from calib.bench.uncertainty import DEFAULT_U_RESISTANCE_PCT, rectangular
from calib.bench.wire import (
    FILMS,
    OLD_METRIC,
    SERIES,
    Expected,
    awg_from_diameter,
    bare_tolerance_mm,
    expected_readings,
    nearest_sizes,
    old_metric_sizes_mm,
)
from calib.errors import not_negative, positive, within

__all__ = ["COVERINGS", "NamedWire", "Turns", "WoundWire", "implied_wire", "micrometer_reading"]
__all__ += ["name_wire", "turns_from_volts", "wire_agreement"]

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
class NamedWire:
    """What a micrometer's reading says of the gauge.

    Attributes
    ----------
    reading_mm : float
        The reading [mm].
    gauges : tuple of (str, str, float)
        Series (AWG, SWG, metric or old metric), gauge (the number there, or the size in mm) and odds of each likely
        one, the coverings added up, the likeliest first; and of the neighbours of the best.
    bare_mm, bare_u_mm : float
        Bare diameter over all candidates, with its standard uncertainty [mm].
    misfit : float
        How far the reading lies outside what the nearest candidate allows, in standard uncertainties; 0 inside [-].
    """

    reading_mm: float
    gauges: tuple[tuple[str, str, float], ...]
    bare_mm: float
    bare_u_mm: float
    misfit: float

    @property
    def fits(self) -> bool:
        """Whether some candidate allows the reading, within FITS_WITHIN standard uncertainties."""
        return self.misfit <= FITS_WITHIN

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
    return NamedWire(reading_mm, _gauges(expected, odds), bare, math.sqrt(square), misfit)


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


def _gauges(expected: tuple[Expected, ...], odds: list[float]) -> tuple[tuple[str, str, float], ...]:
    """The likely gauges and the best one's neighbours under its covering, each with its odds under all coverings."""
    best = max(range(len(odds)), key=odds.__getitem__)
    told: defaultdict[tuple[str, str], float] = defaultdict(float)
    for at, (one, share) in enumerate(zip(expected, odds, strict=True)):
        kind = one.series, one.covering
        beside = abs(at - best) == 1 and kind == (expected[best].series, expected[best].covering)
        if share >= KEPT_ODDS or beside:
            told[one.series, one.gauge] += share
    return tuple((*name, share) for name, share in sorted(told.items(), key=lambda pair: -pair[1]))


# Drawn and wound wire reads this much above rho L / A of its nominal size (judgement).
WOUND_EXCESS = (0.01, 0.03)
# A winding's mean turn may lie this far from that of the whole window, inner ones below and outer above (judgement).
MEAN_TURN_HALF_WIDTH = 0.12
# Flux density that turns are reckoned by where nobody counted them [T]: makers' habits from before 1950 on; McLyman.
FLUX_RANGE_T = (DESIGN_FLUX_T["before 1950"][0], DESIGN_FLUX_T["later"][1])
AGREES_WITHIN = 2.0  # standard uncertainties; JCGM 100:2008, coverage factor 2


@dataclass(frozen=True)
class Turns:
    """Turns of a winding, as counted or reckoned, with their relative standard uncertainty [%]."""

    turns: float
    u_pct: float


@dataclass(frozen=True)
class WoundWire:
    """A winding whose wire is to be told from its resistance.

    Attributes
    ----------
    resistance_ohm : float
        At 20 °C, of the turns that are meant, above 0 [ohm].
    turns : Turns
        Counted, or from `turns_from_volts`.
    mean_turn_mm : float
        Mean length of a turn, above 0; `core.mean_turn_mm` gives that of the whole window [mm].
    u_resistance_pct : float
        Relative standard uncertainty, 0 or more [%].
    mean_turn_half_width : float
        Limits of error of the mean turn as a share of it, 0 or more [-].
    conductor : str
        copper or aluminium.
    """

    resistance_ohm: float
    turns: Turns
    mean_turn_mm: float
    u_resistance_pct: float = DEFAULT_U_RESISTANCE_PCT
    mean_turn_half_width: float = MEAN_TURN_HALF_WIDTH
    conductor: str = "copper"

    def __post_init__(self) -> None:
        positive("resistance", self.resistance_ohm, "ohm")
        positive("turns", self.turns.turns, "")
        not_negative("relative uncertainty of the turns", self.turns.u_pct, "%")
        positive("mean turn", self.mean_turn_mm, "mm")
        not_negative("relative uncertainty of the resistance", self.u_resistance_pct, "%")
        not_negative("half-width of the mean turn", self.mean_turn_half_width, "")
        if self.conductor not in RESISTIVITY_OHM_M:
            raise ValueError(f"conductor is '{self.conductor}': it must be one of {', '.join(RESISTIVITY_OHM_M)}")

    @property
    def length_m(self) -> float:
        """Length of the wire [m]."""
        return self.turns.turns * self.mean_turn_mm * 1e-3


@dataclass(frozen=True)
class ImpliedWire:
    """Bare diameter that a winding's resistance implies.

    Attributes
    ----------
    diameter_mm : float
        Nominal bare diameter [mm].
    u_ln : float
        Standard uncertainty of ln diameter [-].
    awg : float
        American gauge with its fraction [-].
    """

    diameter_mm: float
    u_ln: float
    awg: float

    @property
    def nearest(self) -> tuple[str, str, str, str]:
        """Nearest AWG, SWG, metric and old metric size, by name."""
        return nearest_sizes(self.diameter_mm)


@dataclass(frozen=True)
class Agreement:
    """Whether a measured wire is the one that the resistance implies.

    Attributes
    ----------
    z : float
        ln of measured over implied diameter, in standard uncertainties [-].
    agrees : bool
        Whether |z| is within AGREES_WITHIN.
    sentence : str
        The same in words, with what to look for where they disagree.
    """

    z: float
    agrees: bool
    sentence: str


def turns_from_volts(
    voltage_v: float,
    core_area_cm2: float,
    frequency_hz: float,
    flux_t: tuple[float, float] = FLUX_RANGE_T,
    stacking_factor: float = STACKING_FACTOR,
) -> Turns:
    """Turns of a winding from its voltage and its core, where nobody counted them.

    Parameters
    ----------
    voltage_v : float
        No-load voltage of the winding at the nominal line, rms, above 0 [V].
    core_area_cm2 : float
        Gross area, above 0 [cm²].
    frequency_hz : float
        Of that line, above 0 [Hz].
    flux_t : (float, float)
        Lowest and highest peak flux density that the maker may have used, above 0 [T].
    stacking_factor : float
        Iron's share of the stack, 0.5 to 1 [-].

    Returns
    -------
    Turns
        V / (sqrt(2) pi f B A_fe) at the geometric mean of the flux densities; any between is as likely.

    Raises
    ------
    ValueError
        An input out of range, or the flux densities the wrong way round.

    Notes
    -----
    Source: Magnetic Circuits and Transformers (MIT EE Staff); DESIGN_FLUX_T for the range.
    """
    positive("voltage", voltage_v, "V")
    low, high = flux_t
    positive("lowest flux density", low, "T")
    if not low <= high < math.inf:
        raise ValueError(f"highest flux density is {high} T: it must be finite and at least the lowest, {low} T")
    middle = math.sqrt(low * high)
    turns = voltage_v * turns_per_volt(core_area_cm2, middle, frequency_hz, stacking_factor)
    return Turns(turns, 100.0 * rectangular(math.log(high / low) / 2.0))


def implied_wire(winding: WoundWire) -> ImpliedWire:
    """Bare diameter that a winding's resistance implies, with its uncertainty.

    Parameters
    ----------
    winding : WoundWire
        Resistance, turns and mean turn.

    Returns
    -------
    ImpliedWire
        d = sqrt(4 rho N MLT (1 + e) / (pi R)), e the middle of WOUND_EXCESS.

    Notes
    -----
    R = rho N MLT / A, raised by the excess of wound wire. Each relative uncertainty of R, N, MLT and 1 + e counts half
    in the diameter. Source: IEC 60028 for rho; JCGM 100:2008, clause 5.1.6.
    """
    least, most = WOUND_EXCESS
    excess = (least + most) / 2.0
    area_m2 = RESISTIVITY_OHM_M[winding.conductor] * winding.length_m * (1.0 + excess) / winding.resistance_ohm
    diameter = 1e3 * math.sqrt(4.0 / math.pi * area_m2)
    parts = (
        winding.u_resistance_pct / 100.0,
        winding.turns.u_pct / 100.0,
        rectangular(winding.mean_turn_half_width),
        rectangular((most - least) / 2.0) / (1.0 + excess),
    )
    u_ln = 0.5 * math.hypot(*parts)
    return ImpliedWire(diameter, u_ln, awg_from_diameter(diameter))


def wire_agreement(implied: ImpliedWire, measured_mm: float, measured_u_mm: float | None = None) -> Agreement:
    """Hold a measured bare diameter against the one that the resistance implies.

    Parameters
    ----------
    implied : ImpliedWire
        From `implied_wire`.
    measured_mm : float
        Bare diameter, of a stripped tail or of a named gauge, above 0 [mm].
    measured_u_mm : float or None
        Its standard uncertainty, 0 or more; None for a gauge by name: its tolerance [mm].

    Returns
    -------
    Agreement
        z = ln(measured / implied) / sqrt(u_ln² + (u / measured)²).

    Raises
    ------
    ValueError
        A diameter of zero or less, or a negative uncertainty.
    """
    positive("measured diameter", measured_mm, "mm")
    u_mm = rectangular(bare_tolerance_mm(measured_mm)) if measured_u_mm is None else measured_u_mm
    not_negative("uncertainty of the measured diameter", u_mm, "mm")
    z = math.log(measured_mm / implied.diameter_mm) / math.hypot(implied.u_ln, u_mm / measured_mm)
    agrees = abs(z) <= AGREES_WITHIN
    gauges = abs(awg_from_diameter(measured_mm) - implied.awg)
    head = (
        f"The resistance implies {implied.diameter_mm:.3g} mm (AWG {implied.awg:.1f}), the measurement says "
        f"{measured_mm:.3g} mm: {gauges:.1f} gauges apart, {abs(z):.1f} standard uncertainties"
    )
    return Agreement(z, agrees, f"{head}; {_remark(z, agrees)}")


def _remark(z: float, agrees: bool) -> str:
    if agrees:
        return "they agree."
    if z > 0.0:
        return (
            "they disagree, the wire reads too thick: enamel or a second lead-out wire measured with it, the turns "
            "reckoned too few, a bad joint in the winding, or aluminium taken for copper."
        )
    return (
        "they disagree, the wire reads too thin: a stretched tail, the turns reckoned too many, half a winding's "
        "resistance for the whole, or a parallel path."
    )
