"""The charts: each states its finding, names its units, tells its numbers, and can be drawn."""

from __future__ import annotations

import math
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
import pytest

import calib
from calib import charts
from calib.charts import DARK, LIGHT
from calib.charts.fit_charts import _class_middles
from tests.fitting.making import practice_fit, unknown

ANSWER = {
    "odds_of_demand": 0.87,
    "low_ma": 58.2,
    "rated_current_ma": 82.4,
    "high_ma": 116.3,
    "floor_ma": 63.1,
    "level": 0.9,
}
CURRENT = np.linspace(20.0, 220.0, 201)
CURVE = pd.DataFrame({"current_ma": CURRENT, "density": np.exp(-0.5 * (np.log(CURRENT / 82.4) / 0.21) ** 2) / CURRENT})
OPINIONS = pd.DataFrame(
    {
        "predictors": ["v_over_r", "v_over_r+core"],
        "rated_current_ma": [90.0, 60.0],
        "low_ma": [55.0, 45.0],
        "high_ma": [150.0, 80.0],
        "level": 0.9,
    }
)
AREAS = np.geomspace(3.0, 30.0, 12)
LINE = pd.DataFrame({"core_area_cm2": AREAS, "multiplier": 30.0 * (AREAS / 10.0) ** -0.5}).assign(
    low=lambda line: line["multiplier"] * 0.9,
    high=lambda line: line["multiplier"] * 1.1,
    unit_low=lambda line: line["multiplier"] * 0.7,
    unit_high=lambda line: line["multiplier"] * 1.4,
    level=0.9,
)
CLASSES = pd.DataFrame(
    {
        "size_class": ["3", "4"],
        "low_area_cm2": [7.0, 10.0],
        "high_area_cm2": [10.0, 14.0],
        "count": [2, 0],
        "multiplier": [33.0, 27.5],
        "low": [30.0, 24.0],
        "high": [36.0, 31.0],
    }
)
POINTS = pd.DataFrame(
    {
        "contributor": ["Alder Lane", "Quarry Bank", "Tin Street"],
        "unit": ["A-1", "Q-1", "T-1"],
        "evidence": ["nameplate", "heat-run", "nameplate"],
        "core_area_cm2": [8.0, 9.5, math.nan],
        "multiplier": [31.0, 12.0, 40.0],
        "odds_sound": [0.98, 0.05, 0.97],
        "doubtful": [False, True, False],
    }
)


def spec_of(chart: Any) -> dict[str, Any]:
    spec: dict[str, Any] = chart.to_dict()
    return spec


def title_of(chart: Any) -> str:
    return " ".join(spec_of(chart)["title"]["text"])


def drawn(chart: Any) -> str:
    import vl_convert

    return str(vl_convert.vegalite_to_svg(chart.properties(width=500).to_dict()))


def axis_titles(spec: Any) -> set[str]:
    """Every axis title anywhere in a chart."""
    if isinstance(spec, list):
        return set().union(*(axis_titles(part) for part in spec)) if spec else set()
    if not isinstance(spec, dict):
        return set()
    found = {spec["title"]} if "field" in spec and isinstance(spec.get("title"), str) else set()
    return found.union(*(axis_titles(part) for part in spec.values())) if spec else found


@pytest.mark.parametrize(
    ("demand", "finding"),
    [
        (math.nan, "About 82 mA, within 58 to 116 mA"),
        (60.0, "60 mA asked: below the likely 82 mA; odds"),
        (75.0, "75 mA asked: below the likely 82 mA; odds"),
        (95.0, "95 mA asked: above the likely 82 mA; odds"),
        (82.3, "82 mA asked: about the likely 82 mA; odds"),
        (81.6, "82 mA asked: about the likely 82 mA; odds"),
    ],
)
def test_the_estimates_title_states_the_finding(demand: float, finding: str) -> None:
    answer = {**ANSWER, "odds_of_demand": 0.87}
    wanted = f"{finding} 87 in 100" if finding.endswith("odds") else finding
    assert title_of(charts.estimate(CURVE, answer, demand, LIGHT)) == wanted


def test_the_estimate_tells_its_numbers_to_those_who_cannot_see_it() -> None:
    told = (
        "Most likely 82 mA; nine units in ten like this are rated between 58 and 116 mA; nine units in ten are rated "
        "at least 63 mA."
    )
    assert charts.estimate(CURVE, ANSWER).description == told
    chart = charts.estimate(CURVE, ANSWER, 75.0, LIGHT)
    assert spec_of(chart)["description"] == (f"{told} The set draws 75 mA; odds that it is rated for that: 87 in 100.")


