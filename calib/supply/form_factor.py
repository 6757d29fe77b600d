"""Winding rms current per ampere of direct current: nominal values by rectifier and filter.

The copper of a winding obeys its rms current; a rating is stated in direct current. Known units under different
rectifiers and filters therefore pool only after division by this factor.
"""

from __future__ import annotations

from types import MappingProxyType

from calib.errors import InputError

# (rectifier, filter): (k, standard deviation of ln k between real sets), as `python -m calib.supply.typical` prints it:
# the exact steady states of typical supplies, averaged. A winding without a rectifier is rated in rms current.
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
