"""``calib supply``: its JSON, its text and what it refuses."""

from __future__ import annotations

import json
import math

import pytest

from tests.show.conftest import Run

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


def test_text_has_a_line_with_its_unit_for_each_quantity(called: Run) -> None:
    lines = called("supply", *words_of(SOUND)).stdout.splitlines()
    assert lines[0].startswith("bridge")
    assert "  direct voltage                 261.1 V" in lines
    assert "  peak of one rectifier          94.25 mA" in lines


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
        ("--valve", "6V6", "valve '6V6': is not in the table of rectifier valves"),
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
