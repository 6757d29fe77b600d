"""The exact solver against an adaptive integrator that shares nothing with it, marched until it repeats."""

from __future__ import annotations

import math

import pytest

from calib.supply.rectifier import steady_state
from calib.supply.valves import rectifier_valve
from tests.scenes.integrated import Reference, marched

VOLTS, HERTZ, LOAD_OHM = 300.0, 50.0, 4000.0
OMEGA = 2 * math.pi * HERTZ


def compare(rectifier, filter, r, w, cycles=60, **more):
    henry, valve = more.get("henry", 0.0), more.get("valve")
    supply = Reference(
        rectifier,
        filter,
        VOLTS,
        r * LOAD_OHM,
        w / OMEGA / LOAD_OHM,
        LOAD_OHM,
        HERTZ,
        henry,
        more.get("drop_v", 0.0),
        rectifier_valve(valve).perveance if valve else 0.0,
    )
    reference = marched(supply, cycles)
    state = steady_state(
        rectifier,
        filter,
        VOLTS,
        supply.source_ohm,
        supply.farad * 1e6,
        reference["load_ma"],
        HERTZ,
        choke_h=henry or None,
        diode_drop_v=supply.drop_v,
        valve=valve,
    )
    for name, value in reference.items():
        assert getattr(state, name) == pytest.approx(value, rel=1e-3), name


@pytest.mark.parametrize("rectifier", ["full-wave", "half-wave", "doubler"])
@pytest.mark.parametrize(("r", "w"), [(0.005, 3.0), (0.02, 30.0), (0.05, 10.0), (0.1, 100.0), (0.2, 1.0)])
def test_capacitor_input_with_diodes(rectifier, r, w):
    compare(rectifier, "capacitor", r, w)


def test_a_constant_drop():
    compare("half-wave", "capacitor", 0.04, 12.0, drop_v=15.0)


@pytest.mark.parametrize(
    ("rectifier", "henry"),
    [("full-wave", 0.3), ("full-wave", 2.0), ("full-wave", 10.0), ("half-wave", 0.4), ("half-wave", 3.0)],
)
def test_choke_input_with_diodes(rectifier, henry):
    compare(rectifier, "choke", 0.04, 15.0, henry=henry)


@pytest.mark.parametrize("rectifier", ["full-wave", "half-wave", "doubler"])
@pytest.mark.parametrize(("r", "w", "valve"), [(0.03, 20.0, "5Y3"), (0.06, 8.0, "GZ34")])
def test_capacitor_input_with_valves(rectifier, r, w, valve):
    compare(rectifier, "capacitor", r, w, valve=valve)


@pytest.mark.parametrize(("rectifier", "henry"), [("full-wave", 1.0), ("full-wave", 8.0), ("half-wave", 1.0)])
def test_choke_input_with_valves(rectifier, henry):
    compare(rectifier, "choke", 0.04, 15.0, henry=henry, valve="5U4-GB")
