"""Winding rms current per ampere of direct current: nominal values by rectifier and filter.

The copper of a winding obeys its rms current; a rating is stated in direct current. Known units under different
rectifiers and filters therefore pool only after division by this factor.
"""

from __future__ import annotations

from types import MappingProxyType

from calib.errors import InputError

# (rectifier, filter): (k, standard deviation of ln k between real sets). Starting values: Schade, "Analysis of
# Rectifier Operation", Proc. IRE 1943, and Lee, "Electronic Transformers and Circuits".
FORM_FACTOR = MappingProxyType(
    {
        ("none", "none"): (1.0, 0.0),
        ("full-wave", "none"): (0.7854, 0.0),
        ("full-wave", "capacitor"): (1.20, 0.08),
        ("full-wave", "choke"): (0.73, 0.03),
        ("bridge", "none"): (1.1107, 0.0),
        ("bridge", "capacitor"): (1.95, 0.10),
        ("bridge", "choke"): (1.03, 0.03),
        ("half-wave", "none"): (1.5708, 0.0),
        ("half-wave", "capacitor"): (2.30, 0.10),
        ("half-wave", "choke"): (1.40, 0.08),
        ("doubler", "capacitor"): (3.30, 0.10),
    }
)
FORM_FACTOR_SD = MappingProxyType({pair: spread for pair, (_, spread) in FORM_FACTOR.items()})


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
            f"does not go with filter '{filter}'", f"give one of: {allowed}", column="rectifier", value=rectifier
        ) from None
