"""The line side of a unit: a line that it was not made for, and under a set its primary current, fuse and inrush.

Flux follows volts over frequency, V = √2 π f B A N (Magnetic Circuits and Transformers, MIT EE Staff); every winding's
voltage follows the line. The multiplier and the rating belong to the design and do not move.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench.core import core_sheets
from calib.bench.magnetics import LOSS_FLUX_EXPONENT, LOSS_FREQUENCY_EXPONENT, iron_loss_w_kg
from calib.errors import Fault, positive
from calib.estimate.set_supply import SetSupply
from calib.paths import data
from calib.register.fields import facts_of, faults_of
from calib.supply.budget import FUSE_HOLDS, PrimaryCurrent, fuse_ma, inrush, primary_current
from calib.supply.steady_state import SupplyState

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LineNow", "MainsSide", "line_faults", "line_now", "lines_of", "mains_side", "primary_at"]

LINE = facts_of({name: data("supply/fields.toml")["supply"][name] for name in ("line_now_v", "line_now_hz")})
USUAL_FLUX_T = (1.0, 1.4)  # makers' habits before and after 1950, where the turns are not known (McLyman) [T]
# Exciting volt-amperes by flux, over those at 1.0 T: twice at 1.25 T, steep above 1.4 T (MIT EE Staff; judgement).
EXCITING = ((0.5, 0.3), (1.0, 1.0), (1.25, 2.0), (1.4, 3.5), (1.5, 6.0), (1.6, 12.0), (1.8, 50.0))
WITHIN, WARM, STARVED = 1.05, 1.10, 0.93  # of flux or of volts over those as made (judgement; lines vary by 10 %)
MENDED_FROM, FAR = 0.025, 0.03  # of the line: less is no matter; more than that may not be left
# Windings that small transformers are sold with [V].
WINDINGS_V = (3.0, 5.0, 6.3, 8.0, 9.0, 10.0, 12.6, 15.0, 18.0, 20.0, 24.0, 28.0, 30.0, 36.0, 40.0, 48.0, 60.0)
TEST_V = 12.0  # an isolated low voltage that the way round is proved with [V]
TAKEN = 1.5  # volt-amperes to be bought over those needed; a resistor's watts are doubled (judgement)


@dataclass(frozen=True)
class LineNow:
    """What another line makes of a unit; ``str()`` says it in words, cautions before each remedy.

    Attributes
    ----------
    nominal_v, nominal_hz, now_v, now_hz : float
        Line that it is made for, and today's [V], [Hz].
    volts_ratio, flux_ratio : float
        Every winding's voltage, and the flux, over those as made [-].
    flux_t : tuple of float
        Least and greatest flux today: the same where core and turns tell it, else for the usual flux of makers [T].
    iron_ratio : float
        Iron loss over that as made [-].
    exciting_ratio : tuple of float
        Exciting current over that as made, for the least and the greatest flux [-].
    target_v : float
        Line at today's frequency that gives it its own flux, and no more than its own volts [V].
    verdict : str
        as made, mend it, not so or low.
    heaters : tuple of (float, float)
        A heater's volts as made and today [V].
    remedies : tuple of dict
        Figures of each, by its ``kind``: taps, bucking (or boosting), resistor; none where nothing is to be mended.
    """

    nominal_v: float
    nominal_hz: float
    now_v: float
    now_hz: float
    volts_ratio: float
    flux_ratio: float
    flux_t: tuple[float, float]
    iron_ratio: float
    exciting_ratio: tuple[float, float]
    target_v: float
    verdict: str
    heaters: tuple[tuple[float, float], ...]
    remedies: tuple[dict[str, Any], ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values by their names."""
        told = {name: getattr(self, name) for name in self.__dataclass_fields__}
        told |= {"flux_t": list(self.flux_t), "exciting_ratio": list(self.exciting_ratio)}
        told["heaters"] = [{"heater_v": made, "now_v": now} for made, now in self.heaters]
        return told | {"remedies": [dict(one) for one in self.remedies]}

    @property
    def words(self) -> list[str]:
        """What the line does to it, a sentence each."""
        says = data("estimate/line.toml")
        said, verdict = says["say"], says["verdict"]
        figures = {name: getattr(self, name) for name in self.__dataclass_fields__}
        low, high = self.flux_t
        made_low, made_high = (one / self.flux_ratio for one in self.flux_t)
        told = {"low": low, "high": high, "made_low": made_low, "made_high": made_high, "now": low, "made": made_low}
        flux = said["flux_known" if low == high else "flux_usual"].format(**told)
        least, most = (f"{one:.2g}" for one in self.exciting_ratio)
        exciting = least if least == most else f"{least} to {most}"
        lines = [said["volts"].format(**figures)]
        lines += [said["frequency"].format(**figures)] if self.now_hz != self.nominal_hz else []
        lines += [said["flux"].format(**figures | {"flux": flux, "exciting": exciting}), verdict[self.verdict]]
        if self.target_v < self.nominal_v:
            lines.append(verdict["slow"].format(**figures, slow_ratio=self.target_v / self.nominal_v))
        heaters = [
            {"heater_v": made, "now_v": now, "percent": 100.0 * (self.volts_ratio - 1.0)} for made, now in self.heaters
        ]
        return [*lines, *(said["heater"].format(**one) for one in heaters), said["multiplier"]]

    @property
    def remedy_words(self) -> list[str]:
        """The caution, then each remedy with its figures; nothing where nothing is to be mended."""
        says = data("estimate/line.toml")["remedy"]
        lines = [says["caution"]] if self.remedies else []
        for one in self.remedies:
            if one["kind"] in ("bucking", "boosting"):
                current = says["current" if one["primary_a"] else "current_untold"].format(**one)
                opposes = "opposes" if one["kind"] == "bucking" else "adds to"
                lines.append(says["bucking"].format(**one, current=current, opposes=opposes))
                lines.append(says["way_round"].format(**one))
            elif one["kind"] == "resistor":
                lines.append(says["resistor" if one["primary_a"] else "resistor_untold"].format(**one))
            else:
                lines.append(says["taps"].format(**one))
        return lines

    def __str__(self) -> str:
        return "\n".join([*self.words, *self.remedy_words])


