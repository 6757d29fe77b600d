"""What was probably meant by an entry outside its limits: a slipped point, another unit, a stray sign.

Only what lands in the usual range is offered, and never taken: the reader decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.measures import FREEZING_F, KELVIN_PER_FAHRENHEIT
from calib.bench.wire import MM_PER_INCH, awg_from_diameter

# Units that are typed in place of the field's own: (what was typed in, its value in the field's unit).
TYPED_IN: dict[str, tuple[tuple[str, float], ...]] = {
    "mm": (("inches", MM_PER_INCH), ("cm", 10.0), ("metres", 1000.0), ("thousandths of a millimetre", 1e-3)),
    "cm²": (("square inches", (MM_PER_INCH / 10.0) ** 2), ("mm²", 0.01)),
    "ohm": (("kilohms", 1e3), ("milliohms", 1e-3)),
    "mA": (("amperes", 1e3), ("microamperes", 1e-3)),
    "V": (("kilovolts", 1e3), ("millivolts", 1e-3)),
    "kg": (("grams", 1e-3),),
    "%": (("a share of 1", 100.0),),
}
WIRE_MM = 2.0  # a gauge below this is taken for a diameter
PLACES = (1, 2, 3)  # places by which a decimal point slips


@dataclass(frozen=True)
class Meant:
    """What an entry was probably meant to be.

    Attributes
    ----------
    typed : float
        As it was entered, in `unit`.
    value : float
        What was probably meant, in `unit`.
    unit : str
        Of both; blank where there is none.
    slip : str
        How the one became the other.
    others : tuple of (float, str)
        Further values in the usual range by larger changes, each with its slip.
    """

    typed: float
    value: float
    unit: str
    slip: str
    others: tuple[tuple[float, str], ...] = ()

    def sentence(self, name: str = "an entry") -> str:
        """The question to put to the reader, such as 'a stack of 4000 mm: did you mean 40 mm (...)?'; two at most."""
        unit = f" {self.unit}" if self.unit else ""
        offers = [f"{value:.5g}{unit} ({slip})" for value, slip in ((self.value, self.slip), *self.others)[:2]]
        return f"{name} of {self.typed:.10g}{unit}: did you mean {' or '.join(offers)}?"


def meant(value: float, low: float, high: float, usual_low: float, usual_high: float, unit: str = "") -> Meant | None:
    """What an entry outside its limits was probably meant to be.

    Parameters
    ----------
    value : float
        As entered, in `unit`.
    low, high : float
        Limits, both allowed.
    usual_low, usual_high : float
        Where such readings usually lie, within the limits.
    unit : str
        Of all of them: mm, cm², ohm, mA, V, kg, %, °C, Hz; blank where there is none.

    Returns
    -------
    Meant or None
        The smallest change that lands in the usual range: a stray sign, °F for °C, mm for a gauge, then by factor; None
        where the entry is within its limits, blank, or no change explains it.

    Raises
    ------
    ValueError
        Limits the wrong way round, or a usual range outside them.

    Examples
    --------
    >>> meant(4000.0, 3.0, 500.0, 10.0, 90.0, "mm").sentence("a stack")
    'a stack of 4000 mm: did you mean 40 mm (the decimal point slipped by 2 places)?'
    """
    if not low <= usual_low <= usual_high <= high:
        raise ValueError(
            f"usual range is {usual_low:g} to {usual_high:g} {unit}".rstrip() + f": it must lie in {low:g} to {high:g}"
        )
    if not math.isfinite(value) or low <= value <= high:
        return None
    offers: dict[float, tuple[float, str]] = {}
    for exactly, slip in _changes(value, unit):
        changed = float(f"{exactly:.12g}")  # 10 in as mm and back is 10, not a hair under the usual range
        if usual_low <= changed <= usual_high:
            offers.setdefault(float(f"{changed:.6g}"), (changed, slip))
    if not offers:
        return None
    (first, slip), *others = offers.values()
    return Meant(value, first, unit, slip, tuple(others))


def _changes(value: float, unit: str) -> list[tuple[float, str]]:
    """What the entry may have been, the smallest change first; at the same factor a unit goes before a point."""
    found = [(-value, "a stray minus sign")] if value < 0.0 else []
    if unit == "°C":
        found.append(((value - FREEZING_F) * KELVIN_PER_FAHRENHEIT, "typed in °F"))
    if unit == "AWG" and 0.0 < value < WIRE_MM:
        found.append((round(float(awg_from_diameter(value)), 1), "its diameter in mm typed in"))
    factors = [(factor, f"typed in {name}") for name, factor in TYPED_IN.get(unit, ())]
    if unit == "mm":
        factors.append((1.0 / MM_PER_INCH, "already in mm, then multiplied by 25.4"))
    for places in PLACES:
        said = f"the decimal point slipped by {places} place{'s' if places > 1 else ''}"
        factors += [(10.0**-places, said), (10.0**places, said)]
    factors.sort(key=lambda pair: round(abs(math.log(pair[0])), 9))
    return found + [(value * factor, slip) for factor, slip in factors]
