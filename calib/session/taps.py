"""Further taps of one winding in the ratio test: what each gives at the line, and whether copper rises with turns."""

from __future__ import annotations

import math

from calib import bench
from calib.session.said import Fact, StepRead
from calib.session.steps import TAPS

SWAPPED = "Taps out of order"
REMEDY = "Read both again from the same end; else find the leads anew on the page that tells them apart."


def taps(read: StepRead, on_primary: float, line: float) -> None:
    """Scale the taps that were read to the line, and say where resistance falls while voltage rises.

    Parameters
    ----------
    read : StepRead
        The ratio step; facts and findings are added to it.
    on_primary, line : float
        Volts on the primary in the test and at its line [V].
    """
    taken = []
    for number in range(1, TAPS + 1):
        volts, ohm = (read.checked.get(f"tap_{what}_{number}") for what in ("v", "ohm"))
        if volts is not None:
            name = read.checked.words(f"tap_name_{number}") or f"tap {number}"
            taken.append(bench.TapReading(name, volts, math.nan if ohm is None else ohm))
    if not taken:
        return
    try:
        scaled = bench.scale_taps(taken, on_primary, line, bench.half_width(max(_ohms(taken)), bench.ORDINARY_OHMMETER))
    except ValueError as error:
        read.lines.append(f"Taps: {error}.")
        return
    for name, volts in zip(scaled.names, scaled.volts, strict=True):
        read.lines.append(f"{name}: {volts:.4g} V from its end at the line.")
        read.facts.append(Fact(f"{name}, no-load voltage from its end", volts, math.nan, "V", "ratio test"))
    read.findings.extend(bench.Finding(SWAPPED, fault, REMEDY, "doubt") for fault in scaled.faults)


def _ohms(taken: list[bench.TapReading]) -> list[float]:
    return [0.0, *(tap.ohm for tap in taken if not math.isnan(tap.ohm))]
