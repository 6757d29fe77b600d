"""Spoiled records: each slip, made on sound records of a scene with core and wire, is named with its cause."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.fitting.making import scene_fit, scene_known

HIT = 12
# What is done to a record, and words of the cause that the fit should name.
SLIPS = [
    ("hv_resistance_ohm", 0.5, "resistance of half the winding"),
    ("no_load_v", 0.5, "voltage of half the winding"),
    ("hv_resistance_ohm", 0.1, "resistance ten times too low"),
    ("hv_resistance_ohm", 10.0, "resistance ten times too high"),
    ("hv_resistance_ohm", 0.001, "kilohm"),
    ("no_load_v", 10.0, "voltage ten times too high"),
    ("no_load_v", 0.1, "voltage ten times too low"),
    ("rated_current_ma", 10.0, "current ten times too high"),
    ("rated_current_ma", 0.1, "current ten times too low"),
]


def spoil(known: pd.DataFrame, column: str, factor: float) -> tuple[pd.DataFrame, set[str]]:
    """The register with twelve full-wave records spoiled in one way, and the tags of those."""
    rng = np.random.default_rng(21)
    hit = rng.choice(np.flatnonzero(known["rectifier"] == "full-wave"), HIT, replace=False)
    values = known[column].to_numpy().copy()
    values[hit] *= factor
    return known.assign(**{column: values}), set(known["unit"].iloc[hit])


@pytest.mark.parametrize(("column", "factor", "cause"), SLIPS)
def test_a_slip_is_named_with_its_cause(column, factor, cause):
    """Measured over three registers: 35 to 36 of 36 of each kind named rightly, no sound record accused."""
    table, hit = spoil(scene_known(), column, factor)
    suspects = fit(table).suspects()
    named = suspects[suspects["unit"].isin(hit)]
    right = named["likely_slip"].str.contains(cause)
    assert right.sum() >= 10
    assert len(suspects) - len(named) <= 3  # of 228 sound ones


def test_a_clean_register_accuses_hardly_anyone():
    """Measured over three registers of 240: none."""
    assert len(scene_fit().suspects()) <= 2


def test_a_swapped_filter_seldom_shows_but_is_not_taken_for_another_slip():
    """The factor is about 1.6 where sound records scatter by 1.25: one in ten was named, none as a slip of V or R."""
    known = scene_known()
    rng = np.random.default_rng(22)
    hit = rng.choice(np.flatnonzero(known["rectifier"] == "full-wave"), HIT, replace=False)
    filters = known["filter"].to_numpy().copy()
    filters[hit] = np.where(filters[hit] == "choke", "capacitor", "choke")
    suspects = fit(known.assign(filter=filters)).suspects()
    assert all("filter" in cause or "current is off" in cause for cause in suspects["likely_slip"])
    assert set(suspects["unit"]) <= set(known["unit"].iloc[hit])


def test_a_swapped_filter_lowers_the_odds():
    """What does not pass for spoiled is still doubted more: the swapped ones' median odds lie under the others'."""
    known = scene_known()
    full = np.flatnonzero((known["rectifier"] == "full-wave") & (known["filter"] == "choke"))[:8]
    filters = known["filter"].to_numpy().copy()
    filters[full] = "capacitor"
    model = fit(known.assign(filter=filters))
    points = model.points("full-wave", "capacitor").set_index("unit")["odds_sound"]
    swapped = points.index.isin(known["unit"].iloc[full])
    assert points[swapped].median() < points[~swapped].quantile(0.25)


def test_a_mixed_register_names_most_spoiled_records_and_few_sound_ones():
    """Three registers of 400, a tenth spoiled in six ways; swapped filters and small errors of the current hide.

    Over twelve registers 1.3 % of the sound records were accused, 0.3 to 2.3 % of one register's.
    """
    accused = []
    for seed in (4, 5, 6):
        known = scene_known(count=400, spoiled=0.1, seed=seed)
        suspects = set(scene_fit(count=400, spoiled=0.1, seed=seed).suspects()["unit"])
        plain = known["slip"].isin(["half resistance", "half voltage", "decimal resistance", "decimal current"])
        assert plain.sum() > 20
        assert known.loc[plain, "unit"].isin(suspects).mean() >= 0.9
        accused.append(known.loc[known["slip"] == "", "unit"].isin(suspects).mean())
    assert np.mean(accused) <= 0.015


def test_the_odds_add_up_to_the_number_spoiled():
    """Three registers of 400, a tenth spoiled: probabilities of being unsound add to 0.123 of the records a head, and
    0.106 were spoiled; the share that swapped filters are given errs on the side of doubt."""
    reckoned, true = [], []
    for seed in (1, 2, 4):
        odds = scene_fit(count=400, spoiled=0.1, seed=seed).points("full-wave", "capacitor")["odds_sound"]
        reckoned.append(1 - odds.mean())
        true.append((scene_known(count=400, spoiled=0.1, seed=seed)["slip"] != "").mean())
    assert np.mean(reckoned) == pytest.approx(np.mean(true), abs=0.025)


def test_a_spoiled_record_is_found_among_a_dozen():
    known = scene_known(count=12, seed=6)
    values = known["hv_resistance_ohm"].to_numpy().copy()
    values[4] *= 0.1
    suspects = fit(known.assign(hv_resistance_ohm=values)).suspects()
    assert list(suspects["unit"]) == [known["unit"].iloc[4]]
    assert "resistance ten times too low" in suspects["likely_slip"].iloc[0]


def test_the_picture_s_doubtful_points_are_the_suspects():
    model = scene_fit(count=400, spoiled=0.1, seed=4)
    points = model.points("full-wave", "capacitor")
    marked = points.loc[points["doubtful"], ["contributor", "unit"]].itertuples(index=False, name=None)
    named = model.suspects()[["contributor", "unit"]].itertuples(index=False, name=None)
    assert set(marked) == set(named)
    assert points["doubtful"].sum() > 20
