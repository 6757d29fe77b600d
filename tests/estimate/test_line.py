"""Another line than a unit's own: flux, exciting current, volts, and remedies with their figures."""

from __future__ import annotations

import math

import pytest

from calib.bench import core_area_cm2, flux_density_t
from calib.estimate.line import LineNow, line_now


@pytest.mark.parametrize(
    ("nominal", "now", "verdict", "winding"),
    [
        ((115.0, 60.0), (122.0, 60.0), "mend it", 6.3),
        ((110.0, 60.0), (122.0, 60.0), "not so", 12.6),
        ((220.0, 50.0), (238.0, 50.0), "mend it", 18.0),
        ((117.0, 60.0), (117.0, 50.0), "not so", 20.0),
    ],
)
def test_flux_follows_volts_over_frequency_and_a_bucking_winding_brings_it_back(nominal, now, verdict, winding):
    found = line_now(nominal, now, primary_a=0.7)
    assert found.volts_ratio == pytest.approx(now[0] / nominal[0])
    assert found.flux_ratio == pytest.approx(now[0] / nominal[0] * nominal[1] / now[1])
    assert found.verdict == verdict
    taps, bucking, resistor = found.remedies
    assert (bucking["kind"], bucking["winding_v"]) == ("bucking", winding)
    assert bucking["left_v"] == pytest.approx(found.target_v, rel=0.03)
    assert bucking["va"] == pytest.approx(0.7 * winding)
    mended = line_now(nominal, (bucking["left_v"], now[1]))
    assert mended.flux_ratio == pytest.approx(1.0, abs=0.03)
    assert resistor["ohm"] * 0.7 == pytest.approx(now[0] - found.target_v)
    assert resistor["watts"] == pytest.approx(0.7**2 * resistor["ohm"])
    assert line_now((taps["tap_v"], nominal[1]), now).flux_ratio == pytest.approx(1.0)


def test_core_and_turns_tell_the_flux_itself():
    made = flux_density_t(117.0, 345.0, core_area_cm2(28.0, 33.6), 60.0)
    found = line_now((117.0, 60.0), (122.0, 50.0), flux_t=made)
    again = flux_density_t(122.0, 345.0, core_area_cm2(28.0, 33.6), 50.0)
    assert found.flux_t == (pytest.approx(again), pytest.approx(again))
    assert found.iron_ratio == pytest.approx((again / made) ** 2 * (50 / 60) ** 1.3)
    assert found.exciting_ratio[0] > 5.0  # from 1.42 T into saturation
    assert "1.78 T, as made 1.42 T" in str(found)


def test_exciting_current_rises_faster_than_the_flux_and_falls_with_it():
    up, down = line_now((115.0, 60.0), (122.0, 60.0)), line_now((115.0, 60.0), (108.0, 60.0))
    assert all(one > up.flux_ratio for one in up.exciting_ratio)
    assert all(one < 1.0 for one in down.exciting_ratio)
    assert line_now((115.0, 60.0), (115.0, 60.0)).exciting_ratio == (pytest.approx(1.0), pytest.approx(1.0))
    wild = line_now((115.0, 60.0), (400.0, 60.0))
    assert all(math.isfinite(one) for one in wild.exciting_ratio)


def test_way_round_is_proved_at_low_voltage_with_the_unit_away():
    found = line_now((115.0, 60.0), (122.0, 60.0), heaters=[6.3], primary_a=0.7)
    (one,) = (one for one in found.remedies if one["kind"] == "bucking")
    assert one["test_left_v"] == pytest.approx(12.0 * (122.0 - 6.3) / 122.0)
    assert one["test_wrong_v"] > 12.0
    lines = found.remedy_words
    assert lines[0].startswith("Before any of these: unplug")
    assert "the set's unit NOT connected" in " ".join(lines)
    assert "A heater of 6.3 V stands at 6.68 V (+6 %)" in str(found)
    assert "Multiplier and rated current belong to its design" in str(found)


def test_boosting_wants_the_greater_reading():
    (one,) = line_now((230.0, 50.0), (208.0, 50.0)).remedies
    assert (one["kind"], one["winding_v"], one["va"]) == ("boosting", 20.0, None)
    assert one["test_left_v"] > 12.0 > one["test_wrong_v"]


@pytest.mark.parametrize(
    ("nominal", "now"), [((230.0, 50.0), (231.0, 50.0)), ((230.0, 50.0), (230.0, 60.0)), ((230.0, 50.0), (120.0, 50.0))]
)
def test_nothing_is_offered_where_nothing_is_to_be_mended_or_no_small_transformer_mends_it(nominal, now):
    assert line_now(nominal, now).remedies == ()


def test_slower_line_is_told_what_its_own_flux_costs_the_heaters():
    said = str(line_now((117.0, 60.0), (120.0, 50.0)))
    assert "wants 97.5 V at 50 Hz" in said
    assert "0.83 times theirs" in said


@pytest.mark.parametrize("wrong", [((0.0, 60.0), (117.0, 60.0)), ((117.0, 60.0), (117.0, -1.0))])
def test_line_of_nothing_is_refused(wrong: tuple[tuple[float, float], tuple[float, float]]):
    with pytest.raises(ValueError, match="above 0"):
        line_now(*wrong)


def test_figures_are_plain():
    found: LineNow = line_now((115.0, 60.0), (122.0, 60.0), heaters=[5.0, 6.3, 6.3])
    assert found.as_dict()["heaters"] == [
        {"heater_v": 5.0, "now_v": pytest.approx(5.3043, rel=1e-4)},
        {"heater_v": 6.3, "now_v": pytest.approx(6.6835, rel=1e-4)},
    ]
