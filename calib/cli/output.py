"""What the commands print: frames as CSV or JSON with full digits, notes, and files that appear whole or not at all."""

from __future__ import annotations

import json
import math
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import InputError, visible

if TYPE_CHECKING:
    import pandas as pd

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
