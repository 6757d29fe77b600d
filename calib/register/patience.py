"""How long one command waits for others, and whom it tells what is worth knowing meanwhile; quick to import."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

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
