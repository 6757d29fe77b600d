"""Rectifier valves: their table, the 3/2-power law, and the steady state that follows from it."""

from __future__ import annotations

import json
from dataclasses import replace

import frictionless
import numpy as np
import pytest

from calib.errors import InputError
from calib.paths import shipped, shipped_rows
from calib.supply.parameters import Settings
from calib.supply.periodic import PerUnit
from calib.supply.steady_state import load_line, state_of, steady_state
from calib.supply.valves import (
    DEGREE,
    SHAPES,
    current_through,
    rectifier_valve,
    rectifier_valves,
    residuals,
    slopes,
)


def test_the_data_package_is_valid():
    report = frictionless.validate(str(shipped("datasets/valves/datapackage.json")))
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    descriptor = json.loads(shipped("datasets/valves/datapackage.json").read_text(encoding="utf-8"))
    described = {resource["path"] for resource in descriptor["resources"]}
    assert described == {path.name for path in shipped("datasets/valves").glob("*.csv")} >= {"rectifiers.csv"}


def test_each_valve_drops_what_its_row_says():
    valves = {name: valve for name, valve in rectifier_valves().items() if valve.drop_told}
    assert len(valves) > 30
    for valve in valves.values():
        if valve.law == "power-3/2":
            assert valve.perveance * valve.drop_v**1.5 == pytest.approx(valve.at_ma / 1000)
        else:
            assert valve.perveance == float("inf")


def test_perveance_of_the_5y3():
    """Worked value: 60 V at 125 mA is 2.6896e-4 A/V^1.5."""
    assert rectifier_valve("5Y3-GT").perveance == pytest.approx(2.6896e-4, rel=2e-5)


@pytest.mark.parametrize("name", ["5Y3-GT", "5y3gt", "5Y3", " 5y3 G "])
def test_a_type_number_may_be_written_in_more_ways(name):
    assert rectifier_valve(name).name == "5Y3-GT"


@pytest.mark.parametrize(
    ("name", "home"),
    [
        ("6087", "5Y3-GT"),
        ("CV1856", "5Y3-GT"),
        ("5AR4", "GZ34"),
        ("5Z3", "5U4-G"),
        ("ez90", "6X4"),
        ("DW4/350", "DW4-350"),
    ],
)
def test_an_equivalent_has_the_limits_of_its_type(name, home):
    assert rectifier_valve(name).name == home


def test_of_types_that_differ_by_their_envelope_the_one_that_stands_less_is_taken():
    """5U4-G stands 225 mA, 5U4-GB 275 mA, and 83-V is another valve than 83."""
    assert rectifier_valve("5U4").name == "5U4-G"
    assert rectifier_valve("5U4-GB").max_dc_ma_capacitor_input == 275
    assert (rectifier_valve("83V").name, rectifier_valve("83").name) == ("5V4-G", "83")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("5AR9", r"did you mean 5AR4 \(as GZ34\)\? If not, give the drop of its data sheet"),
        ("5R4-GYB", r"did you mean 5R4-GY, 5R4-WGY \(as 5R4-GY\)"),
        ("nought", r"give one of: 5Y3-GT, 80, .*; or give the drop"),
    ],
)
def test_an_unknown_valve_is_refused_with_those_like_it(name, told):
    with pytest.raises(InputError, match=rf"valve '{name}': is not in the table of rectifier valves; {told}") as caught:
        rectifier_valve(name)
    assert len(caught.value.faults) == 1


def test_where_sources_differ_the_safer_figure_stands():
    valves = rectifier_valves()
    assert (valves["5U4-G"].drop_v, valves["5U4-G"].drop_most_v) == (44, 58)
    assert valves["GZ34"].max_peak_inverse_v == 1500
    assert valves["5Y3-GT"].max_peak_plate_ma == valves["80"].max_peak_plate_ma == 375
    assert valves["6X4"].min_source_ohm_per_plate == valves["6X5-GT"].min_source_ohm_per_plate == 525


def test_a_recalled_limit_says_in_its_source_that_it_is_unverified():
    rows = shipped_rows("datasets/valves/rectifiers.csv")
    limits = [name for name in rows[0] if name.startswith(("max_", "min_source_ohm")) or name == "drop_v"]
    for row in rows:
        recalled = {name for name in limits if row[name]} - set(row["checked"].split(";"))
        assert not recalled or "unverified" in row["source"], (row["valve"], recalled)
        assert "memory" not in row["source"]


def test_a_valve_whose_drop_is_not_told_asks_for_it():
    values = ("full-wave", "capacitor", 300.0, 150.0, 16.0, 60.0, 50.0)
    with pytest.raises(InputError, match=r"^diode_drop_v \(empty\): the table does not tell what EZ40 drops; give"):
        steady_state(*values, valve="EZ40")
    assert steady_state(*values, valve="EZ40", diode_drop_v=15.0) == steady_state(*values, diode_drop_v=15.0)


