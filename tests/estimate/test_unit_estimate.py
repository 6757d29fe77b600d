"""One unknown unit with all that a person needs to check it."""

from __future__ import annotations

import dataclasses
from collections import Counter

import numpy as np
import pandas as pd
import pytest

from calib.estimate import HeaterReading, UnitEstimate, estimate_unit
from calib.estimate.unit import RATED_IS_NOT_SAFE
from calib.fitting import predictive
from calib.fitting.predictive import Fitted
from calib.register.records import UnknownUnit
from calib.supply.form_factor import winding_rms_per_dc
from tests.fitting.making import practice_fit, practice_known, practice_unknown, prior_fit, unknown

FULL = {"unit": "Q1", "tongue_mm": 28, "stack_mm": 30, "awg": 32}


@pytest.fixture(scope="module")
def made() -> UnitEstimate:
    return estimate_unit(practice_fit(), unknown(FULL))


def test_the_answer_is_the_fits_own_row(made):
    pd.testing.assert_frame_equal(made.answer, practice_fit().estimate(unknown(FULL)), check_exact=True)
    assert made.answer["unit"].tolist() == ["Q1"]


def test_each_thing_is_reckoned_once_an_estimate(monkeypatch):
    """The features of a unit, how its readings are weighed and its distribution, for the answer and all beside it."""
    calls: Counter[str] = Counter()

    def counted(home, name):
        own = getattr(home, name)
        monkeypatch.setattr(home, name, lambda *words: (calls.update([name]), own(*words))[1])

    for home, name in ((predictive, "features_of"), (predictive, "weigh"), (Fitted, "predictive"), (Fitted, "mixture")):
        counted(home, name)
    estimate_unit(practice_fit(), unknown(FULL), heaters=[HeaterReading("lit", 6.6, 0.05)])
    # The unit, the other filter, two opinions of fewer readings; core and gauge alone, and the drop of the heaters, are
    # of sound readings only.
    assert calls == {"features_of": 2, "weigh": 4, "mixture": 4, "predictive": 6}
    calls.clear()
    estimate_unit(practice_fit(), unknown({**FULL, "filter": "none"}), as_read=True)
    assert calls["features_of"] == 1


def test_a_record_or_its_fields_are_estimated_as_the_frame_is(made):
    fields = {name: value for name, value in unknown(FULL).iloc[0].items() if name in UnknownUnit.model_fields}
    for given in (fields, UnknownUnit.parse(fields)):
        pd.testing.assert_frame_equal(estimate_unit(practice_fit(), given).answer, made.answer, check_exact=True)


def test_the_level_is_that_asked_for(made):
    wide = estimate_unit(practice_fit(), unknown(FULL), level=0.99)
    assert wide.answer["low_ma"].iloc[0] < made.answer["low_ma"].iloc[0]
    assert wide.opinions["low_ma"].iloc[-1] < made.opinions["low_ma"].iloc[-1]
    assert wide.other["low_ma"].iloc[0] < made.other["low_ma"].iloc[0]
    for table in (wide.answer, wide.other, wide.opinions):
        assert set(table["level"]) == {0.99}
    assert "level" in wide.disagreement.columns.intersection(wide.repairs.columns)


@pytest.mark.parametrize(
    ("standing", "said"),
    [
        ({"stop": "insulation 3 Mohm"}, "STOP, feed it nothing: insulation 3 Mohm. Q1: most likely"),
        (
            {"stop": "insulation 3 Mohm", "stop_cleared": "dried: 400 Mohm"},
            "A stop was cleared: insulation 3 Mohm; why it no longer stands: dried: 400 Mohm. Q1: most likely",
        ),
        ({"doubts": "halves 30 % apart | light"}, "Doubt: halves 30 % apart. Doubt: light. Q1: most likely"),
    ],
)
def test_what_stands_against_the_unit_comes_first_in_print_and_hides_no_number(made, standing, said):
    stopped = estimate_unit(practice_fit(), unknown({**FULL, **standing}))
    assert str(stopped).replace("Simulated practice data. ", "").startswith(said)
    assert str(stopped).endswith(str(made).split(": ", 1)[1])
    assert stopped.other[[*standing]].iloc[0].to_dict() == standing
    assert stopped.other["flags"].iloc[0].split(";")[0] == stopped.answer["flags"].iloc[0].split(";")[0]


@pytest.mark.parametrize("rows", [0, 2])
def test_it_takes_one_unit_at_a_time(rows):
    with pytest.raises(ValueError, match=f"readings hold {rows} rows: give one unit"):
        estimate_unit(practice_fit(), practice_unknown().iloc[:rows])


@pytest.mark.parametrize("level", [0.0, 1.0, 90])
def test_a_level_that_is_no_probability_is_refused(level):
    with pytest.raises(ValueError, match=f"level is {level}"):
        estimate_unit(practice_fit(), unknown(FULL), level)


def test_the_other_filter_gives_more_with_a_choke(made):
    """By the ratio of the rms currents, capacitor over choke, as far as the fit leaves it there."""
    ratio = winding_rms_per_dc("full-wave", "capacitor") / winding_rms_per_dc("full-wave", "choke")
    gained = made.other["rated_current_ma"].iloc[0] / made.answer["rated_current_ma"].iloc[0]
    assert gained == pytest.approx(ratio, rel=0.15)
    assert gained > 1.3


