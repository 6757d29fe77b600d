"""``calib fit``: its report and its JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import calib as package
from calib.fitting import variance_components
from tests.cli.conftest import Run
from tests.cli.tables import HEADER, ROWS, spoiled, table


def test_json_has_the_keys_and_the_values_of_the_model(called: Run, known: Path) -> None:
    done = called("fit", "--known", str(known), "--level", "0.8", "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    model = package.fit(package.read_known(known))
    assert {"records", "level", "scatter", "classes", "terms", "suspects", "check"} <= told.keys()
    assert (told["records"], told["level"], told["scatter"]) == (4, 0.8, model.scatter)
    names = ("size_class", "rectifier", "filter", "low_area_cm2", "high_area_cm2", "count", "multiplier", "low", "high")
    assert set(names) <= told["classes"][0].keys()
    assert {"name", "value", "low", "high"} <= told["terms"][0].keys()
    assert {"folds", "coverage", "level"} <= told["check"].keys()
    classes = model.classes(0.8)
    assert [row["multiplier"] for row in told["classes"]] == classes["multiplier"].tolist()
    assert [row["high_area_cm2"] for row in told["classes"] if row["size_class"] == "7"][0] is None


def test_a_fit_that_does_not_come_to_rest_is_told_in_json_text_and_beside_the_estimates(
    called: Run, known: Path, unknown: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("fit", "--known", str(known), "--format", "json")
    told = json.loads(called(*asked).stdout)
    assert told["converged"] is True
    assert all(one["converged"] and one["rounds"] <= one["most"] for one in told["iterations"])
    monkeypatch.setattr(variance_components, "MODE_ROUNDS", 1)
    told = json.loads(called(*asked).stdout)
    assert (told["converged"], [one["converged"] for one in told["iterations"]].count(False)) == (False, 1)
    assert "NOT SETTLED" in called("fit", "--known", str(known)).stdout
    done = called("estimate", "--known", str(known), "--unknown", str(unknown))
    assert done.returncode == 0
    assert "note: the fit did not come to rest, so these figures may still move: scatters of units" in done.stderr
    assert "not-converged" in done.stdout


def test_diagnostics_add_the_regression_and_influence_and_change_nothing_else(called: Run, known: Path) -> None:
    asked = ("fit", "--known", str(known))
    plain, more = (json.loads(called(*asked, *words, "--format", "json").stdout) for words in ((), ("--diagnostics",)))
    told = more.pop("diagnostics")
    assert more == plain
    assert told["given"] == "scales at the mode"
    assert [one["name"] for one in told["coefficients"]] == [one["name"] for one in plain["terms"]]
    assert {"value", "sd"} <= told["coefficients"][0].keys()
    assert len(told["records"]) == 4
    assert {"leverage", "cooks_distance", "studentised_residual"} <= told["records"][0].keys()
    short, long = (called(*asked, *words).stdout for words in ((), ("--diagnostics",)))
    assert long.startswith(short.rstrip("\n"))
    assert "given the scales at the mode" in long
    assert "leverage" in long
    assert "Cook's distance" in long


def test_a_suspect_is_named_with_its_odds_and_its_slip(called: Run, tmp_path: Path) -> None:
    slip = spoiled(HEADER, ROWS[0], "hv_resistance_ohm", "21.2").replace("AL 1", "AL 9")  # a slipped decimal point
    sound = [row.replace("AL ", f"AL {number}") for number in range(1, 4) for row in ROWS[:2]]
    spoiled_table = table(tmp_path / "known.csv", HEADER, *sound, *ROWS[2:], slip)
    told = json.loads(called("fit", "--known", str(spoiled_table), "--format", "json").stdout)
    odds = {row["unit"]: row["odds_sound"] for row in told["suspects"]}
    assert min(odds, key=odds.__getitem__) == "AL 9"
    assert 0 <= odds["AL 9"] < 0.5
    assert {"contributor", "unit", "odds_sound", "likely_slip"} <= told["suspects"][0].keys()


def test_text_is_the_model_s_own_report(called: Run, known: Path) -> None:
    done = called("fit", "--known", str(known))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{package.fit(package.read_known(known))}\n"


def test_simulated_units_are_named_at_the_top(called: Run, tmp_path: Path) -> None:
    practice = table(tmp_path / "practice.csv", f"{HEADER},simulated", *(f"{row},true" for row in ROWS))
    first = called("fit", "--known", str(practice)).stdout.splitlines()[0]
    assert "imulated" in first
    assert json.loads(called("fit", "--known", str(practice), "--format", "json").stdout)["simulated"] is True


def test_an_empty_register_gives_the_prior(called: Run, tmp_path: Path) -> None:
    told = json.loads(called("fit", "--format", "json").stdout)
    assert told["records"] == 0
    assert all(row["count"] == 0 and row["low"] < row["multiplier"] < row["high"] for row in told["classes"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("format", ["text", "json"])
def test_the_same_table_gives_the_same_digits(calib: Run, known: Path, format: str) -> None:
    words = ("fit", "--known", str(known), "--format", format)
    assert calib(*words).stdout == calib(*words).stdout


def test_a_row_that_repeats_another_is_noted(called: Run, tmp_path: Path) -> None:
    doubled = table(tmp_path / "known.csv", HEADER, *ROWS, ROWS[0])
    done = called("fit", "--known", str(doubled), "--format", "json")
    assert json.loads(done.stdout)["records"] == 4
    assert done.stderr == f"note: {doubled}, row 6: the same as row 2, taken once\n"
