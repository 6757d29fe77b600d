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
from functools import cached_property
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS
from calib.fitting.features import CORE, LN_FORM, PAIRS, READINGS, V_OVER_R
from calib.fitting.gross_errors import LN_KEPT, SWAP_AT, PatternEffects, swaps
from calib.fitting.imputation import Imputation
from calib.fitting.mixture import log_normal, precision_pulled
from calib.fitting.model import GRADE_NAMES, Design, Unmeasured, VarianceComponents
from calib.fitting.outofcore.features import BESIDE, HELD, parts_of, pattern_of, whole_steps
from calib.fitting.prior import MAIN, MAKER_SD, Prior

if TYPE_CHECKING:
    import ibis
    import pandas as pd

EXACT = 2.0**53  # whole numbers up to here are exact in a double
LARGEST = 1000.0  # mean of a summed term at most: weights are below 200, squares of covariates in the mean below 5
FINEST = 2.0**-24
LEAST_LN = -700.0  # e to it is 1e-304, which adds nothing to odds
SUMS = ("sound", "noise_slope", "noise_information", "counts")


def terms_of(kind: int) -> tuple[str, ...]:
    """The columns of main that vary among the records of a kind; a departure is nothing where nothing tells of it."""
    known = dict(zip(BESIDE, pattern_of(kind)[CORE : len(READINGS)], strict=True))
    tells = {"wire": known["wire"] or known["primary"] or known["weight"], **{n: known[n] for n in MAIN[6:]}}
    return (*MAIN[1:5], *(name for name, there in tells.items() if there))


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

    @cached_property
    def parts(self) -> list[np.ndarray]:
        """Contributor, maker, era, grade, pair and size of each cell, and whether its records were found right."""
        return parts_of(self.cell)

    @property
    def step(self) -> float:
        """The step of the sums over all these records."""
        return step_for(int(self.count.sum()))

    def columns(self) -> np.ndarray:
        """Columns of the design that are 1 in each cell, shape (6, c): one of each block, or -1."""
        code, maker, era, grade, pair, size, _ = self.parts
        starts = self.design.starts
        return np.array(
            [
                starts["supply"] + pair,
                starts["evidence"] + grade,
                starts["era"] + era,
                np.where(size > 0, starts["class"] + size - 1, -1),
                np.where(maker < len(self.design.makers), starts["maker"] + maker, -1),
                np.where(code < len(self.design.contributors), starts["contributor"] + code, -1),
            ]
        )

    def at(
        self, mean: np.ndarray, scales: VarianceComponents, share: float, unmeasured: Unmeasured, imputation: Imputation
    ) -> pd.DataFrame:
        """What a pass takes of each cell, by the coefficients, the scales and the share of unsound: see summed."""
        import pandas as pd

        _, maker, _, grade, pair, _, kept = self.parts
        columns = self.columns()
        offset = mean[0] + np.where(columns >= 0, mean[columns], 0.0).sum(axis=0) - LN_FORM[pair]
        variance = scales.noise**2 + np.square(scales.grades)[grade]
        variance += np.where(maker < len(self.design.makers), 0.0, MAKER_SD**2)
        meters = np.empty(len(self.cell))
        for kind in np.unique(self.kind):
            here, (gain, blanks) = self.kind == kind, imputation.gain(pattern_of(int(kind)))
            variance[here] += np.sum(blanks * unmeasured.moment) + (0.0 if kind & 1 else scales.size_class**2)
            meters[here] = unmeasured.carried(gain[:, V_OVER_R])
        return pd.DataFrame(
            {
                "cell": self.cell,
                "kind": self.kind,
                "offset": offset,
                "variance": variance,
                "meters": meters,
                "swap": swaps()[pair],
                "kept": LN_KEPT * kept,
                "odds": np.log1p(-share) - np.log(share),
                "noise_variance": scales.noise**2,
                "steps": 1 / self.step,
                **{f"by {name}": mean[at] for at, name in enumerate(MAIN[1:], 1)},
            }
        )

    def classes(self) -> dict[tuple[str, str, str], int]:
        """Records of each (size class, rectifier, filter)."""
        *_, pair, size, _ = self.parts
        found: Counter[tuple[str, str, str]] = Counter()
        for one, place, count in zip(pair, size, self.count, strict=True):
            found[("", *SIZE_CLASS_LABELS)[place], *PAIRS[one]] += int(count)
        return dict(found)


