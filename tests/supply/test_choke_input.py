"""Choke input: the critical inductance, the limits on both sides of it, and what a half-wave rectifier makes of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from calib.supply import choke_input
from calib.supply.rectifier import critical_inductance, steady_state

BASE = {"volts": 300.0, "source_ohm": 0.0, "capacitance_uf": 1e6, "load_ma": 80.0, "frequency_hz": 50.0}
LOAD_OHM = 300 * 2 * math.sqrt(2) / math.pi / 0.08


def choke(rectifier="full-wave", **changes):
    return steady_state(rectifier, "choke", **(BASE | changes))


@pytest.mark.parametrize(("hertz", "henry"), [(60.0, 3.28928), (50.0, 3.94713)])
def test_critical_inductance_of_3750_ohm(hertz, henry):
    """Worked value T4.3: omega L = 0.330674 load resistance."""
    assert critical_inductance(3750.0, hertz) == pytest.approx(henry, abs=6e-6)


@pytest.mark.parametrize(("x", "stops"), [(0.33066, True), (0.33069, False)])
def test_the_current_stops_just_below_the_critical_inductance(x, stops):
    unit = np.ones(1)
    _, never_stops = choke_input.continuous(0 * unit, 1e5 * unit, x * unit, 0 * unit)
    assert bool(never_stops[0]) is not stops


@pytest.mark.parametrize(("over", "factor"), [(1.0, 1.23031), (2.0, 1.06227), (1e3, 1.0)])
def test_winding_current_above_the_critical_inductance(over, factor):
    """Worked values of the ripple factor, sqrt(1 + 0.51367 (critical/choke)^2); a half carries 1 / sqrt 2 of it."""
    henry = over * 1.00001 * critical_inductance(LOAD_OHM, 50.0)
    state = choke(choke_h=henry)
    assert state.winding_rms_per_dc == pytest.approx(factor / math.sqrt(2), rel=2e-5)
    assert choke("bridge", choke_h=henry).winding_rms_per_dc == pytest.approx(factor, rel=2e-5)
    assert state.conduction_deg == pytest.approx(180.0, abs=1e-3)


def test_voltage_above_the_critical_inductance():
    """0.90032 volts - current * (source + choke + rectifier's drop)."""
    state = choke(choke_h=10.0, source_ohm=140.0, choke_ohm=90.0, diode_drop_v=1.0, capacitance_uf=16.0)
    assert state.dc_v == pytest.approx(0.900316 * 300 - 0.08 * 230 - 1.0, rel=1e-6)


@pytest.mark.parametrize("rectifier", ["full-wave", "bridge", "half-wave"])
def test_no_choke_is_the_capacitor_inputs_limit(rectifier):
    values = BASE | {"source_ohm": 150.0, "capacitance_uf": 20.0}
    limit = steady_state(rectifier, "capacitor", **values)
    gaps = []
    for henry in (0.1, 1e-2, 1e-4):
        state = steady_state(rectifier, "choke", choke_h=henry, **values)
        gaps.append(abs(state.dc_v - limit.dc_v) + abs(state.winding_rms_ma - limit.winding_rms_ma))
    assert gaps[0] > gaps[1] > gaps[2]
    assert state.dc_v == pytest.approx(limit.dc_v, rel=1e-3)
    assert state.winding_rms_ma == pytest.approx(limit.winding_rms_ma, rel=1e-3)
    assert state.peak_ma == pytest.approx(limit.peak_ma, rel=1e-3)
    assert state.conduction_deg == pytest.approx(limit.conduction_deg, rel=2e-2)


def test_voltage_falls_from_capacitor_input_to_choke_input_as_the_choke_grows():
    levels = [choke(choke_h=henry, source_ohm=100.0, capacitance_uf=30.0).dc_v for henry in (0.05, 0.3, 1.5, 3.0, 8.0)]
    assert levels == sorted(levels, reverse=True)
    assert levels[-1] == pytest.approx(0.900316 * 300 - 8.0, rel=1e-5)


def test_a_large_choke_after_one_rectifier_leaves_little_voltage():
    """Over a whole cycle the choke's own voltage averages zero, so that dc = mean of the emf while conducting."""
    states = [choke("half-wave", choke_h=henry, source_ohm=100.0, capacitance_uf=30.0) for henry in (0.5, 4.0, 9.0)]
    assert [state.dc_v for state in states] == sorted((state.dc_v for state in states), reverse=True)
    assert [state.conduction_deg for state in states] == sorted(state.conduction_deg for state in states)
    assert states[-1].conduction_deg > 180.0


@settings(deadline=None, max_examples=25)
@given(
    st.sampled_from([math.pi, 2 * math.pi]),
    st.floats(0.005, 0.15),
    st.floats(1.0, 300.0),
    st.floats(-2, 0.5).map(lambda power: 10.0**power),
)
def test_charge_and_power_balance(period, source, reactance, henry):
    cases = (np.array([source]), np.array([reactance]), np.array([henry]), np.zeros(1))
    _, one, there = choke_input.choke_pulse(period, *cases)
    if not there[0] or not choke_input.blocks_once(one)[0]:
        return  # more than a half-wave source can push through that choke, or it rings: refused elsewhere
    measures = {name: values[0] for name, values in choke_input.measures(one).items()}
    assert measures["mean"] == pytest.approx(measures["dc"], rel=1e-6)
    used = measures["dc"] ** 2 + measures["ripple_rms"] ** 2 + one.r[0] * measures["rms"] ** 2
    assert measures["power"] == pytest.approx(used, rel=1e-6)


@pytest.mark.parametrize("henry", [1e-5, 1e-2, 1.0, 10.0])
def test_a_choke_with_next_to_no_capacitor(henry):
    """Choke and load alone: the current never stops and its mean is that of the emf over all resistance."""
    state = choke(choke_h=henry, source_ohm=150.0, capacitance_uf=1e-6)
    assert state.dc_v == pytest.approx(0.900316 * 300 - 0.08 * 150, rel=1e-5)
    assert state.conduction_deg == pytest.approx(180.0, abs=1e-3)
