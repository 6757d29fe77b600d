"""The home page as the server runs it, without a browser: what is asked, answered, refused, kept and remembered."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib.show import parts
from tests.show.visits import HOME, KNOWN, READINGS, ROOT, SIZE, enter, opened, settle, text_of, unescaped


@pytest.fixture(autouse=True)
def visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


def test_the_home_page_asks_before_it_answers() -> None:
    at = opened()
    said = text_of(at)
    assert "Still needed for a first answer: line voltage of the primary" in said
    assert "Most likely" not in said
    assert not at.error


def test_an_empty_register_answers_from_first_principles_and_says_so() -> None:
    said = text_of(enter(opened(), **READINGS))
    assert "Most likely" in said
    assert "No known unit is behind this" in said
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
    at.switch_page(HOME).run()
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


def test_readings_that_do_not_go_together_are_questioned(monkeypatch: pytest.MonkeyPatch) -> None:
    """A resistance four times too low (halves in parallel, say) does not go with core and gauge."""
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened()
    at.button(key="fill_in").click().run()
    ohms = at.number_input(key="read_ohms_read")
    assert "calib-doubt" not in body_of(at)
    ohms.set_value(ohms.value / 4).run()
    assert "calib-doubt" in body_of(at)


def body_of(at: AppTest) -> str:
    """What the page says, without its style sheet."""
    return "\n".join(said for said in text_of(at).splitlines() if "<style>" not in said and "{" not in said)
