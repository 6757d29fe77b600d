"""Likely duplicates are told from units of one model, on registers made by other assumptions than the search's."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.review.duplicates import duplicates
from tests.counts import share
from tests.fitting.making import known
from tests.scenes.population import SCENES, recorded, units

PAIRS, TWICE, APART = 100, 50, 850
COLUMNS = ["no_load_v", "hv_resistance_ohm", "primary_resistance_ohm", "weight_kg"]


def digits(values: pd.Series, count: int) -> pd.Series:
    """As a meter of so many digits shows them."""
    step = 10.0 ** (np.floor(np.log10(values.abs())) + 1 - count)
    return (values / step).round() * step


def read(units: pd.DataFrame, apart: dict[str, float], rng: np.random.Generator, mark: str) -> pd.DataFrame:
    """Units as a bench writes them down, each reading off by up to so much of it; the halves go with the whole."""
    table = units.copy()
    for name, most in apart.items():
        table[name] = digits(table[name] * (1 + most * rng.uniform(-1, 1, len(table))), 4)
    return table.assign(unit=mark + table["unit"])


def register(seed: int, how: str) -> pd.DataFrame:
    """850 units, 100 of them with a sister of their model, 50 under a second tag; cores and gauges are the same."""
    rng = np.random.default_rng(seed)
    scene = SCENES["ordinary"]
    table = recorded(scene, units(scene, APART, rng), 0.0, rng)
    table["rated_current_ma"] = (5 * (table["rated_current_ma"] / 5).round()).clip(lower=5)
    table["primary_resistance_ohm"] = np.exp(rng.normal(1.5, 0.8, APART))
    table["weight_kg"] = np.exp(rng.normal(0.8, 0.6, APART))
    for name, count in (("tongue_mm", 3), ("stack_mm", 3), ("wire_diameter_mm", 3)):
        table[name] = digits(table[name], count)
    table = read(table, dict.fromkeys(COLUMNS, 0.0), rng, "")
    chosen = table.iloc[rng.choice(APART, PAIRS + TWICE, replace=False)]
    model = dict(zip(COLUMNS, (0.005, 0.03, 0.03, 0.02), strict=True))
    again = {"copied": {}, "read again": dict.fromkeys(COLUMNS, 0.003)}[how]
    sisters, twice = read(chosen[:PAIRS], model, rng, "sister "), read(chosen[PAIRS:], again, rng, "again ")
    mixed = pd.concat([table, sisters, twice.assign(contributor="Tin Street")], ignore_index=True)
    return mixed.iloc[rng.permutation(len(mixed))].reset_index(drop=True)


@pytest.mark.parametrize("how", ["copied", "read again"])
def test_units_under_two_tags_are_found_and_sisters_left_alone(how):
    """Of each 50 at least 48; of 100 pairs of one model, V within 0.5 % and R within 3 %, at most 5."""
    for seed in range(7001, 7001 + share(2, 20)):
        table = register(seed, how)
        found = duplicates(table)
        places = found[["one", "other"]].to_numpy()
        tags = [sorted(table["unit"].iloc[both]) for both in places]
        assert sum(one == f"again {other}" for one, other in tags) >= 48
        assert sum(other == f"sister {one}" for one, other in tags) <= 5
        assert len(tags) == len({tuple(one) for one in tags})


def test_other_makers_or_two_windings_of_one_transformer_are_never_one_unit():
    table = known({}, {"unit": "B1", "contributor": "Tin Street"})
    assert duplicates(table)[["one", "other", "apart"]].to_numpy().tolist() == [[0, 1, 0.0]]
    assert duplicates(table.assign(maker=["Alder", "Beech"])).empty
    assert len(duplicates(table.assign(maker=["Alder", "ALDER"]))) == 1
    windings = table.assign(contributor="Alder Lane", transformer="AL")
    assert duplicates(windings).empty
    assert duplicates(table.iloc[:0]).empty