def summed(rows: ibis.Table, cells: ibis.Table, kind: int, imputation: Imputation, prior: Prior) -> ibis.Table:
    """Sums of one pass over the records of one kind, in whole steps: the same expression for every pass.

    Parameters
    ----------
    rows : ibis.Table
        As :func:`prepared` gives it.
    cells : ibis.Table
        cell, kind; `offset` (what the intercept and the one-hot coefficients give and the ln of the form factor takes),
        `variance` (of a sound record, the meters' part aside), `meters` (how much of their variance counts), `swap`
        (what a swapped filter adds to the residual) and `kept` (what a person's word adds to the log odds of soundness)
        of each; and the same for all, `odds` (ln odds of soundness), `noise_variance`, the coefficient of each
        covariate (`by core` ...) and how many `steps` are 1, see step_for.
    kind : int
        Of which readings, see pattern_of.
    imputation, prior
        The side regressions, and the prior whose terms carry a slip through the covariates.

    Returns
    -------
    ibis.Table
        For each cell: `precision`, `pull` (precision times residual), both times each covariate (`precision
        core`, `pull core` ...) and precision times each two of them; `sound` (odds), and the slope and information of
        the noise.
    """
    rows = _settled(weighed(rows, cells, kind, imputation, prior))
    names = terms_of(kind)
    parts = {"precision": rows["precision"], "pull": rows["precision"] * rows["residual"]}
    for name in names:
        parts[f"precision {name}"] = rows["precision"] * rows[name]
        parts[f"pull {name}"] = rows["precision"] * rows["residual"] * rows[name]
    for one, other in combinations_with_replacement(names, 2):
        parts[f"{one} {other}"] = rows["precision"] * rows[one] * rows[other]
    noise = rows["noise_variance"] * rows["counts"] * rows["sound"] / rows["variance"]
    parts["sound"], parts["counts"] = rows["counts"] * rows["sound"], rows["counts"]
    parts["noise_slope"] = noise * (rows["residual"] * rows["residual"] / rows["variance"] - 1.0)
    parts["noise_information"] = noise * (2 * rows["noise_variance"] / rows["variance"])
    whole = {name: whole_steps(value, rows["steps"]).cast("float64") for name, value in parts.items()}
    return rows.group_by("cell").aggregate(**{name: value.sum() for name, value in whole.items()})


def weighed(rows: ibis.Table, cells: ibis.Table, kind: int, imputation: Imputation, prior: Prior) -> ibis.Table:
    """Each record of a kind with its residual, its odds of being `sound` and the `precision` with which it pulls.

    Everything is reckoned over the last error (the current off, cause unknown), whose likelihood is never nothing.
    """
    moved = PatternEffects.of(pattern_of(kind), imputation, prior)
    rows = rows.filter(rows["kind"] == kind)
    rows = rows.select("cell", **{name: rows[name] * step for name, step in HELD.items()})
    rows = rows.join(cells.filter(cells["kind"] == kind).drop("kind"), "cell")
    line = sum((rows[name] * rows[f"by {name}"] for name in terms_of(kind)), start=0.0)
    rows = rows.mutate(
        variance=rows["variance"] + rows["meters"] * rows["reading_variance"],
        residual=rows["yielded"] - rows["offset"] - line,
    )
    # What goes with the variance alone is reckoned once for all errors of one extra variance.
    rows = _settled(rows)
    extras, place = np.unique(moved.extra_variance, return_inverse=True)
    rows = rows.mutate(**{f"variance_{k}": rows["variance"] + float(extra) for k, extra in enumerate(extras)})
    rows = rows.mutate(**{f"ln_{k}": rows[f"variance_{k}"].ln() for k in range(len(extras))})
    rows = _settled(rows)

    def log_likelihood(at: int) -> Any:
        off = rows["residual"] - (rows["swap"] if at == SWAP_AT else float(moved.shift[at]))
        log = log_normal(off * off, rows[f"variance_{place[at]}"], rows[f"ln_{place[at]}"]) + float(moved.log[at])
        ratio, volts = rows["says_ratio"], rows["says_volts"]
        for value, by in ((ratio, moved.by_ratio), (volts, moved.by_volts), (ratio * ratio, moved.square)):
            log = log + value * float(by[at]) if by[at] else log
        return log

    sound, *slips, last = range(len(place))
    rows = _settled(rows.mutate(last=log_likelihood(last), broad=rows[f"variance_{place[last]}"]))
    rows = rows.mutate(
        likely=_exp(log_likelihood(sound) + rows["odds"] + rows["kept"] - rows["last"]),
        slipped=sum(_exp(log_likelihood(at) - rows["last"]) for at in slips),
    )
    rows = _settled(rows)
    rows = rows.mutate(total=rows["likely"] + rows["slipped"] + 1.0)
    rows = _settled(rows.mutate(sound=rows["likely"] / rows["total"]))
    pulled = precision_pulled(rows["sound"], rows["variance"], 1.0 / rows["total"], rows["broad"])
    return rows.mutate(precision=rows["counts"] * pulled)


