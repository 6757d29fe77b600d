"""What a set draws: its valves by type, bleeders and other loads, at rest and at full signal, and their heaters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from typing import Any

import numpy as np

from calib.errors import Code, Fault, InputError, outside
from calib.paths import data, shipped_rows
from calib.supply.valves import letters, rectifier_valves, without_envelope

__all__ = ["COLUMNS", "Drawn", "LineUp", "Load", "NEEDED", "OF_REGULATOR", "USES", "load_rows", "loads_of_valve"]
__all__ += ["fault_of", "numbers_of_row"]

OF_REGULATOR = ("regulated_v", "tube_low_ma", "tube_high_ma")
COLUMNS = ("load", "count", "average_ma", "worst_ma", "ohm", "heater_v", "heater_a", "use", *OF_REGULATOR)
NEEDED = ("load",)
USES = ("single", "push-pull", "series", "regulator", "lamp")
FIELDS = data("supply/fields.toml")["load"]  # of the columns that hold numbers
RECALLED = data("supply/recalled.toml")  # dial lamps and glow tubes, by type
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
    use : str
        Of USES: of a valve, a resistor or coil in series with all the current, a glow tube with the resistor before it,
        or a dial lamp.
    regulated_v, tube_low_ma, tube_high_ma : float
        Of a glow tube; NaN of anything else. Its `ohm` is then the resistor before it, NaN where there is none yet, and
        its currents are those that are drawn behind it [V], [mA].
    chosen_ohm : bool
        Whether a glow tube's resistor was not told but chosen.
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
    use: str = USES[0]
    regulated_v: float = math.nan
    tube_low_ma: float = math.nan
    tube_high_ma: float = math.nan
    chosen_ohm: bool = False

    @property
    def across(self) -> bool:
        """Whether it is a resistor across the direct voltage."""
        return self.ohm == self.ohm and self.use not in ("series", "regulator")

    @property
    def lit(self) -> bool:
        """Whether it is a glow tube whose resistor is told."""
        return self.ohm == self.ohm and self.use == "regulator"

    def drawn_ma(self, worst: bool, set_v: float) -> float:
        """Direct current of one at the direct voltage that it sees, never below 0 [V], [mA]."""
        if self.across:
            return max(1e3 * set_v / self.ohm, 0.0)
        if self.lit:
            return max(1e3 * (set_v - self.regulated_v) / self.ohm, 0.0)
        if self.use == "regulator":  # the resistor is still to be chosen: the tube in the middle of its limits
            return self.worst_ma + math.sqrt(self.tube_low_ma * self.tube_high_ma)
        return self.worst_ma if worst else self.average_ma


@dataclass(frozen=True)
class Drawn:
    """What a line-up draws at a direct voltage.

    Attributes
    ----------
    dc_v : float
        At the first capacitor [V].
    total_ma : float
        Of all loads together [mA].
    set_v : float
        What is left to them behind all that stands in series; below 0 where that would drop more than there is [V].
    """

    dc_v: float
    total_ma: float
    set_v: float


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
        return sum(one.count * one.drawn_ma(worst, 0.0) for one in self.loads if not (one.across or one.lit))

    @property
    def siemens(self) -> float:
        """Conductance of all resistors across the direct voltage together [S]."""
        return sum(one.count / one.ohm for one in self.loads if one.across)

    @property
    def series_ohm(self) -> float:
        """Of the field coils and resistors that all the current goes through [ohm]."""
        return sum(one.count * one.ohm for one in self.loads if one.use == "series")

    @property
    def by_volts(self) -> bool:
        """Whether what it draws depends on the direct voltage."""
        return any(one.across or one.lit for one in self.loads)

    def drawn(self, worst: bool, dc_v: float, before_ohm: float = 0.0) -> Drawn:
        """What all loads draw at rest or at full signal.

        Parameters
        ----------
        worst : bool
            Whether at full signal.
        dc_v : float
            Direct voltage at the first capacitor [V].
        before_ohm : float
            Resistance that all the current goes through besides that of the line-up itself [ohm].

        Returns
        -------
        Drawn
            I = (I_fixed + G V - sum V_tube/R_tube) / (1 + G R), G of resistors and of lit tubes' resistors; a tube that
            has less than its own volts before its resistor is out.
        """
        tubes, ohm = [one for one in self.loads if one.lit], self.series_ohm + before_ohm
        while True:
            siemens = self.siemens + sum(one.count / one.ohm for one in tubes)
            held = sum(one.count * one.regulated_v / one.ohm for one in tubes)
            fixed = self.fixed_ma(worst) / 1e3
            amperes = (fixed + siemens * dc_v - held) / (1.0 + siemens * ohm)
            left = dc_v - ohm * amperes
            lit = [one for one in tubes if left > one.regulated_v]
            if len(lit) == len(tubes):
                break
            tubes = lit
        return Drawn(dc_v, 1e3 * amperes, left) if left >= 0.0 else Drawn(dc_v, 1e3 * fixed, dc_v - ohm * fixed)

    def relative_u(self, worst: bool, set_v: float) -> float:
        """Relative standard uncertainty of the whole direct current at the volts left to the loads [V], by rows."""
        drawn = [one.count * one.drawn_ma(worst, set_v) for one in self.loads]
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
        `worst_ma`; or `ohm`, a resistor across the direct voltage; `heater_v` and `heater_a`; `use`, of USES, single
        where empty; of a glow tube `regulated_v`, `tube_low_ma` and `tube_high_ma`, which its type may tell.
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
    numbers, faults = numbers_of_row(row, FIELDS)
    use = row["use"].lower() or USES[0]
    if use not in USES:
        faults.append(
            fault_of("use", row["use"], "is no use of a load", f"give {', '.join(USES)}, or nothing", "choice")
        )
    if not row["load"]:
        faults.append(fault_of("load", "", "the load has no name", "give a valve's type, or any name", "missing"))
    ohm, count = numbers["ohm"], numbers["count"]
    faults += _of_use(use, row, numbers)
    told = [numbers[one] for one in ("average_ma", "worst_ma")]
    if ohm == ohm and use != "regulator" and any(one == one for one in told):
        problem, remedy = "a resistor and a current are given together", "give one, and the other in a row of its own"
        faults.append(fault_of("ohm", row["ohm"], problem, remedy, "conflict"))
    if count != int(count):
        faults.append(fault_of("count", row["count"], "is no whole number", "give how many there are", "not-a-number"))
    fill = {"regulator": _regulator, "lamp": _lamp}.get(use, _filled)
    found = None if faults else fill(row["load"], use, numbers, faults)
    if faults or found is None:
        raise InputError(faults)
    return found


def _of_use(use: str, row: Mapping[str, str], numbers: Mapping[str, float]) -> Iterator[Fault]:
    """The faults of what a use needs, and of what belongs to another."""
    if use == "series" and numbers["ohm"] != numbers["ohm"]:
        remedy = "give its ohms: the coil or resistor that all the current goes through"
        yield fault_of("ohm", "", "what stands in series has a resistance", remedy, "missing")
    for name in OF_REGULATOR:
        if use != "regulator" and row[name]:
            remedy = "leave it empty, or give the use 'regulator'"
            yield fault_of(name, row[name], "belongs to a glow tube", remedy, "conflict")
    foreign = {"lamp": ("average_ma", "worst_ma", "ohm"), "regulator": ("heater_v", "heater_a")}.get(use, ())
    for name in foreign:
        if row[name]:
            what = "a lamp is fed by its heater winding" if use == "lamp" else "a glow tube has no heater"
            yield fault_of(name, row[name], what, "leave it empty, or give another use", "conflict")


def _recalled(kind: str, name: str) -> dict[str, float]:
    """What is recalled of a lamp or a glow tube of a type; empty where nothing is."""
    sought = letters(name).lstrip("#")
    sought = f"0{sought[1:]}" if sought.startswith("O") else sought
    by_type = {letters(one): told for one, told in RECALLED[kind].items()}
    return dict(by_type.get(sought.removeprefix("NO"), {}))


def _regulator(name: str, use: str, numbers: Mapping[str, float], faults: list[Fault]) -> Load | None:
    """A glow tube: its volts and limits as given, else as recalled of its type."""
    known = _recalled("glow", name)
    told = {one: numbers[one] if numbers[one] == numbers[one] else known.get(one, math.nan) for one in OF_REGULATOR}
    faults += [
        fault_of(one, "", "a glow tube needs it, and its type is not known", "give it from the tube's sheet", "missing")
        for one, value in told.items()
        if value != value
    ]
    if told["tube_high_ma"] <= told["tube_low_ma"]:
        problem, remedy = f"is no more than the least, {told['tube_low_ma']:g} mA", "give the greatest that it stands"
        faults.append(fault_of("tube_high_ma", f"{told['tube_high_ma']:g}", problem, remedy, "conflict"))
    if faults:
        return None
    behind = float(np.fmax.reduce([numbers["worst_ma"], numbers["average_ma"], 0.0]))
    given = all(numbers[one] == numbers[one] for one in OF_REGULATOR)
    count, ohm = int(numbers["count"]), numbers["ohm"]
    by = "given" if given else "unverified"
    held, least, most = (told[one] for one in OF_REGULATOR)
    return Load(name, count, behind, behind, ohm, math.nan, math.nan, OHM_U, by, use, held, least, most)


def _lamp(name: str, use: str, numbers: Mapping[str, float], faults: list[Fault]) -> Load | None:
    """A dial lamp by its number, which the heaters' winding feeds."""
    known = _recalled("lamp", name)
    volts, amperes = (
        numbers[one] if numbers[one] == numbers[one] else known.get(one, math.nan) for one in ("heater_v", "heater_a")
    )
    if volts != volts or amperes != amperes:
        problem = "is no lamp that is known by its number"
        faults.append(fault_of("load", name, problem, "give its volts and amperes as a heater's", "choice"))
        return None
    given = numbers["heater_v"] == numbers["heater_v"] and numbers["heater_a"] == numbers["heater_a"]
    by = "given" if given else "unverified"
    return Load(name, int(numbers["count"]), 0.0, 0.0, math.nan, volts, amperes, 0.0, by, use)


