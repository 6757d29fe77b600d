"""Where the files that come with the package are, in a checkout and in an installed wheel."""

from __future__ import annotations

from pathlib import Path

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
