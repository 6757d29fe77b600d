"""Readings as they are taken on meters of one's own: each voltage on its meter, the resistance by two leads or four."""

from __future__ import annotations

import math

from calib.bench.copper import INFERRED_ZERO_C, less_lead_null, resistance_at
from calib.bench.guard import Quantity, within
from calib.bench.meter import (
    LEAD_NULL_U_OHM,
    WINDING_TEMP_HALF_WIDTH_K,
    MeterClass,
    read_one,
    rectangular,
    with_relative,
    with_u,
)
from calib.bench.ratio import EXCITING_DROP_U_PCT, no_load_voltage

# What the parts of the uncertainty are called, here and in the budget.
EXCITATION, VOLTAGE_READ = "excitation", "voltage read"
EXCITING_DROP, NO_LOAD = "exciting drop", "no-load voltage"
RESISTANCE, LEAD_NULL, WINDING_TEMP = "resistance", "lead null", "winding temperature"


def ratio_taken(
    excitation_v: float,
    hv_v: float,
    line_voltage_v: float,
    meters: tuple[MeterClass, MeterClass],
    correlation: float,
    drop_u_pct: float = EXCITING_DROP_U_PCT,
) -> Quantity:
    """No-load voltage from a ratio test whose two voltages were read on two ranges or on two meters.

    Parameters
    ----------
    excitation_v, hv_v, line_voltage_v : float
        As for `no_load_voltage`; the nominal line is exact [V].
    meters : (MeterClass, MeterClass)
        Classes of the range on which each of the two voltages was read; one and the same twice where it was one.
    correlation : float
        Of their gain errors, 0 to 1: ONE_METER_ONE_RANGE, ONE_METER_OTHER_RANGE or TWO_METERS [-].
    drop_u_pct : float
        Relative standard uncertainty for the exciting current's drop, which is not corrected; 0 leaves it out [%].

    Returns
    -------
    value with its uncertainty
        Gains, counts and the allowance for the exciting current's drop are tagged [V].

    Raises
    ------
    ValueError
        As for `no_load_voltage`, or a correlation outside 0 to 1.

    Notes
    -----
    gain_i = g_i (sqrt(r) common + sqrt(1 - r) own_i), g_i = percent_i / (100 sqrt(3)): with one class for both this is
    `read_pair`. Source: JCGM 100:2008, clause 5.2 and F.1.2.3.
    """
    within("correlation of the gain errors", correlation, 0.0, 1.0, "")
    common = with_u(0.0, math.sqrt(correlation), "gain common to both")

    def read(value: float, meter: MeterClass, tag: str) -> Quantity:
        own = with_u(0.0, math.sqrt(1.0 - correlation), f"gain, {tag}")
        count = with_u(0.0, rectangular(meter.counts * meter.resolution), f"counts, {tag}")
        return value * (1.0 + rectangular(meter.percent / 100.0) * (common + own)) + count

    first, second = read(excitation_v, meters[0], EXCITATION), read(hv_v, meters[1], VOLTAGE_READ)
    return no_load_voltage(first, second, line_voltage_v) * with_relative(1.0, drop_u_pct, EXCITING_DROP)


def no_load_taken(no_load_v: float, meter: MeterClass) -> Quantity:
    """No-load voltage that was read directly [V] with its standard uncertainty by the meter's class."""
    return read_one(no_load_v, meter, NO_LOAD)


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
