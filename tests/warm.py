"""Processes of their own without the seconds that each takes to load everything: forked from one that has it loaded.

A kill, a limit or another user's rights hit the work of such a process and nothing else, and no test runs the loading
of the same libraries again. What is about the start of a process itself has one begun by `subprocess`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from multiprocessing import get_all_start_methods, get_context
from pathlib import Path

SERVER = get_context("forkserver" if "forkserver" in get_all_start_methods() else "spawn")
SERVER.set_forkserver_preload(
    ["pytest", "calib.register.register", "duckdb", "PIL.Image", "pandas", "calib.fitting.result"]
)
COMMAND = "from calib.__main__ import script\nscript()"  # what ``python -m calib`` runs


class Begun:
    """A process at work.

    Parameters
    ----------
    program : str
        Python source text, to which `words` are ``sys.argv[1:]``.
    cwd, env : path and mapping, optional
        Its folder and its whole environment; this process's where not given.
    input : str
        What is piped into it.
    """

    def __init__(
        self,
        program: str,
        *words: str,
        cwd: Path | None = None,
        env: Mapping[str, str] | None = None,
        input: str = "",
    ) -> None:
        self._files = tempfile.TemporaryDirectory()
        files = [Path(self._files.name) / name for name in ("in", "out", "err")]
        files[0].write_text(input, encoding="utf-8")
        self._out, self._err = files[1:]
        for path in files[1:]:
            path.touch()
        what = (program, words, str(cwd or Path.cwd()), dict(os.environ if env is None else env), list(map(str, files)))
        self._process = SERVER.Process(target=_work, args=what, daemon=True)
        self._process.start()
        self.pid = self._process.pid

    @property
    def out(self) -> str:
        """What it has printed by now."""
        return self._out.read_text(encoding="utf-8")

    @property
    def runs(self) -> bool:
        """Whether it is still at work."""
        return self._process.is_alive()

    def printed(self, lines: int = 1) -> list[str]:
        """The first lines that it prints, once they are there."""
        end = time.monotonic() + 60
        while len(told := self.out.splitlines()) < lines:
            assert self.runs, self._err.read_text(encoding="utf-8")
            assert time.monotonic() < end, told
            time.sleep(0.005)
        return told

    def kill(self) -> None:
        """End it at once, and see it gone."""
        self._process.kill()
        self._process.join()

    def ended(self) -> subprocess.CompletedProcess[str]:
        """Wait for its end: its status, negative for a signal, and what it printed."""
        self._process.join(300)
        told = self._err.read_text(encoding="utf-8")
        assert self._process.exitcode is not None, told
        return subprocess.CompletedProcess([], self._process.exitcode, self.out, told)


def ran(
    program: str, *words: str, cwd: Path | None = None, env: Mapping[str, str] | None = None, input: str = ""
) -> subprocess.CompletedProcess[str]:
    """The same, to its end."""
    return Begun(program, *words, cwd=cwd, env=env, input=input).ended()


def _work(program: str, words: tuple[str, ...], cwd: str, env: dict[str, str], files: list[str]) -> None:
    os.chdir(cwd)
    os.environ.clear()
    os.environ.update(env)
    for number, name in enumerate(files):
        os.dup2(os.open(name, os.O_WRONLY | os.O_APPEND if number else os.O_RDONLY), number)
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115 (the standard streams of the process)
    sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", encoding="utf-8", errors="backslashreplace", buffering=1, closefd=False)  # noqa: SIM115
    sys.argv = ["-c", *words]
    exec(compile(program, "<program>", "exec"), {"__name__": "__main__"})
