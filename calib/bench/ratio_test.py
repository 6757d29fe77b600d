"""The low-voltage ratio test: what it may be fed with, what it says of the no-load voltage, and V over R.

A section's voltage goes with that section's resistance: half with half or whole with whole, never mixed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.bench.uncertainty import (
    DEFAULT_U_RESISTANCE_PCT,
    DEFAULT_U_VOLTAGE_PCT,
    EXCITATION,
    EXCITING_DROP,
    HAZARDOUS_LIVE_V,
    NO_LOAD,
    ONE_METER_ONE_RANGE,
    VOLTAGE_READ,
    MeterClass,
    read_one,
    read_pair,
    rectangular,
    with_relative,
)
from calib.errors import Quantity, not_negative, positive, within

if TYPE_CHECKING:
    from uncertainties.core import AffineScalarFunc

__all__ = ["COUPLING_SUSPECT", "EXCITATION_SHARE", "EXCITING_DROP_U_PCT", "FEED_RULES"]
__all__ += ["Feed", "LOADING_IGNORED_PCT", "ScaledTaps", "TapReading", "TwoWay", "down"]
__all__ += ["feed", "heater_excitation", "max_excitation_v", "meter_loading", "no_load_taken"]
__all__ += ["no_load_voltage", "ratio_taken", "ratio_uncertainty", "scale_taps", "two_way", "unloaded_voltage"]
__all__ += ["usual_heater_v", "v_over_r"]

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
    The readings are `read_pair`'s. Source: JCGM 100:2008, clause 5.2 and F.1.2.3.
    """
    first, second = read_pair(excitation_v, hv_v, meters, correlation, (EXCITATION, VOLTAGE_READ))
    return no_load_voltage(first, second, line_voltage_v) * with_relative(1.0, drop_u_pct, EXCITING_DROP)


def no_load_taken(no_load_v: float, meter: MeterClass) -> Quantity:
    """No-load voltage that was read directly [V] with its standard uncertainty by the meter's class."""
    return read_one(no_load_v, meter, NO_LOAD)


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


# Below this coupling: a fault, an air gap or the wrong pair of windings (judgement).
COUPLING_SUSPECT = 0.97
# A reading low by less than this for the meter's own load is left as it is [%] (judgement).
LOADING_IGNORED_PCT = 0.1


def meter_loading(winding_ohm: Quantity, meter_ohm: Quantity) -> Quantity:
    """Share by which a voltmeter reads low because it loads the winding.

    Parameters
    ----------
    winding_ohm : number
        Resistance of the section that is read, 0 or more [ohm].
    meter_ohm : number
        Input resistance of the meter on its range, above 0 [ohm].

    Returns
    -------
    number
        R / (R + Z) [-].

    Raises
    ------
    ValueError
        A negative winding or a meter of zero or less.
    """
    not_negative("winding resistance", winding_ohm, "ohm")
    positive("meter's input resistance", meter_ohm, "ohm")
    return winding_ohm / (winding_ohm + meter_ohm)


def unloaded_voltage(reading_v: Quantity, winding_ohm: Quantity, meter_ohm: Quantity) -> Quantity:
    """Voltage that would stand without the meter: V (1 + R/Z), of a reading above 0 [V] and as `meter_loading` [V]."""
    positive("voltage read", reading_v, "V")
    return reading_v / (1.0 - meter_loading(winding_ohm, meter_ohm))


@dataclass(frozen=True)
class TwoWay:
    """What two ratio tests, one driving each winding, say together.

    Attributes
    ----------
    turns_ratio : float
        Turns of winding 2 over those of winding 1, free of the coupling [-].
    coupling : float
        Share of the flux that both windings have in common [-].
    """

    turns_ratio: float
    coupling: float


def two_way(forward: float, reverse: float) -> TwoWay:
    """Turns ratio and coupling from driving each of two windings in turn.

    Parameters
    ----------
    forward : float
        V2/V1 with winding 1 driven, above 0 [-].
    reverse : float
        V1/V2 with winding 2 driven, above 0 [-].

    Returns
    -------
    TwoWay
        n = sqrt(forward / reverse) and k = sqrt(forward reverse) [-].

    Raises
    ------
    ValueError
        A ratio of zero or less.

    Notes
    -----
    Source: Magnetic Circuits and Transformers (MIT EE Staff).
    """
    positive("ratio V2/V1 driving winding 1", forward, "")
    positive("ratio V1/V2 driving winding 2", reverse, "")
    return TwoWay((forward / reverse) ** 0.5, (forward * reverse) ** 0.5)


@dataclass(frozen=True)
class TapReading:
    """One tap, read from the common end of its winding.

    Attributes
    ----------
    name : str
        What the lead is called.
    volts : float
        In the ratio test, rms, above 0 [V].
    ohm : float
        Resistance from the same end, above 0; NaN where not read [ohm].
    """

    name: str
    volts: float
    ohm: float = math.nan


@dataclass(frozen=True)
class ScaledTaps:
    """The taps of a winding in order from the common end.

    Attributes
    ----------
    names : tuple of str
        The leads, by rising voltage.
    volts : tuple of float
        No-load voltage of each at the line, rms [V].
    ohms : tuple of float
        Resistance of each from the common end; NaN where not read [ohm].
    line_voltage_v : float
        The line that they are scaled to [V].
    faults : tuple of str
        Where resistance does not rise with voltage; empty where all is well.
    """

    names: tuple[str, ...]
    volts: tuple[float, ...]
    ohms: tuple[float, ...]
    line_voltage_v: float
    faults: tuple[str, ...]


