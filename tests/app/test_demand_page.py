"""'Does it feed the set?': the unit of the home page, a set typed in, its answer, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from tests.app.visits import opened, settle, text_of as said_by

PAGE = "calib/app/pages/does_it_feed_the_set.py"


def text_of(at: AppTest) -> str:
    return said_by(at).replace("\\", "")


def typed(at: AppTest, **values: str) -> AppTest:
    for name, value in values.items():
        at.text_input(key=f"set_{name}").set_value(value)
    at.run()
    assert not at.exception
    return at


def test_a_set_is_typed_in_answered_and_mended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened(PAGE)
    assert "Name what the set draws" in text_of(at)
    assert "unplug, discharge every capacitor" in text_of(at)
    typed(at, load_1="6V6", load_2="6V7x")
    assert "Valve or load '6V7x': is not in the table of valves" in text_of(at)
    typed(at, load_2="bleeder", ohm_2="47000")
    assert "First capacitor: filter 'capacitor' needs its capacitor" in text_of(at)
    typed(at, capacitance_uf="16 mfd", valve="5Y3-GT", capacitor_volts="450")
    said = text_of(at)
    assert "The rating suffices with odds of" in said
    assert "direct voltage at rest" in said
    assert "heaters of 5 V" in said
    assert "Fuse in the line conductor" in said
    assert "None was read: read them under" in said
    for name, value in {"heaters": "1", "heater_v_1": "0.2352", "heater_ohm_1": "0.09", "heater_a_1": ""}.items():
        at.session_state[f"read_{name}"] = value
    typed(at, line_now_v="122")
    assert "Which way round, proved before the mains" in text_of(at)
    assert "drawn and the set at rest, where its heaters want 6.3 V" in text_of(at)
    assert "Heat in the copper of all windings" in text_of(at)
    assert any("Before any of these: unplug" in one.value for one in at.warning)
    at.radio(key="set_use_2").set_value("series")
    at.radio(key="set_use_3").set_value("regulator").run()
    typed(at, load_2="field coil", ohm_2="1150", load_3="VR150", regulated_v_3="700")
    assert "field coil, 1150 ohm in series: it drops" in text_of(at)
    assert "left to the set at worst" in text_of(at)
    assert "it has not that much before its resistor" in text_of(at)
    at.radio(key="set_use_3").set_value("lamp")
    typed(at, load_1="set", average_ma_1="5000", load_3="47")  # what was typed of the tube does not count
    assert "heaters of 6.3 V" in text_of(at)
    assert "cannot give that current" in text_of(at)
    typed(at, average_ma_1="0")
    assert "drawn at worst" in text_of(at)
    typed(at, load_1="<b>x</b>", average_ma_1="40", series_ohm="-5")
    assert "is outside the limits, 0 to 1000000 Ω" in text_of(at)


def test_without_a_unit_it_says_where_to_read_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settle(tmp_path, monkeypatch)
    at = opened(PAGE)
    assert "No unit stands there yet" in text_of(at)
