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

SIMULATED = "Simulated practice data, not readings of real units."


def note(text: str) -> None:
    """A line on standard error that is no fault."""
    sys.stderr.write(f"note: {visible(text)}\n")


def say(text: str) -> None:
    """Text on standard output, in UTF-8 wherever it goes to a file or another program."""
    encoding = None if sys.stdout.isatty() else "utf-8"
    sys.stdout.reconfigure(encoding=encoding, errors="backslashreplace")  # type: ignore[union-attr]
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


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
    """CSV text, every digit kept, an empty cell for blank."""
    return frame.to_csv(index=False, lineterminator="\n")


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
    path, remedy = Path(out), "name another file"
    if path.is_dir():
        problem = "is a folder"
    elif not path.resolve().parent.is_dir():
        problem, remedy = "its folder is missing", "make the folder first, or name another file"
    elif any(source and path.resolve() == Path(source).resolve() for source in sources):
        problem = "is a file that the command reads"
    else:
        return
    raise InputError.one(problem, remedy, column="--out", value=out, where="command line")


def write_whole(text: str, out: str) -> None:
    """Write a file so that it appears whole or not at all: beside it first, then in its place."""
    target = Path(out).resolve()
    if target.exists() and not target.is_file():
        target.write_text(text, encoding="utf-8", newline="")
        return
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        draft.write_text(text, encoding="utf-8", newline="")
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)
