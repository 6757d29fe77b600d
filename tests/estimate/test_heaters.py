"""Heater windings: their current by the unit's own copper drop, and none where the resistance is lost."""

from __future__ import annotations

import dataclasses
import math
import re

import numpy as np
import pytest

from calib.bench.uncertainty import ORDINARY_OHMMETER, MeterClass
from calib.estimate.heaters import (
    FOUR_WIRE_METER,
    HEATER_DROP,
    HEATER_SPREAD,
    LOST_BELOW_U,
    HeaterReading,
    heater_currents,
)
from tests.counts import share
from tests.estimate.asking import estimated
from tests.fitting.making import practice_fit, practice_unknown, prior_fit, scene_asked, scene_fit, unknown

CORE = {"tongue_mm": 28, "stack_mm": 33.6}
SIX = HeaterReading("valves", 6.86, 0.0612)
FIVE = HeaterReading("rectifier", 5.5, 0.11)
EXACT = MeterClass(0.0, 0, 0.0)


def one(reading: HeaterReading, readings: dict[str, object] = CORE, level: float = 0.9):
    return heater_currents(practice_fit(), unknown(readings), [reading], level).windings[0]


def test_the_drop_is_the_windings_own_without_a_rectifier():
    """1000 I R / V of the unit's ac rating, which the fit gives itself."""
    ac = practice_fit().estimate(unknown({**CORE, "rectifier": "none", "filter": "none"}), as_read=True).iloc[0]
    answer = heater_currents(practice_fit(), unknown(CORE), [])
    assert answer.drop == pytest.approx(ac["rated_current_ma"] / ac["v_over_r"], rel=1e-6)
    assert answer.drop_low == pytest.approx(ac["low_ma"] / ac["v_over_r"], rel=1e-6)
    assert answer.drop_high == pytest.approx(ac["high_ma"] / ac["v_over_r"], rel=1e-6)
    assert 15 < answer.drop < 90  # per mille, from 500 VA to 15 VA


def test_the_drop_does_not_depend_on_what_the_unit_is_meant_for():
    drops = [
        heater_currents(practice_fit(), unknown({**CORE, "filter": name}), []).drop for name in ("capacitor", "choke")
    ]
    assert drops[0] == pytest.approx(drops[1], rel=1e-9)


def test_the_current_is_the_drop_times_volts_over_ohms():
    """A heater winding drops 1.14 times as much (8 windings of a maker's part drawings, geometric mean)."""
    answer = heater_currents(practice_fit(), unknown(CORE), [SIX])
    (made,) = answer.windings
    assert made.rated_a == pytest.approx(1.14 * answer.drop / 1000 * 6.86 / 0.0612, rel=1e-3)
    assert made.usual_v == 6.3
    assert made.reason == ""
    assert made.low_a < made.rated_a < made.high_a


def test_the_interval_adds_the_heaters_own_spread_to_the_drops():
    """With exact readings: the drop's half-width and 1.645 x 0.23, near enough in quadrature."""
    answer = heater_currents(practice_fit(), unknown(CORE), [HeaterReading("h", 6.86, 0.06, None, EXACT, 0.0)])
    made = answer.windings[0]
    drop = math.log(answer.drop_high / answer.drop_low) / 2
    own = math.log(made.high_a / made.low_a) / 2
    assert own == pytest.approx(math.hypot(drop, 1.6449 * HEATER_SPREAD), rel=0.03)


def test_a_rough_resistance_widens_and_a_higher_level_too():
    fine, rough = (one(HeaterReading("h", 6.86, 0.06, None, MeterClass(pct, 0, 0.0))) for pct in (1.0, 40.0))
    assert rough.rated_a == pytest.approx(fine.rated_a, rel=1e-3)
    assert rough.high_a / rough.low_a > 1.1 * fine.high_a / fine.low_a
    wide = one(SIX, level=0.99)
    assert wide.low_a < one(SIX).low_a
    assert wide.level == 0.99


