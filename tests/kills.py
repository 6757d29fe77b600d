"""Killed at any moment while writing in every way that a register knows: what was acknowledged is there, and no halves.

A child goes through all ways, one after the other and round again, and tells each when it is done. Every way adds known
numbers of rows, so that the rows that are there say what was done; each child begins at another way, so that all are
hit alike.
"""

from __future__ import annotations

import os
import random
import shutil
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

from calib.register.attachments import EvidenceFile, attachment_id, of_record
from calib.register.bench_book import Meter
from calib.register.bench_units import BenchEntry
from calib.register.bundle import Attached, path_of
from calib.register.frame import frame_of
from calib.register.merge import Bundle, read_bundle
from calib.register.records import KnownUnit, UnknownUnit
from calib.register.register import Register
from calib.register.safekeeping import check_register, restore_register
from tests.register.bundles import CELLS, packed, revision
from tests.register.conftest import TYPED
from tests.warm import SERVER

LANE = TYPED["contributor"]
METER = {"name": "Bench", "reads": "volt", "range_label": "20 V", "counts": "3", "resolution": "0.01"}
READ = BenchEntry(readings=UnknownUnit.parse({n: v for n, v in TYPED.items() if n in UnknownUnit.model_fields}))
Rows = Counter[str]


def record(unit: str, **changed: str) -> KnownUnit:
    return KnownUnit.parse({**TYPED, "unit": unit, **changed})


