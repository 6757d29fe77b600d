"""The insulation test's record and its grades."""

from __future__ import annotations

import dataclasses
import math
import re

import pytest
from hypothesis import given, strategies as st

from calib.bench.insulation import (
    BEFORE_THE_TEST,
    PAIRS,
    InsulationTest,
    Works,
    grade_insulation,
    insulation_at_20_megohm,
    insulation_steps,
    working_stresses,
)
from tests.counts import FEW


@FEW
@given(st.floats(0.01, 1e5), st.floats(-20.0, 110.0))
def test_it_halves_for_ten_kelvin(megohm, temp):
    # A winding that is 10 K warmer reads half for the same resistance at 20 °C (IEEE 43 practice).
    assert insulation_at_20_megohm(megohm / 2.0, temp + 10.0) == pytest.approx(insulation_at_20_megohm(megohm, temp))
    assert insulation_at_20_megohm(megohm, 20.0) == megohm


@pytest.mark.parametrize(
    ("megohm", "kind", "grade"),
    [
        (101.0, "basic", "good"),  # limits of the workshop's view: 100 and 10 Mohm
        (100.0, "basic", "dry out"),
        (10.0, "reinforced", "dry out"),
        (9.9, "basic", "stop until explained"),
        (6.9, "reinforced", "stop until explained"),
        (1.9, "basic", "stop until explained"),
    ],
)
def test_grades(megohm, kind, grade):
    graded = grade_insulation(InsulationTest("HV to core", megohm, kind=kind, stress_v=400.0))
    assert graded.grade == grade
    assert "local code" in graded.remedy
    assert graded.notes == ()


def test_worked_stresses():
    """Peaks at 1.1 times the line: 350-0-350 gives 545, 545 and 1089 V, and 902 V to a primary of 230 V."""
    stress = working_stresses(Works(230.0, 700.0))
    assert set(stress) == set(PAIRS)
    assert [stress[pair] for pair in ("hv-core", "rectifier-core", "hv-rectifier", "primary-hv")] == [
        545,
        545,
        1089,
        902,
    ]
    assert stress["primary-rest"] == stress["primary-hv"]  # a lumped test has the highest pair in it
    assert stress["rectifier-rest"] == stress["hv-rectifier"]


@pytest.mark.parametrize(
    (
        "circuit",
        "peaks",
    ),  # of the whole winding: how many stand between an end, or the rectifier's heater, and the core
    [("full-wave", 0.5), ("bridge", 1.0), ("half-wave", 1.0), ("doubler", 2.0)],
)
def test_stresses_by_circuit(circuit, peaks):
    """Within a volt for each winding of 1.1 sqrt 2 V, written out; heaters that are not the rectifier's count 6.3 V."""
    peak = 1.1 * math.sqrt(2.0)
    stress = working_stresses(Works(117.0, 600.0, circuit))
    end, line, heater = peak * 600.0 * peaks, peak * 117.0, peak * 6.3
    by_hand = {"hv-core": end, "rectifier-core": end, "hv-rectifier": 2 * end, "primary-hv": line + end}
    by_hand |= {"primary-core": line, "hv-heaters": end + heater, "heaters-core": heater}
    assert {pair: stress[pair] for pair in by_hand} == pytest.approx(by_hand, abs=2.5)


def test_a_voltage_that_is_not_known_leaves_its_stress_open():
    stress = working_stresses(Works(230.0, math.nan))
    assert math.isnan(stress["hv-core"])
    assert stress["primary-core"] == 358.0  # 1.1 times a peak of 325 V


@pytest.mark.parametrize(
    ("stress", "gentle", "steps"),
    [(499.0, False, (500,)), (500.0, False, (500,)), (501.0, False, (500, 1000)), (1089.0, True, (250, 500, 1000))],
)
def test_steps(stress, gentle, steps):
    assert insulation_steps(stress, gentle) == steps
    assert insulation_steps(math.nan, gentle)[-1] == 500


@pytest.mark.parametrize(
    ("test_v", "stress", "grade", "remedy"),
    [
        (1000.0, 1000.0, "good", "Record it"),
        (1000.0, 1089.0, "passed at 1000 V, works at 1089 V", "the tester ends below what stands there in use"),
        (500.0, 545.0, "passed at 500 V, works at 545 V", "Go on to 1000 V"),
        (250.0, 400.0, "passed at 250 V, works at 400 V", "Go on to 500 V"),
    ],
)
def test_what_was_passed_is_held_against_what_it_works_at(test_v, stress, grade, remedy):
    graded = grade_insulation(InsulationTest("HV to rectifier heater", 300.0, test_v, stress_v=stress))
    assert (graded.grade, graded.passed) == (grade, True)
    assert remedy in graded.remedy
    low = grade_insulation(InsulationTest("HV to rectifier heater", 3.0, test_v, stress_v=stress))
    assert (low.grade, low.passed) == ("stop until explained", False)


