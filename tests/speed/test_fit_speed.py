"""Ratios of the fit's speed, each measured in one run on one machine: ``pytest -s tests/speed/test_fit_speed.py``."""

from __future__ import annotations

import os
import warnings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.fitting.making import covariates
from tests.scenes.population import SCENES, recorded, units, without_wire
from tests.speed.speeds import seconds, tell

FIGURES = ["multiplier", "rated_current_ma", "low_ma", "high_ma", "floor_ma"]


def register(count: int, seed: int = 31) -> pd.DataFrame:
    """A register of the ordinary scene, no wire measured, nameplates only, none spoiled."""
    rng = np.random.default_rng(seed)
    known = without_wire(recorded(SCENES["ordinary"], units(SCENES["ordinary"], count, rng), 0.0, rng))
    return known.assign(evidence="nameplate", rated_current_ma=known["true_ma"])


def asked(count: int) -> pd.DataFrame:
    return without_wire(units(SCENES["ordinary"], count, np.random.default_rng(32), asked=True))


def columns(table: pd.DataFrame) -> pd.DataFrame:
    """What MixedLM is given: the fit's covariates by hand, and ln(I R / V)."""
    shares = np.log(table["rated_current_ma"] * table["hv_resistance_ohm"] / table["no_load_v"])
    return covariates(table).assign(y=shares, all=1)


def mixed(known: pd.DataFrame):
    """The crossed mixed model of statsmodels: random bench and size class."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # variances on the edge of their space
        return MixedLM.from_formula(
            "y ~ core + frequency + ratio + volts + C(supply)",
            groups="all",
            vc_formula={"bench": "0 + C(bench)", "size": "0 + C(size)"},
            re_formula="0",
            data=columns(known).assign(bench=known["contributor"]),
        ).fit(reml=True)


def test_estimating_2000_units_at_once_against_one_by_one(record_property):
    model, units_asked, few = fit(register(120)), asked(2000), 12
    together, made = seconds(lambda: model.estimate(units_asked))
    alone, singly = seconds(lambda: [model.estimate(units_asked.iloc[[row]]) for row in range(few)], rounds=1)
    tell(record_property, "2000 estimates: one by one over at once", together, alone * 2000 / few)
    for row in range(few):
        expected = made.loc[row, FIGURES].to_numpy(float)
        assert singly[row][FIGURES].iloc[0].to_numpy(float) == pytest.approx(expected, rel=1e-8)


def test_a_fit_of_1000_records_against_a_crossed_mixed_model(record_property):
    """The fit knows a prior and doubts each record besides; both know the line alike at this size."""
    known, units_asked = register(1000), asked(200)
    quick, model = seconds(lambda: fit(known), rounds=2)
    slow, theirs = seconds(lambda: mixed(known), rounds=1)
    tell(record_property, "1000 records: crossed MixedLM over fit", quick, slow)
    ratio = units_asked["no_load_v"] / units_asked["hv_resistance_ohm"]
    expected = np.exp(theirs.predict(columns(units_asked))) * ratio
    made = model.estimate(units_asked)["rated_current_ma"].to_numpy()
    assert np.median(np.abs(np.log(made / expected.to_numpy()))) < 0.02


def test_the_check_against_fitting_anew_without_each_record(record_property):
    known = register(24)
    model = fit(known)
    quick, check = seconds(model.check)

    def anew() -> float:
        errors = []
        for row in range(len(known)):
            one = known.iloc[[row]].drop(columns=["evidence", "rated_current_ma"])
            made = fit(known.drop(index=row)).estimate(one)["rated_current_ma"].iloc[0]
            errors.append(abs(made / known["rated_current_ma"].iloc[row] - 1))
        return float(np.median(errors))

    slow, error = seconds(anew, rounds=1)
    tell(record_property, "24 records left out: fitted anew over the check", quick, slow)
    assert check.folds == 24
    assert check.median_error == pytest.approx(error, abs=0.03)


def test_the_solution_at_the_mode_against_statsmodels(record_property):
    """One conditional regression of 1000 records, prior rows included, by numpy's normal equations."""
    model = fit(register(1000))
    point = model.quadrature[0].scales
    mean, precision = model.design.prior(model.prior, point)
    x, weight, y = model.matrix(model.rows), model.posteriors[0].weight, model.rows.response

    def normal_equations() -> np.ndarray:
        weighted = x * weight[:, None]
        return np.linalg.solve(precision + weighted.T @ x, precision @ mean + weighted.T @ y)

    from calib.fitting.report import regression

    quick, ours = seconds(normal_equations, rounds=20)
    slow, theirs = seconds(lambda: regression(model).params, rounds=2)
    tell(record_property, "one regression of 1000 records: statsmodels over normal equations", quick, slow)
    assert ours == pytest.approx(theirs, abs=1e-8)
