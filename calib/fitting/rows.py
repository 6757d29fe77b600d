"""From records to what the fit works with: one row of facts a unit, all logarithms natural and blanks NaN."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
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
LN_FORM = np.log([FORM_FACTOR[pair][0] for pair in PAIRS])


@dataclass(frozen=True)
class Facts:
    """Facts of units as arrays of one length; what is not known is NaN.

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
        return f"Facts of {len(self)} units"

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

    def take(self, index: np.ndarray) -> Facts:
        """The chosen rows, by position or by mask."""
        return Facts(
            self.frame.loc[index] if index.dtype == bool else self.frame.iloc[index],
            *(
                part[index]
                for part in (self.covariates, self.wire, self.reading_variance, self.form, self.response, self.pair)
            ),
        )

    def under(self, rectifier: str, filter: str) -> Facts:
        """The same units as if meant for another supply."""
        frame = self.frame.assign(rectifier=rectifier, filter=filter)
        metal = self.form - np.log(self.form_factor)
        form = metal + np.log(FORM_FACTOR[rectifier, filter][0])
        pair = np.full(len(self), PAIRS.index((rectifier, filter)))
        return Facts(frame, self.covariates, self.wire, self.reading_variance, form, self.response, pair)


STANDING = ("stop", "stop_cleared", "doubts")  # what stands against a unit, and goes wherever its figures go


def facts(records: pd.DataFrame) -> Facts:
    """Facts of known or unknown units.

    Parameters
    ----------
    records : pandas.DataFrame
        As :func:`calib.read_known` or :func:`calib.read_unknown` give it; it is not changed.

    Returns
    -------
    Facts
        One row a record, in the same order.
    """
    count = len(records)
    aluminium = text(records, "conductor") == "aluminium"
    zero = np.where(aluminium, resistance.INFERRED_ZERO_C["aluminium"], resistance.INFERRED_ZERO_C["copper"])
    ohm = resistance.resistance_at(
        _number(records, "hv_resistance_ohm"), _number(records, "winding_temp_c"), 20.0, zero
    )
    volts, gap = _volts(records)
    area = _areas(records)
    diameter = _diameters(records)
    square = np.pi * diameter**2 / 4
    equivalent = square * np.where(
        aluminium, resistance.RESISTIVITY_OHM_M["copper"] / resistance.RESISTIVITY_OHM_M["aluminium"], 1.0
    )
    pair = places([" ".join(one) for one in PAIRS], text(records, "rectifier") + " " + text(records, "filter"))
    form = LN_FORM[pair] - np.where(aluminium, ALUMINIUM_SHIFT, 0.0)
    v_over_r = volts / ohm
    covariates = np.column_stack(
        [
            np.ones(count),
            np.log(area / CENTRE_AREA_CM2),
            np.log(_number(records, "line_frequency_hz") / CENTRE_FREQUENCY_HZ),
            np.log(v_over_r / CENTRE_V_OVER_R),
            np.log(volts / CENTRE_VOLTS),
        ]
    )
    response = np.log(_number(records, "rated_current_ma")) - np.log(v_over_r) + form
    frame = _frame(records, volts, ohm, area, square, gap)
    return Facts(frame, covariates, np.log(equivalent), _reading_variance(records), form, response, pair)


def _frame(
    records: pd.DataFrame, volts: np.ndarray, ohm: np.ndarray, area: np.ndarray, square: np.ndarray, gap: np.ndarray
) -> pd.DataFrame:
    import pandas as pd

    names = ("contributor", "unit", "evidence", "rectifier", "filter", *STANDING)
    texts = {name: text(records, name) for name in names}
    return pd.DataFrame(
        {
            **texts,
            "no_load_v": volts,
            "resistance_ohm": ohm,
            "v_over_r": volts / ohm,
            "core_area_cm2": area,
            "size_class": size_classes(area),
            "wire_area_mm2": square,
            "reading_gap": gap,
            "simulated": _flag(records, "simulated"),
        }
    )


def size_classes(area_cm2: np.ndarray) -> np.ndarray:
    """Labels of the size classes of many cores at once; blank where the area is NaN."""
    place = np.searchsorted(core.SIZE_CLASSES, np.nan_to_num(area_cm2), side="right") - 1
    return np.where(np.isfinite(area_cm2), np.array(core.SIZE_CLASS_LABELS, dtype=object)[place], "")


def one_each(rows: Facts) -> tuple[Facts, tuple[str, ...]]:
    """One record a (contributor, unit), in an order of their own; a repeated record is not two opinions."""
    key = rows.frame[["contributor", "unit"]].assign(at=np.arange(len(rows)))
    key = key.sort_values(["contributor", "unit", "at"], kind="stable")
    last = key.drop_duplicates(["contributor", "unit"], keep="last")
    dropped = len(key) - len(last)
    notes = (f"{dropped} repeated record(s) of one contributor and unit counted once",) if dropped else ()
    return rows.take(last["at"].to_numpy(dtype=int)), notes


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


def _flag(records: pd.DataFrame, name: str) -> np.ndarray:
    if name not in records:
        return np.zeros(len(records), dtype=bool)
    return np.array([str(value).lower() == "true" for value in records[name]], dtype=bool)


def _volts(records: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """No-load volts of the whole winding, by ratio test where there is one, and how far it lies from a stated value."""
    direct = _number(records, "no_load_v")
    tested = ratio_test.no_load_voltage(
        _number(records, "excitation_v"), _number(records, "hv_v"), _number(records, "line_voltage_v")
    )
    return np.where(np.isfinite(tested), tested, direct), tested / direct - 1


def _areas(records: pd.DataFrame) -> np.ndarray:
    """Gross core area [cm2]: tongue times stack, else the stated area."""
    measured = core.core_area_cm2(_number(records, "tongue_mm"), _number(records, "stack_mm"))
    return np.where(np.isfinite(measured), measured, _number(records, "core_area_cm2"))


def _diameters(records: pd.DataFrame) -> np.ndarray:
    """Bare wire diameter [mm]: measured, else from the gauge."""
    measured = _number(records, "wire_diameter_mm")
    return np.where(np.isfinite(measured), measured, wire.awg_diameter_mm(_number(records, "awg")))


def _reading_variance(records: pd.DataFrame) -> np.ndarray:
    """Variance of ln(V/R) by JCGM 100: the squares of the two relative standard uncertainties added."""
    total = np.zeros(len(records))
    for name, usual in (
        ("u_voltage_pct", uncertainty.DEFAULT_U_VOLTAGE_PCT),
        ("u_resistance_pct", uncertainty.DEFAULT_U_RESISTANCE_PCT),
    ):
        stated = _number(records, name)
        total += (np.where(np.isfinite(stated), stated, usual) / 100) ** 2
    return total
