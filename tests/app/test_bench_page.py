"""The page of the bench session without a browser: cautions first, what may be fed, what holds it up, the way on."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib.app import context as parts, session_state as state
from calib.session.protocol import STEPS
from tests.app.bench_visits import go, in_order, press, put_in, resumed, visit, with_more
from tests.app.visits import counted_in, number, settle, text_of, unescaped


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


def errors(at: AppTest) -> str:
    return unescaped("\n".join(str(one.value) for one in at.error))


def test_every_caution_of_a_step_stands_before_its_first_field(place: Path) -> None:
    at = visit()
    for step in STEPS:
        order = in_order(go(at, step.name).main)
        caution = next(number for number, said in enumerate(order) if step.cautions[0] in said)
        assert all(text in order[caution] for text in step.cautions)
        labels = {field.label for field in step.fields.values()}
        asked = [number for number, said in enumerate(order) if said in labels]
        assert all(caution < number for number in asked)
        assert bool(asked) == bool(step.parts)


def test_what_may_be_fed_stands_before_the_volts_and_is_never_rounded_up(place: Path) -> None:
    at = resumed(place, "ratio", with_more(ratio={"expected_hv_v": 653.505}))
    first = "Leads not yet proven: feed the winding of highest resistance, end to end, from zero to at most 30 V"
    for said in (first, "Primary proven: feed it at most 5.37 V"):  # IEC 61010-1: 117 V and 653.505 V: 5.3710 V
        order = in_order(at.main)
        told = next(number for number, one in enumerate(order) if said in one and one.startswith("**Caution.**"))
        assert told < order.index("Volts fed in")
        put_in(at, "ratio", proven="proven")


def test_a_test_fed_from_the_high_voltage_side_fills_the_same_fields(place: Path) -> None:
    """The same two voltages, whichever winding was fed."""
    fed = {"fed": "high-voltage", "excitation_v": 27.76, "primary_v": 4.97, "hv_half_1_v": None, "hv_half_2_v": None}
    at = resumed(place, "ratio", with_more(ratio=fed))
    assert errors(at) == ""
    press(go(at, "sum"), "bench_fill")
    assert (number(at, "read_excitation_v"), number(at, "read_volts_read")) == (4.97, 27.76)


def test_more_than_is_allowed_and_a_test_without_one_of_the_insulation_are_warned_of_at_once(place: Path) -> None:
    at = resumed(place, "ratio", {"ratio": {"line_voltage_v": 117.0, "excitation_v": 12.0}})
    assert "No insulation test is noted" in text_of(at)
    assert "12 V fed in is more than the 3.51 V allowed so far" in errors(at)
    put_in(at, "ratio", hv_v=67.0)
    assert "67 V across the high-voltage winding: above 30 V" in errors(at)
    assert "Feed 5.37 V at most" in errors(at)


def test_what_the_parts_work_at_stands_before_their_readings(place: Path) -> None:
    """350-0-350 on 230 V: 545 V to the core, and 1089 V to the rectifier's heater, by steps of 500 and 1000 V."""
    volts = {"circuit": "full-wave", "works_hv_v": 700.0, "works_line_v": 230.0}
    order = in_order(resumed(place, "insulation", {"insulation": volts}).main)
    (table,) = [number for number, said in enumerate(order) if "works at, peak" in said]
    for row in (
        'High voltage to core</td><td class="num">545',
        'High voltage to rectifier heater</td><td class="num">1089',
    ):
        assert f"{row}\u00a0V</td><td>500, 1000\u00a0V</td><td>not tested" in order[table]
    assert table < order.index("Reads")


def test_an_old_unit_is_to_be_tested_gently_first_and_rows_are_added_as_they_are_asked_for(place: Path) -> None:
    at = go(put_in(visit(), "look", decade="before-1940"), "insulation")
    assert "begin with 250 V" in text_of(at)
    press(go(at, "resistance"), "bench_more_resistance_heaters")
    put_in(at, "resistance", heater_name_3="brown")
    assert "**Heater winding brown**" in unescaped(text_of(go(at, "ratio")))


def test_done_steps_say_so_in_words(place: Path) -> None:
    volts = {"hv_half_1_v": None, "hv_half_2_v": None}
    at = resumed(place, "core", with_more(wire={"wire_by": None, "wire": None, "wire_unit": None}, ratio=volts))
    labels = {step.name: at.button(key=f"bench_go_{step.name}").label for step in STEPS}
    assert labels["core"] == "▸ 6 Core ✓ done"
    assert (labels["ratio"], labels["wire"]) == ("5 Ratio", "7 Wire")
    put_in(at, "core", stack=4000.0)
    assert at.button(key="bench_go_core").label == "▸ 6 Core"
    assert "did you mean 40 mm" in errors(at)
    said = text_of(go(at, "sum"))
    assert "There is something to mend at: Core." in said
    assert "Still needed for an estimate: volts read on the high-voltage winding." in said


