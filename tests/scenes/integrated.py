"""Rectifier supplies marched in time by an adaptive integrator until they repeat: the reference for the exact solver.

Nothing here is shared with ``calib.supply``: diodes are resistances that switch, valves are the 3/2-power law, a choke
is a state, and the steady state is the one that a march through a period brings back, as a root finder seeks it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, root

SAMPLES = 4001


@dataclass(frozen=True)
class Reference:
    """A supply with a known load resistance, in volts, amperes, ohms, farads, henrys; perveance 0 is an ideal diode."""

    rectifier: str
    filter: str
    volts: float
    source_ohm: float
    farad: float
    load_ohm: float
    hz: float
    henry: float = 0.0
    drop_v: float = 0.0
    perveance: float = 0.0

    def emf(self, turns: float | np.ndarray) -> float | np.ndarray:
        wave = np.sin(2 * np.pi * turns)
        if self.rectifier in ("full-wave", "bridge"):
            wave = np.abs(wave)
        return np.sqrt(2) * self.volts * wave - self.drop_v


def current_at(supply: Reference, volts: float) -> float:
    """Current that a voltage drives through the source and the rectifier in series."""
    if volts <= 0:
        return 0.0
    if not supply.perveance:
        return volts / supply.source_ohm
    drop = brentq(
        lambda drop: drop + supply.source_ohm * supply.perveance * drop**1.5 - volts, 0.0, volts, xtol=1e-13 * volts
    )
    return supply.perveance * drop**1.5


def _slope(supply: Reference) -> Callable[[float, np.ndarray], list[float]]:
    farad, load = supply.farad, supply.load_ohm

    def capacitor(time: float, state: np.ndarray) -> list[float]:
        current = current_at(supply, supply.emf(time * supply.hz) - state[0])
        return [(current - state[0] / load) / farad]

    def doubler(time: float, state: np.ndarray) -> list[float]:
        drain = (state[0] + state[1]) / load
        upper = current_at(supply, supply.emf(time * supply.hz) - state[0])
        lower = current_at(supply, supply.emf(time * supply.hz + 0.5) - state[1])
        return [(upper - drain) / farad, (lower - drain) / farad]

    def choke(time: float, state: np.ndarray) -> list[float]:
        current, volts = state
        drop = (max(current, 0.0) / supply.perveance) ** (2 / 3) if supply.perveance else 0.0
        swing = supply.emf(time * supply.hz) - volts - supply.source_ohm * current - drop
        blocked = current <= 0 and swing < 0
        # a trace of current below zero is brought back, as a blocking rectifier does
        rate = -current * 5e4 if blocked else swing / supply.henry
        return [rate, (max(current, 0.0) - volts / load) / farad]

    return doubler if supply.rectifier == "doubler" else choke if supply.filter == "choke" else capacitor


def settled(supply: Reference, tolerance: float = 1e-8) -> tuple[dict[str, float], int]:
    """Averages over the period that repeats, and how many periods were marched to find it.

    A centre tap and a bridge repeat after half a line cycle, the others after a whole one.

    Returns
    -------
    dict, int
        dc_v, ripple_v_pp, load_ma, winding_rms_ma (one side), peak_ma; the number of periods.
    """
    span = 1 / supply.hz / (2 if supply.rectifier in ("full-wave", "bridge") else 1)
    slope, peak, marches = _slope(supply), np.sqrt(2) * supply.volts, 0

    def march(state: np.ndarray, times: np.ndarray | None = None) -> np.ndarray:
        nonlocal marches
        marches += 1
        return solve_ivp(slope, (0, span), state, rtol=tolerance, atol=tolerance, max_step=span / 50, t_eval=times).y

    if supply.filter == "choke":
        start = np.array([0.0, 0.7 * peak])
    else:
        start = np.full(2 if supply.rectifier == "doubler" else 1, 0.8 * peak)
    repeats = root(lambda state: march(state)[:, -1] - state, start, tol=1e-7, options={"eps": 1e-8}).x
    times = np.linspace(0, span, SAMPLES)
    states = march(repeats, times)
    assert np.abs(states[:, -1] - repeats).max() < 1e-5 * peak
    return _averages(supply, times, states), marches


def _averages(supply: Reference, times: np.ndarray, states: np.ndarray) -> dict[str, float]:
    if supply.filter == "choke":
        current, output = np.maximum(states[0], 0), states[1]
    else:
        emf = supply.emf(times * supply.hz)
        current = np.array([current_at(supply, gap) for gap in emf - states[0]])
        output = states.sum(axis=0)
    span = times[-1]
    both = 2.0 if supply.rectifier == "doubler" else 0.5 if supply.rectifier == "full-wave" else 1.0
    dc = np.trapezoid(output, times) / span
    return {
        "dc_v": dc,
        "ripple_v_pp": np.ptp(output),
        "load_ma": dc / supply.load_ohm * 1000,
        "winding_rms_ma": np.sqrt(np.trapezoid(current**2, times) / span * both) * 1000,
        "peak_ma": current.max() * 1000,
    }
