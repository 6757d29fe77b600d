"""Resistors, regulator, fuse, inrush and heat budget: corners, and what is refused."""

from __future__ import annotations

import math

import pytest

from calib.supply.budget import (
    FUSES_MA,
    Winding,
    dropping,
    fuse_ma,
    glow_regulator,
    heat_budget,
    heater_at_load,
    inrush,
    preferred_ohm,
    primary_current,
)


def test_regulator_stays_lit_at_the_low_line_and_whole_at_the_high_one_without_load():
    found = glow_regulator((235.0, 290.0), 150.0, 8.0, (5.0, 40.0))
    assert found.works
    assert (found.least_ohm, found.most_ohm) == (pytest.approx(3500.0), pytest.approx(6538.46, rel=1e-5))
    assert found.tube_low_ma > 5.0
    assert found.tube_high_ma < 40.0
    assert found.watts == pytest.approx(140.0**2 / found.ohm)
    at_edge = glow_regulator((235.0, 290.0), 150.0, 8.0, (5.0, 40.0), ohm=found.least_ohm)
    assert (at_edge.works, at_edge.tube_high_ma) == (True, pytest.approx(40.0))
    assert not glow_regulator((235.0, 290.0), 150.0, 8.0, (5.0, 40.0), ohm=7000.0).works


def test_regulator_that_no_resistor_serves_says_so():
    found = glow_regulator((170.0, 290.0), 150.0, 25.0, (5.0, 30.0))
    assert not found.works
    assert math.isnan(found.ohm)
    assert found.least_ohm > found.most_ohm


def test_resistor_is_one_that_is_sold_and_nearest_the_middle():
    assert preferred_ohm(3500.0, 6538.46) == 4700.0  # the middle is 4784
    assert preferred_ohm(11.0, 11.5) == pytest.approx(math.sqrt(11.0 * 11.5))  # none is sold between
    assert preferred_ohm(98.0, 103.0) == 100.0
    assert math.isnan(preferred_ohm(5.0, 4.0))


def test_fuse_is_the_next_size_and_none_without_a_current():
    assert fuse_ma(703.2) == 1250.0
    assert fuse_ma(1000.0 / 1.5) == 1000.0
    assert all(fuse_ma(size / 1.5) == size for size in FUSES_MA)
    assert all(math.isnan(fuse_ma(one)) for one in (0.0, math.nan, 6000.0))


def test_inrush_is_bounded_by_resistance_alone_and_tamed_by_what_is_added():
    found = inrush(117.0, 5.36, 0.5)
    assert found.peak_a == pytest.approx(28.2358, rel=1e-4)
    assert found.added_ohm == 0.0
    held = inrush(117.0, 5.36, 0.5, held_a=12.5)
    assert inrush(117.0, 5.36 + held.added_ohm, 0.5).peak_a == pytest.approx(12.5)


def test_dropper_and_heater_at_part_load():
    left = heater_at_load(6.9, 0.12, 1.35, 122 / 115)
    assert left == pytest.approx(7.158, rel=1e-4)
    found = dropping(left, 6.3, 1.35)
    assert (found.ohm, found.watts) == (pytest.approx(0.63556, rel=1e-4), pytest.approx(1.1583, rel=1e-4))
    assert left - found.ohm * 1.35 == pytest.approx(6.3)
    with pytest.raises(ValueError, match="dropped from"):
        dropping(6.0, 6.3, 1.0)


def test_unused_heaters_leave_heat_to_the_high_voltage_winding():
    hv, heater = Winding(188.6, 0.1, 0.1), Winding(0.05, 3.0, 0.0)
    found = heat_budget(hv, [heater])
    assert found.rated_w == pytest.approx(188.6 * 0.01 + 0.45)
    assert found.left_w == pytest.approx(0.45)
    assert found.hv_share == pytest.approx(math.sqrt((1.886 + 0.45) / 1.886))
    assert heat_budget(hv, [Winding(0.05, 30.0, 0.0)]).hv_share == 1.15
    assert heat_budget(hv, [Winding(0.05, 3.0, 4.0)]).hv_share < 1.0
    assert heat_budget(hv, [Winding(0.05, 3.0, 30.0)]).hv_share == 0.0


def test_primary_current_is_less_than_the_plain_sum_and_more_than_the_power_alone():
    found = primary_current(117.0, 28.9, 6.4, 0.085, 0.429009, 41.1486)
    assert found.watts / 117.0 < found.amperes < found.resistive_a + found.hv_a + 0.085
    with pytest.raises(ValueError, match="iron loss"):
        primary_current(117.0, 28.9, -1.0, 0.085, 0.4, 41.0)
