"""The result of a fit as an object: what it says, equals, pickles to; the tables that it gives."""

from __future__ import annotations

import dataclasses
import json
import pickle

import numpy as np
import pandas as pd
import pytest

from calib.errors import InputError
from calib.fitting import Multiplier, fit, imputation, mixture, variance_components
from calib.register.records import UnknownUnit
from calib.supply.form_factor import winding_rms_per_dc
from tests.fitting.making import (
    FIGURES,
    ln_width,
    practice_fit,
    practice_known,
    practice_unknown,
    prior_fit,
    scene_known,
    unknown,
)

CLASSES = ["size_class", "rectifier", "filter", "low_area_cm2", "high_area_cm2", "count", "multiplier", "low", "high"]
LEVELS = [0.5, 0.9]


def figures(model: Multiplier) -> np.ndarray:
    return model.estimate(practice_unknown())[FIGURES].to_numpy()


def test_the_same_records_in_any_order_of_rows_and_columns_give_the_same_digits():
    known = practice_known()
    shuffled = known.sample(frac=1, random_state=3)[sorted(known.columns)]
    again = fit(shuffled)
    assert np.array_equal(figures(again), figures(practice_fit()))
    pd.testing.assert_frame_equal(again.classes(), practice_fit().classes(), check_exact=True)
    pd.testing.assert_frame_equal(again.suspects(), practice_fit().suspects(), check_exact=True)
    assert again == practice_fit()


def test_a_record_given_twice_is_not_two_opinions():
    known = practice_known()
    twice = fit(pd.concat([known, known.iloc[[3, 10]]], ignore_index=True))
    assert twice.records == len(known)
    assert np.array_equal(figures(twice), figures(practice_fit()))
    assert any("repeated" in note for note in twice.notes)
    assert not practice_fit().notes


@pytest.mark.parametrize(
    ("module", "name", "most", "what"),
    [
        (imputation, "ROUNDS", 2, "cores given V and R"),
        (variance_components, "MODE_ROUNDS", 1, "scatters of units, classes, benches and evidence"),
        (mixture, "MAX_ROUNDS", 1, "odds that each record is sound"),
    ],
)
def test_a_fit_that_does_not_come_to_rest_says_so_wherever_it_is_read(monkeypatch, module, name, most, what):
    monkeypatch.setattr(module, name, most)
    model = fit(practice_known().iloc[:12])
    assert model.converged is False
    assert f"{what}: not settled in {most} of at most {most} rounds" in model.notes
    report = str(model)
    assert "NOT SETTLED: the fit did not come to rest" in report.split("Multiplier, mA per V/ohm")[0]
    assert what in report
    assert set(model.estimate(practice_unknown())["flags"].str.split(";").str[0]) == {"not-converged"}


def test_the_fit_tells_how_many_rounds_each_iteration_took():
    assert practice_fit().converged
    assert all(0 <= one.rounds < one.most for one in practice_fit().iterations)
    assert "SETTLED" not in str(practice_fit())
    assert not practice_fit().estimate(practice_unknown())["flags"].str.contains("not-converged").any()
    slow = fit(scene_known("toroidal", 20, 0.05, 6))  # odds that hardly move: it once gave up, unsaid
    assert slow.converged
    assert max(one.rounds for one in slow.iterations) > 10


def test_it_pickles_and_compares_by_its_content():
    model = practice_fit()
    copy = pickle.loads(pickle.dumps(model))
    assert copy == model
    assert hash(copy) == hash(model)
    assert np.array_equal(figures(copy), figures(model))
    assert model != "Multiplier"


@pytest.mark.parametrize(("column", "factor"), [("rated_current_ma", 1.001), ("hv_resistance_ohm", 1.001)])
def test_other_records_have_another_hash(column, factor):
    known = practice_known().iloc[:12]
    moved = known.copy()
    moved.loc[moved.index[5], column] *= factor
    one, other, fewer = fit(known), fit(moved), fit(known.iloc[:-1])
    assert len({one.content_hash, other.content_hash, fewer.content_hash}) == 3
    assert one != other


def test_it_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        practice_fit().level = 0.5


def test_repr_is_one_line_and_works_without_records():
    for model in (practice_fit(), prior_fit()):
        assert "\n" not in repr(model)
        assert model.content_hash in repr(model)
    assert repr(practice_fit()).startswith(f"<Multiplier: {len(practice_known())} records of 5 contributors, fit ")
    assert repr(prior_fit()).startswith("<Multiplier: 0 records of 0 contributors, fit ")


