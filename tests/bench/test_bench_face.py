"""What the wing promises of itself: light to import, examples that run, data packages that hold."""

from __future__ import annotations

import doctest
import importlib
import json
import pkgutil
import subprocess
import sys

import pytest
from frictionless import validate

from calib import bench
from calib.paths import PACKAGE, shipped, shipped_rows

MODULES = ["calib.units", *sorted(f"calib.bench.{module.name}" for module in pkgutil.iter_modules(bench.__path__))]


def test_importing_the_wing_loads_nothing_heavy():
    code = "import sys, calib.bench; print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PACKAGE.parent
    ).stdout.split()
    assert "calib" in loaded
    assert not {"numpy", "pandas", "scipy", "uncertainties", "ibis", "duckdb", "pydantic"} & set(loaded)


def test_every_public_name_is_there_once():
    assert len(set(bench.__all__)) == len(bench.__all__)
    assert all(hasattr(bench, name) for name in bench.__all__)


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_every_public_function_says_what_it_does():
    silent = [name for name in bench.__all__ if callable(getattr(bench, name)) and not getattr(bench, name).__doc__]
    assert silent == []


@pytest.mark.parametrize("folder", ["wire", "laminations"])
def test_data_package_holds(folder, monkeypatch):
    package = shipped(f"datasets/{folder}/datapackage.json")
    monkeypatch.chdir(package.parent)
    report = validate("datapackage.json")
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    assert {resource["path"] for resource in json.loads(package.read_text(encoding="utf-8"))["resources"]} == {
        path.name for path in package.parent.glob("*.csv")
    }


@pytest.mark.parametrize(
    ("table", "rows"),
    [
        ("wire/swg", 29),
        ("wire/awg_film", 58),
        ("wire/iec_film", 60),
        ("wire/metric_old", 106),
        ("laminations/laminations", 48),
    ],
)
def test_tables_have_all_their_rows(table, rows):
    assert len(shipped_rows(f"datasets/{table}.csv")) == rows
