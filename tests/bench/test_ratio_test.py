"""The ratio test and V/R, and what its voltages mean: heaters, rated voltages, taps, safe excitation."""

from __future__ import annotations

import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench import (
    ratio_taken,
)
from calib.bench.ratio_test import (
    HEATER_VOLTS,
    TapReading,
    heater_excitation,
    scale_taps,
    usual_heater_v,
)
from tests.counts import FEW

VOLTS = st.floats(0.1, 1e4)


METER = bench.MeterClass(percent=1.0, counts=3, resolution=0.01)


NULL, NO_NULL = (0.3, bench.LEAD_NULL_U_OHM), (0.0, bench.LEAD_NULL_U_OHM)


V1, V2, LINE = 4.97, 13.88, 117.0


GAIN, COUNT = 0.01 / math.sqrt(3.0), 0.03 / math.sqrt(3.0)  # that meter's parts by JCGM 100:2008, 4.3.7


def quotient(correlation: float):
    """V/R with the exciting drop taken as none."""
    voltage = bench.ratio_taken(V1, V2, LINE, (METER, METER), correlation, drop_u_pct=0.0)
    return bench.v_over_r(voltage, bench.resistance_taken(94.6, bench.ORDINARY_OHMMETER, 20.0, NULL))


@pytest.mark.parametrize("correlation", [0.0, 1.0])
def test_correlated_ratio_agrees_with_monte_carlo(correlation):
    draw = np.random.default_rng(20261124)
    count = 400_000
    spread = GAIN**2 * np.array([[1.0, correlation], [correlation, 1.0]])
    gains = draw.multivariate_normal([0.0, 0.0], spread, count)
    one = V1 * (1.0 + gains[:, 0]) + draw.normal(0.0, COUNT, count)
    two = V2 * (1.0 + gains[:, 1]) + draw.normal(0.0, COUNT, count)
    ratios = bench.no_load_voltage(one, two, LINE)
    expected = bench.ratio_taken(V1, V2, LINE, (METER, METER), correlation, drop_u_pct=0.0)
    assert ratios.std() == pytest.approx(expected.std_dev, rel=0.006)
    assert ratios.mean() == pytest.approx(expected.nominal_value, rel=1e-4)


def test_resistance_is_brought_to_twenty_degrees():
    warm = bench.resistance_taken(47.85, bench.ORDINARY_OHMMETER, 75.0, NO_NULL)
    assert warm.nominal_value == pytest.approx(47.85 * 254.5 / 309.5)
    foil = bench.resistance_taken(47.85, bench.ORDINARY_OHMMETER, 75.0, NO_NULL, inferred_zero_c=228.1)
    assert foil.nominal_value == pytest.approx(47.85 * 248.1 / 303.1)


def test_the_budget_names_what_was_read():
    tags = {variable.tag for variable in quotient(0.5).error_components()}
    assert {"resistance", "lead null", "winding temperature", "gain common to both", "counts, excitation"} <= tags


def test_the_default_allowance_for_the_exciting_drop():
    plain = bench.ratio_taken(V1, V2, LINE, (METER, METER), 1.0, drop_u_pct=0.0)
    allowed = bench.ratio_taken(V1, V2, LINE, (METER, METER), 1.0)
    added = math.sqrt(allowed.std_dev**2 - plain.std_dev**2) / allowed.nominal_value
    assert added == pytest.approx(0.003)


def test_v_over_r_of_plain_numbers_takes_the_meter_class_in_use():
    result = bench.v_over_r(650.0, 190.0)
    assert result.nominal_value == pytest.approx(650.0 / 190.0)
    assert result.std_dev / result.nominal_value == pytest.approx(math.hypot(0.009, 0.008))
    stated = bench.v_over_r(650.0, 190.0, u_voltage_pct=0.3, u_resistance_pct=0.4)
    assert stated.std_dev / stated.nominal_value == pytest.approx(0.005)


@FEW
@given(VOLTS, st.floats(0.01, 1e5))
def test_half_with_half_is_whole_with_whole(volts, ohm):
    assert bench.v_over_r(volts, ohm).nominal_value == pytest.approx(bench.v_over_r(2 * volts, 2 * ohm).nominal_value)


@FEW
@given(VOLTS, VOLTS, VOLTS)
def test_scaling_at_the_full_line_changes_nothing(excitation, hv, line):
    full = bench.no_load_voltage(excitation, hv, line)
    assert bench.no_load_voltage(line, full, line) == pytest.approx(full)


@FEW
@given(st.floats(1.0, 300.0), st.floats(1.0, 20.0), st.floats(1.0, 100.0))
def test_no_winding_passes_the_limit_at_the_highest_excitation(fed, times, limit):
    highest = fed * times
    excitation = bench.max_excitation_v(fed, highest, limit)
    assert bench.no_load_voltage(fed, highest, excitation) == pytest.approx(limit)
    assert excitation <= limit * (1.0 + 1e-12)


