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
from calib.fitting.features import (
    CENTRE_AREA_CM2,
    COARSE,
    CORE,
    PAIRS,
    PRIMARY,
    READINGS,
    V_OVER_R,
    VOLTAGE,
    WEIGHT,
    WIRE,
    Features,
    size_classes,
)
from calib.fitting.imputation import Imputation, coarse_variance, patterns_of
from calib.fitting.prior import HANGING, MAIN, Prior
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import pandas as pd

LN2, LN10 = float(np.log(2)), float(np.log(10))
DOUBTFUL_BELOW = 0.7  # odds of soundness below which a record is doubtful
SWAPPED = {"capacitor": "choke", "choke": "capacitor"}
LN_KEPT = LN10  # what a person's word that a record is right takes off the log of its prior odds of a slip
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
        Added to the residual of ln(k m); added to its variance; log-likelihood of the readings beside V and V/R over
        that of sound ones, with the log of the error's share among the unsound.
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
        What each reading must be, given the others.
    prior : Prior
        Its terms carry a slip of V or R through the covariates.

    Returns
    -------
    ErrorEffects
        An observed ln(V/R) too high by s lowers the response by s and moves the covariates; with the wire known the
        wire's departure shows the slip and the response hardly moves, since the current follows the copper.
    """
    patterns, place = patterns_of(rows.pattern)
    beside = np.where(rows.seen, rows.readings - imputation.expected(rows, given=(VOLTAGE, V_OVER_R)), 0.0)
    shift, extra, log_side = (np.empty((len(rows), 1 + len(GROSS_ERRORS))) for _ in range(3))
    for at, pattern in enumerate(patterns):
        here, effects = place == at, PatternEffects.of(pattern, imputation, prior)
        ratio, volts = (beside[here] @ effects.towards.T).T[:, :, None]
        shift[here], extra[here] = effects.shift, effects.extra_variance
        log_side[here] = effects.log + ratio * effects.by_ratio + volts * effects.by_volts + ratio**2 * effects.square
    shift[:, SWAP_AT] += swaps()[rows.pair]
    log_side[rows.frame["kept"].to_numpy(dtype=bool), 1:] -= LN_KEPT
    return ErrorEffects(shift, extra, log_side)


@dataclass(frozen=True)
class PatternEffects:
    """The same for records of which the same was read, in the form that serves arrays and the columns of a table.

    Attributes
    ----------
    shift, extra_variance : numpy.ndarray, shape (s + 1,)
        As in ErrorEffects; but for the swapped filter's step, which depends on the supply.
    towards : numpy.ndarray, shape (2, 6)
        What the readings say of a step of ln(V/R), and of ln V, by how they depart from what V and V/R lead one to
        expect of them; each over its standard deviation.
    log, by_ratio, by_volts, square : numpy.ndarray, shape (s + 1,)
        Log-likelihood over that of sound readings where these are nothing; gain for each unit of the first and of the
        second; and for the square of the first, where the cause is unknown.
    """

    shift: np.ndarray
    extra_variance: np.ndarray
    towards: np.ndarray
    log: np.ndarray
    by_ratio: np.ndarray
    by_volts: np.ndarray
    square: np.ndarray

    @classmethod
    def of(cls, pattern: np.ndarray, imputation: Imputation, prior: Prior) -> PatternEffects:
        """For a pattern as Features.pattern has it, in which V and V/R were read."""
        ratio, volts, current, unknown, current_sd = (
            np.array([0.0, *(getattr(error, name) for error in GROSS_ERRORS)])
            for name in ("v_over_r", "volts", "current", "v_over_r_sd", "current_sd")
        )
        # An observed V/R too high shows in V over the primary's reflected resistance only as far as it is the volts.
        unit = np.zeros((2, len(READINGS)))
        unit[0, V_OVER_R] = unit[1, VOLTAGE] = 1.0
        unit[1, PRIMARY] = -1.0
        steps, gain = np.array([ratio, volts]), imputation.gain(pattern)[0]
        slope, spread = prior.main.mean[HANGING], prior.main.covariance[np.ix_(HANGING, HANGING)]
        moved = steps.T @ unit @ gain.T
        # How far each slip moves the response is as uncertain as the terms that carry it.
        carried = np.einsum("si,ij,sj->s", moved, spread, moved)
        extra = ((1 + gain[:, V_OVER_R] @ slope) * unknown) ** 2 + carried + current_sd**2
        towards, gram, two = np.zeros((2, len(READINGS))), np.zeros((2, 2)), [VOLTAGE, V_OVER_R]
        rest = np.flatnonzero(pattern[: len(READINGS)])[len(two) :]
        if len(rest):
            by_two = imputation.spread[rest[:, None], two] @ np.linalg.inv(imputation.spread[:2, :2])
            own = imputation.spread[rest, CORE:]
            shown = unit[:, rest] - unit[:, two] @ by_two.T
            poorly = np.diag(np.where(rest == PRIMARY, coarse_variance(pattern), 0.0))
            towards[:, rest] = np.linalg.solve((own * imputation.scatter[CORE:] ** 2) @ own.T + poorly, shown.T).T
            gram = towards[:, rest] @ shown.T
        size = np.sqrt(np.maximum(np.diag(gram), 1e-12))
        widened = unknown**2 * gram[0, 0]
        log = -0.5 * np.einsum("is,ij,js->s", steps, gram, steps) - 0.5 * np.log1p(widened)
        log[1:] += LOG_SHARES
        return cls(
            shift=current - ratio - moved @ slope,
            extra_variance=extra,
            towards=towards / size[:, None],
            log=log,
            by_ratio=ratio * size[0],
            by_volts=volts * size[1],
            square=0.5 * widened / (1 + widened) * (size[0] ** 2 / gram[0, 0] if gram[0, 0] else 0.0),
        )


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
VOLTS_FREEDOM = 4.0  # of the voltage's heavy tails: bias windings and those of picture tubes are no slips (judgement)
RING_CORE, RING_WIRE = 0.35, 0.25  # further spread of ln area where the sheets are, or may be, no scrapless EI
HOT_C, ROOM_C = 70.0, 45.0
HALVES_SD, HALVES_MOST = 0.05, 40.0  # how well the sum of the halves tells the whole, and how much that can say
TYPED = ("excitation_v", "hv_v", "hv_resistance_ohm", "winding_temp_c", "wire_diameter_mm")
HALVES = ("hv_half_1_ohm", "hv_half_2_ohm")


@dataclass(frozen=True)
class Typed:
    """What was typed, where a slip depends on it; NaN where blank.

    Attributes
    ----------
    excitation_v, hv_v, hv_resistance_ohm, winding_temp_c, wire_diameter_mm, awg : numpy.ndarray, shape (n,)
        As the columns of the table; awg is blank where a diameter counts instead.
    halves_ohm : numpy.ndarray
        Sum of the halves' resistances.
    by_area : numpy.ndarray of bool
        Whether a core is known by its area alone.
    zero_c : numpy.ndarray
        Inferred zero of the winding's metal [°C].
    """

    excitation_v: np.ndarray
    hv_v: np.ndarray
    hv_resistance_ohm: np.ndarray
    winding_temp_c: np.ndarray
    wire_diameter_mm: np.ndarray
    awg: np.ndarray
    halves_ohm: np.ndarray
    by_area: np.ndarray
    zero_c: np.ndarray

    @classmethod
    def of(cls, records: pd.DataFrame) -> Typed:
        """From a checked table of unknown units."""
        names = [*TYPED, "awg", "tongue_mm", "stack_mm", *HALVES]
        *typed, awg, tongue, stack, first, second = (
            records[name].to_numpy(dtype=float, na_value=np.nan) for name in names
        )
        zero = records["conductor"].map(lambda metal: resistance.INFERRED_ZERO_C[metal or "copper"])
        return cls(
            **dict(zip(TYPED, typed, strict=True)),
            awg=np.where(np.isfinite(typed[-1]), np.nan, awg),
            halves_ohm=first + second,
            by_area=np.isnan(tongue * stack),
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
        What it added to each of READINGS; NaN where it cannot have happened.
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


def _steps(
    ratio: np.ndarray | float = 0.0,
    volts: np.ndarray | float = 0.0,
    core: np.ndarray | float = 0.0,
    wire: np.ndarray | float = 0.0,
    hot: np.ndarray | float = 0.0,
) -> tuple[np.ndarray | float, ...]:
    """In the order of READINGS; volts that are off show the other way round in the primary, heat shows in both."""
    return volts, ratio + hot, core, wire, hot - volts, 0.0


def _fixed(ratio: float = 0.0, volts: float = 0.0) -> Steps:
    return lambda rows, typed: _steps(ratio, volts)


def _volts_swapped(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    """Only where the high-voltage winding would give less than its primary is fed."""
    step = 2 * np.log(typed.hv_v / typed.excitation_v)
    step = np.where(step < 0, step, np.nan)
    return _steps(step, step)


def _volts_for_ohms(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    """Of a ratio test the volts read, else the no-load volts, stand where the ohms should, and the ohms there.

    Only where the voltage lies nearer to the usual one when they change places.
    """
    volts = np.where(np.isfinite(typed.hv_v) & np.isfinite(typed.excitation_v), typed.hv_v, rows.frame["no_load_v"])
    step = np.log(volts / typed.hv_resistance_ohm)
    away = rows.readings[:, VOLTAGE] - rows.usual_volts
    return _steps(2 * step, np.where(np.abs(away - step) < np.abs(away), step, np.nan))


def _hot(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    step = np.log((typed.zero_c + 20.0) / (typed.zero_c + HOT_C))
    return _steps(hot=np.where(typed.winding_temp_c < ROOM_C, step, np.nan))


def _fahrenheit(rows: Features, typed: Typed) -> tuple[np.ndarray | float, ...]:
    celsius = (typed.winding_temp_c - 32.0) / 1.8
    step = np.log((typed.zero_c + typed.winding_temp_c) / (typed.zero_c + celsius))
    return _steps(hot=np.where(typed.winding_temp_c >= ROOM_C, step, np.nan))


def _gauge_was(diameter_mm: Callable[[np.ndarray], np.ndarray]) -> Steps:
    """The wire's gauge is some other measure of it, which gives its diameter (NaN where it cannot be that)."""
    return lambda rows, typed: _steps(wire=2 * np.log(wire.awg_diameter_mm(typed.awg) / diameter_mm(typed.awg)))


