"""Capacitor input with diodes: the worked tables, the limit of a large capacitor, the balance of charge and power."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from calib.supply import capacitor_input, doubler

PERIODS = {"full_wave": math.pi, "half_wave": 2 * math.pi}
FIGURES = ("dc_over_peak", "rms_over_dc", "peak_over_dc", "ripple_pct")


def figures(measures: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The quantities that the worked tables print."""
    dc = measures["dc"]
    parts = (dc, measures["rms"] / dc, measures["peak"] / dc, 100 * measures["ripple_rms"] / dc)
    return dict(zip(FIGURES, parts, strict=True))


def solved(period: float, r: float, w: float, d: float = 0.0) -> tuple[capacitor_input.Pulse, dict[str, float]]:
    one = capacitor_input.pulse(period, np.array([r]), np.array([w]), np.array([d]))
    return one, {name: float(values[0]) for name, values in capacitor_input.measures(one).items()}


@pytest.mark.parametrize("name", PERIODS)
def test_every_cell_of_the_worked_table(name, worked, prints_as):
    rows = worked(name)
    r = np.array([float(row["source_over_load_pct"]) / 100 for row in rows])
    w = np.array([float(row["w"]) for row in rows])
    found = figures(capacitor_input.measures(capacitor_input.pulse(PERIODS[name], r, w, 0 * r)))
    assert len(rows) == 42
    for at, row in enumerate(rows):
        for figure in FIGURES:
            prints_as(found[figure][at], row[figure])


def test_every_cell_of_the_doublers_worked_table(worked, prints_as):
    rows = worked("doubler")
    r = np.array([float(row["source_over_load_pct"]) / 100 for row in rows])
    w = np.array([float(row["w"]) for row in rows])
    level = np.array([float(row["dc_over_peak"]) for row in rows])
    # the solver is told the load current: dc = level * peak, load = peak/current * level
    ratio, one, there = doubler.doubler_pulse(r * level, w / level, 0 * r)
    assert there.all()
    assert ratio == pytest.approx(level, rel=1e-3)
    # the printed level is rounded to 5 digits, hence r and w by as much
    for figure, tolerance in zip(FIGURES, (1e-4, 1e-4, 3e-4, 1e-3), strict=True):
        printed = np.array([float(row[figure]) for row in rows])
        assert figures(doubler.measures(one))[figure] == pytest.approx(printed, rel=tolerance)


@pytest.mark.parametrize(
    ("period", "start", "stop", "expected"),
    [
        (math.pi, 0.9581504, 2.023921, ("0.8592228", "1.885467", "4.45973", "3.04825")),
        (2 * math.pi, 0.7678435, 2.085454, ("0.7813067", "2.400464", "7.23816", "6.91265")),
    ],
)
def test_values_off_the_tables_grid(period, start, stop, expected, prints_as):
    """Worked value T4.6: w = 22, r = 0.035."""
    one, measures = solved(period, 0.035, 22.0)
    assert one.start[0] == pytest.approx(start, abs=1e-7)
    assert one.stop[0] == pytest.approx(stop, abs=1e-6)
    found = figures({name: np.array([value]) for name, value in measures.items()})
    for figure, printed in zip(FIGURES, expected, strict=True):
        prints_as(found[figure][0], printed)


@pytest.mark.parametrize(
    ("period", "expected"),
    [(math.pi, ("0.937639", "2.30561", "6.65082")), (2 * math.pi, ("0.903536", "2.92045", "10.6763"))],
)
def test_a_very_large_capacitor_reaches_the_closed_limit(period, expected):
    """Worked value T4.5: r = 1 %, from cos f = dc/peak and r = (n/pi)(tan f - f)."""
    _, measures = solved(period, 0.01, 1e9)
    found = (measures["dc"], measures["rms"] / measures["dc"], measures["peak"] / measures["dc"])
    assert found == pytest.approx([float(figure) for figure in expected], rel=2e-6)


PERIOD = st.sampled_from(sorted(PERIODS.values()))
R, W = st.floats(-7, 1).map(lambda power: 10.0**power), st.floats(-2, 4).map(lambda power: 10.0**power)


@settings(deadline=None, max_examples=60)
@given(PERIOD, R, W, st.floats(0, 0.3))
def test_charge_and_power_balance(period, r, w, d):
    """mean(i) = dc/load and mean(e i) = mean(v^2)/load + irms^2 source, in units of peak and load."""
    _, measures = solved(period, r, w, d)
    assert measures["mean"] == pytest.approx(measures["dc"], rel=1e-6)
    used = measures["dc"] ** 2 + measures["ripple_rms"] ** 2 + r * measures["rms"] ** 2
    assert measures["power"] == pytest.approx(used, rel=1e-6)


@settings(deadline=None, max_examples=60)
@given(PERIOD, W, st.floats(0, 0.3))
def test_no_source_resistance_is_the_limit_of_a_small_one(period, w, d):
    _, none = solved(period, 0.0, w, d)
    _, small = solved(period, 1e-14, w, d)
    for name in ("dc", "ripple_pp", "ripple_rms", "rms", "peak"):
        assert none[name] == pytest.approx(small[name], rel=1e-4, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(PERIOD, R.filter(lambda r: r < 0.5), W.filter(lambda w: w > 0.1))
def test_the_load_that_draws_a_current_draws_it(period, r, w):
    _, measures = solved(period, r, w)
    unit = 1 / measures["dc"]  # peak over current, in load resistances
    ratio = capacitor_input.load_ratio(period, np.array([r / unit]), np.array([w * unit]), np.zeros(1))
    assert ratio[0] == pytest.approx(measures["dc"], rel=1e-9)


def test_many_cases_at_once_are_the_same_as_each_alone():
    r, w = np.array([0.001, 0.05, 0.3]), np.array([300.0, 20.0, 0.5])
    together = capacitor_input.measures(capacitor_input.pulse(math.pi, r, w, np.zeros(3)))
    for at in range(3):
        alone = solved(math.pi, r[at], w[at])[1]
        for name, values in together.items():
            assert values[at] == pytest.approx(alone[name], rel=1e-9)


def test_without_a_capacitor_the_output_follows_the_source():
    """v = e / (1 + r): mean 2/pi, rms 1/sqrt 2 of the peak."""
    _, measures = solved(math.pi, 0.1, 0.0)
    assert measures["dc"] == pytest.approx(2 / math.pi / 1.1, rel=1e-6)
    assert measures["rms"] == pytest.approx(math.sqrt(0.5) / 1.1, rel=1e-6)
    assert measures["ripple_pp"] == pytest.approx(1 / 1.1, rel=1e-5)
