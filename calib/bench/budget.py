"""The account of an uncertainty: what makes most of it, and what would make that part smaller."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from calib.bench.guard import Quantity
from calib.bench.ratio import HAZARDOUS_LIVE_V
from calib.bench.taken import EXCITATION, EXCITING_DROP, LEAD_NULL, NO_LOAD, RESISTANCE, VOLTAGE_READ, WINDING_TEMP

# Tags of what is taken for granted or entered as it is, beside those of `taken`.
ASSUMED_VOLTMETER, ASSUMED_OHMMETER = "an ordinary voltmeter", "an ordinary ohmmeter"
STATED_VOLTAGE, STATED_RESISTANCE, HALVES = "stated of the voltage", "stated of the resistance", "one half read"

_SAME_RANGE = "read both voltages on one meter and one range, where it cancels"
_FINER = f"use the finest range that holds both voltages, or feed more: up to {HAZARDOUS_LIVE_V:g} V on any winding"
_OWN = "enter your own meter's ±(% + counts), which may well be better"
# For each tag: the source as it is named, and the remedy. Several tags may be one source.
_SOURCES = {
    f"gain, {EXCITATION}": ("the voltmeter's scale", _SAME_RANGE),
    f"gain, {VOLTAGE_READ}": ("the voltmeter's scale", _SAME_RANGE),
    "gain common to both": ("the voltmeter's scale", _SAME_RANGE),
    f"counts, {EXCITATION}": ("the last digits of the volts put in", _FINER),
    f"counts, {VOLTAGE_READ}": ("the last digits of the volts read", _FINER),
    EXCITING_DROP: (
        "the exciting current's drop in the primary",
        f"feed more, as far as that leaves every winding at or below {HAZARDOUS_LIVE_V:g} V; check the other way round",
    ),
    NO_LOAD: ("the voltmeter", "use a finer range or a better meter"),
    ASSUMED_VOLTMETER: ("the voltmeter, an ordinary one being assumed", _OWN),
    STATED_VOLTAGE: ("the uncertainty entered for the voltage", "read it again on a better meter"),
    RESISTANCE: ("the ohmmeter", "use a finer range or a better meter"),
    LEAD_NULL: ("the null of the leads", "join the clips and take the null again, or read by four wires"),
    WINDING_TEMP: (
        "the winding's temperature",
        "let the unit stand in the room for longer, with the thermometer beside it",
    ),
    ASSUMED_OHMMETER: ("the ohmmeter, an ordinary one being assumed", _OWN),
    STATED_RESISTANCE: ("the uncertainty entered for the resistance", "read it again on a better meter"),
    HALVES: ("taking one half for the other", "read the resistance end to end"),
}


@dataclass(frozen=True)
class Part:
    """One source's part in an uncertainty.

    Attributes
    ----------
    source : str
        What it comes from, in words.
    u_pct : float
        What it makes by itself, as a relative standard uncertainty [%].
    share : float
        Of the whole variance, 0 to 1 [-].
    remedy : str
        What makes it smaller; blank where nothing is known.
    """

    source: str
    u_pct: float
    share: float
    remedy: str


def uncertainty_budget(value: Quantity) -> tuple[Part, ...]:
    """The parts of a value's uncertainty, the largest first.

    Parameters
    ----------
    value : value with its uncertainty
        Other than zero; a plain number has none.

    Returns
    -------
    tuple of Part
        A row for each source; the shares add up to 1. Empty where the value is exact.

    Notes
    -----
    u² = sum (df/dx u(x))², share = (df/dx u(x))² / u². Source: JCGM 100:2008, clauses 5.1.2 and 5.1.3.
    """
    if not hasattr(value, "error_components"):
        return ()
    variance: defaultdict[tuple[str, str], float] = defaultdict(float)
    for reading, spread in value.error_components().items():
        tag = reading.tag or "a reading"
        variance[_SOURCES.get(tag, (tag, ""))] += spread**2
    whole, size = sum(variance.values()), abs(value.nominal_value)
    if not whole:
        return ()
    parts = [
        Part(source, 100.0 * part**0.5 / size, part / whole, remedy)
        for (source, remedy), part in variance.items()
        if part
    ]
    return tuple(sorted(parts, key=lambda part: (-part.share, part.source)))


def main_part(parts: tuple[Part, ...]) -> str:
    """The largest part in a sentence with its remedy; blank where there are no parts."""
    if not parts:
        return ""
    most = parts[0]
    said = f"{most.source} makes {100.0 * most.share:.0f} % of this"
    return f"{said}: {most.remedy}" if most.remedy else said
