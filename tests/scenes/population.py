"""Populations of transformers made by other assumptions than the design model's, and what benches record of them.

The design model reasons from heat; here a unit is put together from a law for its multiplier, a law for what copper the
window holds, and habits of the scene. Nothing of calib.fitting is used, so that what the fit says of these is no echo.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

RESISTIVITY = {"copper": 1.7241e-8, "aluminium": 2.8264e-8}
# rms current per ampere of direct current as the makers of a scene reckon it: another table than the fit's own.
FORM = {
    ("full-wave", "capacitor"): 1.24,
    ("full-wave", "choke"): 0.74,
    ("bridge", "capacitor"): 1.85,
    ("half-wave", "capacitor"): 2.35,
}
SUPPLY_SHARE = np.array([0.6, 0.15, 0.15, 0.10])
BENCHES = ("Beech Yard", "Canal Shed", "Dyer's Loft", "East Gate", "Fuller's Row", "Glass House")
EVIDENCE = {
    "nameplate": (0.35, 0.0, 0.08),
    "maker-data": (0.2, 0.0, 0.06),
    "set-data": (0.2, -0.15, 0.18),
    "wire-measured": (0.1, 0.05, 0.25),
    "heat-run": (0.15, 0.0, 0.08),
}


@dataclass(frozen=True)
class Scene:
    """Habits of one population.

    Attributes
    ----------
    density : float
        Median rms current density at 10 cm2 [A/mm2].
    density_slope : float
        Exponent of current density on core area.
    density_sd, flux_sd, fill_sd : float
        Standard deviations of ln current density, flux and copper fill between makers.
    flux : float
        Median flux density [T].
    fifty : float
        Share of 50 Hz units.
    fifty_flux : float
        Flux density of 50 Hz units over the others'.
    toroid, aluminium : bool
        Ring cores (no tongue, shorter turns); aluminium windings.
    tails : float
        Degrees of freedom of the makers' habits; 0 = normal.
    drift : float
        What current density gains, in ln, from the known units to those asked about.
    bad_ohmmeter : float
        What one bench's ohmmeter reads over the truth.
    known_area, asked_area : tuple
        Core areas of the known units and of those asked about [cm2].
    volts : float
        Median volts of a full-wave winding.
    """

    density: float = 3.1
    density_slope: float = -0.16
    density_sd: float = 0.14
    flux: float = 1.15
    flux_sd: float = 0.08
    fill_sd: float = 0.22
    fifty: float = 0.4
    fifty_flux: float = 1.0
    toroid: bool = False
    aluminium: bool = False
    tails: float = 0.0
    drift: float = 0.0
    bad_ohmmeter: float = 1.0
    known_area: tuple[float, float] = (2.5, 45.0)
    asked_area: tuple[float, float] = (2.5, 45.0)
    volts: float = 620.0


SCENES = {
    "ordinary": Scene(),
    "other flux and density habits": Scene(density=2.5, flux=1.32, flux_sd=0.05, fill_sd=0.3, density_sd=0.13),
    "another slope": Scene(density_slope=0.02, density=2.9),
    "steep slope": Scene(density_slope=-0.32, density=3.4),
    "toroidal": Scene(toroid=True, flux=1.4, density=3.3),
    "50 Hz only": Scene(fifty=1.0, fifty_flux=1.06),
    "aluminium": Scene(aluminium=True, density=2.4),
    "heavy-tailed makers": Scene(tails=3.0, density_sd=0.10),
    "a drifting decade": Scene(drift=0.12),
    "one bad ohmmeter": Scene(bad_ohmmeter=1.28),
    "classes never seen": Scene(known_area=(2.5, 11.0)),
    "120 V windings": Scene(volts=330.0, fill_sd=0.3),
}


def units(scene: Scene, count: int, rng: np.random.Generator, *, asked: bool = False) -> pd.DataFrame:
    """True units of a scene: the contract's columns with the truth in them, before any bench reads them."""
    low, high = scene.asked_area if asked else scene.known_area
    area = np.exp(np.clip(rng.normal(np.log(10.5), 0.62, 8 * count + 200), np.log(1.5), np.log(60)))
    area = area[(area >= low) & (area < high)][:count]
    ratio = np.exp(rng.normal(0.12, 0.2, count))
    tongue = np.sqrt(area / ratio) / 100  # m
    stack = tongue * ratio
    frequency = np.where(rng.random(count) < scene.fifty, 50.0, 60.0)
    flux = scene.flux * np.exp(scene.flux_sd * rng.normal(size=count))
    flux = flux * np.where(frequency == 50.0, scene.fifty_flux, 1.0)
    pair = rng.choice(len(FORM), count, p=SUPPLY_SHARE)
    pairs = [list(FORM)[k] for k in pair]
    usual = np.array([1.0, 1.05, 0.5, 0.42])[pair] * scene.volts
    volts = usual * (area / 10) ** 0.12 * np.exp(rng.normal(0, 0.25, count))
    turns = volts / (np.sqrt(2) * np.pi * frequency * flux * area * 1e-4 * 0.92)
    wanted, diameter, ohm, density = _wind(scene, area, ratio, turns, rng, asked=asked)
    form = np.array([FORM[one] for one in pairs]) * np.exp(rng.normal(0, 0.07, count))
    return pd.DataFrame(
        {
            "unit": [f"{'q' if asked else 'k'}{number}" for number in range(count)],
            "rectifier": [one[0] for one in pairs],
            "filter": [one[1] for one in pairs],
            "rated_current_ma": density * wanted * 1e6 / form * 1000,
            "line_voltage_v": np.where(frequency == 50.0, 230.0, 117.0),
            "line_frequency_hz": frequency,
            "centre_tapped": [one[0] == "full-wave" for one in pairs],
            "no_load_v": volts,
            "hv_resistance_ohm": ohm,
            "winding_temp_c": 20.0,
            "tongue_mm": np.nan if scene.toroid else tongue * 1000,
            "stack_mm": np.nan if scene.toroid else stack * 1000,
            "core_area_cm2": area if scene.toroid else np.nan,
            "conductor": "aluminium" if scene.aluminium else "copper",
            "wire_diameter_mm": diameter,
        }
    )


