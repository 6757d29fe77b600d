"""One pass over many records: each row's odds of soundness and its pull, summed into what the normal equations need.

Written as Ibis expressions, so that the pass runs where the table lives. What is summed are whole numbers of small
steps (fixed point), few enough that a double holds every sum exactly: sums of whole numbers are the same in any order,
so that the digits do not depend on cores or on the engine's plan. The engine's exp must run over to infinity and under
to 0, as IEEE 754 arithmetic does.

The odds are those of mixture.py without the spread of the coefficients, which is nothing beside the noise where records
are many.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS
from calib.fitting.features import LN_FORM, PAIRS, Features
from calib.fitting.gross_errors import READING_AT, SWAP_AT, error_effects, swaps
from calib.fitting.mixture import log_normal, precision_pulled
from calib.fitting.model import GRADE_NAMES, Design, Imputation, Unmeasured, VarianceComponents
from calib.fitting.outofcore.features import BARE, CORED, HELD, SIZES, WIRED, linear, whole_steps
from calib.fitting.prior import MAIN, Prior

if TYPE_CHECKING:
    import ibis
    import pandas as pd

EXACT = 2.0**53  # whole numbers up to here are exact in a double
LARGEST = 1000.0  # mean of a summed term at most: weights are below 200, squares of covariates in the mean below 5
FINEST = 2.0**-24
TERMS = {BARE: MAIN[1:5], CORED: MAIN[1:5], WIRED: MAIN[1:]}
SUMS = ("sound", "noise_slope", "noise_information")


def step_for(count: int) -> float:
    """The step of the fixed-point sums over so many records: a power of 2 with which no sum can lose a digit."""
    return max(FINEST, 2.0 ** np.ceil(np.log2(LARGEST * max(count, 1) / EXACT)))


@dataclass(frozen=True)
class Cells:
    """The cells that occur, each with one kind of record.

    Attributes
    ----------
    cell, kind, count : numpy.ndarray of int, shape (c,)
        Number, kind and records of each; sorted by kind, then by number.
    design : Design
        Its contributors are the codes; a code beyond them is a record without a contributor.
    """

    cell: np.ndarray
    kind: np.ndarray
    count: np.ndarray
    design: Design

    @property
    def parts(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Contributor, grade, pair and size of each cell."""
        rest, size = np.divmod(self.cell, SIZES)
        rest, pair = np.divmod(rest, len(PAIRS))
        return *np.divmod(rest, len(GRADE_NAMES)), pair, size

    def columns(self) -> np.ndarray:
        """Columns of the design that are 1 in each cell, shape (4, c): supply, evidence, class, contributor; or -1."""
        code, grade, pair, size = self.parts
        starts = self.design.starts
        return np.array(
            [
                starts["supply"] + pair,
                starts["evidence"] + grade,
                np.where(size > 0, starts["class"] + size - 1, -1),
                np.where(code < len(self.design.contributors), starts["contributor"] + code, -1),
            ]
        )

    def given(self, mean: np.ndarray, scales: VarianceComponents, unmeasured: Unmeasured) -> pd.DataFrame:
        """What a pass takes of each cell, by the coefficients and the scales: see summed."""
        import pandas as pd

        _, grade, pair, size = self.parts
        columns = self.columns()
        offset = np.where(columns >= 0, mean[columns], 0.0).sum(axis=0) - LN_FORM[pair]
        variance = scales.noise**2 + np.square(scales.grades)[grade]
        variance += np.where(self.kind == WIRED, 0.0, unmeasured.wire)
        variance += np.where(self.kind == BARE, unmeasured.core + scales.size_class**2, 0.0)
        return pd.DataFrame(
            {"cell": self.cell, "kind": self.kind, "offset": offset, "variance": variance, "swap": swaps()[pair]}
        )

    def classes(self) -> dict[tuple[str, str, str], int]:
        """Records of each (size class, rectifier, filter)."""
        _, _, pair, size = self.parts
        found: Counter[tuple[str, str, str]] = Counter()
        for one, place, count in zip(pair, size, self.count, strict=True):
            found[("", *SIZE_CLASS_LABELS)[place], *PAIRS[one]] += int(count)
        return dict(found)


