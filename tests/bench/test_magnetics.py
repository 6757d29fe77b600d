"""What a core can carry: volt-amperes by the area rule, turns per volt and flux density, iron loss."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, strategies as st

from calib import bench
from calib.bench import magnetics
from tests.counts import FEW

AREAS = st.floats(0.1, 1000.0)


def test_worked_table_of_square_stacks(worked_stacks):
    for row in worked_stacks:
        tongue = float(row["tongue_mm"])
        area, sheets = bench.core_area_cm2(tongue, tongue), bench.core_sheets(tongue)
        rule = bench.AreaRule(60.0, flux_t=1.2, density_a_mm2=4.0 * math.sqrt(25.4 / tongue), copper_fill=0.195)
        # The table prints 3 significant figures at least: half a unit of the third is 0.5 % at most.
        assert area == pytest.approx(float(row["core_area_cm2"]), rel=5e-4)
        assert sheets.window_cm2 == pytest.approx(float(row["window_cm2"]), rel=5e-4)
        assert sheets.mean_turn_mm(tongue) == pytest.approx(float(row["mean_turn_mm"]), abs=0.051)
        assert sheets.path_mm == pytest.approx(float(row["path_mm"]), abs=0.051)
        assert sheets.iron_mass_kg(tongue) == pytest.approx(float(row["iron_kg"]), rel=5e-4)
        assert bench.area_rule_va(area, sheets.window_cm2, rule) == pytest.approx(float(row["volt_amperes"]), rel=5e-3)
    assert len(worked_stacks) == 19


@FEW
@given(AREAS, st.floats(0.5, 1.8), st.floats(25.0, 400.0), st.floats(1.0, 1000.0))
def test_flux_there_and_back(area, flux, frequency, voltage):
    turns = voltage * bench.turns_per_volt(area, flux, frequency)
    assert bench.flux_density_t(voltage, turns, area, frequency) == pytest.approx(flux)


@FEW
@given(AREAS, st.floats(100.0, 250.0), st.floats(100.0, 2000.0))
def test_sixty_hertz_unit_on_fifty_runs_a_fifth_harder(area, voltage, turns):
    on_sixty = bench.flux_density_t(voltage, turns, area, 60.0)
    assert bench.flux_density_t(voltage, turns, area, 50.0) == pytest.approx(1.2 * on_sixty)


def test_steel_and_its_use():
    # Transformer and Inductor Design Handbook (McLyman); Magnetic Circuits and Transformers (MIT EE Staff).
    assert bench.LOSS_W_KG == {
        "old radio steel": (1.8, 3.0),
        "good non-oriented": (1.2, 1.8),
        "grain-oriented": (0.7, 1.0),
    }
    assert {kind: high for kind, (_, high) in bench.DESIGN_FLUX_T.items()} == {
        "before 1950": 1.2,
        "later": 1.4,
        "grain-oriented": 1.6,
    }
    assert (magnetics.LOSS_REFERENCE_T, magnetics.LOSS_REFERENCE_HZ) == (1.0, 60.0)
    assert (bench.STACKING_FACTOR, bench.OLD_STACKING_FACTOR) == (0.95, (0.90, 0.93))
    assert bench.IRON_DENSITY_KG_M3 == 7650.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: bench.AreaRule(0.0, 1.2, 3.0, 0.2), "frequency is 0.0 Hz"),
        (lambda: bench.AreaRule(60.0, 0.0, 3.0, 0.2), "flux density is 0.0 T"),
        (lambda: bench.AreaRule(60.0, 1.2, 0.0, 0.2), "current density is 0.0 A/mm²"),
        (lambda: bench.AreaRule(60.0, 1.2, 3.0, 0.0), "copper fill is 0.0"),
        (lambda: bench.AreaRule(60.0, 1.2, 3.0, 1.02), "copper fill is 1.02: it must be from 0 to 1"),
        (lambda: bench.AreaRule(60.0, 1.2, 3.0, 0.2, 0.3), "stacking factor is 0.3"),
        (lambda: bench.area_rule_va(0.0, 5.0, bench.AreaRule(60.0, 1.2, 3.0, 0.2)), "core area is 0.0 cm²"),
        (lambda: bench.area_rule_va(5.0, 0.0, bench.AreaRule(60.0, 1.2, 3.0, 0.2)), "window area is 0.0 cm²"),
        (lambda: bench.turns_per_volt(0.0, 1.1, 60.0), "core area is 0.0 cm²"),
        (lambda: bench.turns_per_volt(9.0, 0.0, 60.0), "flux density is 0.0 T"),
        (lambda: bench.turns_per_volt(9.0, 1.1, 0.0), "frequency is 0.0 Hz"),
        (lambda: bench.flux_density_t(0.0, 300.0, 9.0, 60.0), "voltage is 0.0 V"),
        (lambda: bench.flux_density_t(117.0, 0.0, 9.0, 60.0), "turns is 0.0"),
        (lambda: bench.iron_loss_w_kg(0.0, 1.1, 60.0), "iron loss is 0.0 W/kg"),
        (lambda: bench.iron_loss_w_kg(1.5, 0.0, 60.0), "flux density is 0.0 T"),
    ],
)
def test_impossible_input_is_named(call, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call()
