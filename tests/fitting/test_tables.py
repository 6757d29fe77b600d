"""The table of estimates: its columns, its flags, and what its figures mean to each other."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.fitting.making import (
    FIGURES,
    ln_width,
    practice_fit,
    practice_known,
    practice_unknown,
    prior_fit,
    scene_known,
    unknown,
    without_core,
)

COLUMNS = [
    "unit",
    "no_load_v",
    "v_over_r",
    "size_class",
    "predictors",
    *FIGURES,
    "odds_of_demand",
    "flags",
    "unit_multiplier",
]
CORE = {"tongue_mm": 28, "stack_mm": 30}
READINGS = [  # what is measured, the predictors, the size class of 8.4 cm2
    ({}, "v_over_r", ""),
    (CORE, "v_over_r+core", "3"),
    ({**CORE, "awg": 32}, "v_over_r+core+gauge", "3"),
]


def flags_of(made: pd.DataFrame) -> list[set[str]]:
    return [set(cell.split(";")) - {""} for cell in made["flags"]]


def test_columns_in_the_agreed_order():
    """Further columns stand after those agreed."""
    assert list(practice_fit().estimate(practice_unknown()).columns)[: len(COLUMNS)] == COLUMNS


def test_no_unit_gives_an_empty_table():
    made = practice_fit().estimate(practice_unknown().iloc[:0])
    assert list(made.columns)[: len(COLUMNS)] == COLUMNS
    assert len(made) == 0


@pytest.mark.parametrize(("readings", "predictors", "size_class"), READINGS)
def test_which_readings_carried_it(readings, predictors, size_class):
    row = practice_fit().estimate(unknown(readings)).iloc[0]
    assert (row["predictors"], row["size_class"]) == (predictors, size_class)
    assert row[FIGURES].notna().all()


FURTHER = [
    ({"awg": 32}, "v_over_r+gauge"),
    ({"primary_resistance_ohm": 3.5}, "v_over_r+primary"),
    ({"weight_kg": 2.2}, "v_over_r+weight"),
    ({**CORE, "primary_resistance_ohm": 3.5, "weight_kg": 2.2}, "v_over_r+core+primary+weight"),
]


@pytest.mark.parametrize(("readings", "predictors"), FURTHER)
def test_every_reading_counts_without_another(readings, predictors):
    """What is read beside V and R narrows the interval, core or no core, and is named."""
    made = practice_fit().estimate(unknown({}, readings))
    assert list(made["predictors"]) == ["v_over_r", predictors]
    width = np.log(made["high_ma"] / made["low_ma"])
    assert width[1] < width[0]


def test_readings_are_given_back():
    """653.505 V, V/R 3.465032."""
    row = practice_fit().estimate(unknown()).iloc[0]
    assert row["no_load_v"] == pytest.approx(653.505, rel=1e-6)
    assert row["v_over_r"] == pytest.approx(3.465032, rel=1e-6)


def test_the_units_own_multiplier_gives_the_current():
    """unit_multiplier x v_over_r = rated_current_ma, with a core and without; the class's mean does not."""
    for asked in (practice_unknown(), without_core(practice_unknown())):
        made = practice_fit().estimate(asked)
        rated = made["unit_multiplier"] * made["v_over_r"]
        assert rated.to_numpy() == pytest.approx(made["rated_current_ma"].to_numpy(), rel=1e-12)
    assert (made["unit_multiplier"] != made["multiplier"]).all()


