"""'Prove it': plan, forecast and result of a heat run, the estimate that it moves, the form that it fills; refusals."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from calib import Register, RegisterError
from tests.app.visits import opened, settle, text_of as said_by
from tests.scenes.nonsense import ENTRIES, RUNS, SOUND

PAGE = "calib/app/pages/prove_it.py"
HOT = "\n".join(
    ("20 76.76", "35 76.51", "50 76.26", "65 76.01", "90 75.62", "120 75.15", "150 74.72", "180 74.31", "240 73.48")
)
READ = {"cold_ohm": "62,15", "cold_temp_c": "20.4", "ambient_start_c": "21", "ambient_end_c": "22", "load_ma": "92"}


def text_of(at: AppTest) -> str:
    return said_by(at).replace("\\", "")


def typed(at: AppTest, **values: str) -> AppTest:
    for name, value in values.items():
        at.text_input(key=f"heat_{name}").set_value(value)
    at.run()
    assert not at.exception
    return at


def use(at: AppTest, **said: str) -> AppTest:
    """Say something of the unit on the home page."""
    for name, value in said.items():
        at.session_state["kept"] = {**at.session_state["kept"], f"read_{name}": value}
        at.session_state[f"read_{name}"] = value
    return at


def test_a_run_is_planned_forecast_and_reckoned_and_moves_the_estimate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened(PAGE)
    assert "Attended throughout" in at.warning[0].value
    assert "prove it dead with a meter" in text_of(at)
    typed(at, dc_v="320", **READ)
    assert "which turns 29.4 W to heat" in text_of(at)
    assert "From stock" in text_of(at)
    at.text_area(key="heat_entries").set_value("20 69.0 21\n40 73.0 21.5\n60 77.0 22\n90 81 22").run()
    assert "Stop now" in text_of(at)
    assert "You allow 45 K here" in text_of(at)
    at.text_area(key="heat_readings").set_value("20 76.76\n35 76.51").run()
    assert "2 readings are too few" in text_of(at)
    at.text_area(key="heat_readings").set_value(f"{HOT}\n300 <b>x</b>").run()
    assert "ohms of the winding, line 10 '<b>x</b>': is not a number" in text_of(at)
    at.text_area(key="heat_readings").set_value(HOT).run()
    assert not at.exception
    said = text_of(at)
    assert "Mean rise of the winding at switching off" in said
    assert "For the register, 60 K by resistance in 40 °C air: " in said
    assert "Before the run the readings said" in said
    assert "Ω at switching off, a mean rise of" in said
    assert "Way B, all free, over 240 s" in said
    assert "20 s" in said
    at.text_area(key="heat_line_readings").set_value("27 7.67\n42 7.64\n57 7.62\n80 7.58\n110 7.53").run()
    assert "the primary was read hot and not cold" in text_of(at)
    said = text_of(typed(at, line_ohm_cold="6.1"))
    assert "Mean rise of the primary then: 6" in said
    assert "it limits the unit, not this winding" in said
    typed(at, copper_w="9.8", idle_rise_k="23.5")
    assert "The iron's loss: 6." in text_of(at)
    typed(at, ambient_end_c="")
    assert "Air when the line was opened: is empty" in text_of(at)


def test_what_no_unit_gives_is_one_error_above_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readings after switching off and entries while it runs, both wrong at once: one error each, and no figure."""
    settle(tmp_path, monkeypatch)
    at = opened(PAGE)
    these = ("it warms after switching off", "hot ones halved", "one times 1000", "two readings")
    cases = zip(these, list(ENTRIES)[: len(these)], strict=True)
    for case, while_it_runs in cases:
        changed, seconds, ohm, said = RUNS[case]
        for name, value in (SOUND | changed).items():
            if name != "allowed_rise_k":
                at.text_input(key=f"heat_{name}").set_value(f"{value:g}")
        entries, also = ENTRIES[while_it_runs]
        at.text_area(key="heat_entries").set_value("\n".join(" ".join(map(str, row)) for row in entries))
        rows = zip(seconds, ohm, strict=True)
        at.text_area(key="heat_readings").set_value("\n".join(f"{sec:g} {one:g}" for sec, one in rows)).run()
        assert not at.exception
        first, second = (one.value.replace("\\", "") for one in at.error)
        assert also in first
        assert said in second
        assert "Mean rise of the winding" not in text_of(at)


