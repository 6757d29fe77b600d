"""The one definition of every field: what it says of itself is run, and nothing stands in it that no record has."""

from __future__ import annotations

import doctest

from calib.register import fields
from calib.register.bench_book import Meter
from calib.register.fields import FIELDS, METER, RECORD, TAKEN
from calib.register.records import KnownUnit, UnknownUnit


def test_the_examples_at_the_head_are_true() -> None:
    assert doctest.testmod(fields).failed == 0


def test_the_fields_of_a_record_and_a_meter_are_those_defined() -> None:
    assert {one.name for one in RECORD} == {*KnownUnit.model_fields, *UnknownUnit.model_fields}
    assert tuple(one.name for one in METER) == tuple(Meter.model_fields)
    assert len(FIELDS) == len(RECORD) + len(METER) + len(TAKEN)


def test_a_usual_range_lies_within_the_limits_and_each_choice_is_put_in_words_or_none_is() -> None:
    for one in FIELDS.values():
        if one.usual is not None:
            assert one.within(one.usual[0]), one
            assert one.within(one.usual[1]), one
        assert len(one.said) in (0, len(one.choices)), one


def test_each_grade_of_evidence_says_what_it_is_and_the_spread_that_the_fit_begins_from() -> None:
    """The figures by hand, exp(hypot(bias_sd, sd)) - 1, and 1 - exp(-0.15)."""
    from calib.fitting.model import GRADES

    said = dict(zip(FIELDS["evidence"].choices, FIELDS["evidence"].said, strict=True))
    assert list(said) == list(GRADES)
    spreads = {"nameplate": "±9 %", "maker-data": "±7 %", "set-data": "14 % low, ±22 %", "wire-measured": "±28 %"}
    for name, spread in {**spreads, "heat-run": "±9 %"}.items():
        assert said[name].startswith(f"{name}: ")
        assert said[name].endswith(f", {spread}")
        assert said[name] in FIELDS["evidence"].help  # so in calib add --help, the template and the descriptor
