"""A bench session's entries understood: the worked readings give the worked figures, and the form fits them."""

from __future__ import annotations

import doctest
import math
import sys
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

import calib
from calib import fitting
from calib.session import readings
from calib.session.interpret import found_leads, interpret, is_done, with_leads
from calib.session.protocol import STEPS
from calib.session.steps import Fact, symbols
from calib.session.steps.windings import allowed
from tests.app.bench_visits import SESSION, with_more
from tests.counts import share


def fact(session: Any, name: str) -> Fact:
    return next(one for one in session.facts if one.name.startswith(name))


def form_of(session: Any) -> dict[str, Any]:
    """The home page's form, filled with the session's figures."""
    return readings.entries_of(session.columns, session.heaters or ())


def lines(session: Any, step: str) -> str:
    return "\n".join(session.steps[step].lines).replace("\u00a0", " ")


def test_the_worked_readings_give_the_worked_no_load_voltage_and_its_uncertainty() -> None:
    """A half 326.7525 V; one meter and range 0.370169 % (JCGM 100:2008), and 0.3 % for the exciting current's drop."""
    no_load = fact(interpret(SESSION), "No-load voltage")
    assert no_load.value == pytest.approx(2 * 326.7525, rel=1e-6)
    assert 100 * no_load.u / no_load.value == pytest.approx(math.hypot(0.370169, 0.3), rel=1e-5)
    assert no_load.shown == ("653.5", "3.1", "0.48 %")


def test_the_worked_resistance_has_the_worked_uncertainty() -> None:
    """94.3 Ω, u 0.554667 Ω, and 0.34029 % for the temperature."""
    whole = fact(interpret(SESSION), "High voltage")
    assert whole.value == pytest.approx(2 * 94.3, rel=1e-9)
    assert 100 * whole.u / whole.value == pytest.approx(math.hypot(100 * 0.554667 / 94.3, 0.34029), rel=1e-5)


@pytest.mark.parametrize(
    ("together", "u_pct"),
    [("one-range", 0.77382), ("two-meters", 1.1249)],  # JCGM 100:2008, 5.2: r = 1 and r = 0
)
def test_v_over_r_is_the_worked_one(together: str, u_pct: float) -> None:
    v_over_r = fact(interpret(with_more(ratio={"volts_metered": together})), "V/R")
    assert v_over_r.value == pytest.approx(3.465032, rel=1e-6)
    assert 100 * v_over_r.u / v_over_r.value == pytest.approx(math.hypot(u_pct, 0.3), rel=1e-4)


def test_what_makes_most_of_the_uncertainty_is_said_with_its_remedy() -> None:
    assert "The ohmmeter makes" in lines(interpret(SESSION), "ratio")


def test_one_half_alone_counts_double_and_less_surely() -> None:
    """Halves differ by 3 to 15 %: 4 % is added in quadrature to the 0.68 % of the reading (judgement)."""
    session = interpret(with_more(resistance={"hv_half_2_ohm": None}))
    whole = fact(session, "High voltage")
    assert whole.value == pytest.approx(188.6)
    assert 100 * whole.u / whole.value == pytest.approx(math.hypot(0.6795, 4.0), rel=1e-3)
    assert "end to end is the better reading" in lines(session, "resistance")


def test_end_to_end_counts_before_the_halves() -> None:
    whole = fact(interpret(with_more(resistance={"hv_ohm": 190.3})), "High voltage")
    assert whole.value == pytest.approx(190.0)


@pytest.mark.parametrize(
    ("megohm", "said", "whole_v"),
    [
        # A half has 94.3 Ω: 94.3/(94.3 + 10e6) = 0.00094 %, and 0.19 % for 50 kΩ, corrected.
        (10.0, "0.00094 % low: left as it is", 27.76),
        (0.05, "0.19 % low: 27.76 V counts as 27.812 V", 27.76 * (1 + 94.3 / 50e3)),
    ],
)
def test_the_meters_own_load_is_put_right_where_it_is_worth_it(megohm: float, said: str, whole_v: float) -> None:
    session = interpret(with_more(ratio={"meter_megohm": megohm}))
    assert said in lines(session, "ratio")
    assert form_of(session)["volts_read"] == pytest.approx(whole_v, rel=1e-5)


def test_read_both_ways_gives_the_turns_ratio_and_the_coupling() -> None:
    """2.7821 and 0.3561 give n 2.795120 and k 0.995342."""
    ratio = {"excitation_v": 10.0, "hv_v": 27.821, "hv_half_1_v": None, "hv_half_2_v": None}
    ratio |= {"rev_hv_v": 10.0, "rev_primary_v": 3.561}
    assert "turns ratio 2.795, coupling 0.995" in lines(interpret(with_more(ratio=ratio)), "ratio")


