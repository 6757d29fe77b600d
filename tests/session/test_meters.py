"""What the user's meters make of the readings: JCGM 100:2008's law through the forms' own path."""

from __future__ import annotations

import math
from typing import Any

import pytest

import calib
from calib.app.context import account
from calib.session import meters as m, readings as r
from calib.session.readings import understand_known
from tests.app.visits import UNIT
from tests.session.test_readings import ENTRIES

VOLTS = {"name": "Blue", "reads": "volt", "percent": 1.0, "counts": 3.0, "resolution": 0.01}
OHMS = {"name": "Blue", "reads": "ohm", "percent": 0.8, "counts": 2.0, "resolution": 0.1}
FINE = {"name": "Blue", "reads": "volt", "range_label": "6 V", "percent": 1.0, "counts": 3.0, "resolution": 0.001}
METERS = tuple(calib.Meter.parse(one) for one in (VOLTS, OHMS, FINE))
# The bench example as read over one section, with both meters named and the null still in the reading.
READ: dict[str, Any] = ENTRIES | {
    "volts_across": r.WHOLE,
    "ohms_across": r.WHOLE,
    "ohms_read": 94.6,
    "voltmeter": "Blue",
    "ohmmeter": "Blue",
    "ohm_leads": m.NULL,
    "null_ohm": 0.3,
    "null_u_ohm": 0.05,
}
DROP = 0.3  # allowed for the exciting current's drop, in per cent


def unit_of(**changes: Any) -> dict[str, Any]:
    understood = r.understand(READ | changes, METERS)
    assert understood.unit is not None, understood
    row: dict[str, Any] = understood.unit.iloc[0].to_dict()
    return row


@pytest.mark.parametrize(
    ("how", "t3_7"),
    [(m.SAME_RANGE, 0.370169), (m.TWO_METERS, 0.896489), (None, 0.370169)],
    ids=["one", "two", "unsaid"],
)
def test_the_voltage_has_the_uncertainty_of_t3_7_and_the_allowance_for_the_drop(how: str | None, t3_7: float) -> None:
    more = {"volts_metered": how, "second_voltmeter": "Blue"}
    assert unit_of(**more)["u_voltage_pct"] == pytest.approx(math.hypot(t3_7, DROP), rel=1e-5)


def test_one_meter_on_two_ranges_takes_each_ranges_own_digits() -> None:
    """g² 2 (1 - 0.5) with g = 1 %/sqrt 3, and counts of 0.003 V on 4.97 V, 0.03 V on 13.88 V, each over sqrt 3."""
    ranges = {"voltmeter": "Blue, 6 V", "volts_metered": m.OTHER_RANGE, "second_voltmeter": "Blue"}
    gain, first, second = (100 * part / math.sqrt(3) for part in (0.01, 0.003 / 4.97, 0.03 / 13.88))
    assert unit_of(**ranges)["u_voltage_pct"] == pytest.approx(math.hypot(gain, first, second, DROP))


def test_the_null_is_taken_off_and_said_and_the_resistance_has_the_uncertainty_of_t3_8() -> None:
    """94.6 ohm less 0.3 ohm; 0.554667 ohm of 94.3, and 0.34029 % for 1.5 K."""
    understood = r.understand(READ, METERS)
    unit = unit_of()
    assert unit["hv_resistance_ohm"] == pytest.approx(94.3)
    assert unit["u_resistance_pct"] == pytest.approx(math.hypot(100 * 0.554667 / 94.3, 0.34029), rel=1e-5)
    assert understood.aloud["null_ohm"] == "94.6 Ω less the leads' 0.3 Ω is 94.3 Ω."
    assert understood.aloud["ohmmeter"] == "Resistance: a standard uncertainty of 0.68 %."


@pytest.mark.parametrize(("how", "t3_9"), [(m.SAME_RANGE, 0.77382), (m.TWO_METERS, 1.1249)])
def test_v_over_r_is_that_of_t3_9(how: str, t3_9: float) -> None:
    """V/R = 3.465032; its uncertainty with the drop's allowance in quadrature."""
    metered = r.understand(READ | {"volts_metered": how, "second_voltmeter": "Blue"}, METERS).metered
    unit = unit_of()
    assert 117.0 * unit["hv_v"] / unit["excitation_v"] / unit["hv_resistance_ohm"] == pytest.approx(3.465032, rel=1e-6)
    assert metered.u_pct == pytest.approx(math.hypot(t3_9, DROP), rel=1e-4)
    assert sum(part.share for part in metered.parts) == pytest.approx(1.0)


