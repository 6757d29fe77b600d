"""A rewind plan: what it comes to in a calculation that shares nothing with it, how it fits, what it refuses."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from calib.errors import InputError
from calib.estimate.old_winding import (
    AsWound,
    NewWinding,
    OldWinding,
    as_it_was,
    as_wound,
    asked_by,
    turns_by_loose_turn,
)
from calib.estimate.rewind import Heater, RewindPlan, RewindTarget, rewind_plan
from calib.register.records import UnknownUnit
from tests.fitting.making import practice_fit
from tests.scenes.wound_again import wound

HEATERS = (Heater(5.0, 2.0), Heater(6.3, 3.0))
# tongue, stack, volts, mA, rectifier, filter, line, Hz, heaters, wire
CORES = [
    (22.0, 28.0, 420.0, 35.0, "full-wave", "capacitor", 117.0, 60.0, HEATERS[1:], "metric"),
    (25.4, 30.0, 600.0, 50.0, "full-wave", "capacitor", 230.0, 50.0, HEATERS[1:], "SWG"),
    (28.0, 33.6, 650.0, 75.0, "full-wave", "capacitor", 117.0, 60.0, HEATERS, "AWG"),
    (28.0, 40.0, 700.0, 110.0, "full-wave", "choke", 240.0, 50.0, HEATERS, "old-metric"),
    (31.75, 38.0, 250.0, 120.0, "bridge", "capacitor", 120.0, 60.0, HEATERS[1:], "AWG"),
    (34.925, 40.0, 230.0, 90.0, "half-wave", "capacitor", 220.0, 50.0, HEATERS[1:], "metric"),
    (38.1, 45.0, 700.0, 150.0, "full-wave", "capacitor", 117.0, 60.0, HEATERS, "SWG"),
    (38.1, 60.0, 160.0, 150.0, "doubler", "capacitor", 120.0, 60.0, HEATERS[1:], "metric"),
    (44.45, 50.0, 800.0, 200.0, "full-wave", "choke", 117.0, 60.0, HEATERS, "AWG"),
    (50.8, 50.8, 760.0, 250.0, "full-wave", "capacitor", 230.0, 50.0, HEATERS, "metric"),
]


def planned(core: tuple[object, ...], **changed: object) -> RewindPlan:
    names = ("tongue_mm", "stack_mm", "volts", "current_ma", "rectifier", "filter", "line_voltage_v")
    names = (*names, "line_frequency_hz", "heaters", "series")
    return rewind_plan(practice_fit(), RewindTarget(**(dict(zip(names, core, strict=True)) | changed)))  # type: ignore[arg-type]


@pytest.mark.parametrize("core", CORES, ids=[f"{core[0]:g} mm {core[4]} {core[9]}" for core in CORES])
def test_wound_by_the_plan_it_gives_the_volts_and_the_rise(core: tuple[object, ...]):
    """By `tests.scenes.wound_again`, which takes turns, wire, layers and insulation from the sheet and nothing else."""
    plan, came = planned(core), wound(planned(core))
    assert came.no_load_v == pytest.approx(plan.target.volts, rel=0.03)
    assert came.rise_k == pytest.approx(plan.rise_k, rel=0.05)
    assert came.flux_t == pytest.approx(plan.flux_t, rel=1e-6)
    assert came.primary_a == pytest.approx(plan.windings[0].amperes, rel=0.05)
    turn = 1.0 / plan.turns_per_volt
    for lit, wanted in zip(came.heater_v, plan.target.heaters, strict=True):
        assert abs(lit - wanted.volts) < max(0.03 * wanted.volts, 0.6 * turn)
    # It fits: the coil is as deep as was told, and no deeper than the window is wide.
    width = plan.target.tongue_mm / 2.0
    assert came.depth_mm == pytest.approx(plan.fill * width, abs=0.03 * width)
    assert 0.5 < plan.fill <= 0.9
    # Working stress: the peak volts to core or to the winding below at 1.1 times the line, 0.4 mm a kilovolt or more.
    half = {"full-wave": 0.5, "bridge": 1.0, "half-wave": 1.0, "doubler": 2.0}[plan.target.rectifier]
    high = 1.1 * 2.0**0.5 * half * plan.target.volts
    line = 1.1 * 2.0**0.5 * plan.target.line_voltage_v
    stresses = [line, line + high, *[2.0 * high] * len(plan.target.heaters)]
    for one, stress in zip(plan.windings, stresses, strict=True):
        assert one.stress_v == pytest.approx(stress)
        assert one.beneath_mm >= max(0.2, 0.0004 * (one.stress_v if one.role != "primary" else 0.0)) - 1e-12
        assert one.per_layer * one.layers >= one.turns > one.per_layer * (one.layers - 1)


def test_a_heater_that_whole_turns_leave_far_off_is_doubted():
    """1.5 turns a volt: 2 turns are 1.33 V and 3 are 2 V, neither within 5 % of 1.7 V and its drop."""
    core = (50.8, 60.0, 760.0, 250.0, "full-wave", "capacitor", 230.0, 50.0, (Heater(1.7, 1.0),), "metric")
    assert any(one.startswith("A heater of 1.7 V would have") for one in planned(core).doubts)


def like(plan: RewindPlan) -> pd.DataFrame:
    """The plan's winding as the table of an unknown unit has it."""
    target, hv = plan.target, plan.windings[1]
    same = ("rectifier", "filter", "line_voltage_v", "line_frequency_hz", "conductor", "tongue_mm", "stack_mm")
    told = {name: getattr(target, name) for name in same} | {"unit": "as planned", "centre_tapped": True}
    told |= {"no_load_v": hv.volts, "hv_resistance_ohm": hv.ohm_20c, "winding_temp_c": 20.0}
    return pd.DataFrame([told])