def test_a_low_coupling_is_a_finding() -> None:
    session = interpret(with_more(ratio={"rev_hv_v": 10.0, "rev_primary_v": 1.6}))
    assert [one.what for one in session.steps["ratio"].findings] == ["Shorted turn suspected"]


def test_a_heater_winding_is_told_by_its_voltage_and_lost_in_two_leads() -> None:
    """0.233 V × 117/4.97 = 5.485 V: a 5 V winding unloaded. 0.4 Ω less 0.3 Ω of leads is below its uncertainty."""
    more = {"heater_name_1": "yellow", "heater_ohm_1": 0.4}
    session = interpret(with_more(resistance=more, ratio={"heater_v_1": 0.233}))
    assert "yellow: 5.485 V without load, a 5 V heater winding" in lines(session, "ratio")
    assert "Read it by four wires" in lines(session, "resistance")
    four = {**more, "heater_ohm_1": 0.11, "heater_leads": "four-wires"}
    assert fact(interpret(with_more(resistance=four)), "Heater winding yellow").value == pytest.approx(0.11)


def test_a_sound_session_has_no_finding() -> None:
    assert interpret(SESSION).findings == []
    assert interpret(SESSION).stops == []


@pytest.mark.parametrize(
    ("step", "more", "what", "severity"),
    [
        (
            "insulation",
            {"megohm_1": 1.5},
            "Insulation: stop until explained",
            "stop",
        ),  # below the standards' order, 2 MΩ
        ("insulation", {"megohm_1": 40.0}, "Insulation: dry out", "doubt"),  # 26 MΩ at 20 °C: 10 to 100
        ("leads", {"core_path": "continuity", "core_ohm": 3.0}, "Continuity to the core", "stop"),
        ("resistance", {"hv_half_2_ohm": 125.0}, "Halves of unlike resistance", "doubt"),  # 1.32; the volts decide
        ("resistance", {"hv_ohm": 120.0}, "Parallel path", "doubt"),  # less than the halves together
        ("ratio", {"hv_half_2_v": 13.4}, "Unequal halves", "stop"),  # 3.6 % against 2 %
        ("ratio", {"hv_half_2_v": 0.0}, "Swapped lead", "stop"),
        ("look", {"signs": ["burnt"]}, "It has been hot once", "doubt"),
        ("look", {"weight_kg": 2.6}, "Weight and core disagree", "doubt"),
        ("wire", {"wire": 36.0}, "Wire and resistance disagree", "doubt"),
    ],
)
def test_what_is_wrong_is_found(step: str, more: dict[str, Any], what: str, severity: str) -> None:
    found = interpret(with_more(**{step: more})).findings
    assert (what, severity) in [(one.what, one.severity) for one in found]


def test_heater_windings_go_into_the_form_as_if_read_in_its_ratio_test() -> None:
    """The form scales them to the line again: 0.291 V at 4.97 V on 117 V is 6.8505 V."""
    volts, ohms = {"heater_v_1": 0.233, "heater_v_2": 0.291}, {"heater_ohm_1": 0.118, "heater_ohm_2": 0.096}
    session = interpret(with_more(resistance={**ohms, "heater_leads": "four-wires"}, ratio=volts))
    form = form_of(session)
    read = readings.heaters_of(form, at_line=False)
    assert read.faults == {}
    assert [one.no_load_v for one in read.windings] == pytest.approx([0.233 * 117 / 4.97, 0.291 * 117 / 4.97], rel=1e-5)
    assert [one.reading_ohm for one in read.windings] == [0.118, 0.096]
    assert {one.null_ohm for one in read.windings} == {None}