@pytest.mark.parametrize("factor", [0.5, 2.0, 5.0])
def test_current_goes_as_volts_over_ohms(factor):
    """Exact readings: twice the resistance halves the current, twice both leaves it."""
    base = one(HeaterReading("h", 6.0, 0.1, None, EXACT, 0.0))
    ohms = one(HeaterReading("h", 6.0, 0.1 * factor, None, EXACT, 0.0))
    both = one(HeaterReading("h", 6.0 * factor, 0.1 * factor, None, EXACT, 0.0))
    assert ohms.rated_a == pytest.approx(base.rated_a / factor, rel=1e-3)
    assert both.rated_a == pytest.approx(base.rated_a, rel=1e-3)


def test_a_reading_lost_in_the_null_gives_its_reason_and_no_figure():
    lost = one(HeaterReading.two_wire("valves", 6.86, 0.4, 0.3))
    assert math.isnan(lost.rated_a)
    assert math.isnan(lost.low_a)
    assert math.isnan(lost.high_a)
    assert "lost in the reading's uncertainty" in lost.reason
    assert "read it by four wires" in lost.reason
    assert lost.reason in str(lost)
    assert lost.resistance_ohm == pytest.approx(0.1)


def test_a_null_above_the_reading_is_lost_too():
    assert "lost" in one(HeaterReading.two_wire("valves", 6.86, 0.3, 0.4)).reason


def test_where_a_reading_is_lost_by_hand():
    """Null u 0.05, ordinary ohmmeter (0.8 % + 0.2)/sqrt 3 at 0.6 ohm = 0.1182: together 0.1284, times 2.5 is 0.321."""
    u = math.hypot((0.008 * 0.6 + 0.2) / math.sqrt(3), 0.05)
    assert pytest.approx(0.321, abs=5e-4) == LOST_BELOW_U * u
    assert one(HeaterReading.two_wire("h", 6.86, 0.6, 0.27)).reason == ""
    assert one(HeaterReading.two_wire("h", 6.86, 0.6, 0.29)).reason != ""


def test_a_resistance_not_read_says_so():
    bare = one(HeaterReading("valves", 6.86))
    assert "was not read" in bare.reason
    assert math.isnan(bare.rated_a)
    assert bare.usual_v == 6.3


def test_resistance_and_its_uncertainty_at_20_by_hand():
    # Copper from 30 °C: 254.5/264.5; class (1 % + 0.003)/sqrt 3; temperature 1.5 K / sqrt 3 over 264.5 K.
    made = one(HeaterReading("h", 6.86, 0.1, winding_temp_c=30.0))
    factor = 254.5 / 264.5
    assert made.resistance_ohm == pytest.approx(0.1 * factor)
    u = math.hypot((0.001 + 0.003) / math.sqrt(3), 0.1 * 1.5 / math.sqrt(3) / 264.5) * factor
    assert made.u_resistance_ohm == pytest.approx(u)
    assert HeaterReading("h", 6.86, 0.1).meter is FOUR_WIRE_METER
    assert HeaterReading.two_wire("h", 6.86, 0.1, 0.1).meter is ORDINARY_OHMMETER


def test_an_aluminium_unit_carries_less_in_the_same_resistance():
    """The drop at rating goes with the root of resistivity: 1.28 times copper's, as the fit takes it."""
    copper = heater_currents(practice_fit(), unknown(CORE), [SIX])
    aluminium = heater_currents(practice_fit(), unknown({**CORE, "conductor": "aluminium"}), [SIX])
    root = math.sqrt(2.8264 / 1.7241)
    assert aluminium.drop / copper.drop == pytest.approx(root, rel=0.02)


@pytest.mark.parametrize(
    ("volts", "usual", "flags"),
    [(6.86, 6.3, ()), (12.3, 11.0, ("several-voltages",)), (8.9, math.nan, ("no-usual-voltage",))],
)
def test_voltages_are_held_against_the_usual_ones(volts, usual, flags):
    made = one(HeaterReading("h", volts, 0.06))
    assert made.usual_v == pytest.approx(usual, nan_ok=True)
    assert made.flags == flags
    assert np.isfinite(made.rated_a)


