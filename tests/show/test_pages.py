"""The pages as the server runs them, without a browser: what is asked, answered, refused, kept and remembered."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib.show import parts

ROOT = Path(__file__).resolve().parents[2]
KNOWN, SIZE = "calib/show/pages/known_units.py", "calib/show/pages/multiplier_by_size.py"
READINGS = {"excitation_v": 4.97, "volts_read": 27.76, "ohms_read": 188.6}
READINGS |= {"line_voltage_v": 117.0, "line_frequency_hz": 60.0}
UNIT = {
    "unit": "AL-7",
    "contributor": "Alder Lane",
    "evidence": "nameplate",
    "rectifier": "full-wave",
    "filter": "capacitor",
    "centre_tapped": "true",
    "rated_current_ma": 90.0,
    "line_voltage_v": 117.0,
    "line_frequency_hz": 60.0,
    "excitation_v": 4.97,
    "hv_v": 27.76,
    "hv_resistance_ohm": 188.6,
    "winding_temp_c": 20.0,
}


@pytest.fixture(autouse=True)
def visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own, and errors shown in full."""
    path = tmp_path / "own.duckdb"
    monkeypatch.setenv("CALIB_REGISTER", str(path))
    monkeypatch.delenv("CALIB_PRACTICE", raising=False)
    monkeypatch.setenv("STREAMLIT_CLIENT_SHOW_ERROR_DETAILS", "full")
    return path


def opened(page: str = "") -> AppTest:
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    if page:
        at.switch_page(page).run()
    assert not at.exception
    return at


def text_of(at: AppTest) -> str:
    """Everything that a page says, whatever kind of element says it."""
    kinds = ("title", "header", "subheader", "markdown", "text", "error", "warning", "success", "info")
    said = [str(one.value) for kind in kinds for one in getattr(at, kind)]
    return "\n".join([*said, *(str(one.proto.body) for one in at.get("html"))])


def unescaped(said: str) -> str:
    return said.replace("\\", "")


def enter(at: AppTest, **values: float) -> AppTest:
    for name, value in values.items():
        at.number_input(key=f"read_{name}").set_value(value)
    at.run()
    assert not at.exception
    return at


def add(at: AppTest, **changes: object) -> AppTest:
    for name, value in (UNIT | changes).items():
        field = at.get_by_key(f"add_{name}")
        field.set_value(value)
    at.button(key="submit_unit").click().run()
    assert not at.exception
    return at


def test_the_home_page_asks_before_it_answers() -> None:
    at = opened()
    said = text_of(at)
    assert "Still needed for a first answer: line voltage of the primary" in said
    assert "Most likely" not in said
    assert not at.error


def test_an_empty_register_answers_from_first_principles_and_says_so() -> None:
    said = text_of(enter(opened(), **READINGS))
    assert "Most likely" in said
    assert "no known units yet" in said
    assert "SIMULATED" not in said


def test_the_answer_is_what_python_gives(visit: Path) -> None:
    """The page's three figures are those of calib.estimate_unit on the same readings."""
    at = enter(opened(), **READINGS)
    with calib.Register(visit) as register:
        model = calib.fit(register.known())
    table = visit.with_name("unknown.csv")
    table.write_text(
        "unit,rectifier,filter,line_voltage_v,line_frequency_hz,centre_tapped,excitation_v,hv_v,hv_resistance_ohm,"
        "winding_temp_c\nmine,full-wave,capacitor,117,60,true,4.97,27.76,188.6,20\n"
    )
    answer = calib.estimate_unit(model, calib.read_unknown(table)).answer.iloc[0]
    assert f"Most likely <b>{answer['rated_current_ma']:.0f} mA</b>" in text_of(at)
    assert f"between <b>{answer['low_ma']:.0f} and {answer['high_ma']:.0f} mA</b>" in text_of(at)
    assert f"count on <b>{answer['floor_ma']:.0f} mA</b>" in text_of(at)


