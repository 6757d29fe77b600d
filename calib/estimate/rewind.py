"""Winding a transformer again: turns, wire, layers and fit for a core and a target, and how bold that is.

The largest wire that fits the window is taken, at one current density in all windings, which makes the least copper
loss. Sources: Transformer and Inductor Design Handbook (McLyman); Electronic Transformers and Circuits (R. Lee).
Margins, papers and the heat given off are judgement, and stand as constants here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Any

from calib.bench.core import CoreSheets, core_area_cm2, core_sheets
from calib.bench.magnetics import iron_loss_w_kg, turns_per_volt
from calib.bench.resistance import CONDUCTORS, INFERRED_ZERO_C, REFERENCE_C, metal_faults
from calib.bench.wire import (
    approximate_overall,
    awg_diameter_mm,
    awg_overall,
    iec_overall,
    iec_sizes_mm,
    ohm_per_metre,
    old_metric_sizes_mm,
    swg_diameter_mm,
    wire_area_mm2,
)
from calib.errors import Fault, InputError
from calib.fitting.predictive import Prediction
from calib.fitting.tables import estimates
from calib.paths import data
from calib.register.fields import facts_of, faults_of
from calib.supply.form_factor import FORM_FACTOR, not_together, primary_rms_per_dc, winding_rms_per_dc
from calib.units import read_number

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting.predictive import Fitted

__all__ = ["Heater", "REWIND", "RewindPlan", "RewindTarget", "SERIES", "WoundWinding", "rewind_plan"]

SERIES = ("metric", "AWG", "SWG", "old-metric")
LISTED = range(16, 45)
DENSITIES = tuple(1.2 * 1.02**step for step in range(100))  # A/mm², the least first: up to 8.5
MOST_FILL = 0.90  # of the window's width
ENDS_MM, ENDS_SHARE = 4.0, 0.12  # at each end, flange and the layer's free end: at most, and of the window's height
BOBBIN_MM, BOBBIN_SHARE = 1.5, 0.12  # at most, and of the window's width
OVERLAP = 1.03  # turns of a layer never lie quite side by side
BULGE = 1.08  # nor layers quite flat
PAPER_MM_PER_V, LEAST_PAPER_MM = 0.0003, 0.03  # between layers, by the peak volts of two layers
WRAP_MM_PER_V, LEAST_WRAP_MM = 0.0004, 0.2  # between windings, by their peak working stress
HIGH_LINE = 1.1
STEEL_W_KG = 2.0  # at 1.0 T and 60 Hz; between old radio steel and good non-oriented
EXCITING_VA_KG, EXCITING_DOUBLES_T = 10.0, 0.25  # at 1.0 T; doubling for so much more
HEAT_W_M2K, AIR_C = 12.0, 40.0
HOT_K = 60.0
LOOSE_BELOW = 0.70
ROUNDS = 4  # of heater turns for their drop
HEATER_WITHIN = 0.05  # of its volts: what valve makers allow a heater; the line's own share is not in it (judgement)
# Peak to core at no load over √2 times the winding's rms volts; power over one side's rms volts and direct current.
STRESS = {"full-wave": 0.5, "bridge": 1.0, "half-wave": 1.0, "doubler": 2.0, "none": 1.0}
POWER = {"capacitor": 1.34, "choke": 0.90, "none": 1.11}
CAUTIOUS, BOLD = 0.25, 0.75
MAKERS = 0.9  # of them within the interval told
BEHIND = ("prior-only", "published-only", "few-records", "extrapolated", "simulated")  # flags of what the makers did


REWIND = facts_of(data("estimate/rewind.toml")["field"])


@dataclass(frozen=True)
class Heater:
    """One heater winding: volts under load [V] and amperes [A]."""

    volts: float
    amperes: float

    @classmethod
    def of(cls, text: str) -> Heater:
        """From text such as 6.3x3, each number as people write it; InputError where it is none."""
        parts = text.lower().replace("×", "x").split("x")
        try:
            volts, amperes = (read_number(part, unit).kept for part, unit in zip(parts, ("V", "A"), strict=True))
        except ValueError:
            volts = amperes = math.nan
        if not (0.5 <= volts <= 200.0 and 0.05 <= amperes <= 50.0):
            problem, remedy = (
                "is no heater winding of 0.5 to 200 V and 0.05 to 50 A",
                "write volts x amperes, such as 6.3x3",
            )
            raise InputError.one(problem, remedy, column="heater", value=text, code="limits")
        return cls(volts, amperes)


@dataclass(frozen=True)
class RewindTarget:
    """A core, and what it is to give, checked.

    Attributes
    ----------
    tongue_mm, stack_mm : float
        Centre limb 8 to 120, and stack 5 to 200 [mm].
    volts : float
        Whole high-voltage winding at no load, rms, 10 to 3000 [V].
    current_ma : float
        Direct current (rms with rectifier none), 1 to 2000 [mA].
    rectifier, filter : str
        The supply; a full-wave winding is centre-tapped.
    line_voltage_v, line_frequency_hz : float
        50 to 500, 40 to 500 [V, Hz].
    heaters : tuple of Heater
        In order from the inside.
    window_width_mm, window_height_mm : float or None
        Both or neither; a scrapless EI's where neither [mm].
    flux_t : float
        Peak flux density, 0.3 to 1.8 [T].
    series : str
        metric, AWG, SWG or old-metric: which wire is at hand.
    conductor : str
        copper or aluminium: its metal, in all windings.
    """

    tongue_mm: float
    stack_mm: float
    volts: float
    current_ma: float
    rectifier: str
    filter: str
    line_voltage_v: float
    line_frequency_hz: float
    heaters: tuple[Heater, ...] = ()
    window_width_mm: float | None = None
    window_height_mm: float | None = None
    flux_t: float = 1.1
    series: str = "metric"
    conductor: str = "copper"

    def __post_init__(self) -> None:
        faults = faults_of(REWIND, {name: getattr(self, name, None) for name in REWIND})
        if (self.window_width_mm is None) != (self.window_height_mm is None):
            missing = "window_width_mm" if self.window_width_mm is None else "window_height_mm"
            problem = "one side of the window is given without the other"
            faults.append(Fault("", None, missing, "", problem, "give both or neither", "missing"))
        if (self.rectifier, self.filter) not in FORM_FACTOR:
            problem, remedy = not_together(self.filter, FORM_FACTOR)
            faults.append(Fault("", None, "rectifier", self.rectifier, problem, remedy, "conflict"))
        if self.series not in SERIES:
            remedy = f"give {', '.join(SERIES)}"
            faults.append(Fault("", None, "wire", self.series, "is no series of wire", remedy, "choice"))
        faults += metal_faults("conductor", self.conductor)
        if faults:
            raise InputError(faults)

    @property
    def zero_c(self) -> float:
        """Inferred zero of the metal below 0 °C [°C]."""
        return INFERRED_ZERO_C[self.conductor]

    @property
    def sheets(self) -> CoreSheets:
        """The core's sheets: the window as measured, or a scrapless EI's."""
        wide, high = self.window_width_mm, self.window_height_mm
        found = core_sheets(self.tongue_mm, "", None if wide is None or high is None else (wide, high))
        assert found is not None  # a blank shape is a scrapless EI
        return found


@dataclass(frozen=True)
class WoundWinding:
    """One winding of the plan.

    Attributes
    ----------
    role : str
        primary, hv or heater.
    volts : float
        At no load, rms [V].
    turns : int
        Whole number; even of a centre-tapped one.
    wire : str
        As it is bought.
    bare_mm : float
        [mm].
    layers : int
        Full or begun.
    mean_turn_mm, ohm_20c : float
        [mm], [ohm].
    amperes : float
        rms [A].
    wire_kg : float
        Of the bare metal, to buy by [kg].
    per_layer : int
        Turns that a full layer takes.
    paper_mm : float
        Between its layers [mm].
    beneath_mm, stress_v : float
        Insulation beneath it, bobbin or core tube for the innermost, and the peak volts that it stands there, to core
        or to the winding below, at 1.1 times the line [mm], [V].
    """

    role: str
    volts: float
    turns: int
    wire: str
    bare_mm: float
    layers: int
    mean_turn_mm: float
    ohm_20c: float
    amperes: float
    wire_kg: float
    per_layer: int
    paper_mm: float
    beneath_mm: float
    stress_v: float

    @property
    def metres(self) -> float:
        """Length of wire [m]."""
        return self.turns * self.mean_turn_mm * 1e-3


@dataclass(frozen=True)
class RewindPlan:
    """A plan; ``str()`` is for people, ``as_dict()`` has the contract's keys.

    Attributes
    ----------
    target : RewindTarget
        What was asked.
    turns_per_volt, flux_t : float
        By the primary's whole number of turns [1/V], [T].
    windings : tuple of WoundWinding
        From the limb outward.
    fill : float
        Build of windings and insulation over the window's width [-].
    rise_k, copper_w, iron_w : float
        In 40 °C air, and the losses hot [K], [W].
    v_over_r, unit_multiplier : float
        Of the whole high-voltage winding [V/ohm], [mA per V/ohm].
    quantile : float
        Of the plan's multiplier among transformers of that core and supply, 0 to 1: low is cautious.
    density_a_mm2 : float
        Greatest current density [A/mm²].
    doubts : tuple of str
        In words.
    free_mm : float
        That each layer stops short of either end of the window [mm].
    makers_ma, makers_low_ma, makers_high_ma : float
        For that V/R, of transformers of that core and supply half are rated above the first, nine in ten between the
        others [mA].
    flags : str
        What a reader must know of that, as in the table of estimates.
    """

    target: RewindTarget
    turns_per_volt: float
    flux_t: float
    windings: tuple[WoundWinding, ...]
    fill: float
    rise_k: float
    copper_w: float
    iron_w: float
    v_over_r: float
    unit_multiplier: float
    quantile: float
    density_a_mm2: float
    doubts: tuple[str, ...]
    free_mm: float
    makers_ma: float
    makers_low_ma: float
    makers_high_ma: float
    flags: str

    def as_dict(self) -> dict[str, Any]:
        """Plain values under the contract's keys."""
        told = {one.name: getattr(self, one.name) for one in fields(self) if one.name not in ("target", "windings")}
        return told | {"windings": [asdict(one) for one in self.windings], "doubts": list(self.doubts)}

    def frame(self) -> pd.DataFrame:
        """A row a winding."""
        import pandas as pd

        return pd.DataFrame([asdict(one) | {"metres": one.metres} for one in self.windings])

    def __str__(self) -> str:
        said, width = data("estimate/rewind.toml"), self.target.sheets.window_width_mm
        say = said["say"]
        judged = "cautious" if self.quantile < CAUTIOUS else "bold" if self.quantile > BOLD else "usual"
        figures = asdict(self.target) | {one.name: getattr(self, one.name) for one in fields(self)}
        lines = [said["caution"]["before"], *(f"Doubt: {one}" for one in self.doubts), say["head"].format(**figures)]
        for one in self.windings:
            lines += [say[row].format(**asdict(one)) for row in ("winding", "several" if one.layers > 1 else "single")]
        figures |= {"build_mm": self.fill * width, "width_mm": width}
        lines += [say[name].format(**figures) for name in ("fill", "rise", "ratio")]
        behind = [data("flags.toml")[flag] for flag in self.flags.split(";") if flag in data("flags.toml")]
        told = say["quantile"].format(below=self.quantile, judged=said["judged"][judged], **figures)
        return "\n".join([*lines, " ".join([told, *behind])])


