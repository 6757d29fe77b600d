"""The wing's constants, read a second time from the sources that their docstrings name."""

from __future__ import annotations

import pytest

from calib import bench
from calib.bench import magnetics


def test_meters_where_a_record_names_none():
    # The classes of worked values T3.6 (voltage) and T3.8 (resistance).
    assert bench.MeterClass(percent=1.0, counts=3, resolution=0.01) == bench.ORDINARY_VOLTMETER
    assert bench.MeterClass(percent=0.8, counts=2, resolution=0.1) == bench.ORDINARY_OHMMETER
    assert (bench.ONE_METER_ONE_RANGE, bench.ONE_METER_OTHER_RANGE, bench.TWO_METERS) == (1.0, 0.5, 0.0)
    assert (bench.LEAD_NULL_U_OHM, bench.WINDING_TEMP_HALF_WIDTH_K) == (0.05, 1.5)


def test_limits_of_a_ratio_test():
    assert bench.HAZARDOUS_LIVE_V == 30.0  # IEC 61010-1, rms, normal dry conditions
    assert bench.EXCITATION_SHARE == (0.03, 0.15)
    assert bench.COUPLING_SUSPECT == 0.97
    assert (bench.EXCITING_DROP_U_PCT, bench.LOADING_IGNORED_PCT) == (0.3, 0.1)


def test_bench_practice_of_resistance():
    assert bench.FOUR_WIRE_BELOW_OHM == 5.0
    assert bench.HOT_SPOT_ABOVE_MEAN_K == (5.0, 15.0)  # IEC 60034-1 and IEC 60076 practice


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


def test_sizes_and_densities():
    assert bench.SIZE_CLASSES[:-1] == (0.0, 4.5, 7.0, 10.0, 14.0, 20.0, 32.0)
    assert bench.SIZE_CLASS_LABELS == ("1", "2", "3", "4", "5", "6", "7")
    low, high = bench.USUAL_CIRCULAR_MILS_PER_AMPERE
    assert bench.density_from_circular_mils(low) == pytest.approx(5.6, abs=0.05)
    assert bench.density_from_circular_mils(high) == pytest.approx(2.0, abs=0.05)