def test_cautions_stand_before_the_reading_that_they_belong_to() -> None:
    at = opened()
    order = [str(getattr(one, "label", "") or getattr(one, "value", "")) for one in walk(at.main)]
    ratio = next(place for place, said in enumerate(order) if "at or below 30 V" in said)
    kick = next(place for place, said in enumerate(order) if "leaves a kick" in said)
    assert ratio < order.index("Volts put on the primary") < kick < order.index("Ohms read on the high-voltage winding")


def walk(block: object) -> list[object]:
    children = getattr(block, "children", None)
    if not children:
        return [block]
    return [one for child in children.values() for one in walk(child)]


def test_a_half_is_converted_aloud() -> None:
    at = enter(opened(), **READINGS | {"volts_read": 13.88})
    at.radio(key="read_volts_across").set_value("one half of it").run()
    assert "One half read 13.88 V, so the whole winding counts as 27.76 V." in text_of(at)


def test_a_bad_value_is_told_beside_its_field_and_nothing_is_lost() -> None:
    at = enter(opened(), **READINGS | {"winding_temp_c": 500.0})
    (error,) = [one.value for one in at.error]
    assert unescaped(error).startswith("Temperature of the winding then: 500: is outside the limits, -40 to 200 °C")
    assert at.number_input(key="read_winding_temp_c").value == 500.0
    assert at.number_input(key="read_volts_read").value == 27.76
    assert "Most likely" not in text_of(at)


def test_more_than_thirty_volts_is_warned_of_at_once() -> None:
    at = enter(opened(), excitation_v=10.0, volts_read=55.0)
    assert any("live high-voltage work" in unescaped(one.value) for one in at.error)


def test_what_was_typed_survives_a_look_at_another_page() -> None:
    at = enter(opened(), **READINGS)
    at.switch_page(SIZE).run()
    at.switch_page("calib/show/pages/what_can_it_give.py").run()
    assert at.number_input(key="read_ohms_read").value == 188.6
    assert "Most likely" in text_of(at)


def test_a_practice_unit_fills_the_form_and_is_called_simulated() -> None:
    at = opened()
    at.button(key="fill_in").click().run()
    assert "SIMULATED" in text_of(at)
    assert "Most likely" in text_of(at)
    at.number_input(key="read_ohms_read").set_value(321.0).run()
    assert "Simulated practice unit" not in text_of(at)


def test_every_practice_unit_can_be_filled_in_and_gets_an_answer() -> None:
    units = calib.read_unknown(calib.shipped("datasets/practice/unknown.csv"))
    at = opened()
    for tag in units["unit"]:
        at.button(key="fill_in").click().run()
        assert not at.exception
        assert at.text_input(key="read_tag").value == tag
        assert "Most likely" in text_of(at), tag


def test_clearing_empties_the_readings() -> None:
    at = enter(opened(), **READINGS)
    at.button(key="clear").click().run()
    assert at.number_input(key="read_ohms_read").value is None
    assert "Most likely" not in text_of(at)


def test_practice_starts_on_the_simulated_register_with_its_own_band(
    monkeypatch: pytest.MonkeyPatch, visit: Path
) -> None:
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened()
    assert "PRACTICE REGISTER" in text_of(at)
    at.radio(key=parts.CHOICE).set_value(parts.OWN).run()
    assert "PRACTICE REGISTER" not in text_of(at)
    assert visit.name in text_of(at)


@pytest.mark.parametrize("page", ["", KNOWN, SIZE])
def test_every_page_says_which_register_is_open_and_that_nothing_is_certified(page: str) -> None:
    said = text_of(opened(page))
    assert "your register" in said
    assert "It estimates and does not certify" in said


def test_a_unit_added_on_the_page_is_in_the_register_and_in_the_next_visit(visit: Path) -> None:
    at = add(opened(KNOWN))
    assert "Added AL" in at.success[0].value
    with calib.Register(visit) as register:
        (row,) = register.known().to_dict("records")
    assert {name: row[name] for name in UNIT if name != "centre_tapped"} == {
        name: value for name, value in UNIT.items() if name != "centre_tapped"
    }
    assert row["centre_tapped"]
    assert "1 of 1 known unit" in text_of(opened(KNOWN))


