"""A second filter section: a choke, a field coil or a resistor behind the first capacitor, and a capacitor after it.

Of the ripple the first harmonic is taken, which a section passes best. Source: R. Lee, "Electronic Transformers and
Circuits"; Radiotron Designer's Handbook.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

from calib.errors import not_negative, positive
from calib.supply.steady_state import SupplyState

__all__ = ["RESONANCE_BELOW", "FilterSection", "filter_section", "resonance_hz", "ripple_hz"]

RESONANCE_BELOW = 1.0 / 3.0  # of the ripple's frequency (Lee; above it a section passes more than it should)


@dataclass(frozen=True)
class FilterSection:
    """What a second section leaves.

    Attributes
    ----------
    dc_v : float
        Direct voltage after it, which is below 0 where the section would drop more than there is [V].
    drop_v, watts : float
        Over its resistance, and its heat [V], [W].
    ripple_v_rms, ripple_v_pp : float
        After it, at most: the ripple before it taken as its first harmonic [V].
    resonance_hz : float
        Of choke and capacitor; NaN of a resistor [Hz].
    resonates : bool
        Whether that is above a third of the ripple's frequency.
    """

    dc_v: float
    drop_v: float
    watts: float
    ripple_v_rms: float
    ripple_v_pp: float
    resonance_hz: float
    resonates: bool

    def as_dict(self) -> dict[str, Any]:
        """Every attribute by its name; a number that does not exist is None."""
        told = asdict(self).items()
        return {name: None if isinstance(value, float) and math.isnan(value) else value for name, value in told}


def ripple_hz(rectifier: str, frequency_hz: float) -> float:
    """Frequency of a supply's ripple: the line's with half-wave, else twice that [Hz]."""
    return frequency_hz * (1.0 if rectifier == "half-wave" else 2.0)


def resonance_hz(henry: float, capacitance_uf: float) -> float:
    """Resonance of a choke and a capacitor, both above 0 [H], [µF]; in [Hz]."""
    positive("inductance", henry, "H")
    positive("capacitance", capacitance_uf, "µF")
    return 1.0 / (2.0 * math.pi * math.sqrt(henry * capacitance_uf * 1e-6))


def filter_section(
    state: SupplyState, frequency_hz: float, ohm: float, capacitance_uf: float, henry: float = 0.0
) -> FilterSection:
    """What a choke or a resistor and a capacitor behind the first filter leave.

    Parameters
    ----------
    state : SupplyState
        Before it, of a load that all goes through it.
    frequency_hz : float
        Line, above 0 [Hz].
    ohm : float
        The section's resistance, above 0: of a choke its own [ohm].
    capacitance_uf : float
        After it, above 0 [µF].
    henry : float
        0 or more; 0 for a resistor [H].

    Returns
    -------
    FilterSection
        Ripple times 1 / |1 + Z (jωC + 1/R_L)|, Z = R + jωL, at the ripple's frequency.

    Raises
    ------
    ValueError
        An input out of range.
    """
    positive("line frequency", frequency_hz, "Hz")
    positive("section's resistance", ohm, "ohm")
    positive("section's capacitance", capacitance_uf, "µF")
    not_negative("section's inductance", henry, "H")
    drop = ohm * state.load_ma / 1000.0
    left = state.dc_v - drop
    hz = ripple_hz(state.rectifier, frequency_hz)
    omega = 2.0 * math.pi * hz
    load = state.load_ma / 1000.0 / left if left > 0.0 else 0.0
    passed = 1.0 / abs(1.0 + complex(ohm, omega * henry) * complex(load, omega * capacitance_uf * 1e-6))
    own = resonance_hz(henry, capacitance_uf) if henry else math.nan
    rms = passed * state.ripple_v_rms
    resonates = own > RESONANCE_BELOW * hz
    return FilterSection(left, drop, drop * state.load_ma / 1000.0, rms, 2.0 * math.sqrt(2.0) * rms, own, resonates)