UNREAD = {"excitation_v": None, "hv_half_1_v": None, "hv_half_2_v": None}
FIRST = (
    "feed the winding of highest resistance, end to end, from zero to at most 30 V, and stop if any other reads more"
)
HEATED = {"fed": "heater", "heater_nominal_v": 6.3}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, f"Leads not yet proven: {FIRST} than it. Choose above that you feed it."),
        ({"fed": "high-voltage"}, f"Leads not yet proven: {FIRST} than it."),
        (HEATED, f"Leads not yet proven: {FIRST} than it. Choose above that you feed it."),
        ({"proven": "proven", "fed": "high-voltage"}, f"Primary proven: {FIRST} than it."),
        # IEC 61010-1: a 117 V primary and 653.505 V: at most 5.3710 V, or 0.28921 V to a heater winding of 6.3 V.
        (
            {"proven": "proven"},
            "Primary proven: feed it at most 5.37 V (653.5 V end to end then reads 30 V), and stop if",
        ),
        ({"proven": "proven", "expected_hv_v": 650.0}, "feed it at most 5.4 V (650 V"),
        ({"proven": "proven", "expected_hv_v": None}, "Taken until it is known: 1000 V for the highest winding."),
        (
            {"proven": "proven", **HEATED},
            "rather feed it than a heater winding. Feed the 6.3 V winding with 0.289 V at",
        ),
        ({"proven": "proven", "fed": "heater"}, "until then feed nothing"),
        # Once the ratio is read, it goes by that, whatever was expected.
        ({"proven": "proven", **SESSION["ratio"], "expected_hv_v": 300.0}, "feed it at most 5.37 V (653.5 V"),
    ],
)
def test_what_may_be_fed_goes_by_what_is_known_of_the_leads(more: dict[str, Any], said: str) -> None:
    ratio = {**UNREAD, "expected_hv_v": 653.505, **more}
    assert said in allowed(interpret(with_more(ratio=ratio)).steps["ratio"]).advice


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"fed": "high-voltage", "excitation_v": 20.0, "primary_v": 26.0}, "26 V on the primary: more than the 20 V"),
        ({"fed": "high-voltage", "excitation_v": 20.0, "heater_v_2": 21.0}, "21 V on heater winding 2: more than the"),
        ({"excitation_v": 3.0, "heater_v_1": 31.0}, "31 V on heater winding 1: above 30 V"),
        ({"excitation_v": 3.0, "hv_half_1_v": 16.0}, "32 V across the high-voltage winding: above 30 V"),
        ({"excitation_v": 3.0, "tap_v_2": 40.0}, "40 V at tap 2: above 30 V"),
    ],
)
def test_a_voltage_that_must_not_be_says_switch_off(more: dict[str, Any], said: str) -> None:
    (told,) = interpret(with_more(ratio={**UNREAD, **more})).steps["ratio"].warnings
    assert said in told
    assert "Switch off" in told


@pytest.mark.parametrize(
    ("fed", "said"),
    [(2.0, "with 5.37 V on it every winding is still at or below 30 V"), (4.97, "")],  # 1.7 and 4.2 % of 117 V
)
def test_feeding_more_is_advised_no_further_than_thirty_volts_on_any_winding(fed: float, said: str) -> None:
    half = 13.88 / 4.97 * fed
    told = lines(interpret(with_more(ratio={"excitation_v": fed, "hv_half_1_v": half, "hv_half_2_v": half})), "ratio")
    assert said in told
    assert bool(said) == ("of its line voltage" in told)


def test_taps_are_scaled_to_the_line_and_copper_that_falls_is_a_finding() -> None:
    """4.25 V at 4.97 V on the primary of 117 V is 100.05 V; more volts with less copper cannot be one winding."""
    two = {"tap_name_1": "blue", "tap_v_1": 4.25, "tap_ohm_1": 5.0, "tap_name_2": "white", "tap_v_2": 4.6}
    rising = interpret(with_more(ratio={**two, "tap_ohm_2": 5.6}))
    assert "blue: 100.1 V from its end at the line." in rising.steps["ratio"].lines
    assert rising.findings == []
    falling = interpret(with_more(ratio={**two, "tap_ohm_2": 4.0}))
    assert [(one.what, one.severity) for one in falling.findings] == [("Taps out of order", "doubt")]
    twice = interpret(with_more(ratio={**two, "tap_name_2": "blue"}))
    assert any("tap is 'blue' twice" in line for line in twice.steps["ratio"].lines)


def test_insulation_is_brought_to_twenty_degrees() -> None:
    """180 MΩ at 14 °C is about 118.756 MΩ at 20 °C (IEEE 43)."""
    assert "118.8 MΩ at 20 °C: good" in lines(interpret(SESSION), "insulation")


def test_an_old_unit_that_was_tested_hard_is_a_finding() -> None:
    found = interpret(with_more(look={"decade": "before-1940"})).findings
    assert [one.what for one in found] == ["Tested harder than it should be"]
    steps = {f"{name}_{row}": value for row in (2, 3) for name, value in TEST.items()}
    steps |= {"test_v_1": 250.0, "test_v_2": 500.0}
    assert interpret(with_more(look={"decade": "before-1940"}, insulation=steps)).findings == []


TEST = {"between": "hv-core", "test_v": 1000.0, "megohm": 180.0, "temp_c": 20.0}


def plan(session: Any) -> dict[str, Any]:
    return {one.between: one for one in session.steps["insulation"].known["plan"]}


