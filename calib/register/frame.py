"""Records as a data frame, the same whether they come from a file, from the register or from somebody's own hands."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from calib.errors import Fault, InputError
from calib.register.fields import BLANK_WORDS, LONGEST_NAME, FieldFacts, is_blank
from calib.register.records import (
    ADD_VOLTS,
    HALVES,
    OR_THE_WIRE,
    READ_BY_RULES,
    VOLTAGES,
    WHOLE,
    WIRE,
    KnownUnit,
    Unit,
    UnknownUnit,
    columns,
    contradictions,
    fields,
    halves_in_doubt,
    lacking,
)

if TYPE_CHECKING:
    import pandas as pd


Kind = TypeVar("Kind", bound=Unit)
NAMED = {KnownUnit: "known units (data frame)", UnknownUnit: "unknown units (data frame)"}
KEPT = "kept"  # in a frame's attrs: its names were kept by a register, and are not held to what names are now
TAP = "centre_tapped"
TYPES = {"number": np.dtype(float), "flag": np.dtype(bool)}  # of the columns of each kind; all else is text
ALIKE = 0.8  # of two column names, above which the one is taken for a misspelling of the other


def frame_of(kind: type[Unit], records: Iterable[Unit]) -> pd.DataFrame:
    """A row for each record: numbers float64 with NaN where blank, flags bool, all else str with "" where blank."""
    import pandas as pd

    rows = [record.__dict__ for record in records]
    made: dict[str, Any] = {}
    for facts in fields(kind):
        cells = [row[facts.name] for row in rows]
        of_numbers = TYPES.get(facts.kind)
        made[facts.name] = (
            text_of(pd.Series(cells, dtype=object)) if of_numbers is None else np.array(cells, of_numbers)
        )
    return pd.DataFrame(made)


def settled(kind: type[Unit], table: pd.DataFrame) -> pd.DataFrame:
    """The fields of a table in their order and of their types, other columns after them as they are."""
    import pandas as pd

    made: dict[str, Any] = {}
    for facts in fields(kind):
        column = table[facts.name]
        if facts.kind in TYPES:
            there = column.dtype == TYPES[facts.kind]
            made[facts.name] = (column if there else column.astype(TYPES[facts.kind])).to_numpy()
        else:
            made[facts.name] = text_of(column).array
    rest = {name: table[name].array for name in table.columns if name not in made}
    return pd.DataFrame({**made, **rest}, index=table.index)  # arrays: columns would be aligned one by one


def text_of(column: pd.Series) -> pd.Series:
    """A column as text, "" where it is blank."""
    import pandas as pd

    blank = np.asarray(pd.isna(column.array), dtype=bool)
    if column.dtype == object:
        return pd.Series(np.where(blank, "", column.to_numpy()), column.index, dtype="str", name=column.name)
    text = column.astype("str")
    return text.mask(blank, "") if blank.any() else text


def record_of(kind: type[Kind], row: Mapping[str, object]) -> Kind:
    """The record that a row of such a frame holds; columns that are no fields are passed over."""
    return kind.parse({name: row[name] for name in columns(kind) if name in row})


def checked(kind: type[Unit], table: pd.DataFrame) -> pd.DataFrame:
    """A data frame that anybody may have made, held to what a file is held to.

    Parameters
    ----------
    kind : KnownUnit or UnknownUnit
        What its rows are to be. A column that the other kind alone has, or neither, is passed over, unless its name is
        nearly that of a column that is missing.
    table : pandas.DataFrame
        It is not changed.

    Returns
    -------
    pandas.DataFrame
        The frame itself where nothing was amiss; else a copy with a blank column for each that it lacks, in which
        blanks round words are gone and numbers and flags written as text are numbers and flags.

    Raises
    ------
    InputError
        With every fault; a row is named by its place, counted from 0 as ``iloc`` does, and by its index where that is
        another. Known units that stand twice and differ are a fault, as in a file.
    """
    where = NAMED[kind]
    if WHOLE not in table and {*HALVES} <= {*table.columns} and table[[*HALVES]].notna().any(axis=None):
        table = table.assign(**{WHOLE: np.nan})  # the sum of each row's halves
    faults, absent = column_faults(kind, list(table.columns), where, _wired(table))
    if TAP not in table:
        table = table.assign(**{TAP: None})  # of a unit of which its wire alone is known, that of its rectifier
    mended: dict[int, Unit] = {}
    places = np.flatnonzero(_doubtful(kind, table))
    looked_at = table.iloc[places].astype(object).to_dict("records") if len(places) else []
    for place, cells in zip(places.tolist(), looked_at, strict=True):
        index = table.index[place]
        there = where if index == place else f"{where}, index {index}"
        try:
            mended[place] = kind.parse(_as_typed(kind, cells), there, place)
        except InputError as error:
            faults += [one for one in error.faults if not (one.column in absent and not one.value)]
    if table.attrs.get(KEPT):
        faults = [one for one in faults if one.code != "name"]
    if faults:
        raise InputError(faults)
    sound = _mended(kind, table, mended) if mended or not {*columns(kind)} <= {*table.columns} else table
    if kind is KnownUnit:
        _refuse_twice(sound, where)
    return sound


def _wired(table: pd.DataFrame) -> bool:
    """Whether something is said of the wire in every row."""
    names = list(table.columns)
    there = [_filled(table[name].to_numpy(dtype=object)) for name in WIRE if names.count(name) == 1]
    return bool(there) and bool(np.logical_or.reduce(there).all())


def _filled(cells: np.ndarray) -> np.ndarray:
    """Which cells are neither missing nor empty text."""
    import pandas as pd

    return ~np.asarray(pd.isna(cells), dtype=bool) & np.array(
        [not isinstance(cell, str) or cell != "" for cell in cells], dtype=bool
    )


def column_faults(
    kind: type[Unit], names: Sequence[object], where: str, wired: bool = False
) -> tuple[list[Fault], set[str]]:
    """The faults of a table's columns, and the names of those that each row would be faulted for again."""
    facts = fields(kind)
    open_names = [one.name for one in facts if one.name not in names]
    faults = [
        Fault(where, None, name, "", "there are two columns of that name", "keep one of them", "column")
        for name in columns(kind)
        if list(names).count(name) > 1
    ]
    if faults:
        raise InputError(faults)  # which of two is meant, no row can tell
    for name in names:
        if name in columns(KnownUnit) or name in columns(UnknownUnit):
            continue
        near = get_close_matches(str(name).lower().replace(" ", "_").replace("-", "_"), open_names, 1, ALIKE)
        if near:
            remedy = f"write {near[0]} if that is meant, else give it a name of its own"
            faults.append(Fault(where, None, str(name), "", "is not a column of this table", remedy, "column"))
    absent = lacking(kind, names, wired)
    helps = {one.name: one.help for one in facts}
    for name in columns(kind):
        if name in absent and name not in VOLTAGES[:2]:
            problem = "is needed, and there is no such column"
            remedy = ADD_VOLTS if name in VOLTAGES else f"add it: {helps[name]}".rstrip(".")
            remedy += OR_THE_WIRE if kind is UnknownUnit and name in (VOLTAGES[2], WHOLE) else ""
            faults.append(Fault(where, None, name, "", problem, remedy, "missing"))
    return faults, absent