def test_rows_come_in_the_order_asked():
    asked = practice_unknown()
    made = practice_fit().estimate(asked)
    turned = practice_fit().estimate(asked.iloc[::-1])
    assert list(made["unit"]) == list(asked["unit"])
    assert list(turned["unit"]) == list(asked["unit"])[::-1]
    assert turned[FIGURES].to_numpy()[::-1] == pytest.approx(made[FIGURES].to_numpy(), rel=1e-8)


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
def test_figures_stand_in_order(level):
    made = practice_fit().estimate(practice_unknown(), level)
    for low, middle, high in (
        ("low_ma", "rated_current_ma", "high_ma"),
        ("multiplier_low", "multiplier", "multiplier_high"),
    ):
        assert (made[low] < made[middle]).all()
        assert (made[middle] < made[high]).all()
    assert (made["floor_ma"] > made["low_ma"]).all()
    assert (made["floor_ma"] <= made["rated_current_ma"] * (1 + 1e-9)).all()


def test_a_higher_level_is_wider_and_its_floor_lower():
    narrow, wide = (practice_fit().estimate(practice_unknown(), level) for level in (0.8, 0.95))
    assert (ln_width(wide) > ln_width(narrow)).all()
    assert (wide["floor_ma"] < narrow["floor_ma"]).all()
    assert wide["rated_current_ma"].to_numpy() == pytest.approx(narrow["rated_current_ma"].to_numpy(), rel=1e-9)


def test_the_floor_is_one_sided():
    """What the rating exceeds with probability 0.95 is the lower limit of the two-sided interval of 0.90."""
    floor = practice_fit().estimate(practice_unknown(), 0.95)["floor_ma"]
    low = practice_fit().estimate(practice_unknown(), 0.90)["low_ma"]
    assert floor.to_numpy() == pytest.approx(low.to_numpy(), rel=1e-8)


@pytest.mark.parametrize("level", [0.6, 0.9, 0.99])
@pytest.mark.parametrize("column", ["floor_ma", "low_ma", "rated_current_ma", "high_ma"])
def test_odds_of_a_demand_agree_with_the_interval(level, column):
    model, asked = practice_fit(), practice_unknown()
    demand = model.estimate(asked, level)[column].to_numpy()
    odds = model.estimate(asked.assign(demand_ma=demand), level)["odds_of_demand"]
    expected = {"floor_ma": level, "low_ma": (1 + level) / 2, "rated_current_ma": 0.5, "high_ma": (1 - level) / 2}
    assert odds.to_numpy() == pytest.approx(np.full(len(asked), expected[column]), abs=1e-7)


def test_odds_are_blank_without_a_demand_and_fall_with_it():
    made = practice_fit().estimate(unknown({}, {"demand_ma": 60}, {"demand_ma": 90}))
    assert np.isnan(made["odds_of_demand"].iloc[0])
    assert 0 < made["odds_of_demand"].iloc[2] < made["odds_of_demand"].iloc[1] < 1


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 90, float("nan")])
def test_a_level_that_is_no_probability_is_refused(level):
    with pytest.raises(ValueError, match=f"level is {level}: .*such as 0.9"):
        practice_fit().estimate(practice_unknown(), level)


def test_no_records_is_said():
    made = prior_fit().estimate(practice_unknown())
    assert all("prior-only" in flags for flags in flags_of(made))
    assert not any("prior-only" in flags for flags in flags_of(practice_fit().estimate(practice_unknown())))


def test_few_records_are_said():
    asked = unknown(CORE)
    few, many = fit(practice_known().iloc[:3]), fit(practice_known().iloc[:20])
    assert flags_of(few.estimate(asked))[0] >= {"few-records", "simulated"}
    assert "few-records" not in flags_of(many.estimate(asked))[0]


def test_no_core_is_said():
    model = practice_fit()
    assert all("no-core" in flags for flags in flags_of(model.estimate(without_core(practice_unknown()))))
    assert "no-core" not in flags_of(model.estimate(unknown(CORE)))[0]


def test_beyond_the_sizes_seen_is_said_and_wider():
    """Known cores under 11 cm2; asked about 8 and 30 cm2, each with the V/R usual for its size."""
    model = fit(scene_known("classes never seen", 60))
    seen = {"tongue_mm": 27, "stack_mm": 30, "hv_resistance_ohm": 310}
    large = {"tongue_mm": 50, "stack_mm": 60, "hv_resistance_ohm": 40}
    made = model.estimate(unknown(seen, large))
    assert "extrapolated" not in flags_of(made)[0]
    assert "extrapolated" in flags_of(made)[1]
    assert ln_width(made)[1] > 1.03 * ln_width(made)[0]


