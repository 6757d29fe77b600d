"""Meter classes, readings with their uncertainty, and the account of what made it. Source: JCGM 100:2008."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench import (
    main_part,
    ratio_taken,
    resistance_taken,
    uncertainty as account,
    uncertainty_budget,
    v_over_r,
    with_relative,
    with_u,
)
from tests.counts import FEW

CLASSES = st.builds(bench.MeterClass, st.floats(0.0, 10.0), st.floats(0.0, 50.0), st.floats(0.0, 10.0))


WORKED = bench.MeterClass(percent=1.0, counts=3, resolution=0.01)


def test_a_rectangular_spread_has_that_deviation():
    draw = np.random.default_rng(7)
    edge = bench.half_width(13.88, WORKED)
    assert draw.uniform(-edge, edge, 400_000).std() == pytest.approx(
        bench.standard_uncertainty(13.88, WORKED), rel=0.003
    )


@FEW
@given(st.floats(-1e6, 1e6), CLASSES)
def test_sign_does_not_matter_and_the_counts_stay(reading, meter):
    u = bench.standard_uncertainty(reading, meter)
    assert u == bench.standard_uncertainty(-reading, meter)
    assert u >= bench.standard_uncertainty(0.0, meter) * (1.0 - 1e-12)


@FEW
@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4), CLASSES, st.floats(0.0, 1.0))
def test_a_pair_keeps_each_readings_value(first, second, meter, correlation):
    one, two = bench.read_pair(first, second, (meter, WORKED), correlation, ("a", "b"))
    assert getattr(one, "nominal_value", one) == pytest.approx(first)
    assert getattr(two, "nominal_value", two) == pytest.approx(second)


def test_what_the_defaults_come_from():
    # The derivations that stand beside the two constants, worked through.
    voltage = 100.0 * bench.ratio_uncertainty(4.97, 13.88, bench.ORDINARY_VOLTMETER, bench.TWO_METERS)
    assert round(voltage, 1) == bench.DEFAULT_U_VOLTAGE_PCT == 0.9
    meter = bench.relative_pct(50.0, bench.standard_uncertainty(50.0, bench.ORDINARY_OHMMETER))
    null = bench.relative_pct(50.0, bench.LEAD_NULL_U_OHM)
    temp = bench.relative_pct(254.5, bench.rectangular(bench.WINDING_TEMP_HALF_WIDTH_K))
    assert temp == pytest.approx(0.34029, abs=5e-6)
    assert round(math.hypot(meter, null, temp), 1) == bench.DEFAULT_U_RESISTANCE_PCT == 0.8


def test_an_exact_value_stays_a_plain_number():
    assert bench.with_u(5.0, 0.0, "exact") == 5.0
    assert isinstance(bench.with_u(5.0, 0.0, "exact"), float)
    assert bench.with_u(5.0, 0.1, "read").std_dev == 0.1
    assert bench.read_one(4.97, WORKED, "read").tag == "read"


def worked():
    volts = ratio_taken(4.97, 13.88, 117.0, (WORKED, WORKED), 1.0, drop_u_pct=0.0)
    return volts / resistance_taken(94.6, bench.ORDINARY_OHMMETER, 20.0, null=(0.3, 0.05))


def test_the_account_of_v_over_r():
    """Of 0.77382 %²: the ratio 0.370169; ohmmeter and null 0.554667/94.3, temperature 0.34029."""
    parts = {part.source: part for part in uncertainty_budget(worked())}
    whole = 0.77382**2
    counts = [part.share for source, part in parts.items() if source.startswith("the last digits")]
    assert sum(counts) == pytest.approx(0.370169**2 / whole, rel=1e-4)
    assert parts["the winding's temperature"].share == pytest.approx(0.34029**2 / whole, rel=1e-4)
    ohms = parts["the ohmmeter"].u_pct ** 2 + parts["the null of the leads"].u_pct ** 2
    assert ohms == pytest.approx((100 * 0.554667 / 94.3) ** 2, rel=1e-5)
    assert "the voltmeter's scale" not in parts  # one meter and range: it cancels


def test_shares_add_up_and_the_largest_stands_first():
    parts = uncertainty_budget(worked())
    assert sum(part.share for part in parts) == pytest.approx(1.0)
    assert [part.share for part in parts] == sorted((part.share for part in parts), reverse=True)
    assert parts[0].source == "the ohmmeter"
    assert sum(part.u_pct**2 for part in parts) == pytest.approx(0.77382**2, rel=1e-4)


def test_two_meters_bring_the_scales_in():
    """g² 2 (1 - r) with g = 1 %/sqrt 3 (JCGM 100:2008, 5.2)."""
    volts = ratio_taken(4.97, 13.88, 117.0, (WORKED, WORKED), 0.0, drop_u_pct=0.0)
    parts = {part.source: part.u_pct for part in uncertainty_budget(volts)}
    assert parts["the voltmeter's scale"] == pytest.approx(math.sqrt(2 / 3))


def test_the_largest_part_is_said_with_its_remedy():
    said = main_part(uncertainty_budget(v_over_r(327.0, with_relative(94.3, 4.0, account.HALVES))))
    assert said == "taking one half for the other makes 95 % of this: read the resistance end to end"  # 16/(16 + 0.81)
    assert main_part(uncertainty_budget(with_u(1.0, 0.1, "a thumb"))) == "a thumb makes 100 % of this"


@pytest.mark.parametrize("exact", [3.0, with_u(3.0, 0.0, "nothing")])
def test_an_exact_value_has_no_account(exact):
    assert uncertainty_budget(exact) == ()
    assert main_part(()) == ""


def test_every_tag_of_the_readings_has_a_remedy():
    parts = uncertainty_budget(worked() * with_relative(1.0, 0.3, account.EXCITING_DROP))
    assert len(parts) == 6
    assert all(part.remedy for part in parts)
    fed = [part.remedy for part in parts if "feed more" in part.remedy]
    assert len(fed) == 3
    assert all(f" {bench.HAZARDOUS_LIVE_V:g} V" in remedy for remedy in fed)


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
            lambda: bench.read_pair(1.0, 2.0, (WORKED, WORKED), 1.5, ("a", "b")),
            "correlation of the gain errors is 1.5: it must be from 0 to 1",
        ),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
