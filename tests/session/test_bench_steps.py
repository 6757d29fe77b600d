"""From a unit on the bench onward: two against one set, a known unit without typing it again, all of it in words."""

from __future__ import annotations

from pathlib import Path

import pytest

import calib
from calib.register.attachments import EvidenceFile, of_record
from calib.session import UnitNow, kept_estimate, known_of, make_known, of_bench, side_by_side, unit_on_the_bench
from calib.session.on_the_bench import history_of, in_full
from tests.fitting.making import practice_fit
from tests.session.test_on_the_bench import QUARRY, STOPPED, UNIT, demanded, run

SHEET = EvidenceFile("sheet.pdf", "application/pdf", b"%PDF-1.4\n1\n%%EOF\n")


@pytest.fixture
def register(tmp_path: Path) -> calib.Register:
    return calib.Register(tmp_path / "bench.duckdb")


def now(register: calib.Register, tag: str) -> UnitNow:
    return unit_on_the_bench(register, tag, "Quarry Bank", practice_fit())


def test_two_units_are_held_against_the_set_of_one_as_each_would_be_alone(register: calib.Register) -> None:
    register.keep_on_bench("one", demanded(60.0), **QUARRY)
    other = calib.UnknownUnit.parse(
        UNIT | {"filter": "capacitor", "hv_resistance_ohm": 400.0, "conductor": "aluminium"}
    )
    register.keep_on_bench("two", calib.BenchEntry(readings=other), **QUARRY)
    register.keep_session("none", {}, "look", **QUARRY)
    units = [now(register, tag) for tag in ("one", "two", "none")]
    demand = units[0].kept.demand
    assert demand is not None
    found = side_by_side(practice_fit(), units, demand).set_index("unit")
    line_up, supply = calib.load_rows(demand.loads), calib.SetSupply(capacitance_uf=8.0)
    for one in units[:2]:
        alone = calib.demand_of(practice_fit(), one.record, line_up, supply)[0]
        row = found.loc[one.kept.tag]
        assert (row["odds_worst"], row["dc_v_low"], row["source_ohm"]) == (
            alone.odds_worst,
            alone.dc_v_low,
            alone.source_ohm,
        )
    assert found.loc["one", "odds_worst"] == pytest.approx(demand.odds_worst, abs=1e-3)
    assert found.loc["two", "odds_worst"] < found.loc["one", "odds_worst"]
    assert found.loc["two", "conductor"] == "aluminium"
    assert "its readings do not suffice" in found.loc["none", "trouble"]


def test_a_unit_is_made_known_with_its_readings_metal_doubts_and_files(register: calib.Register) -> None:
    read = calib.UnknownUnit.parse(
        UNIT | {"demand_ma": 60.0, "doubts": "the label was changed", "tongue_mm": 25, "stack_mm": 30}
    )
    register.keep_on_bench("QB 7", calib.BenchEntry(readings=read), **QUARRY)
    register.keep_on_bench("QB 7", run(conductor="aluminium"), **QUARRY)
    register.attach(of_bench("QB 7", "Quarry Bank"), SHEET, "Ann", "its data sheet")
    one = now(register, "QB 7")
    assert one.kept.heat_run is not None
    record = known_of(one, "heat-run", one.kept.heat_run.reference_ma or 0.0)
    make_known(register, one, record, by="Ann")
    kept = register.record("Quarry Bank", "QB 7")
    assert (kept.conductor, kept.evidence, kept.tongue_mm, kept.hv_resistance_ohm) == (
        "aluminium",
        "heat-run",
        25,
        188.6,
    )
    assert kept.rated_current_ma == one.kept.heat_run.reference_ma
    assert "the label was changed" in kept.doubts
    assert [each.name for each in register.attachments(of_record("Quarry Bank", "QB 7"))] == ["sheet.pdf"]
    assert register.history("Quarry Bank", "QB 7")["by"].tolist() == ["Ann"]
    assert now(register, "QB 7").known
    with pytest.raises(calib.InputError, match="evidence .*: is needed"):
        known_of(one, "", 80.0)


def test_what_a_session_stops_or_nobody_read_is_made_known_by_no_door(register: calib.Register) -> None:
    register.keep_session("QB 7", STOPPED, "ratio", **QUARRY)
    with pytest.raises(calib.InputError, match="stop"):
        known_of(now(register, "QB 7"), "nameplate", 80.0)
    register.keep_session("QB 8", {}, "look", **QUARRY)
    with pytest.raises(calib.InputError, match="its readings do not suffice; read it first"):
        known_of(now(register, "QB 8"), "nameplate", 80.0)
    register.keep_on_bench("QB 9", calib.BenchEntry(readings=calib.UnknownUnit.parse(UNIT)), **QUARRY)
    one = now(register, "QB 9")
    register.keep_session("QB 9", STOPPED, "ratio", **QUARRY)  # meanwhile
    with pytest.raises(calib.InputError, match="the bench says stop, feed nothing"):
        make_known(register, one, known_of(one, "nameplate", 80.0))
    assert register.known().empty


def test_a_unit_in_full_tells_what_stands_against_it_first_and_its_history(register: calib.Register) -> None:
    record = calib.UnknownUnit.parse(UNIT | {"stop": "the core is live", "conductor": "aluminium"})
    row = practice_fit().estimate(record).iloc[0].to_dict()
    made = kept_estimate(practice_fit(), row, ("full-wave", "choke"), 0.9)
    register.keep_on_bench(
        "QB 7", calib.BenchEntry(readings=record, estimate=made), by="Ann", reason="bought", **QUARRY
    )
    register.clear_stop("QB 7", "Quarry Bank", reason="a mouse's nest", by="Bea")
    register.undo_on_bench("QB 7", "Quarry Bank", revision=2)
    register.keep_on_bench("QB 7", demanded(60.0, conductor="aluminium"), **QUARRY)
    past = register.bench_history("QB 7", "Quarry Bank")
    told = in_full(now(register, "QB 7"), "STOP", past).splitlines()
    assert told[:2] == ["QB 7 of Quarry Bank: STOP", "STOP, feed it nothing: the core is live"]
    assert "wire: aluminium" in "\n".join(told)
    assert any("set that draws 60.0 mA at worst" in line for line in told)
    assert [row[1] for row in history_of(past)] == ["kept", "taken back", "stop cleared", "kept"]
    assert history_of(past)[0][5] == "readings, demand"
    assert "by Bea (a mouse's nest)" in "\n".join(told)
