"""A mains transformer from first principles: what makers could have wound, before any record says what they did.

A population is a set of habits (flux, current density, fill, wire series) shared by the makers of one time and place; a
draw is one transformer of it. The prior of the fit is what regressions say over many populations, and
``python -m calib.fitting.simulate.design_model`` writes it; the practice register is one population, seen through the
meters of fictional workshops.

Sources: Magnetic Circuits and Transformers (MIT EE Staff), transformer equation and heat balance; Electronic
Transformers and Circuits (R. Lee), current density and window shares; Transformer and Inductor Design Handbook
(McLyman), fill and surface; Radiotron Designer's Handbook, 4th ed. (Langford-Smith), usual voltages and loads.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.bench import resistance, wire
from calib.fitting.features import PRIMARY, USUAL_VOLTS, WEIGHT, WIRE, features_of
from calib.fitting.prior import FILE, REGRESSIONS
from calib.supply.form_factor import winding_rms_per_dc

if TYPE_CHECKING:
    import pandas as pd

# Tongues of common scrapless laminations [mm], and how often power transformers of sets use them (judgement).
TONGUES_MM = np.array([16.0, 18.0, 19.05, 20.0, 22.0, 22.225, 25.4, 26.0, 28.0, 28.575, 31.75, 32.0, 34.925])
TONGUES_MM = np.append(TONGUES_MM, [38.1, 40.0, 44.45, 50.8])
TONGUE_SHARE = np.array([2, 2, 4, 3, 4, 6, 9, 4, 7, 9, 11, 5, 9, 12, 4, 6, 3], dtype=float)
SUPPLY_SHARES = {
    ("full-wave", "capacitor"): 0.55,
    ("full-wave", "choke"): 0.13,
    ("bridge", "capacitor"): 0.13,
    ("half-wave", "capacitor"): 0.07,
    ("doubler", "capacitor"): 0.04,
    ("bridge", "choke"): 0.03,
    ("none", "none"): 0.05,
}
SUPPLIES = tuple(SUPPLY_SHARES)
LINES = {50.0: (220.0, 230.0, 240.0), 60.0: (110.0, 115.0, 117.0, 120.0)}
SHEET_DENSITY, COPPER_DENSITY = 7650.0, 8890.0  # transformer sheet, annealed copper (IEC 60028) [kg/m3]
HOT_RISE = 1.26  # resistance at about 85 °C over that at 20 °C, IEC 60076-2
COIL_SURFACE = 33.0  # cooling surface of a square-stack core and coil, over tongue squared (McLyman)
POPULATIONS, UNITS, SEED = 160, 3000, 20261124
WIDER = 2.0  # factor on the standard deviations of the terms between populations
LEAST_SD = 0.05  # added in quadrature to every term: populations that share the model's form may all err alike
WIDER_SCATTER = 1.5  # the same for the residual standard deviations


@dataclass(frozen=True)
class Population:
    """Habits that the makers of one population share.

    Attributes
    ----------
    flux_t : float
        Median peak flux density at no load [T].
    flux_sd : float
        Standard deviation of its logarithm between designs.
    flux_50hz : float
        Flux density of 50 Hz designs over that of 60 Hz ones.
    density_share : float
        Median current density over what the temperature rise would permit.
    density_sd : float
        Standard deviation of its logarithm between designs.
    density_slope : float
        Further exponent of current density on tongue over 25.4 mm; 0 = makers use the heat limit, positive = they
        spare small units.
    fill : float
        Median copper share of the window at 25.4 mm tongue.
    fill_sd : float
        Standard deviation of its logarithm between designs: insulation, and windows left half empty.
    fill_heat : float
        How far a design's current density answers to its own fill, 0 (makers go by the usual fill) to 1 (by heat).
    hv_share : float
        Median share of that copper in the high-voltage winding.
    hv_share_sd : float
        Standard deviation of its logarithm between designs: many heaters or none.
    hv_depth : float
        Median depth of the winding in the window, 0 at the limb and 1 at the outside.
    rise_k : float
        Median permitted average rise of the windings [K].
    heater_share : float
        Share of units whose supply uses a thermionic rectifier, which lowers the rms current.
    hardware : float
        ln of the mass over that of iron and copper: frame, bobbin, impregnation, leads.
    gauges : str
        Wire series: awg (whole gauges) or metric (R20 diameters).
    """

    flux_t: float = 1.18
    flux_sd: float = 0.09
    flux_50hz: float = 1.03
    density_share: float = 0.74
    density_sd: float = 0.15
    density_slope: float = 0.12
    fill: float = 0.23
    fill_sd: float = 0.2
    fill_heat: float = 0.4
    hv_share: float = 0.36
    hv_share_sd: float = 0.2
    hv_depth: float = 0.55
    rise_k: float = 52.0
    heater_share: float = 0.6
    hardware: float = 0.12
    gauges: str = "awg"


def draw_population(rng: np.random.Generator) -> Population:
    """One population, its habits drawn from the ranges that textbooks and trade practice give."""
    return Population(
        flux_t=float(np.clip(rng.normal(1.18, 0.07), 0.95, 1.5)),
        flux_sd=float(rng.uniform(0.05, 0.13)),
        flux_50hz=float(np.clip(rng.normal(1.03, 0.05), 0.92, 1.2)),
        density_share=float(np.exp(rng.normal(math.log(0.74), 0.14))),
        density_sd=float(rng.uniform(0.07, 0.17)),
        density_slope=float(rng.normal(0.12, 0.11)),
        fill=float(np.clip(rng.normal(0.23, 0.035), 0.15, 0.35)),
        fill_sd=float(rng.uniform(0.10, 0.30)),
        fill_heat=float(rng.uniform(0.0, 0.9)),
        hv_share=float(np.clip(rng.normal(0.36, 0.03), 0.25, 0.45)),
        hv_share_sd=float(rng.uniform(0.10, 0.30)),
        hv_depth=float(rng.uniform(0.35, 0.72)),
        rise_k=float(rng.uniform(42, 62)),
        heater_share=float(rng.uniform(0.3, 0.9)),
        hardware=float(rng.uniform(0.04, 0.20)),
        gauges="awg" if rng.random() < 0.6 else "metric",
    )


def draw(count: int, population: Population, rng: np.random.Generator) -> pd.DataFrame:
    """Transformers of a population, each with its true facts and the maker's own rating.

    Parameters
    ----------
    count : int
        How many.
    population : Population
        The habits.
    rng : numpy.random.Generator
        Source of chance; the same seed gives the same units.

    Returns
    -------
    pandas.DataFrame
        tongue_mm, stack_mm, core_area_cm2, line_voltage_v, line_frequency_hz, rectifier, filter, centre_tapped,
        no_load_v (whole winding, rms) [V], resistance_ohm (whole winding at 20 °C) [ohm], wire_diameter_mm (bare),
        primary_resistance_ohm [ohm], weight_kg [kg], rated_current_ma (the maker's, direct, or rms where there is no
        rectifier) [mA].

    Notes
    -----
    V = sqrt(2) pi f B A N; R = rho N MLT / w; I_rms = J w (Magnetic Circuits and Transformers). J follows from the
    heat balance (iron loss + copper loss = h S rise), lowered by the maker's margin. Wire is then rounded to a gauge
    that can be bought, which moves R and not the rating.
    """
    import pandas as pd

    core = _cores(count, rng)
    tongue, stack, frequency = core["tongue"], core["stack"], core["frequency"]
    supply = rng.choice(len(SUPPLIES), count, p=list(SUPPLY_SHARES.values()))
    rectifier = np.array([SUPPLIES[k][0] for k in supply])
    flux = (
        population.flux_t
        * np.where(frequency < 55, population.flux_50hz, 1.0)
        * np.exp(rng.normal(0, population.flux_sd, count))
    )
    volts = _voltages(rectifier, tongue, rng)
    turns = volts / (math.sqrt(2) * math.pi * frequency * flux * tongue * stack * rng.uniform(0.88, 0.96, count))
    winding = _windings(population, core, turns, _iron_loss(flux, frequency, tongue, stack), rng)
    line = np.where(frequency < 55, rng.choice(LINES[50.0], count), rng.choice(LINES[60.0], count))
    primary = winding["ohm"] * (line / volts) ** 2 * winding["hv_share"] / 0.54 * rng.uniform(0.75, 1.0, count)
    # Of a stream of its own: what is drawn of the rest is as it was before weights were.
    weight = _weight(population, tongue, stack, winding["fill"], rng.spawn(1)[0])
    rated = winding["rms"] * 1000 / _form_factors(supply, population.heater_share, rng)
    return pd.DataFrame(
        {
            "tongue_mm": tongue * 1000,
            "stack_mm": stack * 1000,
            "core_area_cm2": tongue * stack * 1e4,
            "line_voltage_v": line,
            "line_frequency_hz": frequency,
            "rectifier": rectifier,
            "filter": [SUPPLIES[k][1] for k in supply],
            "centre_tapped": rectifier == "full-wave",
            "no_load_v": volts,
            "resistance_ohm": winding["ohm"],
            "wire_diameter_mm": winding["diameter"],
            "primary_resistance_ohm": primary,
            "weight_kg": weight,
            "rated_current_ma": rounded_rating(rated),
        }
    )


def _cores(count: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Tongue and stack [m] and the line's frequency [Hz] of each unit."""
    tongue = rng.choice(TONGUES_MM, count, p=TONGUE_SHARE / TONGUE_SHARE.sum()) / 1000
    ratio = np.clip(np.exp(rng.normal(math.log(1.15), 0.24, count)), 0.7, 2.2)
    return {
        "tongue": tongue,
        "stack": np.round(tongue * ratio * 1000) / 1000,
        "frequency": rng.choice([50.0, 60.0], count, p=[0.45, 0.55]),
    }