def test_it_shows_its_table_in_a_notebook_and_nobodys_markup():
    shown = practice_fit()._repr_html_()
    assert shown.startswith("<p>Simulated practice data")
    assert f"{practice_fit().classes()['multiplier'].iloc[0]:.3g}" in shown
    assert "<p>No known units" in prior_fit()._repr_html_()


def test_str_is_a_report_that_says_what_is_simulated():
    report = str(practice_fit())
    assert report.startswith("Simulated")
    assert f"{len(practice_known())} known units from 5" in report
    for unit in practice_fit().suspects()["unit"]:
        assert unit in report
    assert "not a rating" in report
    true_only = str(fit(practice_known().iloc[:12].assign(simulated=False)))
    assert "imulated" not in true_only


def test_str_without_records_says_that_it_is_the_prior():
    assert "No known units" in str(prior_fit())
    assert "prior" in str(prior_fit())


def test_classes_have_the_agreed_columns_and_bounds():
    table = practice_fit().classes()
    assert list(table.columns) == [*CLASSES, "level"]
    bounds = table.drop_duplicates("size_class")
    assert list(bounds["size_class"]) == list("1234567")
    assert list(bounds["low_area_cm2"]) == [0, 4.5, 7, 10, 14, 20, 32]
    assert list(bounds["high_area_cm2"]) == [4.5, 7, 10, 14, 20, 32, np.inf]


def test_counts_are_of_the_known_units_with_a_core():
    known, table = practice_known(), practice_fit().classes()
    assert table["count"].sum() == known["tongue_mm"].notna().sum()
    per_supply = known[known["tongue_mm"].notna()].groupby(["rectifier", "filter"]).size()
    counted = table.groupby(["rectifier", "filter"])["count"].sum()
    assert counted[counted > 0].to_dict() == per_supply.to_dict()


def test_the_multiplier_falls_from_class_to_class():
    for _, part in practice_fit().classes().groupby(["rectifier", "filter"]):
        assert (np.diff(part["multiplier"]) < 0).all()
        assert (part["low"] < part["multiplier"]).all()
        assert (part["multiplier"] < part["high"]).all()


def test_the_mean_of_a_class_is_known_better_than_one_unit():
    """Over the classes and supplies met in the register; the two intervals are never the same thing."""
    table = practice_fit().classes()
    met = table[table["count"] > 0]
    mean_width = np.log(met["high"] / met["low"])
    assert mean_width.max() < ln_width(practice_fit().estimate(practice_unknown())).min()


def test_the_class_of_an_estimate_is_the_class_of_the_table():
    """For units on the line frequency that the table is stated for."""
    model = practice_fit()
    table = model.classes().set_index(["size_class", "rectifier", "filter"])
    hertz = practice_known()["line_frequency_hz"].mode()[0]
    asked = practice_unknown()
    asked = asked[(asked["line_frequency_hz"] == hertz) & asked["tongue_mm"].notna()]
    made = model.estimate(asked)
    assert len(made) >= 3
    for row, supply in zip(made.to_dict("records"), asked.to_dict("records"), strict=True):
        stated = table.loc[(row["size_class"], supply["rectifier"], supply["filter"])]
        assert row["multiplier"] == pytest.approx(stated["multiplier"], rel=1e-9)
        assert row["multiplier_low"] == pytest.approx(stated["low"], rel=1e-9)
        assert row["multiplier_high"] == pytest.approx(stated["high"], rel=1e-9)


def test_the_line_has_a_mean_band_inside_the_band_of_units():
    line = practice_fit().line("full-wave", "capacitor", 0.9, np.linspace(3, 60, 40))
    assert list(line.columns) == ["core_area_cm2", "multiplier", "low", "high", "unit_low", "unit_high", "level"]
    ordered = line[["unit_low", "low", "multiplier", "high", "unit_high"]].to_numpy()
    assert (np.diff(ordered, axis=1) > 0).all()
    assert (np.diff(line["multiplier"]) < 0).all()


