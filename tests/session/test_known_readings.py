"""What the form for a known unit amounts to: units converted once, what is missing, refused or doubted."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

import calib
from calib.session.meters import FOUR_WIRE, NULL
from calib.session.readings import known_fields, understand_known
from tests.app.visits import UNIT
from tests.counts import share


def understood(**changes: Any) -> Any:
    return understand_known(UNIT | changes, (), simulated=False)


def test_a_sound_form_is_the_record_that_python_makes() -> None:
    assert understood().record == calib.KnownUnit.parse(UNIT)
    assert understood().missing == understood().faults == understood().unusual == understood().aloud == {}


def test_every_unit_is_converted_once_and_said() -> None:
    """68 °F is 20 °C, 1 1/4 in 31.75 mm, 10 lb 4.5359237 kg (NIST SP 811), 0.1886 kilohm 188.6 ohm."""
    typed = {
        "winding_temp_c": 68.0,
        "tongue_mm": 1.25,
        "stack_mm": 1.25,
        "weight_kg": 10.0,
        "hv_resistance_ohm": 0.1886,
    }
    units = {"winding_temp_c": "°F", "tongue_mm": "in", "stack_mm": "in", "weight_kg": "lb", "hv_resistance_ohm": "kΩ"}
    found = understood(**typed, **{f"{name}_unit": unit for name, unit in units.items()})
    kept = {name: getattr(found.record, name) for name in typed}
    assert kept == {
        "winding_temp_c": 20.0,
        "tongue_mm": 31.75,
        "stack_mm": 31.75,
        "weight_kg": 4.5359237,
        "hv_resistance_ohm": 188.6,
    }
    assert found.aloud["winding_temp_c"] == "68 °F is 20 °C."
    assert found.aloud["stack_mm"] == "1.25 in (1 1/4) is 31.75 mm. 10.1 cm² of core."
    assert found.aloud["lamination"] == "Nearest stock sheet: EI-95 or EI-125, tongue 31.75 mm."
    assert set(found.aloud) == {*typed, "lamination"}


@pytest.mark.parametrize(
    ("size", "unit", "column", "value"),
    [
        (31.0, None, "awg", 31.0),
        (30.0, "SWG", "wire_diameter_mm", 0.31496),
        (0.0124, "in", "wire_diameter_mm", 0.31496),
    ],
)
def test_the_wire_by_any_gauge(size: float, unit: str | None, column: str, value: float) -> None:
    """SWG 30 is 12.4 mil (BS 3737)."""
    found = understood(wire=size, wire_unit=unit)
    assert getattr(found.record, column) == pytest.approx(value)
    assert "mm bare" in found.aloud["wire"]


def test_what_is_empty_is_missing_and_what_is_wrong_is_a_fault() -> None:
    found = understood(evidence=None, hv_v=None, stack_mm=12.0, stack_mm_unit="in", rated_current_ma=0.0)
    assert found.record is None
    assert set(found.missing) == {"evidence", "hv_v", "tongue_mm"}
    assert found.missing["evidence"].startswith("empty: is needed; fill it in")
    assert set(found.faults) == {"rated_current_ma"}
    assert found.faults["rated_current_ma"].startswith("0: is outside the limits, 0.1 to 100000 mA")


def test_a_fault_is_told_in_the_unit_that_was_typed() -> None:
    """3 mm and 500 mm over 25.4 mm."""
    found = understood(tongue_mm=1.0, tongue_mm_unit="in", stack_mm=40.0, stack_mm_unit="in")
    assert found.faults["stack_mm"].startswith("40 in: is outside the limits, 0.1181 to 19.69 in; did you mean 40 mm?")


def test_what_is_improbable_is_doubted_and_not_refused() -> None:
    found = understood(winding_temp_c=20.0, winding_temp_c_unit="°F", rated_current_ma=9000.0)
    assert found.record is not None
    assert found.unusual["winding_temp_c"] == "20 °F is unusual: most are 41 to 104 °F; did you mean 20 °C?"
    assert "V/R" in found.unusual["rated_current_ma"]


@pytest.mark.parametrize(("ohm", "leads", "told"), [(3.2, None, True), (3.2, FOUR_WIRE, False), (12.0, None, False)])
def test_a_small_resistance_wants_four_wires(ohm: float, leads: str | None, told: bool) -> None:
    """Below about 5 ohm a two-wire reading is mostly leads."""
    aloud = understood(primary_resistance_ohm=ohm, ohm_leads=leads).aloud
    assert ("four wires" in aloud.get("primary_resistance_ohm", "")) == told


def test_a_practice_registers_unit_is_simulated() -> None:
    found = understand_known(UNIT, (), simulated=True)
    assert found.record is not None
    assert found.record.simulated


def test_the_form_asks_for_every_column_in_one_way_or_another() -> None:
    names = {one.name for one in calib.fields(calib.KnownUnit)}
    assert names - {one.name for one in known_fields()} == {
        *("awg", "wire_diameter_mm"),  # by the wire, any gauge
        *("u_voltage_pct", "u_resistance_pct"),  # by the meters
        "simulated",  # by the register
        "kept",  # by who looks a doubtful record through
    }


def test_numbers_are_read_as_people_write_them() -> None:
    typed = {"hv_v": "27,76", "excitation_v": "4,97 V", "hv_resistance_ohm": "0,1886 k", "rated_current_ma": "0.09 A"}
    found = understood(**typed)
    assert found.record == understood().record
    assert found.aloud["rated_current_ma"] == "0.09 A is 90 mA."
    assert found.aloud["hv_v"] == "Read as 27.76 V."


def test_what_is_no_number_is_a_fault_and_not_missing() -> None:
    found = understood(hv_v="27.76.1", rated_current_ma="ninety")
    assert set(found.faults) == {"hv_v", "rated_current_ma"}
    assert found.missing == {}
    assert found.record is None


@pytest.mark.parametrize("typed", ["1e300", "1e-300"])
def test_an_absurd_number_is_one_sentence_at_its_field_whichever_it_is(typed: str) -> None:
    for field in [*(one.name for one in known_fields() if one.kind == "number"), "wire"]:
        found = understood(**{field: typed})
        assert (found.record, list(found.faults)) == (None, [field])
        assert found.faults[field] == f"{typed}: is beyond what any reading can be; check the number and its unit."


@settings(deadline=None, max_examples=share(20, 60))
@given(
    st.dictionaries(
        st.sampled_from([*(one.name for one in known_fields() if one.kind == "number"), "null_ohm", "u_voltage_pct"]),
        st.sampled_from(["-1", "0", "1e14", "-1e14", "1e-14", "-234.5", "0.001", "nan"])
        | st.floats()
        | st.text(max_size=8),
    ),
    st.booleans(),
)
def test_whatever_is_typed_ends_in_a_record_or_in_sentences_beside_the_fields(typed: dict[str, Any], net: bool) -> None:
    found = understood(**typed, **({"ohm_leads": NULL} if net else {}))
    assert (found.record is None) == bool(found.missing or found.faults)
    assert all(said.endswith((".", "?")) for said in found.faults.values())


def test_an_m65_is_no_ei_60() -> None:
    """Both have a tongue of 20 mm; the M65's window is 12.5 by 45 mm, 5.62 cm², where the EI's is 3 cm² (DIN 41302)."""
    core = {"tongue_mm": 20.0, "stack_mm": 27.0}
    assert understood(**core).aloud["lamination"] == (
        "Nearest stock sheet: EI-60, tongue 20 mm. M65 (unverified) has that tongue too, and another window: say which "
        "it is."
    )
    found = understood(**core, lamination="m", window_width_mm="12,5 mm", window_height_mm="45")
    assert found.record is not None
    assert (found.record.lamination, found.record.window_width_mm, found.record.window_height_mm) == ("m", 12.5, 45.0)
    assert found.unusual == {}
    assert found.aloud["lamination"].endswith("Window 12.5 by 45 mm, 5.62 cm², as measured.")
    assert (
        "say what the sheets are"
        in understood(**core, window_width_mm=12.5, window_height_mm=45.0).unusual["lamination"]
    )
