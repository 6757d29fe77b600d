"""A bench session is kept at every change and taken up again; nothing is lost, and two windows do not clash."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib.app import context as parts
from calib.app.session_state import key
from calib.session import fields as measured
from calib.session.protocol import NAMES
from tests.app.bench_visits import METERS_SAY, SESSION, go, press, put_in, resumed, visit, with_more
from tests.app.visits import HOME, settle, text_of, unescaped

HOLD = "import duckdb, sys; con = duckdb.connect(sys.argv[1]); print('held', flush=True); sys.stdin.read()"


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


@contextmanager
def held(path: Path) -> Iterator[None]:
    """The register's file held by another process for as long as the block lasts."""
    command = [sys.executable, "-c", HOLD, str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        yield
        other.communicate("")


@pytest.fixture
def impatient(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages wait for the register for a moment only, and ask for it at every turn."""

    @contextmanager
    def register() -> Iterator[calib.Register]:
        yield calib.Register(place, wait=0.05)

    monkeypatch.setattr(parts, "register", register)
    monkeypatch.setattr("calib.app.session_state.LEAVE_ALONE_S", 0.0)


def kept(path: Path, state: str = "") -> list[calib.BenchSession]:
    with calib.Register(path) as register:
        return [register.session(one) for one in register.sessions(state)["session_id"]]


def shown(at: AppTest, step: str, name: str) -> Any:
    return at.get_by_key(key(step, name)).value  # type: ignore[union-attr]


def test_looking_at_the_page_keeps_nothing(place: Path) -> None:
    at = visit()
    for step in NAMES:
        go(at, step)
    assert kept(place) == []


def test_what_was_entered_is_there_after_a_restart_whatever_kind_of_field_it_is(place: Path) -> None:
    """Every step's fields are gathered and shown by `gathered` and `as_shown`, see tests/session."""
    entered = {"look": {"tag": "AL-5", "weight_kg": 1.55, "decade": "1940-1959", "signs": ["damp"]}}
    entered |= {step: SESSION[step] for step in ("insulation", "resistance")}
    at = visit()
    for step, fields in entered.items():
        put_in(go(at, step), step, **fields)
    (session,) = kept(place)
    assert session.step == "resistance"
    again = press(visit(), f"bench_on_{session.session_id}")
    for step, fields in entered.items():
        go(again, step)
        there = {name: measured.shown(value) if isinstance(value, float) else value for name, value in fields.items()}
        assert {name: shown(again, step, name) for name in fields} == there


def test_a_session_of_before_is_taken_up_as_it_was_and_written_only_where_something_is_entered(place: Path) -> None:
    """Sessions used to keep numbers, and words for codes; what is typed now is kept as typed, comma and all."""
    tests = {"between_1": "Bias winding to core", "megohm_1": 300.0, "between_2": "High voltage to core"}
    with calib.Register(place) as register:
        entries = {"look": {"tag": "AL-5"}, "insulation": tests, "ratio": {"excitation_v": 4.97, "hv_v": 27.76}}
        session = register.keep_session("AL-5", entries, "ratio")
    at = press(visit(), f"bench_on_{session.session_id}").run()
    assert kept(place)[0].revision == session.revision
    assert shown(at, "ratio", "excitation_v") == "4.97"
    put_in(at, "ratio", hv_v="27,8 V")
    assert "Read as 27.8 V." in text_of(at)
    (now,) = kept(place)
    assert now.entries["ratio"] == {"excitation_v": 4.97, "hv_v": "27,8 V"}
    assert now.entries["insulation"] == tests | {"between_2": "hv-core"}
    again = press(visit(), f"bench_on_{now.session_id}")
    assert shown(again, "ratio", "hv_v") == "27,8 V"
    go(again, "insulation")
    there = (shown(again, "insulation", "between_1"), shown(again, "insulation", "between_2"))
    assert there == ("Bias winding to core", "hv-core")


def test_next_and_back_lose_nothing_the_same_again_writes_nothing_and_what_is_emptied_is_gone(place: Path) -> None:
    at = press(put_in(visit(), "look", tag="AL-5", weight_kg=1.5), "bench_next")
    put_in(at, "leads", primary="1-2")
    press(at, "bench_back")
    assert shown(at, "look", "tag") == "AL-5"
    press(at, "bench_next")
    assert shown(at, "leads", "primary") == "1-2"
    (session,) = kept(place)
    assert (session.tag, session.step, session.entries["leads"]["primary"]) == ("AL-5", "leads", "1-2")
    press(at, "bench_keep")
    at.run()
    assert kept(place) == [session]
    put_in(press(at, "bench_back"), "look", weight_kg=None)
    assert kept(place)[0].entries["look"] == {"tag": "AL-5"}


def test_a_window_that_forgets_its_fields_takes_nothing_out_of_the_session(place: Path) -> None:
    entered = {"tag": "AL-5", "marks": "none", "decade": "before-1940"}
    at = put_in(visit(), "look", **entered)
    for name in ("tag", "marks"):
        at.text_input(key=key("look", name)).set_value("")
    at.radio(key=key("look", "decade")).set_value("unknown")
    at.text_input(key=key("look", "from_what")).set_value("a radio")
    at.run()
    assert {name: shown(at, "look", name) for name in entered} == entered
    assert kept(place)[0].entries["look"] == entered | {"from_what": "a radio"}
    at.switch_page(HOME).run()  # nor does a look at another page
    at.switch_page(METERS_SAY).run()
    assert {name: shown(at, "look", name) for name in entered} == entered


def test_a_register_that_is_held_loses_nothing(place: Path, impatient: None) -> None:
    at = put_in(visit(), "look", tag="AL-5")
    with held(place):
        put_in(at, "look", colours="red, red/yellow, red")
        assert "Not kept yet" in unescaped(text_of(at))
        assert "What you entered stays on this page" in unescaped(text_of(at))
        press(at, "bench_next")
        put_in(at, "leads", primary="1-2")
        press(at, "bench_back")
        assert shown(at, "look", "colours") == "red, red/yellow, red"
    press(at, "bench_again")
    assert "Not kept yet" not in unescaped(text_of(at))
    (session,) = kept(place)
    assert session.entries["look"]["colours"] == "red, red/yellow, red"
    assert session.entries["leads"]["primary"] == "1-2"


def test_a_register_that_is_held_from_the_first_leaves_the_form_usable(place: Path, impatient: None) -> None:
    with calib.Register(place), held(place):
        at = put_in(visit(), "look", tag="AL-5")
        assert "Not kept yet" in unescaped(text_of(at))
        assert "It estimates and does not certify" in text_of(at)
    press(at, "bench_again")
    assert kept(place)[0].tag == "AL-5"


def test_two_windows_on_one_session_take_over_each_others_entries(place: Path) -> None:
    first = put_in(visit(), "look", tag="AL-5")
    (session,) = kept(place)
    second = press(visit(), f"bench_on_{session.session_id}")
    put_in(first, "look", from_what="a radio")
    put_in(second, "look", marks="none")
    assert shown(second, "look", "from_what") == "a radio"
    first.run()
    assert shown(first, "look", "marks") == "none"
    assert kept(place)[0].entries["look"] == {"tag": "AL-5", "from_what": "a radio", "marks": "none"}


def test_lead_pairs_that_another_page_keeps_are_told_at_the_leads(place: Path) -> None:
    at = put_in(visit(), "look", tag="AL-5")
    (session,) = kept(place)
    readings = [["C", "D", "148.2"], ["D", "E", "171.9"], ["C", "E", "320.4"]]
    with calib.Register(place) as register:
        entries = {**session.entries, "leads": {"names": ["C", "D", "E"], "readings": readings}}
        register.keep_session("AL-5", entries, "look", session_id=session.session_id)
    go(at, "leads")
    assert "C–D–E: high voltage (centre-tapped)" in text_of(at)
    put_in(at, "leads", primary="1-2")
    assert kept(place)[0].entries["leads"] == {"names": ["C", "D", "E"], "readings": readings, "primary": "1-2"}


def test_several_sessions_stand_side_by_side_and_a_finished_one_can_be_opened_again(place: Path) -> None:
    at = put_in(visit(), "look", tag="AL-5")
    press(at, "bench_another")
    assert shown(at, "look", "tag") == ""
    put_in(at, "look", tag="AL-6")
    go(at, "sum")
    press(at, "bench_finish")
    assert "AL-6: this session is finished" in unescaped(text_of(at))
    (done,) = kept(place, "done")
    assert [one.tag for one in kept(place, "open")] == ["AL-5"]
    press(at, f"bench_on_{done.session_id}")
    go(at, "look")
    put_in(at, "look", marks="none")
    assert {one.tag for one in kept(place, "open")} == {"AL-5", "AL-6"}


def test_a_unit_that_changes_as_another_session_is_opened_stops_nothing(place: Path) -> None:
    """What a slow browser sends: a field of the session that it still shows, with the click that left it."""
    at = press(put_in(visit(), "look", tag="AL-5"), "bench_another")
    (session,) = kept(place)
    at.radio(key="bench_in_look_weight_kg_unit").set_value("lb")
    assert shown(press(at, f"bench_on_{session.session_id}"), "look", "tag") == "AL-5"


def test_each_register_has_its_own_session(place: Path) -> None:
    at = put_in(visit(), "look", tag="AL-5")
    at.radio(key=parts.CHOICE).set_value(parts.PRACTICE).run()
    assert shown(at, "look", "tag") == ""
    press(at, "bench_practise")
    assert shown(at, "look", "tag") == "AL-5"
    assert "practice" in text_of(at)
    at.radio(key=parts.CHOICE).set_value(parts.OWN).run()
    put_in(at, "look", marks="none")
    (mine,) = kept(place)
    assert mine.entries == {"look": {"tag": "AL-5", "marks": "none"}}
    (practice,) = kept(place.with_name("practice.duckdb"))
    assert practice.entries["look"]["simulated"] is True


def test_a_tag_that_cannot_be_kept_is_said_and_stays(place: Path) -> None:
    at = put_in(visit(), "look", tag="nan")
    assert "Not kept yet" in unescaped(text_of(at))
    assert shown(at, "look", "tag") == "nan"
    put_in(at, "look", tag="AL-5")
    assert "Not kept yet" not in unescaped(text_of(at))
    assert kept(place)[0].tag == "AL-5"


def test_a_likely_slip_is_put_right_at_its_step_by_a_click_on_the_result_and_undone(place: Path) -> None:
    """0.23 mm of wire that stands as a gauge; the session in the register holds the repaired reading."""
    at = resumed(place, "sum", with_more(wire={"wire": 0.23}))
    assert "No current is told" in text_of(at)
    press(at, "repair")
    assert "The wire is now 0.23 mm, instead of AWG 0.23" in unescaped(text_of(at))
    with calib.Register(place) as register:
        kept = register.session(str(register.sessions()["session_id"].iloc[0])).entries["wire"]
    assert (str(kept["wire"]), kept["wire_unit"]) == ("0.23", "mm")
    press(at, "repair_undo")
    assert "No current is told" in text_of(at)
