"""What commands share: options and what they name, how faults are gathered, and what is printed, noted and written."""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import Fault, InputError, visible

if TYPE_CHECKING:
    import pandas as pd

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


MOST_NOTED = 20  # notes of one kind
SIMULATED = "Simulated practice data, not readings of real units."


def note(text: str) -> None:
    """A line on standard error that is no fault."""
    sys.stderr.write(f"note: {visible(text)}\n")


def say(text: str) -> None:
    """Text on standard output, in UTF-8 wherever it goes to a file or another program."""
    encoding = None if sys.stdout.isatty() else "utf-8"
    sys.stdout.reconfigure(encoding=encoding, errors="backslashreplace")  # type: ignore[union-attr]
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


def say_done(text: str) -> None:
    """Tell that work is done; where standard output is full or closed, on standard error, since the work is done."""
    try:
        say(text)
        sys.stdout.flush()
    except (OSError, ValueError, AttributeError) as error:
        why = getattr(error, "strerror", None) or "it is closed"
        note(f"done, and told here since standard output cannot take it ({why}): {text}")
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 (what is in the buffer is not tried again)


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a frame as plain values, None where a cell is blank."""
    return [{str(name): plain(value) for name, value in row.items()} for row in frame.to_dict(orient="records")]


def plain(value: Any) -> Any:
    """A value as JSON has it: None for blank text, for what is not a number and for an open limit."""
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return None if isinstance(value, str) and value == "" else value


def as_json(content: Any) -> str:
    """JSON text, every digit kept."""
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def as_csv(frame: pd.DataFrame) -> str:
    """CSV text, every digit kept, an empty cell for blank; no text that a spreadsheet would take for a formula."""
    from calib.register.package import text_cell

    texts = frame.select_dtypes(include=["object", "str"])
    safe = {str(name): [text_cell(one) if isinstance(one, str) else one for one in texts[name]] for name in texts}
    return frame.assign(**safe).to_csv(index=False, lineterminator="\n")


def check_target(out: str | None, *sources: str | None) -> None:
    """Refuse a file to write that cannot be one.

    Parameters
    ----------
    out : str or None
        The file to write; None where none is.
    sources : str or None
        The files that the command reads: none of them is overwritten.

    Raises
    ------
    InputError
        It is a folder, its folder is missing, or it is one of the sources.
    """
    if out is None:
        return
    from calib.register.tables import odd_kind

    path, remedy = Path(out), "name another file"
    if said := odd_kind(path):
        problem = said.replace("it is", "is")
    elif not path.resolve().parent.is_dir():
        problem, remedy = "its folder is missing", "make the folder first, or name another file"
    elif any(source and same_file(path, Path(source)) for source in sources):
        problem = "is a file that the command reads"
    elif is_database(path):
        problem = "is a register or another database"
    else:
        return
    raise InputError.one(problem, remedy, column="--out", value=out, where="command line", code="file")


def same_file(one: Path, other: Path) -> bool:
    """Whether two names are one file's, by links of either kind too."""
    if one.resolve() == other.resolve():
        return True
    return one.exists() and other.exists() and one.samefile(other)


def is_database(path: Path) -> bool:
    """Whether a file is a database of the register's engine, by the mark in its head."""
    try:
        with open(path, "rb") as file:
            return file.read(12)[8:] == b"DUCK"
    except OSError:
        return False


def write_whole(content: str | bytes, out: str) -> None:
    """Write a file so that it appears whole or not at all: beside it first, then in its place."""
    target = Path(out).resolve()
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        draft.write_bytes(content if isinstance(content, bytes) else content.encode())
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)


def read_rows(
    path: str, columns: Sequence[str], needed: Collection[str], read: Callable[..., Any], header: Sequence[str] = ()
) -> Any:
    """What the rows of a small table come to; InputError with every fault of it. An empty one is told its header."""
    rows, faults = rows_of_table(path, columns, needed, f"give a table with the header {','.join(header or columns)}")
    try:
        found = read([row for _, row in rows], path, [line for line, _ in rows])
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(sorted(faults, key=lambda fault: fault.row or 0))
    return found
