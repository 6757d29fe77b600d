"""The user's own meters and sessions in the register: the latest counts, every keeping is kept, nothing is lost."""

from __future__ import annotations

import json
import signal
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from calib.bench import MeterClass
from calib.errors import InputError, RegisterError
from calib.register.bench_book import COLUMNS, LIMIT, Meter, as_json, meter_fields
from calib.register.register import Register
from tests.counts import share
from tests.warm import ran

# An ordinary voltmeter and ohmmeter.
BLUE = {"name": "Blue", "reads": "volt", "range_label": "20 V", "percent": 1.0, "counts": 3, "resolution": 0.01}
OHMS = {"name": "Blue", "reads": "ohm", "percent": "0.8", "counts": "2", "resolution": "0.1"}


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return Register(tmp_path / "club.duckdb")


def test_a_kept_meter_is_there_and_survives_a_restart(register: Register) -> None:
    before = datetime.now(UTC)
    assert register.keep_meter(Meter.parse(BLUE))
    (row,) = Register(register.path).meters().to_dict("records")
    assert {name: row[name] for name in COLUMNS} == BLUE
    assert row["revision"] == 1
    assert before <= row["kept_at"] <= datetime.now(UTC)


def test_a_meter_as_typed_is_a_meter_class() -> None:
    meter = Meter.parse(OHMS)
    assert meter.accuracy == MeterClass(percent=0.8, counts=2.0, resolution=0.1)
    assert (meter.label, Meter.parse(BLUE).label) == ("Blue", "Blue, 20 V")


def test_the_same_again_writes_nothing_and_other_figures_are_a_later_revision(register: Register) -> None:
    register.keep_meter(Meter.parse(BLUE))
    assert not register.keep_meter(Meter.parse(BLUE))
    assert register.keep_meter(Meter.parse({**BLUE, "percent": 0.5}))
    assert register.meters()[["percent", "revision"]].values.tolist() == [[0.5, 2]]
    history = register.meter_revisions()
    assert history["percent"].tolist() == [1.0, 0.5]
    assert history["meter_id"].nunique() == 1


def test_one_meter_has_many_ranges_and_quantities_the_finest_first(register: Register) -> None:
    for changed in ({"range_label": "200 V", "resolution": 0.1}, {}, {"range_label": "6 V", "resolution": 0.001}):
        register.keep_meter(Meter.parse({**BLUE, **changed}))
    register.keep_meter(Meter.parse(OHMS))
    table = register.meters()
    assert table["reads"].tolist() == ["ohm", "volt", "volt", "volt"]
    assert table["range_label"].tolist() == ["", "6 V", "20 V", "200 V"]


def test_a_dropped_meter_is_off_the_list_keeps_its_history_and_can_come_back(register: Register) -> None:
    register.keep_meter(Meter.parse(BLUE))
    register.keep_meter(Meter.parse(OHMS))
    register.drop_meter("Blue", "volt", "20 V")
    assert register.meters()["reads"].tolist() == ["ohm"]
    with pytest.raises(InputError, match=r"name 'Blue': the register has no such meter for volts, range '20 V'"):
        register.drop_meter("Blue", "volt", "20 V")
    assert register.keep_meter(Meter.parse(BLUE))
    history = register.meter_revisions()
    assert history[history["reads"] == "volt"]["action"].tolist() == ["keep", "drop", "keep"]
    assert len(register.meters()) == 2


def test_names_that_run_into_one_another_are_two_meters(register: Register) -> None:
    for name, label in (("A", "B"), ("AB", "")):
        register.keep_meter(Meter.parse({**BLUE, "name": name, "range_label": label}))
    assert len(register.meters()) == 2


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"name": " "}, r"name \(empty\): is needed; fill it in: what you call it"),
        ({"reads": "watt"}, r"reads 'watt': is not one of the choices; write one of: volt, ohm"),
        ({"percent": "1 %"}, r"percent '1 %': is not a number"),
        ({"percent": 80}, r"percent '80': is outside the limits, 0 to 50 %"),
        ({"counts": -1}, r"counts '-1': is outside the limits, 0 to 1000;"),
        ({"resolution": 0}, r"resolution '0': is outside the limits, above 0 to 1000 V or ohm"),
        ({"percent": 0, "counts": 0}, r"counts '0': no meter is without error"),
        ({"range_label": "20\nV"}, r"range_label .*: runs over more than one line"),
        ({"colour": "blue"}, r"colour 'blue': is not a column of this table"),
    ],
)
def test_what_no_meter_can_be_is_refused_with_its_limit(changed: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        Meter.parse({**BLUE, **changed}, where="the form")


def test_every_fault_of_a_meter_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        Meter.parse({"reads": "ohm", "percent": "x", "counts": 2})
    assert [fault.column for fault in caught.value.faults] == ["name", "percent", "resolution"]


def test_the_facts_of_a_meter_carry_limits_and_a_usual_range() -> None:
    facts = {each.name: each for each in meter_fields()}
    assert tuple(facts) == COLUMNS
    for name in ("percent", "counts", "resolution"):
        each = facts[name]
        assert each.low is not None
        assert each.high is not None
        assert each.usual is not None
        assert each.low <= each.usual[0] < each.usual[1] <= each.high


def test_a_backup_holds_the_meters(register: Register, tmp_path: Path) -> None:
    register.keep_meter(Meter.parse(BLUE))
    copy = Register(register.backup(tmp_path / "copy.duckdb"), create=False)
    assert copy.meters().equals(register.meters())
    assert copy.keep_meter(Meter.parse(OHMS))


def test_a_register_that_is_gone_is_said(register: Register) -> None:
    register.path.unlink()
    with pytest.raises(RegisterError, match="there is no such register"):
        register.keep_meter(Meter.parse(BLUE))


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
        ({"step": "\x07"}, "step .*: has the character U\\+0007 .a control character., which cannot be printed"),
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


@settings(max_examples=share(40, 200), deadline=None)
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
