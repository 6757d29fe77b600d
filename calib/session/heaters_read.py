"""Heater windings as they are entered on the page, turned into readings. No page in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import calib
from calib import bench, words
from calib.session import measured
from calib.session.readings import USUAL

NOT_LOOKED_AT, NONE = "not looked at", "it has none"
MOST = 4
COUNTS = (NOT_LOOKED_AT, NONE, *(words.count(number, "heater winding") for number in range(1, MOST + 1)))
FOUR_WIRES, TWO_LEADS = "four wires (or a known current and a millivoltmeter)", "two leads and their null"
WAYS = (FOUR_WIRES, TWO_LEADS)
# Limits of what is entered: volts at the primary's line [V], resistance [ohm], current [A] (judgement).
LIMITS = {"v": (0.01, 100.0, "V"), "ohm": (0.0, 100.0, "Ω"), "a": (0.0, 100.0, "A")}


@dataclass(frozen=True)
class HeatersRead:
    """What the entries amount to.

    Attributes
    ----------
    windings : tuple of calib.HeaterReading or None
        Those that can be reckoned with; None where nobody looked.
    faults : dict of str to str
        For each field that is wrong, what is and what to do about it.
    aloud : dict of str to str
        For each field whose entry was converted, the conversion in words.
    """

    windings: tuple[calib.HeaterReading, ...] | None
    faults: dict[str, str]
    aloud: dict[str, str]


def count_of(entries: Mapping[str, Any]) -> int | None:
    """How many heater windings are entered; None where nobody looked."""
    chosen = entries.get("heaters")
    return COUNTS.index(chosen) - 1 if chosen in COUNTS[1:] else None


def heaters_of(entries: Mapping[str, Any], at_line: bool) -> HeatersRead:
    """The heater windings.

    Parameters
    ----------
    entries : mapping of str to object
        Fields `heaters`, `heater_leads`, `heater_null`, and heater_v_1, heater_ohm_1, heater_a_1 and on [V, ohm, A];
        `excitation_v` and `line_voltage_v` scale what was read in the ratio test [V].
    at_line : bool
        Whether volts are those at the nominal line, else as read in the ratio test.

    Returns
    -------
    HeatersRead
        A winding without volts is left out until they are there.
    """
    count = count_of(entries)
    if count is None:
        return HeatersRead(None, {}, {})
    read = numbers_of(entries, count)
    aloud, wrong = (_of_heaters(said) for said in (read.aloud, read.faults))
    entries, faults, found = read.kept, _beyond(read.kept, count) | wrong, []
    scale = 1.0 if at_line else _scale(entries)
    null = None if entries.get("heater_leads") != TWO_LEADS else _number(entries.get("heater_null"), 0.0)
    for number in range(1, count + 1):
        volts = _number(entries.get(f"heater_v_{number}"))
        if math.isnan(volts * scale) or any(name.endswith(f"_{number}") for name in faults):
            continue
        if not at_line:
            said = f"{volts:.4g} V in the ratio test is {volts * scale:.4g} V at the line."
            aloud[f"heater_v_{number}"] = f"{aloud.get(f'heater_v_{number}', '')} {said}".strip()
        if null is not None and "heater_null" in faults:
            continue
        one = calib.HeaterReading(
            name=f"heater {number}",
            no_load_v=volts * scale,
            reading_ohm=_number(entries.get(f"heater_ohm_{number}")),
            winding_temp_c=_number(entries.get("winding_temp_c"), bench.REFERENCE_C),
            drawn_a=_number(entries.get(f"heater_a_{number}")),
        )
        found.append(one if null is None else replace(one, null_ohm=null, meter=bench.ORDINARY_OHMMETER))
    return HeatersRead(tuple(found), faults, aloud)


def numbers_of(entries: Mapping[str, Any], count: int) -> measured.Numbers:
    """The numbers that the windings hang on, read as they were typed."""
    units = {"excitation_v": "V", "line_voltage_v": "V", "winding_temp_c": "°C", "heater_null": "Ω"}
    usual: dict[str, tuple[float, float] | None] = {name: USUAL[name] for name in ("excitation_v", "line_voltage_v")}
    usual["heater_null"] = LIMITS["ohm"][:2]
    for number in range(1, count + 1):
        for kind, (low, high, unit) in LIMITS.items():
            units[f"heater_{kind}_{number}"], usual[f"heater_{kind}_{number}"] = unit, (low, high)
    return measured.read(entries, units, usual)


def _of_heaters(said: Mapping[str, str]) -> dict[str, str]:
    """What is said of the heaters' own fields; of the others it is said where they stand."""
    return {name: one for name, one in said.items() if name.startswith("heater_")}


def heater_rows(answer: Any) -> list[tuple[str, str, str, str]]:
    """The heater windings for a table: name and voltage, resistance, current and its interval, why none."""
    rows = []
    for one in answer.windings:
        usual = "no usual heater voltage" if math.isnan(one.usual_v) else f"a {one.usual_v:g} V winding"
        ohm = "–" if math.isnan(one.resistance_ohm) else f"{words.figure(one.resistance_ohm, 2)} Ω"
        if one.reason:
            rows.append((one.name, f"{one.no_load_v:.3g} V: {usual}", ohm, f"not told: {one.reason}"))
            continue
        low, likely, high = (words.figure(value, 2) for value in (one.low_a, one.rated_a, one.high_a))
        rows.append((one.name, f"{one.no_load_v:.3g} V: {usual}", ohm, f"{likely} A ({low} to {high})"))
    return rows


def _beyond(entries: Mapping[str, Any], count: int) -> dict[str, str]:
    """Entries outside their limits, or that cannot be scaled."""
    faults = {}
    for number in range(1, count + 1):
        for kind, (low, high, unit) in LIMITS.items():
            name = f"heater_{kind}_{number}"
            value = _number(entries.get(name))
            if not math.isnan(value) and not low <= value <= high:
                faults[name] = f"{value:.6g} {unit}: is outside the limits, {low:g} to {high:g} {unit}; read it again."
    null = _number(entries.get("heater_null"))
    if entries.get("heater_leads") == TWO_LEADS and not math.isnan(null) and not 0.0 <= null <= 100.0:
        faults["heater_null"] = f"{null:.6g} Ω: is outside the limits, 0 to 100 Ω; read the joined clips again."
    return faults


def _scale(entries: Mapping[str, Any]) -> float:
    fed, line = _number(entries.get("excitation_v")), _number(entries.get("line_voltage_v"))
    return line / fed if fed > 0 and line > 0 else math.nan


def _number(value: Any, otherwise: float = math.nan) -> float:
    return otherwise if value is None else float(value)
