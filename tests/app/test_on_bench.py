"""From an answer to the bench by one button on each page: the estimate, the set's demand, the heat run."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import calib
from tests.app.visits import HOME, READINGS, enter, opened, settle, text_of, unescaped
from tests.session.test_on_the_bench import UNIT, WINDINGS, demanded, run

BENCH = "calib/app/pages/what_is_on_the_bench.py"
DEMAND, PROVE = (f"calib/app/pages/{name}.py" for name in ("does_it_feed_the_set", "prove_it"))
RUN = {"cold_ohm": "188.6", "cold_temp_c": "20", "ambient_start_c": "21", "ambient_end_c": "22", "load_ma": "80"}
COOLING = "20 236\n40 234.9\n60 233.9\n90 232.6\n120 231.4"


def keep(at: AppTest, what: str) -> AppTest:
    at.button(key=f"keep_on_bench_{what}").click().run()
    assert not at.exception
    return at


def test_each_answer_is_kept_with_its_unit_and_there_after_a_restart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = settle(tmp_path, monkeypatch)
    at = enter(opened(), **READINGS)
    assert "give the unit a tag first" in text_of(at)
    enter(at, tag="QB <i>7")
    assert "Nothing of this answer is kept until you keep it" in text_of(at)
    keep(at, "estimate")
    assert "On the bench as QB <i>7, kept" in unescaped(text_of(at))
    at.switch_page(DEMAND).run()
    for name, value in {"load_1": "set", "average_ma_1": "20", "capacitance_uf": "16"}.items():
        at.text_input(key=f"set_{name}").set_value(value)
    at.run()
    keep(at, "demand")
    at.switch_page(PROVE).run()
    for name, value in RUN.items():
        at.text_input(key=f"heat_{name}").set_value(value)
    at.text_area(key="heat_readings").set_value(COOLING).run()
    keep(at, "heat_run")
    unit = calib.Register(path).bench_unit("QB <i>7")
    assert (unit.revision, len(unit.estimates)) == (3, 1)
    assert unit.readings is not None
    assert unit.readings.hv_resistance_ohm == 188.6
    assert unit.demand is not None
    assert unit.demand.odds_worst is not None
    assert unit.demand.loads[0]["average_ma"] == "20"
    assert unit.heat_run is not None
    assert unit.heat_run.reference_ma is not None
    told = text_of(opened(BENCH))
    assert "QB &lt;i&gt;7" in told
    assert "proven in a heat run" in told
    enter(at.switch_page(HOME).run(), ohms_read=189.9)
    assert at.button(key="keep_on_bench_estimate")


def test_a_practice_unit_is_kept_in_the_practice_register_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = settle(tmp_path, monkeypatch)
    at = opened()
    at.button(key="fill_in").click().run()
    keep(at, "estimate")
    assert "the readings are simulated, and the register is one of real ones" in unescaped(text_of(at))
    assert calib.Register(path).bench_units() == ()


def seeded(path: Path) -> None:
    """Two units of Alder Lane on the bench, one of them proven and asked about, with a stop that was kept."""
    first = UNIT | {"filter": "capacitor"}
    readings = calib.UnknownUnit.parse(first | {"stop": "the core is live"})
    other = calib.UnknownUnit.parse(first | {"hv_resistance_ohm": 400.0, "conductor": "aluminium"})
    with calib.Register(path) as register:
        for tag, entry in (
            ("AL 1", demanded(60.0, WINDINGS)),
            ("AL 1", run()),
            ("AL 2", calib.BenchEntry(readings=other)),
        ):
            register.keep_on_bench(tag, entry, contributor="Alder Lane")
        register.keep_on_bench("AL 1", calib.BenchEntry(readings=readings), contributor="Alder Lane")


def test_a_unit_is_opened_cleared_undone_held_beside_another_made_known_and_worked_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = settle(tmp_path, monkeypatch)
    seeded(path)
    at = opened(BENCH)
    assert "the core is live" in text_of(at)
    at.button(key="bench_unit_0").click().run()
    assert (at.query_params["unit"], at.query_params["contributor"]) == ("AL 1", "Alder Lane")
    assert "Stop, feed it nothing" in text_of(at)
    at.button(key="bench_clear_stop").click().run()
    assert "is needed to clear a stop" in unescaped(text_of(at))
    at.text_input(key="seen_bench_why").set_value("a wire in the core")
    at.button(key="bench_clear_stop").click().run()
    assert "why it no longer stands: a wire in the core" in text_of(at)
    at.button(key="bench_undo_done").click().run()
    assert "Stop, feed it nothing" in text_of(at)
    at.text_input(key="seen_bench_why").set_value("a wire in the core")
    at.button(key="bench_clear_stop").click().run()
    at.selectbox(key="seen_beside").set_value("AL 2 of Alder Lane").run()
    told = text_of(at)
    assert "odds at worst" in told
    assert "aluminium" in told
    at.button(key="bench_make_known").click().run()
    record = calib.Register(path).record("Alder Lane", "AL 1")
    assert (record.evidence, record.stop_cleared) == ("heat-run", "a wire in the core")
    assert "Its record counts among the known units" in text_of(at)
    at.button(key="doubt_undo").click().run()
    assert calib.Register(path).known().empty
    at.button(key="bench_demand_again").click().run()
    at.switch_page(DEMAND).run()
    assert "The rating suffices with odds of" in unescaped(text_of(at))
    assert "the core is live" in text_of(at)
    assert "heater 2, for 5 V: its volts at load" in unescaped(text_of(at))
    assert at.button(key="keep_on_bench_demand").label == "Keep it on the bench as AL 1"
    at.button(key="keep_on_bench_demand").click().run()
    unit = calib.Register(path).bench_unit("AL 1", "Alder Lane")
    assert unit.demand is not None
    assert unit.demand.supply["capacitance_uf"] == 8.0
    assert [one["no_load_v"] for one in unit.demand.windings] == pytest.approx([6.9, 5.4], rel=1e-5)
    assert [one["drawn_a"] for one in unit.demand.windings] == [None, 2.0]
    assert unit.stop_cleared == "a wire in the core"


def test_a_reload_opens_the_unit_of_the_address_and_says_where_none_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = settle(tmp_path, monkeypatch)
    seeded(path)
    at = opened(BENCH, unit="AL 2", contributor="Alder Lane")
    assert "AL 2 of Alder Lane" in [one.value for one in at.header]
    at.button(key="bench_take_off").click().run()
    assert "No unit 'AL 2' is on the bench" in unescaped(text_of(at))
    at.button(key="bench_undo_done").click().run()
    assert "AL 2 of Alder Lane" in [one.value for one in at.header]
    at.button(key="bench_back").click().run()
    assert at.button(key="bench_unit_1")
    at = opened(BENCH, unit="AL 1", contributor="Alder Lane")
    at.button(key="bench_work_on").click().run()
    assert [at.session_state[f"read_{name}"] for name in ("heaters", "heater_a_2")] == ["2", "2"]
