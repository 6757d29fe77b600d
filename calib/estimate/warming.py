"""A heat run while it lasts: what to plan, what the readings so far forecast, and when to stop.

A winding warms quickly against its core and slowly with it: two time constants. What is not known of them is averaged
over, so that the forecast carries its own uncertainty. Sources: IEC 60076-2 (steady when the case moves by at most 1 K
in an hour); Transformer and Inductor Design Handbook (McLyman) for the heat stored and given off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np

from calib.bench.resistance import INFERRED_ZERO_C, TIME_CONSTANT_MIN_PER_MM, TIME_CONSTANTS, hot_temperature
from calib.errors import InputError, above, not_negative, positive
from calib.estimate.cooling import slip_between
from calib.paths import data

__all__ = ["Entry", "Forecast", "MakeUp", "RunPlan", "entries_by_ohms", "forecast_of_three", "forecast_rise"]
__all__ += ["make_up", "run_plan"]

# What is taken of the time constants before any reading (judgement): the slow one, or that of 30 mm, by the tongue and
# longer in the mean, some units being in end bells, each with its sd of ln; the fast one as a share of it; how much of
# the final rise comes with the fast one, less than nothing for a case, which lags; the power of its rise that a surface
# gives heat with, from a constant coefficient to free convection.
TAU_MIN, TAU_SD, CLOSED_MEAN, TAU_SD_BY_CORE = 36.0, 0.3, 1.2, 0.28
POWERS = (1.0, 1.12, 1.25)
LEFT = 1e-6  # of the final rise: then it is there
TAUS, REACH_SD = 31, 2.5
FAST_SHARES_OF_TAU = (0.03, 0.07, 0.14)
FAST_PARTS = {"winding": tuple(np.linspace(0.0, 0.55, 7)), "case": tuple(np.linspace(-0.25, 0.2, 7))}
RISE_K, RISE_SD_K = 55.0, 35.0  # of the final rise, before any reading (judgement)
AMBIENT_U_K = 0.3  # of the air's temperature from entry to entry (judgement)
DISCREPANCY_K = 0.3  # what two time constants leave unsaid (judgement)
LEVEL = 0.9
RISES_K = (-15.0, 250.0)  # of an entry: beyond, a reading is wrong (judgement)
WARMED_TIMES = (0.9, 2.0)  # resistance over the cold one likewise, the room having cooled a little (judgement)
READ_SHARE = 0.003  # standard uncertainty of a resistance read while it runs (judgement)


@dataclass(frozen=True)
class Entry:
    """One reading while the unit warms.

    Attributes
    ----------
    minutes : float
        Since the run began, 0 or more [min].
    temp_c : float
        Of the winding by its resistance, or of the case [°C].
    air_c : float
        Of the air near the unit [°C].
    """

    minutes: float
    temp_c: float
    air_c: float


def entries_by_ohms(
    readings: Sequence[Sequence[float]], cold_ohm: float, cold_temp_c: float, conductor: str = "copper"
) -> tuple[list[Entry], float]:
    """Entries by the winding's resistance, and the standard uncertainty of each temperature.

    Parameters
    ----------
    readings : sequence of sequences of float
        Minutes since the run began, resistance, and the air then [min], [ohm], [°C].
    cold_ohm, cold_temp_c : float
        Of the same winding before the run [ohm], [°C].
    conductor : str
        copper or aluminium.

    Returns
    -------
    list of Entry, float
        By R2/R1 = (T0 + t2)/(T0 + t1), see `calib.bench.hot_temperature`; READ_SHARE of T0 + t at the hottest [K].

    Raises
    ------
    InputError
        A resistance that is no warming winding's, beside the cold one.
    """
    low, high = WARMED_TIMES
    for at, ohm, _ in readings:
        if not low <= ohm / cold_ohm <= high:
            said = data("estimate/heat_run.toml")["slip"]
            problem = said["times"].format(times=ohm / cold_ohm, cold=cold_ohm, minutes=at)
            remedy = f"{said['look']}. {slip_between(ohm, cold_ohm)}".rstrip(". ")
            raise InputError.one(problem, remedy, column="ohm", value=f"{ohm:g}", code="improbable")
    zero = INFERRED_ZERO_C[conductor]
    entries = [Entry(at, float(hot_temperature(cold_ohm, cold_temp_c, ohm, zero)), air) for at, ohm, air in readings]
    return entries, READ_SHARE * (max(one.temp_c for one in entries) + zero)


@dataclass(frozen=True)
class Forecast:
    """Where a run is heading.

    Attributes
    ----------
    final_k, u_k : float
        Rise above the air when nothing moves any more, and its standard uncertainty [K].
    low_k, high_k : float
        Within which it lies with probability 0.9 [K].
    tau_min : float
        Slow time constant [min].
    odds_past : float
        That the final rise is above the limit, 0 to 1.
    now_k : float
        Rise of the latest entry [K].
    stop : bool
        Whether to stop now: the rise is past the limit, or will more likely than not be.
    minutes_left : float
        Until less than 1 K is missing [min].
    """

    final_k: float
    u_k: float
    low_k: float
    high_k: float
    tau_min: float
    odds_past: float
    now_k: float
    stop: bool
    minutes_left: float

    @property
    def words(self) -> str:
        """What is forecast, without what to do about it."""
        told = (
            f"{self.final_k:.0f} K in the end (90 %: {self.low_k:.0f} to {self.high_k:.0f} K); now {self.now_k:.0f} K"
        )
        return f"{told}." if self.stop else f"{told}; about {self.minutes_left:.0f} min more."

    def __str__(self) -> str:
        return f"STOP NOW: {self.words}" if self.stop else self.words


def forecast_of_three(rises_k: Sequence[float], step_min: float) -> tuple[float, float]:
    """Final rise and time constant from three rises at equal steps of time.

    Parameters
    ----------
    rises_k : sequence of float
        x1, x2, x3, each step smaller than the one before [K].
    step_min : float
        Between them, above 0 [min].

    Returns
    -------
    (float, float)
        (x2² - x1 x3) / (2 x2 - x1 - x3) and -h / ln((x3 - x2) / (x2 - x1)) [K, min].

    Raises
    ------
    ValueError
        The steps do not grow smaller: one exponential does not pass through them.

    Examples
    --------
    >>> [round(one, 3) for one in forecast_of_three([31.4, 41.9, 48.0], 30.0)]
    [56.457, 55.24]
    """
    first, second, third = rises_k
    positive("step of time", step_min, "min")
    above("second rise", second, first, "K")
    above("third rise", third, second, "K")
    above("first step", second - first, third - second, "K")
    final = (second**2 - first * third) / (2.0 * second - first - third)
    return final, -step_min / math.log((third - second) / (second - first))


def forecast_rise(
    entries: Sequence[Entry],
    limit_k: float,
    read_u_k: float,
    cold_u_k: float = 0.0,
    tongue_mm: float | None = None,
    part: str = "winding",
) -> Forecast:
    """Final rise from the entries so far.

    Parameters
    ----------
    entries : sequence of Entry
        Three or more, in order of time; the air may drift.
    limit_k : float
        Rise allowed, above 0 [K].
    read_u_k : float
        Standard uncertainty of one temperature, above 0: 0.3 % of a resistance is 0.9 K [K].
    cold_u_k : float
        What all of them have in common, such as the cold resistance's error, 0 or more [K].
    tongue_mm : float or None
        Width of the core's centre limb, above 0; None where not known [mm].
    part : str
        winding or case: what was read.

    Returns
    -------
    Forecast
        Mean, sd and quantiles over the time constants that the entries allow.

    Raises
    ------
    InputError
        Fewer than three entries, times that do not rise, or a unit that does not warm.

    Notes
    -----
    temp = air through the slow lag + F [a (1 - exp(-t/tau_f)) + (1 - a) y(t/tau_s)] + common error, where
    dy/ds = 1 - y^p: normal in F and the common error, summed over a grid of a, tau_f, tau_s and p with its prior. With
    p = 1, y is 1 - exp(-s); a surface that gives heat better the hotter it is (p up to 1.25) arrives sooner, so that
    exponentials alone forecast too much. Source: two-node heat balance; IEC 60076-11 (the power).
    """
    positive("limit of the rise", limit_k, "K")
    positive("uncertainty of a reading", read_u_k, "K")
    not_negative("common uncertainty", cold_u_k, "K")
    _refuse(entries)
    at = np.array([one.minutes for one in entries])
    air = np.array([one.air_c for one in entries])
    temp = np.array([one.temp_c for one in entries])
    centre, sd = TAU_MIN, TAU_SD
    if tongue_mm is not None:
        centre, sd = CLOSED_MEAN * TIME_CONSTANT_MIN_PER_MM * tongue_mm, TAU_SD_BY_CORE
    steps = np.linspace(-REACH_SD, REACH_SD, TAUS)
    taus = centre * np.exp(sd * steps)
    lagged = {tau: _lagged(at, air, tau) for tau in taus}
    shapes = product(taus, FAST_SHARES_OF_TAU, FAST_PARTS[part])
    slow, share, quick = (np.tile(one, len(POWERS))[:, None] for one in zip(*shapes, strict=True))
    power = np.repeat(POWERS, len(slow) // len(POWERS))[:, None]
    grown = quick * -np.expm1(-at / (share * slow)) + (1.0 - quick) * _arrived(at / slow, power)
    over = temp - np.array([lagged[tau] for tau in slow[:, 0]])
    noise = math.sqrt(read_u_k**2 + AMBIENT_U_K**2 + DISCREPANCY_K**2)
    mean, spread, density = _given(grown, over, noise, cold_u_k)
    odds = density - 0.5 * (np.log(slow[:, 0] / centre) / sd) ** 2
    weight = np.exp(odds - np.max(odds))
    now = (temp[-1] - air[-1], limit_k)
    return _told(mean, spread, weight / weight.sum(), slow[:, 0], now)


@cache
def _arrival(power: float) -> tuple[np.ndarray, np.ndarray]:
    """Times, in slow time constants, at which shares of the final rise are there: dy/ds = 1 - y^p from 0."""
    from scipy.integrate import cumulative_simpson

    left = np.geomspace(1.0, LEFT, 2001)  # still missing; ds = left / (1 - (1 - left)^p) d(-ln left)
    slowness = left / (1.0 - (1.0 - left) ** power)
    return cumulative_simpson(slowness, x=-np.log(left), initial=0.0), 1.0 - left


def _arrived(elapsed: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Share of the final rise after so many slow time constants, a row a shape with its power."""
    found = np.empty_like(elapsed)
    for one in POWERS:
        rows = power[:, 0] == one
        found[rows] = np.interp(elapsed[rows], *_arrival(one))
    return found


