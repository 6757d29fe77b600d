"""What a shared register costs: records added a second by 1, 2, 4 and 8 writers, and the fit, beside a file of DuckDB.

``python -m tests.speed.lakehouse [--each 25] [--records 10000 100000]`` starts a PostgreSQL of its own on loopback,
prints a table of adds a second (file, lakehouse, and their ratio) and one of seconds of the fit in passes; nothing is
asserted. On two cores that many others use it takes six minutes. All of it takes hours:
``--each 100 --records 10000 100000 1000000 10000000``; ``--each 0`` leaves the adding out.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pandas as pd

import calib
from tests.lakehouse import catalogue
from tests.speed.speeds import seconds

WRITERS = (1, 2, 4, 8)
# One writer: it says that it is ready, waits until all are to begin, and adds its records.
WRITER = """
import sys
import calib
from tests.register.conftest import TYPED
place, bench, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
register = calib.Register(place, create=False, wait=600)
own = {**TYPED, "contributor": bench}
records = [calib.KnownUnit.parse({**own, "unit": f"unit {n}"}, where="row") for n in range(count)]
print("ready", flush=True)
sys.stdin.readline()
for record in records:
    register.add(record)
"""


def adds_a_second(place: str, writers: int, each: int) -> float:
    """Records that so many processes together add a second to a register, each so many, from the word to begin."""
    command = [sys.executable, "-W", "ignore", "-c", WRITER, place]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    started = [subprocess.Popen([*command, f"bench {n}", str(each)], **pipes) for n in range(writers)]
    for one in started:
        assert one.stdout is not None
        assert one.stdout.readline() == "ready\n"
    began = time.perf_counter()
    for one in started:
        assert one.stdin is not None
        one.stdin.write("begin\n")
        one.stdin.flush()
    assert [one.wait() for one in started] == [0] * writers
    took = time.perf_counter() - began
    for one in started:
        one.communicate()
    assert len(calib.Register(place, create=False).known()) == writers * each
    return writers * each / took


def of_adding(folder: Path, each: int, all_writers: Sequence[int] = WRITERS) -> pd.DataFrame:
    """Adds a second into a new file and a new lakehouse for each number of writers."""
    rows = []
    for writers in all_writers:
        path = folder / f"of_{writers}.duckdb"
        calib.Register(path)
        file = adds_a_second(str(path), writers, each)
        shared = adds_a_second(catalogue.made(f"adding_{os.getpid()}_{writers}"), writers, each)
        rows.append((writers, writers * each, file, shared, shared / file))
    return pd.DataFrame(rows, columns=["writers", "records", "file_a_second", "lakehouse_a_second", "ratio"])


def of_fitting(folder: Path, counts: Sequence[int]) -> pd.DataFrame:
    """Seconds of the fit in passes over the same table in a file and in a lakehouse, for each number of records."""
    import ibis

    from calib.register import lakehouse
    from calib.register.lakehouse import Lakehouse
    from tests.scenes.many import make

    rows = []
    for count in counts:
        make(path := folder / f"many_{count}.duckdb", count)
        place = Lakehouse(catalogue.made(f"fitting_{os.getpid()}_{count}"))
        with closing(lakehouse._engine()) as con:
            lakehouse._attach(con, place.catalogue)
            con.execute(f"ATTACH '{path}' AS many (READ_ONLY)")
            con.execute("CREATE TABLE known AS FROM many.known")
            file = _fit_s(ibis.duckdb.connect(path, read_only=True).table("known"))
            shared = _fit_s(ibis.duckdb.from_connection(con).table("known"))
        path.unlink()
        rows.append((count, file, shared, shared / file))
    return pd.DataFrame(rows, columns=["records", "file_s", "lakehouse_s", "ratio"])


def _fit_s(table: Any) -> float:
    return seconds(lambda: calib.fit_table(table), 1)[0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=25)
    parser.add_argument("--records", type=int, nargs="*", default=[10_000, 100_000])
    asked = parser.parse_args()
    server = catalogue.Server()
    server.start()
    os.environ[catalogue.SERVER] = server.told
    try:
        with tempfile.TemporaryDirectory() as folder:
            if asked.each:
                print(of_adding(Path(folder), asked.each).round(2).to_string(index=False))
            print(of_fitting(Path(folder), asked.records).round(2).to_string(index=False))
    finally:
        server.remove()


if __name__ == "__main__":
    main()