def line_now(
    nominal: tuple[float, float],
    now: tuple[float, float],
    flux_t: float | None = None,
    heaters: Sequence[float] = (),
    primary_a: float | None = None,
) -> LineNow:
    """What another line makes of a unit, and what would mend it.

    Parameters
    ----------
    nominal, now : tuple of float
        Volts and frequency of the line that the unit is made for and of today's, above 0 [V], [Hz].
    flux_t : float, optional
        Peak flux as made, as ``calib.bench.flux_density_t`` tells it from core and turns; makers' usual 1.0 to 1.4 T
        where not given [T].
    heaters : sequence of float
        Nominal voltages of the heaters that it feeds [V].
    primary_a : float, optional
        The set's primary current as measured or reckoned, rms: the remedies' volt-amperes and ohms follow from it [A].

    Returns
    -------
    LineNow
        Flux ratio (V/V_n)(f_n/f); iron loss by B² f^1.3; exciting current by its volt-amperes over B, times f / V.

    Raises
    ------
    ValueError
        An input of zero or less.
    """
    (nominal_v, nominal_hz), (now_v, now_hz) = nominal, now
    for name, value, unit in (("nominal line", nominal_v, "V"), ("nominal frequency", nominal_hz, "Hz")):
        positive(name, value, unit)
    for name, value, unit in (("today's line", now_v, "V"), ("today's frequency", now_hz, "Hz")):
        positive(name, value, unit)
    positive("flux as made", 1.0 if flux_t is None else flux_t, "T")
    positive("primary current", 1.0 if primary_a is None else primary_a, "A")
    slower = now_hz / nominal_hz
    volts_ratio = now_v / nominal_v
    flux_ratio = volts_ratio / slower
    made = np.array(USUAL_FLUX_T if flux_t is None else (flux_t, flux_t))
    exciting = np.exp(_ln_exciting(made * flux_ratio) - _ln_exciting(made)) * slower / volts_ratio
    target_v = nominal_v * min(slower, 1.0)
    return LineNow(
        nominal_v,
        nominal_hz,
        now_v,
        now_hz,
        volts_ratio,
        flux_ratio,
        (float(made[0] * flux_ratio), float(made[1] * flux_ratio)),
        flux_ratio**LOSS_FLUX_EXPONENT * slower**LOSS_FREQUENCY_EXPONENT,
        (float(exciting.min()), float(exciting.max())),
        target_v,
        _verdict(volts_ratio, flux_ratio),
        tuple((volts, volts * volts_ratio) for volts in dict.fromkeys(heaters)),
        _remedies(now_v, target_v, now_v * nominal_v / target_v, primary_a),
    )


def line_faults(values: dict[str, float | None]) -> list[Fault]:
    """Faults of today's line as typed, line_now_v and line_now_hz; None is not told."""
    return faults_of(LINE, values)


def _ln_exciting(flux_t: np.ndarray) -> np.ndarray:
    """ln of the exciting volt-amperes over those at 1.0 T; beyond the ends by the last slope."""
    at, ln = np.array([one for one, _ in EXCITING]), np.log([one for _, one in EXCITING])
    beyond = (flux_t - at[-1]) * (ln[-1] - ln[-2]) / (at[-1] - at[-2])
    short = (flux_t - at[0]) * (ln[1] - ln[0]) / (at[1] - at[0])
    return np.interp(flux_t, at, ln) + np.maximum(beyond, 0.0) + np.minimum(short, 0.0)


