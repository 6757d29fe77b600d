"""One unknown unit: its estimate, what each set of readings says, what does not fit, and what would sharpen it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from calib.estimate import working
from calib.estimate.core_rating import CoreOpinion, core_of_unit
from calib.estimate.heaters import HeaterAnswer, HeaterReading, heaters_of_unit
from calib.estimate.working import narrowing
from calib.fitting import Multiplier, Prediction, RatedCurrent
from calib.fitting.features import (
    CENTRE_V_OVER_R,
    CORE,
    ERAS,
    PRIMARY,
    READINGS,
    V_OVER_R,
    VOLTAGE,
    WEIGHT,
    WIRE,
    Features,
)
from calib.fitting.gross_errors import NAMES, SUSPECT_BELOW, SWAPPED, Weighed, plausible
from calib.fitting.model import GRADES
from calib.fitting.predictive import NAMED, density, one_unit, predictors
from calib.fitting.tables import estimates, repaired, sheets_of
from calib.paths import data
from calib.register.frame import record_of
from calib.register.improbable import Unlikely, improbabilities
from calib.register.records import UnknownUnit, standing
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting.predictive import Readings

STANDS = {"stop": "STOP, feed it nothing", "cleared": "A stop was cleared", "doubt": "Doubt"}
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
WORTH_A_REPAIR, MOST_REPAIRS = 0.01, 5  # odds below which a slip's repair is not worth a look, and how many are shown
FREE = 3.0  # standard deviation in ln of a reading that is asked what the others lead one to expect of it
NOTHING = 1e-9
# Readings that may be made yet, and what they are called to people.
ADVISED = {(VOLTAGE, V_OVER_R): "the winding's volts and resistance", (CORE,): "the core: tongue and stack"}
ADVISED |= {(WIRE,): "the wire's gauge", (PRIMARY,): "the primary's resistance", (WEIGHT,): "the weight"}
OLD_ONE = "one old unit of known rating in the register, which has none made up to 1975"
ONE_LIKE_IT = "one more known unit like it in the register"
WORTH_A_READING = 0.02  # a narrowing below this share of the width is not worth a reading
FEW = 30
DISAGREEMENT = ("reading", "value", "unit", "expected", "low", "high")
NARROWED = ("reading", "rated_current_ma", "low_ma", "high_ma", "width", "without", "level")
BESIDE = ("when", "rated_current_ma", "low_ma", "high_ma", "odds_of_proven", "level")
REPAIRS = ("slip", "odds", "then", "repaired_ma", "repaired_low_ma", "repaired_high_ma")


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
        predictors, rated_current_ma, low_ma, high_ma, level: what each set of readings says by itself;
        core-volt-amperes is what the core leaves for the winding.
    sharpen : tuple of str
        What would narrow the interval, the most useful first.
    cautions : tuple of str
        To be read before the unit is used.
    heaters : HeaterAnswer or None
        What the heater windings give; None where nothing was said of them.
    core : CoreOpinion or None
        What the core leaves for the winding; None without a tongue or volts, where nothing tells the window of its
        sheets, or where nothing was said of the heaters.
    disagreement : pandas.DataFrame
        reading, value, unit, expected, low, high, level: the readings that lie where the others do not lead one to
        expect them; no row where the readings are not suspect.
    repairs : pandas.DataFrame
        slip, odds, then, repaired_ma, repaired_low_ma, repaired_high_ma [mA], level: what the repair of each likely
        slip would give; likewise.
    simulated : bool
        Whether the unit or any known unit is simulated.
    supply : tuple of str
        What is to be known of the supply: how far its winding current spreads, the core's bias, the primary's limit.
    level : float
        Probability of the intervals, and of the rating's being at least floor_ma.
    improbable : tuple of Unlikely
        Readings that are worth a second look by themselves: column and why, with what was probably meant.
    narrowing : pandas.DataFrame
        What each reading took off the interval, see :func:`calib.estimate.working.narrowing`; no row where the
        currents are withheld, or only one set of readings speaks.
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
    narrowing: pd.DataFrame = field(default_factory=lambda: _table([], NARROWED), repr=False)

    @property
    def unused(self) -> tuple[str, ...]:
        """What was given of the unit and did not move its current, each with why."""
        why = data("unused.toml")
        return tuple(why[name] for name in self.answer["unused"].iloc[0].split("+") if name)

    @property
    def withheld(self) -> bool:
        """Whether no current is told, since the readings do not go together."""
        return bool(np.isnan(self.answer["rated_current_ma"].iloc[0]))

    def __str__(self) -> str:
        row = self.answer.iloc[0]
        head = "".join(f"{STANDS[kind]}: {said.rstrip('.')}. " for kind, said in standing(dict(row)))
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
        idle = "".join(f" Given, but not used: {one}." for one in self.unused)
        air = "" if self.withheld else f" {RATED_IS_NOT_SAFE}"
        return f"{head}{row['unit']}: {told}{_narrowing_told(self.narrowing)}{_slip_told(row)}{unlikely}{idle}{air}"


def _narrowing_told(table: pd.DataFrame) -> str:
    """What each reading made of the interval, in their order; blank where one set of readings speaks."""
    if not len(table):
        return ""
    steps = (f"{one['reading']} {one['low_ma']:.0f} to {one['high_ma']:.0f} mA" for one in table.to_dict("records"))
    return f" Reading by reading, each with those before it: {'; '.join(steps)}."


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
    readings: Readings,
    level: float = 0.9,
    heaters: Sequence[HeaterReading] | None = None,
    as_read: bool = False,
) -> UnitEstimate:
    """Estimate one unknown unit, with all that a person needs to check it.

    Parameters
    ----------
    model : Multiplier
        A fit.
    readings : pandas.DataFrame, UnknownUnit or mapping
        One row as :func:`calib.read_unknown` gives it, or made by hand with the same columns; or the record of one
        unit, or its fields by name.
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
    asked = one_unit(model, readings, as_read, "use Multiplier.estimate")
    answer = estimates(asked, level)
    flags, found = answer["flags"].iloc[0].split(";"), asked.weighed
    shown = as_read or "withheld" not in flags
    lit = None if heaters is None else heaters_of_unit(asked, heaters, level)
    core = _core(asked, lit, level) if shown else None
    limit = np.sqrt(0.5) if "primary-limit" in flags else 1.0
    suspect = found.odds[0, 0] < SUSPECT_BELOW or "withheld" in flags
    put_right = repairs(asked, level) if suspect else _table([], REPAIRS).assign(level=level)
    return UnitEstimate(
        answer=answer,
        other=_other(asked, answer, level),
        working=working.lines(asked, answer.iloc[0]),
        curve=_limited(_curve(asked.rated), limit).iloc[: None if shown else 0],
        opinions=_with_core(_limited(opinions(asked, level), limit), core).iloc[: None if shown else 0],
        sharpen=advice(asked) if shown else (),
        cautions=CAUTIONS,
        heaters=lit,
        core=core,
        disagreement=disagreement(found, list(put_right["slip"]), level)
        if suspect
        else _table([], DISAGREEMENT).assign(level=level),
        repairs=_limited(put_right, limit),
        simulated="simulated" in flags,
        level=level,
        supply=working.supply_notes(asked, answer.iloc[0]),
        narrowing=_narrowed(asked, level, limit, shown),
        improbable=tuple(improbabilities(record_of(UnknownUnit, dict(asked.readings.iloc[0])))),
    )


