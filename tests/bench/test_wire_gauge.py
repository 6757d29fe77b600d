"""Which gauge a wire is: from a micrometer's reading, and from a winding's resistance."""

from __future__ import annotations

import math
import re
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given, strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from calib import bench
from calib.bench.wire import (
    SERIES,
    THINNEST_FILM,
    bare_tolerance_mm,
    expected_readings,
)
from calib.bench.wire_gauge import (
    KEPT_ODDS,
    MEAN_TURN_HALF_WIDTH,
    MICROMETER_U_MM,
    WOUND_EXCESS,
    Turns,
    WoundWire,
    implied_wire,
    micrometer_reading,
    name_wire,
    turns_from_volts,
    wire_agreement,
)
from tests.counts import FEW, share

GAUGES = range(16, 45)


def odds_of(named, gauge: str, series: str = "AWG") -> float:
    return {(one, two): share for one, two, share in named.gauges}.get((series, gauge), 0.0)


def test_worked_gauge_of_a_bare_wire():
    named = name_wire(0.183, covering="bare")
    assert named.gauges[0][:2] == ("AWG", "33")
    assert named.gauges[0][2] > 0.99
    assert str(named).startswith("AWG 33 (100%)")


@pytest.mark.parametrize("gauge", GAUGES)
@pytest.mark.parametrize("covering", ["bare", "single", "heavy"])
def test_a_wire_in_the_middle_of_its_film_is_named(gauge, covering):
    bare = float(bench.awg_diameter_mm(gauge))
    film = 0.0 if covering == "bare" else bench.awg_overall(gauge, covering).mm - bare
    middle = bare + film * (1.0 + THINNEST_FILM.get(covering, 1.0)) / 2.0
    named = name_wire(middle, 0.001, covering)
    assert named.gauges[0][:2] == ("AWG", str(gauge))
    assert named.bare_mm == pytest.approx(bare, abs=2.0 * bare_tolerance_mm(bare))
    assert named.misfit == 0.0


def test_a_reading_narrows_the_bare_diameter_by_hand():
    """AWG 20, single film of 33.9 mil at most (NEMA MW 1000), read 45 um over bare: what is left of the tolerance.

    Tolerance 1 % / sqrt 3, film between half the most and the most, its width over sqrt 12, and the reading's own 1 um.
    """
    bare, most = 0.811821, 33.9 * 0.0254 - 0.811821
    tolerance, film = 0.00811821**2 / 3.0, (most / 2.0) ** 2 / 12.0
    gain = tolerance / (tolerance + film + 0.001**2)
    named = name_wire(bare + 0.045, 0.001, "single")
    assert named.bare_mm == pytest.approx(bare + gain * (0.045 - 0.75 * most), abs=2e-6)
    assert named.bare_u_mm == pytest.approx(math.sqrt(tolerance * (1.0 - gain)), rel=1e-4)


@pytest.mark.parametrize("gauge", [17, 25, 36, 43])
def test_neighbours_are_told_even_where_they_are_unlikely(gauge):
    named = name_wire(float(bench.awg_diameter_mm(gauge)), 1e-4, "bare")
    assert named.gauges[0][1] == str(gauge)
    assert {str(gauge - 1), str(gauge + 1)} <= {number for _, number, _ in named.gauges}


@pytest.mark.parametrize("reading", [0.243, 0.252, 0.26])
@pytest.mark.parametrize("u", [0.0005, MICROMETER_U_MM, 0.01])
def test_the_odds_are_bayes_rule_by_quadrature(reading, u):
    """Uniform film folded with normal errors, integrated numerically; equal odds before the reading."""
    weights: defaultdict[str, float] = defaultdict(float)
    for one in expected_readings(("AWG",), ("single", "heavy")):
        sd = math.sqrt(bare_tolerance_mm(one.bare_mm) ** 2 / 3 + one.listed_u_mm**2 + u**2)
        at = (one.bare_mm + one.thin_mm, one.bare_mm + one.thick_mm)
        if abs(one.bare_mm - reading) < 0.15:
            total = quad(lambda mean, sd=sd: norm.pdf(reading, mean, sd), *at, epsabs=1e-12)[0]
            weights[one.gauge] += total / (at[1] - at[0])
    for _, gauge, odds in name_wire(reading, u).gauges:
        if odds > 1e-6:  # of one covering below KEPT_ODDS only the best one's neighbours are kept
            assert odds == pytest.approx(weights[gauge] / sum(weights.values()), rel=1e-5, abs=1.01 * KEPT_ODDS)


