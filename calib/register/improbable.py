"""What looks unlikely in a record that is within every limit: flagged for a second look, never refused.

Each rule is one of arrays, so that a table is looked through at once however long; a record is a table of one row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Literal, NamedTuple, overload

import numpy as np

from calib.bench.core import core_area_cm2, scrapless_window_mm
from calib.bench.ratio_test import no_load_voltage
from calib.bench.resistance import INFERRED_ZERO_C, resistance_at
from calib.bench.wire import awg_diameter_mm
from calib.register.frame import checked
from calib.register.records import HALVES, WHOLE, KnownUnit, Unit, UnknownUnit, fields

if TYPE_CHECKING:
    import pandas as pd

    from calib.register.fields import FieldFacts

# The usual range of each single field stands with the field. What follows is of several together: judgement of the
# bench, to catch slips of a digit or a unit, or half a winding taken for the whole.
FACTS = {facts.name: facts for facts in (*fields(KnownUnit), *fields(UnknownUnit))}
STACK_OVER_TONGUE = (0.5, 2.5)
MULTIPLIER = (4.0, 250.0)
# The ratio test leaves out the drop of the exciting current, some tenths of a per cent; 3 % is no drop any more.
VOLTAGES_APART = 0.03
HALVES_APART = 0.03  # of the sum of the halves and the whole
AREAS_APART = 0.1
WINDOWS_APART = 0.1
DIAMETERS_APART = 0.1
# Least share of the line that a whole high-voltage winding gives: one with a centre tap is two in one; bridges,
# doublers and half-wave sets on 230 V make do with about half the line.
LEAST_OF_LINE_WITH_A_TAP, LEAST_OF_LINE = 1.0, 0.4
MOST_TOLD = 20  # findings of one table that are told in lines


class Unlikely(NamedTuple):
    """Something worth a second look: the column to look at first, why, and a code for programs.

    The code is unusual where the one number lies outside its usual range, apart where several readings do not fit.
    """

    column: str
    why: str
    code: Literal["unusual", "apart"]


class _Rule(NamedTuple):
    """Rows of a table that are worth a second look for one reason: the column, which rows, and why a row is."""

    column: str
    rows: np.ndarray
    why: Callable[[int], str]
    code: Literal["unusual", "apart"] = "apart"

    def of(self, row: int) -> Unlikely:
        """What is to be said of one row."""
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            return Unlikely(self.column, self.why(row), self.code)


class _Read:
    """The cells of a table's columns as arrays, whether the table has them or not."""

    def __init__(self, table: pd.DataFrame | Unit) -> None:
        self._table = table

    def number(self, name: str) -> np.ndarray:
        """A column of numbers, NaN where blank."""
        if isinstance(self._table, Unit):
            value = getattr(self._table, name, None)
            return np.array([np.nan if value is None else value], dtype=float)
        if name not in self._table:
            return np.full(len(self._table), np.nan)
        return self._table[name].to_numpy(dtype=float, na_value=np.nan)

    def text(self, name: str) -> np.ndarray:
        """A column of words, "" where blank."""
        if isinstance(self._table, Unit):
            return np.array([getattr(self._table, name, None) or ""], dtype=object)
        if name not in self._table:
            return np.full(len(self._table), "", dtype=object)
        return self._table[name].fillna("").to_numpy(dtype=object)


@overload
def improbabilities(what: Unit) -> list[Unlikely]: ...
@overload
def improbabilities(what: pd.DataFrame) -> pd.DataFrame: ...
def improbabilities(what: Unit | pd.DataFrame) -> list[Unlikely] | pd.DataFrame:
    """Say what is worth a second look in a record, or in a table of them.

    Parameters
    ----------
    what : KnownUnit, UnknownUnit or pandas.DataFrame
        A table is held to what a file is held to; with the column rated_current_ma it is one of known units.

    Returns
    -------
    list of Unlikely, or pandas.DataFrame
        The columns in the order of the tables, then what hangs together; empty where nothing is unlikely. Of a table:
        row (counted from 0, as ``iloc`` does), unit, column, why and code. No clock, no other record is consulted.

    Raises
    ------
    InputError
        A table with a fault in it, with every fault.
    """
    if isinstance(what, Unit):
        return [rule.of(0) for rule in _rules(_Read(what)) if rule.rows[0]]
    import pandas as pd

    what = checked(KnownUnit if "rated_current_ma" in what else UnknownUnit, what)
    rules = _rules(_Read(what))
    units = what["unit"].to_numpy(dtype=object)
    found = [(row, units[row], *rules[k].of(row)) for row, k in _pairs(rules)]
    return pd.DataFrame(found, columns=["row", "unit", "column", "why", "code"])


