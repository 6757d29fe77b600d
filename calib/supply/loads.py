"""What a set draws: its valves by type, bleeders and other loads, at rest and at full signal, and their heaters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache

import numpy as np

from calib.errors import Code, Fault, InputError, outside
from calib.paths import data, shipped_rows
from calib.supply.valves import letters, rectifier_valves, without_envelope

__all__ = ["COLUMNS", "LineUp", "Load", "NEEDED", "USES", "load_rows", "loads_of_valve"]

COLUMNS = ("load", "count", "average_ma", "worst_ma", "ohm", "heater_v", "heater_a", "use")
NEEDED = ("load",)
USES = ("single", "push-pull")
FIELDS = data("supply/fields.toml")["load"]  # of the columns that hold numbers
# Relative standard uncertainty of one row's current: a valve's by a table or as somebody gave it, a resistor's
# (judgement: valves of one type differ by some 20 %, old carbon resistors by 10 %).
TABLE_U, GIVEN_U, OHM_U = 0.12, 0.05, 0.06


@dataclass(frozen=True)
class ValveLoad:
    """What one valve of a type draws, of several printed conditions the most.

    Attributes
    ----------
    zero_ma, full_ma : float
        Plates and screens at rest and at full signal; NaN where not found [mA].
    heater_v, heater_a : float
        [V], [A].
    checked : bool
        Whether every row behind it was read in its source.
    """

    zero_ma: float
    full_ma: float
    heater_v: float
    heater_a: float
    checked: bool


@dataclass(frozen=True)
class Load:
    """One row of a line-up, its blanks filled from the table of valves.

    Attributes
    ----------
    load : str
        A valve's type or any name.
    count : int
        How many.
    average_ma, worst_ma : float
        Of one, at rest and at full signal; 0 where `ohm` stands instead [mA].
    ohm : float
        Of one resistor across the direct voltage; NaN where it is none [ohm].
    heater_v, heater_a : float
        Of one; NaN where it has none [V], [A].
    relative_u : float
        Standard uncertainty of its current over it [-].
    told_by : str
        given, table, or unverified where the table's row was recalled and not read.
    """

    load: str
    count: int
    average_ma: float
    worst_ma: float
    ohm: float
    heater_v: float
    heater_a: float
    relative_u: float
    told_by: str


@dataclass(frozen=True)
class LineUp:
    """All loads of a set.

    Attributes
    ----------
    loads : tuple of Load
        As they were told.
    rows : tuple of dict
        The rows that they were read from, as typed; empty where they were told otherwise.
    """

    loads: tuple[Load, ...]
    rows: tuple[Mapping[str, str], ...] = field(default=(), repr=False, compare=False)

    def fixed_ma(self, worst: bool) -> float:
        """Direct current of all that draws a current of its own, at rest or at full signal [mA]."""
        return sum(one.count * (one.worst_ma if worst else one.average_ma) for one in self.loads)

    @property
    def siemens(self) -> float:
        """Conductance of all resistors together [S]."""
        return sum(one.count / one.ohm for one in self.loads if one.ohm == one.ohm)

    def relative_u(self, worst: bool, dc_v: float) -> float:
        """Relative standard uncertainty of the whole direct current at a direct voltage [V], rows independent."""
        drawn = [one.count * (one.worst_ma if worst else one.average_ma) for one in self.loads]
        drawn = [
            1e3 * dc_v * one.count / one.ohm if one.ohm == one.ohm else ma
            for one, ma in zip(self.loads, drawn, strict=True)
        ]
        whole = sum(drawn)
        spread = math.sqrt(sum((one.relative_u * ma) ** 2 for one, ma in zip(self.loads, drawn, strict=True)))
        return spread / whole if whole > 0.0 else 0.0

    @property
    def heaters(self) -> tuple[tuple[float, float], ...]:
        """Volts and amperes of all heaters, those of one voltage together, the lowest first [V], [A]."""
        sums: dict[float, float] = {}
        for one in self.loads:
            if one.heater_v == one.heater_v:
                sums[one.heater_v] = sums.get(one.heater_v, 0.0) + one.count * one.heater_a
        return tuple(sorted(sums.items()))

    @property
    def unverified(self) -> tuple[str, ...]:
        """Valves whose figures were recalled and not read."""
        return tuple(dict.fromkeys(one.load for one in self.loads if one.told_by == "unverified"))

    def with_rectifier(self, valve: str | None) -> LineUp:
        """The same with the heater of a rectifier valve, where it is not among the loads already."""
        if valve is None or any(_same(one.load, valve) for one in self.loads):
            return self
        found = loads_of_valve(valve, "single")
        if found is None or math.isnan(found.heater_v):
            return self
        more = Load(valve, 1, 0.0, 0.0, math.nan, found.heater_v, found.heater_a, 0.0, "table")
        return LineUp((*self.loads, more), self.rows)


def _same(one: str, other: str) -> bool:
    return without_envelope(letters(one)) == without_envelope(letters(other))


@cache
def _table() -> dict[str, dict[str, list[dict[str, str]]]]:
    """Rows of the shipped table by use, by the letters of the type and of its equivalents that have no row."""
    types: dict[str, dict[str, list[dict[str, str]]]] = {}
    others: dict[str, dict[str, list[dict[str, str]]]] = {}
    for row in shipped_rows("datasets/valves/loads.csv"):
        by_use = types.setdefault(letters(row["valve"]), {})
        by_use.setdefault(row["use"], []).append(row)
        others |= {letters(one): by_use for one in row["equivalents"].split(";") if one.strip()}
    return others | types


def loads_of_valve(valve: str, use: str) -> ValveLoad | None:
    """What one valve of a type draws.

    Parameters
    ----------
    valve : str
        Type number; case, blanks, hyphens and the letters of the envelope do not matter.
    use : str
        single, or push-pull for one of a pair; a type without a printed pair draws what it does by itself.

    Returns
    -------
    ValveLoad or None
        Of several printed conditions the greatest figures; a rectifier draws nothing itself; None where no table has
        it.
    """
    table = _table()
    by_use = table.get(letters(valve)) or table.get(without_envelope(letters(valve)))
    if by_use is None:
        plain = {without_envelope(name): name for name in reversed(table)}
        by_use = table.get(plain.get(without_envelope(letters(valve)), ""))
    if by_use is not None:
        rows = by_use.get(use) or by_use["single" if use == "push-pull" else next(iter(by_use))]
        zero, full = (np.array([float(row[name] or "nan") for row in rows]) for name in ("zero_ma", "full_ma"))
        heater_v, heater_a = (float(rows[0][name] or "nan") for name in ("heater_v", "heater_a"))
        checked = all(row["checked"] == "true" for row in rows)
        return ValveLoad(_most(zero), _most(full), heater_v, heater_a, checked)
    listed = {without_envelope(letters(name)): one for name, one in reversed(rectifier_valves().items())}
    rectifier = listed.get(without_envelope(letters(valve)))
    return ValveLoad(0.0, 0.0, rectifier.heater_v, rectifier.heater_a, True) if rectifier else None


def _most(values: np.ndarray) -> float:
    """The greatest that is told; NaN where none is."""
    return float(np.fmax.reduce(values))


def load_rows(rows: Iterable[Mapping[str, str]], where: str = "", lines: Sequence[int] | None = None) -> LineUp:
    """A line-up from rows as typed, blanks filled from the table of valves.

    Parameters
    ----------
    rows : iterable of mappings
        Of COLUMNS, each of one piece: `load`, a valve's type or any name; `count`, 1 where empty; `average_ma` and
        `worst_ma`; or `ohm`, a resistor across the direct voltage; `heater_v` and `heater_a`; `use`, single or
        push-pull.
    where : str
        What the faults call the file or form.
    lines : sequence of int, optional
        The row's line in the file; counted from 2 where not given.

    Returns
    -------
    LineUp
        A current that is neither given nor in the table's full signal is that without signal.

    Raises
    ------
    InputError
        With every fault: a value beyond its limits, a resistor with a current, an unknown valve with blanks, one heater
        figure without the other, no load at all.
    """
    loads, faults = [], []
    rows = list(rows)
    for line, row in zip(lines or range(2, len(rows) + 2), rows, strict=True):
        try:
            loads.append(_load({name: str(row.get(name) or "").strip() for name in COLUMNS}))
        except InputError as error:
            faults += [Fault(where, line, *_of(fault)) for fault in error.faults]
    if not rows:
        faults.append(Fault(where, None, "load", "", "there is no load", "give a row for each kind of load", "missing"))
    if faults:
        raise InputError(faults)
    return LineUp(tuple(loads), tuple({name: str(row.get(name) or "").strip() for name in COLUMNS} for row in rows))


def _of(fault: Fault) -> tuple[str, str, str, str, Code]:
    return fault.column, fault.value, fault.problem, fault.remedy, fault.code


def _load(row: Mapping[str, str]) -> Load:
    """One row; InputError with its faults."""
    numbers, faults = _numbers(row)
    use = row["use"].lower() or USES[0]
    if use not in USES:
        faults.append(_fault("use", row["use"], "is no use of a valve", f"give {' or '.join(USES)}", "choice"))
    if not row["load"]:
        faults.append(_fault("load", "", "the load has no name", "give a valve's type, or any name", "missing"))
    ohm, count = numbers["ohm"], numbers["count"]
    if ohm == ohm and (numbers["average_ma"] == numbers["average_ma"] or numbers["worst_ma"] == numbers["worst_ma"]):
        problem, remedy = "a resistor and a current are given together", "give one, and the other in a row of its own"
        faults.append(_fault("ohm", row["ohm"], problem, remedy, "conflict"))
    if count != int(count):
        faults.append(_fault("count", row["count"], "is no whole number", "give how many there are", "not-a-number"))
    found = None if faults else _filled(row["load"], use, numbers, faults)
    if faults or found is None:
        raise InputError(faults)
    return found


def _numbers(row: Mapping[str, str]) -> tuple[dict[str, float], list[Fault]]:
    """The row's numbers, NaN where blank (a count is 1), and the faults of those that are none or beyond limits."""
    numbers, faults = dict.fromkeys(FIELDS, math.nan), []
    for name, told in FIELDS.items():
        text, (low, high), unit = row[name], told["limits"], told.get("unit", "")
        try:
            numbers[name] = (1.0 if name == "count" else math.nan) if not text else _plain(text)
        except ValueError:
            remedy = "write it with a point for decimals, and without its unit"
            faults.append(_fault(name, text, "is not a number", remedy, "not-a-number"))
            numbers[name] = 1.0
            continue
        if text and not low <= numbers[name] <= high:
            problem = outside(f"{low:g} to {high:g} {unit}".strip())
            faults.append(_fault(name, text, problem, told["remedy"], "limits"))
            numbers[name] = 1.0
    return numbers, faults


