"""A winding's permitted direct current under another rectifier or filter: equal heating of its copper."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.errors import InputError
from calib.supply.form_factor import winding_rms_per_dc

Supply = tuple[str, str]


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
            raise InputError.one("is not above 0", "give a positive number", column=column, value=value)
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
            )
        return math.sqrt(k**2 - 1)
    return k