@cache
def wires(series: str) -> tuple[tuple[str, float, float], ...]:
    """Name, bare and overall diameter of the wire at hand, thinnest first; film grade 1 or single [mm]."""
    if series == "metric":
        found = [(f"{bare:.3f} mm", bare, iec_overall(bare, 1).mm) for bare in iec_sizes_mm()]
    elif series == "AWG":
        found = [(f"AWG {one}", float(awg_diameter_mm(one)), awg_overall(one, "single").mm) for one in LISTED]
    elif series == "SWG":
        sizes = {one: swg_diameter_mm(one) for one in LISTED}
        found = [(f"SWG {one}", bare, approximate_overall(bare, 1).mm) for one, bare in sizes.items()]
    else:
        found = [(f"{bare:.2f} mm old", bare, approximate_overall(bare, 1).mm) for bare in old_metric_sizes_mm()]
    return tuple(sorted(found, key=lambda one: one[1]))


def rewind_plan(model: Fitted, target: RewindTarget) -> RewindPlan:
    """Plan the windings of a core.

    Parameters
    ----------
    model : Multiplier
        A fit: what makers of transformers like it did.
    target : RewindTarget
        Core and wanted figures.

    Returns
    -------
    RewindPlan
        With the thickest wire that fits.

    Raises
    ------
    InputError
        No wire at 8 A/mm² fits the window, or a winding wants thicker wire than the series has.

    Notes
    -----
    V = sqrt(2) pi f B A_fe N; rise = losses / (h S), S = 22 a² + 11 a b of an open EI (33 a² on a square stack), h =
    12 W/m²K (judgement). Source: Transformer and Inductor Design Handbook (McLyman).
    """
    sheets = target.sheets
    area = core_area_cm2(target.tongue_mm, target.stack_mm)
    primary = round(target.line_voltage_v * turns_per_volt(area, target.flux_t, target.line_frequency_hz))
    per_volt = primary / target.line_voltage_v
    flux = turns_per_volt(area, 1.0, target.line_frequency_hz) / per_volt
    kilos = sheets.iron_mass_kg(target.stack_mm)
    iron_w = kilos * float(iron_loss_w_kg(STEEL_W_KG, flux, target.line_frequency_hz))
    exciting_va = kilos * EXCITING_VA_KG * 2.0 ** ((flux - 1.0) / EXCITING_DOUBLES_T)
    windings, build = _thickest(target, sheets, per_volt, (iron_w, exciting_va))
    # Each half of a centre-tapped winding bears its own k I, so the whole's resistance counts for both.
    cold_w = sum(one.amperes**2 * one.ohm_20c for one in windings)
    rise, copper_w = _rise(target, cold_w, iron_w)
    hv = windings[1]
    v_over_r = hv.volts / hv.ohm_20c
    like = _like(model, target, hv)
    half, low, high = (float(one[0]) for one in like.rated.limits(MAKERS))
    flags = [one for one in estimates(like, MAKERS)["flags"].iloc[0].split(";") if one in BEHIND]
    quantile = 1.0 - float(like.rated.sf(target.current_ma)[0])
    fill = build / sheets.window_width_mm
    reached = max(one.amperes / float(wire_area_mm2(one.bare_mm)) for one in windings)
    return RewindPlan(
        target,
        per_volt,
        flux,
        windings,
        fill,
        rise,
        copper_w,
        iron_w,
        v_over_r,
        target.current_ma / v_over_r,
        quantile,
        reached,
        _doubts(target, windings, rise, fill),
        _free(sheets),
        half,
        low,
        high,
        ";".join(flags),
    )


