"""The home page as the server runs it, without a browser: what is asked, answered, refused, kept and remembered."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib import charts
from calib.app import context
from calib.app.pages import what_can_it_give
from calib.fitting import variance_components
from calib.session import readings
from tests.app.visits import (
    HOME,
    KNOWN,
    READINGS,
    ROOT,
    SIZE,
    counted_in,
    enter,
    number,
    opened,
    settle,
    text_of,
    unescaped,
)


@pytest.fixture(autouse=True)
def visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


def walk(block: object) -> list[object]:
    children = getattr(block, "children", None)
    if not children:
        return [block]
    return [one for child in children.values() for one in walk(child)]


def test_the_home_page_asks_before_it_answers_and_cautions_before_it_asks() -> None:
    at = opened()
    said = text_of(at)
    assert "Still needed for a first answer: line voltage of the primary" in said
    assert "Most likely" not in said
    assert not at.error
    order = [str(getattr(one, "label", "") or getattr(one, "value", "")) for one in walk(at.main)]
    ratio = next(place for place, said in enumerate(order) if "at or below 30 V" in said)
    kick = next(place for place, said in enumerate(order) if "leaves a kick" in said)
    assert ratio < order.index("Volts on the primary") < kick < order.index("Ohms read on the high-voltage winding")


def test_the_answer_is_what_python_gives_and_an_empty_register_s_says_what_it_rests_on(visit: Path) -> None:
    """Readings with decimal commas and units, 4,97 being 4.97 V and never 497; then one half of the same voltage."""
    typed = {"excitation_v": "4,97", "volts_read": "27,76 V", "ohms_read": "188,6 Ω"}
    at = enter(opened(), **READINGS | typed)
    said = text_of(at)
    for understood in ("Read as 4.97 V.", "Read as 27.76 V.", "Read as 188.6 Ω."):
        assert understood in said
    assert at.text_input(key="read_excitation_v").value == "4,97"
    assert "No known unit is behind this" in said
    assert "SIMULATED" not in said
    with calib.Register(visit) as register:
        model = calib.fit(register.known(), published=True)
    unit = {name: READINGS[name] for name in ("line_voltage_v", "line_frequency_hz", "excitation_v")}
    unit |= {"unit": "mine", "rectifier": "full-wave", "filter": "capacitor", "centre_tapped": True, "hv_v": 27.76}
    unit |= {"hv_resistance_ohm": 188.6, "winding_temp_c": 20.0}
    answer = calib.estimate_unit(model, pd.DataFrame([unit])).answer.iloc[0]
    for told in (
        f"Most likely <b>{answer['rated_current_ma']:.0f} mA</b>",
        f"between <b>{answer['low_ma']:.0f} and {answer['high_ma']:.0f} mA</b>",
        f"nine in ten at least <b>{answer['floor_ma']:.0f} mA</b>",
    ):
        assert told in said
    at.toggle(key=context.PUBLISHED).set_value(False).run()
    with calib.Register(visit) as register:
        alone = calib.estimate_unit(calib.fit(register.known()), pd.DataFrame([unit])).answer
    assert f"Most likely <b>{alone['rated_current_ma'].iloc[0]:.0f} mA</b>" in text_of(at)
    assert "it rests on first principles and on the level that published sources of real windings give" in text_of(at)
    at.toggle(key=context.PUBLISHED).set_value(True).run()
    enter(at, volts_read=13.88)
    at.radio(key="read_volts_across").set_value("half").run()
    assert "One half read 13.88 V, so the whole winding counts as 27.76 V." in text_of(at)
    assert f"Most likely <b>{answer['rated_current_ma']:.0f} mA</b>" in text_of(at)


def test_what_is_no_reading_is_told_beside_its_field_and_nothing_is_lost() -> None:
    at = enter(opened(), **READINGS | {"winding_temp_c": 500.0})
    (error,) = [unescaped(one.value) for one in at.error]
    assert error.startswith("Temperature of the winding then: 500: is outside the limits, -40 to 200 °C")
    assert (number(at, "read_winding_temp_c"), number(at, "read_volts_read")) == (500.0, 27.76)
    assert "Most likely" not in text_of(at)
    (error,) = [unescaped(one.value) for one in enter(at, winding_temp_c=20.0, ohms_read="18.8.6").error]
    assert error.startswith("Ohms read on the high-voltage winding: 18.8.6: has points and commas that make no number;")
    assert at.text_input(key="read_ohms_read").value == "18.8.6"
    assert "Most likely" not in text_of(at)
    assert "Still needed" not in text_of(at)
    said = unescaped(text_of(enter(at, line_voltage_v="1e300", ohms_read="-1", volts_read="1e-300")))
    assert "1e300: is beyond what any reading can be; check the number and its unit." in said
    assert "1e-300: is beyond what any reading can be" in said
    assert "-1: is outside the limits, 0.001 to 1000000 ohm" in said
    assert "There is something to mend among the readings" in said
    assert "Most likely" not in said


def test_danger_and_haste_are_warned_of_at_once() -> None:
    at = enter(opened(), excitation_v=10.0, volts_read=55.0, rest_h=1.0)
    assert any("live high-voltage work" in unescaped(one.value) for one in at.error)
    assert any("Not settled yet" in one.value for one in at.warning)
    assert not any("Not settled yet" in one.value for one in enter(at, rest_h=5.0).warning)


def test_what_was_typed_survives_another_page_and_being_hidden_until_it_is_cleared(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """And what was answered is neither reckoned nor drawn anew."""
    at = enter(opened(), **READINGS | {"tongue": 28.0, "rest_h": 1.0})
    at.switch_page(SIZE).run()
    with monkeypatch.context() as nothing:
        for place, name in ((calib, "estimate_unit"), (charts, "estimate"), (charts, "opinions")):
            nothing.setattr(place, name, None)
        at.switch_page(HOME).run()
    assert not at.exception
    assert number(at, "read_ohms_read") == 188.6
    assert "Most likely" in text_of(at)
    at.radio(key="read_voltage_by").set_value("no-load").run()
    at.run()
    at.radio(key="read_voltage_by").set_value("ratio-test").run()
    assert number(at, "read_excitation_v") == 4.97
    at.button(key="clear").click().run()
    empty = ("excitation_v", "volts_read", "ohms_read", "tongue", "rest_h")
    assert [number(at, f"read_{name}") for name in empty] == [None] * len(empty)
    assert number(at, "read_winding_temp_c") == 20.0
    assert "Most likely" not in text_of(at)


def test_what_counts_is_listed_beside_the_answer_with_where_it_came_from() -> None:
    """The practice unit's demand, which stands in a folded part of the form, among the rest."""
    unit = calib.read_unknown(calib.shipped("datasets/practice/unknown.csv")).iloc[0]
    at = opened()
    at.button(key="fill_in").click().run()
    assert "SIMULATED" in text_of(at)
    assert "Simulated practice unit" in text_of(at)
    practice = f"Practice unit {unit['unit']}"
    assert f"the set's demand of {unit['demand_ma']:.5g} mA" in counted_in(at)[practice]
    assert f"at {unit['winding_temp_c']:.5g} °C" in counted_in(at)[practice]
    enter(at, demand_ma=61.0, ohms_read=321.0)
    assert counted_in(at)["Entered here"] == "321 Ω of the whole winding; the set's demand of 61 mA"
    assert "Simulated practice unit" not in text_of(at)
    at.button(key="clear").click().run()
    enter(at, **READINGS)
    made_from = counted_in(at)
    assert [*made_from] == ["Entered here", "As the form starts", "Left out"]
    assert "at 20 °C; metal of its wire: copper, or not known" in made_from["As the form starts"]
    assert made_from["Left out"] == "core; wire; primary; weight; the set's demand; heater windings"
    likely = re.search(r"likely <b>(\d+) mA", text_of(at))
    assert likely
    said = text_of(enter(at, demand_ma=float(likely[1]) + 0.3))
    assert said.count(f"{likely[1]} mA asked: about the likely {likely[1]} mA; odds") == 1
    assert f"The set draws {likely[1]} mA; odds that it is rated for that: " in said


