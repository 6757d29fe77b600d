"""``calib supply``: its JSON, its text and what it refuses."""

from __future__ import annotations

import json
import math

import pytest

from tests.cli.conftest import Run

SOUND = {
    "--rectifier": "bridge",
    "--filter": "none",
    "--volts": "300",
    "--source-ohm": "150",
    "--capacitance-uf": "16",
    "--load-ma": "60",
    "--frequency-hz": "50",
}
KEYS = {"dc_v", "ripple_v_pp", "winding_rms_ma", "peak_ma", "conduction_deg"}
KEYS |= {"critical_ma", "bleeder_ohm", "broken", "not_told", "flags"}
VALVE = SOUND | {"--rectifier": "full-wave", "--filter": "capacitor", "--source-ohm": "60"}
CHOKE = VALVE | {"--filter": "choke", "--choke-h": "10", "--load-ma": "5"}


def words_of(options: dict[str, str]) -> list[str]:
    return [f"{option}={value}" for option, value in options.items()]


def test_json_of_a_bridge_without_a_filter_is_the_rectified_sine(called: Run) -> None:
    """In the head: the mean of |sin| is 2/pi of its peak, its rms 1/sqrt 2; the source drops its share."""
    done = called("supply", *words_of(SOUND), "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert told.keys() >= KEYS
    assert told["dc_v"] == pytest.approx(300 * math.sqrt(2) * 2 / math.pi - 0.060 * 150, rel=1e-9)
    assert told["winding_rms_ma"] == pytest.approx(60 * math.pi / 2 / math.sqrt(2), rel=1e-9)
    assert told["peak_ma"] == pytest.approx(60 * math.pi / 2, rel=1e-9)
    assert told["conduction_deg"] == pytest.approx(180, abs=0.001)
    blank = {name: told[name] for name in ("critical_ma", "bleeder_ohm", "broken", "not_told", "flags")}
    assert blank == {"critical_ma": None, "bleeder_ohm": None, "broken": [], "not_told": [], "flags": ""}


def test_text_has_a_line_with_its_unit_for_each_quantity(called: Run) -> None:
    lines = called("supply", *words_of(SOUND)).stdout.splitlines()
    assert lines[0].startswith("bridge")
    assert "  direct voltage                 261.1 V" in lines
    assert "  peak of one rectifier          94.25 mA" in lines


def test_a_valve_beyond_its_limits_is_said_first_and_in_json(called: Run) -> None:
    """5Y3-GT: 125 mA, 375 mA peak and 20 µF at most; asked by a type that is its equivalent."""
    asked = words_of(VALVE | {"--valve": "6087", "--load-ma": "200", "--capacitance-uf": "100"})
    done = called("supply", *asked, "--format", "json")
    told = json.loads(done.stdout)
    broken = {one["limit"]: one for one in told["broken"]}
    assert (done.returncode, told["valve"], told["not_told"]) == (0, "5Y3-GT", [])
    assert set(broken) == {"direct-current", "peak-current", "first-capacitor"}
    assert broken["direct-current"] | {"value": 200, "allowed": 125} == broken["direct-current"]
    mended = {one["how"]: one for one in told["mendings"]}
    assert {"direct-current"} <= set(mended["solid-state"]["mends"])
    assert {"limit", "value", "allowed", "remedy"} <= broken["peak-current"].keys()
    lines = called("supply", *asked).stdout.splitlines()
    assert "unplug, discharge every capacitor" in lines[1]
    assert lines[2] == "Beyond its limit:"
    assert lines[3].startswith("  direct current 200 mA, at most 125 mA: draw at most 125 mA")
    assert "at most 375 mA (unverified)" in lines[4]
    assert [line for line in lines if line.startswith("Kept: source resistance of one plate 60 ohm, at least 50 ohm")]


def test_a_load_below_the_critical_current_is_told_what_the_capacitors_see(called: Run) -> None:
    """300 V: the peak is 424.3 V, the mean 270.1 V; 2 pi x 50 x 10 over 0.330674 is 9500.6 ohm, so 28.43 mA."""
    done = called("supply", *words_of(CHOKE), "--capacitor-volts", "400", "--format", "json")
    told = json.loads(done.stdout)
    assert told["critical_ma"] == pytest.approx(28.43, abs=0.005)
    assert told["bleeder_ohm"] == pytest.approx(math.pi * 1000 / 0.331, rel=1e-6)
    assert [one["limit"] for one in told["broken"]] == ["capacitor-voltage", "critical-current"]
    text = called("supply", *words_of(CHOKE)).stdout
    assert (
        "with no load to 424.3 V (√2 x 300 V), which the capacitors must stand; a bleeder of at most 9400 ohm" in text
    )
    assert "critical" not in called("supply", *words_of(CHOKE | {"--load-ma": "40"})).stdout
    assert "Beyond" not in called("supply", *words_of(CHOKE | {"--load-ma": "40"})).stdout


def test_a_fuse_in_the_windings_lead_says_what_it_rests_on(called: Run) -> None:
    """60 mA through a bridge without a filter are 66.64 mA rms: 1.5 times that is 99.96."""
    (line,) = [one for one in called("supply", *words_of(SOUND)).stdout.splitlines() if "fuse" in one]
    assert line.split()[:6] == ["fuse", "in", "the", "winding's", "lead", "100"]
    assert line.endswith("mA time-lag, made for these volts: 1.5 to 2 times the rms current there (judgement)")


def test_a_capacitor_does_not_matter_without_a_filter(called: Run) -> None:
    without = {option: value for option, value in SOUND.items() if option != "--capacitance-uf"}
    assert called("supply", *words_of(without)).stdout == called("supply", *words_of(SOUND)).stdout


def test_a_valve_and_a_drop_lower_the_voltage(called: Run) -> None:
    def volts(**more: str) -> float:
        options = SOUND | {"--filter": "capacitor"} | {f"--{name.replace('_', '-')}": more[name] for name in more}
        return float(json.loads(called("supply", *words_of(options), "--format", "json").stdout)["dc_v"])

    assert volts(valve="5Y3") < volts(diode_drop_v="1") < volts()


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--volts", "300V", "volts '300V': is not a number"),
        ("--volts", "1_000", "volts '1_000': is not a number"),
        ("--volts", "nan", "volts 'nan': is not a number"),
        ("--volts", "-300", "volts '-300': is not above 0 to 10000 V"),
        ("--frequency-hz", "5e0", "frequency_hz '5e0': is not from 10 to 1000 Hz"),
        ("--rectifier", "none", "rectifier 'none': does not go with filter 'none'"),
        ("--filter", "coil", "rectifier 'bridge': does not go with filter 'coil'"),
        ("--choke-h", "10", "choke_h '10': filter 'none' has no input choke"),
        ("--valve", "6V6", "valve '6V6': is not in the table of rectifier valves; did you mean 6V4 (as EZ80)? If not,"),
        ("--valve", "EZ40", "diode_drop_v (empty): the table does not tell what EZ40 drops; give the drop"),
        ("--load-ma", "90000", "load_ma '90000': is more than this source can give"),
    ],
)
def test_a_wrong_option_is_one_line(called: Run, option: str, value: str, told: str) -> None:
    done = called("supply", *words_of(SOUND | {option: value}))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith(f"calib supply, {told}")


def test_every_fault_is_told_at_once(called: Run) -> None:
    done = called("supply", *words_of(SOUND | {"--volts": "high", "--load-ma": "-1", "--choke-h": "10"}))
    columns = {line.split(", ")[1].split(" ")[0] for line in done.stderr.splitlines()}
    assert (done.returncode, columns) == (2, {"volts", "load_ma", "choke_h"})