def test_ratio_of_volts_and_ohms_is_that_of_the_winding_and_its_place_among_makers():
    plan = planned(CORES[2])
    hv = plan.windings[1]
    assert plan.v_over_r == pytest.approx(hv.volts / hv.ohm_20c)
    assert plan.unit_multiplier == pytest.approx(75.0 / plan.v_over_r)
    more, less = planned(CORES[2], current_ma=95.0), planned(CORES[2], current_ma=40.0)
    assert less.quantile < plan.quantile < more.quantile
    assert less.rise_k < plan.rise_k < more.rise_k
    assert "more cautious than most" in str(less)
    assert "bolder than most makers" in str(more)
    # What makers did at that V/R is what an unknown unit of the same readings would be told.
    told = practice_fit().estimate(like(plan), as_read=True).iloc[0]
    assert (plan.makers_ma, plan.makers_low_ma, plan.makers_high_ma) == pytest.approx(
        (told["rated_current_ma"], told["low_ma"], told["high_ma"])
    )
    assert plan.flags == "simulated"
    assert f"Half are rated above {plan.makers_ma:.3g} mA" in str(plan)


def test_more_current_than_the_core_can_carry_is_a_doubt_or_a_fault():
    assert any("hot, above 60 K" in one for one in planned(CORES[1], current_ma=85.0).doubts)
    with pytest.raises(InputError, match="do not fit a window of 12.7 mm"):
        planned(CORES[1], current_ma=400.0)


def test_measured_window_goes_before_the_rule():
    wider = planned(CORES[2], window_width_mm=20.0, window_height_mm=42.0)
    assert wider.windings[1].bare_mm > planned(CORES[2]).windings[1].bare_mm


def test_a_window_typed_the_wrong_way_round_is_doubted():
    exchanged = planned(CORES[2], window_width_mm=42.0, window_height_mm=20.0)
    assert any("were the two exchanged" in one for one in exchanged.doubts)
    assert not any("exchanged" in one for one in planned(CORES[2]).doubts)


