"""What would narrow an estimate, and by how much."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.effects import GRADES

if TYPE_CHECKING:
    from calib.fitting import Facts, Multiplier

WORTH = 0.02  # a narrowing below this share of the width is not worth a reading
FEW = 30


def advice(model: Multiplier, rows: Facts) -> tuple[str, ...]:
    """Further readings of a unit and records for the register, the most useful first.

    Parameters
    ----------
    model : Multiplier
        A fit.
    rows : Facts
        One unit.

    Returns
    -------
    tuple of str
        Each with the narrowing that it would bring.
    """
    now = _spread(model, rows)
    gains: list[tuple[float, str]] = []
    proven = GRADES["heat-run"].sd
    if proven < now:
        gains.append((1 - proven / now, "a supervised heat run, which proves the current"))
    if not rows.has_core[0]:
        gains.append((1 - _spread(model, _with_core(model, rows)) / now, "the core: tongue and stack"))
    if not rows.has_wire[0]:
        with_core = rows if rows.has_core[0] else _with_core(model, rows)
        gain = 1 - _spread(model, replace(with_core, wire=_usual_wire(model, with_core))) / now
        gains.append((gain, "the wire's gauge" if rows.has_core[0] else "the core and the wire's gauge"))
    meters = 1 - np.sqrt(now**2 - rows.reading_variance[0]) / now
    gains.append((float(meters), "better meters for V and R"))
    said = [
        f"{name}: narrows the interval by about {gain:.0%}"
        for gain, name in sorted(gains, reverse=True)
        if gain > WORTH
    ]
    if model.records < FEW:
        said.append(f"more known units: the register holds {model.records}")
    return tuple(said)


def _spread(model: Multiplier, rows: Facts) -> float:
    """Standard deviation of the unit's rating in ln I."""
    share, mean, sd = model.predictive(rows)
    middle = share @ mean
    return float(np.sqrt(share @ (sd**2 + (mean - middle) ** 2))[0])


def _with_core(model: Multiplier, rows: Facts) -> Facts:
    completed, _, _ = model.sides.complete(rows)
    covariates = rows.covariates.copy()
    covariates[:, 1] = completed[:, 1]
    return replace(rows, covariates=covariates)


def _usual_wire(model: Multiplier, rows: Facts) -> np.ndarray:
    return rows.covariates @ model.sides.wire.terms
