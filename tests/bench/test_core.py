"""The core: its area and class, its sheets, what its outside and its weight tell."""

from __future__ import annotations

import math
import re
from fractions import Fraction

import ibis
import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench.core import core_from_outside, weight_check
from calib.paths import shipped_rows
from tests.counts import FEW

SIDES = st.floats(3.0, 500.0)


AREAS = st.floats(0.1, 1000.0)


EDGES = [(0.1, "1"), (4.49, "1"), (4.5, "2"), (7.0, "3"), (10.0, "4"), (13.999, "4"), (14.0, "5"), (20.0, "6")]


@pytest.mark.parametrize(("area", "label"), [*EDGES, (32.0, "7"), (1e4, "7"), (math.nan, ""), (None, "")])
def test_size_classes_take_their_low_edge(area, label):
    assert bench.size_class(area) == label


@FEW
@given(AREAS)
def test_an_area_lies_within_its_class(area):
    low, high = bench.size_class_bounds(bench.size_class(area))
    assert low <= area < high


def test_classes_leave_no_gap():
    bounds = [bench.size_class_bounds(label) for label in bench.SIZE_CLASS_LABELS]
    assert bounds[0][0] == 0.0
    assert bounds[-1] == (32.0, math.inf)
    assert all(one[1] == other[0] for one, other in zip(bounds, bounds[1:], strict=False))


@FEW
@given(SIDES, SIDES)
def test_more_stack_is_more_core(tongue, stack):
    area = bench.core_area_cm2(tongue, stack)
    assert area == pytest.approx(bench.core_area_cm2(stack, tongue))
    assert bench.core_area_cm2(tongue, 2.0 * stack) == pytest.approx(2.0 * area)
    sheets = bench.core_sheets(tongue)
    assert sheets.iron_mass_kg(2.0 * stack) == pytest.approx(2.0 * sheets.iron_mass_kg(stack))


@FEW
@given(SIDES)
def test_tongue_from_the_outside_of_a_scrapless_sheet(tongue):
    assert bench.tongue_from_outside_mm(3.0 * tongue, 2.5 * tongue) == pytest.approx(tongue)


def test_a_database_column_is_accepted():
    table = ibis.memtable({"tongue": [28.0], "stack": [33.6]})
    assert table.mutate(area=bench.core_area_cm2(table.tongue, table.stack)).execute().area[0] == pytest.approx(9.408)


def test_names_follow_from_the_tongue():
    # A scrapless metric number is 3 tongues in mm, an inch number 100 tongues in inches, both cut to whole numbers.
    for sheet in bench.all_laminations():
        if sheet.shape == "EI" and sheet.metric_name:
            assert abs(int(sheet.metric_name[3:]) - 3.0 * sheet.tongue_mm) <= 0.8
        if sheet.inch_name and sheet.inch_name != "EI-625":
            assert abs(int(sheet.inch_name[3:]) - 100.0 * sheet.tongue_mm / bench.MM_PER_INCH) <= 0.5 + 1e-9
    for row in shipped_rows("datasets/laminations/laminations.csv"):
        if row["inch_tongue"]:
            whole, _, part = row["inch_tongue"].rpartition("-")
            inches = int(whole or 0) + Fraction(part)
            assert float(inches) * bench.MM_PER_INCH == pytest.approx(float(row["tongue_mm"]))


def test_every_worked_tongue_is_listed(worked_stacks):
    listed = {sheet.tongue_mm for sheet in bench.all_laminations() if sheet.shape == "EI"}
    assert {float(row["tongue_mm"]) for row in worked_stacks} <= listed


def test_listed_windows_close_with_the_outside():
    """Two windows, the tongue, and outer limbs of half the tongue: the outside across the limbs (DIN 41302)."""
    sheets = [sheet for sheet in bench.all_laminations() if sheet.window_width_mm > 0.0]
    assert {sheet.shape for sheet in sheets} == {"M", "EI-old"}
    for sheet in sheets:
        assert 2.0 * (sheet.tongue_mm + sheet.window_width_mm) == sheet.outside_width_mm
        assert sheet.shape == "EI-old" or sheet.window_height_mm + sheet.tongue_mm == sheet.outside_width_mm
        assert sheet.status == "unverified"