def test_aluminium_has_its_own_resistance_and_weight_and_runs_hotter():
    """61 % IACS and 2.70 against 8.89 g/cm³; at the same current density in the same wire the loss is 1.64 times."""
    copper, aluminium = planned(CORES[2]), planned(CORES[2], conductor="aluminium")
    for one, other in zip(copper.windings[:2], aluminium.windings[:2], strict=True):
        assert (one.turns, one.bare_mm) == (other.turns, other.bare_mm)
        assert other.ohm_20c / one.ohm_20c == pytest.approx(2.8264 / 1.7241)
        assert other.wire_kg / one.wire_kg == pytest.approx(2.70 / 8.89)
    section = math.pi * (copper.windings[1].bare_mm / 2.0) ** 2
    assert copper.windings[1].wire_kg == pytest.approx(copper.windings[1].metres * section * 8.89e-3)
    assert aluminium.rise_k > copper.rise_k + 5.0
    assert "aluminium wire" in str(aluminium)
    # At the same reading of V/R as planned, the metal's own temperature coefficient is used: T0 of 228.1 °C.
    hot = aluminium.windings[1].ohm_20c * (228.1 + 60.0) / (228.1 + 20.0)
    read = as_wound(aluminium, NewWinding(aluminium.windings[1].volts, hot, 60.0))
    assert read.off["v_over_r"] == pytest.approx(0.0, abs=1e-9)


def test_the_old_winding_stands_beside_the_plan_in_its_figures():
    """The plan's own wire and turns give the plan's figures back; twice the turns half the flux."""
    plan = planned(CORES[2])
    hv = plan.windings[1]
    same = as_it_was(plan, OldWinding(was_turns=float(hv.turns), was_wire_mm=hv.bare_mm))
    assert all(was == pytest.approx(now) for _, was, now in same.rows())
    assert len(same.rows()) == 6
    other = as_it_was(plan, OldWinding(was_winding_v=12.0, was_turn_v=12.0 / (2.0 * hv.turns)))
    assert (other.turns, other.flux_t) == (pytest.approx(2 * hv.turns), pytest.approx(plan.flux_t / 2.0))
    assert (other.ohm_20c, other.density_a_mm2) == (None, None)
    assert "as it was" in str(other)
    assert as_it_was(plan, OldWinding()) is None
    apart = as_it_was(plan, OldWinding(was_turns=2000.0, was_winding_v=12.0, was_turn_v=0.005))
    assert apart.turns == 2000.0
    assert "2000 turns were counted, and the loose turn tells 2400" in apart.doubts[0]


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"was_winding_v": 12.0}, "was_turn_v (empty): the loose turn and the winding are read together"),
        ({"was_winding_v": 0.5, "was_turn_v": 0.6}, "was_turn_v '0.6': is not less than the winding's 0.5 V"),
        ({"was_turns": 2.4e6}, "was_turns '2.4e+06': is outside the limits, 10 to 100000; did you mean 2400"),
        ({"was_conductor": "tin"}, "was_conductor 'tin': is no metal"),
    ],
)
def test_nonsense_of_the_old_winding_is_one_clear_error(told: dict[str, object], said: str):
    with pytest.raises(InputError) as raised:
        OldWinding(**told)  # type: ignore[arg-type]
    assert len(raised.value.faults) == 1
    assert said in str(raised.value)


def test_full_wave_winding_has_an_even_number_of_turns():
    assert all(planned(core).windings[1].turns % 2 == 0 for core in CORES[:4])


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"tongue_mm": 28000.0}, "tongue_mm '28000': is outside the limits, 8 to 120 mm"),
        ({"volts": float("nan")}, "volts 'nan': is outside the limits"),
        ({"window_width_mm": 14.0}, "one side of the window is given without the other"),
        ({"filter": "none"}, ""),
        ({"rectifier": "doubler", "filter": "choke"}, "rectifier 'doubler'"),
        ({"series": "gauge"}, "is no series of wire"),
        ({"conductor": "tin"}, "conductor 'tin': is no metal that windings are of"),
    ],
)
def test_nonsense_is_one_clear_error(changed: dict[str, object], said: str):
    if not said:
        assert planned(CORES[2], **changed).fill > 0.5
        return
    with pytest.raises(InputError) as told:
        planned(CORES[2], **changed)
    assert len(told.value.faults) == 1
    assert said in str(told.value)