def test_the_insulation_is_tested_at_what_the_units_own_voltages_make_it_work_at() -> None:
    """350-0-350 on 230 V at 1.1 times the line: 545, 545, 1089 V, and 902 V to the primary; before any ratio."""
    volts = {"circuit": "full-wave", "works_hv_v": 700.0, "works_line_v": 230.0}
    made = {"between_1": "hv-rectifier", "test_v_1": 1000.0, "megohm_1": 300.0, "temp_c_1": 20.0}
    made |= {"between_2": "hv-core", "test_v_2": 500.0, "megohm_2": 300.0, "temp_c_2": 20.0}
    session = interpret({"insulation": {**volts, **made}})
    works = {between: (one.stress_v, one.steps, one.so_far) for between, one in plan(session).items()}
    assert works["hv-core"] == (545.0, (500.0, 1000.0), "passed at 500 V, next 1000 V")
    assert works["hv-rectifier"] == (1089.0, (500.0, 1000.0), "passed at 1000 V")
    assert works["rectifier-core"] == (545.0, (500.0, 1000.0), "")
    assert works["primary-rest"] == (902.0, (500.0, 1000.0), "")
    assert works["heaters-core"] == (10.0, (500.0,), "")
    doubts = "High voltage to rectifier heater: passed at 1000 V, works at 1089 V"
    assert doubts in session.standing["doubts"]
    assert session.standing["stop"] == ""
    assert "heaters-core" in session.steps["insulation"].known["untested"]
    assert "of 700 V end to end on 230 V, at 1.1 × line, for two diodes" in lines(session, "insulation")
    assert "at 1.1 × line, since nothing else is said above, for two diodes" in lines(interpret(SESSION), "insulation")


def test_the_ratio_test_corrects_what_the_insulation_was_tested_for() -> None:
    """Halves of 326.7525 V: a peak of 462 V and 1.1 of it, 508 V, whatever was expected before."""
    session = interpret(with_more(insulation={"works_hv_v": 400.0, "test_v_1": 500.0}))
    assert session.standing["doubts"].endswith("High voltage to core: passed at 500 V, works at 508 V")
    bridge = interpret(with_more(insulation={"circuit": "bridge"}))
    assert "works at 1016 V" in bridge.standing["doubts"]  # the whole 653.5 V, a peak of 924 V
    assert interpret(SESSION).standing["doubts"] == ""


def test_a_test_of_parts_together_does_for_each_of_them() -> None:
    lumped = {**TEST, "between": "rectifier-rest"}
    session = interpret(with_more(insulation={f"{name}_2": value for name, value in lumped.items()}))
    assert plan(session)["rectifier-core"].so_far == "passed at 1000 V"  # what it works at in all: 1016 V
    assert plan(session)["hv-core"].so_far == "good, passed at 1000 V"
    one_of_two = {**TEST, "between": "primary-core"}
    session = interpret(with_more(insulation={f"{name}_2": value for name, value in one_of_two.items()}))
    assert plan(session)["primary-rest"].so_far == ""


@pytest.mark.parametrize(
    ("more", "stops", "planned"),
    [
        ({"core_joined": "screen-joined"}, False, True),
        ({"core_joined": "hv-joined"}, False, False),
        ({"core_joined": "hv-joined", "core_ohm": 4e5}, True, True),  # no join of a maker's reads 400 kΩ
        ({}, True, True),
        ({"core_ohm": None}, True, True),
    ],
)
def test_what_the_maker_joined_to_the_core_is_no_fault_and_the_others_are_tested(
    more: dict[str, Any], stops: bool, planned: bool
) -> None:
    session = interpret(with_more(leads={"core_path": "continuity", "core_ohm": 3.0, **more}))
    assert bool(session.holding("ratio")) == stops
    assert ("hv-core" in plan(session)) == planned
    if not planned:
        assert "High voltage to core, says nothing" in lines(session, "insulation")


@pytest.mark.parametrize(
    ("step", "field", "value", "said", "code"),
    [
        ("core", "stack", 4000.0, "4000: is outside the limits, 3 to 500 mm; did you mean 40 mm", "limits"),
        ("ratio", "excitation_v", -4.97, "did you mean 4.97 V (a stray minus sign)", "limits"),
        ("resistance", "winding_temp_c", 500.0, "is outside the limits, -40 to 200 °C", "limits"),
        ("insulation", "megohm_1", 0.0, "0: is outside the limits, 0.001 to 1000000 MΩ", "limits"),
        ("resistance", "null_ohm", 400.0, "is outside the limits, 0 to 100 Ω", "limits"),
        ("wire", "wire", 77.0, "77: is outside the limits, 0 to 50 AWG", "limits"),
        ("core", "stack", "thick", "thick: ", "not-a-number"),
        ("core", "stack", "31 kg", "31 kg: ", "unclear"),
    ],
)
def test_nonsense_is_refused_with_its_limit_and_a_code(
    step: str, field: str, value: float | str, said: str, code: str
) -> None:
    session = interpret(with_more(**{step: {field: value}}))
    assert {one.column: one.code for one in session.faults} == {f"{step}.{field}": code}
    assert said in session.steps[step].checked.faults[field]
    assert not is_done(next(one for one in STEPS if one.name == step), SESSION[step], session.steps[step])


