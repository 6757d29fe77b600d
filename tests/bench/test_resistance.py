"""Resistance, temperature and rise, and how long a winding takes to the temperature of the room."""

from __future__ import annotations

import math
import re

import ibis
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, strategies as st
from uncertainties import ufloat

from calib import bench
from calib.bench import (
    SETTLING_H,
    MeterClass,
    difference_left_k,
    resistance_taken,
    settling_h,
)
from tests.counts import FEW

OHMS = st.floats(0.001, 1e6)


TEMPS = st.floats(-40.0, 200.0)


ZEROS = st.sampled_from(sorted(bench.INFERRED_ZERO_C.values()))


COLD_OHM, COLD_C, HOT_OHM, END_C = 38.42, 19.6, 47.85, 23.1


def test_metals_as_in_the_standards():
    copper, aluminium = bench.CONDUCTORS["copper"], bench.CONDUCTORS["aluminium"]
    assert (copper.inferred_zero_c, copper.resistivity_ohm_m, copper.density_g_cm3) == (234.5, 1.7241e-8, 8.89)
    assert (aluminium.inferred_zero_c, aluminium.resistivity_ohm_m, aluminium.density_g_cm3) == (228.1, 2.8264e-8, 2.70)
    assert (copper.test_code_zero_c, aluminium.test_code_zero_c) == (235.0, 225.0)
    assert bench.INFERRED_ZERO_C == {"copper": 234.5, "aluminium": 228.1}
    assert bench.RESISTIVITY_OHM_M == {"copper": 1.7241e-8, "aluminium": 2.8264e-8}


def test_rise_uncertainty_agrees_with_monte_carlo():
    draw = np.random.default_rng(20261124)
    count = 400_000
    cold = draw.normal(COLD_OHM, 0.0008 * COLD_OHM, count)
    hot = draw.normal(HOT_OHM, 0.0010 * HOT_OHM, count)
    rises = bench.rise_by_resistance(cold, draw.normal(COLD_C, 0.5, count), hot, draw.normal(END_C, 0.5, count))
    assert rises.std() == pytest.approx(0.89556, rel=0.005)  # as worked; the spread's own error is 0.0011


def test_one_meters_gain_error_cancels_in_the_rise():
    gain_only = bench.MeterClass(percent=0.5, counts=0, resolution=0.01)

    def spread(correlation: float) -> float:
        cold, hot = bench.read_pair(COLD_OHM, HOT_OHM, (gain_only, gain_only), correlation, ("cold", "hot"))
        return bench.rise_by_resistance(cold, COLD_C, hot, END_C).std_dev

    # Two meters: (K + t2) sqrt(2) 0.5 %/sqrt(3), by hand 316.4676 K x 0.408248 % = 1.29197 K.
    assert spread(bench.TWO_METERS) == pytest.approx(1.29197, abs=1e-5)
    assert spread(bench.ONE_METER_ONE_RANGE) < 1e-12


@FEW
@given(OHMS, TEMPS, TEMPS, ZEROS)
def test_there_and_back_again(ohm, temp, other, zero):
    there = bench.resistance_at(ohm, temp, other, zero)
    assert bench.resistance_at(there, other, temp, zero) == pytest.approx(ohm, rel=1e-12)


@FEW
@given(OHMS, TEMPS, TEMPS, ZEROS)
def test_resistance_tells_the_temperature_that_made_it(ohm, cold, hot, zero):
    there = bench.resistance_at(ohm, cold, hot, zero)
    assert bench.hot_temperature(ohm, cold, there, zero) == pytest.approx(hot, abs=1e-9)


@FEW
@given(OHMS, TEMPS, st.floats(0.1, 100.0))
def test_hotter_reads_higher(ohm, temp, step):
    assert bench.resistance_at(ohm, temp, temp + step) > ohm


@FEW
@given(OHMS, TEMPS, TEMPS)
def test_no_change_is_the_drift_alone(ohm, start, end):
    assert bench.rise_by_resistance(ohm, start, ohm, end) == pytest.approx(start - end, abs=1e-9)


def test_arrays_and_blanks_pass_through():
    ohms = pd.Series([100.0, math.nan], index=[7, 9])
    result = bench.resistance_at(ohms, pd.Series([25.0, 30.0], index=[7, 9]))
    assert result[7] == pytest.approx(100.0 * 254.5 / 259.5)
    assert math.isnan(result[9])
    assert list(ohms) == pytest.approx([100.0, math.nan], nan_ok=True)


