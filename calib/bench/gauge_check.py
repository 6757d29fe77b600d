"""Cross-check of a gauge: the bare diameter that a winding's resistance, turns and mean turn imply.

Resistance and length together tell the wire better than a micrometer over enamel does; where the two disagree, one of
the readings is wrong or the wire is not what it seems.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

from calib.bench.copper import RESISTIVITY_OHM_M
from calib.bench.core import STACKING_FACTOR
from calib.bench.flux import DESIGN_FLUX_T, turns_per_volt
from calib.bench.guard import not_negative, positive
from calib.bench.meter import DEFAULT_U_RESISTANCE_PCT, rectangular
from calib.bench.wire import awg_from_diameter
from calib.bench.wire_film import bare_tolerance_mm
from calib.bench.wire_tables import nearest_sizes

if TYPE_CHECKING:
    import pandas as pd

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
    diameter_mm, low_mm, high_mm : float
        Nominal bare diameter and the interval that holds it with probability `level` [mm].
    level : float
        Probability of the interval [-].
    u_ln : float
        Standard uncertainty of ln diameter [-].
    awg : float
        American gauge with its fraction [-].
    """

    diameter_mm: float
    low_mm: float
    high_mm: float
    level: float
    u_ln: float
    awg: float

    @property
    def nearest(self) -> tuple[str, str, str, str]:
        """Nearest AWG, SWG, metric and old metric size, by name."""
        return nearest_sizes(self.diameter_mm)

    def frame(self) -> pd.DataFrame:
        """One row: diameter_mm, low_mm, high_mm, level, awg and the nearest sizes."""
        import pandas as pd

        series = ("nearest_awg", "nearest_swg", "nearest_metric", "nearest_old_metric")
        names = dict(zip(series, self.nearest, strict=True))
        limits = {"diameter_mm": self.diameter_mm, "low_mm": self.low_mm, "high_mm": self.high_mm, "level": self.level}
        return pd.DataFrame([{**limits, "awg": self.awg, **names}])


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


def implied_wire(winding: WoundWire, level: float = 0.9) -> ImpliedWire:
    """Bare diameter that a winding's resistance implies, with its interval.

    Parameters
    ----------
    winding : WoundWire
        Resistance, turns and mean turn.
    level : float
        Probability of the interval, above 0 and below 1 [-].

    Returns
    -------
    ImpliedWire
        d = sqrt(4 rho N MLT (1 + e) / (pi R)), e the middle of WOUND_EXCESS.

    Raises
    ------
    ValueError
        A level outside 0 to 1.

    Notes
    -----
    R = rho N MLT / A, raised by the excess of wound wire. Each relative uncertainty of R, N, MLT and 1 + e counts half
    in the diameter. Source: IEC 60028 for rho; JCGM 100:2008, clause 5.1.6.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level is {level}: it must be above 0 and below 1")
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
    reach = NormalDist().inv_cdf((1.0 + level) / 2.0) * u_ln
    limits = diameter * math.exp(-reach), diameter * math.exp(reach)
    return ImpliedWire(diameter, *limits, level, u_ln, awg_from_diameter(diameter))


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