def _refuse(entries: Sequence[Entry]) -> None:
    """Refuse entries that are no warming unit's."""
    if len(entries) < 3:
        raise InputError.one(
            f"{len(entries)} entries are too few",
            "enter three or more before a forecast",
            column="entries",
            code="missing",
        )
    if any(later.minutes <= sooner.minutes for sooner, later in zip(entries, entries[1:], strict=False)):
        raise InputError.one("the times do not rise", "order the entries by time", column="minutes", code="conflict")
    low, high = RISES_K
    for one in entries:
        if not low <= one.temp_c - one.air_c <= high:  # nor where one is not a number
            said = data("estimate/heat_run.toml")["slip"]
            problem = said["rise"].format(rise=one.temp_c - one.air_c, minutes=one.minutes)
            raise InputError.one(problem, said["look"], column="temp_c", value=f"{one.temp_c:.4g}", code="improbable")
    first, last = entries[0], entries[-1]
    if last.temp_c - last.air_c <= first.temp_c - first.air_c:
        problem = f"the unit does not warm: {first.temp_c - first.air_c:.3g} K, then {last.temp_c - last.air_c:.3g} K"
        raise InputError.one(problem, "check that it is loaded, and the readings", column="temp_c", code="conflict")


def _lagged(at: np.ndarray, air: np.ndarray, tau: float) -> np.ndarray:
    """The air as the unit follows it: straight between the entries, through one lag, steady before the first."""
    lagged = np.empty_like(air)
    lagged[0] = air[0]
    for here in range(1, len(at)):
        span = at[here] - at[here - 1]
        slope = (air[here] - air[here - 1]) / span
        left = math.exp(-span / tau)
        lagged[here] = air[here] - slope * tau + (lagged[here - 1] - air[here - 1] + slope * tau) * left
    return lagged