def _exp(log: Any) -> Any:
    """The exponential; nothing smaller than doubles hold is asked for, which some engines refuse."""
    import ibis

    return ibis.greatest(log, LEAST_LN).exp()


def _settled(rows: ibis.Table) -> ibis.Table:
    """The same rows, their columns reckoned before what comes after.

    DuckDB reckons each expression once. Another engine may put it in the place of each mention, which grows from step
    to step, unless a step has a limit.
    """
    return rows if rows.get_backend().name == "duckdb" else rows.limit(2**62)


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
    counts : float
        How many records they count for.
    noise_slope, noise_information : numpy.ndarray, shape (2, 5)
        Slope and information of the log-likelihood in the ln of the noise by evidence grade: of the records with a
        core, and of those without.
    """

    precision: np.ndarray
    pull: np.ndarray
    sound: float
    noise_slope: np.ndarray
    noise_information: np.ndarray
    counts: float

    @classmethod
    def of(cls, sums: dict[int, pd.DataFrame], cells: Cells) -> Equations:
        """From the sums over each cell in steps, for each kind of record."""
        precision, pull = np.zeros((cells.design.width,) * 2), np.zeros(cells.design.width)
        rest = np.zeros((len(SUMS), 2, len(GRADE_NAMES)))
        columns = cells.columns()
        for kind, table in sums.items():
            place = np.searchsorted(cells.cell[cells.kind == kind], table["cell"].to_numpy())
            _add(precision, pull, table * cells.step, columns[:, cells.kind == kind][:, place], terms_of(kind))
            grade = cells.parts[3][cells.kind == kind][place]
            for k, name in enumerate(SUMS):
                rest[k, int(not kind & 1)] += _by_column(grade, table[name].to_numpy() * cells.step, len(GRADE_NAMES))
        upper = np.triu(precision)
        return cls(upper + np.triu(upper, 1).T, pull, float(rest[0].sum()), rest[1], rest[2], float(rest[3].sum()))


def _add(
    precision: np.ndarray, pull: np.ndarray, table: pd.DataFrame, columns: np.ndarray, names: tuple[str, ...]
) -> None:
    """Add the sums of one kind to the upper half of the precision, and to the pull."""
    for one, other in combinations_with_replacement(names, 2):
        precision[MAIN.index(one), MAIN.index(other)] += table[f"{one} {other}"].sum()
    alike = {"one": ("precision", "pull"), **{name: (f"precision {name}", f"pull {name}") for name in names}}
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
            precision += _by_column(both, table["precision"].to_numpy(), precision.size).reshape(precision.shape)


def _by_column(column: np.ndarray, values: np.ndarray, width: int) -> np.ndarray:
    """Sum of the values that belong to each column; -1 belongs to none."""
    return np.bincount(column[column >= 0], values[column >= 0], width)