def test_the_session_shows_its_answer_and_the_form_that_it_fills_the_same(place: Path) -> None:
    """The figures of both pages are those of calib.estimate_unit on a table of the session's readings, halves too."""
    metal, temp_c = "aluminium", 31.0
    at = resumed(place, "sum", with_more(resistance={"conductor": metal, "winding_temp_c": temp_c}))
    shown = text_of(at).replace("\u00a0", " ")
    assert "653.5 V" in shown
    assert "3.1 V (0.48 %)" in shown
    assert "Still needed" not in shown
    press(at, "bench_fill")
    assert at.radio(key="read_conductor").value == metal
    assert at.title[0].value == "What can it give?"
    assert number(at, "read_volts_read") == pytest.approx(27.76)
    table = place.with_name("unknown.csv")
    heads = (
        "unit,rectifier,filter,line_voltage_v,line_frequency_hz,centre_tapped,excitation_v,hv_v,hv_resistance_ohm,"
        "winding_temp_c,conductor,tongue_mm,stack_mm,awg,u_voltage_pct,u_resistance_pct,weight_kg,"
        "hv_half_1_ohm,hv_half_2_ohm\n"
    )
    read = f"AL-5,full-wave,capacitor,117,60,true,4.97,27.76,188.6,{temp_c},{metal},28.6,31,31,0.476476,0.679534,1.55,"
    with calib.Register(place) as register:
        model = calib.fit(register.known(), published=True)
    table.write_text(f"{heads}{read}94.3,94.3\n")
    answer = calib.estimate_unit(model, calib.read_unknown(table)).answer.iloc[0]
    for said in (shown, text_of(at)):
        assert f"ost likely <b>{answer['rated_current_ma']:.0f} mA</b>" in said  # Most, or most after a doubt's word
        assert f"between <b>{answer['low_ma']:.0f} and {answer['high_ma']:.0f} mA</b>" in said
    assert "SIMULATED" not in text_of(at)


def test_what_the_form_asks_besides_stays_when_it_is_filled(place: Path) -> None:
    at = resumed(place, "sum")
    at.session_state["read_demand_ma"] = 70.0
    at.session_state["read_rectifier"] = "bridge"
    press(at, "bench_fill")
    assert number(at, "read_demand_ma") == 70.0
    made_from = counted_in(at)
    assert made_from["Entered here"] == "bridge: four diodes; the set's demand of 70 mA"
    assert "188.6 Ω of the whole winding" in made_from["The bench session of AL-5"]
    assert "core with a tongue of 28.6 mm; a stack of 31 mm; wire AWG 31" in made_from["The bench session of AL-5"]
    assert at.selectbox(key="read_rectifier").value == "bridge"


def test_a_practice_session_says_so_and_so_does_the_form_that_it_fills(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = press(visit(), "bench_practise")
    assert "PRACTICE REGISTER" in text_of(at)
    assert "practice, in the simulated register" in text_of(at)
    go(at, "sum")
    said = text_of(at)
    assert "the readings are a practice unit's: this says nothing about a real unit" in said
    assert "Heater winding 6-7" in said
    assert "The core by itself: the core carries about" in unescaped(said)
    assert counted_in(at)["As the form starts"] == "full-wave: centre tap, two diodes; capacitor first"
    assert not at.error
    press(at, "bench_fill")
    assert "Simulated practice unit <b>AL-5</b>" in text_of(at)


def test_a_meter_of_the_register_can_be_chosen_and_one_that_it_lost_stays_chosen(place: Path) -> None:
    with calib.Register(place) as register:
        figures = {"percent": 0.2, "counts": 2, "resolution": 0.1}
        register.keep_meter(calib.Meter.parse({"name": "Blue", "reads": "ohm", "range_label": "200 Ω", **figures}))
    at = resumed(place, "resistance", with_more(resistance={"ohmmeter": "Red, 200 Ω"}))
    assert parts.DISCLAIMER in text_of(at)
    assert at.selectbox(key=state.key("resistance", "ohmmeter")).value == "Red, 200 Ω"
    assert "Red, 200 Ω is not on your list now" in text_of(at)
    put_in(at, "resistance", ohmmeter="Blue, 200 Ω")
    assert "Meter: Blue, 200 Ω, ±(0.2 % + 2 × 0.1 Ω)" in text_of(at)
