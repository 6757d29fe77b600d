"""What the known units teach: the multiplier, its scatter, the doubtful records."""

from __future__ import annotations

from calib.fitting.multiplier import DEFAULT_LEVEL, Multiplier, fit, fit_table
from calib.fitting.rows import Facts, facts

__all__ = ["DEFAULT_LEVEL", "Facts", "Multiplier", "facts", "fit", "fit_table"]
