"""Quantiles and odds of a mixture of normal distributions, against its distribution function and scipy's normal."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy import stats

from calib.fitting import predictive
from calib.fitting.predictive import density, exceeds, quantiles

calmly = settings(deadline=None)  # a busy machine is no fault of the quantiles
LEVELS = st.floats(0.005, 0.995)


@st.composite
def mixtures(draw):
    """Shares, means and standard deviations of one to five parts, for one unit."""
    parts = draw(st.integers(1, 5))
    share = np.array(draw(st.lists(st.floats(0.01, 1.0), min_size=parts, max_size=parts)))
    mean = np.array(draw(st.lists(st.floats(-2.0, 8.0), min_size=parts, max_size=parts)))
    sd = np.array(draw(st.lists(st.floats(0.02, 1.5), min_size=parts, max_size=parts)))
    return share / share.sum(), mean[:, None], sd[:, None]


def below(mixture, value):
    """The mixture's distribution function, by scipy's normal distribution."""
    share, mean, sd = mixture
    return float(share @ stats.norm.cdf(value, mean[:, 0], sd[:, 0]))


@calmly
@given(mixtures(), LEVELS)
def test_a_quantile_inverts_the_distribution_function(mixture, level):
    value = quantiles(*mixture, level)[0]
    narrow = mixture[2].min()  # where the mixture rises steeply, a step of 1e-9 deviations is seen
    assert below(mixture, value - 1e-9 * narrow) <= level + 1e-8
    assert below(mixture, value + 1e-9 * narrow) >= level - 1e-8


@calmly
@given(st.floats(-2.0, 8.0), st.floats(0.02, 1.5), LEVELS)
def test_one_part_is_a_normal_distribution(mean, sd, level):
    value = quantiles(np.ones(1), np.array([[mean]]), np.array([[sd]]), level)[0]
    assert value == pytest.approx(stats.norm.ppf(level, mean, sd), abs=1e-9)


@calmly
@given(mixtures(), LEVELS)
def test_odds_agree_with_quantiles(mixture, level):
    value = quantiles(*mixture, level)
    assert exceeds(*mixture, value)[0] == pytest.approx(1 - level, abs=1e-7)


@calmly
@given(mixtures(), st.floats(0.05, 0.45))
def test_quantiles_rise_with_the_level(mixture, tail):
    low, middle, high = (quantiles(*mixture, level)[0] for level in (tail, 0.5, 1 - tail))
    assert low < middle < high


@calmly
@given(mixtures())
def test_the_density_adds_to_one(mixture):
    share, mean, sd = mixture
    at = np.linspace((mean - 9 * sd).min(), (mean + 9 * sd).max(), 40_001)
    assert np.trapezoid(density(share, mean, sd, at), at) == pytest.approx(1.0, abs=1e-4)


def test_many_units_at_once_are_as_one_by_one():
    rng = np.random.default_rng(5)
    share, mean, sd = np.array([0.5, 0.3, 0.2]), rng.normal(4, 1, (3, 50)), rng.uniform(0.05, 0.6, (3, 50))
    together = quantiles(share, mean, sd, 0.9)
    alone = [quantiles(share, mean[:, [k]], sd[:, [k]], 0.9)[0] for k in range(50)]
    assert together == pytest.approx(alone, abs=1e-9)


def test_a_quantile_that_does_not_come_to_rest_is_blank_and_not_a_number_that_looks_sound(monkeypatch):
    """Two humps far apart: the quantile in the gap between them takes dozens of rounds; beside it a plain one."""
    share = np.array([0.5, 0.5])
    mean, sd = np.array([[0.0, 1.0], [8.0, 1.0]]), np.array([[0.02, 0.3], [0.02, 0.3]])
    assert np.isfinite(quantiles(share, mean, sd, 0.503)).all()
    monkeypatch.setattr(predictive, "NEWTON_ROUNDS", 4)
    assert np.isnan(quantiles(share, mean, sd, 0.503)).tolist() == [True, False]


@calmly
@given(mixtures(), st.floats(-1.0, 1.0), st.floats(0.05, 0.5))
def test_a_reading_of_the_current_moves_it_as_bayes_rule_on_a_grid_does(mixture, off, sd):
    share, mean, spread = mixture
    rated = predictive.RatedCurrent(share, np.clip(mean, 3.0, 6.0), np.maximum(spread, 0.05))
    read = 4.5 + off
    ln = np.linspace(0.0, 10.0, 20001)
    weight = rated.pdf(np.exp(ln)) * np.exp(ln) * stats.norm.pdf(read, ln, sd)
    wanted = np.average(ln, weights=weight) if weight.sum() > 0.0 else np.nan
    found = rated.beside(float(np.exp(read)), sd)
    assert found.share.sum(axis=0) == pytest.approx(1.0)
    if weight.sum() > 1e-200:
        assert float((found.share * found.ln_mean).sum()) == pytest.approx(wanted, abs=1e-4)


def test_no_reading_of_the_current_is_refused():
    rated = predictive.RatedCurrent(np.ones(1), np.full((1, 1), 4.5), np.full((1, 1), 0.2))
    with pytest.raises(ValueError, match="above 0"):
        rated.beside(0.0, 0.08)
