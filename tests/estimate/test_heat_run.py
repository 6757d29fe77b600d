"""A heat run worked out: back to switching off, the rise, what it permits, and what it refuses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from calib.errors import InputError
from calib.estimate.cooling import back_to_switch_off
from calib.estimate.heat_run import HeatRun, heat_run
from calib.paths import shipped
from tests.counts import share
from tests.scenes.nonsense import OHM, RUNS, SECONDS, SOUND, but
from tests.scenes.proof import permitted

RUN = HeatRun(62.15, 20.4, 21.0, 22.0, 92.0, 60.0, SECONDS, OHM)


def test_losses_parted_move_the_rule_and_not_the_rise():
    plain, parted = heat_run(RUN), heat_run(replace(RUN, iron_w=6.4, copper_w=9.8))
    assert (plain.rule, parted.rule) == ("exponent 1/1.6", "iron-separated")
    assert plain.rise_k == parted.rise_k == pytest.approx(59.7224, abs=1e-4)
    assert heat_run(replace(RUN, allowed_rise_k=50.0)).rule == "exponent 0.8"
    assert plain.allowed_low_ma < plain.allowed_ma < plain.allowed_high_ma


def test_register_gets_the_reference_current_whatever_is_allowed():
    results = [heat_run(replace(RUN, allowed_rise_k=allowed)) for allowed in (45.0, 60.0, 80.0)]
    assert len({one.reference_ma for one in results}) == 1
    assert [one.allowed_ma for one in results] == sorted(one.allowed_ma for one in results)
    assert results[0].reference_ma < 92.0 < results[2].allowed_ma


def test_current_far_beyond_what_was_tried_is_not_told():
    far = heat_run(replace(RUN, allowed_rise_k=120.0))
    assert (far.allowed_ma, far.allowed_low_ma, far.flags) == (None, None, ("retest",))
    assert "1.3 times the 92 mA" in str(far)
    assert "not told" in str(far)


def test_iron_that_is_too_hot_by_itself_permits_nothing():
    hot = heat_run(replace(RUN, iron_w=30.0, copper_w=2.0, allowed_rise_k=40.0))
    assert hot.allowed_ma is None
    assert "iron-too-hot" in hot.flags
    assert "iron alone would warm the unit by 56 K" in str(hot)


def test_primary_hotter_than_the_winding_is_said():
    line = tuple(0.1 * one for one in OHM)
    same = heat_run(replace(RUN, line_ohm=line, line_ohm_cold=6.215))
    assert same.line_rise_k == pytest.approx(same.rise_k)
    hotter = heat_run(replace(RUN, line_ohm=line, line_ohm_cold=6.0))
    assert hotter.line_rise_k > hotter.rise_k + 5.0
    assert "it limits the unit" in str(hotter)
    # One meter reads them by turns: the primary at times of its own.
    by_turns = replace(RUN, line_seconds=SECONDS[1::2], line_ohm=line[1::2], line_ohm_cold=6.215)
    assert heat_run(by_turns).line_rise_k == pytest.approx(same.line_rise_k, abs=0.1)


def test_coil_that_first_falls_toward_its_core_is_fitted_early():
    at = np.array(SECONDS)
    ohm = 62.54 + 12.0 * np.exp(-at / 1800.0) + 4.0 * np.exp(-at / 60.0)
    found = back_to_switch_off(SECONDS, ohm, 62.54)
    assert (found.method, found.span_s) == ("B", 180.0)
    assert found.ohm == pytest.approx(78.54, abs=0.25)
    assert found.by_method["A"] < 77.6  # what one curve through all would have made of it
    assert "first 180 s" in str(heat_run(replace(RUN, ohm=tuple(ohm))))


IDLE = {"copper_w": 9.8, "iron_w": None}


def wrong(**changed: object) -> str:
    with pytest.raises(InputError) as told:
        heat_run(replace(RUN, **changed))
    assert len(told.value.faults) == 1, told.value
    return str(told.value)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"ambient_end_c": float("nan")}, "ambient_end_c 'nan': is outside the limits"),
        ({"load_ma": 92e6}, "load_ma '9.2e+07': is outside the limits, 0.1 to 100000 mA"),
        ({"iron_w": 6.4}, "copper_w (empty): one loss is given without the other"),
        ({"line_ohm": OHM}, "the primary was read hot and not cold"),
        ({"line_ohm_cold": 6.2}, "the primary was read cold and not hot"),
        (
            {"line_ohm_cold": 6.2, "line_ohm": OHM, "line_seconds": SECONDS[:4]},
            "line_seconds (empty): 4 times stand beside 10 resistances",
        ),
        (
            {"line_ohm_cold": 62.0, "line_ohm": OHM, "line_seconds": SECONDS[::-1]},
            "line_seconds (empty): do not rise from row to row",
        ),
        ({"conductor": "silver"}, "give copper or aluminium"),
        ({**IDLE, "idle_w": 7.0, "idle_ma": 300.0}, "idle_ohm (empty): the watts without load are not whole"),
        ({"idle_rise_k": 20.0}, "copper_w (empty): what was read without load parts"),
        ({**IDLE, "iron_w": 5.0, "idle_rise_k": 20.0}, "iron_w '5': the iron's loss is given, and what it is"),
        ({**IDLE, "idle_rise_k": 70.0}, "idle_rise_k '70': rise under load is"),
        ({**IDLE, "idle_w": 0.5, "idle_ma": 300.0, "idle_ohm": 6.7}, "idle_w '0.5': watts from the line is 0.5 W"),
    ],
)
def test_nonsense_is_one_clear_error(changed: dict[str, object], said: str):
    assert said in wrong(**changed)


@pytest.mark.parametrize("case", RUNS)
def test_readings_that_no_unit_gives_are_one_clear_error(case: str):
    changed, seconds, ohm, said = RUNS[case]
    with pytest.raises(InputError) as told:
        heat_run(HeatRun(**(SOUND | changed), seconds=seconds, ohm=ohm))  # type: ignore[arg-type]
    assert len(told.value.faults) == 1
    assert said in str(told.value)


def test_one_reading_off_the_curve_is_doubted_and_none_of_a_sound_run():
    """80 ohm at 90 s, where the others' curve has 75.62 to within its last digit."""
    off = heat_run(replace(RUN, ohm=but(4, 80.0)))
    assert any("The reading at 90 s lies +4.4 ohm off" in one for one in off.doubts)
    assert heat_run(RUN).cooling.off is None


