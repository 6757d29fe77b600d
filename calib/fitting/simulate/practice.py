"""The practice register: simulated known units of five fictional workshops, and a dozen unknown ones.

``python -m calib.fitting.simulate.practice FOLDER`` writes known.csv, unknown.csv and datapackage.json. The units come
from one population of the design model; each workshop reads them with meters of its own, and a few records are spoiled
the way benches spoil them.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench import resistance, wire
from calib.fitting.model import GRADES
from calib.fitting.simulate.design_model import Population, draw, rounded_rating

if TYPE_CHECKING:
    import pandas as pd

SEED = 417
UNKNOWN = 12
POPULATION = Population(flux_t=1.15, density_share=0.78, density_slope=0.08, fill=0.24, hv_depth=0.5, fill_sd=0.18)
USUAL_MA = (10.0, 600.0)  # ratings met in workshops
NOTE = "simulated practice unit"


@dataclass(frozen=True)
class Workshop:
    """A fictional bench and the habits that show in its records.

    Attributes
    ----------
    name, tag : str
        Its name, and what its units' tags begin with.
    units : int
        Known units that it records.
    volt_gain, ohm_gain : float
        Its meters' readings over the true value.
    u_voltage_pct, u_resistance_pct : float or None
        Stated relative standard uncertainties [%]; None where it states none.
    evidence : dict
        Share of each evidence grade.
    core_share, wire_share : float
        Share of its records with a core and with a wire measured.
    frequency_hz : float
        Its line.
    """

    name: str
    tag: str
    units: int
    volt_gain: float
    ohm_gain: float
    u_voltage_pct: float | None
    u_resistance_pct: float | None
    evidence: dict[str, float]
    core_share: float
    wire_share: float
    frequency_hz: float


WORKSHOPS = (
    Workshop("Alder Lane", "AL", 16, 1.002, 0.998, 0.4, 0.5, {"nameplate": 0.6, "heat-run": 0.4}, 1.0, 0.6, 60.0),
    Workshop("Quarry Bank", "QB", 14, 0.995, 1.004, None, None, {"nameplate": 0.7, "maker-data": 0.3}, 0.95, 0.4, 50.0),
    Workshop("Tin Street", "TS", 12, 1.010, 1.045, None, None, {"set-data": 0.6, "nameplate": 0.4}, 0.8, 0.2, 50.0),
    Workshop("Ferry House", "FH", 10, 0.999, 1.001, 0.3, 0.3, {"maker-data": 0.8, "heat-run": 0.2}, 1.0, 0.9, 60.0),
    Workshop("Long Meadow", "LM", 8, 1.003, 0.985, 1.5, 1.2, {"wire-measured": 0.4, "set-data": 0.6}, 0.7, 0.6, 60.0),
)
REAL = 0.85  # makers' ratings over the design model's, so that the practice makers lie where real ones do
WEIGHED = 0.3  # share of units that were put on a scale
# Where each slip of the practice register is made: (workshop's tag, its unit's number, what is multiplied, by what).
SLIPS = (
    ("QB", 5, "hv_resistance_ohm", 0.5),
    ("TS", 3, "rated_current_ma", 10.0),
    ("TS", 10, "hv_v", 0.5),
    ("LM", 4, "hv_resistance_ohm", 0.1),
)


def make(seed: int = SEED) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The practice tables.

    Parameters
    ----------
    seed : int
        The same seed gives the same tables.

    Returns
    -------
    tuple of two pandas.DataFrame
        Known units and unknown units, with the contract's columns.
    """
    import pandas as pd

    rng = np.random.default_rng(seed)
    known = pd.concat([_records(shop, shop.units, rng) for shop in WORKSHOPS], ignore_index=True)
    for tag, number, column, factor in SLIPS:
        row = known["unit"] == f"{tag}-{number:02d}"
        known.loc[row, column] = np.round(known.loc[row, column] * factor, 3 if column != "hv_v" else 2)
    unknown = pd.concat([_records(shop, 3, rng) for shop in WORKSHOPS], ignore_index=True).iloc[:UNKNOWN]
    demand = unknown["rated_current_ma"] * np.exp(rng.normal(-0.25, 0.25, UNKNOWN))
    unknown = unknown.assign(
        unit=[f"U-{number:02d}" for number in range(1, UNKNOWN + 1)],
        demand_ma=np.where(rng.random(UNKNOWN) < 0.6, np.round(demand), np.nan),
        contributor=np.where(np.arange(UNKNOWN) % 3 == 2, "", unknown["contributor"]),
    )
    return known, unknown.drop(columns=["evidence", "rated_current_ma"])


def _records(shop: Workshop, count: int, rng: np.random.Generator) -> pd.DataFrame:
    """What a workshop writes down of units that are drawn for it."""
    import pandas as pd

    true = draw(40 * count, POPULATION, rng)
    usual = (true["line_frequency_hz"] == shop.frequency_hz) & true["rated_current_ma"].between(*USUAL_MA)
    true = true[usual].iloc[:count].reset_index(drop=True)
    evidence = rng.choice(list(shop.evidence), count, p=list(shop.evidence.values()))
    return pd.DataFrame(
        {
            "unit": [f"{shop.tag}-{number:02d}" for number in range(1, count + 1)],
            "contributor": shop.name,
            "evidence": evidence,
            "rectifier": true["rectifier"],
            "filter": true["filter"],
            "rated_current_ma": _stated(REAL * true["rated_current_ma"].to_numpy(), evidence, rng),
            "line_voltage_v": true["line_voltage_v"],
            "line_frequency_hz": true["line_frequency_hz"],
            "centre_tapped": true["centre_tapped"],
            **_electrical(shop, true, rng),
            **_measured(shop, true, evidence == "wire-measured", rng),
            "u_voltage_pct": shop.u_voltage_pct if shop.u_voltage_pct else np.nan,
            "u_resistance_pct": shop.u_resistance_pct if shop.u_resistance_pct else np.nan,
            "primary_resistance_ohm": _digits(true["primary_resistance_ohm"].to_numpy(), 3),
            "weight_kg": _weighed(true["weight_kg"].to_numpy(), rng.spawn(1)[0]),
            "recorded_on": [f"2026-{1 + k % 10:02d}-{1 + (7 * k) % 28:02d}" for k in range(count)],
            "notes": NOTE,
            "simulated": True,
        }
    )