def _doubts(target: RewindTarget, windings: Sequence[WoundWinding], rise_k: float, fill: float) -> tuple[str, ...]:
    """What speaks against the plan, in words."""
    said, sheets, turn = data("estimate/rewind.toml")["doubt"], target.sheets, windings[0].volts / windings[0].turns
    found = [said["hot"].format(rise_k=rise_k, most=HOT_K)] if rise_k > HOT_K else []
    if sheets.window_width_mm > sheets.window_height_mm:
        found.append(said["window"].format(width=sheets.window_width_mm, height=sheets.window_height_mm))
    found += [said["loose"].format(left=1.0 - fill)] if fill < LOOSE_BELOW else []
    for wanted, wound in zip(target.heaters, windings[2:], strict=True):
        lit = wound.volts - _drop(wanted, wound, windings[0], target.zero_c)
        if abs(lit / wanted.volts - 1.0) > HEATER_WITHIN:
            found.append(said["heater"].format(volts=wanted.volts, lit=lit, turn=turn))
    return tuple(found)


def _thickest(
    target: RewindTarget, sheets: CoreSheets, per_volt: float, iron: tuple[float, float]
) -> tuple[tuple[WoundWinding, ...], float]:
    """The windings at the least current density that fits the window, and their build [mm]."""
    for density in DENSITIES:
        windings, build = _laid(target, sheets, per_volt, iron, density)
        if windings and build <= MOST_FILL * sheets.window_width_mm:
            return windings, build
    problem = f"the windings do not fit a window of {sheets.window_width_mm:.3g} mm at {DENSITIES[-1]:.1f} A/mm²"
    remedy = "take a larger core, a thicker series of wire, less current or fewer volts"
    raise InputError.one(problem, remedy, column="current_ma", value=target.current_ma, code="conflict")


