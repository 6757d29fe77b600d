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
        ({"load": "6V6", "use": "parallel"}, "is no use of a valve"),
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
