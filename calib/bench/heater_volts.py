"""What a no-load voltage stands for, a usual heater or a rated voltage; and how little may feed a heater winding."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.guard import positive
from calib.bench.ratio import HAZARDOUS_LIVE_V, max_excitation_v

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


@dataclass(frozen=True)
class RatedCheck:
    """A no-load voltage against the rated one.

    Attributes
    ----------
    excess : float
        No-load over rated voltage, less 1 [-].
    agrees : bool
        Whether the excess is within -3 to +15 %.
    remark : str
        What a disagreement looks like; blank where there is none.
    """

    excess: float
    agrees: bool
    remark: str


# Factors that slips put on a no-load voltage.
_SLIPS = (
    (0.5, "one half read, the whole rated"),
    (2.0, "the whole winding read, one half rated"),
    (math.sqrt(0.5), "rms read, the peak rated"),
    (math.sqrt(2.0), "the peak read, rms rated"),
    (0.5, "the primary's halves in series, on the lower line voltage"),
)


def against_rated(no_load_v: float, rated_v: float) -> RatedCheck:
    """Hold a no-load voltage against the rated one of the same winding.

    Parameters
    ----------
    no_load_v, rated_v : float
        At the nominal line, unloaded, and as marked, rms, each above 0 [V].

    Returns
    -------
    RatedCheck
        No load reads above the marked voltage, by the copper's drop: -3 to +15 % is taken as agreeing (judgement).

    Raises
    ------
    ValueError
        A voltage of zero or less.
    """
    positive("no-load voltage", no_load_v, "V")
    positive("rated voltage", rated_v, "V")
    excess = no_load_v / rated_v - 1.0
    low, high = NO_LOAD_BAND
    if low <= excess <= high:
        return RatedCheck(excess, True, "")
    near = [text for factor, text in _SLIPS if low <= no_load_v / rated_v / factor - 1.0 <= high]
    said = f"looks like {' or '.join(near)}" if near else "another winding, another tap, or another line voltage"
    return RatedCheck(excess, False, f"no-load {no_load_v:.4g} V against {rated_v:.4g} V rated, {excess:+.1%}: {said}")


@dataclass(frozen=True)
class Excitation:
    """What a winding may be fed with, and the caution to read before.

    Attributes
    ----------
    allowed_v : float
        Highest excitation, rms [V].
    caution : str
        To be read before the source is connected.
    """

    allowed_v: float
    caution: str


def heater_excitation(heater_v: float, highest_v: float, limit_v: float = HAZARDOUS_LIVE_V) -> Excitation:
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
    Excitation
        As `ratio.max_excitation_v`.

    Raises
    ------
    ValueError
        As for `ratio.max_excitation_v`.

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
    return Excitation(allowed, caution)