def drawn(rng: np.random.Generator, series: str, count: int):
    """Wires as the docstring says they are: (series, gauge), overall diameter read, for each draw."""
    wires = expected_readings((series,), ("single", "heavy"))
    for pick in rng.integers(len(wires), size=count):
        one = wires[pick]
        tolerance = bare_tolerance_mm(one.bare_mm)
        bare = one.bare_mm + rng.uniform(-tolerance, tolerance)
        film = rng.uniform(one.thin_mm, one.thick_mm) + one.listed_u_mm * rng.normal()
        yield one, bare, bare + film + MICROMETER_U_MM * rng.normal()


@pytest.mark.parametrize(("series", "seed"), [("AWG", 1), ("SWG", 2), ("metric", 3), ("old metric", 4)])
def test_stated_odds_come_true(series, seed):
    """Over 1500 wires, here 400: a gauge of stated odds p is the right one in a share p, in all and by bands of p."""
    stated, right = [], []
    for one, _, reading in drawn(np.random.default_rng(seed), series, share(400, 1500)):
        named = name_wire(max(reading, 0.031), series=(series,))
        for _, gauge, odds in named.gauges:
            stated.append(odds)
            right.append(gauge == one.gauge)
    stated, right = np.array(stated), np.array(right)
    for low, high in ((0.02, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.98), (0.98, 1.01)):
        band = (stated >= low) & (stated < high)
        spread = math.sqrt(max(band.sum() * stated[band].mean() * (1 - stated[band].mean()), 1.0)) / band.sum()
        assert right[band].mean() == pytest.approx(stated[band].mean(), abs=3.5 * spread)
        assert band.sum() > share(5, 20)


def test_the_bare_diameter_is_as_near_as_it_claims():
    """z of the true bare diameter over 1500 wires: mean near 0, standard deviation near 1."""
    z = []
    for _, bare, reading in drawn(np.random.default_rng(4), "AWG", share(600, 1500)):
        named = name_wire(max(reading, 0.031))
        z.append((bare - named.bare_mm) / named.bare_u_mm)
    assert abs(np.mean(z)) < 0.1
    assert np.std(z) == pytest.approx(1.0, abs=0.1)


@FEW
@given(st.floats(0.05, 1.6), st.floats(1e-4, 0.02), st.sampled_from(["bare", "single", "heavy", "enamel"]))
def test_odds_are_probabilities(reading, u, covering):
    named = name_wire(reading, u, covering, SERIES)
    odds = [one for _, _, one in named.gauges]
    assert all(0.0 <= share <= 1.0 for share in odds)
    assert odds == sorted(odds, reverse=True)
    assert 1.0 - 200 * KEPT_ODDS <= sum(odds) <= 1.0 + 1e-9
    assert named.bare_u_mm >= 0.0


@FEW
@given(st.floats(0.05, 1.5), st.floats(0.001, 0.1), st.sampled_from(["bare", "single", "heavy"]))
def test_a_thicker_reading_never_names_a_thinner_gauge(reading, more, covering):
    first, second = name_wire(reading, covering=covering), name_wire(reading + more, covering=covering)
    assert int(second.gauges[0][1]) <= int(first.gauges[0][1])


