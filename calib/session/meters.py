"""The meters that readings were taken on: their limits of error, the null of the leads, how sure the readings are.

An ordinary meter is taken for granted where none is named; whoever knows the uncertainty enters it instead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import calib
from calib import bench
from calib.register.fields import FIELDS, outside_limits
from calib.session import protocol
from calib.session.fields import Checked

if TYPE_CHECKING:
    import pandas as pd

    from calib import Meter

ASSUMED = {"ohm": bench.ORDINARY_OHMMETER, "volt": bench.ORDINARY_VOLTMETER}
SYMBOLS = {"ohm": "Ω", "volt": "V"}
Named = Mapping[tuple[Any, str], Any]  # the user's own meters, by what they read and their label
ORDINARY, STATED = "(ordinary)", "(stated)"  # codes, as those below; a meter of one's own stands by its label
SAME_RANGE, OTHER_RANGE, TWO_METERS = "one-range", "two-ranges", "two-meters"
CORRELATION = {
    SAME_RANGE: bench.ONE_METER_ONE_RANGE,
    OTHER_RANGE: bench.ONE_METER_OTHER_RANGE,
    TWO_METERS: bench.TWO_METERS,
}
NULL_OFF, NULL, FOUR_WIRE = "null-off", "null-on", "four-wires"
LEADS = (NULL_OFF, NULL, FOUR_WIRE)
# Limits of what only the forms ask: (lowest, highest, unit).
ASKED = ("null_ohm", "null_u_ohm", "temp_within_k", "rest_h", "u_voltage_pct", "u_resistance_pct")
LIMITS = {name: (FIELDS[name].low or 0.0, FIELDS[name].high or 0.0, FIELDS[name].unit) for name in ASKED}
# The unit that each of its numbers ends in; and where they lie, which is within the limits.
KEPT_IN = {field: unit for field, (_, _, unit) in LIMITS.items() if field != "rest_h"}
USUAL: dict[str, tuple[float, float] | None] = {field: (low, high) for field, (low, high, _) in LIMITS.items()}
# Standard uncertainty of doubling one half's resistance: halves differ by 3 to 15 %; bench practice (judgement) [%].
HALVES_U_PCT = 4.0
# The columns of what a meter showed, and what it is brought to the line and to 20 °C with.
READ = ("excitation_v", "hv_v", "no_load_v", "line_voltage_v", "hv_resistance_ohm", "winding_temp_c", "conductor")


@dataclass(frozen=True)
class Used:
    """A meter as it was used.

    Attributes
    ----------
    accuracy : bench.MeterClass
        Its limits of error.
    said : str
        What it is, in words.
    known : bool
        Whether it is the user's own, or its figures were typed; else an ordinary one is assumed.
    """

    accuracy: bench.MeterClass
    said: str
    known: bool

    def twice(self) -> bench.MeterClass:
        """The class of a sum of two readings on it: the gain is common to both, the last digits count twice."""
        return bench.MeterClass(self.accuracy.percent, 2 * self.accuracy.counts, self.accuracy.resolution)


def meters_of(listed: pd.DataFrame) -> tuple[calib.Meter, ...]:
    """The user's own meters, of the register's list of them."""
    names = [one.name for one in calib.meter_fields()]
    rows = listed[names].to_dict("records")
    return tuple(calib.Meter.parse({str(name): value for name, value in row.items()}) for row in rows)


def used(checked: Checked, name: str, reads: str, meters: Sequence[Meter]) -> Used:
    """The meter that a field names; what is wrong with one whose figures are typed goes to the faults.

    Parameters
    ----------
    checked : Checked
        The step's entries, whose faults are added to.
    name, reads : str
        The field, and volt or ohm.
    meters : sequence of calib.Meter
        The user's own.

    Returns
    -------
    Used
        An ordinary one where none is named, or the one named is not there.
    """
    chosen = checked.chosen(name)
    if chosen == protocol.TYPED:
        return _typed(checked, name, reads)
    own = next((one for one in meters if one.reads == reads and one.label == chosen), None)
    if own is not None:
        return _told(own.label, own.accuracy, reads, True)
    gone = "" if chosen == protocol.ORDINARY else f"{chosen} is not on your list now; "
    return _told(f"{gone}{protocol.said(protocol.ORDINARY)} assumed", ASSUMED[reads], reads, False)


def _typed(checked: Checked, name: str, reads: str) -> Used:
    figures = {part: checked.get(f"{name}_{part}") for part in ("percent", "counts", "resolution")}
    try:
        meter = calib.Meter.parse({"name": "this meter", "reads": reads, **figures})
    except calib.InputError as error:
        for fault in error.faults:
            value = fault.value or "empty"
            checked.faults.setdefault(f"{name}_{fault.column}", f"{value}: {fault.problem}; {fault.remedy}.")
            checked.codes.setdefault(f"{name}_{fault.column}", fault.code)
        return _told(
            f"its figures are not whole yet; {protocol.said(protocol.ORDINARY)} assumed", ASSUMED[reads], reads, False
        )
    return _told("a meter whose figures you typed", meter.accuracy, reads, True)


def _told(name: str, accuracy: bench.MeterClass, reads: str, known: bool) -> Used:
    limits = f"±({accuracy.percent:g} % + {accuracy.counts:g} × {accuracy.resolution:g} {SYMBOLS[reads]})"
    return Used(accuracy, f"{name}, {limits}", known)


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


def faults_of(entries: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with the entries that only the forms know: each with its limits and a remedy."""
    found = {}
    for field, (low, high, unit) in LIMITS.items():
        value = entries.get(field)
        if value is not None and not low <= value <= high:
            limits = f"{low:g} to {high:g} {unit}".replace("ohm", "Ω").replace(" K", " °C")
            found[field] = f"{value:g}: {outside_limits(limits, otherwise='check it, or leave it empty')}."
    null, read = entries.get("null_ohm"), entries.get("ohms_read")
    if entries.get("ohm_leads") != NULL or null is None or read is None or "null_ohm" in found:
        return found
    if null >= read > 0:
        found["null_ohm"] = f"{null:g}: is no less than the reading, {read:g} Ω; read the joined clips again."
    return found


