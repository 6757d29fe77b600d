"""Round wire: gauges, area, ohm per metre, current density.

Diameters are of the bare wire: take the film, or the cotton or silk, off first.
"""

from __future__ import annotations

import math

from calib.bench.copper import RESISTIVITY_OHM_M
from calib.bench.guard import Quantity, positive, within

MM_PER_INCH = 25.4  # exact; ISO 80000-3
MM_PER_MIL = MM_PER_INCH / 1000.0
MM2_PER_CIRCULAR_MIL = math.pi / 4.0 * MM_PER_MIL**2  # area of a circle one mil across [mm²]

# ASTM B258: no. 36 is 5 mil across, and 39 steps up from there it is 92 times as thick.
AWG_DATUM_NUMBER = 36
AWG_DATUM_MM = 0.127
AWG_DATUM_RATIO = 92.0
AWG_DATUM_STEPS = 39
AWG_LOW, AWG_HIGH = -3, 56  # numbers that ASTM B258 lists: 0000 is -3

# Current densities usually met, small units densest [circular mils per ampere]; trade practice.
USUAL_CIRCULAR_MILS_PER_AMPERE = (350.0, 1000.0)


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
    return AWG_DATUM_MM * AWG_DATUM_RATIO ** ((AWG_DATUM_NUMBER - awg) / AWG_DATUM_STEPS)


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
    return AWG_DATUM_NUMBER - AWG_DATUM_STEPS * _log(diameter_mm / AWG_DATUM_MM) / math.log(AWG_DATUM_RATIO)


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


def circular_mils(diameter_mm: Quantity) -> Quantity:
    """Cross-section in circular mils: the square of the bare diameter in mil, from a diameter above 0 [mm]."""
    positive("bare diameter", diameter_mm, "mm")
    return (diameter_mm / MM_PER_MIL) ** 2


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


def density_from_circular_mils(circular_mils_per_ampere: Quantity) -> Quantity:
    """Current density [A/mm²] of so many circular mils per ampere, above 0: J = 1973.525 / (cmil/A)."""
    positive("circular mils per ampere", circular_mils_per_ampere, "")
    return 1.0 / (circular_mils_per_ampere * MM2_PER_CIRCULAR_MIL)


def circular_mils_per_ampere(density_a_mm2: Quantity) -> Quantity:
    """Circular mils per ampere of a current density, above 0 [A/mm²]."""
    positive("current density", density_a_mm2, "A/mm²")
    return 1.0 / (density_a_mm2 * MM2_PER_CIRCULAR_MIL)


def _log(value: Quantity) -> Quantity:
    if isinstance(value, (int, float)):
        return math.log(value)
    if hasattr(value, "std_dev"):
        from uncertainties import umath

        return umath.log(value)
    import numpy as np

    return np.log(value)
