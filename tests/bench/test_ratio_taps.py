"""What a ratio test's voltages mean: heaters, rated voltages, taps, halves, safe excitation."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, strategies as st

from calib.bench.faults import compare_halves, half_ratio_by_order
from calib.bench.ratio_test import (
    HEATER_VOLTS,
    TapReading,
    heater_excitation,
    scale_taps,
    usual_heater_v,
)

VOLTS = st.floats(0.5, 500.0)


@pytest.mark.parametrize(
    ("volts", "rated"),
    [
        *((6.6, 6.3), (7.1, 6.3), (5.3, 5.0), (5.7, 5.0)),  # what 6.3 and 5 V windings show unloaded (judgement)
        *((1.05 * rated, rated) for rated in HEATER_VOLTS),
        (1.6, 1.5),  # as of the 26, heated with ac (RCA Receiving Tube Manual)
        (6.12, 6.3),
        (7.24, 6.3),
        (7.3, 7.5),
    ],
)
def test_a_heater_voltage_is_named(volts, rated):
    assert usual_heater_v(volts)[0] == rated


@pytest.mark.parametrize("volts", [1.0, 1.42, 2.1, 3.3, 5.9, 9.0, 30.0, 326.0])
def test_what_is_no_heater_voltage(volts):
    """1.4 and 2.0 V are filaments of battery valves: no winding of a mains set is one."""
    assert usual_heater_v(volts) == ()


def test_voltages_that_stand_for_two():
    assert usual_heater_v(12.3) == (11.0, 12.6)  # 11.8 % over 11 V, 2.4 % under 12.6 V
    assert usual_heater_v(11.45) == (11.0, 10.0)


@given(st.sampled_from(HEATER_VOLTS), st.floats(-0.0299, 0.1499))
def test_every_winding_within_the_band_is_found(rated, excess):
    assert rated in usual_heater_v(rated * (1.0 + excess))


def test_worked_excitation_of_a_heater_winding(printed):
    safe = heater_excitation(6.3, 653.505)
    printed(safe.allowed_v, "0.28921")  # worked value T3.1
    for words in ("0.289 V at most", "653.5 V", "kills", "isolated", "rather feed the highest winding with 30 V"):
        assert words in safe.caution


def test_a_low_winding_may_be_fed_with_more():
    safe = heater_excitation(6.3, 117.0)
    assert safe.allowed_v == pytest.approx(30.0 * 6.3 / 117.0)
    assert "rather feed" not in safe.caution


def test_worked_order_of_winding(printed):
    printed(half_ratio_by_order(132.0, 1.25, 3.75), "1.11232")  # worked value T9.2


@given(st.floats(50.0, 400.0), st.floats(0.0, 10.0), st.floats(0.0, 10.0))
def test_the_outer_half_has_the_longer_turn(perimeter, inner, more):
    assert half_ratio_by_order(perimeter, inner, inner + more) >= 1.0
    assert half_ratio_by_order(perimeter, inner, inner + more + 1.0) > half_ratio_by_order(
        perimeter, inner, inner + more
    )


@pytest.mark.parametrize(
    ("volts", "ohms", "verdict"),
    [
        ((13.88, 13.85), (148.2, 171.9), "centre tap"),  # resistances of worked value T8.1
        ((13.88, 13.85), (math.nan, math.nan), "centre tap"),
        ((13.88, 13.70), (94.3, 94.3), "doubtful"),  # 1.3 % apart
        ((math.nan, math.nan), (148.2, 171.9), "doubtful"),
        ((13.88, 13.50), (94.3, 94.3), "not a centre tap"),  # 2.8 % apart
        ((13.88, 13.85), (94.3, 119.0), "not a centre tap"),  # 1.262
        ((0.0, 27.7), (94.3, 94.3), "not a centre tap"),
        ((math.nan, 13.0), (math.nan, 94.3), "not read"),
        ((0.0, 0.0), (math.nan, math.nan), "not read"),
    ],
)
def test_halves(volts, ohms, verdict):
    assert compare_halves(volts, ohms).verdict == verdict


def test_worked_ratio_of_halves(printed):
    printed(compare_halves((math.nan, math.nan), (148.2, 171.9)).resistance_ratio, "1.15992")  # worked value T8.1


@given(VOLTS, VOLTS, VOLTS, VOLTS)
def test_halves_do_not_mind_their_order(a, b, c, d):
    assert compare_halves((a, b), (c, d)) == compare_halves((b, a), (d, c))


PRIMARY = (TapReading("230", 9.77, 21.0), TapReading("110", 4.67, 8.1), TapReading("220", 9.35, 19.6))


def test_taps_are_scaled_and_put_in_order():
    taps = scale_taps(PRIMARY, 9.35, 220.0)
    assert taps.names == ("110", "220", "230")
    assert taps.volts == pytest.approx((4.67 / 9.35 * 220.0, 220.0, 9.77 / 9.35 * 220.0))
    assert taps.ohms == (8.1, 19.6, 21.0)
    assert taps.faults == ()
    frame = taps.frame()
    assert list(frame.columns) == ["tap", "no_load_v", "ohm", "step_v"]
    assert frame["step_v"].sum() == pytest.approx(taps.volts[-1])


def test_the_worked_half_is_a_tap(printed):
    printed(scale_taps([TapReading("half", 13.88)], 4.97, 117.0).volts[0], "326.7525")  # worked value T3.2


def test_a_resistance_that_falls_is_a_fault():
    wrong = (PRIMARY[0], PRIMARY[1], TapReading("220", 9.35, 22.5))
    (fault,) = scale_taps(wrong, 9.35, 220.0).faults
    assert "230 reads 9.77 V and 21 ohm, 220 9.35 V and 22.5 ohm" in fault
    assert scale_taps(wrong, 9.35, 220.0, u_ohm=0.6).faults == ()  # 1.5 ohm is within 2 sqrt 2 x 0.6 ohm


def test_a_resistance_not_read_is_no_fault():
    assert scale_taps((*PRIMARY[:2], TapReading("220", 9.35)), 9.35, 220.0).faults == ()


@given(st.lists(VOLTS, min_size=1, max_size=6, unique=True), VOLTS, VOLTS, VOLTS)
def test_taps_go_with_the_line(volts, excitation, line, other):
    taps = [TapReading(str(k), one) for k, one in enumerate(volts)]
    here, there = scale_taps(taps, excitation, line), scale_taps(taps, excitation, other)
    assert here.names == there.names
    assert list(here.volts) == sorted(here.volts)
    assert [one / line for one in here.volts] == pytest.approx([one / other for one in there.volts])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: usual_heater_v(0.0), "no-load voltage is 0.0 V"),
        (lambda: heater_excitation(0.0, 600.0), "nominal voltage of the winding fed is 0.0 V"),
        (lambda: heater_excitation(700.0, 600.0), "nominal voltage of the winding fed over the highest is 1.16"),
        (lambda: half_ratio_by_order(0.0, 1.0, 2.0), "perimeter is 0.0 mm"),
        (lambda: half_ratio_by_order(100.0, -1.0, 2.0), "depth of the inner half is -1.0 mm"),
        (lambda: half_ratio_by_order(100.0, 3.0, 2.0), "depth of the outer half beyond the inner is -1.0 mm"),
        (lambda: compare_halves((-1.0, 1.0)), "voltage of a half is -1.0 V"),
        (lambda: compare_halves((1.0, 1.0), (-2.0, 1.0)), "resistance of a half is -2.0 ohm"),
        (lambda: scale_taps([], 5.0, 117.0), "taps are empty"),
        (lambda: scale_taps([TapReading("a", 1.0)] * 2, 5.0, 117.0), "tap is 'a' twice"),
        (lambda: scale_taps([TapReading("a", 0.0)], 5.0, 117.0), "voltage of tap a is 0.0 V"),
        (lambda: scale_taps([TapReading("a", 1.0, -1.0)], 5.0, 117.0), "resistance of tap a is -1.0 ohm"),
        (lambda: scale_taps([TapReading("a", 1.0)], 0.0, 117.0), "excitation is 0.0 V"),
        (lambda: scale_taps([TapReading("a", 1.0)], 5.0, 0.0), "line voltage is 0.0 V"),
        (lambda: scale_taps([TapReading("a", 1.0)], 5.0, 117.0, -1.0), "uncertainty of a resistance is -1.0 ohm"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
