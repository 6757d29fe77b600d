"""What the heater windings of an unknown unit can give: by the same copper drop as its high-voltage winding's.

In one transformer makers share the copper about evenly, so that every winding loses about the same part of its voltage
at its rating. That part is what the fit tells of the high-voltage winding; a heater's rms current follows from its own
voltage and resistance. It is a rough answer: the winding is of thicker wire, lies elsewhere in the window, and its
resistance is small beside that of the test leads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from calib.bench.ratio_test import usual_heater_v
from calib.bench.resistance import INFERRED_ZERO_C, resistance_at
from calib.bench.uncertainty import (
    DEFAULT_U_VOLTAGE_PCT,
    LEAD_NULL_U_OHM,
    ORDINARY_OHMMETER,
    WINDING_TEMP_HALF_WIDTH_K,
    MeterClass,
    rectangular,
    standard_uncertainty,
)
from calib.errors import not_negative, positive
from calib.fitting import Multiplier, Prediction, RatedCurrent
from calib.fitting.predictive import check_level, ln_v_over_r, one_unit

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting.predictive import Readings

# A heater winding's drop at its rating over the high-voltage winding's, geometric mean, and the standard deviation of
# its ln: 8 windings of a present-day maker's part drawings (datasets/published).
HEATER_DROP, HEATER_SPREAD = 1.14, 0.23
# Four wires, or a known current and a millivoltmeter: 1 % and 3 steps of a milliohm (judgement).
FOUR_WIRE_METER = MeterClass(percent=1.0, counts=3, resolution=0.001)
# A resistance that is not above so many of its standard uncertainties is lost in them (judgement).
LOST_BELOW_U = 2.5
UNREAD = "the high-voltage winding's volts and resistance were not both read, so its drop is not known"
UNTOLD = "the high-voltage winding's readings do not go together, so its drop is not known: read them again"


@dataclass(frozen=True)
class HeaterReading:
    """A heater winding as read, end to end.

    Attributes
    ----------
    name : str
        What it is called.
    no_load_v : float
        No-load voltage at the nominal line, rms, above 0 [V].
    reading_ohm : float
        Resistance as the meter shows it, 0 or more; NaN where not read [ohm].
    null_ohm : float or None
        Reading with the clips joined, 0 or more; None for a four-wire reading, which needs no null [ohm].
    meter : MeterClass
        Of the ohmmeter on its range.
    u_voltage_pct : float
        Relative standard uncertainty of the voltage, 0 or more [%].
    winding_temp_c : float
        Temperature of the winding [°C].
    drawn_a : float
        What its valves draw, rms, 0 or more; NaN where not known [A].
    rated_a : float
        What a plate or the maker's sheet says that it gives, rms, 0 or more; NaN where nothing does [A].
    """

    name: str
    no_load_v: float
    reading_ohm: float = math.nan
    null_ohm: float | None = None
    meter: MeterClass = FOUR_WIRE_METER
    u_voltage_pct: float = DEFAULT_U_VOLTAGE_PCT
    winding_temp_c: float = 20.0
    drawn_a: float = math.nan
    rated_a: float = math.nan

    def __post_init__(self) -> None:
        if math.isnan(self.no_load_v):
            raise ValueError(f"no-load voltage of {self.name} is nan V: it is needed")
        positive(f"no-load voltage of {self.name}", self.no_load_v, "V")
        not_negative(f"resistance of {self.name}", self.reading_ohm, "ohm")
        if self.null_ohm is not None:
            not_negative(f"lead null of {self.name}", self.null_ohm, "ohm")
        not_negative(f"current drawn from {self.name}", self.drawn_a, "A")
        not_negative(f"rated current of {self.name}", self.rated_a, "A")
        not_negative(f"relative uncertainty of the voltage of {self.name}", self.u_voltage_pct, "%")

    @classmethod
    def two_wire(cls, name: str, no_load_v: float, reading_ohm: float, null_ohm: float) -> HeaterReading:
        """A reading by two leads of an ordinary ohmmeter and its null, all in V and ohm."""
        return cls(name, no_load_v, reading_ohm, null_ohm, ORDINARY_OHMMETER)

    def net_ohm(self, inferred_zero_c: float = INFERRED_ZERO_C["copper"]) -> tuple[float, float]:
        """Resistance at 20 °C, the null taken off, and its standard uncertainty [ohm]; below 0 where null exceeds it.

        The meter's class, the null and a temperature known within 1.5 K add in quadrature (JCGM 100:2008).
        """
        net = self.reading_ohm - (self.null_ohm or 0.0)
        null_u = 0.0 if self.null_ohm is None else LEAD_NULL_U_OHM
        read_u = math.hypot(standard_uncertainty(self.reading_ohm, self.meter), null_u)
        factor = resistance_at(1.0, self.winding_temp_c, inferred_zero_c=inferred_zero_c)
        temp_u = rectangular(WINDING_TEMP_HALF_WIDTH_K) / (inferred_zero_c + self.winding_temp_c)
        return net * factor, math.hypot(read_u, net * temp_u) * factor


@dataclass(frozen=True)
class HeaterEstimate:
    """What one heater winding can give.

    Attributes
    ----------
    name : str
        As read.
    no_load_v : float
        As read, rms [V].
    usual_v : float
        Usual heater voltage that it stands for, rms; NaN where it fits none [V].
    resistance_ohm, u_resistance_ohm : float
        At 20 °C, with its standard uncertainty; NaN where not read [ohm].
    drawn_a : float
        What its valves draw, rms; NaN where not known [A].
    rated_a, low_a, high_a : float
        rms current (median) and the interval that holds the winding's own rating with probability `level`; NaN where
        the resistance does not tell it [A].
    level : float
        Probability of the interval [-].
    reason : str
        Why there is no figure; blank where there is one.
    flags : tuple of str
        What a reader must know: no-usual-voltage, or several-voltages where more than one fits.
    """

    name: str
    no_load_v: float
    usual_v: float
    resistance_ohm: float
    u_resistance_ohm: float
    drawn_a: float
    rated_a: float
    low_a: float
    high_a: float
    level: float
    reason: str
    flags: tuple[str, ...]

    @property
    def load_va(self) -> float:
        """Volt-amperes at its usual voltage, or its own: of what is drawn, else of its rating; NaN where not told."""
        amperes = self.rated_a if math.isnan(self.drawn_a) else self.drawn_a
        return (self.no_load_v if math.isnan(self.usual_v) else self.usual_v) * amperes

    def __str__(self) -> str:
        usual = "no usual heater voltage" if math.isnan(self.usual_v) else f"{self.usual_v:g} V"
        if self.reason:
            return f"{self.name}, {usual}: no current told; {self.reason}"
        return f"{self.name}, {usual}: about {self.rated_a:.2g} A, between {self.low_a:.2g} and {self.high_a:.2g} A"


@dataclass(frozen=True)
class HeaterAnswer:
    """What the heater windings of one unit can give.

    Attributes
    ----------
    drop, drop_low, drop_high : float
        Part of its voltage that the unit's high-voltage winding loses in its copper at its rating, with the interval at
        `level` [per mille].
    windings : tuple of HeaterEstimate
        In the order given.
    level : float
        Probability of the intervals [-].
    simulated : bool
        Whether the unit or any known unit is simulated.
    """

    drop: float
    drop_low: float
    drop_high: float
    windings: tuple[HeaterEstimate, ...] = field(repr=False)
    level: float
    simulated: bool

    def __str__(self) -> str:
        head = ("Simulated practice data.",) if self.simulated else ()
        return "\n".join([*head, *(str(one) for one in self.windings)])

    def frame(self) -> pd.DataFrame:
        """One row a winding, its attributes as columns, the flags joined by semicolons."""
        import pandas as pd

        columns = list(HeaterEstimate.__dataclass_fields__)
        rows = [{**vars(one), "flags": ";".join(one.flags)} for one in self.windings]
        return pd.DataFrame(rows, columns=columns)


def heater_currents(
    model: Multiplier,
    readings: Readings,
    windings: Sequence[HeaterReading],
    level: float = 0.9,
    as_read: bool = False,
) -> HeaterAnswer:
    """Rms currents of a unit's heater windings, beside what its high-voltage winding gives.

    Parameters
    ----------
    model : Multiplier
        A fit.
    readings : pandas.DataFrame, UnknownUnit or mapping
        The unit's one row as :func:`calib.read_unknown` gives it, its record, or its fields by name; its core,
        frequency and V/R tell the drop.
    windings : sequence of HeaterReading
        Its heater windings.
    level : float
        Probability of the intervals, above 0 and below 1.
    as_read : bool
        Whether the unit's readings are taken as sound even where its own current is withheld.

    Returns
    -------
    HeaterAnswer
        I = HEATER_DROP (drop / 1000) V / R each, its spread that of the unit's drop, HEATER_SPREAD and the readings
        together; where the unit's own current is withheld (see :meth:`calib.Multiplier.estimate`), nothing but the
        reason.

    Raises
    ------
    ValueError
        Not one row, or a level outside 0 to 1.
    InputError
        The row would be refused in a file, with every fault.

    Notes
    -----
    The drop is the multiplier of the same winding without a rectifier, 1000 I R / V with I in rms. Source of the even
    share: Magnetic Circuits and Transformers (MIT EE Staff); Electronic Transformers and Circuits (R. Lee).
    """
    return heaters_of_unit(one_unit(model, readings, as_read), windings, check_level(level))


def heaters_of_unit(asked: Prediction, windings: Sequence[HeaterReading], level: float) -> HeaterAnswer:
    """As :func:`heater_currents`, of one unit."""
    model, rows = asked.model, asked.rows.under("none", "none")
    simulated = model.simulated or bool(rows.frame["simulated"].iloc[0])
    zero = INFERRED_ZERO_C["aluminium" if asked.readings["conductor"].iloc[0] == "aluminium" else "copper"]
    if (asked.withheld[0] and not asked.as_read) or not rows.has_ratio[0]:
        why = UNTOLD if rows.has_ratio[0] else UNREAD
        made = tuple(_estimate(one, why, zero, level) for one in windings)
        return HeaterAnswer(math.nan, math.nan, math.nan, made, level, simulated)
    rated = model.predictive(rows)
    per_mille = replace(rated, ln_mean=rated.ln_mean - ln_v_over_r(model.matrix(rows)))
    drop, low, high = _limits(per_mille, level)
    made = tuple(_estimate(one, per_mille, zero, level) for one in windings)
    return HeaterAnswer(drop, low, high, made, level, simulated)


def _estimate(read: HeaterReading, drop: RatedCurrent | str, inferred_zero_c: float, level: float) -> HeaterEstimate:
    """What a heater winding gives, by the high-voltage winding's drop [per mille]; or nothing but why there is none."""
    ohm, u_ohm = read.net_ohm(inferred_zero_c)
    fitting = usual_heater_v(read.no_load_v)
    flags = ("no-usual-voltage",) if not fitting else ("several-voltages",) if len(fitting) > 1 else ()
    blank = HeaterEstimate(
        name=read.name,
        no_load_v=read.no_load_v,
        usual_v=fitting[0] if fitting else math.nan,
        resistance_ohm=ohm,
        u_resistance_ohm=u_ohm,
        drawn_a=read.drawn_a,
        rated_a=math.nan,
        low_a=math.nan,
        high_a=math.nan,
        level=level,
        reason=_reason(ohm, u_ohm, four_wire=read.null_ohm is None) or (drop if isinstance(drop, str) else ""),
        flags=flags,
    )
    if blank.reason or isinstance(drop, str):
        return blank
    own = HEATER_SPREAD**2 + (read.u_voltage_pct / 100.0) ** 2 + (u_ohm / ohm) ** 2
    ln_current = drop.ln_mean + math.log(HEATER_DROP / 1000.0) + math.log(read.no_load_v / ohm)
    middle, low, high = _limits(RatedCurrent(drop.share, ln_current, np.sqrt(drop.ln_sd**2 + own)), level)
    return replace(blank, rated_a=middle, low_a=low, high_a=high)


def _limits(rated: RatedCurrent, level: float) -> tuple[float, float, float]:
    tail = (1.0 - level) / 2.0
    middle, low, high = (math.exp(rated.ln_ppf(at)[0]) for at in (0.5, tail, 1.0 - tail))
    return middle, low, high


def _reason(ohm: float, u_ohm: float, *, four_wire: bool) -> str:
    """Why a resistance tells no current; blank where it does."""
    if math.isnan(ohm):
        return "its resistance was not read: read it by four wires"
    if ohm > LOST_BELOW_U * u_ohm:
        return ""
    remedy = "use a finer range or a larger known current" if four_wire else "read it by four wires"
    return f"its {ohm:.2g} ohm is lost in the reading's uncertainty of {u_ohm:.2g} ohm: {remedy}"
