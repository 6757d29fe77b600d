"""From records to what the fit works with: one row of features a unit, all logarithms natural and blanks NaN."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from calib.bench import core, ratio_test, resistance, uncertainty, wire
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import pandas as pd

# Centres of the covariates, so that the intercept speaks of an ordinary unit.
CENTRE_AREA_CM2 = 10.0
CENTRE_FREQUENCY_HZ = 60.0
CENTRE_V_OVER_R = 2.0
CENTRE_VOLTS = 600.0
# At equal heat per volume J^2 rho is constant, so m = J rho ... goes with the root of resistivity (MIT EE Staff).
ALUMINIUM_SHIFT = 0.5 * float(
    np.log(resistance.RESISTIVITY_OHM_M["aluminium"] / resistance.RESISTIVITY_OHM_M["copper"])
)
PAIRS = tuple(FORM_FACTOR)
RATIO_TEST = ("excitation_v", "hv_v", "line_voltage_v")
LN_FORM = np.log([FORM_FACTOR[pair][0] for pair in PAIRS])


@dataclass(frozen=True)
class Features:
    """Features of units as arrays of one length; what is not known is NaN.

    Attributes
    ----------
    frame : pandas.DataFrame
        contributor, unit, evidence, rectifier, filter, no_load_v [V], resistance_ohm (20 °C) [ohm], v_over_r [V/ohm],
        core_area_cm2 [cm2], size_class, wire_area_mm2 [mm2], reading_gap (ratio test over no_load_v,
        less 1), simulated.
    covariates : numpy.ndarray, shape (n, 5)
        1, ln(area/10 cm2), ln(f/60 Hz), ln(V/R / 2), ln(V / 600 V).
    wire : numpy.ndarray, shape (n,)
        ln of the wire's area in mm2, as copper of equal conductance.
    reading_variance : numpy.ndarray, shape (n,)
        Variance of ln(V/R) from the meters.
    form : numpy.ndarray, shape (n,)
        ln of winding rms per direct current for the unit's supply, less the shift of an aluminium winding: what turns
        ln(I / (V/R)) into the quantity that the copper obeys.
    response : numpy.ndarray, shape (n,)
        ln(k I / (V/R)) with I in mA; NaN for unknown units.
    pair : numpy.ndarray of int, shape (n,)
        Index of (rectifier, filter) in PAIRS.
    """

    frame: pd.DataFrame
    covariates: np.ndarray
    wire: np.ndarray
    reading_variance: np.ndarray
    form: np.ndarray
    response: np.ndarray
    pair: np.ndarray

    def __len__(self) -> int:
        return len(self.form)

    def __repr__(self) -> str:
        return f"Features of {len(self)} units"

    @property
    def has_core(self) -> np.ndarray:
        """Which units have a core area."""
        return np.isfinite(self.covariates[:, 1])

    @property
    def has_wire(self) -> np.ndarray:
        """Which units have a wire gauge as well as a core."""
        return np.isfinite(self.wire) & self.has_core

    @property
    def ln_v_over_r(self) -> np.ndarray:
        """ln of V/R in V/ohm."""
        return self.covariates[:, 3] + np.log(CENTRE_V_OVER_R)

    @property
    def form_factor(self) -> np.ndarray:
        """Winding rms current per ampere of direct current of each unit's supply."""
        return np.exp(LN_FORM[self.pair])

    def take(self, index: np.ndarray) -> Features:
        """The chosen rows, by position or by mask."""
        frame = self.frame.loc[index] if index.dtype == bool else self.frame.iloc[index]
        return Features(frame, **{name: part[index] for name, part in vars(self).items() if name != "frame"})

    def under(self, rectifier: str, filter: str) -> Features:
        """The same units as if meant for another supply."""
        return replace(
            self,
            frame=self.frame.assign(rectifier=rectifier, filter=filter),
            form=self.form - np.log(self.form_factor) + np.log(FORM_FACTOR[rectifier, filter][0]),
            pair=np.full(len(self), PAIRS.index((rectifier, filter))),
        )


STANDING = ("stop", "stop_cleared", "doubts")  # what stands against a unit, and goes wherever its figures go
TEXTS = ("contributor", "unit", "evidence", "rectifier", "filter", *STANDING)