def test_a_null_that_is_no_less_than_the_reading_is_said_and_gives_no_resistance() -> None:
    session = interpret(with_more(resistance={"null_ohm": 95.0}))
    assert session.value("r20") is None
    assert "must be finite and above" in lines(session, "resistance")


def test_both_halves_are_handed_over_less_the_null_and_one_alone_is_not() -> None:
    """94.6 ohm of each half less 0.3 ohm of leads, at the winding's own temperature."""
    unit = interpret(with_more(resistance={"winding_temp_c": 30.0})).unit()
    halves = (unit.hv_half_1_ohm, unit.hv_half_2_ohm)
    assert halves == pytest.approx((94.3, 94.3))
    assert sum(halves) == pytest.approx(unit.hv_resistance_ohm, rel=1e-5)
    alone = interpret(with_more(resistance={"hv_half_2_ohm": None})).unit()
    assert (alone.hv_half_1_ohm, alone.hv_half_2_ohm) == (None, None)


def test_units_are_converted_once_and_aloud() -> None:
    session = interpret(with_more(core={"tongue": 1.125, "tongue_unit": "in"}))
    assert session.value("tongue_mm") == pytest.approx(28.575)
    assert session.steps["core"].checked.aloud["tongue"] == "1.125 in (1 1/8) is 28.575 mm."


def test_a_hidden_tongue_is_a_third_of_the_long_side() -> None:
    """Scrapless EI: 3a by 2.5a outside; 85.7 mm is the stock size of 28.575 mm."""
    core = {"core_by": "outside", "long_side": 85.7, "short_side": 71.4, "stack": 31.0, "tongue": None}
    session = interpret(with_more(core=core))
    assert session.value("tongue_mm") == pytest.approx(28.575)
    wrong = interpret(with_more(core={**core, "short_side": 85.0}))
    assert "short_side" in wrong.steps["core"].checked.faults


def test_a_micrometer_over_enamel_gives_odds_of_gauges() -> None:
    wire = {"wire_by": "micrometer", "micrometer_1": 0.25, "micrometer_2": 0.247, "series": "AWG", "wire": None}
    session = interpret(with_more(wire=wire))
    assert lines(session, "wire").startswith("AWG 31 (")
    assert form_of(session)["wire_unit"] == "mm"


def test_the_form_holds_the_readings_so_that_the_estimate_is_the_same() -> None:
    """The form's columns are those that a table of the same readings would have."""
    session = interpret(SESSION)
    form = form_of(session) | {"rectifier": "full-wave", "filter": "capacitor"}
    unit = readings.understand(form).unit
    assert unit is not None
    row = unit.iloc[0]
    known = {"excitation_v": 4.97, "hv_v": 27.76, "hv_resistance_ohm": 188.6, "winding_temp_c": 20.0, "awg": 31.0}
    known |= {"line_voltage_v": 117.0, "line_frequency_hz": 60.0, "tongue_mm": 28.6, "stack_mm": 31.0}
    assert {name: row[name] for name in known} == pytest.approx(known)
    assert row["u_voltage_pct"] == pytest.approx(0.47647, rel=1e-4)


def test_aluminium_goes_into_the_form_as_it_was_read_with_its_metal() -> None:
    """R20 = 188.6 × (228.1 + 20)/(228.1 + 30), by session and form alike."""
    session = interpret(with_more(resistance={"conductor": "aluminium", "winding_temp_c": 30.0}))
    form = form_of(session) | {"rectifier": "full-wave", "filter": "capacitor"}
    assert (form["ohms_read"], form["winding_temp_c"]) == (pytest.approx(188.6), 30.0)
    assert fact(session, "High voltage").value == pytest.approx(188.6 * 248.1 / 258.1, rel=1e-9)
    unit = readings.understand(form).unit
    assert unit is not None
    assert unit["conductor"].iloc[0] == "aluminium"
    assert fitting.features_of(unit).frame["resistance_ohm"].iloc[0] == pytest.approx(188.6 * 248.1 / 258.1, rel=1e-5)


def test_nothing_entered_is_nothing_interpret() -> None:
    session = interpret({})
    assert session.facts == []
    assert session.findings == []
    assert form_of(session) == {}