def less_null(
    entries: Mapping[str, Any], ohm: float | None, aloud: dict[str, str], field: str = "null_ohm"
) -> float | None:
    """The resistance without that of the leads, said aloud at a field where a null is taken off."""
    null = entries.get("null_ohm")
    if ohm is None or null is None or entries.get("ohm_leads") != NULL or not 0 <= null < ohm:
        return ohm
    net = float(bench.less_lead_null(ohm, float(null)))
    aloud[field] = f"{ohm:.6g} Ω less the leads' {null:.4g} Ω is {net:.6g} Ω."
    return net


def four_wire_hint(entries: Mapping[str, Any], field: str, ohm: float | None, aloud: dict[str, str]) -> None:
    """Say of a small resistance how it is best read."""
    limit = bench.FOUR_WIRE_BELOW_OHM
    if ohm is None or not 0 < ohm < limit or entries.get("ohm_leads") == FOUR_WIRE:
        return
    said = f"Below {limit:g} Ω the leads are a large part of it: read it by four wires."
    aloud[field] = f"{aloud[field]} {said}" if field in aloud else said


def tells(entries: Mapping[str, Any], ohm_of_half: bool) -> bool:
    """Whether a record is to hold how sure its readings are: more is known than that a meter is an ordinary one."""
    return ohm_of_half or any(entries.get(one) not in (None, ORDINARY) for one in ("voltmeter", "ohmmeter"))


