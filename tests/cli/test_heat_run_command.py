"""``calib heat-run``: its keys, its text, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.cli.tables import table
from tests.scenes.nonsense import RUNS, SOUND

ROWS = ("20,76.76", "35,76.51", "50,76.26", "65,76.01", "90,75.62", "120,75.15", "150,74.72", "180,74.31")
TOLD = ("--cold-ohm", "62.15", "--cold-temp-c", "20.4", "--ambient-start-c", "21", "--ambient-end-c", "22")
TOLD += ("--load-ma", "92", "--allowed-rise-k", "55")
KEYS = {"hot_ohm", "rise_k", "rise_u_k", "line_rise_k", "drift_k", "rule", "flags", "stop", "stop_cleared", "doubts"}
KEYS |= {f"{name}{end}_ma" for name in ("allowed", "reference") for end in ("", "_low", "_high")}


def test_json_has_the_contract_s_keys_and_text_its_caution_first(called: Run, tmp_path: Path):
    file = str(table(tmp_path / "hot.csv", "seconds,ohm", *ROWS))
    done = called("heat-run", *TOLD, "--readings", file, "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert told.keys() >= KEYS
    assert told["allowed_ma"] < told["reference_ma"] < 92.0
    assert told["rule"] == "exponent 0.8"
    turns = [f"{at},{ohm}," for at, ohm in (row.split(",") for row in ROWS)]
    turns += [f"{float(at) + 7.0:g},,{float(ohm) / 10.0:g}" for at, ohm in (row.split(",") for row in ROWS)]
    turns.sort(key=lambda row: float(row.split(",")[0]))
    by_turns = str(table(tmp_path / "turns.csv", "seconds,ohm,line_ohm", *turns))
    both = called("heat-run", *TOLD, "--line-ohm-cold", "6.215", "--readings", by_turns, "--format", "json")
    assert json.loads(both.stdout)["rise_k"] == told["rise_k"]
    assert 0.0 < json.loads(both.stdout)["line_rise_k"] - told["rise_k"] < 1.0  # the same ohms, read 7 s later
    idle = ("--copper-w", "9.8", "--idle-rise-k", "24", "--format", "json")
    assert 6.0 < json.loads(called("heat-run", *TOLD, *idle, "--readings", file).stdout)["iron_w"] < 7.0
    text = called("heat-run", *TOLD, "--load-ma", "1092", "--readings", file)
    assert text.stdout.startswith("Attended throughout")
    assert f"{told['allowed_ma'] * 1092 / 92:.4g} mA" in text.stdout
    assert text.stderr.startswith("note: load_ma: 1092 mA is unusual: most are 10 to 500 mA")


def test_each_fault_is_one_line_with_its_place(called: Run, tmp_path: Path):
    few = str(table(tmp_path / "few.csv", "seconds,ohm", *ROWS[:2]))
    done = called("heat-run", *TOLD, "--readings", few)
    assert (done.returncode, done.stdout) == (2, "")
    assert "2 readings are too few" in done.stderr
    odd = str(table(tmp_path / "odd.csv", "seconds,ohm", *ROWS, "200,60.1", "210,x"))
    done = called("heat-run", *TOLD, "--iron-w", "5,5", "--readings", odd)
    assert [line.split(": ")[0] for line in done.stderr.splitlines()] == [
        "calib heat-run, iron_w '5,5'",
        f"{odd}, row 11, ohm 'x'",
        "calib heat-run, copper_w (empty)",
    ]
    done = called("heat-run", *TOLD, "--readings", str(table(tmp_path / "cold.csv", "seconds,ohm", *ROWS, "200,60.1")))
    assert "row 10, ohm '60.1': is no hotter than the room" in done.stderr
    both = called("heat-run", *TOLD, "--load-ma", "92000000", "--readings", str(tmp_path / "none.csv"))
    assert [line.split(": ")[0] for line in both.stderr.splitlines()] == [
        str(tmp_path / "none.csv"),
        "calib heat-run, load_ma '92000000'",
    ]
    none = str(table(tmp_path / "none.csv", "seconds,ohm,line_ohm", "20,76,", "30,,", "40,75,"))
    done = called("heat-run", *TOLD, "--readings", none)
    assert [line.split(": ")[0] for line in done.stderr.splitlines()] == [f"{none}, row 3, ohm (empty)"]
    no_air = called("heat-run", *TOLD[:6], "--readings", few)
    assert no_air.returncode == 2
    assert "--ambient-end-c" in no_air.stderr
    assert no_air.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "case", ["hot ones halved", "hot ones times 1000", "time and resistance exchanged", "one halved"]
)
def test_readings_that_no_unit_gives_are_one_line(called: Run, tmp_path: Path, case: str):
    changed, seconds, ohm, said = RUNS[case]
    told = [text for name, value in (SOUND | changed).items() for text in (f"--{name.replace('_', '-')}", f"{value:g}")]
    rows = [f"{at:g},{one:g}" for at, one in zip(seconds, ohm, strict=True)]
    done = called("heat-run", *told, "--readings", str(table(tmp_path / "hot.csv", "seconds,ohm", *rows)))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert said in done.stderr
