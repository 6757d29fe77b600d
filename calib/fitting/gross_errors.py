"""Gross errors: the slips that benches make in a record, and in the readings of a unit that is asked about.

Of records, each slip is a part of the fit's mixture: what it would do to the record's figures. Of an unknown unit, the
readings are weighed: that all are sound, or that one of the slips is in them. Sound readings are as likely as those of
transformers are: the voltage for its supply, V/R for that voltage, the core for both, the wire for all of them. A slip
has moved a reading by a known step, or by an unknown one of a usual size; undone, it must leave readings that are as
likely as sound ones. Shares and sizes are judgement, out of practice: they say which slip is likelier where two would
explain a record alike. V/R by itself says little, since small units and large ones lie far apart in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import TYPE_CHECKING

import numpy as np

from calib.bench import resistance, wire
from calib.fitting.features import CENTRE_AREA_CM2, CENTRE_VOLTS, PAIRS, Features, size_classes
from calib.fitting.model import CORE_COLUMNS, Imputation
from calib.fitting.prior import MAIN, Prior, PriorRegression
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import pandas as pd

LN2, LN10 = float(np.log(2)), float(np.log(10))
DOUBTFUL_BELOW = 0.7  # odds of soundness below which a record is doubtful
SWAPPED = {"capacitor": "choke", "choke": "capacitor"}
NO_OTHER_FILTER = 50.0  # a movement too large to be believed


@dataclass(frozen=True)
class GrossError:
    """A mistake in a record and what it adds to the natural logarithms of its V/R, V and current.

    Attributes
    ----------
    name : str
        What went wrong, as a person would say it.
    share : float
        Share among the unsound records.
    v_over_r, volts, current : float
        Added to ln(V/R), ln V and ln I.
    v_over_r_sd, current_sd : float
        Standard deviation of what is added, where the cause is not known: about a factor of e.
    """

    name: str
    share: float
    v_over_r: float = 0.0
    volts: float = 0.0
    current: float = 0.0
    v_over_r_sd: float = 0.0
    current_sd: float = 0.0


SWAP = GrossError("filter swapped (capacitor input against choke input)", 0.28)  # its step depends on the supply
READING_OFF = GrossError("a reading of V or R is off, cause unknown", 0.10, v_over_r_sd=1.0)
GROSS_ERRORS = (
    GrossError("resistance of half the winding with the voltage of the whole", 0.20, v_over_r=LN2),
    GrossError("voltage of half the winding with the resistance of the whole", 0.12, v_over_r=-LN2, volts=-LN2),
    GrossError("resistance ten times too low (decimal)", 0.06, v_over_r=LN10),
    GrossError("resistance ten times too high (decimal)", 0.06, v_over_r=-LN10),
    GrossError("resistance a thousand times too low (kilohm taken for ohm)", 0.04, v_over_r=3 * LN10),
    GrossError("voltage ten times too high (decimal)", 0.04, v_over_r=LN10, volts=LN10),
    GrossError("voltage ten times too low (decimal)", 0.04, v_over_r=-LN10, volts=-LN10),
    GrossError("rated current ten times too high (decimal)", 0.06, current=LN10),
    GrossError("rated current ten times too low (decimal)", 0.06, current=-LN10),
    SWAP,
    READING_OFF,
    GrossError("the rated current is off, cause unknown", 0.10, current_sd=1.0),
)
ERROR_NAMES = tuple(error.name for error in GROSS_ERRORS)
LOG_SHARES = np.log([error.share for error in GROSS_ERRORS])
SWAP_AT, READING_AT = 1 + GROSS_ERRORS.index(SWAP), 1 + GROSS_ERRORS.index(READING_OFF)  # columns of what follows


@dataclass(frozen=True)
class ErrorEffects:
    """What sound (first column) and each gross error would do to each record, as the mixture takes it.

    Attributes
    ----------
    shift, extra_variance, log_side : numpy.ndarray, shape (n, s + 1)
        Added to the residual of ln(k m); added to its variance; log-likelihood of the core and the wire against the
        readings, with the log of the error's share among the unsound.
    """

    shift: np.ndarray
    extra_variance: np.ndarray
    log_side: np.ndarray


def error_effects(rows: Features, imputation: Imputation, prior: Prior) -> ErrorEffects:
    """What each gross error would do to the residuals of each record.

    Parameters
    ----------
    rows : Features
        Known units.
    imputation : Imputation
        What core and wire must be, given the readings.
    prior : Prior
        Its terms carry a slip of V or R through the covariates.

    Returns
    -------
    ErrorEffects
        An observed ln(V/R) too high by s lowers the response by s and moves the covariates; with the wire known the
        wire's departure shows the slip and the response hardly moves, since the current follows the copper.
    """
    term = dict(zip(MAIN, prior.main.mean, strict=True))
    ratio, volts, current, unknown, current_sd = (
        np.array([0.0, *(getattr(error, name) for error in GROSS_ERRORS)])
        for name in ("v_over_r", "volts", "current", "v_over_r_sd", "current_sd")
    )
    current = np.tile(current, (len(rows), 1))
    current[:, SWAP_AT] = swaps()[rows.pair]
    _, core_off, wire_off = imputation.complete(rows)
    has_core, has_wire = rows.has_core[:, None], rows.has_wire[:, None]
    core, wire = imputation.core.terms, imputation.wire.terms
    core_move, core_sd = -(core[2] * ratio + core[3] * volts), abs(core[2]) * unknown
    wire_move, wire_sd = -(wire[3] * ratio + wire[4] * volts), abs(wire[3]) * unknown
    through = np.where(has_wire, term["wire"] * wire_move, 0.0) + np.where(has_core, 0.0, -term["core"] * core_move)
    shift = current - ratio - term["v_over_r"] * ratio - term["voltage"] * volts - through
    slope = 1 + term["v_over_r"] - np.where(has_wire, term["wire"] * wire[3], 0.0)
    # How far each slip moves the response is as uncertain as the terms that carry it.
    sd = dict(zip(MAIN, np.sqrt(np.diag(prior.main.covariance)), strict=True))
    carried = (
        (sd["v_over_r"] * ratio) ** 2
        + (sd["voltage"] * volts) ** 2
        + np.where(has_wire, sd["wire"] * wire_move, 0.0) ** 2
    )
    extra = (slope * unknown) ** 2 + carried + current_sd**2
    log_side = _log_side(core_off, core_move, np.hypot(imputation.core.scatter, core_sd), has_core)
    log_side += _log_side(wire_off, wire_move, np.hypot(imputation.wire.scatter, wire_sd), has_wire)
    log_side[:, 1:] += LOG_SHARES
    return ErrorEffects(shift, extra, log_side)


def _log_side(value: np.ndarray, mean: np.ndarray, sd: np.ndarray, known: np.ndarray) -> np.ndarray:
    z = (np.nan_to_num(value)[:, None] - mean) / sd
    return np.where(known, -0.5 * z * z - np.log(sd), 0.0)


def swaps() -> np.ndarray:
    """What a swapped filter adds to ln(k I), for each supply of PAIRS."""
    others = [(rectifier, SWAPPED.get(filter, "")) for rectifier, filter in PAIRS]
    return np.array(
        [
            float(np.log(FORM_FACTOR[pair][0] / FORM_FACTOR[other][0])) if other in FORM_FACTOR else NO_OTHER_FILTER
            for pair, other in zip(PAIRS, others, strict=True)
        ]
    )


SUSPECT_BELOW, WITHHELD_BELOW = 0.8, 0.1  # odds of soundness of readings; below the second no current is told
PLAUSIBLE_MA = (1.0, 10_000.0)  # a median outside is no set's transformer: nothing is told either
OTHERS = 0.02  # share of all slips but the two of half a winding
RATIO, VOLTS, CORE, WIRE = range(4)  # what a slip moves, and what is left of: ln V/R, ln V, ln core area, ln wire area
# Usual volts of the whole winding by supply (Radiotron Designer's Handbook, 4th ed.), and how far others lie: heavy
# tails, so that bias windings and those of picture tubes are no slips (judgement).
USUAL_VOLTS = {"full-wave": 620.0, "bridge": 280.0, "half-wave": 230.0, "doubler": 150.0, "none": 260.0}
VOLTS_SPREAD, VOLTS_FREEDOM = 0.5, 4.0
WIDER = 1.15  # units that are asked about are not quite those that were recorded, nor those of any design model
RING_CORE, RING_WIRE = 0.35, 0.25  # further spread of ln area where the sheets are, or may be, no scrapless EI
HOT_C, ROOM_C = 70.0, 45.0
TYPED = ("excitation_v", "hv_v", "hv_resistance_ohm", "winding_temp_c", "wire_diameter_mm")


@dataclass(frozen=True)
class Typed:
    """What was typed, where a slip depends on it; NaN where blank.

    Attributes
    ----------
    excitation_v, hv_v, hv_resistance_ohm, winding_temp_c, wire_diameter_mm, awg : numpy.ndarray, shape (n,)
        As the columns of the table; awg is blank where a diameter counts instead.
    by_area, ring : numpy.ndarray of bool
        Whether a core is known by its area alone; whether its sheets are, or may be, no scrapless EI.
    zero_c : numpy.ndarray
        Inferred zero of the winding's metal [°C].
    """

    excitation_v: np.ndarray
    hv_v: np.ndarray
    hv_resistance_ohm: np.ndarray
    winding_temp_c: np.ndarray
    wire_diameter_mm: np.ndarray
    awg: np.ndarray
    by_area: np.ndarray
    ring: np.ndarray
    zero_c: np.ndarray

    @classmethod
    def of(cls, records: pd.DataFrame) -> Typed:
        """From a checked table of unknown units."""
        names = [*TYPED, "awg", "tongue_mm", "stack_mm"]
        *typed, awg, tongue, stack = (records[name].to_numpy(dtype=float, na_value=np.nan) for name in names)
        by_area, sheets = np.isnan(tongue * stack), records["lamination"].fillna("").to_numpy(dtype=object)
        zero = records["conductor"].map(lambda metal: resistance.INFERRED_ZERO_C[metal or "copper"])
        return cls(
            **dict(zip(TYPED, typed, strict=True)),
            awg=np.where(np.isfinite(typed[-1]), np.nan, awg),
            by_area=by_area,
            ring=np.where(sheets == "", by_area, sheets != "ei-scrapless"),
            zero_c=zero.to_numpy(dtype=float),
        )


Steps = Callable[[Features, Typed], "tuple[np.ndarray | float, ...]"]


@dataclass(frozen=True)
class Slip:
    """A mistake in an unknown's readings.

    Attributes
    ----------
    name : str
        What went wrong, as a person would say it.
    of : int
        The reading that it is made in.
    share : float
        Among the slips of its group: half the winding's have shares of all units, the others share OTHERS.
    steps : callable
        What it added to the ln of V/R, V, core area and wire area; NaN where it cannot have happened.
    spread : float
        Standard deviation of a further, unknown step, where the cause is unknown; else 0.
    """

    name: str
    of: int
    share: float
    steps: Steps
    spread: float = 0.0

    @property
    def broad(self) -> int | None:
        """The reading that is off by an unknown step; None where the cause is known."""
        return self.of if self.spread else None


def _fixed(ratio: float = 0.0, volts: float = 0.0, core: float = 0.0, wire: float = 0.0) -> Steps:
    return lambda rows, typed: (ratio, volts, core, wire)


def _volts_swapped(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    """Only where the high-voltage winding would give less than its primary is fed."""
    step = 2 * np.log(typed.hv_v / typed.excitation_v)
    step = np.where(step < 0, step, np.nan)
    return step, step, 0.0, 0.0


def _volts_for_ohms(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    """Of a ratio test the volts read, else the no-load volts, stand where the ohms should, and the ohms there.

    Only where the voltage lies nearer to the usual one when they change places.
    """
    volts = np.where(np.isfinite(typed.hv_v) & np.isfinite(typed.excitation_v), typed.hv_v, rows.frame["no_load_v"])
    step = np.log(volts / typed.hv_resistance_ohm)
    away = rows.covariates[:, 4] - _ln_usual_volts(rows)
    return 2 * step, np.where(np.abs(away - step) < np.abs(away), step, np.nan), 0.0, 0.0


def _ln_usual_volts(rows: Features) -> np.ndarray:
    """ln of the usual volts of each unit's supply, as the covariate has them."""
    return np.log([USUAL_VOLTS[pair[0]] / CENTRE_VOLTS for pair in PAIRS])[rows.pair]