def test_points_are_the_known_units_brought_to_one_supply():
    """A unit of that very supply keeps its own I R / V; one with choke input is moved by the rms currents' ratio."""
    points = practice_fit().points("full-wave", "capacitor").set_index("unit")
    rows = practice_fit().rows.frame.set_index("unit")
    stated = practice_known().set_index("unit")["rated_current_ma"]
    own = stated / rows["v_over_r"]
    assert len(points) == len(rows)
    for filter in ("capacitor", "choke"):
        factor = winding_rms_per_dc("full-wave", filter) / winding_rms_per_dc("full-wave", "capacitor")
        these = rows.index[(rows["rectifier"] == "full-wave") & (rows["filter"] == filter)]
        assert len(these) > 2
        assert points.loc[these, "multiplier"].to_numpy() == pytest.approx((own[these] * factor).to_numpy(), rel=1e-9)


@pytest.mark.parametrize("level", [0.0, 1.0, 1.5])
@pytest.mark.parametrize("name", ["classes", "terms", "check"])
def test_tables_refuse_a_level_that_is_no_probability(name, level):
    with pytest.raises(ValueError, match=f"level is {level}"):
        getattr(practice_fit(), name)(level)


def test_terms_are_named_and_stand_inside_their_limits():
    terms = practice_fit().terms()
    assert list(terms.columns) == ["name", "value", "low", "high", "level"]
    assert terms["name"].is_unique
    assert (terms["low"] < terms["value"]).all()
    assert (terms["value"] < terms["high"]).all()
    assert {f"contributor {name}" for name in practice_known()["contributor"]} <= set(terms["name"])


def test_suspects_are_doubtful_and_the_most_doubtful_first():
    suspects = practice_fit().suspects()
    assert list(suspects.columns) == ["contributor", "unit", "odds_sound", "likely_slip"]
    assert suspects["odds_sound"].between(0, 0.5).all()
    assert suspects["odds_sound"].is_monotonic_increasing
    assert len(prior_fit().suspects()) == 0


def test_scatter_and_records():
    assert practice_fit().records == len(practice_known())
    assert prior_fit().records == 0
    assert not prior_fit().simulated
    assert 0.12 < practice_fit().scatter < 0.35


def test_a_fit_says_which_records_prior_and_settings_made_it(monkeypatch):
    """Other records change the records' hash alone, another setting the settings' alone; either changes the name."""
    from calib.fitting import report

    def parts(count: int) -> dict[str, str]:
        return dict(fit(scene_known(count=count)).made_of().itertuples(index=False))

    first, other = parts(12), parts(13)
    assert first["known units"] == "12"
    assert (first["prior"], first["settings"]) == (other["prior"], other["settings"])
    assert first["records"] != other["records"]
    assert first["fit"] != other["fit"]
    monkeypatch.setattr(report, "DRIFT_SD", 0.2)
    changed = parts(12)
    assert (first["prior"], first["records"]) == (changed["prior"], changed["records"])
    assert first["settings"] != changed["settings"]
    assert first["fit"] != changed["fit"]


def test_it_has_what_users_of_statsmodels_look_for():
    model, terms = practice_fit(), practice_fit().terms(0.8).set_index("name")
    assert model.nobs == len(practice_known())
    assert model.params.to_dict() == terms["value"].to_dict()
    pd.testing.assert_frame_equal(model.conf_int(0.8), terms[["low", "high", "level"]])
    assert model.summary() == str(model)
    assert "80% limits" in model.summary(0.8)
    # A normal's limits at 0.8 lie 1.28 standard deviations off; the mixtures of the terms of main are nearly normal.
    width = (terms["high"] - terms["low"]) / (2 * 1.2816)
    assert model.bse[:6].to_numpy() == pytest.approx(width[:6].to_numpy(), rel=0.03)
    assert (model.bse > 0.97 * width).all()


def test_fitted_values_and_residuals_are_by_record_and_add_to_the_response():
    model = practice_fit()
    both = model.fittedvalues + model.resid
    assert both.to_numpy() == pytest.approx(model.rows.response)
    assert both.index.names == ["contributor", "unit"]
    sound = model.responsibilities[:, 0] > 0.9
    assert np.abs(model.resid[sound]).max() < np.abs(model.resid).max()
    assert len(prior_fit().resid) == 0


@pytest.mark.parametrize("as_read", [False, True])
def test_predict_gives_the_distribution_that_the_estimate_is_read_from(as_read):
    asked = practice_unknown()
    made, table = practice_fit().predict(asked, as_read), practice_fit().estimate(asked, 0.8, as_read)
    assert len(made) == len(asked)
    assert repr(made) == f"<RatedCurrent of {len(asked)} unit(s)>"
    assert np.array_equal(made.median(), table["rated_current_ma"])
    low, high = made.interval(0.8)
    assert np.array_equal(low, table["low_ma"])
    assert np.array_equal(high, table["high_ma"])
    np.testing.assert_array_equal(made.sf(asked["demand_ma"].to_numpy()), table["odds_of_demand"])
    assert made.sf(made.ppf(0.3)) == pytest.approx(np.full(len(asked), 0.7))
    with pytest.raises(ValueError, match="level is 1.5"):
        made.interval(1.5)


