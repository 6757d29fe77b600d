"""What a supply asks of its rectifier, its capacitors and its choke, held against what they stand.

Limits of a valve are the table's (calib.supply.valves). A value counts as beyond its limit from 2 % over it, a peak
inverse voltage from 4 %, which is how far the sheets round; what the table does not tell is never called kept.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.supply.budget import fuse_ma
from calib.supply.parameters import Settings
from calib.supply.steady_state import CRITICAL, RESONANCE_BELOW, SupplyState, resonance_hz, ripple_hz
from calib.supply.valves import Valve

if TYPE_CHECKING:
    import pandas as pd

WITHIN, INVERSE_WITHIN = 0.02, 0.04
BLEEDER = 0.331  # CRITICAL, rounded so that the resistor errs to the low side
MEAN_OF_SINE = 2 * math.sqrt(2) / math.pi  # mean of a rectified sine over its rms [1]
KEPT, AT_LIMIT, BROKEN, NOT_TOLD = "kept", "at its limit", "broken", "not told"
NAMES = {
    "direct-current": "direct current",
    "peak-current": "peak of one plate",
    "peak-inverse": "peak inverse",
    "source-resistance": "source resistance of one plate",
    "first-capacitor": "first capacitor",
    "ac-volts": "no-load volts a plate",
    "capacitor-voltage": "capacitors with no load",
    "critical-current": "load current for the choke",
    "choke-resonance": "resonance of the choke and the capacitor behind it",
    "rating": "direct current against the likeliest rating",
}
LEAST = ("source-resistance", "critical-current")  # limits that are a least and not a most


@dataclass(frozen=True)
class Judged:
    """One limit and how the supply stands to it.

    Attributes
    ----------
    limit : str
        A key of NAMES.
    verdict : str
        kept, at its limit, broken or not told.
    value, allowed : float
        What the supply makes of it, and the limit; NaN where not told, in ``unit``.
    unit : str
        Of both.
    verified : bool
        Whether the limit was read in its source and not recalled.
    remedy : str
        What would mend it.
    """

    limit: str
    verdict: str
    value: float
    allowed: float
    unit: str
    verified: bool
    remedy: str

    def __str__(self) -> str:
        bound = "at least" if self.limit in LEAST else "at most"
        doubt = "" if self.verified else " (unverified)"
        value, allowed = (f"{_round(number)} {self.unit}" for number in (self.value, self.allowed))
        return f"{NAMES[self.limit]} {value}, {bound} {allowed}{doubt}"


@dataclass(frozen=True)
class Duty:
    """What a supply asks of its parts; ``str()`` says it in words, ``frame()`` has a row for each limit.

    Attributes
    ----------
    state : SupplyState
        The steady state that it follows from.
    valve : Valve or None
        Whose limits count; None with diodes, whose sheet is for the reader to hold against the figures.
    peak_inverse_v : float
        Across one rectifier, with no load [V].
    capacitor_v : float
        Peak of the winding, which each capacitor sees with no load and before valves warm up; NaN without one [V].
    critical_ma : float
        Load current from which on the choke's current never stops; NaN without a choke and with half-wave [mA].
    bleeder_ohm : float
        Greatest load resistance for that, omega L / 0.331, nothing dropped on the way; NaN likewise [ohm].
    bleeder_less_drops_ohm : float
        The same less what winding, choke and rectifier drop at that current: to be fitted; NaN where nothing is left,
        and likewise [ohm].
    hv_fuse_ma : float
        Time-lag fuse on the winding's side (judgement); NaN without load, and above 8 A [mA].
    judged : tuple of Judged
        Every limit that applies.
    """

    state: SupplyState
    valve: Valve | None
    peak_inverse_v: float
    capacitor_v: float
    critical_ma: float
    bleeder_ohm: float
    bleeder_less_drops_ohm: float
    hv_fuse_ma: float
    judged: tuple[Judged, ...]

    def of(self, verdict: str) -> tuple[Judged, ...]:
        """The limits of one verdict."""
        return tuple(one for one in self.judged if one.verdict == verdict)

    @property
    def broken(self) -> tuple[Judged, ...]:
        """The limits that the supply breaks."""
        return self.of(BROKEN)

    @property
    def not_told(self) -> tuple[str, ...]:
        """Codes of the limits that the table does not tell."""
        return tuple(one.limit for one in self.of(NOT_TOLD))

    @property
    def flags(self) -> str:
        """What else is to be known, joined by semicolons; blank where nothing is."""
        marks = [f"{one.limit} {AT_LIMIT}" for one in self.of(AT_LIMIT)]
        told = [one for one in self.judged if one.verdict != NOT_TOLD]
        return ";".join(marks + ["unverified-limits"] * any(not one.verified for one in told))

    def as_dict(self) -> dict[str, Any]:
        """Plain values, those of the state among them; None for a number that does not exist."""
        names = ("peak_inverse_v", "capacitor_v", "critical_ma", "bleeder_ohm", "bleeder_less_drops_ohm", "hv_fuse_ma")
        numbers = {name: getattr(self, name) for name in names}
        return {
            **self.state.as_dict(),
            **{name: value if math.isfinite(value) else None for name, value in numbers.items()},
            "valve": self.valve.name if self.valve else None,
            "broken": [{name: value for name, value in vars(one).items() if name != "verdict"} for one in self.broken],
            "not_told": list(self.not_told),
            "flags": self.flags,
        }

    def frame(self) -> pd.DataFrame:
        """A row for each limit: columns as the attributes of Judged."""
        import pandas as pd

        return pd.DataFrame([asdict(one) for one in self.judged], columns=list(Judged.__dataclass_fields__))

    def words(self) -> tuple[list[str], list[str]]:
        """Lines on what is beyond its limit, and on every other limit."""
        beyond = ["Beyond its limit:", *(f"  {one}: {one.remedy}" for one in self.broken)] if self.broken else []
        rest = [f"At its limit: {one}" for one in self.of(AT_LIMIT)] + [f"Kept: {one}" for one in self.of(KEPT)]
        missing = ", ".join(NAMES[name] for name in self.not_told)
        rest += [f"Not told by the table, so not judged: {missing}"] if missing else []
        rest += [f"Limits of the {self.valve.name}: {self.valve.source}"] if self.valve else []
        return beyond, rest

    def __str__(self) -> str:
        beyond, rest = self.words()
        return "\n".join(beyond + rest) or "No limit is known that it could be held against."


def rectifier_duty(what: Settings, state: SupplyState, valve: Valve | None = None) -> Duty:
    """Hold a solved supply against what its rectifier, capacitors and choke stand.

    Parameters
    ----------
    what : Settings
        The supply, of one case.
    state : SupplyState
        Its steady state, as ``state_of(what)`` gives it.
    valve : Valve, optional
        Whose limits count; that of ``what`` where not given.

    Returns
    -------
    Duty

    Notes
    -----
    Each limit that applies is judged. A limit of direct current holds for all plates of one bulb; a half-wave
    rectifier and each of a doubler's have one plate, a centre tap and a bridge share the current between two.
    """
    valve = valve or what.listed
    peak = math.sqrt(2) * float(what.volts)
    inverse = peak * (1 if what.rectifier == "bridge" or (what.rectifier, what.filter) == ("half-wave", "none") else 2)
    seen = math.nan if what.filter == "none" else peak
    critical, bleeder, fitted = _choke(what)
    judged = _of_valve(what, state, valve, inverse) if valve else []
    if what.capacitor_volts is not None:
        remedy = f"fit capacitors rated for at least {_round(peak, up=True)} V: they see it whenever the load is away"
        judged.append(_judge("capacitor-voltage", seen, float(what.capacitor_volts), "V", remedy))
    if critical == critical:
        remedy = _against_stopping(what, critical, fitted)
        judged += [_judge("critical-current", state.load_ma, critical, "mA", remedy), _resonance(what)]
    return Duty(state, valve, inverse, seen, critical, bleeder, fitted, _fuse(what, state), tuple(judged))


def _of_valve(what: Settings, state: SupplyState, valve: Valve, inverse: float) -> list[Judged]:
    """The limits of a valve that apply to the circuit."""
    volts, ohm = float(what.volts), float(what.source_ohm)
    more_ohm, rated = "raise the resistance in series with each plate", "or fit a rectifier that is rated for it"

    def against(limit: str, value: float, unit: str, column: str, remedy: str, allowed: float | None = None) -> Judged:
        allowed = getattr(valve, column) if allowed is None else allowed
        return _judge(limit, value, allowed, unit, remedy, column in valve.checked)

    def feed(most: float) -> str:
        return f"feed each plate at most {_round(most)} V rms, or fit a rectifier that stands it"

    most, column = _direct_current(what, state, valve)
    one = "" if valve.plates == 1 or what.rectifier in ("full-wave", "bridge") else " (one of its two plates counted)"
    less = f"draw at most {_round(most)} mA{one}, {rated}"
    by_peak = f"fit a smaller first capacitor, or {more_ohm}" if what.filter == "capacitor" else f"draw less, {rated}"
    by_inverse = feed(valve.max_peak_inverse_v / inverse * volts)
    found = [
        against("direct-current", state.load_ma, "mA", column, less, most),
        against("peak-current", state.peak_ma, "mA", "max_peak_plate_ma", by_peak),
        against("peak-inverse", inverse, "V", "max_peak_inverse_v", by_inverse),
    ]
    if what.filter == "capacitor":
        least, largest = _source_ohm(valve, volts, ohm), _round(valve.max_first_capacitor_uf)
        added = f"add at least {_round(least - ohm, up=True)} ohm in series with each plate"
        smaller = f"fit at most {largest} µF first, and more only behind a choke or a resistor"
        farad = float(what.capacitance_uf)
        found += [
            against("source-resistance", ohm, "ohm", "min_source_ohm_per_plate", added, least),
            against("first-capacitor", farad, "µF", "max_first_capacitor_uf", smaller),
        ]
    of_choke = what.filter == "choke" and not math.isnan(valve.max_ac_v_choke_input)
    column = "max_ac_v_choke_input" if of_choke else "max_ac_v_per_plate_rms"
    return [*found, against("ac-volts", volts, "V", column, feed(getattr(valve, column)))]


def _direct_current(what: Settings, state: SupplyState, valve: Valve) -> tuple[float, str]:
    """The most direct current of the load [mA] and its column; NaN where not told."""
    share = (2 if what.rectifier in ("full-wave", "bridge") else 1) / valve.plates
    rated, column = valve.max_dc_ma_capacitor_input, "max_dc_ma_capacitor_input"
    if valve.dc_ma_by_v:
        rated = _between(valve.dc_ma_by_v, float(what.volts))
    most = rated * share
    if what.filter != "choke":
        return most, column
    if not math.isnan(valve.max_dc_ma_choke_input):
        return valve.max_dc_ma_choke_input * share, "max_dc_ma_choke_input"
    # A choke is the lighter duty: what capacitor input allows is allowed, yet how much more is not told.
    return (most if state.load_ma > most else math.nan), column


def _source_ohm(valve: Valve, volts: float, ohm: float) -> float:
    """The least source resistance [ohm]; NaN where not told.

    As printed for the next higher voltage, or between two that are printed. Above the highest it is not told how much
    more is needed, but less than there is too little.
    """
    points = valve.source_ohm_by_v or ((valve.min_source_at_v, valve.min_source_ohm_per_plate),)
    least = _between(points, volts) if len(points) > 1 else valve.min_source_ohm_per_plate
    beyond = volts > points[-1][0] * (1 + WITHIN)
    return math.nan if beyond and ohm >= least else least


def _between(points: tuple[tuple[float, float], ...], volts: float) -> float:
    """Value at a voltage, straight between points, and that of the nearer end beyond them."""
    return float(np.interp(volts, [at for at, _ in points], [value for _, value in points]))


def _choke(what: Settings) -> tuple[float, float, float]:
    """critical_ma, bleeder_ohm and bleeder_less_drops_ohm of a Duty.

    The ripple of the choke's current has no part in what winding, choke and rectifier drop: the critical current is
    the mean of the rectified sine over omega L / CRITICAL whatever they drop, and the load resistance then is less.
    """
    if what.filter != "choke" or what.rectifier == "half-wave" or what.choke_h is None:
        return math.nan, math.nan, math.nan
    reactance = 2 * math.pi * float(what.frequency_hz) * float(what.choke_h)
    mean = MEAN_OF_SINE * float(what.volts)
    current = mean * CRITICAL / reactance
    valve, one = what.thermionic, float(what.diode_drop_v)
    if valve:
        one = valve.drop_v if valve.law == "constant" else (current / valve.perveance) ** (2 / 3)
    dropped = one * (2 if what.rectifier == "bridge" else 1)
    left = (mean - dropped) / current - float(what.source_ohm) - float(what.choke_ohm)
    return 1000 * current, reactance / BLEEDER, min(left, reactance / BLEEDER) if left > 0 else math.nan


def _resonance(what: Settings) -> Judged:
    """The first choke and its capacitor: they resonate below a third of the ripple's frequency (Lee), or pass hum."""
    henry, farad = float(what.choke_h or 0.0), float(what.capacitance_uf)
    most = RESONANCE_BELOW * ripple_hz(what.rectifier, float(what.frequency_hz))
    least_uf = 1e6 / ((2.0 * math.pi * most) ** 2 * henry)
    remedy = (
        f"fit at least {_round(least_uf, 3, up=True)} µF behind this choke, or a larger choke: above that it passes "
        "hum and swings with the load"
    )
    return _judge("choke-resonance", resonance_hz(henry, farad), most, "Hz", remedy)


