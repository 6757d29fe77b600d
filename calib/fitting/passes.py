"""One pass over many records: each row's odds of soundness and its pull, summed into what the normal equations need.

Written as Ibis expressions, so that the pass runs where the table lives. What is summed are whole numbers of small
steps (fixed point), few enough that a double holds every sum exactly: sums of whole numbers are the same in any order,
so that the digits do not depend on cores or on the engine's plan. The engine's exp must run over to infinity and under
to 0, as IEEE 754 arithmetic does.

The odds are those of mixture.py without the spread of the coefficients, which is nothing beside the noise where records
are many.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.fitting.cells import BARE, CORED, WIRED, cell_of
from calib.fitting.chains import Sides
from calib.fitting.doubts import NAMES, READING_NAME, SWAP_NAME, effects
from calib.fitting.prior import MAIN, Prior
from calib.fitting.rows import Facts

if TYPE_CHECKING:
    import ibis

EXACT = 2.0**53  # whole numbers up to here are exact in a double
LARGEST = 1000.0  # mean of a summed term at most: weights are below 200, squares of covariates in the mean below 5
FINEST = 2.0**-24
# What a pass reads of each record, and the step in which it is held, so that every engine holds the same.
FINE, FINER = 2.0**-20, 2.0**-30
HELD = dict.fromkeys(("core", "frequency", "v_over_r", "voltage", "wire", "yielded", "core_off"), FINE)
HELD |= {"reading_variance": FINER}
TERMS = {BARE: MAIN[1:5], CORED: MAIN[1:5], WIRED: MAIN[1:]}
SWAP, READING = 1 + NAMES.index(SWAP_NAME), 1 + NAMES.index(READING_NAME)
SUMS = ("sound", "noise_slope", "noise_information")


def step_for(count: int) -> float:
    """The step of the fixed-point sums over so many records: a power of 2 with which no sum can lose a digit."""
    return max(FINEST, 2.0 ** np.ceil(np.log2(LARGEST * max(count, 1) / EXACT)))


@dataclass(frozen=True)
class Movements:
    """What each slip would do to the records of one kind, sound in the first place, as doubts.effects has it.

    Attributes
    ----------
    shift, extra_variance : numpy.ndarray, shape (s + 1,)
        Added to the residual and to its variance; the swapped filter's shift is that of a supply without another.
    log : numpy.ndarray, shape (s + 1,)
        Log-likelihood of core and wire as expected, with the log of the slip's share, over that of a sound record.
    core, wire : numpy.ndarray, shape (s + 1,)
        Gain of that for each unit of the core's and the wire's departure, of its square where the cause is unknown.
    """

    shift: np.ndarray
    extra_variance: np.ndarray
    log: np.ndarray
    core: np.ndarray
    wire: np.ndarray

    @classmethod
    def of(cls, kind: int, sides: Sides, prior: Prior) -> Movements:
        """From three records of the kind: as expected, the core off by one, the wire off by one."""
        import pandas as pd

        x = np.tile([1.0, 0.0, 0.0, 0.0, 0.0], (3, 1))
        x[:, 1] = sides.core.terms[0] + np.array([0.0, 1.0, 0.0]) if kind >= CORED else np.nan
        wire = x @ sides.wire.terms + np.array([0.0, 0.0, 1.0]) if kind == WIRED else np.full(3, np.nan)
        rows = Facts(pd.DataFrame(), x, wire, np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3, dtype=int))
        found = effects(rows, sides, prior)
        log = found.log_side - found.log_side[:, :1]
        return cls(found.shift[0], found.extra_variance[0], log[0], log[1] - log[0], log[2] - log[0])


def prepared(facts: ibis.Table, codes: ibis.Table, sides: Sides) -> ibis.Table:
    """What every pass reads of each record, in few and short columns.

    Parameters
    ----------
    facts : ibis.Table
        As :func:`calib.fitting.facts_expression.facts_expression` gives it.
    codes : ibis.Table
        contributor, and its place as `code`.
    sides : Sides
        The side regressions.

    Returns
    -------
    ibis.Table
        cell (contributor, evidence, supply and size class in one number: see cells.py; NULL for a record that has no
        place), kind, the covariates of main
        with blanks filled by expectation, yielded, reading_variance, and core_off (departure of the core, 0 without),
        in the steps of HELD.
    """
    import ibis

    rows = facts.join(codes, "contributor")
    cell = cell_of(rows["code"], rows["grade"], rows["pair"], rows["size"]).cast("int32")
    kind = ibis.cases((rows["core"].isnull(), BARE), (rows["wire"].isnull(), CORED), else_=WIRED)
    core, wire = sides.core, sides.wire
    rows = rows.select(
        "frequency",
        "v_over_r",
        "voltage",
        "wire",
        "yielded",
        "reading_variance",
        kind=kind.cast("int8"),
        cell=ibis.ifelse((rows["grade"] >= 0) & (rows["pair"] >= 0), cell, ibis.null("int32")),
        measured=rows["core"],
        expected=_linear(core.terms, rows, MAIN[2:5]),
    )
    rows = rows.mutate(core=ibis.coalesce(rows["measured"], rows["expected"]))
    rows = rows.mutate(
        core_off=ibis.coalesce(rows["measured"] - rows["expected"], 0.0),
        wire_off=ibis.ifelse(rows["kind"] == WIRED, rows["wire"] - _linear(wire.terms, rows, MAIN[1:5]), 0.0),
    )
    values = {**{name: rows[name] for name in HELD}, "wire": rows["wire_off"]}
    held = {name: _whole(values[name], step).cast("int32") for name, step in HELD.items()}
    return rows.select("cell", "kind", **held)


def _whole(value: Any, step: float) -> Any:
    """The nearest whole number of steps."""
    return (value * (1 / step) + 0.5).floor()


def _linear(terms: np.ndarray, rows: ibis.Table, names: tuple[str, ...]) -> Any:
    return sum((rows[name] * float(term) for name, term in zip(names, terms[1:], strict=True)), start=float(terms[0]))


@dataclass(frozen=True)
class Judge:
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
    sides, prior
        The side regressions, and the prior whose terms carry a slip through the covariates.
    """

    terms: np.ndarray
    share: float
    noise: float
    step: float
    sides: Sides
    prior: Prior


