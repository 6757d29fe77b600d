"""The units that people read in, each converted once, on entry, to the one that is kept."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from calib.bench.wire import MM_PER_INCH

# Exact by definition; source: NIST Special Publication 811, appendix B.
KG_PER_POUND = 0.45359237
KELVIN_PER_FAHRENHEIT = 5.0 / 9.0
FREEZING_F = 32.0
# Nearness at which a decimal of an inch is taken for the fraction on a rule [inch] (judgement).
FRACTION_WITHIN_INCH = 0.0006
# Beyond these no number is a reading in any unit; within them its squares and quotients stay numbers.
LEAST_READ, MOST_READ = 1e-15, 1e15
DIGITS = 12  # significant, kept of a conversion, so that 68 °F is 20 °C and not a hair above


@dataclass(frozen=True)
class Measure:
    """A unit to read in.

    Attributes
    ----------
    symbol : str
        As it stands beside a number.
    factor : float
        Size of one of it in the unit that is kept.
    zero : float
        What it reads where the unit that is kept reads zero.
    """

    symbol: str
    factor: float = 1.0
    zero: float = 0.0

    def kept(self, typed: float) -> float:
        """What was typed in this unit, in the one that is kept."""
        if self.factor == 1.0 and self.zero == 0.0:
            return typed
        return float(f"{(typed - self.zero) * self.factor:.{DIGITS}g}")

    def typed(self, kept: float) -> float:
        """What is kept, in this unit."""
        return float(f"{kept / self.factor + self.zero:.{DIGITS}g}")


# By the unit that is kept, the ones to read in; the first is that unit itself.
MEASURES: dict[str, tuple[Measure, ...]] = {
    "mm": (Measure("mm"), Measure("in", MM_PER_INCH)),
    "°C": (Measure("°C"), Measure("°F", KELVIN_PER_FAHRENHEIT, FREEZING_F)),
    "K": (Measure("°C"), Measure("°F", KELVIN_PER_FAHRENHEIT)),  # a difference of temperatures
    "cm²": (Measure("cm²"), Measure("in²", MM_PER_INCH**2 / 100.0)),
    "kg": (Measure("kg"), Measure("lb", KG_PER_POUND)),
    "ohm": (Measure("Ω"), Measure("kΩ", 1000.0)),
}


def measure(unit: str, symbol: str) -> Measure:
    """A unit to read in, by the unit that is kept and its own symbol.

    Parameters
    ----------
    unit : str
        The unit that is kept; one of `MEASURES`.
    symbol : str
        Of the unit that was read in.

    Returns
    -------
    Measure
        Its factor and zero.

    Raises
    ------
    ValueError
        There is no such unit; the message names those that there are.
    """
    found = next((one for one in MEASURES.get(unit, ()) if one.symbol == symbol), None)
    if found is None:
        there = ", ".join(one.symbol for one in MEASURES.get(unit, ())) or "none"
        raise ValueError(f"unit is '{symbol}': for a quantity kept in {unit} it must be one of {there}")
    return found


def in_figures(value: float, digits: int = DIGITS) -> str:
    """A number with so many significant digits, with an exponent only where it is beyond what any reading can be."""
    text = f"{value:.{digits}g}"
    return f"{Decimal(text):f}" if "e" in text and LEAST_READ <= abs(value) <= MOST_READ else text


def inch_fraction(inch: float, finest: int = 64) -> str:
    """A length in inches as a rule shows it.

    Parameters
    ----------
    inch : float
        Length, 0 or more [inch].
    finest : int
        Largest denominator, a power of two [-].

    Returns
    -------
    str
        Such as ``1 1/8``; blank where the length is a whole number, or no mark of the rule is near.
    """
    near = Fraction(round(inch * finest), finest)
    if near.denominator == 1 or abs(float(near) - inch) > FRACTION_WITHIN_INCH:
        return ""
    whole, rest = divmod(near.numerator, near.denominator)
    return f"{whole} {rest}/{near.denominator}" if whole else f"{rest}/{near.denominator}"
