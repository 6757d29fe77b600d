"""A rewind plan: what it comes to in a calculation that shares nothing with it, how it fits, what it refuses."""

from __future__ import annotations

import math

import pytest

from calib.errors import InputError
from calib.estimate.old_winding import OldWinding, as_it_was, as_planned, turns_by_loose_turn
from calib.estimate.rewind import Heater, RewindPlan, RewindTarget, rewind_plan
from tests.fitting.making import practice_fit

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
    plan = planned(core)
    a, b, volts, milliamperes, rectifier, _, line, hertz, heaters, _ = core
    primary, hv, *others = plan.windings
    # Volts: by the law of induction from turns, and the heaters under load by their drops.
    flux = line / (4.442882938 * hertz * primary.turns * 0.95 * a * b * 1e-6)  # type: ignore[operator]
    assert flux == pytest.approx(plan.flux_t, rel=1e-6)
    assert line * hv.turns / primary.turns == pytest.approx(volts, rel=0.03)
    heat = 0.0
    hot = (234.5 + 40.0 + plan.rise_k) / 254.5
    amperes = [one.amperes for one in plan.windings]
    for winding, ampere in zip(plan.windings, amperes, strict=True):
        section = math.pi * (winding.bare_mm / 2.0) ** 2
        ohm = 0.017241 * winding.turns * winding.mean_turn_mm / 1000.0 / section
        assert ohm == pytest.approx(winding.ohm_20c, rel=1e-3)
        heat += ampere**2 * ohm * hot
    for winding, heater in zip(others, heaters, strict=True):  # type: ignore[call-overload]
        ratio = winding.turns / primary.turns
        loaded = line * ratio - heater.amperes * winding.ohm_20c * hot - primary.amperes * primary.ohm_20c * hot * ratio
        turn = line / primary.turns
        assert abs(loaded - heater.volts) < max(0.03 * heater.volts, 0.6 * turn)
    # Rise: heat balance by steps of time, of the iron's outside and the coil's ends.
    kilos = 6.0 * a**2 * b * 0.95 * 7.65e-6  # type: ignore[operator]
    heat += kilos * 2.0 * flux**2 * (hertz / 60.0) ** 1.3  # type: ignore[operator]
    outside = (15.0 * a**2 + 11.0 * a * b + 7.0 * a**2) * 1e-6  # type: ignore[operator]
    warm = 0.0
    for _ in range(4000):
        warm += (heat - 12.0 * outside * warm) * 20.0 / (kilos * 700.0)
    assert warm == pytest.approx(plan.rise_k, rel=0.05)
    # It fits: layers of the overall diameter stand on one another in the window.
    assert 0.5 < plan.fill <= 0.9
    assert sum(one.layers * one.bare_mm for one in plan.windings) < 0.9 * a / 2.0  # type: ignore[operator]
    turns = [one.mean_turn_mm for one in plan.windings]
    assert turns == sorted(turns)
    assert 2.0 * (a + b) < turns[0] < turns[-1] < 2.0 * (a + b) + math.pi * a  # type: ignore[operator]


def test_ratio_of_volts_and_ohms_is_that_of_the_winding_and_its_place_among_makers():
    plan = planned(CORES[2])
    hv = plan.windings[1]
    assert plan.v_over_r == pytest.approx(hv.volts / hv.ohm_20c)
    assert plan.unit_multiplier == pytest.approx(75.0 / plan.v_over_r)
    more, less = planned(CORES[2], current_ma=95.0), planned(CORES[2], current_ma=40.0)
    assert less.quantile < plan.quantile < more.quantile
    assert less.rise_k < plan.rise_k < more.rise_k
    assert "more cautious than most" in str(less)
    assert "expect it to run hot" in str(more)


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
    assert as_planned(aluminium, aluminium.windings[1].volts, hot, 60.0)[0] == pytest.approx(1.0)


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


def test_a_winding_as_planned_reads_as_planned_and_one_of_thicker_wire_does_not():
    plan = planned(CORES[2])
    hv = plan.windings[1]
    over, within = as_planned(plan, hv.volts, hv.ohm_20c * (234.5 + 30.0) / (234.5 + 20.0), 30.0)
    assert over == pytest.approx(1.0, abs=1e-3)
    assert within < 0.1 < abs(as_planned(plan, hv.volts, hv.ohm_20c / 1.26, 20.0)[0] - 1.0)
    with pytest.raises(ValueError, match="resistance"):
        as_planned(plan, hv.volts, 0.0, 20.0)
