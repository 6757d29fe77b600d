"""The page that tells leads apart: one pair at a time or in the grid, kept with the session on the bench."""

from __future__ import annotations

import pytest

import calib
from tests.show import visits

PAGE = "calib/show/pages/which_lead_is_which.py"


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
        at.number_input(key=f"leads_next_{pair}").set_value(value)
        at.button(key="leads_put").click().run()
    assert not at.exception
    return at


def answered(at, readings: dict[str, float]):
    """Each pair that the page asks for, once; open where the dictionary has no reading of it."""
    done: set[str] = set()
    while True:
        asked = [one.key.removeprefix("leads_next_") for one in at.number_input if one.key.startswith("leads_next_")]
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


def test_what_is_read_is_kept_in_the_register_and_there_at_the_next_visit(own):
    put(put(tagged(), "1_2", 148.2), "1_3", None)
    with calib.Register(own) as register:
        session = register.session(register.sessions()["session_id"].iloc[0])
    assert session.entries["leads"] == {"names": ["1", "2", "3"], "readings": [["1", "2", "148.2"], ["1", "3", "open"]]}


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


def test_a_wrong_cell_is_named_and_the_rest_is_not_lost(own):
    at = put(tagged(), "1_2", 148.2)
    turn = at.session_state["leads_turn"]
    at.session_state[f"leads_grid_{turn}"] = {"edited_rows": {0: {"3": "12,5"}}, "added_rows": [], "deleted_rows": []}
    at.run()
    said = visits.text_of(at)
    assert "1 to 3: &#x27;12,5&#x27; is no resistance" in said
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


def test_tags_that_stand_twice_are_said(own):
    at = tagged("1, 2, 1")
    assert "'1' stands twice" in visits.unescaped(at.error[0].value)
