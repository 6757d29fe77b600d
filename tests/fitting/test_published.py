"""The published windings: real, told apart in every list, counted once, and never beside simulated units."""

from __future__ import annotations

import csv
from functools import cache

import frictionless
import numpy as np
import pandas as pd
import pytest

from calib.errors import InputError
from calib.fitting import Multiplier, fit, result
from calib.fitting.prior import load_prior, sources
from calib.fitting.result import published_windings
from calib.fitting.simulate.published import catalogue
from calib.paths import shipped
from tests.fitting.making import known, ln_width, practice_known, prior_fit, unknown


@cache
def alone_fit() -> Multiplier:
    """The fit to the published windings and no own unit."""
    return fit(practice_known().iloc[:0], published=True)


def asked(windings: pd.DataFrame, **changes: object) -> pd.DataFrame:
    """The windings as unknown units by volts and resistance, maker and year not told but by changes."""
    held = ["unit", "rectifier", "filter", "line_voltage_v", "line_frequency_hz", "centre_tapped", "no_load_v"]
    units = windings[[*held, "hv_resistance_ohm", "winding_temp_c"]]
    return units.assign(maker="", made_year=np.nan).assign(**changes)


def test_the_tables_are_what_their_descriptor_says():
    assert frictionless.validate(str(shipped("datasets/published/datapackage.json"))).valid


def test_the_windings_are_known_units_of_one_maker_today():
    windings = published_windings()
    assert len(windings) == 14
    assert set(windings["maker"]) == {"A"}
    assert set(windings["contributor"]) == {"published A"}
    assert windings["made_year"].min() > 1975
    assert not windings["simulated"].fillna(False).astype(bool).any()


def test_the_rated_current_reproduces_the_volts_under_load():
    """What both windings drop at the rated current; the heaters' share of the primary's is left out: within 6 %."""
    windings = published_windings()
    loaded = windings["notes"].str.extract(r"^([\d.]+) V")[0].astype(float)
    drop = windings["rated_current_ma"] / 1000 * windings["hv_resistance_ohm"]
    assert ((windings["no_load_v"] - drop) / loaded).between(0.98, 1.06).all()


def test_the_sources_rows_are_made_from_the_windings():
    with shipped("datasets/published/sources.csv").open(encoding="utf-8", newline="") as lines:
        stored = [one for one in csv.DictReader(lines) if one["in_published"] == "true"]
    again = [{name: str(value) for name, value in one.items()} for one in catalogue(published_windings())]
    assert again == stored


def test_the_level_and_scatter_are_brought_to_the_sources_and_the_catalogue_counts_once():
    both, without = load_prior(), load_prior(known_beside=True)
    assert len(sources()) == 5
    assert both.main.mean[0] != without.main.mean[0]
    assert abs(both.main.mean[0] - without.main.mean[0]) < 0.1
    assert both.main.covariance[0, 0] < without.main.covariance[0, 0] < 0.1**2


def test_counts_and_lists_are_of_the_own_units():
    alone = fit(known({}, {"rated_current_ma": 900}))
    beside = fit(known({}, {"rated_current_ma": 900}), published=True)
    assert (beside.records, beside.published, alone.published) == (2, 14, 0)
    assert beside.classes()["count"].sum() == alone.classes()["count"].sum()
    assert not beside.suspects()["contributor"].str.startswith("published").any()
    assert beside.check().folds <= 2
    assert "2 known units from 1 contributor(s) and 14 published windings" in str(beside)
    points = beside.points("full-wave", "capacitor")
    assert points["own"].sum() == len(alone.points("full-wave", "capacitor"))
    assert points[~points["own"]]["contributor"].eq("published A").sum() == 14


def test_without_own_units_the_answer_says_what_it_stands_on():
    assert alone_fit().estimate(unknown())["flags"].str.split(";").str[0].tolist() == ["published-only"]
    assert prior_fit().estimate(unknown())["flags"].str.split(";").str[0].tolist() == ["prior-only"]


def test_published_windings_are_never_mixed_with_simulated_units():
    with pytest.raises(InputError, match="^published 'True': .*never mixed with simulated units; leave published out"):
        fit(practice_known(), published=True)


def test_a_large_register_learns_from_them_alike(monkeypatch):
    own = pd.concat([known()] * 40, ignore_index=True).assign(unit=[f"U{k}" for k in range(40)])
    few = fit(own, published=True)
    monkeypatch.setattr(result, "LARGE", 10)
    many = fit(own, published=True)
    assert (many.records, many.published, many.class_counts) == (few.records, few.published, few.class_counts)
    assert not many.suspects()["contributor"].str.startswith("published").any()


def test_the_first_users_interval_decides_something():
    """High over low at 90 %: no record 3.3 at most (4.4 before real sources counted), and every winding inside."""
    windings = published_windings()
    made = prior_fit().estimate(asked(windings), as_read=True)
    assert 2.6 < np.exp(np.median(ln_width(made))) < 3.3
    assert made["low_ma"].lt(windings["rated_current_ma"]).all()
    assert made["high_ma"].gt(windings["rated_current_ma"]).all()


def test_a_later_unit_is_better_known_than_an_old_one_and_one_of_the_maker_best():
    """Half of the windings learned from (as own units), the others asked about."""
    windings = published_windings()
    half = np.arange(len(windings)) % 2 == 0
    model, others = fit(windings[half]), windings[~half]
    told: list[dict[str, object]] = [{}, {"made_year": 2010}, {"made_year": 2010, "maker": " a "}]
    wide = []
    for changes in told:
        made = model.estimate(asked(others, **changes), as_read=True)
        truth = others["rated_current_ma"].to_numpy()
        assert ((made["low_ma"] < truth) & (truth < made["high_ma"])).mean() >= 0.85
        wide.append(float(np.exp(np.median(ln_width(made)))))
    old, later, same = wide
    assert 2.4 < old < 3.3
    assert 1.6 < later < 2.4
    assert same < later
