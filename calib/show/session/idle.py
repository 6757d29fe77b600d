"""The unit on its line without load: what it draws against what its core leads one to expect."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib import bench
from calib.bench.flux import LOSS_W_KG, USUAL_FLUX_T
from calib.show import words
from calib.show.session.checked import Checked
from calib.show.session.said import StepRead

NEW_STEEL_FROM = "from-1960"  # the decade from which better sheets are taken for granted (judgement)
LINE_WITHIN = 0.1  # a reading at a voltage further from the line than this share says less (judgement)


@dataclass(frozen=True)
class Core:
    """What the steps before tell of the core; None where they do not.

    Attributes
    ----------
    sheets : bench.CoreSheets or None
        Its sheets: tongue, window, path.
    stack_mm : float or None
        Its stack [mm].
    line_v, frequency_hz : float or None
        The nominal supply [V, Hz].
    decade : str
        How old the unit is.
    """

    sheets: bench.CoreSheets | None
    stack_mm: float | None
    line_v: float | None
    frequency_hz: float | None
    decade: str


def idle(checked: Checked, core: Core) -> StepRead:
    """What the unloaded run says; a shorted turn's signs are findings."""
    read = StepRead(checked)
    taken = {name: checked.get(f"idle_{name}") for name in ("v", "ma", "w", "rise")}
    if all(value is None for value in taken.values()):
        return read
    full_ma, iron_w = _expected(core, taken["v"])
    volts, exciting, watts, rise = (math.nan if value is None else value for value in taken.values())
    if not math.isnan(full_ma * exciting):
        share = f"{exciting / full_ma:.0%}"
        read.lines.append(f"Full load by the core: about {words.figure(full_ma)} mA; exciting current {share} of it.")
    if not math.isnan(iron_w * watts):
        read.lines.append(f"Iron's usual loss: about {words.figure(iron_w, 2)} W; it draws {words.figure(watts)} W.")
    if math.isnan(full_ma) and not math.isnan(exciting + watts):
        read.lines.append("Without tongue, stack and line there is nothing to hold current and watts against.")
    if core.line_v and abs(volts / core.line_v - 1.0) > LINE_WITHIN:
        read.lines.append(f"Read at {words.figure(volts)} V, not at its line of {core.line_v:g} V: it says less.")
    signs = bench.UnloadedReading(exciting, full_ma, watts, iron_w, rise)
    read.findings.extend(bench.findings(bench.FaultSigns(unloaded=signs)))
    return read


def _expected(core: Core, volts: float | None) -> tuple[float, float]:
    """Full-load current [mA] and the iron's usual loss at the voltage applied [W]; NaN where the core is not known.

    The upper end of what sheets of its day lose is taken, so that an ordinary unit is not suspected. Source: Magnetic
    Circuits and Transformers (MIT EE Staff).
    """
    sheets = core.sheets
    if sheets is None or core.stack_mm is None or core.line_v is None or core.frequency_hz is None:
        return math.nan, math.nan
    area = bench.core_area_cm2(sheets.tongue_mm, core.stack_mm)
    va = bench.area_rule_va(area, sheets.window_cm2, bench.usual_area_rule(sheets.tongue_mm, core.frequency_hz))
    steel = "good non-oriented" if core.decade == NEW_STEEL_FROM else "old radio steel"
    flux = USUAL_FLUX_T * (1.0 if volts is None else volts / core.line_v)
    loss = bench.iron_loss_w_kg(LOSS_W_KG[steel][1], flux, core.frequency_hz)
    return 1000.0 * float(va) / core.line_v, float(loss * sheets.iron_mass_kg(core.stack_mm))
