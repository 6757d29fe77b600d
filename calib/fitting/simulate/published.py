"""What the published windings say of the design model: their two rows of datasets/published/sources.csv, made anew.

``python -m calib.fitting.simulate.published datasets/published`` reads known.csv there and writes those rows; the rows
of the other sources, whose single windings are not kept here, stay as they are. Each figure is ln(estimate / rating),
the estimate being that of the design model's prior alone by volts and resistance.
"""

from __future__ import annotations

import csv
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.features import PRIMARY, Features, features_of
from calib.fitting.prior import design_prior
from calib.fitting.result import fit_rows
from calib.register.tables import read_known

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("source", "quantity", "n", "median_ln", "sd_ln", "in_published")
SOURCE = "part drawings of one present-day maker"


def catalogue(known: pd.DataFrame) -> list[dict[str, object]]:
    """The rows of the published windings: of their high-voltage windings, and of their primaries as windings.

    Parameters
    ----------
    known : pandas.DataFrame
        datasets/published/known.csv as :func:`calib.read_known` gives it; its notes hold the volts under load and the
        heaters, whose volt-amperes with the high-voltage winding's are the primary's.
    """
    primary = known.assign(
        no_load_v=known["line_voltage_v"],
        hv_resistance_ohm=known["primary_resistance_ohm"],
        rated_current_ma=[1000 * watts for watts in _volt_amperes(known)] / known["line_voltage_v"],
    )
    parts = {"high-voltage windings": known, "their primaries": primary}
    return [
        dict(zip(COLUMNS, (SOURCE, name, len(part), *_off(features_of(part)), "true"), strict=True))
        for name, part in parts.items()
    ]


def _volt_amperes(known: pd.DataFrame) -> list[float]:
    loaded = known["notes"].str.extract(r"^([\d.]+) V under load")[0].astype(float)
    heaters = [sum(float(v) * float(a) for v, a in re.findall(r"([\d.]+)x([\d.]+)", text)) for text in known["notes"]]
    return (loaded * known["rated_current_ma"] / 1000 + heaters).tolist()


def _off(rows: Features) -> tuple[float, float]:
    """Median and standard deviation of ln(estimate / rating)."""
    model = fit_rows(rows.take(np.arange(0)), design_prior())
    alone = rows.without(PRIMARY)
    off = np.log(model.predictive(alone).median()) - rows.response - np.log(rows.frame["v_over_r"]) + rows.form
    return round(float(np.median(off)), 3), round(float(np.std(off, ddof=1)), 3)


def write(folder: Path) -> None:
    """Write sources.csv with its first rows made anew."""
    path = folder / "sources.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        others = [one for one in csv.DictReader(lines) if one["in_published"] != "true"]
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        table.writeheader()
        table.writerows([*catalogue(read_known(folder / "known.csv")), *others])


if __name__ == "__main__":
    write(Path(sys.argv[1]))