def summed(rows: ibis.Table, cells: ibis.Table, kind: int, judge: Judge) -> ibis.Table:
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
    judge : Judge
        Coefficients and shares.

    Returns
    -------
    ibis.Table
        For each cell: `weight`, `pull` (weight times residual), both times each covariate (`weight core`,
        `pull core` ...) and weight times each two of them; `sound` (odds), and the slope and information of the noise.
    """
    rows = weighed(rows, cells, kind, judge)
    names = TERMS[kind]
    parts = {"weight": rows["weight"], "pull": rows["weight"] * rows["residual"]}
    for name in names:
        parts[f"weight {name}"] = rows["weight"] * rows[name]
        parts[f"pull {name}"] = rows["weight"] * rows["residual"] * rows[name]
    for one, other in combinations_with_replacement(names, 2):
        parts[f"{one} {other}"] = rows["weight"] * rows[one] * rows[other]
    noise = judge.noise**2 * rows["sound"] / rows["variance"]
    parts["sound"] = rows["sound"]
    parts["noise_slope"] = noise * (rows["residual"] * rows["residual"] / rows["variance"] - 1.0)
    parts["noise_information"] = noise * (2 * judge.noise**2 / rows["variance"])
    whole = {name: _whole(value, judge.step).cast("float64") for name, value in parts.items()}
    return rows.group_by("cell").aggregate(**{name: value.sum() for name, value in whole.items()})


def weighed(rows: ibis.Table, cells: ibis.Table, kind: int, judge: Judge) -> ibis.Table:
    """Each record of a kind with its residual, its odds of being `sound` and the `weight` with which it pulls.

    Everything is reckoned over the last slip (the current off, cause unknown), whose likelihood is never nothing.
    """
    moved = Movements.of(kind, judge.sides, judge.prior)
    rows = rows.filter(rows["kind"] == kind)
    rows = rows.select("cell", **{name: rows[name] * step for name, step in HELD.items()})
    rows = rows.join(cells.filter(cells["kind"] == kind).drop("kind"), "cell")
    terms = judge.terms[: 1 + len(TERMS[kind])]
    rows = rows.mutate(
        variance=rows["variance"] + rows["reading_variance"],
        residual=rows["yielded"] - rows["offset"] - _linear(terms, rows, TERMS[kind]),
    )
    rows = rows.mutate(broad=rows["variance"] + float(moved.extra_variance[-1]))
    last = _misfit(rows["residual"], rows["broad"]) - float(moved.log[-1])
    extras = [float(extra) for extra in np.unique(moved.extra_variance)]
    rows = rows.mutate(last=last, **{f"extra_{k}": rows["variance"] + extra for k, extra in enumerate(extras)})
    # What goes with the variance alone is reckoned once for all slips of one extra variance.
    rows = rows.mutate(
        **{f"over_{k}": 0.5 / rows[f"extra_{k}"] for k in range(len(extras))},
        **{f"base_{k}": rows["last"] - rows[f"extra_{k}"].ln() * 0.5 for k in range(len(extras))},
    )
    place = np.searchsorted(extras, moved.extra_variance)
    rows = rows.mutate(
        likely=(_gain(rows, place[0], 0.0) + float(np.log1p(-judge.share) - np.log(judge.share))).exp(),
        slipped=sum(_log_slip(rows, moved, at, int(place[at])).exp() for at in range(1, len(place) - 1)),
    )
    rows = rows.mutate(total=rows["likely"] + rows["slipped"] + 1.0)
    rows = rows.mutate(sound=rows["likely"] / rows["total"])
    return rows.mutate(weight=rows["sound"] / rows["variance"] + 1.0 / (rows["total"] * rows["broad"]))


def _misfit(residual: Any, variance: Any) -> Any:
    return residual * residual * 0.5 / variance + variance.ln() * 0.5


def _gain(rows: ibis.Table, place: int, shift: Any) -> Any:
    """Log-likelihood of the residual where it is off by a shift."""
    off = rows["residual"] - shift
    return rows[f"base_{place}"] - off * off * rows[f"over_{place}"]


def _log_slip(rows: ibis.Table, moved: Movements, at: int, place: int) -> Any:
    """Log-likelihood of one slip."""
    shift = rows["swap"] if at == SWAP else float(moved.shift[at])
    log = _gain(rows, place, shift) + float(moved.log[at])
    for name, gain in (("core_off", moved.core[at]), ("wire", moved.wire[at])):
        if gain:
            log = log + (rows[name] * rows[name] if at == READING else rows[name]) * float(gain)
    return log
