"""Resistance, temperature and rise. Worked values T1.x: computed by hand script from the equations of IEC 60034-1."""

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

OHMS = st.floats(0.001, 1e6)
TEMPS = st.floats(-40.0, 200.0)
ZEROS = st.sampled_from(sorted(bench.INFERRED_ZERO_C.values()))

COLD_OHM, COLD_C, HOT_OHM, END_C = 38.42, 19.6, 47.85, 23.1  # readings of worked values T1.3 to T1.5


def test_metals_as_in_the_standards():
    copper, aluminium = bench.CONDUCTORS["copper"], bench.CONDUCTORS["aluminium"]
    assert (copper.inferred_zero_c, copper.resistivity_ohm_m, copper.density_g_cm3) == (234.5, 1.7241e-8, 8.89)
    assert (aluminium.inferred_zero_c, aluminium.resistivity_ohm_m, aluminium.density_g_cm3) == (228.1, 2.8264e-8, 2.70)
    assert (copper.test_code_zero_c, aluminium.test_code_zero_c) == (235.0, 225.0)
    assert bench.INFERRED_ZERO_C == {"copper": 234.5, "aluminium": 228.1}
    assert bench.RESISTIVITY_OHM_M == {"copper": 1.7241e-8, "aluminium": 2.8264e-8}


def test_temperature_coefficients(printed):
    printed(bench.CONDUCTORS["copper"].coefficient_per_k, "0.00392927")
    printed(bench.CONDUCTORS["aluminium"].coefficient_per_k, "0.00403")


@pytest.mark.parametrize(("to_c", "figure"), [(20.0, "38.48048"), (75.0, "46.79650")])
def test_worked_resistance_at_another_temperature(printed, to_c, figure):
    printed(bench.resistance_at(COLD_OHM, COLD_C, to_c), figure)  # worked value T1.1


def test_worked_resistance_of_a_length(printed):
    printed(bench.wire_resistance(312.0, 0.180), "211.3889")  # worked value T1.2


def test_worked_rise_of_resistance(printed):
    printed(bench.hot_temperature(COLD_OHM, COLD_C, HOT_OHM), "81.96760")  # worked value T1.3
    printed(bench.rise_by_resistance(COLD_OHM, COLD_C, HOT_OHM, END_C), "58.86760")
    printed(bench.rise_by_resistance(COLD_OHM, COLD_C, HOT_OHM, COLD_C), "62.36760")  # the drift forgotten
    printed(bench.hot_temperature(COLD_OHM, COLD_C, HOT_OHM, bench.CONDUCTORS["copper"].test_code_zero_c), "82.09032")


@pytest.mark.parametrize(("zero", "figure"), [("test_code_zero_c", "79.63587"), ("inferred_zero_c", "80.39675")])
def test_worked_rise_of_aluminium(printed, zero, figure):
    aluminium = bench.CONDUCTORS["aluminium"]
    printed(bench.hot_temperature(COLD_OHM, COLD_C, HOT_OHM, getattr(aluminium, zero)), figure)  # worked value T1.4


def test_worked_uncertainty_of_the_rise(printed):
    cold, hot = bench.with_relative(COLD_OHM, 0.08, "cold"), bench.with_relative(HOT_OHM, 0.10, "hot")
    start, end = ufloat(COLD_C, 0.5), ufloat(END_C, 0.5)
    printed(bench.hot_temperature(cold, start, hot).std_dev, "0.74299")  # worked value T1.5
    printed(bench.rise_by_resistance(cold, start, hot, end).std_dev, "0.89556")


def test_rise_uncertainty_agrees_with_monte_carlo():
    draw = np.random.default_rng(20261124)
    count = 400_000
    cold = draw.normal(COLD_OHM, 0.0008 * COLD_OHM, count)
    hot = draw.normal(HOT_OHM, 0.0010 * HOT_OHM, count)
    rises = bench.rise_by_resistance(cold, draw.normal(COLD_C, 0.5, count), hot, draw.normal(END_C, 0.5, count))
    assert rises.std() == pytest.approx(0.89556, rel=0.005)  # worked value T1.5; the spread's own error is 0.0011


def test_one_meters_gain_error_cancels_in_the_rise():
    gain_only = bench.MeterClass(percent=0.5, counts=0, resolution=0.01)

    def spread(correlation: float) -> float:
        cold, hot = bench.read_pair(COLD_OHM, HOT_OHM, gain_only, correlation, ("cold", "hot"))
        return bench.rise_by_resistance(cold, COLD_C, hot, END_C).std_dev

    # Two meters: (K + t2) sqrt(2) 0.5 %/sqrt(3), by hand 316.4676 K x 0.408248 % = 1.29197 K.
    assert spread(bench.TWO_METERS) == pytest.approx(1.29197, abs=1e-5)
    assert spread(bench.ONE_METER_ONE_RANGE) < 1e-12


@given(OHMS, TEMPS, TEMPS, ZEROS)
def test_there_and_back_again(ohm, temp, other, zero):
    there = bench.resistance_at(ohm, temp, other, zero)
    assert bench.resistance_at(there, other, temp, zero) == pytest.approx(ohm, rel=1e-12)


@given(OHMS, TEMPS, TEMPS, ZEROS)
def test_resistance_tells_the_temperature_that_made_it(ohm, cold, hot, zero):
    there = bench.resistance_at(ohm, cold, hot, zero)
    assert bench.hot_temperature(ohm, cold, there, zero) == pytest.approx(hot, abs=1e-9)


@given(OHMS, TEMPS, st.floats(0.1, 100.0))
def test_hotter_reads_higher(ohm, temp, step):
    assert bench.resistance_at(ohm, temp, temp + step) > ohm


@given(OHMS, TEMPS, TEMPS)
def test_no_change_is_the_drift_alone(ohm, start, end):
    assert bench.rise_by_resistance(ohm, start, ohm, end) == pytest.approx(start - end, abs=1e-9)


@given(st.floats(0.01, 1e4), st.floats(0.01, 5.0))
def test_thinner_or_longer_wire_has_more(length, diameter):
    one = bench.wire_resistance(length, diameter)
    assert bench.wire_resistance(2.0 * length, diameter) == pytest.approx(2.0 * one)
    assert bench.wire_resistance(length, diameter / 2.0) == pytest.approx(4.0 * one)


def test_arrays_and_blanks_pass_through():
    ohms = pd.Series([100.0, math.nan], index=[7, 9])
    result = bench.resistance_at(ohms, pd.Series([25.0, 30.0], index=[7, 9]))
    assert result[7] == pytest.approx(100.0 * 254.5 / 259.5)
    assert math.isnan(result[9])
    assert list(ohms) == pytest.approx([100.0, math.nan], nan_ok=True)


def test_a_database_column_is_accepted():
    table = ibis.memtable({"ohm": [100.0, 38.42], "temp": [20.0, 19.6]})
    frame = table.mutate(cold=bench.resistance_at(table.ohm, table.temp)).execute()
    assert sorted(frame.cold) == pytest.approx([38.48048, 100.0], abs=1e-5)  # worked value T1.1


def test_lead_null_taken_off():
    assert bench.less_lead_null(94.6, 0.3) == pytest.approx(94.3)  # worked value T3.8
    assert bench.less_lead_null(94.6, 0.0) == 94.6


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
        (lambda: bench.wire_resistance(0.0, 0.2), "length is 0.0 m"),
        (lambda: bench.wire_resistance(1.0, -0.2), "bare diameter is -0.2 mm"),
        (lambda: bench.wire_resistance(1.0, 0.2, 0.0), "resistivity is 0.0 ohm m"),
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
