"""What a fit and the core add to a bench session: currents of the heater windings, and the core's own opinion."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import calib
from calib import bench, words
from calib.session.ohms import HEATERS, heater_name
from calib.session.said import symbols
from calib.session.understood import Session

if TYPE_CHECKING:
    import pandas as pd


def heater_readings(session: Session) -> list[calib.HeaterReading]:
    """The heater windings whose voltage is known, as read."""
    resistance, found = session.steps["resistance"], []
    for number in range(1, HEATERS + 1):
        volts = session.known(f"heater_volts_{number}")
        if volts is None:
            continue
        name = heater_name(resistance.checked, number)
        as_read = resistance.known.get(f"heater_{number}")
        if as_read is None:
            found.append(calib.HeaterReading(name, volts))
            continue
        ohm, null_ohm, accuracy = as_read
        temp = session.known("temp_c")
        temp = bench.REFERENCE_C if temp is None else temp
        found.append(calib.HeaterReading(name, volts, ohm, null_ohm, accuracy, winding_temp_c=temp))
    return found


def further(model: Any, unit: pd.DataFrame, session: Session, level: float) -> list[str]:
    """What can be said besides the high-voltage current.

    Parameters
    ----------
    model : calib.Multiplier
        A fit.
    unit : pandas.DataFrame
        The unit's one row as `calib.read_unknown` gives it.
    session : Session
        Its session.
    level : float
        Probability of the intervals, above 0 and below 1.

    Returns
    -------
    list of str
        A line for each heater winding and one for the core, or why no current is told; empty where no heater winding's
        voltage is known.
    """
    windings = heater_readings(session)
    if not windings:
        return []
    made = calib.estimate_unit(model, unit, level, windings)
    if made.withheld:
        slip = made.answer["likely_slip"].iloc[0]
        return [
            "No current is told: the readings do not go together.",
            *([f"The likeliest slip: {slip}. Read it again before you go on."] if slip else []),
        ]
    lines = [f"{one}." for one in made.heaters.windings] if made.heaters else []
    if made.core is not None:
        lines.append(f"By its core: {made.core}.")
        if made.core.remark and not math.isnan(made.core.rated_current_ma):  # else it is in the line itself
            lines.append(words.sentence(made.core.remark))
    return [symbols(line) for line in lines]
