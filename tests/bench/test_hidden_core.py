"""A core told from its outside, and from its weight."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench.core import core_from_outside, weight_check, winding_mass_kg

TONGUES, STACKS = st.floats(8.0, 60.0), st.floats(8.0, 90.0)


def test_worked_core(printed):
    core = core_from_outside(84.2, 70.1, 33.6)  # an EI-84 is 84 by 70 mm outside (DIN 41302)
    assert [sheet.metric_name for sheet in core.laminations] == ["EI-84"]
    assert core.tongue_mm == 28.0
    assert core.measured_tongue_mm == pytest.approx(84.2 / 3.0)
    printed(core.iron_kg, "1.14866")  # worked value T5.1
    printed(core.mean_turn_mm, "167.182")
    assert core.core_area_cm2 == pytest.approx(9.408)
    assert core.window_cm2 == pytest.approx(0.75 * 2.8**2)
    assert core.frame()["laminations"].tolist() == ["EI-84"]


@pytest.mark.parametrize(
    ("long_side", "short_side", "tongue"),
    [(66.7, 55.6, 22.225), (66.0, 55.0, 22.0), (114.3, 95.25, 38.1), (120.0, 100.0, 40.0)],
)
def test_the_nearest_stock_sheet_is_taken(long_side, short_side, tongue):
    assert core_from_outside(long_side, short_side, 30.0).tongue_mm == tongue


def test_no_stock_sheet_near_leaves_the_measured_tongue():
    core = core_from_outside(71.1, 59.25, 30.0)  # 23.7 mm: between EI-66 and EI-76
    assert core.laminations == ()
    assert core.tongue_mm == core.measured_tongue_mm


def test_mass_of_a_winding_by_hand():
    # 0.2 x 5.88 cm² x 16.7182 cm x 8.89 g/cm³ (window 0.75 a², worked mean turn T5.1, density of IEC 60028 copper).
    assert winding_mass_kg(28.0, 33.6, 0.2) == pytest.approx(0.2 * 5.88 * 16.71823 * 8.89e-3)
    assert winding_mass_kg(28.0, 33.6, 0.2, "aluminium") == pytest.approx(0.2 * 5.88 * 16.71823 * 2.70e-3)


def test_limits_of_a_weight_by_hand():
    """T5.1's iron at stacking 0.90 and 0.97, fill 0.15 and 0.35, 3 and 20 % of the rest."""
    said = weight_check(1.5, 28.0, 33.6)
    per_fill = 5.88 * 16.71823 * 8.89e-3
    assert said.low_kg == pytest.approx((1.14866 * 0.90 / 0.95 + 0.15 * per_fill) * 1.03, rel=1e-5)
    assert said.high_kg == pytest.approx((1.14866 * 0.97 / 0.95 + 0.35 * per_fill) * 1.20, rel=1e-5)
    assert said.agrees
    assert "the weight agrees" in said.sentence


@pytest.mark.parametrize(("kilogram", "words"), [(0.9, "too light"), (2.6, "too heavy")])
def test_a_weight_of_another_core(kilogram, words):
    said = weight_check(kilogram, 28.0, 33.6)
    assert not said.agrees
    assert words in said.sentence
    assert f"{kilogram:.3g} kg" in said.sentence


@given(TONGUES, STACKS, st.floats(0.9, 1.1))
def test_the_stack_of_a_weight_there_and_back(tongue, stack, factor):
    """At the stacks that a weight allows, the weight is the limit itself."""
    said = weight_check(factor * weight_check(1.0, tongue, stack).high_kg, tongue, stack)
    if said.low_stack_mm > 0.0:
        assert weight_check(1.0, tongue, said.low_stack_mm).high_kg == pytest.approx(said.weighed_kg)
        assert weight_check(1.0, tongue, said.high_stack_mm).low_kg == pytest.approx(said.weighed_kg)
    assert said.low_stack_mm < said.high_stack_mm
    assert said.agrees == (said.low_stack_mm <= stack <= said.high_stack_mm) or math.isclose(factor, 1.0, rel_tol=1e-9)


@given(TONGUES, STACKS)
def test_aluminium_is_lighter(tongue, stack):
    copper, aluminium = (weight_check(1.0, tongue, stack, metal) for metal in ("copper", "aluminium"))
    assert aluminium.low_kg < copper.low_kg < copper.high_kg
    assert copper.iron_kg == aluminium.iron_kg == pytest.approx(bench.iron_mass_kg(tongue, stack))


def test_an_m65_of_the_same_tongue_weighs_more_than_an_ei_60():
    """Path 2 (12.5 + 45 + 20) = 155 mm against 120 mm: iron 155/120 of T5.1's formula; window 5.625 against 3 cm²."""
    m65 = bench.core_sheets(20.0, "m")
    one, other = weight_check(0.6, 20.0, 27.0, sheets=m65), weight_check(0.6, 20.0, 27.0)
    assert one.iron_kg == pytest.approx(other.iron_kg * 155.0 / 120.0)
    assert one.iron_kg == pytest.approx(2.0 * 15.5 * 2.7 * 0.95 * 7.65e-3)
    assert (one.agrees, other.agrees) == (False, True)
    assert "too light" in one.sentence
    assert weight_check(0.9, 20.0, 27.0, sheets=m65).agrees


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
    core = core_from_outside(*sides, 15.0, shape)
    assert core.tongue_mm == tongue
    assert core.window_cm2 == bench.core_sheets(tongue, shape).window_cm2


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: core_from_outside(84.0, 84.0, 30.0), "(else measure the tongue) is 1.0"),
        (lambda: core_from_outside(84.0, 70.0, 30.0, "m"), "long side over short side of an M sheet (else measure"),
        (lambda: core_from_outside(90.0, 90.0, 30.0, "m"), "no M sheet listed is 90 mm square: measure the tongue"),
        (lambda: core_from_outside(84.0, 70.0, 30.0, "ui"), "long side over short side of a UI"),
        (lambda: core_from_outside(84.0, 70.0, 30.0, "other"), "does not tell the tongue: measure it"),
        (lambda: core_from_outside(84.0, 70.0, 0.0), "stack is 0.0 mm"),
        (lambda: winding_mass_kg(28.0, 30.0, 0.0), "copper fill is 0.0"),
        (lambda: winding_mass_kg(28.0, 30.0, 0.2, "zinc"), "conductor is 'zinc': it must be one of copper, aluminium"),
        (lambda: winding_mass_kg(0.0, 30.0, 0.2), "tongue is 0.0 mm"),
        (lambda: weight_check(0.0, 28.0, 30.0), "weight is 0.0 kg"),
        (lambda: weight_check(1.0, 28.0, 30.0, "zinc"), "conductor is 'zinc'"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
