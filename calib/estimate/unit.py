"""One unknown unit: its estimate, the working as one would do it on paper, and what would sharpen it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from calib.estimate import opinions, second_look, sharpen, supply_notes, working
from calib.estimate.core_opinion import CoreOpinion, core_of_unit
from calib.estimate.heaters import HeaterAnswer, HeaterReading, heater_currents
from calib.fitting import Facts, Multiplier, facts
from calib.fitting.predict import density, quantiles
from calib.fitting.tables import sheets_of
from calib.fitting.weighing import SOUND, Typed
from calib.register.frame import checked, record_of
from calib.register.improbable import Unlikely, improbabilities
from calib.register.records import UnknownUnit, standing
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import pandas as pd

TOLD = {"stop": "STOP, feed it nothing", "cleared": "A stop was cleared", "doubt": "Doubt"}
CURVE_POINTS = 161
CURVE_TAIL = 0.0015
RATED_IS_NOT_SAFE = (
    "Rated is not safe here: a maker's rating allows for the maker's own air and rise, commonly 40 °C round the unit "
    "and 60 K on it. In a hot cabinet, or with the smaller rise that an old winding deserves, it may give less."
)
CAUTIONS = (
    "Voltages in this equipment can kill. A winding fed from a low-voltage source can still put lethal voltage on "
    "another winding.",
    "Before mains is applied: insulation test passed, core and frame bonded to protective earth, the right time-lag "
    "fuse in the line conductor, secondaries open, a series lamp or other current limit, and a person watching.",
    RATED_IS_NOT_SAFE,
    "This is an estimate from a statistical fit, not a rating and no approval; local codes and licensed practice take "
    "precedence.",
)


@dataclass(frozen=True)
class UnitEstimate:
    """What an unknown unit can give, and how that was reckoned.

    Attributes
    ----------
    answer : pandas.DataFrame
        One row with the columns of :meth:`calib.Multiplier.estimate`. Where its currents are withheld, curve, opinions
        and sharpen are empty, the heater windings have no currents, and core is None.
    other : pandas.DataFrame
        The same for the other filter with the same rectifier; no row where there is none.
    working : pandas.DataFrame
        step, formula, value, unit: line by line.
    curve : pandas.DataFrame
        current_ma, density: how the unit's rating is spread, per unit of ln current.
    opinions : pandas.DataFrame
        predictors, rated_current_ma, low_ma, high_ma: what each set of readings says by itself; core-volt-amperes is
        what the core leaves for the winding.
    sharpen : tuple of str
        What would narrow the interval, the most useful first.
    cautions : tuple of str
        To be read before the unit is used.
    heaters : HeaterAnswer or None
        What the heater windings give; None where nothing was said of them.
    core : CoreOpinion or None
        What the core leaves for the winding; None without a tongue, where nothing tells the window of its sheets, or
        where nothing was said of the heaters.
    disagreement : pandas.DataFrame
        reading, value, unit, expected, low, high: the readings that lie where the others do not lead one to expect
        them; no row where the readings are not suspect.
    repairs : pandas.DataFrame
        slip, odds, then, repaired_ma, repaired_low_ma, repaired_high_ma [mA]: what the repair of each likely slip would
        give; likewise.
    simulated : bool
        Whether the unit or any known unit is simulated.
    supply : tuple of str
        What is to be known of the supply: how far its winding current spreads, the core's bias, the primary's limit.
    level : float
        Probability of the intervals, and of the rating's being at least floor_ma.
    improbable : tuple of Unlikely
        Readings that are worth a second look by themselves: column and why, with what was probably meant.
    """

    answer: pd.DataFrame = field(repr=False)
    other: pd.DataFrame = field(repr=False)
    working: pd.DataFrame = field(repr=False)
    curve: pd.DataFrame = field(repr=False)
    opinions: pd.DataFrame = field(repr=False)
    sharpen: tuple[str, ...] = field(repr=False)
    cautions: tuple[str, ...] = field(repr=False)
    heaters: HeaterAnswer | None = field(repr=False)
    core: CoreOpinion | None = field(repr=False)
    disagreement: pd.DataFrame = field(repr=False)
    repairs: pd.DataFrame = field(repr=False)
    simulated: bool
    level: float = 0.9
    supply: tuple[str, ...] = field(default=(), repr=False)
    improbable: tuple[Unlikely, ...] = field(default=(), repr=False)

    @property
    def withheld(self) -> bool:
        """Whether no current is told, since the readings do not go together."""
        return bool(np.isnan(self.answer["rated_current_ma"].iloc[0]))

    def __str__(self) -> str:
        row = self.answer.iloc[0]
        head = "".join(f"{TOLD[kind]}: {said.rstrip('.')}. " for kind, said in standing(dict(row)))
        head += "Simulated practice data. " if self.simulated else ""
        if self.withheld:
            told = "no current is told, since its readings do not go together."
        else:
            told = (
                f"most likely {row['rated_current_ma']:.0f} mA, between {row['low_ma']:.0f} and "
                f"{row['high_ma']:.0f} mA; {self.level:.0%} of units like this are rated at least "
                f"{row['floor_ma']:.0f} mA."
            )
        said = (f" Worth a second look: {one.column}: {one.why}" for one in self.improbable)
        unlikely = "".join(one if one.endswith("?") else f"{one}." for one in said)
        air = "" if self.withheld else f" {RATED_IS_NOT_SAFE}"
        return f"{head}{row['unit']}: {told}{_slip_told(row)}{unlikely}{air}"


def _slip_told(row: pd.Series) -> str:
    """The likeliest slip of suspect readings and what its repair would give; blank for sound ones."""
    if not row["likely_slip"]:
        return ""
    figures = (row[name] for name in ("repaired_ma", "repaired_low_ma", "repaired_high_ma"))
    middle, low, high = (f"{value:.0f}" for value in figures)
    again = f"that put right: about {middle} mA, between {low} and {high} mA. Read it again before you go on."
    return f" The likeliest slip: {row['likely_slip']}; {again}"


def estimate_unit(
    model: Multiplier,
    readings: pd.DataFrame,
    level: float = 0.9,
    heaters: Sequence[HeaterReading] | None = None,
    as_read: bool = False,
) -> UnitEstimate:
    """Estimate one unknown unit, with all that a person needs to check it.

    Parameters
    ----------
    model : Multiplier
        A fit.
    readings : pandas.DataFrame
        One row as :func:`calib.read_unknown` gives it, or made by hand with the same columns.
    level : float
        Probability of the interval, above 0 and below 1.
    heaters : sequence of HeaterReading or None
        All its heater windings, none being a valid number; None where they were not looked at.
    as_read : bool
        Whether every reading is taken as sound, as in :meth:`calib.Multiplier.estimate`.

    Returns
    -------
    UnitEstimate
        Complete.

    Raises
    ------
    ValueError
        Not one row, or a level outside 0 to 1.
    InputError
        The row would be refused in a file, with every fault.
    """
    if len(readings) != 1:
        raise ValueError(f"readings hold {len(readings)} rows: give one unit at a time, or use Multiplier.estimate")
    readings = checked(UnknownUnit, readings)
    rows, typed = facts(readings), Typed.of(readings)
    answer, found = model.estimate(readings, level, as_read), model.weighed(rows, typed)
    flags, spread = answer["flags"].iloc[0].split(";"), model.predictive(rows) if as_read else model.mixture(found)
    told = as_read or "withheld" not in flags
    lit = None if heaters is None else heater_currents(model, readings, heaters, level, as_read)
    core = _core(readings, rows, lit, level) if told else None
    limit = np.sqrt(0.5) if "primary-limit" in flags else 1.0
    said = opinions.opinions(model, rows, level, None if as_read else typed)
    disagreement, repairs = second_look.nothing()
    if found.odds[0, 0] < SOUND or "withheld" in flags:
        repairs = second_look.repairs(model, found, level)
        disagreement = second_look.disagreement(found, list(repairs["slip"]), level)
    return UnitEstimate(
        answer=answer,
        other=_other(model, readings, level, as_read),
        working=working.lines(model, readings, rows, answer.iloc[0]),
        curve=_limited(_curve(spread), limit).iloc[: None if told else 0],
        opinions=_with_core(_limited(said, limit), core).iloc[: None if told else 0],
        sharpen=sharpen.advice(model, rows) if told else (),
        cautions=CAUTIONS,
        heaters=lit,
        core=core,
        disagreement=disagreement,
        repairs=_limited(repairs, limit),
        simulated="simulated" in flags,
        level=level,
        supply=supply_notes.notes(readings, rows, answer.iloc[0]),
        improbable=tuple(improbabilities(record_of(UnknownUnit, dict(readings.iloc[0])))),
    )


def _core(readings: pd.DataFrame, rows: Facts, heaters: HeaterAnswer | None, level: float) -> CoreOpinion | None:
    """What the core leaves, where tongue and window are known and the heaters are."""
    sheets = sheets_of(readings)[0]
    if heaters is None or not rows.has_core[0] or sheets is None:
        return None
    return core_of_unit(rows, sheets, heaters.windings, level)


def _limited(table: pd.DataFrame, limit: float) -> pd.DataFrame:
    """A table with its currents at so much of what the winding by itself would give."""
    return table.assign(**{name: table[name] * limit for name in table.columns if name.endswith("_ma")})


def _with_core(said: pd.DataFrame, core: CoreOpinion | None) -> pd.DataFrame:
    """What each set of readings says; the core's volt-amperes before the last, which is the answer."""
    import pandas as pd

    if core is None or not np.isfinite(core.rated_current_ma):
        return said
    return pd.concat([said.iloc[:-1], core.frame(), said.iloc[-1:]], ignore_index=True)


def _other(model: Multiplier, readings: pd.DataFrame, level: float, as_read: bool) -> pd.DataFrame:
    """The estimate for the other filter, where the rectifier takes one."""
    swapped = {"capacitor": "choke", "choke": "capacitor"}.get(str(readings["filter"].iloc[0]), "")
    if (readings["rectifier"].iloc[0], swapped) not in FORM_FACTOR:
        return model.estimate(readings.iloc[:0], level)
    return model.estimate(readings.assign(filter=swapped), level, as_read)


def _curve(spread: tuple[np.ndarray, np.ndarray, np.ndarray]) -> pd.DataFrame:
    """Density of the rating over the range that matters."""
    import pandas as pd

    share, mean, sd = spread
    low, high = (quantiles(share, mean, sd, at)[0] for at in (CURVE_TAIL, 1 - CURVE_TAIL))
    ln_current = np.linspace(low, high, CURVE_POINTS)
    return pd.DataFrame({"current_ma": np.exp(ln_current), "density": density(share, mean, sd, ln_current)})