def features_of(records: pd.DataFrame) -> Features:
    """Features of known or unknown units.

    Parameters
    ----------
    records : pandas.DataFrame
        As :func:`calib.read_known` or :func:`calib.read_unknown` give it; it is not changed.

    Returns
    -------
    Features
        One row a record, in the same order.
    """
    import pandas as pd

    number = partial(_number, records)
    aluminium = text(records, "conductor") == "aluminium"
    zero = np.where(aluminium, resistance.INFERRED_ZERO_C["aluminium"], resistance.INFERRED_ZERO_C["copper"])
    ohm = resistance.resistance_at(number("hv_resistance_ohm"), number("winding_temp_c"), 20.0, zero)
    tested, direct = ratio_test.no_load_voltage(*map(number, RATIO_TEST)), number("no_load_v")
    volts = _either(tested, direct)
    area = _either(core.core_area_cm2(number("tongue_mm"), number("stack_mm")), number("core_area_cm2"))
    square = np.pi * _either(number("wire_diameter_mm"), wire.awg_diameter_mm(number("awg"))) ** 2 / 4
    equivalent = square * np.where(
        aluminium, resistance.RESISTIVITY_OHM_M["copper"] / resistance.RESISTIVITY_OHM_M["aluminium"], 1.0
    )
    pair = places([" ".join(one) for one in PAIRS], text(records, "rectifier") + " " + text(records, "filter"))
    form = LN_FORM[pair] - np.where(aluminium, ALUMINIUM_SHIFT, 0.0)
    v_over_r = volts / ohm
    covariates = np.column_stack(
        [
            np.ones(len(records)),
            np.log(area / CENTRE_AREA_CM2),
            np.log(number("line_frequency_hz") / CENTRE_FREQUENCY_HZ),
            np.log(v_over_r / CENTRE_V_OVER_R),
            np.log(volts / CENTRE_VOLTS),
        ]
    )
    response = np.log(number("rated_current_ma")) - np.log(v_over_r) + form
    frame = pd.DataFrame(
        {
            **{name: text(records, name) for name in TEXTS},
            "no_load_v": volts,
            "resistance_ohm": ohm,
            "v_over_r": v_over_r,
            "core_area_cm2": area,
            "size_class": size_classes(area),
            "wire_area_mm2": square,
            "reading_gap": tested / direct - 1,
            "simulated": np.char.lower(text(records, "simulated").astype(str)) == "true",
        }
    )
    return Features(frame, covariates, np.log(equivalent), _reading_variance(records), form, response, pair)


def size_classes(area_cm2: np.ndarray) -> np.ndarray:
    """Labels of the size classes of many cores at once; blank where the area is NaN."""
    place = np.searchsorted(core.SIZE_CLASSES, np.nan_to_num(area_cm2), side="right") - 1
    return np.where(np.isfinite(area_cm2), np.array(core.SIZE_CLASS_LABELS, dtype=object)[place], "")


def one_each(rows: Features) -> tuple[Features, tuple[str, ...]]:
    """One record a (contributor, unit), in an order of their own; a repeated record is not two opinions."""
    key = rows.frame[["contributor", "unit"]].assign(at=np.arange(len(rows)))
    key = key.sort_values(["contributor", "unit", "at"], kind="stable")
    last = key.drop_duplicates(["contributor", "unit"], keep="last")
    return rows.take(last["at"].to_numpy(dtype=int)), repeated(len(key) - len(last))


def repeated(count: int) -> tuple[str, ...]:
    """A note of so many records that were given more than once; none of none."""
    return (f"{count} repeated record(s) of one contributor and unit counted once",) if count else ()


def places(known: Sequence[str], values: Iterable[str]) -> np.ndarray:
    """Place of each value among the known ones; -1 where it is not there."""
    import pandas as pd

    return pd.Index(list(known), dtype=object).get_indexer(pd.Index(values, dtype=object))


def _number(records: pd.DataFrame, name: str) -> np.ndarray:
    if name not in records:
        return np.full(len(records), np.nan)
    return records[name].to_numpy(dtype=float, na_value=np.nan)


def text(records: pd.DataFrame, name: str) -> np.ndarray:
    if name not in records:
        return np.full(len(records), "", dtype=object)
    return records[name].fillna("").astype(str).to_numpy(dtype=object)


def _either(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """The first of two readings of one thing where it is there, else the second."""
    return np.where(np.isfinite(first), first, second)


def _reading_variance(records: pd.DataFrame) -> np.ndarray:
    """Variance of ln(V/R) by JCGM 100: the squares of the two relative standard uncertainties added."""
    total = np.zeros(len(records))
    for name, usual in (
        ("u_voltage_pct", uncertainty.DEFAULT_U_VOLTAGE_PCT),
        ("u_resistance_pct", uncertainty.DEFAULT_U_RESISTANCE_PCT),
    ):
        total += (_either(_number(records, name), np.array(usual)) / 100) ** 2
    return total