def test_without_a_core_there_is_an_answer_all_the_same():
    assert np.isfinite(one(SIX, {}).rated_a)


def test_frame_and_words():
    answer = heater_currents(practice_fit(), unknown(CORE), [SIX, FIVE, HeaterReading("bias", 40.0)])
    frame = answer.frame()
    assert frame["name"].tolist() == ["valves", "rectifier", "bias"]
    assert {"rated_a", "low_a", "high_a", "level", "reason", "usual_v", "flags"} <= set(frame.columns)
    assert str(answer).startswith("Simulated practice data.")
    assert "rectifier, 5 V: about" in str(answer)
    assert "bias, no usual heater voltage: no current told" in str(answer)
    assert answer.simulated
    assert not heater_currents(prior_fit(), unknown(CORE), [SIX]).simulated
    assert heater_currents(prior_fit(), practice_unknown().iloc[[0]], [SIX]).simulated
    assert list(heater_currents(prior_fit(), unknown(CORE), []).frame().columns) == list(frame.columns)


UNITS = share(30, 150)


def test_heaters_that_share_the_drop_loosely_lie_inside():
    """Units of a scene whose heater drops scatter by 0.23 about 1.14 times their own winding's: 90 % intervals."""
    rng, asked, inside = np.random.default_rng(8), scene_asked(count=UNITS, seed=5), []
    for k in range(UNITS):
        row = asked.iloc[[k]]
        true = row.iloc[0]
        form = {"capacitor": 1.24, "choke": 0.74}[true["filter"]] if true["rectifier"] == "full-wave" else 0.0
        if not form:
            continue
        drop = form * true["rated_current_ma"] / 1000 * true["hv_resistance_ohm"] / true["no_load_v"]
        current = HEATER_DROP * drop * math.exp(HEATER_SPREAD * rng.normal()) * 6.86 / 0.05
        made = heater_currents(scene_fit(), row, [HeaterReading("h", 6.86, 0.05, None, EXACT, 0.0)]).windings[0]
        inside.append(made.low_a < current < made.high_a)
    assert len(inside) > 0.6 * UNITS
    assert 0.85 < np.mean(inside) <= 1.0


def test_readings_are_not_changed_and_the_answer_is_frozen():
    readings = unknown(CORE)
    before = readings.copy(deep=True)
    answer = heater_currents(practice_fit(), readings, [SIX])
    assert readings.equals(before)
    with pytest.raises(dataclasses.FrozenInstanceError):
        answer.level = 0.5


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: HeaterReading("h", math.nan), "no-load voltage of h is nan V: it is needed"),
        (lambda: HeaterReading("h", 0.0), "no-load voltage of h is 0.0 V"),
        (lambda: HeaterReading("h", 6.3, -0.1), "resistance of h is -0.1 ohm"),
        (lambda: HeaterReading("h", 6.3, 0.1, -0.1), "lead null of h is -0.1 ohm"),
        (lambda: HeaterReading("h", 6.3, u_voltage_pct=-1.0), "relative uncertainty of the voltage of h is -1.0 %"),
        (lambda: heater_currents(practice_fit(), unknown({}, {}), []), "readings hold 2 rows"),
        (lambda: heater_currents(practice_fit(), unknown({}), [], 90), "level is 90"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()


# A unit's heater windings beside its estimate, and what its core leaves for the high-voltage winding.
SMALLER = {"tongue_mm": 28, "stack_mm": 30}
VALVES = HeaterReading("green", 6.6, 0.048, drawn_a=2.7)


def said(heaters, readings=SMALLER):
    return estimated(readings, heaters)


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
    ei, made = (estimated(one, [], as_read=True) for one in (core, core | sheets))  # its V/R is of a larger core
    assert made.core.va == pytest.approx(factor * ei.core.va)


def test_a_window_that_nothing_tells_gives_no_opinion():
    assert said([], {"tongue_mm": 20.0, "stack_mm": 27.0, "lamination": "other"}).core is None