def _weighed(true_kg: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The weight as a kitchen scale shows it, where the unit was put on one [kg]."""
    shown = np.round(true_kg * np.exp(rng.normal(0, 0.01, len(true_kg))), 2)
    return np.where(rng.random(len(true_kg)) < WEIGHED, shown, np.nan)


def _stated(true_ma: np.ndarray, evidence: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The rated current as each grade of evidence states it; plates and data sheets use round figures [mA]."""
    grades = [GRADES[name] for name in evidence]
    scatter = np.array([grade.bias for grade in grades]) + rng.normal(size=len(grades)) * [g.sd for g in grades]
    stated = true_ma * np.exp(scatter)
    return np.where(np.isin(evidence, ["nameplate", "maker-data"]), rounded_rating(stated), _digits(stated, 3))


def _electrical(shop: Workshop, true: pd.DataFrame, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Ratio test or stated voltage, resistance and temperature, read on the workshop's meters."""
    count, line, volts = len(true), true["line_voltage_v"].to_numpy(), true["no_load_v"].to_numpy()
    by_ratio = rng.random(count) < 0.8
    excitation = np.round(np.minimum(0.10 * line, 27.0 * line / volts), 2)
    read = shop.volt_gain * np.exp(rng.normal(0, 0.01, count))
    temperature = np.round(rng.normal(20, 3, count), 1)
    zero = resistance.INFERRED_ZERO_C["copper"]
    hot = (zero + temperature) / (zero + resistance.REFERENCE_C)
    ohm = true["resistance_ohm"].to_numpy() * hot * shop.ohm_gain * np.exp(rng.normal(0, 0.004, count))
    return {
        "excitation_v": np.where(by_ratio, excitation, np.nan),
        "hv_v": np.where(by_ratio, np.round(excitation * volts / line * read, 2), np.nan),
        "no_load_v": np.where(by_ratio, np.nan, np.round(volts * read)),
        "hv_resistance_ohm": _digits(ohm, 4),
        "winding_temp_c": temperature,
    }


def _measured(
    shop: Workshop, true: pd.DataFrame, by_wire: np.ndarray, rng: np.random.Generator
) -> dict[str, np.ndarray | str | float]:
    """Core and wire, where the workshop measured them; a gauge number on 60 Hz benches, a micrometer on the others."""
    has_core = rng.random(len(true)) < shop.core_share
    has_wire = (rng.random(len(true)) < shop.wire_share) & has_core | by_wire
    diameter, gauge = true["wire_diameter_mm"].to_numpy(), shop.frequency_hz == 60.0
    return {
        "tongue_mm": np.where(has_core, np.round(true["tongue_mm"], 1), np.nan),
        "stack_mm": np.where(has_core, np.round(true["stack_mm"]), np.nan),
        "core_area_cm2": np.nan,
        "conductor": "copper",
        "awg": np.where(has_wire & gauge, np.round(wire.awg_from_diameter(diameter)), np.nan),
        "wire_diameter_mm": np.where(has_wire & (not gauge), np.round(diameter, 3), np.nan),
    }


def _digits(values: np.ndarray, digits: int) -> np.ndarray:
    """Readings as a meter shows them, to a few significant digits."""
    scale = 10.0 ** (digits - 1 - np.floor(np.log10(values)))
    return np.round(values * scale) / scale


def descriptor(*tables: pd.DataFrame) -> dict[str, Any]:
    """What the practice register's datapackage.json says: known and unknown units, and that they are simulated."""
    from calib.register.package import table_of_units
    from calib.register.records import KnownUnit, UnknownUnit

    known = "Simulated known units of five fictional workshops; a few records are spoiled the way benches spoil them."
    unknown = "Simulated unknown units to practise on."
    resources = [
        table_of_units(KnownUnit, "known", known, ["contributor", "unit"]),
        table_of_units(UnknownUnit, "unknown", unknown, ["unit"]),
    ]
    for resource, table in zip(resources, tables, strict=True):  # of the columns, those that the workshops filled in
        resource["schema"]["fields"] = [one for one in resource["schema"]["fields"] if one["name"] in table]
    return {
        "profile": "tabular-data-package",
        "name": "simulated-practice-register",
        "title": "Simulated practice register",
        "description": "Simulated for practice: no real unit was read, and no workshop of these names is meant. "
        "Made by python -m calib.fitting.simulate.practice with a fixed seed.",
        "resources": resources,
    }


def write(folder: Path) -> None:
    """Write known.csv, unknown.csv and datapackage.json of the practice register into a folder."""
    from calib.register.package import write_table

    folder.mkdir(parents=True, exist_ok=True)
    tables = make()
    for name, table in zip(("known.csv", "unknown.csv"), tables, strict=True):
        with open(folder / name, "w", encoding="utf-8", newline="") as file:
            write_table(table, file)
    text = json.dumps(descriptor(*tables), ensure_ascii=False, indent=1)
    (folder / "datapackage.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]))
