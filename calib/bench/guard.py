"""Refuse impossible input in a message that names the quantity, its value and the limit.

The checks take whatever the bench functions take: a number, an array, a Series or a value with its uncertainty. Blanks
(NaN) pass, since an unknown stays unknown; a column expression of a database passes too, having no values yet.
"""

from __future__ import annotations

import math
from typing import Any, TypeAlias

__all__ = ["HAZARDOUS_LIVE_V"]

# A float, a numpy array, a pandas Series, a value with its uncertainty or a column expression.
Quantity: TypeAlias = Any

# Highest rms voltage that may stand on any winding while the clips are within reach [V]; IEC 61010-1, dry conditions.
HAZARDOUS_LIVE_V = 30.0


def positive(name: str, value: Quantity, unit: str) -> None:
    """Raise ValueError unless the value is finite and above zero."""
    plain = _plain(value)
    _refuse(name, plain, unit, (plain <= 0.0) | (plain >= math.inf), "must be finite and above 0")


def not_negative(name: str, value: Quantity, unit: str) -> None:
    """Raise ValueError unless the value is finite and zero or more."""
    plain = _plain(value)
    _refuse(name, plain, unit, (plain < 0.0) | (plain >= math.inf), "must be finite and 0 or more")


def above(name: str, value: Quantity, limit: Quantity, unit: str) -> None:
    """Raise ValueError unless the value is finite and above the limit."""
    plain, edge = _plain(value), _plain(limit)
    _refuse(name, plain, unit, (plain <= edge) | (plain >= math.inf), f"must be finite and above {edge}")


def within(name: str, value: Quantity, low: float, high: float, unit: str) -> None:
    """Raise ValueError unless the value lies from low to high, both included."""
    plain = _plain(value)
    _refuse(name, plain, unit, (plain < low) | (plain > high), f"must be from {low:g} to {high:g}")


def _plain(value: Quantity) -> Quantity:
    return getattr(value, "nominal_value", value)


def _refuse(name: str, value: Quantity, unit: str, wrong: Quantity, limit: str) -> None:
    if type(wrong).__module__.startswith("ibis."):
        return
    any_wrong = getattr(wrong, "any", None)
    if any_wrong() if callable(any_wrong) else wrong:
        raise ValueError(f"{name} is {_first(value, wrong)} {unit}".rstrip() + f": it {limit}")


def _first(value: Quantity, wrong: Quantity) -> Quantity:
    if isinstance(wrong, bool):
        return value
    import numpy as np

    flags = np.asarray(wrong, dtype=bool)
    return np.broadcast_to(np.asarray(value), flags.shape)[flags].flat[0]
