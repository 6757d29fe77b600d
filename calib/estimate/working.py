"""The working of an estimate, line by line, as one would do it on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from calib.bench import wire

if TYPE_CHECKING:
    from calib.fit import Facts


def lines(readings: pd.DataFrame, rows: Facts, answer: pd.Series) -> pd.DataFrame:
    """Steps from the readings to the current.

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
    pandas.DataFrame
        step, formula (with the figures put in), value, unit.
    """
    read, fact = readings.iloc[0], rows.frame.iloc[0]
    steps: list[tuple[str, str, float, str]] = []
    if np.isfinite(read["excitation_v"]) and np.isfinite(read["hv_v"]):
        ratio = read["hv_v"] / read["excitation_v"]
        steps.append(("Ratio", f"{read['hv_v']:g} V / {read['excitation_v']:g} V", ratio, ""))
        steps.append(("No-load voltage", f"{read['line_voltage_v']:g} V × {ratio:.4g}", fact["no_load_v"], "V"))
    else:
        steps.append(("No-load voltage", "as read or stated", fact["no_load_v"], "V"))
    steps.append(_resistance(read, fact))
    steps.append(
        ("V/R", f"{fact['no_load_v']:.4g} V / {fact['resistance_ohm']:.4g} ohm", fact["v_over_r"], "V per ohm")
    )
    own = answer["rated_current_ma"] / fact["v_over_r"]
    supply = f"{fact['rectifier']}, {fact['filter']} input"
    if fact["size_class"]:
        name = f"Mean multiplier, size class {fact['size_class']}"
        steps.append((name, supply, answer["multiplier"], "mA per V/ohm"))
    steps.append(("Multiplier of this unit", "from all its readings", own, "mA per V/ohm"))
    steps.append(("Rated current", f"{own:.4g} × {fact['v_over_r']:.4g}", answer["rated_current_ma"], "mA"))
    if np.isfinite(fact["wire_area_mm2"]):
        steps += _density(rows, answer["rated_current_ma"], fact["wire_area_mm2"])
    return pd.DataFrame(steps, columns=["step", "formula", "value", "unit"])


def _resistance(read: pd.Series, fact: pd.Series) -> tuple[str, str, float, str]:
    metal = "aluminium" if read.get("conductor") == "aluminium" else "copper"
    formula = f"{read['hv_resistance_ohm']:g} ohm of {metal} at {read['winding_temp_c']:g} °C, brought to 20 °C"
    return ("Resistance at 20 °C", formula, fact["resistance_ohm"], "ohm")


def _density(rows: Facts, current_ma: float, area_mm2: float) -> list[tuple[str, str, float, str]]:
    """What the estimate asks of the wire, on the rms current of the supply."""
    rms = current_ma * rows.form_factor[0]
    density = rms / 1000 / area_mm2
    return [
        ("Winding current, rms", f"{current_ma:.4g} mA × {rows.form_factor[0]:.3g}", rms, "mA"),
        ("Current density", f"{rms:.4g} mA / {area_mm2:.4g} mm²", density, "A/mm²"),
        ("the same", "in circular mils", wire.circular_mils_per_ampere(density), "circular mils per ampere"),
    ]
