"""``calib rewind``: its keys, its text, and what it refuses."""

from __future__ import annotations

import json

import pytest

from calib.paths import shipped
from tests.cli.conftest import Run

CORE = ("--tongue-mm", "28", "--stack-mm", "33.6", "--line-voltage-v", "117", "--line-frequency-hz", "60")
WANTED = ("--volts", "650", "--current-ma", "75", "--rectifier", "full-wave", "--filter", "capacitor")
KNOWN = ("--known", str(shipped("datasets/practice/known.csv")))
KEYS = {"turns_per_volt", "flux_t", "windings", "fill", "rise_k", "v_over_r", "unit_multiplier", "quantile"}


def test_json_has_the_contract_s_keys_and_text_its_caution_first(called: Run) -> None:
    words = ("rewind", *CORE, *WANTED, "--heater", "5x2", "--heater", "6.3x3", *KNOWN)
    was = ("--was-turns", "3000", "--was-wire-mm", "0.16", "--conductor", "aluminium")
    was += ("--read-v", "640", "--read-ohm", "290", "--read-temp-c", "22")
    done = called(*words, *was, "--format", "json")
    assert (done.returncode, done.stderr) == (0, "note: Simulated practice data, not readings of real units.\n")
    told = json.loads(done.stdout)
    assert told.keys() >= KEYS
    assert [one["role"] for one in told["windings"]] == ["primary", "hv", "heater", "heater"]
    needed = {"role", "volts", "turns", "wire", "bare_mm", "layers", "mean_turn_mm", "ohm_20c"}
    assert all(one.keys() >= needed for one in told["windings"])
    assert told["as_it_was"]["turns"] == 3000.0
    wound = told["as_wound"]
    assert wound["v_over_r_off"] == pytest.approx(640.0 / wound["ohm_20c"] / told["v_over_r"] - 1.0)
    assert told["makers_low_ma"] < told["makers_ma"] < told["makers_high_ma"]
    assert told["as_it_was"]["v_over_r"] > 0.0
    text = called(*words, *was).stdout
    assert "as planned     as read" in text
    assert "as it was   as planned" in text
    assert "aluminium wire" in text
    assert text.startswith("Before the first mains: insulation test")
    assert f"V/R {told['v_over_r']:.4g} V/ohm" in text


def test_each_fault_is_one_line(called: Run) -> None:
    done = called("rewind", *CORE, *WANTED, "--volts", "650k", "--heater", "6.3", *KNOWN)
    assert (done.returncode, done.stdout) == (2, "")
    assert [line.split(": ")[0] for line in done.stderr.splitlines()] == [
        "calib rewind, volts '650k'",
        "calib rewind, heater '6.3'",
    ]
    done = called("rewind", *CORE, *WANTED, "--flux-t", "11", "--was-winding-v", "12", *KNOWN)
    assert [line.split(": ")[0] for line in done.stderr.splitlines()] == [
        "calib rewind, flux_t '11'",
        "calib rewind, was_turn_v (empty)",
    ]
    done = called("rewind", *CORE, *WANTED, "--read-v", "640", "--read-temp-c", "22", *KNOWN)
    assert done.stderr.startswith(
        "calib rewind, read_ohm (empty): the new winding is held against the plan by all three"
    )
    done = called("rewind", *CORE, *WANTED, "--current-ma", "1900", *KNOWN)
    assert done.stderr.startswith("calib rewind, current_ma '1900': the windings do not fit a window of 14 mm")
