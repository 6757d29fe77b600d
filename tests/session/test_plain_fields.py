"""Figures of heat run, rewind and set: one definition holds them in a form, a text of lines, a command and Python."""

from __future__ import annotations

import math
from typing import Any

import pytest

from calib.errors import InputError
from calib.estimate.heat_run import HEAT, HeatRun, heat_run
from calib.estimate.rewind import REWIND
from calib.estimate.set_supply import SUPPLY
from calib.paths import data
from calib.register.fields import FieldFacts, facts_of, faults_of, unlikely_of
from calib.session.fields import Field, checked, lines_read, step_of

LOADS = facts_of(data("supply/fields.toml")["load"])
ALL = [one for facts in (HEAT, REWIND, SUPPLY, LOADS) for one in facts.values()]
# A factor of a thousand always leaves the usual range, but for a count of minutes or a zero that is usual.
READ = {"cold_ohm": 62.15, "cold_temp_c": 20.4, "ambient_start_c": 21.0, "ambient_end_c": 22.0, "load_ma": 92.0}
HOT = ((20.0, 50.0, 90.0, 150.0, 240.0), (76.76, 76.26, 75.62, 74.72, 73.48))  # T1.6


@pytest.mark.parametrize("facts", ALL, ids=[one.name for one in ALL])
def test_a_form_and_python_judge_a_figure_alike(facts: FieldFacts) -> None:
    """Usual, a thousand times that, absurd: what the form refuses Python refuses, what it looks twice at is noted."""
    assert facts.usual is not None
    step = step_of("some", Field.of(facts))
    usual = math.sqrt(max(facts.usual[0], 1e-3 * facts.usual[1]) * facts.usual[1])
    usual = float(f"{round(usual) if facts.whole else usual:.4g}")
    for value in (usual, 1000.0 * usual, -usual, 1e12):
        form = checked(step, {facts.name: f"{value:.10g}"})
        refused, noted = (tell({facts.name: facts}, {facts.name: value}) for tell in (faults_of, unlikely_of))
        assert bool(form.faults) == bool(refused)
        assert bool(form.unusual) == bool(noted)
        assert bool(refused or noted) == (value != usual)


@pytest.mark.parametrize(
    ("typed", "value", "aloud"),
    [("62,15", 62.15, "Read as 62.15 Ω."), ("0.06215k", 62.15, "0.06215 kΩ is 62.15 Ω."), ("6,215", 6.215, "6215")],
)
def test_a_form_understands_what_people_write(typed: str, value: float, aloud: str) -> None:
    """A lone comma of 6,215 may part thousands: both lie in the usual range, so that it is asked and not taken."""
    done = checked(step_of("some", Field.of(HEAT["cold_ohm"])), {"cold_ohm": typed})
    if typed == "6,215":
        assert "may be 6.215 or 6215" in done.faults["cold_ohm"]
        assert "cold_ohm" not in done.values
    else:
        assert done.values["cold_ohm"] == pytest.approx(value, rel=1e-12)
        assert done.aloud["cold_ohm"] == aloud


def test_lines_are_read_with_units_and_each_fault_is_told_with_its_line() -> None:
    fields = [Field.of(HEAT[name]) for name in ("minutes", "ohm", "air_c")]
    rows, said = lines_read("20 69,0 21\n\n1 h; 73 Ω; 71,6 °F\n90\t81.5\t22", fields)
    assert rows == [(20.0, 69.0, 21.0), (60.0, 73.0, 22.0), (90.0, 81.5, 22.0)]
    assert "line 3: 71.6 °F is 22 °C." in said
    with pytest.raises(InputError) as raised:
        lines_read("20 69 21\n40 x 2100\n60 77", fields)
    assert [(one.row, one.column, one.value) for one in raised.value.faults] == [
        (2, "ohm", "x"),
        (2, "air_c", "2100"),
        (3, "", "60 77"),
    ]


@pytest.mark.parametrize(
    ("change", "column", "problem"),
    [
        ({"cold_ohm": 31.075}, "cold_ohm", "which no winding stands"),  # halved: a half against the whole
        ({"cold_ohm": 77.0}, "ohm", "is no hotter than the room"),  # cold and hot exchanged
        ({"cold_ohm": 62150.0}, "ohm", "is no hotter than the room"),
        ({"load_ma": 250e3}, "load_ma", "is outside the limits, 0.1 to 100000 mA; did you mean 250 mA"),
        ({"ambient_end_c": 2200.0}, "ambient_end_c", "is outside the limits, -40 to 200 °C"),
    ],
)
def test_a_slipped_reading_of_a_run_is_refused(change: dict[str, Any], column: str, problem: str) -> None:
    with pytest.raises(InputError) as raised:
        heat_run(HeatRun(**{**READ, **change}, allowed_rise_k=60.0, seconds=HOT[0], ohm=HOT[1]))
    (fault,) = raised.value.faults
    assert fault.column == column
    assert problem in f"{fault.problem}; {fault.remedy}"


def test_exchanged_temperatures_of_a_run_are_doubted() -> None:
    """A winding soaked to the room has its temperature; 76.26 / 62.15 at 45 °C cold is a rise of 86 K, not 60."""
    found = heat_run(HeatRun(**{**READ, "cold_temp_c": 45.0}, allowed_rise_k=60.0, seconds=HOT[0], ohm=HOT[1]))
    assert any("24.0 K off the air" in one for one in found.doubts)