@pytest.mark.parametrize("text", ["6.3", "6.3x", "x3", "6300x3", "6.3x3x2", "nanx3"])
def test_heater_that_is_none_is_refused(text: str):
    with pytest.raises(InputError, match="write volts x amperes"):
        Heater.of(text)


def test_a_loose_turn_counts_the_turns_and_no_other_voltage_does():
    assert turns_by_loose_turn(12.0, 0.005) == pytest.approx(2400.0)
    for winding, turn in ((12.0, 0.0), (0.1, 0.2)):
        with pytest.raises(ValueError, match="voltage"):
            turns_by_loose_turn(winding, turn)


def test_a_unit_s_readings_tell_what_its_rewind_is_to_be():
    """117 V over 4.97 V of excitation makes 27.76 V 653.5 V; AWG 33 is 7.0800 mil, 0.17983 mm (ASTM B258)."""
    unit = UnknownUnit.parse(
        {
            **{
                "unit": "T",
                "rectifier": "full-wave",
                "filter": "choke",
                "line_voltage_v": 117.0,
                "centre_tapped": True,
            },
            **{"line_frequency_hz": 60.0, "excitation_v": 4.97, "hv_v": 27.76, "no_load_v": 9.0, "awg": 33},
            **{"hv_resistance_ohm": 188.6, "winding_temp_c": 20.0, "tongue_mm": 28.0, "stack_mm": 33.6},
        },
        "a test",
    )
    told = asked_by(unit)
    assert told.pop("volts") == pytest.approx(27.76 / 4.97 * 117.0)
    assert told.pop("was_wire_mm") == pytest.approx(0.17983, abs=1e-5)
    assert told == {
        **{"tongue_mm": 28.0, "stack_mm": 33.6, "line_voltage_v": 117.0, "line_frequency_hz": 60.0},
        **{"rectifier": "full-wave", "filter": "choke"},
    }


def test_a_winding_as_planned_reads_as_planned_and_what_is_not_is_said_with_its_likely_cause():
    plan = planned(CORES[2])
    hv = plan.windings[1]

    def read(volts: float = 1.0, ohm: float = 1.0) -> AsWound:
        warm = hv.ohm_20c * ohm * (234.5 + 30.0) / (234.5 + 20.0)
        return as_wound(plan, NewWinding(hv.volts * volts, warm, 30.0))

    same = read()
    assert all(off == pytest.approx(0.0, abs=1e-9) for off in same.off.values())
    assert (same.doubts, same.kept[:27]) == ((), "V/R is what was planned: +0")
    assert "as planned     as read" in str(same)
    # Wire of a diameter 1/sqrt(0.79) thicker; 124 of 2478 turns too few, with their ohms; halves for the whole.
    (thick,) = read(ohm=0.79).doubts
    assert f"wire of {hv.bare_mm / 0.79**0.5:.3f} mm bare in place of" in thick
    few = read(volts=0.95, ohm=0.95).doubts
    assert f"as with {0.05 * hv.turns:.0f} turns of the high voltage" in few[0]
    assert "was one half read for the whole" in read(ohm=0.5).doubts[0]
    assert "V at no load" in read(volts=0.5, ohm=0.5).doubts[0]
    assert read(volts=1.02, ohm=1.04).doubts == ()
    (both,) = read(volts=1.02, ohm=0.96).doubts
    assert both.startswith("V/R is +6.2% off")
    assert read(ohm=0.79).as_dict()["ohm_20c_off"] == pytest.approx(-0.21)


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ((650.0, None, 20.0), "read_ohm (empty): the new winding is held against the plan by all three"),
        ((650.0, 360.0, 293.0), "read_temp_c '293': is outside the limits, -40 to 200 °C"),
        ((float("nan"), 360.0, 20.0), "read_v 'nan': is outside the limits"),
    ],
)
def test_nonsense_of_the_new_winding_is_one_clear_error(read: tuple[float, ...], said: str):
    with pytest.raises(InputError) as raised:
        NewWinding(*read)
    assert len(raised.value.faults) == 1
    assert said in str(raised.value)
