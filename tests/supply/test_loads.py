"""What a set draws: the table of valves, rows as typed, sums with their uncertainty, refusals."""

from __future__ import annotations

import math

import pytest

from calib.errors import InputError
from calib.paths import shipped_rows
from calib.supply.loads import LineUp, load_rows, loads_of_valve


def line_up(*rows: dict[str, str]) -> LineUp:
    return load_rows(rows)


def test_blanks_come_from_the_table_by_use():
    single, pair = line_up({"load": "6V6"}), line_up({"load": "6V6-GT", "count": "2", "use": "push-pull"})
    assert (single.fixed_ma(False), single.fixed_ma(True)) == (49.5, 54.0)
    assert (pair.fixed_ma(False), pair.fixed_ma(True)) == (74.0, 105.5)  # 70 + 4 and 92 + 13.5 of the pair
    assert (single.heaters, pair.heaters) == (((6.3, 0.45),), ((6.3, 0.9),))
    assert not single.unverified


def test_both_systems_of_a_double_triode_count():
    assert line_up({"load": "6SN7", "count": "2"}).fixed_ma(False) == 36.0
    assert line_up({"load": "ECC83"}).fixed_ma(False) == pytest.approx(2.4)


def test_what_is_given_goes_before_the_table():
    row = {"load": "EL84", "average_ma": "36", "worst_ma": "52"}
    given = line_up(row).loads[0]
    assert (given.average_ma, given.worst_ma, given.heater_a) == (36.0, 52.0, 0.76)
    assert given.relative_u < line_up({"load": "EL84"}).loads[0].relative_u


def test_recalled_figures_are_named():
    assert line_up({"load": "6F6"}, {"load": "6V6"}).unverified == ("6F6",)


def test_resistor_draws_by_the_voltage_and_a_lamp_nothing():
    loads = line_up(
        {"load": "bleeder", "ohm": "47000"}, {"load": "lamp", "count": "2", "heater_v": "6.3", "heater_a": "0.15"}
    )
    assert (loads.fixed_ma(True), loads.siemens, loads.heaters) == (0.0, 1.0 / 47000.0, ((6.3, 0.3),))
    assert loads.relative_u(True, 310.0) == pytest.approx(0.06)


def test_lamps_and_glow_tubes_are_known_by_their_numbers_and_said_to_be_recalled():
    loads = line_up({"load": "#47", "use": "lamp", "count": "2"}, {"load": "OD3", "use": "regulator"})
    lamp, tube = loads.loads
    assert (loads.heaters, lamp.drawn_ma(True, 300.0)) == (((6.3, 0.3),), 0.0)
    assert (tube.regulated_v, tube.tube_low_ma, tube.tube_high_ma) == (150.0, 5.0, 40.0)
    assert loads.unverified == ("#47", "OD3")
    row = {"load": "VR150", "use": "regulator", "regulated_v": "152", "tube_low_ma": "4", "tube_high_ma": "30"}
    assert line_up(row).unverified == ()


def settled_ma(loads: LineUp, dc_v: float, before_ohm: float) -> float:
    """What all loads draw, by halving an interval of currents: each tried against what the volts behind it draw."""
    low, high = 0.0, 5000.0
    for _ in range(100):
        middle = (low + high) / 2.0
        behind = dc_v - (before_ohm + loads.series_ohm) * middle / 1e3
        drawn = sum(one.count * one.drawn_ma(True, behind) for one in loads.loads)
        low, high = (middle, high) if drawn > middle else (low, middle)
    return middle


