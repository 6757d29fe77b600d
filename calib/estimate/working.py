"""The working of an estimate, line by line, as one would do it on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from calib.bench import wire
from calib.fit.prior import MAIN
from calib.fit.rows import CENTRE_FREQUENCY_HZ
from calib.fit.tables import class_row

if TYPE_CHECKING:
    from calib.fit import Facts, Multiplier


def lines(model: Multiplier, readings: pd.DataFrame, rows: Facts, answer: pd.Series) -> pd.DataFrame:
    """Steps from the readings to the current.

    Parameters
    ----------
    model : Multiplier
        A fit.
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
    own = answer["unit_multiplier"]
    if np.isfinite(own):
        steps += multipliers(model, rows, answer)
        steps.append(("Rated current", f"{own:.4g} × {fact['v_over_r']:.4g}", answer["rated_current_ma"], "mA"))
    if np.isfinite(fact["wire_area_mm2"]) and np.isfinite(own):
        steps += _density(rows, answer["rated_current_ma"], fact["wire_area_mm2"])
    return pd.DataFrame(steps, columns=["step", "formula", "value", "unit"])


def multipliers(model: Multiplier, rows: Facts, answer: pd.Series) -> list[tuple[str, str, float, str]]:
    """From the class's mean multiplier to the unit's, factor by factor; the product is the unit's.

    A factor is the exponential of a term's coefficient (averaged over the fit's scales) times how far the unit lies
    from the ordinary one of its class; what the averaging and the weighing of slips leave over is the last.
    """
    fact, unit = rows.frame.iloc[0], "mA per V/ohm"
    supply = f"{fact['rectifier']}, {fact['filter']} input"
    x = model.layout.design(rows, model.sides.complete(rows)[0])[0]
    if fact["size_class"]:
        pair = (fact["rectifier"], fact["filter"])
        frequency = float(np.exp(rows.covariates[0, 2]) * CENTRE_FREQUENCY_HZ)
        row, area = class_row(model, fact["size_class"], pair, frequency)
        steps = [(f"Mean multiplier, size class {fact['size_class']}", supply, float(answer["multiplier"]), unit)]
        factors = _factors(model, x - row[0], fact, area)
    else:
        said = f"{supply}; no core was measured"
        steps = [("Mean multiplier at its V/R and voltage", said, float(answer["multiplier"]), unit)]
        factors = []  # that mean is of all its readings already
    if "primary-limit" in str(answer["flags"]).split(";"):
        factors.append(("the primary's limit", "a bridge across a centre-tapped winding: 1/√2", float(np.sqrt(0.5))))
    own = float(answer["unit_multiplier"])
    rest = own / (steps[0][2] * float(np.prod([factor for _, _, factor in factors])))
    factors.append(("what is left over", "the fit averaged over what it is unsure of, and slips weighed", rest))
    steps += [(f"× {name}", how, factor, "") for name, how, factor in factors]
    return [*steps, ("Multiplier of this unit", "the product of these", own, unit)]


def _factors(model: Multiplier, apart: np.ndarray, fact: pd.Series, area: float) -> list[tuple[str, str, float]]:
    """Factors of how far a unit lies from the ordinary one of its class, those that are none left out."""
    mean = model.shares @ np.array([one.mean for one in model.solutions])
    logs = dict(zip(MAIN, (apart * mean)[: len(MAIN)], strict=True))
    bench = float((apart * mean)[model.layout.starts["contributor"] :].sum())
    told = {
        "core": ("size within the class", f"{fact['core_area_cm2']:.4g} cm² against {area:.4g} cm²"),
        "v_over_r": ("V/R", f"{fact['v_over_r']:.4g} V/ohm against what is usual at its size"),
        "voltage": ("voltage", f"{fact['no_load_v']:.4g} V against what is usual at its size"),
        "wire": ("wire", "against what its size, voltage and V/R lead one to expect"),
    }
    found = [(*told.get(name, (name, "against the class's")), float(np.exp(log))) for name, log in logs.items() if log]
    return [*found, ("bench", f"of {fact['contributor']}", float(np.exp(bench)))] if bench else found


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
