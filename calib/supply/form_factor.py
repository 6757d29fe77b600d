"""Winding rms current per ampere of direct current: nominal values by rectifier and filter, and ratings by them.

The copper of a winding obeys its rms current; a rating is stated in direct current. Known units under different
rectifiers and filters therefore pool only after division by this factor, and a winding's permitted current under
another rectifier or filter is that of equal heating of its copper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from types import MappingProxyType

import numpy as np

from calib.errors import InputError

Supply = tuple[str, str]

# (rectifier, filter): (k, standard deviation of ln k between real sets), as `python -m calib.supply.form_factor` prints
# it: the exact steady states of typical supplies, averaged. A winding without a rectifier is rated in rms current.
FORM_FACTOR = MappingProxyType(
    {
        ("none", "none"): (1.0, 0.0),
        ("full-wave", "none"): (0.7884, 0.003),
        ("full-wave", "capacitor"): (1.2078, 0.0912),
        ("full-wave", "choke"): (0.7495, 0.0519),
        ("bridge", "none"): (1.1123, 0.0002),
        ("bridge", "capacitor"): (2.0214, 0.0627),
        ("bridge", "choke"): (1.0546, 0.048),
        ("half-wave", "none"): (1.5777, 0.0048),
        ("half-wave", "capacitor"): (2.3803, 0.111),
        ("half-wave", "choke"): (1.6456, 0.077),
        ("doubler", "capacitor"): (3.7049, 0.1062),
    }
)
# Smallest and largest k over the same supplies, with silicon alone and with a valve; printed by the same command.
SPREAD = MappingProxyType(
    {
        ("full-wave", "capacitor"): {"silicon": (1.23, 1.46), "valve": (1.03, 1.32)},
        ("full-wave", "choke"): {"silicon": (0.71, 0.81), "valve": (0.71, 0.81)},
        ("bridge", "capacitor"): {"silicon": (1.85, 2.23), "valve": (1.34, 1.78)},
        ("bridge", "choke"): {"silicon": (1.01, 1.13), "valve": (1.01, 1.13)},
        ("half-wave", "capacitor"): {"silicon": (2.37, 2.89), "valve": (1.91, 2.51)},
        ("half-wave", "choke"): {"silicon": (1.5, 1.84), "valve": (1.47, 1.83)},
        ("doubler", "capacitor"): {"silicon": (3.51, 4.33), "valve": (2.75, 3.64)},
    }
)
# The same with silicon alone, a large capacitor and the drops of 14 catalogue units (3 to 7 %): the cautious end.
LARGE_CAPACITOR = MappingProxyType({("bridge", "capacitor"): (1.95, 2.30), ("half-wave", "capacitor"): (2.57, 3.03)})
# What makers' guides convert by, with the margin that they left: a convention, shown beside and never reckoned with.
GUIDES = MappingProxyType(
    {("bridge", "capacitor"): (1.61, 1.8), ("half-wave", "capacitor"): (2.6, 3.6), ("full-wave", "choke"): (0.65, 0.71)}
)
FORM_FACTOR_SD = MappingProxyType({pair: spread for pair, (_, spread) in FORM_FACTOR.items()})

# Typical supplies of valve equipment, over which the nominal factors are averaged: each circuit is solved over a grid
# of three shares of copper drop (small receivers to large amplifiers), three sizes of capacitor, three of choke, and
# diodes or valves. The mean of ln k is the nominal value, its standard deviation how far real sets scatter.
COPPER = (0.03, 0.05, 0.08)  # rms drop in winding and reflected primary over no-load volts
W = (10.0, 22.0, 45.0)  # omega C times load resistance; twice that with a doubler's smaller capacitors in series
OVER_CRITICAL = (1.5, 3.0, 6.0)  # choke over critical inductance (full-wave, bridge)
HALF_WAVE_CHOKE = (0.2, 0.4, 0.8)  # omega L over load resistance
DIODE_DROP_V = 1.0
FREQUENCY_HZ = 60.0
VOLTS = (250.0, 350.0)
VALVES = (("5Y3-GT", 100.0), ("5U4-G", 180.0), ("GZ34", 180.0), ("6X4", 55.0))  # type number, load in mA

# (rectifier, filter): textbook k that sets the resistance, dc over no-load rms volts that sets the load resistance,
# share of the sets that have a valve rectifier. Judgement; each may be off by a fifth without moving k by 3 %.
TYPICAL = {
    ("full-wave", "none"): (0.79, 0.85, 0.7),
    ("full-wave", "capacitor"): (1.2, 1.1, 0.7),
    ("full-wave", "choke"): (0.73, 0.8, 0.7),
    ("bridge", "none"): (1.11, 0.85, 0.0),
    ("bridge", "capacitor"): (1.9, 1.2, 0.0),
    ("bridge", "choke"): (1.03, 0.85, 0.0),
    ("half-wave", "none"): (1.57, 0.42, 0.5),
    ("half-wave", "capacitor"): (2.3, 1.0, 0.5),
    ("half-wave", "choke"): (1.7, 0.6, 0.5),
    ("doubler", "capacitor"): (3.3, 2.1, 0.2),
}


def winding_rms_per_dc(rectifier: str, filter: str) -> float:
    """Nominal rms current of a winding section per ampere of direct load current.

    Parameters
    ----------
    rectifier : str
        full-wave, bridge, half-wave, doubler or none.
    filter : str
        The filter's input element: capacitor, choke or none.

    Returns
    -------
    float
        rms current of one half of a centre-tapped winding (full-wave) or of the whole winding (the others), over the
        direct load current [1].

    Raises
    ------
    InputError
        The two do not go together.
    """
    try:
        return FORM_FACTOR[rectifier, filter][0]
    except KeyError:
        allowed = ", ".join(f"{first} with {second}" for first, second in FORM_FACTOR)
        raise InputError.one(
            f"does not go with filter '{filter}'",
            f"give one of: {allowed}",
            column="rectifier",
            value=rectifier,
            code="conflict",
        ) from None


@dataclass(frozen=True)
class ConvertedRating:
    """What the same winding may give under another supply.

    Attributes
    ----------
    current_ma : float
        Direct current that heats each section of the winding as much as the old rating did (rms current where the
        rectifier is none) [mA].
    primary_limited_ma : float
        Direct current that loads the primary as much as the old rating did, the heaters' share aside. Between the two
        it depends on what the primary has to spare [mA].
    """

    current_ma: float
    primary_limited_ma: float


def convert_rating(
    current_ma: float,
    was: Supply,
    becomes: Supply,
    k_was: float | None = None,
    k_becomes: float | None = None,
) -> ConvertedRating:
    """Bring a winding's rating from one rectifier and filter to another; there and back returns the start.

    Parameters
    ----------
    current_ma : float
        The rating, direct load current (rms where the rectifier is none), above 0 [mA].
    was, becomes : tuple of str
        Rectifier and filter before and after; the whole winding is used either way.
    k_was, k_becomes : float, optional
        rms current of a section per ampere of direct current, above 0; the nominal one where not given, better
        ``SupplyState.winding_rms_per_dc`` of the very supply [1].

    Returns
    -------
    ConvertedRating
        I2 = I1 k1 / k2. The voltage changes too: a bridge across a centre-tapped winding gives twice that of its
        halves, and the insulation to the core must suit. Source: R. Lee, "Electronic Transformers and Circuits".

    Raises
    ------
    InputError
        A rectifier and a filter do not go together, or a number is not above 0.
    """
    for column, value in (("current_ma", current_ma), ("k_was", k_was), ("k_becomes", k_becomes)):
        if value is not None and not 0 < value < math.inf:
            raise InputError.one("is not above 0", "give a positive number", column=column, value=value, code="limits")
    nominal_was, nominal_becomes = winding_rms_per_dc(*was), winding_rms_per_dc(*becomes)
    k_was = nominal_was if k_was is None else k_was
    k_becomes = nominal_becomes if k_becomes is None else k_becomes
    primary = primary_rms_per_dc(was[0], k_was) / primary_rms_per_dc(becomes[0], k_becomes)
    return ConvertedRating(current_ma * k_was / k_becomes, current_ma * primary)


def primary_rms_per_dc(rectifier: str, k: float) -> float:
    """rms current that a whole winding reflects to its primary per ampere of direct current, at equal turns.

    Parameters
    ----------
    rectifier : str
        full-wave, bridge, half-wave, doubler or none.
    k : float
        rms current of a section per ampere of direct current; above 1 with half-wave [1].

    Returns
    -------
    float
        k / sqrt 2 for a centre tap, whose halves conduct by turns and have half the turns each; sqrt(k^2 - 1) for
        half-wave, whose direct current the primary does not carry; else k [1].
    """
    if rectifier == "full-wave":
        return k / math.sqrt(2)
    if rectifier == "half-wave":
        if k <= 1:
            raise InputError.one(
                "is not above 1, as a half-wave rectifier's always is",
                "give the rms over the direct current",
                column="k",
                value=k,
                code="limits",
            )
        return math.sqrt(k**2 - 1)
    return k


def typical_form_factor(rectifier: str, filter: str) -> tuple[float, float]:
    """Mean and spread of the winding's rms current per ampere of direct current over typical supplies.

    Parameters
    ----------
    rectifier, filter : str
        A key of TYPICAL.

    Returns
    -------
    nominal, spread : float
        Geometric mean of k, and standard deviation of ln k [1].
    """
    share = TYPICAL[rectifier, filter][2]
    total, weights = [], []
    for with_valve, part in ((False, 1 - share), (True, share)):
        if part:
            logs = np.concatenate([np.log(_solved(rectifier, filter, *what)) for what in _rectifiers(with_valve)])
            total.append(logs)
            weights.append(np.full(len(logs), part / len(logs)))
    logs, weight = np.concatenate(total), np.concatenate(weights)
    mean = float(weight @ logs)
    return float(np.exp(mean)), float(np.sqrt(weight @ (logs - mean) ** 2))


def spread(rectifier: str, filter: str) -> dict[str, tuple[float, float]]:
    """Smallest and largest k over the same supplies, those with silicon alone and those with a valve apart [1]."""
    found = {}
    for name, with_valve in (("silicon", False), ("valve", True)):
        all_k = np.concatenate([_solved(rectifier, filter, *what) for what in _rectifiers(with_valve)])
        found[name] = (round(float(all_k.min()), 2), round(float(all_k.max()), 2))
    return found


def _rectifiers(with_valve: bool) -> list[tuple[str | None, float]]:
    """Valves with their loads, or diodes with the same loads."""
    return [(name if with_valve else None, load) for name, load in VALVES]


def _solved(rectifier: str, filter: str, valve: str | None, load_ma: float) -> np.ndarray:
    """k over the grid of one rectifier."""
    from calib.supply.parameters import Settings
    from calib.supply.steady_state import solve

    textbook, level, _ = TYPICAL[rectifier, filter]
    sizes = W if filter != "none" else (1.0,)
    chokes: tuple[float, ...] = (0.0,)
    if filter == "choke":
        chokes = HALF_WAVE_CHOKE if rectifier == "half-wave" else tuple(0.330674 * over for over in OVER_CRITICAL)
    copper, w, x, volts = (np.array(column) for column in zip(*product(COPPER, sizes, chokes, VOLTS), strict=True))
    load_ohm = level * volts / load_ma * 1000
    omega = 2 * np.pi * FREQUENCY_HZ
    what = Settings(
        rectifier,
        filter,
        volts,
        copper * volts / (textbook * load_ma / 1000),
        w * (2 if rectifier == "doubler" else 1) / (omega * load_ohm) * 1e6,
        load_ma,
        FREQUENCY_HZ,
        choke_h=x * load_ohm / omega if filter == "choke" else None,
        diode_drop_v=0.0 if valve else DIODE_DROP_V,
        valve=valve,
    )
    return solve(what)["winding_rms_ma"] / load_ma


def table() -> dict[tuple[str, str], tuple[float, float]]:
    """The whole table FORM_FACTOR anew, to its digits."""
    found = {("none", "none"): (1.0, 0.0)}
    for pair in TYPICAL:
        nominal, spread = typical_form_factor(*pair)
        found[pair] = round(nominal, 4), round(spread, 4)
    return {pair: found[pair] for pair in FORM_FACTOR}


if __name__ == "__main__":
    import sys

    sys.stdout.write("\n".join(f"{pair}: {values}," for pair, values in table().items()) + "\n")
    sys.stdout.write("\n".join(f"{pair}: {spread(*pair)}," for pair in SPREAD) + "\n")