def _verdict(volts_ratio: float, flux_ratio: float) -> str:
    most = max(volts_ratio, flux_ratio)
    if most > WARM * (1.0 + 1e-9):
        return "not so"
    if most > WITHIN * (1.0 + 1e-9):
        return "mend it"
    return "low" if volts_ratio < STARVED else "as made"


def _remedies(now_v: float, target_v: float, tap_v: float, primary_a: float | None) -> tuple[dict[str, Any], ...]:
    """What brings the line to the wanted volts, or a tap for as much; nothing where it is near enough."""
    over = now_v - target_v
    if abs(over) < MENDED_FROM * target_v:
        return ()
    winding = min(WINDINGS_V, key=lambda one: abs(one - abs(over)))
    if abs(abs(over) - winding) > FAR * target_v:
        return ()  # no small transformer mends that: it is another line altogether
    sign = math.copysign(1.0, over)
    bucking: dict[str, Any] = {
        "kind": "bucking" if over > 0 else "boosting",
        "winding_v": winding,
        "left_v": now_v - sign * winding,
        "primary_a": primary_a,
        "va": winding * primary_a if primary_a else None,
        "va_taken": TAKEN * winding * primary_a if primary_a else None,
        "test_v": TEST_V,
        "test_left_v": TEST_V * (1.0 - sign * winding / now_v),
        "test_wrong_v": TEST_V * (1.0 + sign * winding / now_v),
    }
    if over < 0:
        return (bucking,)
    resistor: dict[str, Any] = {"kind": "resistor", "drop_v": over, "half_v": over / 2.0, "primary_a": primary_a}
    resistor |= dict.fromkeys(("ohm", "watts", "watts_taken"))
    if primary_a:
        watts = over * primary_a
        resistor |= {"ohm": over / primary_a, "watts": watts, "watts_taken": 2.0 * watts}
    return ({"kind": "taps", "tap_v": tap_v}, bucking, resistor)


USUAL_LOSS_W_KG, WORKED_FLUX_T = 2.0, 1.2  # radio steel as usually worked (judgement; MIT EE Staff)
IRON_SHARE = 0.08  # of the watts, where the core is not known (judgement)
EXCITING_SHARE = 0.2  # of the current of the load: 10 to 35 % are met in small units (judgement)


@dataclass(frozen=True)
class MainsSide:
    """What the line gives and sees; ``words`` and ``line_words`` say it.

    Attributes
    ----------
    primary : PrimaryCurrent or None
        At the load; None where the steady state is not known.
    fuse_ma : float or None
        Time-lag, in the line conductor [mA].
    inrush_a, inrush_added_ohm : float or None
        Greatest peak when switched on, and what holds it to ten times the fuse; None where the primary was not read
        [A], [ohm].
    line : LineNow or None
        Where today's line was told and the nominal one is known.
    """

    primary: PrimaryCurrent | None
    fuse_ma: float | None
    inrush_a: float | None
    inrush_added_ohm: float | None
    line: LineNow | None

    def as_dict(self) -> dict[str, Any]:
        """Plain values by the keys of a demand."""
        return {
            "primary_a": self.primary.amperes if self.primary else None,
            "primary_va": self.primary.va if self.primary else None,
            "primary_fuse_ma": self.fuse_ma,
            "inrush_a": self.inrush_a,
            "inrush_added_ohm": self.inrush_added_ohm,
            "line": self.line.as_dict() if self.line else None,
        }

    @property
    def words(self) -> list[str]:
        """Primary current, fuse and inrush, a sentence each."""
        said = data("estimate/demand.toml")["say"]
        lines = [said["primary"].format(**self.as_dict())] if self.primary and self.fuse_ma else []
        if self.inrush_a is not None:
            how = "untold" if self.inrush_added_ohm is None else "tamed" if self.inrush_added_ohm else "held"
            tamed = said[how].format(**self.as_dict())
            lines.append(said["inrush"].format(**self.as_dict(), tamed=tamed))
        return lines

    @property
    def line_words(self) -> list[str]:
        """What today's line does and what mends it, the caution first."""
        return [*self.line.words, *self.line.remedy_words] if self.line else []


