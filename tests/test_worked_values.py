"""Worked values of the trade's equations, each reckoned once by a script of its own and compared to its last digit.

A row of worked_values.csv has an expression in functions of the wings, its inputs by name, the result as printed, and
the textbook or standard that the equation is from.
"""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import pytest

from calib import bench, leads, supply
from calib.estimate import cooling, heat_run, warming
from calib.supply.steady_state import steady_state

with Path(__file__).with_name("worked_values.csv").open(encoding="utf-8", newline="") as lines:
    ROWS = list(csv.DictReader(lines))
KNOWN = {"bench": bench, "leads": leads, "supply": supply, "steady_state": steady_state, "math": math}
KNOWN |= {"heat_run": heat_run, "warming": warming, "cooling": cooling}


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['id']} {row['result']}" for row in ROWS])
def test_a_worked_value_comes_out_as_printed(row, printed):
    assert re.search(r"\b(bench|leads|supply|heat_run|warming|cooling)\.\w|\bsteady_state\(", row["equation"]), (
        "no function of a wing"
    )
    inputs = eval(f"dict({row['inputs']})", {})
    printed(float(eval(row["equation"], KNOWN | inputs)), row["result"])
    assert row["source"]
