"""What keeps a program from a register's file: how long it waits for others, and what went wrong, in one line."""

from __future__ import annotations

import errno
import os
import re
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from calib.errors import RegisterError, visible
from calib.paths import data

# Said by the database of a file that another process holds, and of one that is open in this process by other means.
# The last is what it says on Windows, behind the system's own words in the user's language.
_HELD = ("Could not set lock", "different configuration", "Unique file handle conflict", "File is already open in")
ENTER_AGAIN = "enter it again as it should be, which keeps what is there as well, or use a backup"
_MEANINGS: dict[str, dict[str, Any]] = data("register/trouble.toml")
READ_ONLY, DAMAGED = (str(_MEANINGS[name]["means"]) for name in ("read_only", "damaged"))
_BY_CODE = {getattr(errno, code): each["means"] for each in _MEANINGS.values() for code in each.get("codes", ())}
_BY_WORDS = [(words, each["means"]) for each in _MEANINGS.values() for words in each.get("words", ())]
_KINDS = {stat.S_IFIFO: "a pipe", stat.S_IFSOCK: "a socket", stat.S_IFCHR: "a device", stat.S_IFBLK: "a device"}
_HEAD = 65_536  # bytes of a log within which its head ends
_FLUSH, _CHECKPOINT = 100, 99  # kinds of entry of the database's log: a change is complete; all is in the file


class BusyError(RegisterError):
    """Somebody else holds the file, and did not let go of it in time."""


class AlteredError(Exception):
    """Something that stands in a register is not as calib keeps it: what, and what to do, without the file's name."""


def is_held(error: Exception) -> bool:
    """Whether an error says that somebody else holds the file just now."""
    return any(words in str(error) for words in _HELD)


def holder(error: object) -> str:
    """Who holds the file, as far as the database's refusal and the system tell."""
    found = re.search(r"held in (.+?) \(PID (\d+)\)", str(error)) or re.search(r"()PID (\d+)", str(error))
    if not found:
        return "another piece of work"
    return f"process {found[2]} ({_program(int(found[2])) or Path(found[1]).name or 'name unknown'})"


def busy(path: object, who: str, waited: float) -> RegisterError:
    """The error for a file that stayed held."""
    return BusyError(f"{path}: it is busy; {who} holds it, waited {waited:.0f} s; close that program or try again")


def check_name(path: Path) -> None:
    """Refuse a name that no register can have: one that is no text, too long, or a device's.

    Raises
    ------
    RegisterError
        With the reason; nothing was opened.
    """
    try:
        text, kind = os.fsencode(path).decode(), stat.S_IFREG
        with suppress(FileNotFoundError):
            os.stat(f"{path}.wal.checkpoint")  # the longest name that the database gives a file beside it
        with suppress(FileNotFoundError):
            kind = path.stat().st_mode
    except ValueError:  # not to be told in UTF-8, or with a zero byte in it
        raise RegisterError(f"{ascii(str(path))}: its name is no plain text; name it otherwise") from None
    except PermissionError:
        raise RegisterError(f"{path}: its folder may not be entered; ask whoever owns it for the permission") from None
    except OSError as error:
        raise told(path, OSError(error.errno, error.strerror)) from None
    if os.sep == "/" and "\\" in text:  # the database takes it for another slash, and so for another place
        raise RegisterError(f"{path}: there is a backslash in its name; name it otherwise")
    if stat.S_ISDIR(kind):
        raise RegisterError(f"{path}: {_BY_CODE[errno.EISDIR]}")
    if what := _KINDS.get(stat.S_IFMT(kind)):
        raise RegisterError(f"{path}: it is {what} and no file; name a file")


def told(path: object, error: BaseException) -> RegisterError:
    """The error for anything else that the database or the system says of the file.

    The line names the file that is in the way, which may be the log or the gate beside the register.
    """
    if isinstance(error, RegisterError):
        return error
    if isinstance(error, AlteredError):
        return RegisterError(f"{path}: {visible(str(error), 400)}")
    said = " ".join((getattr(error, "strerror", None) or str(error)).split())
    named = getattr(error, "filename", None) or next(iter(re.findall(r'file "([^"]+)"', said)), "")
    meaning = _meaning(error, said.replace(" ".join(str(path).split()), "").lower())
    which = named if meaning == READ_ONLY and str(named).startswith(f"{path}.") else path
    return RegisterError(f"{which}: {meaning or f'it cannot be used, and why is unknown: {_cut(said)}'}")