def improbable_rows(table: pd.DataFrame) -> np.ndarray:
    """Which rows of a table of records are worth a second look."""
    found = np.zeros(len(table), dtype=bool)
    for rule in _rules(_Read(table)):
        found |= rule.rows
    return found


def told(table: pd.DataFrame, where: str, lines: Sequence[int]) -> tuple[str, ...]:
    """One line for each finding of a table, by row, at most 20 and how many more there are.

    Parameters
    ----------
    table : pandas.DataFrame
        As `read_known` or `read_unknown` gives it.
    where : str
        What the file is called.
    lines : sequence of int
        The line of each row in it.
    """
    return told_in_parts([table], where, lambda row: lines[row])


def told_in_parts(parts: Iterable[pd.DataFrame], where: str, line: Callable[[int], int]) -> tuple[str, ...]:
    """As `told`, of a table that comes in parts; `line` gives the line of a row by its place in the whole."""
    said: list[str] = []
    count = first = 0
    for part in parts:
        rules = _rules(_Read(part))
        pairs = _pairs(rules)
        said += [
            f"{where}, row {line(first + row)}, {part['unit'].iloc[row]}: {rules[k].column}: {rules[k].of(row).why}"
            for row, k in pairs[: max(MOST_TOLD - len(said), 0)]
        ]
        count, first = count + len(pairs), first + len(part)
    more = count - len(said)
    return (*said, *([f"{where}: and {more} more that are worth a second look"] if more else []))


def _pairs(rules: list[_Rule]) -> list[tuple[int, int]]:
    """The rows that were found with the places of their rules, by row."""
    found = np.argwhere(np.column_stack([rule.rows for rule in rules]))
    return [(int(row), int(rule)) for row, rule in found]


def _rules(read: _Read) -> list[_Rule]:
    """Every rule; what overflows or has nothing to compare with is judged by its infinity or NaN, without a warning."""
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        return [*_single(read), *_voltages(read), *_core(read), *_wire(read), *_multiplier(read)]


def _single(read: _Read) -> Iterator[_Rule]:
    for facts in FACTS.values():
        if facts.kind == "number" and facts.usual is not None:
            value = read.number(facts.name)
            beyond = (value < facts.usual[0]) | (value > facts.usual[1])
            yield _Rule(facts.name, beyond, partial(_unusual, facts, value), "unusual")


def _unusual(facts: FieldFacts, value: np.ndarray, row: int) -> str:
    return facts.unlikely(float(value[row]))


def _scaled(read: _Read) -> np.ndarray:
    """No-load voltage by the ratio test [V]."""
    return np.asarray(no_load_voltage(*map(read.number, ("excitation_v", "hv_v", "line_voltage_v"))), dtype=float)


def _voltages(read: _Read) -> Iterator[_Rule]:
    fed, high, stated = map(read.number, ("excitation_v", "hv_v", "no_load_v"))
    scaled = _scaled(read)

    def differ(row: int) -> str:
        apart = f"{100 * abs(scaled[row] / stated[row] - 1):.1f} %"
        return f"{stated[row]:g} V, and the ratio test, {scaled[row]:.4g} V, are {apart} apart; the ratio test counts"

    yield from _halves(read)
    yield _Rule("no_load_v", np.abs(scaled / stated - 1) > VOLTAGES_APART, differ)
    for missing, blank, there in (("excitation_v", fed, high), ("hv_v", high, fed)):
        alone = np.isnan(blank) & np.isfinite(there)
        yield _Rule(missing, alone, lambda _: "it is empty, so the ratio test is not used")
    yield _ratio(read, fed, high, scaled)


def _halves(read: _Read) -> Iterator[_Rule]:
    whole, halves = read.number(WHOLE), np.add(*map(read.number, HALVES))

    def differ(row: int) -> str:
        apart = f"{100 * abs(halves[row] / whole[row] - 1):.1f} %"
        return (
            f"{whole[row]:g} ohm, and its halves together, {halves[row]:.4g} ohm, are {apart} apart; the whole counts"
        )

    yield _Rule(WHOLE, np.abs(halves / whole - 1) > HALVES_APART, differ)


