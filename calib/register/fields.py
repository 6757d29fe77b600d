"""What is said of every field of a record, a meter and a bench session, and how a value as typed becomes a field's.

Label, unit, limits, usual range and help stand in ``fields.toml`` alone, the codes of choices beside it here; tables,
forms, command options, the register's columns and the data package's descriptor are made from them.

Examples
--------
>>> from calib.register.fields import FIELDS
>>> ohm = FIELDS["hv_resistance_ohm"]
>>> ohm.label, ohm.unit, ohm.limits, ohm.usual
('Winding resistance', 'ohm', '0.001 to 1000000 ohm', (5.0, 10000.0))
>>> ohm.judged(3100000.0).problem  # None for a number within the limits
'is outside the limits, 0.001 to 1000000 ohm'
>>> FIELDS["line_frequency_hz"].unlikely(500.0)  # blank for a usual one
'500 Hz is unusual: most are 24 to 62 Hz; did you mean 50 Hz (the decimal point slipped by 1 place)?'
>>> FIELDS["volts_metered"].choices
('one-range', 'two-ranges', 'two-meters')
>>> FIELDS["volts_metered"].names["two-ranges"]
'one meter, two ranges'
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field

from calib.errors import Code, Fault, InputError, is_hidden, outside
from calib.paths import data
from calib.units import NotRead, meant, read_number

Kind = Literal["text", "number", "choice", "flag", "date"]
Rectifier = Literal["full-wave", "bridge", "half-wave", "doubler", "none"]
FilterInput = Literal["capacitor", "choke", "none"]
Evidence = Literal["nameplate", "maker-data", "set-data", "wire-measured", "heat-run"]
Conductor = Literal["copper", "aluminium"]
LaminationShape = Literal["ei-scrapless", "m", "ui", "strip-wound", "other"]
RatingBasis = Literal["dc", "ac", "guide"]
Reads = Literal["volt", "ohm"]
CODES = {"evidence": Evidence, "rectifier": Rectifier, "filter": FilterInput, "conductor": Conductor}
CODES |= {"lamination": LaminationShape, "rating_basis": RatingBasis, "reads": Reads}

BLANK_WORDS = frozenset({"nan", "NaN", "NAN", "NA", "N/A", "#N/A", "null", "NULL"})
CHECK = "check the reading and its unit"
_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufeff]")


def is_blank(value: object) -> bool:
    """Whether a cell or a value says nothing: None, NaN, or text of spaces alone."""
    return value is None or value != value or (isinstance(value, str) and not value.strip())


class Refusal(ValueError):
    """A value is refused: the problem, what to do about it, and a code for programs."""

    def __init__(self, problem: str, remedy: str, code: Code = "text") -> None:
        super().__init__(f"{problem}; {remedy}")
        self.problem, self.remedy = problem, remedy
        self.code: Code = code


def outside_limits(limits: str, asked: str = "", otherwise: str = CHECK) -> Refusal:
    """The refusal of a number outside its limits, which asks what was probably meant where that is known."""
    return Refusal(outside(limits), f"{asked} If not, {otherwise}" if asked else otherwise, "limits")


@dataclass(frozen=True)
class FieldFacts:
    """What a table, a form, a command option or a data package says of one field.

    Attributes
    ----------
    name : str
        The column, as the tables spell it.
    label : str
        What a form calls it.
    unit : str
        Unit of its numbers, blank where there is none.
    needed : bool
        Whether a record without it is refused (the ratio test's two voltages and the no-load voltage stand for one
        another, so none of the three is needed alone; the halves' resistances stand for the whole's).
    low, high : float or None
        Limits, both allowed but for a low with `low_excluded`.
    low_excluded : bool
        Whether the low limit itself is refused.
    choices : tuple of str
        What may be written, where the kind is choice or flag: codes, which never change.
    help : str
        One sentence for someone with a meter in hand.
    kind : str
        text, number, choice, flag or date.
    usual : (float, float) or None
        Where the numbers of mains transformers of valve sets lie; beyond it a value is worth a second look.
    said : tuple of str
        How a form puts each of the choices; empty where it shows them as they are.
    whole : bool
        Whether its numbers have no fraction.
    most : int or None
        How many characters a name may have; None where it is none.
    remedy : str
        What to do about a number beyond the limits, where the field says it better than `CHECK` does.
    """

    name: str
    label: str
    unit: str
    needed: bool
    low: float | None
    high: float | None
    low_excluded: bool
    choices: tuple[str, ...]
    help: str
    kind: Kind
    usual: tuple[float, float] | None = None
    said: tuple[str, ...] = ()
    whole: bool = False
    most: int | None = None
    remedy: str = ""

    @property
    def limits(self) -> str:
        """The limits in words, such as '0.001 to 1000000 ohm'; blank where there are none."""
        if self.low is None or self.high is None:
            return ""
        low = f"{'above ' if self.low_excluded else ''}{self.low:.10g}"
        return f"{low} to {self.high:.10g} {self.unit}".rstrip()

    @property
    def or_empty(self) -> str:
        """What a remedy adds where the field may be left empty."""
        return "" if self.needed else ", or leave it empty where it was not measured"

    def within(self, value: Any) -> Any:
        """Whether a number lies within the limits, or which of an array or an expression of them do; NaN does not."""
        if self.low is None or self.high is None:
            return value == value
        within = (value > self.low if self.low_excluded else value >= self.low) & (value <= self.high)
        return within & (value % 1 == 0) if self.whole else within

    def judged(self, value: float, asked: str = "") -> Refusal | None:
        """The refusal of a number outside the limits, or with a fraction where none may be; None for a sound one.

        Parameters
        ----------
        value : float
            The number, in `unit`.
        asked : str
            The question what was meant, where the caller knows it better than `probably_meant`.
        """
        if self.within(value):
            return None
        if self.whole and value % 1 != 0:
            return Refusal("is not a whole number", f"write it without a fraction{self.or_empty}", "not-a-number")
        otherwise = self.remedy or f"{CHECK}{self.or_empty}"
        return outside_limits(self.limits, asked or self.probably_meant(value), otherwise)

    @property
    def names(self) -> dict[str, str]:
        """How a form puts each of the choices, by its code."""
        return dict(zip(self.choices, self.said, strict=True))

    def as_a_table_has_it(self, value: object) -> str:
        """How to write a number in a table that people may write otherwise elsewhere; blank where it is none."""
        try:
            one = read_number(str(value), self.unit, "", self.usual)
        except NotRead as error:
            unclear = error.code == "unclear"
            return f"{error.remedy}, with a point for decimals and no unit" if unclear else ""
        return f"a table takes a point for decimals and no unit: write {one.kept:.12g}"

    def probably_meant(self, value: float) -> str:
        """What a number beyond the limits was probably meant to be, as a question; blank where nothing is likely."""
        if self.low is None or self.high is None or self.usual is None:
            return ""
        guess = meant(value, self.low, self.high, *self.usual, self.unit)
        return guess.question() if guess else ""

    def unusual(self, value: float) -> str:
        """What is unusual of a number within the limits; blank for a usual one."""
        if self.usual is None or not math.isfinite(value) or self.usual[0] <= value <= self.usual[1]:
            return ""
        low, high = self.usual
        return f"{value:.6g} {self.unit}".rstrip() + f" is unusual: most are {low:g} to {high:g} {self.unit}".rstrip()

    def unlikely(self, value: float, asked: str = "") -> str:
        """What is unusual of a number, and what was probably meant, or the caller's question; blank for a usual one."""
        said = self.unusual(value)
        if said and self.usual and not asked:
            guess = meant(value, *self.usual, *self.usual, self.unit)
            asked = guess.question() if guess else ""
        return f"{said}; {asked}" if said and asked else said


