"""Winding rms current per ampere of direct current: nominal values by rectifier and filter, and ratings by them.

The copper of a winding obeys its rms current; a rating is stated in direct current. Known units under different
rectifiers and filters therefore pool only after division by this factor, and a winding's permitted current under
another rectifier or filter is that of equal heating of its copper.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

from calib.errors import InputError
from calib.paths import data

Supply = tuple[str, str]

_TOLD = {
    (rectifier, filter): told
    for rectifier, filters in data("supply/form_factor.toml").items()
    for filter, told in filters.items()
}
# By rectifier and filter, as the table says what they are: k and its spread; that spread; the ranges beside them.
FORM_FACTOR = MappingProxyType({pair: (told["k"], told["sd"]) for pair, told in _TOLD.items()})
FORM_FACTOR_SD = MappingProxyType({pair: spread for pair, (_, spread) in FORM_FACTOR.items()})
SPREAD = MappingProxyType(
    {
        pair: {name: tuple(told[name]) for name in ("silicon", "valve")}
        for pair, told in _TOLD.items()
        if "valve" in told
    }
)
LARGE_CAPACITOR, GUIDES = (
    MappingProxyType({pair: tuple(told[name]) for pair, told in _TOLD.items() if name in told})
    for name in ("large_capacitor", "guide")
)


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
    if (rectifier, filter) not in FORM_FACTOR:
        raise InputError.one(*not_together(filter, FORM_FACTOR), column="rectifier", value=rectifier, code="conflict")
    return FORM_FACTOR[rectifier, filter][0]


def not_together(filter: str, pairs: Iterable[Supply]) -> tuple[str, str]:
    """Problem and remedy of a rectifier that does not go with a filter, the pairs that there are being given."""
    return f"does not go with filter '{filter}'", f"give one of: {', '.join(' with '.join(pair) for pair in pairs)}"


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
    current_ma: float, was: Supply, becomes: Supply, k_was: float | None = None, k_becomes: float | None = None
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
            problem, remedy = (
                "is not above 1, as a half-wave rectifier's always is",
                "give the rms over the direct current",
            )
            raise InputError.one(problem, remedy, column="k", value=k, code="limits")
        return math.sqrt(k**2 - 1)
    return k
