"""The command line as people meet it: a process of its own, with a data folder of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from calib.cli.main import main
from tests.cli.tables import HEADER, ROWS, UNKNOWN_HEADER, UNKNOWN_ROWS, table
from tests.warm import COMMAND, ran

Run = Callable[..., subprocess.CompletedProcess[str]]
Capture = pytest.CaptureFixture[str]


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    """An environment whose data folder and register are this test's own."""
    mine = {key: value for key, value in os.environ.items() if not key.startswith(("CALIB_", "STREAMLIT_"))}
    return {**mine, "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data"), "PYTHONUTF8": "1"}


@pytest.fixture
def calib(tmp_path: Path, home: dict[str, str]) -> Run:
    """Run the command in a folder of its own and give what it printed and its exit status.

    Its process is forked from one that has everything loaded, but where its streams are the test's.
    """

    def run(
        *words: str, env: dict[str, str] | None = None, input: str = "", **more: object
    ) -> subprocess.CompletedProcess[str]:
        environment = {**home, **(env or {})}
        if not more:
            return ran(COMMAND, *words, cwd=tmp_path, env=environment, input=input)
        command = [sys.executable, "-m", "calib", *words]
        settings = {"cwd": tmp_path, "env": environment, "capture_output": True, "text": True, "timeout": 300, **more}
        return subprocess.run(command, **settings)  # type: ignore[call-overload, no-any-return]

    return run


@pytest.fixture
def called(tmp_path: Path, home: dict[str, str], monkeypatch: pytest.MonkeyPatch, capsys: Capture) -> Run:
    """The same within this process, for what does not depend on the process and is tried many times."""
    monkeypatch.chdir(tmp_path)
    home = {**home, "CALIB_REGISTER": str(tmp_path / "own.duckdb")}
    for name in {*os.environ, *home}:
        if name not in home:
            monkeypatch.delenv(name)
        elif os.environ.get(name) != home[name]:
            monkeypatch.setenv(name, home[name])

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        status = main(words)
        told = capsys.readouterr()
        return subprocess.CompletedProcess(words, status, told.out, told.err)

    return run


@pytest.fixture
def known(tmp_path: Path) -> Path:
    """A sound table of four known units."""
    return table(tmp_path / "known.csv", HEADER, *ROWS)


@pytest.fixture
def unknown(tmp_path: Path) -> Path:
    """A sound table of two unknown units."""
    return table(tmp_path / "unknown.csv", UNKNOWN_HEADER, *UNKNOWN_ROWS)
