"""Rectifier valves: their table, the 3/2-power law, and the steady state that follows from it."""

from __future__ import annotations

import json

import frictionless
import numpy as np
import pytest

from calib.errors import InputError
from calib.places import shipped
from calib.supply.rectifier import steady_state
from calib.supply.valve_wave import current_through
from calib.supply.valves import rectifier_valve, rectifier_valves


def test_the_data_package_is_valid():
    report = frictionless.validate(str(shipped("datasets/valves/datapackage.json")))
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    descriptor = json.loads(shipped("datasets/valves/datapackage.json").read_text(encoding="utf-8"))
    assert [resource["path"] for resource in descriptor["resources"]] == ["rectifiers.csv"]


def test_each_valve_drops_what_its_row_says():
    valves = rectifier_valves()
    assert len(valves) == 10
    for valve in valves.values():
        if valve.law == "power-3/2":
            assert valve.perveance * valve.drop_v**1.5 == pytest.approx(valve.at_ma / 1000)
        else:
            assert valve.perveance == float("inf")


def test_perveance_of_the_5y3():
    """Worked value: 60 V at 125 mA is 2.6896e-4 A/V^1.5."""
    assert rectifier_valve("5Y3-GT").perveance == pytest.approx(2.6896e-4, rel=2e-5)


@pytest.mark.parametrize("name", ["5Y3-GT", "5y3gt", "5Y3", " 5y3 G "])
def test_a_type_number_may_be_written_in_more_ways(name):
    assert rectifier_valve(name).name == "5Y3-GT"


def test_an_unknown_valve_is_refused_with_the_list():
    with pytest.raises(
        InputError, match=r"valve '5AR9': is not in the table of rectifier valves; give one of: 5Y3-GT, 80"
    ):
        rectifier_valve("5AR9")


def test_current_through_resistance_and_valve_obeys_both_laws():
    volts, ohm, perveance = np.array([0.0, 1e-6, 3.0, 80.0]), np.array([0.0, 50.0, 0.5, 900.0]), 2.7e-4
    current = current_through(volts, ohm, np.full(4, perveance))
    assert ohm * current + (current / perveance) ** (2 / 3) == pytest.approx(volts, rel=1e-12)


def test_the_5y3_after_a_worked_winding():
    """Worked value T4.7, the true law: 321.140 V and 1.59106 of both halves together, with the load of 3750 ohm."""
    state = steady_state("full-wave", "capacitor", 326.7525, 136.1053, 16.0, 321.140 / 3.75, 60.0, valve="5Y3-GT")
    assert state.dc_v == pytest.approx(321.140, rel=3e-6)
    assert state.winding_rms_per_dc * 2**0.5 == pytest.approx(1.59106, rel=5e-6)
    assert state.load_ohm == pytest.approx(3750.0, rel=5e-6)


def test_the_chord_resistance_at_the_peak_is_near_the_law():
    """Worked value T4.7: 374.143 ohm gives 326.579 V and 1.55357, 1.7 % high and 2.4 % low against the law."""
    load = 326.579 / 3.75
    chord = steady_state("full-wave", "capacitor", 326.7525, 136.1053 + 374.143, 16.0, load, 60.0)
    assert chord.dc_v == pytest.approx(326.579, rel=3e-6)
    assert chord.winding_rms_per_dc * 2**0.5 == pytest.approx(1.55357, rel=5e-6)
    drop = (chord.peak_ma / 1000 / rectifier_valve("5Y3").perveance) ** (2 / 3)
    assert drop / chord.peak_ma * 1000 == pytest.approx(374.143, rel=1e-4)


@pytest.mark.parametrize("rectifier", ["full-wave", "bridge"])
def test_a_steady_current_drops_what_the_law_says(rectifier):
    """With a very large choke the plate current is the load current: dc = mean emf less the drop at it."""
    state = steady_state(rectifier, "choke", 300.0, 0.0, 100.0, 125.0, 50.0, choke_h=5e3, valve="5Y3")
    drops = 60.0 * (2 if rectifier == "bridge" else 1)
    assert state.dc_v == pytest.approx(0.900316 * 300 - drops, rel=1e-5)


def test_a_mercury_valve_is_a_constant_drop():
    values = ("full-wave", "capacitor", 300.0, 100.0, 16.0, 100.0, 50.0)
    assert steady_state(*values, valve="83") == steady_state(*values, diode_drop_v=15.0)


@pytest.mark.parametrize(
    ("rectifier", "filter"), [("full-wave", "capacitor"), ("half-wave", "capacitor"), ("doubler", "capacitor")]
)
def test_the_less_a_valve_drops_the_nearer_it_is_to_an_ideal_diode(rectifier, filter):
    ideal = steady_state(rectifier, filter, 300.0, 200.0, 30.0, 40.0, 50.0)
    drops = [
        ideal.dc_v - steady_state(rectifier, filter, 300.0, 200.0, 30.0, 40.0, 50.0, valve=valve).dc_v
        for valve in ("5Y3", "6X4", "5V4", "GZ34")
    ]
    assert drops == sorted(drops, reverse=True)
    assert drops[-1] > 0
