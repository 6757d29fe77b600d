"""The same digits on one core and on two."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WORK = """
import numpy as np
from calib.fitting import fit
from tests.scenes.population import SCENES, recorded, units
rng = np.random.default_rng(5)
scene = SCENES["ordinary"]
model = fit(recorded(scene, units(scene, 2000, rng), 0.05, rng))
made = model.estimate(units(scene, 20, rng, asked=True)).drop(columns=["flags"])
print([value.hex() for value in made.select_dtypes("number").to_numpy().ravel().tolist()])
print([value.hex() for value in model.check().__dict__.values() if isinstance(value, float)])
"""


def digits(threads: int) -> str:
    environment = os.environ | {name: str(threads) for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")}
    done = subprocess.run([sys.executable, "-c", WORK], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_one_thread_and_two_give_the_same_digits():
    """With 2,000 records the library's own sums in two threads end in other digits than in one."""
    one = digits(1)
    assert one.count("0x") > 100
    assert digits(2) == one