@dataclass(frozen=True)
class Log:
    """The log beside a register: the changes that are in it and not yet in the register's file.

    Attributes
    ----------
    path : Path
        The log's file.
    size : int
        Its bytes.
    changes : tuple of int
        Where each of its complete changes ends [bytes from the start].
    dropped : int
        Bytes after the last complete change, which the database passes over without a word.
    is_one : bool
        Whether it is such a log at all.
    """

    path: Path
    size: int
    changes: tuple[int, ...] = ()
    dropped: int = 0
    is_one: bool = True

    @property
    def holds(self) -> str:
        """What stands in it, in words."""
        number = len(self.changes)
        return f"{number} complete {'change' if number == 1 else 'changes'}"


def log_beside(path: Path) -> Log | None:
    """Read the log beside a register as far as its entries follow one another; None where there is nothing in it.

    Each entry is its length and a checksum, of eight bytes each, then as many bytes as it says. What is cut off between
    two entries that end a change cannot be told from what was never there.
    """
    place = Path(f"{path}.wal")
    try:
        with place.open("rb") as file:
            return _read_log(place, file, os.fstat(file.fileno()).st_size)
    except OSError:
        return None


def _read_log(place: Path, file: BinaryIO, size: int) -> Log | None:
    """A log, of which its head and those of its entries are read: an import may have left gigabytes in it."""
    raw, head = file.read(_HEAD), b"\x64\x00\x62\x65\x00"
    if not raw:
        return None
    if raw[: len(head)] != head[: len(raw)]:
        return Log(place, size, is_one=False)
    try:
        version, at = _number(raw, len(head))
        if version != 2:  # of another making: the database reads it, or says why not
            return None
        start = at = _after_head(raw, at)
    except IndexError:  # it breaks off in its head
        return Log(place, size, (), size)
    ends: list[int] = []
    while True:
        file.seek(at)
        entry = file.read(19)  # its length, its checksum, and which kind it is
        end = at + 16 + int.from_bytes(entry[:8], "little")
        if len(entry) < 19 or end > size or entry[16:18] != b"\x64\x00":
            return Log(place, size, tuple(ends), size - (ends[-1] if ends else start))
        at = end
        if entry[18] in (_FLUSH, _CHECKPOINT):
            ends.append(end)


def told_of_log(path: Path, error: Exception, alone: Callable[[Path], str]) -> RegisterError | None:
    """The error for a register that cannot be opened for the log beside it; None where that is not the reason.

    Parameters
    ----------
    path : Path
        The register's file.
    error : Exception
        What the database said.
    alone : callable
        Says how the register's file is without that log.
    """
    said, log = str(error), log_beside(path)
    if log is None or not ("WAL" in said or f"{path}.wal" in said):
        return None
    place = re.search(r"byte position (\d+)", said)
    if "does not match database file" in said:
        what = f"it is the log of another file, with {log.holds} in it; move it to that file"
    elif numbers := re.search(r"File checkpoint iteration: (\d+), WAL checkpoint iteration: (\d+)", said):
        if int(numbers[1]) > int(numbers[2]):
            what = "it is an old log, from before the register was saved last; move it elsewhere"
        else:
            what = f"it is of a later state than the register, which is an old copy: {log.holds} in it would be lost; "
            what += "bring back the file that it belongs to, or move it elsewhere"
    elif "corrupt" in said.lower() or "Invalid WAL entry" in said:
        whole = sum(end <= int(place[1]) for end in log.changes) if place else 0
        what = f"the log of the last changes is damaged, {whole} complete before the damage; "
        what += "move it elsewhere, open the register, and enter again what is missing"
    else:
        return None
    return RegisterError(f"{log.path}: {what}; the register beside it is {alone(path)}")


def _meaning(error: BaseException, plain: str) -> str | None:
    """What an error means, by its code, by the database's words, by the system's words; None where that is unknown."""
    if isinstance(error, MemoryError):
        return str(_MEANINGS["memory"]["means"])
    if code := getattr(error, "errno", None):
        return _BY_CODE.get(code)
    by_words = [means for words, means in _BY_WORDS if words in plain]
    by_system = {os.strerror(number).lower(): means for number, means in _BY_CODE.items()}
    longest = sorted((words for words in by_system if words in plain), key=len)[-1:]
    return next(iter(by_words), None) or next((by_system[words] for words in longest), None)


