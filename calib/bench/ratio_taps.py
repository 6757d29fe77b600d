"""The taps of a winding in a ratio test: each one's voltage at any line, and whether its resistance rises with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.bench.guard import not_negative, positive

if TYPE_CHECKING:
    import pandas as pd


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

    def frame(self) -> pd.DataFrame:
        """One row a tap: tap, no_load_v, ohm, step_v from the tap before."""
        import pandas as pd

        steps = [high - low for low, high in zip((0.0, *self.volts), self.volts, strict=False)]
        return pd.DataFrame({"tap": self.names, "no_load_v": self.volts, "ohm": self.ohms, "step_v": steps})


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
