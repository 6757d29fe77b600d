"""What went wrong with the register's file, in one line that says what to do."""

from __future__ import annotations

import re
from pathlib import Path

from calib.errors import RegisterError

# Said by the database of a file that another process holds, and of one that is open in this process by other means.
_HELD = ("Could not set lock", "different configuration", "Unique file handle conflict")
READ_ONLY = "it is read-only here; change its permissions or work on a copy"
# Fragment of the database's own message, in lower case, and what it means; the first that fits counts.
_MEANINGS = (
    ("no space left", "the disk is full; free some space and try again"),
    ("file too large", "the disk is full, or a limit on the size of files is reached; free some space and try again"),
    ("disk quota", "the disk is full; free some space and try again"),
    ("we can only read versions", "it was written by a newer version; bring calib and duckdb up to date"),
    ("permission denied", READ_ONLY),
    ("read-only", READ_ONLY),
    ("is a directory", "it is a folder; name a file"),
    ("not a valid duckdb database file", "it is no register; name a register, or restore it from a backup"),
    ("sqlite_scanner", "it is no register; name a register, or restore it from a backup"),
)
DAMAGED = "it is damaged; restore it from a backup"


def is_held(error: Exception) -> bool:
    """Whether an error says that somebody else holds the file just now."""
    return any(words in str(error) for words in _HELD)


def busy(path: Path, error: Exception | None, waited: float) -> RegisterError:
    """The error for a file that stayed held, with the holder's process where it is told."""
    holder = re.search(r"PID (\d+)", str(error))
    whose = f"process {holder[1]} holds it" if holder else "another piece of work holds it"
    return RegisterError(f"{path}: it is busy; {whose}, waited {waited:.0f} s; close that program or try again")


def told(path: Path, error: Exception) -> RegisterError:
    """The error for anything else that the database or the system says of the file."""
    if isinstance(error, RegisterError):
        return error
    said = " ".join((getattr(error, "strerror", None) or str(error)).split())
    unforeseen = f"it cannot be used: {said}" if isinstance(error, OSError) else DAMAGED
    meaning = next((means for words, means in _MEANINGS if words in said.lower()), unforeseen)
    return RegisterError(f"{path}: {meaning}")
