"""The predictive distribution: mixtures of normal distributions in ln mA, what a fit says of units by them, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr, ndtri

from calib.fitting.features import (
    CENTRE_V_OVER_R,
    CORE,
    PRIMARY,
    READINGS,
    V_OVER_R,
    VOLTAGE,
    WEIGHT,
    WIRE,
    Features,
    features_of,
    places,
    text,
)
from calib.fitting.gross_errors import WITHHELD_BELOW, Typed, Weighed, plausible, weigh
from calib.fitting.imputation import Completed, Imputation
from calib.fitting.mixture import Iteration, Posterior, same_digits
from calib.fitting.model import Design, Unmeasured, drift_variance, unit_variance
from calib.fitting.prior import MAIN, MAKER_SD, Prior
from calib.fitting.variance_components import QuadraturePoint
from calib.register.frame import checked, frame_of
from calib.register.records import UnknownUnit

if TYPE_CHECKING:
    import pandas as pd

    Readings = pd.DataFrame | UnknownUnit | Mapping[str, object]

DEFAULT_LEVEL = 0.9
SLIPS_MIXED = 4  # the likeliest slips of a unit, of which its estimate is mixed beside sound readings
NEWTON_ROUNDS, TOLERANCE = 120, 1e-10
BLOCK = 1024  # units at a time, so that the parts stay in the processor's cache


def quantiles(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, level: float) -> np.ndarray:
    """Quantile of each unit's mixture.

    Parameters
    ----------
    share : numpy.ndarray, shape (g,) or (g, n)
        Shares of the parts, adding to 1: the same for every unit, or each unit's own.
    mean, sd : numpy.ndarray, shape (g, n)
        Of each part.
    level : float
        Probability below the quantile, 0 to 1.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The quantiles, by Newton's method held inside a bracket; NaN where it does not come to rest.
    """
    blocks = [slice(at, at + BLOCK) for at in range(0, mean.shape[1], BLOCK)]
    own = share.ndim > 1
    parts = [_quantiles(share[:, block] if own else share, mean[:, block], sd[:, block], level) for block in blocks]
    return np.concatenate(parts) if parts else np.empty(0)


def _quantiles(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, level: float) -> np.ndarray:
    at = mean + ndtri(level) * sd
    low, high = at.min(axis=0), at.max(axis=0)
    middle = _summed(share, mean)
    x = np.clip(middle + ndtri(level) * np.sqrt(_summed(share, sd**2 + (mean - middle) ** 2)), low, high)
    inverse = 1 / sd
    weights = share / np.sqrt(2 * np.pi)
    last = before = high - low
    found, left = x.copy(), np.arange(len(x))
    for _ in range(NEWTON_ROUNDS):
        z = (x - mean) * inverse
        gap = _summed(share, ndtr(z)) - level
        high, low = np.where(gap > 0, x, high), np.where(gap <= 0, x, low)
        slope = _summed(weights, np.exp(-0.5 * z * z) * inverse)
        step = -gap / np.maximum(slope, 1e-300)
        # Between humps Newton's steps can run in a circle: one that is not half the one before last halves the bracket.
        good = (x + step >= low) & (x + step <= high) & (np.abs(step) <= before / 2)
        following = np.where(good, x + step, (low + high) / 2)
        before, last = last, np.abs(following - x)
        x = found[left] = following
        going = last >= TOLERANCE
        if not going.any():
            return found
        if 2 * going.sum() < len(left):  # the few that take long are gone on with alone
            left, x, low, high, before, last = (one[going] for one in (left, x, low, high, before, last))
            mean, inverse = mean[:, going], inverse[:, going]
            share, weights = (one[:, going] if one.ndim > 1 else one for one in (share, weights))
    found[left[last >= TOLERANCE]] = np.nan
    return found


def exceeds(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Probability that each unit's mixture lies above a value, shape (n,)."""
    return _summed(share, ndtr((mean - value) / sd))


