"""``calib backup``, ``restore-from`` and ``check``: the register copied, put back from a copy, and read through."""

from __future__ import annotations

import argparse
from pathlib import Path

from calib.cli.options import HERE, add_register
from calib.cli.printing import say, say_done
from calib.cli.sources import register_path
from calib.errors import CannotError, InputError, visible


def declare_backup(part: argparse.ArgumentParser) -> None:
    """The options of ``calib backup``."""
    part.add_argument("file", metavar="FILE", help="the new file; it is a register itself, and none is overwritten")
    add_register(part)


def run_backup(asked: argparse.Namespace) -> None:
    """Copy the register, its whole history with it, and read the copy through."""
    from calib.register.register import Register

    with Register(_there(asked.register), create=False) as register:
        try:
            copy = register.backup(asked.file)
        except KeyboardInterrupt:
            raise KeyboardInterrupt(f"{asked.file} is not there, or is whole") from None
    say_done(f"copied {register.path} to {copy}, and read the copy through: it is the same")


def declare_restore(part: argparse.ArgumentParser) -> None:
    """The options of ``calib restore-from``."""
    part.add_argument("backup", metavar="BACKUP", help="a file that calib backup wrote; it is checked first")
    add_register(part)


def run_restore(asked: argparse.Namespace) -> None:
    """Put a copy of a backup in the register's place; what was there is moved aside, never deleted."""
    from calib.register.register import restore_register

    if not Path(asked.backup).exists():
        raise InputError.one("there is no such file", "name a backup", column="BACKUP", value=asked.backup, where=HERE)
    path = register_path(asked.register)
    try:
        found, moved = restore_register(asked.backup, path)
    except KeyboardInterrupt:
        raise KeyboardInterrupt(f"{path} is as it was, or the whole backup: calib check reads it through") from None
    was = f"; what was there is now {moved}" if moved else ""
    say_done(f"restored {found.path} from {asked.backup}; known units: {found.standing}{was}")


def declare_check(part: argparse.ArgumentParser) -> None:
    """The options of ``calib check``."""
    add_register(part)


def run_check(asked: argparse.Namespace) -> None:
    """Read every block of the register, and hold its tables against each other.

    Raises
    ------
    CannotError
        Something is wrong with it: what, was printed.
    """
    from calib.register.register import check_register

    found = check_register(_there(asked.register))
    say("\n".join(visible(line) for line in str(found).splitlines()))
    if not found.is_sound:
        number = len(found.findings)
        wrong = "thing is wrong with it" if number == 1 else "things are wrong with it"
        raise CannotError(f"{found.path}: {number} {wrong}, told above with what to do")


def _there(typed: str | None) -> Path:
    """The register's path, or an `InputError` where nothing is there: nothing is made here."""
    path = register_path(typed)
    if not path.exists():
        remedy = "name the register's file, or start one with calib add or calib import"
        raise InputError.one("there is no register", remedy, column="--register", value=path, where=HERE)
    return path