@pytest.mark.parametrize(("dc_v", "before_ohm"), [(400.0, 0.0), (400.0, 300.0), (230.0, 0.0), (160.0, 0.0)])
def test_what_stands_in_series_leaves_less_to_resistors_and_tubes(dc_v: float, before_ohm: float):
    loads = line_up(
        {"load": "set", "average_ma": "50"},
        {"load": "field coil", "use": "series", "ohm": "900"},
        {"load": "bleeder", "ohm": "22000", "count": "2"},
        {"load": "0A3", "use": "regulator", "ohm": "8200"},
        {"load": "0D3", "use": "regulator", "ohm": "4700", "average_ma": "6"},
    )
    found = loads.drawn(True, dc_v, before_ohm)
    assert found.total_ma == pytest.approx(settled_ma(loads, dc_v, before_ohm), rel=1e-9)
    assert found.set_v == pytest.approx(dc_v - (900.0 + before_ohm) * found.total_ma / 1e3)
    assert loads.drawn(True, 30.0).set_v < 0.0  # 45 V in the coil alone


def test_rows_are_independent_in_the_uncertainty():
    one = line_up({"load": "a", "average_ma": "40"})
    two = line_up({"load": "a", "average_ma": "20"}, {"load": "b", "average_ma": "20"})
    assert one.relative_u(False, 0.0) == pytest.approx(two.relative_u(False, 0.0) * math.sqrt(2.0))


def test_rectifier_s_heater_is_added_once():
    without = line_up({"load": "6V6"})
    assert without.with_rectifier("5Y3-GT").heaters == ((5.0, 2.0), (6.3, 0.45))
    named = line_up({"load": "6V6"}, {"load": "5Y3"})
    assert named.with_rectifier("5Y3-GT").heaters == ((5.0, 2.0), (6.3, 0.45))
    assert named.fixed_ma(True) == without.fixed_ma(True)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"load": "6V7x"}, "is not in the table of valves"),
        ({"load": "6BQ6"}, "did you mean"),
        ({"load": "a", "ohm": "47000", "average_ma": "5"}, "a resistor and a current are given together"),
        ({"load": "a", "average_ma": "9", "worst_ma": "3"}, "is less than the average, 9 mA"),
        ({"load": "a", "average_ma": "9e6"}, "is outside the limits, 0 to 100000 mA"),
        ({"load": "a", "average_ma": "nan"}, "is not a number"),
        ({"load": "a", "count": "1.5", "average_ma": "9"}, "is no whole number"),
        ({"load": "a", "average_ma": "9", "heater_v": "6.3"}, "a heater has volts and amperes"),
        ({"load": "6V6", "use": "parallel"}, "is no use of a load"),
        ({"load": "6V6", "regulated_v": "150"}, "belongs to a glow tube"),
        ({"load": "coil", "use": "series"}, "what stands in series has a resistance"),
        ({"load": "coil", "use": "series", "ohm": "0"}, "is outside the limits, 1 to 1e+08 ohm"),
        ({"load": "VR999", "use": "regulator", "tube_low_ma": "5", "tube_high_ma": "30"}, "a glow tube needs it"),
        ({"load": "0D3", "use": "regulator", "tube_high_ma": "4"}, "is no more than the least, 5 mA"),
        ({"load": "0D3", "use": "regulator", "heater_v": "6.3"}, "a glow tube has no heater"),
        ({"load": "99", "use": "lamp"}, "is no lamp that is known by its number"),
        ({"load": "47", "use": "lamp", "average_ma": "5"}, "a lamp is fed by its heater winding"),
        ({"load": "", "average_ma": "9"}, "the load has no name"),
        ({"load": "EM34"}, "the table does not tell what a EM34 draws"),
    ],
)
def test_each_slip_is_one_clear_fault(row: dict[str, str], said: str):
    with pytest.raises(InputError) as told:
        line_up(row)
    assert len(told.value.faults) == 1
    assert said in str(told.value)


def test_no_load_at_all_is_refused():
    with pytest.raises(InputError, match="there is no load"):
        load_rows([])


def test_table_holds_what_it_says_it_holds():
    rows = shipped_rows("datasets/valves/loads.csv")
    for row in rows:
        found = loads_of_valve(row["valve"], row["use"])
        assert found is not None
        assert not found.full_ma < found.zero_ma * 0.5
        for other in filter(None, row["equivalents"].split(";")):
            assert loads_of_valve(other, row["use"]) is not None
    assert all(0.0 < float(row["heater_a"]) < 6.0 for row in rows)