def _diameter_off(factor: float) -> Steps:
    return lambda rows, typed: _steps(wire=np.where(np.isfinite(typed.wire_diameter_mm), 2 * np.log(factor), np.nan))


def _core_off(factor: float, by_area: bool) -> Steps:
    return lambda rows, typed: _steps(core=np.where(typed.by_area == by_area, np.log(factor), np.nan))


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
    Slip("resistance of half the winding with the voltage of the whole", V_OVER_R, 0.02, _fixed(ratio=LN2)),
    Slip("voltage of half the winding with the resistance of the whole", V_OVER_R, 0.02, _fixed(-LN2, -LN2)),
    Slip("resistance a thousand times too low (kilohm taken for ohm)", V_OVER_R, 0.25, _fixed(ratio=3 * LN10)),
    Slip("resistance a thousand times too high (ohm taken for kilohm)", V_OVER_R, 0.05, _fixed(ratio=-3 * LN10)),
    Slip("resistance ten times too low (decimal)", V_OVER_R, 0.15, _fixed(ratio=LN10)),
    Slip("resistance ten times too high (decimal)", V_OVER_R, 0.15, _fixed(ratio=-LN10)),
    Slip("voltage ten times too high (decimal)", V_OVER_R, 0.10, _fixed(LN10, LN10)),
    Slip("voltage ten times too low (decimal)", V_OVER_R, 0.10, _fixed(-LN10, -LN10)),
    Slip("the two voltages of the ratio test swapped", V_OVER_R, 0.10, _volts_swapped),
    Slip("volts and ohms swapped", V_OVER_R, 0.05, _volts_for_ohms),
    Slip("resistance read on a hot winding (70 °C taken for the room's)", V_OVER_R, 0.25, _hot),
    Slip("the winding's temperature in °F taken for °C", V_OVER_R, 0.25, _fahrenheit),
    Slip("wire diameter in mm taken for its gauge", WIRE, 0.20, _gauge_was(_as_mm)),
    Slip("wire diameter in thousandths of an inch taken for its gauge", WIRE, 0.05, _gauge_was(_as_mil)),
    Slip("British gauge (SWG) taken for the American (AWG)", WIRE, 0.25, _gauge_was(_as_swg)),
    Slip("wire diameter ten times too high (decimal)", WIRE, 0.05, _diameter_off(10.0)),
    Slip("wire diameter ten times too low (decimal)", WIRE, 0.05, _diameter_off(0.1)),
    Slip("tongue and stack in cm taken for mm", CORE, 0.05, _core_off(0.01, by_area=False)),
    Slip("core area in mm² taken for cm²", CORE, 0.05, _core_off(100.0, by_area=True)),
    Slip(READING_OFF.name, V_OVER_R, 0.15, _fixed(), 1.0),
    Slip("the core's size is off, cause unknown", CORE, 0.10, _fixed(), 0.7),
    Slip("the wire's size is off, cause unknown", WIRE, 0.30, _fixed(), 0.9),
    Slip("the primary's resistance is off, cause unknown", PRIMARY, 0.15, _fixed(), 0.7),
    Slip("the weight is off, cause unknown", WEIGHT, 0.10, _fixed(), 0.7),
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
        For each slip what it added to each of READINGS: numbers or arrays, NaN where it cannot be.
    left : numpy.ndarray, shape (n, 6)
        What the readings leave of what is expected, white: each by what those before it lead one to expect, over its
        standard deviation; 0 where not read.
    white : numpy.ndarray, shape (n, 6, 6)
        What a step of each reading (columns) adds to those (rows).
    """

    odds: np.ndarray
    rows: Features
    steps: list[tuple[np.ndarray | float, ...]]
    left: np.ndarray
    white: np.ndarray

    @cached_property
    def repairable(self) -> np.ndarray:
        """Which slips are possible and leave enough to estimate by when undone, shape (n, s)."""
        possible = self.odds[:, 1:] > 0
        beside = np.any(self.rows.seen[:, CORE:], axis=1, keepdims=True)
        possible[:, [slip.broad == V_OVER_R for slip in SLIPS]] &= beside
        return possible

    def step(self, slips: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What one slip of each unit added, shape (n, 6), and the standard deviation of what is open of it, likewise.

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
                mean, variance = self.unknown_step(np.eye(len(READINGS))[slip.broad], slip.spread, here)
                made[here, slip.broad] += mean
                sd[here, slip.broad] = np.sqrt(variance)
        return np.where(np.isfinite(made), made, 0.0), sd

    def unknown_step(self, direction: np.ndarray, spread: float, index: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of an unknown step of some units' readings, given what the readings leave.

        `direction` is what a step of 1 moves in each of READINGS; `spread` its standard deviation before the readings
        are looked at.
        """
        along = self.white[index] @ direction
        held = spread**-2 + np.sum(along**2, axis=1)
        return np.sum(along * self.left[index], axis=1) / held, 1 / held

    def undone(self, step: np.ndarray, index: np.ndarray | None = None) -> Features:
        """All units or some, with steps of their readings, shape (n, 6), taken back."""
        rows = self.rows
        if index is not None:
            rows, step = rows.take(index), step[index]
        readings, frame = rows.readings - step, rows.frame
        if step[:, CORE].any():
            frame = frame.assign(size_class=size_classes(np.exp(readings[:, CORE]) * CENTRE_AREA_CM2))
        return replace(rows, frame=frame, readings=readings)


