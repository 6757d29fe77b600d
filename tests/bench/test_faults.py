"""Faults and their signatures: each found where it is, and none in a clean unit."""

from __future__ import annotations

import dataclasses
import math
import re
from dataclasses import replace

import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench.faults import (
    FaultSigns,
    HalfReadings,
    UnloadedReading,
    WindingReading,
    findings,
)
from calib.bench.insulation import InsulationTest
from tests.counts import FEW

# A sound unit of the fictional Alder Lane workshop.
CLEAN = FaultSigns(
    halves=HalfReadings((13.88, 13.85), (148.2, 171.9)),
    unloaded=UnloadedReading(exciting_ma=101.0, full_load_ma=703.0, watts=6.4, iron_w=6.4, rise_k=12.0),
    windings=(
        WindingReading("HV", (320.4,), (148.2, 171.9), 0.8, 310.0, 653.5, 653.5),
        WindingReading("primary", (5.36, 5.37, 5.36), (), 0.05, 5.2, 117.0, 117.0),
    ),
    ratio_gap=-0.004,
    coupling=0.995,
    core_ohm=math.inf,
    insulation=(InsulationTest("HV to core", 180.0, temp_c=14.0),),
)


def what(signs: FaultSigns) -> list[str]:
    return [finding.what for finding in findings(signs)]


def with_winding(**changes: object) -> FaultSigns:
    return replace(CLEAN, windings=(replace(CLEAN.windings[0], **changes), CLEAN.windings[1]))


def test_a_clean_unit_has_no_finding():
    assert findings(CLEAN) == ()


def test_a_unit_of_which_nothing_was_read_has_no_finding():
    assert findings(FaultSigns()) == ()


HALVES, IDLE = CLEAN.halves, CLEAN.unloaded
CASES = [
    (replace(CLEAN, halves=replace(HALVES, volts=(13.88, 13.50))), "Unequal halves", "stop", "2.8% apart"),
    (replace(CLEAN, halves=replace(HALVES, volts=(13.88, 13.70))), "Unequal halves", "doubt", "1.3% apart"),
    (replace(CLEAN, halves=replace(HALVES, volts=(0.02, 27.7))), "Swapped lead", "stop", "0.02 and 27.7 V"),
    (
        replace(CLEAN, halves=HalfReadings((13.88, 13.85), (100.0, 121.0))),
        "Halves of unlike resistance",
        "doubt",
        "21% above the other's; the limit is 20%",
    ),
    (replace(CLEAN, halves=replace(HALVES, ohms=(100.0, math.inf))), "Open winding", "stop", "one side of the tap"),
    (replace(CLEAN, unloaded=replace(IDLE, exciting_ma=250.0)), "Draws much without load", "doubt", "36% of full load"),
    (replace(CLEAN, unloaded=replace(IDLE, watts=13.0)), "Draws much without load", "doubt", "2.0 times the iron's"),
    (replace(CLEAN, unloaded=replace(IDLE, rise_k=25.0)), "Shorted turn suspected", "stop", "25 K warmer"),
    (
        replace(CLEAN, unloaded=replace(IDLE, lamp_bright=True)),
        "Shorted turn suspected",
        "stop",
        "a lamp in series stays bright",
    ),
    (replace(CLEAN, unloaded=replace(IDLE, alarms=("smoke",))), "Shorted turn suspected", "stop", "smoke"),
    (replace(CLEAN, bond_ohm=0.11), "Earth bond", "stop", "0.11 ohm from protective earth"),
    (replace(CLEAN, ratio_gap=-0.05), "Shorted turn suspected", "doubt", "ratio 5.0% low"),
    (replace(CLEAN, coupling=0.96), "Shorted turn suspected", "doubt", "coupling 0.960, limit 0.97"),
    (with_winding(ohms=(math.inf,)), "Open winding", "stop", "HV reads over 1 Mohm"),
    (with_winding(ohms=(320.4, 331.0)), "Unsteady resistance", "doubt", "320.4 to 331 ohm"),
    (with_winding(ohms=(312.0,)), "Parallel path", "doubt", "312 ohm end to end and 320.1 ohm in parts"),
    (with_winding(ohms=(328.0,)), "Parts that do not add up", "doubt", "328 ohm end to end"),
    (with_winding(ohms=(160.0,), parts_ohm=()), "Parallel path", "doubt", "52% of the 310 ohm expected"),
    (replace(CLEAN, core_ohm=2200.0), "Continuity to the core", "stop", "2200 ohm"),
    (
        replace(CLEAN, insulation=(InsulationTest("HV to core", 5.0),)),
        "Insulation: stop until explained",
        "stop",
        "5 Mohm",
    ),
    (replace(CLEAN, insulation=(InsulationTest("HV to core", 50.0),)), "Insulation: dry out", "doubt", "50 Mohm"),
]


