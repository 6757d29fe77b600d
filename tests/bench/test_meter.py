"""Meter classes. Worked values T3.6 to T3.8: computed by hand script from JCGM 100:2008, 4.3.7 and 5.1.2."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, strategies as st

from calib import bench

CLASSES = st.builds(bench.MeterClass, st.floats(0.0, 10.0), st.floats(0.0, 50.0), st.floats(0.0, 10.0))
WORKED = bench.MeterClass(percent=1.0, counts=3, resolution=0.01)


@pytest.mark.parametrize(("reading", "figure"), [(4.97, "0.0460148"), (13.88, "0.0974567")])
def test_worked_standard_uncertainty(printed, reading, figure):
    printed(bench.standard_uncertainty(reading, WORKED), figure)  # worked value T3.6


def test_a_rectangular_spread_has_that_deviation():
    draw = np.random.default_rng(7)
    edge = bench.half_width(13.88, WORKED)
    assert draw.uniform(-edge, edge, 400_000).std() == pytest.approx(
        bench.standard_uncertainty(13.88, WORKED), rel=0.003
    )


@given(st.floats(-1e6, 1e6), CLASSES)
def test_sign_does_not_matter_and_the_counts_stay(reading, meter):
    u = bench.standard_uncertainty(reading, meter)
    assert u == bench.standard_uncertainty(-reading, meter)
    assert u >= bench.standard_uncertainty(0.0, meter) * (1.0 - 1e-12)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4), CLASSES, st.floats(0.0, 1.0))
def test_a_pair_keeps_each_readings_value(first, second, meter, correlation):
    one, two = bench.read_pair(first, second, meter, correlation, ("a", "b"))
    assert getattr(one, "nominal_value", one) == pytest.approx(first)
    assert getattr(two, "nominal_value", two) == pytest.approx(second)


def test_what_the_defaults_come_from():
    # The derivations that stand beside the two constants, worked through.
    voltage = 100.0 * bench.ratio_uncertainty(4.97, 13.88, bench.ORDINARY_VOLTMETER, bench.TWO_METERS)
    assert round(voltage, 1) == bench.DEFAULT_U_VOLTAGE_PCT == 0.9
    meter = bench.relative_pct(50.0, bench.standard_uncertainty(50.0, bench.ORDINARY_OHMMETER))
    null = bench.relative_pct(50.0, bench.LEAD_NULL_U_OHM)
    temp = bench.relative_pct(254.5, bench.rectangular(bench.WINDING_TEMP_HALF_WIDTH_K))
    assert temp == pytest.approx(0.34029, abs=5e-6)  # worked value T3.8
    assert round(math.hypot(meter, null, temp), 1) == bench.DEFAULT_U_RESISTANCE_PCT == 0.8


def test_an_exact_value_stays_a_plain_number():
    assert bench.with_u(5.0, 0.0, "exact") == 5.0
    assert isinstance(bench.with_u(5.0, 0.0, "exact"), float)
    assert bench.with_u(5.0, 0.1, "read").std_dev == 0.1
    assert bench.read_one(4.97, WORKED, "read").tag == "read"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: bench.MeterClass(-1.0, 3, 0.01),
            "meter's percent of reading is -1.0 %: it must be finite and 0 or more",
        ),
        (lambda: bench.MeterClass(1.0, -3, 0.01), "meter's counts is -3"),
        (lambda: bench.MeterClass(1.0, 3, -0.01), "meter's resolution is -0.01"),
        (lambda: bench.rectangular(-0.5), "half-width is -0.5"),
        (lambda: bench.relative_pct(0.0, 0.1), "size of the value is 0.0"),
        (lambda: bench.with_u(5.0, -0.1, "voltage"), "uncertainty of voltage is -0.1"),
        (lambda: bench.with_relative(5.0, -1.0, "voltage"), "relative uncertainty of voltage is -1.0 %"),
        (
            lambda: bench.read_pair(1.0, 2.0, WORKED, 1.5, ("a", "b")),
            "correlation of the gain errors is 1.5: it must be from 0 to 1",
        ),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
