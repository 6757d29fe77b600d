"""The fit beside two rules of thumb on the same units, with units and whole contributors left out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.fitting.making import practice_fit, scene_fit, scene_known
from tests.scenes.population import EVIDENCE, SCENES

FORM_SD = 0.07  # of ln form factor between the scene's makers
METHODS = ["this fit", "one multiplier for each filter", "core-area rule"]
Z = 1.6448536269514722  # 95 % point of the normal distribution


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
