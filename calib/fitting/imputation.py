"""What was not read of a unit, expected from what was: any subset of the readings, by one joint normal distribution.

The regressions of the prior form a chain: each reading on the frequency and on the readings before it, with normal
innovations. All readings together are therefore jointly normal, y = mean + L z with independent z, and what is blank is
conditioned on what is there (Mardia, Kent and Bibby, Multivariate Analysis, section 3.2). No reading needs another to
count. The known units teach the regressions, each from all records that hold its response: where one of its covariates
is blank its expectation stands in, and what that leaves open is no part of the scatter.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from calib.fitting.features import COARSE, CORE, PRIMARY, READINGS, V_OVER_R, VOLTAGE, WEIGHT, WIRE, Features
from calib.fitting.mixture import Iteration
from calib.fitting.prior import HANGING, MAIN, Prior, PriorRegression

# ln V about its supply's usual one: how well its mean is known, its sd, and how well the ln of that (judgement).
VOLTS_OFF, VOLTS_SPREAD, VOLTS_LN_SPREAD = 0.3, 0.5, 0.35
ROUNDS, TOLERANCE = 300, 1e-10  # of a regression: of a coefficient and of ln scatter
UNSOUND, UNSOUND_SD = 0.05, 1.0  # there: share of records that scatter broadly, and how broadly
# Columns of the design that hang on readings (prior.HANGING): three as they were read, three as departures from what
# the readings before them lead one to expect, which are nothing where nothing is known.
AS_READ, DEPARTED = (CORE, V_OVER_R, VOLTAGE), (WIRE, PRIMARY, WEIGHT)
LEARNED = {"voltage": "volts given the supply", "core": "cores given V and R", "wire": "wires given V, R and core"}
LEARNED |= {"primary": "primaries given all these", "weight": "weights given all these"}


@dataclass(frozen=True)
class SideRegression:
    """A regression of one reading on those before it (of the wire its departure) and the frequency, after the records.

    Attributes
    ----------
    names : tuple of str
        Its terms: one, frequency, or of READINGS.
    terms : numpy.ndarray
        Its coefficients.
    scatter : float
        Residual standard deviation of sound records.
    covariance : numpy.ndarray
        Of the coefficients.
    iteration : Iteration
        How it was found.
    """

    names: tuple[str, ...]
    terms: np.ndarray
    scatter: float
    covariance: np.ndarray
    iteration: Iteration

    @classmethod
    def before(cls, prior: PriorRegression, what: str) -> SideRegression:
        """As the prior has it."""
        return cls(prior.names, prior.mean, prior.scatter, prior.covariance, Iteration(what, 0, ROUNDS, True))


@dataclass(frozen=True)
class Imputation:
    """The regressions as one normal distribution of all readings.

    Attributes
    ----------
    voltage, ratio, core, wire, primary, weight : SideRegression
        Of each reading; of the voltage about its supply's usual one.
    rings : numpy.ndarray, shape (6,)
        How many readings of units whose sheets are, or may be, no scrapless EI taught each.
    """

    voltage: SideRegression
    ratio: SideRegression
    core: SideRegression
    wire: SideRegression
    primary: SideRegression
    weight: SideRegression
    rings: np.ndarray = field(default_factory=lambda: np.zeros(len(READINGS)), kw_only=True)

    @classmethod
    def before(cls, prior: Prior) -> Imputation:
        """As the prior has it."""
        return cls(*(SideRegression.before(one, LEARNED.get(name, "")) for name, one in _chain(prior).items()))

    @property
    def iterations(self) -> tuple[Iteration, ...]:
        """How those that the records teach were found."""
        return tuple(getattr(self, name).iteration for name in LEARNED)

    @cached_property
    def chain(self) -> dict[int, SideRegression]:
        """The regressions by the place of their response in READINGS."""
        return dict(zip(range(len(READINGS)), vars(self).values(), strict=False))

    @cached_property
    def scatter(self) -> np.ndarray:
        """Standard deviation of each innovation, shape (6,)."""
        return np.array([one.scatter for one in self.chain.values()])

    @cached_property
    def spread(self) -> np.ndarray:
        """L: what each innovation (columns) adds to each reading (rows), shape (6, 6)."""
        spread = np.eye(len(READINGS))
        for row, one in self.chain.items():
            for name, term in zip(one.names, one.terms, strict=True):
                if name in READINGS:
                    place = READINGS.index(name)
                    spread[row] += term * (np.eye(len(READINGS)) if place in DEPARTED else spread)[place]
        return spread

    @cached_property
    def to_columns(self) -> np.ndarray:
        """What each innovation adds to each hanging column of the design, shape (6, 6)."""
        return np.vstack([self.spread[list(AS_READ)], np.eye(len(READINGS))[list(DEPARTED)]])

    def expected(self, rows: Features, given: tuple[int, ...] = ()) -> np.ndarray:
        """Mean of the readings of units before any is made but those that are given, shape (n, 6)."""
        mean = np.zeros((len(rows), len(READINGS)))
        mean[:, list(given)] = rows.readings[:, list(given)]
        for row, one in self.chain.items():
            if row in given:
                continue
            values = {"one": 1.0, "frequency": rows.frequency, **dict(zip(READINGS[:WIRE], mean.T, strict=False))}
            usual = rows.usual_volts if row == VOLTAGE else 0.0
            line = (term * values.get(name, 0.0) for name, term in zip(one.names, one.terms, strict=True))
            mean[:, row] = sum(line, start=usual)
        return mean

    def gain(self, pattern: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """How the design's hanging columns follow from the readings that were made.

        Parameters
        ----------
        pattern : numpy.ndarray of bool, shape (8,)
            Which were made, and how well, as Features.pattern has it.

        Returns
        -------
        gain : numpy.ndarray, shape (6, 6)
            Columns (rows) by departures of the readings from :meth:`expected`; nothing where not made.
        open : numpy.ndarray, shape (6, 6)
            Covariance of the columns once these are known.

        Notes
        -----
        A primary's resistance that was read poorly has the variance of its reading beside that of the primaries.
        """
        gain, left = self._innovations(pattern)
        return self.to_columns @ gain, self.to_columns @ left @ self.to_columns.T

    def _innovations(self, pattern: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same of the innovations."""
        seen = pattern[: len(READINGS)]
        variance, made = self.scatter**2, self.spread[seen]
        poorly = np.where(np.arange(len(READINGS)) == PRIMARY, coarse_variance(pattern), 0.0)
        gain = np.zeros((len(READINGS),) * 2)
        gain[:, seen] = np.linalg.solve((made * variance) @ made.T + np.diag(poorly[seen]), made * variance).T
        return gain, np.diag(variance) - gain[:, seen] @ (made * variance)

    def complete(self, rows: Features, but: tuple[int, ...] = ()) -> Completed:
        """The design's hanging columns of units by expectation, as if some readings had not been made."""
        rows = rows.without(*but) if but else rows
        mean = self.expected(rows)
        off = np.where(rows.seen, rows.readings - mean, 0.0)
        patterns, place = patterns_of(rows.pattern)
        columns = np.hstack([mean[:, list(AS_READ)], np.zeros((len(rows), len(DEPARTED)))])
        left, by_ratio = (np.empty((len(patterns), *shape)) for shape in ((len(HANGING),) * 2, (len(HANGING),)))
        for at, pattern in enumerate(patterns):
            here = place == at
            gain, left[at] = self.gain(pattern)
            by_ratio[at] = gain[:, V_OVER_R]
            columns[here] += off[here] @ gain.T
        return Completed(columns, rows.frequency, place, left, by_ratio)

    def usual(self, rows: Features) -> np.ndarray:
        """The readings of units as those that were made lead one to expect, shape (n, 6)."""
        mean, (patterns, place) = self.expected(rows), patterns_of(rows.pattern)
        off = np.where(rows.seen, rows.readings - mean, 0.0)
        by = np.array([self.spread @ self._innovations(pattern)[0] for pattern in patterns])
        return mean + np.einsum("nij,nj->ni", by[place], off)

    def moved(self, rows: Features, step: np.ndarray) -> np.ndarray:
        """What steps of the readings, shape (n, 6) or (6,), add to the design's columns of main, shape (n, 8)."""
        moved, step = np.zeros((len(rows), len(MAIN))), np.where(rows.seen, step, 0.0)
        patterns, place = patterns_of(rows.pattern)
        for at, pattern in enumerate(patterns):
            here = np.flatnonzero(place == at)[:, None]
            moved[here, HANGING] = step[here[:, 0]] @ self.gain(pattern)[0].T
        return moved