def test_the_form_makes_of_every_practice_unit_the_same_unit_again() -> None:
    units = calib.read_unknown(calib.shipped("datasets/practice/unknown.csv")).to_dict("records")
    assert units
    left_out = {"recorded_on", "notes", "simulated", "primary_resistance_ohm", "weight_kg", "conductor"}
    for unit in units:
        again = readings.understand(what_can_it_give.START | readings.entries_of(unit)).record
        for name in unit.keys() - left_out:
            if unit[name] not in ("", None) and unit[name] == unit[name]:
                assert getattr(again, name) == pytest.approx(unit[name]), name


def test_every_page_says_which_register_is_open_and_that_nothing_is_certified(visit: Path) -> None:
    at = opened()
    for page in ("", KNOWN, SIZE):
        said = text_of(at.switch_page(page).run() if page else at)
        assert "your register" in said
        assert "It estimates and does not certify" in said
    visit.write_text("no register")
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert not at.exception
    assert at.error[0].value.startswith("The register cannot be opened")


def body_of(at: AppTest) -> str:
    """What the page says, without its style sheet."""
    return "\n".join(said for said in text_of(at).splitlines() if "<style>" not in said and "{" not in said)


def test_improbable_readings_stand_with_the_answer_as_with_their_field() -> None:
    said = text_of(at := enter(opened(), **READINGS | {"excitation_v": "300", "volts_read": "1675.7"}))
    assert (
        "Worth a second look, volts on the primary: 300 V is unusual: most are 0.5 to 60 V; did you mean 30 V" in said
    )
    assert "Most likely" in said
    said = text_of(enter(at, **READINGS | {"ohms_read": "0.1886", "winding_temp_c": 68.0}))
    assert "Look again: 68 °C is unusual: most are 5 to 40 °C; did you mean 20 °C (typed in °F)" in said
    assert "0.1886 Ω is unusual: most are 5 to 10000 Ω; did you mean 18.86 Ω" in said
    assert "or 188.6 Ω (typed in kilohms)?" in said
    assert "Worth a second look" not in text_of(enter(at, **READINGS, winding_temp_c=20.0))


