"""Where the files that come with the package are, in a checkout and in an installed wheel, and what is in them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

PACKAGE = Path(__file__).resolve().parent


def shipped(name: str) -> Path:
    """Path of a shipped file or folder, such as ``datasets/practice/known.csv`` or ``app.py``.

    An installed wheel carries them inside the package, a checkout beside it.

    Raises
    ------
    FileNotFoundError
        Neither place has it.
    """
    for root in (PACKAGE, PACKAGE.parent):
        path = root / name
        if path.exists():
            return path
    raise FileNotFoundError(f"the installation is incomplete: {name} is missing; install calib again")


@cache
def data(name: str) -> dict[str, Any]:
    """What a data file within the package says, such as ``register/fields.toml``; not to be changed."""
    import tomllib

    return tomllib.loads((PACKAGE / name).read_text(encoding="utf-8"))


@cache
def shipped_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a shipped CSV, such as ``datasets/wire/swg.csv``, each by column name; not to be changed."""
    import csv

    with shipped(name).open(encoding="utf-8", newline="") as lines:
        return tuple(csv.DictReader(lines))