@pytest.mark.parametrize("gauge", GAUGES)
def test_over_enamel_the_wire_is_less_sure_than_bare(gauge):
    bare = float(bench.awg_diameter_mm(gauge))
    over = (bare + bench.awg_overall(gauge, "single").mm) / 2.0
    assert name_wire(over).bare_u_mm > name_wire(bare, covering="bare").bare_u_mm


def test_the_grade_narrows():
    """0.25 mm: single film of 31 or heavy film of 32; knowing the film settles it."""
    unknown, single, heavy = (name_wire(0.25, covering=name) for name in ("enamel", "single", "heavy"))
    assert 0.2 < odds_of(unknown, "32") < 0.8
    assert odds_of(single, "31") > 0.95
    assert odds_of(heavy, "32") > 0.8
    assert single.bare_u_mm < unknown.bare_u_mm
    assert name_wire(0.25, covering="grade 2").gauges == heavy.gauges


def test_series_are_weighed_side_by_side():
    """0.224 mm bare is a preferred metric size, near AWG 31 (0.2268) and between SWG 34 (0.2337) and 35 (0.2134)."""
    sharp = name_wire(0.224, 0.0003, "bare", SERIES)
    assert sharp.gauges[0][:2] == ("metric", "0.224")
    assert odds_of(sharp, "31") > 0.05
    assert odds_of(sharp, "35", "SWG") < 0.001
    assert name_wire(0.2134, 0.0003, "bare", "SWG").gauges[0][:2] == ("SWG", "35")


def test_a_size_of_metric_wire_before_1970_is_named_and_marked():
    """0.26 mm bare: 0.25 of the series since is 10 um off, AWG 30 (0.2546) 5 um; the size list is unverified."""
    named = name_wire(0.26, 0.001, "bare", SERIES)
    assert named.gauges[0][:2] == ("old metric", "0.26")
    assert str(named).startswith("old metric 0.26, unverified (")
    assert "unverified" not in str(name_wire(0.25, 0.001, "bare", "old metric")).split(" or ")[0]


def test_what_fits_no_gauge_says_so():
    # 0.1905 mm bare lies midway between AWG 32 (0.2019) and 33 (0.1798): 10.7 um off where 1 % would be 2 um.
    named = name_wire(0.1905, 0.0005, "bare")
    assert not named.fits
    assert "between the gauges" in str(named)
    assert "strip and measure" in str(named)
    assert name_wire(0.1905, 0.0005, "bare", SERIES).fits  # SWG 36 is 0.1930


def test_repeated_readings():
    # By hand: mean 0.224, s 0.002; u² = 0.002²/3 + 0.005²/3.
    mean, u = micrometer_reading([0.224, 0.226, 0.222])
    assert (mean, u) == (pytest.approx(0.224), pytest.approx(math.sqrt((0.002**2 + 0.005**2) / 3)))
    assert micrometer_reading([0.3]) == (0.3, pytest.approx(0.005 / math.sqrt(3)))
    assert micrometer_reading([0.3, 0.3], 0.0) == (0.3, 0.0)


@pytest.mark.parametrize(("bare", "tolerance"), [(1.0, 0.01), (0.2, 0.00254), (0.05, 0.00254)])
def test_tolerance_of_a_bare_wire(bare, tolerance):
    assert bare_tolerance_mm(bare) == pytest.approx(tolerance)  # 1 %, never under 0.1 mil


EXACT = {"u_resistance_pct": 0.0, "mean_turn_half_width": 0.0}


DIAMETERS = st.floats(0.05, 1.5)


def winding(
    diameter: float, turns: float = 2000.0, mean_turn: float = 156.0, metal: str = "copper", **more
) -> WoundWire:
    """A winding of that wire, in the middle of what wound wire reads over its nominal size."""
    ohm = turns * mean_turn / 1000.0 * bench.ohm_per_metre(diameter, bench.RESISTIVITY_OHM_M[metal])
    return WoundWire(ohm * (1.0 + sum(WOUND_EXCESS) / 2.0), Turns(turns, 0.0), mean_turn, conductor=metal, **more)