def weigh(rows: Features, typed: Typed, imputation: Imputation) -> Weighed:
    """Weigh the readings of unknown units.

    Parameters
    ----------
    rows, typed
        Their facts, and what was typed.
    imputation : Imputation
        What each reading must be, given the others, as the known units teach.

    Returns
    -------
    Weighed
        By Bayes' rule.
    """
    left, white = _departures(rows, imputation)
    steps = [slip.steps(rows, typed) for slip in SLIPS]
    logs = np.full((len(rows), len(SLIPS) + 1), -np.inf)
    logs[:, 0] = _log_likelihood(left) + _by_halves(rows, typed, _steps(), WEIGHT)
    found = Weighed(logs, rows, steps, left, white)
    for place, slip in enumerate(SLIPS):
        likely = _log_likelihood(left - _carried(steps[place], white)) + _by_halves(rows, typed, steps[place], slip.of)
        if slip.broad is not None:
            direction = np.eye(len(READINGS))[slip.broad]
            mean, variance = found.unknown_step(direction, slip.spread, np.arange(len(rows)))
            likely = likely + 0.5 * mean**2 / variance + 0.5 * np.log(variance / slip.spread**2)
        logs[:, place + 1] = np.where(np.isfinite(likely) & rows.seen[:, slip.of], likely, -np.inf)
    logs = logs + _log_shares(np.isfinite(logs[:, 1:]))
    odds = np.exp(logs - logs.max(axis=1, keepdims=True, initial=-np.inf))
    return replace(found, odds=odds / odds.sum(axis=1, keepdims=True))


