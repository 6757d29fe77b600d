"""Resistance of copper and aluminium: its temperature and how long that takes, the rise that it tells, the leads' null.

The laws are written with plain operators, so that a number, an array, a Series or a value with its uncertainty may be
given, and (but for the checks) a column expression too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.uncertainty import (
    LEAD_NULL,
    LEAD_NULL_U_OHM,
    RESISTANCE,
    WINDING_TEMP,
    WINDING_TEMP_HALF_WIDTH_K,
    MeterClass,
    read_one,
    rectangular,
    with_u,
)
from calib.errors import Fault, Quantity, above, not_negative, positive

__all__ = ["CONDUCTORS", "Conductor", "FOUR_WIRE_BELOW_OHM", "HOT_SPOT_ABOVE_MEAN_K", "INFERRED_ZERO_C"]
__all__ += ["REFERENCE_C", "RESISTIVITY_OHM_M", "RISE_AFTER_RUNNING_K", "SETTLING_H", "difference_left_k"]
__all__ += ["hot_temperature", "less_lead_null", "metal_faults", "resistance_at", "resistance_taken"]
__all__ += ["rise_by_resistance", "settling_h"]

REFERENCE_C = 20.0  # temperature to which resistances are brought [°C]; IEC 60028 states resistivity there


@dataclass(frozen=True)
class Conductor:
    """A winding metal.

    Attributes
    ----------
    inferred_zero_c : float
        Degrees below 0 °C at which the resistance, drawn on as a straight line, would vanish [°C].
    test_code_zero_c : float
        The rounded figure that transformer test codes use instead [°C].
    resistivity_ohm_m : float
        Of annealed metal at 20 °C [ohm m].
    density_g_cm3 : float
        [g/cm³].
    """

    inferred_zero_c: float
    test_code_zero_c: float
    resistivity_ohm_m: float
    density_g_cm3: float

    @property
    def coefficient_per_k(self) -> float:
        """Relative change of resistance per kelvin at 20 °C, 1/(K + 20) [1/K]."""
        return 1.0 / (self.inferred_zero_c + REFERENCE_C)


CONDUCTORS = {
    "copper": Conductor(234.5, 235.0, 1.7241e-8, 8.89),  # IEC 60028; ASTM B193; IEEE C57.12.90
    "aluminium": Conductor(228.1, 225.0, 2.8264e-8, 2.70),  # IEC 60889; ASTM B193; IEC 60076-2
}
INFERRED_ZERO_C = {name: metal.inferred_zero_c for name, metal in CONDUCTORS.items()}
RESISTIVITY_OHM_M = {name: metal.resistivity_ohm_m for name, metal in CONDUCTORS.items()}


def metal_faults(column: str, named: str) -> list[Fault]:
    """The fault of a metal that is not among CONDUCTORS, under the name of its field; none where it is."""
    if named in CONDUCTORS:
        return []
    remedy = f"give {' or '.join(CONDUCTORS)}"
    return [Fault("", None, column, str(named), "is no metal that windings are of", remedy, "choice")]


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
    give readings from `calib.bench.uncertainty.read_pair`. Source: IEC 60034-1; IEC 60076-2.
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


# Thermal time constant of an open unit on a square stack [min per mm of tongue]; from the heat stored in iron and
# copper over what the surface gives off at 12 W/m²K; end bells or potting make it 1.5 to 2 times that (judgement).
TIME_CONSTANT_MIN_PER_MM = 1.0
# Time constants after which less than 1 % of a difference is left: exp(-5) = 0.7 %.
TIME_CONSTANTS = 5.0
# Where the core is not known; practice of winding-resistance tests, IEEE C57.12.90 and IEC 60076-1.
SETTLING_H = 4.0
# Mean rise of a winding that has just been switched off, at the most; workshop limit for old enamel and paper [K].
RISE_AFTER_RUNNING_K = 55.0


def settling_h(tongue_mm: float | None = None) -> float:
    """Hours after which a winding has the temperature of the room.

    Parameters
    ----------
    tongue_mm : float or None
        Width of the core's centre limb, above 0; None where it is not known [mm].

    Returns
    -------
    float
        Five thermal time constants; SETTLING_H without a core [h].

    Raises
    ------
    ValueError
        A tongue of zero or less.
    """
    if tongue_mm is None:
        return SETTLING_H
    positive("tongue", tongue_mm, "mm")
    return TIME_CONSTANTS * TIME_CONSTANT_MIN_PER_MM * tongue_mm / 60.0


def difference_left_k(hours: float, tongue_mm: float | None = None, at_first_k: float = RISE_AFTER_RUNNING_K) -> float:
    """What is left of the difference between winding and room.

    Parameters
    ----------
    hours : float
        Since the unit last ran or was brought in, 0 or more [h].
    tongue_mm : float or None
        As for `settling_h` [mm].
    at_first_k : float
        Difference at first [K].

    Returns
    -------
    float
        at_first exp(-t / tau), tau a fifth of `settling_h` [K].

    Raises
    ------
    ValueError
        Hours below zero, or a tongue of zero or less.
    """
    not_negative("time at rest", hours, "h")
    return at_first_k * math.exp(-hours * TIME_CONSTANTS / settling_h(tongue_mm))


def resistance_taken(
    reading_ohm: float,
    meter: MeterClass,
    winding_temp_c: float,
    null: tuple[float, float] | None = (0.0, LEAD_NULL_U_OHM),
    temp_half_width_k: float = WINDING_TEMP_HALF_WIDTH_K,
    inferred_zero_c: float = INFERRED_ZERO_C["copper"],
) -> Quantity:
    """Resistance of a winding at 20 °C with its standard uncertainty, read by two leads or by four.

    Parameters
    ----------
    reading_ohm : float
        As shown, above the null [ohm].
    meter : MeterClass
        Class on the range used.
    winding_temp_c : float
        Temperature of the winding [°C].
    null : (float, float) or None
        Reading with the clips joined, 0 or more, and its standard uncertainty; 0 for the first where it is off the
        reading already; None for four wires, which have no null [ohm].
    temp_half_width_k : float
        Within which the winding's temperature is known, 0 or more [K].
    inferred_zero_c : float
        Of the metal [°C].

    Returns
    -------
    value with its uncertainty
        At 20 °C; reading, null and temperature are tagged [ohm].

    Raises
    ------
    ValueError
        As for `less_lead_null` and `resistance_at`, or a negative uncertainty.

    Notes
    -----
    R = (reading - null) (K + 20 °C) / (K + t). Source: JCGM 100:2008, clause 5.1.2; IEEE C57.12.90.
    """
    net = read_one(reading_ohm, meter, RESISTANCE)
    if null is not None:
        net = less_lead_null(net, with_u(null[0], null[1], LEAD_NULL))
    temp = with_u(winding_temp_c, rectangular(temp_half_width_k), WINDING_TEMP)
    return resistance_at(net, temp, inferred_zero_c=inferred_zero_c)
