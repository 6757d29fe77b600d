"""The fit and its result: what the known units teach of the multiplier and its scatter."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.fitting import conditional, large, report, tables
from calib.fitting.chains import Sides, fit_sides
from calib.fitting.check import Check, comparison, leave_one_out
from calib.fitting.counted import Counted
from calib.fitting.digits import same_digits
from calib.fitting.effects import Layout, Unmeasured, drift_variance, unit_variance
from calib.fitting.mixture import Iteration, Solution, soundness, unsettled
from calib.fitting.named import content_hash, origin, settings
from calib.fitting.predict import quantiles
from calib.fitting.prior import MAIN, Prior, load_prior
from calib.fitting.problem import Problem
from calib.fitting.rows import Facts, facts, one_each
from calib.fitting.scales import ALL, Node, nodes_of, scales_at
from calib.fitting.weighing import CORE, RATIO, Typed, Weighed, weigh
from calib.register.frame import checked
from calib.register.records import KnownUnit, UnknownUnit

if TYPE_CHECKING:
    import ibis
    import pandas as pd

DEFAULT_LEVEL = 0.9
SLIPS_MIXED = 4  # the likeliest slips of a unit, of which its estimate is mixed beside sound readings
LARGE = 20_000  # known units beyond which the fit goes over a table in passes


@dataclass(frozen=True)
class Multiplier:
    """What the known units teach: the multiplier, how it falls with size, its scatter, and the doubtful records.

    ``str()`` is a report for people; the methods give data frames. Two intervals are kept apart: the mean of a class
    (:meth:`classes`) and the rating of one unit (:meth:`estimate`).

    Attributes
    ----------
    rows : Facts
        The known units, one a (contributor, unit), sorted; of a large register a sample of them.
    counted : Counted
        How many known units made the fit.
    layout, sides, unmeasured, prior
        How the coefficients are laid out, the side regressions, and the prior that began it.
    nodes : tuple of Node
        Scales with their shares of the average and the posterior at each; the mode first.
    content_hash : str
        Hash of the records, the prior and the settings that made this fit.
    notes : tuple of str
        What was noted on the way, such as a record given twice.
    level : float
        Probability of the intervals where none is asked.
    iterations : tuple of Iteration
        How each iteration of the fit ended: what, rounds, most, converged.
    """

    rows: Facts = field(repr=False)
    counted: Counted = field(repr=False)
    layout: Layout = field(repr=False)
    sides: Sides = field(repr=False)
    unmeasured: Unmeasured = field(repr=False)
    prior: Prior = field(repr=False)
    nodes: tuple[Node, ...] = field(repr=False)
    content_hash: str
    notes: tuple[str, ...] = ()
    level: float = DEFAULT_LEVEL
    iterations: tuple[Iteration, ...] = field(default=(), repr=False)

    @property
    def converged(self) -> bool:
        """Whether every iteration of the fit came to rest; where not, its figures may still move."""
        return all(one.converged for one in self.iterations)

    @property
    def records(self) -> int:
        """How many known units made the fit."""
        return self.counted.records

    @property
    def simulated(self) -> bool:
        """Whether any known unit is simulated."""
        return self.counted.simulated

    def made_of(self) -> pd.DataFrame:
        """Which records, prior and settings made the fit: columns part and value.

        Hashes first (of a large register's, the records that are held), then each setting by name.
        """
        counts = {"fit": self.content_hash, "known units": self.records, "contributors": len(self.layout.contributors)}
        parts = {**counts, **origin(self.rows), **settings()}
        return tables.frame({"part": list(parts), "value": [str(value) for value in parts.values()]})

    @property
    def solutions(self) -> tuple[Solution, ...]:
        """The posterior at each node."""
        return tuple(node.solution for node in self.nodes)

    @cached_property
    def shares(self) -> np.ndarray:
        """Share of each node in the average, shape (g,)."""
        return np.array([node.share for node in self.nodes])

    @property
    def scatter(self) -> float:
        """Standard deviation of ln multiplier between units whose core is known and whose wire is not."""
        square = self.shares @ np.array([node.scales.noise**2 for node in self.nodes])
        return float(np.sqrt(square + self.unmeasured.wire))

    @cached_property
    def odds(self) -> np.ndarray:
        """Probability that each known unit is sound, then of each slip of doubts.NAMES, shape (n, s + 1)."""
        return np.einsum("g,gns->ns", self.shares, np.array([one.odds for one in self.solutions]))

    @same_digits
    def predictive(self, rows: Facts) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Mixture for the rating of each unit, in ln mA: shares (g,), means (g, n) and standard deviations (g, n).

        Of readings that are taken as sound; see :meth:`mixture`.
        """
        return self._predicted(rows, self.layout.design(rows, self.sides.complete(rows)[0]))

    def _predicted(self, rows: Facts, x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        back = rows.ln_v_over_r - rows.form
        means = np.array([x @ one.mean + back for one in self.solutions])
        spread = np.array([np.einsum("ij,ij->i", x @ one.covariance, x) for one in self.solutions])
        return self.shares, means, np.sqrt(spread + self._noise(rows))

    def _noise(self, rows: Facts) -> np.ndarray:
        """Variance of each unit about its line at each node, shape (g, n)."""
        own = np.array([unit_variance(rows, self.unmeasured, node.scales) for node in self.nodes])
        return own + drift_variance(rows)

    @cached_property
    def _averaged(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of the coefficients over the nodes."""
        means = np.array([one.mean for one in self.solutions])
        mean = self.shares @ means
        inside = np.einsum("g,gij->ij", self.shares, np.array([one.covariance for one in self.solutions]))
        return mean, inside + np.einsum("g,gi,gj->ij", self.shares, means - mean, means - mean)

    def weighed(self, rows: Facts, typed: Typed) -> Weighed:
        """How likely the readings of unknown units are sound, or hold a slip, by what the known units teach."""
        return weigh(rows, typed, self.sides, self.prior)

    @same_digits
    def mixture(self, found: Weighed) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Mixture over sound readings and slips for the rating of each unit, in ln mA: shares, means, sd, all (p, n).

        The parts of :meth:`predictive` by the odds of soundness, then one for each of the likeliest slips: the normal
        of the same mean and variance as the estimate with that slip undone.
        """
        rows = found.rows
        x = self.layout.design(rows, self.sides.complete(rows)[0])
        share, means, sd = self._predicted(rows, x)
        parts = [(share[:, None] * found.odds[:, 0], means, sd)]
        noise = self.shares @ self._noise(rows)
        mean, covariance = self._averaged
        slope = np.array([self._moved(rows, reading) @ mean[: len(MAIN)] for reading in np.eye(4)[:, None]])
        slope[RATIO] += 1
        for slips in np.argsort(-found.odds[:, 1:], axis=1, kind="stable")[:, :SLIPS_MIXED].T:
            step, step_sd = found.step(slips)
            one = x.copy()
            one[:, : len(MAIN)] -= self._moved(rows, step)
            if step[:, CORE].any():
                one[:, self.layout.classes] = self.layout.class_columns(found.undone(step).frame["size_class"])
            middle = one @ mean + rows.ln_v_over_r - step[:, RATIO] - rows.form
            variance = np.einsum("ij,ij->i", one @ covariance, one) + noise + np.sum((slope.T * step_sd) ** 2, axis=1)
            parts.append((found.odds[np.arange(len(rows)), slips + 1][None], middle[None], np.sqrt(variance)[None]))
        shares, means, deviations = (np.concatenate(each) for each in zip(*parts, strict=True))
        return shares / shares.sum(axis=0), means, deviations

    def _moved(self, rows: Facts, step: np.ndarray) -> np.ndarray:
        """What steps of ln V/R, V, core and wire add to the design's columns of main, shape (n, 6)."""
        ratio, volts, core, wire = step.T
        expected = self.sides.core.terms[2] * ratio + self.sides.core.terms[3] * volts
        w = self.sides.wire.terms
        moved = np.zeros((len(rows), len(MAIN)))
        moved[:, MAIN.index("core")] = np.where(rows.has_core, core, expected)
        moved[:, MAIN.index("v_over_r")], moved[:, MAIN.index("voltage")] = ratio, volts
        departure = wire - w[1] * core - w[3] * ratio - w[4] * volts
        moved[:, MAIN.index("wire")] = np.where(rows.has_wire, departure, 0.0)
        return moved

    @same_digits
    def mean_of(self, x: np.ndarray, level: float) -> np.ndarray:
        """Median, low and high of linear forms of the coefficients, shape (3, n): no scatter of single units."""
        means = np.array([x @ one.mean for one in self.solutions])
        spread = np.array([np.einsum("ij,ij->i", x @ one.covariance, x) for one in self.solutions])
        sd = np.sqrt(np.maximum(spread, 1e-18))
        tail = (1 - level) / 2
        return np.array([quantiles(self.shares, means, sd, at) for at in (0.5, tail, 1 - tail)])

    def classes(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """Multiplier by size class and supply, with confidence limits of the class's mean [mA per V/ohm]."""
        return tables.classes(self, level)

    def terms(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """Coefficients of the fit in ln multiplier: name, value, low, high."""
        tables.check_level(level)
        value, low, high = self.mean_of(np.eye(self.layout.width), level)
        return tables.frame({"name": list(self.layout.names), "value": value, "low": low, "high": high})

    def suspects(self) -> pd.DataFrame:
        """Known units that are doubtful, the most doubtful first, with the slip that would explain each."""
        return tables.suspects(self)

    def line(self, rectifier: str, filter: str, level: float, areas: np.ndarray) -> pd.DataFrame:
        """Multiplier over core area for one supply: mean with confidence band, and the band of single units."""
        return tables.line(self, rectifier, filter, level, areas)

    def points(self, rectifier: str, filter: str) -> pd.DataFrame:
        """The known units with a core, their multipliers brought to one supply; doubtful as in :meth:`suspects`."""
        return tables.points(self, rectifier, filter)

    def estimate(self, unknown: pd.DataFrame, level: float = DEFAULT_LEVEL, as_read: bool = False) -> pd.DataFrame:
        """Rated current of unknown units with the interval that holds each unit's own rating.

        Parameters
        ----------
        unknown : pandas.DataFrame
            As :func:`calib.read_unknown` gives it, or made by hand with the same columns; it is not changed.
        level : float
            Probability of the interval, above 0 and below 1.
        as_read : bool
            Whether every reading is taken as sound: no current is withheld then, and none is a mixture.

        Returns
        -------
        pandas.DataFrame
            One row a unit, in the same order; no_load_v [V rms, whole winding], v_over_r [V/ohm], multiplier and its
            limits [mA per V/ohm], rated_current_ma, low_ma, high_ma, floor_ma [mA], odds_of_demand [0 to 1], odds_sound
            [0 to 1]: that no slip is in its readings. The currents are the mixture over that and the slips. Below 0.8,
            flagged suspect-reading, likely_slip and repaired_ma, repaired_low_ma, repaired_high_ma [mA] tell what its
            repair would give; below 0.1, or where the median is no set's (1 mA to 10 A), the currents are withheld.
            unit_multiplier [mA per V/ohm] times v_over_r is rated_current_ma. The flag improbable marks readings that
            :func:`calib.improbabilities` has something to say of.

        Raises
        ------
        ValueError
            A level outside 0 to 1.
        InputError
            The frame would be refused as a file: with every fault, each naming its row as ``iloc`` counts.
        """
        return tables.estimates(self, checked(UnknownUnit, unknown), level, as_read)

    @same_digits
    def check(self, level: float = DEFAULT_LEVEL) -> Check:
        """Each known unit estimated from the others: how often its rating lay inside its interval."""
        tables.check_level(level)
        return leave_one_out(self, level)

    def comparison(self, level: float = DEFAULT_LEVEL) -> pd.DataFrame:
        """Units and whole contributors left out: this fit beside two rules of thumb on the same units.

        Columns left_out, method, folds, coverage, level, median_error, interval_score.
        """
        tables.check_level(level)
        return comparison(self, level, _fit_rows)

    @cached_property
    def regression(self) -> Any:
        """statsmodels' results of the conditional regression at the mode: whitened records, then the prior as rows.

        Its residuals, influence measures and summary are there for those who want them; the coefficients agree with
        the mode's to rounding.
        """
        return conditional.regression(self)

    def __str__(self) -> str:
        return report.summary(self)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Multiplier) and other.content_hash == self.content_hash

    def __hash__(self) -> int:
        return hash(self.content_hash)


def fit(known: pd.DataFrame) -> Multiplier:
    """Fit the multiplier to known units.

    Parameters
    ----------
    known : pandas.DataFrame
        As :func:`calib.read_known` gives it, or made by hand with the same columns; none is a valid number (the result
        is then the prior's). Not changed.

    Returns
    -------
    Multiplier
        Complete; it prints a summary.

    Raises
    ------
    InputError
        The frame would be refused as a file: with every fault, each naming its row as ``iloc`` counts.

    Notes
    -----
    ln(k m) is regressed on core, frequency, V/R, voltage and wire, with deviations by supply, evidence, size class and
    contributor under the design model's prior; each record is sound or holds one of the slips of doubts.py; the scales
    are averaged over. No chance is used: the same records give the same digits in any order. More than 20 000 records
    are fitted in passes over a table, see large.py.
    """
    known = checked(KnownUnit, known)
    if len(known) > LARGE:
        return Multiplier(**large.frame_parts(known))
    rows, notes = one_each(facts(known))
    return _fit_rows(rows, notes)


def fit_table(table: ibis.Table, sample_rows: int = large.SAMPLE_ROWS) -> Multiplier:
    """Fit the multiplier to a table of known units that stays where it is.

    Parameters
    ----------
    table : ibis.Table
        Known units with the contract's columns, blanks NULL, one row a (contributor, unit), on any engine that Ibis
        writes for.
    sample_rows : int
        About how many records are brought into memory, chosen by a hash of contributor and unit.

    Returns
    -------
    Multiplier
        As :func:`fit` gives it; its rows, suspects and check are those of the sample.

    Raises
    ------
    InputError
        Records that a file would be refused for: the first twenty named with every fault, the rest counted. What only
        each row by itself would show is not looked for: blanks round words, characters that cannot be printed, one
        record standing twice.
    CannotError
        More contributors than can be told apart.
    """
    return Multiplier(**large.table_parts(table, sample_rows))


@same_digits
def _fit_rows(rows: Facts, notes: tuple[str, ...] = ()) -> Multiplier:
    prior = load_prior()
    layout = Layout(tuple(sorted(set(rows.frame["contributor"]) - {""})))
    sides = fit_sides(rows, prior)
    main = slice(0, len(MAIN))
    first = Problem(rows, layout, sides, Unmeasured.of(prior.main.mean, np.zeros((6, 6)), sides), prior)
    begun = first.solve(scales_at(np.zeros(ALL), prior.main))
    unmeasured = Unmeasured.of(begun.mean[main], begun.covariance[main, main], sides)
    nodes, search = nodes_of(Problem(rows, layout, sides, unmeasured, prior), prior.main)
    iterations = (*sides.iterations, search, soundness([begun, *(node.solution for node in nodes)]))
    name = content_hash(rows)
    return Multiplier(
        *(rows, Counted.of(rows), layout, sides, unmeasured, prior, nodes, name),
        notes=(*notes, *unsettled(iterations)),
        iterations=iterations,
    )
