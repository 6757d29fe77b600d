"""What the fit of a large register costs: its time over that of one plain aggregate of the same table, and its memory.

``python -m tests.speed.passes [--records 10000000]`` from the top of the tree makes the (simulated) table in a folder
of its own and prints the ratio; about a minute on two cores.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from calib.fitting import Multiplier

RECORDS = 10_000_000
KEYS = ("contributor", "evidence", "rectifier", "filter")
AREA = "coalesce(tongue_mm * stack_mm / 100, core_area_cm2)"
TREE = Path(__file__).parents[2]


def aggregate(columns: Sequence[str]) -> str:
    """The plain aggregate: every measured column summed by the keys that the fit tells apart."""
    from calib.bench import core
    from calib.fitting.outofcore.features import NUMBERS

    edges = zip(core.SIZE_CLASS_LABELS, core.SIZE_CLASSES[1:-1], strict=False)
    classes = " ".join(f"WHEN {AREA} < {edge:g} THEN '{label}'" for label, edge in edges)
    size = f"CASE WHEN {AREA} IS NULL THEN '' {classes} ELSE '{core.SIZE_CLASS_LABELS[-1]}' END"
    sums = ", ".join(f"sum({name})" for name in NUMBERS if name in columns)
    return f"SELECT {', '.join(KEYS)}, {size} AS size_class, count(*), {sums} FROM known GROUP BY ALL"


def measure(path: Path) -> dict:
    """Seconds of the aggregate (the median of three before the fit and three after) and of the fit, and peak memory."""
    import ibis

    from calib.fitting.outofcore.fit import SAMPLE_ROWS
    from calib.fitting.result import fit_table

    backend = ibis.duckdb.connect(path, read_only=True, threads=2, memory_limit="1GB")
    asked = aggregate(backend.table("known").columns)
    plain = [_seconds(lambda: backend.raw_sql(asked).fetchall())[0] for _ in range(3)]
    records = backend.table("known")
    held = min(SAMPLE_ROWS, int(records.count().execute()) // 8)
    seconds, model = _seconds(lambda: fit_table(records, sample_rows=held))
    plain += [_seconds(lambda: backend.raw_sql(asked).fetchall())[0] for _ in range(3)]
    return {
        "records": model.records,
        "aggregate_s": median(plain),
        "fit_s": seconds,
        "ratio": seconds / median(plain),
        "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2,
        "slope": slope(model),
    }


def _seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    done = work()
    return time.perf_counter() - start, done


def slope(model: Multiplier) -> float:
    """Slope of ln multiplier on ln core area between the middles of the second and the sixth size class."""
    table = model.classes()
    of = table[(table["rectifier"] == "full-wave") & (table["filter"] == "capacitor")].set_index("size_class")
    middle = np.log(of["low_area_cm2"] * of["high_area_cm2"]) / 2
    return float(np.log(of["multiplier"]["6"] / of["multiplier"]["2"]) / (middle["6"] - middle["2"]))


def run(records: int, folder: Path) -> dict:
    """Make the table, and measure in a process that does nothing else."""
    from tests.scenes.many import make

    path = folder / "many.duckdb"
    make(path, records)
    command = [sys.executable, "-W", "ignore", "-m", "tests.speed.passes", "--measure", str(path)]
    done = subprocess.run(command, cwd=TREE, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=RECORDS)
    parser.add_argument("--measure", type=Path)
    asked = parser.parse_args()
    if asked.measure:
        print(json.dumps(measure(asked.measure)))
        return
    with tempfile.TemporaryDirectory() as folder:
        print(json.dumps(run(asked.records, Path(folder)), indent=1))


if __name__ == "__main__":
    main()
