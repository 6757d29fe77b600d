"""A transformer wound by a plan's sheet, in a calculation of its own: currents, flux, loss and heat in steps of time.

It takes from the sheet what a winder takes: turns, wire, layers, and the thickness of the insulation; from the target
the core, the supply and the line. Nothing of calib is imported. Enamel, bulge, resistivities, steel and the heat that a
surface gives are the trade's usual figures, as stated beside each; k, the winding's rms current over the direct one,
is the nominal one of its supply, since a rating rests on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

STEPS = 720  # of a line cycle
RMS_PER_DC = {
    ("full-wave", "capacitor"): 1.2078,
    ("full-wave", "choke"): 0.7495,
    ("bridge", "capacitor"): 2.0214,
    ("half-wave", "capacitor"): 2.3803,
    ("doubler", "capacitor"): 3.7049,
}
# H at peak B of sheets of radio sets [A/m], and the air of their joints, interleaved [mm].
STEEL_T = (0.0, 0.3, 0.5, 0.8, 1.0, 1.1, 1.2, 1.3, 1.4, 1.6)
STEEL_A_M = (0.0, 45.0, 70.0, 125.0, 195.0, 270.0, 420.0, 800.0, 1600.0, 6000.0)
JOINTS_MM = 0.04
HYSTERESIS_SHARE, LOSS_W_KG = 0.65, 2.0  # of the loss at 1.0 T and 60 Hz: B^1.8 f, the rest B² f²
IRON_KG_M3, STACKED = 7650.0, 0.95
SURFACE_W_M2K = 12.0  # small transformers in open air, radiation and convection together
AIR_C, OHM_MM2_M, WARMS_FROM_C = 40.0, 0.017241, 234.5


@dataclass(frozen=True)
class Wound:
    """What comes of it: volts of the high voltage at no load, heaters' volts under load, the rise of the copper [K]."""

    no_load_v: float
    heater_v: tuple[float, ...]
    rise_k: float
    flux_t: float
    primary_a: float
    depth_mm: float


def enamelled(bare_mm: float) -> float:
    """Over the film, grade 1 [mm]."""
    return bare_mm + 0.062 * bare_mm**0.567


def turn_mm(plan: Any) -> tuple[list[float], float]:
    """Mean turn of each winding, walking outward layer by layer with round corners, and the depth at the end [mm]."""
    a, b, depth, found = plan.target.tongue_mm, plan.target.stack_mm, 0.0, []
    for one in plan.windings:
        depth += one.beneath_mm
        wire, lengths, left = enamelled(one.bare_mm), [], one.turns
        for layer in range(one.layers):
            turns = min(one.per_layer, left)
            left -= turns
            depth += (one.paper_mm if layer else 0.0) * 1.08
            radius = depth + wire * 1.08 / 2.0
            lengths.append((turns, 2.0 * (a + b) + math.tau * radius))
            depth += wire * 1.08
        assert left == 0, "the sheet's layers do not hold the sheet's turns"
        found.append(sum(turns * length for turns, length in lengths) / one.turns)
    return found, depth


def pulses(rectifier: str, filter: str, phase: np.ndarray) -> np.ndarray:
    """Current of each section of the winding over the direct current, by phase of the line, shape (sections, steps).

    A capacitor is charged in lobes of a cosine squared about the crest, as wide as gives the rms current; a choke draws
    a direct current with a ripple of twice the line's frequency, which does the same.
    """
    k = RMS_PER_DC[rectifier, filter]
    crests = {"full-wave": (0.5, 1.5), "bridge": (0.5, 1.5), "half-wave": (0.5,), "doubler": (0.5, 1.5)}[rectifier]
    if filter == "choke":
        ripple = math.sqrt(2.0 * (2.0 * k**2 - 1.0))
        drawn = 1.0 - ripple * np.sin(2.0 * phase)
        return np.array([drawn * (phase < math.pi), -drawn * (phase >= math.pi)])
    each_mean = {"full-wave": 0.5, "bridge": 0.5, "half-wave": 1.0, "doubler": 1.0}[rectifier]
    each_square = k**2 / (1 if rectifier == "full-wave" else len(crests))
    width = 1.5 * math.pi * each_mean**2 / each_square  # a lobe of mean m and half-width w has a mean square 3 pi m²/2w
    lobes = []
    for crest in crests:
        away = np.abs((phase - crest * math.pi + math.pi) % math.tau - math.pi)
        lobe = np.where(away < width, np.cos(away / width * math.pi / 2.0) ** 2, 0.0)
        lobes.append(lobe / lobe.mean() * each_mean)
    if rectifier == "full-wave":
        return np.array([lobes[0], -lobes[1]])
    return np.array([lobes[0] - lobes[1]] if len(lobes) == 2 else lobes)


