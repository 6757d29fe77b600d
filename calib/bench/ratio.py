"""The low-voltage ratio test: what it may be fed with, what it says of the no-load voltage, and V over R.

A section's voltage goes with that section's resistance: half with half or whole with whole, never mixed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.bench.guard import Quantity, positive, within
from calib.bench.meter import (
    DEFAULT_U_RESISTANCE_PCT,
    DEFAULT_U_VOLTAGE_PCT,
    ONE_METER_ONE_RANGE,
    MeterClass,
    rectangular,
    with_relative,
)

if TYPE_CHECKING:
    from uncertainties.core import AffineScalarFunc

# Highest rms voltage that may stand on any winding while the clips are within reach [V]; IEC 61010-1, dry conditions.
HAZARDOUS_LIVE_V = 30.0
# Taken for the highest winding, end to end, and for the line until they are known: so that too little is fed, never too
# much [V] (judgement).
HIGHEST_TAKEN_V, LINE_TAKEN_V = 1000.0, 95.0
HIGHEST_RESISTANCE = "the winding of highest resistance"
# Excitation that keeps the iron's permeability up, as a share of the nominal voltage (judgement).
EXCITATION_SHARE = (0.03, 0.15)
# Standard uncertainty of a ratio-scaled voltage for the exciting current's drop, uncorrected [%] (judgement).
EXCITING_DROP_U_PCT = 0.3


def no_load_voltage(excitation_v: Quantity, hv_v: Quantity, line_voltage_v: Quantity) -> Quantity:
    """No-load voltage at the nominal line, scaled up from a ratio test.

    Parameters
    ----------
    excitation_v : number
        Fed to the primary, read at its terminals, rms, above 0 [V].
    hv_v : number
        Read across the section, whole or half, in the same test, rms, above 0 [V].
    line_voltage_v : number
        Nominal line voltage of the primary, rms, above 0 [V].

    Returns
    -------
    number
        V = V_line V2 / V1, of the section that was read, rms [V].

    Raises
    ------
    ValueError
        A voltage of zero or less.
    """
    positive("excitation", excitation_v, "V")
    positive("voltage read", hv_v, "V")
    positive("line voltage", line_voltage_v, "V")
    return line_voltage_v * hv_v / excitation_v


def max_excitation_v(
    fed_nominal_v: Quantity, highest_nominal_v: Quantity, limit_v: float = HAZARDOUS_LIVE_V
) -> Quantity:
    """Highest excitation that leaves every winding at or under the limit.

    CAUTION: every winding becomes live in proportion to its turns. Feeding a heater winding with its own 6.3 V puts the
    full line voltage on the primary and the full high voltage on its winding.

    Parameters
    ----------
    fed_nominal_v : number
        Nominal voltage of the winding that is fed, rms, above 0 [V].
    highest_nominal_v : number
        Nominal voltage of the highest winding, end to end, rms, at least `fed_nominal_v` [V].
    limit_v : float
        Voltage allowed on any winding, rms, above 0 [V].

    Returns
    -------
    number
        limit V_fed / V_highest, and never more than the limit [V].

    Raises
    ------
    ValueError
        A voltage of zero or less, or a highest below the one fed.

    Notes
    -----
    Source of the limit: IEC 61010-1.
    """
    positive("nominal voltage of the winding fed", fed_nominal_v, "V")
    positive("limit", limit_v, "V")
    positive("highest nominal voltage", highest_nominal_v, "V")
    within("nominal voltage of the winding fed over the highest", fed_nominal_v / highest_nominal_v, 0.0, 1.0, "")
    return limit_v * fed_nominal_v / highest_nominal_v


@dataclass(frozen=True)
class Feed:
    """What may be fed in a ratio test.

    Attributes
    ----------
    allowed_v : float
        The most, to the winding that is named, rms [V].
    known : str
        What is known of the leads.
    how : str
        What to feed, how much, and when to stop; to be read before the source is switched on.
    """

    allowed_v: float
    known: str
    how: str

    @property
    def advice(self) -> str:
        """What is known, and what to feed then."""
        return f"{self.known}: {self.how}"


def feed(
    proven: bool,
    line_voltage_v: float | None = None,
    highest_v: float | None = None,
    winding: str = HIGHEST_RESISTANCE,
) -> Feed:
    """What to feed in a ratio test, by what is known of the leads.

    CAUTION: every winding becomes live in proportion to its turns; a heater winding is never the one to feed.

    Parameters
    ----------
    proven : bool
        Whether it is proven which leads are the primary's; a resistance or a colour proves nothing.
    line_voltage_v : float or None
        Nominal voltage of the primary, rms, above 0; None where not known: LINE_TAKEN_V is taken [V].
    highest_v : float or None
        Voltage of the highest winding at that line, end to end, rms, above 0; None where not known: HIGHEST_TAKEN_V is
        taken [V].
    winding : str
        The winding of highest resistance as the reader knows it, for where nothing is proven.

    Returns
    -------
    Feed
        Not proven: 30 V to the winding of highest resistance. Proven: 30 V V_line / V_highest to the primary.

    Raises
    ------
    ValueError
        A voltage of zero or less.

    Notes
    -----
    Source of the limit: IEC 61010-1.

    Examples
    --------
    >>> feed(True, 117.0, 650.0).advice
    'Primary proven: feed it at most 5.4 V (650 V end to end then reads 30 V), and stop if any winding passes 30 V.'
    """
    limit = HAZARDOUS_LIVE_V
    if not proven:
        return Feed(
            limit,
            "Leads not yet proven",
            f"feed {winding}, end to end, from zero to at most {limit:g} V, and stop if any other reads more than it.",
        )
    line = LINE_TAKEN_V if line_voltage_v is None else line_voltage_v
    positive("line voltage", line, "V")
    highest = max(HIGHEST_TAKEN_V if highest_v is None else highest_v, line)
    allowed = max_excitation_v(line, highest, limit)
    said = f"feed it at most {down(allowed)} V ({highest:.4g} V end to end then reads {limit:g} V), and "
    said += f"stop if any winding passes {limit:g} V."
    taken = [] if highest_v is not None else [f"{HIGHEST_TAKEN_V:g} V for the highest winding"]
    taken += [] if line_voltage_v is not None else [f"{LINE_TAKEN_V:g} V for the line"]
    return Feed(
        allowed, "Primary proven", said + (f" Taken until it is known: {' and '.join(taken)}." if taken else "")
    )


# The same in general, for paper and for whoever has not begun yet.
FEED_RULES = (
    feed(False).advice,
    f"Primary proven: feed it at most {HAZARDOUS_LIVE_V:g} V × the line's voltage ÷ the highest voltage of any "
    f"winding, end to end, and stop if any winding passes {HAZARDOUS_LIVE_V:g} V.",
)


def down(volts: float) -> str:
    """A limit above 0 [V] with three digits, never rounded up."""
    after = max(0, 2 - math.floor(math.log10(volts)))
    shown = f"{math.floor(volts * 10**after + 1e-9) / 10**after:.{after}f}"
    return shown.rstrip("0").rstrip(".") if after else shown


def ratio_uncertainty(
    excitation_v: float, hv_v: float, meter: MeterClass, correlation: float = ONE_METER_ONE_RANGE
) -> float:
    """Relative standard uncertainty of V2/V1, the meter's common gain error cancelled.

    Parameters
    ----------
    excitation_v, hv_v : float
        The two readings, rms, above 0 [V].
    meter : MeterClass
        Class on the range used; the finest range that holds both readings is best.
    correlation : float
        Of the two gain errors, 0 to 1: 1 one meter and range, 0.5 one meter on two ranges, 0 two meters [-].

    Returns
    -------
    float
        sqrt(2 g² (1 - r) + (u_c/V1)² + (u_c/V2)²), g the gain's and u_c the counts' standard uncertainty [-].

    Raises
    ------
    ValueError
        A voltage of zero or less, or a correlation outside 0 to 1.

    Notes
    -----
    Source: JCGM 100:2008, clause 5.2.
    """
    positive("excitation", excitation_v, "V")
    positive("voltage read", hv_v, "V")
    within("correlation of the gain errors", correlation, 0.0, 1.0, "")
    gain = rectangular(meter.percent / 100.0)
    count = rectangular(meter.counts * meter.resolution)
    return math.sqrt(2.0 * gain**2 * (1.0 - correlation) + (count / excitation_v) ** 2 + (count / hv_v) ** 2)


def v_over_r(
    no_load_v: float | AffineScalarFunc,
    resistance_ohm: float | AffineScalarFunc,
    u_voltage_pct: float = DEFAULT_U_VOLTAGE_PCT,
    u_resistance_pct: float = DEFAULT_U_RESISTANCE_PCT,
) -> AffineScalarFunc:
    """Voltage over resistance of one section, whole or half, with its standard uncertainty.

    Parameters
    ----------
    no_load_v : float or value with its uncertainty
        No-load voltage at the nominal line, rms, above 0 [V].
    resistance_ohm : float or value with its uncertainty
        Dc resistance of the SAME section at 20 °C, above 0 [ohm].
    u_voltage_pct, u_resistance_pct : float
        Relative standard uncertainties, 0 or more, for what is given as a plain number [%].

    Returns
    -------
    value with its uncertainty
        V / R [V/ohm].

    Raises
    ------
    ValueError
        A voltage or resistance of zero or less, or a negative uncertainty.
    """
    positive("no-load voltage", no_load_v, "V")
    positive("resistance", resistance_ohm, "ohm")
    from uncertainties import ufloat

    if not hasattr(no_load_v, "std_dev"):
        no_load_v = with_relative(no_load_v, u_voltage_pct, "voltage")
    if not hasattr(resistance_ohm, "std_dev"):
        resistance_ohm = with_relative(resistance_ohm, u_resistance_pct, "resistance")
    quotient = no_load_v / resistance_ohm
    return quotient if hasattr(quotient, "std_dev") else ufloat(quotient, 0.0)
