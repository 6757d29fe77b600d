"""Resistance of copper and aluminium: its temperature, the rise that it tells, the null of the leads.

Everything here is written with plain operators, so that a number, an array, a Series or a value with its uncertainty
may be given, and (but for the checks) a column expression too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.guard import Quantity, above, not_negative, positive

REFERENCE_C = 20.0  # temperature to which resistances are brought [°C]; IEC 60028 states resistivity there


@dataclass(frozen=True)
class Conductor:
    """A winding metal.

    Attributes
    ----------
    name : str
        copper or aluminium.
    inferred_zero_c : float
        Degrees below 0 °C at which the resistance, drawn on as a straight line, would vanish [°C].
    test_code_zero_c : float
        The rounded figure that transformer test codes use instead [°C].
    resistivity_ohm_m : float
        Of annealed metal at 20 °C [ohm m].
    density_g_cm3 : float
        [g/cm³].
    source : str
        Standards that give the figures.
    """

    name: str
    inferred_zero_c: float
    test_code_zero_c: float
    resistivity_ohm_m: float
    density_g_cm3: float
    source: str

    @property
    def coefficient_per_k(self) -> float:
        """Relative change of resistance per kelvin at 20 °C, 1/(K + 20) [1/K]."""
        return 1.0 / (self.inferred_zero_c + REFERENCE_C)


CONDUCTORS = {
    metal.name: metal
    for metal in (
        Conductor("copper", 234.5, 235.0, 1.7241e-8, 8.89, "IEC 60028; ASTM B193; IEEE C57.12.90"),
        Conductor("aluminium", 228.1, 225.0, 2.8264e-8, 2.70, "IEC 60889; ASTM B193; IEC 60076-2"),
    )
}
INFERRED_ZERO_C = {name: metal.inferred_zero_c for name, metal in CONDUCTORS.items()}
RESISTIVITY_OHM_M = {name: metal.resistivity_ohm_m for name, metal in CONDUCTORS.items()}

# The hottest spot lies this far above the average that a resistance tells [K]; practice of IEC 60034-1 and IEC 60076.
HOT_SPOT_ABOVE_MEAN_K = (5.0, 15.0)


def resistance_at(
    ohm: Quantity,
    temp_c: Quantity,
    to_c: Quantity = REFERENCE_C,
    inferred_zero_c: Quantity = INFERRED_ZERO_C["copper"],
) -> Quantity:
    """Bring a dc resistance from the temperature at which it was read to another.

    Parameters
    ----------
    ohm : number
        Resistance of a winding, whole or any section, above 0 [ohm].
    temp_c : number
        Temperature of the winding when read, above the inferred zero; the line is good to 0.1 % for -50..200 [°C].
    to_c : number
        Temperature wanted [°C].
    inferred_zero_c : number
        Of the metal; see INFERRED_ZERO_C [°C].

    Returns
    -------
    number
        Resistance at `to_c` [ohm].

    Raises
    ------
    ValueError
        A resistance of zero or less, or a temperature at or below the inferred zero.

    Notes
    -----
    R2 = R1 (K + t2) / (K + t1). Source: IEEE C57.12.90.

    Examples
    --------
    >>> round(resistance_at(38.42, 19.6), 5)
    38.48048
    """
    positive("resistance", ohm, "ohm")
    above("winding temperature", temp_c, -inferred_zero_c, "°C")
    above("temperature wanted", to_c, -inferred_zero_c, "°C")
    return ohm * (inferred_zero_c + to_c) / (inferred_zero_c + temp_c)


def wire_resistance(
    length_m: Quantity, diameter_mm: Quantity, resistivity_ohm_m: float = RESISTIVITY_OHM_M["copper"]
) -> Quantity:
    """Resistance at 20 °C of a length of round wire.

    Fine wire that has been drawn and wound commonly reads 1..3 % above this.

    Parameters
    ----------
    length_m : number
        Length, above 0 [m].
    diameter_mm : number
        Bare diameter, above 0 [mm].
    resistivity_ohm_m : float
        At 20 °C [ohm m].

    Returns
    -------
    number
        R = 4 rho L / (pi d²) [ohm].

    Raises
    ------
    ValueError
        A length or diameter of zero or less.
    """
    positive("length", length_m, "m")
    positive("bare diameter", diameter_mm, "mm")
    positive("resistivity", resistivity_ohm_m, "ohm m")
    return resistivity_ohm_m * length_m / (math.pi / 4.0 * (diameter_mm * 1e-3) ** 2)


def hot_temperature(
    cold_ohm: Quantity,
    cold_temp_c: Quantity,
    hot_ohm: Quantity,
    inferred_zero_c: Quantity = INFERRED_ZERO_C["copper"],
) -> Quantity:
    """Average temperature of a winding, from its resistance hot and cold; the hottest spot is above it.

    Parameters
    ----------
    cold_ohm : number
        Resistance of the unit soaked to room air for 4 h or more, above 0 [ohm].
    cold_temp_c : number
        Temperature of the winding then [°C].
    hot_ohm : number
        Resistance of the same winding hot, by the same leads, above 0 [ohm].
    inferred_zero_c : number
        Of the metal [°C].

    Returns
    -------
    number
        t2 = (R2 / R1) (K + t1) - K [°C].

    Raises
    ------
    ValueError
        A resistance of zero or less, or a cold temperature at or below the inferred zero.

    Notes
    -----
    Values with uncertainties carry theirs through. One meter's gain error is common to both resistances and cancels:
    give readings from `calib.bench.meter.read_pair`. Source: IEC 60034-1; IEC 60076-2.
    """
    positive("cold resistance", cold_ohm, "ohm")
    positive("hot resistance", hot_ohm, "ohm")
    above("cold temperature", cold_temp_c, -inferred_zero_c, "°C")
    return hot_ohm / cold_ohm * (inferred_zero_c + cold_temp_c) - inferred_zero_c


def rise_by_resistance(
    cold_ohm: Quantity,
    cold_temp_c: Quantity,
    hot_ohm: Quantity,
    end_ambient_c: Quantity,
    inferred_zero_c: Quantity = INFERRED_ZERO_C["copper"],
) -> Quantity:
    """Average rise of a winding above the air at the END of the test, the drift of the room allowed for.

    Parameters
    ----------
    cold_ohm, cold_temp_c, hot_ohm, inferred_zero_c : number
        As for `hot_temperature` [ohm, °C, ohm, °C].
    end_ambient_c : number
        Temperature of the air when the hot resistance was read [°C].

    Returns
    -------
    number
        ((R2 - R1) / R1) (K + t1) - (t2 - t1) [K].

    Raises
    ------
    ValueError
        As for `hot_temperature`, or an ambient at or below the inferred zero.

    Notes
    -----
    Source: IEC 60034-1; IEC 60076-2; IEEE C57.12.90.
    """
    above("ambient at the end", end_ambient_c, -inferred_zero_c, "°C")
    return hot_temperature(cold_ohm, cold_temp_c, hot_ohm, inferred_zero_c) - end_ambient_c


def less_lead_null(reading_ohm: Quantity, null_ohm: Quantity) -> Quantity:
    """Take the resistance of the test leads, clipped together at the same points, off a reading.

    Parameters
    ----------
    reading_ohm : number
        Resistance as the meter shows it [ohm].
    null_ohm : number
        What the meter shows with the clips joined, 0 or more [ohm].

    Returns
    -------
    number
        R = reading - null, above 0 [ohm].

    Raises
    ------
    ValueError
        A negative null, or one as large as the reading.

    Notes
    -----
    The uncertainties of both add in quadrature. Below `FOUR_WIRE_BELOW_OHM` the null is too large a part: read by four
    wires.
    """
    not_negative("lead null", null_ohm, "ohm")
    above("resistance read with the leads", reading_ohm, null_ohm, "ohm")
    return reading_ohm - null_ohm


FOUR_WIRE_BELOW_OHM = 5.0  # below about this a two-wire reading is mostly leads [ohm]; bench practice (judgement)