def _currents(target: RewindTarget, iron: tuple[float, float], heater_turns: Sequence[float]) -> tuple[float, ...]:
    """rms amperes of primary, of a section of the high-voltage winding, and of each heater.

    Primary: I² = I_res² + I_hv² + 2 I_res P_hv / V + I_m² (heaters, by their turns over the primary's, and iron in
    phase with the line). `iron` is its loss [W] and what excites it [VA].
    """
    iron_w, exciting_va = iron
    k = winding_rms_per_dc(target.rectifier, target.filter)
    direct = target.current_ma * 1e-3
    line, sides = target.line_voltage_v, 0.5 if target.rectifier == "full-wave" else 1.0
    reflected = direct * primary_rms_per_dc(target.rectifier, k) * target.volts / line
    share = POWER[target.filter] if target.rectifier != "none" else 1.0
    power = share * sides * target.volts * direct
    power = min(power * (2.0 if target.rectifier == "doubler" else 1.0), reflected * line)
    resistive = iron_w / line
    resistive += sum(one.amperes * ratio for one, ratio in zip(target.heaters, heater_turns, strict=True))
    square = resistive**2 + reflected**2 + 2.0 * resistive * power / line + (exciting_va / line) ** 2
    return (math.sqrt(square), k * direct, *(one.amperes for one in target.heaters))