def test_typed_figures_of_a_meter_count_once_they_are_whole() -> None:
    typed = {"ohmmeter": "(typed)", "ohmmeter_percent": 0.2, "ohmmeter_counts": 2.0, "ohmmeter_resolution": 0.1}
    better = fact(interpret(with_more(resistance=typed)), "High voltage")
    assert better.u < fact(interpret(SESSION), "High voltage").u
    lacking = interpret(with_more(resistance={**typed, "ohmmeter_resolution": None}))
    assert "ohmmeter_resolution" in lacking.steps["resistance"].checked.faults


def test_a_meter_of_ones_own_counts_by_its_name() -> None:
    own = calib.Meter.parse({"name": "Blue", "reads": "volt", "range_label": "20 V"} | FIGURES)
    session = interpret(with_more(ratio={"voltmeter": "Blue, 20 V"}), [own])
    assert "Meter: Blue, 20 V, ±(0.5 % + 2 × 0.01 V)" in lines(session, "ratio")
    gone = interpret(with_more(ratio={"voltmeter": "Blue, 20 V"}))
    assert "Blue, 20 V is not on your list now" in lines(gone, "ratio")


FIGURES = {"percent": 0.5, "counts": 2, "resolution": 0.01}


@pytest.mark.parametrize(
    ("said", "symbol"),
    [("180 Mohm", "180 MΩ"), ("by the ohmmeter", "by the ohmmeter"), ("100 kohm.", "100 kΩ."), ("3 ohm", "3 Ω")],
)
def test_units_get_their_signs_and_words_keep_their_letters(said: str, symbol: str) -> None:
    assert symbols(said) == symbol


numbers = st.floats(-1e7, 1e7, allow_nan=False)
FIELDS = [(step.name, field) for step in STEPS for field in step.fields.values() if field.kind == "number"]


@settings(deadline=None, max_examples=share(20, 100))
@given(st.lists(st.tuples(st.sampled_from(FIELDS), numbers), max_size=12))
def test_no_number_whatever_makes_it_fail(typed: list[tuple[Any, float]]) -> None:
    entries: dict[str, dict[str, Any]] = {step: dict(fields) for step, fields in SESSION.items()}
    for (step, field), value in typed:
        entries.setdefault(step, {})[field.name] = value
    interpret(entries)


def test_a_sessions_numbers_are_read_as_people_write_them() -> None:
    """The same session with commas and units gives the same facts; numbers of older sessions stay numbers."""
    typed = with_more(
        look={"weight_kg": "1550 g"},
        insulation={"test_v_1": "0,5 kV", "megohm_1": "0,18 G"},
        resistance={"hv_half_1_ohm": "94,6 Ω", "winding_temp_c": "68 F", "null_ohm": "300 mΩ"},
        ratio={"excitation_v": "4,97", "hv_half_1_v": "13,88 V"},
        core={"tongue": "28,6 mm", "stack": "3,1 cm"},
        wire={"wire": "31 AWG", "wire_unit": "SWG"},
    )
    session = interpret(typed)
    assert [fact.line for fact in session.facts] == [fact.line for fact in interpret(SESSION).facts]
    assert session.steps["ratio"].checked.aloud["excitation_v"] == "Read as 4.97 V."
    assert session.steps["wire"].checked.aloud["wire"].startswith("AWG 31 is 0.227 mm")
    assert form_of(session) == form_of(interpret(SESSION))


@pytest.mark.parametrize(
    ("step", "planned"),
    [
        ("insulation", {"circuit": "bridge", "works_hv_v": 650.0, "works_line_v": 117.0}),
        ("ratio", {"line_voltage_v": 117.0, "expected_hv_v": 650.0, "proven": "proven"}),
    ],
)
def test_what_is_only_planned_is_not_done(step: str, planned: dict[str, Any]) -> None:
    """A tick beside the insulation stands for a test that was made, not for the voltages it is to be made for."""
    of_it = next(one for one in STEPS if one.name == step)
    assert not is_done(of_it, planned, interpret({**SESSION, step: planned}).steps[step])
    assert is_done(of_it, SESSION[step], interpret(SESSION).steps[step])


def test_text_that_is_no_number_is_a_fault_of_its_field() -> None:
    session = interpret(with_more(ratio={"excitation_v": "4.9.7"}, wire={"wire": "thin"}))
    assert session.steps["ratio"].checked.faults["excitation_v"].startswith("4.9.7: has points and commas")
    assert session.steps["wire"].checked.faults["wire"].startswith("thin: is not a number")
    assert not is_done(STEPS[6], {"wire": "thin", "wire_by": "gauge"}, session.steps["wire"])


M65 = {"tongue": 20.0, "stack": 27.0}


