"""Lead identification as a whole: worked values, windings and roles, what stays open, what comes next."""

from __future__ import annotations

import json
import math
from itertools import combinations

import pytest
from hypothesis import given, settings, strategies as st

from calib import bench
from calib.leads import identify_leads
from tests.counts import share

CENTRE_TAPPED = [("C", "D", 148.2, 0.8), ("D", "E", 171.9, 0.8), ("C", "E", 320.4, 0.8)]
PRIMARY_PAIR = [("A", "B", 5.4)]
UNIVERSAL = {"a": 0.0, "b": 14.1, "c": 16.2, "d": 19.8, "e": 28.4, "f": 31.0}
HEATERS = [("H1", "H2", 0.21, 0.01), ("G1", "G2", 0.11, 0.01)]


def winding(places, digits=1):
    """Every pair of a winding's leads, exact to so many digits."""
    return [(a, b, round(abs(places[a] - places[b]), digits)) for a, b in combinations(places, 2)]


def apart(*groups):
    """One open reading between each two groups of leads: the fewest that keep them apart."""
    return [(one[0], other[0], "open") for one, other in combinations(groups, 2)]


USUAL = CENTRE_TAPPED + PRIMARY_PAIR + HEATERS + apart("CDE", "AB", ["H1"], ["G1"])


def test_worked_centre_tapped_line(printed):
    """Residual, limit and ratio by hand: 0.3 ohm, 2 sqrt 3 x 0.8 ohm, 171.9 over 148.2."""
    found = identify_leads(CENTRE_TAPPED).windings[0]
    assert (found.leads, found.taps, found.ohm) == (("C", "D", "E"), ("D",), 320.4)
    printed(found.worst_residual_ohm, "0.30000")
    printed(found.worst_limit_ohm, "2.7713")
    printed(found.sections_ohm[1] / found.sections_ohm[0], "1.15992")
    assert found.likely_role == "high voltage (centre-tapped)"
    assert "no-load voltages must agree within 1 %" in found.note
    assert not found.ambiguous


def test_a_usual_unit_is_named_from_the_highest_resistance_down():
    found = identify_leads(USUAL)
    assert [one.likely_role for one in found.windings] == [
        "high voltage (centre-tapped)",
        "primary",
        "heater (rectifier or valves)",
        "heater (rectifier or valves)",
    ]
    assert {one.grade for one in found.windings} == {"probable"}
    assert all(one.reasons for one in found.windings)
    assert found.settled
    assert "59 times the likely primary" in " ".join(found.windings[0].reasons)
    assert "117 V primaries read 1.5 to 15" in found.windings[1].reasons[0]
    assert "the most current for its voltage" in found.windings[3].reasons[1]


def test_when_all_is_settled_the_ratio_test_follows_its_caution():
    found = identify_leads(USUAL)
    caution, _, action = found.next_step.partition(" Resistance tells no more. ")
    assert caution.startswith("Caution: every winding becomes live in proportion to its turns")
    assert "Never energise on colour or resistance alone" in caution
    assert action.startswith(
        "Do the ratio test. Leads not yet proven: feed C to E, the winding of highest resistance, end to end, from "
        "zero to at most 30 V, and stop if any other reads more than it."
    )
    assert found.next.pair is None


@pytest.mark.parametrize(
    ("readings", "lead", "role", "note"),
    [
        (winding(UNIVERSAL), "a", "universal primary", "only voltages tell"),
        (winding({"a": 0, "b": 4.5, "c": 5.5}), "a", "primary (tapped)", "autotransformer"),
        ([("A", "B", 7.1), ("C", "D", 7.3), ("A", "C", "open")], "A", "primary, one of two alike", "in parallel until"),
        ([("A", "B", 0.05, 0.05)], "A", "heater, unresolved", "four wires"),
        (winding({"a": 0, "b": 90.0, "c": 320.0}), "a", "high voltage (tapped)", "no centre tap by resistance"),
        (winding({"a": 0, "b": 0.16, "c": 0.33}, 2), "a", "heater (centre-tapped)", "only suggests a centre tap"),
        ([("A", "B", 6e4)], "A", "leakage or a broken winding", "insulation test"),
        ([("A", "B", 87.0), ("P", "Q", 38.0), ("A", "P", "open")], "A", "high voltage", "read alike"),
        (
            [("A", "B", 0.30, 0.01), ("C", "D", 0.25, 0.01), ("A", "C", "open")],
            "A",
            "heater",
            "6.3 V is 1.26 times 5 V",
        ),
    ],
)
def test_roles_and_what_to_mind(readings, lead, role, note):
    readings = [(*one, 0.01) if one[2] != "open" and len(one) == 3 else one for one in readings]
    found = next(one for one in identify_leads(readings).windings if lead in one.leads)
    assert found.likely_role.startswith(role)
    assert note in found.note