def _ratio(read: _Read, fed: np.ndarray, high: np.ndarray, scaled: np.ndarray) -> _Rule:
    """What the ratio test gives, by itself and against the line: its readings are easily typed the wrong way round."""
    facts, line = FACTS["no_load_v"], read.number("line_voltage_v")
    low, most = facts.usual or (0.0, np.inf)
    beyond = (scaled < low) | (scaled > most)
    turned = line * fed / high
    least = np.where(read.text("rectifier") == "full-wave", LEAST_OF_LINE_WITH_A_TAP, LEAST_OF_LINE)
    swapped = (scaled < least * line) & (turned >= low) & (turned <= most)

    def why(row: int) -> str:
        said = f"{scaled[row]:.4g} V by the ratio test is little for a line of {line[row]:g} V"
        if beyond[row]:
            volts = float(f"{scaled[row]:.4g}")
            volts = volts if facts.unusual(volts) else float(scaled[row])
            unusual = facts.unusual(volts) if swapped[row] else facts.unlikely(volts)
            said = f"the no-load voltage that the ratio test gives, {unusual}"
        if not swapped[row]:
            return said
        return f"{said}; did you mean {high[row]:g} V on the primary and {fed[row]:g} V read (the two swapped)?"

    return _Rule("hv_v", beyond | swapped, why)


def _core(read: _Read) -> Iterator[_Rule]:
    tongue, stack, area = map(read.number, ("tongue_mm", "stack_mm", "core_area_cm2"))
    measured = np.asarray(core_area_cm2(tongue, stack), dtype=float)

    def differ(row: int) -> str:
        return f"{area[row]:g} cm², and tongue times stack, {measured[row]:.4g} cm², differ; the latter counts"

    def unusual(row: int) -> str:
        return f"{stack[row]:g} mm is unusual with a tongue of {tongue[row]:g} mm"

    yield _Rule("core_area_cm2", np.abs(measured / area - 1) > AREAS_APART, differ)
    yield from _window(read, tongue, np.isfinite(measured))
    ratio = stack / tongue
    yield _Rule("stack_mm", (ratio < STACK_OVER_TONGUE[0]) | (ratio > STACK_OVER_TONGUE[1]), unusual)


def _window(read: _Read, tongue: np.ndarray, has_core: np.ndarray) -> Iterator[_Rule]:
    wide, high = map(read.number, ("window_width_mm", "window_height_mm"))
    usual = scrapless_window_mm(tongue)
    swapped = has_core & (wide > high)
    apart = (np.abs(wide / usual[0] - 1) > WINDOWS_APART) | (np.abs(high / usual[1] - 1) > WINDOWS_APART)
    scrapless = np.isin(read.text("lamination"), ("", "ei-scrapless"))

    def turned(row: int) -> str:
        return f"{wide[row]:g} by {high[row]:g} mm: the height is along the limb and the longer side; they look swapped"

    def other(row: int) -> str:
        return (
            f"a window of {wide[row]:g} by {high[row]:g} mm is none of a scrapless EI with a tongue of "
            f"{tongue[row]:g} mm, which has {usual[0][row]:g} by {usual[1][row]:g} mm; say what the sheets are; the "
            "measured window counts"
        )

    yield _Rule("window_width_mm", swapped, turned)
    yield _Rule("lamination", has_core & ~swapped & scrapless & apart, other)


def _wire(read: _Read) -> Iterator[_Rule]:
    gauge, diameter = map(read.number, ("awg", "wire_diameter_mm"))
    bare = np.asarray(awg_diameter_mm(gauge), dtype=float)

    def differ(row: int) -> str:
        return f"{diameter[row]:g} mm, and awg {gauge[row]:g}, {bare[row]:.3f} mm bare, differ; the diameter counts"

    yield _Rule("wire_diameter_mm", np.abs(bare / diameter - 1) > DIAMETERS_APART, differ)


def _multiplier(read: _Read) -> Iterator[_Rule]:
    """Rated current over V/R at 20 °C [mA per V/ohm] far from any transformer's: a slip of a digit or of a unit."""
    scaled, rated = _scaled(read), read.number("rated_current_ma")
    volts = np.where(np.isfinite(scaled), scaled, read.number("no_load_v"))
    zero = np.where(read.text("conductor") == "aluminium", INFERRED_ZERO_C["aluminium"], INFERRED_ZERO_C["copper"])
    ohm = resistance_at(read.number("hv_resistance_ohm"), read.number("winding_temp_c"), 20.0, zero)
    multiplier = rated * np.asarray(ohm, dtype=float) / volts

    def why(row: int) -> str:
        return (
            f"{rated[row]:g} mA is {multiplier[row]:.3g} times V/R: look for ohms read as kilohms, a slipped "
            "digit, or half a winding"
        )

    yield _Rule("rated_current_ma", (multiplier < MULTIPLIER[0]) | (multiplier > MULTIPLIER[1]), why)
