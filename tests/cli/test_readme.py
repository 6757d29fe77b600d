"""What is written is run: the README's commands and examples, and the test command that `.ci/run` shares with it."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest

from calib import bench
from calib.cli.main import COMMANDS, main
from calib.session.protocol import STEPS
from tests.app.visits import KNOWN, counted_in, enter, opened, settle, text_of
from tests.cli.conftest import Run
from tests.cli.tables import spoiled, table
from tests.register.test_evidence_file import picture
from tests.warm import ran

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """The fenced blocks of one language, in their order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder as the README's reader has it: the data sets, the table that is to be saved, and a photograph."""
    (tmp_path / "datasets").symlink_to(ROOT / "datasets")
    (tmp_path / "mine.csv").write_text(blocks("csv")[0], encoding="utf-8")
    (tmp_path / "plate.jpg").write_bytes(picture())
    return tmp_path


def test_the_commands_run_as_they_are_written(called: Run, folder: Path) -> None:
    lines = [line for block in blocks("sh") for line in block.splitlines() if line.startswith("calib ")]
    assert {line.split()[1] for line in lines} == {*COMMANDS} - {
        "page",
        "set-up",
        "member",
        "carry",
    }  # those want PostgreSQL
    for line in lines:
        words = [word.strip('"') for word in re.findall(r'"[^"]*"|\S+', line)]
        done = called(*words[1:])
        assert (done.returncode, done.stdout != "") == (0, True), done.stderr


def test_the_python_example_runs_as_it_is_written(folder: Path, home: dict[str, str]) -> None:
    done = ran(blocks("python")[0], cwd=folder, env=home)
    assert (done.returncode, done.stderr) == (0, "")
    assert "spare 1" in done.stdout


def test_it_gives_the_advice_of_the_pages_on_what_to_feed() -> None:
    written = " ".join(README.split())
    assert all(rule in written for rule in bench.FEED_RULES)
    assert "For 650 V on a line of 117 V that is 5.4 V." in written
    assert bench.feed(True, 117.0, 650.0).allowed_v == pytest.approx(5.4)


def test_it_says_of_the_frequency_what_form_session_and_command_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The frequency that it was designed for is asked; the line that it will run on is another question."""
    settle(tmp_path, monkeypatch)
    at = opened()
    said = [str(at.text_input(key="read_line_frequency_hz").help)]
    at.switch_page(KNOWN).run()
    said.append(str(at.text_input(key="add_line_frequency_hz").help))
    said += [field.help for step in STEPS for field in step.fields.values() if field.name == "line_frequency_hz"]
    assert main(["add", "--help"]) == 0
    said.append(" ".join(capsys.readouterr().out.split()))
    assert len(said) == 4
    for words in said:
        assert "designed for: 50 for a plate of 50/60" in words
    written = " ".join(README.split())
    assert "The line is the one that the unit was designed for (50 Hz for a plate of 50/60), wherever it will run." in (
        written
    )


def test_every_command_is_in_the_table() -> None:
    assert re.findall(r"^\| `calib ([\w-]+)` \|", README, re.MULTILINE) == list(COMMANDS)


@pytest.mark.parametrize("linked", re.findall(r"\]\(([^)]+)\)", README))
def test_what_is_linked_is_there(linked: str) -> None:
    assert (ROOT / linked).is_file()


def test_the_two_commands_to_set_up_come_first_and_ci_runs_the_second() -> None:
    look, test = blocks("sh")[:2]
    assert look.strip().endswith(".venv/bin/calib page --practice")
    assert test.strip().endswith("-m pytest -n 2")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    extract = re.search(r"tests=\$\((.*)\)", ci)
    assert extract is not None
    found = subprocess.run(extract.group(1), shell=True, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert found == test
    assert ci.rstrip().endswith('eval "$tests"')


def test_the_limits_close_in_as_it_says(called: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of practice unit U-01, the first that the page shows, page and command say what is written."""
    written = r"U-01 the three readings and the primary's resistance say\s+(\d+) to (\d+) mA, with the core (\d+) to "
    told = re.search(written + r"(\d+) mA, and with the wire as well (\d+) to (\d+) mA", README)
    assert told is not None
    limits = [*zip(map(int, told.groups()[::2]), map(int, told.groups()[1::2]), strict=True)]
    assert limits[2][1] / limits[2][0] < 0.95 * limits[0][1] / limits[0][0]

    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened()
    shown = []
    for emptied in ((), ("wire",), ("stack", "tongue")):
        for name in emptied:
            enter(at, **{name: ""})
        said = re.search(r"rated between\D*(\d+)\D*and\D*(\d+)\D*mA", text_of(at))
        assert said is not None
        shown.append((int(said[1]), int(said[2])))
    assert "read by Alder Lane" in counted_in(at)["Practice unit U-01"]
    assert shown[::-1] == limits

    header, row = (ROOT / "datasets/practice/unknown.csv").read_text(encoding="utf-8").splitlines()[:2]
    bare = spoiled(header, spoiled(header, spoiled(header, row, "awg", ""), "tongue_mm", ""), "stack_mm", "")
    rows = [bare, spoiled(header, row, "awg", ""), row]
    asked = table(
        tmp_path / "asked.csv", header, *(spoiled(header, one, "unit", f"U{k}") for k, one in enumerate(rows))
    )
    known = str(ROOT / "datasets/practice/known.csv")
    done = called("estimate", "--known", known, "--unknown", str(asked), "--format", "json")
    assert [(round(one["low_ma"]), round(one["high_ma"])) for one in json.loads(done.stdout)] == limits
