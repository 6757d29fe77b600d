"""What a set asks beside its rectifier: resistors and their heat, a glow regulator, primary current, fuse, inrush.

Plain functions of measured or reckoned figures; rms for alternating currents. Sources: circuit law; Radiotron
Designer's Handbook (regulators, field coils); Magnetic Circuits and Transformers (MIT EE Staff) for the currents of one
sinusoidal line; IEC 60127 (fuse sizes).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calib.errors import above, not_negative, positive, within

__all__ = ["FUSES_MA", "FUSE_HOLDS", "FUSE_OVER_RMS", "GlowRegulator", "HeatBudget", "Inrush", "PrimaryCurrent"]
__all__ += ["Resistor", "Winding", "across", "dropping", "fuse_ma", "glow_regulator", "heat_budget", "heater_at_load"]
__all__ += ["E12", "in_series", "inrush", "preferred_ohm", "primary_current"]

E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)  # IEC 60063: what resistors are sold as

FUSE_OVER_RMS = 1.5  # judgement: 1.5 to 2 times the rms current, time-lag
FUSES_MA = (32.0, 40.0, 50.0, 63.0, 80.0) + tuple(
    size * power for power in (1.0, 10.0) for size in (100, 125, 160, 200, 250, 315, 400, 500, 630, 800)
)
FUSE_HOLDS = 10.0  # times its rating, which a time-lag fuse holds for the half-cycle of an inrush (IEC 60127)


@dataclass(frozen=True)
class Resistor:
    """A resistor and what is on it; `ohm`, `volts`, `amperes`, `watts` [ohm], [V], [A], [W]."""

    ohm: float
    volts: float
    amperes: float

    @property
    def watts(self) -> float:
        """Its heat; take one rated for twice that [W]."""
        return self.volts * self.amperes


def preferred_ohm(least_ohm: float, most_ohm: float) -> float:
    """The resistor that is sold nearest the geometric middle of two limits; the middle where none lies between [ohm].

    NaN where the limits are NaN, or the least is above the most.
    """
    if not 0.0 < least_ohm <= most_ohm:
        return math.nan
    middle = math.sqrt(least_ohm * most_ohm)
    power = 10.0 ** (math.floor(math.log10(middle)) - 1)
    sold = [one * power * step for step in (0.1, 1.0, 10.0) for one in E12]
    inside = [one for one in sold if least_ohm <= one <= most_ohm]
    return min(inside, key=lambda one: abs(math.log(one / middle)), default=middle)


def in_series(ohm: float, current_ma: float) -> Resistor:
    """A series field coil or filter resistor: its drop I R and its heat I²R at a direct current [ohm], [mA]."""
    positive("resistance", ohm, "ohm")
    not_negative("current", current_ma, "mA")
    return Resistor(ohm, ohm * current_ma / 1000.0, current_ma / 1000.0)


def across(ohm: float, volts: float) -> Resistor:
    """A bleeder, or a field coil across the supply: what it draws, V/R, and its heat, V²/R [ohm], [V]."""
    positive("resistance", ohm, "ohm")
    not_negative("voltage", volts, "V")
    return Resistor(ohm, volts, volts / ohm)


def dropping(volts: float, wanted_v: float, amperes: float) -> Resistor:
    """The resistor that brings a voltage down to the wanted one at a current.

    Parameters
    ----------
    volts, wanted_v : float
        Before and behind it, the first the greater; rms for a heater or a line [V].
    amperes : float
        Through it, above 0, rms [A].

    Returns
    -------
    Resistor
        (V - V_wanted) / I. With another current it drops another voltage: a set in part warm sees more.

    Raises
    ------
    ValueError
        Nothing is left to drop, or an input out of range.
    """
    positive("current", amperes, "A")
    positive("voltage that is to be left", wanted_v, "V")
    above("voltage that is to be dropped from", volts, wanted_v, "V")
    return Resistor((volts - wanted_v) / amperes, volts - wanted_v, amperes)


def heater_at_load(no_load_v: float, source_ohm: float, amperes: float, line_ratio: float = 1.0) -> float:
    """Volts of a heater winding at a load, V_0 x line - I R, never below 0.

    Parameters
    ----------
    no_load_v : float
        At the nominal line, above 0, rms [V].
    source_ohm : float
        The winding's own and the primary's as seen from it, 0 or more [ohm].
    amperes : float
        That its heaters draw, 0 or more, rms [A].
    line_ratio : float
        Today's line over the nominal one, above 0 [-].
    """
    positive("no-load voltage", no_load_v, "V")
    not_negative("source resistance", source_ohm, "ohm")
    not_negative("heater current", amperes, "A")
    positive("line over nominal", line_ratio, "")
    return max(no_load_v * line_ratio - amperes * source_ohm, 0.0)


@dataclass(frozen=True)
class GlowRegulator:
    """A glow tube with its series resistor; ``works`` where the tube stays inside its limits at every corner.

    Attributes
    ----------
    ohm : float
        The resistor; NaN where none keeps the tube inside its limits [ohm].
    least_ohm, most_ohm : float
        Between them the tube stays inside its limits: the least by the high line without load, the most by the low line
        at full load [ohm].
    tube_low_ma, tube_high_ma : float
        Its current at the low line with full load, and at the high line without load [mA].
    watts : float
        The resistor's heat at the high line, where it is greatest [W].
    works : bool
        Whether both currents are inside the tube's limits.
    """

    ohm: float
    least_ohm: float
    most_ohm: float
    tube_low_ma: float
    tube_high_ma: float
    watts: float
    works: bool


def glow_regulator(
    supply_v: tuple[float, float],
    regulated_v: float,
    load_ma: float,
    tube_ma: tuple[float, float],
    ohm: float | None = None,
) -> GlowRegulator:
    """The series resistor of a glow tube, or how a given one does, at both extremes of the line and without load.

    Parameters
    ----------
    supply_v : tuple of float
        Before the resistor at the low and at the high line, above `regulated_v` [V].
    regulated_v : float
        The tube's voltage, above 0 [V].
    load_ma : float
        At full load, 0 or more [mA].
    tube_ma : tuple of float
        Least and most current of the tube, commonly 5 and 30 or 40 [mA].
    ohm : float, optional
        Of a resistor that is there; the middle of what works where not given [ohm].

    Returns
    -------
    GlowRegulator
        R = (V_in - V_reg) / (I_tube + I_load): Radiotron Designer's Handbook.

    Raises
    ------
    ValueError
        An input out of range.
    """
    low_v, high_v = supply_v
    least_ma, most_ma = tube_ma
    positive("regulated voltage", regulated_v, "V")
    above("voltage at the low line", low_v, regulated_v, "V")
    not_negative("voltage at the high line less that at the low one", high_v - low_v, "V")
    not_negative("load", load_ma, "mA")
    positive("tube's least current", least_ma, "mA")
    above("tube's greatest current", most_ma, least_ma, "mA")
    least_ohm = 1000.0 * (high_v - regulated_v) / most_ma
    most_ohm = 1000.0 * (low_v - regulated_v) / (least_ma + load_ma)
    if ohm is None:
        ohm = math.sqrt(least_ohm * most_ohm) if least_ohm <= most_ohm else math.nan
    else:
        positive("resistor", ohm, "ohm")
    high_ma = 1000.0 * (high_v - regulated_v) / ohm
    low_ma = 1000.0 * (low_v - regulated_v) / ohm - load_ma
    works = least_ohm * (1.0 - 1e-9) <= ohm <= most_ohm * (1.0 + 1e-9)
    return GlowRegulator(ohm, least_ohm, most_ohm, low_ma, high_ma, (high_v - regulated_v) * high_ma / 1000.0, works)


@dataclass(frozen=True)
class PrimaryCurrent:
    """What the line gives.

    Attributes
    ----------
    amperes, va, watts : float
        rms current, apparent and real power [A], [VA], [W].
    hv_a, resistive_a : float
        The parts of the high voltage and of heaters and iron, rms [A].
    """

    amperes: float
    va: float
    watts: float
    hv_a: float
    resistive_a: float


def primary_current(
    line_v: float, heater_w: float, iron_w: float, exciting_a: float, hv_a: float, hv_w: float
) -> PrimaryCurrent:
    """rms current of the primary of a loaded unit on a sinusoidal line.

    Parameters
    ----------
    line_v : float
        Above 0 [V].
    heater_w, iron_w : float
        All heaters together, and the core's loss, 0 or more [W].
    exciting_a : float
        Magnetising part of the no-load current, 0 or more [A].
    hv_a, hv_w : float
        The high voltage's part: turns ratio of one side times the rms current of all sides together, and the power that
        goes into it, 0 or more [A], [W].

    Returns
    -------
    PrimaryCurrent
        I² = I_res² + I_hv² + 2 I_res P_hv / V + I_m², I_res = (heaters + iron) / V. The copper's loss in heater
        windings and primary is left out, and so is the small leading part of the pulses.

    Raises
    ------
    ValueError
        An input out of range.
    """
    positive("line voltage", line_v, "V")
    named = {"heater power": (heater_w, "W"), "iron loss": (iron_w, "W"), "exciting current": (exciting_a, "A")}
    named |= {"high voltage's current": (hv_a, "A"), "high voltage's power": (hv_w, "W")}
    for name, (value, unit) in named.items():
        not_negative(name, value, unit)
    resistive = (heater_w + iron_w) / line_v
    amperes = math.sqrt(resistive**2 + hv_a**2 + 2.0 * resistive * hv_w / line_v + exciting_a**2)
    return PrimaryCurrent(amperes, amperes * line_v, heater_w + iron_w + hv_w, hv_a, resistive)


def fuse_ma(running_ma: float) -> float:
    """The next standard time-lag fuse from 1.5 times a running rms current [mA].

    NaN without a current and above 8 A. Sizes are those of IEC 60127, whose fuses carry their rating; by UL 248-14 one
    carries about three quarters of it, so take the next larger there. Never larger than the set's maker says.
    """
    if not running_ma > 0.0:
        return math.nan
    return next((size for size in FUSES_MA if size >= FUSE_OVER_RMS * running_ma * (1 - 1e-9)), math.nan)


@dataclass(frozen=True)
class Inrush:
    """The greatest peak when a unit is switched on, `peak_a`, and what added in the line holds it, `added_ohm`."""

    peak_a: float
    added_ohm: float


def inrush(line_v: float, primary_ohm: float, line_ohm: float = 0.0, held_a: float = math.inf) -> Inrush:
    """The most that a unit can draw in its first half-cycle: its core saturated, its resistance alone in the way.

    Parameters
    ----------
    line_v : float
        Above 0, rms [V].
    primary_ohm, line_ohm : float
        The primary's, cold, above 0, and the line's, 0 or more [ohm].
    held_a : float
        Peak that is to be held: a time-lag fuse stands some ten times its rating for a half-cycle [A].

    Returns
    -------
    Inrush
        √2 V / (R_primary + R_line), and the resistance, cold, of a thermistor or of a resistor that a relay bridges
        after a second, which brings the peak down to `held_a`: 0 where nothing is needed [A], [ohm].

    Raises
    ------
    ValueError
        An input out of range.
    """
    positive("line voltage", line_v, "V")
    positive("primary's resistance", primary_ohm, "ohm")
    not_negative("line's resistance", line_ohm, "ohm")
    positive("peak that is to be held", min(held_a, 1e9), "A")
    peak = math.sqrt(2.0) * line_v / (primary_ohm + line_ohm)
    added = 0.0 if peak <= held_a else math.sqrt(2.0) * line_v / held_a - primary_ohm - line_ohm
    return Inrush(peak, added)


@dataclass(frozen=True)
class Winding:
    """A winding in a heat budget: its resistance warm, and its rms currents as rated and as drawn [ohm], [A], [A]."""

    ohm: float
    rated_a: float
    drawn_a: float


@dataclass(frozen=True)
class HeatBudget:
    """Copper heat of all windings, as rated and as drawn, and what is left to the high voltage.

    Attributes
    ----------
    rated_w, drawn_w : float
        Sum of I²R [W].
    left_w : float
        Their difference; below 0 where more is drawn than rated [W].
    hv_share : float
        The high-voltage winding's current, over its rating, at which all copper together is as hot as rated; never more
        than `most_share`, for the winding's own hot spot [-].
    """

    rated_w: float
    drawn_w: float
    left_w: float
    hv_share: float


def heat_budget(hv: Winding, others: Sequence[Winding], most_share: float = 1.15) -> HeatBudget:
    """What windings that carry less than they are rated for leave to the high-voltage winding.

    Parameters
    ----------
    hv : Winding
        The high-voltage winding, both halves of a centre tap as one with their common heat.
    others : sequence of Winding
        Heaters and primary.
    most_share : float
        Bound on what the high-voltage winding may gain, 1 or more (judgement: unused heaters cool it in part only) [-].

    Returns
    -------
    HeatBudget
        By the sum of I²R; the primary's drawn current is to be told with the load as drawn.

    Raises
    ------
    ValueError
        A resistance or current below 0, or a high-voltage winding without heat at its rating.
    """
    for one in (hv, *others):
        for name in ("ohm", "rated_a", "drawn_a"):
            not_negative(f"winding's {name}", getattr(one, name), "")
    positive("high-voltage winding's heat at its rating", hv.ohm * hv.rated_a**2, "W")
    within("bound on the gain", most_share, 1.0, 10.0, "")
    rated = sum(one.ohm * one.rated_a**2 for one in (hv, *others))
    rest = sum(one.ohm * one.drawn_a**2 for one in others)
    drawn = rest + hv.ohm * hv.drawn_a**2
    share = math.sqrt(max(rated - rest, 0.0) / hv.ohm) / hv.rated_a
    return HeatBudget(rated, drawn, rated - drawn, min(share, most_share))
