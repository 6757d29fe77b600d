"""'Wind it again?': the plan, what the old winding was, the new winding's readings against the plan, and refusals."""

from __future__ import annotations

from pathlib import Path

import pytest

import calib
from tests.app.visits import opened, settle, text_of, unescaped

PAGE = "calib/app/pages/wind_it_again.py"
TARGET = {"tongue_mm": "32", "stack_mm": "38", "volts": "600", "current_ma": "80"}
TARGET |= {"line_voltage_v": "117", "line_frequency_hz": "60", "heaters": "5x2 6.3x3"}


def test_a_plan_stands_beside_what_was_and_what_came(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened(PAGE)
    assert "the plan comes here" in text_of(at)

    def typed(**values: str) -> str:
        for name, value in values.items():
            at.text_input(key=f"wind_{name}").set_value(value)
        at.run()
        assert not at.exception
        return unescaped(text_of(at))

    said = typed(**TARGET)
    assert "Before the first mains" in said
    assert "high voltage" in said
    assert "Of transformers like it" in said
    assert "Half are rated above" in said
    assert "for V peak" in said
    assert "Wire, bare: " in said
    assert "about 2400 turns" in typed(was_winding_v="12", was_turn_v="5 mV")
    assert "Volts of the loose turn then: -1: is outside the limits" in typed(was_turn_v="-1")
    assert "nan: is not a number" in typed(was_turn_v="nan")
    assert "is not less than the winding's 0.5 V" in typed(was_turn_v="0.6", was_winding_v="0.5")
    said = typed(was_turn_v="0.005", was_winding_v="12", was_wire_mm="0,18")
    assert "as it was" in said
    assert "2400" in said
    planned = "Ω at 20 °C</td>"
    copper = said.split(planned)[1].split("</td>")[1]
    at.selectbox(key="wind_conductor").set_value("aluminium").run()
    assert unescaped(text_of(at)).split(planned)[1].split("</td>")[1] != copper
    said = typed(read_v="600", read_ohm="5", read_temp_c="20")
    assert "The ohms are -9" in said
    assert "as with wire of" in said
    assert "is no heater winding" in typed(heaters="6.3")
    typed(heaters="")
    assert "is outside the limits, 8 to 120 mm" in typed(tongue_mm="3200")


def test_the_unit_at_hand_fills_the_form_whatever_unit_is_chosen_beside_a_field(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened(PAGE)
    at.radio(key="wind_tongue_mm_unit").set_value("in").run()
    at.button(key="rewind_take").click().run()
    assert not at.exception
    assert not at.error
    there = {name: at.text_input(key=f"wind_{name}").value for name in ("tongue_mm", "stack_mm", "volts")}
    unit = calib.read_unknown(calib.shipped("datasets/practice/unknown.csv")).iloc[0]  # the first practice unit
    assert (there["tongue_mm"], there["stack_mm"]) == tuple(f"{unit[name]:g} mm" for name in ("tongue_mm", "stack_mm"))
    assert "for V peak" in text_of(at)  # a plan came; of a core of so many inches none would
    volts = unit["hv_v"] / unit["excitation_v"] * unit["line_voltage_v"]
    assert float(there["volts"]) == pytest.approx(volts, rel=1e-4)
