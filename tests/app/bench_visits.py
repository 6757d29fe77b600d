"""A bench session of the invented Alder Lane workshop, whose readings are the worked ones of the ratio test and V/R."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from streamlit.testing.v1 import AppTest

import calib
from calib.app.session_state import key
from tests.app.visits import fill, opened, unescaped

METERS_SAY = "calib/app/pages/what_do_the_meters_say.py"
# Voltages 4.97 and 13.88 V of a half on 117 V, 94.6 ohm of a half less 0.3 ohm of leads, at 20 °C: both halves alike.
SESSION: dict[str, dict[str, Any]] = {
    "look": {"tag": "AL-5", "contributor": "Alder Lane", "weight_kg": 1.55},
    "leads": {"primary": "1-2", "hv_ends": "3 and 5", "core_path": "no-continuity"},
    "insulation": {"between_1": "hv-core", "test_v_1": 1000.0, "megohm_1": 180.0, "temp_c_1": 14.0},
    "resistance": {
        "hv_half_1_ohm": 94.6,
        "hv_half_2_ohm": 94.6,
        "winding_temp_c": 20.0,
        "ohm_leads": "null-on",
        "null_ohm": 0.3,
    },
    "ratio": {
        "line_voltage_v": 117.0,
        "line_frequency_hz": 60.0,
        "excitation_v": 4.97,
        "hv_half_1_v": 13.88,
        "hv_half_2_v": 13.88,
    },
    "core": {"tongue": 28.6, "stack": 31.0},
    "wire": {"wire_by": "gauge", "wire": 31.0, "wire_unit": "AWG"},
}


def with_more(**steps: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The session with some entries changed; None takes one out."""
    made = {step: {**SESSION.get(step, {}), **steps.get(step, {})} for step in {**SESSION, **steps}}
    return {step: {name: value for name, value in fields.items() if value is not None} for step, fields in made.items()}


def visit() -> AppTest:
    """The page as a visitor finds it."""
    return opened(METERS_SAY)


def put_in(at: AppTest, step: str, **entries: Any) -> AppTest:
    """Enter values at the step that is shown, first all whose fields are there, then those that these bring in."""
    left = dict(entries)
    while left:
        there = {name for name in left if _is_there(at, key(step, name))} or {next(iter(left))}
        for name in there:
            fill(at, key(step, name), left.pop(name))
        at.run()
        assert not at.exception
    return at


def _is_there(at: AppTest, name: str) -> bool:
    try:
        at.get_by_key(name)
    except KeyError:
        return False
    return True


def press(at: AppTest, name: str) -> AppTest:
    """Press the button of that key."""
    at.button(key=name).click().run()
    assert not at.exception
    return at


def go(at: AppTest, step: str) -> AppTest:
    """Go to a step by the row of steps."""
    return press(at, f"bench_go_{step}")


def resumed(path: Path, step: str, entries: dict[str, Any] = SESSION) -> AppTest:
    """The page on a session that was kept with these entries."""
    with calib.Register(path) as register:
        look = entries.get("look", {})
        session = register.keep_session(look.get("tag", "AL-5"), entries, step, contributor=look.get("contributor", ""))
    return press(visit(), f"bench_on_{session.session_id}")


def in_order(block: Any) -> list[str]:
    """What the page says and asks, from top to bottom."""
    children = getattr(block, "children", None)
    if not children:
        said = getattr(block, "label", "") or getattr(block, "value", "")
        return [unescaped(str(said or getattr(getattr(block, "proto", None), "body", "")))]
    return [one for child in children.values() for one in in_order(child)]
