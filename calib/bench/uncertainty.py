"""The accuracy of a meter as a standard uncertainty, readings that carry theirs, and the account of what made it.

Source throughout: JCGM 100:2008, Evaluation of measurement data - Guide to the expression of uncertainty in
measurement.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

from calib.errors import Quantity, not_negative, positive, within
from calib.paths import data

__all__ = ["ASSUMED_OHMMETER", "ASSUMED_VOLTMETER", "DEFAULT_U_RESISTANCE_PCT", "DEFAULT_U_VOLTAGE_PCT", "HALVES"]
__all__ += ["HAZARDOUS_LIVE_V"]
__all__ += ["LEAD_NULL_U_OHM", "MeterClass", "ONE_METER_ONE_RANGE", "ONE_METER_OTHER_RANGE", "ORDINARY_OHMMETER"]
__all__ += ["ORDINARY_VOLTMETER", "Part", "STATED_RESISTANCE", "STATED_VOLTAGE", "TWO_METERS"]
__all__ += ["WINDING_TEMP_HALF_WIDTH_K", "half_width", "main_part", "read_one", "read_pair", "rectangular"]
__all__ += ["relative_pct", "standard_uncertainty", "uncertainty_budget", "with_relative", "with_u"]

# Highest rms voltage that may stand on any winding while the clips are within reach [V]; IEC 61010-1, dry conditions.
HAZARDOUS_LIVE_V = 30.0


@dataclass(frozen=True)
class MeterClass:
    """A meter's stated limits of error on one range, plus or minus (percent of reading + counts).

    Attributes
    ----------
    percent : float
        Part that goes with the reading, 0 or more [% of reading].
    counts : float
        Part that stays, in steps of the last digit, 0 or more [-].
    resolution : float
        One step of the last digit, in the unit read, 0 or more.
    """

    percent: float
    counts: float
    resolution: float

    def __post_init__(self) -> None:
        not_negative("meter's percent of reading", self.percent, "%")
        not_negative("meter's counts", self.counts, "")
        not_negative("meter's resolution", self.resolution, "")


# Ordinary digital meters where a record names none: the classes of the section's worked readings (judgement).
ORDINARY_VOLTMETER = MeterClass(percent=1.0, counts=3, resolution=0.01)
ORDINARY_OHMMETER = MeterClass(percent=0.8, counts=2, resolution=0.1)

# How the gain errors of two readings go together (the first exact, the others judgement).
ONE_METER_ONE_RANGE = 1.0
ONE_METER_OTHER_RANGE = 0.5
TWO_METERS = 0.0

# Half-width within which a winding's temperature is known from the air round it [K] (judgement).
WINDING_TEMP_HALF_WIDTH_K = 1.5
# Standard uncertainty of the lead null [ohm] (judgement).
LEAD_NULL_U_OHM = 0.05

# Relative standard uncertainty of a no-load voltage whose record states none [%]: the ordinary voltmeter at 4.97 V and
# 13.88 V, no cancelling of gain credited since nobody knows whether one meter read both: 0.896 %, rounded. One meter
# on one range and the 0.3 % for the exciting drop would make 0.476 %, two meters and that allowance 0.945 %.
DEFAULT_U_VOLTAGE_PCT = 0.9
# The same for a resistance [%]: the ordinary ohmmeter at 50 ohm, the low end of high-voltage windings (0.693 %), the
# lead null of 0.05 ohm (0.100 %) and a temperature within 1.5 K at 20 °C (0.340 %), in quadrature: 0.778 %, rounded.
DEFAULT_U_RESISTANCE_PCT = 0.8


def rectangular(half_width: Quantity) -> Quantity:
    """Standard uncertainty of what lies anywhere within a half-width, 0 or more: a/sqrt(3) (clause 4.3.7)."""
    not_negative("half-width", half_width, "")
    return half_width / math.sqrt(3.0)


def half_width(reading: Quantity, meter: MeterClass) -> Quantity:
    """Limits of error of a reading: percent |reading| / 100 + counts resolution, in the unit of the reading."""
    return meter.percent / 100.0 * abs(reading) + meter.counts * meter.resolution


def standard_uncertainty(reading: Quantity, meter: MeterClass) -> Quantity:
    """Standard uncertainty of one reading by a meter's class.

    Parameters
    ----------
    reading : number
        As shown; the sign does not matter [any unit].
    meter : MeterClass
        Of the range that was used.

    Returns
    -------
    number
        u = (percent |reading| / 100 + counts resolution) / sqrt(3), in the unit of the reading.

    Notes
    -----
    Source: JCGM 100:2008, clause 4.3.7 (limits without a shape: rectangular).
    """
    return rectangular(half_width(reading, meter))


def relative_pct(value: Quantity, u: Quantity) -> Quantity:
    """Relative standard uncertainty 100 u/|value| [%] of a value other than zero."""
    positive("size of the value", abs(value), "")
    return 100.0 * u / abs(value)


def with_u(value: float, u: float, tag: str) -> Quantity:
    """A value with its standard uncertainty, 0 or more, and a tag; an exact one stays a plain number."""
    from uncertainties import ufloat

    not_negative(f"uncertainty of {tag}", u, "")
    return ufloat(value, u, tag) if u > 0.0 else value


def with_relative(value: float, u_pct: float, tag: str) -> Quantity:
    """A value with its relative standard uncertainty, 0 or more [%], as `with_u` gives it."""
    not_negative(f"relative uncertainty of {tag}", u_pct, "%")
    return with_u(value, abs(value) * u_pct / 100.0, tag)


def read_one(reading: float, meter: MeterClass, tag: str) -> Quantity:
    """A single reading with its standard uncertainty, as `with_u` gives it."""
    return with_u(reading, standard_uncertainty(reading, meter), tag)


def read_pair(
    first: float, second: float, meters: tuple[MeterClass, MeterClass], correlation: float, tags: tuple[str, str]
) -> tuple[Quantity, Quantity]:
    """Two readings of one kind whose gain errors go together, so that the common part cancels in their ratio.

    The percent part of a class is a gain error, correlated between the two; the counts part is each reading's own.

    Parameters
    ----------
    first, second : float
        The readings, both in one unit.
    meters : (MeterClass, MeterClass)
        Class of the range on which each was read; one and the same twice where it was one.
    correlation : float
        Of the gain errors, 0 to 1: ONE_METER_ONE_RANGE, ONE_METER_OTHER_RANGE or TWO_METERS [-].
    tags : (str, str)
        What each was read on.

    Returns
    -------
    (value, value)
        Each with its uncertainty; what is computed from both carries the correlation.

    Raises
    ------
    ValueError
        A correlation outside 0 to 1.

    Notes
    -----
    gain_i = g_i (sqrt(r) common + sqrt(1 - r) own_i), g_i = percent_i / (100 sqrt(3)). Source: JCGM 100:2008, clause
    5.2 and F.1.2.3.
    """
    within("correlation of the gain errors", correlation, 0.0, 1.0, "")
    common = with_u(0.0, math.sqrt(correlation), "gain common to both")

    def reading(value: float, meter: MeterClass, tag: str) -> Quantity:
        own = with_u(0.0, math.sqrt(1.0 - correlation), f"gain, {tag}")
        count = with_u(0.0, rectangular(meter.counts * meter.resolution), f"counts, {tag}")
        return value * (1.0 + rectangular(meter.percent / 100.0) * (common + own)) + count

    return reading(first, meters[0], tags[0]), reading(second, meters[1], tags[1])


# What the parts of the uncertainty are called, here and in uncertainty.toml: which source each is, and the remedy.
EXCITATION, VOLTAGE_READ = "excitation", "voltage read"
EXCITING_DROP, NO_LOAD = "exciting drop", "no-load voltage"
RESISTANCE, LEAD_NULL, WINDING_TEMP = "resistance", "lead null", "winding temperature"
# Tags of what is taken for granted or entered as it is, beside those of `taken`.
ASSUMED_VOLTMETER, ASSUMED_OHMMETER = "an ordinary voltmeter", "an ordinary ohmmeter"
STATED_VOLTAGE, STATED_RESISTANCE, HALVES = "stated of the voltage", "stated of the resistance", "one half read"


@dataclass(frozen=True)
class Part:
    """One source's part in an uncertainty.

    Attributes
    ----------
    source : str
        What it comes from, in words.
    u_pct : float
        What it makes by itself, as a relative standard uncertainty [%].
    share : float
        Of the whole variance, 0 to 1 [-].
    remedy : str
        What makes it smaller; blank where nothing is known.
    """

    source: str
    u_pct: float
    share: float
    remedy: str


def uncertainty_budget(value: Quantity) -> tuple[Part, ...]:
    """The parts of a value's uncertainty, the largest first.

    Parameters
    ----------
    value : value with its uncertainty
        Other than zero; a plain number has none.

    Returns
    -------
    tuple of Part
        A row for each source; the shares add up to 1. Empty where the value is exact.

    Notes
    -----
    u² = sum (df/dx u(x))², share = (df/dx u(x))² / u². Source: JCGM 100:2008, clauses 5.1.2 and 5.1.3.
    """
    if not hasattr(value, "error_components"):
        return ()
    variance: defaultdict[tuple[str, str], float] = defaultdict(float)
    told = data("bench/uncertainty.toml")
    for reading, spread in value.error_components().items():
        tag = reading.tag or "a reading"
        said = told.get(tag, {})
        variance[said.get("source", tag), said.get("remedy", "")] += spread**2
    whole, size = sum(variance.values()), abs(value.nominal_value)
    if not whole:
        return ()
    parts = [
        Part(source, 100.0 * part**0.5 / size, part / whole, remedy)
        for (source, remedy), part in variance.items()
        if part
    ]
    return tuple(sorted(parts, key=lambda part: (-part.share, part.source)))


def main_part(parts: tuple[Part, ...]) -> str:
    """The largest part in a sentence with its remedy; blank where there are no parts."""
    if not parts:
        return ""
    most = parts[0]
    said = f"{most.source} makes {100.0 * most.share:.0f} % of this"
    return f"{said}: {most.remedy}" if most.remedy else said