def test_the_estimate_is_drawn_with_its_marks_and_unit() -> None:
    svg = drawn(charts.estimate(CURVE, ANSWER, 75.0, DARK))
    for said in (
        "likely 82 mA",
        "nine units in ten: at least 63 mA",
        "the set draws 75 mA",
        "58",
        "116",
        "rated direct current, mA",
    ):
        assert f">{said}<" in svg


@pytest.mark.parametrize(("demand", "above"), [(90.0, "likely"), (60.0, "the set draws"), (140.0, "the set draws")])
def test_words_that_run_towards_the_other_rule_stand_above_it(demand: float, above: str) -> None:
    """Words in the left half of the picture run to the right, those in the right half to the left."""
    spec = spec_of(charts.estimate(CURVE, ANSWER, demand, LIGHT))
    rows = [row for data in spec["datasets"].values() for row in data]
    words = max((row for row in rows if "mA" in row.get("text", "")), key=lambda row: row["height"])
    assert words["text"].startswith(above)
    assert sorted(row["top"] for row in rows if "top" in row)[0] < words["height"]


def test_no_demand_is_drawn_where_none_was_given() -> None:
    svg = drawn(charts.estimate(CURVE, ANSWER, math.nan, LIGHT))
    assert "likely 82 mA" in svg
    assert "the set draws" not in svg