def _laid(
    target: RewindTarget, sheets: CoreSheets, per_volt: float, iron: tuple[float, float], density: float
) -> tuple[tuple[WoundWinding, ...], float]:
    """The windings at a current density from the limb outward, and their build [mm]; none where no wire is so thick."""
    listed = wires(target.series)
    turns = [round(target.line_voltage_v * per_volt), _whole(target.volts * per_volt, target.rectifier)]
    turns += [max(round(one.volts * per_volt), 1) for one in target.heaters]
    for _ in range(ROUNDS):
        amperes = _currents(target, iron, [one / turns[0] for one in turns[2:]])
        wanted = [math.sqrt(4.0 * one / (density * math.pi)) for one in amperes]
        chosen = [next((wire for wire in listed if wire[1] >= one * 0.995), None) for one in wanted]
        windings, build = _build(target, sheets, per_volt, (turns, chosen, amperes))
        if not windings:
            break
        pairs = zip(target.heaters, windings[2:], strict=True)
        loaded = [
            max(round((one.volts + _drop(one, wound, windings[0], target.zero_c)) * per_volt), 1)
            for one, wound in pairs
        ]
        if loaded == turns[2:]:
            break
        turns[2:] = loaded
    return windings, build


def _whole(turns: float, rectifier: str) -> int:
    return 2 * round(turns / 2.0) if rectifier == "full-wave" else round(turns)


def _drop(heater: Heater, wound: WoundWinding, primary: WoundWinding, zero_c: float) -> float:
    """What a heater's winding loses under its load, hot: its own drop and its share of the primary's [V]."""
    ratio = wound.turns / primary.turns
    drop = heater.amperes * wound.ohm_20c + primary.amperes * primary.ohm_20c * ratio
    return drop * (zero_c + AIR_C + HOT_K) / (zero_c + REFERENCE_C)


