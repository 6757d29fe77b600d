"""Estimates of a unit by the fit to the practice register, each made once for all tests that ask for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

from calib.estimate import HeaterReading, UnitEstimate, estimate_unit
from tests.fitting.making import practice_fit, unknown


def estimated(
    changes: Mapping[str, object], heaters: Sequence[HeaterReading] | None = None, as_read: bool = False
) -> UnitEstimate:
    """The estimate of the unit of Alder Lane with those changes; not to be changed."""
    return _estimated(tuple(changes.items()), None if heaters is None else tuple(heaters), as_read)


@cache
def _estimated(
    changes: tuple[tuple[str, object], ...], heaters: tuple[HeaterReading, ...] | None, as_read: bool
) -> UnitEstimate:
    return estimate_unit(practice_fit(), unknown(dict(changes)), heaters=heaters, as_read=as_read)