def test_the_other_filter_of_a_choke_is_a_capacitor(made):
    choke = estimate_unit(practice_fit(), unknown({**FULL, "filter": "choke"}))
    assert choke.other["rated_current_ma"].iloc[0] == pytest.approx(made.answer["rated_current_ma"].iloc[0], rel=1e-9)
    assert choke.answer["rated_current_ma"].iloc[0] == pytest.approx(made.other["rated_current_ma"].iloc[0], rel=1e-9)


@pytest.mark.parametrize(("rectifier", "filter"), [("doubler", "capacitor"), ("none", "none")])
def test_a_supply_with_no_other_filter_has_no_other_estimate(rectifier, filter):
    supply = {"rectifier": rectifier, "filter": filter, "centre_tapped": "false"}
    single = estimate_unit(practice_fit(), unknown({**FULL, **supply}))
    assert len(single.other) == 0
    assert list(single.other.columns) == list(single.answer.columns)


def test_a_demand_gets_its_odds(made):
    demand = float(made.answer["floor_ma"].iloc[0])
    asked = estimate_unit(practice_fit(), unknown({**FULL, "demand_ma": repr(demand)}))
    assert asked.answer["odds_of_demand"].iloc[0] == pytest.approx(0.9, abs=1e-6)
    assert np.isnan(made.answer["odds_of_demand"].iloc[0])


def test_the_curve_is_the_density_of_the_interval(made):
    """Per unit of ln current: it adds to nearly one, and to the level between the limits of the answer."""
    ln_current, density = np.log(made.curve["current_ma"].to_numpy()), made.curve["density"].to_numpy()
    assert np.trapezoid(density, ln_current) == pytest.approx(1.0, abs=0.006)
    fine = np.linspace(*np.log(made.answer[["low_ma", "high_ma"]].iloc[0].to_numpy(float)), 2001)
    assert np.trapezoid(np.interp(fine, ln_current, density), fine) == pytest.approx(0.9, abs=0.003)
    assert (np.diff(ln_current) > 0).all()


def test_the_curves_top_is_near_the_median(made):
    top = made.curve.loc[made.curve["density"].idxmax(), "current_ma"]
    assert top == pytest.approx(made.answer["rated_current_ma"].iloc[0], rel=0.05)


def test_simulated_data_is_said_first(made):
    assert made.simulated
    assert str(made).startswith("Simulated")
    true_unit = estimate_unit(prior_fit(), unknown(FULL))
    assert not true_unit.simulated
    assert "imulated" not in str(true_unit)
    marked = estimate_unit(prior_fit(), practice_unknown().iloc[[0]])
    assert marked.simulated


def test_str_tells_the_current_and_its_limits(made):
    row = made.answer.iloc[0]
    for name in ("rated_current_ma", "low_ma", "high_ma", "floor_ma"):
        assert f"{row[name]:.0f}" in str(made)
    assert "Q1" in str(made)
    assert "\n" not in repr(made)


def test_str_says_that_rated_is_not_safe_and_what_is_worth_a_second_look(made):
    """The sentence on the cabinet's air and the rise is the cautions' own, and not there where nothing is told."""
    assert "hot cabinet" in RATED_IS_NOT_SAFE
    assert "40 °C round the unit and 60 K on it" in RATED_IS_NOT_SAFE
    assert str(made).endswith(f" {RATED_IS_NOT_SAFE}")
    assert RATED_IS_NOT_SAFE in made.cautions
    assert made.improbable == ()
    # (70 - 32) / 1.8 = 21.1
    asked = (
        "winding_temp_c: 70 °C is unusual: most are 5 to 40 °C; did you mean 21.111 °C (typed in °F) or 7 °C (the "
        "decimal point slipped by 1 place)?"
    )
    hot = estimate_unit(practice_fit(), unknown({**FULL, "winding_temp_c": "70"}))
    assert [f"{one.column}: {one.why}" for one in hot.improbable] == [asked]
    assert f" Worth a second look: {asked} Rated is not safe here" in str(hot)
    assert "improbable" in hot.answer["flags"].iloc[0].split(";")
    withheld = estimate_unit(practice_fit(), unknown({**FULL, "awg": "0.19"}))
    assert "hot cabinet" not in str(withheld)
    assert "awg: 0.19 AWG is unusual" in str(withheld)


def test_what_must_be_read_first_is_there(made):
    text = " ".join(made.cautions)
    for word in ("kill", "fuse", "lamp", "estimate", "local codes"):
        assert word in text


def test_it_cannot_be_changed(made):
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.simulated = False


def test_readings_are_not_changed():
    readings = unknown(FULL)
    before = readings.copy(deep=True)
    estimate_unit(practice_fit(), readings)
    pd.testing.assert_frame_equal(readings, before)


@pytest.mark.parametrize("row", range(12))
def test_every_practice_unit_gets_a_complete_estimate(row):
    made = estimate_unit(practice_fit(), practice_unknown().iloc[[row]])
    assert made.answer[["rated_current_ma", "low_ma", "high_ma", "floor_ma"]].notna().all(axis=None)
    assert len(made.working) >= 5
    assert len(made.opinions) >= 1
    assert made.simulated


def test_a_known_unit_read_blind_is_estimated_near_its_rating():
    """Alder Lane's own records as if unknown: the median error is under a third."""
    known = practice_known()
    blind = known[known["contributor"] == "Alder Lane"].drop(columns=["evidence", "rated_current_ma"])
    errors = []
    for row in range(len(blind)):
        made = estimate_unit(practice_fit(), blind.iloc[[row]]).answer["rated_current_ma"].iloc[0]
        errors.append(abs(made / known.loc[blind.index[row], "rated_current_ma"] - 1))
    assert np.median(errors) < 0.33