def _wind(
    scene: Scene, area: np.ndarray, ratio: np.ndarray, turns: np.ndarray, rng: np.random.Generator, *, asked: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Wire area that the window allows [m2], the gauge that is wound [mm], its resistance [ohm], density [A/mm2]."""
    count, tongue = len(area), np.sqrt(area / ratio) / 100
    stack = tongue * ratio
    habit = rng.standard_t(scene.tails, count) if scene.tails else rng.normal(size=count)
    density = scene.density * (area / 10) ** scene.density_slope * np.exp(scene.density_sd * habit)
    density = density * np.exp(scene.drift if asked else 0.0)
    window = (1.3 if scene.toroid else 0.75) * tongue**2
    copper = 0.085 * window * (area / 10) ** 0.08 * np.exp(rng.normal(0, scene.fill_sd, count))
    wanted = copper / turns
    gauge = np.round(36 - 39 * np.log(np.sqrt(4 * wanted / np.pi) * 1000 / 0.127) / np.log(92))
    diameter = 0.127 * 92 ** ((36 - gauge) / 39)
    depth = np.clip(rng.normal(0.5, 0.12, count), 0.1, 0.9)
    turn = 2 * (tongue + stack) * (0.85 if scene.toroid else 1.0)
    turn = turn + np.pi * tongue * depth * (0.6 if scene.toroid else 1.0)
    resistivity = RESISTIVITY["aluminium" if scene.aluminium else "copper"]
    ohm = resistivity * turns * turn / (np.pi * (diameter / 1000) ** 2 / 4) * rng.uniform(1.0, 1.03, count)
    return wanted, diameter, ohm, density


def recorded(scene: Scene, true: pd.DataFrame, spoiled: float, rng: np.random.Generator) -> pd.DataFrame:
    """What six benches write down of known units: graded evidence, ordinary meters, a share of gross errors.

    Two further columns tell the truth of each record: `slip`, blank where sound, and `true_ma`.
    """
    count = len(true)
    bench = rng.integers(len(BENCHES), size=count)
    names = list(EVIDENCE)
    grade = rng.choice(len(names), count, p=[EVIDENCE[name][0] for name in names])
    bias, sd = (np.array([EVIDENCE[name][k] for name in names])[grade] for k in (1, 2))
    gain = np.where(bench == 2, scene.bad_ohmmeter, 1.0) * np.exp(0.01 * rng.normal(size=count))
    table = true.assign(
        contributor=[BENCHES[k] for k in bench],
        evidence=[names[k] for k in grade],
        rated_current_ma=true["rated_current_ma"] * np.exp(bias + sd * rng.normal(size=count)),
        no_load_v=true["no_load_v"] * np.exp(0.009 * rng.normal(size=count)),
        hv_resistance_ohm=true["hv_resistance_ohm"] * gain,
        true_ma=true["rated_current_ma"],
        slip="",
    )
    return _spoil(table, rng.random(count) < spoiled, rng)


SLIPS = {
    "half resistance": ("hv_resistance_ohm", 0.5),
    "half voltage": ("no_load_v", 0.5),
    "decimal resistance": ("hv_resistance_ohm", 10.0),
    "decimal current": ("rated_current_ma", 10.0),
    "filter": ("filter", 0.0),
    "other current": ("rated_current_ma", 0.0),
}


def _spoil(table: pd.DataFrame, hit: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    kinds = rng.choice(list(SLIPS), len(table), p=[0.3, 0.15, 0.15, 0.15, 0.1, 0.15])
    up = rng.random(len(table)) < 0.5
    table = table.copy()
    for row in np.flatnonzero(hit):
        column, factor = SLIPS[kinds[row]]
        if column == "filter":
            if table["rectifier"].iloc[row] != "full-wave":
                continue
            other = {"capacitor": "choke", "choke": "capacitor"}[table["filter"].iloc[row]]
            table.loc[row, "filter"] = other
        else:
            factor = factor or float(np.exp(rng.choice([-1, 1]) * rng.uniform(0.8, 1.6)))
            factor = 1 / factor if factor == 10.0 and up[row] else factor
            table.loc[row, column] = table.loc[row, column] * factor
        table.loc[row, "slip"] = kinds[row]
    return table


def without_wire(table: pd.DataFrame) -> pd.DataFrame:
    """The same records with no wire measured."""
    return table.assign(wire_diameter_mm=np.nan)


def without_core(table: pd.DataFrame) -> pd.DataFrame:
    """The same records with neither core nor wire measured."""
    return without_wire(table).assign(tongue_mm=np.nan, stack_mm=np.nan, core_area_cm2=np.nan)


def as_asked(scene: Scene) -> Scene:
    """The scene as those asked about see it, for a population's own regression."""
    return replace(scene, known_area=scene.asked_area)