@pytest.mark.parametrize(("signs", "name", "severity", "numbers"), CASES)
def test_a_fault_alone_is_found_alone_with_its_numbers(signs, name, severity, numbers):
    (finding,) = findings(signs)
    assert (finding.what, finding.severity) == (name, severity)
    assert numbers in finding.why
    assert finding.remedy.endswith(".")


def test_a_pair_of_parts_is_judged_by_the_highest_voltage_that_it_passed():
    def test(volts: float, megohm: float = 300.0) -> InsulationTest:
        return InsulationTest("HV to rectifier heater", megohm, volts, stress_v=1089.0)

    (doubt,) = findings(FaultSigns(insulation=(test(250.0), test(1000.0), test(500.0))))
    assert (doubt.severity, doubt.why) == ("doubt", "HV to rectifier heater: passed at 1000 V, works at 1089 V")
    assert (
        findings(FaultSigns(insulation=(replace(test(1000.0), stress_v=902.0), replace(test(500.0), stress_v=902.0))))
        == ()
    )
    low = findings(FaultSigns(insulation=(test(500.0, 40.0), test(1000.0))))
    assert [one.what for one in low] == [
        "Insulation: dry out",
        "Tested harder than it should be",
        "Insulation not proven at what it works at",
    ]


def test_current_watts_and_ratio_together_are_doubts_and_never_condemn():
    """Of 27 sound catalogue units the largest drew 41 % of full load; a sound one at its knee 12 % of its VA."""
    much = replace(CLEAN, ratio_gap=-0.05, coupling=0.9, unloaded=replace(IDLE, exciting_ma=680.0, watts=60.0))
    found = findings(much)
    assert {finding.severity for finding in found} == {"doubt"}
    assert "60 Hz unit on 50 Hz" in found[0].remedy
    assert "Read it again at 85% of the line" in found[0].remedy


@pytest.mark.parametrize(
    ("power", "name", "remedy"),
    [
        (3.0, "Iron worked at its knee", "runs the hotter for it"),
        (1.0, "Shorted turn suspected", "do not load it before this is explained"),
        (1.6, "Draws much without load", "half an hour without load before you load it"),
    ],
)
def test_the_second_reading_at_a_lower_line_tells_a_knee_from_a_shorted_turn(power, name, remedy):
    idle = replace(IDLE, exciting_ma=300.0, volts=117.0, low_volts=0.85 * 117.0, low_ma=300.0 * 0.85**power)
    assert bench.knee_power(idle) == pytest.approx(power)
    (finding,) = findings(replace(CLEAN, unloaded=idle))
    assert (finding.what, finding.severity) == (name, "doubt")
    assert f"the power {power:.1f}" in finding.why
    assert remedy in finding.remedy
    assert findings(replace(CLEAN, unloaded=replace(idle, exciting_ma=200.0))) == ()


@pytest.mark.parametrize(("low_v", "low_ma"), [(115.0, 200.0), (60.0, 100.0), (99.0, 300.0), (math.nan, 200.0)])
def test_a_second_reading_that_tells_nothing_is_asked_for_again(low_v, low_ma):
    idle = replace(IDLE, exciting_ma=300.0, volts=117.0, low_volts=low_v, low_ma=low_ma)
    assert math.isnan(bench.knee_power(idle))
    (finding,) = findings(replace(CLEAN, unloaded=idle))
    assert "Read it again at 85%" in finding.remedy


def test_what_a_pass_cannot_show_is_what_one_closed_turn_adds():
    """0.26 V into 0.09 ohm: 0.75 W, which on 117 V are 6.4 mA."""
    watts = 0.26**2 / 0.09
    assert f"{watts:.2f} W" in bench.PASS_PROVES_LITTLE
    assert f"{1000.0 * watts / 117.0:.1f} mA" in bench.PASS_PROVES_LITTLE