def test_two_sections_in_parallel_are_one_winding_with_leads_at_one_point():
    read = winding({"P1": 0.0, "P1b": 0.1, "P2": 5.4, "P2b": 5.5})
    found = identify_leads([*read, *CENTRE_TAPPED, ("P1", "C", "open")])
    primary = found.windings[1]
    assert (set(primary.leads), primary.likely_role) == ({"P1", "P1b", "P2", "P2b"}, "primary")
    assert primary.ambiguous
    assert {frozenset(group) for group in primary.unsettled} == {frozenset({"P1", "P1b"}), frozenset({"P2", "P2b"})}
    assert "read as one point" in primary.note
    assert "the ratio test" in found.next.action


def test_a_heater_at_the_null_s_uncertainty_is_joined_but_not_ordered():
    tapped = [("H1", "H2", 0.05), ("H2", "H3", 0.05), ("H1", "H3", 0.05)]
    meter = bench.MeterClass(0.0, 0, 0.0)
    found = identify_leads(tapped + PRIMARY_PAIR + [("A", "H1", "open")], meter=meter, null_u_ohm=0.05)
    heater = found.windings[1]
    assert set(heater.leads) == {"H1", "H2", "H3"}
    assert (heater.likely_role, heater.orders_open) == ("heater, unresolved", 3)
    assert "lost in the reading's uncertainty" in heater.reasons[0]


def test_a_reading_as_low_as_the_null_has_no_resistance_of_its_own():
    found = identify_leads([("H1", "H2", 0.3), ("A", "B", 5.6), ("A", "H1", "open")], null_ohm=0.3)
    assert [math.isnan(one.ohm) for one in found.windings] == [False, True]
    assert found.windings[0].ohm == pytest.approx(5.3)
    assert found.as_dict()["windings"][1]["ohm"] is None
    assert "ohm    under 0.25" in str(found)


@pytest.mark.parametrize(
    ("readings", "pair", "why"),
    [
        ([("A", "B", 148.2), ("A", "C", 320.4), ("A", "D", "open")], {"B", "C"}, "about 172.2 or 468.6 ohm"),
        (
            [("A", "B", 148.2), ("A", "C", None), ("C", "D", 5.0)],
            {"A", "C"},
            "A and B belong to one winding with C and D",
        ),
        ([("red", "q", None), ("red/yellow", "z", None)], {"red", "red/yellow"}, "Their colours go together"),
        ([("A", "B", 5.0), ("C", "D", None)], {"C", "D"}, "2 more such readings may be needed"),
        ([("A", "B", 100.0), ("B", "C", 20.0), ("C", "D", 30.0), ("A", "C", 30.0), ("B", "D", 50.0), ("A", "D", 60.0)],
         {"A", "B"}, "it contradicts the other readings"),
        ([("A", "B", 100.0), ("B", "C", 1.0), ("A", "C", 100.2), ("A", "D", "open"), ("D", "E", 4.0)],
         {"A", "B"}, "differ by"),
    ],
)  # fmt: skip
def test_the_next_pair_and_why(readings, pair, why):
    found = identify_leads(readings)
    assert (set(found.next.pair), found.next.pair == tuple(found.as_dict()["next_pair"])) == (pair, True)
    assert why in found.next.action
    assert found.next_step.startswith("Caution: keep hands off the clips")


def test_reading_what_is_asked_for_settles_everything():
    """A bench that follows the next step ends at the ratio test, with fewer readings than there are pairs."""
    places = {"A": 0.0, "B": 148.2, "C": 320.1, "P": 0.0, "Q": 5.4, "H": 0.0, "I": 0.9}
    home = {lead: ("ABC", "PQ", "HI")[number] for number, group in enumerate(("ABC", "PQ", "HI")) for lead in group}
    known = {tuple(sorted(pair)): None for pair in combinations(places, 2)}
    while (found := identify_leads([(*pair, value) for pair, value in known.items()])).next.pair is not None:
        pair = tuple(sorted(found.next.pair))
        assert known[pair] is None
        ohm = abs(places[pair[0]] - places[pair[1]])
        known[pair] = round(ohm, 1) if home[pair[0]] == home[pair[1]] else "open"
    assert found.settled
    assert {frozenset(one.leads) for one in found.windings} == {frozenset("ABC"), frozenset("PQ"), frozenset("HI")}
    assert 0 < found.missing < len(known)


