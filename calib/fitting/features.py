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
AC = PAIRS.index(("none", "none"))  # rms through the whole winding
# What is read of a unit, in the order of the regressions, as natural logarithms: volts of the whole winding over 600 V;
# V/R over 2 V/ohm; core area over 10 cm2; wire area in mm2, as copper of equal conductance; V over the primary's
# resistance as it shows on the high-voltage side, over 2 V/ohm; mass in kg.
READINGS = ("voltage", "v_over_r", "core", "wire", "primary", "weight")
VOLTAGE, V_OVER_R, CORE, WIRE, PRIMARY, WEIGHT = range(len(READINGS))
# What a primary's resistance may be uncertain by beyond an ordinary reading of it, in its ln, by the bounds of its
# standard uncertainty [%]: a few steps, so that records can be told apart by what was read of them, and how well.
COARSE, COARSE_FROM_PCT = np.array([0.0, 0.06, 0.2, 0.6]), np.array([3.0, 12.0, 35.0])
# Usual volts of the whole winding by supply (Radiotron Designer's Handbook, 4th ed.).
USUAL_VOLTS = {"full-wave": 620.0, "bridge": 280.0, "half-wave": 230.0, "doubler": 150.0, "none": 260.0}
LN_USUAL_VOLTS = np.log([USUAL_VOLTS[rectifier] / CENTRE_VOLTS for rectifier, _ in PAIRS])
RATIO_TEST = ("excitation_v", "hv_v", "line_voltage_v")
LN_FORM = np.log([FORM_FACTOR[pair][0] for pair in PAIRS])


@dataclass(frozen=True)
class Features:
    """Features of units as arrays of one length; what is not known is NaN.

    Attributes
    ----------
    frame : pandas.DataFrame
        contributor, unit, transformer, evidence, rectifier, filter, maker (in small letters), era (of ERAS),
        no_load_v [V], resistance_ohm (20 °C) [ohm], v_over_r [V/ohm], core_area_cm2 [cm2], size_class,
        wire_area_mm2 [mm2], ring (whether its sheets are, or may be, no scrapless EI), reading_gap (ratio test over
        no_load_v, less 1), kept (somebody found it right), published, simulated.
    readings : numpy.ndarray, shape (n, 6)
        In the order of READINGS.
    frequency : numpy.ndarray, shape (n,)
        ln(f/60 Hz).
    reading_variance : numpy.ndarray, shape (n,)
        Variance of ln(V/R) from the meters.
    form : numpy.ndarray, shape (n,)
        ln of winding rms per stated current for the unit's supply, less the shift of an aluminium winding: what turns
        ln(I / (V/R)) into the quantity that the copper obeys.
    response : numpy.ndarray, shape (n,)
        ln(k I / (V/R)) with I in mA; NaN for unknown units.
    pair : numpy.ndarray of int, shape (n,)
        Index of (rectifier, filter) in PAIRS; that of an ac rating where a maker's guide leads back to one.
    coarse : numpy.ndarray of int, shape (n,)
        Place in COARSE of how poorly the primary's resistance was read.
    """

    frame: pd.DataFrame
    readings: np.ndarray
    frequency: np.ndarray
    reading_variance: np.ndarray
    form: np.ndarray
    response: np.ndarray
    pair: np.ndarray
    coarse: np.ndarray

    def __len__(self) -> int:
        return len(self.form)

    def __repr__(self) -> str:
        return f"Features of {len(self)} units"

    @property
    def seen(self) -> np.ndarray:
        """Which readings were made, shape (n, 6)."""
        return np.isfinite(self.readings)

    @property
    def pattern(self) -> np.ndarray:
        """What was read and how well, shape (n, 8): `seen`, then the two bits of `coarse` where the primary was."""
        coarse = self.coarse * self.seen[:, PRIMARY]
        return np.column_stack([self.seen, coarse & 1, coarse >> 1]).astype(bool)

    @property
    def own(self) -> np.ndarray:
        """Which units are no published windings that were taken in beside them."""
        return ~self.frame["published"].to_numpy(dtype=bool)

    def beside(self, published: Features) -> Features:
        """These known units and the published windings, marked as such."""
        import pandas as pd

        marked = published.frame.assign(published=True)
        others = {name: np.concatenate([part, getattr(published, name)]) for name, part in _arrays(self).items()}
        return Features(pd.concat([self.frame, marked], ignore_index=True), **others)

    @property
    def counts(self) -> np.ndarray:
        """How many records each counts for: those of one (contributor, transformer) share one draw, and are one."""
        transformer = self.frame["transformer"].to_numpy(dtype=object)
        counts, tagged = np.ones(len(self)), np.flatnonzero(transformer != "")
        if len(tagged):
            keys = self.frame["contributor"].iloc[tagged] + SEPARATOR + transformer[tagged]
            counts[tagged] = 1 / keys.map(keys.value_counts()).to_numpy()
        return counts

    @property
    def has_core(self) -> np.ndarray:
        """Which units have a core area."""
        return self.seen[:, CORE]

    @property
    def rings(self) -> np.ndarray:
        """Which units' sheets are, or may be, no scrapless EI."""
        return self.frame["ring"].to_numpy(dtype=bool)

    @property
    def has_wire(self) -> np.ndarray:
        """Which units have a wire gauge."""
        return self.seen[:, WIRE]

    @property
    def has_ratio(self) -> np.ndarray:
        """Which units have both voltage and resistance."""
        return self.seen[:, V_OVER_R]

    @property
    def covariates(self) -> np.ndarray:
        """1, ln(area/10 cm2), ln(f/60 Hz), ln(V/R / 2), ln(V / 600 V), shape (n, 5)."""
        read = self.readings
        return np.column_stack([np.ones(len(self)), read[:, CORE], self.frequency, read[:, V_OVER_R], read[:, VOLTAGE]])

    @property
    def usual_volts(self) -> np.ndarray:
        """ln(V / 600 V) that is usual for each unit's supply."""
        return LN_USUAL_VOLTS[self.pair]

    @property
    def form_factor(self) -> np.ndarray:
        """Winding rms current per ampere of direct current of each unit's supply."""
        return np.exp(LN_FORM[self.pair])

    def without(self, *blank: int) -> Features:
        """The same units as if some of READINGS had not been made."""
        readings = self.readings.copy()
        readings[:, list(blank)] = np.nan
        return replace(self, readings=readings, frame=self.frame.assign(size_class="") if CORE in blank else self.frame)

    def take(self, index: np.ndarray) -> Features:
        """The chosen rows, by position or by mask."""
        frame = self.frame.loc[index] if index.dtype == bool else self.frame.iloc[index]
        return Features(frame, **{name: part[index] for name, part in _arrays(self).items()})

    def under(self, rectifier: str, filter: str) -> Features:
        """The same units as if meant for another supply."""
        return replace(
            self,
            frame=self.frame.assign(rectifier=rectifier, filter=filter),
            form=self.form - np.log(self.form_factor) + np.log(FORM_FACTOR[rectifier, filter][0]),
            pair=np.full(len(self), PAIRS.index((rectifier, filter))),
        )


