"""Typical supplies of valve equipment and the form factors that the exact solver gives over them.

``python -m tests.scenes.typical_supplies`` prints every figure of ``calib/supply/form_factor.toml`` that is solved for.
"""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np

from calib.supply.form_factor import SPREAD
from calib.supply.parameters import Settings
from calib.supply.steady_state import solve

# The nominal factors are averaged over these: each circuit is solved over a grid
# of three shares of copper drop (small receivers to large amplifiers), three sizes of capacitor, three of choke, and
# diodes or valves. The mean of ln k is the nominal value, its standard deviation how far real sets scatter.
COPPER = (0.03, 0.05, 0.08)  # rms drop in winding and reflected primary over no-load volts
W = (10.0, 22.0, 45.0)  # omega C times load resistance; twice that with a doubler's smaller capacitors in series
OVER_CRITICAL = (1.5, 3.0, 6.0)  # choke over critical inductance (full-wave, bridge)
HALF_WAVE_CHOKE = (0.2, 0.4, 0.8)  # omega L over load resistance
DIODE_DROP_V = 1.0
FREQUENCY_HZ = 60.0
VOLTS = (250.0, 350.0)
VALVES = (("5Y3-GT", 100.0), ("5U4-G", 180.0), ("GZ34", 180.0), ("6X4", 55.0))  # type number, load in mA

# (rectifier, filter): textbook k that sets the resistance, dc over no-load rms volts that sets the load resistance,
# share of the sets that have a valve rectifier. Judgement; each may be off by a fifth without moving k by 3 %.
TYPICAL = {
    ("full-wave", "none"): (0.79, 0.85, 0.7),
    ("full-wave", "capacitor"): (1.2, 1.1, 0.7),
    ("full-wave", "choke"): (0.73, 0.8, 0.7),
    ("bridge", "none"): (1.11, 0.85, 0.0),
    ("bridge", "capacitor"): (1.9, 1.2, 0.0),
    ("bridge", "choke"): (1.03, 0.85, 0.0),
    ("half-wave", "none"): (1.57, 0.42, 0.5),
    ("half-wave", "capacitor"): (2.3, 1.0, 0.5),
    ("half-wave", "choke"): (1.7, 0.6, 0.5),
    ("doubler", "capacitor"): (3.3, 2.1, 0.2),
}


def typical_form_factor(rectifier: str, filter: str) -> tuple[float, float]:
    """Mean and spread of the winding's rms current per ampere of direct current over typical supplies.

    Parameters
    ----------
    rectifier, filter : str
        A key of TYPICAL.

    Returns
    -------
    nominal, spread : float
        Geometric mean of k, and standard deviation of ln k [1].
    """
    share = TYPICAL[rectifier, filter][2]
    total, weights = [], []
    for with_valve, part in ((False, 1 - share), (True, share)):
        if part:
            logs = np.concatenate([np.log(_solved(rectifier, filter, *what)) for what in _rectifiers(with_valve)])
            total.append(logs)
            weights.append(np.full(len(logs), part / len(logs)))
    logs, weight = np.concatenate(total), np.concatenate(weights)
    mean = float(weight @ logs)
    return float(np.exp(mean)), float(np.sqrt(weight @ (logs - mean) ** 2))


def spread(rectifier: str, filter: str) -> dict[str, tuple[float, float]]:
    """Smallest and largest k over the same supplies, those with silicon alone and those with a valve apart [1]."""
    found = {}
    for name, with_valve in (("silicon", False), ("valve", True)):
        all_k = np.concatenate([_solved(rectifier, filter, *what) for what in _rectifiers(with_valve)])
        found[name] = (round(float(all_k.min()), 2), round(float(all_k.max()), 2))
    return found


def _rectifiers(with_valve: bool) -> list[tuple[str | None, float]]:
    """Valves with their loads, or diodes with the same loads."""
    return [(name if with_valve else None, load) for name, load in VALVES]


@cache
def _solved(rectifier: str, filter: str, valve: str | None, load_ma: float) -> np.ndarray:
    """k over the grid of one rectifier."""
    textbook, level, _ = TYPICAL[rectifier, filter]
    sizes = W if filter != "none" else (1.0,)
    chokes: tuple[float, ...] = (0.0,)
    if filter == "choke":
        chokes = HALF_WAVE_CHOKE if rectifier == "half-wave" else tuple(0.330674 * over for over in OVER_CRITICAL)
    copper, w, x, volts = (np.array(column) for column in zip(*product(COPPER, sizes, chokes, VOLTS), strict=True))
    load_ohm = level * volts / load_ma * 1000
    omega = 2 * np.pi * FREQUENCY_HZ
    what = Settings(
        rectifier,
        filter,
        volts,
        copper * volts / (textbook * load_ma / 1000),
        w * (2 if rectifier == "doubler" else 1) / (omega * load_ohm) * 1e6,
        load_ma,
        FREQUENCY_HZ,
        choke_h=x * load_ohm / omega if filter == "choke" else None,
        diode_drop_v=0.0 if valve else DIODE_DROP_V,
        valve=valve,
    )
    return solve(what)["winding_rms_ma"] / load_ma


if __name__ == "__main__":
    for pair in TYPICAL:
        nominal, scatter = typical_form_factor(*pair)
        apart = spread(*pair) if pair in SPREAD else ""
        print(f"{' with '.join(pair)}: k = {nominal:.4f}, sd = {scatter:.4f} {apart}")
