"""``calib demand``: its keys, its text, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calib.paths import shipped
from tests.cli.conftest import Run
from tests.cli.tables import table

KEYS = {"unit", "average_ma", "worst_ma", "odds_average", "odds_worst", "source_ohm", "dc_v", "dc_v_low", "dc_v_high"}
KEYS |= {"dc_v_worst", "ripple_v_pp", "winding_rms_ma", "peak_ma", "peak_inverse_v", "heaters", "broken", "not_told"}
KEYS |= {"flags", "stop", "stop_cleared", "doubts"}


@pytest.fixture
def told(tmp_path: Path) -> tuple[str, ...]:
    units = shipped("datasets/practice/unknown.csv").read_text(encoding="utf-8").splitlines()[:3]
    unknown = table(tmp_path / "unknown.csv", *units)
    loads = str(shipped("datasets/valves/practice_set.csv"))
    known = str(shipped("datasets/practice/known.csv"))
    return ("demand", "--loads", loads, "--unknown", str(unknown), "--known", known)


def test_json_has_the_contract_s_keys_and_text_its_caution_first(called: Run, told: tuple[str, ...]):
    done = called(*told, "--capacitance-uf", "16", "--valve", "5Y3-GT", "--format", "json")
    assert (done.returncode, done.stderr) == (0, "note: Simulated practice data, not readings of real units.\n")
    units = json.loads(done.stdout)
    assert [one["unit"] for one in units] == ["U-01", "U-02"]
    assert all(one.keys() >= KEYS for one in units)
    assert units[0]["heaters"] == [{"heater_v": 5.0, "amperes": 2.0}, {"heater_v": 6.3, "amperes": 1.35}]
    assert {"limit", "value", "allowed", "remedy"} <= units[0]["broken"][0].keys()
    text = called(*told, "--capacitance-uf", "16", "--valve", "5Y3-GT").stdout
    assert text.startswith("Before you connect it: unplug")
    assert f"Direct voltage {units[0]['dc_v']:.4g} V" in text
    assert units[0]["line"] is None
    now = ("--line-now-v", "122", "--line-now-hz", "50", "--format", "json")
    line = json.loads(called(*told, "--capacitance-uf", "16", *now).stdout)[0]["line"]
    assert line["flux_ratio"] == pytest.approx(122 / 115 * 60 / 50)


def test_heater_windings_and_what_stands_in_series_come_from_tables(called: Run, told: tuple[str, ...], tmp_path: Path):
    lines = ("load,count,use,ohm,average_ma", "6V6,2,push-pull,,", "coil,1,series,900,", "VR150,1,regulator,,5")
    loads = str(table(tmp_path / "loads.csv", *lines))
    read = str(table(tmp_path / "heaters.csv", "unit,heater,no_load_v,ohm", "U-01,green,6.9,0.09", ",yellow,5.4,0.1"))
    asked = (*told, "--loads", loads, "--capacitance-uf", "16", "--heater-windings", read)
    first, second = json.loads(called(*asked, "--format", "json").stdout)
    assert [one["name"] for one in first["heater_windings"]] == ["yellow", "green"]
    assert [one["name"] for one in second["heater_windings"]] == ["yellow"]
    assert first["heat_budget"].keys() >= {"rated_w", "drawn_w", "left_w", "hv_share", "hv_ma"}
    assert first["series"][0]["drop_v"] == pytest.approx(0.9 * first["worst_ma"])
    assert first["set_v"] == pytest.approx(first["dc_v"] - 0.9 * first["average_ma"])
    assert first["regulators"][0].keys() >= {"ohm", "tube_low_ma", "tube_high_ma", "watts", "works"}


def test_a_set_that_draws_nothing_or_too_much_is_answered(called: Run, told: tuple[str, ...], tmp_path: Path):
    loads = table(tmp_path / "loads.csv", "load,heater_v,heater_a,average_ma", "lamp,6.3,0.15,")
    assert "It draws no direct current" in called(*told, "--loads", str(loads), "--capacitance-uf", "16").stdout
    loads = table(tmp_path / "loads.csv", "load,average_ma", "set,5000")
    done = called(*told, "--loads", str(loads), "--capacitance-uf", "16", "--format", "json")
    assert [one["dc_v"] for one in json.loads(done.stdout)] == [None, None]


def test_each_fault_is_one_line_with_its_place(called: Run, told: tuple[str, ...], tmp_path: Path):
    done = called(*told)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "calib demand, capacitance_uf (empty): filter 'capacitor' needs its capacitor; give the first capacitor in µF\n"
    )
    loads = str(table(tmp_path / "loads.csv", "load,count,average_ma,ohm", "6V7x,1,,", "bleeder,,5,47000"))
    read = str(table(tmp_path / "read.csv", "unit,no_load_v,ohm", "Z-9,6.9,0.09", "U-01,6900,"))
    done = called(*told, "--loads", loads, "--capacitance-uf", "16u", "--heater-windings", read)
    assert [line.split(": ")[0] for line in done.stderr.splitlines()] == [
        f"{loads}, row 2, load '6V7x'",
        f"{loads}, row 3, ohm '47000'",
        "calib demand, capacitance_uf '16u'",
        f"{read}, row 3, no_load_v '6900'",
    ]
