"""The words of the command line: help at once, one line for a wrong word, and the same from both ways in."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from calib.cli.main import COMMANDS
from calib.register.records import KnownUnit, fields
from tests.cli.conftest import Run


def test_no_help_waits_for_what_only_the_work_needs() -> None:
    heavy = {"pandas", "numpy", "duckdb", "scipy", "statsmodels", "streamlit", "altair"}
    shown = f"main(words); print('loaded', words, {heavy} & {{*sys.modules}})"
    asked = [["--help"], *([command, "--help"] for command in COMMANDS)]
    code = f"import sys; from calib.cli.main import main\nfor words in {asked}: {shown}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("usage: calib")
    assert done.stdout.count("usage: calib") >= len(asked)
    loaded = [line for line in done.stdout.splitlines() if line.startswith("loaded")]
    assert loaded == [f"loaded {words} set()" for words in asked]


def test_the_console_script_is_the_module(calib: Run) -> None:
    script = shutil.which("calib", path=str(Path(sys.executable).parent))
    assert script is not None
    done = subprocess.run([script, "--help"], capture_output=True, text=True, check=True)
    assert done.stdout == calib("--help").stdout


def test_help_names_every_command_and_the_exit_statuses(calib: Run) -> None:
    shown = calib("--help").stdout
    listed = {line.split()[0] for line in shown.splitlines() if line.startswith("    ")}
    assert {*COMMANDS} <= listed
    assert "exit status: 0 done" in shown


def test_add_has_an_option_for_each_column_of_the_record(called: Run) -> None:
    shown = called("add", "--help").stdout
    for fact in fields(KnownUnit):
        assert f"--{fact.name.replace('_', '-')} " in shown


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ((), "calib: the following arguments are required: COMMAND; see calib --help"),
        (("fti",), "argument COMMAND: invalid choice: 'fti'"),
        (("fit", "--lvel", "0.8"), "calib: unrecognized arguments: --lvel 0.8; see calib --help"),
        (("fit", "--format", "xml"), "calib fit: argument --format: invalid choice: 'xml'"),
        (("fit", "--format", "a\nb"), "invalid choice"),
        (("estimate",), "calib estimate: the following arguments are required: --unknown"),
        (("add", "--unit"), "calib add: argument --unit: expected one argument; see calib add --help"),
        (("import",), "command line, FILE (empty): no table is named; name a CSV file, or"),
        (("export",), "calib export: the following arguments are required: DIR"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(called: Run, words: tuple[str, ...], expected: str) -> None:
    done = called(*words)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert expected in done.stderr


def test_an_option_is_not_guessed_from_its_beginning(called: Run) -> None:
    assert called("fit", "--reg", "club.duckdb").returncode == 2


def test_the_version_is_the_package_s(called: Run) -> None:
    import calib as package

    assert called("--version").stdout == f"calib {package.__version__}\n"