def test_an_m65_is_weighed_as_one_and_not_called_an_ei_60() -> None:
    """Iron 2 x 15.5 x 2.7 x 7.65 g at 0.90 to 0.97, and windings in 5.62 cm²: 0.9 kg is too much for an EI-60 alone."""
    session = interpret(with_more(core=M65 | {"lamination": "m"}, look={"weight_kg": 0.9}, wire={"wire": None}))
    said = lines(session, "core")
    assert "Nearest stock sheet: M65 (unverified), tongue 20 mm. Its window, 12.5 by 45 mm" in said
    assert "EI-60" not in said
    assert "the weight agrees" in said
    asked = interpret(with_more(core=M65, look={"weight_kg": 0.9}, wire={"wire": None}))
    assert "M65 (unverified) has that tongue too, and another window: say which it is." in lines(asked, "core")
    (finding,) = asked.steps["core"].findings
    assert finding.what == "Weight and core disagree"
    assert "sheets of another shape" in finding.remedy


def test_an_m42_tells_its_tongue_by_its_outside() -> None:
    """Square, 42 mm, tongue 12 mm (DIN 41302)."""
    sides = {"core_by": "outside", "long_side": 42.0, "short_side": "42,1", "stack": 15.0}
    session = interpret({"core": sides | {"lamination": "m"}})
    assert session.value("tongue_mm") == 12.0
    assert session.steps["core"].checked.faults == {}
    wrong = interpret({"core": sides}).steps["core"].checked.faults["short_side"]
    assert wrong.endswith("Square sheets are M: say so.")


def test_sheets_and_window_go_into_the_estimates_form() -> None:
    core = M65 | {"lamination": "other", "window_width": "15 mm", "window_height": "40 mm"}
    form = form_of(interpret(with_more(core=core, look={"weight_kg": None})))
    assert (form["lamination"], form["window_width"], form["window_height"]) == ("other", 15.0, 40.0)
    unit = readings.understand({"rectifier": "full-wave", "filter": "capacitor", **form}).unit
    assert unit is not None
    assert unit.iloc[0][["lamination", "window_width_mm", "window_height_mm"]].tolist() == ["other", 15.0, 40.0]
    half = interpret(with_more(core=M65 | {"lamination": "other", "window_width": 15.0}))
    assert "The window counts once its width and height are both known." in lines(half, "core")
    assert "measure its window too" in lines(half, "core")
    assert half.steps["core"].findings == []


def test_the_examples_of_the_wing_give_what_they_say() -> None:
    for name in ("calib.session.interpret", "calib.session.protocol"):
        assert doctest.testmod(sys.modules[name]).failed == 0


def test_from_raw_readings_to_the_record_and_its_estimate() -> None:
    """From Python alone: halves as the meters showed them, a lead null, a meter of one's own."""
    blue = calib.Meter.parse({"name": "Blue", "reads": "ohm", "percent": 0.8, "counts": 2, "resolution": 0.1})
    entries = with_more(look={"weight_kg": "1550 g"}, resistance={"ohmmeter": "Blue", "hv_half_2_ohm": "94,6 Ω"})
    session = calib.session.interpret(entries, [blue])
    unit = session.unit(demand_ma=70.0)
    assert (unit.excitation_v, unit.hv_v, unit.hv_resistance_ohm, unit.winding_temp_c) == (4.97, 27.76, 188.6, 20.0)
    assert (unit.u_voltage_pct, unit.u_resistance_pct) == pytest.approx((0.476471, 0.679534), rel=1e-5)
    assert (unit.weight_kg, unit.awg, unit.demand_ma, unit.conductor) == (1.55, 31.0, 70.0, None)
    model = calib.fit(calib.read_known(calib.shipped("datasets/practice/known.csv")).head(12))
    by_record = calib.estimate_unit(model, unit, heaters=session.heaters)
    assert by_record.answer["no_load_v"].iloc[0] == pytest.approx(653.505, rel=1e-6)
    assert not by_record.withheld
    kinds = session.frame().set_index("name")["value"]
    assert kinds["V/R"] == pytest.approx(3.465032, rel=1e-6)
    assert "Read the ratio: V/R" in str(session)


def test_a_known_unit_comes_from_a_session_too() -> None:
    record = interpret(with_more(resistance={"primary_ohm": 6.0})).known("nameplate", 90, "full-wave", "capacitor")
    assert (record.unit, record.contributor, record.rated_current_ma, record.hv_v) == (
        "AL-5",
        "Alder Lane",
        90.0,
        27.76,
    )
    assert record.primary_resistance_ohm == pytest.approx(5.7)  # less the leads' 0.3 Ω, as every other reading