def _doubtful(kind: type[Unit], table: pd.DataFrame) -> np.ndarray:
    """Which rows a record must be made of to know whether they are sound: a quick look that lets no fault pass."""
    doubtful = np.zeros(len(table), dtype=bool)
    there: dict[str, np.ndarray] = {}
    for one in fields(kind):
        if one.name in table:
            wrong, there[one.name] = _look(one, table[one.name])
            doubtful |= wrong | (~there[one.name] if one.needed or one.name == TAP else False)
    if {*HALVES} <= there.keys() and there[HALVES[0]].any():
        doubtful |= _halves_untold(table) | (there[HALVES[0]] & ~there[WHOLE])
    read = {name: table[name].to_numpy(dtype=object) for name in READ_BY_RULES if name in there}
    return doubtful | _contradicted(kind, there, read, len(table))


def _halves_untold(table: pd.DataFrame) -> np.ndarray:
    """Which rows have halves that are in doubt, of which their doubts say nothing yet."""
    import pandas as pd

    nothing = pd.Series(np.nan, index=table.index)
    ohms = [pd.to_numeric(table.get(name, nothing), errors="coerce") for name in (*HALVES, WHOLE)]
    as_whole, apart = halves_in_doubt(*(one.to_numpy(dtype=float, na_value=np.nan) for one in ohms))
    told = table["doubts"].astype("str").str.count("the halves read") if "doubts" in table else np.zeros(len(table))
    return np.asarray(as_whole.astype(int) + apart.astype(int) > told, dtype=bool)


