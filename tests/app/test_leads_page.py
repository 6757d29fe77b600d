"""The page that tells leads apart: one pair at a time or in the grid, kept with the session on the bench."""

from __future__ import annotations

import pytest

import calib
from tests.app import visits
from tests.app.bench_visits import METERS_SAY, go

PAGE = "calib/app/pages/which_lead_is_which.py"


@pytest.fixture
def own(tmp_path, monkeypatch):
    return visits.settle(tmp_path, monkeypatch)


def tagged(tags: str = "1, 2, 3"):
    at = visits.opened(PAGE)
    at.text_input(key="leads_tags").set_value(tags).run()
    assert not at.exception
    return at


def put(at, pair: str, value: float | None):
    if value is None:
        at.button(key="leads_open").click().run()
    else:
        visits.fill(at, f"leads_next_{pair}", value)
        at.button(key="leads_put").click().run()
    assert not at.exception
    return at


def answered(at, readings: dict[str, float]):
    """Each pair that the page asks for, once; open where the dictionary has no reading of it."""
    done: set[str] = set()
    while True:
        asked = [one.key.removeprefix("leads_next_") for one in at.text_input if one.key.startswith("leads_next_")]
        if not asked or asked[0] in done:
            return at
        done.add(asked[0])
        at = put(at, asked[0], readings.get(asked[0]))


def test_cautions_stand_before_the_first_field(own):
    at = visits.opened(PAGE)
    assert "discharge every capacitor" in visits.unescaped(at.warning[0].value)
    kinds = [type(one).__name__ for one in at.main]
    assert kinds.index("Warning") < kinds.index("TextInput")


def test_pair_by_pair_the_windings_emerge(own):
    at = answered(tagged("1, 2, 3, 4, 5"), {"1_2": 148.2, "2_3": 171.9, "1_3": 320.4, "4_5": 5.7})
    said = visits.unescaped(visits.text_of(at))
    assert "Do the ratio test" in said
    assert "high voltage (centre-tapped)" in visits.unescaped("".join(one.label for one in at.expander))
    at = go(at.switch_page(METERS_SAY).run(), "leads")
    found = {name: at.text_input(key=f"bench_in_leads_{name}").value for name in ("primary", "hv_ends", "hv_tap")}
    assert found == {"primary": "4-5", "hv_ends": "1 and 3", "hv_tap": "2"}


def test_what_is_read_is_kept_in_the_register_and_there_at_the_next_visit(own):
    put(put(tagged(), "1_2", 148.2), "1_3", None)
    with calib.Register(own) as register:
        session = register.session(register.sessions()["session_id"].iloc[0])
    kept = session.entries["leads"]
    assert (kept["names"], kept["readings"]) == (["1", "2", "3"], [["1", "2", "148.2"], ["1", "3", "open"]])


def test_the_grid_takes_what_is_typed_into_it(own):
    at = tagged()
    turn = at.session_state["leads_turn"]
    edits = {"edited_rows": {0: {"2": "148.2", "3": "OL"}}, "added_rows": [], "deleted_rows": []}
    at.session_state[f"leads_grid_{turn}"] = edits
    at.run()
    assert not at.exception
    with calib.Register(own) as register:
        session = register.session(register.sessions()["session_id"].iloc[0])
    assert session.entries["leads"]["readings"] == [["1", "2", "148.2"], ["1", "3", "open"]]


def test_a_decimal_comma_is_read_in_the_field_and_in_the_grid_and_said(own):
    at = tagged()
    visits.fill(at, "leads_next_1_2", "148,2 Ω")
    at.run()
    assert "Read as 148.2 Ω." in visits.text_of(at)
    at.button(key="leads_put").click().run()
    turn = at.session_state["leads_turn"]
    at.session_state[f"leads_grid_{turn}"] = {"edited_rows": {0: {"3": "1,2 k"}}, "added_rows": [], "deleted_rows": []}
    at.run()
    assert "1 to 3: 1.2 kΩ is 1200 Ω." in visits.text_of(at)
    with calib.Register(own) as register:
        session = register.session(register.sessions()["session_id"].iloc[0])
    assert session.entries["leads"]["readings"] == [["1", "2", "148.2"], ["1", "3", "1200"]]


def test_what_is_no_reading_stays_in_its_field_and_is_not_put_in(own):
    at = tagged()
    visits.fill(at, "leads_next_1_2", "1,234")
    at.button(key="leads_put").click().run()
    assert at.text_input(key="leads_next_1_2").value == "1,234"
    assert "1,234: may be 1.234 or 1234; write 1.234 or 1234" in visits.unescaped(at.error[0].value)
    with calib.Register(own) as register:
        assert len(register.sessions()) == 0


@pytest.mark.parametrize(
    ("typed", "why"), [("12..5", "has points and commas"), ("abc", "is not a number; write it in figures")]
)
def test_a_wrong_cell_is_named_and_the_rest_is_not_lost(own, typed, why):
    at = put(tagged(), "1_2", 148.2)
    turn = at.session_state["leads_turn"]
    at.session_state[f"leads_grid_{turn}"] = {"edited_rows": {0: {"3": typed}}, "added_rows": [], "deleted_rows": []}
    at.run()
    assert f"1 to 3: {why}" in visits.text_of(at).replace(f"{typed}: ", "")
    with calib.Register(own) as register:
        session = register.session(register.sessions()["session_id"].iloc[0])
    assert session.entries["leads"]["readings"][0] == ["1", "2", "148.2"]


def test_contradicting_readings_are_said_and_read_again(own):
    at = answered(tagged(), {"1_2": 148.2, "2_3": 171.9, "1_3": 250.0})
    assert any("contradict one another" in visits.unescaped(one.value) for one in at.error)
    assert any("It reads" in one.value for one in at.caption)


def test_the_practice_register_has_a_unit_to_practise_on(own, monkeypatch):
    monkeypatch.setenv("CALIB_PRACTICE", "1")
    at = visits.opened(PAGE)
    at.button(key="leads_practise").click().run()
    assert not at.exception
    said = visits.unescaped(visits.text_of(at))
    assert "SIMULATED" in said
    assert "high voltage (centre-tapped)" in visits.unescaped("".join(one.label for one in at.expander))
    at = go(at.switch_page(METERS_SAY).run(), "leads")
    found = {name: at.text_input(key=f"bench_in_leads_{name}").value for name in ("primary", "hv_ends", "hv_tap")}
    assert found == {"primary": "1-2", "hv_ends": "3 and 5", "hv_tap": "4"}


def test_tags_that_stand_twice_are_said(own):
    at = tagged("1, 2, 1")
    assert "'1' stands twice" in visits.unescaped(at.error[0].value)
