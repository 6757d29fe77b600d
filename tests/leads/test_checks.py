"""What contradicts, and what shape the readings have where they make no line."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from calib.leads import identify_leads, order
from calib.leads.checks import limit_for
from tests.counts import WHOLE, share

LINE = {"A": 0.0, "B": 10.0, "C": 30.0, "D": 60.0}


def line(**other):
    """The readings of a line, some replaced: AB=100.0."""
    return [(a, b, other.get(a + b, abs(LINE[a] - LINE[b]))) for a, b in combinations(LINE, 2)]


def star(**arms):
    return [(a, b, arms[a] + arms[b]) for a, b in combinations(arms, 2)]


def ring(around, **places):
    """Leads on a closed winding: between two of them both ways lie in parallel."""
    ways = [(a, b, abs(places[a] - places[b])) for a, b in combinations(places, 2)]
    return [(a, b, way * (around - way) / around) for a, b, way in ways]


def test_a_slip_among_enough_readings_is_named_with_what_the_others_make_of_it():
    found = identify_leads(line(AB=100.0))
    (dispute,) = found.contradictions
    assert dispute.suspects == (("A", "B"),)
    assert (dispute.reads_ohm, dispute.makes_ohm, dispute.residual_ohm) == (100.0, 10.0, 90.0)
    assert "A to B reads 100.0 ohm, but A to C - B to C make 10.0: 90.0 more, where 1.6 is allowed" in dispute.says
    assert "All others agree with one another and make it 10.0 ohm: read it again" in dispute.says
    winding = found.windings[0]
    assert (winding.leads, winding.shape, winding.ambiguous) == (("A", "B", "C", "D"), "slip", False)
    assert winding.sections_ohm == pytest.approx((10.0, 20.0, 30.0), abs=0.1)
    assert not found.settled


@pytest.mark.parametrize("digit", [0.1, 10.0])
@pytest.mark.parametrize("pair", ["AB", "AC", "AD", "BC", "BD", "CD"])
def test_a_slipped_point_is_found_wherever_it_is(pair, digit):
    right = abs(LINE[pair[0]] - LINE[pair[1]])
    found = identify_leads(line(**{pair: right * digit}))
    assert found.windings[0].leads == ("A", "B", "C", "D")
    assert found.next.pair == tuple(pair)


def test_three_leads_cannot_tell_which_reading_is_wrong():
    found = identify_leads([("C", "D", 148.2), ("D", "E", 171.9), ("C", "E", 350.4)])
    (dispute,) = found.contradictions
    assert {frozenset(pair) for pair in dispute.suspects} == {frozenset("CD"), frozenset("DE"), frozenset("CE")}
    assert "C to E reads 350.4 ohm, but C to D + D to E make 320.1: 30.3 more, where 4.2 is allowed" in dispute.says
    assert "No winding reads more than the sum of its parts" in dispute.says
    assert found.windings[0].ambiguous


def test_a_long_reading_less_than_the_sum_is_a_parallel_path():
    found = identify_leads([("C", "D", 148.2), ("D", "E", 171.9), ("C", "E", 250.4)])
    assert found.windings[0].shape == "parallel path"
    assert "69.7 less, where 3.5 is allowed" in found.contradictions[0].says
    assert "a second path lies beside it" in found.contradictions[0].says
    assert "C, D, E   (in no order)" in str(found)


def test_a_closed_winding_is_a_parallel_path():
    found = identify_leads(ring(200.0, A=0.0, B=30.0, C=80.0, D=130.0))
    assert (found.windings[0].shape, found.windings[0].ambiguous) == ("parallel path", True)
    assert all(one.residual_ohm < 0.0 for one in found.contradictions)
    assert "take off whatever is still connected" in found.next.action


def test_windings_that_meet_inside_pass_the_four_point_test():
    found = identify_leads(star(A=10.0, B=20.0, C=30.0, D=44.0))
    winding = found.windings[0]
    assert (winding.shape, winding.ambiguous, winding.ohm) == ("joint", True, 74.0)
    assert "four-point test passes" in found.contradictions[0].says
    assert "joint inside" in winding.note


def test_readings_of_no_shape_at_all_are_contradictory():
    found = identify_leads(line(AB=31.0, CD=7.0, BD=90.0))
    assert (found.windings[0].shape, found.windings[0].ambiguous) == ("contradictory", True)
    assert "contradict one another" in found.windings[0].note


def test_an_open_reading_inside_a_winding_is_told_with_its_path():
    found = identify_leads([("C", "D", 148.2), ("D", "E", 171.9), ("C", "E", "open")])
    (dispute,) = found.contradictions
    assert dispute.pairs == (("C", "E"), ("C", "D"), ("D", "E"))
    assert "C to E reads open, but C to D and D to E read a resistance" in dispute.says
    assert (found.next.pair, found.windings[0].ambiguous) == (("C", "E"), True)


def test_one_finite_reading_between_windings_that_others_call_apart_is_a_slip():
    opens = [(a, b, "open") for a, b in product("ABCD", "PQ") if (a, b) != ("A", "P")]
    found = identify_leads([*line(), ("P", "Q", 5.4), ("A", "P", 12.0), *opens])
    assert [set(one.leads) for one in found.windings] == [set("ABCD"), set("PQ")]
    assert "A to P reads 12.00 ohm, but 7 other pairs" in found.contradictions[0].says
    assert found.next.pair == ("A", "P")


def test_slips_that_outvote_each_other_alike_are_not_chosen_between():
    """A chain C - A - B - E whose two inner joins are called open by two readings each."""
    found = identify_leads([("A", "B", 1.0), ("A", "C", 1.0), ("B", "E", 1.0), ("B", "C", "open"), ("C", "E", "open")])
    assert [set(one.leads) for one in found.windings] == [set("ABCE")]
    assert len(found.contradictions) == 2


def test_leakage_joins_nothing_and_comes_before_any_test():
    found = identify_leads([*line(), ("P", "Q", 5.4), ("A", "P", 4.5e5)])
    assert len(found.windings) == 2
    assert "A to P reads 450,000 ohm" in found.remarks[0]
    assert "First find the leakage (A to P)" in found.next.action
    assert found.leakage == found.remarks
    assert found.undecided == ()


def test_one_check_has_a_limit_of_two_and_many_are_passed_by_chance_no_oftener():
    from scipy.stats import norm

    assert limit_for(1) == 2.0
    for checks in (2, 10, 1000):
        assert checks * norm.sf(limit_for(checks)) == pytest.approx(norm.sf(2.0))


SETS = share(40, 200)


def test_sound_readings_rarely_contradict_and_a_poor_meter_is_found_out():
    """Normal errors of the stated size pass a limit of 2 in 1 set of 22; errors of 2.5 times it are said to be."""
    rng = np.random.default_rng(11)
    places = np.cumsum(rng.uniform(5.0, 40.0, 8))
    sound = doubled = 0
    for _ in range(SETS):
        for times in (1.0, 2.5):
            rows = []
            for a, b in combinations(range(8), 2):
                ohm = abs(places[a] - places[b])
                rows.append((f"L{a}", f"L{b}", float(ohm + 0.3 * times * rng.normal()), 0.3))
            found = identify_leads(rows)
            if times == 1.0:
                sound += bool(found.contradictions)
                assert found.scatter == 1.0
            else:
                doubled += found.scatter > 1.0 and "times as much as the meter's stated" in found.remarks[0]
    assert sound < 0.12 * SETS
    assert doubled > (0.8 if WHOLE else 0.7) * SETS


def test_places_that_did_not_settle_leave_the_order_open(monkeypatch):
    """Two slips on one winding, A to B and C to D: weighing their readings down takes rounds."""
    slips = line(AB=100.0, CD=3.0)
    settled = identify_leads(slips).windings[0]
    monkeypatch.setattr(order, "ROUNDS", 1)
    cut_short = identify_leads(slips).windings[0]
    assert cut_short.orders_open == 1 + len(cut_short.other_orders) + 1
    assert settled.orders_open == 1 + len(settled.other_orders)
