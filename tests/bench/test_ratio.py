"""The ratio test and V/R. Worked values T3.x: computed by hand script from the equations in the docstrings."""

from __future__ import annotations

import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, strategies as st

from calib import bench

VOLTS = st.floats(0.1, 1e4)
METER = bench.MeterClass(percent=1.0, counts=3, resolution=0.01)
NULL, NO_NULL = (0.3, bench.LEAD_NULL_U_OHM), (0.0, bench.LEAD_NULL_U_OHM)
V1, V2, LINE = 4.97, 13.88, 117.0  # the half-winding of worked value T3.2
GAIN, COUNT = 0.01 / math.sqrt(3.0), 0.03 / math.sqrt(3.0)  # that meter's parts by JCGM 100:2008, 4.3.7


def quotient(correlation: float):
    """V/R of worked value T3.9, which takes the exciting drop as none."""
    voltage = bench.ratio_taken(V1, V2, LINE, (METER, METER), correlation, drop_u_pct=0.0)
    return bench.v_over_r(voltage, bench.resistance_taken(94.6, bench.ORDINARY_OHMMETER, 20.0, NULL))


def test_worked_no_load_voltage(printed):
    printed(bench.no_load_voltage(V1, V2, 1.0), "2.792757")  # worked value T3.2
    printed(bench.no_load_voltage(V1, V2, LINE), "326.7525")


@pytest.mark.parametrize(("nominal", "figure"), [(117.0, "5.3710"), (6.3, "0.28921")])
def test_worked_excitation_limit(printed, nominal, figure):
    printed(bench.max_excitation_v(nominal, 653.505), figure)  # worked value T3.1


def test_worked_meter_loading(printed):
    printed(100.0 * bench.meter_loading(310.0, 10e6), "0.0030999")  # worked value T3.3
    printed(100.0 * bench.meter_loading(310.0, 50e3), "0.61618")


def test_worked_two_way(printed):
    both = bench.two_way(2.7821, 0.3561)
    printed(both.turns_ratio, "2.795120")  # worked value T3.5
    printed(both.coupling, "0.995342")
    assert not both.suspect


@pytest.mark.parametrize(("reverse", "suspect"), [(0.968**2, True), (0.972**2, False)])
def test_loose_coupling_is_suspect(reverse, suspect):
    assert bench.two_way(1.0, reverse).suspect is suspect


@pytest.mark.parametrize(("correlation", "figure"), [(1.0, "0.370169"), (0.0, "0.896489")])
def test_worked_ratio_uncertainty(printed, correlation, figure):
    printed(100.0 * bench.ratio_uncertainty(V1, V2, METER, correlation), figure)  # worked value T3.7
    voltage = bench.ratio_taken(V1, V2, LINE, (METER, METER), correlation, drop_u_pct=0.0)
    printed(100.0 * voltage.std_dev / voltage.nominal_value, figure)


@pytest.mark.parametrize("correlation", [0.0, 0.5, 1.0])
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


def test_worked_resistance(printed):
    exact_temp = bench.resistance_taken(94.6, bench.ORDINARY_OHMMETER, 20.0, NULL, temp_half_width_k=0.0)
    printed(exact_temp.nominal_value, "94.3")  # worked value T3.8
    printed(exact_temp.std_dev, "0.554667")
    with_temp = bench.resistance_taken(94.6, bench.ORDINARY_OHMMETER, 20.0, NULL)
    by_temp = math.sqrt(with_temp.std_dev**2 - exact_temp.std_dev**2) / with_temp.nominal_value
    printed(100.0 * by_temp, "0.34029")


def test_resistance_is_brought_to_twenty_degrees():
    warm = bench.resistance_taken(47.85, bench.ORDINARY_OHMMETER, 75.0, NO_NULL)
    assert warm.nominal_value == pytest.approx(47.85 * 254.5 / 309.5)
    foil = bench.resistance_taken(47.85, bench.ORDINARY_OHMMETER, 75.0, NO_NULL, inferred_zero_c=228.1)
    assert foil.nominal_value == pytest.approx(47.85 * 248.1 / 303.1)


@pytest.mark.parametrize(("correlation", "figure"), [(1.0, "0.77382"), (0.0, "1.1249")])
def test_worked_v_over_r(printed, correlation, figure):
    result = quotient(correlation)
    printed(result.nominal_value, "3.465032")  # worked value T3.9
    printed(100.0 * result.std_dev / result.nominal_value, figure)


def test_worked_expanded_uncertainty(printed):
    printed(2.0 * quotient(1.0).std_dev, "0.053626")  # worked value T3.9


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


@given(VOLTS, st.floats(0.01, 1e5))
def test_half_with_half_is_whole_with_whole(volts, ohm):
    assert bench.v_over_r(volts, ohm).nominal_value == pytest.approx(bench.v_over_r(2 * volts, 2 * ohm).nominal_value)


@given(VOLTS, VOLTS, VOLTS)
def test_scaling_at_the_full_line_changes_nothing(excitation, hv, line):
    full = bench.no_load_voltage(excitation, hv, line)
    assert bench.no_load_voltage(line, full, line) == pytest.approx(full)


@given(st.floats(1.0, 300.0), st.floats(1.0, 20.0), st.floats(1.0, 100.0))
def test_no_winding_passes_the_limit_at_the_highest_excitation(fed, times, limit):
    highest = fed * times
    excitation = bench.max_excitation_v(fed, highest, limit)
    assert bench.no_load_voltage(fed, highest, excitation) == pytest.approx(limit)
    assert excitation <= limit * (1.0 + 1e-12)


@given(VOLTS, st.floats(0.0, 1e4), st.floats(1e3, 1e8))
def test_taking_the_meters_load_off_undoes_it(volts, winding, meter):
    read = volts * (1.0 - bench.meter_loading(winding, meter))
    assert bench.unloaded_voltage(read, winding, meter) == pytest.approx(volts)
    assert bench.unloaded_voltage(read, winding, meter) == pytest.approx(read * (1.0 + winding / meter))


@given(st.floats(0.01, 100.0), st.floats(0.05, 1.0))
def test_two_way_finds_the_turns_and_the_coupling(turns, coupling):
    both = bench.two_way(coupling * turns, coupling / turns)
    assert both.turns_ratio == pytest.approx(turns)
    assert both.coupling == pytest.approx(coupling)


@given(st.floats(1.0, 100.0), st.floats(1.0, 1000.0), st.floats(0.0, 0.9), st.floats(0.01, 0.1))
def test_more_in_common_is_never_worse(first, second, correlation, more):
    less_sure = bench.ratio_uncertainty(first, second, METER, correlation)
    assert bench.ratio_uncertainty(first, second, METER, correlation + more) < less_sure


def test_columns_are_scaled_together():
    volts = bench.no_load_voltage(pd.Series([4.97, math.nan]), pd.Series([13.88, 20.0]), pd.Series([117.0, 230.0]))
    assert volts[0] == pytest.approx(326.7525, abs=5e-5)  # worked value T3.2
    assert math.isnan(volts[1])


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
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()


def test_what_to_feed_by_what_is_known_of_the_leads():
    first, proven = bench.feed(False), bench.feed(True, 117.0, 650.0)
    assert first.advice.startswith(
        "Leads not yet proven: feed the winding of highest resistance, end to end, from zero to"
    )
    assert (first.allowed_v, proven.allowed_v) == (30.0, pytest.approx(5.4))
    assert "at most 5.4 V" in proven.advice
    assert bench.feed(True, 117.0, 653.505).allowed_v == pytest.approx(5.3710, abs=5e-5)  # worked value T3.1
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
