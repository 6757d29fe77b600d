"""Heater windings as they are entered on the home page, and what the page then says of them."""

from __future__ import annotations

import math

import pytest

from calib.estimate.heaters import HeaterAnswer, HeaterEstimate
from calib.session import readings as h
from tests.app import visits

RATIO = {"excitation_v": 4.97, "line_voltage_v": 117.0, "winding_temp_c": 20.0}
ONE = {**RATIO, "heaters": h.COUNTS[2], "heater_v_1": 0.28, "heater_ohm_1": 0.045, "heater_a_1": 2.7}


def test_nobody_looked_is_not_the_same_as_none():
    assert h.heaters_of({**RATIO, "heaters": h.NOT_LOOKED_AT}, False).windings is None
    assert h.heaters_of(RATIO, False).windings is None
    assert h.heaters_of({**RATIO, "heaters": h.NONE}, False).windings == ()


def test_volts_of_the_ratio_test_are_brought_to_the_line():
    """0.28 V at 4.97 V on the primary is 6.5915 V at 117 V."""
    read = h.heaters_of(ONE, False)
    assert read.windings[0].no_load_v == pytest.approx(0.28 * 117 / 4.97, rel=1e-12)
    assert read.aloud["heater_v_1"] == "0.28 V in the ratio test is 6.592 V at the line."
    assert h.heaters_of({**ONE, "heater_v_1": 6.6}, True).windings[0].no_load_v == 6.6


def test_a_winding_without_volts_waits():
    assert h.heaters_of({**ONE, "heater_v_1": None}, False).windings == ()
    assert h.heaters_of({**ONE, "excitation_v": None}, False).windings == ()


def test_two_leads_take_the_null_and_the_ordinary_meter():
    two = h.heaters_of({**ONE, "heater_leads": h.TWO_LEADS, "heater_null": 0.2, "heater_ohm_1": 0.25}, False)
    assert two.windings[0].null_ohm == 0.2
    assert two.windings[0].meter != h.heaters_of(ONE, False).windings[0].meter


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("heater_v_1", 230.0, "230 V: is outside the limits, 0.01 to 100 V; read it again."),
        ("heater_ohm_1", -0.1, "-0.1 Ω: is outside the limits, 0 to 100 Ω; read it again."),
        ("heater_a_1", 300.0, "300 A: is outside the limits, 0 to 100 A; read it again."),
    ],
)
def test_what_is_beyond_its_limits_is_said_and_left_out(field, value, said):
    read = h.heaters_of({**ONE, field: value}, False)
    assert read.faults == {field: said}
    assert read.windings == ()


def test_the_page_gives_their_current_and_what_the_core_leaves(tmp_path, monkeypatch):
    visits.settle(tmp_path, monkeypatch)
    at = visits.enter(visits.opened(), **visits.READINGS, tongue=28.0, stack=30.0)
    before = visits.text_of(at)
    assert "The heater windings" not in before
    at.selectbox(key="read_heaters").set_value(h.COUNTS[2]).run()
    at = visits.enter(at, heater_v_1=0.28, heater_ohm_1=0.045, heater_a_1=2.7)
    said = visits.unescaped(visits.text_of(at))
    assert "The heater windings" in said
    assert "a 6.3 V winding" in said
    assert "less 17 VA of heaters" in said
    at = visits.enter(at, heater_ohm_1=0.0005)
    assert "is lost in the reading" in visits.unescaped(visits.text_of(at))


def test_rows_say_why_there_is_no_current():
    nothing = math.nan
    one = HeaterEstimate(
        name="heater 1",
        no_load_v=6.6,
        usual_v=nothing,
        resistance_ohm=nothing,
        u_resistance_ohm=nothing,
        drawn_a=nothing,
        rated_a=nothing,
        low_a=nothing,
        high_a=nothing,
        level=0.9,
        reason="its resistance was not read",
        flags=(),
    )
    rows = h.heater_rows(HeaterAnswer(30.0, 20.0, 40.0, (one,), 0.9, False))
    assert rows == [("heater 1", "6.6 V: no usual heater voltage", "–", "not told: its resistance was not read")]


def test_commas_and_units_are_read_and_said_back():
    typed = {"excitation_v": "4,97", "heater_v_1": "0,28", "heater_ohm_1": "45 mΩ", "heater_a_1": "2700 mA"}
    read = h.heaters_of(ONE | typed, False)
    assert read.windings == h.heaters_of(ONE, False).windings
    assert read.aloud["heater_v_1"] == "Read as 0.28 V. 0.28 V in the ratio test is 6.592 V at the line."
    assert read.aloud["heater_ohm_1"] == "45 mΩ is 0.045 Ω."
    assert set(read.aloud) == {"heater_v_1", "heater_ohm_1", "heater_a_1"}


def test_what_is_no_number_is_said_and_its_winding_left_out():
    read = h.heaters_of({**ONE, "heater_ohm_1": "0,0,4"}, False)
    assert list(read.faults) == ["heater_ohm_1"]
    assert read.windings == ()