def photograph(turn: int, size: int = 40_000) -> EvidenceFile:
    """A file of several parts, as many each time but another; a PDF, since that is kept as it is."""
    return EvidenceFile("sheet.pdf", "application/pdf", b"%PDF-1.4\n" + b"%08d" % turn * (size // 8) + b"\n%%EOF\n")


def bundle(turn: int) -> Bundle:
    """Two records of three revisions, with a file."""
    import pandas as pd

    units = [f"M-{turn}", f"N-{turn}"]
    rows = [revision(units[0], 1), revision(units[0], 2, rated_current_ma="91"), revision(units[1], 1)]
    read = read_bundle(packed(rows, [{name: row[name] for name in CELLS} for row in rows[1:]]), "theirs")
    owner, one = of_record(LANE, units[0]), photograph(turn, 20)
    row = {"attachment_id": attachment_id(owner, one.sha256), "revision": 1, "action": "attach", "by": "", "reason": ""}
    row |= {"kind": "record", "owner": owner.identity, "name": one.name, "media": one.media}
    row |= {"size": len(one.content), "sha256": one.sha256}
    history = pd.DataFrame([row]).assign(made_at=read.history["made_at"].iloc[0])
    return replace(read, attached=Attached(history, {path_of(one.sha256, one.media): one.content}))


def _import(register: Register, turn: int) -> None:
    register.import_table(frame_of(KnownUnit, [record(f"T-{turn}-{k}") for k in range(3)]))


def _backup(register: Register, turn: int) -> None:
    register.backup(backup_of(register.path, turn))


def backup_of(path: Path, turn: int) -> Path:
    return path.with_name(f"{path.stem}.backup-{turn}.duckdb")


# Each way of writing, with the rows that it adds to each table.
WAYS: tuple[tuple[Callable[[Register, int], object], dict[str, int]], ...] = (
    (lambda register, turn: register.add(record(f"U-{turn}")), {"revisions": 1}),
    (_import, {"revisions": 3}),
    (lambda register, turn: register.amend(record(f"U-{turn}", rated_current_ma="95")), {"revisions": 1}),
    (lambda register, turn: register.keep(LANE, f"U-{turn}", reason="read again"), {"revisions": 1}),
    (
        lambda register, turn: register.attach(of_record(LANE, f"U-{turn}"), photograph(turn)),
        {"attachment_revisions": 1, "attached_files": 3},
    ),
    (
        lambda register, turn: register.detach(of_record(LANE, f"U-{turn}"), photograph(turn).sha256),
        {"attachment_revisions": 1},
    ),
    (lambda register, turn: register.withdraw(LANE, f"U-{turn}"), {"revisions": 1}),
    (lambda register, turn: register.restore(LANE, f"U-{turn}"), {"revisions": 1}),
    (
        lambda register, turn: register.merge(bundle(turn)),
        {"revisions": 3, "merges": 2, "attachment_revisions": 1, "attached_files": 1},
    ),
    (
        lambda register, turn: register.keep_meter(Meter.parse({**METER, "percent": f"{1 + turn % 90}"})),
        {"meter_revisions": 1},
    ),
    (lambda register, turn: register.keep_session(f"U-{turn}", {}, "look"), {"session_revisions": 1}),
    (lambda register, turn: register.keep_on_bench(f"U-{turn}", READ), {"bench_revisions": 1}),
    (_backup, {}),
    (lambda register, turn: restore_register(backup_of(register.path, turn), register.path), {}),
)
TABLES = sorted({name for _, rows in WAYS for name in rows})


def writing(path: Path, done: int, told: str, most: int = 10_000) -> None:
    """Go on writing after so many ways done, and tell of each that is by a byte at the end of a file."""
    heard = os.open(told, os.O_WRONLY | os.O_APPEND)
    os.write(heard, b".")  # at work
    for number in range(done, done + most):
        turn, way = divmod(number, len(WAYS))
        WAYS[way][0](Register(path, wait=15.0), turn)
        os.write(heard, b".")


def rows_after(done: int) -> Rows:
    """What the tables hold after so many ways."""
    held: Rows = Counter()
    for number in range(done):
        held.update(WAYS[number % len(WAYS)][1])
    return held


@cache
def begun(place: Path) -> tuple[tuple[Path, float], ...]:
    """A register after each number of ways from 0 on, and how long the next way took [s]."""
    path, states = place / "begun.duckdb", []
    Register(path)
    for number, (way, _) in enumerate(WAYS):
        copy, start = Path(shutil.copy(path, place / f"begun-{number}.duckdb")), time.monotonic()
        way(Register(path), 0)
        states.append((copy, time.monotonic() - start))
    return tuple(states)


def kill(number: int, place: Path, chance: random.Random) -> tuple[int, int, list[str]]:
    """Kill one child: how many ways it told of, the way that it was at, and what is wrong then."""
    done = number % len(WAYS)
    state, long = begun(place)[done]
    path, told = place / f"killed-{number}.duckdb", place / f"told-{number}.txt"
    shutil.copy(state, path)
    shutil.copy(state, backup_of(path, 0))
    if done != len(WAYS) - 1:
        backup_of(path, 0).unlink()
    told.touch()
    process = SERVER.Process(target=writing, args=(path, done, str(told)))
    process.start()
    end = time.monotonic() + 60.0
    while not told.stat().st_size and time.monotonic() < end:
        time.sleep(0.002)
    time.sleep(chance.uniform(0.0, 2.0) * long)
    process.kill()
    process.join()
    said = told.stat().st_size - 1
    wrong = [] if process.exitcode == -9 else [f"it ended by itself, with {process.exitcode}"]
    if not path.exists():  # killed as what was there was moved aside, and before the backup was in its place
        moved = sorted(place.glob(f"{path.stem}.before-restore.*.duckdb"), key=lambda one: one.stat().st_mtime_ns)
        if (done + said) % len(WAYS) != len(WAYS) - 1 or not moved:
            wrong.append("the register is gone")
            return said, done + said, wrong
        os.rename(moved[-1], path)
        if Path(f"{moved[-1]}.wal").exists():
            os.rename(f"{moved[-1]}.wal", f"{path}.wal")
    Register(path)  # which takes a log in
    found = check_register(path)
    there = {name: found.rows[name] for name in TABLES}
    if not any(there == {name: rows_after(done + more)[name] for name in TABLES} for more in (said, said + 1)):
        wrong.append(f"told of {said} after {done}, there {there}")
    wrong += found.findings
    for one in sorted(place.glob(f"{path.stem}.backup-*.duckdb")):
        wrong += check_register(one).findings
    for one in place.glob(f"{path.stem}.*"):
        one.unlink()
    return said, done + said, [f"kill {number}: {one}" for one in wrong]
