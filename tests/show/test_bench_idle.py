"""The unloaded run of a bench session: held against what the core leads one to expect."""

from __future__ import annotations

import pytest

from calib.show.session.understood import understood
from tests.show.bench_visits import with_more

IDLE = {"idle_v": 117.0, "idle_ma": 90.0, "idle_w": 5.0, "idle_rise": 6.0}


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({}, None),
        ({"idle_ma": 400.0}, "of full load, limit 35%"),
        ({"idle_w": 14.0}, "times the iron's usual loss, limit 2"),
        ({"idle_rise": 40.0}, "40 K warmer after half an hour unloaded, limit 25 K"),
    ],
)
def test_an_unloaded_run_shows_a_shorted_turn(more: dict[str, float], why: str | None) -> None:
    session = understood(with_more(idle={**IDLE, **more}))
    found = session.steps["idle"].findings
    assert [one.what for one in found] == ([] if why is None else ["Shorted turn suspected"])
    assert why is None or why in found[0].why


def test_an_unloaded_run_is_held_against_the_core() -> None:
    """28.6 by 31 mm: 8.866 by 6.135 cm2, 60 Hz, 1.2 T, 4.0 A/mm2 sqrt(25.4/28.6), fill 0.195, k 0.95: 60.75 VA at 117 V
    are 519 mA; 1.106 kg at 3.0 W/kg and (1.2 T)2 lose 4.78 W."""
    told = lines(understood(with_more(idle=IDLE)))
    assert "Full load by the core: about 519 mA; exciting current 17% of it." in told
    assert "Iron's usual loss: about 4.8 W; it draws 5.00 W." in told


def test_an_unloaded_run_without_a_core_says_what_is_missing() -> None:
    session = understood(with_more(idle=IDLE, core={"tongue": None, "stack": None}))
    assert "nothing to hold current and watts against" in lines(session)
    assert session.findings == []


def lines(session) -> str:
    return "\n".join(session.steps["idle"].lines)
