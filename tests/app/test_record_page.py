"""A record's own page: told, amended, refused where it was revised meanwhile, withdrawn and brought back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib.app import context
from tests.app import hostile
from tests.app.visits import KNOWN, UNIT, fill, opened, settle, text_of, unescaped

RECORD = "calib/app/pages/record.py"


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one record and one revision of it."""
    path = settle(tmp_path, monkeypatch)
    with calib.Register(path) as register:
        first = calib.KnownUnit.parse(UNIT)
        register.add(first, by="Alder Lane")
        register.amend(first.model_copy(update={"rated_current_ma": 95.0}), "Tin Street", "read the plate again")
    return path


def of(unit: str, contributor: str = "Alder Lane") -> AppTest:
    """The page of one record, as a link to it leads there."""
    at = opened()
    at.session_state[context.GO_TO] = (contributor, unit)
    at.run()
    assert not at.exception
    return at


def press(at: AppTest, key: str, why: str = "") -> AppTest:
    if why:
        at.text_input(key="seen_doubt_why").set_value(why)
    at.button(key=key).click().run()
    assert not at.exception
    return at


def ratings(path: Path) -> list[Any]:
    return calib.Register(path).known()["rated_current_ma"].tolist()


def test_it_tells_the_readings_what_they_come_to_and_the_history(own: Path) -> None:
    at = of("AL-7")
    assert (at.query_params["unit"], at.query_params["contributor"]) == ("AL-7", "Alder Lane")
    said = text_of(at)
    volts = 117 * 27.76 / 4.97
    for expected in (
        f"{volts:.4g} V",
        f"{95 / (volts / 188.6):.4g} mA per V",
        "This one is ringed",
        "Photographs and data sheets",
    ):
        assert expected in unescaped(said).replace("&NoBreak;", ""), expected
    for label, value in {
        "Centre tap": "yes",
        "Filter input": "capacitor first",
        "Winding resistance, Ω": "188.6",
    }.items():
        assert f'<td>{label}</td><td class="num">{value}</td>' in said
    assert "<td>Tin Street</td><td>read the plate again</td><td>Rated current, mA: 90 → 95</td>" in said


def test_each_step_wants_a_reason_and_can_be_undone(own: Path) -> None:
    at = press(of("AL-7"), "record_withdraw")
    assert "say why first" in unescaped(at.error[0].value)
    at = press(at, "record_withdraw", "it was a choke")
    assert ratings(own) == []
    assert "It was withdrawn: it was a choke" in unescaped(text_of(at))
    at = press(at, "doubt_undo")
    at = press(at, "record_go_back", "the plate was another's")
    assert ratings(own) == [90.0]
    at = press(at, "doubt_undo")
    assert ratings(own) == [95.0]
    at = press(press(at, "record_withdraw", "again"), "record_restore", "no, it counts")
    assert ratings(own) == [95.0]


def test_an_amendment_of_what_somebody_revised_meanwhile_is_refused_and_what_was_typed_stays(own: Path) -> None:
    at = press(of("AL-7"), "record_amend")
    fill(at, "amend_rated_current_ma", 80.0)
    at.run()
    fill(at, "amend_hv_resistance_ohm", -5.0)
    at.run()
    assert any("-5" in one.value for one in at.error)
    fill(at, "amend_hv_resistance_ohm", 188.6)
    at.run()
    register = calib.Register(own)
    register.amend(register.record("Alder Lane", "AL-7").model_copy(update={"rated_current_ma": 97.0}), "Oak Yard")
    at = press(at, "record_save", "typed wrong")
    assert "revised meanwhile by Oak Yard" in unescaped(text_of(at))
    assert at.text_input(key="amend_rated_current_ma").value == "80"
    at = press(at, "record_again")
    fill(at, "amend_rated_current_ma", 80.0)
    at = press(at.run(), "record_save", "typed wrong")
    assert ratings(own) == [80.0]
    after, before = register.record("Alder Lane", "AL-7").values(), calib.KnownUnit.parse(UNIT).values()
    assert {name for name in after if after[name] != before[name]} == {"rated_current_ma"}


def test_a_tag_that_is_there_asks_whether_to_amend_it_or_to_call_it_otherwise(own: Path) -> None:
    at = opened(KNOWN)
    for name, value in UNIT.items():
        fill(at, f"add_{name}", value)
    at = press(at.run(), "submit_unit")
    assert ratings(own) == [95.0]
    assert "Amend it, or another unit?" in unescaped(text_of(at))
    at = press(at, "there_another")
    assert at.text_input(key="add_unit").value == "AL-7 (2)"
    fill(at, "add_unit", "AL-7")
    at = press(press(at.run(), "submit_unit"), "there_amend")
    assert at.text_input(key="amend_rated_current_ma").value == "90"
    press(at, "record_save", "the first was right")
    assert ratings(own) == [90.0]


def test_what_never_was_is_said_so_and_stored_names_stay_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = settle(tmp_path, monkeypatch)
    hostile.fill(path, tmp_path)
    name = hostile.NAMES[0]
    at = of(f"{name} 0", name)
    said = "\n".join(str(one.value) for kind in ("header", "markdown", "warning") for one in getattr(at, kind))
    assert "![a](" not in said
    assert "<img src" not in "".join(str(one.proto.body) for one in at.get("html"))
    at.query_params["unit"] = "never was"
    at.run()
    assert not at.exception
    assert "There is no such record in your register" in unescaped(text_of(at))