def test_what_is_damp_is_dried_cool_where_there_may_be_wax():
    remedy = grade_insulation(InsulationTest("HV to core", 50.0)).remedy
    for word in ("50 °C at most, for days", "toxic vapour", "PCB", "60 to 80 °C only for varnished coils without wax"):
        assert word in remedy


def test_the_grade_is_of_the_resistance_at_20():
    cold, hot = (grade_insulation(InsulationTest("HV to core", 60.0, temp_c=temp)) for temp in (5.0, 35.0))
    assert (cold.grade, hot.grade) == ("dry out", "good")
    assert hot.at_20_megohm == pytest.approx(60.0 * 2.0**1.5)


@pytest.mark.parametrize(("megohm", "kind"), [(1.5, "basic"), (6.9, "reinforced")])
def test_hot_insulation_below_the_standards_order_is_rejected_all_the_same(megohm, kind):
    hot = grade_insulation(InsulationTest("HV to core", megohm, temp_c=90.0, kind=kind))
    assert hot.at_20_megohm > 100.0
    assert hot.grade == "stop until explained"
    assert grade_insulation(InsulationTest("HV to core", megohm + 1.0, temp_c=90.0, kind=kind)).passed


def test_a_range_that_ends_too_soon_tells_nothing():
    short = grade_insulation(InsulationTest("HV to core", 20.0, over_range=True))
    assert short.grade == "not told"
    assert "beyond 100 Mohm" in short.remedy
    long = grade_insulation(InsulationTest("HV to core", 2000.0, over_range=True))
    assert long.grade == "good"
    assert "over 2000 Mohm" in str(long)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"stress_v": math.nan}, "what these parts work at is not told"),
        ({"ten_minutes_megohm": 700.0}, "ten minutes over one: 1.4, below 1.5: a hint to dry it, no more"),
        ({"ten_minutes_megohm": 800.0}, "ten minutes over one: 1.6: no hint of damp"),
        ({"megohm": 6000.0, "ten_minutes_megohm": 6000.0}, "which says nothing below 100 Mohm or above 5 Gohm"),
        ({"megohm": 90.0, "ten_minutes_megohm": 90.0}, "which says nothing below 100 Mohm or above 5 Gohm"),
        ({"seconds": 15.0}, "read after 15 s: wait for 60 s"),
        ({"temp_c": 45.0}, "read at 45 °C: the figure at 20 °C is rough"),
        ({"over_range": True}, "over the tester's range"),
    ],
)
def test_what_weakens_a_reading_is_noted(changes, words):
    told = {"megohm": 500.0, "stress_v": 400.0} | changes
    (note,) = grade_insulation(InsulationTest("HV to core", **told)).notes
    assert words in note


def test_the_sentence():
    graded = grade_insulation(InsulationTest("HV to core", 180.0, temp_c=14.0, seconds=15.0))
    assert "wait" in " ".join(graded.notes)
    assert str(graded).startswith("HV to core: 180 Mohm at 14 °C, 118.8 Mohm at 20 °C: good.")
    assert str(grade_insulation(InsulationTest("HV to core", 290.0))).startswith("HV to core: 290 Mohm at 20 °C: good.")


def test_cautions_stand_before_the_test():
    text = " ".join(BEFORE_THE_TEST)
    for word in (
        "Unplug",
        "kill",
        "250 V first",
        "then 500 V, and 1000 V only",
        "Discharge",
        "local code",
        "50 °C at most",
    ):
        assert word in text


def test_the_record_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        InsulationTest("HV to core", 100.0).megohm = 200.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: InsulationTest(" ", 100.0), "between is ' ': say what stood against what"),
        (lambda: InsulationTest("HV to core", 0.0), "insulation resistance is 0.0 Mohm"),
        (lambda: InsulationTest("HV to core", math.nan), "insulation resistance is nan Mohm: it is needed"),
        (lambda: InsulationTest("HV to core", math.inf), "insulation resistance is inf Mohm"),
        (lambda: InsulationTest("HV to core", 100.0, 0.0), "test voltage is 0.0 V"),
        (
            lambda: InsulationTest("HV to core", 100.0, temp_c=130.0),
            "temperature is 130.0 °C: it must be from -20 to 120",
        ),
        (lambda: InsulationTest("HV to core", 100.0, seconds=0.0), "seconds is 0.0 s"),
        (lambda: InsulationTest("HV to core", 100.0, kind="double"), "kind is 'double': it must be one of basic"),
        (lambda: InsulationTest("HV to core", 100.0, stress_v=0.0), "working stress is 0.0 V"),
        (
            lambda: InsulationTest("HV to core", 100.0, ten_minutes_megohm=-1.0),
            "reading after ten minutes is -1.0 Mohm",
        ),
        (lambda: Works(0.0, 700.0), "line voltage is 0.0 V"),
        (lambda: Works(230.0, -1.0), "high voltage is -1.0 V"),
        (lambda: Works(230.0, 700.0, "fullwave"), "circuit is 'fullwave': it must be one of full-wave, bridge"),
        (lambda: insulation_at_20_megohm(-1.0, 20.0), "insulation resistance is -1.0 Mohm"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
