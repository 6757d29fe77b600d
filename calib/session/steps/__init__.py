"""What a step of the bench session amounts to: lines in words, facts with their uncertainty, findings."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any

from calib import bench, words
from calib.session.fields import Checked

TIED = "\u00a0"  # a space at which no line is broken


@dataclass(frozen=True)
class Fact:
    """One figure that the session has established.

    Attributes
    ----------
    name : str
        What it is, in words.
    value, u : float
        The figure and its standard uncertainty; NaN where that is not known.
    unit : str
        Of both.
    how : str
        What it was made from.
    """

    name: str
    value: float
    u: float
    unit: str
    how: str

    @classmethod
    def of(cls, name: str, quantity: Any, unit: str, how: str) -> Fact:
        """A fact of a value with its uncertainty; a plain number has none that is known."""
        return cls(name, float(nominal(quantity)), float(getattr(quantity, "std_dev", math.nan)), unit, how)

    @property
    def shown(self) -> tuple[str, str, str]:
        """Value, standard uncertainty and that in per cent, with the digits that it deserves; blank where not known."""
        if not self.u > 0.0:
            return f"{self.value:.4g}", "", ""
        return *words.with_u(self.value, self.u), f"{100.0 * self.u / abs(self.value):.2g} %"

    @property
    def line(self) -> str:
        """The fact as a sentence."""
        value, u, share = self.shown
        unit = f"{TIED}{self.unit}" if self.unit else ""
        doubt = f", standard uncertainty {u}{unit} ({share.replace(' ', TIED)})" if u else ""
        return f"{self.name}: {value}{unit}{doubt}."


@dataclass(frozen=True)
class StepRead:
    """What one step amounts to.

    Attributes
    ----------
    checked : Checked
        Its entries.
    lines : list of str
        What was understood, in words.
    warnings : list of str
        What is dangerous as it stands.
    findings : list of bench.Finding
        What is not as it should be.
    facts : list of Fact
        What it establishes.
    known : dict of str to object
        The same for the steps after it: values with their uncertainty, by name.
    """

    checked: Checked
    lines: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    findings: list[bench.Finding] = field(default_factory=list)
    facts: list[Fact] = field(default_factory=list)
    known: dict[str, Any] = field(default_factory=dict)

    def tell(self, fact: Fact) -> None:
        """Add a fact, and say it."""
        self.facts.append(fact)
        self.lines.append(fact.line)


def nominal(quantity: Any) -> Any:
    """A value without its uncertainty."""
    return getattr(quantity, "nominal_value", quantity)


def u_pct(quantity: Any) -> float:
    """Relative standard uncertainty [%]; 0 of a plain number."""
    return 100.0 * getattr(quantity, "std_dev", 0.0) / abs(nominal(quantity))


def symbols(said: str) -> str:
    """Text of the bench functions as the page writes it: Ω for ohm, words such as ohmmeter left alone."""
    return re.sub(r"(?<![A-Za-z])([kMm]?)ohm(?![a-z])", r"\1Ω", said)


def one_line(said: str) -> str:
    """Text as a record holds it among others: on one line, with nothing that cannot be printed and no bar."""
    plain = "".join(letter if letter.isprintable() else " " for letter in said.replace("|", "/"))
    return " ".join(symbols(plain).split())


def meant(error: ValueError) -> str:
    """What the bench functions refuse, as a sentence."""
    said = symbols(str(error))
    return said[0].upper() + said[1:].rstrip(".") + "."


def sections(first: float | None, second: float | None) -> tuple[float, float] | None:
    """Both halves of a winding, where both were read."""
    return None if first is None or second is None else (first, second)
