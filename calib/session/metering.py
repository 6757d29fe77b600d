"""What the meters that were used make of the readings: the null taken off, and how sure voltage and resistance are.

A form's entries name a meter by its label. An ordinary meter is taken for granted where none is named; whoever knows
the uncertainty enters it instead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib import bench

if TYPE_CHECKING:
    from calib import Meter

ORDINARY, STATED = "an ordinary digital meter", "I know its uncertainty"
SAME_RANGE, OTHER_RANGE, TWO_METERS = "one meter, one range", "one meter, two ranges", "two meters"
CORRELATION = {
    SAME_RANGE: bench.ONE_METER_ONE_RANGE,
    OTHER_RANGE: bench.ONE_METER_OTHER_RANGE,
    TWO_METERS: bench.TWO_METERS,
}
NULL_OFF, NULL, FOUR_WIRE = "less the leads' own already", "with the leads' own, to be taken off", "read by four wires"
LEADS = (NULL_OFF, NULL, FOUR_WIRE)
# Limits of what only the forms ask: (lowest, highest, unit).
LIMITS = {
    "null_ohm": (0.0, 100.0, "ohm"),
    "null_u_ohm": (0.0, 10.0, "ohm"),
    "temp_within_k": (0.0, 30.0, "K"),
    "rest_h": (0.0, 10000.0, "h"),
    "u_voltage_pct": (0.0, 100.0, "%"),
    "u_resistance_pct": (0.0, 100.0, "%"),
}
# The unit that each of its numbers ends in; and where they lie, which is within the limits.
KEPT_IN = {field: unit for field, (_, _, unit) in LIMITS.items() if field != "rest_h"}
USUAL: dict[str, tuple[float, float] | None] = {field: (low, high) for field, (low, high, _) in LIMITS.items()}
# Standard uncertainty of doubling one half's resistance: halves differ by 3 to 15 %; bench practice (judgement) [%].
HALVES_U_PCT = 4.0


@dataclass(frozen=True)
class Read:
    """A unit's readings in the units of the tables, for what the meters make of them; None where not read.

    Attributes
    ----------
    ratio : (float, float, float) or None
        The ratio test's excitation and voltage as read, and the nominal line [V].
    no_load_v : float or None
        The no-load voltage, where no ratio test was made [V].
    ohm, temp_c : float or None
        Resistance as read, and the winding's temperature then [ohm, °C].
    ohm_of_half : bool
        Whether the resistance is one half's, and the other is taken for equal.
    metal : str
        Of the winding, copper or aluminium.
    """

    ratio: tuple[float, float, float] | None = None
    no_load_v: float | None = None
    ohm: float | None = None
    temp_c: float | None = None
    ohm_of_half: bool = False
    metal: str = "copper"


@dataclass(frozen=True)
class Metered:
    """How sure the readings are.

    Attributes
    ----------
    columns : dict of str to float
        u_voltage_pct and u_resistance_pct, each where it is known better than for an ordinary meter [%].
    parts : tuple of bench.Part
        Where the uncertainty of V/R comes from, the largest part first; empty where V/R is not known yet.
    u_pct : float
        Relative standard uncertainty of V/R; nan where it is not known yet [%].
    """

    columns: dict[str, float]
    parts: tuple[bench.Part, ...] = ()
    u_pct: float = float("nan")


def ratio_of(excitation_v: float | None, hv_v: float | None, line_v: float | None) -> tuple[float, float, float] | None:
    """The voltages of a ratio test and the line, where all three are there [V]."""
    if excitation_v is None or hv_v is None or line_v is None:
        return None
    return float(excitation_v), float(hv_v), float(line_v)


def faults_of(entries: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with the entries that only the forms know: each with its limits and a remedy."""
    found = {}
    for field, (low, high, unit) in LIMITS.items():
        value = entries.get(field)
        if value is not None and not low <= value <= high:
            limits = f"{low:g} to {high:g} {unit}".replace("ohm", "Ω").replace(" K", " °C")
            found[field] = f"{value:g}: is outside the limits, {limits}; check it, or leave it empty."
    null, read = entries.get("null_ohm"), entries.get("ohms_read")
    if entries.get("ohm_leads") != NULL or null is None or read is None or "null_ohm" in found:
        return found
    if null >= read > 0:
        found["null_ohm"] = f"{null:g}: is no less than the reading, {read:g} Ω; read the joined clips again."
    return found


def less_null(entries: Mapping[str, Any], ohm: float | None, aloud: dict[str, str]) -> float | None:
    """The resistance without that of the leads, said aloud where a null is taken off."""
    null = entries.get("null_ohm")
    if ohm is None or null is None or entries.get("ohm_leads") != NULL or not 0 <= null < ohm:
        return ohm
    net = float(bench.less_lead_null(ohm, float(null)))
    aloud["null_ohm"] = f"{ohm:.6g} Ω less the leads' {null:.4g} Ω is {net:.6g} Ω."
    return net


def four_wire_hint(entries: Mapping[str, Any], field: str, ohm: float | None, aloud: dict[str, str]) -> None:
    """Say of a small resistance how it is best read."""
    limit = bench.FOUR_WIRE_BELOW_OHM
    if ohm is None or not 0 < ohm < limit or entries.get("ohm_leads") == FOUR_WIRE:
        return
    said = f"Below {limit:g} Ω the leads are a large part of it: read it by four wires."
    aloud[field] = f"{aloud[field]} {said}" if field in aloud else said