def test_the_form_for_known_units_takes_the_same_path() -> None:
    """The same again, in a form of which every reading is over the whole winding."""
    entries = UNIT | {name: READ[name] for name in ("voltmeter", "ohmmeter", "ohm_leads", "null_ohm", "null_u_ohm")}
    entries |= {"hv_v": 13.88, "hv_resistance_ohm": 94.6, "volts_metered": m.SAME_RANGE}
    understood = understand_known(entries, METERS, simulated=False)
    assert understood.record is not None
    assert understood.record.hv_resistance_ohm == pytest.approx(94.3)
    assert understood.record.u_voltage_pct == pytest.approx(math.hypot(0.370169, DROP), rel=1e-5)
    assert understood.record.u_resistance_pct == pytest.approx(math.hypot(58.8194 / 100, 0.34029), rel=1e-4)


def test_four_wires_leave_the_null_out() -> None:
    """(0.8 % 94.6 + 0.2)/sqrt 3 of 94.6, and the temperature's 0.34029 %; the null that was typed does not count."""
    unit = unit_of(ohm_leads=m.FOUR_WIRE)
    assert unit["hv_resistance_ohm"] == 94.6
    meter = 100 * (0.008 * 94.6 + 0.2) / math.sqrt(3) / 94.6
    assert unit["u_resistance_pct"] == pytest.approx(math.hypot(meter, 0.34029), rel=1e-4)


def test_a_better_known_temperature_helps_in_either_unit() -> None:
    """0.9 °F is 0.5 K, a third of 1.5 K."""
    tight = unit_of(temp_within_k=0.5)["u_resistance_pct"]
    assert tight == pytest.approx(math.hypot(100 * 0.554667 / 94.3, 0.34029 / 3), rel=1e-4)
    assert unit_of(temp_within_k=0.9, temp_within_k_unit="°F")["u_resistance_pct"] == pytest.approx(tight)


def test_a_no_load_voltage_read_directly_has_its_meters_uncertainty() -> None:
    """(1 % 326.75 + 0.03)/sqrt 3 of 326.75."""
    unit = unit_of(voltage_by=r.NO_LOAD, no_load_read=326.75)
    assert unit["u_voltage_pct"] == pytest.approx(100 * (3.2675 + 0.03) / math.sqrt(3) / 326.75)


@pytest.mark.parametrize("chosen", [m.ORDINARY, "a meter that was taken off the list", None])
def test_without_a_meter_of_ones_own_an_ordinary_one_is_taken_for_granted(chosen: str | None) -> None:
    unit = unit_of(voltmeter=chosen, ohmmeter=chosen)
    assert math.isnan(unit["u_voltage_pct"])
    assert math.isnan(unit["u_resistance_pct"])
    assert unit["hv_resistance_ohm"] == pytest.approx(94.3)
    metered = r.understand(READ | {"voltmeter": chosen, "ohmmeter": chosen}, METERS).metered
    assert metered.u_pct == pytest.approx(math.hypot(0.9, 0.8))  # the classes that a blank cell stands for
    assert metered.parts[0].source == "the voltmeter, an ordinary one being assumed"


def test_a_stated_uncertainty_stands_as_it_is() -> None:
    stated = {"voltmeter": m.STATED, "u_voltage_pct": 0.4, "ohmmeter": m.STATED, "u_resistance_pct": 0.5}
    unit = unit_of(**stated)
    assert (unit["u_voltage_pct"], unit["u_resistance_pct"]) == pytest.approx((0.4, 0.5))
    hidden = unit_of(u_voltage_pct=0.4, u_resistance_pct=0.5, voltmeter=m.ORDINARY, ohmmeter=m.ORDINARY)
    assert math.isnan(hidden["u_voltage_pct"])


def test_one_half_read_adds_its_own_and_leads_the_account() -> None:
    """4 % for the other half beside 0.68 %."""
    halved = {"ohms_across": r.HALF, "volts_across": r.HALF}
    assert unit_of(**halved)["u_resistance_pct"] == pytest.approx(math.hypot(0.679541, 4.0), rel=1e-4)
    assert unit_of(**halved)["hv_resistance_ohm"] == pytest.approx(188.6)
    most = r.understand(READ | halved, METERS).metered.parts[0]
    assert (most.source, most.remedy) == ("taking one half for the other", "read the resistance end to end")


def test_the_account_names_what_makes_most_and_the_remedy() -> None:
    said = account(r.understand(READ, METERS).metered)
    assert "V/R has a standard uncertainty of <b>0.83 %</b>" in said  # 0.77382 % with the drop's 0.3 %
    assert "The ohmmeter makes 50 % of this: use a finer range or a better meter." in said  # 0.5859²/0.83²
    assert account(m.Metered({})) == ""


@pytest.mark.parametrize("changes", [{"excitation_v": 0.0}, {"ohms_read": -3.0}, {"ohms_read": None}])
def test_of_readings_that_cannot_be_nothing_is_said(changes: dict[str, Any]) -> None:
    understood = r.understand(READ | changes, METERS)
    assert understood.unit is None
    assert understood.metered.parts == ()
