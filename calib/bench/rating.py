"""From V over R to a rated current and back, by a multiplier."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.guard import Quantity, not_negative, positive


def rated_current_ma(multiplier: Quantity, v_over_r: Quantity) -> Quantity:
    """Direct load current that a multiplier gives a winding.

    Parameters
    ----------
    multiplier : number
        Of the winding's size and supply, above 0 [mA per V/ohm].
    v_over_r : number
        Of the whole winding or of one half, which are alike; resistance at 20 °C, above 0 [V/ohm].

    Returns
    -------
    number
        I = m V/R [mA].

    Raises
    ------
    ValueError
        A multiplier or V/R of zero or less.
    """
    positive("multiplier", multiplier, "mA per V/ohm")
    positive("V/R", v_over_r, "V/ohm")
    return multiplier * v_over_r


def multiplier_of(current_ma: Quantity, v_over_r: Quantity) -> Quantity:
    """Multiplier of a known winding: its rated direct current, above 0 [mA], over its V/R, above 0 [V/ohm]."""
    positive("rated current", current_ma, "mA")
    positive("V/R", v_over_r, "V/ohm")
    return current_ma / v_over_r


@dataclass(frozen=True)
class CurrentInterval:
    """A rated current with the interval in which the unit's own rating lies with probability `level` [mA]."""

    current_ma: float
    low_ma: float
    high_ma: float
    level: float


def current_interval(
    multiplier: float, scatter: float, v_over_r: float, v_over_r_u: float, level: float = 0.9
) -> CurrentInterval:
    """Rated current of a unit with its interval, the multiplier applied in logarithms.

    Parameters
    ----------
    multiplier : float
        Above 0 [mA per V/ohm].
    scatter : float
        PREDICTION standard deviation of ln multiplier, 0 or more: scatter between units with the fit's own error [-].
    v_over_r, v_over_r_u : float
        V/R at 20 °C, above 0, and its standard uncertainty, 0 or more [V/ohm].
    level : float
        Probability of the interval, above 0 and below 1 [-].

    Returns
    -------
    CurrentInterval
        I exp(-z s) to I exp(z s), s² = scatter² + (u/(V/R))² [mA].

    Raises
    ------
    ValueError
        An input outside its range.

    Notes
    -----
    Source: JCGM 100:2008, clause 5.1.6 (relative uncertainties of a product) and annex G.
    """
    from statistics import NormalDist

    not_negative("scatter", scatter, "")
    not_negative("uncertainty of V/R", v_over_r_u, "V/ohm")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level is {level}: it must be above 0 and below 1")
    current = rated_current_ma(multiplier, v_over_r)
    reach = NormalDist().inv_cdf((1.0 + level) / 2.0) * math.hypot(scatter, v_over_r_u / v_over_r)
    return CurrentInterval(current, current * math.exp(-reach), current * math.exp(reach), level)
