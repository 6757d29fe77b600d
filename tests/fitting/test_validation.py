"""The fit's own check: each record left out, against fitting anew without it; and coverage where the truth is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.counts import share
from tests.fitting.making import practice_fit, prior_fit, scene_fit, scene_known
from tests.scenes.population import EVIDENCE, SCENES

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


@pytest.mark.parametrize("seed", [1, 2, 3][: share(1, 3)])
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
    """Thirty records, 14 in the test command; measured difference under 0.01."""
    count = share(14, 30)
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


def test_each_unit_left_out_stands_beside_what_its_record_states():
    known = scene_known(count=60, seed=3).assign(unit=[f"U-{number}" for number in range(60)])
    model = fit(known)
    table, check = model.left_out(0.8), model.check(0.8)
    assert (len(table), set(table["level"])) == (check.folds, {0.8})
    assert table["inside"].mean() == check.coverage
    stated = known.set_index("unit")["rated_current_ma"]
    np.testing.assert_allclose(table["stated_ma"], stated[table["unit"]], rtol=1e-12)
    assert (table["low_ma"] < table["rated_current_ma"]).all()
    assert (table["rated_current_ma"] < table["high_ma"]).all()
    one = table.iloc[7]
    others = fit(known[known["unit"] != one["unit"]])
    asked = known[known["unit"] == one["unit"]].drop(columns="rated_current_ma")
    assert one["rated_current_ma"] == pytest.approx(others.estimate(asked)["rated_current_ma"].iloc[0], rel=0.05)
    without = model.comparison(0.8, contributors=False)
    assert set(without["left_out"]) == {"unit"}
    assert prior_fit().left_out().empty


def test_no_records_no_folds():
    check = prior_fit().check()
    assert check.folds == 0
    assert np.isnan(check.coverage)
    assert np.isnan(check.median_error)


# The fit beside two rules of thumb on the same units, with units and whole contributors left out.
FORM_SD = 0.07  # of ln form factor between the scene's makers
METHODS = ["this fit", "one multiplier for each filter", "core-area rule"]


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return scene_fit(count=120, spoiled=0.1).comparison().set_index(["left_out", "method"])


def test_each_method_with_units_and_with_contributors_left_out(table):
    assert set(table.index) == {(left_out, name) for left_out in ("unit", "contributor") for name in METHODS}
    assert (table["level"] == 0.9).all()


def test_the_fits_own_row_is_the_check(table):
    check = scene_fit(count=120, spoiled=0.1).check()
    own = table.loc[("unit", "this fit")]
    for name in ("folds", "coverage", "median_error", "interval_score"):
        assert own[name] == pytest.approx(getattr(check, name), rel=1e-12)


@pytest.mark.parametrize("left_out", ["unit", "contributor"])
def test_the_fit_beats_both_rules(table, left_out):
    """Measured on this register: half their interval score and less."""
    ours = table.loc[(left_out, "this fit")]
    for rule in METHODS[1:]:
        theirs = table.loc[(left_out, rule)]
        assert ours["interval_score"] < 0.8 * theirs["interval_score"]
        assert ours["median_error"] < theirs["median_error"]


def test_a_contributor_left_out_is_estimated_about_as_well_as_claimed(table):
    assert 0.82 < table.loc[("contributor", "this fit"), "coverage"] < 0.99
    assert table.loc[("contributor", "this fit"), "folds"] == table.loc[("unit", "this fit"), "folds"]


def test_contributors_left_out_by_hand():
    """Service data throughout: fit to the other benches, estimate the maker's rating, add the grade's learnt bias."""
    known = scene_known(count=60, seed=7).assign(evidence="set-data")
    model = fit(known)
    assert len(model.suspects()) == 0
    errors = []
    for name, own in known.groupby("contributor"):
        others = fit(known[known["contributor"] != name])
        bias = others.terms().set_index("name")["value"]["evidence set-data"]
        middle = others.estimate(own.drop(columns=["evidence", "rated_current_ma"]))["rated_current_ma"].to_numpy()
        errors += list(np.abs(middle * np.exp(bias) / own["rated_current_ma"].to_numpy() - 1))
    made = model.comparison().set_index(["left_out", "method"]).loc[("contributor", "this fit")]
    assert made["median_error"] == pytest.approx(np.median(errors), abs=0.004)


def test_one_multiplier_by_hand(table):
    """The median of the other sound records of the same filter, unit by unit: its median error again."""
    known = scene_known(count=120, spoiled=0.1)
    doubtful = set(scene_fit(count=120, spoiled=0.1).suspects()["unit"])
    known = known[~known["unit"].isin(doubtful)]
    own = np.log(known["rated_current_ma"] * known["hv_resistance_ohm"] / known["no_load_v"]).to_numpy()
    filters = known["filter"].to_numpy()
    errors = []
    for row in range(len(known)):
        others = (filters == filters[row]) & (np.arange(len(known)) != row)
        errors.append(abs(np.exp(np.median(own[others]) - own[row]) - 1))
    made = table.loc[("unit", "one multiplier for each filter")]
    assert made["folds"] == len(known)
    assert made["median_error"] == pytest.approx(np.median(errors), rel=1e-6)


def test_the_interval_score_of_a_normal_scatter():
    """Gneiting and Raftery 2007: limits at +-z s about the mean score 2 z s and 20 times the mean miss at either end,
    s (phi(z) - 0.05 z). What must scatter in this scene with the wire known:
    density, form factor, grades of evidence; the fit knows its line to a tenth of that, and allows for drift."""
    phi = np.exp(-0.5 * Z * Z) / np.sqrt(2 * np.pi)
    grades = sum(share * sd**2 for share, _, sd in EVIDENCE.values())
    scatter = np.sqrt(SCENES["ordinary"].density_sd ** 2 + FORM_SD**2 + grades)
    expected = scatter * (2 * Z + 2 * 20 * (phi - 0.05 * Z))
    assert 0.95 * expected < scene_fit(count=400, seed=1).check(0.9).interval_score < 1.2 * expected


def test_a_handful_of_records_has_no_rule_to_compare_with():
    """One record of a kind cannot set a rule by the others: blank, never a made-up figure."""
    made = scene_fit(count=3, seed=2).comparison().set_index(["left_out", "method"])
    assert made.loc[("unit", "core-area rule"), "folds"] == 0
    assert np.isnan(made.loc[("unit", "core-area rule"), "median_error"])
    assert made.loc[("unit", "this fit"), "folds"] == 3


def test_a_level_that_is_no_probability_is_refused():
    with pytest.raises(ValueError, match="level is 2"):
        practice_fit().comparison(2)
