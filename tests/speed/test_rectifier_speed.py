"""How much faster the exact steady state is than an adaptive integrator that marches until it repeats.

The integrator marches a few cycles, which are counted, and its time is that of the 40 that it would need.
Both are timed in one run by the processor's own clock, and the result is a ratio, so that neither the machine nor what
else it does matters much. Cases at once: a load line or a search asks for many.
"""

from __future__ import annotations

import time

import numpy as np
import pytest

from calib.supply.parameters import Settings
from calib.supply.steady_state import solve
from calib.supply.valves import rectifier_valve
from tests.counts import share
from tests.scenes.integrated import Reference, settled

CASES = 200
CYCLES = 40
LOAD_OHM = 4000.0


@pytest.mark.parametrize(
    ("rectifier", "filter", "henry", "valve", "cases"),
    [
        ("full-wave", "capacitor", 0.0, None, CASES),
        ("doubler", "capacitor", 0.0, None, CASES),
        ("full-wave", "choke", 8.0, None, CASES),
        ("half-wave", "capacitor", 0.0, "5Y3", 64),
        ("half-wave", "capacitor", 0.0, None, CASES),
        ("full-wave", "choke", 1.0, None, CASES),
        ("full-wave", "capacitor", 0.0, "5Y3", 64),
        ("doubler", "capacitor", 0.0, "5Y3", 64),
        ("full-wave", "choke", 8.0, "5Y3", 64),
        ("full-wave", "choke", 1.0, "5Y3", 64),
    ][: share(4, 10)],
)
def test_ratio_to_an_adaptive_integrator(rectifier, filter, henry, valve, cases, record_property):
    def many(loads):
        return solve(
            Settings(
                rectifier,
                filter,
                300.0,
                160.0,
                16.0,
                loads,
                50.0,
                choke_h=henry if filter == "choke" else None,
                valve=valve,
            )
        )

    many(np.array([50.0]))
    loads = np.linspace(40.0, 60.0, cases)
    began = time.process_time()
    solved = many(loads)
    exact = (time.process_time() - began) / cases
    middle = Reference(rectifier, filter, 300.0, 160.0, 16e-6, solved["load_ohm"][cases // 2], 50.0, henry)
    if valve:
        middle = Reference(*(*vars(middle).values(),)[:-1], rectifier_valve(valve).perveance)
    began = time.process_time()
    reference, marched = settled(middle, tolerance=1e-6)
    cycles = marched / (2 if rectifier == "full-wave" else 1)
    slow = (time.process_time() - began) / cycles * CYCLES
    ratio = slow / exact
    record_property("times_faster", round(ratio))
    print(
        f"{rectifier}, {filter}{f' {henry:g} H' if henry else ''}, {valve or 'diodes'}: {ratio:.0f} times faster a case"
    )
    assert solved["dc_v"][cases // 2] == pytest.approx(reference["dc_v"], rel=1e-3)
