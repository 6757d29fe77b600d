"""What is said of one field of a record, and how a value as typed becomes a field's value."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import NoneType
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BeforeValidator, Field
from pydantic.fields import FieldInfo

from calib.units import NOT_A_NUMBER, Meant, NotRead, meant, read_number

BLANK_WORDS = frozenset({"nan", "NaN", "NAN", "NA", "N/A", "#N/A", "null", "NULL"})
_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufeff]")


class Refusal(ValueError):
    """A value is refused: the problem, and what to do about it."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}; {remedy}")
        self.problem = problem
        self.remedy = remedy


class NoNumber(Refusal):
    """A value is refused since it is not written as a table's numbers are."""


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
        another, so none of the three is needed alone).
    low, high : float or None
        Limits, both allowed but for a low with `low_excluded`.
    low_excluded : bool
        Whether the low limit itself is refused.
    choices : tuple of str
        What may be written, where the kind is choice or flag.
    help : str
        One sentence for someone with a meter in hand.
    kind : str
        text, number, choice, flag or date.
    usual : (float, float) or None
        Where the numbers of mains transformers of valve sets lie; beyond it a value is worth a second look.
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
    kind: Literal["text", "number", "choice", "flag", "date"]
    usual: tuple[float, float] | None = None

    @property
    def limits(self) -> str:
        """The limits in words, such as '0.001 to 1000000 ohm'; blank where there are none."""
        if self.low is None or self.high is None:
            return ""
        low = f"{'above ' if self.low_excluded else ''}{self.low:.10g}"
        return f"{low} to {self.high:.10g} {self.unit}".rstrip()

    def as_a_table_has_it(self, value: object) -> str:
        """How to write a number in a table that people may write otherwise elsewhere; blank where it is none."""
        try:
            one = read_number(str(value), self.unit, "", self.usual)
        except NotRead as error:
            return "" if error.problem == NOT_A_NUMBER else f"{error.remedy}, with a point for decimals and no unit"
        return f"a table takes a point for decimals and no unit: write {one.kept:.12g}"

    def probably_meant(self, value: float) -> str:
        """What a number beyond the limits was probably meant to be, as a question; blank where nothing is likely."""
        if self.low is None or self.high is None or self.usual is None:
            return ""
        return _asked(meant(value, self.low, self.high, *self.usual, self.unit))

    def unlikely(self, value: float) -> str:
        """What is unusual of a number within the limits, and what was probably meant; blank for a usual one."""
        if self.usual is None or not math.isfinite(value) or self.usual[0] <= value <= self.usual[1]:
            return ""
        low, high = self.usual
        said = f"{value:.6g} {self.unit}".rstrip() + f" is unusual: most are {low:g} to {high:g} {self.unit}".rstrip()
        asked = _asked(meant(value, low, high, low, high, self.unit))
        return f"{said}; {asked}" if asked else said


def _asked(guess: Meant | None) -> str:
    return "" if guess is None else guess.sentence().partition(": ")[2]


def _number(value: object) -> object:
    if isinstance(value, str) and _NUMBER.fullmatch(value):
        return float(value)
    if isinstance(value, str | bool):
        raise NoNumber("is not a number", "write it with a point for decimals, such as 38.4, and without its unit")
    return value


def _words(value: object) -> str:
    """Text as it is kept: trimmed, one kind of line end, one spelling of accented letters."""
    if not isinstance(value, str):
        raise Refusal("is not text", "write it as text")
    text = unicodedata.normalize("NFC", value.replace("\r\n", "\n").replace("\r", "\n")).strip()
    if text in BLANK_WORDS:
        raise Refusal("stands for a missing value", "write out what it means")
    if _UNPRINTABLE.search(text):
        raise Refusal("has characters that cannot be printed", "type it again by hand")
    return text


def one_line(value: object) -> str:
    """Text of one line as it is kept; a `Refusal` where it is none."""
    text = _words(value)
    if len(text.splitlines()) > 1 or "\t" in text:
        raise Refusal("runs over more than one line", "write it on one line, without tabs")
    return text


def _name(value: object) -> str:
    text = one_line(value)
    if not text:
        raise Refusal("is needed", "fill it in")
    return text


def _flag(value: object) -> object:
    if isinstance(value, str):
        known = {"true": True, "false": False}.get(value.strip().lower())
        if known is None:
            raise Refusal("is not true or false", "write true or false")
        return known
    return value


def _day(value: object) -> object:
    if isinstance(value, str):
        try:
            if _DATE.fullmatch(value.strip()):
                return date.fromisoformat(value.strip())
        except ValueError:
            pass
        raise Refusal("is not a date", "write it as year-month-day, such as 2024-03-09")
    return value


def _choice(value: object) -> object:
    return value.strip() if isinstance(value, str) else value


Words = Annotated[str, BeforeValidator(_words)]
OneLine = Annotated[str, BeforeValidator(one_line)]
Name = Annotated[str, BeforeValidator(_name)]
Flag = Annotated[bool, BeforeValidator(_flag)]
Day = Annotated[date, BeforeValidator(_day)]
trimmed = BeforeValidator(_choice)
as_number = BeforeValidator(_number)  # after the limits in an annotation: they are then checked natively, twice as fast


def quantity(
    label: str,
    unit: str,
    limits: tuple[float, float],
    help: str,
    *,
    usual: tuple[float, float],
    low_excluded: bool = False,
) -> Any:
    """The facts of a number: its label, unit, limits, help and usual range."""
    low, high = limits
    least, above = (None, low) if low_excluded else (low, None)
    return Field(
        title=label,
        description=help,
        allow_inf_nan=False,
        ge=least,
        gt=above,
        le=high,
        json_schema_extra={"unit": unit, "kind": "number", "usual": [*usual]},
    )


def plain(label: str, help: str, kind: Literal["text", "choice", "flag", "date"]) -> Any:
    """The facts of a field that is no number: its label, help and kind."""
    return Field(title=label, description=help, json_schema_extra={"unit": "", "kind": kind})


def _choices(annotation: Any) -> tuple[str, ...]:
    for part in (annotation, *get_args(annotation)):
        if get_origin(part) is Literal:
            return tuple(get_args(part))
        if part is bool:
            return ("true", "false")
    return ()


def facts_of(name: str, info: FieldInfo) -> FieldFacts:
    """Read the facts of a field off its definition in a record."""
    extra: Mapping[str, Any] = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    bounds: dict[str, float] = {}
    for note in info.metadata:
        bounds.update({key: getattr(note, key) for key in ("ge", "gt", "le") if getattr(note, key, None) is not None})
    optional = NoneType in get_args(info.annotation)
    return FieldFacts(
        name=name,
        label=info.title or name,
        unit=extra.get("unit", ""),
        needed=info.is_required() and not optional,
        low=bounds.get("ge", bounds.get("gt")),
        high=bounds.get("le"),
        low_excluded="gt" in bounds,
        choices=_choices(info.annotation),
        help=info.description or "",
        kind=extra.get("kind", "text"),
        usual=tuple(extra["usual"]) if "usual" in extra else None,
    )
