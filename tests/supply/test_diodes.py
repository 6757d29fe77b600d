"""Diodes: worked tables, limits, balance of charge and power, and an adaptive integrator that shares nothing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy.optimize import elementwise

from calib.supply import diodes
from calib.supply.periodic import PerUnit
from calib.supply.steady_state import critical_inductance, steady_state
from calib.supply.valves import rectifier_valve
from tests.counts import share
from tests.scenes.integrated import Reference, settled

PERIODS = {"full_wave": math.pi, "half_wave": 2 * math.pi}
FIGURES = ("dc_over_peak", "rms_over_dc", "peak_over_dc", "ripple_pct")


def figures(measures: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The quantities that the worked tables print."""
    dc = measures["dc"]
    parts = (dc, measures["rms"] / dc, measures["peak"] / dc, 100 * measures["ripple_rms"] / dc)
    return dict(zip(FIGURES, parts, strict=True))


def cases(period, source, reactance, choke=0.0, d=0.0, kind="capacitor"):
    parts = np.broadcast_arrays(*(np.atleast_1d(np.asarray(one, float)) for one in (source, reactance, choke, d)))
    return PerUnit(*(one.copy() for one in parts), np.full(parts[0].shape, np.inf), period, kind)


def at_load(period, r, w, d=0.0, kind="capacitor"):
    """The pulse at a load resistance that is known: of all currents the one that such a load draws."""

    def excess(level, r, w):
        return diodes.stopping(cases(period, r * level, w / level, d=d, kind=kind))[0].ratio - level

    r, w = np.atleast_1d(np.asarray(r, float)), np.atleast_1d(np.asarray(w, float))
    top = (2 if kind == "doubler" else 1) * (1 - d)
    level = elementwise.find_root(excess, (1e-3 + 0 * r, top + 0 * r), args=(r, w), tolerances={"xrtol": 1e-10}).x
    one, found = diodes.stopping(cases(period, r * level, w / level, d=d, kind=kind))
    assert found.all()
    return one, diodes.measures(one)


@pytest.mark.parametrize(
    ("name", "kind"), [("full_wave", "capacitor"), ("half_wave", "capacitor"), ("doubler", "doubler")]
)
def test_every_cell_of_the_worked_table(name, kind, worked, prints_as):
    rows = worked(name)
    r = np.array([float(row["source_over_load_pct"]) / 100 for row in rows])
    w = np.array([float(row["w"]) for row in rows])
    found = figures(at_load(PERIODS.get(name, 2 * math.pi), r, w, kind=kind)[1])
    assert len(rows) == (12 if kind == "doubler" else 42)
    for at, row in enumerate(rows):
        for figure in FIGURES:
            prints_as(found[figure][at], row[figure])


@pytest.mark.parametrize(
    ("period", "start", "stop", "expected"),
    [
        (math.pi, 0.9581504, 2.023921, ("0.8592228", "1.885467", "4.45973", "3.04825")),
        (2 * math.pi, 0.7678435, 2.085454, ("0.7813067", "2.400464", "7.23816", "6.91265")),
    ],
)
def test_values_off_the_tables_grid(period, start, stop, expected, prints_as):
    """w = 22, r = 0.035: the closed form, re-run by adaptive integration."""
    one, measures = at_load(period, 0.035, 22.0)
    assert one.start[0] == pytest.approx(start, abs=1e-7)
    assert one.stop[0] == pytest.approx(stop, abs=1e-6)
    found = figures(measures)
    for figure, printed in zip(FIGURES, expected, strict=True):
        prints_as(found[figure][0], printed)


@pytest.mark.parametrize(
    ("period", "expected"),
    [(math.pi, ("0.937639", "2.30561", "6.65082")), (2 * math.pi, ("0.903536", "2.92045", "10.6763"))],
)
def test_a_very_large_capacitor_reaches_the_closed_limit(period, expected):
    """r = 1 %, from cos f = dc/peak and r = (n/pi)(tan f - f)."""
    found = list(figures(at_load(period, 0.01, 1e9)[1]).values())[:3]
    assert [value[0] for value in found] == pytest.approx([float(figure) for figure in expected], rel=2e-6)


SOURCE, REACTANCE = st.floats(-7, -0.3).map(lambda power: 10.0**power), st.floats(-2, 4).map(lambda power: 10.0**power)
PERIOD, DROP = st.sampled_from(sorted(PERIODS.values())), st.floats(0, 0.3)


def balanced(case):
    """mean(i) = dc/load and mean(e i) = mean(v^2)/load + irms^2 source, in units of peak and load."""
    one, found = diodes.through_choke(case) if case.kind == "stopping" else diodes.stopping(case)
    if not found[0] or (case.kind == "stopping" and not one.blocks_once[0]):
        return  # more than such a source can push through, or it rings: refused elsewhere
    measures = {name: values[0] for name, values in diodes.measures(one).items()}
    assert measures["dc"] == pytest.approx(one.ratio[0], rel=1e-9)
    assert measures["mean"] == pytest.approx(measures["dc"], rel=1e-6)
    used = measures["dc"] ** 2 + measures["ripple_rms"] ** 2 + one.r[0] * measures["rms"] ** 2
    assert measures["power"] == pytest.approx(used, rel=1e-6)


@settings(deadline=None, max_examples=share(8, 60))
@given(PERIOD, SOURCE, REACTANCE, DROP)
def test_charge_and_power_balance_with_a_capacitor(period, source, reactance, d):
    balanced(cases(period, source, reactance, d=d))


