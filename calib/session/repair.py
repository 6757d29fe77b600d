"""A slip that is likely in a unit's readings, put right in the form that they were typed into.

What is said of each slip, and what puts it right in the home page's form and in the bench session's, stands in
``repair.toml``. A form cannot say all: of some slips it is only told what to read again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calib import bench
from calib.paths import data
from calib.session.fields import shown
from calib.session.protocol import BY_NAME
from calib.session.readings import FORM, KEPT_IN, USUAL

HOME, SESSION = "home", "session"
AWG = "AWG"


@dataclass(frozen=True)
class Repair:
    """What puts a slip right in a form.

    Attributes
    ----------
    slip : str
        As the estimate's `likely_slip` names it.
    offer, done : str
        What a click says of the readings, and what it changed, in words.
    step : str
        The bench session's step that it changes; blank for the home page's form.
    before, after : mapping of str to object
        The form's entries that change, by field, as they stand and as they will; None where empty.
    """

    slip: str
    offer: str
    done: str
    step: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]

    @property
    def form(self) -> str:
        """HOME or SESSION: where it was made."""
        return SESSION if self.step else HOME

    def stands(self, entries: Mapping[str, Any]) -> bool:
        """Whether a form still holds what the repair put there; `entries` as :func:`repair_of` takes them."""
        there = entries.get(self.step, {}) if self.step else entries
        return all(shown(there.get(name)) == shown(value) for name, value in self.after.items())


def read_again(slip: str) -> str:
    """What to read again where a slip is likely; blank for one that is not known."""
    return str(data("session/repair.toml").get(slip, {}).get("again", ""))


def repair_of(slip: str, entries: Mapping[str, Any], form: str = HOME) -> Repair | None:
    """What puts a slip right.

    Parameters
    ----------
    slip : str
        As the estimate names it.
    entries : mapping of str to object
        What stands in the home page's form, by field; or of the bench session, by step and field.
    form : str
        HOME or SESSION.

    Returns
    -------
    Repair or None
        None where the form cannot say it.
    """
    said = data("session/repair.toml").get(slip, {})
    for way in said.get(form, ()):
        step = way.get("step", "")
        there = entries.get(step, {}) if step else entries
        if any(_chosen(there, step, name) != code for name, code in way.get("where", {}).items()):
            continue
        after = _changes(way, there, step)
        if after is None:
            continue
        before = {name: there.get(name) for name in after}
        told = {"before": _told(before, there, step), "after": _told(after, {**there, **after}, step)}
        return Repair(slip, said["offer"], said["done"].format(**told), step, before, after)
    return None


def _chosen(there: Mapping[str, Any], step: str, name: str) -> str:
    return str(there.get(name) or (BY_NAME[step].first(name) if step else ""))


def _changes(way: Mapping[str, Any], there: Mapping[str, Any], step: str) -> dict[str, Any] | None:
    """The entries that a way changes; None where it does not fit them."""
    after = dict(way.get("choose", {}))
    if "move" in way:
        here, place = way["move"]
        if not shown(there.get(here)) or shown(there.get(place)):
            return None
        after |= {place: there[here], here: ""}
        after |= {f"{place}_unit": there[f"{here}_unit"]} if f"{here}_unit" in there else {}
    wanted = {name: (way.get("unit", {}).get(name), way.get("times", {}).get(name, 1.0)) for name in _numbers(way)}
    for name, (unit, factor) in wanted.items():
        read = _number(there, step, name)
        if read is None or unit == read.symbol or (factor == 1.0 and unit is None):
            return None
        if name == "wire" and (read.symbol == AWG) != (unit is not None):  # a gauge is no length, and has no decimal
            return None
        after[name] = bench.in_figures(float(f"{read.number * factor:.12g}"))
        after |= {f"{name}_unit": unit or read.symbol} if unit or f"{name}_unit" in there else {}
    if "swap" in way:
        one, other = (_number(there, step, name) for name in way["swap"])
        if one is None or other is None:
            return None
        for name, value in zip(way["swap"], (other.kept, one.kept), strict=True):
            after[name] = bench.in_figures(value)
            after |= {f"{name}_unit": "Ω"} if f"{name}_unit" in there else {}
    return after or None


def _numbers(way: Mapping[str, Any]) -> Iterator[str]:
    yield from dict.fromkeys([*way.get("unit", {}), *way.get("times", {})])


def _unit_of(step: str, name: str) -> tuple[str, tuple[float, float] | None]:
    """The unit that a field's number is kept in, and where such numbers lie."""
    if not step:
        return KEPT_IN[name], USUAL.get(name)
    field = BY_NAME[step].fields[name]
    return field.unit, field.usual or field.limits


def _number(there: Mapping[str, Any], step: str, name: str) -> bench.Numeral | None:
    """A number as it was typed; None where there is none."""
    unit, usual = _unit_of(step, name)
    try:
        return bench.read_number(shown(there.get(name)).strip(), unit, there.get(f"{name}_unit") or "", usual)
    except bench.NotRead:
        return None


def _told(names: Mapping[str, Any], there: Mapping[str, Any], step: str) -> str:
    """Entries that hold numbers, with their units."""
    known: Sequence[str] = [*BY_NAME[step].fields] if step else [*FORM["needed"], *FORM["more"]]
    numbers = ((name, _number(there, step, name)) for name in names if name in known and name in names)
    said = []
    for name, read in numbers:
        if read is None:
            continue
        unit = read.symbol or _unit_of(step, name)[0]
        figures = bench.in_figures(read.number)
        said.append(f"{unit} {figures}" if unit in (AWG, "SWG") else f"{figures} {unit}")
    return " and ".join(said)
