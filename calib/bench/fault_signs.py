"""What a search for faults goes by: the readings, each NaN or left out where it was not taken."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from calib.bench.insulation import InsulationTest


@dataclass(frozen=True)
class HalfReadings:
    """Both sides of a centre-tapped winding; NaN where not read.

    Attributes
    ----------
    volts : (float, float)
        Each side to the tap in one ratio test, rms, 0 or more [V].
    ohms : (float, float)
        Each side's resistance, 0 or more [ohm].
    ratio_by_order : float
        What the order of winding explains of their ratio, from `half_ratio_by_order`; 1 or more [-].
    """

    volts: tuple[float, float] = (math.nan, math.nan)
    ohms: tuple[float, float] = (math.nan, math.nan)
    ratio_by_order: float = math.nan


@dataclass(frozen=True)
class UnloadedReading:
    """The unit on its line with all secondaries open; NaN where not read.

    Attributes
    ----------
    exciting_ma : float
        Current of the primary, rms, 0 or more [mA].
    full_load_ma : float
        Its estimated full-load current, rms, above 0 [mA].
    watts : float
        Power drawn, 0 or more [W].
    iron_w : float
        Usual loss of the iron: mass times `iron_loss_w_kg`, above 0 [W].
    rise_k : float
        Rise of the case in the first half hour [K].
    volts : float
        On the primary then, rms, above 0 [V].
    low_volts, low_ma : float
        A second reading at about 85 % of that: volts on the primary, above 0 [V], and its current, above 0 [mA].
    lamp_bright : bool
        Whether a lamp in series stays bright.
    alarms : tuple of str
        Smell, smoke or buzz, as noticed.
    """

    exciting_ma: float = math.nan
    full_load_ma: float = math.nan
    watts: float = math.nan
    iron_w: float = math.nan
    rise_k: float = math.nan
    volts: float = math.nan
    low_volts: float = math.nan
    low_ma: float = math.nan
    lamp_bright: bool = False
    alarms: tuple[str, ...] = ()


@dataclass(frozen=True)
class WindingReading:
    """One winding, end to end; NaN where not read or not known.

    Attributes
    ----------
    name : str
        What it is called.
    ohms : tuple of float
        Resistance as read, once or several times; inf where there is no continuity [ohm].
    parts_ohm : tuple of float
        Resistances of the parts between its taps; empty where it has none [ohm].
    u_ohm : float
        Standard uncertainty of each, 0 or more; NaN: that of an ordinary ohmmeter [ohm].
    expected_ohm : float
        What it should read, above 0 [ohm].
    volts, expected_volts : float
        No-load voltage and what it should be, rms [V].
    """

    name: str
    ohms: tuple[float, ...] = ()
    parts_ohm: tuple[float, ...] = ()
    u_ohm: float = math.nan
    expected_ohm: float = math.nan
    volts: float = math.nan
    expected_volts: float = math.nan


@dataclass(frozen=True)
class FaultSigns:
    """All that a search for faults goes by; whatever was not read is left out.

    Attributes
    ----------
    halves : HalfReadings
        The centre-tapped winding.
    unloaded : UnloadedReading
        The unit on its line without load.
    windings : tuple of WindingReading
        Each winding.
    ratio_gap : float
        A ratio from the suspected limb over what it should be, less 1 [-].
    coupling : float
        From `two_way`, 0 to 1 [-].
    bond_ohm : float
        From protective earth to core and frame, less the lead's own, 0 or more [ohm].
    core_ohm : float
        Any winding to the core by the ohmmeter; inf where there is no continuity [ohm].
    insulation : tuple of InsulationTest
        The insulation tests.
    """

    halves: HalfReadings = field(default_factory=HalfReadings)
    unloaded: UnloadedReading = field(default_factory=UnloadedReading)
    windings: tuple[WindingReading, ...] = ()
    ratio_gap: float = math.nan
    coupling: float = math.nan
    bond_ohm: float = math.nan
    core_ohm: float = math.nan
    insulation: tuple[InsulationTest, ...] = ()
