"""Sessions at the bench in the register: taken up where they were left, every keeping of one a revision."""

from __future__ import annotations

import json
import signal
import threading
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from calib.errors import InputError
from calib.register.bench_book import LIMIT, as_json
from calib.register.register import Register
from tests.warm import ran

RATIO: dict[str, Any] = {"ratio": {"excitation_v": 4.97, "hv_v": 13.88, "half": True, "note": "Ω, °C", "none": None}}
# Keeps a session and is killed amid its second keeping, after the row is written and before it is committed.
KILLED = """
import os, signal, sys
from calib.register import bench_book
from calib.register.register import Register
register = Register(sys.argv[1])
first = register.keep_session("AL-7", {"ratio": {"excitation_v": 4.97}}, "ratio")
print(first.session_id, flush=True)
def die(*words):
    os.kill(os.getpid(), signal.SIGKILL)
bench_book.standing_session = die
register.keep_session("AL-7", {"ratio": {"excitation_v": 5.02}}, "ohms", session_id=first.session_id)
"""


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return Register(tmp_path / "club.duckdb")


def test_a_session_is_taken_up_where_it_was_left(register: Register) -> None:
    begun = register.keep_session("AL-7", RATIO, "ratio", contributor="Alder Lane")
    found = Register(register.path).session(begun.session_id)
    assert found == begun
    assert (found.tag, found.contributor, found.step, found.state) == ("AL-7", "Alder Lane", "ratio", "open")
    assert found.entries == RATIO
    assert (found.revision, found.started_at) == (1, found.kept_at)


def test_the_same_again_writes_nothing_and_a_change_is_a_later_revision(register: Register) -> None:
    begun = register.keep_session("AL-7", RATIO, "ratio")
    assert register.keep_session("AL-7", dict(RATIO), "ratio", session_id=begun.session_id) == begun
    ohms = {**RATIO, "ohms": {"read": 94.6}}
    later = register.keep_session("AL-7", ohms, "ohms", session_id=begun.session_id)
    assert (later.session_id, later.revision, later.step) == (begun.session_id, 2, "ohms")
    assert later.started_at == begun.started_at <= later.kept_at
    history = register.session_revisions(begun.session_id)
    assert [json.loads(text) for text in history["entries"]] == [RATIO, ohms]
    assert history["step"].tolist() == ["ratio", "ohms"]


def test_sessions_are_listed_the_one_kept_last_first_and_by_state(register: Register) -> None:
    first, second = (register.keep_session(tag, RATIO, "ratio") for tag in ("AL-7", "AL-8"))
    assert register.sessions()["tag"].tolist() == ["AL-8", "AL-7"]
    register.keep_session("AL-7", RATIO, "ratio", state="done", session_id=first.session_id)
    table = register.sessions()
    assert table[["tag", "state", "revision"]].values.tolist() == [["AL-7", "done", 2], ["AL-8", "open", 1]]
    assert str(table["kept_at"].dt.tz) == "UTC"
    assert register.sessions("open")["session_id"].tolist() == [second.session_id]
    register.keep_session("AL-7", RATIO, "ratio", session_id=first.session_id)
    assert len(register.sessions("open")) == 2


def test_two_sessions_of_one_unit_are_two(register: Register) -> None:
    first, second = (register.keep_session("AL-7", RATIO, "ratio") for _ in range(2))
    assert first.session_id != second.session_id
    assert len(register.sessions()) == 2


def test_no_session_yet_is_an_empty_table(register: Register) -> None:
    assert list(register.sessions().columns)[:3] == ["session_id", "tag", "contributor"]
    assert len(register.sessions()) == len(register.session_revisions("none")) == 0


@pytest.mark.parametrize("attempt", ["look", "keep"])
def test_a_session_that_is_not_there_is_said(register: Register, attempt: str) -> None:
    with pytest.raises(InputError, match="session_id 'none': the register has no such session"):
        register.session("none") if attempt == "look" else register.keep_session("A", {}, "ratio", session_id="none")
    assert len(register.sessions()) == 0


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"state": "shut"}, "state 'shut': is no state of a session; write one of: open, done"),
        ({"tag": "two\nlines"}, "tag .*: runs over more than one line"),
        ({"step": "\x07"}, "step .*: has characters that cannot be printed"),
        ({"entries": {"ratio": float("nan")}}, "entries .*: cannot be kept as JSON"),
        ({"entries": {"ratio": {1, 2}}}, "entries .*: cannot be kept as JSON"),
        ({"entries": {"notes": "x" * LIMIT}}, "a session may have 262,144; keep long tables as files"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_written(
    register: Register, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(InputError, match=said):
        register.keep_session(**{"tag": "AL-7", "entries": RATIO, "step": "ratio", **changed})
    assert len(register.sessions()) == 0


def test_entries_as_long_as_the_limit_are_kept(register: Register) -> None:
    text = "x" * (LIMIT - len(as_json({"notes": ""})))
    begun = register.keep_session("AL-7", {"notes": text}, "ratio")
    assert register.session(begun.session_id).entries == {"notes": text}


@settings(max_examples=200, deadline=None)
@given(
    st.dictionaries(
        st.text(max_size=8),
        st.recursive(
            st.none()
            | st.booleans()
            | st.integers(-(2**53), 2**53)
            | st.floats(allow_nan=False, allow_infinity=False)
            | st.text(st.characters(blacklist_categories=["Cs"]), max_size=12),
            lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
            max_leaves=8,
        ),
        max_size=4,
    )
)
def test_entries_read_back_as_they_were(entries: dict[str, Any]) -> None:
    assert json.loads(as_json(entries)) == entries


def test_what_was_entered_is_left_as_it_was(register: Register) -> None:
    before = json.loads(json.dumps(RATIO))
    register.keep_session("AL-7", RATIO, "ratio")
    assert before == RATIO


def test_killed_amid_a_keeping_the_session_is_as_it_was_before(tmp_path: Path) -> None:
    path = tmp_path / "club.duckdb"
    done = ran(KILLED, str(path))
    assert done.returncode == -signal.SIGKILL, done.stderr
    register = Register(path)
    (row,) = register.sessions().to_dict("records")
    assert register.session(row["session_id"]).entries == {"ratio": {"excitation_v": 4.97}}


def test_two_windows_on_one_session_lose_neither(register: Register) -> None:
    begun = register.keep_session("AL-7", {}, "ratio")
    errors: list[Exception] = []

    def work(name: str) -> None:
        try:
            for number in range(4):
                register.keep_session("AL-7", {name: number}, "ratio", session_id=begun.session_id)
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=work, args=(name,)) for name in ("one", "two")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    history = register.session_revisions(begun.session_id)
    assert history["revision"].tolist() == list(range(1, 10))
    assert set(history["entries"]) >= {f'{{"{name}": {n}}}' for name in ("one", "two") for n in range(4)}


def test_a_backup_holds_the_sessions(register: Register, tmp_path: Path) -> None:
    begun = register.keep_session("AL-7", RATIO, "ratio")
    copy = Register(register.backup(tmp_path / "copy.duckdb"), create=False)
    assert copy.session(begun.session_id) == begun
    assert copy.sessions().equals(register.sessions())
