"""Ten million records: the time of the fit over that of one plain aggregate, and its memory."""

from __future__ import annotations

import pytest

from tests.bench.passes import RECORDS, run

LONGEST_RATIO, LARGEST_GB = 25.0, 2.0
TRUE_SLOPE = -0.7  # of ln multiplier on ln core area in the law that tests/scenes/many.py makes the records by


def test_ten_million_records_are_fitted_in_passes(tmp_path):
    found = run(RECORDS, tmp_path)
    assert found["records"] == RECORDS
    assert found["ratio"] < LONGEST_RATIO
    assert found["peak_gb"] < LARGEST_GB
    # Reading errors and doubts blur what goes with V/R and what with the core.
    assert found["slope"] == pytest.approx(TRUE_SLOPE, abs=0.1)
