"""What a step of the bench session is made of: cautions and fields as data, for the page and for the printed sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True)
class Field:
    """One thing to enter.

    Attributes
    ----------
    name : str
        Under which it is kept.
    label : str
        What page and sheet call it.
    kind : str
        number, text, choice (one of `choices`), pick (one of them, or another that is typed), several (any of them), or
        meter (ordinary, one of the user's own, or typed).
    unit : str
        Of a number: the unit that is kept, `wire` for a gauge; of a meter: volt or ohm.
    help : str
        For someone with a meter in hand.
    choices : tuple of str
        What may be chosen; the first says nothing yet.
    limits, usual : (float, float) or None
        Beyond the first a number is refused, beyond the second it is worth a second look; a low limit of 0 is refused
        itself where `above_zero` is set.
    above_zero : bool
        Whether zero is refused.
    column : str
        The record's column whose limits hold instead.
    when : tuple of (str, tuple of str)
        Fields of the same step, each with the choices at which this one is asked; empty: always.
    placeholder : str
        What an empty number is taken for, where it is taken for anything.
    wide : bool
        Whether it has a line to itself.
    """

    name: str
    label: str
    kind: str = "number"
    unit: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    limits: tuple[float, float] | None = None
    usual: tuple[float, float] | None = None
    above_zero: bool = True
    column: str = ""
    when: tuple[tuple[str, tuple[str, ...]], ...] = ()
    placeholder: str = ""
    wide: bool = False

    def asked(self, entries: Mapping[str, Any], choices: Mapping[str, tuple[str, ...]]) -> bool:
        """Whether it is asked, by what stands in its step; a choice that was never made counts as its first."""
        return all((entries.get(name) or choices[name][0]) in allowed for name, allowed in self.when)


@dataclass(frozen=True)
class Rows:
    """Fields that come several times over, each time with the number of the row after its name.

    Attributes
    ----------
    name, label : str
        Under which the number of rows is kept, and what one row is called.
    fields : tuple of Field
        Of one row.
    shown, most : int
        Rows at first and at the most.
    like : (str, str) or None
        Step and field whose text names the row of the same number, where an earlier step asks for the name.
    paper : int
        Rows on the printed sheet.
    """

    name: str
    label: str
    fields: tuple[Field, ...]
    shown: int
    most: int
    like: tuple[str, str] | None = None
    paper: int = 4

    def named(self, number: int) -> tuple[Field, ...]:
        """The fields of one row, 1 being the first."""
        return tuple(replace(field, name=f"{field.name}_{number}") for field in self.fields)


@dataclass(frozen=True)
class Part:
    """Some fields, or rows of fields, under a heading.

    Attributes
    ----------
    title : str
        The heading; blank for none.
    fields : tuple of Field
        Asked once.
    rows : Rows or None
        Asked several times, after them.
    note : str
        What to know before they are filled in; blank for nothing.
    closed : bool
        Whether the page folds it up until it is opened.
    """

    title: str = ""
    fields: tuple[Field, ...] = ()
    rows: Rows | None = None
    note: str = ""
    closed: bool = False


@dataclass(frozen=True)
class Step:
    """One step of the session.

    Attributes
    ----------
    name : str
        Under which its entries are kept.
    short, title : str
        In the row of steps, and as its heading.
    cautions : tuple of str
        To be read before it is begun.
    parts : tuple of Part
        What is entered.
    """

    name: str
    short: str
    title: str
    cautions: tuple[str, ...]
    parts: tuple[Part, ...] = ()

    def every_field(self) -> Iterator[Field]:
        """All its fields, rows counted out to the most."""
        for part in self.parts:
            yield from part.fields
            for number in range(1, part.rows.most + 1 if part.rows else 1):
                yield from part.rows.named(number) if part.rows else ()

    @property
    def choices(self) -> dict[str, tuple[str, ...]]:
        """What may be chosen, by field."""
        return {field.name: field.choices for field in self.every_field() if field.choices}
