"""What the known units teach: the multiplier, its scatter, the doubtful records."""

from __future__ import annotations

from calib.fitting.features import Features, features_of
from calib.fitting.predictive import DEFAULT_LEVEL, Prediction, RatedCurrent
from calib.fitting.result import Multiplier, fit, fit_table

__all__ = ["DEFAULT_LEVEL", "Features", "Multiplier", "Prediction", "RatedCurrent", "features_of", "fit", "fit_table"]