def _against_stopping(what: Settings, critical_ma: float, ohm: float) -> str:
    """What a load below the critical current leads to, and the bleeder against it."""
    volts = float(what.volts)
    climbs = (
        "below it the choke's current stops and the voltage climbs, with no load to "
        f"{_round(math.sqrt(2) * volts)} V (√2 x {_round(volts)} V), which the capacitors must stand"
    )
    if math.isnan(ohm):
        return f"{climbs}; fit a larger choke"
    watts = ohm * (critical_ma / 1000) ** 2
    return (
        f"{climbs}; a bleeder of at most {_round(ohm, 2, down=True)} ohm prevents it, and draws about "
        f"{_round(critical_ma, 3)} mA and {_round(watts, 2, up=True)} W: take one rated for at least twice that"
    )


def _fuse(what: Settings, state: SupplyState) -> float:
    """The next standard time-lag fuse from 1.5 times the rms current where it stands [mA]; see hv_fuse_ma.

    In the lead of a centre tap both halves flow, elsewhere one lead carries the winding's current. Sizes: IEC 60127.
    """
    return fuse_ma(state.winding_rms_ma * (math.sqrt(2) if what.rectifier == "full-wave" else 1))


def _judge(limit: str, value: float, allowed: float, unit: str, remedy: str, verified: bool = True) -> Judged:
    """Hold a value against its limit."""
    beyond = 1 - value / allowed if limit in LEAST else value / allowed - 1
    if math.isnan(beyond):
        return Judged(limit, NOT_TOLD, value, math.nan, unit, False, "")
    within = INVERSE_WITHIN if limit == "peak-inverse" else WITHIN
    verdict = KEPT if beyond <= 1e-9 else AT_LIMIT if beyond <= within + 1e-9 else BROKEN
    return Judged(limit, verdict, value, allowed, unit, verified, remedy)


def _round(value: float, digits: int = 4, up: bool = False, down: bool = False) -> str:
    """A number with so many significant digits and no exponent, rounded up or down where asked."""
    if not math.isfinite(value) or value == 0:
        return f"{value:g}"
    step = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    whole = math.ceil(value / step - 1e-9) if up else math.floor(value / step + 1e-9) if down else round(value / step)
    return f"{whole * step:.10g}"