@settings(deadline=None, max_examples=share(6, 25))
@given(PERIOD, st.floats(0.005, 0.15), st.floats(1.0, 300.0), st.floats(-2, 0.5).map(lambda power: 10.0**power))
def test_charge_and_power_balance_with_a_choke(period, source, reactance, henry):
    balanced(cases(period, source, reactance, henry, kind="stopping"))


@settings(deadline=None, max_examples=share(6, 60))
@given(PERIOD, st.floats(-1, 4).map(lambda power: 10.0**power), DROP)
def test_no_source_resistance_is_the_limit_of_a_small_one(period, reactance, d):
    one, found = diodes.stopping(cases(period, [0.0, 1e-14], reactance, d=d))
    assert found.all()
    for name, (none, small) in diodes.measures(one).items():
        assert none == pytest.approx(small, rel=1e-4, abs=1e-9), name


def test_many_cases_at_once_are_the_same_as_each_alone():
    source, reactance = np.array([0.001, 0.05, 0.2]), np.array([300.0, 20.0, 0.8])
    together = diodes.measures(diodes.stopping(cases(math.pi, source, reactance))[0])
    for at in range(3):
        alone = diodes.measures(diodes.stopping(cases(math.pi, source[at], reactance[at]))[0])
        for name, values in together.items():
            assert values[at] == pytest.approx(alone[name][0], rel=1e-9)


def test_without_a_capacitor_the_output_follows_the_source():
    """v = e / (1 + r): mean 2/pi, rms 1/sqrt 2 of the peak."""
    _, measures = at_load(math.pi, 0.1, 1e-7)
    assert measures["dc"][0] == pytest.approx(2 / math.pi / 1.1, rel=1e-6)
    assert measures["rms"][0] == pytest.approx(math.sqrt(0.5) / 1.1, rel=1e-6)
    assert measures["ripple_pp"][0] == pytest.approx(1 / 1.1, rel=1e-5)


BASE = {"volts": 300.0, "source_ohm": 0.0, "capacitance_uf": 1e6, "load_ma": 80.0, "frequency_hz": 50.0}
LOAD_OHM = 300 * 2 * math.sqrt(2) / math.pi / 0.08


def choke(rectifier="full-wave", **changes):
    return steady_state(rectifier, "choke", **(BASE | changes))


@pytest.mark.parametrize(("x", "stops"), [(0.33066, True), (0.33069, False)])
def test_the_current_stops_just_below_the_critical_inductance(x, stops):
    _, never_stops = diodes.continuous(cases(math.pi, 0.0, 1e5, x, kind="continuous"), np.ones(1))
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


@pytest.mark.parametrize("henry", [1e-5, 1e-2, 1.0, 10.0])
def test_a_choke_with_next_to_no_capacitor(henry):
    """Choke and load alone: the current never stops and its mean is that of the emf over all resistance."""
    state = choke(choke_h=henry, source_ohm=150.0, capacitance_uf=1e-6)
    assert state.dc_v == pytest.approx(0.900316 * 300 - 0.08 * 150, rel=1e-5)
    assert state.conduction_deg == pytest.approx(180.0, abs=1e-3)


VOLTS, HERTZ, WORKED_LOAD_OHM = 300.0, 50.0, 4000.0
OMEGA = 2 * math.pi * HERTZ
GRID = [(0.005, 3.0), (0.02, 30.0), (0.05, 10.0), (0.1, 100.0), (0.2, 1.0)]


def compare(rectifier, filter, r, w, **more):
    henry, valve = more.get("henry", 0.0), more.get("valve")
    supply = Reference(
        rectifier,
        filter,
        VOLTS,
        r * WORKED_LOAD_OHM,
        w / OMEGA / WORKED_LOAD_OHM,
        WORKED_LOAD_OHM,
        HERTZ,
        henry,
        more.get("drop_v", 0.0),
        rectifier_valve(valve).perveance if valve else 0.0,
    )
    reference, _ = settled(supply)
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


# Rectifier, filter, r, w and what else: the first ones, one of each kind, in the test command; all of them by hand.
INTEGRATED = [
    ("doubler", "capacitor", 0.05, 10.0, {}),
    ("full-wave", "capacitor", 0.03, 20.0, {"valve": "5Y3"}),
    ("full-wave", "choke", 0.04, 15.0, {"henry": 1.0, "valve": "5U4-GB"}),
    ("half-wave", "capacitor", 0.04, 12.0, {"drop_v": 15.0}),
    *((rectifier, "capacitor", r, w, {}) for rectifier in ("full-wave", "half-wave") for r, w in GRID),
    *(("doubler", "capacitor", r, w, {}) for r, w in GRID if r != 0.05),
    *(("full-wave", "choke", 0.04, 15.0, {"henry": henry}) for henry in (0.3, 2.0, 10.0)),
    ("half-wave", "choke", 0.04, 15.0, {"henry": 0.4}),
    ("half-wave", "choke", 0.04, 15.0, {"henry": 3.0}),
    *((rectifier, "capacitor", 0.06, 8.0, {"valve": "GZ34"}) for rectifier in ("full-wave", "half-wave", "doubler")),
    *((rectifier, "capacitor", 0.03, 20.0, {"valve": "5Y3"}) for rectifier in ("half-wave", "doubler")),
    ("full-wave", "choke", 0.04, 15.0, {"henry": 8.0, "valve": "5U4-GB"}),
    ("half-wave", "choke", 0.04, 15.0, {"henry": 1.0, "valve": "5U4-GB"}),
]


@pytest.mark.parametrize(("rectifier", "filter", "r", "w", "more"), INTEGRATED[: share(4, len(INTEGRATED))])
def test_the_exact_solution_is_what_an_integrator_settles_to(rectifier, filter, r, w, more):
    compare(rectifier, filter, r, w, **more)
