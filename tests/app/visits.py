"""Visits to the pages without a browser: a register of the test's own, and ways to look and to type."""

from __future__ import annotations

import html
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from streamlit import config, session_state
from streamlit.components.v2.component_manager import BidiComponentManager
from streamlit.elements.widgets import radio, selectbox, text_widgets
from streamlit.runtime.scriptrunner.script_cache import ScriptCache
from streamlit.testing.v1 import AppTest, app_test, local_script_runner
from streamlit.testing.v1.element_tree import TextInput

from calib.session.fields import shown

ROOT = Path(__file__).resolve().parents[2]
HOME = "calib/app/pages/what_can_it_give.py"
KNOWN, SIZE = "calib/app/pages/known_units.py", "calib/app/pages/multiplier_by_size.py"
TRUST = "calib/app/pages/how_far_to_trust_it.py"
READINGS = {"excitation_v": 4.97, "volts_read": 27.76, "ohms_read": 188.6}
READINGS |= {"line_voltage_v": 117.0, "line_frequency_hz": 60.0}
UNIT = {
    "unit": "AL-7",
    "contributor": "Alder Lane",
    "evidence": "nameplate",
    "rectifier": "full-wave",
    "filter": "capacitor",
    "centre_tapped": "true",
    "rated_current_ma": 90.0,
    "line_voltage_v": 117.0,
    "line_frequency_hz": 60.0,
    "excitation_v": 4.97,
    "hv_v": 27.76,
    "hv_resistance_ohm": 188.6,
    "winding_temp_c": 20.0,
}


def settle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own, and errors shown in full."""
    path = tmp_path / "own.duckdb"
    monkeypatch.setenv("CALIB_REGISTER", str(path))
    monkeypatch.delenv("CALIB_PRACTICE", raising=False)
    config.set_option("client.showErrorDetails", "full")
    for name in ("runner.magicEnabled", "runner.postScriptGC"):  # as ``calib page`` has them
        config.set_option(name, False)
    config.set_option("browser.gatherUsageStats", False)  # the same; and each element would else be counted
    return path


def _ended(runner: Any, timeout: float = 60.0) -> None:
    """Wait for a run's end; the library's own way asks a thousand times a second, at the cost of what it waits for."""
    runner._script_thread.join(timeout)
    assert runner.script_stopped(), f"a run of the page took longer than {timeout} s"


local_script_runner.require_widgets_deltas = _ended
CODE = ScriptCache()  # the scripts of the pages, compiled once and not at each run
local_script_runner.ScriptCache = app_test.ScriptCache = lambda: CODE
# A field asks whether its own value is None of a dictionary of all that the page holds, made anew for each field.
ASKED = SimpleNamespace(filtered_state=session_state)
for module in (radio, selectbox, text_widgets):
    module.get_session_state = lambda: ASKED  # type: ignore[attr-defined]
COMPONENTS = BidiComponentManager()  # none: else every visit would look through all that is installed for some


def opened(page: str = "", **address: str | list[str]) -> AppTest:
    """A visit that begins on the home page with these parameters in its address, and goes on to another page."""
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    at._bidi_component_manager = COMPONENTS
    for name, value in address.items():
        at.query_params[name] = value
    at.run()
    if page:
        at.switch_page(page).run()
    assert not at.exception
    return at


def text_of(at: AppTest) -> str:
    """Everything that a page says, whatever kind of element says it."""
    kinds = ("title", "header", "subheader", "markdown", "text", "error", "warning", "success", "info")
    said = [str(one.value) for kind in kinds for one in getattr(at, kind)]
    return "\n".join([*said, *(str(one.proto.body) for one in at.get("html"))])


def counted_in(at: AppTest) -> dict[str, str]:
    """What an answer was made from, by where it came from."""
    listed = re.findall("<dt>(.*?)</dt><dd>(.*?)</dd>", text_of(at))
    return {html.unescape(origin): html.unescape(said) for origin, said in listed}


def unescaped(said: str) -> str:
    """What a reader sees of text that went through `calib.words.plain`."""
    return said.replace("\\", "").replace("\u2060", "")


def fill(at: AppTest, key: str, value: Any) -> None:
    """Put a value into a field of any kind; a number as one types it, None empties."""
    field = at.get_by_key(key)
    is_text = isinstance(field, TextInput) and not isinstance(value, str)
    field.set_value(shown(value) if is_text else value)  # type: ignore[union-attr]


def number(at: AppTest, key: str) -> float | None:
    """The plain number that a field shows; None where it is empty."""
    text = at.text_input(key=key).value
    return float(text) if text else None


def enter(at: AppTest, **values: Any) -> AppTest:
    for name, value in values.items():
        fill(at, f"read_{name}", value)
    at.run()
    assert not at.exception
    return at