def plausible(median_ma: np.ndarray) -> np.ndarray:
    """Which medians are those of a set's transformer."""
    return (median_ma >= PLAUSIBLE_MA[0]) & (median_ma <= PLAUSIBLE_MA[1])


def _carried(steps: tuple[np.ndarray | float, ...], white: np.ndarray) -> np.ndarray:
    """What a slip adds to what the readings leave, white."""
    return np.einsum("nij,nj->ni", white, np.column_stack([np.broadcast_to(part, len(white)) for part in steps]))


def _departures(rows: Features, imputation: Imputation) -> tuple[np.ndarray, np.ndarray]:
    """What the readings leave of what is expected, white, and what makes a step so: see Weighed."""
    completed, further = imputation.complete(rows).main, {CORE: RING_CORE, WIRE: RING_WIRE, WEIGHT: RING_CORE}
    variance = np.tile(imputation.scatter**2, (len(rows), 1))
    meters = np.zeros(rows.readings.shape)
    for reading, one in imputation.chain.items():
        x = completed[:, [MAIN.index(name) for name in one.names]]
        variance[:, reading] += np.einsum("ij,jk,ik->i", x, one.covariance, x)
        # A ring core is another size at the same copper: its own reading is off, and no winding's beside it. How far
        # such ones lie from the line is known the better, the more of them it was drawn by.
        apart = further.get(reading, 0.0) ** 2
        meters[:, reading] = rows.rings * apart / (1 + imputation.rings[reading] * apart / one.scatter**2)
    meters[:, V_OVER_R] = rows.reading_variance
    meters[:, PRIMARY] = COARSE[rows.coarse] ** 2
    off = np.where(rows.seen, rows.readings - imputation.expected(rows), 0.0)
    white = np.zeros((*off.shape, off.shape[1]))
    patterns, place = patterns_of(rows.pattern)
    for at, pattern in enumerate(patterns):
        here, read = np.flatnonzero(place == at), np.flatnonzero(pattern[: len(READINGS)])
        made = imputation.spread[read]
        covariance = np.einsum("ir,nr,jr->nij", made, variance[here], made)
        covariance += np.eye(len(read)) * meters[np.ix_(here, read)][:, None]
        white[np.ix_(here, read, read)] = np.linalg.inv(np.linalg.cholesky(covariance))
    return np.einsum("nij,nj->ni", white, off), white


