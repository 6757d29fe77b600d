"""Every unit of entry and its conversion: numbers as people write them, and what an improbable one was meant to be.

A number stands with its unit behind it: 4,97 - 1.234,5 - 188,6 Ω - 1,2 k - 1 1/8 in. A point is always the decimal mark
where it stands alone. A lone comma is one too, but where it may as well part thousands (1,234) the reading that lies in
the usual range is taken and the other one named, and where that does not decide it nothing is taken at all. What was
understood is put into words wherever it is not plainly what was typed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal

from calib.paths import data

__all__ = ["MEASURES", "MM_PER_INCH", "MM_PER_MIL", "Meant", "Measure", "NotRead", "Numeral", "in_figures"]
__all__ += ["inch_fraction", "meant", "measure", "read_number", "symbol_of"]

MM_PER_INCH = 25.4  # exact; ISO 80000-3
MM_PER_MIL = MM_PER_INCH / 1000.0
# Exact by definition; source: NIST Special Publication 811, appendix B.
KG_PER_POUND = 0.45359237
KELVIN_PER_FAHRENHEIT = 5.0 / 9.0
FREEZING_F = 32.0
# ASTM B258: no. 36 is 5 mil across, and 39 steps up from there it is 92 times as thick.
AWG_DATUM_NUMBER, AWG_DATUM_MM, AWG_DATUM_RATIO, AWG_DATUM_STEPS = 36, 0.127, 92.0, 39
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


def mm_of_awg(awg: Any) -> Any:
    """Bare diameter of an American wire gauge number, 0.127 mm 92^((36 - n)/39), of whatever stands for a number."""
    return AWG_DATUM_MM * AWG_DATUM_RATIO ** ((AWG_DATUM_NUMBER - awg) / AWG_DATUM_STEPS)


def awg_of_mm(diameter_mm: Any) -> Any:
    """American wire gauge number of a bare diameter above 0, with its fraction: 36 - 39 ln(d / 0.127 mm) / ln 92."""
    return AWG_DATUM_NUMBER - AWG_DATUM_STEPS * _log(diameter_mm / AWG_DATUM_MM) / math.log(AWG_DATUM_RATIO)


def _log(value: Any) -> Any:
    if isinstance(value, (int, float)):
        return math.log(value)
    if hasattr(value, "std_dev"):
        from uncertainties import umath

        return umath.log(value)
    import numpy as np

    return np.log(value)


def in_figures(value: float, digits: int = DIGITS) -> str:
    """A number with so many significant digits, with an exponent only where it is beyond what any reading can be."""
    text = f"{value:.{digits}g}"
    return f"{Decimal(text):f}" if "e" in text and LEAST_READ <= abs(value) <= MOST_READ else text


def odds(probability: float) -> str:
    """A chance in hundredths, never called certain: 0.999 is ``more than 99 in 100``; a dash where unknown."""
    if not math.isfinite(probability):
        return "–"
    if probability > 0.99:
        return "more than 99 in 100"
    if probability < 0.01:
        return "less than 1 in 100"
    return f"{round(probability * 100)} in 100"


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


NOT_A_NUMBER = "is not a number"
_SAME = {"Ω": "ohm"}  # what a form calls a unit that is kept
_SAID = {"ohm": "Ω", "K": "°C"}
_DEGREE = frozenset({"°", "deg", "degree", "degrees"})
_MOST = 200  # characters that a number may take
_LONGEST = 40  # characters of what stands behind it that are repeated
_WHOLE_OR_POINT = re.compile(r"\d+\.?\d*|\.\d+", re.ASCII)
_COMMA = re.compile(r"\d+,\d*|,\d+", re.ASCII)
_THOUSAND = re.compile(r"[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_FRACTION = re.compile(r"(?:(\d+) )?(\d+)/(\d+)", re.ASCII)
_GROUPED = {
    group: re.compile(rf"[1-9]\d{{0,2}}(?:{re.escape(group)}\d{{3}})+(?P<rest>[{marks}]\d*)?", re.ASCII)
    for group, marks in ((" ", ".,"), ("'", ".,"), (",", "."), (".", ","))
}
_PARTS = re.compile(
    r"(?P<before>AWG|SWG)? ?(?P<sign>[+-]?) ?(?P<body>[\d.,](?:[\d ,.'/]*[\d.,])?)(?P<power>e[+-]?\d+)? ?(?P<unit>.*)",
    re.ASCII | re.IGNORECASE,
)
_PLAIN = re.compile(r"-?(\d+\.?\d*|\.\d+)", re.ASCII)


class NotRead(ValueError):
    """What was typed is no number of that unit: the problem, what to write instead, and a code for programs.

    The code is not-a-number, or unclear where it may be one, but which or of what unit cannot be told.
    """

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}; {remedy}")
        self.problem = problem
        self.remedy = remedy
        self.code: Literal["not-a-number", "unclear"] = "not-a-number" if problem == NOT_A_NUMBER else "unclear"


@dataclass(frozen=True)
class Numeral:
    """A number that was typed, understood.

    Attributes
    ----------
    number : float
        In `symbol`.
    symbol : str
        The unit that it was read in: the one typed behind it, else the one offered; blank where there is none.
    kept : float
        The same in the unit that is kept; of a wire's size, `number` itself.
    aloud : str
        What was understood, as a sentence, where it is not plainly what was typed; else blank.
    """

    number: float
    symbol: str
    kept: float
    aloud: str = ""


def read_number(
    typed: str, unit: str = "", symbol: str = "", usual: tuple[float, float] | None = None, decimal: str = ""
) -> Numeral:
    """Read a number as people write it.

    Parameters
    ----------
    typed : str
        Comma or point for decimals; blanks, apostrophes, points or commas between thousands; a fraction of an inch; a
        minus sign; a unit behind, or AWG and SWG before.
    unit : str
        That is kept: V, V dc, ohm, MΩ, mA, A, W, Hz, mm, cm², °C, K (a difference), kg, h, s, %, AWG, wire (any gauge
        or diameter), or blank for a bare number.
    symbol : str
        The unit that is taken where none is typed; blank: the one that is kept, AWG for a wire.
    usual : (float, float) or None
        Where such numbers lie, in the unit that is kept: it tells a decimal comma from one that parts thousands.

    Returns
    -------
    Numeral
        Number, unit and the number in the unit that is kept.

    Raises
    ------
    NotRead
        It is no number, may be two different ones, or its unit is not one of this quantity.

    Examples
    --------
    >>> read_number("188,6 Ω", "ohm").kept
    188.6
    >>> read_number("1 1/8 in", "mm").aloud
    '1 1/8 in is 28.575 mm.'
    """
    unit = _SAME.get(unit, unit)
    if len(typed) > _MOST:
        raise NotRead(NOT_A_NUMBER, "write it in figures, such as 4.97 or 4,97")
    text = _normal(typed)
    found = _PARTS.fullmatch(text)
    if found is None:
        raise NotRead(NOT_A_NUMBER, "write it in figures, such as 4.97 or 4,97")
    offered = symbol or own_symbol(unit)
    one = _unit_of(found["unit"] or found["before"] or "", unit, offered)
    body = re.sub(r" ?([.,]) ?", r"\1", found["body"])  # telephones put a blank behind a mark
    values = _values(body, unit, one.symbol)
    signed = [(-1.0 if found["sign"] == "-" else 1.0) * value * float(f"1{found['power'] or ''}") for value in values]
    if any(value and not LEAST_READ <= abs(value) <= MOST_READ for value in signed):
        raise NotRead("is beyond what any reading can be", "check the number and its unit")
    if decimal and len(signed) > 1:
        signed = signed[:1] if decimal in body else signed[1:]
    number, other = _chosen(signed, "," in body, one, usual)
    aloud = _aloud(text, body if "/" in body else "", (number, other), one, unit)
    if one.symbol != offered and not aloud:
        aloud = f"Read as {in_figures(number)} {one.symbol}."
    if unit == "wire" and one.symbol == "mil":
        return Numeral(one.kept(number), "in", one.kept(number), aloud)
    return Numeral(number, one.symbol, one.kept(number), aloud)


def own_symbol(unit: str) -> str:
    """How the unit that is kept is written; AWG for a wire."""
    return "AWG" if unit == "wire" else _SAID.get(unit, unit)


def symbol_of(typed: str, unit: str) -> str:
    """The symbol of a unit that was typed for a quantity kept in `unit`; `NotRead` where it is none, or may be two."""
    return _unit_of(typed, _SAME.get(unit, unit), own_symbol(unit)).symbol


def _normal(typed: str) -> str:
    """One kind of blank, minus and apostrophe, and the fractions that are one sign written out."""
    text = re.sub("[‐‑‒–—−]", "-", re.sub("[’‘´`ʼ]", "'", str(typed)))
    for sign, written in {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}.items():
        text = text.replace(sign, f" {written}")
    text = re.sub(r"(\d) ?- ?(\d+/\d+)", r"\1 \2", text.replace("⁄", "/"))
    return " ".join(text.replace("Ω", "Ω").replace("μ", "µ").split())


def _unit_of(behind: str, unit: str, offered: str) -> Measure:
    """The unit that was typed, else the one offered."""
    bare = "".join(behind.split()).replace(".", "").replace("^2", "2")
    units = {names.split()[0]: (size, names.split()) for size, names in data("units.toml")["spelt"].get(unit, ())}
    if not bare or (bare.lower() in _DEGREE and unit in ("°C", "K")):
        size, _ = units.get(offered, (1.0, []))
        return _measure(size, unit, offered)
    exact = [name for name, (_, spelt) in units.items() if bare in spelt]
    near = [name for name, (_, spelt) in units.items() if bare.lower() in [one.lower() for one in spelt]]
    if not exact and ((bare == "m" and "MΩ" in near) or len(near) > 1):
        raise NotRead("may be a thousandth or a million", "write mΩ or MΩ behind it")
    for name in (*exact, *near):
        return _measure(units[name][0], unit, name)
    if re.search(r"\d", bare):
        raise NotRead("is more than one number", "write one, such as 4.97")
    shown = "".join(mark if mark.isprintable() else "?" for mark in " ".join(behind.split())[:_LONGEST])
    if not units:
        raise NotRead(f"has '{shown}' behind it, and this is a number without a unit", "write the number alone")
    *others, last = units
    allowed = f"{', '.join(others)} or {last}" if others else last
    raise NotRead(f"has '{shown}' behind it, which is no unit of this reading", f"write it alone, or with {allowed}")


def _measure(size: float | str, unit: str, symbol: str) -> Measure:
    return measure(unit, size) if isinstance(size, str) else Measure(symbol, size)


def _values(body: str, unit: str, symbol: str) -> list[float]:
    """What the figures may be: one number, or as a decimal and with thousands parted."""
    if "/" in body:
        return [_fraction(body, unit, symbol)]
    if _THOUSAND.fullmatch(body):
        return [float(body.replace(",", ".")), float(re.sub("[.,]", "", body))]
    if _WHOLE_OR_POINT.fullmatch(body) or _COMMA.fullmatch(body):
        return [float(body.replace(",", "."))]
    for group, pattern in _GROUPED.items():
        found = pattern.fullmatch(body)
        if found:
            rest = found["rest"] or ""
            return [float(body[: len(body) - len(rest)].replace(group, "") + rest.replace(",", "."))]
    if " " in body:
        raise NotRead("has a blank inside it", "write one number, such as 4.97 or 1234")
    raise NotRead("has points and commas that make no number", "write one point for decimals, such as 1234.5")


def _fraction(body: str, unit: str, symbol: str) -> float:
    found = _FRACTION.fullmatch(body)
    if found is None or int(found[3]) == 0 or (found[1] and int(found[2]) >= int(found[3])):
        raise NotRead("is not a fraction", "write it such as 1 1/8 in, or as a decimal, 1.125 in")
    if unit == "Hz":
        raise NotRead("is two frequencies", "write the one that it was designed for: 50 for a plate of 50/60")
    if symbol != "in":
        inches = any(one.symbol == "in" for one in MEASURES.get("mm" if unit == "wire" else unit, ()))
        remedy = "write in behind it if it is inches, such as 1 1/8 in" if inches else "write a decimal, such as 4.97"
        raise NotRead("is a fraction", remedy)
    return int(found[1] or 0) + int(found[2]) / int(found[3])


def _chosen(
    values: list[float], comma: bool, one: Measure, usual: tuple[float, float] | None
) -> tuple[float, float | None]:
    """The number that was meant, and another that may have been; None where none is worth a word."""
    if len(values) == 1:
        return values[0], None
    point, thousands = values
    usually = [usual is not None and usual[0] <= one.kept(value) <= usual[1] for value in values]
    if not comma:  # a point is the decimal mark everywhere in this project
        return point, thousands if usually[1] else None
    if usually[0] == usually[1]:
        raise NotRead(f"may be {point:g} or {thousands:g}", f"write {point:g} or {thousands:g}")
    return (point, thousands) if usually[0] else (thousands, point)


def _aloud(text: str, fraction: str, values: tuple[float, float | None], one: Measure, unit: str) -> str:
    """What was understood, where it is not plainly what was typed."""
    number, other = values
    shown = f"{fraction or f'{in_figures(number)}'} {one.symbol}".rstrip()
    typed = text[: -len(one.symbol)].rstrip() if one.symbol and text.endswith(one.symbol) else text
    said = "" if _PLAIN.fullmatch(typed) and typed[-1] != "." else f"Read as {shown}."
    kept = one.kept(number)
    if unit != "wire" and (kept != number or one.zero):
        mark = inch_fraction(number) if one.symbol == "in" and not fraction and number > 0 else ""
        said = f"{shown}{f' ({mark})' if mark else ''} is {in_figures(kept, 6)} {own_symbol(unit)}."
    if other is None:
        return said
    how = "without a point or comma" if other > number else "with a point"
    rest = f"If {in_figures(other)} {one.symbol}".rstrip() + f" was meant, write it {how}."
    return f"{said or f'Read as {shown}.'} {rest}"


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
        """What was entered with the question, such as 'a stack of 4000 mm: did you mean 40 mm (...)?'."""
        return f"{name} of {self.typed:.10g} {self.unit}".rstrip() + f": {self.question()}"

    def question(self) -> str:
        """The question to put to the reader, such as 'did you mean 40 mm (...)?'; two offers at most."""
        unit = f" {self.unit}" if self.unit else ""
        offers = [f"{value:.5g}{unit} ({slip})" for value, slip in ((self.value, self.slip), *self.others)[:2]]
        return f"did you mean {' or '.join(offers)}?"


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
        found.append((round(float(awg_of_mm(value)), 1), "its diameter in mm typed in"))
    factors = [(factor, f"typed in {name}") for name, factor in data("units.toml")["typed_in"].get(unit, {}).items()]
    if unit == "mm":
        factors.append((1.0 / MM_PER_INCH, "already in mm, then multiplied by 25.4"))
    for places in PLACES:
        said = f"the decimal point slipped by {places} place{'s' if places > 1 else ''}"
        factors += [(10.0**-places, said), (10.0**places, said)]
    factors.sort(key=lambda pair: round(abs(math.log(pair[0])), 9))
    return found + [(value * factor, slip) for factor, slip in factors]
