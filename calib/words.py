"""Numbers and findings in the words that page and charts use for them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from calib.paths import data
from calib.register.fields import FIELDS
from calib.register.records import standing
from calib.units import odds as odds

RECTIFIERS, FILTERS, SHEETS = (FIELDS[name].names for name in ("rectifier", "filter", "lamination"))
FLAGS: dict[str, str] = data("flags.toml")
DRAWN_APART = ("simulated", "stop", "doubt", "withheld", "improbable")
READINGS = {"v_over_r": "V/R", "core-volt-amperes": "core less heaters"}
READINGS |= {"lamination": "shape of the sheets", "era": "year made"}
MARKS = frozenset("\\`*_{}[]()<>#+-.!|~:$^&=@")
JOINER = "\u2060"  # seen by nobody, and no break of a line
BLANKS = re.compile(r"\s+")
# After a colon or an at sign, within ``www.``, and between the marks of an arrow.
SEARCHED_FOR = re.compile(r"(?<=[:@])(?=\S)|(?<=www)(?=\\\.)|(?<=[-<>=~])(?=\\[-<>=~])", re.IGNORECASE)
TENTHS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def milliamps(value: float) -> str:
    """A current in mA with no more digits than an estimate deserves: three at most, none after the point from 10 up.

    Parameters
    ----------
    value : float
        Current, 0 and up; nan where unknown [mA].

    Returns
    -------
    str
        The digits alone, without the unit; a dash where unknown.
    """
    if not math.isfinite(value):
        return "–"
    if abs(value) < 9.95:
        return f"{value:.1f}"
    digits = max(0, math.floor(math.log10(abs(value))) - 2)
    return f"{round(value, -digits):.0f}"


def figure(value: float, digits: int = 3) -> str:
    """A number with so many significant digits and no exponent; a dash where unknown."""
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    after = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{after}f}"


def with_u(value: float, u: float) -> tuple[str, str]:
    """A value and its standard uncertainty, of two digits, each to the same place (JCGM 100:2008, clause 7.2.6)."""
    from uncertainties import ufloat

    if not 0.0 < u < math.inf:
        return figure(value, 5), figure(u, 2)
    told, doubt = f"{ufloat(value, u):.2uf}".split("+/-")
    return told, doubt


def share(level: float) -> str:
    """A probability as people say it: 0.9 is ``nine units in ten``, 0.95 is ``95 units in 100``."""
    tenths = level * 10
    if abs(tenths - round(tenths)) < 1e-9:
        return f"{TENTHS[round(tenths)]} units in ten"
    return f"{level * 100:.3g} units in 100"


def beside(demand_ma: float, likely_ma: float) -> str:
    """How a demand lies to the likely current: below or above it, or about it where both print the same [mA]."""
    asked, likely = milliamps(demand_ma), milliamps(likely_ma)
    side = "about" if asked == likely else "below" if demand_ma < likely_ma else "above"
    return f"{asked} mA asked: {side} the likely {likely} mA"


def count(number: int, singular: str, plural: str = "") -> str:
    """A number with its noun: ``1 unit``, ``12 units``."""
    return f"{number:,} {singular if number == 1 else plural or singular + 's'}"


def few(number: int, singular: str) -> str:
    """A small number with its noun, in a word up to ten: ``one record``, ``three records``, ``12 records``."""
    noun = singular if number == 1 else f"{singular}s"
    return f"{TENTHS[number]} {noun}" if number in range(1, 10) else count(number, singular)


def joined_names(names: Sequence[str]) -> str:
    """Names as people list them: commas, and before the last; blank without any."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def predictors(joined: str) -> str:
    """The readings behind an estimate, from the table's ``v_over_r+core`` to ``V/R and core``."""
    names = [READINGS.get(part, part) for part in joined.split("+") if part]
    return joined_names(names) or "nothing but the prior"


def supply(rectifier: str, filter_input: str) -> str:
    """A rectifier and a filter in a few words, for titles: ``full-wave, capacitor first``."""
    if rectifier == "none":
        return "an ac load"
    return f"{rectifier}, {FILTERS[filter_input]}"


def percent(share: float) -> str:
    """A share of a whole in per cent, never rounded to all or nothing: ``70 %``, ``less than 1 %``."""
    if 0.0 < share < 0.01:
        return "less than 1 %"
    if 0.99 < share < 1.0:
        return "more than 99 %"
    return f"{share * 100:.0f} %"


def sentence(said: str) -> str:
    """A finding with its first letter large and an end."""
    return f"{said[0].upper()}{said[1:]}{'' if said.endswith(('?', '.')) else '.'}"


def symbols(text: str) -> str:
    """Units in a line of working as the page writes them: Ω for ohm; kilohms stay a word."""
    return re.sub(r"\bohm\b", "Ω", text.replace(" per ohm", "/Ω"))


def flags(joined: str) -> list[str]:
    """The flags of an estimate, from ``no-core;few-records`` to a sentence each, but for those that are drawn apart."""
    return [FLAGS.get(flag, flag) for flag in joined.split(";") if flag and flag not in DRAWN_APART]


def current_title(rectifier: str) -> str:
    """What a rating's axis is called: a direct current, or the rms of an ac load."""
    return "rated current, mA rms" if rectifier == "none" else "rated direct current, mA"


def plain(text: str) -> str:
    """Text in which the page reads nothing as formatting, for every place that reads Markdown: labels, help, messages.

    Every mark that could be formatting is escaped. That does not hold what is searched for in the finished text:
    addresses, which become links, names of emoji and icons between colons, arrows. An invisible joiner within parts
    them. All that comes from a register, a file or a form goes through here on its way into such a place.

    Parameters
    ----------
    text : str
        As it was typed or stored.

    Returns
    -------
    str
        Markdown that shows the same text, on one line.
    """
    escaped = "".join(f"\\{mark}" if mark in MARKS else mark for mark in BLANKS.sub(" ", text))
    return SEARCHED_FOR.sub(JOINER, escaped)


AGAINST = {"stop": "STOP, feed it nothing", "doubt": "In doubt"}  # before a figure of a unit that has one


def mark(values: Mapping[str, Any]) -> str:
    """The word that stands before a figure of the unit; blank where nothing stands against it."""
    kinds = [kind for kind, _ in standing(values)]
    return next((AGAINST[kind] for kind in AGAINST if kind in kinds), "")


def marked(values: Mapping[str, Any], said: str) -> str:
    """A figure of the unit in words, what stands against it first."""
    before = mark(values)
    return f"{before}. {said}" if before else said