def metered(entries: Mapping[str, Any], read: Read, meters: Sequence[Meter], aloud: dict[str, str]) -> Metered:
    """What the meters make of the readings.

    Parameters
    ----------
    entries : mapping of str to object
        Which meters were used and how.
    read : Read
        The readings.
    meters : sequence of calib.Meter
        The user's own.
    aloud : dict of str to str
        Takes what each meter amounts to, in words.

    Returns
    -------
    Metered
        Of impossible readings nothing is said here: the record's own limits refuse them.
    """
    named: dict[tuple[str, str], Meter] = {(meter.reads, meter.label): meter for meter in meters}
    columns: dict[str, float] = {}
    try:
        volts, volts_known = _voltage(entries, read, named)
        ohms, ohms_known = _resistance(entries, read, named)
        whole = None if volts is None or ohms is None else volts / ohms
        volts_pct, ohms_pct, whole_pct = (None if value is None else _pct(value) for value in (volts, ohms, whole))
    except ValueError:
        return Metered({})
    for field, column, pct, known in (
        ("voltmeter", "u_voltage_pct", volts_pct, volts_known),
        ("ohmmeter", "u_resistance_pct", ohms_pct, ohms_known),
    ):
        if pct is None or not known:
            continue
        columns[column] = pct
        if entries.get(field) not in (None, ORDINARY, STATED):
            name = "No-load voltage" if field == "voltmeter" else "Resistance"
            aloud[field] = f"{name}: a standard uncertainty of {columns[column]:.2g} %."
    if whole_pct is None:
        return Metered(columns)
    return Metered(columns, bench.uncertainty_budget(whole), whole_pct)


def _pct(value: Any) -> float:
    """Relative standard uncertainty [%]; 0 of a plain number."""
    return float(bench.relative_pct(value.nominal_value, value.std_dev)) if hasattr(value, "std_dev") else 0.0


def _voltage(entries: Mapping[str, Any], read: Read, named: Mapping[tuple[str, str], Meter]) -> tuple[Any, bool]:
    """The no-load voltage with its uncertainty, and whether that is more than taken for granted."""
    plain = float(bench.no_load_voltage(*read.ratio)) if read.ratio else read.no_load_v
    if plain is None:
        return None, False
    chosen, stated = entries.get("voltmeter"), entries.get("u_voltage_pct")
    if chosen == STATED and stated is not None:
        return bench.with_relative(plain, stated, bench.STATED_VOLTAGE), True
    meter = named.get(("volt", chosen or ""))
    if meter is None:
        return bench.with_relative(plain, bench.DEFAULT_U_VOLTAGE_PCT, bench.ASSUMED_VOLTMETER), False
    if read.ratio is None:
        return bench.no_load_taken(plain, meter.accuracy), True
    how = entries.get("volts_metered") or SAME_RANGE
    second = meter if how == SAME_RANGE else named.get(("volt", entries.get("second_voltmeter") or ""), meter)
    pair = (meter.accuracy, second.accuracy)
    return bench.ratio_taken(*read.ratio, pair, CORRELATION[how]), True


def _resistance(entries: Mapping[str, Any], read: Read, named: Mapping[tuple[str, str], Meter]) -> tuple[Any, bool]:
    """The resistance at 20 °C with its uncertainty, and whether that is more than taken for granted."""
    if read.ohm is None or read.temp_c is None:
        return None, False
    chosen, stated = entries.get("ohmmeter"), entries.get("u_resistance_pct")
    meter = named.get(("ohm", chosen or ""))
    zero_c = bench.INFERRED_ZERO_C[read.metal]
    if meter is not None:
        null, within = _null(entries), _within(entries)
        value = bench.resistance_taken(read.ohm, meter.accuracy, read.temp_c, null, within, zero_c)
    else:
        known = stated if chosen == STATED else None
        plain = bench.resistance_at(less_null(entries, read.ohm, {}), read.temp_c, inferred_zero_c=zero_c)
        if known is None:
            value = bench.with_relative(plain, bench.DEFAULT_U_RESISTANCE_PCT, bench.ASSUMED_OHMMETER)
        else:
            value = bench.with_relative(plain, known, bench.STATED_RESISTANCE)
        if known is None and not read.ohm_of_half:
            return value, False
    if read.ohm_of_half:
        value = value * bench.with_relative(1.0, HALVES_U_PCT, bench.HALVES)
    return value, True


def _null(entries: Mapping[str, Any]) -> tuple[float, float] | None:
    leads = entries.get("ohm_leads") or NULL_OFF
    if leads == FOUR_WIRE:
        return None
    spread = entries.get("null_u_ohm")
    null = entries.get("null_ohm") if leads == NULL else None
    return float(null or 0.0), bench.LEAD_NULL_U_OHM if spread is None else float(spread)


def _within(entries: Mapping[str, Any]) -> float:
    within = entries.get("temp_within_k")
    return bench.WINDING_TEMP_HALF_WIDTH_K if within is None else float(within)
