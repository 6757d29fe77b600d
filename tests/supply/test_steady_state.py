"""The face of the supply wing: worked chains, scaling, extremes, the load line, and what is refused."""

from __future__ import annotations

import dataclasses
import math
import subprocess
import sys
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from calib import supply
from calib.errors import InputError
from calib.supply import diodes, periodic
from calib.supply.form_factor import FORM_FACTOR
from calib.supply.steady_state import load_line, steady_state
from tests.counts import share

PAIRS = [pair for pair in FORM_FACTOR if pair[0] != "none"]
BASE = {"volts": 300.0, "source_ohm": 150.0, "capacitance_uf": 20.0, "load_ma": 60.0, "frequency_hz": 50.0}


def state_of(pair, **changes):
    values = BASE | ({"choke_h": 0.5 if pair[0] == "half-wave" else 6.0} if pair[1] == "choke" else {}) | changes
    return steady_state(*pair, **values)


@settings(deadline=None, max_examples=share(8, 20))
@given(st.sampled_from(PAIRS), st.floats(20, 200), st.floats(4, 60), st.floats(10, 90))
def test_twice_the_frequency_with_half_the_filter_is_the_same(pair, ohm, microfarad, milliampere):
    slow = state_of(pair, source_ohm=ohm, capacitance_uf=microfarad, load_ma=milliampere)
    halved = {"choke_h": (0.5 if pair[0] == "half-wave" else 6.0) / 2} if pair[1] == "choke" else {}
    fast = state_of(
        pair, source_ohm=ohm, capacitance_uf=microfarad / 2, load_ma=milliampere, frequency_hz=100.0, **halved
    )
    for name in ("dc_v", "ripple_v_pp", "winding_rms_ma", "peak_ma", "conduction_deg", "input_w"):
        assert getattr(fast, name) == pytest.approx(getattr(slow, name), rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("valve", [None, "5Y3"])
def test_power_goes_into_load_source_choke_and_rectifier(pair, valve):
    state = state_of(pair, valve=valve, choke_ohm=80.0 if pair[1] == "choke" else 0.0)
    both = 2 if pair[0] == "full-wave" else 1
    ohm = 150.0 + (80.0 if pair[1] == "choke" else 0.0)
    copper = both * (state.winding_rms_ma / 1000) ** 2 * ohm
    load = (state.dc_v**2 + state.ripple_v_rms**2) / state.load_ohm
    left = state.input_w - copper - load
    if valve is None:
        assert left == pytest.approx(0.0, abs=1e-6 * state.input_w)
    else:
        # mean of i^(5/3) lies between that of a steady current and that of the peak flowing for the whole charge
        plates = {"bridge": 2, "doubler": 2}.get(pair[0], 1)
        perveance = 0.125 / 60**1.5
        assert left > 0.999 * plates * (0.06 / perveance) ** (2 / 3) * 0.06
        assert left < plates * (state.peak_ma / 1000 / perveance) ** (2 / 3) * 0.06


@pytest.mark.parametrize("pair", PAIRS)
def test_the_load_is_the_resistor_that_draws_the_current(pair):
    state = state_of(pair)
    assert state.dc_v / state.load_ohm * 1000 == pytest.approx(state.load_ma, rel=1e-9)
    assert state.winding_rms_per_dc == state.winding_rms_ma / state.load_ma


@pytest.mark.parametrize("pair", PAIRS)
def test_no_load_gives_the_peak(pair):
    state = state_of(pair, load_ma=0.0, diode_drop_v=1.0)
    drop = 2.0 if pair[0] == "bridge" else 1.0
    level = math.sqrt(2) * 300 - drop
    if pair[1] == "none":
        times = np.linspace(0, 1, 400001)
        wave = np.maximum(math.sqrt(2) * 300 * np.sin(2 * np.pi * times) - drop, 0)
        both = 1 if pair[0] == "half-wave" else 2
        assert state.dc_v == pytest.approx(both * wave[:-1].mean(), rel=1e-6)
        square = both * (wave[:-1] ** 2).mean() - state.dc_v**2
        assert state.ripple_v_rms == pytest.approx(math.sqrt(square), rel=1e-6)
    else:
        assert state.dc_v == pytest.approx(level * (2 if pair[0] == "doubler" else 1))
        assert state.ripple_v_pp == 0.0
    assert (state.winding_rms_ma, state.peak_ma, state.load_ohm) == (0.0, 0.0, math.inf)
    assert state.as_dict()["winding_rms_per_dc"] is None


EXTREMES = [{"source_ohm": 0.0}, {"capacitance_uf": 1e7}, {"capacitance_uf": 1e-6}]
# Each circuit at each extreme, with a valve and without by turns in the test command; both by hand.
EXTREME_CASES = sorted(
    ((at + nth + turn) % 2, at, nth, turn) for at, nth, turn in product(range(len(PAIRS)), range(3), range(2))
)


@pytest.mark.parametrize(
    ("pair", "extreme", "valve"),
    [(PAIRS[at], EXTREMES[nth], (None, "GZ34")[turn]) for _, at, nth, turn in EXTREME_CASES[: share(30, 60)]],
)
def test_extremes_give_an_answer_or_one_clear_error(pair, extreme, valve):
    if pair[0] == "doubler" and extreme == {"capacitance_uf": 1e-6}:
        with pytest.raises(InputError, match=r"^load_ma '60': is more than this source can give") as caught:
            state_of(pair, valve=valve, **extreme)
        assert len(caught.value.faults) == 1
        return
    state = state_of(pair, valve=valve, **extreme)
    numbers = {name: value for name, value in dataclasses.asdict(state).items() if isinstance(value, float)}
    assert all(math.isfinite(value) for name, value in numbers.items() if name != "critical_h")
    assert state.dc_v > 0
    assert state.winding_rms_ma > 0


def test_ripple_goes_on_falling_as_the_capacitor_grows():
    small, large = (
        state_of(("full-wave", "capacitor"), capacitance_uf=1e6),
        state_of(("full-wave", "capacitor"), capacitance_uf=1e7),
    )
    assert small.ripple_v_pp / large.ripple_v_pp == pytest.approx(10.0, rel=1e-4)


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("valve", [None, "5Y3"])
def test_more_than_the_source_can_give_is_refused(pair, valve):
    with pytest.raises(
        InputError, match=r"^load_ma '5000': is more than this source can give .*; lower load_ma"
    ) as caught:
        state_of(pair, load_ma=5000.0, valve=valve)
    assert len(caught.value.faults) == 1


def test_a_half_wave_primary_that_carries_no_direct_current_raises_the_source():
    """e.m.f. raised by primary resistance times load current: the same as that much less of constant drop."""
    with_primary = state_of(("half-wave", "capacitor"), primary_ohm=50.0, diode_drop_v=10.0)
    assert with_primary.dc_v == pytest.approx(state_of(("half-wave", "capacitor"), diode_drop_v=7.0).dc_v, rel=1e-9)
    assert state_of(("bridge", "capacitor"), primary_ohm=50.0) == state_of(("bridge", "capacitor"))


def test_the_load_line_runs_from_no_load_to_overload():
    loads = [0.0, 5.0, 50.0, 200.0, 800.0, 3000.0]
    line = load_line(
        "full-wave", "capacitor", loads, volts=300.0, source_ohm=150.0, capacitance_uf=16.0, frequency_hz=50.0
    )
    assert list(line["load_ma"]) == loads
    volts = line["dc_v"].to_numpy()
    assert volts[0] == pytest.approx(math.sqrt(2) * 300)
    assert (np.diff(volts[:5]) < 0).all()
    assert np.isnan(volts[5])
    single = state_of(("full-wave", "capacitor"), load_ma=50.0, capacitance_uf=16.0)
    assert volts[2] == pytest.approx(single.dc_v, rel=1e-10)


def test_the_state_as_a_table_and_as_a_dictionary():
    state = state_of(("full-wave", "choke"))
    assert state.frame().iloc[0].to_dict() == state.as_dict()
    assert {"dc_v", "ripple_v_pp", "winding_rms_ma", "peak_ma", "conduction_deg"} <= set(state.as_dict())
    with pytest.raises(dataclasses.FrozenInstanceError):
        state.dc_v = 1.0


@pytest.mark.parametrize(
    ("pair", "changes", "message"),
    [
        (("full-wave", "capacitor"), {"volts": 0.0}, r"^volts '0': is not above 0 to 10000 V; give it in V$"),
        (("full-wave", "capacitor"), {"volts": math.nan}, r"^volts 'nan': is not above 0"),
        (("full-wave", "capacitor"), {"source_ohm": -1.0}, r"^source_ohm '-1': is not from 0 to 1e\+06 ohm"),
        (("full-wave", "capacitor"), {"capacitance_uf": 0.0}, r"^capacitance_uf '0': is not from 1e-06 to 1e\+07 µF"),
        (("full-wave", "capacitor"), {"load_ma": math.inf}, r"^load_ma 'inf': is not from 0 to 100000 mA"),
        (("full-wave", "capacitor"), {"frequency_hz": 5.0}, r"^frequency_hz '5': is not from 10 to 1000 Hz"),
        (("full-wave", "capacitor"), {"choke_h": 5.0}, r"^choke_h '5.0': filter 'capacitor' has no input choke"),
        (("full-wave", "choke"), {"choke_h": None}, r"^choke_h \(empty\): a choke-input filter needs its choke"),
        (("full-wave", "choke"), {"choke_h": 0.0}, r"^choke_h '0': is not above 0"),
        (
            ("doubler", "choke"),
            {},
            r"^rectifier 'doubler': does not go with filter 'choke'; give one of: full-wave with none",
        ),
        (("none", "none"), {}, r"^rectifier 'none': does not go with filter 'none'"),
        (
            ("bridge", "capacitor"),
            {"valve": "5Y3", "diode_drop_v": 1.0},
            r"^diode_drop_v '1.0': a valve and a constant drop",
        ),
        (("bridge", "capacitor"), {"valve": "nought"}, r"^valve 'nought': is not in the table"),
        (
            ("bridge", "capacitor"),
            {"diode_drop_v": 300.0},
            r"^diode_drop_v '300': the drop of 600 V is not below the winding's peak",
        ),
        (("half-wave", "capacitor"), {"primary_ohm": 200.0}, r"^primary_ohm '200.0': is more than source_ohm"),
        (
            ("full-wave", "choke"),
            {"choke_h": 1e-3, "source_ohm": 0.0, "capacitance_uf": 1.0},
            r"^choke_h '0.001': choke and capacitor ring: .*; give a larger choke",
        ),
    ],
)
def test_what_is_refused(pair, changes, message):
    with pytest.raises(InputError, match=message) as caught:
        state_of(pair, **changes)
    assert len(caught.value.faults) == 1


def test_every_fault_is_named_at_once():
    with pytest.raises(InputError) as caught:
        steady_state("bridge", "capacitor", -1.0, -1.0, -1.0, -1.0, 1.0)
    columns = {fault.column for fault in caught.value.faults}
    assert columns == {"volts", "source_ohm", "capacitance_uf", "load_ma", "frequency_hz"}


def test_the_wings_names_load_late():
    """Importing the wing loads neither numpy nor a module of the wing; every public name is there when asked for."""
    code = "import sys, calib.supply; print([m for m in sys.modules if m == 'numpy' or m.startswith('calib.supply.')])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"
    assert all(getattr(supply, name) is not None for name in dir(supply))
    with pytest.raises(AttributeError, match="no attribute 'demand'"):
        supply.demand  # noqa: B018


@pytest.mark.parametrize(("pair", "valve"), [(("full-wave", "capacitor"), None), (("half-wave", "capacitor"), "5Y3")])
def test_a_solution_that_does_not_come_to_rest_is_refused_and_no_number(monkeypatch, pair, valve):
    assert state_of(pair, valve=valve).dc_v > 0
    monkeypatch.setattr(periodic, "NEWTON_ROUNDS", 1)
    monkeypatch.setattr(diodes, "SHORT_ROUNDS", 1)
    with pytest.raises(InputError, match=r"^load_ma '60': .* or so near to it that no steady state was found; lower"):
        state_of(pair, valve=valve)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"rectifier": "doubler", "filter": "choke", "choke_h": 5.0}, "conflict"),
        ({"filter": "choke"}, "missing"),
        ({"volts": -1.0}, "limits"),
        ({"valve": "6Q6Q"}, "choice"),
        ({"load_ma": 90_000.0}, "conflict"),
    ],
)
def test_each_fault_of_a_supply_carries_a_code(changes, code):
    given = {"rectifier": "full-wave", "filter": "capacitor", "volts": 300.0, "source_ohm": 150.0, "frequency_hz": 50.0}
    with pytest.raises(InputError) as refused:
        steady_state(**{**given, "capacitance_uf": 32.0, "load_ma": 80.0, **changes})
    assert {one.code for one in refused.value.faults} == {code}
