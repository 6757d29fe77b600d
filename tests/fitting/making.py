"""Tables and fits that the tests of the fit and of the estimate share: each fit is made once."""

from __future__ import annotations

import io
from functools import cache

import numpy as np
import pandas as pd

from calib.fitting import Multiplier, fit
from calib.paths import shipped
from calib.register.tables import read_known, read_unknown
from tests.scenes.population import SCENES, recorded, units

# A unit as Alder Lane reads it: ratio test and resistance, both for the whole winding.
KNOWN = {
    "unit": "A1",
    "contributor": "Alder Lane",
    "evidence": "nameplate",
    "rectifier": "full-wave",
    "filter": "capacitor",
    "rated_current_ma": "92",
    "line_voltage_v": "117",
    "line_frequency_hz": "60",
    "centre_tapped": "true",
    "excitation_v": "4.97",
    "hv_v": "27.76",
    "hv_resistance_ohm": "188.6",
    "winding_temp_c": "20",
}
FIGURES = ["multiplier", "multiplier_low", "multiplier_high", "rated_current_ma", "low_ma", "high_ma", "floor_ma"]


def known(*changes: dict[str, object]) -> pd.DataFrame:
    """Known units as read from a file: one row for each set of changes to the unit of Alder Lane; None leaves blank."""
    return read_known(_file([{"unit": f"A{k}", **change} for k, change in enumerate(changes or ({},), 1)], KNOWN))


def unknown(*changes: dict[str, object]) -> pd.DataFrame:
    """Unknown units as read from a file, likewise."""
    usual = {name: KNOWN[name] for name in KNOWN if name not in {"contributor", "evidence", "rated_current_ma"}}
    return read_unknown(_file([{"unit": f"A{k}", **change} for k, change in enumerate(changes or ({},), 1)], usual))


def _file(changes: list[dict[str, object]], usual: dict[str, str]) -> io.BytesIO:
    rows = [{**usual, **change} for change in changes]
    return io.BytesIO(pd.DataFrame(rows).astype(object).to_csv(index=False).encode())


@cache
def practice_known() -> pd.DataFrame:
    """The practice register's known units; not to be changed."""
    return read_known(shipped("datasets/practice/known.csv"))


@cache
def practice_unknown() -> pd.DataFrame:
    """The practice register's unknown units; not to be changed."""
    return read_unknown(shipped("datasets/practice/unknown.csv"))


@cache
def practice_fit() -> Multiplier:
    """The fit to the practice register."""
    return fit(practice_known())


@cache
def prior_fit() -> Multiplier:
    """The fit to no record at all."""
    return fit(practice_known().iloc[:0])


@cache
def scene_known(scene: str = "ordinary", count: int = 240, spoiled: float = 0.0, seed: int = 1) -> pd.DataFrame:
    """A register of a scene, its `slip` column telling the truth of each record; not to be changed."""
    rng = np.random.default_rng(seed)
    return recorded(SCENES[scene], units(SCENES[scene], count, rng), spoiled, rng)


@cache
def scene_fit(scene: str = "ordinary", count: int = 240, spoiled: float = 0.0, seed: int = 1) -> Multiplier:
    """The fit to that register."""
    return fit(scene_known(scene, count, spoiled, seed))


def scene_asked(scene: str = "ordinary", count: int = 200, seed: int = 2) -> pd.DataFrame:
    """Units of a scene that are asked about, `rated_current_ma` being the truth."""
    return units(SCENES[scene], count, np.random.default_rng(seed), asked=True)


def ln_width(estimates: pd.DataFrame) -> np.ndarray:
    """Width of each unit's interval in ln current."""
    return np.log(estimates["high_ma"] / estimates["low_ma"]).to_numpy()


def without_core(records: pd.DataFrame) -> pd.DataFrame:
    """The same units with V and R alone."""
    blank = dict.fromkeys(("tongue_mm", "stack_mm", "core_area_cm2", "primary_resistance_ohm", "weight_kg"), np.nan)
    return without_gauge(records).assign(**blank)


def without_gauge(records: pd.DataFrame) -> pd.DataFrame:
    """The same units with no wire measured."""
    return records.assign(awg=np.nan, wire_diameter_mm=np.nan)


def covariates(units: pd.DataFrame) -> pd.DataFrame:
    """The fit's covariates by hand: cores are tongue times stack in these scenes, and all readings at 20 °C."""
    area = units["tongue_mm"] * units["stack_mm"] / 100
    ratio = units["no_load_v"] / units["hv_resistance_ohm"]
    return pd.DataFrame(
        {
            "core": np.log(area / 10),
            "frequency": np.log(units["line_frequency_hz"] / 60),
            "ratio": np.log(ratio / 2),
            "volts": np.log(units["no_load_v"] / 600),
            "supply": units["rectifier"] + " " + units["filter"],
            "size": np.digitize(area, [4.5, 7, 10, 14, 20, 32]),
        }
    )