@pytest.mark.parametrize(("ohm", "found"), [(0.0, []), (0.4 - 0.3, []), (0.11, ["Earth bond"])])
def test_the_bond_to_earth_reads_at_most_a_tenth_of_an_ohm(ohm, found):
    assert what(FaultSigns(bond_ohm=ohm)) == found


def test_worked_limit_of_parts_that_add_up():
    """u 0.8 ohm each, so 2 sqrt 3 x 0.8 = 2.7713 ohm is let pass on either side of 320.1 ohm."""
    for ohm, found in ((320.1 - 2.77, []), (320.1 - 2.78, ["Parallel path"]), (320.1 + 2.77, [])):
        assert what(with_winding(ohms=(ohm,))) == found
    assert what(with_winding(ohms=(320.1 + 2.78,))) == ["Parts that do not add up"]


def test_an_ordinary_meter_is_taken_where_no_uncertainty_is_given():
    # 0.8 % of 320.4, 148.2 and 171.9 ohm together: 3.139 ohm, twice that 6.28 ohm.
    loose = {"u_ohm": math.nan}
    assert what(with_winding(ohms=(314.0,), **loose)) == []
    assert what(with_winding(ohms=(313.0,), **loose)) == ["Parallel path"]


def test_a_low_resistance_at_a_low_voltage_is_no_parallel_path():
    assert what(with_winding(ohms=(160.0,), parts_ohm=(), volts=330.0)) == []


def test_the_gravest_comes_first():
    signs = replace(with_winding(ohms=(312.0,)), core_ohm=10.0, coupling=0.9)
    found = findings(signs)
    assert [finding.severity for finding in found] == ["stop", "doubt", "doubt"]
    assert found[0].what == "Continuity to the core"


def test_an_open_winding_says_what_a_voltage_on_it_means():
    (finding,) = findings(with_winding(ohms=(math.inf,)))
    assert "green spot" in finding.remedy
    assert "100 kohm" in finding.remedy


@FEW
@given(st.floats(1.0, 0.34 * 703.0), st.floats(0.5, 12.7), st.floats(0.0, 24.0))
def test_an_ordinary_iron_is_no_short(current, watts, rise):
    """Anything under 35 % of full load, twice the usual loss and 25 K is let pass."""
    assert findings(replace(CLEAN, unloaded=UnloadedReading(current, 703.0, watts, 6.4, rise))) == ()


def test_the_usual_loss_comes_from_the_core():
    """Sheets of 1.14866 kg at 1.1 T, 60 Hz, old radio steel at most: 1.149 kg x 3.0 x 1.21 W/kg = 4.17 W."""
    usual = bench.core_sheets(28.0).iron_mass_kg(33.6) * bench.iron_loss_w_kg(
        bench.LOSS_W_KG["old radio steel"][1], 1.1, 60.0
    )
    assert usual == pytest.approx(1.14866 * 3.0 * 1.1**2, rel=1e-5)
    assert what(FaultSigns(unloaded=UnloadedReading(watts=8.2, iron_w=usual))) == []
    assert what(FaultSigns(unloaded=UnloadedReading(watts=8.5, iron_w=usual))) == ["Draws much without load"]


def test_findings_are_frozen():
    (finding,) = findings(replace(CLEAN, core_ohm=1.0))
    with pytest.raises(dataclasses.FrozenInstanceError):
        finding.severity = "doubt"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: findings(FaultSigns(halves=HalfReadings((-1.0, 1.0)))), "voltage of a half is -1.0 V"),
        (lambda: findings(FaultSigns(halves=HalfReadings(ohms=(-2.0, 1.0)))), "resistance of a half is -2.0 ohm"),
        (lambda: findings(FaultSigns(unloaded=UnloadedReading(exciting_ma=-1.0))), "exciting current is -1.0 mA"),
        (lambda: findings(FaultSigns(unloaded=UnloadedReading(watts=-2.0))), "no-load watts is -2.0 W"),
        (lambda: findings(FaultSigns(unloaded=UnloadedReading(full_load_ma=0.0))), "full-load current is 0.0 mA"),
        (lambda: findings(FaultSigns(unloaded=UnloadedReading(iron_w=0.0))), "iron loss is 0.0 W"),
        (lambda: findings(FaultSigns(windings=(WindingReading("HV", (-1.0,)),))), "resistance of HV is -1.0 ohm"),
        (lambda: findings(FaultSigns(core_ohm=-1.0)), "resistance to the core is -1.0 ohm"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