def _plain(text: str) -> float:
    number = math.nan if "_" in text else float(text)
    if not math.isfinite(number):
        raise ValueError(text)
    return number


def _filled(name: str, use: str, numbers: Mapping[str, float], faults: list[Fault]) -> Load | None:
    """The load with its blanks filled; None with a fault where they cannot be."""
    average, worst, ohm = (numbers[one] for one in ("average_ma", "worst_ma", "ohm"))
    heater_v, heater_a = numbers["heater_v"], numbers["heater_a"]
    one_heater = (heater_v == heater_v) != (heater_a == heater_a)
    no_current = ohm != ohm and average != average and worst != worst
    listed = loads_of_valve(name, use) if ohm != ohm else None
    if listed is None:
        if no_current and heater_v == heater_v and heater_a == heater_a:
            average = worst = 0.0  # a lamp or a heater by itself
        elif no_current:
            faults.append(_unknown(name))
        elif one_heater:
            missing = "heater_a" if heater_v == heater_v else "heater_v"
            faults.append(_fault(missing, "", "a heater has volts and amperes", "give both or neither", "missing"))
        if faults:
            return None
        relative_u, told_by = (OHM_U if ohm == ohm else GIVEN_U), "given"
    else:
        relative_u = TABLE_U if no_current else GIVEN_U
        told_by = "given" if not no_current and heater_v == heater_v else "table" if listed.checked else "unverified"
        if no_current:
            average, worst = listed.zero_ma, float(np.fmax(listed.zero_ma, listed.full_ma))
        heater_v = listed.heater_v if heater_v != heater_v else heater_v
        heater_a = listed.heater_a if heater_a != heater_a else heater_a
        if average != average and worst != worst:
            remedy = "give its current at rest and at full signal"
            faults.append(_fault("average_ma", "", f"the table does not tell what a {name} draws", remedy, "missing"))
            return None
    average, worst = (worst if average != average else average), (average if worst != worst else worst)
    if ohm == ohm:
        average = worst = 0.0
    elif worst < average:
        problem, remedy = f"is less than the average, {average:g} mA", "give the greater one as the worst case"
        faults.append(_fault("worst_ma", f"{worst:g}", problem, remedy, "conflict"))
        return None
    return Load(name, int(numbers["count"]), average, worst, ohm, heater_v, heater_a, relative_u, told_by)


def _unknown(name: str) -> Fault:
    """The fault of a valve that no table has, and that nothing is told of."""
    spelt = {letters(row["valve"]): row["valve"] for row in shipped_rows("datasets/valves/loads.csv")}
    near = [spelt[one] for one in get_close_matches(letters(name), spelt, 3, 0.7)]
    meant = f"did you mean {', '.join(near)}? If not, " if near else ""
    return _fault("load", name, "is not in the table of valves", f"{meant}give its current, or its ohms", "choice")


def _fault(column: str, value: str, problem: str, remedy: str, code: Code) -> Fault:
    return Fault("", None, column, value, problem, remedy, code)
