"""Attacks on the register: kills, adds all at once, full disks, spoiled files, hostile tables; nothing may be lost.

``python -m tests.attack`` makes all of them and prints a table; ``--share 0.1`` a tenth; the tests run less.
Every draw has its seed. Children are forked from a process that has everything loaded, so that a kill hits the work.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from calib.errors import CannotError, InputError, is_hidden
from calib.register.attachments import of_record
from calib.register.file import opened
from calib.register.gate import rows
from calib.register.merge import read_bundle
from calib.register.records import KnownUnit
from calib.register.register import Register
from calib.register.safekeeping import check_register
from tests.kills import LANE, WAYS, kill, photograph
from tests.register import hostile_exchange
from tests.register.conftest import TYPED
from tests.warm import SERVER

COUNTS = {"kills": 200, "adds": 500, "fills": 60, "spoiled files": 110, "hostile tables": 930}
COUNTS |= {"bundles and tables": 1000, "adds beside the page": 200}
WRITERS = 10


@dataclass
class Outcome:
    """What became of one kind of attack: how many were made, and in words what went wrong."""

    made: int
    wrong: list[str]
    told: str = ""


def record(unit: str) -> KnownUnit:
    return KnownUnit.parse({**TYPED, "unit": unit})


def child(work: Callable[..., None], *words: object) -> BaseProcess:
    """A process of its own at work, forked from one that has everything loaded and has touched no register."""
    process = SERVER.Process(target=work, args=words)
    process.start()
    return process


def adding(path: Path, first: str, count: int, wait: float = 15.0) -> None:
    """Add records one by one."""
    for k in range(count):
        Register(path, wait=wait).add(record(f"{first}{k}"))


def kills(count: int, place: Path, chance: random.Random) -> Outcome:
    """Killed at any moment while writing in every way: what was acknowledged is there, of the rest all or nothing."""
    wrong: list[str] = []
    heard, hit = 0, set()
    for number in range(count):
        told, at, found = kill(number, place, chance)
        heard += told
        hit.add(at % len(WAYS))
        wrong += found
    return Outcome(count, wrong, f"{heard} writings acknowledged before a kill, {len(hit)} of {len(WAYS)} ways hit")


def adds(count: int, place: Path, chance: random.Random) -> Outcome:
    """Several processes that add at once: every record is there."""
    path, each = place / "adds.duckdb", -(-count // WRITERS)
    writers = [child(adding, path, f"{writer}-", each, 300.0) for writer in range(WRITERS)]
    for process in writers:
        process.join()
    there, ends = Register(path).count(), [process.exitcode for process in writers]
    wrong = [f"{there} of {each * WRITERS} there, ends {ends}"] if there != each * WRITERS or any(ends) else []
    return Outcome(each * WRITERS, wrong, f"by {WRITERS} processes")


def adding_on_little(path: Path, limit: int, told: str) -> None:
    """Add while no file may grow beyond a limit, until that is refused in one line."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    for k in range(12):
        try:
            Register(path).add(record(f"G-{k}"))
            Register(path).attach(of_record(LANE, "F-0"), photograph(k))
        except CannotError as error:
            raise SystemExit(1 if len(str(error).splitlines()) == 1 else 2) from None
        os.mkdir(f"{told}-{k}")  # a name takes no room of a file


def fills(count: int, place: Path, chance: random.Random) -> Outcome:
    """A disk that is full at any point: nothing that was there is lost, and what was acknowledged is there."""
    wrong, refused = [], 0
    for number in range(count):
        path, told = place / f"full-{number}.duckdb", place / f"told-{number}"
        register = Register(path)
        register.add(record("F-0"))
        size = path.stat().st_size
        limit = chance.choice([0, size - 4096, size + chance.randrange(0, 120_000)])
        process = child(adding_on_little, path, limit, str(told))
        process.join()
        refused += process.exitcode == 1
        said = {f"G-{one.name.rsplit('-', 1)[1]}" for one in place.glob(f"{told.name}-*")}
        units, files = set(register.known()["unit"]), register.attachments(of_record(LANE, "F-0"))
        sound = check_register(path).is_sound and len(files) >= len(said)
        if not {"F-0", *said} <= units or process.exitcode not in (0, 1) or not sound:
            wrong.append(
                f"fill {number} at {limit}: ended with {process.exitcode}, told {len(said)}, there {len(units)}"
            )
    return Outcome(count, wrong, f"{refused} refused with one line")


