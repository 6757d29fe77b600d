"""Units on the bench in the register: answers are added, stops stay, every change is a revision, nothing is lost."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb
import pytest

from calib.errors import InputError, RegisterError
from calib.register.bench_units import BenchEntry, KeptDemand, KeptEstimate, KeptHeatRun
from calib.register.records import UnknownUnit
from calib.register.register import Register
from calib.register.safekeeping import check_register

UNIT: dict[str, object] = {
    "unit": "as typed",
    "centre_tapped": True,
    "rectifier": "full-wave",
    "filter": "capacitor",
    "line_voltage_v": 117,
}
UNIT |= {"line_frequency_hz": 60, "no_load_v": 640.0, "hv_resistance_ohm": 188.6, "winding_temp_c": 0.0}
AT = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
STOP = "core to winding 0.2 Mohm"


def read(**more: object) -> UnknownUnit:
    return UnknownUnit.parse({**UNIT, **more})


def estimate(fit: str = "abc", **more: Any) -> KeptEstimate:
    given = {"fit": fit, "records": 12, "rectifier": "full-wave", "filter": "capacitor", "level": 0.9} | more
    return KeptEstimate(made_at=datetime.now(UTC), **{"rated_current_ma": 82.0, "low_ma": float("nan"), **given})


DEMAND = KeptDemand(
    made_at=AT,
    fit="abc",
    level=0.9,
    loads=({"load": "6V6-GT", "count": "2"},),
    supply={"capacitance_uf": 16.0, "valve": "5Y3-GT"},
    answer={"odds_average": 0.97, "odds_worst": 0.91, "worst_ma": 71.0, "broken": [{"limit": "rating"}]},
)
RUN = KeptHeatRun(
    made_at=AT,
    given={"cold_ohm": 188.6, "seconds": (20.0, 40.0), "iron_w": float("nan"), "conductor": "aluminium"},
    result={"reference_ma": 79.5, "doubts": "the air drifted by 6 K | it was short"},
)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return Register(tmp_path / "club.duckdb")


def test_what_is_kept_of_a_unit_is_there_after_a_restart_each_part_beside_the_others(register: Register) -> None:
    begun = register.keep_session("QB 7", {}, "look", contributor="Quarry Bank")
    first = register.keep_on_bench(
        "QB 7", BenchEntry(readings=read()), contributor="Quarry Bank", by="Ann", reason="read"
    )
    for entry in (BenchEntry(estimate=estimate()), BenchEntry(demand=DEMAND), BenchEntry(heat_run=RUN)):
        register.keep_on_bench("QB 7", entry, contributor="Quarry Bank")
    found = Register(register.path).bench_unit("QB 7", "Quarry Bank")
    assert found.readings == read(unit="QB 7", contributor="Quarry Bank")
    assert (found.revision, found.begun_at, found.sessions) == (4, first.kept_at, (begun.session_id,))
    assert found.estimate is not None
    assert (found.estimate.rated_current_ma, found.estimate.low_ma) == (82.0, None)
    assert found.demand == DEMAND
    assert (DEMAND.odds_worst, DEMAND.worst_ma, DEMAND.broken) == (0.91, 71.0, ({"limit": "rating"},))
    assert found.heat_run == RUN
    assert (RUN.reference_ma, found.conductor) == (79.5, "aluminium")
    assert found.doubts == "the air drifted by 6 K | it was short"
    history = register.bench_history("QB 7", "Quarry Bank")
    assert history[["action", "by", "reason"]].values.tolist() == [
        ["keep", "Ann", "read"],
        *(["keep", "", f"kept: {what}"] for what in ("estimate", "demand", "heat run")),
    ]


def test_the_same_answer_again_writes_nothing_and_another_joins_the_estimates(register: Register) -> None:
    for fit, likely in (("abc", 82.0), ("abc", 82.0), ("def", 76.0)):
        kept = register.keep_on_bench("QB 7", BenchEntry(estimate=estimate(fit, rated_current_ma=likely)))
    again = register.keep_on_bench("QB 7", BenchEntry(demand=DEMAND, readings=read()))
    later = register.keep_on_bench("QB 7", BenchEntry(demand=DEMAND.model_copy(update={"made_at": datetime.now(UTC)})))
    assert [one.rated_current_ma for one in kept.estimates] == [82.0, 76.0]
    assert (kept.revision, again.revision, later.revision) == (2, 3, 3)


def test_units_are_told_apart_by_bench_and_listed_the_last_first(register: Register) -> None:
    for contributor in ("Quarry Bank", "Tin Street", ""):
        register.keep_on_bench("QB 7", BenchEntry(readings=read()), contributor=contributor)
    assert [unit.contributor for unit, _ in register.bench_units()] == ["", "Tin Street", "Quarry Bank"]
    assert register.bench_unit("QB 7").contributor == ""
    begun = register.keep_session("QB 8", {}, "look", contributor="Tin Street")
    alone = register.bench_unit("QB 8", "Tin Street")
    assert (alone.sessions, alone.revision, alone.readings, alone.estimate) == ((begun.session_id,), 0, None, None)


def test_a_stop_stays_until_it_is_cleared_with_a_reason(register: Register) -> None:
    register.keep_on_bench("QB 7", BenchEntry(readings=read(stop=STOP)))
    assert register.keep_on_bench("QB 7", BenchEntry(readings=read(no_load_v=641.0))).stop == STOP
    with pytest.raises(InputError, match="reason .*: is needed to clear a stop"):
        register.clear_stop("QB 7", reason="")
    register.clear_stop("QB 7", reason="dried; 40 Mohm now", by="Ann")
    found = register.bench_unit("QB 7")
    assert (found.stop, found.stop_cleared) == (STOP, "dried; 40 Mohm now")
    other = register.keep_on_bench("QB 7", BenchEntry(readings=read(stop="a turn is shorted")))
    assert (other.stop, other.stop_cleared) == (f"{STOP} | a turn is shorted", "")
    cleared = read(stop="a turn is shorted", stop_cleared="the meter's lead was")
    register.clear_stop("QB 7", reason="both looked into")
    both = register.keep_on_bench("QB 7", BenchEntry(readings=cleared))
    assert both.stop_cleared == "both looked into | the meter's lead was"


def test_undo_brings_back_the_revision_before_and_in_the_end_takes_the_unit_off(register: Register) -> None:
    first = register.keep_on_bench("QB 7", BenchEntry(readings=read(), demand=DEMAND))
    second = register.keep_on_bench("QB 7", BenchEntry(readings=read(hv_resistance_ohm=91.0), heat_run=RUN))
    with pytest.raises(InputError, match=r"revision '1': its last revision is 2; look at its history"):
        register.undo_on_bench("QB 7", revision=first.revision)
    register.undo_on_bench("QB 7", revision=second.revision, by="Ann")
    back = register.bench_unit("QB 7")
    assert (back.readings, back.demand, back.heat_run, back.revision) == (first.readings, DEMAND, None, 3)
    register.take_off_bench("QB 7")
    assert register.bench_units() == ()
    register.undo_on_bench("QB 7", revision=4)
    assert register.bench_unit("QB 7").demand == DEMAND
    history = register.bench_history("QB 7")
    assert history["action"].tolist() == ["keep", "keep", "restore", "drop", "restore"]
    assert history["reason"].tolist()[2:] == ["revision 2 undone", "", "revision 4 undone"]
    once = register.keep_on_bench("QB 9", BenchEntry(readings=read()))
    register.undo_on_bench("QB 9", revision=once.revision)
    with pytest.raises(InputError, match="unit 'QB 9': no such unit is on the bench"):
        register.bench_unit("QB 9")


@pytest.mark.parametrize(
    ("tag", "entry", "said"),
    [
        (" ", BenchEntry(readings=read()), "tag .*: is needed to keep a unit on the bench; give the unit a tag"),
        ("a\nb", BenchEntry(), "tag .*: runs over more than one line"),
        ("QB 7", BenchEntry(demand=DEMAND.model_copy(update={"answer": {"x": "y" * 300_000}})), "262,144 is the most"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_written(
    register: Register, tag: str, entry: BenchEntry, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        register.keep_on_bench(tag, entry)
    assert register.bench_units() == ()


def test_two_writers_lose_nothing_of_one_unit(register: Register) -> None:
    errors: list[Exception] = []

    def work(name: str) -> None:
        try:
            for number in range(3):
                register.keep_on_bench("QB 7", BenchEntry(estimate=estimate(f"{name} {number}")))
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=work, args=(name,)) for name in ("one", "two")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    found = register.bench_unit("QB 7")
    assert {one.fit for one in found.estimates} == {
        f"{name} {number}" for name in ("one", "two") for number in range(3)
    }
    assert found.revision == 6


def test_a_backup_holds_the_bench_and_a_check_counts_it(register: Register, tmp_path: Path) -> None:
    kept = register.keep_on_bench("QB 7", BenchEntry(readings=read(), estimate=estimate(), heat_run=RUN))
    copy = Register(register.backup(tmp_path / "copy.duckdb"), create=False)
    assert copy.bench_unit("QB 7") == kept
    assert "of units on the bench 1" in str(check_register(copy.path))


@pytest.mark.parametrize(
    ("column", "value"), [("readings", '{"unit": 7}'), ("estimates", '[{"fit": "a"}]'), ("demand", "[")]
)
def test_a_unit_that_was_altered_is_told_and_the_others_stand(register: Register, column: str, value: str) -> None:
    for tag in ("QB 7", "QB 8"):
        register.keep_on_bench(tag, BenchEntry(readings=read()))
    with duckdb.connect(str(register.path)) as con:
        con.execute(f"UPDATE bench_revisions SET {column} = $1 WHERE tag = 'QB 7'", [value])
    found = {unit.tag: fault for unit, fault in register.bench_units()}
    assert found["QB 8"] == ""
    assert "unit on the bench QB 7: what was kept of it cannot be read" in found["QB 7"]
    with pytest.raises(RegisterError, match="unit on the bench QB 7: what was kept of it cannot be read"):
        register.bench_unit("QB 7")
    assert any("unit on the bench QB 7" in one for one in check_register(register.path).findings)
    again = register.keep_on_bench("QB 7", BenchEntry(readings=read(stop=STOP)))
    assert (again.revision, again.readings) == (2, read(unit="QB 7", stop=STOP))
    assert check_register(register.path).findings == ()