def test_a_range_of_flux_leaves_the_turns_open():
    # By hand: turns at sqrt(1.0 x 1.4) T, half the ln of 1.4 over sqrt 3 = 9.713 %.
    core = bench.core_area_cm2(28.0, 33.6)
    turns = turns_from_volts(100.0, core, 60.0)
    assert turns.turns == pytest.approx(381.567 * 1.1 / math.sqrt(1.4), rel=1e-5)
    assert turns.u_pct == pytest.approx(9.713, abs=1e-3)


@FEW
@given(DIAMETERS, st.floats(50.0, 6000.0), st.floats(40.0, 400.0), st.sampled_from(["copper", "aluminium"]))
def test_there_and_back(diameter, turns, mean_turn, metal):
    assert implied_wire(winding(diameter, turns, mean_turn, metal)).diameter_mm == pytest.approx(diameter)


def test_the_uncertainty_is_by_hand():
    """u = half of 0.8 %, 12 % / sqrt 3 and 1 % / sqrt 3 / 1.02 together."""
    u = 0.5 * math.hypot(0.008, 0.12 / math.sqrt(3), 0.01 / math.sqrt(3) / 1.02)
    assert implied_wire(winding(0.2)).u_ln == pytest.approx(u)


def test_the_uncertainty_holds_the_wire_as_often_as_it_says():
    """2000 windings with turns, mean turn and excess anywhere in their ranges, resistance by an ordinary meter."""
    rng, inside = np.random.default_rng(7), []
    for _ in range(2000):
        turns = 2000.0 * math.exp(rng.uniform(-1, 1) * math.log(1.4) / 2)
        mean_turn = 156.0 * (1 + MEAN_TURN_HALF_WIDTH * rng.uniform(-1, 1))
        ohm = turns * mean_turn / 1000 * bench.ohm_per_metre(0.2) * (1 + rng.uniform(*WOUND_EXCESS))
        read = WoundWire(ohm * (1 + 0.008 * rng.normal()), Turns(2000.0, 9.713), 156.0)
        implied = implied_wire(read)
        inside.append(abs(math.log(implied.diameter_mm / 0.2)) < 1.6448536 * implied.u_ln)  # 90 % of a normal law
    assert np.mean(inside) == pytest.approx(0.9, abs=0.03)


def test_nearest_sizes_by_name():
    implied = implied_wire(winding(0.2268))
    # 0.22676, 0.23368 and 0.224 mm; before about 1970 metric wire went by hundredths: 0.22, 0.23
    assert implied.nearest == ("AWG 31", "SWG 34", "metric 0.224", "old metric 0.23")
    assert implied.awg == pytest.approx(31.0, abs=0.01)


def test_a_wire_that_agrees():
    said = wire_agreement(implied_wire(winding(0.18)), 0.183, 0.003)
    assert said.agrees
    assert 0.0 < said.z < 1.0
    assert "they agree" in said.sentence


def test_z_is_by_hand():
    implied = implied_wire(winding(0.2, **EXACT))
    u = math.hypot(0.5 * 0.01 / math.sqrt(3) / 1.02, 0.004 / 0.21)
    assert wire_agreement(implied, 0.21, 0.004).z == pytest.approx(math.log(0.21 / 0.2) / u)
    # A gauge by name carries its tolerance, 0.1 mil / sqrt 3 at this size.
    named = math.hypot(0.5 * 0.01 / math.sqrt(3) / 1.02, 0.00254 / math.sqrt(3) / 0.21)
    assert wire_agreement(implied, 0.21).z == pytest.approx(math.log(0.21 / 0.2) / named)