def _build(
    target: RewindTarget,
    sheets: CoreSheets,
    per_volt: float,
    wound: tuple[Sequence[int], Sequence[tuple[str, float, float] | None], Sequence[float]],
) -> tuple[tuple[WoundWinding, ...], float]:
    """Layers, papers, mean turns and resistances, from the limb outward; none where there is no wire, or no room."""
    free = sheets.window_height_mm - 2.0 * _free(sheets)
    metal = CONDUCTORS[target.conductor]
    depth, found = 0.0, list[WoundWinding]()
    # Any heater may be the rectifier's, which stands at the direct voltage before the valves are warm.
    stress = {"primary": target.line_voltage_v, "hv": STRESS[target.rectifier] * target.volts}
    stress["heater"] = 0.0 if target.rectifier == "none" else stress["hv"]
    roles = ("primary", "hv", *("heater" for _ in target.heaters))
    below = 0.0
    for role, turns, wire, one in zip(roles, *wound, strict=True):
        if wire is None:
            return (), math.inf
        name, bare, overall = wire
        per_layer = int(free / (overall * OVERLAP)) if free > overall else 0
        if per_layer < 1:
            return (), math.inf
        layers = math.ceil(turns / per_layer)
        across = math.sqrt(2.0) * 2.0 * min(per_layer, turns) / per_volt
        paper = max(LEAST_PAPER_MM, PAPER_MM_PER_V * across)
        peak = HIGH_LINE * math.sqrt(2.0) * (stress[role] + below)
        beneath = max(LEAST_WRAP_MM, WRAP_MM_PER_V * peak) if found else _bobbin(sheets)
        depth += beneath
        build = BULGE * (layers * overall + (layers - 1) * paper)
        mean = 2.0 * (target.tongue_mm + target.stack_mm) + 2.0 * math.pi * (depth + build / 2.0)
        ohm = turns * mean * 1e-3 * float(ohm_per_metre(bare, metal.resistivity_ohm_m))
        kg = turns * mean * 1e-3 * float(wire_area_mm2(bare)) * metal.density_g_cm3 * 1e-3
        wound_so = (name, bare, layers, mean, ohm, one, kg, per_layer, paper, beneath, peak)
        found.append(WoundWinding(role, turns / per_volt, turns, *wound_so))
        depth += build
        below = stress[role]
    return tuple(found), depth + LEAST_WRAP_MM


def _free(sheets: CoreSheets) -> float:
    """What a layer stops short of either end of the window [mm]."""
    return min(ENDS_MM, ENDS_SHARE * sheets.window_height_mm)


def _bobbin(sheets: CoreSheets) -> float:
    """Wall of bobbin or core tube [mm]."""
    return min(BOBBIN_MM, BOBBIN_SHARE * sheets.window_width_mm)


def _rise(target: RewindTarget, cold_w: float, iron_w: float) -> tuple[float, float]:
    """Rise in 40 °C air with the copper hot, and its loss then: linear in the rise, so solved at once [K], [W]."""
    a, b = target.tongue_mm * 1e-3, target.stack_mm * 1e-3
    gives = HEAT_W_M2K * (22.0 * a**2 + 11.0 * a * b)
    zero = target.zero_c
    grows = cold_w / (zero + REFERENCE_C)
    left = gives - grows
    rise = (iron_w + grows * (zero + AIR_C)) / left if left > 0.0 else math.inf
    return rise, grows * (zero + AIR_C + rise)


def _like(model: Fitted, target: RewindTarget, hv: WoundWinding) -> Prediction:
    """How the ratings of transformers of that core, supply and V/R are distributed."""
    unit = {
        "unit": "plan",
        "rectifier": target.rectifier,
        "filter": target.filter,
        "line_voltage_v": target.line_voltage_v,
        "line_frequency_hz": target.line_frequency_hz,
        "centre_tapped": target.rectifier == "full-wave",
        "no_load_v": hv.volts,
        "hv_resistance_ohm": hv.ohm_20c,
        "winding_temp_c": REFERENCE_C,
        "conductor": target.conductor,
        "tongue_mm": target.tongue_mm,
        "stack_mm": target.stack_mm,
    }
    return Prediction.of(model, unit, as_read=True)
