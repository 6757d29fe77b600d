"""Likely slips put right in the forms: what each repair makes of readings that hold the slip."""

from __future__ import annotations

import pytest

from calib.fitting.gross_errors import NAMES
from calib.paths import data
from calib.session.interpret import interpret
from calib.session.readings import understand
from calib.session.repair import HOME, SESSION, read_again, repair_of

HALF_R, HALF_V, KILOHM, OHM, *_ = NAMES
SOUND = {"voltage_by": "ratio-test", "excitation_v": "4,97", "volts_read": "27.76", "volts_across": "whole"}
SOUND |= {"ohms_read": "188.6", "ohms_read_unit": "Ω", "ohms_across": "whole", "winding_temp_c": "20"}
SOUND |= {"winding_temp_c_unit": "°C", "line_voltage_v": "117", "line_frequency_hz": "60", "core_by": "limbs"}
SOUND |= {"rectifier": "full-wave", "filter": "capacitor", "tongue": "28", "stack": "30", "wire": "0.19"}
SOUND |= {"tongue_unit": "mm", "stack_unit": "mm", "wire_unit": "mm"}
TWICE = {"volts_across": "half", "volts_read": "13.88"}
BENCH = {"look": {"tag": "Q1"}, "resistance": {"hv_ohm": "188.6", "winding_temp_c": "20"}}
BENCH |= {"ratio": {"line_voltage_v": "117", "line_frequency_hz": "60", "excitation_v": "4.97", "hv_v": "27.76"}}
BENCH |= {"wire": {"wire_by": "gauge", "wire": "0.19", "wire_unit": "mm"}, "core": {"tongue": "28", "stack": "30"}}


def named(part: str) -> str:
    return next(name for name in NAMES if part in name)


# A slip, what it made of the sound readings, and what they are where the sound ones do not show what it needs.
SLIPPED = [
    (HALF_R, {"ohms_read": "94.3"}, {"ohms_read": "94.3", "ohms_across": "half"}),
    (HALF_V, {"volts_read": "13.88"}, TWICE),
    (KILOHM, {"ohms_read": "0.1886"}, {}),
    (KILOHM, {"ohms_read": "0.0001886", "ohms_read_unit": "kΩ"}, {}),
    (KILOHM, {"ohms_read": "0,1886 Ω"}, {}),
    (OHM, {"ohms_read": "188.6", "ohms_read_unit": "kΩ"}, {}),
    (OHM, {"ohms_read": "188600"}, {}),
    (named("resistance ten times too low"), {"ohms_read": "18.86"}, {}),
    (named("resistance ten times too high"), {"ohms_read": "1886"}, {}),
    (named("voltage ten times too high"), {"volts_read": "277.6"}, {}),
    (named("voltage ten times too low"), {"volts_read": "2.776"}, {}),
    (named("two voltages"), {"excitation_v": "27.76", "volts_read": "4,97"}, {}),
    (named("volts and ohms"), {"volts_read": "188.6", "ohms_read": "27.76"}, {}),
    (named("in °F"), {"winding_temp_c": "68"}, {}),
    (named("in mm taken for its gauge"), {"wire_unit": "AWG"}, {}),
    (named("thousandths"), {"wire": "7.5", "wire_unit": "AWG"}, {"wire": "0.0075", "wire_unit": "in"}),
    (named("British"), {"wire": "36", "wire_unit": "AWG"}, {"wire": "36", "wire_unit": "SWG"}),
    (named("wire diameter ten times too high"), {"wire": "1.9"}, {}),
    (named("wire diameter ten times too low"), {"wire": "0.019"}, {}),
    (named("tongue and stack in cm"), {"tongue": "2.8", "stack": "3"}, {}),
    (named("in mm² taken"), {"core_by": "area", "area": "840"}, {"core_by": "area", "area": "8.4"}),
]


@pytest.mark.parametrize(("slip", "wrong", "right"), SLIPPED)
def test_a_repair_gives_the_sound_reading_back_and_its_way_back_the_slip(slip, wrong, right):
    entries = {**SOUND, **wrong}
    repair = repair_of(slip, entries)
    there = {**entries, **repair.after}
    assert understand(there).record == understand({**SOUND, **right}).record
    assert repair.stands(there)
    assert not repair.stands(entries)
    assert {**there, **repair.before} == entries
    assert repair.form == HOME
    assert "{" not in repair.done


def test_each_slip_that_the_model_knows_has_its_words_and_no_other():
    assert set(data("session/repair.toml")) == set(NAMES)
    assert {slip for slip, _, _ in SLIPPED} == {
        name for name, one in data("session/repair.toml").items() if "home" in one
    }
    assert all(read_again(name) for name in NAMES)


@pytest.mark.parametrize(
    ("slip", "entries"),
    [
        (HALF_R, {"ohms_across": "half"}),  # a quarter of the winding is no choice
        (named("on a hot winding"), {}),
        (named("weight is off"), {}),
        (KILOHM, {"ohms_read": "some"}),
        (named("wire diameter ten times too high"), {"wire_unit": "AWG", "wire": "30"}),
        ("another slip", {}),
    ],
)
def test_what_a_form_cannot_say_is_not_offered(slip, entries):
    assert repair_of(slip, {**SOUND, **entries}) is None


@pytest.mark.parametrize(
    ("slip", "step", "wrong", "column"),
    [
        (HALF_R, "resistance", {"hv_ohm": "94.3"}, "hv_resistance_ohm"),
        (HALF_V, "ratio", {"hv_v": "13.88"}, "hv_v"),
        (KILOHM, "resistance", {"hv_ohm": "0.1886"}, "hv_resistance_ohm"),
        (named("in mm taken for its gauge"), "wire", {"wire_unit": "AWG"}, "wire_diameter_mm"),
        (named("tongue and stack in cm"), "core", {"tongue": "2.8", "stack": "3"}, "tongue_mm"),
    ],
)
def test_the_bench_session_is_put_right_at_the_step_of_the_reading(slip, step, wrong, column):
    entries = {**BENCH, step: {**BENCH[step], **wrong}}
    repair = repair_of(slip, entries, SESSION)
    made = interpret({**entries, repair.step: {**entries[step], **repair.after}}).columns
    assert made[column] == pytest.approx(interpret(BENCH).columns[column])
    assert (repair.step, repair.form) == (step, SESSION)
