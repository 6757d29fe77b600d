"""The line side of a set fed by a unit: primary current, its fuse, the inrush, and what today's line makes of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.bench.core import core_sheets
from calib.bench.magnetics import iron_loss_w_kg
from calib.estimate.line import LineNow, line_now
from calib.estimate.set_supply import SetSupply
from calib.paths import data
from calib.supply.budget import FUSE_HOLDS, PrimaryCurrent, fuse_ma, inrush, primary_current
from calib.supply.steady_state import SupplyState

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MainsSide", "lines_of", "mains_side", "primary_at"]

USUAL_LOSS_W_KG, USUAL_FLUX_T = 2.0, 1.2  # radio steel as usually worked (judgement; MIT EE Staff)
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
    return float(iron_loss_w_kg(USUAL_LOSS_W_KG, USUAL_FLUX_T * flux_ratio, hz) * sheets.iron_mass_kg(stack))