def test_what_stands_against_the_unit_goes_into_its_record() -> None:
    stopped = with_more(insulation={"megohm_1": 1.5}, look={"weight_kg": 2.6})
    unit = interpret(stopped).unit()
    assert unit.stopped.startswith("Insulation: stop until explained")
    assert unit.doubts.startswith("Weight and core disagree")
    assert str(interpret(stopped)).startswith(
        "STOP, feed it nothing: Insulation: stop until explained. High voltage to"
    )
    with pytest.raises(calib.InputError, match="stop"):
        interpret(stopped).known("nameplate", 90.0, "full-wave", "capacitor")


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        (with_more(ratio={"excitation_v": "4.9.7"}), "ratio.excitation_v (empty): 4.9.7: has points and commas"),
        (
            with_more(ratio={"exitation_v": 5}),
            "ratio.exitation_v '5': is not asked at this step; write excitation_v if",
        ),
        (with_more(voltages={}), "voltages (empty): is no step of the session; write one of look,"),
        ({"ratio": SESSION["ratio"]}, "hv_resistance_ohm (empty): is needed"),
    ],
)
def test_a_record_is_refused_with_what_is_wrong_or_lacking(entries: dict[str, Any], said: str) -> None:
    with pytest.raises(calib.InputError) as refused:
        interpret(entries).unit()
    assert "the bench session, " in str(refused.value)
    assert said in str(refused.value)


def test_the_protocol_is_printed_for_people_and_framed_for_programs() -> None:
    asked = calib.session.protocol().frame().set_index("field")
    assert asked.loc["null_ohm", ["step", "unit", "low", "high", "times"]].tolist() == [
        "resistance",
        "Ω",
        0.0,
        100.0,
        0,
    ]
    assert asked.loc["ohm_leads", "choices"] == ("null-off", "null-on", "four-wires")
    assert asked.loc["tap_v", "times"] == 8
    said = str(calib.session.protocol())
    assert said.index("Turn the source to zero first") < said.index("excitation_v [V], Volts fed in")


LEADS = [["1", "2", "5.7"], ["3", "4", "92"], ["4", "5", "97.2"], ["3", "5", "188.9"], ["6", "7", "0.4"]]
LEADS += [[one, other, "open"] for one, other in ("13", "16", "36")]


def test_leads_that_were_found_fill_in_where_nothing_else_stands() -> None:
    found = {"primary": "1-2", "hv_ends": "3 and 5", "hv_tap": "4", "heaters": "6-7"}
    assert found_leads(LEADS) == found
    typed = with_leads({"primary": "black, black"}, list("1234567"), LEADS)
    assert {name: typed[name] for name in found} == found | {"primary": "black, black"}
    assert with_leads(typed, [], []) == {"primary": "black, black", "names": [], "readings": []}
    assert found_leads([*LEADS, ["1", "2", "57"]]) == {}  # what contradicts tells nothing
    session = interpret({"leads": {"readings": LEADS}})
    assert session.steps["leads"].checked.words("hv_tap") == "4"
    assert any("Only a ratio test proves" in line for line in session.steps["leads"].lines)


def test_the_home_form_makes_the_sessions_record_of_what_it_is_filled_with() -> None:
    session = interpret(with_more(wire={"wire": "SWG 35"}, core=M65 | {"lamination": "m"}, look={"weight_kg": None}))
    made = readings.understand({"rectifier": "full-wave", "filter": "capacitor", **form_of(session)})
    assert made.missing == made.faults == {}
    numbers = {name: value for name, value in session.unit().values().items() if isinstance(value, float)}
    numbers = {name: value for name, value in numbers.items() if "half" not in name}  # the form asks for the whole only
    assert {name: getattr(made.record, name) for name in numbers} == pytest.approx(numbers)
    assert (made.record.lamination, made.record.unit, made.record.contributor) == ("m", "AL-5", "Alder Lane")


def test_a_session_that_measured_the_wire_alone_yields_a_unit_and_so_does_the_form() -> None:
    session = interpret({"wire": {"wire_by": "gauge", "wire": "34"}})
    unit = session.unit()
    assert (unit.awg, unit.hv_resistance_ohm, unit.no_load_v) == (34.0, None, None)
    assert session.understood("full-wave", "capacitor").missing == {}
    made = readings.understand({"rectifier": "bridge", "filter": "capacitor", "wire": "34", "winding_temp_c": 20.0})
    assert (made.missing, made.faults, made.record.awg) == ({}, {}, 34.0)
    half = readings.understand({"rectifier": "bridge", "filter": "capacitor", "wire": "34", "excitation_v": "5"})
    assert [*half.missing] == ["volts_read"]
    bare = readings.understand({"rectifier": "bridge", "filter": "capacitor"})
    assert {"excitation_v", "volts_read", "ohms_read"} <= {*bare.missing}
