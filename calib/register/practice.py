"""The practice register: simulated units to practise on, in a file of its own, renewed with the program's."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from calib.errors import RegisterError
from calib.paths import shipped
from calib.register import revisions
from calib.register.file import data_folder, make, opened
from calib.register.gate import transaction
from calib.register.register import Register, default_register_path
from calib.register.tables import read_known
from calib.register.trouble import WAIT_S

_RENEWED: set[tuple[Path, int]] = set()  # practice registers that were looked at, each with its file's number


def practice_register(path: str | os.PathLike[str] | None = None) -> Register:
    """The register of simulated records to practise on, made where there is none.

    Parameters
    ----------
    path : str, Path or None
        Its file; None for practice.duckdb beside the default register.

    Returns
    -------
    Register
        A simulated one. It held the practice records when it was made; where an earlier version made it, they are
        brought to those that come with this one, and what its user added, changed or withdrew stays.

    Raises
    ------
    RegisterError
        It cannot be made or opened, or a register of real readings has its name.
    """
    default = default_register_path()
    beside = (default if isinstance(default, Path) else data_folder() / default.name).with_name("practice.duckdb")
    place = Path(os.path.realpath(beside if path is None else path))
    if not place.exists():
        make(place, True, read_known(shipped("datasets/practice/known.csv")))
    register = Register(place)
    if not register.is_simulated:
        remedy = "give yours another name, and name it with --register or in CALIB_REGISTER"
        raise RegisterError(f"{place}: it is a register of real readings, under the practice register's name; {remedy}")
    _renew(place)
    return register


def _renew(place: Path) -> None:
    """Bring the practice register's records to those that come with the program, once in its life."""
    looked = (place, place.stat().st_ino)
    if looked in _RENEWED:
        return
    _RENEWED.add(looked)
    table = read_known(shipped("datasets/practice/known.csv"))
    with opened(place, WAIT_S) as con, transaction(con):
        behind = not revisions.holds(con, table) or revisions.count(con) != len(table)
        behind = behind and revisions.renew(con, table, write=False)
    if behind:
        with suppress(RegisterError), opened(place, WAIT_S, write=True) as con, transaction(con):
            revisions.renew(con, table)  # what cannot be written now stays as it was
