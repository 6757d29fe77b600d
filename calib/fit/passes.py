"""One pass over many records: each row's odds of soundness and its pull, summed by what the normal equations tell apart.

Written as Ibis expressions, so that the pass runs where the table lives. What is summed are whole numbers of small steps
(fixed point): their sums are exact in any order, so that the digits do not depend on cores or on the engine's plan. The
engine's exp must run over to infinity and under to 0, as IEEE 754 arithmetic does.

The odds are those of mixture.py without the spread of the coefficients, which is nothing beside the noise where records
are many.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.fit.cells import BARE, CORED, WIRED, cell_of
from calib.fit.chains import Sides
from calib.fit.doubts import LOG_SHARES, NAMES, READING_NAME, SLIPS, SWAP_NAME, UNKNOWN_SD
from calib.fit.prior import MAIN, Prior

if TYPE_CHECKING:
    import ibis

STEP = 2.0**-20  # of the sums; 2**63 of them hold the sums of 1e10 records
TERMS = {BARE: MAIN[1:5], CORED: MAIN[1:5], WIRED: MAIN[1:]}
SUMS = ("sound", "noise_slope", "noise_information")


@dataclass(frozen=True)
class Slope:
    """How ln(V/R) and ln V of a record move its residual, and what a slip of them costs against core and wire.

    Attributes
    ----------
    ratio, volts : float
        Change of the residual for a change of ln(V/R) and of ln V.
    unknown : float
        Change of the residual for an unexplained change of ln(V/R).
    sides : tuple
        For each side regression that the record has: slope on ln(V/R), slope on ln V, scatter.
    """

    ratio: float
    volts: float
    unknown: float
    sides: tuple[tuple[float, float, float], ...]

    @classmethod
    def of(cls, kind: int, sides: Sides, prior: Prior) -> Slope:
        """Of records of one kind, as doubts.effects has it."""
        term = dict(zip(MAIN, prior.main.mean, strict=True))
        core, wire = sides.core.terms[2:4], sides.wire.terms[3:5]
        through = term["wire"] * wire if kind == WIRED else np.zeros(2)
        unmeasured = term["core"] * core if kind == BARE else np.zeros(2)
        ratio, volts = np.array([1 + term["v_over_r"], term["voltage"]]) - through + unmeasured
        known = [(core, sides.core.scatter), (wire, sides.wire.scatter)][:kind]
        return cls(
            -float(ratio),
            -float(volts),
            -float(1 + term["v_over_r"] - through[0]),
            tuple((float(a), float(b), scatter) for (a, b), scatter in known),
        )

    def shift(self, v_over_r: float, volts: float, current: float) -> float:
        """What a slip adds to the residual."""
        return current + self.ratio * v_over_r + self.volts * volts

    def cost(self, v_over_r: float, volts: float) -> float:
        """Half the squared movement of core and wire against what V/R and V say, in their scatters."""
        return 0.5 * sum(((a * v_over_r + b * volts) / scatter) ** 2 for a, b, scatter in self.sides)

    @property
    def widening(self) -> float:
        """Log of the factor by which an unexplained slip widens the scatter of core and wire."""
        return float(sum(np.log(np.hypot(scatter, a * UNKNOWN_SD) / scatter) for a, _, scatter in self.sides))


def prepared(facts: ibis.Table, codes: ibis.Table, sides: Sides) -> ibis.Table:
    """What every pass reads of each record, in few and short columns.

    Parameters
    ----------
    facts : ibis.Table
        As :func:`calib.fit.facts_expression.facts_expression` gives it.
    codes : ibis.Table
        contributor, and its place as `code`.
    sides : Sides
        The side regressions.

    Returns
    -------
    ibis.Table
        cell (contributor, evidence, supply and size class in one number: see cells.py), kind, the covariates of main
        with blanks filled by expectation, yielded, reading_variance; side_ratio and side_volts (what a slip of ln(V/R)
        and of ln V gains by explaining core and wire, for each unit of the slip) and side_square (what an unexplained
        slip gains).
    """
    import ibis

    rows = facts.join(codes, "contributor")
    size = rows["size"]
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
        cell=cell_of(rows["code"], rows["grade"], rows["pair"], size).cast("int32"),
        measured=rows["core"],
        expected=_linear(core.terms, rows, MAIN[2:5]),
    )
    rows = rows.mutate(core=ibis.coalesce(rows["measured"], rows["expected"]))
    rows = rows.mutate(
        core_off=ibis.coalesce(rows["measured"] - rows["expected"], 0.0),
        wire_off=ibis.ifelse(rows["kind"] == WIRED, rows["wire"] - _linear(wire.terms, rows, MAIN[1:5]), 0.0),
    )
    off = (rows["core_off"], rows["wire_off"])
    each = list(zip(off, (core.terms[2:4], wire.terms[3:5]), (core.scatter, wire.scatter), strict=True))
    floats = {
        **{name: rows[name] for name in ("core", "frequency", "v_over_r", "voltage")},
        "wire": rows["wire_off"],
        "yielded": rows["yielded"],
        "reading_variance": rows["reading_variance"],
        "side_ratio": sum(part * float(-terms[0] / scatter**2) for part, terms, scatter in each),
        "side_volts": sum(part * float(-terms[1] / scatter**2) for part, terms, scatter in each),
        "side_square": sum(part * part * _gained(terms[0], scatter) for part, terms, scatter in each),
    }
    return rows.select("cell", "kind", **{name: value.cast("float32") for name, value in floats.items()})


def _gained(slope: float, scatter: float) -> float:
    return float(0.5 / scatter**2 - 0.5 / np.hypot(scatter, slope * UNKNOWN_SD) ** 2)


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
    sides, prior
        The side regressions, and the prior whose terms carry a slip through the covariates.
    """

    terms: np.ndarray
    share: float
    noise: float
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
    whole = {name: (value * (1 / STEP)).round().cast("int64").sum() for name, value in parts.items()}
    return rows.group_by("cell").aggregate(**whole)


