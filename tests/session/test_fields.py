"""Nonsense is refused with the limit that it broke and what was probably meant, in the unit that it was typed in."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, strategies as st

from calib.session import readings as r
from calib.session.fields import as_shown, gathered, merge
from calib.session.meters import NULL
from calib.session.protocol import BY_NAME, practice_entries
from tests.session.test_readings import ENTRIES

INCHES = {"tongue": 1.0, "tongue_unit": "in", "stack_unit": "in"}
FAHRENHEIT = {"winding_temp_c_unit": "°F"}


@pytest.mark.parametrize(
    ("entry", "field", "limit", "meant"),
    [
        ({"tongue": 28.0, "stack": 4000.0}, "stack", "4000: is outside the limits, 3 to 500 mm", "40 mm (the decimal"),
        # 3 mm and 500 mm over 25.4 mm; 40 itself lies where stacks in mm do
        (INCHES | {"stack": 40.0}, "stack", "40 in: is outside the limits, 0.1181 to 19.69 in", "40 mm?"),
        (
            INCHES | {"stack": 1250.0},
            "stack",
            "1250 in: is outside the limits, 0.1181 to 19.69 in",
            "1.25 in (the decimal point slipped",
        ),
        # -40 is the same on both scales, 200 °C is 392 °F
        (
            FAHRENHEIT | {"winding_temp_c": 700.0},
            "winding_temp_c",
            "700 °F: is outside the limits, -40 to 392 °F",
            "70 °F",
        ),
        ({"winding_temp_c": 500.0}, "winding_temp_c", "500: is outside the limits, -40 to 200 °C", "5 °C (the decimal"),
        ({"wire": 330.0}, "wire", "330: is outside the limits, 0 to 50 AWG", "33 AWG"),
        (
            {"wire": 12.4, "wire_unit": "in"},
            "wire",
            "12.4 in: is outside the limits, 0.0003937 to 0.3937 in",
            "0.0124 in",
        ),
        (
            {"line_voltage_v": -117.0},
            "line_voltage_v",
            "-117: is outside the limits, above 0 to 10000 V",
            "117 V (a stray",
        ),
    ],
)
def test_nonsense_is_refused(entry: dict[str, Any], field: str, limit: str, meant: str) -> None:
    understood = r.understand(ENTRIES | entry)
    assert understood.unit is None
    assert understood.faults[field].startswith(f"{limit}; did you mean {meant}")
    assert "If not, check the reading and its unit" in understood.faults[field]


@pytest.mark.parametrize(
    ("entry", "field", "said"),
    [
        ({"ohm_leads": NULL, "null_ohm": 94.3}, "null_ohm", "94.3: is no less than the reading, 94.3 Ω"),
        ({"null_u_ohm": -0.1}, "null_u_ohm", "-0.1: is outside the limits, 0 to 10 Ω"),
        ({"temp_within_k": 40.0}, "temp_within_k", "40: is outside the limits, 0 to 30 °C"),
        ({"rest_h": -1.0}, "rest_h", "-1: is outside the limits, 0 to 10000 h"),
        ({"wire_unit": "SWG", "wire": 3.0}, "wire", "SWG is 3"),
    ],
)
def test_what_only_the_form_knows_is_refused_too(entry: dict[str, Any], field: str, said: str) -> None:
    understood = r.understand(ENTRIES | entry)
    assert understood.unit is None
    assert understood.faults[field].startswith(said)


@pytest.mark.parametrize(
    ("entry", "field", "said"),
    [
        # (70 - 32) / 1.8 = 21.1
        (
            {"winding_temp_c": 70.0},
            "winding_temp_c",
            "70 °C is unusual: most are 5 to 40 °C; did you mean 21.111 °C (typed",
        ),
        (
            FAHRENHEIT | {"winding_temp_c": 20.0},
            "winding_temp_c",
            "20 °F is unusual: most are 41 to 104 °F; did you mean 20 °C?",
        ),
        ({"tongue": 28.0, "stack": 300.0}, "stack", "300 mm is unusual with a tongue of 28 mm."),
        # 117 V x 1.30 / 4.97 = 30.6 V
        ({"volts_read": 0.65}, "volts_read", "The no-load voltage that the ratio test gives, 30.6 V is unusual"),
        ({"wire": 3.0}, "wire", "3 AWG is unusual: most are 18 to 44 AWG; did you mean 30 AWG"),
    ],
)
def test_what_is_improbable_is_doubted_and_not_refused(entry: dict[str, Any], field: str, said: str) -> None:
    understood = r.understand(ENTRIES | entry)
    assert understood.unit is not None
    assert said in understood.unusual[field]


def test_what_is_gathered_from_the_fields_is_what_they_show() -> None:
    """Every step of a session, taken out of its fields and put back in."""
    for name, entries in practice_entries().items():
        step = BY_NAME[name]
        fields = {one.name: (as_shown(one, entries.get(one.name)), None) for one in step.fields.values()}
        assert gathered(step, entries, fields) == (entries, False)
        assert {one: as_shown(step.fields[one], entries.get(one)) for one in step.fields} == {
            one: value for one, (value, _) in fields.items()
        }


@pytest.mark.parametrize(
    ("gone", "typed", "forgotten"),
    [
        (("tag",), {}, False),  # a person empties one field at a time
        (("tag", "marks"), {}, True),
        (("tag",), {"from_what": "a radio"}, True),
    ],
)
def test_a_window_that_forgot_its_fields_is_told_from_a_person_who_empties_one(
    gone: tuple[str, ...], typed: dict[str, str], forgotten: bool
) -> None:
    before = {"tag": "AL-5", "marks": "none", "notes": "dusty"}
    fields = {name: ("" if name in gone else value, None) for name, value in {**before, **typed}.items()}
    found = gathered(BY_NAME["look"], before, fields)
    left = before if forgotten else {name: value for name, value in before.items() if name not in gone}
    assert found == ({**left, **typed}, forgotten)


fields = st.dictionaries(st.sampled_from("abc"), st.integers(0, 3), max_size=3)
sides = st.dictionaries(st.sampled_from(["look", "core"]), fields, max_size=2)


@given(sides, sides, sides)
def test_a_merge_takes_mine_where_i_changed_it_and_theirs_elsewhere(
    base: dict[str, Any], mine: dict[str, Any], theirs: dict[str, Any]
) -> None:
    def value(side: dict[str, Any], step: str, name: str) -> Any:
        return side.get(step, {}).get(name)

    merged = merge(base, mine, theirs)
    for step in ("look", "core"):
        for name in "abc":
            was, own, other = (value(side, step, name) for side in (base, mine, theirs))
            assert value(merged, step, name) == (own if own != was else other)
