"""Orders along a winding: 300 random transformers, and the solver against every order tried in full."""

from __future__ import annotations

import math
from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy.optimize import nnls

from calib.leads import identify_leads
from calib.leads.order import OPEN_COST, Spans, misfit_cost, place, solve_line, u_between
from tests.counts import share
from tests.scenes.wound import Unit, wind

UNITS = share(60, 300)
SEED = 20260


def by_every_order(leads, readings):
    """Least misfit of every order, by non-negative least squares on the gaps (Lawson and Hanson), the least first."""
    found = []
    for order in permutations(leads):
        if order[0] > order[-1]:
            continue
        rank = {lead: place for place, lead in enumerate(order)}
        gaps = np.zeros((len(readings), len(leads) - 1))
        for number, (a, b, _, u) in enumerate(readings):
            low, high = sorted((rank[a], rank[b]))
            gaps[number, low:high] = 1.0 / u
        found.append((nnls(gaps, np.array([ohm / u for _, _, ohm, u in readings]))[1] ** 2, order))
    return sorted(found)


@pytest.fixture(scope="module")
def units() -> list[Unit]:
    rng = np.random.default_rng(SEED)
    return [wind(rng) for _ in range(UNITS)]


@pytest.fixture(scope="module")
def found(units):
    """Each unit identified from readings that state their noise of 1 %."""
    return [
        identify_leads([(a, b, "open") if math.isinf(ohm) else (a, b, ohm, 0.01 * ohm) for a, b, ohm in unit.readings])
        for unit in units
    ]


def either_way(leads):
    return tuple(leads), tuple(reversed(leads))


def pairs_of(units, found):
    """Each winding as found beside the same as built and its readings, where it has taps."""
    for unit, result in zip(units, found, strict=True):
        built = {frozenset(leads): leads for leads in unit.windings}
        for one in result.windings:
            leads = built[frozenset(one.leads)]
            if len(leads) > 2:
                yield one, leads, [(a, b, ohm, 0.01 * ohm) for a, b, ohm in unit.readings if {a, b} <= {*leads}]


def test_the_scene_is_as_asked_for(units):
    assert {len(unit.windings) for unit in units} == set(range(2, 9))
    assert {len(leads) - 2 for unit in units for leads in unit.windings} == {0, 1, 2, 3}
    assert 0.28 < max(unit.missing for unit in units) <= 0.3
    leads = [sum(map(len, unit.windings)) for unit in units]
    for unit, count in zip(units, leads, strict=True):
        assert len(unit.readings) == pytest.approx((1.0 - unit.missing) * count * (count - 1) / 2)


def test_every_unit_s_windings_are_found_as_built(units, found):
    for unit, result in zip(units, found, strict=True):
        assert {frozenset(one.leads) for one in result.windings} == {frozenset(leads) for leads in unit.windings}
        assert (result.isolated, result.undecided) == ((), ())


def test_every_order_is_as_built_or_said_to_be_ambiguous(units, found):
    for one, built, _ in pairs_of(units, found):
        if one.ambiguous:
            named = [one.leads, *(other.leads for other in one.other_orders)]
            assert any(leads in either_way(built) for leads in named)
            assert "ambiguous" in one.note
        else:
            assert one.leads in either_way(built)
            assert set(one.taps) == set(built[1:-1])


def test_ambiguity_is_said_where_the_noise_leaves_it_and_only_there(units, found):
    """Two orders stay open where the second best of all is within odds of 100 to 1, here 2 ln 100 = 9.2 of misfit."""
    said = tapped = 0
    for one, built, readings in pairs_of(units, found):
        first, second, *_ = (cost for cost, _ in by_every_order(built, readings))
        tapped += 1
        said += one.ambiguous
        if second - first > OPEN_COST + 1.5:
            assert not one.ambiguous, (one.note, first, second)
        if second - first < OPEN_COST - 1.0:
            assert one.ambiguous, (one.leads, first, second)
    assert 0 < said < 0.07 * tapped


def test_noise_of_the_stated_size_contradicts_as_rarely_as_the_limit_says(found):
    assert sum(bool(result.contradictions) for result in found) < 0.08 * UNITS


def test_with_an_ordinary_meter_nothing_is_ordered_wrongly(units):
    """Readings noisier than the meter's class: more stays open, but no order that is called settled is wrong."""
    wrong = 0
    for unit in units[: share(20, 100)]:
        result = identify_leads([(a, b, "open" if math.isinf(ohm) else ohm) for a, b, ohm in unit.readings])
        for one, built, _ in pairs_of([unit], [result]):
            wrong += not one.ambiguous and one.leads not in either_way(built)
    assert wrong == 0


