"""Ratios of the register's speed: ``pytest -s tests/speed/test_register_speed.py``."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from calib.register import bulk, file
from calib.register.frame import frame_of
from calib.register.records import KnownUnit
from calib.register.register import Register
from tests.counts import share
from tests.register.conftest import TYPED
from tests.speed.speeds import seconds, tell

RECORDS, ROUNDS = 1000, 6
LARGE_ROWS = 30_000  # a million by hand: CALIB_TESTS=whole


def record(unit: str) -> KnownUnit:
    return KnownUnit.parse({**TYPED, "unit": unit})


def test_an_addition_that_is_read_back_against_one_that_is_not(
    tmp_path: Path, record_property, monkeypatch: pytest.MonkeyPatch
):
    """Each by turns, so that what else the machine does meets both; meant to be twice the time at most."""
    path, read_back, times = tmp_path / "club.duckdb", [], {True: [], False: []}
    file.make(path, False, frame_of(KnownUnit, [record(f"U-{number}") for number in range(RECORDS)]))
    register, own = Register(path), file._read_back
    for number in range(2 * ROUNDS):
        whole = number % 2 == 0
        monkeypatch.setattr(file, "_read_back", lambda *words, whole=whole: whole and read_back.append(own(*words)))
        times[whole].append(seconds(lambda number=number: register.add(record(f"V-{number}")), rounds=1)[0])
    tell(
        record_property, "1000 records: an addition read back over one that is not", min(times[False]), min(times[True])
    )
    assert len(read_back) == ROUNDS
    assert register.count() == RECORDS + 2 * ROUNDS


def test_a_large_table_brought_in_against_the_database_s_own_reading_of_it(
    tmp_path: Path, record_property, monkeypatch: pytest.MonkeyPatch
):
    """Checked, kept and read back, over a table made of its cells as text; meant to be six times the time at most."""
    path, rows = tmp_path / "large.csv", share(LARGE_ROWS, 1_000_000)
    cells = {**TYPED, "unit": "@", "tongue_mm": "28.6", "stack_mm": "31", "maker": "Fictional", "notes": "read warm"}
    line = ",".join(cells.values())
    with open(path, "w", encoding="utf-8") as file:
        file.write(",".join(cells) + "\n")
        file.writelines(f"{line.replace('@', f'U-{number}')}\n" for number in range(rows))
    monkeypatch.setattr(bulk, "LARGE", 0)
    register = Register(tmp_path / "club.duckdb")
    ours, report = seconds(lambda: register.import_csv(path), rounds=1)
    with duckdb.connect() as con:
        asked = f"CREATE OR REPLACE TABLE cells AS SELECT * FROM read_csv('{path}', all_varchar = true)"
        theirs, _ = seconds(lambda: con.execute(asked), rounds=1)
    tell(record_property, f"{rows} rows brought in over read as text", theirs, ours)
    assert report.added == rows
