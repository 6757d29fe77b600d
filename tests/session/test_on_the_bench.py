"""What is on the bench: each state, the order in which they count, what is next, one unit a session's tag and bench."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import calib
from calib.session import BenchUnit, on_the_bench
from tests.fitting.making import practice_fit, practice_known

RATIO = {"line_voltage_v": 117, "line_frequency_hz": 60, "excitation_v": 4.97, "hv_v": 27.76}
READ: dict[str, Any] = {"ratio": RATIO, "resistance": {"hv_ohm": 188.6, "winding_temp_c": 20}}
SPOILT = {"ratio": RATIO, "resistance": {"hv_ohm": 188600, "winding_temp_c": 20}}
STOPPED = READ | {"leads": {"core_path": "continuity", "core_ohm": 3.0}}


@pytest.fixture
def register(tmp_path: Path) -> Iterator[calib.Register]:
    with calib.Register(tmp_path / "bench.duckdb") as opened:
        yield opened


def unit_of(register: calib.Register, entries: dict[str, Any], tag: str = "QB 7") -> BenchUnit:
    register.keep_session(tag, entries, "ratio", contributor="Quarry Bank")
    return next(iter(on_the_bench(register, practice_fit())))


def test_an_empty_bench_says_so(register: calib.Register) -> None:
    found = on_the_bench(register)
    assert not len(found)
    assert str(found).startswith("Nothing is on the bench")
    assert list(found.table().columns)[0] == "unit"


@pytest.mark.parametrize(
    ("entries", "state", "says"),
    [
        ({"ratio": RATIO}, "met", "still to be read: ohms read on the high-voltage winding"),
        ({"ratio": RATIO | {"excitation_v": "4,97x"}}, "met", "mend in its session: volts fed in"),
        (READ, "measured", "hold it against what the set draws"),
        (SPOILT, "doubtful", "its readings do not go together"),
    ],
)
def test_a_unit_has_the_first_state_that_holds_and_what_is_next(
    register: calib.Register, entries: dict[str, Any], state: str, says: str
) -> None:
    found = unit_of(register, entries)
    assert found.state == state
    assert says in found.next
    assert (found.low_ma > 0) == (state == "measured")


def test_a_stop_counts_before_all_else_and_is_told(register: calib.Register) -> None:
    row = {name: value for name, value in practice_known().iloc[0].to_dict().items() if name != "simulated"}
    register.add(calib.KnownUnit.parse(row | {"unit": "QB 7", "contributor": "Quarry Bank"}))
    found = unit_of(register, STOPPED)
    assert found.state == "stopped"
    assert "core" in found.why
    assert found.why in found.next


def test_a_unit_whose_record_counts_is_known(register: calib.Register) -> None:
    assert unit_of(register, READ).state == "measured"
    row = {name: value for name, value in practice_known().iloc[0].to_dict().items() if name != "simulated"}
    register.add(calib.KnownUnit.parse(row | {"unit": "QB 7", "contributor": "Quarry Bank"}))
    assert next(iter(on_the_bench(register, practice_fit()))).state == "known"


def test_of_several_sessions_with_a_unit_the_last_counts_and_names_are_unique(register: calib.Register) -> None:
    register.keep_session("QB 7", {"ratio": RATIO}, "ratio", contributor="Quarry Bank")
    register.keep_session("QB 7", READ, "ratio", contributor="Tin Street")
    register.keep_session("", READ, "ratio")
    register.keep_session("", {"ratio": RATIO}, "ratio")
    found = on_the_bench(register, practice_fit())
    register.keep_session("QB 7", READ, "ratio", contributor="Quarry Bank")
    again = on_the_bench(register, practice_fit())
    assert len(found) == len(again) == len({one.unit for one in again}) == 4
    assert {"QB 7 (Quarry Bank)", "QB 7 (Tin Street)"} < {one.unit for one in again}
    assert [one.state for one in again if one.contributor == "Quarry Bank"] == ["measured"]