def spoiled(count: int, place: Path, chance: random.Random) -> Outcome:
    """Files cut short, with bytes flipped, with pieces overwritten: read as they were, or refused in one line."""
    sound = place / "sound.duckdb"
    register = Register(sound)
    register.import_table(_many(200))
    raw, before = sound.read_bytes(), register.known()
    wrong, refused = [], 0
    for number in range(count):
        path = place / f"spoiled-{number}.duckdb"
        path.write_bytes(_spoil(raw, number, chance))
        try:
            if not Register(path).known().equals(before):
                wrong.append(f"spoiled {number}: read, and other than it was")
        except CannotError as error:
            refused += 1
            if len(str(error).splitlines()) != 1:
                wrong.append(f"spoiled {number}: {error}")
        path.unlink()
    return Outcome(count, wrong, f"{refused} refused, {count - refused} read as they were")


def _spoil(raw: bytes, number: int, chance: random.Random) -> bytes:
    at = chance.randrange(len(raw))
    if number % 3 == 0:
        return raw[:at]
    size = chance.choice([1, 8, 64, 4096])
    patch = bytes(byte ^ 255 for byte in raw[at : at + size]) if number % 3 == 1 else chance.randbytes(size)
    return raw[:at] + patch + raw[at + len(patch) :]


def _many(count: int) -> object:
    from calib.register.frame import frame_of

    return frame_of(KnownUnit, [record(f"U-{k}") for k in range(count)])


HOSTILE = [
    *("", "nan", "NaN", "inf", "-inf", "1e999", "-1", "0", "1e-320", "0x10", "1_000", "1,5", "١٢", "½", "∞"),
    *("=cmd|' /C calc'!A0", "'; DROP TABLE revisions; --", "\x1b]52;c;Zm9v\x07", "\u202eabc", "\x85", "\x00", "\ufeff"),
    *("a\nb", '"', '""', ",", "\t", " ", "true", "TRUE ", "None", "NULL", "../../x", "x" * 5000, "💡", "é" * 300),
]


def tables(count: int, place: Path, chance: random.Random) -> Outcome:
    """Tables with hostile cells, headers, quotes and bytes: taken whole, or refused and nothing written."""
    path = place / "tables.duckdb"
    register = Register(path)
    wrong, taken = [], 0
    for number in range(count):
        table = place / "hostile.csv"
        table.write_bytes(hostile_table(number, chance))
        before = register.count()
        try:
            report = register.import_csv(table)
            taken += 1
            if register.count() != before + report.added:
                wrong.append(f"table {number}: {report.added} said to be added, {register.count() - before} are")
        except InputError as error:
            if register.count() != before:
                wrong.append(f"table {number}: refused, yet written")
            if any(not str(one).isprintable() or len(str(one)) > 2000 for one in error.faults):
                wrong.append(f"table {number}: a fault that is no harmless line")
    return Outcome(count, wrong, f"{taken} taken whole, {count - taken} refused")


def hostile_table(
    number: int,
    chance: random.Random,
    sound: Mapping[str, str] = TYPED,
    odd: Sequence[str] = HOSTILE,
    rows_at_most: int = 3,
) -> bytes:
    """A table of sound rows with some odd cells in them, and some with a mixed header or spoiled bytes."""
    names, rows = list(sound), []
    for k in range(chance.randrange(1, rows_at_most + 1)):
        cells = {**sound, "unit": f"T-{number}-{k}"}
        for _ in range(chance.randrange(0, 3)):
            cells[chance.choice(names)] = chance.choice(odd)
        rows.append(",".join('"' + one.replace('"', '""') + '"' for one in cells.values()))
    header = ",".join(chance.choices(names, k=len(names)) if number % 10 == 9 else names)
    raw = "\n".join([header, *rows, ""]).encode("utf-8", "replace")
    if number % 7 == 6:
        at = chance.randrange(len(raw))
        raw = raw[:at] + chance.randbytes(chance.randrange(1, 9)) + raw[at + chance.randrange(0, 9) :]
    return raw


