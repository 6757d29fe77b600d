"""The steps as data: what a session of before held is read on, and every code has its words."""

from __future__ import annotations

from typing import Any

import pytest

from calib.session.interpret import interpret
from calib.session.protocol import BY_NAME, JOINED, NEEDED, SAID, STEPS, practice_entries, translated
from tests.app.bench_visits import SESSION, with_more

# As a register holds it that was written before choices had codes of their own.
OLD: dict[str, dict[str, Any]] = with_more(
    insulation={
        **{"between_1": "High voltage to core", "between_2": "Primary to all the rest, core and screen"},
        **{"test_v_2": 1000.0, "megohm_2": "300", "temp_c_2": 20.0},
        **{"between_3": "Bias winding to core", "test_v_3": 500.0, "megohm_3": 200.0, "temp_c_3": 20.0},
    }
)


def test_a_session_that_holds_words_for_codes_is_read_on() -> None:
    now = with_more(insulation={**OLD["insulation"], "between_1": "hv-core", "between_2": "primary-rest"})
    assert translated(OLD) == now
    assert translated(now) == now
    old, new = interpret(OLD), interpret(now)
    assert old.steps["insulation"].lines == new.steps["insulation"].lines
    assert old.steps["insulation"].known["plan"] == new.steps["insulation"].known["plan"]
    assert any(line.startswith("Bias winding to core: 200 MΩ") for line in old.steps["insulation"].lines)


def test_what_no_step_asks_is_left_as_it_was() -> None:
    strange = {"look": {"tag": "AL-5", "hue": "red"}, "gone": {"between_1": "High voltage to core"}}
    assert translated(strange) == strange


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_what_hangs_on_a_choice_hangs_on_one_that_there_is(step: Any) -> None:
    for one in step.fields.values():
        for name, allowed in one.when.items():
            assert {*allowed} <= {*step.fields[name].choices}
        assert (one.kind in ("choice", "several", "pick", "meter")) == bool(one.choices)
        if one.kind == "number" and one.unit != "wire":
            assert one.limits is not None
            assert one.usual is None or one.limits[0] <= one.usual[0] < one.usual[1] <= one.limits[1]


def test_codes_that_the_functions_know_are_choices_with_words() -> None:
    tests = {*BY_NAME["insulation"].fields["between_1"].choices}
    assert {*NEEDED, *JOINED.values(), *(code for ways in NEEDED.values() for way in ways for code in way)} <= tests
    assert {*JOINED} <= {*BY_NAME["leads"].fields["core_joined"].choices}
    assert all(" " in SAID[code] for code in tests)


def test_a_code_that_a_field_does_not_have_is_an_error() -> None:
    with pytest.raises(KeyError, match="null-of is no choice of ohm_leads"):
        interpret(SESSION).steps["resistance"].checked.chose("ohm_leads", "null-of")


def test_the_session_to_practise_on_is_sound_and_asks_nothing_that_is_not_asked() -> None:
    entries = practice_entries()
    session = interpret(entries)
    assert session.findings == []
    assert {step: read.checked.faults for step, read in session.steps.items() if read.checked.faults} == {}
    kept_besides = {"simulated", "names", "readings"}
    for step, fields in entries.items():
        assert {*fields} - kept_besides <= {*BY_NAME[step].fields}