@pytest.mark.parametrize(
    ("shape", "window", "area", "path", "turn"),
    [
        # a scrapless EI of tongue 20: 0.75 a², 6 a, 111.4 mm
        ("ei-scrapless", None, 3.0, 120.0, 111.416),
        ("", None, 3.0, 120.0, 111.416),
        # an M65: 12.5 by 45 mm; path by hand 2 (12.5 + 45 + 20); turn 2 (20 + 20) + pi 12.5
        ("m", None, 5.625, 155.0, 119.270),
        # UI 60: 20 by 60 mm, path 12 a, two coils a window's half deep each: 2 (20 + 20) + pi 10
        ("ui", None, 12.0, 240.0, 111.416),
        ("other", (15.0, 40.0), 6.0, 150.0, 127.124),
        # a C core or a shell: between 2 (15 + 40 + 20) and 2 (15 + 40 + 40)
        ("strip-wound", (15.0, 40.0), 6.0, 170.0, 115.343),
        ("m", (12.0, 44.0), 5.28, 152.0, 117.699),  # as measured goes before the listed sheet
    ],
)
def test_what_the_sheets_fix(shape, window, area, path, turn):
    sheets = bench.core_sheets(20.0, shape, window)
    assert (sheets.window_cm2, sheets.path_mm) == (pytest.approx(area), pytest.approx(path))
    assert sheets.mean_turn_mm(20.0) == pytest.approx(turn, abs=5e-4)
    assert sheets.iron_mass_kg(20.0) == pytest.approx(2.0 * path / 10.0 * 2.0 * 0.95 * 7.65e-3)


def test_a_window_that_nothing_tells_is_not_guessed():
    assert bench.core_sheets(20.0, "other") is None
    assert bench.core_sheets(20.0, "strip-wound") is None
    assert bench.core_sheets(21.5, "m") is None  # between M65 and M74
    assert bench.core_sheets(20.3, "m").known_by == "M65 (unverified)"


def test_nearest_laminations_come_nearest_first():
    assert [sheet.tongue_mm for sheet in bench.nearest_laminations(22.2, shapes=("ei-scrapless",))] == [22.225, 22.0]
    assert bench.nearest_laminations(65.0) == ()
    assert [sheet.name for sheet in bench.nearest_laminations(20.0)] == [
        "EI-60",
        "M65 (unverified)",
        "UI-60 (unverified)",
    ]
    assert [sheet.name for sheet in bench.nearest_laminations(20.0, shapes=("m",))] == ["M65 (unverified)"]


TONGUES, STACKS = st.floats(8.0, 60.0), st.floats(8.0, 90.0)


def test_a_core_by_its_outside():
    core = core_from_outside(84.2, 70.1)  # an EI-84 is 84 by 70 mm outside (DIN 41302)
    assert [sheet.metric_name for sheet in core.laminations] == ["EI-84"]
    assert core.tongue_mm == 28.0
    assert core.measured_tongue_mm == pytest.approx(84.2 / 3.0)


@pytest.mark.parametrize(
    ("long_side", "short_side", "tongue"),
    [(66.7, 55.6, 22.225), (66.0, 55.0, 22.0), (114.3, 95.25, 38.1), (120.0, 100.0, 40.0)],
)
def test_the_nearest_stock_sheet_is_taken(long_side, short_side, tongue):
    assert core_from_outside(long_side, short_side).tongue_mm == tongue


def test_no_stock_sheet_near_leaves_the_measured_tongue():
    core = core_from_outside(71.1, 59.25)  # 23.7 mm: between EI-66 and EI-76
    assert core.laminations == ()
    assert core.tongue_mm == core.measured_tongue_mm


def test_limits_of_a_weight_by_hand():
    """Iron (1.14866 kg at 0.95) at stacking 0.90 and 0.97, fill 0.15 and 0.35, 3 and 20 % of the rest."""
    said = weight_check(1.5, bench.core_sheets(28.0), 33.6)
    per_fill = 5.88 * 16.71823 * 8.89e-3
    assert said.low_kg == pytest.approx((1.14866 * 0.90 / 0.95 + 0.15 * per_fill) * 1.03, rel=1e-5)
    assert said.high_kg == pytest.approx((1.14866 * 0.97 / 0.95 + 0.35 * per_fill) * 1.20, rel=1e-5)
    assert said.agrees
    assert "the weight agrees" in said.sentence


@pytest.mark.parametrize(("kilogram", "words"), [(0.9, "too light"), (2.6, "too heavy")])
def test_a_weight_of_another_core(kilogram, words):
    said = weight_check(kilogram, bench.core_sheets(28.0), 33.6)
    assert not said.agrees
    assert words in said.sentence
    assert f"{kilogram:.3g} kg" in said.sentence