@pytest.mark.parametrize(
    ("readings", "isolated", "unplaced", "step"),
    [
        (
            [*USUAL, ("S", "C", "open"), ("S", "A", "open"), ("S", "H1", "open"), ("S", "G1", "open")],
            ("S",),
            (),
            "core",
        ),
        ([*USUAL, ("S", "C", "open")], ("S",), ("S",), "Read A to S"),
        ([], (), (), "Tag every lead"),
        ([("A", "B", "open")], ("A", "B"), (), "at least a primary and one other winding"),
    ],
)
def test_leads_alone(readings, isolated, unplaced, step):
    found = identify_leads(readings)
    assert (found.isolated, found.unplaced) == (isolated, unplaced)
    assert step in found.next_step


def test_the_result_prints_tabulates_and_is_plain():
    found = identify_leads(USUAL)
    text = str(found)
    assert text.index("Unplug the set") < text.index("4 windings in 9 leads") < text.index("Caution: every winding")
    assert "leads  C - D - E   (tap: D)" in text
    assert "check  1 further reading agrees, at worst 0.3 ohm off where 2.8 is allowed" in text
    assert max(map(len, text.splitlines())) <= 100
    frame = found.frame()
    assert frame["leads"].tolist() == ["C - D - E", "A - B", "H1 - H2", "G1 - G2"]
    assert frame["taps"].tolist() == ["D", "", "", ""]
    assert repr(found) == "<LeadsFound: 4 windings, 0 leads alone, 12 pairs read>"
    told = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert told.keys() >= {"windings", "isolated", "next_step", "cautions", "contradictions"}
    assert told["windings"][0].keys() >= {"leads", "taps", "ohm", "likely_role", "note"}
    assert (told["pairs_read"], told["pairs_missing"]) == (12, 24)


READ = st.one_of(st.none(), st.just("open"), st.floats(0.001, 1e6), st.sampled_from([0.1, 0.2, 5.0, 100.0]))


@settings(deadline=None, max_examples=share(25, 100))
@given(st.lists(READ, min_size=10, max_size=10), st.permutations(range(10)))
def test_every_lead_is_told_once_and_the_order_of_rows_does_not_matter(values, turned):
    pairs = list(combinations("ABCDE", 2))
    rows = [(*pair, value) for pair, value in zip(pairs, values, strict=True)]
    found = identify_leads(rows)
    assert sorted([lead for one in found.windings for lead in one.leads] + list(found.isolated)) == list("ABCDE")
    assert found.next_step
    assert json.dumps(found.as_dict(), allow_nan=False)
    other = identify_leads([(rows[n][1], rows[n][0], rows[n][2]) for n in turned])
    groups = [{frozenset(one.leads) for one in each.windings} for each in (found, other)]
    assert groups[0] == groups[1]
    assert found.read == other.read


@settings(deadline=None)
@given(st.floats(0.5, 200.0), st.floats(0.5, 200.0), st.floats(0.5, 200.0))
def test_exact_readings_of_a_line_never_contradict(first, second, third):
    places = {"A": 0.0, "B": first, "C": first + second, "D": first + second + third}
    found = identify_leads([(a, b, abs(places[a] - places[b]), 1e-3) for a, b in combinations("CADB", 2)])
    assert found.contradictions == ()
    assert found.windings[0].leads in (tuple("ABCD"), tuple("DCBA"))
    assert found.windings[0].ohm == pytest.approx(first + second + third)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"null_ohm": -0.1}, "lead null is -0.1 ohm: it must be finite and 0 or more"),
        ({"null_u_ohm": -0.1}, "uncertainty of the lead null is -0.1 ohm"),
        ({"colour_weight": 1.1}, "weight of colours is 1.1: it must be from 0 to 1"),
    ],
)
def test_impossible_settings_are_named(settings, message):
    with pytest.raises(ValueError, match=message):
        identify_leads(PRIMARY_PAIR, **settings)