@dataclass(frozen=True)
class Completed:
    """Units with what was not read of them expected.

    Attributes
    ----------
    hanging : numpy.ndarray, shape (n, 6)
        Columns of prior.HANGING by expectation.
    frequency : numpy.ndarray, shape (n,)
        ln(f / 60 Hz).
    pattern : numpy.ndarray of int, shape (n,)
        Which of the patterns of what was read.
    open : numpy.ndarray, shape (p, 6, 6)
        For each pattern the covariance of the columns about that expectation.
    by_ratio : numpy.ndarray, shape (p, 6)
        For each pattern what a step of ln(V/R) adds to the columns.
    """

    hanging: np.ndarray
    frequency: np.ndarray
    pattern: np.ndarray
    open: np.ndarray
    by_ratio: np.ndarray

    @property
    def main(self) -> np.ndarray:
        """Columns of the design in the order of prior.MAIN, shape (n, 8)."""
        main = np.ones((len(self.hanging), len(MAIN)))
        main[:, HANGING], main[:, MAIN.index("frequency")] = self.hanging, self.frequency
        return main

    def variance(self, second_moment: np.ndarray) -> np.ndarray:
        """What is open adds this to the variance of a linear form of the hanging columns, shape (n,).

        Parameters
        ----------
        second_moment : numpy.ndarray, shape (6, 6)
            Of the form's coefficients: mean times mean, and their covariance.
        """
        return np.einsum("pij,ij->p", self.open, second_moment)[self.pattern]