def test_what_makes_a_current_less_does_not_widen_its_interval_upward():
    """Unparted losses leave open that the iron alone is nearly as hot: below that is wide, above it the share of 0."""
    hot = heat_run(replace(RUN, cold_temp_c=70.0, ambient_start_c=22.0))
    assert hot.rise_k > 110.0
    assert hot.allowed_low_ma < 0.1 * hot.allowed_ma
    assert hot.allowed_ma < hot.allowed_high_ma < 1.5 * hot.allowed_ma


def test_permitted_current_lies_within_its_stated_uncertainty():
    """Losses not parted, both watts given, or parted by the rise without load that the unit has by its own law."""
    found = permitted(np.random.default_rng(77), share(60, 300))
    inside = found["low"].le(found["truth"]) & found["truth"].le(found["high"])
    assert inside.mean() >= 0.85, inside.groupby(found["way"]).mean()


def test_the_figures_that_were_measured_once_are_those_that_the_readme_s_word_rests_on():
    """The table of the held-out seed: forecasts between 85 and 95 of 100, permitted currents 85 and more."""
    kept = pd.read_csv(shipped("datasets/validation/heat_run.csv")).set_index(["quantity", "case"])
    forecast = kept.loc["forecast"]
    assert (forecast["runs"] == 300).all()
    assert len(forecast) == 9
    assert forecast["coverage"].between(0.85, 0.95).all()
    assert kept.loc["permitted current", "coverage"].ge(0.85).all()


def test_iron_s_loss_follows_from_a_run_without_load():
    """9.8 W of copper and 6.4 of iron: the iron alone makes 6.4/16.2 of the rise, loss and rise being on one line."""
    rise = heat_run(RUN).rise_k
    by_rise = heat_run(replace(RUN, **IDLE, idle_rise_k=rise * 6.4 / 16.2))
    given = heat_run(replace(RUN, **IDLE | {"iron_w": 6.4}))
    assert by_rise.iron_w == pytest.approx(6.4)
    assert (by_rise.reference_ma, by_rise.rule) == (pytest.approx(given.reference_ma), "iron-separated")
    assert by_rise.reference_low_ma < given.reference_low_ma  # what the rises leave open is in the interval
    # 7.0 W less (0.3 A)² 6.6667 ohm; 5 % of a wattmeter's 7.0 W either way
    by_watts = heat_run(replace(RUN, **IDLE, idle_w=7.0, idle_ma=300.0, idle_ohm=6.6667))
    assert by_watts.iron_w == pytest.approx(6.4, abs=1e-5)
    assert (by_watts.iron.low_w, by_watts.iron.high_w) == (pytest.approx(6.05, abs=1e-4), pytest.approx(6.75, abs=1e-4))
    assert "by the watts without load" in str(by_watts)
    both = heat_run(replace(RUN, **IDLE, idle_w=17.0, idle_ma=300.0, idle_ohm=6.6667, idle_rise_k=rise * 6.4 / 16.2))
    assert both.iron.way == "rises"
    assert any("16.4 W by the watts and to 6.4 W by the rises" in one for one in both.doubts)


def test_frame_and_text_hold_the_same(printed: Callable[[float, str], None]):
    result = heat_run(RUN)
    row = result.frame().iloc[0]
    assert (row["hot_ohm"], row["level"]) == (result.hot_ohm, 0.9)
    printed(result.reference_ma, "89.75")
    assert "89.75 mA" in str(result)
