"""The wheel: what it carries, and that it works from another folder than the one it was built in."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.cli.serving import listening_addresses, served
from tests.cli.tables import UNKNOWN_HEADER, UNKNOWN_ROWS, table

ROOT = Path(__file__).resolve().parents[2]


# Finds the data sets, and keeps them in registers of its own, by name and by command.
KEPT = """
import calib
from calib.cli.main import main
known = str(calib.shipped("datasets/practice/known.csv"))
print(known, flush=True)
for words in (["import", known], ["export", "out"]):
    assert main([*words, "--register", "club.duckdb"]) == 0
calib.practice_register("practice.duckdb")
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel of this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "wheel", "--quiet"]
    command = [*pip, "--no-deps", "--no-build-isolation", "--wheel-dir", str(folder), str(ROOT)]
    subprocess.run(command, check=True, timeout=300)
    return next(folder.glob("calib-*.whl"))


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder into which the wheel was unpacked, without what it depends on."""
    folder = tmp_path_factory.mktemp("installed")
    zipfile.ZipFile(wheel).extractall(folder)
    return folder


@pytest.fixture
def elsewhere(installed: Path, home: dict[str, str]) -> dict[str, str]:
    """An environment in which Python finds the installed package before any other."""
    return {**home, "PYTHONPATH": str(installed)}


def test_it_carries_the_page_the_data_sets_and_the_licence(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    assert {"calib/app.py", "calib/datasets/practice/known.csv", "calib/app/page.css"} <= names
    for top in (ROOT / "calib", ROOT / "datasets"):
        base = ROOT if top.name == "calib" else ROOT / "datasets"
        for path in top.rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                name = path.relative_to(base).as_posix()
                assert (name if top.name == "calib" else f"calib/datasets/{name}") in names
    assert any(name.endswith("/licenses/LICENSE") for name in names)
    assert {name.split("/")[0] for name in names if "dist-info" not in name} == {"calib"}


def test_the_command_works_from_another_folder(installed: Path, elsewhere: dict[str, str], tmp_path: Path) -> None:
    def run(*words: str) -> str:
        command = [sys.executable, *words]
        done = subprocess.run(command, cwd=tmp_path, env=elsewhere, capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, done.stderr
        return done.stdout

    known = str(installed / "calib" / "datasets" / "practice" / "known.csv")
    table(tmp_path / "unknown.csv", UNKNOWN_HEADER, *UNKNOWN_ROWS)
    shown = run("-m", "calib", "estimate", "--known", known, "--unknown", "unknown.csv")
    assert [line.split(",")[0] for line in shown.splitlines()] == ["unit", "spare 1", "spare 2"]
    there = run("-c", KEPT)
    assert there.splitlines()[0] == known
    assert "wrote known.csv" in there


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="this system has no tables of its connections to read")
def test_its_page_listens_on_this_machine_only_without_a_settings_file(
    elsewhere: dict[str, str], tmp_path: Path
) -> None:
    with served(elsewhere, tmp_path, "--practice") as here:
        assert listening_addresses(here.port) == {"0100007F"}  # 127.0.0.1, the lowest byte first
        assert here.handshake(cookie=here.cookie()) == 101
        assert here.handshake() == 403
    assert not os.path.exists(tmp_path / ".streamlit")
