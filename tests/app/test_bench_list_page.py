"""The page of what is on the bench: a unit with its state and current, and the way to its session."""

from __future__ import annotations

from pathlib import Path

import pytest

import calib
from calib.app import session_state
from tests.app.visits import opened, settle, text_of

PAGE = "calib/app/pages/what_is_on_the_bench.py"
RATIO = {"line_voltage_v": 117, "line_frequency_hz": 60, "excitation_v": 4.97, "hv_v": 27.76}
READ = {"ratio": RATIO, "resistance": {"hv_ohm": 188.6, "winding_temp_c": 20}}


def test_a_unit_shows_its_state_and_leads_to_its_session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = settle(tmp_path, monkeypatch)
    assert "Nothing is on the bench" in text_of(opened(PAGE))
    with calib.Register(path) as register:
        register.keep_session("AL <b>7", READ, "ratio", contributor="Alder Lane")
        stopped = READ | {"leads": {"core_path": "continuity", "core_ohm": 3.0}}
        kept = register.keep_session("AL-8", stopped, "ratio", contributor="Alder Lane")
    at = opened(PAGE)
    told = text_of(at)
    assert "AL &lt;b&gt;7" in told
    assert "likely" in told
    assert "Stop, feed it nothing" in told
    at.button(key=f"bench_open_{kept.session_id}").click().run()
    assert at.session_state[session_state.ID] == kept.session_id
