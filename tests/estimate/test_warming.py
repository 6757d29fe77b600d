"""A heat run while it lasts: the forecast against units that warm in a drifting room, the load, the refusals."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, strategies as st

from calib.errors import InputError
from calib.estimate.warming import E12, Entry, entries_by_ohms, forecast_rise, make_up, run_plan
from tests.counts import share
from tests.scenes.nonsense import ENTRIES, SOUND
from tests.scenes.proof import forecasts


def test_forecast_covers_what_it_states_after_one_two_and_three_time_constants():
    made = forecasts(np.random.default_rng(2024), share(16, 300))
    made["inside"] = made["low"].le(made["truth"]) & made["truth"].le(made["high"])
    made["width"] = (made["high"] - made["low"]) / made["truth"]
    ways = made.groupby(["way", "constants"])
    slack = 3.0 * (0.9 * 0.1 / ways.size().iloc[0]) ** 0.5
    assert ways["inside"].mean().between(0.85 - slack, 0.95 + slack).all(), ways["inside"].mean()
    assert all(width.is_monotonic_decreasing for _, width in ways["width"].median().groupby("way"))


def warming(final: float, tau: float, until: float) -> list[Entry]:
    return [Entry(at, 20.0 + final * (1.0 - np.exp(-at / tau)), 20.0) for at in np.arange(5.0, until, 5.0)]


def test_stop_is_said_when_the_forecast_is_past_the_limit_and_not_before():
    assert forecast_rise(warming(90.0, 30.0, 61.0), 60.0, 0.5).stop
    assert not forecast_rise(warming(45.0, 30.0, 61.0), 60.0, 0.5).stop
    assert str(forecast_rise(warming(90.0, 30.0, 61.0), 60.0, 0.5)).startswith("STOP NOW")
    # Past the limit already, whatever is to come.
    assert forecast_rise(warming(62.0, 10.0, 61.0), 60.0, 0.5).stop


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        (warming(50.0, 30.0, 11.0), "2 entries are too few"),
        (warming(50.0, 30.0, 31.0)[::-1], "the times do not rise"),
        ([*warming(50.0, 30.0, 31.0), Entry(35.0, float("nan"), 20.0)], "would be a rise of nan K"),
        ([Entry(at, 60.0 - at, 20.0) for at in (5.0, 10.0, 15.0)], "the unit does not warm"),
    ],
)
def test_nonsense_is_one_clear_error(entries: list[Entry], said: str):
    with pytest.raises(InputError) as told:
        forecast_rise(entries, 60.0, 0.5)
    assert len(told.value.faults) == 1
    assert said in str(told.value)


@pytest.mark.parametrize("case", ENTRIES)
def test_entries_that_no_warming_unit_gives_are_one_clear_error(case: str):
    rows, said = ENTRIES[case]
    with pytest.raises(InputError) as told:
        forecast_rise(entries_by_ohms(rows, SOUND["cold_ohm"], SOUND["cold_temp_c"])[0], 60.0, 0.5)
    assert len(told.value.faults) == 1
    assert said in str(told.value)


@given(st.floats(10.0, 5e4), st.floats(1.0, 300.0))
def test_load_made_of_stock_parts_is_what_was_wanted_and_stays_cool(ohm: float, watts: float):
    made = make_up(ohm, watts)
    if made is None:
        return
    count = made.series * made.parallel
    assert made.ohm == pytest.approx(ohm, rel=0.05)
    assert count <= 24
    assert made.bears_w * count == pytest.approx(watts)
    assert made.bears_w <= made.each_w / 2.0
    assert any(made.each_ohm / value == pytest.approx(10.0 ** round(np.log10(made.each_ohm / value))) for value in E12)


def test_usual_loads_can_be_made_up():
    assert str(make_up(3750.0, 33.0)) == "2 of 1800 ohm, 50 W, all in a row: 3600 ohm, 16 W in each"
    assert all(
        make_up(volts / amperes, volts * amperes) for volts in (150.0, 350.0, 500.0) for amperes in (0.04, 0.1, 0.3)
    )


def test_plan_lasts_five_time_constants_and_reads_soon_after_switching_off():
    plan = run_plan(351.0, 93.0, 25.4)
    assert (plan.load_ohm, plan.load_w) == pytest.approx((351.0 / 0.093, 351.0 * 0.093))
    assert plan.hours == pytest.approx(127.0 / 60.0)
    assert plan.most_hours == 2.0 * plan.hours
    assert plan.after_s[0] <= 30.0
    assert all(sooner < later for sooner, later in pairwise(plan.entries_min))
    assert run_plan(351.0, 93.0).hours > plan.hours
