"""The tables of calibration and of real windings are as described; a few registers of the own prior are tried."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.paths import shipped
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