def scale_taps(
    taps: Sequence[TapReading], excitation_v: float, line_voltage_v: float, u_ohm: float = 0.0
) -> ScaledTaps:
    """No-load voltage of each tap of a winding at a line voltage, and whether its resistances rise with it.

    Parameters
    ----------
    taps : sequence of TapReading
        Of one winding, all from one end; for a primary, the tap that the line belongs to may be the one that is fed.
    excitation_v : float
        What the winding for the line was fed in the test, rms, above 0 [V].
    line_voltage_v : float
        Line voltage to scale to: of the winding that was fed, rms, above 0 [V].
    u_ohm : float
        Standard uncertainty of a resistance, 0 or more: smaller falls are no fault [ohm].

    Returns
    -------
    ScaledTaps
        V_line V_tap / V_excitation each, by rising voltage.

    Raises
    ------
    ValueError
        No tap, the same name twice, or a reading of zero or less.
    """
    positive("excitation", excitation_v, "V")
    positive("line voltage", line_voltage_v, "V")
    not_negative("uncertainty of a resistance", u_ohm, "ohm")
    if not taps:
        raise ValueError("taps are empty: give at least one reading")
    names = [tap.name for tap in taps]
    for tap in taps:
        positive(f"voltage of tap {tap.name}", tap.volts, "V")
        positive(f"resistance of tap {tap.name}", tap.ohm, "ohm")
        if names.count(tap.name) > 1:
            raise ValueError(f"tap is '{tap.name}' twice: give each lead once")
    ordered = sorted(taps, key=lambda tap: tap.volts)
    return ScaledTaps(
        tuple(tap.name for tap in ordered),
        tuple(line_voltage_v * tap.volts / excitation_v for tap in ordered),
        tuple(tap.ohm for tap in ordered),
        line_voltage_v,
        _falls([tap for tap in ordered if not math.isnan(tap.ohm)], u_ohm),
    )


def _falls(ordered: list[TapReading], u_ohm: float) -> tuple[str, ...]:
    """Neighbours whose resistance falls while the voltage rises."""
    return tuple(
        f"{high.name} reads {high.volts:.4g} V and {high.ohm:.4g} ohm, {low.name} {low.volts:.4g} V and "
        f"{low.ohm:.4g} ohm: more turns with less copper, so a lead is swapped or one tap is of another winding"
        for low, high in zip(ordered, ordered[1:], strict=False)
        if high.ohm < low.ohm - 2.0 * math.sqrt(2.0) * u_ohm
    )


# Heater voltages met [V]; RCA Receiving Tube Manual, Radiotron Designer's Handbook (4.0 V is European). 1.4 and 2.0 V
# are filaments of battery valves, which no mains transformer feeds.
HEATER_VOLTS = (1.5, 2.5, 4.0, 5.0, 6.3, 7.5, 10.0, 11.0, 12.6)
NO_LOAD_BAND = (
    -0.03,
    0.15,
)  # no-load voltage over the rated one, less 1, at which a winding is taken for it (judgement)
USUAL_EXCESS = 0.09  # middle of what heater windings show unloaded: 6.6..7.1 V for 6.3 V (judgement)
LOW_EXCITATION_V = 1.0  # below this a source cannot be set with care: feed a higher winding (judgement)


def usual_heater_v(no_load_v: float) -> tuple[float, ...]:
    """Rated heater voltages that a winding's no-load voltage may stand for.

    Parameters
    ----------
    no_load_v : float
        No-load voltage of the whole winding at the nominal line, rms, above 0 [V].

    Returns
    -------
    tuple of float
        Those of HEATER_VOLTS that it exceeds by -3 to +15 %, the likeliest first; empty where none does [V].

    Raises
    ------
    ValueError
        A voltage of zero or less.

    Examples
    --------
    >>> usual_heater_v(6.86)
    (6.3,)
    """
    positive("no-load voltage", no_load_v, "V")
    low, high = NO_LOAD_BAND
    fitting = [rated for rated in HEATER_VOLTS if low <= no_load_v / rated - 1.0 <= high]
    return tuple(sorted(fitting, key=lambda rated: abs(math.log(no_load_v / rated / (1.0 + USUAL_EXCESS)))))


def heater_excitation(heater_v: float, highest_v: float, limit_v: float = HAZARDOUS_LIVE_V) -> tuple[float, str]:
    """What a heater winding may be fed with in a ratio test, with its caution.

    CAUTION: a heater winding fed with its own voltage puts the full line voltage on the primary and the full high
    voltage on its winding.

    Parameters
    ----------
    heater_v : float
        Nominal voltage of the heater winding, rms, above 0 [V].
    highest_v : float
        Nominal voltage of the highest winding, end to end, rms, at least that of the heater [V].
    limit_v : float
        Voltage allowed on any winding, rms, above 0 [V].

    Returns
    -------
    (float, str)
        The most, as `max_excitation_v` [V], and the caution, to be read before the source is connected.

    Raises
    ------
    ValueError
        As for `max_excitation_v`.

    Notes
    -----
    Source of the limit: IEC 61010-1.
    """
    allowed = max_excitation_v(heater_v, highest_v, limit_v)
    caution = (
        f"Feed the {heater_v:g} V winding with {allowed:.3g} V at most: its full {heater_v:g} V would put "
        f"{highest_v:.4g} V on the highest winding, which kills. Use an isolated, current-limited source, clip the "
        "meters on before it is switched on, and take the clips off last."
    )
    if allowed < LOW_EXCITATION_V:
        caution += f" So little is hard to set: rather feed the highest winding with {limit_v:g} V or less."
    return allowed, caution
