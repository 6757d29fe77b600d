"""The command bench: the contract's keys, an empty bench, no register."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import calib
from tests.cli.conftest import Run

RATIO = {"line_voltage_v": 117, "line_frequency_hz": 60, "excitation_v": 4.97, "hv_v": 27.76}


def test_each_unit_is_told_with_the_keys_of_the_contract(called: Run, tmp_path: Path) -> None:
    with calib.Register(tmp_path / "club.duckdb") as register:
        register.keep_session("QB 7", {"ratio": RATIO}, "ratio", contributor="Quarry Bank")
    told = called("bench", "--register", "club.duckdb", "--format", "json")
    assert told.returncode == 0
    (unit,) = json.loads(told.stdout)
    assert list(unit)[:7] == ["unit", "state", "changed_on", "next", "stop", "stop_cleared", "doubts"]
    assert unit["state"] == "met"
    assert (unit["contributor"], unit["rated_current_ma"], unit["trouble"]) == ("Quarry Bank", None, None)
    assert {unit[name] for name in ("stop", "stop_cleared", "doubts")} == {None}
    assert datetime.fromisoformat(unit["changed_on"]).utcoffset() is not None
    assert "QB 7: met; next: still to be read" in called("bench", "--register", "club.duckdb").stdout


def test_what_stands_against_a_unit_is_in_its_json(called: Run, tmp_path: Path) -> None:
    with calib.Register(tmp_path / "club.duckdb") as register:
        stopped = {"ratio": RATIO, "leads": {"core_path": "continuity", "core_ohm": 3.0}}
        register.keep_session("QB 8", stopped, "leads", contributor="Quarry Bank")
    (unit,) = json.loads(called("bench", "--register", "club.duckdb", "--format", "json").stdout)
    assert unit["state"] == "stopped"
    assert "core" in unit["stop"]
    assert unit["stop_cleared"] is None


def test_an_empty_bench_and_no_register_are_said(called: Run, tmp_path: Path) -> None:
    missing = called("bench", "--register", "none.duckdb")
    assert missing.returncode == 2
    assert "none.duckdb" in missing.stderr
    assert not (tmp_path / "none.duckdb").exists()
    with calib.Register(tmp_path / "club.duckdb"):
        pass
    told = called("bench", "--register", "club.duckdb")
    assert (told.returncode, told.stdout.strip()[:28]) == (0, "Nothing is on the bench: a s")
