"""The conditional regression that statsmodels does, against the fit's own solution; and the limit of no records."""

from __future__ import annotations

import numpy as np
import pytest

from tests.fitting.making import practice_fit, prior_fit, scene_fit

MODELS = [practice_fit, lambda: scene_fit(count=120, spoiled=0.1), lambda: scene_fit(count=6, seed=5)]


@pytest.mark.parametrize("model", MODELS, ids=["practice", "120 records", "6 records"])
def test_coefficients_are_those_of_the_mode(model):
    assert model().regression.params == pytest.approx(model().posteriors[0].mean, abs=1e-9)


@pytest.mark.parametrize("model", MODELS, ids=["practice", "120 records", "6 records"])
def test_standard_errors_are_those_of_the_mode(model):
    sd = np.sqrt(np.diag(model().posteriors[0].covariance))
    assert model().regression.bse == pytest.approx(sd, rel=1e-7)


def test_no_records_leave_the_prior_as_it_was():
    model = prior_fit()
    main = dict(zip(model.prior.main.names, model.prior.main.mean, strict=True))
    terms = model.terms().set_index("name")["value"]
    assert terms[list(main)].to_dict() == pytest.approx(main, abs=1e-8)
    assert terms.filter(like="supply").abs().max() < 1e-8
    assert model.regression.params == pytest.approx(model.posteriors[0].mean, abs=1e-9)


def test_no_records_leave_the_priors_spread_as_it_was():
    """Limits of a term at 0.9 are its prior's mean and 1.645 standard deviations."""
    model = prior_fit()
    terms = model.terms(0.9).set_index("name")
    sd = np.sqrt(np.diag(model.prior.main.covariance))
    names = list(model.prior.main.names)
    assert (terms.loc[names, "high"] - terms.loc[names, "value"]).to_numpy() == pytest.approx(1.644854 * sd, rel=1e-5)


@pytest.mark.filterwarnings("ignore:.*encountered:RuntimeWarning")  # a supply never met rests on its prior row alone
def test_it_has_influence_measures():
    """Leverages of all rows add to the number of coefficients (Cook and Weisberg, Residuals and Influence)."""
    model = practice_fit()
    influence = model.regression.get_influence()
    leverage = influence.hat_matrix_diag
    assert leverage.sum() == pytest.approx(len(model.regression.params), rel=1e-6)
    assert leverage[: model.records].sum() < len(model.regression.params)
    assert np.isfinite(influence.cooks_distance[0][: model.records]).all()


def test_a_doubtful_record_has_little_leverage():
    model = practice_fit()
    doubtful = model.responsibilities[:, 0] < 0.01
    leverage = model.regression.get_influence().hat_matrix_diag[: model.records]
    assert doubtful.sum() >= 2
    assert np.median(leverage[doubtful]) < np.median(leverage[~doubtful])


def test_its_summary_names_the_terms_and_says_what_it_is_given():
    summary = practice_fit().regression.summary()
    assert "given the scales at the mode" in summary.splitlines()[0]
    for name in ("core", "frequency", "size class 3", "contributor Alder Lane", "evidence set-data"):
        assert name in summary


def test_influence_is_by_record_and_the_most_influential_first():
    """Leverage and Cook's distance by the hat matrix of the whitened rows (Cook and Weisberg)."""
    model = practice_fit()
    found = model.regression.influence()
    assert list(found.columns) == ["contributor", "unit", "leverage", "cooks_distance", "studentised_residual"]
    assert found["cooks_distance"].is_monotonic_decreasing
    root = np.sqrt(model.posteriors[0].weight)
    x = model.matrix(model.rows) * root[:, None]
    leverage = np.einsum("ij,jk,ik->i", x, model.posteriors[0].covariance, x)
    by_unit = found.set_index("unit")["leverage"]
    assert by_unit[model.rows.frame["unit"]].to_numpy() == pytest.approx(leverage, abs=1e-9)
    distance = found["studentised_residual"] ** 2 * found["leverage"] / (1 - found["leverage"]) / model.design.width
    assert found["cooks_distance"].to_numpy() == pytest.approx(distance.to_numpy(), abs=1e-9)


def test_without_records_the_regression_is_the_priors_and_nothing_bears_on_it():
    assert "size class 3" in prior_fit().regression.summary()
    assert len(prior_fit().regression.influence()) == 0
    assert prior_fit().regression.nobs == prior_fit().design.width
