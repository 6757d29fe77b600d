"""Round wire: gauges, area, ohm per metre, current density, and what has to be looked up."""

from __future__ import annotations

import re

import ibis
import numpy as np
import pytest
from hypothesis import given, strategies as st
from uncertainties import ufloat

from calib import bench
from calib.bench.wire import (
    iec_sizes_mm,
    nearest_iec_mm,
    nearest_old_metric_mm,
    nearest_sizes,
    old_metric_sizes_mm,
)
from calib.paths import shipped_rows
from tests.counts import FEW

GAUGES = st.floats(0.0, 50.0)


DIAMETERS = st.floats(0.01, 10.0)


def test_defining_sizes_of_the_american_gauge():
    # ASTM B258 defines no. 36 as 5 mil and no. 0000 as 460 mil.
    assert bench.awg_diameter_mm(36) == pytest.approx(5 * bench.MM_PER_MIL)
    assert bench.awg_diameter_mm(-3) == pytest.approx(460 * bench.MM_PER_MIL)


def test_worked_table_of_american_gauges(printed, worked_wires):
    for row in worked_wires:
        diameter = bench.awg_diameter_mm(int(row["number"]))
        printed(diameter, row["awg_mm"])
        printed(diameter / bench.MM_PER_MIL, row["awg_mil"])
        printed(bench.wire_area_mm2(diameter) / bench.MM2_PER_CIRCULAR_MIL, row["awg_circular_mils"])
        printed(bench.wire_area_mm2(diameter), row["awg_mm2"])
        printed(bench.ohm_per_metre(diameter), row["awg_ohm_per_m"])
    assert len(worked_wires) == 29


def test_worked_table_of_imperial_gauges(printed, worked_wires):
    for row in worked_wires:
        diameter = bench.swg_diameter_mm(int(row["number"]))
        printed(diameter, row["swg_mm"])
        printed(bench.wire_area_mm2(diameter), row["swg_mm2"])
        printed(bench.ohm_per_metre(diameter), row["swg_ohm_per_m"])


def test_imperial_numbers_are_thicker_and_found_again():
    for number in range(16, 45):
        diameter = bench.swg_diameter_mm(number)
        assert diameter > bench.awg_diameter_mm(number)
        assert bench.nearest_swg(diameter) == number
    assert bench.nearest_swg(0.183) == 36  # 0.19304 is 0.01004 mm off, no. 37 0.01028


@FEW
@given(GAUGES)
def test_gauge_there_and_back(gauge):
    assert bench.awg_from_diameter(bench.awg_diameter_mm(gauge)) == pytest.approx(gauge, abs=1e-9)


@FEW
@given(DIAMETERS)
def test_diameter_there_and_back(diameter):
    assert bench.wire_diameter_mm(bench.wire_area_mm2(diameter)) == pytest.approx(diameter)


@FEW
@given(GAUGES, st.floats(0.01, 1.0))
def test_a_higher_number_is_thinner(gauge, step):
    assert bench.awg_diameter_mm(gauge + step) < bench.awg_diameter_mm(gauge)


@FEW
@given(st.floats(1.0, 5000.0), DIAMETERS)
def test_density_there_and_back(current, diameter):
    density = bench.current_density_a_mm2(current, diameter)
    assert bench.current_ma_at_density(density, diameter) == pytest.approx(current)
    mils = (diameter / bench.MM_PER_MIL) ** 2
    assert bench.circular_mils_per_ampere(density) == pytest.approx(mils / (current / 1000.0))


def test_gauge_of_arrays_columns_and_uncertain_diameters():
    assert bench.awg_from_diameter(np.array([0.127, 0.183])) == pytest.approx([36.0, 32.8493], abs=5e-5)
    # dn = 39/ln 92 x u(d)/d: 1 % of diameter is 0.08625 of a gauge.
    assert bench.awg_from_diameter(ufloat(0.183, 0.00183)).std_dev == pytest.approx(0.08625, abs=5e-6)
    table = ibis.memtable({"awg": [31.0]})
    assert table.mutate(mm=bench.awg_diameter_mm(table.awg)).execute().mm[0] == pytest.approx(0.2267626, abs=5e-8)


def test_listed_diameters_over_the_enamel():
    single, heavy = bench.awg_overall(31, "single"), bench.awg_overall(31, "heavy")
    assert (single.mm, single.tolerance_mm) == (pytest.approx(10.0 * 0.0254), 0.0)
    assert heavy.mm == pytest.approx(10.8 * 0.0254)
    assert heavy.tolerance_mm == pytest.approx(0.2 * 0.0254)
    assert bench.iec_overall(0.224, 2).mm == pytest.approx(0.266)


