"""Checks and corrections of a ratio test: the meter's load, the exciting current's drop, driving it both ways."""

from __future__ import annotations

from dataclasses import dataclass

from calib.bench.guard import Quantity, not_negative, positive

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
class ExcitingDrop:
    """Relative excess of a ratio-scaled voltage over the one at full flux: its two parts and their sum [-]."""

    iron: float
    magnetising: float

    @property
    def total(self) -> float:
        """Both parts [-]."""
        return self.iron + self.magnetising


def exciting_drop(
    line_voltage_v: float, primary_ohm: float, iron_loss_w: float, leakage_ohm: float, magnetising_a: float
) -> ExcitingDrop:
    """How far the ratio test reads high, since at full flux the exciting current first drops voltage in the primary.

    Parameters
    ----------
    line_voltage_v : float
        Nominal line voltage, rms, above 0 [V].
    primary_ohm : float
        Resistance of the primary, 0 or more [ohm].
    iron_loss_w : float
        Iron loss at nominal line, 0 or more [W].
    leakage_ohm : float
        Leakage reactance of the primary, 0 or more [ohm].
    magnetising_a : float
        Magnetising part of the no-load current, rms, 0 or more [A].

    Returns
    -------
    ExcitingDrop
        R_p P_fe / V² and X_lp I_m / V [-].

    Raises
    ------
    ValueError
        A line voltage of zero or less, or another input below zero.

    Notes
    -----
    Source: Magnetic Circuits and Transformers (MIT EE Staff).
    """
    positive("line voltage", line_voltage_v, "V")
    not_negative("primary resistance", primary_ohm, "ohm")
    not_negative("iron loss", iron_loss_w, "W")
    not_negative("leakage reactance", leakage_ohm, "ohm")
    not_negative("magnetising current", magnetising_a, "A")
    return ExcitingDrop(primary_ohm * iron_loss_w / line_voltage_v**2, leakage_ohm * magnetising_a / line_voltage_v)


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

    @property
    def suspect(self) -> bool:
        """Whether the coupling is under COUPLING_SUSPECT."""
        return self.coupling < COUPLING_SUSPECT


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
