"""The fit's own check: each record left out, against fitting anew without it; and coverage where the truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from calib.fitting import fit
from tests.counts import share
from tests.fitting.making import prior_fit, scene_fit, scene_known

GRADE_SD = 0.08  # of a nameplate's statement about the maker's rating, in ln I (judgement of the trade)
Z = 1.6448536269514722  # 95 % point of the normal distribution


def refitted(known):
    """Median error and coverage at 0.9 by fitting anew without each record in turn, all of them nameplates'."""
    errors, inside = [], []
    for row in range(len(known)):
        asked = known.iloc[[row]].drop(columns=["evidence", "rated_current_ma"])
        made = fit(known.drop(index=known.index[row])).estimate(asked).iloc[0]
        stated = known["rated_current_ma"].iloc[row]
        errors.append(abs(made["rated_current_ma"] / stated - 1))
        half = np.hypot(np.log(made["high_ma"] / made["low_ma"]) / 2, Z * GRADE_SD)
        inside.append(abs(np.log(stated / made["rated_current_ma"])) < half)
    return np.median(errors), np.mean(inside)


@pytest.mark.parametrize("seed", [1, 2, 3][: share(2, 3)])
def test_it_agrees_with_fitting_anew_without_each_record(seed):
    """Nine records: the median errors differ by 0.01 at most where measured (the odds and side regressions are kept),
    the coverage not at all."""
    known = scene_known(count=9, seed=seed).assign(evidence="nameplate")
    check = fit(known).check(0.9)
    error, coverage = refitted(known)
    assert check.folds == 9
    assert check.median_error == pytest.approx(error, abs=0.05)
    assert check.coverage == pytest.approx(coverage, abs=1 / 9 + 1e-9)


def test_it_agrees_more_closely_with_more_records():
    """Thirty records, 18 in the test command; measured difference under 0.01."""
    count = share(18, 30)
    known = scene_known(count=count, seed=4).assign(evidence="nameplate")
    check = fit(known).check(0.9)
    error, coverage = refitted(known)
    assert check.median_error == pytest.approx(error, abs=0.02)
    assert check.coverage == pytest.approx(coverage, abs=1 / count + 1e-9)


@pytest.mark.parametrize("spoiled", [0.0, 0.1])
@pytest.mark.parametrize(("level", "slack"), [(0.9, 0.05), (0.5, 0.08)])
def test_it_covers_what_it_claims(spoiled, level, slack):
    """400 records: one standard deviation of chance is 0.015 at 0.9 and 0.025 at 0.5."""
    check = scene_fit(count=400, spoiled=spoiled, seed=1).check(level)
    assert check.level == level
    assert check.coverage == pytest.approx(level, abs=slack)


def test_doubtful_records_are_not_asked():
    model = scene_fit(count=400, spoiled=0.1, seed=1)
    assert len(model.suspects()) > 0
    assert model.check().folds == 400 - len(model.suspects())


def test_a_register_whose_records_contradict_each_other_shows_it():
    """Ratings scattered by a factor of 1.6 more: the check's median error grows with them."""
    known = scene_known(count=60, seed=3)
    rng = np.random.default_rng(7)
    wild = known.assign(rated_current_ma=known["rated_current_ma"] * np.exp(0.45 * rng.normal(size=60)))
    assert fit(wild).check().median_error > 1.3 * scene_fit(count=60, seed=3).check().median_error


def test_no_records_no_folds():
    check = prior_fit().check()
    assert check.folds == 0
    assert np.isnan(check.coverage)
    assert np.isnan(check.median_error)
