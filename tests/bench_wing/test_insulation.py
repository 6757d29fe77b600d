"""The insulation test's record and its grades."""

from __future__ import annotations

import dataclasses
import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.bench.insulation import BEFORE_THE_TEST, InsulationTest, grade_insulation, insulation_at_20_megohm


def test_worked_resistance_at_20(printed):
    printed(insulation_at_20_megohm(180.0, 14.0), "118.756")  # worked value T9.3


@given(st.floats(0.01, 1e5), st.floats(-20.0, 110.0))
def test_it_halves_for_ten_kelvin(megohm, temp):
    # A winding that is 10 K warmer reads half for the same resistance at 20 °C (IEEE 43 practice).
    assert insulation_at_20_megohm(megohm / 2.0, temp + 10.0) == pytest.approx(insulation_at_20_megohm(megohm, temp))
    assert insulation_at_20_megohm(megohm, 20.0) == megohm


@pytest.mark.parametrize(
    ("megohm", "kind", "grade", "meets"),
    [
        (101.0, "basic", "good", True),  # limits of the workshop's view: 100 and 10 Mohm
        (100.0, "basic", "dry out", True),
        (10.0, "reinforced", "dry out", True),
        (9.9, "basic", "reject", True),
        (7.0, "reinforced", "reject", True),  # order of the standards: 2 basic, 7 reinforced
        (6.9, "reinforced", "reject", False),
        (1.9, "basic", "reject", False),
    ],
)
def test_grades(megohm, kind, grade, meets):
    graded = grade_insulation(InsulationTest("HV to core", megohm, kind=kind))
    assert (graded.grade, graded.meets_standard) == (grade, meets)
    assert "local code" in graded.remedy
    assert graded.notes == ()


def test_the_grade_is_of_the_resistance_at_20():
    cold, hot = (grade_insulation(InsulationTest("HV to core", 60.0, temp_c=temp)) for temp in (5.0, 35.0))
    assert (cold.grade, hot.grade) == ("dry out", "good")
    assert hot.at_20_megohm == pytest.approx(60.0 * 2.0**1.5)


def test_hot_insulation_below_the_standards_order_is_rejected_all_the_same():
    hot = grade_insulation(InsulationTest("HV to core", 1.5, temp_c=90.0))
    assert hot.at_20_megohm > 100.0
    assert hot.grade == "reject"


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
        ({"test_v": 250.0}, "read at 250 V: once it passes, test again at 500 V"),
        ({"seconds": 15.0}, "read after 15 s: wait for 60 s"),
        ({"temp_c": 45.0}, "read at 45 °C: the figure at 20 °C is rough"),
        ({"over_range": True}, "over the tester's range"),
    ],
)
def test_what_weakens_a_reading_is_noted(changes, words):
    (note,) = grade_insulation(InsulationTest("HV to core", 500.0, **changes)).notes
    assert words in note


def test_frame_and_sentence():
    graded = grade_insulation(InsulationTest("HV to core", 180.0, temp_c=14.0, seconds=15.0))
    row = graded.frame().iloc[0]
    assert (row["between"], row["grade"]) == ("HV to core", "good")
    assert row["at_20_megohm"] == pytest.approx(118.756, abs=5e-4)
    assert "wait" in row["notes"]
    assert str(graded).startswith("HV to core: 180 Mohm at 14 °C, 118.8 Mohm at 20 °C: good.")


def test_cautions_stand_before_the_test():
    text = " ".join(BEFORE_THE_TEST)
    for word in ("Unplug", "kill", "250 V", "Discharge", "local code"):
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
        (lambda: insulation_at_20_megohm(-1.0, 20.0), "insulation resistance is -1.0 Mohm"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
