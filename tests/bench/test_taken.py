"""Readings on meters of one's own: the worked values T3.6 to T3.9, two ranges, four wires."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.bench import (
    ONE_METER_ONE_RANGE,
    ONE_METER_OTHER_RANGE,
    TWO_METERS,
    MeterClass,
    no_load_taken,
    ratio_taken,
    read_pair,
    relative_pct,
    resistance_taken,
)

VOLTS, OHMS = MeterClass(1.0, 3, 0.01), MeterClass(0.8, 2, 0.1)  # the meters of T3.6 and T3.8
FINE = MeterClass(0.5, 5, 0.001)


def pct(value):
    return relative_pct(value.nominal_value, value.std_dev)


@pytest.mark.parametrize(("correlation", "u_pct"), [(ONE_METER_ONE_RANGE, 0.370169), (TWO_METERS, 0.896489)])
def test_the_ratio_of_t3_7(correlation, u_pct):
    value = ratio_taken(4.97, 13.88, 117.0, (VOLTS, VOLTS), correlation, drop_u_pct=0.0)
    assert value.nominal_value == pytest.approx(326.7525, rel=1e-6)  # T3.2
    assert pct(value) == pytest.approx(u_pct, rel=1e-5)


@pytest.mark.parametrize("correlation", [ONE_METER_ONE_RANGE, ONE_METER_OTHER_RANGE, TWO_METERS])
def test_one_class_for_both_is_a_plain_pair_of_readings(correlation):
    first, second = read_pair(4.97, 13.88, VOLTS, correlation, ("a", "b"))
    plain = 117.0 * second / first
    taken = ratio_taken(4.97, 13.88, 117.0, (VOLTS, VOLTS), correlation, drop_u_pct=0.0)
    assert (taken.nominal_value, taken.std_dev) == pytest.approx((plain.nominal_value, plain.std_dev), rel=1e-12)


@pytest.mark.parametrize("correlation", [1.0, 0.5, 0.0])
def test_two_ranges_against_random_draws(correlation):
    """Gains drawn from a joint normal law of that correlation, counts of each range by itself."""
    rolls = np.random.default_rng(7)
    g = np.array([FINE.percent, VOLTS.percent]) / 100 / math.sqrt(3)
    cov = np.diag(g**2) + correlation * g.prod() * (1 - np.eye(2))
    gains = rolls.multivariate_normal([0, 0], cov, 400_000, check_valid="ignore")
    count = np.array([5 * 0.001, 3 * 0.01]) / math.sqrt(3)
    read = np.array([4.97, 13.88]) * (1 + gains) + rolls.normal(0, count, (400_000, 2))
    drawn = 117.0 * read[:, 1] / read[:, 0]
    value = ratio_taken(4.97, 13.88, 117.0, (FINE, VOLTS), correlation, drop_u_pct=0.0)
    assert value.std_dev == pytest.approx(drawn.std(), rel=0.01)


def test_a_correlation_that_is_none_is_refused():
    with pytest.raises(ValueError, match="correlation of the gain errors is 1.5"):
        ratio_taken(4.97, 13.88, 117.0, (VOLTS, VOLTS), 1.5)


def test_a_direct_reading_has_the_meters_whole_uncertainty():
    """T3.6: u(13.88 V) = 0.0974567 V."""
    assert no_load_taken(13.88, VOLTS).std_dev == pytest.approx(0.0974567, rel=1e-6)


def test_the_resistance_of_t3_8():
    value = resistance_taken(94.6, OHMS, 20.0, null=(0.3, 0.05), temp_half_width_k=0.0)
    assert (value.nominal_value, value.std_dev) == pytest.approx((94.3, 0.554667), rel=1e-6)
    warm = resistance_taken(94.6, OHMS, 20.0, null=(0.3, 0.05))
    assert math.sqrt(pct(warm) ** 2 - pct(value) ** 2) == pytest.approx(0.34029, rel=1e-4)


@pytest.mark.parametrize(("correlation", "u_pct"), [(ONE_METER_ONE_RANGE, 0.77382), (TWO_METERS, 1.1249)])
def test_v_over_r_of_t3_9(correlation, u_pct):
    volts = ratio_taken(4.97, 13.88, 117.0, (VOLTS, VOLTS), correlation, drop_u_pct=0.0)
    value = volts / resistance_taken(94.6, OHMS, 20.0, null=(0.3, 0.05))
    assert value.nominal_value == pytest.approx(3.465032, rel=1e-6)
    assert pct(value) == pytest.approx(u_pct, rel=1e-4)


def test_four_wires_have_no_null():
    """A milliohm range of 0.5 % + 2 counts: u = (0.005 0.052 + 2 0.0001) / sqrt 3, nothing beside it."""
    value = resistance_taken(0.052, MeterClass(0.5, 2, 0.0001), 20.0, null=None, temp_half_width_k=0.0)
    assert value.std_dev == pytest.approx((0.005 * 0.052 + 2e-4) / math.sqrt(3))


def test_aluminium_follows_its_own_line():
    """(K + 20)/(K + t) with K = 228.1 °C."""
    value = resistance_taken(100.0, OHMS, 30.0, temp_half_width_k=0.0, inferred_zero_c=228.1)
    assert value.nominal_value == pytest.approx(100.0 * 248.1 / 258.1)


@pytest.mark.parametrize(
    ("null", "said"), [((95.0, 0.05), "resistance read with the leads"), ((-1.0, 0.05), "null"), ((0.3, -0.1), "null")]
)
def test_an_impossible_null_is_refused(null, said):
    with pytest.raises(ValueError, match=said):
        resistance_taken(94.6, OHMS, 20.0, null=null)
