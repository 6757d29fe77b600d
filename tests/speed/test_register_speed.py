"""Ratios of the register's speed: ``pytest -s tests/speed/test_register_speed.py``."""

from __future__ import annotations

from pathlib import Path

import pytest

from calib.register import file
from calib.register.frame import frame_of
from calib.register.records import KnownUnit
from calib.register.register import Register
from tests.register.conftest import TYPED
from tests.speed.speeds import seconds, tell

RECORDS, ROUNDS = 1000, 6


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
