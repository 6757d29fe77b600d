"""A unit's heater windings beside its estimate, and what its core leaves for the high-voltage winding."""

from __future__ import annotations

import math

import pytest

from calib.estimate import HeaterReading, estimate_unit
from tests.fitting.making import practice_fit, unknown

CORE = {"tongue_mm": 28, "stack_mm": 30}
VALVES = HeaterReading("green", 6.6, 0.048, drawn_a=2.7)


def said(heaters, readings=CORE):
    return estimate_unit(practice_fit(), unknown(readings), heaters=heaters)


def core_row(made):
    return made.opinions.set_index("predictors").loc["core-volt-amperes"]


def test_nothing_said_of_heaters_gives_no_opinion_of_the_core():
    made = said(None)
    assert (made.heaters, made.core) == (None, None)
    assert "core-volt-amperes" not in set(made.opinions["predictors"])


def test_the_estimate_does_not_move_with_the_heaters():
    bare, lit = said(None), said([VALVES])
    assert lit.answer.equals(bare.answer)
    assert lit.opinions.iloc[-1].equals(bare.opinions.iloc[-1])


def test_what_the_heaters_take_is_missing_from_the_winding():
    """6.3 V at 2.7 A are 17.01 VA off the same core."""
    none, lit = said([]), said([VALVES])
    assert (lit.core.heaters_va, none.core.heaters_va) == (pytest.approx(6.3 * 2.7), 0.0)
    fewer = (none.core.rated_current_ma - lit.core.rated_current_ma) * lit.core.va_per_ma
    assert fewer == pytest.approx(17.01, rel=1e-9)
    assert core_row(lit)["rated_current_ma"] == lit.core.rated_current_ma
    assert core_row(lit)["low_ma"] < lit.core.rated_current_ma < core_row(lit)["high_ma"]


def test_without_what_is_drawn_the_windings_own_rating_counts():
    made = said([HeaterReading("green", 6.6, 0.048)])
    assert made.core.heaters_va == pytest.approx(6.3 * made.heaters.windings[0].rated_a)


def test_a_heater_of_unknown_current_is_left_out_and_named():
    made = said([VALVES, HeaterReading("yellow", 5.2)])
    assert math.isnan(made.heaters.windings[1].rated_a)
    assert made.core.heaters_va == pytest.approx(6.3 * 2.7)
    assert "what yellow takes is not known" in made.core.remark


def test_a_core_known_by_its_area_alone_has_no_window_to_go_by():
    made = said([VALVES], {"core_area_cm2": 8.4})
    assert made.core is None
    assert made.heaters is not None


def test_a_negative_draw_is_refused():
    with pytest.raises(ValueError, match="current drawn from green is -1.0 A: it must be finite and 0 or more"):
        HeaterReading("green", 6.6, drawn_a=-1.0)


@pytest.mark.parametrize(
    ("sheets", "factor"),
    [
        ({}, 1.0),
        ({"lamination": "m"}, 5.625 / 3.0),  # M65: 12.5 by 45 mm against 10 by 30 of an EI with a tongue of 20
        ({"lamination": "m", "window_width_mm": 12.0, "window_height_mm": 44.0}, 5.28 / 3.0),
        ({"window_width_mm": 12.0, "window_height_mm": 44.0}, 5.28 / 3.0),
        ({"lamination": "ui"}, 4.0),
    ],
)
def test_the_window_of_the_sheets_that_are_there_counts(sheets, factor):
    """By the area rule the volt-amperes go with the window (McLyman)."""
    core = {"tongue_mm": 20.0, "stack_mm": 27.0}
    ei, made = said([], core), said([], core | sheets)
    assert made.core.va == pytest.approx(factor * ei.core.va)


def test_a_window_that_nothing_tells_gives_no_opinion():
    assert said([], {"tongue_mm": 20.0, "stack_mm": 27.0, "lamination": "other"}).core is None