@dataclass(frozen=True)
class ErrorMoves:
    """What each gross error would do to the records of one kind, sound in the first place, as error_effects has it.

    Attributes
    ----------
    shift, extra_variance : numpy.ndarray, shape (s + 1,)
        Added to the residual and to its variance; the swapped filter's shift is that of a supply without another.
    log : numpy.ndarray, shape (s + 1,)
        Log-likelihood of core and wire as expected, with the log of the error's share, over that of a sound record.
    core, wire : numpy.ndarray, shape (s + 1,)
        Gain of that for each unit of the core's and the wire's departure, of its square where the cause is unknown.
    """

    shift: np.ndarray
    extra_variance: np.ndarray
    log: np.ndarray
    core: np.ndarray
    wire: np.ndarray

    @classmethod
    def of(cls, kind: int, imputation: Imputation, prior: Prior) -> ErrorMoves:
        """From three records of the kind: as expected, the core off by one, the wire off by one."""
        import pandas as pd

        x = np.tile([1.0, 0.0, 0.0, 0.0, 0.0], (3, 1))
        x[:, 1] = imputation.core.terms[0] + np.array([0.0, 1.0, 0.0]) if kind >= CORED else np.nan
        wire = x @ imputation.wire.terms + np.array([0.0, 0.0, 1.0]) if kind == WIRED else np.full(3, np.nan)
        rows = Features(pd.DataFrame(), x, wire, np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3, dtype=int))
        found = error_effects(rows, imputation, prior)
        log = found.log_side - found.log_side[:, :1]
        return cls(found.shift[0], found.extra_variance[0], log[0], log[1] - log[0], log[2] - log[0])


@dataclass(frozen=True)
class Given:
    """What a pass takes as given.

    Attributes
    ----------
    terms : numpy.ndarray
        Coefficients of main.
    share : float
        Share of unsound records.
    noise : float
        Standard deviation of the noise.
    step : float
        Step of the sums, see step_for.
    imputation, prior
        The side regressions, and the prior whose terms carry a slip through the covariates.
    """

    terms: np.ndarray
    share: float
    noise: float
    step: float
    imputation: Imputation
    prior: Prior


def summed(rows: ibis.Table, cells: ibis.Table, kind: int, given: Given) -> ibis.Table:
    """Sums of one pass over the records of one kind, in whole steps.

    Parameters
    ----------
    rows : ibis.Table
        As :func:`prepared` gives it.
    cells : ibis.Table
        cell, kind; `offset` (what the one-hot coefficients give and the ln of the form factor takes), `variance` (of a
        sound record, the meters' part aside) and `swap` (what a swapped filter adds to the residual) of each.
    kind : int
        BARE, CORED or WIRED.
    given : Given
        Coefficients and shares.

    Returns
    -------
    ibis.Table
        For each cell: `weight`, `pull` (weight times residual), both times each covariate (`weight core`,
        `pull core` ...) and weight times each two of them; `sound` (odds), and the slope and information of the noise.
    """
    rows = weighed(rows, cells, kind, given)
    names = TERMS[kind]
    parts = {"weight": rows["weight"], "pull": rows["weight"] * rows["residual"]}
    for name in names:
        parts[f"weight {name}"] = rows["weight"] * rows[name]
        parts[f"pull {name}"] = rows["weight"] * rows["residual"] * rows[name]
    for one, other in combinations_with_replacement(names, 2):
        parts[f"{one} {other}"] = rows["weight"] * rows[one] * rows[other]
    noise = given.noise**2 * rows["sound"] / rows["variance"]
    parts["sound"] = rows["sound"]
    parts["noise_slope"] = noise * (rows["residual"] * rows["residual"] / rows["variance"] - 1.0)
    parts["noise_information"] = noise * (2 * given.noise**2 / rows["variance"])
    whole = {name: whole_steps(value, given.step).cast("float64") for name, value in parts.items()}
    return rows.group_by("cell").aggregate(**{name: value.sum() for name, value in whole.items()})