def test_an_added_unit_changes_the_estimate() -> None:
    at = enter(opened(), **READINGS)
    before = text_of(at)
    at.switch_page(KNOWN).run()
    add(at)
    at.switch_page("calib/show/pages/what_can_it_give.py").run()
    after = text_of(at)
    assert "Most likely" in before
    assert "Most likely" in after
    assert sentence_in(before) != sentence_in(after)


def sentence_in(said: str) -> str:
    return next(line for line in said.splitlines() if "calib-answer" in line)


def test_all_that_is_wrong_with_a_new_unit_is_told_by_its_field_and_nothing_is_added(visit: Path) -> None:
    at = add(opened(KNOWN), rated_current_ma=0.0, winding_temp_c=900.0, evidence=None)
    told = " ".join(one.value for one in at.error)
    for name in ("Rated current: 0", "Winding temperature: 900", "Evidence: empty"):
        assert name in unescaped(told)
    assert at.number_input(key="add_winding_temp_c").value == 900.0
    assert at.text_input(key="add_unit").value == "AL-7"
    with calib.Register(visit) as register:
        assert register.count() == 0


def test_the_same_unit_with_other_readings_is_marked_for_review() -> None:
    at = add(opened(KNOWN))
    at = add(at, rated_current_ma=70.0)
    assert "marked for review" in at.success[0].value


def bring_in(at: AppTest, name: str, content: bytes) -> AppTest:
    at.file_uploader[0].set_value((name, content, "text/csv")).run()
    assert not at.exception
    return at


def table_of(*rows: dict[str, object]) -> bytes:
    lines = [",".join(UNIT), *(",".join(str(row[name]) for name in UNIT) for row in rows)]
    return "\n".join([*lines, ""]).encode()


def test_a_table_is_brought_in_whole(visit: Path) -> None:
    at = bring_in(opened(KNOWN), "bench.csv", table_of(UNIT, UNIT | {"unit": "AL-8", "rated_current_ma": 60}))
    at.button(key="bring_in").click().run()
    assert not at.exception
    assert "2 units added" in unescaped(at.success[0].value)
    with calib.Register(visit) as register:
        assert register.count() == 2


def test_a_table_with_faults_changes_nothing_and_every_fault_is_listed(visit: Path) -> None:
    bad = UNIT | {"unit": "AL-9", "rated_current_ma": "lots", "line_voltage_v": -5}
    at = bring_in(opened(KNOWN), "bench.csv", table_of(UNIT, bad))
    said = text_of(at)
    assert "2 things to mend" in said
    assert "bench.csv, row 3, rated_current_ma &#x27;lots&#x27;" in said
    assert "bench.csv, row 3, line_voltage_v &#x27;-5&#x27;" in said
    with calib.Register(visit) as register:
        assert register.count() == 0


def test_the_size_page_draws_the_prior_before_any_record() -> None:
    at = opened(SIZE)
    assert "Before any record" in text_of(at)
    assert "The size classes" in text_of(at)


def test_the_size_page_shows_the_classes_of_the_supply_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened(SIZE)
    with calib.practice_register() as register:
        classes = calib.fit(register.known()).classes(0.9)
    for filter_input in ("capacitor", "choke"):
        at.selectbox(key="seen_filter").set_value(filter_input).run()
        assert not at.exception
        chosen = classes[(classes["rectifier"] == "full-wave") & (classes["filter"] == filter_input)]
        assert len(chosen) == 7
        for mean in chosen["multiplier"]:
            assert math.isfinite(mean)
            assert f">{mean:.{1 if mean < 100 else 0}f}<" in text_of(at)


def test_a_register_that_cannot_be_read_is_said_in_one_line(visit: Path) -> None:
    visit.write_text("no register")
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert not at.exception
    assert at.error[0].value.startswith("The register cannot be opened")


def test_a_field_that_was_hidden_for_a_while_keeps_its_entry() -> None:
    at = enter(opened(), **READINGS)
    at.radio(key="read_voltage_by").set_value("its no-load voltage, known").run()
    at.run()
    at.radio(key="read_voltage_by").set_value("a ratio test at low voltage").run()
    assert at.number_input(key="read_excitation_v").value == 4.97
    assert "Most likely" in text_of(at)
