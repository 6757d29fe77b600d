"""Where the known units contradict the prior, or one bench or maker the others, the fit says so; else it is silent."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from calib.fitting import Multiplier, fit
from calib.fitting.features import Features, features_of, one_each
from calib.fitting.imputation import impute
from calib.fitting.model import Design, Unmeasured
from calib.fitting.prior import load_prior
from calib.fitting.result import fit_rows
from calib.fitting.variance_components import ALL, EMSolver, scales_at
from tests.counts import share
from tests.fitting.making import practice_fit, practice_known, prior_fit, scene_known

DRAWS, RECORDS = share(10, 300), 16


def drawn(rng: np.random.Generator, rows: Features) -> Features:
    """The same units, rated as the prior has it: scales, terms, makers, benches and gross errors drawn from it."""
    prior, design = load_prior(), Design.of(rows.frame["contributor"], rows.frame["maker"])
    scales = scales_at(rng.normal(size=ALL), prior.main)
    made = EMSolver(rows, design, impute(rows, prior), Unmeasured.before(prior), prior)
    mean, precision = design.prior(prior, scales)
    line = made.matrix @ rng.multivariate_normal(mean, np.linalg.inv(precision))
    error = np.sqrt(made.sound_variance(scales)) * rng.normal(size=len(rows))
    wrong = np.where(rng.random(len(rows)) < rng.beta(2, 38), rng.normal(size=len(rows)), 0.0)
    return dataclasses.replace(rows, response=line + error + wrong)


def test_of_registers_drawn_from_the_prior_about_one_in_a_hundred_says_it():
    records = scene_known("ordinary", RECORDS, 0.0)
    at = np.arange(len(records))
    maker, year = np.array(["", "east", "west"], dtype=object)[at % 3], np.where(at % 4 == 0, 1990.0, np.nan)
    rows, _ = one_each(features_of(records.assign(maker=maker, made_year=year)))
    rng = np.random.default_rng(7)
    said = [len(fit_rows(drawn(rng, rows), load_prior()).conflicts()) > 0 for _ in range(DRAWS)]
    assert sum(said) <= share(1, 7)


def rated(times: float | np.ndarray, published: bool = True, **columns: object) -> Multiplier:
    """The practice units as if real, their ratings so many times what they are."""
    known = practice_known().assign(simulated=False, **columns)
    return fit(known.assign(rated_current_ma=known["rated_current_ma"] * times), published=published)


def test_makers_who_rate_otherwise_than_the_prior_and_the_published_are_told_of():
    high, usual = rated(1.8, made_year=1990), rated(1.0, made_year=1990)
    (found,) = high.conflicts().to_dict("records")
    assert found["kind"] == "level"
    assert 1.5 < found["found"] < 1.9
    assert found["tail"] < 0.01
    assert f"  {found['said']}" in str(high).splitlines()
    assert "CONFLICT: " in high._repr_html_()
    assert len(usual.conflicts()) == 0
    assert "CONFLICT" not in str(usual)


def test_of_the_valve_era_the_level_is_open_and_only_a_larger_departure_contradicts():
    assert len(rated(1.8, published=False).conflicts()) == 0
    assert rated(2.6, published=False).conflicts()["kind"].tolist() == ["level"]


def test_a_maker_and_a_bench_that_depart_from_the_others_are_named():
    known = practice_known()
    maker = np.where(np.arange(len(known)) % 3 == 0, "East", "West")
    told = rated(np.where(maker == "East", 1.8, 1.0), published=False, maker=maker).conflicts()
    assert ("maker", "east") in {*zip(told["kind"], told["name"], strict=True)}
    half = np.where(known["contributor"] == "Alder Lane", 2.0, 1.0)
    told = fit(known.assign(hv_resistance_ohm=known["hv_resistance_ohm"] * half)).conflicts()
    assert {*told["name"]} == {"Alder Lane"}
    assert {*told["kind"]} & {"bench", "doubts"}
    assert told["said"].str.contains("Alder Lane").all()


@pytest.mark.parametrize("made", [prior_fit, practice_fit])
def test_nothing_and_the_practice_units_contradict_nothing(made):
    told = made().conflicts()
    assert list(told.columns) == ["kind", "name", "found", "expected", "tail", "said"]
    assert len(told) == 0