def test_a_demand_far_off_is_still_on_the_axis() -> None:
    spec = spec_of(charts.estimate(CURVE, ANSWER, 900.0, LIGHT))
    domain = spec["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert domain[0] < 58.2
    assert domain[1] > 900.0


def test_the_opinions_say_how_far_they_differ() -> None:
    """90 mA over 60 mA is 1.5."""
    chart = charts.opinions(OPINIONS, LIGHT)
    assert title_of(chart) == "The readings differ by a factor of 1.50"
    assert "From V/R and core: 60 mA, 45 to 80 mA." in spec_of(chart)["description"]
    assert "rated direct current, mA" in axis_titles(spec_of(chart))


def test_the_size_chart_states_how_far_the_multiplier_falls() -> None:
    """30 (A/10)^-0.5 is 54.8 at 3 cm² and 17.3 at 30 cm²."""
    chart = charts.multiplier(LINE, POINTS, CLASSES, LIGHT)
    assert title_of(chart) == "55 mA per V/Ω at 3.0 cm² falls to 17 at 30 cm²"
    assert {"gross core area, cm²", "multiplier, mA per V/Ω"} <= axis_titles(spec_of(chart))


def test_the_size_chart_tells_its_classes_and_how_many_units_it_draws() -> None:
    told = spec_of(charts.multiplier(LINE, POINTS, CLASSES, LIGHT))["description"]
    assert "3 known units drawn. Core not known of 1: in a strip at the left." in told
    assert "Class 3: 33.0 (30.0 to 36.0), 2 known units." in told


def test_shape_and_mark_repeat_what_colour_says() -> None:
    svg = drawn(charts.multiplier(LINE, POINTS, CLASSES, LIGHT))
    assert ">nameplate<" in svg
    assert ">heat-run<" in svg
    assert svg.count(">?<") == 1


def test_a_published_winding_has_a_shape_of_its_own_and_no_core_a_strip() -> None:
    published = POINTS.iloc[[0]].assign(
        contributor="published A", core_area_cm2=math.nan, own=False, evidence="maker-data"
    )
    both = pd.concat([POINTS.dropna(subset="core_area_cm2").assign(own=True), published])
    chart = charts.multiplier(LINE, both, CLASSES, LIGHT)
    svg, told = drawn(chart), spec_of(chart)["description"]
    assert ">published winding (not yours)<" in svg
    assert ">core not known<" in svg
    assert ">maker-data<" not in svg
    assert "2 known units drawn. Beside them 1 published winding." in told
    cored = drawn(charts.multiplier(LINE, POINTS.dropna(subset="core_area_cm2"), CLASSES, LIGHT))
    assert "core not known" not in cored
    alone = charts.multiplier(LINE, published, CLASSES, LIGHT)
    assert title_of(alone).startswith("Before any record of yours: ")


def test_before_any_record_the_chart_says_so_and_is_drawn() -> None:
    chart = charts.multiplier(LINE, POINTS.iloc[:0], CLASSES.assign(count=0), DARK)
    assert title_of(chart).startswith("Before any record of yours: ")
    assert "multiplier, mA per V/Ω" in drawn(chart)


def test_an_open_class_is_drawn_inside_its_one_bound() -> None:
    """The middle in logs of 7 and 10 is sqrt 70; an open end counts as 1.44 times away, so the middle is 1.2 times."""
    bounds = pd.DataFrame({"low_area_cm2": [0.0, 7.0, 32.0], "high_area_cm2": [4.5, 10.0, math.inf]})
    assert _class_middles(bounds)["core_area_cm2"].tolist() == pytest.approx([3.75, math.sqrt(70.0), 38.4])


def test_the_frames_are_left_as_they_were() -> None:
    before = [frame.copy() for frame in (LINE, POINTS, CLASSES, CURVE, OPINIONS)]
    charts.multiplier(LINE, POINTS, CLASSES, LIGHT)
    charts.estimate(CURVE, ANSWER, 75.0, LIGHT)
    charts.opinions(OPINIONS, LIGHT)
    for frame, was in zip((LINE, POINTS, CLASSES, CURVE, OPINIONS), before, strict=True):
        pd.testing.assert_frame_equal(frame, was)


def test_the_curve_is_drawn_per_milliampere_so_that_its_areas_are_shares() -> None:
    """A rating spread evenly in ln current falls as 1/current per mA: at twice the current half the height."""
    even = pd.DataFrame({"current_ma": [50.0, 75.0, 100.0], "density": [1.0, 1.0, 1.0]})
    spec = spec_of(charts.estimate(even, ANSWER, math.nan, LIGHT))
    hill = spec["datasets"][spec["layer"][0]["data"]["name"]]
    assert [row["height"] for row in hill] == pytest.approx([1.0, 50.0 / 75.0, 0.5])


def test_an_ac_rating_is_not_called_direct() -> None:
    chart = charts.estimate(CURVE, ANSWER, math.nan, LIGHT, current="rated current, mA rms")
    assert "rated current, mA rms" in axis_titles(spec_of(chart))


def test_the_public_charts_take_the_frames_that_fit_and_estimate_give() -> None:
    model, areas = practice_fit(), np.geomspace(4.0, 30.0, 12)
    made = calib.estimate_unit(model, unknown({"tongue_mm": 28, "stack_mm": 30}), level=0.8)
    classes = model.classes(0.8)
    supply = classes[(classes["rectifier"] == "full-wave") & (classes["filter"] == "choke")]
    line = model.line("full-wave", "choke", 0.8, areas)
    for chart in (
        calib.charts.estimate(made.curve, made.answer),
        calib.charts.opinions(made.opinions),
        calib.charts.multiplier(line, model.points("full-wave", "choke"), supply),
    ):
        assert isinstance(chart, alt.LayerChart)
        assert "eight units" in str(spec_of(chart))


def test_the_carrying_back_shows_readings_ways_and_the_instant_and_tells_them() -> None:
    """T1.6: A gives 77.10169 ohm with a standard error of 0.00573, a rise of 59.7224 K."""
    seconds = (20.0, 35.0, 50.0, 65.0, 90.0, 120.0, 150.0, 180.0, 240.0, 300.0)
    ohm = (76.76, 76.51, 76.26, 76.01, 75.62, 75.15, 74.72, 74.31, 73.48, 72.72)
    found = calib.heat_run(calib.HeatRun(62.15, 20.4, 21.0, 22.0, 92.0, 60.0, seconds, ohm))
    chart = charts.cooling(found)
    assert title_of(chart) == "77.102 Ω at switching off, a mean rise of 59.7 K"
    told = str(chart.description)
    assert "At 0 s 77.1017 ± 0.0057 Ω (standard uncertainty of way A)." in told
    assert "Way A, end fixed, over 300 s: 77.102 Ω at 0 s, time constant 839 s, toward 62.540 Ω." in told
    assert all(f"{one:g} Ω at {at:g} s" in told for at, one in zip(seconds, ohm, strict=True))
    curves = found.cooling.curves()
    assert list(curves["way"].unique()) == ["A", "B", "C"]
    assert curves[curves["seconds"] == 0.0].set_index("way")["ohm"].to_dict() == pytest.approx(found.cooling.by_method)
    for colours in (LIGHT, DARK):
        spec = spec_of(charts.cooling(found, colours))
        assert axis_titles(spec) >= {"time after opening the line, s", "resistance, Ω"}


LEFT_OUT = pd.DataFrame(
    {
        "contributor": ["Alder Lane", "Tin Street"],
        "unit": ["A-1", "T-1"],
        "stated_ma": [80.0, 40.0],
        "low_ma": [60.0, 50.0],
        "rated_current_ma": [88.0, 70.0],
        "high_ma": [125.0, 98.0],
        "inside": [True, False],
        "level": 0.9,
    }
)


def test_the_picture_of_the_units_left_out_tells_which_lie_outside() -> None:
    made = charts.left_out(LEFT_OUT).to_dict()
    assert " ".join(made["title"]["text"]) == "1 of 2 units inside; meant are nine in ten"
    assert "T-1 of Tin Street: 40 mA stated, 70 mA likely by the others, 50 to 98 mA." in made["description"]
    assert "A-1" not in made["description"]
    (rows,) = [rows for rows in made["datasets"].values() if "standing" in rows[0]]
    assert [row["likely"] for row in rows] == pytest.approx([1.1, 1.75])