@FEW
@given(VOLTS, st.floats(0.0, 1e4), st.floats(1e3, 1e8))
def test_taking_the_meters_load_off_undoes_it(volts, winding, meter):
    read = volts * (1.0 - bench.meter_loading(winding, meter))
    assert bench.unloaded_voltage(read, winding, meter) == pytest.approx(volts)
    assert bench.unloaded_voltage(read, winding, meter) == pytest.approx(read * (1.0 + winding / meter))


@FEW
@given(st.floats(0.01, 100.0), st.floats(0.05, 1.0))
def test_two_way_finds_the_turns_and_the_coupling(turns, coupling):
    both = bench.two_way(coupling * turns, coupling / turns)
    assert both.turns_ratio == pytest.approx(turns)
    assert both.coupling == pytest.approx(coupling)


@FEW
@given(st.floats(1.0, 100.0), st.floats(1.0, 1000.0), st.floats(0.0, 0.9), st.floats(0.01, 0.1))
def test_more_in_common_is_never_worse(first, second, correlation, more):
    less_sure = bench.ratio_uncertainty(first, second, METER, correlation)
    assert bench.ratio_uncertainty(first, second, METER, correlation + more) < less_sure


def test_columns_are_scaled_together():
    volts = bench.no_load_voltage(pd.Series([4.97, math.nan]), pd.Series([13.88, 20.0]), pd.Series([117.0, 230.0]))
    assert volts[0] == pytest.approx(326.7525, abs=5e-5)
    assert math.isnan(volts[1])


def test_what_to_feed_by_what_is_known_of_the_leads():
    first, proven = bench.feed(False), bench.feed(True, 117.0, 650.0)
    assert first.advice.startswith(
        "Leads not yet proven: feed the winding of highest resistance, end to end, from zero to"
    )
    assert (first.allowed_v, proven.allowed_v) == (30.0, pytest.approx(5.4))
    assert "at most 5.4 V" in proven.advice
    assert bench.feed(True, 117.0, 653.505).allowed_v == pytest.approx(5.3710, abs=5e-5)
    assert bench.feed(True, 230.0, 120.0).allowed_v == 30.0  # the primary itself is the highest
    unknown = bench.feed(True)
    assert unknown.allowed_v == pytest.approx(2.85)  # 95 V on the lowest line, 1000 V on the highest winding
    assert "1000 V for the highest winding and 95 V for the line" in unknown.advice
    with pytest.raises(ValueError, match="line voltage is 0"):
        bench.feed(True, 0.0, 650.0)


@pytest.mark.parametrize(
    ("volts", "said"), [(5.4, "5.4"), (5.3799, "5.37"), (30.0, "30"), (0.28921, "0.289"), (126.9, "126")]
)
def test_a_limit_is_never_rounded_up(volts, said):
    assert bench.down(volts) == said


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


@FEW
@given(st.sampled_from(HEATER_VOLTS), st.floats(-0.0299, 0.1499))
def test_every_winding_within_the_band_is_found(rated, excess):
    assert rated in usual_heater_v(rated * (1.0 + excess))


def test_a_heater_winding_is_fed_with_little():
    _, caution = heater_excitation(6.3, 653.505)
    for words in ("0.289 V at most", "653.5 V", "kills", "isolated", "rather feed the highest winding with 30 V"):
        assert words in caution


def test_a_low_winding_may_be_fed_with_more():
    allowed_v, caution = heater_excitation(6.3, 117.0)
    assert allowed_v == pytest.approx(30.0 * 6.3 / 117.0)
    assert "rather feed" not in caution


PRIMARY = (TapReading("230", 9.77, 21.0), TapReading("110", 4.67, 8.1), TapReading("220", 9.35, 19.6))


def test_taps_are_scaled_and_put_in_order():
    taps = scale_taps(PRIMARY, 9.35, 220.0)
    assert taps.names == ("110", "220", "230")
    assert taps.volts == pytest.approx((4.67 / 9.35 * 220.0, 220.0, 9.77 / 9.35 * 220.0))
    assert taps.ohms == (8.1, 19.6, 21.0)
    assert taps.faults == ()


def test_a_resistance_that_falls_is_a_fault():
    wrong = (PRIMARY[0], PRIMARY[1], TapReading("220", 9.35, 22.5))
    (fault,) = scale_taps(wrong, 9.35, 220.0).faults
    assert "230 reads 9.77 V and 21 ohm, 220 9.35 V and 22.5 ohm" in fault
    assert scale_taps(wrong, 9.35, 220.0, u_ohm=0.6).faults == ()  # 1.5 ohm is within 2 sqrt 2 x 0.6 ohm


def test_a_resistance_not_read_is_no_fault():
    assert scale_taps((*PRIMARY[:2], TapReading("220", 9.35)), 9.35, 220.0).faults == ()