@FEW
@given(TONGUES, STACKS, st.floats(0.9, 1.1))
def test_the_stack_of_a_weight_there_and_back(tongue, stack, factor):
    """At the stacks that a weight allows, the weight is the limit itself."""
    sheets = bench.core_sheets(tongue)
    weighed = factor * weight_check(1.0, sheets, stack).high_kg
    said = weight_check(weighed, sheets, stack)
    if said.low_stack_mm > 0.0:
        assert weight_check(1.0, sheets, said.low_stack_mm).high_kg == pytest.approx(weighed)
        assert weight_check(1.0, sheets, said.high_stack_mm).low_kg == pytest.approx(weighed)
    assert said.low_stack_mm < said.high_stack_mm
    assert said.agrees == (said.low_stack_mm <= stack <= said.high_stack_mm) or math.isclose(factor, 1.0, rel_tol=1e-9)


def test_an_m65_of_the_same_tongue_weighs_more_than_an_ei_60():
    """Path 2 (12.5 + 45 + 20) = 155 mm against 120 mm; window 5.625 against 3 cm²."""
    m65, ei60 = bench.core_sheets(20.0, "m"), bench.core_sheets(20.0)
    one, other = weight_check(0.6, m65, 27.0), weight_check(0.6, ei60, 27.0)
    assert (one.agrees, other.agrees) == (False, True)
    assert "too light" in one.sentence
    assert weight_check(0.9, m65, 27.0).agrees


@pytest.mark.parametrize(
    ("sides", "shape", "tongue"),
    [
        ((42.0, 42.0), "m", 12.0),
        ((65.4, 64.9), "m", 20.0),
        ((100.0, 60.0), "ui", 20.0),
        ((84.2, 70.1), "ei-scrapless", 28.0),
    ],
)
def test_the_outside_of_each_shape_tells_its_tongue(sides, shape, tongue):
    """An M's number is its outside, square; a UI 60 is 100 by 60 mm with limbs of 20 (DIN 41302)."""
    assert core_from_outside(*sides, shape).tongue_mm == tongue


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bench.core_area_cm2(0.0, 30.0), "tongue is 0.0 mm: it must be finite and above 0"),
        (lambda: bench.core_area_cm2(30.0, -1.0), "stack is -1.0 mm"),
        (lambda: bench.size_class(0.0), "core area is 0.0 cm²"),
        (lambda: bench.size_class_bounds("8"), "size class is '8': it must be one of 1, 2, 3, 4, 5, 6, 7"),
        (lambda: bench.tongue_from_outside_mm(0.0, 70.0), "long side is 0.0 mm"),
        (lambda: bench.tongue_from_outside_mm(84.0, 0.0), "short side is 0.0 mm"),
        (lambda: bench.tongue_from_outside_mm(84.0, 84.0), "(else measure the tongue) is 1.0: it must be from 1.164"),
        (lambda: bench.core_sheets(28.0).mean_turn_mm(0.0), "stack is 0.0 mm"),
        (lambda: bench.core_sheets(28.0).iron_mass_kg(28.0, 1.1), "stacking factor is 1.1: it must be from 0.5 to 1"),
        (lambda: bench.nearest_laminations(0.0), "tongue is 0.0 mm"),
        (lambda: bench.core_sheets(20.0, "square"), "shape is 'square': it must be one of ei-scrapless, m, ui"),
        (lambda: bench.core_sheets(0.0), "tongue is 0.0 mm"),
        (lambda: bench.core_sheets(20.0, "m", (0.0, 30.0)), "width of the window is 0.0 mm"),
        (lambda: bench.core_sheets(20.0, "m", (10.0, -1.0)), "height of the window is -1.0 mm"),
        (lambda: bench.nearest_laminations(20.0, 0.0), "reach is 0.0 mm"),
        (lambda: core_from_outside(84.0, 84.0), "(else measure the tongue) is 1.0"),
        (lambda: core_from_outside(84.0, 70.0, "m"), "long side over short side of an M sheet (else measure"),
        (lambda: core_from_outside(90.0, 90.0, "m"), "no M sheet listed is 90 mm square: measure the tongue"),
        (lambda: core_from_outside(84.0, 70.0, "ui"), "long side over short side of a UI"),
        (lambda: core_from_outside(84.0, 70.0, "other"), "does not tell the tongue: measure it"),
        (lambda: weight_check(0.0, bench.core_sheets(28.0), 30.0), "weight is 0.0 kg"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
