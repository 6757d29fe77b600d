"""What an unknown unit can give: its current with the interval, the working, what would sharpen it."""

from __future__ import annotations

from calib.estimate.core_rating import CoreOpinion, opinion_of_core
from calib.estimate.heaters import HeaterAnswer, HeaterReading, heater_currents
from calib.estimate.unit import UnitEstimate, estimate_unit

__all__ = [
    "CoreOpinion",
    "HeaterAnswer",
    "HeaterReading",
    "UnitEstimate",
    "estimate_unit",
    "heater_currents",
    "opinion_of_core",
]
