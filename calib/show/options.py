"""Options that several commands share, and how their faults are gathered."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from calib.errors import Fault, InputError

HERE = "command line"


def add_sources(part: argparse.ArgumentParser) -> None:
    """Declare ``--known`` and ``--register``: where the known units are read."""
    part.add_argument("--known", metavar="FILE", help="table of known units (CSV); no register is read then")
    add_register(part)


def add_register(part: argparse.ArgumentParser) -> None:
    """Declare ``--register``."""
    part.add_argument(
        "--register",
        metavar="FILE",
        help="the register; where not given, the one that CALIB_REGISTER names, else the one in your data folder",
    )


def add_level(part: argparse.ArgumentParser) -> None:
    """Declare ``--level``."""
    part.add_argument("--level", metavar="P", default="0.9", help="probability of the intervals, 0.9 where not given")


def level_of(typed: str) -> float:
    """The level as a number.

    Raises
    ------
    InputError
        It is no number between 0 and 1, both excluded.
    """
    try:
        level = float(typed)
    except ValueError:
        level = float("nan")
    if 0.0 < level < 1.0:
        return level
    raise InputError.one(
        "is no probability between 0 and 1, both excluded",
        "give one such as 0.9",
        column="--level",
        value=typed,
        where=HERE,
    )


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