def metered(
    entries: Mapping[str, Any],
    shown: Mapping[str, Any],
    meters: Sequence[Meter],
    aloud: dict[str, str],
    ohm_of_half: bool = False,
) -> Metered:
    """What the meters make of the readings.

    Parameters
    ----------
    entries : mapping of str to object
        Which meters were used and how.
    shown : mapping of str to object
        The columns of `READ`, each as it was shown, half or whole; None where not read.
    meters : sequence of calib.Meter
        The user's own.
    aloud : dict of str to str
        Takes what each meter amounts to, in words.
    ohm_of_half : bool
        Whether the resistance is one half's, and the other is taken for equal.

    Returns
    -------
    Metered
        Of impossible readings nothing is said here: the record's own limits refuse them.
    """
    named = {(meter.reads, meter.label): meter for meter in meters}
    columns: dict[str, float] = {}
    try:
        volts, volts_known = _voltage(entries, shown, named)
        ohms, ohms_known = _resistance(entries, shown, named, ohm_of_half)
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


def _voltage(entries: Mapping[str, Any], shown: Mapping[str, Any], named: Named) -> tuple[Any, bool]:
    """The no-load voltage with its uncertainty, and whether that is more than taken for granted."""
    ratio = [shown.get(name) for name in ("excitation_v", "hv_v", "line_voltage_v")]
    read = [float(volts) for volts in ratio if volts is not None]
    by_ratio = len(read) == len(ratio)
    plain = float(bench.no_load_voltage(*read)) if by_ratio else shown.get("no_load_v")
    if plain is None:
        return None, False
    chosen, stated = entries.get("voltmeter"), entries.get("u_voltage_pct")
    if chosen == STATED and stated is not None:
        return bench.with_relative(plain, stated, bench.STATED_VOLTAGE), True
    meter = named.get(("volt", chosen or ""))
    if meter is None:
        return bench.with_relative(plain, bench.DEFAULT_U_VOLTAGE_PCT, bench.ASSUMED_VOLTMETER), False
    if not by_ratio:
        return bench.no_load_taken(plain, meter.accuracy), True
    how = entries.get("volts_metered") or SAME_RANGE
    second = meter if how == SAME_RANGE else named.get(("volt", entries.get("second_voltmeter") or ""), meter)
    pair = (meter.accuracy, second.accuracy)
    return bench.ratio_taken(read[0], read[1], read[2], pair, CORRELATION[how]), True


def _resistance(entries: Mapping[str, Any], shown: Mapping[str, Any], named: Named, of_half: bool) -> tuple[Any, bool]:
    """The resistance at 20 °C with its uncertainty, and whether that is more than taken for granted."""
    ohm, temp = shown.get("hv_resistance_ohm"), shown.get("winding_temp_c")
    if ohm is None or temp is None:
        return None, False
    chosen, stated = entries.get("ohmmeter"), entries.get("u_resistance_pct")
    meter, zero_c = named.get(("ohm", chosen or "")), bench.INFERRED_ZERO_C[shown.get("conductor") or "copper"]
    if meter is not None:
        leads, within = entries.get("ohm_leads"), entries.get("temp_within_k")
        null = lead_null(entries.get("null_ohm") if leads == NULL else None, entries.get("null_u_ohm"))
        within = bench.WINDING_TEMP_HALF_WIDTH_K if within is None else float(within)
        null_read = None if leads == FOUR_WIRE else null
        value = bench.resistance_taken(ohm, meter.accuracy, temp, null_read, within, zero_c)
    else:
        plain = bench.resistance_at(less_null(entries, ohm, {}), temp, inferred_zero_c=zero_c)
        if chosen == STATED and stated is not None:
            value = bench.with_relative(plain, stated, bench.STATED_RESISTANCE)
        else:
            value = bench.with_relative(plain, bench.DEFAULT_U_RESISTANCE_PCT, bench.ASSUMED_OHMMETER)
            if not of_half:
                return value, False
    return value * bench.with_relative(1.0, HALVES_U_PCT, bench.HALVES) if of_half else value, True


def lead_null(null_ohm: float | None, u_ohm: float | None) -> tuple[float, float]:
    """The leads' null and its standard uncertainty, where nothing else is known those of good clips [ohm]."""
    return float(null_ohm or 0.0), bench.LEAD_NULL_U_OHM if u_ohm is None else float(u_ohm)
