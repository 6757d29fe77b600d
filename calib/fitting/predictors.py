"""What carried an estimate, and what was given and did not."""

from __future__ import annotations

import numpy as np

from calib.fitting.features import CORE, PRIMARY, V_OVER_R, VOLTAGE, WEIGHT, WIRE, places, text
from calib.fitting.gross_errors import Typed
from calib.fitting.predictive import Prediction

# Readings in the order in which they are named; the voltage is in V/R, and is named where that is not.
NAMED = {V_OVER_R: "v_over_r", VOLTAGE: "volts", CORE: "core", WIRE: "gauge", PRIMARY: "primary", WEIGHT: "weight"}
# Columns that may be given and move nothing, and those that then count in their place.
GIVEN = (
    *("no_load_v", "excitation_v", "hv_v", "hv_resistance_ohm", "core_area_cm2", "tongue_mm", "awg"),
    *("wire_diameter_mm", "primary_resistance_ohm", "hv_half_1_ohm", "lamination", "maker", "contributor"),
)
SAME = 1e-9  # within this share the whole winding's resistance is the sum of its halves'


def predictors(asked: Prediction, readings_alone: bool = False) -> list[str]:
    """Which readings carried each estimate, joined by `+`; beside them what else did, unless they alone are asked."""
    seen = asked.rows.seen
    seen[:, VOLTAGE] &= ~seen[:, V_OVER_R]
    carried = {name: seen[:, reading] for reading, name in NAMED.items()}
    return _joined(carried if readings_alone else carried | _beside(asked))


def unused(asked: Prediction) -> list[str]:
    """Which columns were given of each unit and moved nothing, joined by `+`; each has its why in ``unused.toml``."""
    rows, beside = asked.rows, _beside(asked)
    given = {name: _given(asked, name) for name in GIVEN}
    sheets = text(asked.readings, "lamination")
    return _joined(
        {
            "no_load_v": given["no_load_v"] & given["excitation_v"] & given["hv_v"],
            "hv_resistance_ohm": given["hv_resistance_ohm"] & ~rows.has_ratio,
            "core_area_cm2": given["core_area_cm2"] & given["tongue_mm"],
            "awg": given["awg"] & given["wire_diameter_mm"],
            "primary_resistance_ohm": given["primary_resistance_ohm"] & ~rows.seen[:, PRIMARY],
            "hv_half_1_ohm": given["hv_half_1_ohm"] & ~beside["halves"],
            "lamination": given["lamination"] & ~beside["lamination"] & (sheets != "ei-scrapless"),
            "maker": given["maker"] & ~beside["maker"],
            "contributor": given["contributor"] & ~beside["bench"],
        }
    )


def _beside(asked: Prediction) -> dict[str, np.ndarray]:
    """What carried each estimate beside the readings.

    The shape of the sheets says how well a core tells the rest, which counts in how the readings are weighed; so do the
    halves, unless they are the resistance itself. Of maker and bench the known units must have taught something.
    """
    rows, design, typed = asked.rows, asked.model.design, Typed.of(asked.readings)
    weighed, told = not asked.as_read, np.any(rows.seen[:, [CORE, WIRE, WEIGHT]], axis=1)
    summed = np.abs(typed.hv_resistance_ohm - typed.halves_ohm) <= SAME * typed.halves_ohm
    return {
        "lamination": weighed & told & (rows.rings != typed.by_area),
        "halves": rows.has_ratio & np.isfinite(typed.halves_ohm) & (weighed | summed),
        "maker": places(design.makers, rows.frame["maker"]) >= 0,
        "era": _given(asked, "made_year"),
        "bench": places(design.contributors, rows.frame["contributor"]) >= 0,
    }


def _given(asked: Prediction, name: str) -> np.ndarray:
    """Which units have something in a column, shape (n,)."""
    column = asked.readings[name]
    return np.asarray(column.notna() & (column != ""), dtype=bool)


def _joined(marks: dict[str, np.ndarray]) -> list[str]:
    return [
        "+".join(name for name, one in zip(marks, each, strict=True) if one)
        for each in zip(*marks.values(), strict=True)
    ]
