"""The unit on its line without load: what it draws against what its core leads one to expect."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib import bench, words
from calib.bench.faults import KNEE_POWER, LOW_LINE, TURN_POWER
from calib.bench.magnetics import LOSS_W_KG, USUAL_FLUX_T
from calib.session import choices as c
from calib.session.checked import Checked
from calib.session.said import StepRead

NEW_STEEL_FROM = "from-1960"  # the decade from which better sheets are taken for granted (judgement)
BOND_WITHIN_OHM = (
    0.05  # a lead alone may read so much more than with core and frame by the meter's own doubt (judgement)
)
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
    """What the unloaded run says; known is what it waits for: the bond to earth (bonded), a lamp or smell (alarm)."""
    read = StepRead(checked, known={"bonded": False})
    _bond(read)
    taken = {name: checked.get(f"idle_{name}") for name in ("v", "ma", "w", "rise", "low_v", "low_ma")}
    full_ma, iron_w = _expected(core, taken["v"])
    volts, exciting, watts, rise, low_v, low_ma = (math.nan if value is None else value for value in taken.values())
    if not math.isnan(full_ma * exciting):
        share = f"{exciting / full_ma:.0%}"
        read.lines.append(f"Full load by the core: about {words.figure(full_ma)} mA; exciting current {share} of it.")
    if not math.isnan(iron_w * watts):
        read.lines.append(f"Iron's usual loss: about {words.figure(iron_w, 2)} W; it draws {words.figure(watts)} W.")
    if math.isnan(full_ma) and not (math.isnan(exciting) and math.isnan(watts)):
        read.lines.append("Without tongue, stack and line there is nothing to hold current and watts against.")
    if core.line_v and abs(volts / core.line_v - 1.0) > LINE_WITHIN:
        read.lines.append(f"Read at {words.figure(volts)} V, not at its line of {core.line_v:g} V: it says less.")
    bright = checked.chosen("lamp", c.LAMP_UNTRIED) == c.LAMP_BRIGHT
    alarms = tuple(map(str, checked.said.get("alarms") or ()))
    read.known["alarm"] = bright or bool(alarms)
    signs = bench.UnloadedReading(exciting, full_ma, watts, iron_w, rise, volts, low_v, low_ma, bright, alarms)
    found = bench.findings(bench.FaultSigns(unloaded=signs))
    read.findings.extend(found)
    if not (math.isnan(low_v) and math.isnan(low_ma)):
        read.lines.append(_second(signs))
    if not found and not math.isnan(full_ma) and not (math.isnan(exciting) and math.isnan(watts)):
        read.lines.append(bench.PASS_PROVES_LITTLE)
    return read


def _bond(read: StepRead) -> None:
    """Whether core and frame are bonded to protective earth: the readings of it, less the lead's own."""
    reads, lead = read.checked.get("bond_ohm"), read.checked.get("bond_lead_ohm") or 0.0
    if reads is None:
        return
    if reads < lead - BOND_WITHIN_OHM:
        read.checked.faults["bond_lead_ohm"] = (
            f"{lead:g} Ω for the lead alone is more than the {reads:g} Ω with core and frame: read both again."
        )
        return
    bond = max(reads - lead, 0.0)
    found = bench.findings(bench.FaultSigns(bond_ohm=bond))
    read.findings.extend(found)
    read.known["bonded"] = not found
    if not found:
        read.lines.append(f"Bonded to protective earth: {bond:.2g} Ω beside the lead's own.")


def _second(signs: bench.UnloadedReading) -> str:
    """What the second reading says."""
    power = bench.knee_power(signs)
    if math.isnan(power):
        return (
            "The second reading tells nothing: it wants both volts and currents, the second at about "
            f"{LOW_LINE:.0%} of the first volts, and a smaller current."
        )
    said = f"The current falls as the volts to the power {power:.1f}"
    if power >= KNEE_POWER:
        return f"{said}: much faster, as at a knee of the iron."
    return (
        f"{said}: about in proportion, as with a shorted turn or iron far from its knee."
        if power <= TURN_POWER
        else f"{said}."
    )


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
