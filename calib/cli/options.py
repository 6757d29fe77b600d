"""Options that several commands share, what they name, and how their faults are gathered."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from calib.register.lakehouse import Lakehouse

HERE = "command line"


def register_path(typed: str | None) -> Path | Lakehouse:
    """The path of the register that a command works on, whether it exists yet or not.

    Parameters
    ----------
    typed : str or None
        What was given with ``--register``.

    Raises
    ------
    InputError
        The name is blank or a folder's.
    """
    from calib.register.lakehouse import place_of
    from calib.register.register import default_register_path
    from calib.register.tables import odd_kind

    path = default_register_path() if typed is None else place_of(typed)
    if not isinstance(path, Path):
        return path
    said = "no file is named" if typed == "" else odd_kind(path).replace("it is", "is")
    if said:
        option, remedy = "--register" if typed is not None else "CALIB_REGISTER", "name the register's file"
        raise InputError.one(said, remedy, column=option, value=typed or path, where=HERE, code="file")
    return path


def existing_register(typed: str | None) -> Path | Lakehouse:
    """The path of a register that exists.

    Raises
    ------
    InputError
        Nothing is there: nothing is made here.
    """
    path = register_path(typed)
    if not path.exists():
        remedy = "name the register's file, or start one with calib add or calib import"
        remedy = remedy if isinstance(path, Path) else "name a register's file, or make this one with calib set-up"
        raise InputError.one(
            "there is no register", remedy, column="--register", value=path, where=HERE, code="not-found"
        )
    return path


def level_of(typed: str) -> float:
    """The level as a number.

    Raises
    ------
    InputError
        It is no number between 0 and 1, both excluded.
    """
    try:
        level = number_of("--level", typed, HERE)
    except InputError:
        level = math.nan
    if 0.0 < level < 1.0:
        return level
    raise InputError.one(
        "is no probability between 0 and 1, both excluded",
        "give one such as 0.9",
        column="--level",
        value=typed,
        where=HERE,
        code="limits",
    )


def number_of(column: str, typed: str, where: str) -> float:
    """What was typed as a number.

    Raises
    ------
    InputError
        It is none, or not a finite one.
    """
    try:
        number = math.nan if "_" in typed else float(typed)
    except ValueError:
        number = math.nan
    if math.isfinite(number):
        return number
    remedy = "write it with a point for decimals, such as 38.4, and without its unit"
    raise InputError.one("is not a number", remedy, column=column, value=typed, where=where, code="not-a-number")


def decimal_of(asked: argparse.Namespace) -> str:
    """The mark before decimals that was named with ``--decimal``; blank where none was."""
    return {"comma": ",", "point": "."}.get(asked.decimal, "")


def rows_of_table(
    path: str, columns: Sequence[str], needed: Collection[str], otherwise: str
) -> tuple[list[tuple[int, dict[str, str]]], list[Fault]]:
    """The rows of a small table in CSV as they stand, each with its line, and the faults of those that are none.

    Parameters
    ----------
    path : str
        CSV in UTF-8 with or without a byte-order mark, cells parted by commas, a header row.
    columns, needed : collections of str
        The columns that it may have and must have.
    otherwise : str
        The remedy for an empty file.

    Raises
    ------
    InputError
        It cannot be read, or a column is missing or unknown.
    """
    from calib.register.tables import cells_of, headed, header_faults, text_of

    line, names, rows = headed(text_of(path, path), path, otherwise)
    faults = header_faults(names, columns, needed, (path, line))
    if faults:
        raise InputError(faults)
    sound: list[tuple[int, dict[str, str]]] = []
    for line, cells in rows:
        try:
            sound.append((line, cells_of(cells, names, (path, line))))
        except InputError as error:
            faults += error.faults
    return sound, faults


def all_of(*checks: Callable[[], Any]) -> list[Any]:
    """What several checks give, or every fault that they find, told at once.

    Raises
    ------
    InputError
        At least one check raised one: it carries the faults of all.
    """
    given: list[Any] = []
    faults: list[Fault] = []
    for check in checks:
        try:
            given.append(check())
        except InputError as error:
            faults.extend(error.faults)
    if faults:
        raise InputError(faults)
    return given
