"""The unloaded run of a bench session: held against what the core leads one to expect."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from calib import bench
from calib.app.session_forms import waits_after
from calib.session.interpret import interpret
from calib.session.protocol import BY_NAME
from tests.app.bench_visits import in_order, press, put_in, resumed, with_more
from tests.app.visits import fill, settle, text_of


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


IDLE = {"idle_v": 117.0, "idle_ma": 90.0, "idle_w": 5.0, "idle_rise": 6.0}


@pytest.mark.parametrize(
    ("more", "what", "severity", "why"),
    [
        ({}, None, "", ""),
        ({"idle_ma": 400.0}, "Draws much without load", "doubt", "of full load, limit 35%"),
        ({"idle_w": 14.0}, "Draws much without load", "doubt", "times the iron's usual loss, limit 2"),
        ({"idle_ma": 400.0, "idle_low_v": 99.0, "idle_low_ma": 240.0}, "Iron worked at its knee", "doubt", "power 3.1"),
        ({"idle_ma": 400.0, "idle_low_v": 99.0, "idle_low_ma": 340.0}, "Shorted turn suspected", "doubt", "power 1.0"),
        ({"idle_rise": 25.0}, "Shorted turn suspected", "stop", "25 K warmer after half an hour unloaded"),
        ({"lamp": "lamp-bright"}, "Shorted turn suspected", "stop", "a lamp in series stays bright"),
        ({"alarms": ["smell", "buzz"]}, "Shorted turn suspected", "stop", "smell; buzz"),
        ({"bond_ohm": 2.3, "bond_lead_ohm": 0.2}, "Earth bond", "stop", "2.1 Ω from protective earth"),
    ],
)
def test_an_unloaded_run_doubts_and_stops_for_what_it_must(
    more: dict[str, Any], what: str | None, severity: str, why: str
) -> None:
    session = interpret(with_more(idle={**IDLE, **more}))
    assert [(one.what, one.severity) for one in session.steps["idle"].findings] == (
        [] if what is None else [(what, severity)]
    )
    assert why in session.standing["doubts" if severity == "doubt" else "stop"]
    assert (bench.PASS_PROVES_LITTLE in lines(session)) == (what in (None, "Earth bond"))  # what it draws has passed


@pytest.mark.parametrize(
    ("bond", "bonded"),
    [
        ({}, False),
        ({"bond_ohm": 0.3, "bond_lead_ohm": 0.2}, True),
        ({"bond_ohm": 0.08}, True),
        ({"bond_ohm": 0.3}, False),  # the lead's own is not known, so that all of it counts
        ({"bond_ohm": 0.1, "bond_lead_ohm": 0.5}, False),
        ({"bond_ohm": 300.0}, False),
        ({"bond_ohm": 5.05, "bond_lead_ohm": 5.0}, False),  # no earth lead reads so much
    ],
)
def test_core_and_frame_are_bonded_by_a_reading_of_it_less_the_leads_own(bond: dict[str, float], bonded: bool) -> None:
    session = interpret(with_more(idle=bond))
    assert session.steps["idle"].known["bonded"] == bonded
    part = next(part for part in BY_NAME["idle"].parts if part.fields[0].name == "bond_ohm")
    assert (waits_after(part, session) == "") == bonded


def test_no_mains_before_core_and_frame_are_bonded_to_earth(place: Path) -> None:
    at = resumed(place, "idle", with_more(idle={"bond_ohm": 0.3}))
    for bonded in (False, True):
        assert ("Exciting current" in in_order(at.main)) == bonded
        assert ("waits until core and frame read at most 0.1 Ω" in text_of(at)) != bonded
        assert "Earth pin of the plug to core and frame" in in_order(at.main)
        assert ("✓ done" in at.button(key="bench_go_idle").label) == bonded
        put_in(at, "idle", bond_lead_ohm=0.25)


def test_a_bright_lamp_or_smoke_holds_the_readings_until_it_is_cleared(place: Path) -> None:
    at = resumed(place, "idle", with_more(idle={"bond_ohm": 0.05, "idle_ma": 90.0, "alarms": ["smoke"]}))
    assert interpret(with_more(idle={"lamp": "lamp-bright"})).steps["idle"].known["alarm"]
    assert "Exciting current" not in in_order(at.main)
    assert "Switch off at once: what follows waits until that is explained" in text_of(at)
    fill(at, "bench_reason", "A dial lamp was still on its heater")
    press(at, "bench_clear")
    assert "Exciting current" in in_order(at.main)
    assert at.get_by_key("bench_in_idle_idle_ma").value == "90"  # type: ignore[union-attr]


def test_no_mains_before_an_insulation_test(place: Path) -> None:
    at = resumed(place, "idle", with_more(idle={"bond_ohm": 0.05}, insulation={"megohm_1": None}))
    assert "Exciting current" not in in_order(at.main)
    assert "waits until an insulation test is noted" in text_of(at)


def test_an_unloaded_run_is_held_against_the_core() -> None:
    """28.6 by 31 mm: 8.866 by 6.135 cm2, 60 Hz, 1.2 T, 4.0 A/mm2 sqrt(25.4/28.6), fill 0.195, k 0.95: 60.75 VA at 117 V
    are 519 mA; 1.106 kg at 3.0 W/kg and (1.2 T)2 lose 4.78 W."""
    told = lines(interpret(with_more(idle=IDLE)))
    assert "Full load by the core: about 519 mA; exciting current 17% of it." in told
    assert "Iron's usual loss: about 4.8 W; it draws 5.00 W." in told


def test_an_unloaded_run_without_a_core_says_what_is_missing() -> None:
    session = interpret(with_more(idle=IDLE, core={"tongue": None, "stack": None}))
    assert "nothing to hold current and watts against" in lines(session)
    assert session.findings == []


def lines(session) -> str:
    return "\n".join(session.steps["idle"].lines)
