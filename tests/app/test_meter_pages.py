"""The user's own meters and units on the pages as the server runs them, without a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

import calib
from calib.session import meters as m
from tests.app.visits import HOME, KNOWN, READINGS, UNIT, enter, fill, number, opened, settle, text_of, unescaped

BLUE = {"name": "Blue", "reads": "volt", "range_label": "20 V", "percent": 1.0, "counts": 3.0, "resolution": 0.01}
OHMS = {"name": "Blue", "reads": "ohm", "percent": 0.8, "counts": 2.0, "resolution": 0.1}


@pytest.fixture(autouse=True)
def visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register of one's own, in a folder of the test's own."""
    return settle(tmp_path, monkeypatch)


@pytest.fixture
def listed(visit: Path) -> Path:
    """The register with two meters on its list."""
    with calib.Register(visit) as register:
        for one in (BLUE, OHMS):
            register.keep_meter(calib.Meter.parse(one))
    return visit


def keep(at: AppTest, **changes: Any) -> AppTest:
    at.toggle(key="meter_open").set_value(True).run()
    for name, value in (BLUE | changes).items():
        fill(at, f"meter_{name}", value)
    at.button(key="keep_meter").click().run()
    assert not at.exception
    return at


def test_a_meter_is_told_what_is_wrong_with_it_then_kept_and_can_be_chosen_on_both_forms(visit: Path) -> None:
    """1 % of 10 V and 3 steps of 0.01 V are 0.13 V."""
    at = keep(opened(), name="", percent=80.0, counts="three")
    said = " ".join(unescaped(one.value) for one in at.error)
    assert "Meter: empty: is needed" in said
    assert "+ counts: three: is not a number" in said
    assert "± per cent of reading: 80: is outside the limits, 0 to 50 %" in said
    with calib.Register(visit) as register:
        assert register.meters().empty
    for name, typed in {"percent": "1,0 %", "counts": "3", "resolution": "10 mV"}.items():
        fill(at, f"meter_{name}", typed)
    assert "A reading of 10 V is then good to ± 0.13 V." in text_of(at.run())
    fill(at, "meter_name", "Blue")
    at.button(key="keep_meter").click().run()
    assert "Blue, 20 V (volts) is on the list." in unescaped(at.success[0].value)
    with calib.Register(visit) as register:
        (row,) = register.meters().to_dict("records")
    assert {name: row[name] for name in BLUE} == BLUE
    ordinary, stated = "an ordinary digital meter", "I know its uncertainty"
    for prefix in ("read_", "add_"):
        assert at.selectbox(key=f"{prefix}voltmeter").options == [ordinary, "Blue, 20 V", stated]
        assert at.selectbox(key=f"{prefix}ohmmeter").options == [ordinary, stated]
        at.switch_page(KNOWN).run()


def test_the_meters_chosen_are_accounted_for_beside_the_answer_until_they_are_off_the_list(listed: Path) -> None:
    at = enter(opened(), **READINGS)
    assert "the voltmeter, an ordinary one being assumed" in text_of(at)
    at.selectbox(key="read_voltmeter").set_value("Blue, 20 V")
    at.selectbox(key="read_ohmmeter").set_value("Blue")
    at.radio(key="read_ohm_leads").set_value(m.NULL).run()
    enter(at, null_ohm=0.3)
    said = text_of(at)
    assert "188.6 Ω less the leads&#x27; 0.3 Ω is 188.3 Ω." in said
    assert "the last digits of the volts put in" in said
    assert "188.3 Ω of the whole winding" in said
    assert at.radio(key="read_volts_metered").value == m.SAME_RANGE
    at.radio(key="read_volts_metered").set_value(m.TWO_METERS).run()
    assert at.selectbox(key="read_second_voltmeter").options == ["Blue, 20 V"]
    assert "the voltmeter&#x27;s scale" in text_of(at)
    at.button(key="drop_meter_1").click().run()  # the ohms come first
    assert not at.exception
    assert at.selectbox(key="read_voltmeter").value == m.ORDINARY
    with calib.Register(listed) as register:
        assert register.meters()["reads"].tolist() == ["ohm"]
        assert register.meter_revisions()["action"].tolist() == ["keep", "keep", "drop"]


def test_a_known_unit_is_kept_in_si_with_the_uncertainty_of_the_meters_and_leaves_what_the_next_shares(
    listed: Path,
) -> None:
    """68 °F is 20 °C, 1 1/4 in 31.75 mm; the ratio by one meter and range at 4.97 V and 27.76 V (JCGM 100)."""
    at = opened(KNOWN)
    typed = UNIT | {"winding_temp_c": 68.0, "tongue_mm": 1.25, "stack_mm": 1.25, "wire": 31.0}
    for name, value in typed.items():
        fill(at, f"add_{name}", value)
    for name, unit in {"winding_temp_c": "°F", "tongue_mm": "in", "stack_mm": "in"}.items():
        at.radio(key=f"add_{name}_unit").set_value(unit)
    at.selectbox(key="add_voltmeter").set_value("Blue, 20 V").run()
    assert "68 °F is 20 °C." in text_of(at)
    at.button(key="submit_unit").click().run()
    assert "Added AL" in at.success[0].value
    with calib.Register(listed) as register:
        (row,) = register.known().to_dict("records")
    assert (row["winding_temp_c"], row["tongue_mm"], row["stack_mm"], row["awg"]) == (20.0, 31.75, 31.75, 31.0)
    count = 100 * 0.03 / 3**0.5
    assert row["u_voltage_pct"] == pytest.approx((0.3**2 + (count / 4.97) ** 2 + (count / 27.76) ** 2) ** 0.5)
    assert row["u_resistance_pct"] != row["u_resistance_pct"]
    assert at.text_input(key="add_unit").value == ""
    assert [number(at, f"add_{name}") for name in ("hv_v", "wire", "tongue_mm")] == [None] * 3
    assert (number(at, "add_winding_temp_c"), at.radio(key="add_winding_temp_c_unit").value) == (68.0, "°F")
    assert at.selectbox(key="add_voltmeter").value == "Blue, 20 V"


def test_a_unit_chosen_once_is_offered_for_the_fields_that_are_still_empty() -> None:
    at = enter(opened(), tongue=28.0)
    at.radio(key="read_stack_unit").set_value("in").run()
    assert at.radio(key="read_tongue_unit").value == "mm"  # it holds a number, which keeps its meaning
    enter(at, tongue=None)
    at.radio(key="read_stack_unit").set_value("mm").run()
    at.radio(key="read_stack_unit").set_value("in").run()
    assert at.radio(key="read_tongue_unit").value == "in"
    at.switch_page(KNOWN).run()
    assert at.radio(key="add_tongue_mm_unit").value == "in"
    at.switch_page(HOME).run()
    assert at.radio(key="read_tongue_unit").value == "in"
    at.button(key="fill_in").click().run()  # a practice unit comes with its own
    assert (at.radio(key="read_tongue_unit").value, at.radio(key="read_wire_unit").value) == ("mm", "AWG")
    assert "Most likely" in text_of(at)