def numbers_of_row(
    row: Mapping[str, str], fields: Mapping[str, Mapping[str, Any]]
) -> tuple[dict[str, float], list[Fault]]:
    """A row's numbers, NaN where blank (a count is 1), and the faults of those that are none or beyond their limits."""
    numbers, faults = dict.fromkeys(fields, math.nan), []
    for name, told in fields.items():
        text, (low, high), unit = row[name], told["limits"], told.get("unit", "")
        try:
            numbers[name] = (1.0 if name == "count" else math.nan) if not text else _plain(text)
        except ValueError:
            remedy = "write it with a point for decimals, and without its unit"
            faults.append(fault_of(name, text, "is not a number", remedy, "not-a-number"))
            numbers[name] = 1.0
            continue
        if text and not low <= numbers[name] <= high:
            problem = outside(f"{low:g} to {high:g} {unit}".strip())
            faults.append(fault_of(name, text, problem, told["remedy"], "limits"))
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
            faults.append(fault_of(missing, "", "a heater has volts and amperes", "give both or neither", "missing"))
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
            faults.append(fault_of("average_ma", "", f"the table does not tell what a {name} draws", remedy, "missing"))
            return None
    average, worst = (worst if average != average else average), (average if worst != worst else worst)
    if ohm == ohm:
        average = worst = 0.0
    elif worst < average:
        problem, remedy = f"is less than the average, {average:g} mA", "give the greater one as the worst case"
        faults.append(fault_of("worst_ma", f"{worst:g}", problem, remedy, "conflict"))
        return None
    return Load(name, int(numbers["count"]), average, worst, ohm, heater_v, heater_a, relative_u, told_by, use)


def _unknown(name: str) -> Fault:
    """The fault of a valve that no table has, and that nothing is told of."""
    spelt = {letters(row["valve"]): row["valve"] for row in shipped_rows("datasets/valves/loads.csv")}
    near = [spelt[one] for one in get_close_matches(letters(name), spelt, 3, 0.7)]
    meant = f"did you mean {', '.join(near)}? If not, " if near else ""
    return fault_of("load", name, "is not in the table of valves", f"{meant}give its current, or its ohms", "choice")


def fault_of(column: str, value: str, problem: str, remedy: str, code: Code) -> Fault:
    return Fault("", None, column, value, problem, remedy, code)