def test_between_metric_sizes_the_next_larger_increase_is_added():
    between = bench.iec_overall(0.190, 1)
    assert between.mm == pytest.approx(0.190 + (0.226 - 0.200))  # increase of the 0.200 mm size, IEC 60317-0-1
    assert between.tolerance_mm == 0.002


@pytest.mark.parametrize("number", range(16, 45))
def test_every_film_has_a_thickness_and_heavy_is_thicker(number):
    bare = bench.awg_diameter_mm(number)
    assert bare < bench.awg_overall(number, "single").mm < bench.awg_overall(number, "heavy").mm


@pytest.mark.parametrize("grade", [1, 2])
def test_the_approximation_keeps_within_what_it_promises(grade):
    # Every preferred size of IEC 60317-0-1 in the shipped list; the fit's own misfit is 2.3 % at most.
    for row in shipped_rows("datasets/wire/iec_film.csv"):
        if int(row["grade"]) == grade:
            near = bench.approximate_overall(float(row["bare_mm"]), grade)
            assert abs(near.mm - float(row["max_overall_mm"])) <= near.tolerance_mm, row


def test_preferred_metric_sizes():
    sizes = iec_sizes_mm()
    assert (len(sizes), sizes[0], sizes[-1]) == (30, 0.05, 1.6)  # IEC 60317-0-1, R20 from 0.050 to 1.600
    assert list(sizes) == sorted(sizes)
    assert [nearest_iec_mm(size * 1.05) for size in sizes] == list(sizes)
    with pytest.raises(ValueError, match=r"bare diameter is 0.0 mm"):
        nearest_iec_mm(0.0)


def test_metric_wire_before_1970_has_sizes_of_its_own():
    """0.26 mm is a size of DIN 46435 and neither of R20 nor of a gauge; 0.41 mm is one of the GOST series."""
    assert nearest_sizes(0.26) == ("AWG 30", "SWG 33", "metric 0.250", "old metric 0.26 (unverified)")
    assert nearest_sizes(0.41)[3] == "old metric 0.41"
    sizes = old_metric_sizes_mm()
    assert (min(sizes), max(sizes), sizes[0.25], sizes[0.26]) == (0.03, 2.0, "checked", "unverified")
    assert list(sizes) == sorted(sizes)
    with pytest.raises(ValueError, match=r"bare diameter is 0.0 mm"):
        nearest_old_metric_mm(0.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bench.awg_diameter_mm(-4), "wire gauge AWG is -4: it must be from -3 to 56"),
        (lambda: bench.awg_diameter_mm(60), "wire gauge AWG is 60"),
        (lambda: bench.awg_from_diameter(0.0), "bare diameter is 0.0 mm: it must be finite and above 0"),
        (lambda: bench.wire_area_mm2(-0.1), "bare diameter is -0.1 mm"),
        (lambda: bench.wire_diameter_mm(0.0), "cross-section is 0.0 mm²"),
        (lambda: bench.ohm_per_metre(0.2, -1.0), "resistivity is -1.0 ohm m"),
        (lambda: bench.current_density_a_mm2(0.0, 0.2), "current is 0.0 mA"),
        (lambda: bench.current_ma_at_density(0.0, 0.2), "current density is 0.0 A/mm²"),
        (lambda: bench.circular_mils_per_ampere(-2.0), "current density is -2.0 A/mm²"),
        (lambda: bench.swg_diameter_mm(15), "SWG is 15: it must be a whole number from 16 to 44"),
        (lambda: bench.nearest_swg(0.0), "bare diameter is 0.0 mm"),
        (lambda: bench.awg_overall(45, "single"), "AWG is 45: it must be a whole number from 16 to 44"),
        (lambda: bench.awg_overall(31, "thick"), "film is 'thick': it must be one of single, heavy"),
        (lambda: bench.iec_overall(0.04, 1), "bare diameter is 0.04 mm: it must be from 0.05 to 1.6"),
        (lambda: bench.iec_overall(0.2, 3), "grade is 3: it must be 1 or 2"),
        (lambda: bench.approximate_overall(0.0, 1), "bare diameter is 0.0 mm"),
        (lambda: bench.approximate_overall(0.2, 3), "grade is 3: it must be 1 or 2"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
