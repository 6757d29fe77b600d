"""The tables of calibration, of chains and of real windings are as described; a few registers are tried again."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.paths import shipped
from tests import sampled
from tests.calibration import QUANTITIES, ranks
from tests.counts import share
from tests.scenes.real import scored


def test_the_truth_lies_anywhere_in_posteriors_of_the_fits_own_prior():
    """Ten registers of six records: mean ranks near a half, as many in each half; of a uniform rank sd 0.29."""
    count = share(10, 200)
    found = pd.DataFrame([ranks(6, seed) for seed in range(5000, 5000 + count)])
    assert list(found) == list(QUANTITIES)
    assert (np.abs(found.mean() - 0.5) < 3.5 * 0.29 / np.sqrt(count)).all()
    assert (np.abs(found.std() - 0.29) < 0.8 / np.sqrt(count)).all()


def test_most_of_the_table_passes_and_what_fails_is_named():
    made = pd.read_csv(shipped("datasets/validation/calibration.csv"))
    assert set(made["quantity"]) == set(QUANTITIES)
    assert ((made["p"] > made["limit"]) == made["passes"]).all()
    assert made.loc[made["quantity"] == QUANTITIES[-1], "passes"].all()


def test_real_windings_lie_inside_and_the_better_known_the_more_is_told():
    """Each left out in turn, by maker and year; the others as they stand in the table."""
    stored = pd.read_csv(shipped("datasets/validation/real.csv"))
    assert (stored["coverage"] >= 0.85).all()
    left_out = stored[stored["left_out"]].set_index("told")
    assert (left_out["high_over_low"] < [3.3, 2.4, 1.8]).all()
    again = scored("the year and the maker", out=True)
    assert again["high_over_low"] == pytest.approx(left_out["high_over_low"].iloc[-1], rel=0.02)
    assert again["coverage"] >= 0.85


def test_quantiles_are_those_of_the_sampled_posterior():
    """By chains whose tails are worth 20,000 draws and more; what stands there of the fit is the fit's as it is now."""
    made = pd.read_csv(shipped("datasets/validation/sampled.csv"))
    assert list(made) == sampled.COLUMNS
    assert set(made["register"]) == set(sampled.REGISTERS)
    assert (made["tail_ess"] >= 20_000).all()
    assert (made["rhat"] < 1.01).all()
    assert np.abs(made[sampled.FITTED].to_numpy() - made[sampled.SAMPLED].to_numpy()).max() <= 0.02
    for name, rows in made.groupby("register"):
        model, asked, _ = sampled.asked_of(name)
        again = sampled.by_fit(model, asked).T
        assert again == pytest.approx(rows[sampled.FITTED].to_numpy(), abs=1e-4)


def test_a_few_draws_of_the_chains_come_near_the_table():
    """3,200 draws: their quantiles are uncertain by 0.02 at most (one standard error) where ln I scatters by 0.25."""
    made = pd.read_csv(shipped("datasets/validation/sampled.csv")).set_index("register").loc["6", sampled.SAMPLED]
    _, own = sampled.drawn_of(*sampled.asked_of("6"), draws=100, warm_up=50)
    found = np.quantile(own, sampled.LEVELS, axis=(0, 1)).T
    assert found == pytest.approx(made.to_numpy(), abs=0.06)
