"""Simulation-based calibration of the fit's own prior: registers drawn from it, and how often the truth is overshot.

What is unknown is drawn from the prior that the fit is begun by (terms, scales, effects of bench, maker and evidence,
share of gross errors), then records of it; a fit whose posteriors are right puts the truth at every rank alike (Talts,
Betancourt, Simpson, Vehtari and Gelman, Validating Bayesian Inference Algorithms with Simulation-Based Calibration,
2018). Here a rank is the posterior's probability below the truth, which is what a rank among many draws tends to.

``python -m tests.calibration --out datasets/validation/calibration.csv`` makes the table, in about ten minutes.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from scipy.special import ndtr
from scipy.stats import chi2

from calib.fitting.features import (
    CENTRE_AREA_CM2,
    CORE,
    ERAS,
    LN_FORM,
    LN_USUAL_VOLTS,
    PAIRS,
    PRIMARY,
    READINGS,
    V_OVER_R,
    VOLTAGE,
    WIRE,
    Features,
    size_classes,
)
from calib.fitting.gross_errors import GROSS_ERRORS, NO_OTHER_FILTER, SWAP, swaps
from calib.fitting.imputation import VOLTS_SPREAD
from calib.fitting.mixture import SHARE_PRIOR
from calib.fitting.model import (
    DRIFT_SD,
    DRIFT_WITH_WIRE_SD,
    ERA_SD,
    GRADES,
    SUPPLY_SD_FLOOR,
    VarianceComponents,
)
from calib.fitting.predictive import exceeds
from calib.fitting.prior import MAKER_SD, Prior, PriorRegression, load_prior
from calib.fitting.result import Multiplier, fit_rows
from calib.fitting.variance_components import ALL, scales_at
from calib.supply.form_factor import FORM_FACTOR_SD

SIZES = {0: 200, 6: 1000, 30: 1000, 120: 200}  # known units of a register, and registers
BINS, LEVEL = 20, 0.01
QUANTITIES = ("level", "slope on the core", "noise", "bench sd", "ln I of a new unit")
COLUMNS = ["known", "quantity", "registers", "chi_square", "p", "limit", "passes", "mean_rank", "below_5_pct"]
COLUMNS += ["below_50_pct", "below_95_pct"]
BENCHES, MAKERS = ("Beech Yard", "Canal Shed", "Dyer's Loft", "East Gate"), ("a", "b", "c", "")
READ = (1.0, 1.0, 0.85, 0.4, 0.3, 0.2)  # share of units of which each of READINGS is made
READING_SD = 0.013  # of ln(V/R), by the meters


class World:
    """All that is unknown of one register, drawn from the prior."""

    def __init__(self, rng: np.random.Generator, prior: Prior) -> None:
        self.rng = rng
        self.scales: VarianceComponents = scales_at(rng.normal(size=ALL), prior.main)
        names = ("ratio", "core", "wire", "primary", "weight", "main")
        self.terms = {name: self.regression(getattr(prior, name)) for name in names}
        self.supply = [rng.normal(0, max(FORM_FACTOR_SD[pair], SUPPLY_SD_FLOOR)) for pair in PAIRS]
        self.grade = {name: rng.normal(one.bias, one.bias_sd) for name, one in GRADES.items()}
        self.era = rng.normal(0, ERA_SD, len(ERAS))
        labels = dict.fromkeys(size_classes(np.geomspace(1, 90, 200)))
        self.size_class = {label: rng.normal(0, self.scales.size_class) for label in labels}
        self.bench = {name: rng.normal(0, self.scales.contributor) for name in BENCHES}
        self.maker = {name: rng.normal(0, MAKER_SD) for name in MAKERS if name}
        self.unsound = rng.beta(*SHARE_PRIOR)

    def regression(self, one: PriorRegression) -> tuple[dict[str, float], float]:
        """Terms by name and scatter."""
        terms = self.rng.multivariate_normal(one.mean, one.covariance)
        scatter = np.exp(self.rng.normal(one.ln_scatter, one.ln_scatter_sd))
        return dict(zip(one.names, terms.tolist(), strict=True)), float(scatter)

    def units(self, count: int, asked: bool = False, benches: tuple[str, ...] = BENCHES) -> tuple[Features, np.ndarray]:
        """Records, or units that are asked about, and the ln of the rating that the maker meant.

        What a bench adds to its records it adds to the units that it asks about: see the model.
        """
        rng = self.rng
        pair, era = rng.integers(len(PAIRS), size=count), rng.integers(len(ERAS), size=count)
        maker, grade = rng.choice(MAKERS, count), rng.choice(list(GRADES), count)
        bench = rng.choice(["", *benches] if asked else list(benches), count)
        frequency = np.log(rng.choice([50.0, 60.0], count) / 60)
        known, readings = self.chain(pair, frequency)
        sizes = size_classes(np.exp(readings[:, CORE]) * CENTRE_AREA_CM2)
        meant = sum(term * known[one] for one, term in self.terms["main"][0].items())
        meant = meant + np.array(self.supply)[pair] + self.era[era] + [self.size_class[one] for one in sizes]
        meant += [self.maker[name] if name else rng.normal(0, MAKER_SD) for name in maker]
        meant = meant + self.scales.noise * rng.normal(size=count)  # ln(k m)
        readings[rng.random(readings.shape) >= READ] = np.nan
        seen = np.isfinite(readings)
        if asked:
            meant += np.where(seen[:, WIRE], DRIFT_WITH_WIRE_SD, DRIFT_SD) * rng.normal(size=count)
        stated = meant + [self.bench.get(name, 0.0) for name in bench]
        rating = stated + readings[:, V_OVER_R] + np.log(2) - LN_FORM[pair]
        meters, response = READING_SD * rng.normal(size=count), np.full(count, np.nan)
        readings[:, V_OVER_R] += meters
        if not asked:
            sd = dict(zip(GRADES, self.scales.grades, strict=True))
            response = stated - meters + [self.grade[one] + sd[one] * rng.normal() for one in grade]
            self.spoil(readings, response, pair)
        texts = {"contributor": bench, "evidence": "" if asked else grade, "maker": maker, "era": np.array(ERAS)[era]}
        frame = pd.DataFrame({name: pd.Series(part, np.arange(count), object) for name, part in texts.items()})
        frame = frame.assign(unit=[f"{'q' if asked else 'u'}{at}" for at in range(count)], transformer="", ring=False)
        frame = frame.assign(rectifier=[PAIRS[at][0] for at in pair], filter=[PAIRS[at][1] for at in pair])
        frame["size_class"] = np.where(seen[:, CORE], sizes, "").astype(object)
        frame = frame.assign(kept=False, published=False, simulated=True)
        variance, coarse = np.full(count, READING_SD**2), np.zeros(count, dtype=int)
        return Features(frame, readings, frequency, variance, LN_FORM[pair], response, pair, coarse), rating

    def chain(self, pair: np.ndarray, frequency: np.ndarray) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """The covariates of main by name, and all readings, shape (n, 6)."""
        count = len(pair)
        known = {"one": np.ones(count), "frequency": frequency}
        known["voltage"] = LN_USUAL_VOLTS[pair] + self.rng.normal(0, VOLTS_SPREAD, count)
        readings = [known["voltage"]]
        for name in ("ratio", *READINGS[CORE:]):
            terms, scatter = self.terms[name]
            line = sum(term * known[one] for one, term in terms.items())
            apart = self.rng.normal(0, scatter, count)
            # In what follows wire, primary and weight count by how far they depart from this line.
            known["v_over_r" if name == "ratio" else name] = line + apart if name in ("ratio", "core") else apart
            readings.append(line + apart)
        return known, np.column_stack(readings)

    def spoil(self, readings: np.ndarray, response: np.ndarray, pair: np.ndarray) -> None:
        """Put a gross error into a share of the records, by the shares that the fit assumes."""
        rng, share = self.rng, np.array([one.share for one in GROSS_ERRORS])
        for row in np.flatnonzero(rng.random(len(response)) < self.unsound):
            step = swaps()[pair[row]]
            possible = share * [one is not SWAP or step < NO_OTHER_FILTER for one in GROSS_ERRORS]
            error = GROSS_ERRORS[rng.choice(len(share), p=possible / possible.sum())]
            ratio = error.v_over_r + error.v_over_r_sd * rng.normal()
            readings[row, VOLTAGE] += error.volts
            readings[row, V_OVER_R] += ratio
            readings[row, PRIMARY] -= error.volts
            response[row] += error.current + error.current_sd * rng.normal() - ratio + (step if error is SWAP else 0.0)


def ranks(known: int, seed: int) -> dict[str, float]:
    """Probability that the fit to one register gives to less than the truth, of each of QUANTITIES."""
    prior = load_prior()
    world = World(np.random.default_rng([12, known, seed]), prior)
    rows, _ = world.units(known)
    model = fit_rows(rows, prior)
    asked, rating = world.units(1, asked=True, benches=model.design.contributors)
    made = model.predictive(asked)
    truth = dict(zip(QUANTITIES[:2], (world.terms["main"][0][name] for name in ("one", "core")), strict=True))
    found = {name: below_term(model, at, truth[name]) for at, name in enumerate(truth)}
    found["noise"] = below_scale(model, lambda scales: scales.noise, world.scales)
    found["bench sd"] = below_scale(model, lambda scales: scales.contributor, world.scales)
    found["ln I of a new unit"] = float(1 - exceeds(made.share, made.ln_mean, made.ln_sd, rating)[0])
    return found


def below_term(model: Multiplier, column: int, value: float) -> float:
    """Probability below a value of a coefficient."""
    means, variance = model.linear(np.eye(model.design.width)[[column]])
    return float(1 - exceeds(model.shares, means, np.sqrt(variance), np.array([value]))[0])


def below_scale(model: Multiplier, of: Callable[[VarianceComponents], float], truth: VarianceComponents) -> float:
    """The same of a scale, whose ln is taken as normal: the quadrature holds its mean and variance."""
    ln = np.log([of(point.scales) for point in model.quadrature])
    mean = model.shares @ ln
    return float(ndtr((np.log(of(truth)) - mean) / max(np.sqrt(model.shares @ (ln - mean) ** 2), 1e-9)))


def judged(known: int, found: pd.DataFrame, tests: int) -> pd.DataFrame:
    """One row a quantity: chi-square of the ranks over equal bins, and whether it stays within its limit."""
    rows = []
    for name in found:
        rank, expected = found[name].to_numpy(), len(found) / BINS
        count = np.bincount(np.minimum((rank * BINS).astype(int), BINS - 1), minlength=BINS)
        square = float(np.sum((count - expected) ** 2) / expected)
        p, limit = float(chi2.sf(square, BINS - 1)), LEVEL / tests
        under = [float(np.mean(rank < level)) for level in (0.05, 0.5, 0.95)]
        rows.append([known, name, len(found), square, p, limit, str(p > limit).lower(), rank.mean(), *under])
    return pd.DataFrame(rows, columns=COLUMNS)


def table(sizes: dict[int, int], workers: int = 1) -> pd.DataFrame:
    """All of it; with no records nothing is known of a bench, and its sd is the prior's."""
    made = []
    with ProcessPoolExecutor(workers) as pool:
        for known, registers in sizes.items():
            found = pd.DataFrame(pool.map(ranks, [known] * registers, range(registers), chunksize=20))
            made.append(judged(known, found, len(sizes) * len(QUANTITIES)))
    return pd.concat(made, ignore_index=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--share", type=float, default=1.0, help="of the registers")
    parser.add_argument("--sizes", type=int, nargs="*", default=list(SIZES))
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path, help="table to write")
    asked = parser.parse_args()
    made = table({known: round(SIZES[known] * asked.share) for known in asked.sizes}, asked.workers)
    print(made.round(4).to_string(index=False))
    if asked.out:
        made.to_csv(asked.out, index=False, float_format="%.4g")


if __name__ == "__main__":
    main()
