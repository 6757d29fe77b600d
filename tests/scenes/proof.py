"""Heat runs of simulated units: does the forecast's interval cover what comes, the permitted current's what is true?

``python -m tests.scenes.proof --out datasets/validation/heat_run.csv`` makes the table, in some minutes on one core. A
unit warms in a drifting room (`tests.scenes.warming`), read with 0.3 % of noise of its resistance and a thermometer
within 0.2 K; it is forecast at one, two and three of its time constants, by its winding, by that with the tongue given,
and by its case within 0.5 K. Another set of runs is switched off and read
while it cools. The seed is none that the forecast's constants were looked at with.
"""

from __future__ import annotations

import argparse
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from calib.bench.uncertainty import MeterClass
from calib.estimate.heat_run import HeatRun, heat_run
from calib.estimate.warming import Entry, forecast_rise
from tests.scenes.warming import ZERO, Warm, a_unit, warmed

HELD_OUT, RUNS = 20261128, 300
NOISE, CASE_U_K = 0.003, 0.5
SECONDS = (20.0, 35.0, 50.0, 65.0, 90.0, 120.0, 150.0, 180.0, 240.0, 300.0)


WAYS = ("winding", "winding, tongue given", "case")


def warming_run(dice: np.random.Generator) -> tuple[Warm, dict[str, tuple[float, list[Entry]]]]:
    """One run: the unit, and by winding and case the rise that it comes to [K] and entries a seventh of tau apart."""
    unit = a_unit(dice)
    at = np.arange(0.0, 3.001 * unit.tau_min, unit.tau_min / 7.0)
    air = dice.uniform(15.0, 27.0) + dice.normal(0.0, 1.0) * at / 60.0 + 0.3 * np.sin(at / 60.0 + dice.uniform(0, 6))
    winding, core = warmed(unit, at, air, (air[0], air[0])).T
    cold = unit.ohm(air[0]) * (1.0 + dice.normal(0.0, NOISE))
    ohm = np.array([unit.ohm(one) for one in winding]) * (1.0 + dice.normal(0.0, NOISE, len(at)))
    read = (ohm / cold * (ZERO + air[0]) - ZERO, core + dice.normal(0.0, CASE_U_K, len(at)))
    thermometer = air + dice.normal(0.0, 0.2, len(at))
    entries = ([Entry(*one) for one in zip(at, temp, thermometer, strict=True)][1:] for temp in read)
    rises = (unit.steady_rise(float(np.mean(air)), body=body) for body in (0, 1))
    return unit, dict(zip(("winding", "case"), zip(rises, entries, strict=True), strict=True))


def forecasts(dice: np.random.Generator, runs: int) -> pd.DataFrame:
    """A row a run, way and time of forecast: way, constants, truth, low, high [K]."""
    rows = []
    for _ in range(runs):
        unit, made = warming_run(dice)
        for way, constants in product(WAYS, (1, 2, 3)):
            part = way.partition(",")[0]
            truth, entries = made[part]
            so_far = [one for one in entries if one.minutes <= constants * unit.tau_min + 1e-9]
            tongue = unit.tongue_mm if way != part else None
            read_u = (0.95, 0.9) if part == "winding" else (CASE_U_K, 0.0)
            told = forecast_rise(so_far, 60.0, *read_u, tongue_mm=tongue, part=part)
            rows.append((way, constants, truth, told.low_k, told.high_k))
    return pd.DataFrame(rows, columns=["way", "constants", "truth", "low", "high"])


def losses_of(unit: Warm, air: float, rise: float, way: str) -> dict[str, float]:
    """What is told of the losses: nothing, both watts, or the copper's and the rise without load."""
    copper = unit.copper_w * (ZERO + air + rise) / (ZERO + 20.0)
    idle = unit.steady_rise(air, 0.0)
    return {"": {}, "watts": {"iron_w": unit.iron_w, "copper_w": copper}}.get(way) or (
        {"copper_w": copper, "idle_rise_k": idle} if way == "rises" else {}
    )


def load_for(unit: Warm, rise: float, air: float) -> float:
    """Times the run's current that brings a unit to a rise; 0 where the iron alone is hotter, at most 1.5."""
    ends = (0.0, 1.5)
    low, high = (unit.steady_rise(air, load) - rise for load in ends)
    if low >= 0.0 or high <= 0.0:
        return ends[0] if low >= 0.0 else ends[1]
    return float(brentq(lambda load: unit.steady_rise(air, load) - rise, *ends))


def permitted(dice: np.random.Generator, runs: int) -> pd.DataFrame:
    """A row a run: way, truth, low, high of the current for 60 K in air of 40 °C [mA]; none told makes no row."""
    rows: list[tuple[str, float, float, float]] = []
    while len(rows) < runs:
        unit, air = a_unit(dice), dice.uniform(15.0, 27.0)
        rise = unit.steady_rise(air)
        hot = (air + rise, air + rise - 8.0)
        cooling = warmed(unit, np.array([0.0, *SECONDS]) / 60.0, np.full(11, air), hot, on=False)[1:, 0]
        cold, *ohms = (unit.ohm(one) * (1.0 + dice.normal(0.0, NOISE)) for one in (air, *cooling))
        way = str(dice.choice(["", "watts", "rises"]))
        losses: dict[str, Any] = losses_of(unit, air, rise, way)
        run = HeatRun(cold, air, air, air, 92.0, 60.0, SECONDS, tuple(ohms), **losses)
        found = heat_run(run, MeterClass(0.0, NOISE * 3.0**0.5 * unit.ohm(air), 1.0))
        if found.reference_ma is None or found.reference_low_ma is None or found.reference_high_ma is None:
            continue
        rows.append((way, 92.0 * load_for(unit, 60.0, 40.0), found.reference_low_ma, found.reference_high_ma))
    return pd.DataFrame(rows, columns=["way", "truth", "low", "high"])


def told(runs: pd.DataFrame) -> tuple[int, float, float, float, float]:
    """Runs, shares inside, below and above the interval, and its median width over the truth."""
    below, above = runs["truth"] < runs["low"], runs["truth"] > runs["high"]
    width = float(((runs["high"] - runs["low"]) / runs["truth"]).median())
    return len(runs), float(1.0 - below.mean() - above.mean()), float(below.mean()), float(above.mean()), width


def table(seed: int = HELD_OUT, runs: int = RUNS) -> pd.DataFrame:
    """Coverage of both: a row for each time of forecast and each way of parting the losses."""
    dice = np.random.default_rng(seed)
    made = forecasts(dice, runs)
    times = {1: "1 time constant", 2: "2 time constants", 3: "3 time constants"}
    rows = [("forecast", f"{way}, {times[at]}", *told(one)) for (way, at), one in made.groupby(["way", "constants"])]
    made = permitted(dice, runs)
    rows.append(("permitted current", "all", *told(made)))
    names = {"": "losses not parted", "rises": "rise without load", "watts": "both watts given"}
    rows += [("permitted current", names[str(way)], *told(one)) for way, one in made.groupby("way")]
    columns = ["quantity", "case", "runs", "coverage", "below", "above", "width"]
    return pd.DataFrame(rows, columns=columns).round(3)


def main() -> None:
    """Make the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--out", required=True)
    asked.add_argument("--seed", type=int, default=HELD_OUT)
    asked.add_argument("--runs", type=int, default=RUNS)
    given = asked.parse_args()
    table(given.seed, given.runs).to_csv(given.out, index=False)


if __name__ == "__main__":
    main()