def _look(facts: FieldFacts, column: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Which cells of a column are not plainly right, and which say anything."""
    if facts.kind == "number":
        return _look_at_numbers(facts, column)
    if facts.kind == "flag" and column.dtype == bool:
        return np.zeros(len(column), dtype=bool), np.ones(len(column), dtype=bool)
    cells = column.to_numpy(dtype=object)
    there = _filled(cells)
    if facts.kind == "flag":
        right = np.array([cell is True or cell is False for cell in cells], dtype=bool)
    elif facts.choices:
        right = np.array([isinstance(cell, str) and cell in facts.choices for cell in cells], dtype=bool)
    elif facts.most is not None:
        right = np.array([_plain(cell) for cell in cells], dtype=bool)
    else:  # a note or a date says nothing that is reckoned with
        return np.zeros(len(column), dtype=bool), there
    rest = np.flatnonzero(there & ~right)
    there[rest] = [not is_blank(cell) for cell in cells[rest]]
    return there & ~right, there


def _look_at_numbers(facts: FieldFacts, column: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    import pandas as pd

    if pd.api.types.is_numeric_dtype(column.dtype) and column.dtype.kind not in "bc":
        values = column.to_numpy(dtype=float, na_value=np.nan)
        there = ~np.isnan(values)
        return there & ~facts.within(values), there
    cells = column.to_numpy(dtype=object)
    there = np.array([not is_blank(cell) for cell in cells], dtype=bool)
    values = np.array([cell if type(cell) in (int, float) else np.nan for cell in cells], dtype=float)
    return there & ~facts.within(values), there


def _plain(cell: object) -> bool:
    """Whether a tag is text of one line as it would be kept."""
    return (
        isinstance(cell, str)
        and len(cell) <= LONGEST_NAME
        and cell.isprintable()
        and cell == cell.strip()
        and cell not in BLANK_WORDS
        and unicodedata.is_normalized("NFC", cell)
    )


def _contradicted(
    kind: type[Unit], there: Mapping[str, np.ndarray], read: Mapping[str, np.ndarray], count: int
) -> np.ndarray:
    """Which rows hold fields that do not go together: the rules are asked once of each pattern that occurs."""
    import pandas as pd

    pattern = np.zeros(count, dtype=np.int64)
    for place, filled in enumerate(filled for name, filled in there.items() if name not in read):
        pattern |= filled.astype(np.int64) << place
    for name in read:
        code = pd.factorize(read[name])[0] + 1
        pattern = pd.factorize(pattern)[0] * (int(code.max(initial=0)) + 1) + code
    _, first, pattern = np.unique(pattern, return_index=True, return_inverse=True)
    wrong = [
        bool(contradictions({name: read.get(name, there[name])[row] for name in there if there[name][row]}, kind))
        for row in first
    ]
    return np.array(wrong, dtype=bool)[pattern] if count else np.zeros(0, dtype=bool)


def _as_typed(kind: type[Unit], cells: Mapping[Any, object]) -> dict[str, object]:
    """The cells of a row as one would type them; a tag that is a number is text all the same."""
    typed = {one.name: cells[one.name] for one in fields(kind) if one.name in cells}
    for one in fields(kind):
        value = typed.get(one.name)
        if one.kind == "text" and isinstance(value, int | float) and not is_blank(value):
            typed[one.name] = f"{value:.12g}"
    return typed


def _mended(kind: type[Unit], table: pd.DataFrame, rows: Mapping[int, Unit]) -> pd.DataFrame:
    """A copy with every column of a kind, and these rows as their records have them."""
    import pandas as pd

    blank = {"number": np.nan, "flag": False}
    absent = {one.name: blank.get(one.kind, "") for one in fields(kind) if one.name not in table}
    whole = pd.concat([table, pd.DataFrame(absent, index=table.index)], axis=1)
    whole.attrs = dict(table.attrs)
    if not rows:
        return whole
    for one in fields(kind):
        cells = whole[one.name].to_numpy(dtype=object).copy()
        for place, record in rows.items():
            cells[place] = getattr(record, one.name)
        whole[one.name] = [False if one.kind == "flag" and is_blank(cell) else cell for cell in cells]
    return settled(kind, whole)


def _refuse_twice(table: pd.DataFrame, where: str) -> None:
    """Refuse known units that stand twice with different figures; the same twice is one."""
    again = np.flatnonzero(table.duplicated(["contributor", "unit"])) if len(table) > 1 else np.zeros(0, dtype=int)
    if not len(again):
        return
    tags = list(zip(table["contributor"], table["unit"], strict=True))
    first: dict[tuple[str, str], int] = {}
    for place, tag in enumerate(tags):
        first.setdefault(tag, place)
    before = [first[tags[place]] for place in again.tolist()]
    differing: dict[int, list[str]] = {}
    for name in columns(KnownUnit):
        if name in table:
            cells = table[name].to_numpy(dtype=object)
            for place, other in zip(again.tolist(), before, strict=True):
                if cells[place] != cells[other] and not (is_blank(cells[place]) and is_blank(cells[other])):
                    differing.setdefault(place, []).append(name)
    remedy = "keep the row that is right, or give one another tag"
    faults = [
        Fault(
            where,
            at,
            "unit",
            tags[at][1],
            f"stands in row {first[tags[at]]} too, with another {', '.join(what)}",
            remedy,
            "duplicate",
        )
        for at, what in sorted(differing.items())
    ]
    if faults:
        raise InputError(faults)
