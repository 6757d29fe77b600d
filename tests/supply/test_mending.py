"""What would make a supply fit: each change, made, keeps the limits that it says it mends."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calib.supply.duty import Duty, rectifier_duty
from calib.supply.mending import Mending, mendings
from calib.supply.parameters import Settings
from calib.supply.steady_state import state_of

WHAT = Settings("full-wave", "capacitor", 350.0, 60.0, 60.0, 122.0, 60.0, valve="5Y3-GT")


def duty_of(what: Settings) -> Duty:
    return rectifier_duty(what, state_of(what))


@pytest.fixture(scope="module")
def found() -> dict[str, Mending]:
    return {one.how: one for one in mendings(WHAT, duty_of(WHAT), bled_ma=30.0)}


def changed(one: Mending) -> Settings:
    of = one.figures
    if one.how == "series-resistor":
        return replace(WHAT, source_ohm=60.0 + of["ohm"])
    if one.how == "smaller-capacitor":
        return replace(WHAT, capacitance_uf=of["uf"])
    if one.how == "choke-input":
        return replace(WHAT, filter="choke", choke_h=of["henry"], choke_ohm=of["choke_ohm"])
    if one.how in ("less-current", "lighter-bleeder"):
        return replace(WHAT, load_ma=of["load_ma"])
    return replace(WHAT, valve=None, diode_drop_v=1.0, source_ohm=60.0 + of["ohm"])


def test_each_change_made_keeps_what_it_says(found):
    broken = {one.limit for one in duty_of(WHAT).broken}
    assert {"first-capacitor", "peak-current"} <= broken
    assert {"smaller-capacitor", "choke-input", "solid-state"} <= found.keys()
    assert (found["smaller-capacitor"].figures["uf"], found["smaller-capacitor"].leaves) == (20.0, ("peak-current",))
    for one in found.values():
        after = duty_of(changed(one))
        assert after.state.dc_v == pytest.approx(one.figures["dc_v"], rel=1e-4)
        assert {broken.limit for broken in after.broken} == set(one.leaves)
        assert set(one.mends) == broken - set(one.leaves)
        assert ("Still beyond its limit: " in str(one)) == bool(one.leaves)


def test_silicon_has_the_valve_s_voltage_by_its_resistors_and_says_what_the_capacitors_see(found):
    one = found["solid-state"]
    assert one.figures["dc_v"] >= duty_of(WHAT).state.dc_v
    assert one.figures["capacitor_v"] == pytest.approx(494.97, rel=1e-4)
    assert "until the valves are warm every capacitor sees 495 V" in str(one)


def test_lighter_bleeder_is_the_first_that_keeps_the_valve_s_current_and_none_says_what_then():
    what = replace(WHAT, source_ohm=200.0, capacitance_uf=10.0, load_ma=135.0)
    found = {one.how: one for one in mendings(what, duty_of(what), bled_ma=20.0)}
    of = found["lighter-bleeder"].figures
    assert of["load_ma"] == pytest.approx(115.0 + of["bled_ma"])
    assert of["ohm"] == pytest.approx(1e3 * of["dc_v"] / of["bled_ma"])
    assert not duty_of(replace(what, load_ma=of["load_ma"])).broken
    assert duty_of(replace(what, load_ma=of["load_ma"] + 5.0)).broken  # a quarter of the bleeder more is too much
    none = {one.how: one for one in mendings(what, duty_of(what), bled_ma=8.0)}["lighter-bleeder"]
    assert none.as_dict()["ohm"] is None
    assert "Nothing discharges the capacitors once the set is off" in str(none)


def test_bleeder_keeps_the_choke_s_current_and_a_capacitor_its_resonance_low():
    what = Settings("full-wave", "choke", 326.75, 136.0, 4.0, 20.0, 60.0, choke_h=3.0, choke_ohm=100.0)
    assert {one.limit for one in duty_of(what).broken} == {"critical-current", "choke-resonance"}
    found = {one.how: one.figures for one in mendings(what, duty_of(what))}
    bled = duty_of(replace(what, load_ma=20.0 + found["bleeder"]["bled_ma"]))
    assert "critical-current" not in {one.limit for one in bled.broken}
    assert bled.state.dc_v / found["bleeder"]["ohm"] == pytest.approx(found["bleeder"]["bled_ma"] / 1e3, rel=3e-3)
    assert found["bleeder"]["watts"] == pytest.approx(bled.state.dc_v**2 / found["bleeder"]["ohm"], rel=2e-3)
    lighter = duty_of(replace(what, load_ma=20.0 + 1e3 * bled.state.dc_v / (1.3 * found["bleeder"]["ohm"])))
    assert "critical-current" in {one.limit for one in lighter.broken}  # the next one up the series
    # 1/(2π sqrt(LC)) at most 40 Hz, a third of 120: C of 5.28 µF or more at 3 H.
    assert found["larger-capacitor"]["uf"] == 6.0


def test_nothing_is_offered_where_nothing_of_a_valve_is_broken():
    kept = replace(WHAT, source_ohm=200.0, capacitance_uf=10.0, load_ma=80.0)
    assert mendings(kept, duty_of(kept)) == ()
    diodes = replace(WHAT, valve=None)
    assert mendings(diodes, duty_of(diodes)) == ()
