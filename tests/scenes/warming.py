"""Units that warm and cool: a winding on its core in a drifting room, by steps of time, apart from what calib assumes.

Two bodies: the winding stores heat, gives it to the core and some to the air; the core does the rest, with a surface
whose coefficient may grow with its rise. Copper's loss grows with the winding's temperature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ZERO = 234.5


@dataclass(frozen=True)
class Warm:
    """One unit: heat stored [J/K], conductances [W/K], losses at 20 °C [W], the surface's exponent, ohms, tongue."""

    winding_j_k: float
    core_j_k: float
    to_core: float
    to_air: float
    surface: float
    iron_w: float
    copper_w: float
    exponent: float
    cold_ohm: float
    tongue_mm: float

    def flows(self, winding: float, core: float, air: float, load: float, on: bool) -> tuple[float, float]:
        """Rates of both temperatures [K/s], at a current of `load` times the run's."""
        copper = on * self.copper_w * load**2 * (ZERO + winding) / (ZERO + 20.0)
        across = self.to_core * (winding - core)
        over = max(core - air, 1e-9)
        away = self.surface * over * (over / 40.0) ** (self.exponent - 1.0)
        heats = (copper - across - self.to_air * (winding - air), on * self.iron_w + across - away)
        return heats[0] / self.winding_j_k, heats[1] / self.core_j_k

    def steady_rise(self, air: float, load: float = 1.0, body: int = 0) -> float:
        """Rise of the winding, or of the core as body 1, when nothing moves any more [K]."""
        from scipy.optimize import fsolve

        found = fsolve(lambda both: self.flows(both[0], both[1], air, load, True), (air + 60.0, air + 50.0))
        return float(found[body] - air)

    def ohm(self, winding: float) -> float:
        """Resistance at a temperature [ohm]."""
        return self.cold_ohm * (ZERO + winding) / (ZERO + 20.0)

    @property
    def tau_min(self) -> float:
        """Slow time constant, near enough [min]."""
        return (self.winding_j_k + self.core_j_k) / (self.surface + self.to_air) / 60.0


def a_unit(dice: np.random.Generator) -> Warm:
    """A unit of 15 to 150 VA with a rise of 25 to 80 K."""
    tongue = dice.uniform(20.0, 40.0)
    iron_kg, copper_kg = 0.7 * (tongue / 25.4) ** 3, 0.35 * (tongue / 25.4) ** 3
    surface = 12.0 * 33.0 * (tongue * 1e-3) ** 2 * np.exp(dice.normal(0.0, 0.15)) / dice.choice([1.0, 1.0, 1.6])
    total = surface * dice.uniform(25.0, 75.0)
    iron = dice.uniform(0.15, 0.5) * total
    to_core = copper_kg * 385.0 / (60.0 * dice.uniform(1.5, 5.0))
    exponent = dice.uniform(1.0, 1.25)
    ohm = np.exp(dice.uniform(np.log(30.0), np.log(400.0)))
    return Warm(
        copper_kg * 385, iron_kg * 460, to_core, 0.15 * surface, surface, iron, total - iron, exponent, ohm, tongue
    )


def warmed(
    unit: Warm, minutes: np.ndarray, air: np.ndarray, start: tuple[float, float], load: float = 1.0, on: bool = True
) -> np.ndarray:
    """Winding and core at the times asked for, the air straight between its values there [°C]; shape (times, 2)."""
    state, told, now = np.array(start, float), [], float(minutes[0])
    for until in minutes:
        steps = max(int(np.ceil((until - now) * 60.0 / 15.0)), 1)
        dt = (until - now) * 60.0 / steps
        for step in range(steps):
            here = np.interp(now + (step + 0.5) * dt / 60.0, minutes, air)
            first = np.array(unit.flows(*state, here, load, on))
            middle = np.array(unit.flows(*(state + 0.5 * dt * first), here, load, on))
            state = state + dt * middle
        now = until
        told.append(state.copy())
    return np.array(told)