def _after_head(raw: bytes, at: int) -> int:
    """Where the entries of a log begin: after the name of its file and the number of its saving."""
    while (field := int.from_bytes(raw[at : at + 2], "little")) != 0xFFFF:
        at += 2
        count = 1
        if field == 102:  # a list
            count, at = _number(raw, at)
        for _ in range(count):
            _, at = _number(raw, at)
    return at + 2


def _number(raw: bytes, at: int) -> tuple[int, int]:
    """A whole number of seven bits a byte, the last without the eighth, and where it ends."""
    value = shift = 0
    while raw[at] & 128:
        value, shift, at = value | (raw[at] & 127) << shift, shift + 7, at + 1
    return value | raw[at] << shift, at + 1


def _program(process: int) -> str:
    """What a process is called, where the system has it in a file; blank elsewhere."""
    try:
        words = Path(f"/proc/{process}/cmdline").read_bytes().decode(errors="replace").split("\0")
    except OSError:
        return ""
    names = [Path(word).name for word in words[:3] if word and not word.startswith("-") and word.isprintable()]
    return " ".join(name for name in names if " " not in name)[:60]


def _cut(said: str) -> str:
    return said if len(said) <= 300 else f"{said[:300]} …"


WAIT_S = 15.0


@dataclass
class Patience:
    """What is left of the time that one command may wait for others, and whom it tells what is worth knowing.

    Attributes
    ----------
    left : float
        Still to be waited, in all [s].
    tell, waits : callable
        Called with a sentence, without a full stop: the second with who is waited for, then, once he has let go or the
        time is over, with nothing.
    whole : float
        What there was at first [s].
    told : bool
        Whether it was told who is waited for.
    """

    left: float
    tell: Callable[[str], None]
    waits: Callable[[str], None]
    whole: float
    told: bool = False

    @contextmanager
    def waiting(self) -> Iterator[float]:
        """Count the time that the block takes; gives the moment until which it may wait."""
        start, told = time.monotonic(), self.told
        try:
            yield start + self.left
        finally:
            self.left = max(self.left - (time.monotonic() - start), 0.0)
            if self.told and not told:
                self.waits("")

    def say_for_whom(self, path: Path, who: str) -> None:
        """Tell, once, who is waited for."""
        if not self.told:
            self.told = True
            self.waits(f"waiting for {who}, which holds {path}; for {self.whole:.0f} s at most")


_PATIENCE: ContextVar[Patience | None] = ContextVar("patience", default=None)


def _logged(text: str) -> None:
    import logging

    logging.getLogger("calib").warning(text)


@contextmanager
def patience(
    seconds: float = WAIT_S, tell: Callable[[str], None] | None = None, waits: Callable[[str], None] | None = None
) -> Iterator[Patience]:
    """Limit how long everything inside waits, in all, for other programs that hold a register.

    Parameters
    ----------
    seconds : float
        The limit [s]; inside another such block at most what is left of that one.
    tell : callable, optional
        Called with a sentence where a copy was made, a log was taken in, or somebody is waited for; where not given,
        that of the block outside, else the log named ``calib`` of Python's logging.
    waits : callable, optional
        Called with who is waited for instead of `tell`, and with nothing once that is over.
    """
    outer = _PATIENCE.get()
    limit = seconds if outer is None else min(seconds, outer.left)
    told = tell or (outer.tell if outer else _logged)
    waited = waits or (outer.waits if outer and not tell else lambda text: told(text) if text else None)
    mine = Patience(limit, told, waited, limit, outer is not None and outer.told)
    token = _PATIENCE.set(mine)
    try:
        yield mine
    finally:
        _PATIENCE.reset(token)
        if outer is not None:
            outer.left = max(outer.left - (limit - mine.left), 0.0)
            outer.told = outer.told or mine.told


def say(text: str) -> None:
    """Tell whoever is at work something worth knowing: as `patience` was asked to, else by Python's logging."""
    mine = _PATIENCE.get()
    (mine.tell if mine else _logged)(text)