def _windings(
    population: Population, core: dict[str, np.ndarray], turns: np.ndarray, iron: np.ndarray, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """The high-voltage winding of each unit: bare diameter [mm], resistance [ohm], rms rating [A], share of copper."""
    tongue, stack, count = core["tongue"], core["stack"], len(turns)
    usual_fill = population.fill * (tongue / 0.0254) ** 0.15
    fill = np.clip(usual_fill * np.exp(rng.normal(0, population.fill_sd, count)), 0.08, 0.45)
    reckoned = usual_fill * (fill / usual_fill) ** population.fill_heat
    density = _current_density(population, tongue, stack, reckoned, iron, rng)
    hv_share = np.clip(population.hv_share * np.exp(rng.normal(0, population.hv_share_sd, count)), 0.12, 0.6)
    wanted = hv_share * fill * 0.75 * tongue**2 / turns  # m2
    diameter = _buyable(np.sqrt(4 * wanted / math.pi) * 1000, population.gauges)
    depth = np.clip(population.hv_depth + rng.normal(0, 0.08, count), 0.1, 0.9)
    mean_turn = 2 * (tongue + stack) + math.pi * tongue * depth
    area = wire.wire_area_mm2(diameter) / 1e6
    return {
        "diameter": diameter,
        "ohm": resistance.RESISTIVITY_OHM_M["copper"] * turns * mean_turn / area * rng.uniform(1.0, 1.03, count),
        "rms": density * wanted * np.exp(rng.normal(0, 0.05, count)),
        "hv_share": hv_share,
        "fill": fill,
    }


def _weight(
    population: Population, tongue: np.ndarray, stack: np.ndarray, fill: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Mass [kg]: sheets (6 a^2 b at stacking factor 0.92), copper by its fill, and frames, bobbin and impregnation."""
    iron = 6 * tongue**2 * stack * 0.92 * SHEET_DENSITY
    copper = fill * 0.75 * tongue**2 * (2 * (tongue + stack) + math.pi * tongue / 2) * COPPER_DENSITY
    return (iron + copper) * np.exp(rng.normal(population.hardware, 0.06, len(tongue)))


def _voltages(rectifier: np.ndarray, tongue: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """No-load volts of the whole winding: the usual ones of each circuit, a little higher in larger sets."""
    usual = np.array([USUAL_VOLTS[name] for name in rectifier])
    spread = np.where(rectifier == "full-wave", 0.22, 0.35)
    return usual * (tongue / 0.030) ** 0.35 * np.exp(rng.normal(0, 1, len(tongue)) * spread)


def _iron_loss(flux: np.ndarray, frequency: np.ndarray, tongue: np.ndarray, stack: np.ndarray) -> np.ndarray:
    """Iron loss [W], 1.9 W/kg at 1 T and 60 Hz scaled by B^2 f^1.3 over a mass of 6 a^2 b at stacking factor 0.92."""
    mass = 6 * tongue**2 * stack * 0.92 * SHEET_DENSITY
    return mass * 1.9 * flux**2 * (frequency / 60) ** 1.3


def _current_density(
    population: Population,
    tongue: np.ndarray,
    stack: np.ndarray,
    fill: np.ndarray,
    iron: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Rms current density [A/m2] that the rise permits, times the maker's margin."""
    ratio = stack / tongue
    surface = COIL_SURFACE * tongue**2 * (0.62 + 0.38 * ratio)
    rise = population.rise_k * np.exp(rng.normal(0, 0.10, len(tongue)))
    heat = 12.0 * surface * rise
    copper_volume = fill * 0.75 * tongue**2 * tongue * (2 + 2 * ratio + math.pi / 2)
    budget = np.maximum(heat - iron, 0.3 * heat)
    permitted = np.sqrt(budget / (HOT_RISE * resistance.RESISTIVITY_OHM_M["copper"] * copper_volume))
    margin = population.density_share * np.exp(rng.normal(0, population.density_sd, len(tongue)))
    return np.clip(permitted * margin * (tongue / 0.0254) ** population.density_slope, 1.2e6, 7.5e6)


def _buyable(diameter_mm: np.ndarray, gauges: str) -> np.ndarray:
    """The nearest wire of the series: whole AWG, or R20 preferred diameters."""
    if gauges == "awg":
        return wire.awg_diameter_mm(np.round(wire.awg_from_diameter(diameter_mm)))
    return np.round(10 ** (np.round(20 * np.log10(diameter_mm)) / 20), 3)


def _form_factors(supply: np.ndarray, heater_share: float, rng: np.random.Generator) -> np.ndarray:
    """Rms current of the winding per ampere of direct current as the maker reckoned it, unit by unit.

    A thermionic rectifier's drop lengthens conduction: about 15 % less rms current with capacitor input.
    """
    usual = np.array([winding_rms_per_dc(*pair) for pair in SUPPLIES])[supply]
    capacitor = np.array([pair[1] == "capacitor" for pair in SUPPLIES])[supply]
    thermionic = rng.random(len(supply)) < heater_share
    shift = np.where(capacitor, np.where(thermionic, -0.06, 0.08), 0.0)
    spread = np.where(np.array([pair[0] == "none" for pair in SUPPLIES])[supply], 0.02, 0.06)
    return usual * np.exp(shift + rng.normal(0, 1, len(supply)) * spread)


def rounded_rating(milliampere: np.ndarray) -> np.ndarray:
    """Ratings are stated in round figures: 1 mA under 30, 5 mA under 200, 10 mA above."""
    step = np.where(milliampere < 30, 1.0, np.where(milliampere < 200, 5.0, 10.0))
    return np.maximum(np.round(milliampere / step) * step, step)


def regress_populations(populations: int = POPULATIONS, units: int = UNITS, seed: int = SEED) -> dict:
    """Draw populations, regress each, and give the prior as plain values for prior.json."""
    rng = np.random.default_rng(seed)
    each = [_regress(draw(units, draw_population(rng), rng)) for _ in range(populations)]
    stored: dict = {
        "about": "Simulated: regressions over populations that calib.fitting.simulate.design_model draws; "
        "regenerate with python -m calib.fitting.simulate.design_model",
        "populations": populations,
        "units_per_population": units,
        "seed": seed,
        "wider": WIDER,
    }
    for name in REGRESSIONS:
        terms = np.array([one[name][0] for one in each])
        scatter = np.log([one[name][1] for one in each])
        stored[name] = {
            "terms": list(REGRESSIONS[name]),
            "mean": _rounded(terms.mean(axis=0)),
            "covariance": _rounded(np.cov(terms.T) * WIDER**2 + np.eye(terms.shape[1]) * LEAST_SD**2),
            "ln_scatter": round(float(scatter.mean()), 6),
            "ln_scatter_sd": round(float(scatter.std() * WIDER_SCATTER), 6),
        }
    stored["ln_scatter_alone"] = round(float(np.mean(np.log([one["alone"] for one in each]))), 6)
    stored["usual"] = _rounded(np.mean([one["usual"] for one in each], axis=0))
    return stored


def _rounded(values: np.ndarray) -> list:
    return np.round(values, 8).tolist()


def _regress(units: pd.DataFrame) -> dict:
    """The regressions of one population by least squares: terms and residual standard deviation of each."""
    rows = features_of(units.rename(columns={"resistance_ohm": "hv_resistance_ohm"}).assign(winding_temp_c=20.0))
    x, wire = rows.covariates, rows.readings[:, WIRE]
    core, core_sd, _ = _least_squares(x[:, [0, 2, 3, 4]], x[:, 1])
    gauge, gauge_sd, departure = _least_squares(x, wire)
    # Each supply's own offset is a deviation of the fit, and no part of its noise.
    supplies = (rows.pair[:, None] == np.unique(rows.pair)[1:]).astype(float)
    supplies -= supplies.mean(axis=0)
    before = np.column_stack([x, departure])
    primary, primary_sd, off_primary = _least_squares(before, rows.readings[:, PRIMARY])
    weight, weight_sd, off_weight = _least_squares(before, rows.readings[:, WEIGHT])
    departures = np.column_stack([departure, off_primary, off_weight])
    main, main_sd, _ = _least_squares(np.column_stack([x, departures, supplies]), rows.response)
    _, alone, _ = _least_squares(np.column_stack([x[:, [0, 2, 3, 4]], supplies]), rows.response)
    ratio, ratio_sd, _ = _least_squares(x[:, [0, 2, 4]], x[:, 3])
    usual = np.array([_least_squares(x[:, :2], x[:, column])[0] for column in (3, 4)])
    return {
        "core": (core, core_sd),
        "wire": (gauge, gauge_sd),
        "primary": (primary, primary_sd),
        "weight": (weight, weight_sd),
        "main": (main[: len(REGRESSIONS["main"])], main_sd),
        "ratio": (ratio, ratio_sd),
        "usual": usual,
        "alone": alone,
    }


def _least_squares(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
    terms, *_ = np.linalg.lstsq(x, y, rcond=None)
    residual = y - x @ terms
    return terms, float(residual.std(ddof=x.shape[1])), residual


if __name__ == "__main__":
    FILE.write_text(json.dumps(regress_populations(), indent=1) + "\n", encoding="utf-8")
