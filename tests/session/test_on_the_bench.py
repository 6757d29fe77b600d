"""What is on the bench: each state, the order in which they count, what is next, one unit a session's tag and bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

import calib
from calib import words
from calib.paper.blocks import asked_again
from calib.session import BenchUnit, kept_demand, kept_estimate, kept_heat_run, on_the_bench, unit_on_the_bench
from calib.session.interpret import stops_on_the_bench
from calib.session.on_the_bench import STATES
from calib.session.protocol import practice_entries
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


UNIT = {"unit": "?", "rectifier": "full-wave", "filter": "choke", "line_voltage_v": 117, "line_frequency_hz": 60}
UNIT |= {"centre_tapped": True, "excitation_v": 4.97, "hv_v": 27.76, "hv_resistance_ohm": 188.6, "winding_temp_c": 20}
QUARRY = {"contributor": "Quarry Bank"}


def by_tag(register: calib.Register, model: calib.Multiplier | None = None) -> dict[str, BenchUnit]:
    return {one.tag: one for one in on_the_bench(register, model or practice_fit())}


def demanded(ma: float, windings: Sequence[calib.HeaterReading] = (), **more: Any) -> calib.BenchEntry:
    """A demand of so much, answered by the fit of the practice register."""
    record = calib.UnknownUnit.parse({**UNIT, "filter": "capacitor"} | more)
    line_up, supply = calib.load_rows([{"load": "set", "average_ma": str(ma)}]), calib.SetSupply(capacitance_uf=8.0)
    found = calib.demand_of(practice_fit(), record, line_up, supply, windings={"": windings})[0]
    return calib.BenchEntry(readings=record, demand=kept_demand(practice_fit(), found, line_up, supply, windings))


WINDINGS = (calib.HeaterReading.two_wire("valves", 6.9, 0.35, 0.3), calib.HeaterReading("rectifier", 5.4, drawn_a=2.0))


def test_the_windings_of_a_demand_are_kept_with_it_and_count_until_a_later_session_reads_them(
    register: calib.Register,
) -> None:
    entry = demanded(60.0, WINDINGS)
    register.keep_on_bench("lit", entry, **QUARRY)
    now = unit_on_the_bench(register, "lit", "Quarry Bank", model=practice_fit())
    assert repr(now.heaters) == repr(WINDINGS)  # unlike ==, it takes what is not known as the same
    assert now.kept.demand is not None
    again = asked_again(now, practice_fit(), 0.9)
    assert again is not None
    told = again.as_dict()
    assert [one["name"] for one in told["heater_windings"]] == ["valves", "rectifier"]
    assert told["heater_windings"] == now.kept.demand.answer["heater_windings"]
    register.keep_session("lit", practice_entries(), "ratio", **QUARRY)
    later = unit_on_the_bench(register, "lit", "Quarry Bank", model=practice_fit())
    assert later.session is not None
    assert [one.name for one in later.heaters] == ["Heater winding 6-7", "Heater winding 8-9"]
    earlier = replace(later.session, kept_at=now.kept.demand.made_at - timedelta(minutes=1))
    assert repr(replace(later, session=earlier).heaters) == repr(WINDINGS)
    spoiled = replace(now.kept, demand=now.kept.demand.model_copy(update={"windings": ({"ohm": 1.0},)}))
    with pytest.raises(calib.InputError, match="were kept by another version of calib"):
        _ = replace(now, kept=spoiled).heaters


def run(**more: Any) -> calib.BenchEntry:
    given: dict[str, Any] = {"cold_ohm": 188.6, "cold_temp_c": 20.0, "ambient_start_c": 21.0, "ambient_end_c": 22.0}
    given |= {"seconds": (20.0, 40.0, 60.0, 90.0, 120.0), "ohm": (236.0, 234.9, 233.9, 232.6, 231.4)}
    made = calib.heat_run(calib.HeatRun(**{"load_ma": 80.0, "allowed_rise_k": 60.0, **given, **more}))
    return calib.BenchEntry(heat_run=kept_heat_run(made))


def test_what_was_answered_of_a_unit_decides_its_state_in_the_contracts_order(register: calib.Register) -> None:
    assert STATES == ("stopped", "known", "proven", "feeds-the-set", "doubtful", "measured", "met")
    for tag, ma in (("light", 20.0), ("heavy", 400.0)):
        register.keep_on_bench(tag, demanded(ma), **QUARRY)
    register.keep_on_bench("doubted", demanded(20.0, doubts="the label was changed"), **QUARRY)
    found = by_tag(register)
    assert {tag: one.state for tag, one in found.items()} == {
        "light": "feeds-the-set",
        "heavy": "measured",
        "doubted": "feeds-the-set",
    }
    assert found["doubted"].doubts == "the label was changed"
    assert found["light"].odds_worst >= 0.9 > found["heavy"].odds_worst
    register.keep_on_bench("light", run(), **QUARRY)
    slight = run(load_ma=2.0, ohm=(190.9, 190.8, 190.75, 190.7, 190.65))  # far below what it bears: to be tested again
    assert slight.heat_run is not None
    assert slight.heat_run.reference_ma is None
    register.keep_on_bench("heavy", slight, **QUARRY)
    found = by_tag(register)
    proven = found["light"]
    assert found["heavy"].state != "proven"
    assert (proven.state, proven.conductor) == ("proven", "copper")
    assert f"{proven.proven_ma:.0f} mA" in proven.next


def test_an_estimate_is_reckoned_anew_and_the_kept_one_told_beside_it(register: calib.Register) -> None:
    record = calib.UnknownUnit.parse(UNIT)
    old = calib.fit(practice_known().iloc[:-3])
    row = old.estimate(record).iloc[0].to_dict()
    entry = calib.BenchEntry(readings=record, estimate=kept_estimate(old, row, ("full-wave", "choke"), 0.9))
    register.keep_on_bench("QB 7", entry, **QUARRY)
    found = unit_on_the_bench(register, "QB 7", "Quarry Bank", practice_fit())
    assert found.record is not None
    assert found.estimate is not None
    assert found.kept.estimate is not None
    assert found.estimate.rated_current_ma == practice_fit().estimate(found.record)["rated_current_ma"].iloc[0]
    assert found.kept.estimate.rated_current_ma == row["rated_current_ma"]
    then, now = (words.milliamps(one.rated_current_ma or 0.0) for one in (found.kept.estimate, found.estimate))
    assert found.moved == (f"was {then}, now {now}: three records more" if then != now else "")
    assert then != now
    assert by_tag(register)["QB 7"].moved == found.moved
    assert unit_on_the_bench(register, "QB 7", "Quarry Bank", old).moved == ""


def test_the_newer_of_session_and_kept_readings_counts_for_the_supply_that_was_said(register: calib.Register) -> None:
    register.keep_session("QB 7", READ, "ratio", **QUARRY)
    other = calib.UnknownUnit.parse(UNIT | {"hv_resistance_ohm": 94.3, "winding_temp_c": 25})
    register.keep_on_bench("QB 7", calib.BenchEntry(readings=other), **QUARRY)
    kept = unit_on_the_bench(register, "QB 7", "Quarry Bank", practice_fit())
    register.keep_session("QB 7", READ, "ratio", **QUARRY)
    again = unit_on_the_bench(register, "QB 7", "Quarry Bank", practice_fit())
    told = [(one.record.hv_resistance_ohm, one.record.filter) for one in (kept, again) if one.record]
    assert told == [(94.3, "choke"), (188.6, "choke")]


def test_a_stop_of_a_session_or_of_kept_readings_stands_until_each_is_cleared(register: calib.Register) -> None:
    session = register.keep_session("QB 7", STOPPED, "ratio", **QUARRY)
    stop = by_tag(register)["QB 7"].stop
    record = calib.UnknownUnit.parse(UNIT | {"stop": f"{stop} | a lead is charred"})
    register.keep_on_bench("QB 7", calib.BenchEntry(readings=record), **QUARRY)
    cleared = STOPPED | {"ratio": RATIO | {"explained": "a wrong lead", "explained_stops": stop.split(" | ")}}
    register.keep_session("QB 7", cleared, "ratio", session_id=session.session_id, **QUARRY)
    found = by_tag(register)["QB 7"]
    assert (found.state, found.stop, found.stop_cleared) == ("stopped", f"{stop} | a lead is charred", "")
    asked = [("Quarry Bank", "QB 7")]
    assert stops_on_the_bench(register, asked) == {asked[0]: "a lead is charred"}
    register.clear_stop("QB 7", "Quarry Bank", reason="cut back")
    found = by_tag(register)["QB 7"]
    assert (found.state, found.stop_cleared) == ("measured", "a wrong lead | cut back")
    assert stops_on_the_bench(register, asked) == {}


def test_what_cannot_be_read_is_told_with_its_unit_and_the_rest_is_listed(register: calib.Register) -> None:
    for tag in ("torn", "odd", "sound", "kept"):
        register.keep_session(tag, READ if tag != "odd" else {"ratio": 5}, "ratio")
    register.keep_on_bench("kept", calib.BenchEntry(readings=calib.UnknownUnit.parse(UNIT)))
    with duckdb.connect(str(register.path)) as con:
        con.execute("UPDATE session_revisions SET entries = '{' WHERE tag = 'torn'")
        con.execute("UPDATE bench_revisions SET readings = '{' WHERE tag = 'kept'")
    found = by_tag(register)
    assert {tag: one.state for tag, one in found.items()} == {
        "torn": "doubtful",
        "odd": "doubtful",
        "sound": "measured",
        "kept": "doubtful",
    }
    for tag, said in (("torn", "begin it anew"), ("odd", "begin it anew"), ("kept", "enter it again")):
        assert found[tag].trouble
        assert found[tag].next.startswith(said)
        assert found[tag].trouble in str(found[tag])