def rms(wave: np.ndarray) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(wave**2)))


def steel(target: Any, turns: int) -> tuple[float, float, float, np.ndarray]:
    """Flux density [T], loss [W], mass [kg], and the exciting current over a cycle [A]."""
    a, b = target.tongue_mm * 1e-3, target.stack_mm * 1e-3
    flux = target.line_voltage_v * math.sqrt(2.0) / (math.tau * target.line_frequency_hz * turns * STACKED * a * b)
    path = 6.0 * a  # about both windows of a scrapless sheet, half of the flux each
    kilos = IRON_KG_M3 * STACKED * 6.0 * a**2 * b
    turned = target.line_frequency_hz / 60.0
    loss = kilos * LOSS_W_KG * (HYSTERESIS_SHARE * flux**1.8 * turned + (1.0 - HYSTERESIS_SHARE) * (flux * turned) ** 2)
    density = -flux * np.cos(cycle())
    along = np.sign(density) * np.interp(np.abs(density), STEEL_T, STEEL_A_M) * path
    across = density * JOINTS_MM * 1e-3 / (4e-7 * math.pi)
    return flux, loss, kilos, (along + across) / turns


def cycle() -> np.ndarray:
    """Phases of the line's voltage, a sine [rad]."""
    return (np.arange(STEPS) + 0.5) * math.tau / STEPS


def surface_m2(target: Any) -> float:
    """Faces of a scrapless core and of the coil's two ends that stand out of it by the window's width [m²]."""
    a, b = target.tongue_mm * 1e-3, target.stack_mm * 1e-3
    wide, high, window = 3.0 * a, 2.5 * a, (0.5 * a, 1.5 * a)
    edges = 2.0 * (wide + high) * b
    fronts = 2.0 * (wide * high)  # what the coil's end hides of the sheets, its own face gives back
    bulges = 2.0 * (2.0 * window[0] * window[1] + 2.0 * window[0] * (a + 2.0 * window[0]))
    return edges + fronts + bulges


def wound(plan: Any) -> Wound:
    """Wind it by its sheet, feed it, load it, and let it warm from the air's temperature until it moves no more."""
    target, (primary, hv, *heaters) = plan.target, plan.windings
    lengths, depth = turn_mm(plan)
    cold = [
        OHM_MM2_M * one.turns * length * 1e-3 / (math.pi / 4.0 * one.bare_mm**2)
        for one, length in zip(plan.windings, lengths, strict=True)
    ]
    line = target.line_voltage_v
    flux, iron_w, kilos, exciting = steel(target, primary.turns)
    in_phase = math.sqrt(2.0) * np.sin(cycle())
    sections = pulses(target.rectifier, target.filter, cycle()) * target.current_ma * 1e-3
    share = 1.0 / len(sections)
    drawn = sections.sum(axis=0) * hv.turns * share / primary.turns
    loaded = drawn - drawn.mean() + exciting + in_phase * iron_w / line  # a direct current is not transformed
    for one, wanted in zip(heaters, target.heaters, strict=True):
        loaded = loaded + in_phase * wanted.amperes * one.turns / primary.turns
    # Copper's loss by winding, cold; the primary's by its whole current, each section of the high voltage by its own.
    losses = [rms(loaded) ** 2 * cold[0], sum(rms(one) ** 2 for one in sections) * cold[1] * share]
    losses += [one.amperes**2 * ohm for one, ohm in zip(target.heaters, cold[2:], strict=True)]
    stores = kilos * 460.0 + 385.0 * sum(
        8.89e-6 * math.pi / 4.0 * one.bare_mm**2 * one.turns * length
        for one, length in zip(plan.windings, lengths, strict=True)
    )
    warm, seconds = 0.0, 20.0
    for _ in range(4000):
        heat = iron_w + sum(losses) * (WARMS_FROM_C + AIR_C + warm) / (WARMS_FROM_C + 20.0)
        warm += (heat - SURFACE_W_M2K * surface_m2(target) * warm) * seconds / stores
    hot = (WARMS_FROM_C + AIR_C + warm) / (WARMS_FROM_C + 20.0)
    idle = abs(line - cold[0] * complex(iron_w / line, -rms(exciting)))
    under = line - cold[0] * hot * float(np.mean(loaded * in_phase))
    lit = [
        under * one.turns / primary.turns - wanted.amperes * ohm * hot
        for one, wanted, ohm in zip(heaters, target.heaters, cold[2:], strict=True)
    ]
    return Wound(idle * hv.turns / primary.turns, tuple(lit), warm, flux, rms(loaded), depth)