def weighed(rows: ibis.Table, cells: ibis.Table, kind: int, judge: Judge) -> ibis.Table:
    """Each record of a kind with its residual, its odds of being `sound` and the `weight` with which it pulls.

    Everything is reckoned over the last slip (the current off, cause unknown), whose likelihood is never nothing.
    """
    slope = Slope.of(kind, judge.sides, judge.prior)
    rows = rows.filter(rows["kind"] == kind).join(cells.filter(cells["kind"] == kind).drop("kind"), "cell")
    rows = rows.mutate(
        variance=rows["variance"] + rows["reading_variance"],
        residual=rows["yielded"] - rows["offset"] - _linear(judge.terms[: 1 + len(TERMS[kind])], rows, TERMS[kind]),
    )
    rows = rows.mutate(
        pull=rows["residual"] / rows["variance"],
        square=rows["residual"] * rows["residual"] * 0.5,
        broad=rows["variance"] + UNKNOWN_SD**2,
    )
    rows = rows.mutate(
        log_broad=rows["square"] / rows["broad"] + rows["broad"].ln() * 0.5,
        log_sound=rows["square"] / rows["variance"] + rows["variance"].ln() * 0.5,
    )
    last = LOG_SHARES[-1] + np.log(judge.share)
    rows = rows.mutate(base=rows["log_broad"] - rows["log_sound"] - float(last))
    rows = rows.mutate(
        likely=(rows["base"] + float(np.log1p(-judge.share))).exp(),
        slipped=_slipped(rows, slope, float(np.log(judge.share))) + _unexplained(rows, slope),
    )
    rows = rows.mutate(total=rows["likely"] + rows["slipped"] + 1.0)
    rows = rows.mutate(sound=rows["likely"] / rows["total"])
    return rows.mutate(weight=rows["sound"] / rows["variance"] + 1.0 / (rows["total"] * rows["broad"]))


def _slipped(rows: ibis.Table, slope: Slope, log_share: float) -> Any:
    """Likelihood of all slips whose movement is known."""
    log_shares = dict(zip(NAMES, LOG_SHARES, strict=True))
    swap = rows["swap"]
    total = (rows["base"] + (log_share + float(log_shares[SWAP_NAME])) + _moved(rows, swap)).exp()
    for slip in SLIPS:
        given = log_share + float(log_shares[slip.name]) - slope.cost(slip.v_over_r, slip.volts)
        log = rows["base"] + given + _moved(rows, slope.shift(slip.v_over_r, slip.volts, slip.current))
        if slope.sides and slip.v_over_r:
            log = log + rows["side_ratio"] * slip.v_over_r
        if slope.sides and slip.volts:
            log = log + rows["side_volts"] * slip.volts
        total = total + log.exp()
    return total


def _moved(rows: ibis.Table, shift: Any) -> Any:
    """Gain in log-likelihood where the residual is taken to be off by a shift."""
    return shift * (rows["pull"] - shift * 0.5 / rows["variance"])


def _unexplained(rows: ibis.Table, slope: Slope) -> Any:
    """Likelihood of a reading that is off for no known cause."""
    broad = rows["variance"] + (slope.unknown * UNKNOWN_SD) ** 2
    given = LOG_SHARES[NAMES.index(READING_NAME)] - LOG_SHARES[-1] - slope.widening
    log = rows["log_broad"] - rows["square"] / broad - broad.ln() * 0.5 + float(given)
    return (log + rows["side_square"]).exp()
