"""Ten million records, or a hundredth of them: the time of the fit over one plain aggregate's, and its memory."""

from __future__ import annotations

import pytest

from tests.counts import share
from tests.speed import passes

LARGEST_GB = 2.0
TRUE_SLOPE = -0.7  # of ln multiplier on ln core area in the law that tests/scenes/many.py makes the records by


def test_millions_of_records_are_fitted_in_passes(tmp_path, record_property):
    records = share(100_000, passes.RECORDS)
    found = passes.run(records, tmp_path)
    record_property("fit over one aggregate", found["ratio"])
    print(f"\n{records} records: fit over one aggregate {found['ratio']:.1f}, peak {found['peak_gb']:.2f} GB")
    assert found["records"] == records
    assert found["peak_gb"] < LARGEST_GB
    # Reading errors and doubts blur what goes with V/R and what with the core.
    assert found["slope"] == pytest.approx(TRUE_SLOPE, abs=0.1)