def exchanged(count: int, place: Path, chance: random.Random) -> Outcome:
    """Bundles and spreadsheets' tables: each is brought in whole, or refused with a reason and the file as it was."""
    register = Register(place / "exchanged.duckdb")
    wrong: list[str] = []
    taken = [0, 0]  # bundles and tables
    handed = there = 0

    def seen(given: Any) -> None:
        nonlocal handed, there
        handed += 1
        before = register.path.stat()
        try:
            if isinstance(given, dict):
                done = register.merge(read_bundle(given, "theirs"))
                wrote, taken[0] = done.written, taken[0] + 1
                if done.records["brings"].sum() != wrote:
                    wrong.append(f"bundle {handed}: {done}, and {wrote} revisions are written")
            else:
                report = register.import_csv(BytesIO(given))
                wrote, taken[1] = report.added + report.revised, taken[1] + 1
        except InputError as error:
            lines = [str(one) for one in error.faults]
            if any(len(line) > 2000 or any(map(is_hidden, line)) for line in lines):
                wrong.append(f"number {handed}: a fault that is no harmless line")
            if register.path.stat() != before:
                wrong.append(f"number {handed}: refused, yet written")
            return
        there += wrote
        with opened(register.path) as con:
            found = rows(con)["revisions"]
        if found != there:
            wrong.append(f"number {handed}: {there} revisions told of, {found} are there")

    hostile_exchange.each(count, seen)
    if not check_register(register.path).is_sound:
        wrong.append("the register is not sound")
    return Outcome(handed, wrong, f"{taken[0]} bundles and {taken[1]} tables taken whole, the others refused")


PAGES_OWN = 4  # processes that add while the page is open


def beside_the_page(count: int, place: Path, chance: random.Random) -> Outcome:
    """Several processes that add at once while the page is open: it shows what is there, and every record is."""
    from tests.app.visits import KNOWN, opened, text_of

    path, each, main_one = place / "page.duckdb", -(-count // PAGES_OWN), sys.modules["__main__"]
    wrong: list[str] = []
    before = {name: os.environ.get(name) for name in ("CALIB_REGISTER", "CALIB_PRACTICE")}
    os.environ |= {"CALIB_REGISTER": str(path), "CALIB_PRACTICE": ""}
    try:
        at = opened(KNOWN)
        sys.modules["__main__"] = main_one  # whose place a page takes that is run here
        writers = [child(adding, path, f"{writer}-", each, 300.0) for writer in range(PAGES_OWN)]
        visits = 0
        while any(process.is_alive() for process in writers):
            at.run()
            time.sleep(0.3)
            visits += 1
            wrong += [f"visit {visits}: {one.message}" for one in at.exception]
        for process in writers:
            process.join()
        at.run()
        shown = f"{each * PAGES_OWN} of {each * PAGES_OWN} known units" in text_of(at)
    finally:
        for name, value in before.items():
            os.environ.pop(name) if value is None else os.environ.update({name: value})
    there, ends = Register(path).count(), [process.exitcode for process in writers]
    if there != each * PAGES_OWN or any(ends) or not shown:
        wrong.append(f"{there} of {each * PAGES_OWN} there, ends {ends}, shown {shown}")
    return Outcome(each * PAGES_OWN, wrong, f"by {PAGES_OWN} processes, the page drawn {visits} times meanwhile")


KINDS: dict[str, Callable[[int, Path, random.Random], Outcome]] = {
    "kills": kills,
    "adds": adds,
    "fills": fills,
    "spoiled files": spoiled,
    "hostile tables": tables,
    "bundles and tables": exchanged,
    "adds beside the page": beside_the_page,
}


def attack(name: str, share: float, place: Path) -> Outcome:
    """One kind of attack, so large a share of it, in a folder of its own."""
    place.mkdir(parents=True, exist_ok=True)
    return KINDS[name](max(1, round(share * COUNTS[name])), place, random.Random(f"{name} 1"))


def main() -> None:
    """All kinds, as a table."""
    part = argparse.ArgumentParser(description=__doc__)
    part.add_argument("--share", type=float, default=1.0)
    asked = part.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_DATA_HOME"] = f"{folder}/data"
        for name in KINDS:
            begun = time.monotonic()
            found = attack(name, asked.share, Path(folder) / name.replace(" ", "-"))
            print(
                f"{name:20} {found.made:5}  wrong {len(found.wrong)}  {found.told}  ({time.monotonic() - begun:.0f} s)"
            )
            for line in found.wrong[:10]:
                print("   ", line)


if __name__ == "__main__":
    main()