def test_of_two_printed_drops_the_least_makes_the_currents_and_the_greatest_the_volts():
    """A very large choke makes the plate current steady: 225 mA drop 58 V of a mean of 270.09 V."""
    steady = steady_state("full-wave", "choke", 300.0, 0.0, 100.0, 225.0, 50.0, choke_h=5e3, valve="5U4-G")
    assert steady.dc_v == pytest.approx(270.09 - 58, abs=0.01)
    what = Settings("full-wave", "capacitor", 400.0, 80.0, 40.0, 200.0, 60.0, valve="5U4-G")
    both, most = state_of(what), state_of(replace(what, greatest_drop=True))
    assert (both.dc_v, both.dc_v / both.load_ohm * 1000) == (most.dc_v, pytest.approx(200.0))
    assert both.peak_ma > 1.01 * most.peak_ma
    line = load_line(
        "full-wave",
        "capacitor",
        [200.0],
        volts=400.0,
        source_ohm=80.0,
        capacitance_uf=40.0,
        frequency_hz=60.0,
        valve="5U4-G",
    )
    assert line["dc_v"][0] == pytest.approx(both.dc_v, rel=1e-9)


def test_current_through_resistance_and_valve_obeys_both_laws():
    volts, ohm, perveance = np.array([0.0, 1e-6, 3.0, 80.0]), np.array([0.0, 50.0, 0.5, 900.0]), 2.7e-4
    current = current_through(volts, ohm, np.full(4, perveance))
    assert ohm * current + (current / perveance) ** (2 / 3) == pytest.approx(volts, rel=1e-12)


@pytest.mark.parametrize("rectifier", ["full-wave", "bridge"])
def test_a_steady_current_drops_what_the_law_says(rectifier):
    """With a very large choke the plate current is the load current: dc = mean emf less the drop at it."""
    state = steady_state(rectifier, "choke", 300.0, 0.0, 100.0, 125.0, 50.0, choke_h=5e3, valve="5Y3")
    drops = 60.0 * (2 if rectifier == "bridge" else 1)
    assert state.dc_v == pytest.approx(0.900316 * 300 - drops, rel=1e-5)


def test_a_mercury_valve_is_a_constant_drop():
    values = ("full-wave", "capacitor", 300.0, 100.0, 16.0, 100.0, 50.0)
    assert steady_state(*values, valve="83") == steady_state(*values, diode_drop_v=15.0)


@pytest.mark.parametrize(
    ("rectifier", "filter"), [("full-wave", "capacitor"), ("half-wave", "capacitor"), ("doubler", "capacitor")]
)
def test_the_less_a_valve_drops_the_nearer_it_is_to_an_ideal_diode(rectifier, filter):
    ideal = steady_state(rectifier, filter, 300.0, 200.0, 30.0, 40.0, 50.0)
    drops = [
        ideal.dc_v - steady_state(rectifier, filter, 300.0, 200.0, 30.0, 40.0, 50.0, valve=valve).dc_v
        for valve in ("5Y3", "6X4", "5V4", "GZ34")
    ]
    assert drops == sorted(drops, reverse=True)
    assert drops[-1] > 0


@pytest.mark.parametrize(
    ("kind", "period"),
    [
        ("capacitor", np.pi),
        ("capacitor", 2 * np.pi),
        ("doubler", 2 * np.pi),
        ("stopping", np.pi),
        ("stopping", 2 * np.pi),
        ("continuous", np.pi),
    ],
)
def test_derivatives_are_those_of_the_residuals(kind, period):
    rng = np.random.default_rng(11)
    count = 5
    case = PerUnit(
        rng.uniform(0.02, 0.1, count),
        rng.uniform(3, 30, count),
        rng.uniform(0.2, 2, count),
        rng.uniform(-0.02, 0.02, count),
        rng.uniform(5, 30, count),
        period,
        kind,
    )
    elements, states = SHAPES[kind]
    knots = rng.uniform(0.2, 0.9, (count, elements * states * (DEGREE + 1)))
    ends = np.stack((rng.uniform(0.3, 0.9, count), rng.uniform(2.2, 3.6, count), rng.uniform(-0.5, 0.2, count)), axis=1)
    unknowns = np.concatenate((knots, ends), axis=1)
    stepped = unknowns[:, None, :] + 1e-30j * np.eye(unknowns.shape[1])
    expected = np.swapaxes(residuals(case.wider(1), stepped).imag / 1e-30, 1, 2)
    assert np.abs(expected).max() > 1
    np.testing.assert_allclose(slopes(case, unknowns), expected, rtol=1e-9, atol=1e-11)