def test_the_density_of_a_rating_integrates_to_one_and_to_its_mean():
    made = practice_fit().predict(practice_unknown().iloc[[0]])
    current = np.geomspace(made.ppf(1e-7)[0], made.ppf(1 - 1e-7)[0], 4001)
    density = made.pdf(current)
    assert np.trapezoid(density, current) == pytest.approx(1, abs=1e-5)
    assert np.trapezoid(density * current, current) == pytest.approx(made.mean()[0], rel=1e-4)


def test_a_record_or_its_fields_are_estimated_as_the_frame_is():
    asked = unknown({"tongue_mm": 28, "stack_mm": 30, "demand_ma": 70})
    fields = {name: value for name, value in asked.iloc[0].to_dict().items() if name in UnknownUnit.model_fields}
    expected = practice_fit().estimate(asked)
    for given in (fields, {**fields, "tongue_mm": "28"}, UnknownUnit.parse(fields)):
        pd.testing.assert_frame_equal(practice_fit().estimate(given), expected, check_exact=True)
        assert practice_fit().predict(given).median()[0] == expected["rated_current_ma"].iloc[0]
    with pytest.raises(InputError, match="unknown unit, rectifier 'bridged'"):
        practice_fit().estimate({**fields, "rectifier": "bridged"})


@pytest.mark.parametrize("level", LEVELS)
def test_every_table_with_limits_tells_their_level(level):
    model = practice_fit()
    tables = [
        model.classes(level),
        model.terms(level),
        model.conf_int(level),
        model.estimate(practice_unknown(), level),
    ]
    tables.append(model.line("full-wave", "choke", level, np.array([8.0])))
    assert all((table["level"] == level).all() for table in tables)


@pytest.mark.parametrize("model", [practice_fit, prior_fit])
def test_a_saved_fit_comes_back_digit_by_digit(tmp_path, model):
    path = tmp_path / "fit.json"
    model().save(path)
    again = Multiplier.load(path)
    assert again == model()
    for made in (str, repr, lambda fit: str(fit.check())):
        assert made(again) == made(model())
    for made in ("classes", "terms", "suspects", "provenance"):
        pd.testing.assert_frame_equal(getattr(again, made)(), getattr(model(), made)(), check_exact=True)
    pd.testing.assert_frame_equal(
        again.estimate(practice_unknown()), model().estimate(practice_unknown()), check_exact=True
    )
    assert np.array_equal(again.regression.params, model().regression.params)
    # Where memory is laid out otherwise, another machine's products of matrices differ in their last digit.
    for held, made in zip(again.quadrature, model().quadrature, strict=True):
        assert held.posterior.covariance.strides == made.posterior.covariance.strides
    assert json.loads(path.read_text())["format"] == "calib fit, version 2"


def test_a_file_that_is_no_fit_or_was_changed_is_refused_in_one_line(tmp_path):
    path = tmp_path / "fit.json"
    practice_fit().save(path)
    text = path.read_text(encoding="utf-8")
    digit = text.index("0.0", len(text) // 2)
    known = {name: part for name, part in json.loads(text).items() if name != "arrays"}
    for spoiled, said in (
        (text[:digit] + "0.1" + text[digit + 3 :], "was changed since it was written, or is damaged"),
        (json.dumps(known), "was changed since it was written, or is damaged"),
        (text[: len(text) // 2], "is no file of a fit that this calib reads"),
        ('{"format": "calib fit, version 99"}', "is no file of a fit that this calib reads"),
        ("[1, 2]", "is no file of a fit that this calib reads"),
        ("unit,contributor", "is no file of a fit that this calib reads"),
    ):
        path.write_text(spoiled, encoding="utf-8")
        with pytest.raises(InputError) as refused:
            Multiplier.load(path)
        assert (
            str(refused.value) == f"{path}: {said}; give a file that Multiplier.save wrote, or fit the known units anew"
        )
    with pytest.raises(InputError, match=r"cannot be read \(FileNotFoundError\)"):
        Multiplier.load(tmp_path / "none.json")
