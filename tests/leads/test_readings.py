"""Readings between leads: what is refused, what is taken once, their uncertainty, and how all is written."""

from __future__ import annotations

import math
import re

import pytest

from calib import bench, leads
from calib.errors import InputError
from calib.leads.readings import LeadReading, checked, less_null, named, ohms, path_sum


def row(a="A", b="B", ohm="12.5", **more):
    return {"lead_a": a, "lead_b": b, "ohm": ohm, **more}


def test_each_kind_of_reading():
    got = leads.lead_readings(
        [row(), row("A", "C", "open"), row("A", "D", ""), row("A", "E", " OPEN "), row("B", "C", 3.5, u_ohm=0.1)]
    )
    assert [one.is_open for one in got] == [False, True, False, True, False]
    assert [one.is_finite for one in got] == [True, False, False, False, True]
    assert math.isnan(got[2].ohm)
    assert (got[4].ohm, got[4].u_ohm, got[4].row) == (3.5, 0.1, 6)


@pytest.mark.parametrize(
    ("rows", "faults"),
    [
        ([row(b="A")], ["t.csv, row 2, lead_b 'A': is read against itself; name the other lead"]),
        ([row(a=" ")], ["row 2, lead_a (empty): the lead has no name"]),
        ([row(ohm="-3")], ["ohm '-3': is outside the limits, 0.001 to 1e+06 ohm; check the reading and the sign"]),
        ([row(ohm="2e6")], ["ohm '2e6': is outside the limits, 0.001 to 1e+06 ohm; write open"]),
        ([row(ohm="0")], ["ohm '0': is outside the limits, 0.001 to 1e+06 ohm; write it as shown before"]),
        *[([row(ohm=word)], [f"ohm '{word}': is no resistance"]) for word in ("nan", "NA", "null", "inf", "OL", "1_0")],
        ([row(ohm="12 ohm")], ["ohm '12 ohm': is no resistance; write a resistance in ohm, without its unit"]),
        ([row(u_ohm="0")], ["u_ohm '0': is no uncertainty above 0"]),
        ([row(u_ohm="nan")], ["u_ohm 'nan': is no uncertainty above 0"]),
        ([row(), row("B", "A", "12.6")], ["row 3, ohm '12.6': the pair B to A stands in row 2 too, with 12.5"]),
        ([row(), row(ohm="open")], ["row 3, ohm 'open': the pair A to B stands in row 2 too, with 12.5"]),
        ([row(u_ohm="1"), row(u_ohm="2")], ["row 3, ohm '12.5': the pair A to B stands in row 2 too, with another"]),
        ([row(ohm="x"), row("C", "C", "-1")], ["row 2, ohm 'x'", "row 3, lead_b 'C'", "row 3, ohm '-1'"]),
    ],
)  # fmt: skip
def test_every_fault_is_told_at_once(rows, faults):
    with pytest.raises(InputError) as caught:
        leads.lead_readings(rows, "t.csv")
    assert len(caught.value.faults) == len(faults)
    for fault, told in zip(caught.value.faults, faults, strict=True):
        assert told in str(fault)


def test_a_pair_that_stands_twice_alike_or_once_empty_is_one_reading():
    got = leads.lead_readings([row(), row("B", "A"), row(ohm=""), row("C", "D", ""), row("D", "C", "4")])
    assert [(one.pair, one.ohm) for one in got] == [(("A", "B"), 12.5), (("C", "D"), 4.0)]


def test_tuples_frames_and_readings_are_the_same():
    import pandas as pd

    frame = pd.DataFrame({"lead_a": ["A", "A"], "lead_b": ["B", "C"], "ohm": [12.5, "open"]})
    from_frame = leads.lead_readings(frame.to_dict("records"))
    from_tuples = checked([("A", "B", 12.5), ("A", "C", "open")])
    assert [(one.pair, one.ohm) for one in from_frame] == [(one.pair, one.ohm) for one in from_tuples]
    assert [(one.pair, one.ohm) for one in checked(from_frame)] == [(one.pair, one.ohm) for one in from_frame]
    assert math.isnan(checked([LeadReading("A", "B")])[0].ohm)


def test_worked_lead_null(printed):
    """JCGM 100:2008, 5.1.2: 94.6 ohm within 0.8 % + 2 counts of 0.1, null 0.3 ohm with u 0.05."""
    got = less_null(checked([("A", "B", 94.6)]), bench.MeterClass(0.8, 2, 0.1), 0.3, 0.05)[0]
    printed(got.ohm, "94.3000")
    printed(got.u_ohm, "0.554667")


def test_a_stated_uncertainty_is_taken_as_it_is():
    assert less_null(checked([("A", "B", 94.6, 0.8)]), bench.ORDINARY_OHMMETER, 0.3, 0.05)[0].u_ohm == 0.8


def test_an_exact_meter_still_has_an_uncertainty():
    exact = bench.MeterClass(0.0, 0, 0.0)
    assert less_null(checked([("A", "B", 50.0)]), exact, 0.0, 0.0)[0].u_ohm == pytest.approx(5e-5)
    found = leads.identify_leads([("A", "B", 3.0), ("B", "C", 4.0), ("A", "C", 7.0)], meter=exact, null_u_ohm=0.0)
    assert found.windings[0].leads == ("A", "B", "C")


def test_a_reading_below_the_null_is_refused():
    message = "ohm '0.4': is less than the test leads alone read, 0.9 ohm; read the pair and the lead null again"
    with pytest.raises(InputError, match=re.escape(message)):
        leads.identify_leads([("A", "B", 0.4)], null_ohm=0.9)


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (320.4, 0.8, "320.4"),  # Particle Data Group: 355 to 949 keeps one digit of the uncertainty,
        (320.4, 1.6, "320.4"),  # 100 to 354 two,
        (320.4, 0.13, "320.40"),
        (320.4, 0.97, "320.4"),  # and above 949 it counts as 1.0
        (60000.0, 277.0, "60000"),
        (5.4, float("nan"), "5.4"),
        (float("nan"), 0.1, "–"),
    ],
)
def test_a_resistance_has_the_digits_that_its_uncertainty_leaves(value, u, text):
    assert ohms(value, u) == text


def test_lists_and_sums_are_written_as_people_write_them():
    assert [named("A"), named("AB"), named("ABC", "or")] == ["A", "A and B", "A, B or C"]
    assert named(str(n) for n in range(11)) == "0, 1, 2, 3, 4, 5, 6, 7 and 3 more"
    assert path_sum([("A", "B", 1), ("B", "C", 1)]) == "A to B + B to C"
    assert path_sum([("A", "B", -1), ("A", "C", 1)]) == "A to C - A to B"
    assert path_sum([(str(n), str(n + 1), 1) for n in range(20)]).count("...") == 1


def test_each_fault_of_a_reading_carries_a_code():
    rows = [("1", "1", "5"), ("", "2", "5"), ("1", "2", "x"), ("1", "2", "2e6"), ("1", "3", "5"), ("1", "3", "9")]
    with pytest.raises(InputError) as refused:
        leads.lead_readings([dict(zip(("lead_a", "lead_b", "ohm"), row, strict=True)) for row in rows])
    assert [one.code for one in refused.value.faults] == ["conflict", "missing", "not-a-number", "limits", "duplicate"]
