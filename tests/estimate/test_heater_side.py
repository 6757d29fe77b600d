"""Heater windings under a set: volts against a march in time, droppers, sharing, the heat of all windings, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from calib import winding_rows
from calib.errors import InputError
from calib.estimate.demand import Demand, SetSupply, demand_of
from calib.estimate.heater_side import HeaterAtLoad
from calib.supply.budget import primary_current
from calib.supply.loads import load_rows
from tests.fitting.making import practice_fit, unknown

FULL = {"primary_resistance_ohm": "5.36"}
PLAIN = SetSupply(capacitance_uf=16.0, diode_drop_v=1.0, line_now_v=117.0)
SET = {"load": "set", "average_ma": "60", "worst_ma": "75"}
GREEN = {"heater": "green", "no_load_v": "6.9", "ohm": "0.09", "rated_a": "3"}
WARM = 1.2  # copper at some 70 °C over 20 °C


def lit(amperes: float, volts: float = 6.3) -> dict[str, str]:
    return {"load": "heaters", "heater_v": str(volts), "heater_a": str(amperes)}


def asked(*windings: dict[str, str], loads: tuple[dict[str, str], ...], supply: SetSupply = PLAIN, **changes: str):
    read, line_up = winding_rows(windings), load_rows([SET, *loads])
    (found,) = demand_of(practice_fit(), unknown(FULL | changes), line_up, supply, windings=read)
    return found


def only(found: Demand) -> HeaterAtLoad:
    (one,) = found.heater_side.windings
    return one


def marched_v(amperes: float, load_ma: float, dc_v: float, iron_w: float) -> float:
    """rms volts of the green winding by a march in time: line, primary, iron, two loads at once; all copper warm."""
    steps, cycles, hz = 4000, 30, 60.0
    half, green = 326.7525 / 117.0, 6.9 / 117.0
    primary, side, own = 5.36 * WARM, 94.3 * WARM, 0.09 * WARM
    heater, bled, iron = 6.3 / amperes, 1e3 * dc_v / load_ma, 117.0**2 / iron_w
    volts, kept = dc_v, []
    for at in range(steps * cycles):
        line = np.sqrt(2.0) * 117.0 * abs(np.sin(2.0 * np.pi * at / steps))
        # The primary's own voltage u: u + R_p i = line, i = u (iron, heater) + the half that conducts.
        plain = 1.0 + primary * (1.0 / iron + green**2 / (own + heater))
        inside = line / plain
        current = 0.0
        if half * inside > volts + 1.0:
            inside = (line + primary * half * (volts + 1.0) / side) / (plain + primary * half**2 / side)
            current = (half * inside - volts - 1.0) / side
        volts += (current - volts / bled) / (16e-6 * steps * hz)
        if at >= steps * (cycles - 2):
            kept.append(green * inside * heater / (own + heater))
    return float(np.sqrt(np.mean(np.square(kept))))


def test_volts_at_load_are_those_of_a_march_in_time():
    found = asked(GREEN, loads=(lit(2.4),))
    power = 0.08 * (found.average.input_w + 2.4 * 6.3)  # the iron's usual part
    marched = marched_v(2.4, 60.0, found.dc_v, power)
    assert only(found).volts == pytest.approx(marched, rel=4e-3)
    assert only(found).volts < 6.9 - 2.4 * 0.09 * WARM - 0.1  # the primary's part is no small one


def test_too_many_volts_are_brought_down_and_told_for_a_high_line():
    high = asked(GREEN, loads=(lit(0.9),), supply=SetSupply(16.0, diode_drop_v=1.0, line_now_v=125.0))
    one = only(high)
    assert one.dropper is not None
    assert one.volts - 0.9 * one.dropper.ohm == pytest.approx(6.3)
    assert one.dropper.watts == pytest.approx(0.9**2 * one.dropper.ohm)
    said = str(high)
    assert said.index("A rectifier's heater winding is at the full high voltage") < said.index(
        "ohm in one of its leads"
    )
    assert (one.volts_high != one.volts_high, high.as_dict()["heater_windings"][0]["volts_high"]) == (True, None)
    nominal = only(asked(GREEN, loads=(lit(2.4),), supply=SetSupply(16.0, diode_drop_v=1.0)))
    assert nominal.dropper is None
    assert "resistor in a heater's lead" not in str(asked(GREEN, loads=(lit(2.4),)))
    assert nominal.volts_high == pytest.approx(nominal.volts + 0.05 * 6.9, abs=0.02)


def test_windings_alike_share_as_each_can_give_and_what_none_gives_is_said():
    other = GREEN | {"heater": "brown", "ohm": "0.2", "rated_a": "1.5"}
    found = asked(GREEN, other, loads=(lit(2.7), lit(1.0, 12.6)))
    assert [one.drawn_a for one in found.heater_side.windings] == pytest.approx([1.8, 0.9])
    assert "No heater winding was read that gives 12.6 V." in str(found)
    assert "More is drawn than the 1.5 A" in str(asked(GREEN | {"rated_a": "1.5"}, loads=(lit(2.4),)))


@pytest.mark.parametrize(
    ("winding", "said"),
    [
        (GREEN | {"ohm": ""}, "its volts at load are not told"),
        (GREEN | {"no_load_v": "8.9"}, "stands for no usual heater voltage"),
        (GREEN | {"no_load_v": "6.3", "ohm": "0.2"}, "More than 5 % too little"),
        (GREEN | {"ohm": "", "rated_a": ""}, "The heat of all windings is not told"),
    ],
)
def test_what_is_not_known_or_does_not_fit_is_said(winding: dict[str, str], said: str):
    found = asked(winding, loads=(lit(2.4),))
    assert said in str(found)
    assert found.dc_v is not None


def test_heat_left_by_an_unused_winding_is_the_high_voltage_s():
    spare = {"heater": "brown", "no_load_v": "5.4", "ohm": "0.25", "rated_a": "2"}
    as_rated = asked(GREEN, loads=(lit(3.0),)).heater_side
    assert as_rated.budget is not None
    assert as_rated.budget.hv_share == pytest.approx(1.0, abs=1e-6)  # each heater at its rating
    found = asked(GREEN, spare, loads=(lit(3.0),))
    budget, state = found.heater_side.budget, found.worst
    assert budget is not None
    assert 1.0 < budget.hv_share < 1.15
    rated_ma = found.heater_side.hv_ma / budget.hv_share
    assert rated_ma == pytest.approx(practice_fit().estimate(unknown(FULL))["rated_current_ma"][0])

    def primary_a(heater_w: float, direct_ma: float) -> float:
        share = direct_ma / state.load_ma
        hv_a, hv_w = share * state.winding_rms_ma * 2**0.5 / 1e3 * 326.7525 / 117.0, share * state.input_w
        iron_w = 0.08 * (heater_w + hv_w)
        return primary_current(117.0, heater_w, iron_w, 0.2 * (hv_a + (heater_w + iron_w) / 117.0), hv_a, hv_w).amperes

    def heat(heater_w: float, direct_ma: float, spare_a: float) -> float:
        hv_a = direct_ma * state.winding_rms_per_dc / 1e3
        lamps = 0.09 * 3.0**2 + 0.25 * spare_a**2
        return WARM * (188.6 * hv_a**2 + lamps + 5.36 * primary_a(heater_w, direct_ma) ** 2)

    rated_w = heat(18.9 + 10.0, rated_ma, 2.0)
    assert budget.rated_w == pytest.approx(rated_w, rel=2e-3)
    assert budget.drawn_w == pytest.approx(heat(18.9, state.load_ma, 0.0), rel=2e-3)
    wanted = brentq(lambda share: heat(18.9, share * rated_ma, 0.0) - rated_w, 0.5, 2.0)
    assert budget.hv_share == pytest.approx(wanted, rel=2e-3)
    assert f"{budget.hv_share:.2f} times its likeliest rating" in str(found)
    over = asked(GREEN | {"rated_a": "1"}, loads=(lit(3.0),))
    assert "should give no more than" in str(over)


def test_withheld_unit_has_its_heaters_volts_and_no_heat():
    found = asked(GREEN, loads=(lit(2.4),), awg="0.19")
    assert (found.heater_side.budget, found.odds_worst) == (None, None)
    assert only(found).volts == only(asked(GREEN, loads=(lit(2.4),))).volts


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ({"no_load_v": ""}, "no_load_v", "is needed"),
        ({"no_load_v": "690"}, "no_load_v", "is outside the limits, 0.01 to 100 V"),
        ({"ohm": "0.1x"}, "ohm", "is not a number"),
        ({"null_ohm": "0.3"}, "null_ohm", "is more than the winding reads"),
        ({"ohm": "", "null_ohm": "0.3"}, "null_ohm", "is given without the winding's ohms"),
        ({"rated_a": "-1"}, "rated_a", "is outside the limits, 0 to 100 A"),
        ({"winding_temp_c": "300"}, "winding_temp_c", "is outside the limits, -40 to 200 °C"),
    ],
)
def test_each_slip_of_a_winding_is_one_clear_fault(row: dict[str, str], column: str, said: str):
    with pytest.raises(InputError, match=said) as told:
        winding_rows([GREEN | row])
    assert [one.column for one in told.value.faults] == [column]


def test_winding_of_a_unit_that_is_not_asked_about_is_a_fault_and_a_warm_one_is_brought_to_20_degrees():
    with pytest.raises(InputError, match="is no unit that the demand is held against"):
        asked(GREEN | {"unit": "Z9"}, loads=())
    (warm,) = winding_rows([GREEN | {"winding_temp_c": "45", "null_ohm": "0.01"}])[""]
    assert warm.net_ohm()[0] == pytest.approx(0.08 * (234.5 + 20.0) / (234.5 + 45.0))