def _bound(told: Any) -> float:
    return float(date.today().year if told == "this year" else told)


GRADES: dict[str, dict[str, Any]] = data("register/fields.toml")["grade"]


def _graded(grade: str) -> str:
    """A grade of evidence in words: what it is, and how far a stated current is off."""
    told = GRADES[grade]
    spread = 100.0 * math.expm1(math.hypot(told["bias_sd"], told["sd"]))
    low = f"{-100.0 * math.expm1(told['bias']):.0f} % low, " if told["bias"] else ""
    return f"{grade}: {told['means']}, {low}±{spread:.0f} %"


def _facts(name: str, told: Mapping[str, Any]) -> FieldFacts:
    """The facts of one field, as ``fields.toml`` tells them; what it has no limits or choices for is text."""
    choices = get_args(CODES[name]) if name in CODES else tuple(told.get("choices", ()))
    kind: Any = told.get("kind") or ("number" if "limits" in told else "choice" if choices else "text")
    said = tuple(map(_graded, choices)) if name == "evidence" else tuple(told.get("said", ()))
    help = f"{told['help']} {'; '.join(said)}." if name == "evidence" else told["help"]
    low, high = map(_bound, told["limits"]) if "limits" in told else (None, None)
    return FieldFacts(
        name,
        told["label"],
        told.get("unit", ""),
        False,
        low,
        high,
        told.get("low_excluded", False),
        ("true", "false") if kind == "flag" else choices,
        help,
        kind,
        (_bound(told["usual"][0]), _bound(told["usual"][1])) if "usual" in told else None,
        said,
        told.get("whole", False),
        LONGEST_NAME if name in _NAMES["fields"] else None,
        told.get("remedy", ""),
    )


def facts_of(told: Mapping[str, Mapping[str, Any]]) -> dict[str, FieldFacts]:
    """The facts of fields that are no record's, as another file of this shape tells them, by name."""
    return {name: _facts(name, one) for name, one in told.items()}


def faults_of(facts: Mapping[str, FieldFacts], values: Mapping[str, Any]) -> list[Fault]:
    """Every number that is refused, of values by field: None is not told, and of a tuple each is looked at."""
    faults = []
    for name, one in facts.items():
        value = values.get(name)
        for number in value if isinstance(value, tuple) else () if value is None else (value,):
            if refused := one.judged(number):
                faults.append(Fault("", None, name, f"{number:g}", refused.problem, refused.remedy, refused.code))
    return faults