SECTIONS = st.lists(st.floats(0.5, 50.0), min_size=2, max_size=4)


@settings(deadline=None)
@given(SECTIONS, st.integers(0, 2**32 - 1))
def test_the_solver_finds_the_best_of_all_orders(sections, seed):
    rng = np.random.default_rng(seed)
    at = rng.permutation(np.concatenate([[0.0], np.cumsum(sections)]))
    pairs = [(a, b) for a, b in combinations(range(len(at)), 2) if b == a + 1 or rng.random() < 0.7]
    readings = [(a, b, abs(at[a] - at[b]) + 0.5 * rng.normal(), 0.5) for a, b in pairs]
    least, _ = by_every_order(range(len(at)), readings)[0]
    fit = solve_line(Spans.of(len(at), readings))
    if least < 9.0:  # no single misfit can be beyond 3, so that the cost is the plain sum of squares
        assert fit.best.cost == pytest.approx(least, abs=1e-5)
    assert fit.best.cost <= least + 1e-5


@pytest.mark.parametrize(("leads", "noise", "slips"), [(7, 0.5, 0), (7, 4.0, 0), (7, 0.5, 1), (6, 0.5, 3)])
def test_no_order_that_stays_open_is_missed(leads, noise, slips):
    """Every order placed in turn, by the same misfit: neighbours 3 to 20 ohm apart, a slip being ten times too much."""
    rng = np.random.default_rng(leads + slips)
    for _ in range(share(2, 20)):
        at = np.cumsum(rng.uniform(3.0, 20.0, leads))
        pairs = [(a, b) for a, b in combinations(range(leads), 2) if b == a + 1 or rng.random() < 0.7]
        ohm = [abs(at[b] - at[a] + noise * rng.normal()) for a, b in pairs]
        for slip in rng.permutation(len(pairs))[:slips]:
            ohm[slip] *= 10.0
        spans = Spans.of(leads, [(a, b, value, noise) for (a, b), value in zip(pairs, ohm, strict=True)])
        every = place(spans, [order for order in permutations(range(leads)) if order[0] < order[-1]])
        least = min(one.cost for one in every)
        open_ones = {one.key for one in every if one.cost < least + OPEN_COST}
        fit = solve_line(spans)
        assert fit.best.cost == pytest.approx(least, abs=1e-6)
        assert {fit.best.key, *(one.key for one, _ in fit.others)} == open_ones


def test_places_are_those_of_least_squares():
    """Three readings of one line, equal weights: each takes a third of the residual of 0.3."""
    spans = Spans.of(3, [(0, 1, 148.2, 0.8), (1, 2, 171.9, 0.8), (0, 2, 320.4, 0.8)])
    assert place(spans, [[0, 1, 2]])[0].at == pytest.approx([0.0, 148.3, 320.3])
    assert u_between(spans, 0, 2) == pytest.approx(0.8 * math.sqrt(2.0 / 3.0))  # 1 direct beside 2 in series


def test_a_misfit_beyond_three_counts_by_its_logarithm_from_the_same_value_and_slope():
    cost = misfit_cost(np.array([-3.0, 3.0, 3.0 * math.e, 2.999999, 3.000001]))
    assert cost[:3] == pytest.approx([9.0, 9.0, 27.0])
    assert (cost[4] - cost[3]) / 2e-6 == pytest.approx(6.0, rel=1e-4)


@pytest.mark.parametrize(("leads", "kept"), [(60, 1.0), (60, 0.3), (150, 1.0)])
def test_long_lines_are_ordered(leads, kept):
    rng = np.random.default_rng(5)
    at = np.cumsum(rng.uniform(2.0, 20.0, leads))
    lead = rng.permutation(leads)
    pairs = [(a, b) for a, b in combinations(range(leads), 2) if b == a + 1 or rng.random() < kept]
    readings = [
        (int(lead[a]), int(lead[b]), (at[b] - at[a]) * (1 + 0.01 * rng.normal()), 0.01 * (at[b] - at[a]))
        for a, b in pairs
    ]
    order = solve_line(Spans.of(leads, readings)).best.order.tolist()
    assert order in (lead.tolist(), lead.tolist()[::-1])


def test_leads_that_no_reading_tells_apart_are_all_said():
    """Twelve leads read against one only: each may lie on either side, far more orders than can be followed."""
    found = identify_leads([("L0", f"L{n}", 10.0 * n) for n in range(1, 13)])
    winding = found.windings[0]
    assert winding.orders_open > len(winding.other_orders) > 0
    assert "more than" in winding.note
    assert found.next.pair is not None