def density(share: np.ndarray, mean: np.ndarray, sd: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Density of each unit's mixture at a value, or of one unit's (parts of shape (g, 1)) at many, shape (m,)."""
    z = (value - mean) / sd
    return _summed(share, np.exp(-0.5 * z * z) / sd) / np.sqrt(2 * np.pi)


def _summed(share: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """Sum over the parts, each by its share."""
    return share @ parts if share.ndim == 1 else np.einsum("gn,gn->n", np.broadcast_to(share, parts.shape), parts)


@dataclass(frozen=True, repr=False)
class RatedCurrent:
    """How the rated currents of units are distributed: for each a mixture of normal distributions of ln(current).

    Methods take and give numbers for each unit, shape (n,), in mA; a single value serves every unit.

    Attributes
    ----------
    share : numpy.ndarray, shape (g,) or (g, n)
        Shares of the parts, adding to 1: the same for every unit, or each unit's own.
    ln_mean, ln_sd : numpy.ndarray, shape (g, n)
        Mean and standard deviation of each part [ln mA].
    """

    share: np.ndarray
    ln_mean: np.ndarray
    ln_sd: np.ndarray

    def __len__(self) -> int:
        return self.ln_mean.shape[1]

    def __repr__(self) -> str:
        return f"<RatedCurrent of {len(self)} unit(s)>"

    def ppf(self, level: float) -> np.ndarray:
        """The current below which the rating lies with a probability [mA]."""
        return np.exp(self.ln_ppf(level))

    def ln_ppf(self, level: float) -> np.ndarray:
        """Its logarithm."""
        return quantiles(self.share, self.ln_mean, self.ln_sd, level)

    def median(self) -> np.ndarray:
        """The median [mA]."""
        return self.ppf(0.5)

    def mean(self) -> np.ndarray:
        """The mean [mA], which lies above the median."""
        return _summed(self.share, np.exp(self.ln_mean + self.ln_sd**2 / 2))

    def interval(self, level: float = DEFAULT_LEVEL) -> tuple[np.ndarray, np.ndarray]:
        """Low and high of the interval that holds the rating with a probability, as much below as above [mA]."""
        tail = (1 - check_level(level)) / 2
        return self.ppf(tail), self.ppf(1 - tail)

    def sf(self, current_ma: np.ndarray | float) -> np.ndarray:
        """Probability that the rating exceeds a current [mA]."""
        with np.errstate(divide="ignore"):
            return exceeds(self.share, self.ln_mean, self.ln_sd, np.log(np.asarray(current_ma, dtype=float)))

    def pdf(self, current_ma: np.ndarray | float) -> np.ndarray:
        """Density of the rating at a current above 0 [1/mA]."""
        current = np.asarray(current_ma, dtype=float)
        return density(self.share, self.ln_mean, self.ln_sd, np.log(current)) / current

    def beside(self, current_ma: float, ln_sd: float) -> RatedCurrent:
        """The same beside a reading of the current itself [mA], its sd that of ln: Bayes' rule, in closed form.

        Each part stays normal: its weight grows by how well it foretold the reading, its precision by the reading's.
        """
        if not (np.isfinite(current_ma) and current_ma > 0.0 and np.isfinite(ln_sd) and ln_sd > 0.0):
            raise ValueError(f"current {current_ma:g} mA and sd {ln_sd:g} of its ln are to be above 0")
        read, both = np.log(current_ma), self.ln_sd**2 + ln_sd**2
        told = -0.5 * ((read - self.ln_mean) ** 2 / both + np.log(both))
        share = self.share[:, None] if self.share.ndim == 1 else self.share
        weight = share * np.exp(told - np.max(told, axis=0))
        kept = ln_sd**2 / both
        mean = kept * self.ln_mean + (1.0 - kept) * read
        return RatedCurrent(weight / weight.sum(axis=0), mean, self.ln_sd * np.sqrt(kept))

    def limits(self, level: float) -> np.ndarray:
        """Median, low and high, shape (3, n) [mA]."""
        return np.array([self.median(), *self.interval(level)])


def check_level(level: float) -> float:
    """A probability above 0 and below 1; anything else is refused."""
    if not 0 < level < 1:
        raise ValueError(f"level is {level}: it is a probability, give one above 0 and below 1, such as 0.9")
    return level


@dataclass(frozen=True, eq=False)
class Fitted:
    """What a fit holds, and what it says of units by it; :class:`calib.Multiplier` is the face of it for people.

    Attributes
    ----------
    rows : Features
        The known units, one a (contributor, unit), sorted; of a large register a sample of them.
    records, simulated : int, bool
        How many known units made the fit, and whether any is simulated.
    class_counts : mapping
        How many of each (size class, rectifier, filter) that occurs.
    design, imputation, unmeasured, prior
        The columns of the design matrix, what stands in for readings that were not made, and the prior that began it.
    quadrature : tuple of QuadraturePoint
        Scales with their shares of the average and the posterior at each; the mode first.
    content_hash : str
        Hash of the records, the prior and the settings that made this fit.
    published : int
        How many published windings were learned from beside.
    notes : tuple of str
        What was noted on the way, such as a record given twice.
    level : float
        Probability of the intervals where none is asked.
    iterations : tuple of Iteration
        How each iteration of the fit ended: what, rounds, most, converged.
    """

    rows: Features = field(repr=False)
    records: int
    simulated: bool
    class_counts: Mapping[tuple[str, str, str], int] = field(repr=False)
    design: Design = field(repr=False)
    imputation: Imputation = field(repr=False)
    unmeasured: Unmeasured = field(repr=False)
    prior: Prior = field(repr=False)
    quadrature: tuple[QuadraturePoint, ...] = field(repr=False)
    content_hash: str
    published: int = 0
    notes: tuple[str, ...] = ()
    level: float = DEFAULT_LEVEL
    iterations: tuple[Iteration, ...] = field(default=(), repr=False)

    @property
    def converged(self) -> bool:
        """Whether every iteration of the fit came to rest; where not, its figures may still move."""
        return all(one.converged for one in self.iterations)

    @property
    def benches(self) -> int:
        """How many contributors the known units are of, published windings aside."""
        return len(set(self.design.contributors) - set(self.rows.frame["contributor"][~self.rows.own]))

    @property
    def posteriors(self) -> tuple[Posterior, ...]:
        """The posterior at each point of the quadrature."""
        return tuple(point.posterior for point in self.quadrature)

    @cached_property
    def shares(self) -> np.ndarray:
        """Share of each point in the average, shape (g,)."""
        return np.array([point.share for point in self.quadrature])

    @property
    def scatter(self) -> float:
        """Standard deviation of ln multiplier between units whose core is known and whose wire is not."""
        square = self.shares @ np.array([point.scales.noise**2 for point in self.quadrature])
        return float(np.sqrt(square + self.unmeasured.beside(self.imputation) + MAKER_SD**2))

    @cached_property
    def responsibilities(self) -> np.ndarray:
        """Probability that each known unit is sound, then of each gross error, shape (n, s + 1)."""
        return np.einsum("g,gns->ns", self.shares, np.array([one.responsibilities for one in self.posteriors]))

    def matrix(self, rows: Features, completed: Completed | None = None) -> np.ndarray:
        """Design matrix of units, blanks imputed, shape (n, p)."""
        return self.design.matrix(rows, (completed or self.imputation.complete(rows)).main)

    def linear(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of linear forms of the coefficients at each point, both (g, n)."""
        means = np.array([x @ one.mean for one in self.posteriors])
        return means, np.array([np.einsum("ij,ij->i", x @ one.covariance, x) for one in self.posteriors])

    @same_digits
    def mean_of(self, x: np.ndarray, level: float) -> np.ndarray:
        """Median, low and high of linear forms of the coefficients, shape (3, n): no scatter of single units."""
        means, spread = self.linear(x)
        sd = np.sqrt(np.maximum(spread, 1e-18))
        tail = (1 - level) / 2
        return np.array([quantiles(self.shares, means, sd, at) for at in (0.5, tail, 1 - tail)])

    @same_digits
    def predictive(
        self, rows: Features, x: np.ndarray | None = None, completed: Completed | None = None
    ) -> RatedCurrent:
        """The rating of each unit, its readings taken as sound, by their design matrix; see :meth:`mixture`."""
        completed = completed or self.imputation.complete(rows)
        x = self.matrix(rows, completed) if x is None else x
        means, spread = self.linear(x)
        back = ln_v_over_r(x) - rows.form
        return RatedCurrent(self.shares, means + back, np.sqrt(spread + self._noise(rows, completed)))

    def _noise(self, rows: Features, completed: Completed) -> np.ndarray:
        """Variance of each unit about its line at each point, shape (g, n)."""
        blanks = self.unmeasured.variance(rows, completed) + self.design.strange(rows)
        return np.array([unit_variance(rows, blanks, one.scales) for one in self.quadrature]) + drift_variance(rows)

    def with_one_like_it(self, rows: Features, x: np.ndarray, sd: float) -> RatedCurrent:
        """The rating of each unit if one more with the same readings were known, to an sd in ln I; its level as now.

        The variance v of the line at x falls to v s/(v + s), where s is the scatter of single units and of what is
        known: the normal posterior after one observation (Gelman et al., "Bayesian Data Analysis", section 2.5).
        """
        (means, spread), noise = self.linear(x), self._noise(rows, self.imputation.complete(rows))
        seen = noise + sd**2
        back = ln_v_over_r(x) - rows.form
        return RatedCurrent(self.shares, means + back, np.sqrt(spread * seen / (spread + seen) + noise))

    @cached_property
    def average(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of the coefficients over the quadrature."""
        means = np.array([one.mean for one in self.posteriors])
        mean = self.shares @ means
        inside = np.einsum("g,gij->ij", self.shares, np.array([one.covariance for one in self.posteriors]))
        return mean, inside + np.einsum("g,gi,gj->ij", self.shares, means - mean, means - mean)

    @same_digits
    def mixture(self, found: Weighed, x: np.ndarray, completed: Completed, sound: RatedCurrent) -> RatedCurrent:
        """The rating of each unit, its readings sound or holding a slip, by their design matrix.

        The parts of `sound`, as :meth:`predictive` gives it, by the odds of soundness, then one for each of the
        likeliest slips: the normal of the same mean and variance as the estimate with that slip undone.
        """
        rows = found.rows
        parts = [(sound.share[:, None] * found.odds[:, 0], sound.ln_mean, sound.ln_sd)]
        noise = self.shares @ self._noise(rows, completed)
        mean, covariance = self.average
        moves = [self.imputation.moved(rows, reading) for reading in np.eye(len(READINGS))]
        slope = np.array([one @ mean[: len(MAIN)] + one[:, MAIN.index("v_over_r")] for one in moves])
        for slips in np.argsort(-found.odds[:, 1:], axis=1, kind="stable")[:, :SLIPS_MIXED].T:
            step, step_sd = found.step(slips)
            one = x.copy()
            one[:, : len(MAIN)] -= self.imputation.moved(rows, step)
            if step[:, CORE].any():
                classes = self.design.block("class")
                one[:, classes] = self.design.matrix(found.undone(step), 0.0)[:, classes]
            middle = one @ mean + ln_v_over_r(one) - rows.form
            variance = np.einsum("ij,ij->i", one @ covariance, one) + noise + np.sum((slope.T * step_sd) ** 2, axis=1)
            parts.append((found.odds[np.arange(len(rows)), slips + 1][None], middle[None], np.sqrt(variance)[None]))
        shares, means, deviations = (np.concatenate(each) for each in zip(*parts, strict=True))
        return RatedCurrent(shares / shares.sum(axis=0), means, deviations)


def ln_v_over_r(x: np.ndarray) -> np.ndarray:
    """ln of V/R in V/ohm as the design matrix has it: read, or expected from the other readings."""
    return x[:, MAIN.index("v_over_r")] + float(np.log(CENTRE_V_OVER_R))


@dataclass(frozen=True)
class Prediction:
    """Unknown units as a fit sees them: each thing that their answer needs is reckoned once, here.

    Attributes
    ----------
    model : Fitted
        The fit.
    readings : pandas.DataFrame
        Checked.
    rows : Features
        Of the readings.
    as_read : bool
        Whether every reading is taken as sound.
    """

    model: Fitted
    readings: pd.DataFrame = field(repr=False)
    rows: Features
    as_read: bool = False

    @classmethod
    def of(cls, model: Fitted, unknown: Readings, as_read: bool = False) -> Prediction:
        """Of readings that are checked here: raises InputError with every fault."""
        readings = in_rows(unknown)
        if readings.attrs:  # what a file's reader noted, which every step would copy whole
            readings = readings.copy(deep=False)
            readings.attrs = {}
        readings = checked(UnknownUnit, readings)
        return cls(model, readings, features_of(readings), as_read)

    def made_of(self, readings: pd.DataFrame) -> Prediction:
        """The same of other readings, which were made of these and are as sound: they are not checked again."""
        return replace(self, readings=readings, rows=features_of(readings))

    @cached_property
    def completed(self) -> Completed:
        """Their readings, with what was not read expected."""
        return self.model.imputation.complete(self.rows)

    @cached_property
    def matrix(self) -> np.ndarray:
        """Their design matrix, shape (n, p)."""
        return self.model.matrix(self.rows, self.completed)

    @cached_property
    def weighed(self) -> Weighed:
        """How likely their readings are sound, or hold a slip."""
        return weigh(self.rows, Typed.of(self.readings), self.model.imputation)

    @cached_property
    def sound(self) -> RatedCurrent:
        """Their ratings, every reading taken as sound."""
        return self.model.predictive(self.rows, self.matrix, self.completed)

    @cached_property
    def mixed(self) -> RatedCurrent:
        """Their ratings, the mixture over sound readings and slips."""
        return self.model.mixture(self.weighed, self.matrix, self.completed, self.sound)

    @property
    def rated(self) -> RatedCurrent:
        """Their ratings, by what is asked."""
        return self.sound if self.as_read else self.mixed

    @cached_property
    def withheld(self) -> np.ndarray:
        """Whose currents are withheld, unless asked for as read, shape (n,)."""
        return (self.weighed.odds[:, 0] < WITHHELD_BELOW) | ~plausible(self.mixed.median())


def in_rows(unknown: Readings) -> pd.DataFrame:
    """Readings of unknown units as a frame: of one that is a record or its fields by name, a frame of one row."""
    if isinstance(unknown, Mapping):
        unknown = UnknownUnit.parse(unknown, "unknown unit")
    return frame_of(UnknownUnit, [unknown]) if isinstance(unknown, UnknownUnit) else unknown


def one_unit(model: Fitted, unknown: Readings, as_read: bool, instead: str = "") -> Prediction:
    """The prediction of a single unit; raises ValueError where there is not one row."""
    readings = in_rows(unknown)
    if len(readings) != 1:
        said = f"readings hold {len(readings)} rows: give one unit at a time"
        raise ValueError(f"{said}, or {instead}" if instead else said)
    return Prediction.of(model, readings, as_read)


# Readings in the order in which they are named; the voltage is in V/R, and is named where that is not.
NAMED = {V_OVER_R: "v_over_r", VOLTAGE: "volts", CORE: "core", WIRE: "gauge", PRIMARY: "primary", WEIGHT: "weight"}
# Columns that may be given and move nothing, and those that then count in their place.
GIVEN = (
    *("no_load_v", "excitation_v", "hv_v", "hv_resistance_ohm", "core_area_cm2", "tongue_mm", "awg"),
    *("wire_diameter_mm", "primary_resistance_ohm", "hv_half_1_ohm", "lamination", "maker", "contributor"),
)
SAME = 1e-9  # within this share the whole winding's resistance is the sum of its halves'


def predictors(asked: Prediction, readings_alone: bool = False) -> list[str]:
    """Which readings carried each estimate, joined by `+`; beside them what else did, unless they alone are asked."""
    seen = asked.rows.seen
    seen[:, VOLTAGE] &= ~seen[:, V_OVER_R]
    carried = {name: seen[:, reading] for reading, name in NAMED.items()}
    return _joined(carried if readings_alone else carried | _beside(asked))


def unused(asked: Prediction) -> list[str]:
    """Which columns were given of each unit and moved nothing, joined by `+`; each has its why in ``unused.toml``."""
    rows, beside = asked.rows, _beside(asked)
    given = {name: _given(asked, name) for name in GIVEN}
    sheets = text(asked.readings, "lamination")
    return _joined(
        {
            "no_load_v": given["no_load_v"] & given["excitation_v"] & given["hv_v"],
            "hv_resistance_ohm": given["hv_resistance_ohm"] & ~rows.has_ratio,
            "core_area_cm2": given["core_area_cm2"] & given["tongue_mm"],
            "awg": given["awg"] & given["wire_diameter_mm"],
            "primary_resistance_ohm": given["primary_resistance_ohm"] & ~rows.seen[:, PRIMARY],
            "hv_half_1_ohm": given["hv_half_1_ohm"] & ~beside["halves"],
            "lamination": given["lamination"] & ~beside["lamination"] & (sheets != "ei-scrapless"),
            "maker": given["maker"] & ~beside["maker"],
            "contributor": given["contributor"] & ~beside["bench"],
        }
    )


def _beside(asked: Prediction) -> dict[str, np.ndarray]:
    """What carried each estimate beside the readings.

    The shape of the sheets says how well a core tells the rest, which counts in how the readings are weighed; so do the
    halves, unless they are the resistance itself. Of maker and bench the known units must have taught something.
    """
    rows, design, typed = asked.rows, asked.model.design, Typed.of(asked.readings)
    weighed, told = not asked.as_read, np.any(rows.seen[:, [CORE, WIRE, WEIGHT]], axis=1)
    summed = np.abs(typed.hv_resistance_ohm - typed.halves_ohm) <= SAME * typed.halves_ohm
    return {
        "lamination": weighed & told & (rows.rings != typed.by_area),
        "halves": rows.has_ratio & np.isfinite(typed.halves_ohm) & (weighed | summed),
        "maker": places(design.makers, rows.frame["maker"]) >= 0,
        "era": _given(asked, "made_year"),
        "bench": places(design.contributors, rows.frame["contributor"]) >= 0,
    }


def _given(asked: Prediction, name: str) -> np.ndarray:
    """Which units have something in a column, shape (n,)."""
    column = asked.readings[name]
    return np.asarray(column.notna() & (column != ""), dtype=bool)


def _joined(marks: dict[str, np.ndarray]) -> list[str]:
    return [
        "+".join(name for name, one in zip(marks, each, strict=True) if one)
        for each in zip(*marks.values(), strict=True)
    ]