def _log_likelihood(left: np.ndarray) -> np.ndarray:
    """Up to what all hypotheses share: normal, the voltage's with heavy tails."""
    volts = -0.5 * (VOLTS_FREEDOM + 1) * np.log1p(left[:, VOLTAGE] ** 2 / VOLTS_FREEDOM)
    return volts - 0.5 * np.sum(left[:, VOLTAGE + 1 :] ** 2, axis=1)


def _by_halves(rows: Features, typed: Typed, steps: tuple[np.ndarray | float, ...], of: int) -> np.ndarray:
    """What the halves, read singly, say of the resistance of the whole under a slip; nothing where they were not."""
    apart = np.log(typed.hv_resistance_ohm / typed.halves_ohm)
    # By how much the slip has moved the resistance; any but that of the half may have moved the halves alike.
    moved = np.broadcast_to(steps[VOLTAGE], len(rows)) - steps[V_OVER_R] if of == V_OVER_R else np.zeros(len(rows))
    square = (apart - moved) ** 2
    if not np.all(np.abs(moved + LN2) < 1e-9):
        square = np.minimum(square, apart**2)
    return -0.5 * np.nan_to_num(np.minimum(square / HALVES_SD**2, HALVES_MOST))


def _log_shares(possible: np.ndarray) -> np.ndarray:
    """Log of the shares of sound readings and of each slip; what cannot have happened leaves its to the others."""
    weight = np.where(possible, np.array([slip.share for slip in SLIPS]), 0.0)
    weight[:, HALVED:] *= OTHERS / weight[:, HALVED:].sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore"):
        return np.log(np.column_stack([1 - weight.sum(axis=1), weight]))