def test_a_fit_that_did_not_come_to_rest_is_said_beside_answer_and_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    context._fitted.clear()
    monkeypatch.setattr(variance_components, "MODE_ROUNDS", 1)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened()
    assert "The fit behind this did not come to rest: its figures may still move." in text_of(at)
    at.switch_page(SIZE).run()
    assert "evidence: not settled in 1 of at most 1 rounds." in text_of(at)
    context._fitted.clear()


def test_the_sheets_of_the_core_open_the_fields_of_their_window() -> None:
    at = enter(opened(), tongue="20", stack="27")
    assert "M65 (unverified) has that tongue too" in text_of(at)
    at.selectbox(key="read_lamination").set_value("m").run()
    assert "Its window, 12.5 by 45 mm, 5.62 cm²" in text_of(at)
    at = enter(at, window_width="12,0", window_height="44 mm")
    assert "Window 12 by 44 mm, 5.28 cm², as measured." in text_of(at)


def test_readings_that_do_not_go_together_are_questioned_and_no_current_shown_where_none_can_be(
    visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A resistance four times too low (halves in parallel, say); then a wire's millimetres typed as its gauge: no
    sentence, odds or picture, nor the other filter's."""
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened()
    assert "PRACTICE REGISTER" in text_of(at)
    at.button(key="fill_in").click().run()
    ohms = number(at, "read_ohms_read")
    assert ohms
    assert "calib-doubt" not in body_of(at)
    enter(at, ohms_read=ohms / 4)
    assert "calib-doubt" in body_of(at)
    enter(at, ohms_read=ohms, wire=0.19, tongue=28.0, stack=30.0, demand_ma=70.0)
    said = body_of(at)
    assert "No current is told" in said
    assert "wire diameter in mm taken for its gauge" in said
    assert "Worth a second look, wire gauge: 0.19 AWG is unusual: most are 18 to 44 AWG; did you mean 32.5 AWG" in said
    assert (
        "core with a tongue of 28 mm; a stack of 30 mm; wire AWG 0.19; the set's demand of 70 mA"
        in (counted_in(at)["Entered here"])
    )
    assert "The readings that disagree" in said
    assert "What each repair would give" in said
    for word in ("Most likely", "count on", "Odds that", 'id="other-filter"', "The opinions"):
        assert word not in said
    assert not at.get("vega_lite_chart")
    assert "not told, since its readings do not go together" in said
    assert "190000" not in said
    enter(at, wire=None)
    assert "Most likely" in body_of(at)
    assert at.get("vega_lite_chart")
    at.radio(key=context.CHOICE).set_value(context.OWN).run()
    assert "PRACTICE REGISTER" not in text_of(at)
    assert visit.name in text_of(at)


def test_the_gauge_of_its_wire_alone_is_answered_and_asked_with_its_caution(visit: Path) -> None:
    at = opened()
    assert "Or the gauge of its wire alone" in text_of(at)
    order = [str(getattr(one, "label", "") or getattr(one, "value", "")) for one in walk(at.main)]
    fine = next(place for place, said in enumerate(order) if "fine wire breaks where it was nicked" in said)
    assert fine < order.index("Wire of the high-voltage winding")
    at = enter(at, wire="34")
    with calib.Register(visit) as register:
        model = calib.fit(register.known(), published=True)
    wired = {"unit": "u", "rectifier": "full-wave", "filter": "capacitor", "awg": 34}
    told = calib.estimate_unit(model, wired)
    assert not at.error
    assert "Still needed" not in text_of(at)
    assert f"likely <b>{told.answer['rated_current_ma'].iloc[0]:.0f} mA</b>" in text_of(at)
    assert counted_in(at)["Left out"].startswith("voltage; resistance; core")
    assert "no resistance was read" in text_of(at).lower()


def test_a_likely_slip_is_put_right_by_one_click_and_undone_by_another() -> None:
    """Of a practice unit, whose readings stay a practice unit's; both answers stand side by side before the click."""
    at = opened(register="practice")
    sound = at.text_input(key="read_ohms_read").value
    enter(at, ohms_read=float(sound) / 1000)
    assert "No current is told" in text_of(at)
    assert "as read" in text_of(at)
    at.text_input(key="read_ohms_read").set_value(f"{float(sound) / 1000:.6g}").run()
    offered = at.get_by_key("repair")
    assert offered.label == "The ohms were kilohm: put it right"
    offered.click().run()
    assert not at.exception
    assert at.radio(key="read_ohms_read_unit").value == "kΩ"
    said = unescaped(text_of(at))
    assert f"is now {float(sound) / 1000:.6g} kΩ" in said
    assert "Most likely" in said
    at.get_by_key("repair_undo").click().run()
    assert at.radio(key="read_ohms_read_unit").value == "Ω"
    assert "No current is told" in text_of(at)


def test_what_a_click_put_right_is_forgotten_once_the_reading_is_changed_by_hand() -> None:
    at = enter(opened(), **READINGS | {"ohms_read": 0.1886})
    at.get_by_key("repair").click().run()
    enter(at, ohms_read=0.19)
    assert "Put right by a click" not in text_of(at)
    assert not [one for one in at.button if one.key == "repair_undo"]