def _arrays(rows: Features) -> dict[str, np.ndarray]:
    return {name: part for name, part in vars(rows).items() if name != "frame"}


SEPARATOR = "\x1f"  # of two names in one key
STANDING = ("stop", "stop_cleared", "doubts")  # what stands against a unit, and goes wherever its figures go
TEXTS = ("contributor", "unit", "transformer", "evidence", "rectifier", "filter", *STANDING)
ERAS, LAST_OLD_YEAR = ("up to 1975 or not told", "later"), 1975


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
    pair, form = _supply(records)
    form -= np.where(aluminium, ALUMINIUM_SHIFT, 0.0)
    v_over_r = volts / ohm
    primary = resistance.resistance_at(number("primary_resistance_ohm"), number("winding_temp_c"), 20.0, zero)
    reflected = number("line_voltage_v") ** 2 / (primary * volts)
    scaled = (volts / CENTRE_VOLTS, v_over_r / CENTRE_V_OVER_R, area / CENTRE_AREA_CM2, equivalent)
    readings = np.log(np.column_stack([*scaled, reflected / CENTRE_V_OVER_R, number("weight_kg")]))
    # A unit of which its wire alone is known may lack it; it hardly matters there.
    frequency = np.nan_to_num(np.log(number("line_frequency_hz") / CENTRE_FREQUENCY_HZ))
    coarse = np.searchsorted(COARSE_FROM_PCT, np.nan_to_num(number("u_primary_pct")), side="right")
    response = np.log(number("rated_current_ma")) - np.log(v_over_r) + form
    frame = pd.DataFrame(
        {
            **{name: text(records, name) for name in TEXTS},
            "maker": [name.strip().lower() for name in text(records, "maker")],
            "era": np.array(ERAS, dtype=object)[(number("made_year") > LAST_OLD_YEAR).astype(int)],
            "no_load_v": volts,
            "resistance_ohm": ohm,
            "v_over_r": v_over_r,
            "core_area_cm2": area,
            "size_class": size_classes(area),
            "wire_area_mm2": square,
            "reading_gap": tested / direct - 1,
            **_marks(records),
            "published": False,
            "simulated": np.char.lower(text(records, "simulated").astype(str)) == "true",
        }
    )
    return Features(frame, readings, frequency, _reading_variance(records), form, response, pair, coarse)


def _marks(records: pd.DataFrame) -> dict[str, np.ndarray]:
    """Whether each was kept, and its ring: where nobody said what its sheets are, a core known by its area alone."""
    sheets, by_area = (
        text(records, "lamination"),
        np.isnan(_number(records, "tongue_mm") * _number(records, "stack_mm")),
    )
    ring = np.where(sheets == "", by_area, sheets != "ei-scrapless")
    return {"ring": ring, "kept": text(records, "kept") != ""}


def _supply(records: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Place in PAIRS, and ln of winding rms per stated current; by a maker's guide its factor over an ac one."""
    pair = places([" ".join(one) for one in PAIRS], text(records, "rectifier") + " " + text(records, "filter"))
    guide = text(records, "rating_basis") == "guide"
    pair = np.where(guide, AC, pair)
    return pair, np.where(guide, -np.log(_number(records, "guide_factor")), LN_FORM[pair])


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
    place = {name: at for at, name in enumerate(known)}
    return np.array([place.get(value, -1) for value in np.asarray(values, dtype=object)], dtype=np.intp)


def _number(records: pd.DataFrame, name: str) -> np.ndarray:
    if name not in records:
        return np.full(len(records), np.nan)
    return records[name].to_numpy(dtype=float, na_value=np.nan)


def text(records: pd.DataFrame, name: str) -> np.ndarray:
    import pandas as pd

    if name not in records:
        return np.full(len(records), "", dtype=object)
    cells = records[name].to_numpy(dtype=object)
    blank = np.asarray(pd.isna(cells), dtype=bool)
    return np.array(["" if none else str(cell) for none, cell in zip(blank, cells, strict=True)], dtype=object)


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
