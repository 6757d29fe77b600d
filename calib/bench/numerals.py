"""A number as people write it at the bench, with its unit behind it: 4,97 - 1.234,5 - 188,6 Ω - 1,2 k - 1 1/8 in.

A point is always the decimal mark where it stands alone. A lone comma is one too, but where it may as well part
thousands (1,234) the reading that lies in the usual range is taken and the other one named, and where that does not
decide it nothing is taken at all. What was understood is put into words wherever it is not plainly what was typed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from calib.bench.measures import LEAST_READ, MEASURES, MOST_READ, Measure, in_figures, inch_fraction, measure

# Units that may stand behind a number, by the unit that is kept: each with its spellings, the first its own symbol.
_OHM = ((1.0, "Ω ohm ohms R"), (1e3, "kΩ k kohm kohms kilohm kilohms"), (1e6, "MΩ M Mohm Meg Megohm Megohms"))
_SPELT: dict[str, tuple[tuple[float | Measure, str], ...]] = {
    "V": ((1.0, "V volt volts Vrms Vac V~"), (1e-3, "mV millivolt millivolts"), (1e3, "kV kilovolt kilovolts")),
    "V dc": ((1.0, "V Vdc volt volts"), (1e3, "kV kVdc kilovolt kilovolts")),
    "ohm": (*_OHM, (1e-3, "mΩ mohm mohms milliohm milliohms")),
    "MΩ": tuple((factor / 1e6, names) for factor, names in (*_OHM, (1e9, "GΩ G Gohm gigohm gigohms"))),
    "mA": ((1.0, "mA milliamp milliamps milliampere"), (1e3, "A amp amps ampere amperes"), (1e-3, "µA uA microamp")),
    "A": ((1.0, "A amp amps ampere amperes"), (1e-3, "mA milliamp milliamps milliampere")),
    "W": ((1.0, "W watt watts"), (1e-3, "mW"), (1e3, "kW")),
    "Hz": ((1.0, "Hz hertz c/s cps cycles"), (1e3, "kHz")),
    "mm": (
        (1.0, "mm millimetre millimetres millimeter millimeters"),
        (10.0, "cm centimetre centimetres centimeter centimeters"),
        (measure("mm", "in"), "in inch inches \" ″ ''"),
        (measure("mm", "in").factor / 1e3, "mil mils thou"),
        (1e-3, "µm um micron microns"),
    ),
    "cm²": ((1.0, "cm² cm2 sqcm"), (0.01, "mm² mm2 sqmm"), (measure("cm²", "in²"), "in² in2 sqin")),
    "°C": ((1.0, "°C C degC"), (measure("°C", "°F"), "°F F degF")),
    "K": ((1.0, "°C C K degC"), (measure("K", "°F"), "°F F degF")),
    "kg": (
        (1.0, "kg kilo kilos kilogram kilograms"),
        (1e-3, "g gram grams"),
        (measure("kg", "lb"), "lb lbs pound pounds"),
        (measure("kg", "lb").factor / 16.0, "oz ounce ounces"),
    ),
    "h": ((1.0, "h hr hrs hour hours"), (1.0 / 60.0, "min mins minute minutes"), (24.0, "d day days")),
    "s": ((1.0, "s sec secs second seconds"), (60.0, "min mins minute minutes")),
    "%": ((1.0, "% percent pct"),),
    "AWG": ((1.0, "AWG"),),
    # A wire's size stays in the gauge or unit that it is given in.
    "wire": ((1.0, "AWG"), (1.0, "SWG"), (1.0, "mm"), (1.0, "in inch inches \" ″ ''"), (1e-3, "mil mils thou")),
}
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
    """What was typed is no number of that unit: the problem, and what to write instead."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}; {remedy}")
        self.problem = problem
        self.remedy = remedy


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


def read_number(typed: str, unit: str = "", symbol: str = "", usual: tuple[float, float] | None = None) -> Numeral:
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
    number, other = _chosen(signed, "," in body, one, usual)
    aloud = _aloud(text, body if "/" in body else "", (number, other), one, unit)
    if one.symbol != offered and not aloud:
        aloud = f"Read as {in_figures(number)} {one.symbol}."
    if unit == "wire" and one.symbol == "mil":
        return Numeral(one.kept(number), "in", one.kept(number), aloud)
    return Numeral(number, one.symbol, one.kept(number), aloud)


def symbols_behind(unit: str) -> tuple[str, ...]:
    """The units that may be typed behind a number, by the one that is kept."""
    return tuple(names.split()[0] for _, names in _SPELT.get(_SAME.get(unit, unit), ()))


def own_symbol(unit: str) -> str:
    """How the unit that is kept is written; AWG for a wire."""
    return "AWG" if unit == "wire" else _SAID.get(unit, unit)


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
    units = {names.split()[0]: (factor, names.split()) for factor, names in _SPELT.get(unit, ())}
    if not bare or (bare.lower() in _DEGREE and unit in ("°C", "K")):
        factor, _ = units.get(offered, (1.0, []))
        return _measure(factor, offered)
    exact = [name for name, (_, spelt) in units.items() if bare in spelt]
    near = [name for name, (_, spelt) in units.items() if bare.lower() in [one.lower() for one in spelt]]
    if not exact and ((bare == "m" and "MΩ" in near) or len(near) > 1):
        raise NotRead("may be a thousandth or a million", "write mΩ or MΩ behind it")
    for name in (*exact, *near):
        return _measure(units[name][0], name)
    if re.search(r"\d", bare):
        raise NotRead("is more than one number", "write one, such as 4.97")
    shown = "".join(mark if mark.isprintable() else "?" for mark in " ".join(behind.split())[:_LONGEST])
    if not units:
        raise NotRead(f"has '{shown}' behind it, and this is a number without a unit", "write the number alone")
    *others, last = units
    allowed = f"{', '.join(others)} or {last}" if others else last
    raise NotRead(f"has '{shown}' behind it, which is no unit of this reading", f"write it alone, or with {allowed}")


def _measure(factor: float | Measure, symbol: str) -> Measure:
    return factor if isinstance(factor, Measure) else Measure(symbol, factor)


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
