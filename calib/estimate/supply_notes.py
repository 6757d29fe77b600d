"""What is to be known of the supply that a unit is asked for: spread of its winding current, bias, the primary."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from calib.bench.magnetics import BIAS_FLUX_T, DC_BIAS_DOUBT_A_M
from calib.fitting.tables import half_wave_bias
from calib.supply.form_factor import FORM_FACTOR, GUIDES, LARGE_CAPACITOR, SPREAD

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting import Facts


def notes(readings: pd.DataFrame, rows: Facts, answer: pd.Series) -> tuple[str, ...]:
    """Sentences about the supply of one unit, each with its figures.

    Parameters
    ----------
    readings : pandas.DataFrame
        One row of readings.
    rows : Facts
        The facts that they give.
    answer : pandas.Series
        The estimate of the unit.

    Returns
    -------
    tuple of str
        Empty for an ac rating.
    """
    pair = (str(readings["rectifier"].iloc[0]), str(readings["filter"].iloc[0]))
    current = float(answer["rated_current_ma"])
    return (*_spread(pair, current), *_primary(answer), *_bias(readings, rows, current, pair[0]))


def _spread(pair: tuple[str, str], current: float) -> list[str]:
    if pair not in SPREAD:
        return []
    k, (silicon, valve) = FORM_FACTOR[pair][0], (SPREAD[pair][one] for one in ("silicon", "valve"))
    said = (
        f"For each mA of direct current the winding carries {k:.3g} mA rms: the mean of usual sets, with silicon alone "
        f"{silicon[0]:.3g} to {silicon[1]:.3g}, with a valve {valve[0]:.3g} to {valve[1]:.3g}."
    )
    high = LARGE_CAPACITOR.get(pair, silicon)[1]
    if high > 1.05 * k and np.isfinite(current):
        how = " and a large capacitor" if pair in LARGE_CAPACITOR else ""
        said += (
            f" Silicon{how} at the cautious end, {high:.3g}: {current * k / high:.3g} mA instead of {current:.3g} mA."
        )
    if pair in GUIDES:
        low, up = GUIDES[pair]
        said += f" Makers' guides convert by {low:g} to {up:g}: their convention, shown beside and not reckoned with."
    return [said]


def _primary(answer: pd.Series) -> list[str]:
    limit = float(answer["winding_limit_ma"])
    if "primary-limit" not in str(answer["flags"]).split(";"):
        return []
    lead = "A bridge across a centre-tapped winding: "
    if np.isfinite(limit):
        lead += f"the winding would give {limit:.3g} mA, its primary {limit / np.sqrt(2):.3g} mA; the smaller counts. "
    return [
        f"{lead}Its ends then stand twice as far from the core: √2 times the whole winding's volts, not half of them."
    ]


def _bias(readings: pd.DataFrame, rows: Facts, current: float, rectifier: str) -> list[str]:
    if rectifier != "half-wave":
        return []
    bias = float(half_wave_bias(rows, readings, np.array([current]))[0])
    if not np.isfinite(bias):
        return ["A half-wave rectifier's direct current biases the core; by how much is not told without a core."]
    over = f", above {DC_BIAS_DOUBT_A_M:.0f} A/m: a doubt" if bias > DC_BIAS_DOUBT_A_M else ""
    return [
        f"A half-wave rectifier's direct current biases the core by about {bias:.0f} A/m ({BIAS_FLUX_T:g} T taken for "
        f"its flux){over}."
    ]