def unlikely_of(facts: Mapping[str, FieldFacts], values: Mapping[str, Any]) -> list[str]:
    """What is unusual of values by field, a sentence each that begins with the field's name."""
    found = []
    for name, one in facts.items():
        value = values.get(name)
        numbers = value if isinstance(value, tuple) else () if value is None else (value,)
        said = dict.fromkeys(one.unlikely(number) for number in numbers if one.within(number))
        found += [f"{name}: {text}" for text in said if text]
    return found


_NAMES = data("register/fields.toml")["names"]
LONGEST_NAME = int(_NAMES["most"])
RECORD, METER, TAKEN = (
    tuple(_facts(*field) for field in data("register/fields.toml")[group].items())
    for group in ("record", "meter", "taken")
)
FIELDS: dict[str, FieldFacts] = {facts.name: facts for facts in (*RECORD, *METER, *TAKEN)}


def of(name: str) -> Any:
    """The limits of a field of numbers, to stand in an annotation of a record's class."""
    facts = FIELDS[name]
    least, above = (None, facts.low) if facts.low_excluded else (facts.low, None)
    finite = None if facts.whole else False  # a whole number is finite anyway
    return Field(allow_inf_nan=finite, ge=least, gt=above, le=facts.high)


def _as_number(value: object) -> object:
    if isinstance(value, str) and _NUMBER.fullmatch(value):
        return float(value)
    if isinstance(value, str | bool):
        remedy = "write it with a point for decimals, such as 38.4, and without its unit"
        raise Refusal("is not a number", remedy, "not-a-number")
    return value


def _words(value: object) -> str:
    """Text as it is kept: trimmed, one kind of line end, one spelling of accented letters."""
    if not isinstance(value, str):
        raise Refusal("is not text", "write it as text")
    text = unicodedata.normalize("NFC", value.replace("\r\n", "\n").replace("\r", "\n")).strip()
    if text in BLANK_WORDS:
        raise Refusal("stands for a missing value", "write out what it means")
    if found := _UNPRINTABLE.search(text):
        raise _unseen(found[0])
    return text


def _unseen(mark: str) -> Refusal:
    named = unicodedata.name(mark, "a control character").lower()
    return Refusal(f"has the character U+{ord(mark):04X} ({named}), which cannot be printed", "type it again by hand")


def one_line(value: object) -> str:
    """Text of one line as it is kept; a `Refusal` where it is none."""
    text = _words(value)
    if len(text.splitlines()) > 1 or "\t" in text:
        raise Refusal("runs over more than one line", "write it on one line, without tabs")
    return text


def name_text(value: object) -> str:
    """A name as it is kept; a `Refusal` where it is too long, or has what cannot be seen."""
    text = one_line(value)
    mark = "" if text.isascii() and text.isprintable() else next((mark for mark in text if is_hidden(mark)), "")
    if mark:
        refusal = _unseen(mark)
        raise Refusal(refusal.problem, refusal.remedy, "name")
    if len(text) > LONGEST_NAME:
        problem = f"has {len(text)} characters, and a name has at most {LONGEST_NAME}"
        raise Refusal(problem, "shorten it; what else it says can go into notes", "name")
    return text


def line(name: str, text: str, shown: str = "") -> str:
    """One line of text as it is kept, or an `InputError` that names it, as `shown` where that is given.

    Who makes an entry and the tag of a session are names; a unit's and a contributor's are not held to that here, so
    that a record can be asked for that was kept before names were.
    """
    try:
        return name_text(text) if name in ("by", "tag") else one_line(text)
    except Refusal as refusal:
        problem, remedy = refusal.problem, refusal.remedy
        raise InputError.one(problem, remedy, column=shown or name, value=text, code=refusal.code) from None


def _name(value: object) -> str:
    text = name_text(value)
    if not text:
        raise Refusal("is needed", "fill it in", "missing")
    return text


def _flag(value: object) -> object:
    if isinstance(value, str):
        known = {"true": True, "false": False}.get(value.strip().lower())
        if known is None:
            raise Refusal("is not true or false", "write true or false", "choice")
        return known
    return value


def _day(value: object) -> object:
    if isinstance(value, str):
        try:
            if _DATE.fullmatch(value.strip()):
                return date.fromisoformat(value.strip())
        except ValueError:
            pass
        raise Refusal("is not a date", "write it as year-month-day, such as 2024-03-09", "date")
    return value


def _choice_word(value: object) -> object:
    return value.strip() if isinstance(value, str) else value


Words = Annotated[str, BeforeValidator(_words)]
OneLine = Annotated[str, BeforeValidator(one_line)]
Name = Annotated[str, BeforeValidator(_name)]
NameIfAny = Annotated[str, BeforeValidator(name_text)]
Flag = Annotated[bool, BeforeValidator(_flag)]
FlagOrBlank = Annotated[bool | None, BeforeValidator(_flag)]
Day = Annotated[date, BeforeValidator(_day)]
trimmed = BeforeValidator(_choice_word)
as_number = BeforeValidator(
    _as_number
)  # after the limits in an annotation: they are then checked natively, twice as fast
