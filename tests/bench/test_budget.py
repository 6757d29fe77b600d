"""The account of an uncertainty: parts that add up, the largest first, each with what makes it smaller."""

from __future__ import annotations

import math

import pytest

from calib.bench import (
    MeterClass,
    main_part,
    ratio_taken,
    resistance_taken,
    uncertainty as account,
    uncertainty_budget,
    v_over_r,
    with_relative,
    with_u,
)

VOLTS, OHMS = MeterClass(1.0, 3, 0.01), MeterClass(0.8, 2, 0.1)


def worked():
    volts = ratio_taken(4.97, 13.88, 117.0, (VOLTS, VOLTS), 1.0, drop_u_pct=0.0)
    return volts / resistance_taken(94.6, OHMS, 20.0, null=(0.3, 0.05))


def test_the_account_of_t3_9():
    """Of 0.77382 %²: the ratio 0.370169 (T3.7); ohmmeter and null 0.554667/94.3, temperature 0.34029 (T3.8)."""
    parts = {part.source: part for part in uncertainty_budget(worked())}
    whole = 0.77382**2
    counts = [part.share for source, part in parts.items() if source.startswith("the last digits")]
    assert sum(counts) == pytest.approx(0.370169**2 / whole, rel=1e-4)
    assert parts["the winding's temperature"].share == pytest.approx(0.34029**2 / whole, rel=1e-4)
    ohms = parts["the ohmmeter"].u_pct ** 2 + parts["the null of the leads"].u_pct ** 2
    assert ohms == pytest.approx((100 * 0.554667 / 94.3) ** 2, rel=1e-5)
    assert "the voltmeter's scale" not in parts  # one meter and range: it cancels


def test_shares_add_up_and_the_largest_stands_first():
    parts = uncertainty_budget(worked())
    assert sum(part.share for part in parts) == pytest.approx(1.0)
    assert [part.share for part in parts] == sorted((part.share for part in parts), reverse=True)
    assert parts[0].source == "the ohmmeter"
    assert sum(part.u_pct**2 for part in parts) == pytest.approx(0.77382**2, rel=1e-4)


def test_two_meters_bring_the_scales_in():
    """g² 2 (1 - r) with g = 1 %/sqrt 3 (T3.7)."""
    volts = ratio_taken(4.97, 13.88, 117.0, (VOLTS, VOLTS), 0.0, drop_u_pct=0.0)
    parts = {part.source: part.u_pct for part in uncertainty_budget(volts)}
    assert parts["the voltmeter's scale"] == pytest.approx(math.sqrt(2 / 3))


def test_the_largest_part_is_said_with_its_remedy():
    said = main_part(uncertainty_budget(v_over_r(327.0, with_relative(94.3, 4.0, account.HALVES))))
    assert said == "taking one half for the other makes 95 % of this: read the resistance end to end"  # 16/(16 + 0.81)
    assert main_part(uncertainty_budget(with_u(1.0, 0.1, "a thumb"))) == "a thumb makes 100 % of this"


@pytest.mark.parametrize("exact", [3.0, with_u(3.0, 0.0, "nothing")])
def test_an_exact_value_has_no_account(exact):
    assert uncertainty_budget(exact) == ()
    assert main_part(()) == ""


def test_every_tag_of_the_readings_has_a_remedy():
    parts = uncertainty_budget(worked() * with_relative(1.0, 0.3, account.EXCITING_DROP))
    assert len(parts) == 6
    assert all(part.remedy for part in parts)