def test_under_the_sizes_seen_is_said_and_wider():
    """Known cores over 2.5 cm2; asked about 1.6 cm2."""
    tiny = {"tongue_mm": 12, "stack_mm": 13, "hv_resistance_ohm": 16_000}
    seen = {"tongue_mm": 27, "stack_mm": 30, "hv_resistance_ohm": 310}
    made = fit(scene_known("classes never seen", 60)).estimate(unknown(seen, tiny))
    assert "extrapolated" in flags_of(made)[1]
    assert ln_width(made)[1] > 1.03 * ln_width(made)[0]


def test_simulated_data_marks_every_estimate_that_rests_on_it():
    assert all("simulated" in flags for flags in flags_of(practice_fit().estimate(unknown({}, CORE))))
    true_only = fit(practice_known().assign(simulated=False))
    made = true_only.estimate(practice_unknown().assign(simulated=False))
    assert not any("simulated" in flags for flags in flags_of(made))


def test_a_withheld_current_leaves_the_readings_and_the_repair():
    """0.227 mm typed as a gauge: no current, no odds, no multiplier of the unit; what was read and the repair stay."""
    asked = unknown({**CORE, "awg": 0.227, "demand_ma": 70}, {**CORE, "wire_diameter_mm": 0.227, "demand_ma": 70})
    made, as_read = practice_fit().estimate(asked), practice_fit().estimate(asked, as_read=True)
    assert flags_of(made)[0] == flags_of(as_read)[0] == {"simulated", "suspect-reading", "improbable", "withheld"}
    blank = ["rated_current_ma", "low_ma", "high_ma", "floor_ma", "odds_of_demand"]
    assert made.loc[0, blank].isna().all()
    assert made.loc[0, ["no_load_v", "v_over_r", "multiplier", "multiplier_low", "multiplier_high"]].notna().all()
    assert made.loc[0, "odds_sound"] < 1e-6
    assert made.loc[0, "likely_slip"] == as_read.loc[0, "likely_slip"] == "wire diameter in mm taken for its gauge"
    sound = practice_fit().estimate(asked.iloc[[1]], as_read=True)[["rated_current_ma", "low_ma", "high_ma"]]
    repaired = ["repaired_ma", "repaired_low_ma", "repaired_high_ma"]
    assert made.loc[0, repaired].tolist() == pytest.approx(sound.iloc[0].tolist(), rel=1e-9)
    assert as_read.loc[0, blank].notna().all()
    assert as_read.loc[0, "rated_current_ma"] > 50_000
    assert made.loc[1, [*repaired, "likely_slip"]].fillna("").tolist() == [""] * 4


def test_a_core_that_its_readings_contradict_is_said():
    """V/R and voltage of an 8 cm2 unit on a core of 40 cm2."""
    made = practice_fit().estimate(unknown(CORE, {"tongue_mm": 63, "stack_mm": 64}))
    assert "suspect-reading" not in flags_of(made)[0]
    assert "suspect-reading" in flags_of(made)[1]


def test_a_ratio_test_and_a_stated_voltage_over_3_percent_apart_are_said():
    made = practice_fit().estimate(unknown({**CORE, "no_load_v": 640}, {**CORE, "no_load_v": 610}))
    assert "suspect-reading" not in flags_of(made)[0]
    assert "suspect-reading" in flags_of(made)[1]


def test_tables_can_be_written_as_json():
    model = practice_fit()
    for table in (model.classes(), model.terms(), model.suspects(), model.estimate(unknown())):
        text = table.replace([np.inf], 1e9).to_json(orient="records")
        assert len(json.loads(text)) == len(table)