def mains_side(
    unit: pd.Series,
    no_load_v: float,
    state: SupplyState | None,
    heaters: Sequence[tuple[float, float]],
    supply: SetSupply,
) -> MainsSide:
    """What the line gives to a unit and its set.

    Parameters
    ----------
    unit : pandas.Series
        Its readings.
    no_load_v : float
        Of the whole winding at the nominal line; NaN where not known [V].
    state : SupplyState or None
        The steady state at the load.
    heaters : sequence of (float, float)
        Volts and amperes that the set's heaters draw [V], [A].
    supply : SetSupply
        Today's line.

    Returns
    -------
    MainsSide
        Iron by the core's mass and 2 W/kg, else 8 % of the watts; exciting current a fifth of the load's (judgement).
    """
    (nominal_v, nominal_hz), (now_v, now_hz) = lines_of(unit, supply)
    known = math.isfinite(nominal_v) and math.isfinite(nominal_hz)
    heater_w = sum(volts * amperes for volts, amperes in heaters) * (now_v / nominal_v) ** 2
    loaded = state is not None and state.load_ma > 0.0
    primary = primary_at(unit, no_load_v, state, heater_w, supply) if loaded else None
    fuse = fuse_ma(1000.0 * primary.amperes) if primary else math.nan
    ohm = unit.get("primary_resistance_ohm", math.nan)
    ohm = math.nan if ohm is None else float(ohm)
    rush = inrush(now_v, ohm, 0.0, FUSE_HOLDS * fuse / 1000.0 if fuse == fuse else math.inf) if ohm > 0.0 else None
    told = known and (supply.line_now_v is not None or supply.line_now_hz is not None)
    line = None
    if told:
        drawn = primary.amperes if primary else None
        line = line_now((nominal_v, nominal_hz), (now_v, now_hz), None, [volts for volts, _ in heaters], drawn)
    return MainsSide(
        primary,
        fuse if fuse == fuse else None,
        rush.peak_a if rush else None,
        rush.added_ohm if rush and fuse == fuse else None,
        line,
    )


def lines_of(unit: pd.Series, supply: SetSupply) -> tuple[tuple[float, float], tuple[float, float]]:
    """Volts and frequency of a unit's nominal line and of today's; NaN where the nominal one is not known [V], [Hz]."""
    nominal_v, nominal_hz = float(unit["line_voltage_v"]), float(unit["line_frequency_hz"])
    return (nominal_v, nominal_hz), (supply.line_now_v or nominal_v, supply.line_now_hz or nominal_hz)


def primary_at(
    unit: pd.Series,
    no_load_v: float,
    state: SupplyState | None,
    heater_w: float,
    supply: SetSupply,
    hv_share: float = 1.0,
) -> PrimaryCurrent | None:
    """What the primary carries; None where its line, the winding's volts or the steady state are not known.

    Parameters
    ----------
    unit, no_load_v, state, supply
        As `mains_side` takes them.
    heater_w : float
        Of all heaters, at today's line [W].
    hv_share : float
        Current of the high voltage over the state's, 0 or more: its power and its rms current go with it [-].
    """
    (nominal_v, nominal_hz), (now_v, now_hz) = lines_of(unit, supply)
    side_v = no_load_v / (2.0 if unit["rectifier"] == "full-wave" else 1.0)
    if state is None or not all(map(math.isfinite, (nominal_v, nominal_hz, side_v))):
        return None
    flux_ratio = (now_v / nominal_v) / (now_hz / nominal_hz)
    hv_a, hv_w = hv_share * _high_voltage_a(state) * side_v / nominal_v, hv_share * state.input_w
    iron_w = _iron_w(unit, flux_ratio, now_hz, heater_w + hv_w)
    exciting_a = EXCITING_SHARE * (hv_a + (heater_w + iron_w) / now_v)
    return primary_current(now_v, heater_w, iron_w, exciting_a, hv_a, hv_w)


def _high_voltage_a(state: SupplyState) -> float:
    """rms current of all sides of the winding, without the direct current that a primary cannot carry [A]."""
    rms, direct = state.winding_rms_ma / 1000.0, state.load_ma / 1000.0
    if state.rectifier == "half-wave":
        return math.sqrt(max(rms**2 - direct**2, 0.0))
    return rms * math.sqrt(2.0) if state.rectifier == "full-wave" else rms


def _iron_w(unit: pd.Series, flux_ratio: float, hz: float, drawn_w: float) -> float:
    """Iron loss of the core as it is usually worked [W]."""
    tongue, stack = (float(unit.get(name) or math.nan) for name in ("tongue_mm", "stack_mm"))
    lamination = unit.get("lamination")
    sheets = core_sheets(tongue, lamination if isinstance(lamination, str) else "") if tongue == tongue else None
    if sheets is None or stack != stack:
        return IRON_SHARE * drawn_w
    return float(iron_loss_w_kg(USUAL_LOSS_W_KG, WORKED_FLUX_T * flux_ratio, hz) * sheets.iron_mass_kg(stack))
