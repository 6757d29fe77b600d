"""Doubtful records: the slips that benches make, and what each would do to the figures of a record.

Shares are judgement, out of practice: they say which slip is likelier where two would explain a record alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.fitting.chains import Sides
from calib.fitting.prior import MAIN, Prior
from calib.fitting.rows import PAIRS, Facts
from calib.supply.form_factor import FORM_FACTOR

LN2, LN10 = float(np.log(2)), float(np.log(10))
UNKNOWN_SD = 1.0  # an unexplained slip scatters by about a factor of e
SOUND = 0.7  # a record less likely sound than this is doubtful
SWAPPED = {"capacitor": "choke", "choke": "capacitor"}


@dataclass(frozen=True)
class Slip:
    """A mistake and what it adds to the natural logarithms of a record's V/R, V and current.

    Attributes
    ----------
    name : str
        What went wrong, as a person would say it.
    share : float
        Share among the unsound records.
    v_over_r, volts, current : float
        Added to ln(V/R), ln V and ln I.
    """

    name: str
    share: float
    v_over_r: float = 0.0
    volts: float = 0.0
    current: float = 0.0


SLIPS = (
    Slip("resistance of half the winding with the voltage of the whole", 0.20, v_over_r=LN2),
    Slip("voltage of half the winding with the resistance of the whole", 0.12, v_over_r=-LN2, volts=-LN2),
    Slip("resistance ten times too low (decimal)", 0.06, v_over_r=LN10),
    Slip("resistance ten times too high (decimal)", 0.06, v_over_r=-LN10),
    Slip("resistance a thousand times too low (kilohm taken for ohm)", 0.04, v_over_r=3 * LN10),
    Slip("voltage ten times too high (decimal)", 0.04, v_over_r=LN10, volts=LN10),
    Slip("voltage ten times too low (decimal)", 0.04, v_over_r=-LN10, volts=-LN10),
    Slip("rated current ten times too high (decimal)", 0.06, current=LN10),
    Slip("rated current ten times too low (decimal)", 0.06, current=-LN10),
)
SWAP_NAME, SWAP_SHARE = "filter swapped (capacitor input against choke input)", 0.28
READING_NAME, READING_SHARE = "a reading of V or R is off, cause unknown", 0.10
CURRENT_NAME, CURRENT_SHARE = "the rated current is off, cause unknown", 0.10
NAMES = (*(slip.name for slip in SLIPS), SWAP_NAME, READING_NAME, CURRENT_NAME)
LOG_SHARES = np.log([*(slip.share for slip in SLIPS), SWAP_SHARE, READING_SHARE, CURRENT_SHARE])


@dataclass(frozen=True)
class SlipEffects:
    """What sound (first column) and each slip would do to each record, as the mixture takes it.

    Attributes
    ----------
    shift, extra_variance, log_side : numpy.ndarray, shape (n, s + 1)
        Added to the residual of ln(k m); added to its variance; log-likelihood of the core and the wire against the
        readings, with the log of the slip's share among the unsound.
    """

    shift: np.ndarray
    extra_variance: np.ndarray
    log_side: np.ndarray


def effects(rows: Facts, sides: Sides, prior: Prior) -> SlipEffects:
    """What each slip would do to the residuals of each record.

    Parameters
    ----------
    rows : Facts
        Known units.
    sides : Sides
        What core and wire must be, given the readings.
    prior : Prior
        Its terms carry a slip of V or R through the covariates.

    Returns
    -------
    SlipEffects
        An observed ln(V/R) too high by s lowers the response by s and moves the covariates; with the wire known the
        wire's departure shows the slip and the response hardly moves, since the current follows the copper.
    """
    term = dict(zip(MAIN, prior.main.mean, strict=True))
    ratio, volts, current = (np.hstack([np.zeros((len(rows), 1)), part]) for part in movements(rows.pair))
    unknown = np.zeros(ratio.shape[1])
    unknown[NAMES.index(READING_NAME) + 1] = UNKNOWN_SD
    _, core_off, wire_off = sides.complete(rows)
    has_core, has_wire = rows.has_core[:, None], rows.has_wire[:, None]
    core, wire = sides.core.terms, sides.wire.terms
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
    extra = (slope * unknown) ** 2 + carried
    extra[:, -1] = UNKNOWN_SD**2
    log_side = _log_normal(core_off, core_move, np.hypot(sides.core.scatter, core_sd), has_core)
    log_side += _log_normal(wire_off, wire_move, np.hypot(sides.wire.scatter, wire_sd), has_wire)
    log_side[:, 1:] += LOG_SHARES
    return SlipEffects(shift, extra, log_side)


def _log_normal(value: np.ndarray, mean: np.ndarray, sd: np.ndarray, known: np.ndarray) -> np.ndarray:
    z = (np.nan_to_num(value)[:, None] - mean) / sd
    return np.where(known, -0.5 * z * z - np.log(sd), 0.0)


def movements(pair: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What each slip adds to ln(V/R), ln V and ln(k I) of each record.

    Parameters
    ----------
    pair : numpy.ndarray of int, shape (n,)
        Index of each record's supply in PAIRS.

    Returns
    -------
    tuple of three numpy.ndarray, shape (n, s)
        One column a name of NAMES; the last two (causes unknown) move nothing and scatter broadly instead. A record
        whose supply has no other filter is given a movement too large to be believed for the swap.
    """
    n = len(pair)
    tail = np.zeros((n, 3))
    v_over_r = np.hstack([np.tile([slip.v_over_r for slip in SLIPS], (n, 1)), tail])
    volts = np.hstack([np.tile([slip.volts for slip in SLIPS], (n, 1)), tail])
    current = np.hstack([np.tile([slip.current for slip in SLIPS], (n, 1)), tail])
    current[:, len(SLIPS)] = np.array([_swap(*one) for one in PAIRS])[pair] if n else 0.0
    return v_over_r, volts, current


def _swap(rectifier: str, filter: str) -> float:
    other = (rectifier, SWAPPED.get(filter, ""))
    if other not in FORM_FACTOR:
        return 50.0
    return float(np.log(FORM_FACTOR[rectifier, filter][0] / FORM_FACTOR[other][0]))
