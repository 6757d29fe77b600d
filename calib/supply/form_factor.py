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