def _given(
    grown: np.ndarray, over: np.ndarray, noise: float, cold_u: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean and sd of the final rise for each shape of warming, and ln of the entries' density but for a constant.

    `grown` and `over` are of shape (shapes, entries). The errors' spread is one for all shapes; the final rise adds
    one direction to it, so that each shape costs a few products (Sherman and Morrison).
    """
    inverse = np.linalg.inv(noise**2 * np.eye(grown.shape[1]) + cold_u**2)
    left = over - RISE_K * grown
    toward = grown @ inverse
    told = np.sum(toward * grown, axis=1)
    spread = 1.0 + RISE_SD_K**2 * told
    along = np.sum(toward * left, axis=1)
    misfit = np.sum((left @ inverse) * left, axis=1) - RISE_SD_K**2 * along**2 / spread
    mean = RISE_K + RISE_SD_K**2 * along / spread
    return mean, RISE_SD_K / np.sqrt(spread), -0.5 * (misfit + np.log(spread))


def _told(mean: np.ndarray, sd: np.ndarray, weight: np.ndarray, tau: np.ndarray, now: tuple[float, float]) -> Forecast:
    """The mixture over the shapes as a forecast."""
    from scipy.optimize import brentq
    from scipy.stats import norm

    now_k, limit_k = now
    centre = float(weight @ mean)
    u = math.sqrt(float(weight @ (sd**2 + mean**2)) - centre**2)

    def below(rise: float) -> float:
        return float(weight @ norm.cdf((rise - mean) / sd))

    ends = (float(np.min(mean - 8.0 * sd)), float(np.max(mean + 8.0 * sd)))
    low, high = (brentq(lambda rise, p=p: below(rise) - p, *ends) for p in ((1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0))
    slow = float(np.exp(weight @ np.log(tau)))
    past = 1.0 - below(limit_k)
    left = slow * math.log(max(centre - now_k, 1.0))
    return Forecast(centre, u, low, high, slow, past, now_k, now_k > limit_k or past > 0.5, left)


# Preferred values of a decade, IEC 60063, series E12; rated watts of wire-wound parts that shops keep (judgement).
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
STOCK_W = (5.0, 10.0, 25.0, 50.0, 100.0)
WORKED_AT = 0.5  # of its rated watts: it lies in a hot heap for hours (judgement)
PART_V = 350.0  # across one part, dc (judgement; its data sheet comes first)
MOST_PARTS = 24
OHM_WITHIN = 0.05


@dataclass(frozen=True)
class MakeUp:
    """A load resistor made of equal stock parts.

    Attributes
    ----------
    each_ohm, each_w : float
        Nominal value and rated power of one part [ohm, W].
    series, parallel : int
        Parts in a string, and strings side by side.
    ohm : float
        What they make together [ohm].
    bears_w : float
        What one part bears [W].
    """

    each_ohm: float
    each_w: float
    series: int
    parallel: int
    ohm: float
    bears_w: float

    def __str__(self) -> str:
        count = self.series * self.parallel
        part = f"{self.each_ohm:.4g} ohm, {self.each_w:.0f} W"
        how = {
            (True, True): f"one of {part}",
            (True, False): f"{count} of {part}, all side by side",
            (False, True): f"{count} of {part}, all in a row",
        }.get((self.series == 1, self.parallel == 1), f"{self.parallel} strings of {self.series} of {part}")
        return f"{how}: {self.ohm:.4g} ohm, {self.bears_w:.2g} W in each"


def make_up(ohm: float, watts: float) -> MakeUp | None:
    """A load of equal stock resistors, each worked at half its rated power.

    Parameters
    ----------
    ohm : float
        Wanted, above 0 [ohm].
    watts : float
        That it turns to heat, above 0 [W].

    Returns
    -------
    MakeUp or None
        Of those within 5 % the one of the fewest parts, then of the least rating, then the nearest; None where two
        dozen parts do not do.

    Raises
    ------
    ValueError
        An input of zero or less.
    """
    positive("load", ohm, "ohm")
    positive("power", watts, "W")
    found = []
    for series, parallel in product(range(1, MOST_PARTS + 1), repeat=2):
        if series * parallel > MOST_PARTS:
            continue
        wanted = ohm * parallel / series
        each = min(_stock(wanted), key=lambda value: abs(math.log(value / wanted)))
        bears = watts / (series * parallel)
        rated = next((one for one in STOCK_W if bears <= WORKED_AT * one), None)
        apart = abs(each / wanted - 1.0)
        if rated is None or apart > OHM_WITHIN or math.sqrt(bears * each) > PART_V:
            continue
        made = MakeUp(each, rated, series, parallel, each * series / parallel, bears)
        found.append(((series * parallel, rated, apart), made))
    return min(found, key=lambda one: one[0])[1] if found else None


def _stock(ohm: float) -> list[float]:
    """Stock values about one wanted [ohm]."""
    decade = 10.0 ** math.floor(math.log10(ohm))
    return [round(value * step, 12) for step in (decade, 10.0 * decade) for value in E12]


@dataclass(frozen=True)
class RunPlan:
    """What a heat run needs.

    Attributes
    ----------
    load_ohm, load_w : float
        Resistor across the direct voltage and what it turns to heat [ohm, W].
    made_of : MakeUp or None
        The same from stock parts.
    hours, most_hours : float
        Five slow time constants of an open unit, and of one in end bells or potted [h].
    entries_min : tuple of float
        When to read while it warms [min].
    after_s : tuple of float
        When to read after the line was opened [s].
    """

    load_ohm: float
    load_w: float
    made_of: MakeUp | None
    hours: float
    most_hours: float
    entries_min: tuple[float, ...]
    after_s: tuple[float, ...]


ENTRIES_PER_TAU, CLOSED = 6, 2.0
AFTER_S = (20.0, 35.0, 50.0, 65.0, 90.0, 120.0, 150.0, 180.0, 240.0, 300.0)


def run_plan(dc_v: float, load_ma: float, tongue_mm: float | None = None) -> RunPlan:
    """What to lay out for a heat run at a direct current.

    Parameters
    ----------
    dc_v, load_ma : float
        Direct voltage at that load, and the load, each above 0 [V, mA].
    tongue_mm : float or None
        Width of the core's centre limb, above 0; 36 min of time constant where not known [mm].

    Returns
    -------
    RunPlan
        R = V/I, P = V I; five time constants of 1 min per mm of tongue, twice that where it is closed in.

    Raises
    ------
    ValueError
        An input of zero or less.
    """
    positive("direct voltage", dc_v, "V")
    positive("load", load_ma, "mA")
    if tongue_mm is not None:
        positive("tongue", tongue_mm, "mm")
    tau = TAU_MIN if tongue_mm is None else TIME_CONSTANT_MIN_PER_MM * tongue_mm
    load_ohm, load_w = dc_v / load_ma * 1e3, dc_v * load_ma * 1e-3
    hours = TIME_CONSTANTS * tau / 60.0
    entries = tuple(round(tau / ENTRIES_PER_TAU * step) for step in range(1, int(TIME_CONSTANTS) * ENTRIES_PER_TAU + 1))
    return RunPlan(load_ohm, load_w, make_up(load_ohm, load_w), hours, CLOSED * hours, entries, AFTER_S)