def test_a_winding_of_aluminium_is_reckoned_as_such(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rise = (R2/R1)(T0 + t1) - T0 - t_air: with T0 228.1 for 234.5 °C and R2/R1 1.2405 it is 1.54 K less."""
    settle(tmp_path, monkeypatch)
    at = opened(PAGE)
    at.text_area(key="heat_readings").set_value(HOT.replace("20 76.76", "20 s; 0,07676 kΩ"))
    said = "Mean rise of the winding at switching off: "
    copper, aluminium = (
        float(text_of(typed(use(at, conductor=metal), **READ)).split(said)[1].split()[0])
        for metal in ("copper", "aluminium")
    )
    assert copper - aluminium == pytest.approx(1.54, abs=0.11)  # each is printed to a tenth
    assert "Reckoned for a winding of aluminium" in text_of(at)


def test_a_run_outlives_a_reload_and_says_where_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Clock, entries, what was read and the metal come back in another visit; a register that is gone is said."""
    settle(tmp_path, monkeypatch)
    at = opened(PAGE)
    assert "Once the clock runs" in text_of(at)
    typed(use(at, conductor="aluminium"), cold_ohm="62,15", now_ohm="69 Ω", now_air_c="70 °F")
    at.button(key="prove_start").click().run()
    assert "The clock runs since" in text_of(at)
    assert at.button(key="prove_start").label == "Begin the clock anew"
    at.button(key="prove_note").click().run()
    assert not at.exception
    assert "Kept in the session at the bench of a unit without a tag" in text_of(at)
    entries, started = at.text_area(key="heat_entries").value, at.session_state["heat_started"]
    assert [float(one) for one in entries.split()[1:]] == pytest.approx([69.0, 21.1111], abs=1e-4)

    again = opened(PAGE)
    assert again.text_area(key="heat_entries").value == ""
    again.button(key="prove_go_on").click().run()
    assert not again.exception
    assert again.text_area(key="heat_entries").value == entries
    assert again.text_input(key="heat_cold_ohm").value == "62,15"
    assert again.session_state["heat_started"] == started
    assert "Reckoned for a winding of aluminium, as was said when this run was kept" in text_of(again)
    again.text_area(key="heat_entries").set_value(f"{entries}\n20 72 21").run()
    assert again.session_state["bench_revision"] == at.session_state["bench_revision"] + 1

    def full(*_: object, **__: object) -> None:
        raise RegisterError("the disk is full")

    monkeypatch.setattr(Register, "keep_session", full)
    again.text_area(key="heat_entries").set_value(f"{entries}\n20 73 21").run()
    assert not any(button.key == "prove_another" for button in again.button)
    assert "NOT kept, so that a reload would lose it: the disk is full" in text_of(again)


def test_a_run_of_one_unit_says_nothing_of_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = use(opened(PAGE), tag="AL-9").run()
    at.text_area(key="heat_readings").set_value(HOT)
    said = text_of(typed(at, **READ))
    assert "Kept in the session at the bench of AL-9" in said
    assert "Before the run the readings said" in said
    said = text_of(use(at, tag="AL-3").run())
    assert "This run is of AL-9, and under 'What can it give?' stands AL-3" in said
    assert "Before the run the readings said" not in said
    assert not any(button.key == "prove_known" for button in at.button)
    at.button(key="prove_is_of").click().run()
    assert "Kept in the session at the bench of AL-3" in text_of(at)
    at.button(key="prove_another").click().run()
    assert (at.text_area(key="heat_readings").value, at.text_input(key="heat_cold_ohm").value) == ("", "")
    assert any(option.startswith("AL-3, ") for option in at.selectbox(key="prove_which").options)


def test_one_click_carries_unit_current_and_evidence_to_the_known_units(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settle(tmp_path, monkeypatch)
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = opened(PAGE)
    at.text_area(key="heat_readings").set_value(HOT)
    typed(at, **READ)
    at.button(key="prove_known").click().run()
    kept = at.session_state["kept"]
    assert kept["add_evidence"] == "heat-run"
    assert 60.0 < float(kept["add_rated_current_ma"]) < 120.0
    assert float(kept["add_hv_resistance_ohm"]) > 0.0
