"""A heat run worked out: back to switching off, the rise, what it permits, and what it refuses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from calib.bench import MeterClass
from calib.errors import InputError
from calib.estimate.heat_run import HeatRun, back_to_switch_off, heat_run
from tests.counts import share
from tests.scenes.warming import ZERO, a_unit, warmed

SECONDS = (20.0, 35.0, 50.0, 65.0, 90.0, 120.0, 150.0, 180.0, 240.0, 300.0)
OHM = (76.76, 76.51, 76.26, 76.01, 75.62, 75.15, 74.72, 74.31, 73.48, 72.72)
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


def test_coil_that_first_falls_toward_its_core_is_fitted_early():
    at = np.array(SECONDS)
    ohm = 62.54 + 12.0 * np.exp(-at / 1800.0) + 4.0 * np.exp(-at / 60.0)
    found = back_to_switch_off(SECONDS, ohm, 62.54)
    assert (found.method, found.span_s) == ("B", 180.0)
    assert found.ohm == pytest.approx(78.54, abs=0.25)
    assert found.by_method["A"] < 77.6  # what one curve through all would have made of it
    assert "first 180 s" in str(heat_run(replace(RUN, ohm=tuple(ohm))))


def wrong(**changed: object) -> str:
    with pytest.raises(InputError) as told:
        heat_run(replace(RUN, **changed))
    assert len(told.value.faults) == 1, told.value
    return str(told.value)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"seconds": SECONDS[:2], "ohm": OHM[:2]}, "2 readings are too few"),
        ({"ohm": OHM[::-1]}, "rises after switching off"),
        ({"cold_ohm": 78.0}, "is no hotter than the room"),
        ({"ambient_end_c": float("nan")}, "ambient_end_c 'nan': is outside the limits"),
        ({"load_ma": 92e6}, "load_ma '9.2e+07': is outside the limits, 0.1 to 100000 mA"),
        ({"iron_w": 6.4}, "copper_w (empty): one loss is given without the other"),
        ({"seconds": SECONDS[::-1]}, "do not rise from row to row"),
        ({"line_ohm": OHM}, "the primary was read hot and not cold"),
        ({"line_ohm_cold": 6.2}, "the primary was read cold and not hot"),
        ({"conductor": "silver"}, "give copper or aluminium"),
    ],
)
def test_nonsense_is_one_clear_error(changed: dict[str, object], said: str):
    assert said in wrong(**changed)


def test_permitted_current_lies_within_its_stated_uncertainty():
    dice, wanted = np.random.default_rng(77), share(60, 300)
    inside: list[bool] = []
    while len(inside) < wanted:
        unit, air = a_unit(dice), dice.uniform(15.0, 27.0)
        rise = unit.steady_rise(air)
        hot = air + np.array([rise, rise - 8.0])
        cooling = warmed(unit, np.array([0.0, *SECONDS]) / 60.0, np.full(11, air), tuple(hot), on=False)[1:, 0]

        def read(ohm: float) -> float:
            return ohm * (1.0 + dice.normal(0.0, 0.003))

        parted = dice.random() < 0.5
        watts = unit.copper_w * (ZERO + air + rise) / (ZERO + 20.0)
        losses = {"iron_w": unit.iron_w, "copper_w": watts} if parted else {}
        ohms = tuple(read(unit.ohm(one)) for one in cooling)
        run = HeatRun(read(unit.ohm(air)), air, air, air, 92.0, 60.0, SECONDS, ohms, **losses)
        counts = MeterClass(0.0, 0.003 * 3.0**0.5 * unit.ohm(air), 1.0)
        result = heat_run(run, counts)
        if result.reference_ma is None:
            continue
        true = 92.0 * brentq(lambda load, unit=unit: unit.steady_rise(40.0, load) - 60.0, 0.15, 1.9)
        inside.append(result.reference_low_ma <= true <= result.reference_high_ma)
    assert np.mean(inside) >= 0.85, np.mean(inside)


def test_frame_and_text_hold_the_same(printed: Callable[[float, str], None]):
    result = heat_run(RUN)
    row = result.frame().iloc[0]
    assert (row["hot_ohm"], row["level"]) == (result.hot_ohm, 0.9)
    printed(result.reference_ma, "89.75")
    assert "89.75 mA" in str(result)
