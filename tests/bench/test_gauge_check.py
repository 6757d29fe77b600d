"""The gauge that a winding's resistance implies, held against the measured one."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench.wire import (
    iec_sizes_mm,
    nearest_iec_mm,
    nearest_old_metric_mm,
    nearest_sizes,
    old_metric_sizes_mm,
)
from calib.bench.wire_gauge import (
    MEAN_TURN_HALF_WIDTH,
    WOUND_EXCESS,
    Turns,
    WoundWire,
    implied_wire,
    turns_from_volts,
    wire_agreement,
)

EXACT = {"u_resistance_pct": 0.0, "mean_turn_half_width": 0.0}
DIAMETERS = st.floats(0.05, 1.5)


def winding(
    diameter: float, turns: float = 2000.0, mean_turn: float = 156.0, metal: str = "copper", **more
) -> WoundWire:
    """A winding of that wire, in the middle of what wound wire reads over its nominal size."""
    ohm = bench.wire_resistance(turns * mean_turn / 1000.0, diameter, bench.RESISTIVITY_OHM_M[metal])
    return WoundWire(ohm * (1.0 + sum(WOUND_EXCESS) / 2.0), Turns(turns, 0.0), mean_turn, conductor=metal, **more)


def test_worked_length_gives_its_diameter_back(printed):
    # Worked value T1.2: 312 m of 0.180 mm read 211.3889 ohm; 2 % more as wound.
    read = WoundWire(211.3889 * 1.02, Turns(2000.0, 0.0), 156.0, **EXACT)
    assert read.length_m == pytest.approx(312.0)
    printed(implied_wire(read).diameter_mm, "0.18000")


def test_worked_turns(printed):
    # Worked value T5.3: 3.81567 turns per volt on 28 by 33.6 mm at 1.1 T and 60 Hz, here for 100 V.
    turns = turns_from_volts(100.0, bench.core_area_cm2(28.0, 33.6), 60.0, (1.1, 1.1))
    printed(turns.turns, "381.567")
    assert turns.u_pct == 0.0


def test_a_range_of_flux_leaves_the_turns_open():
    # By hand: turns at sqrt(1.0 x 1.4) T, half the ln of 1.4 over sqrt 3 = 9.713 %.
    core = bench.core_area_cm2(28.0, 33.6)
    turns = turns_from_volts(100.0, core, 60.0)
    assert turns.turns == pytest.approx(381.567 * 1.1 / math.sqrt(1.4), rel=1e-5)
    assert turns.u_pct == pytest.approx(9.713, abs=1e-3)


@given(DIAMETERS, st.floats(50.0, 6000.0), st.floats(40.0, 400.0), st.sampled_from(["copper", "aluminium"]))
def test_there_and_back(diameter, turns, mean_turn, metal):
    assert implied_wire(winding(diameter, turns, mean_turn, metal)).diameter_mm == pytest.approx(diameter)


@given(DIAMETERS, st.floats(0.05, 0.99), st.floats(0.001, 0.009))
def test_the_interval_holds_its_middle_and_widens_with_its_level(diameter, level, more):
    narrow, wide = implied_wire(winding(diameter), level), implied_wire(winding(diameter), level + more)
    assert wide.low_mm < narrow.low_mm < diameter < narrow.high_mm < wide.high_mm


def test_the_interval_is_by_hand():
    """u = half of 0.8 %, 12 % / sqrt 3 and 1 % / sqrt 3 / 1.02 together; 1.6449 of it at 90 %."""
    implied = implied_wire(winding(0.2))
    u = 0.5 * math.hypot(0.008, 0.12 / math.sqrt(3), 0.01 / math.sqrt(3) / 1.02)
    assert implied.u_ln == pytest.approx(u)
    assert implied.high_mm == pytest.approx(0.2 * math.exp(1.6448536 * u))
    assert implied.low_mm * implied.high_mm == pytest.approx(0.2**2)


def test_the_interval_holds_the_wire_as_often_as_it_says():
    """2000 windings with turns, mean turn and excess anywhere in their ranges, resistance by an ordinary meter."""
    rng, inside = np.random.default_rng(7), []
    for _ in range(2000):
        turns = 2000.0 * math.exp(rng.uniform(-1, 1) * math.log(1.4) / 2)
        mean_turn = 156.0 * (1 + MEAN_TURN_HALF_WIDTH * rng.uniform(-1, 1))
        ohm = bench.wire_resistance(turns * mean_turn / 1000, 0.2) * (1 + rng.uniform(*WOUND_EXCESS))
        read = WoundWire(ohm * (1 + 0.008 * rng.normal()), Turns(2000.0, 9.713), 156.0)
        implied = implied_wire(read)
        inside.append(implied.low_mm < 0.2 < implied.high_mm)
    assert np.mean(inside) == pytest.approx(0.9, abs=0.03)


def test_nearest_sizes_by_name():
    implied = implied_wire(winding(0.2268))
    # 0.22676, 0.23368 and 0.224 mm; before about 1970 metric wire went by hundredths: 0.22, 0.23
    assert implied.nearest == ("AWG 31", "SWG 34", "metric 0.224", "old metric 0.23")
    assert implied.awg == pytest.approx(31.0, abs=0.01)
    frame = implied.frame()
    assert frame["nearest_awg"].tolist() == ["AWG 31"]
    assert frame["level"].tolist() == [0.9]


def test_preferred_metric_sizes():
    sizes = iec_sizes_mm()
    assert (len(sizes), sizes[0], sizes[-1]) == (30, 0.05, 1.6)  # IEC 60317-0-1, R20 from 0.050 to 1.600
    assert list(sizes) == sorted(sizes)
    assert [nearest_iec_mm(size * 1.05) for size in sizes] == list(sizes)
    with pytest.raises(ValueError, match=r"bare diameter is 0.0 mm"):
        nearest_iec_mm(0.0)


def test_metric_wire_before_1970_has_sizes_of_its_own():
    """0.26 mm is a size of DIN 46435 and neither of R20 nor of a gauge; 0.41 mm is one of the GOST series."""
    assert nearest_sizes(0.26) == ("AWG 30", "SWG 33", "metric 0.250", "old metric 0.26 (unverified)")
    assert nearest_sizes(0.41)[3] == "old metric 0.41"
    sizes = old_metric_sizes_mm()
    assert (min(sizes), max(sizes), sizes[0.25], sizes[0.26]) == (0.03, 2.0, "checked", "unverified")
    assert list(sizes) == sorted(sizes)
    with pytest.raises(ValueError, match=r"bare diameter is 0.0 mm"):
        nearest_old_metric_mm(0.0)


def test_a_wire_that_agrees():
    said = wire_agreement(implied_wire(winding(0.18)), 0.183, 0.003)
    assert said.agrees
    assert 0.0 < said.z < 1.0
    assert "they agree" in said.sentence


def test_z_is_by_hand():
    implied = implied_wire(winding(0.2, **EXACT))
    u = math.hypot(0.5 * 0.01 / math.sqrt(3) / 1.02, 0.004 / 0.21)
    assert wire_agreement(implied, 0.21, 0.004).z == pytest.approx(math.log(0.21 / 0.2) / u)
    # A gauge by name carries its tolerance, 0.1 mil / sqrt 3 at this size.
    named = math.hypot(0.5 * 0.01 / math.sqrt(3) / 1.02, 0.00254 / math.sqrt(3) / 0.21)
    assert wire_agreement(implied, 0.21).z == pytest.approx(math.log(0.21 / 0.2) / named)


@pytest.mark.parametrize(
    ("factor", "sign", "words"),
    [(0.5, -1.0, "half a winding's resistance for the whole"), (2.0, 1.0, "a bad joint in the winding")],
)
def test_a_resistance_of_half_or_twice_is_seen(factor, sign, words):
    """Half the resistance implies a wire 1.41 times as thick, 2.98 gauges by ASTM B258 (19.5 ln 2 / ln 92)."""
    true = winding(0.18)
    wrong = WoundWire(true.resistance_ohm * factor, true.turns, true.mean_turn_mm)
    said = wire_agreement(implied_wire(wrong), 0.18, 0.002)
    assert not said.agrees
    assert said.z * sign > 2.0
    assert words in said.sentence
    assert "3.0 gauges apart" in said.sentence


@given(DIAMETERS, DIAMETERS)
def test_z_rises_with_the_measured_wire(one, other):
    implied = implied_wire(winding(0.2))
    thin, thick = sorted((one, other))
    assert wire_agreement(implied, thin, 0.0).z <= wire_agreement(implied, thick, 0.0).z


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: WoundWire(0.0, Turns(10, 0), 100.0), "resistance is 0.0 ohm"),
        (lambda: WoundWire(10.0, Turns(0, 0), 100.0), "turns is 0: it must be finite and above 0"),
        (lambda: WoundWire(10.0, Turns(10, -1.0), 100.0), "relative uncertainty of the turns is -1.0 %"),
        (lambda: WoundWire(10.0, Turns(10, 0), 0.0), "mean turn is 0.0 mm"),
        (lambda: WoundWire(10.0, Turns(10, 0), 100.0, -0.1), "relative uncertainty of the resistance is -0.1 %"),
        (lambda: WoundWire(10.0, Turns(10, 0), 100.0, 0.1, -0.2), "half-width of the mean turn is -0.2"),
        (lambda: winding_of("brass"), "conductor is 'brass': it must be one of copper, aluminium"),
        (lambda: implied_wire(winding(0.2), 90), "level is 90: it must be above 0 and below 1"),
        (lambda: turns_from_volts(0.0, 9.0, 60.0), "voltage is 0.0 V"),
        (lambda: turns_from_volts(117.0, 9.0, 60.0, (0.0, 1.0)), "lowest flux density is 0.0 T"),
        (lambda: turns_from_volts(117.0, 9.0, 60.0, (1.4, 1.0)), "highest flux density is 1.0 T"),
        (lambda: wire_agreement(implied_wire(winding(0.2)), 0.0), "measured diameter is 0.0 mm"),
        (lambda: wire_agreement(implied_wire(winding(0.2)), 0.2, -1.0), "uncertainty of the measured diameter is -1.0"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()


def winding_of(metal: str) -> WoundWire:
    return WoundWire(10.0, Turns(10.0, 0.0), 100.0, conductor=metal)
