"""What each reading of a unit did to its interval: one after another in the order said, and each left out by itself."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.predictive import Prediction
from calib.fitting.predictors import predictors

if TYPE_CHECKING:
    import pandas as pd

HALVES = ("hv_half_1_ohm", "hv_half_2_ohm")
# Columns of each reading that may be there or not, in the order in which they are added to V/R, or to the wire without.
ADDED = {
    "core": ("tongue_mm", "stack_mm", "core_area_cm2", "lamination", "window_width_mm", "window_height_mm"),
    "gauge": ("awg", "wire_diameter_mm"),
    "primary": ("primary_resistance_ohm", "u_primary_pct"),
    "weight": ("weight_kg",),
    "halves": HALVES,
    "maker": ("maker",),
    "era": ("made_year",),
    "bench": ("contributor",),
}


def narrowing(asked: Prediction, level: float) -> pd.DataFrame:
    """What each reading took off the interval of one unit.

    Parameters
    ----------
    asked : Prediction
        One unit.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        reading (the first is what any answer needs), then with it and all above it rated_current_ma, low_ma, high_ma
        [mA] and width (high over low, 1 and up); without, that ratio where it alone is left out of all (NaN for the
        first); level. Of readings that carried the estimate only. All of it is one batch, by the model itself.
    """
    import pandas as pd

    names = predictors(asked)[0].split("+")
    # Without V/R nothing can be told but by the wire, which then is left out of nothing.
    kept = ["v_over_r"] if "v_over_r" in names else [name for name in names if name == "gauge" or name not in ADDED]
    first, added = "+".join(kept), [name for name in ADDED if name in names and name not in kept]
    drop = [added[count:] for count in range(len(added) + 1)] + [[one] for one in added]
    frame = asked.readings.loc[asked.readings.index.repeat(len(drop))].reset_index(drop=True)
    frame["unit"] = [f"{place}" for place in range(len(drop))]
    for place, reading in enumerate(drop):
        _blank(frame, place, (column for name in reading for column in ADDED[name]))
    middle, low, high = asked.made_of(frame).rated.limits(level)
    wide, many = high / low, len(added) + 1
    table = {
        "reading": [first, *added],
        "rated_current_ma": middle[:many],
        "low_ma": low[:many],
        "high_ma": high[:many],
    }
    return pd.DataFrame({**table, "width": wide[:many], "without": [np.nan, *wide[many:]], "level": level})


def _blank(frame: pd.DataFrame, place: int, columns: Iterable[str]) -> None:
    for column in columns:
        if column in frame:
            text = isinstance(frame.at[place, column], str)
            frame.at[place, column] = "" if text else np.nan