def _hot(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    step = np.log((typed.zero_c + 20.0) / (typed.zero_c + HOT_C))
    return np.where(typed.winding_temp_c < ROOM_C, step, np.nan), 0.0, 0.0, 0.0


def _fahrenheit(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    celsius = (typed.winding_temp_c - 32.0) / 1.8
    step = np.log((typed.zero_c + typed.winding_temp_c) / (typed.zero_c + celsius))
    return np.where(typed.winding_temp_c >= ROOM_C, step, np.nan), 0.0, 0.0, 0.0


def _gauge_was(diameter_mm: Callable[[np.ndarray], np.ndarray]) -> Steps:
    """The wire's gauge is some other measure of it, which gives its diameter (NaN where it cannot be that)."""
    return lambda rows, typed: (
        0.0,
        0.0,
        0.0,
        2 * np.log(wire.awg_diameter_mm(typed.awg) / diameter_mm(typed.awg)),
    )


def _diameter_off(factor: float) -> Steps:
    return lambda rows, typed: (
        0.0,
        0.0,
        0.0,
        np.where(np.isfinite(typed.wire_diameter_mm), 2 * np.log(factor), np.nan),
    )


def _core_off(factor: float, by_area: bool) -> Steps:
    return lambda rows, typed: (0.0, 0.0, np.where(typed.by_area == by_area, np.log(factor), np.nan), 0.0)


@cache
def _swg_mm() -> np.ndarray:
    """Diameter of each SWG number, NaN where there is none listed."""
    listed = wire.SWG_LISTED
    return np.array([wire.swg_diameter_mm(number) if number in listed else np.nan for number in range(51)])


def _as_mm(awg: np.ndarray) -> np.ndarray:
    return np.where((awg > 0.02) & (awg < 2.0), awg, np.nan)


def _as_mil(awg: np.ndarray) -> np.ndarray:
    return np.where((awg >= 2.0) & (awg <= 25.0), awg * 0.0254, np.nan)


def _as_swg(awg: np.ndarray) -> np.ndarray:
    whole = np.nan_to_num(awg, nan=0.0)
    return np.where(whole == np.floor(whole), _swg_mm()[whole.astype(int)], np.nan)


SLIPS = (
    Slip("resistance of half the winding with the voltage of the whole", RATIO, 0.02, _fixed(ratio=LN2)),
    Slip("voltage of half the winding with the resistance of the whole", RATIO, 0.01, _fixed(-LN2, -LN2)),
    Slip("resistance a thousand times too low (kilohm taken for ohm)", RATIO, 0.25, _fixed(ratio=3 * LN10)),
    Slip("resistance a thousand times too high (ohm taken for kilohm)", RATIO, 0.05, _fixed(ratio=-3 * LN10)),
    Slip("resistance ten times too low (decimal)", RATIO, 0.15, _fixed(ratio=LN10)),
    Slip("resistance ten times too high (decimal)", RATIO, 0.15, _fixed(ratio=-LN10)),
    Slip("voltage ten times too high (decimal)", RATIO, 0.10, _fixed(LN10, LN10)),
    Slip("voltage ten times too low (decimal)", RATIO, 0.10, _fixed(-LN10, -LN10)),
    Slip("the two voltages of the ratio test swapped", RATIO, 0.10, _volts_swapped),
    Slip("volts and ohms swapped", RATIO, 0.05, _volts_for_ohms),
    Slip("resistance read on a hot winding (70 °C taken for the room's)", RATIO, 0.25, _hot),
    Slip("the winding's temperature in °F taken for °C", RATIO, 0.25, _fahrenheit),
    Slip("wire diameter in mm taken for its gauge", WIRE, 0.20, _gauge_was(_as_mm)),
    Slip("wire diameter in thousandths of an inch taken for its gauge", WIRE, 0.05, _gauge_was(_as_mil)),
    Slip("British gauge (SWG) taken for the American (AWG)", WIRE, 0.25, _gauge_was(_as_swg)),
    Slip("wire diameter ten times too high (decimal)", WIRE, 0.05, _diameter_off(10.0)),
    Slip("wire diameter ten times too low (decimal)", WIRE, 0.05, _diameter_off(0.1)),
    Slip("tongue and stack in cm taken for mm", CORE, 0.05, _core_off(0.01, by_area=False)),
    Slip("core area in mm² taken for cm²", CORE, 0.05, _core_off(100.0, by_area=True)),
    Slip(READING_OFF.name, RATIO, 0.20, _fixed(), 1.0),
    Slip("the core's size is off, cause unknown", CORE, 0.10, _fixed(), 0.7),
    Slip("the wire's size is off, cause unknown", WIRE, 0.10, _fixed(), 0.7),
)
HALVED = 2  # the first of SLIPS, whose shares are of all units
NAMES = tuple(slip.name for slip in SLIPS)


@dataclass(frozen=True)
class Weighed:
    """How likely the readings of units are sound, or hold each slip of SLIPS.

    Attributes
    ----------
    odds : numpy.ndarray, shape (n, s + 1)
        Probability of sound, then of each slip.
    rows : Features
        The units.
    steps : list of tuple
        For each slip what it added to the ln of V/R, V, core and wire: numbers or arrays, NaN where it cannot be.
    left : numpy.ndarray, shape (n, 4)
        By how much ln V/R, V, core and wire depart from what the others lead one to expect; 0 where not read.
    precision : numpy.ndarray, shape (n, 4)
        One over the variance of each; 0 where not read.
    carry : numpy.ndarray, shape (4, 4)
        What a step of ln V/R, V, core and wire (columns) adds to each of those departures (rows).
    """

    odds: np.ndarray
    rows: Features
    steps: list[tuple[np.ndarray | float, ...]]
    left: np.ndarray
    precision: np.ndarray
    carry: np.ndarray

    @cached_property
    def repairable(self) -> np.ndarray:
        """Which slips are possible and leave enough to estimate by when undone, shape (n, s)."""
        possible = self.odds[:, 1:] > 0
        possible[:, [slip.broad == RATIO for slip in SLIPS]] &= self.rows.has_core[:, None]
        return possible

    def step(self, slips: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What one slip of each unit added, shape (n, 4), and the standard deviation of what is open of it, likewise.

        Parameters
        ----------
        slips : numpy.ndarray of int, shape (n,)
            Place in SLIPS of a slip that each unit may hold. A reading whose fault is not known is off by what puts it
            where the others lead one to expect it, within that standard deviation in its ln.
        """
        made, sd = np.zeros(self.left.shape), np.zeros(self.left.shape)
        for place in np.unique(slips):
            here, slip = np.flatnonzero(slips == place), SLIPS[place]
            for column, part in enumerate(self.steps[place]):
                made[here, column] = part if isinstance(part, float) else part[here]
            if slip.broad is not None:
                mean, variance = self.unknown_step(np.eye(4)[slip.broad], slip.spread, here)
                made[here, slip.broad] += mean
                sd[here, slip.broad] = np.sqrt(variance)
        return np.where(np.isfinite(made), made, 0.0), sd

    def unknown_step(self, direction: np.ndarray, spread: float, index: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of an unknown step of some units' readings, given what the readings leave.

        `direction` is what a step of 1 moves in the ln of V/R, V, core and wire; `spread` its standard deviation before
        the readings are looked at.
        """
        along = self.carry @ direction
        held = spread**-2 + self.precision[index] @ along**2
        return (self.precision[index] * self.left[index]) @ along / held, 1 / held

    def undone(self, step: np.ndarray, index: np.ndarray | None = None) -> Features:
        """All units or some, with steps of ln V/R, V, core area and wire area, shape (n, 4), taken back."""
        rows = self.rows
        if index is not None:
            rows, step = rows.take(index), step[index]
        covariates, frame = rows.covariates.copy(), rows.frame
        covariates[:, [3, 4, 1]] -= step[:, [RATIO, VOLTS, CORE]]
        if step[:, CORE].any():
            frame = frame.assign(size_class=size_classes(np.exp(covariates[:, 1]) * CENTRE_AREA_CM2))
        return replace(rows, frame=frame, covariates=covariates, wire=rows.wire - step[:, WIRE])


def weigh(rows: Features, typed: Typed, imputation: Imputation, prior: Prior) -> Weighed:
    """Weigh the readings of unknown units.

    Parameters
    ----------
    rows, typed
        Their facts, and what was typed.
    imputation : Imputation
        What core and wire must be, given V/R and V, as the known units teach.
    prior : Prior
        Its regression `ratio` says what V/R can be.

    Returns
    -------
    Weighed
        By Bayes' rule.
    """
    left, precision = _departures(rows, typed, imputation, prior.ratio)
    steps = [slip.steps(rows, typed) for slip in SLIPS]
    logs = np.full((len(rows), len(SLIPS) + 1), -np.inf)
    logs[:, 0] = _log_likelihood(left, precision)
    found = Weighed(logs, rows, steps, left, precision, _carry(imputation, prior.ratio))
    for place, slip in enumerate(SLIPS):
        likely = _log_likelihood(left - _carried(steps[place], found.carry), precision)
        if slip.broad is not None:
            mean, variance = found.unknown_step(np.eye(4)[slip.broad], slip.spread, np.arange(len(rows)))
            likely = likely + 0.5 * mean**2 / variance + 0.5 * np.log(variance / slip.spread**2)
        if slip.of == CORE:
            likely = np.where(rows.has_core, likely, -np.inf)
        if slip.of == WIRE:
            likely = np.where(rows.has_wire, likely, -np.inf)
        logs[:, place + 1] = np.where(np.isfinite(likely), likely, -np.inf)
    logs = logs + _log_shares(np.isfinite(logs[:, 1:]))
    odds = np.exp(logs - logs.max(axis=1, keepdims=True, initial=-np.inf))
    return replace(found, odds=odds / odds.sum(axis=1, keepdims=True))


def plausible(median_ma: np.ndarray) -> np.ndarray:
    """Which medians are those of a set's transformer."""
    return (median_ma >= PLAUSIBLE_MA[0]) & (median_ma <= PLAUSIBLE_MA[1])


def _carried(steps: tuple[np.ndarray | float, ...], carry: np.ndarray) -> np.ndarray:
    """What a slip adds to the departures: of one row where it is the same for every unit."""
    return np.column_stack([np.atleast_1d(part) for part in np.broadcast_arrays(*steps)]) @ carry.T


def _carry(imputation: Imputation, ratio: PriorRegression) -> np.ndarray:
    core, wire_terms = imputation.core.terms, imputation.wire.terms
    carry = np.zeros((4, 4))
    carry[VOLTS, VOLTS] = 1.0
    carry[RATIO, [RATIO, VOLTS]] = 1.0, -ratio.mean[2]
    carry[CORE, [CORE, RATIO, VOLTS]] = 1.0, -core[2], -core[3]
    carry[WIRE, [WIRE, CORE, RATIO, VOLTS]] = 1.0, -wire_terms[1], -wire_terms[3], -wire_terms[4]
    return carry


def _departures(
    rows: Features, typed: Typed, imputation: Imputation, ratio: PriorRegression
) -> tuple[np.ndarray, np.ndarray]:
    """What the readings leave of each expectation, and its precision, shape (n, 4), in the order of a slip's steps."""
    x = rows.covariates
    _, core_off, wire_off = imputation.complete(rows)
    for_ratio, for_core = x[:, [0, 2, 4]], x[:, CORE_COLUMNS]
    left = np.column_stack([x[:, 3] - for_ratio @ ratio.mean, x[:, 4] - _ln_usual_volts(rows), core_off, wire_off])
    meters, ring = rows.reading_variance, typed.ring.astype(float)
    variance = np.column_stack(
        [
            ratio.scatter**2 + _spread(for_ratio, ratio.covariance) + meters,
            np.full(len(rows), VOLTS_SPREAD**2),
            imputation.core.scatter**2
            + _spread(for_core, imputation.core.covariance)
            + imputation.core.terms[2] ** 2 * meters
            + ring * RING_CORE**2,
            imputation.wire.scatter**2
            + _spread(x, imputation.wire.covariance)
            + imputation.wire.terms[3] ** 2 * meters
            + ring * RING_WIRE**2,
        ]
    )
    seen = np.isfinite(left)
    return np.where(seen, left, 0.0), np.where(seen, 1 / (WIDER**2 * np.nan_to_num(variance, nan=1.0)), 0.0)


def _spread(x: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    return np.einsum("ij,jk,ik->i", x, covariance, x)


def _log_likelihood(left: np.ndarray, precision: np.ndarray) -> np.ndarray:
    """Up to what all hypotheses share: normal, the voltage's with heavy tails."""
    square = left**2 * precision
    volts = -0.5 * (VOLTS_FREEDOM + 1) * np.log1p(square[:, VOLTS] / VOLTS_FREEDOM)
    return volts - 0.5 * (square.sum(axis=1) - square[:, VOLTS])


def _log_shares(possible: np.ndarray) -> np.ndarray:
    """Log of the shares of sound readings and of each slip; what cannot have happened leaves its to the others."""
    weight = np.where(possible, np.array([slip.share for slip in SLIPS]), 0.0)
    weight[:, HALVED:] *= OTHERS / weight[:, HALVED:].sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore"):
        return np.log(np.column_stack([1 - weight.sum(axis=1), weight]))
