"""The set's own side of its supply: what stands in series, the resistors across it, glow tubes with their resistors.

Sources: circuit law; Radiotron Designer's Handbook (regulators, field coils); calib.supply.budget has the formulas.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from calib.paths import data
from calib.supply.budget import GlowRegulator, Resistor, across, glow_regulator, in_series, preferred_ohm
from calib.supply.loads import Drawn, LineUp, Load

__all__ = ["GlowTube", "SetSide", "chosen_resistors", "set_side"]

NO_TUBE = GlowRegulator(*(math.nan,) * 6, works=False)


@dataclass(frozen=True)
class GlowTube:
    """A glow tube of the set: its load, and how it does with its resistor on a line 5 % low and 5 % high."""

    load: Load
    does: GlowRegulator

    def as_dict(self) -> dict[str, Any]:
        """Plain values; None for a number that does not exist."""
        told = {"load": self.load.load, "regulated_v": self.load.regulated_v, "chosen": self.load.chosen_ohm}
        told |= asdict(self.does)
        return {name: None if isinstance(one, float) and math.isnan(one) else one for name, one in told.items()}

    @property
    def words(self) -> str:
        """Its resistor, its current at both lines, and whether that is inside its limits."""
        said = data("estimate/demand.toml")["tube"]
        one, does = self.load, self.does
        figures = {name: getattr(one, name) for name in ("load", "regulated_v", "worst_ma")} | asdict(does)
        figures |= {"least": one.tube_low_ma, "most": one.tube_high_ma}
        figures["tube_low_ma"] = max(does.tube_low_ma, 0.0)  # it is out
        figures |= {name: _plain(figures[name]) for name in ("ohm", "least_ohm", "most_ohm")}
        if math.isnan(does.tube_low_ma):
            return str(said["starved" if math.isnan(does.least_ohm) else "none"].format(**figures))
        how = said["chosen" if one.chosen_ohm else "given"].format(**figures)
        verdict = "works" if does.works else "other" if does.least_ohm <= does.most_ohm else "no_other"
        return f"{how} {said[verdict].format(**figures)}"


@dataclass(frozen=True)
class SetSide:
    """What of a set is reckoned from its direct voltage; ``words`` says it.

    Attributes
    ----------
    series : tuple of (str, Resistor)
        What all the current goes through, by name, at the worst load.
    across : tuple of (str, int, Resistor)
        Resistors across the direct voltage: name, how many, one of them at the average load, where it is hottest.
    tubes : tuple of GlowTube
        With the resistor that was given, or that would serve.
    set_v, set_worst_v : float
        Volts left to the loads behind all that stands in series, at either load; NaN where not reckoned [V].
    bled_ma : float
        What all resistors across draw at the worst load [mA].
    apart : bool
        Whether that is another voltage than the first capacitor's.
    """

    series: tuple[tuple[str, Resistor], ...] = ()
    across: tuple[tuple[str, int, Resistor], ...] = ()
    tubes: tuple[GlowTube, ...] = ()
    set_v: float = math.nan
    set_worst_v: float = math.nan
    bled_ma: float = 0.0
    apart: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Plain values by the keys of a demand."""
        volts = {"set_v": self.set_v, "set_v_worst": self.set_worst_v}
        return {
            **{name: None if math.isnan(value) else value for name, value in volts.items()},
            "series": [
                {"load": name, "ohm": one.ohm, "drop_v": one.volts, "watts": one.watts} for name, one in self.series
            ],
            "across": [
                {"load": name, "count": count, "ohm": one.ohm, "ma": 1000.0 * one.amperes, "watts": one.watts}
                for name, count, one in self.across
            ],
            "regulators": [one.as_dict() for one in self.tubes],
        }

    @property
    def words(self) -> list[str]:
        """A sentence each; none where nothing of the kind was told."""
        said = data("estimate/demand.toml")["say"]
        if self.apart and self.set_worst_v < 0.0:  # nothing of the rest is so then
            return [str(said["series_too_much"])]
        lines = [said["series"].format(load=name, one=one) for name, one in self.series]
        if self.apart:
            lines.append(said["left"].format(set_v=self.set_v, worst_v=self.set_worst_v))
        for name, count, one in self.across:
            each = "" if count == 1 else f" (each of {count})"
            lines.append(said["across"].format(load=name, each=each, one=one, ma=1000.0 * one.amperes))
        return lines + [one.words for one in self.tubes]


def chosen_resistors(line_up: LineUp, extremes_v: tuple[float, float]) -> LineUp:
    """The same line-up with a resistor, as they are sold, before each glow tube that has none.

    Parameters
    ----------
    line_up : LineUp
        What the set draws.
    extremes_v : tuple of float
        Volts before the resistors on a line 5 % low at full signal and 5 % high at rest [V].

    Returns
    -------
    LineUp
        A tube that no resistor keeps inside its limits stays without one.
    """
    loads = []
    for one in line_up.loads:
        if one.use == "regulator" and not one.lit:
            does = _tube(one, extremes_v).does
            ohm = preferred_ohm(does.least_ohm, does.most_ohm)
            one = replace(one, ohm=ohm, chosen_ohm=ohm == ohm)
        loads.append(one)
    return replace(line_up, loads=tuple(loads))


def set_side(line_up: LineUp, drawn: Sequence[Drawn], extremes_v: tuple[float, float] | None) -> SetSide:
    """What stands in series, across, and with glow tubes.

    Parameters
    ----------
    line_up : LineUp
        What the set draws.
    drawn : sequence of Drawn
        At rest and at full signal.
    extremes_v : tuple of float or None
        As `chosen_resistors` takes them; None where there is no glow tube [V].
    """
    rest, worst = drawn
    series = [one for one in line_up.loads if one.use == "series"]
    resistors = [one for one in line_up.loads if one.across]
    tubes = [_tube(one, extremes_v) for one in line_up.loads if one.use == "regulator" and extremes_v is not None]
    return SetSide(
        series=tuple((one.load, in_series(one.count * one.ohm, worst.total_ma)) for one in series),
        across=tuple((one.load, one.count, across(one.ohm, max(rest.set_v, 0.0))) for one in resistors),
        tubes=tuple(tubes),
        set_v=rest.set_v,
        set_worst_v=worst.set_v,
        bled_ma=sum(one.count * one.drawn_ma(True, worst.set_v) for one in resistors),
        apart=bool(series) or rest.set_v != rest.dc_v,
    )


def _plain(ohm: float) -> str:
    """Ohms to three digits, without an exponent."""
    return f"{float(f'{ohm:.3g}'):.10g}"


def _tube(one: Load, extremes_v: tuple[float, float]) -> GlowTube:
    """A tube with its resistor, or with the limits of one; figures are NaN where it has not volts enough."""
    low, high = extremes_v
    if not low > one.regulated_v or math.isnan(high):
        return GlowTube(one, NO_TUBE)
    limits = (one.tube_low_ma, one.tube_high_ma)
    ohm = one.ohm if one.lit else None
    return GlowTube(one, glow_regulator((low, max(low, high)), one.regulated_v, one.worst_ma, limits, ohm))
