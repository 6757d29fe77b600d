"""Rectifier supplies marched in time by an adaptive integrator until they repeat: the reference for the exact solver.

Nothing here is shared with ``calib.supply``: diodes are resistances that switch, valves are the 3/2-power law, a choke
is a state, and the steady state is what is left after enough line cycles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

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
    low, high = 0.0, volts
    for _ in range(200):  # the valve's own drop, by halving
        drop = (low + high) / 2
        if drop + supply.source_ohm * supply.perveance * drop**1.5 > volts:
            high = drop
        else:
            low = drop
        if high - low < 1e-13 * volts:
            break
    return supply.perveance * low**1.5


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


def marched(supply: Reference, cycles: int, tolerance: float = 1e-8) -> dict[str, float]:
    """Averages over the last of so many line cycles.

    Returns
    -------
    dict
        dc_v, ripple_v_pp, load_ma, winding_rms_ma (one side), peak_ma.
    """
    span = 1 / supply.hz
    slope = _slope(supply)
    states = 1 if supply.rectifier != "doubler" and supply.filter != "choke" else 2
    state = np.zeros(states)
    if states == 1 or supply.rectifier == "doubler":
        state += 0.8 * np.sqrt(2) * supply.volts
    else:
        state[1] = 0.7 * np.sqrt(2) * supply.volts
    times = np.linspace(0, span, SAMPLES)
    for cycle in range(cycles):
        last = cycle == cycles - 1
        solution = solve_ivp(
            slope, (0, span), state, rtol=tolerance, atol=tolerance, max_step=span / 100, t_eval=times if last else None
        )
        state = solution.y[:, -1]
    return _averages(supply, times, solution.y)


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