def weighed(rows: ibis.Table, cells: ibis.Table, kind: int, given: Given) -> ibis.Table:
    """Each record of a kind with its residual, its odds of being `sound` and the `weight` with which it pulls.

    Everything is reckoned over the last error (the current off, cause unknown), whose likelihood is never nothing.
    """
    moved = ErrorMoves.of(kind, given.imputation, given.prior)
    rows = rows.filter(rows["kind"] == kind)
    rows = rows.select("cell", **{name: rows[name] * step for name, step in HELD.items()})
    rows = rows.join(cells.filter(cells["kind"] == kind).drop("kind"), "cell")
    terms = given.terms[: 1 + len(TERMS[kind])]
    rows = rows.mutate(
        variance=rows["variance"] + rows["reading_variance"],
        residual=rows["yielded"] - rows["offset"] - linear(terms, rows, TERMS[kind]),
    )
    # What goes with the variance alone is reckoned once for all errors of one extra variance.
    extras, place = np.unique(moved.extra_variance, return_inverse=True)
    rows = rows.mutate(**{f"variance_{k}": rows["variance"] + float(extra) for k, extra in enumerate(extras)})
    rows = rows.mutate(**{f"ln_{k}": rows[f"variance_{k}"].ln() for k in range(len(extras))})

    def log_likelihood(at: int) -> Any:
        off = rows["residual"] - (rows["swap"] if at == SWAP_AT else float(moved.shift[at]))
        log = log_normal(off * off, rows[f"variance_{place[at]}"], rows[f"ln_{place[at]}"]) + float(moved.log[at])
        for name, gain in (("core_off", moved.core[at]), ("wire", moved.wire[at])):
            if gain:
                log = log + (rows[name] * rows[name] if at == READING_AT else rows[name]) * float(gain)
        return log

    sound, *slips, last = range(len(place))
    rows = rows.mutate(last=log_likelihood(last), broad=rows[f"variance_{place[last]}"])
    odds = float(np.log1p(-given.share) - np.log(given.share))
    rows = rows.mutate(
        likely=(log_likelihood(sound) + odds - rows["last"]).exp(),
        slipped=sum((log_likelihood(at) - rows["last"]).exp() for at in slips),
    )
    rows = rows.mutate(total=rows["likely"] + rows["slipped"] + 1.0)
    rows = rows.mutate(sound=rows["likely"] / rows["total"])
    return rows.mutate(weight=precision_pulled(rows["sound"], rows["variance"], 1.0 / rows["total"], rows["broad"]))


@dataclass(frozen=True)
class Equations:
    """What the records say of the coefficients, and of the scales.

    Attributes
    ----------
    precision : numpy.ndarray, shape (p, p)
        X' W X.
    pull : numpy.ndarray, shape (p,)
        X' W times the residuals.
    sound : float
        Sum of the odds of soundness.
    noise_slope, noise_information : numpy.ndarray, shape (2, 5)
        Slope and information of the log-likelihood in the ln of the noise by evidence grade: of the records with a
        core, and of those without.
    """

    precision: np.ndarray
    pull: np.ndarray
    sound: float
    noise_slope: np.ndarray
    noise_information: np.ndarray

    @classmethod
    def of(cls, sums: dict[int, pd.DataFrame], cells: Cells, step: float) -> Equations:
        """From the sums over each cell in steps, for each kind of record."""
        precision, pull = np.zeros((cells.design.width,) * 2), np.zeros(cells.design.width)
        rest = np.zeros((len(SUMS), 2, len(GRADE_NAMES)))
        columns = cells.columns()
        for kind, table in sums.items():
            place = np.searchsorted(cells.cell[cells.kind == kind], table["cell"].to_numpy())
            _add(precision, pull, table * step, columns[:, cells.kind == kind][:, place], TERMS[kind])
            grade = cells.parts[1][cells.kind == kind][place]
            for k, name in enumerate(SUMS):
                rest[k, int(kind == BARE)] += _by_column(grade, table[name].to_numpy() * step, len(GRADE_NAMES))
        upper = np.triu(precision)
        return cls(upper + np.triu(upper, 1).T, pull, float(rest[0].sum()), rest[1], rest[2])


def _add(
    precision: np.ndarray, pull: np.ndarray, table: pd.DataFrame, columns: np.ndarray, names: tuple[str, ...]
) -> None:
    """Add the sums of one kind to the upper half of the precision, and to the pull."""
    for one, other in combinations_with_replacement(names, 2):
        precision[MAIN.index(one), MAIN.index(other)] += table[f"{one} {other}"].sum()
    alike = {"one": ("weight", "pull"), **{name: (f"weight {name}", f"pull {name}") for name in names}}
    for name, (weight, drawn) in alike.items():
        row = MAIN.index(name)
        pull[row] += table[drawn].sum()
        precision[0, row] += table[weight].sum()
        for column in columns:
            precision[row] += _by_column(column, table[weight].to_numpy(), len(pull))
    for place, column in enumerate(columns):
        pull += _by_column(column, table["pull"].to_numpy(), len(pull))
        for other in columns[place:]:
            both = np.where((column >= 0) & (other >= 0), column * len(pull) + other, -1)
            precision += _by_column(both, table["weight"].to_numpy(), precision.size).reshape(precision.shape)


def _by_column(column: np.ndarray, values: np.ndarray, width: int) -> np.ndarray:
    """Sum of the values that belong to each column; -1 belongs to none."""
    return np.bincount(column[column >= 0], values[column >= 0], width)