def test_a_database_column_is_accepted():
    table = ibis.memtable({"ohm": [100.0, 38.42], "temp": [20.0, 19.6]})
    frame = table.mutate(cold=bench.resistance_at(table.ohm, table.temp)).execute()
    assert sorted(frame.cold) == pytest.approx([38.48048, 100.0], abs=1e-5)


def test_lead_null_taken_off():
    assert bench.less_lead_null(94.6, 0.3) == pytest.approx(94.3)
    assert bench.less_lead_null(94.6, 0.0) == 94.6


@pytest.mark.parametrize(
    ("tongue_mm", "hours"),
    [
        (25.4, 5 * 25.4 / 60),  # about 1 min a mm of tongue, five time constants: 2.1 h
        (50.8, 5 * 50.8 / 60),  # 4.2 h
        (None, 4.0),  # soaked to room air, 4 h or more
    ],
)
def test_five_time_constants(tongue_mm, hours):
    assert settling_h(tongue_mm) == pytest.approx(hours)


def test_the_difference_dies_away_by_the_time_constant():
    """Just switched off: all of 55 K; after one time constant (48 mm: 48 min) 1/e of it; settled: under 1 %."""
    assert difference_left_k(0.0) == 55.0
    assert difference_left_k(48 / 60, 48.0) == pytest.approx(55.0 / math.e)
    assert difference_left_k(SETTLING_H) < 0.01 * 55.0
    assert difference_left_k(1.0, 25.4, at_first_k=10.0) == pytest.approx(10 * math.exp(-60 / 25.4))


@pytest.mark.parametrize(("hours", "tongue"), [(-1.0, None), (1.0, 0.0)])
def test_what_cannot_be_is_refused(hours, tongue):
    with pytest.raises(ValueError, match="must be finite and"):
        difference_left_k(hours, tongue)


def test_four_wires_have_no_null():
    """A milliohm range of 0.5 % + 2 counts: u = (0.005 0.052 + 2 0.0001) / sqrt 3, nothing beside it."""
    value = resistance_taken(0.052, MeterClass(0.5, 2, 0.0001), 20.0, null=None, temp_half_width_k=0.0)
    assert value.std_dev == pytest.approx((0.005 * 0.052 + 2e-4) / math.sqrt(3))


def test_aluminium_follows_its_own_line():
    """(K + 20)/(K + t) with K = 228.1 °C."""
    value = resistance_taken(100.0, bench.ORDINARY_OHMMETER, 30.0, temp_half_width_k=0.0, inferred_zero_c=228.1)
    assert value.nominal_value == pytest.approx(100.0 * 248.1 / 258.1)


@pytest.mark.parametrize(
    ("null", "said"), [((95.0, 0.05), "resistance read with the leads"), ((-1.0, 0.05), "null"), ((0.3, -0.1), "null")]
)
def test_an_impossible_null_is_refused(null, said):
    with pytest.raises(ValueError, match=said):
        resistance_taken(94.6, bench.ORDINARY_OHMMETER, 20.0, null=null)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bench.resistance_at(0.0, 20.0), "resistance is 0.0 ohm: it must be finite and above 0"),
        (lambda: bench.resistance_at(math.inf, 20.0), "resistance is inf ohm: it must be finite and above 0"),
        (
            lambda: bench.resistance_at(1.0, -234.5),
            "winding temperature is -234.5 °C: it must be finite and above -234.5",
        ),
        (lambda: bench.resistance_at(1.0, 20.0, -300.0), "temperature wanted is -300.0 °C"),
        (lambda: bench.resistance_at(np.array([5.0, -2.0]), 20.0), "resistance is -2.0 ohm"),
        (lambda: bench.resistance_at(pd.Series([5.0, -3.0]), 20.0), "resistance is -3.0 ohm"),
        (lambda: bench.resistance_at(ufloat(-4.0, 1.0), 20.0), "resistance is -4.0 ohm"),
        (lambda: bench.hot_temperature(0.0, 20.0, 5.0), "cold resistance is 0.0 ohm"),
        (lambda: bench.hot_temperature(5.0, 20.0, 0.0), "hot resistance is 0.0 ohm"),
        (lambda: bench.hot_temperature(5.0, -250.0, 6.0), "cold temperature is -250.0 °C"),
        (lambda: bench.rise_by_resistance(5.0, 20.0, 6.0, -240.0), "ambient at the end is -240.0 °C"),
        (lambda: bench.less_lead_null(5.0, -0.1), "lead null is -0.1 ohm: it must be finite and 0 or more"),
        (lambda: bench.less_lead_null(0.3, 0.3), "read with the leads is 0.3 ohm: it must be finite and above 0.3"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
