"""The core's volt-amperes less the heaters': a rough opinion that says how rough it is."""

from __future__ import annotations

import dataclasses
import math
import re

import numpy as np
import pytest
from hypothesis import given, strategies as st

from calib.bench.magnetics import usual_area_rule
from calib.errors import InputError
from calib.estimate.core_rating import AREA_RULE_SPREAD, opinion_of_core
from calib.supply.form_factor import FORM_FACTOR, primary_rms_per_dc
from tests.counts import FEW
from tests.scenes.population import FORM, SCENES, units

FULL = ("full-wave", "capacitor")
CORE = (9.408, 5.88)  # 28 by 33.6 mm, window 0.75 a²


def alder(heaters=(), supply=FULL, level=0.9, volts=653.505):
    return opinion_of_core(*CORE, usual_area_rule(28.0, 60.0), volts, supply, heaters, level)


@pytest.mark.parametrize(("tongue", "va"), [(25.4, 37.0), (28.0, 52.0), (31.75, 80.8), (38.1, 153.0), (50.8, 419.0)])
def test_worked_table_of_square_stacks(tongue, va):
    """Column VA(b) of the worked table: 60 Hz, 1.2 T, fill 0.195, J 4.0 A/mm² x sqrt(25.4/a); three figures."""
    area = tongue**2 / 100.0
    made = opinion_of_core(area, 0.75 * area, usual_area_rule(tongue, 60.0), 600.0, FULL)
    assert made.va == pytest.approx(va, rel=5e-3)


def test_the_current_by_hand():
    """52.0 VA x 1.2 for the stack = 62.4; less 6.3 V 3 A and 5 V 2 A; over V k (1 + 1/sqrt 2)/2, k 1.2078."""
    made = alder([(6.3, 3.0), (5.0, 2.0)])
    assert made.heaters_va == pytest.approx(28.9)
    per_ma = 653.505 * 1.2078 * (1 + math.sqrt(0.5)) / 2 / 1000
    assert made.va_per_ma == pytest.approx(per_ma)
    assert made.rated_current_ma == pytest.approx((made.va - 28.9) / per_ma)
    assert made.va == pytest.approx(62.4, rel=5e-3)


def test_the_interval_by_hand():
    """ln VA scatters by AREA_RULE_SPREAD, with the form factor's 0.0912 for the current; 1.6449 of it at 90 %."""
    made = alder([(6.3, 3.0)])
    assert made.va_high == pytest.approx(made.va * math.exp(1.6448536 * AREA_RULE_SPREAD))
    wide = math.exp(1.6448536 * math.hypot(AREA_RULE_SPREAD, 0.0912))
    assert made.high_ma == pytest.approx((made.va * wide - 18.9) / made.va_per_ma)
    assert made.low_ma == pytest.approx((made.va / wide - 18.9) / made.va_per_ma)
    assert math.log(1.3) <= AREA_RULE_SPREAD  # 30 % at best


@pytest.mark.parametrize("supply", sorted(FORM_FACTOR))
def test_every_supply_shares_the_core_by_its_rms_currents(supply):
    k = FORM_FACTOR[supply][0]
    made = alder(supply=supply)
    assert made.va_per_ma == pytest.approx(653.505 * (k + primary_rms_per_dc(supply[0], k)) / 2000)
    assert made.rated_current_ma * made.va_per_ma == pytest.approx(made.va)


@FEW
@given(st.lists(st.tuples(st.floats(1.0, 13.0), st.floats(0.0, 3.0)), max_size=3), st.floats(0.1, 3.0))
def test_more_heaters_leave_less(heaters, more):
    before, after = alder(heaters), alder([*heaters, (6.3, more)])
    assert after.low_ma <= before.low_ma
    if not math.isnan(after.rated_current_ma):
        assert after.rated_current_ma < before.rated_current_ma
        assert after.low_ma < after.rated_current_ma < after.high_ma


@FEW
@given(st.floats(0.05, 0.9), st.floats(0.01, 0.09))
def test_a_higher_level_is_wider(level, more):
    assert alder(level=level + more).low_ma < alder(level=level).low_ma
    assert alder(level=level + more).high_ma > alder(level=level).high_ma


def test_fifty_hertz_carries_five_sixths():
    here, there = (opinion_of_core(*CORE, usual_area_rule(28.0, f), 600.0, FULL).va for f in (60.0, 50.0))
    assert there == pytest.approx(here * 50 / 60)


def test_heaters_that_may_take_the_core_are_said():
    some = alder([(6.3, 7.0)])
    assert some.low_ma == 0.0
    assert some.rated_current_ma > 0.0
    assert "may take the whole core" in some.remark
    all_of_it = alder([(6.3, 11.0)])
    assert math.isnan(all_of_it.rated_current_ma)
    assert all_of_it.high_ma > 0.0
    assert "check core and heaters" in str(all_of_it)
    far_more = alder([(6.3, 40.0)])
    assert math.isnan(far_more.high_ma)
    assert alder().remark == ""


def test_frame_is_like_the_other_opinions():
    frame = alder([(6.3, 3.0)]).frame()
    assert list(frame.columns) == ["predictors", "rated_current_ma", "low_ma", "high_ma", "level"]
    assert frame["predictors"].tolist() == ["core-volt-amperes"]
    assert "less 18.9 VA of heaters: about" in str(alder([(6.3, 3.0)]))


def test_it_knows_the_rating_about_as_claimed():
    """Populations that know nothing of the rule, heaters taking 15 to 40 % of the secondaries' volt-amperes.

    Measured over the ten scenes of copper on laminations: 0.83 to 0.96, 0.90 in all.
    """
    inside = []
    for name in ("ordinary", "steep slope", "50 Hz only", "120 V windings", "another slope"):
        rng = np.random.default_rng(5)
        table = units(SCENES[name], 200, rng, asked=True)
        for row, share in zip(table.to_dict("records"), rng.uniform(0.15, 0.4, 200), strict=True):
            supply = (row["rectifier"], row["filter"])
            heat = row["no_load_v"] * row["rated_current_ma"] / 1000 * FORM[supply] * share / (1 - share)
            tongue, stack = row["tongue_mm"], row["stack_mm"]
            rule = usual_area_rule(tongue, row["line_frequency_hz"])
            core = tongue * stack / 100, 0.75 * tongue**2 / 100
            made = opinion_of_core(*core, rule, row["no_load_v"], supply, [(6.3, heat / 6.3)])
            inside.append(made.low_ma <= row["rated_current_ma"] <= made.high_ma)
    assert 0.82 < np.mean(inside) < 0.97


def test_the_opinion_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        alder().va = 1.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: alder(level=1.0), "level is 1.0: it must be above 0 and below 1"),
        (lambda: alder(volts=0.0), "no-load voltage is 0.0 V"),
        (lambda: alder([(0.0, 1.0)]), "heater voltage is 0.0 V"),
        (lambda: alder([(6.3, -1.0)]), "heater current is -1.0 A"),
        (lambda: opinion_of_core(0.0, 5.0, usual_area_rule(28.0, 60.0), 600.0, FULL), "core area is 0.0 cm²"),
        (lambda: opinion_of_core(9.0, 0.0, usual_area_rule(28.0, 60.0), 600.0, FULL), "window area is 0.0 cm²"),
        (lambda: usual_area_rule(0.0, 60.0), "tongue is 0.0 mm"),
        (lambda: usual_area_rule(28.0, 0.0), "frequency is 0.0 Hz"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()


def test_a_supply_that_does_not_go_together_is_refused():
    with pytest.raises(InputError, match="does not go with filter 'choke'"):
        alder(supply=("doubler", "choke"))
