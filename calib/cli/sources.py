"""Where a command's known units come from: the file named, else the register named, else the user's own."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from calib.cli.options import HERE
from calib.cli.printing import note
from calib.errors import InputError

if TYPE_CHECKING:
    import pandas as pd


def known_units(asked: argparse.Namespace) -> pd.DataFrame:
    """The known units that a command is to learn from.

    A register that does not exist yet has no records, which is a valid thing to learn from; looking does not create it.

    Returns
    -------
    pandas.DataFrame
        As `calib.read_known` gives it.
    """
    if asked.known is not None:
        from calib.register.tables import read_known

        return with_notes(read_known(asked.known))
    path = register_path(asked.register)
    if not path.exists():
        from calib.register.frame import frame_of
        from calib.register.records import KnownUnit

        note(f"there is no register at {path} yet: what follows stands on the prior alone")
        return frame_of(KnownUnit, ())
    from calib.register.register import Register

    with Register(path) as register:
        return register.known()


def source_register(asked: argparse.Namespace) -> str | None:
    """The register that a command reads, by whatever way it was named; None where it reads a table instead."""
    return None if asked.known is not None else str(register_path(asked.register))


def with_notes(table: pd.DataFrame) -> pd.DataFrame:
    """The table, once what its reading noted has been told."""
    for text in table.attrs.get("notes", ()):
        note(text)
    return table


def register_path(typed: str | None) -> Path:
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
    from calib.register.register import default_register_path
    from calib.register.tables import odd_kind

    path = default_register_path() if typed is None else Path(typed)
    said = "no file is named" if typed == "" else odd_kind(path).replace("it is", "is")
    if said:
        option = "--register" if typed is not None else "CALIB_REGISTER"
        raise InputError.one(said, "name the register's file", column=option, value=typed or path, where=HERE)
    return path
