"""Six populations drawn up after every setting was settled, and run once: readings missing at random and not at random.

``python -m tests.scenes.missing --out datasets/validation/missing.csv`` makes the table. A tenth of the units that are
asked about bear a slip, and a twentieth of the known ones a gross error.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd

from calib.fitting import fit
from tests.scenes.population import Scene, recorded, units
from tests.scenes.scoring import LEVEL, score

KNOWN, ASKED, REGISTERS, SLIPPED = 60, 400, 4, 0.10
CORE, GAUGE, PRIMARY = ("tongue_mm", "stack_mm", "core_area_cm2"), ("wire_diameter_mm",), ("primary_resistance_ohm",)
# What a slip multiplies, and its share among the slips.
SLIPS = (
    ("hv_resistance_ohm", 0.5, 0.35),
    ("no_load_v", 0.5, 0.2),
    ("hv_resistance_ohm", 0.001, 0.1),
    ("hv_resistance_ohm", 10.0, 0.1),
    ("no_load_v", 0.1, 0.1),
    ("wire_diameter_mm", 2.0, 0.15),
)
Chances = tuple[np.ndarray | float, np.ndarray | float, np.ndarray | float]


@dataclass(frozen=True)
class Missing:
    """A population, and the chances that core, gauge and primary of each unit are read.

    Attributes
    ----------
    scene : Scene
        The population.
    chances : callable
        Of core, gauge and primary, given the units, the ln of area over 10 cm2 and which units bear a slip.
    """

    scene: Scene
    chances: Callable[[pd.DataFrame, np.ndarray, np.ndarray], Chances]


def _upper(values: pd.Series) -> np.ndarray:
    return (values > values.median()).to_numpy()


MISSING = {
    "at random": Missing(Scene(density=2.8, flux=1.22, density_sd=0.15), lambda t, area, slip: (0.6, 0.4, 0.5)),
    "small units lack a core reading": Missing(
        Scene(density=3.4, density_slope=-0.12), lambda t, area, slip: (np.where(area < -0.2, 0.1, 0.9), 0.2, 0.2)
    ),
    "only doubtful units have a gauge": Missing(
        Scene(density=3.0, flux=1.05, fill_sd=0.26), lambda t, area, slip: (0.7, np.where(slip, 0.9, 0.05), 0.2)
    ),
    "hard-driven units have their primary read": Missing(
        Scene(density_sd=0.17, density=3.3),
        lambda t, area, slip: (0.5, 0.2, np.where(_upper(t["rated_current_ma"]), 0.9, 0.1)),
    ),
    "ring cores, small ones alone measured": Missing(
        Scene(toroid=True, flux=1.3, density=3.0, fifty=1.0),
        lambda t, area, slip: (np.where(area < 0, 0.9, 0.2), 0.3, 0.3),
    ),
    "cores of high voltage alone": Missing(
        Scene(volts=750.0, density=2.6, tails=5.0),
        lambda t, area, slip: (np.where(_upper(t["no_load_v"]), 0.9, 0.1), 0.3, 0.3),
    ),
}
COLUMNS = ["scene", "known", "registers", "asked", "coverage", "interval_score", "median_error", "coverage_slipped"]
COLUMNS += ["slips_flagged", "sound_accused", "withheld", "pit_05", "pit_50", "pit_95"]


def read(missing: Missing, table: pd.DataFrame, slip: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """The units with a primary's resistance, and without what was not read of them."""
    turns = table["line_voltage_v"] / table["no_load_v"]
    table = table.assign(
        primary_resistance_ohm=table["hv_resistance_ohm"] * turns**2 / (1.73 * np.exp(rng.normal(0, 0.21, len(table))))
    )
    area = table["core_area_cm2"].fillna(table["tongue_mm"] * table["stack_mm"] / 100)
    for names, chance in zip(
        (CORE, GAUGE, PRIMARY), missing.chances(table, np.log(area / 10).to_numpy(), slip), strict=True
    ):
        table.loc[rng.random(len(table)) >= chance, list(names)] = np.nan
    return table


def slipped(table: pd.DataFrame, slip: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """The units with a slip in each of those that are to bear one."""
    kinds = rng.choice(len(SLIPS), len(table), p=[share for *_, share in SLIPS])
    table = table.copy()
    for place, (name, factor, _) in enumerate(SLIPS):
        table.loc[slip & (kinds == place), name] *= factor
    return table


def run(name: str, number: int) -> dict[str, object]:
    """Means over the registers of one population."""
    missing, parts = MISSING[name], []
    for register in range(REGISTERS):
        rng = np.random.default_rng([2026, number, register])
        true = units(missing.scene, KNOWN, rng)
        known = recorded(missing.scene, true, 0.05, rng)
        known = read(missing, known, (known["slip"] != "").to_numpy(), rng)
        slip = rng.random(ASKED) < SLIPPED
        asked = read(missing, units(missing.scene, ASKED, rng, asked=True), slip, rng)
        typed = slipped(asked, slip, rng)
        slip &= np.any(typed.fillna(0).to_numpy() != asked.fillna(0).to_numpy(), axis=1)
        model = fit(known)
        made = model.estimate(typed, LEVEL)
        pit = 1 - model.predict(typed).sf(asked["rated_current_ma"].to_numpy())
        part = made[["rated_current_ma", "low_ma", "high_ma", "flags"]].assign(slip=slip, pit=pit)
        parts.append(part.assign(true=asked["rated_current_ma"].to_numpy()))
    every = pd.concat(parts, ignore_index=True)
    told, flagged = every["low_ma"].notna(), every["flags"].str.contains("suspect-reading")
    of = score(*(every.loc[told, column].to_numpy() for column in ("true", "rated_current_ma", "low_ma", "high_ma")))
    wrong = told & every["slip"]
    held = every["true"].between(every["low_ma"], every["high_ma"])
    under = {f"pit_{round(100 * level):02d}": (every["pit"] < level).mean() for level in (0.05, 0.5, 0.95)}
    figures = {
        "coverage": of.coverage,
        "interval_score": of.interval,
        "median_error": of.error,
        "coverage_slipped": held[wrong].mean(),
        "slips_flagged": flagged[every["slip"]].mean(),
        "sound_accused": flagged[~every["slip"]].mean(),
        "withheld": 1 - told.mean(),
    }
    return {"scene": name, "known": KNOWN, "registers": REGISTERS, "asked": len(every), **figures, **under}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    made = pd.DataFrame([run(name, number) for number, name in enumerate(MISSING)])[COLUMNS]
    print(made.round(3).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.3f")


if __name__ == "__main__":
    main()
