"""The errors that the wings raise, which only the command line turns into exit statuses; checks of impossible input."""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

SHOWN = 200  # characters of a typed value that a line repeats
_KEPT_FORMAT = "\u200c\u200d"  # joiners that some scripts are written with
# What kind of fault it is, for programs: these words never change, the sentences may.
Code = Literal[
    "missing",  # a value, a column or a row that is needed is not there
    "limits",  # a number outside its limits
    "not-a-number",  # not written as a number is
    "unclear",  # a number that may mean two things, or whose unit is none of this quantity
    "choice",  # not one of the words that may be written
    "text",  # no text, or one that cannot be kept as it is
    "name",  # a name that is too long, or has marks that cannot be seen
    "date",  # not a day
    "conflict",  # at odds with another value of the same input
    "improbable",  # what no reading can be, though each value by itself may
    "column",  # not a column of this table, or twice in its header
    "duplicate",  # stands there twice, and differs
    "stopped",  # a unit that must not be fed
    "kind",  # simulated where real is kept, or the other way round
    "not-found",  # nothing of that name is there
    "exists",  # something of that name is there already
    "file",  # what keeps a file from being read or written as a table
    "unknown",  # none of these
]


def visible(text: str, most: int | None = None) -> str:
    """A text as one line that can do nothing to whoever reads it.

    Parameters
    ----------
    text : str
        Any, such as a cell of a table that came from elsewhere.
    most : int or None
        How many characters of it are shown; None for all.

    Returns
    -------
    str
        Blanks and line ends as one blank; control characters and marks that turn the direction of writing as their
        codes, such as ``\\x1b``; cut with its length said where it is longer than `most`.
    """
    cut = text if most is None else text[: most + 1]
    line = " ".join(cut.split())
    if most is not None and len(text) > most:
        line = f"{line[:most]}… ({len(text)} characters)"
    return line if line.isascii() and line.isprintable() else "".join(map(_harmless, line))


def _harmless(mark: str) -> str:
    return mark.encode("unicode_escape").decode() if is_hidden(mark) else mark


def is_hidden(mark: str) -> bool:
    """Whether a character is one that nobody sees: of control, of the direction of writing, of format, half a one."""
    return unicodedata.category(mark) in ("Cc", "Cf", "Cs", "Zl", "Zp") and mark not in _KEPT_FORMAT


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with an input.

    Attributes
    ----------
    where : str
        File, form or call that the input came from; blank where there is none.
    row : int or None
        Line in the file, the header being 1; None for an input that has no rows.
    column : str
        Name of the field as the contract spells it; blank where the fault is of the whole row or file.
    value : str
        The value as it was typed.
    problem : str
        What is wrong, with the limit where there is one.
    remedy : str
        What to do about it.
    code : str
        What kind of fault it is, as `Code` lists them; no program needs to read the sentences.
    """

    where: str
    row: int | None
    column: str
    value: str
    problem: str
    remedy: str
    code: Code = "unknown"

    def __str__(self) -> str:
        parts = (self.where, f"row {self.row}" if self.row is not None else "", self.column)
        place = [visible(part, SHOWN) for part in parts if part]
        typed = f" '{visible(self.value, SHOWN)}'" if self.value else " (empty)" if self.column else ""
        return visible(f"{', '.join(place)}{typed}: {self.problem}; {self.remedy}")


def outside(limits: str) -> str:
    """The problem of a number outside its limits, such as ``0.001 to 1000000 ohm``, as every input says it."""
    return f"is outside the limits, {limits}"


class InputError(ValueError):
    """An input is wrong: carries every fault at once, so that one look mends them all."""

    def __init__(self, faults: list[Fault] | tuple[Fault, ...]) -> None:
        if not faults:
            raise ValueError("an InputError needs at least one fault")
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    @classmethod
    def one(
        cls,
        problem: str,
        remedy: str,
        *,
        column: str = "",
        value: object = "",
        where: str = "",
        code: Code = "unknown",
    ) -> InputError:
        """An error of a single fault that belongs to no row."""
        return cls([Fault(where, None, column, str(value), problem, remedy, code)])


class CannotError(RuntimeError):
    """The input is right but the work could not be done: one line that says why."""


class RegisterError(CannotError):
    """The register's file is busy, damaged, read-only, of another kind, or the disk is full."""


# Impossible input, refused in a message that names the quantity, its value and the limit. The checks take whatever the
# bench functions take. Blanks (NaN) pass, since an unknown stays unknown; a column expression of a database passes too,
# having no values yet.
# A float, a numpy array, a pandas Series, a value with its uncertainty or a column expression.
Quantity: TypeAlias = Any


def positive(name: str, value: Quantity, unit: str) -> None:
    """Raise ValueError unless the value is finite and above zero."""
    plain = _plain(value)
    _refuse(name, plain, unit, (plain <= 0.0) | (plain >= math.inf), "must be finite and above 0")


def not_negative(name: str, value: Quantity, unit: str) -> None:
    """Raise ValueError unless the value is finite and zero or more."""
    plain = _plain(value)
    _refuse(name, plain, unit, (plain < 0.0) | (plain >= math.inf), "must be finite and 0 or more")


def above(name: str, value: Quantity, limit: Quantity, unit: str) -> None:
    """Raise ValueError unless the value is finite and above the limit."""
    plain, edge = _plain(value), _plain(limit)
    _refuse(name, plain, unit, (plain <= edge) | (plain >= math.inf), f"must be finite and above {edge}")


def within(name: str, value: Quantity, low: float, high: float, unit: str) -> None:
    """Raise ValueError unless the value lies from low to high, both included."""
    plain = _plain(value)
    _refuse(name, plain, unit, (plain < low) | (plain > high), f"must be from {low:g} to {high:g}")


def _plain(value: Quantity) -> Quantity:
    return getattr(value, "nominal_value", value)


def _refuse(name: str, value: Quantity, unit: str, wrong: Quantity, limit: str) -> None:
    if type(wrong).__module__.startswith("ibis."):
        return
    any_wrong = getattr(wrong, "any", None)
    if any_wrong() if callable(any_wrong) else wrong:
        raise ValueError(f"{name} is {_first(value, wrong)} {unit}".rstrip() + f": it {limit}")


def _first(value: Quantity, wrong: Quantity) -> Quantity:
    if isinstance(wrong, bool):
        return value
    import numpy as np

    flags = np.asarray(wrong, dtype=bool)
    return np.broadcast_to(np.asarray(value), flags.shape)[flags].flat[0]