@FEW
@given(st.lists(VOLTS, min_size=1, max_size=6, unique=True), VOLTS, VOLTS, VOLTS)
def test_taps_go_with_the_line(volts, excitation, line, other):
    taps = [TapReading(str(k), one) for k, one in enumerate(volts)]
    here, there = scale_taps(taps, excitation, line), scale_taps(taps, excitation, other)
    assert here.names == there.names
    assert list(here.volts) == sorted(here.volts)
    assert [one / line for one in here.volts] == pytest.approx([one / other for one in there.volts])


FINE = bench.MeterClass(0.5, 5, 0.001)


@pytest.mark.parametrize("correlation", [1.0, 0.5, 0.0])
def test_two_ranges_against_random_draws(correlation):
    """Gains drawn from a joint normal law of that correlation, counts of each range by itself."""
    rolls = np.random.default_rng(7)
    g = np.array([FINE.percent, METER.percent]) / 100 / math.sqrt(3)
    cov = np.diag(g**2) + correlation * g.prod() * (1 - np.eye(2))
    gains = rolls.multivariate_normal([0, 0], cov, 400_000, check_valid="ignore")
    count = np.array([5 * 0.001, 3 * 0.01]) / math.sqrt(3)
    read = np.array([4.97, 13.88]) * (1 + gains) + rolls.normal(0, count, (400_000, 2))
    drawn = 117.0 * read[:, 1] / read[:, 0]
    value = ratio_taken(4.97, 13.88, 117.0, (FINE, METER), correlation, drop_u_pct=0.0)
    assert value.std_dev == pytest.approx(drawn.std(), rel=0.01)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bench.no_load_voltage(0.0, 5.0, 117.0), "excitation is 0.0 V: it must be finite and above 0"),
        (lambda: bench.no_load_voltage(5.0, -5.0, 117.0), "voltage read is -5.0 V"),
        (lambda: bench.no_load_voltage(5.0, 5.0, 0.0), "line voltage is 0.0 V"),
        (lambda: bench.max_excitation_v(0.0, 600.0), "nominal voltage of the winding fed is 0.0 V"),
        (lambda: bench.max_excitation_v(117.0, 0.0), "highest nominal voltage is 0.0 V"),
        (lambda: bench.max_excitation_v(117.0, 600.0, 0.0), "limit is 0.0 V"),
        (lambda: bench.max_excitation_v(120.0, 119.0), "fed over the highest is 1.008"),
        (lambda: bench.meter_loading(-1.0, 1e7), "winding resistance is -1.0 ohm"),
        (lambda: bench.meter_loading(1.0, 0.0), "meter's input resistance is 0.0 ohm"),
        (lambda: bench.unloaded_voltage(0.0, 1.0, 1e7), "voltage read is 0.0 V"),
        (lambda: bench.two_way(0.0, 1.0), "ratio V2/V1 driving winding 1 is 0.0"),
        (lambda: bench.two_way(1.0, 0.0), "ratio V1/V2 driving winding 2 is 0.0"),
        (lambda: bench.ratio_uncertainty(0.0, 1.0, METER), "excitation is 0.0 V"),
        (lambda: bench.ratio_uncertainty(1.0, 0.0, METER), "voltage read is 0.0 V"),
        (lambda: bench.ratio_uncertainty(1.0, 1.0, METER, -0.1), "correlation of the gain errors is -0.1"),
        (lambda: bench.v_over_r(0.0, 100.0), "no-load voltage is 0.0 V"),
        (lambda: bench.v_over_r(100.0, 0.0), "resistance is 0.0 ohm"),
        (lambda: usual_heater_v(0.0), "no-load voltage is 0.0 V"),
        (lambda: heater_excitation(0.0, 600.0), "nominal voltage of the winding fed is 0.0 V"),
        (lambda: heater_excitation(700.0, 600.0), "nominal voltage of the winding fed over the highest is 1.16"),
        (lambda: scale_taps([], 5.0, 117.0), "taps are empty"),
        (lambda: scale_taps([TapReading("a", 1.0)] * 2, 5.0, 117.0), "tap is 'a' twice"),
        (lambda: scale_taps([TapReading("a", 0.0)], 5.0, 117.0), "voltage of tap a is 0.0 V"),
        (lambda: scale_taps([TapReading("a", 1.0, -1.0)], 5.0, 117.0), "resistance of tap a is -1.0 ohm"),
        (lambda: scale_taps([TapReading("a", 1.0)], 0.0, 117.0), "excitation is 0.0 V"),
        (lambda: scale_taps([TapReading("a", 1.0)], 5.0, 0.0), "line voltage is 0.0 V"),
        (lambda: scale_taps([TapReading("a", 1.0)], 5.0, 117.0, -1.0), "uncertainty of a resistance is -1.0 ohm"),
        (lambda: bench.ratio_taken(V1, V2, LINE, (METER, METER), 1.5), "correlation of the gain errors is 1.5"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
