"""What a fit and the core add to a bench session: currents of the heater windings, and the core's own opinion."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import calib
from calib import bench
from calib.show.session.ohms import HEATERS, heater_name
from calib.show.session.said import nominal, symbols
from calib.show.session.understood import Session

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


def further(model: Any, unit: pd.DataFrame, session: Session, supply: tuple[str, str], level: float) -> list[str]:
    """What can be said besides the high-voltage current.

    Parameters
    ----------
    model : calib.Multiplier
        A fit.
    unit : pandas.DataFrame
        The unit's one row as `calib.read_unknown` gives it.
    session : Session
        Its session.
    supply : (str, str)
        Rectifier and filter that the unit is meant for.
    level : float
        Probability of the intervals, above 0 and below 1.

    Returns
    -------
    list of str
        A line for each heater winding and one for the core; empty where neither is known.
    """
    windings = heater_readings(session)
    answer = calib.heater_currents(model, unit, windings, level) if windings else None
    lines = [f"{one}." for one in answer.windings] if answer else []
    tongue, stack = session.known("tongue_mm"), session.known("stack_mm")
    no_load, frequency = session.known("no_load"), session.known("frequency_hz")
    if tongue is not None and no_load is not None and frequency is not None:
        known = answer.windings if answer else ()
        drawn = [(one.usual_v, one.rated_a) for one in known if math.isfinite(one.rated_a) and one.usual_v > 0.0]
        told = calib.opinion_of_core(
            float(bench.core_area_cm2(tongue, stack)),
            float(bench.window_area_cm2(tongue)),
            bench.usual_area_rule(tongue, frequency),
            float(nominal(no_load)),
            supply,
            drawn,
            level,
        )
        lines.append(f"By its core: {told}.")
    return [symbols(line) for line in lines]