def patterns_of(pattern: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The patterns of what was read that occur, shape (p, 8), and each unit's place among them, shape (n,)."""
    code = pattern @ (1 << np.arange(pattern.shape[1]))
    codes, place = np.unique(code, return_inverse=True)
    return (codes[:, None] >> np.arange(pattern.shape[1]) & 1).astype(bool), place.reshape(-1)


def coarse_variance(pattern: np.ndarray) -> float:
    """Variance of the primary's reading in a pattern beyond what an ordinary one has."""
    return float(COARSE[int(pattern[len(READINGS) :] @ (1, 2))] ** 2)


def impute(rows: Features, prior: Prior, sound: np.ndarray | float = 1.0) -> Imputation:
    """The regressions after the known units, each by its odds of being sound, shape (n,), where they are known."""
    begun, learned, counts = Imputation.before(prior), {}, sound * rows.counts
    for response, (name, under) in enumerate(_chain(prior).items()):
        if name not in LEARNED:  # the sizes of those that are asked about are not those of the records
            learned[name] = begun.chain[response]
            continue
        read = rows.seen[:, response]
        there = rows.take(read)
        # Its covariates by what was read before it, so that the response is not regressed on itself.
        completed = begun.complete(there, but=tuple(range(min(response, PRIMARY), len(READINGS))))
        slope = dict(zip(under.names, under.mean, strict=True))
        hanging = np.array([slope.get(MAIN[at], 0.0) for at in HANGING])
        x = completed.main[:, [MAIN.index(term) for term in under.names]]
        open_ = completed.variance(np.outer(hanging, hanging))
        open_ += COARSE[there.coarse] ** 2 if response == PRIMARY else 0.0
        y = there.readings[:, response] - (there.usual_volts if response == VOLTAGE else 0.0)
        learned[name] = _robust(x, y, open_, counts[read], under, LEARNED[name])
    return Imputation(**learned, rings=rows.counts @ (rows.rings[:, None] & rows.seen))


def _chain(prior: Prior) -> dict[str, PriorRegression]:
    """The prior of each reading's regression, in the order of READINGS."""
    volts = PriorRegression(("one",), np.zeros(1), np.eye(1) * VOLTS_OFF**2, np.log(VOLTS_SPREAD), VOLTS_LN_SPREAD)
    return {"voltage": volts, **{name: getattr(prior, name) for name in ("ratio", "core", "wire", "primary", "weight")}}


def _robust(
    x: np.ndarray, y: np.ndarray, open_: np.ndarray, counts: np.ndarray, under: PriorRegression, what: str
) -> SideRegression:
    """Regression under a prior in which a share of rows scatters broadly, by expectation maximisation.

    `open_` is the variance that each row has beside the scatter, for what of its covariates is only expected, and
    `counts` how many records it counts for.
    """
    precision = np.linalg.inv(under.covariance)
    terms, ln_scatter, held = under.mean, under.ln_scatter, precision
    rounds, converged = 0, not len(y)
    while not converged and rounds < ROUNDS:
        rounds += 1
        scatter = np.exp(ln_scatter)
        variance = scatter**2 + open_
        odds = sound_odds(y - x @ terms, np.sqrt(variance))
        weight = counts * (odds / variance + (1 - odds) / (variance + UNSOUND_SD**2))
        held = precision + (x * weight[:, None]).T @ x
        before, terms = terms, np.linalg.solve(held, precision @ under.mean + x.T @ (weight * y))
        square = (y - x @ terms) ** 2 + np.einsum("ij,ij->i", x @ np.linalg.inv(held), x)
        # Mode of ln scatter under its normal prior, one scoring step: the share of the scatter in each row's variance.
        share = scatter**2 / variance
        held_to = under.ln_scatter_sd**-2
        sound = counts * odds
        slope = (sound * share * (square / variance - 1)).sum() - (ln_scatter - under.ln_scatter) * held_to
        information = 2 * (sound * share**2 * square / variance).sum() + held_to
        move = np.clip(slope / information, -0.5, 0.5)
        ln_scatter = ln_scatter + move
        converged = bool(max(np.max(np.abs(terms - before)), abs(move)) < TOLERANCE)
    covariance = np.linalg.inv(held)
    iteration = Iteration(what, rounds, ROUNDS, converged)
    return SideRegression(under.names, terms, float(np.exp(ln_scatter)), covariance, iteration)


def sound_odds(residual: np.ndarray, scatter: np.ndarray | float) -> np.ndarray:
    """Probability that a row scatters as sound ones do and not broadly."""
    broad = np.hypot(scatter, UNSOUND_SD)
    sound = (1 - UNSOUND) / scatter * np.exp(-0.5 * (residual / scatter) ** 2)
    other = UNSOUND / broad * np.exp(-0.5 * (residual / broad) ** 2)
    return sound / (sound + other)
