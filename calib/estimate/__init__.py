"""What an unknown unit can give: its current with the interval, the working, what would sharpen it."""

from __future__ import annotations

from calib.estimate.unit import UnitEstimate, estimate_unit

__all__ = ["UnitEstimate", "estimate_unit"]