def beside_heat_run(model: Multiplier, unknown: Readings, proven_ma: float, level: float = 0.9) -> pd.DataFrame:
    """What a unit's readings say of its rating, and what they say with a heat run beside them.

    Parameters
    ----------
    model : Multiplier
        The fit.
    unknown : pandas.DataFrame, UnknownUnit or mapping
        One unit.
    proven_ma : float
        Current at the reference rise, as `calib.heat_run` gives it, above 0 [mA].
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        Rows before and after (column when): rated_current_ma, low_ma, high_ma [mA], odds_of_proven (that the rating is
        as much, 0 to 1), level. No row where the unit's currents are withheld. By `RatedCurrent.beside`.
    """
    asked = one_unit(model, unknown, as_read=False)
    if asked.withheld[0]:
        return _table([], BESIDE)
    both = {"before": asked.rated, "after": asked.rated.beside(proven_ma, GRADES["heat-run"].sd)}
    rows = [(when, *one.limits(level)[:, 0], one.sf(np.array([proven_ma]))[0], level) for when, one in both.items()]
    return _table(rows, BESIDE)


def _table(lines: list[tuple[object, ...]], columns: Sequence[str]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(lines, columns=list(columns))


def _narrowed(asked: Prediction, level: float, limit: float, shown: bool) -> pd.DataFrame:
    """What each reading took off the interval; no row where no current is shown, or one set of readings speaks."""
    made = narrowing(asked, level) if shown else _table([], NARROWED)
    return _limited(made if len(made) > 1 else made.iloc[:0], limit)


def _core(asked: Prediction, heaters: HeaterAnswer | None, level: float) -> CoreOpinion | None:
    """What the core leaves, where tongue and window are known and the heaters are."""
    sheets = sheets_of(asked.readings)[0]
    seen = asked.rows.seen[0]
    if heaters is None or not (seen[CORE] and seen[VOLTAGE]) or sheets is None:
        return None
    return core_of_unit(asked.rows, sheets, heaters.windings, level)


def _limited(table: pd.DataFrame, limit: float) -> pd.DataFrame:
    """A table with its currents at so much of what the winding by itself would give."""
    return table.assign(**{name: table[name] * limit for name in table.columns if name.endswith("_ma")})


def _with_core(said: pd.DataFrame, core: CoreOpinion | None) -> pd.DataFrame:
    """What each set of readings says; the core's volt-amperes before the last, which is the answer."""
    import pandas as pd

    if core is None or not np.isfinite(core.rated_current_ma):
        return said
    return pd.concat([said.iloc[:-1], core.frame(), said.iloc[-1:]], ignore_index=True)


def _other(asked: Prediction, answer: pd.DataFrame, level: float) -> pd.DataFrame:
    """The estimate for the other filter; no row where the rectifier takes none."""
    rectifier, filter = asked.readings.iloc[0][["rectifier", "filter"]]
    swapped = SWAPPED.get(filter, "")
    if (rectifier, swapped) not in FORM_FACTOR:
        return answer.iloc[:0]
    return estimates(asked.made_of(asked.readings.assign(filter=swapped)), level)


def _curve(rated: RatedCurrent) -> pd.DataFrame:
    """Density of the rating over the range that matters."""
    low, high = (rated.ln_ppf(at)[0] for at in (CURVE_TAIL, 1 - CURVE_TAIL))
    ln_current = np.linspace(low, high, CURVE_POINTS)
    tall = density(rated.share, rated.ln_mean, rated.ln_sd, ln_current)
    return _table(list(zip(np.exp(ln_current), tall, strict=True)), ("current_ma", "density"))


def opinions(asked: Prediction, level: float) -> pd.DataFrame:
    """Rated current from V/R alone, with each further reading by itself, without V/R, and from all.

    Where V/R was not read: from the wire alone, and from all.

    Parameters
    ----------
    asked : Prediction
        One unit; each set's readings are weighed as the whole unit's are, unless asked for as read.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        predictors, rated_current_ma, low_ma, high_ma [mA], level; one row for each set that the unit's readings allow.
    """
    rows = asked.rows
    beside = [reading for reading in NAMED if reading not in (V_OVER_R, VOLTAGE) and rows.seen[0, reading]]
    blanks = [beside] if beside else []
    if len(beside) > 1:
        blanks += [[one for one in beside if one != kept] for kept in beside]
    if rows.has_wire[0] and rows.has_ratio[0]:
        blanks.append([V_OVER_R, PRIMARY])  # without V/R, nor the primary's that it is set against
    elif rows.has_wire[0]:
        blanks = [[reading for reading in NAMED if reading != WIRE]]
    asked_of = [replace(asked, rows=rows.without(*blank)) for blank in blanks]
    named = {predictors(one, readings_alone=True)[0]: one.rated for one in [*asked_of, asked]}
    said: list[tuple[object, ...]] = [(name, *rated.limits(level)[:, 0]) for name, rated in named.items()]
    return _table(said, ("predictors", "rated_current_ma", "low_ma", "high_ma")).assign(level=level)


def disagreement(found: Weighed, slips: Sequence[str], level: float) -> pd.DataFrame:
    """The readings that the likely slips are in, beside what the others lead one to expect of them.

    Parameters
    ----------
    found : Weighed
        One unit.
    slips : sequence of str
        Their names; all readings are given where there is none.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        reading, value as read (the resistance brought to 20 °C), unit, expected, low and high: what the others say.
    """
    here, z = np.zeros(1, dtype=int), ndtri((1 + level) / 2)
    wanted: list[int] = []
    for name in slips:
        place = NAMES.index(name)
        by = _by_reading(found.step(np.array([place]))[0][0])
        wanted += [reading for reading, step in by.items() if abs(step) > NOTHING]
    lines: list[tuple[object, ...]] = []
    for reading, (name, value, unit, power) in _readings(found).items():
        if slips and reading not in wanted:
            continue
        direction = np.eye(len(READINGS))[reading]
        if reading == VOLTAGE:  # volts that are off carry V/R with them, and show the other way round in the primary
            direction[[V_OVER_R, PRIMARY]] = 1.0, -1.0
        mean, variance = (float(part[0]) for part in found.unknown_step(direction, FREE, here))
        low, expected, high = sorted(value * np.exp(power * (mean + k * z * np.sqrt(variance))) for k in (-1, 0, 1))
        lines.append((name, value, unit, expected, low, high))
    return _table(lines, DISAGREEMENT).assign(level=level)


def repairs(asked: Prediction, level: float) -> pd.DataFrame:
    """What each likely slip's repair would give, the likeliest slip first.

    Parameters
    ----------
    asked : Prediction
        One unit.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        slip, odds (0 to 1), then (the readings that it changes, as they would be), repaired_ma, repaired_low_ma,
        repaired_high_ma [mA]; none whose median is no set's transformer's.
    """
    found = asked.weighed
    odds = np.where(found.repairable, found.odds[:, 1:], 0.0)[0]
    lines: list[tuple[object, ...]] = []
    for slip in np.argsort(-odds, kind="stable"):
        if odds[slip] < WORTH_A_REPAIR or len(lines) == MOST_REPAIRS:
            break
        slips = np.array([slip])
        figures = repaired(asked, slips, np.zeros(1, dtype=int), level)[:, 0]
        if plausible(figures[0]):
            lines.append((NAMES[slip], float(odds[slip]), _then(found, slips), *figures))
    return _table(lines, REPAIRS).assign(level=level)


def _readings(found: Weighed) -> dict[int, tuple[str, float, str, float]]:
    """The readings of a unit: name, value and unit, and the power of exp(step) that leads to the expected value."""
    at, x = found.rows.frame.iloc[0], found.rows
    weight, primary = (float(np.exp(x.readings[0, one])) for one in (WEIGHT, PRIMARY))
    read = {
        V_OVER_R: ("winding resistance at 20 °C", float(at["resistance_ohm"]), "ohm", 1.0),
        VOLTAGE: ("no-load voltage", float(at["no_load_v"]), "V", -1.0),
        CORE: ("core area", float(at["core_area_cm2"]), "cm²", -1.0),
        WIRE: ("bare wire diameter", float(np.sqrt(4 * at["wire_area_mm2"] / np.pi)), "mm", -0.5),
        PRIMARY: ("V over the primary's resistance as it shows on this side", CENTRE_V_OVER_R * primary, "V/ohm", -1.0),
        WEIGHT: ("weight", weight, "kg", -1.0),
    }
    return {reading: one for reading, one in read.items() if x.seen[0, reading]}


def _then(found: Weighed, slips: np.ndarray) -> str:
    """The readings that a slip changed, as they were before it."""
    by = _by_reading(found.step(slips)[0][0])
    changed = [
        f"{name} {value * np.exp(power * by[reading]):.3g} {unit}"
        for reading, (name, value, unit, power) in _readings(found).items()
        if abs(by[reading]) > NOTHING
    ]
    return ", ".join(changed)


def _by_reading(step: np.ndarray) -> dict[int, float]:
    """Steps of READINGS by reading, the resistance's downward in the place of V/R's."""
    return {**dict(enumerate(step)), V_OVER_R: step[V_OVER_R] - step[VOLTAGE]}


def advice(asked: Prediction) -> tuple[str, ...]:
    """Further readings of a unit and records for the register, the most useful first, each with what it narrows."""
    model, rows, now = asked.model, asked.rows, _ln_sd(asked.sound)
    gains: list[tuple[float, str]] = []
    proven = GRADES["heat-run"].sd
    if proven < now:
        gains.append((1 - proven / now, "a supervised heat run, which proves the current"))
    for readings, name in ADVISED.items():
        if not rows.seen[0, readings].all():
            usual = _with_usual(asked, readings)
            gains.append((1 - _ln_sd(model.predictive(usual)) / now, name))
    alike = model.with_one_like_it(rows, asked.matrix, GRADES["nameplate"].sd)
    old = rows.frame["era"].iloc[0] == ERAS[0] and not (model.rows.own & (model.rows.frame["era"] == ERAS[0])).any()
    gains.append((1 - _ln_sd(alike) / now, OLD_ONE if old else ONE_LIKE_IT))
    exact = model.predictive(replace(rows, reading_variance=np.zeros(1)))
    gains.append((1 - _ln_sd(exact) / now, "better meters for V and R"))
    said = [
        f"{name}: narrows the interval by about {gain:.0%}"
        for gain, name in sorted(gains, reverse=True)
        if gain > WORTH_A_READING
    ]
    if model.records < FEW:
        said.append(f"more known units: the register holds {model.records}")
    return tuple(said)


def _with_usual(asked: Prediction, made: tuple[int, ...]) -> Features:
    """The unit as if further readings had been made, and were as those that stand lead one to expect."""
    usual, rows = asked.model.imputation.usual(asked.rows), asked.rows
    new = ~rows.seen & np.isin(np.arange(len(READINGS)), made)
    return replace(rows, readings=np.where(new, usual, rows.readings))


def _ln_sd(rated: RatedCurrent) -> float:
    """Standard deviation of one unit's rating in ln I."""
    middle = rated.share @ rated.ln_mean
    return float(np.sqrt(rated.share @ (rated.ln_sd**2 + (rated.ln_mean - middle) ** 2))[0])