@pytest.mark.parametrize(
    ("factor", "sign", "words"),
    [(0.5, -1.0, "half a winding's resistance for the whole"), (2.0, 1.0, "a bad joint in the winding")],
)
def test_a_resistance_of_half_or_twice_is_seen(factor, sign, words):
    """Half the resistance implies a wire 1.41 times as thick, 2.98 gauges by ASTM B258 (19.5 ln 2 / ln 92)."""
    true = winding(0.18)
    wrong = WoundWire(true.resistance_ohm * factor, true.turns, true.mean_turn_mm)
    said = wire_agreement(implied_wire(wrong), 0.18, 0.002)
    assert not said.agrees
    assert said.z * sign > 2.0
    assert words in said.sentence
    assert "3.0 gauges apart" in said.sentence


@FEW
@given(DIAMETERS, DIAMETERS)
def test_z_rises_with_the_measured_wire(one, other):
    implied = implied_wire(winding(0.2))
    thin, thick = sorted((one, other))
    assert wire_agreement(implied, thin, 0.0).z <= wire_agreement(implied, thick, 0.0).z


def winding_of(metal: str) -> WoundWire:
    return WoundWire(10.0, Turns(10.0, 0.0), 100.0, conductor=metal)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: name_wire(0.02), "diameter is 0.02 mm: it must be from 0.03 to 3.5"),
        (lambda: name_wire(4.0), "diameter is 4.0 mm"),
        (lambda: name_wire(math.nan), "diameter is nan mm: it is needed"),
        (lambda: name_wire(0.2, -0.1), "uncertainty of the diameter is -0.1 mm"),
        (
            lambda: name_wire(0.2, covering="double cotton"),
            "covering is 'double cotton': its thickness follows no table",
        ),
        (lambda: name_wire(0.2, covering="silk over enamel"), "strip a tail and measure it bare"),
        (
            lambda: name_wire(0.2, covering="thick"),
            "covering is 'thick': it must be one of bare, single, heavy, enamel",
        ),
        (lambda: name_wire(0.2, series=("AWG", "BWG")), "series is 'BWG': it must be one or more of AWG, SWG, metric"),
        (lambda: name_wire(0.2, series=()), "series is '': it must be one or more of"),
        (lambda: micrometer_reading([]), "readings are empty"),
        (lambda: micrometer_reading([0.2, 0.0]), "diameter is 0.0 mm"),
        (lambda: micrometer_reading([0.2], -1.0), "half-width is -1.0"),
        (lambda: bare_tolerance_mm(0.0), "bare diameter is 0.0 mm"),
        (lambda: WoundWire(0.0, Turns(10, 0), 100.0), "resistance is 0.0 ohm"),
        (lambda: WoundWire(10.0, Turns(0, 0), 100.0), "turns is 0: it must be finite and above 0"),
        (lambda: WoundWire(10.0, Turns(10, -1.0), 100.0), "relative uncertainty of the turns is -1.0 %"),
        (lambda: WoundWire(10.0, Turns(10, 0), 0.0), "mean turn is 0.0 mm"),
        (lambda: WoundWire(10.0, Turns(10, 0), 100.0, -0.1), "relative uncertainty of the resistance is -0.1 %"),
        (lambda: WoundWire(10.0, Turns(10, 0), 100.0, 0.1, -0.2), "half-width of the mean turn is -0.2"),
        (lambda: winding_of("brass"), "conductor is 'brass': it must be one of copper, aluminium"),
        (lambda: turns_from_volts(0.0, 9.0, 60.0), "voltage is 0.0 V"),
        (lambda: turns_from_volts(117.0, 9.0, 60.0, (0.0, 1.0)), "lowest flux density is 0.0 T"),
        (lambda: turns_from_volts(117.0, 9.0, 60.0, (1.4, 1.0)), "highest flux density is 1.0 T"),
        (lambda: wire_agreement(implied_wire(winding(0.2)), 0.0), "measured diameter is 0.0 mm"),
        (lambda: wire_agreement(implied_wire(winding(0.2)), 0.2, -1.0), "uncertainty of the measured diameter is -1.0"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
