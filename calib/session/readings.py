"""What was entered on the page, turned into a table of one unknown unit: halves, inches and gauges converted once.

An entry that is empty is None and stays out of the columns. Nothing here is asked of the page itself, so that all of it
can be tested without one.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import calib
from calib import bench, words
from calib.register.records import LIMB_MM
from calib.session import measured, metering, refusals
from calib.session.metering import HALVES_U_PCT, Metered

if TYPE_CHECKING:
    import pandas as pd

    from calib import Meter

RATIO_TEST, NO_LOAD = "a ratio test at low voltage", "its no-load voltage, known"
WHOLE, HALF = "the whole winding", "one half of it"
LIMBS, AREA = "tongue and stack", "gross area (a toroid)"
CORE_WAYS = (LIMBS, AREA)
SCRAPLESS = bench.SHAPES[0]
# The unit that each number ends in.
KEPT_IN = {
    "excitation_v": "V",
    "volts_read": "V",
    "no_load_read": "V",
    "ohms_read": "ohm",
    "winding_temp_c": "°C",
    "rest_h": "h",
    "line_voltage_v": "V",
    "line_frequency_hz": "Hz",
    "tongue": "mm",
    "stack": "mm",
    "area": "cm²",
    "window_width": "mm",
    "window_height": "mm",
    "wire": "wire",
    "demand_ma": "mA",
    **metering.KEPT_IN,
}
FIELD_OF = {
    "hv_v": "volts_read",
    "no_load_v": "no_load_read",
    "hv_resistance_ohm": "ohms_read",
    "tongue_mm": "tongue",
    "stack_mm": "stack",
    "core_area_cm2": "area",
    "window_width_mm": "window_width",
    "window_height_mm": "window_height",
    "awg": "wire",
    "wire_diameter_mm": "wire",
    "unit": "tag",
}
FACTS = {facts.name: facts for facts in calib.fields(calib.UnknownUnit)}
# Where the numbers usually lie, in those units.
USUAL = {name: facts.usual for name, facts in FACTS.items()} | metering.USUAL
USUAL |= {field: FACTS[column].usual for column, field in FIELD_OF.items() if field != "wire"}
# What stands against the unit; the form has no fields for it.
STANDING = ("stop", "stop_cleared", "doubts")
COPPER, ALUMINIUM = "copper", "aluminium"
METALS = {COPPER: "copper, or not known", ALUMINIUM: "aluminium"}
PLAIN = (
    "winding_temp_c",
    "line_voltage_v",
    "line_frequency_hz",
    "rectifier",
    "filter",
    "demand_ma",
    "contributor",
)


@dataclass(frozen=True)
class Understood:
    """What the entries amount to.

    Attributes
    ----------
    unit : pandas.DataFrame or None
        One row as `calib.read_unknown` gives it, where nothing is missing or wrong.
    missing : tuple of str
        Fields of the page that a first answer still needs.
    faults : dict of str to str
        For each field that is wrong, what is and what to do about it.
    aloud : dict of str to str
        For each field whose entry was converted, the conversion in words.
    unusual : dict of str to str
        For each field worth a second look, why.
    metered : Metered
        How sure the readings are, and what makes most of that.
    """

    unit: pd.DataFrame | None
    missing: tuple[str, ...]
    faults: dict[str, str]
    aloud: dict[str, str]
    unusual: dict[str, str] = field(default_factory=dict)
    metered: Metered = field(default_factory=lambda: Metered({}))


def understand(entries: Mapping[str, Any], meters: Sequence[Meter] = ()) -> Understood:
    """Convert what was entered, check it, and say what is missing, wrong, unusual or was converted."""
    numbers = numbers_of(entries)
    read, entries, aloud = numbers.kept, numbers.typed, numbers.aloud
    faults = metering.faults_of(read) | numbers.faults
    columns = _plain(read) | _voltage(read, aloud)
    columns |= _resistance(read, aloud) | _core(read, aloud) | measured.wire(entries, aloud, faults)
    columns["centre_tapped"] = columns.get("rectifier") == "full-wave" or _halved(read)
    meter_says = metering.metered(read, _as_read(read), meters, aloud)
    columns |= meter_says.columns
    try:
        unit = calib.read_unknown(_table(columns), where="the readings")
    except calib.InputError as error:
        missing = [fault.column for fault in error.faults if not fault.value]
        refused = {FIELD_OF.get(fault.column, fault.column): fault for fault in error.faults if fault.value}
        told = {name: refusals.refused(fault, FACTS[fault.column], entries, name) for name, fault in refused.items()}
        asked = tuple(name for name in _asked_for(missing, entries) if name not in faults)
        return Understood(None, asked, told | faults, aloud, {}, meter_says)
    unusual: dict[str, str] = {}
    for one in calib.improbabilities(calib.UnknownUnit.parse(columns)):
        name = FIELD_OF.get(one.column, one.column)
        said = refusals.doubted(one.why, FACTS[one.column], entries, name)
        unusual[name] = f"{unusual[name]} {said}" if name in unusual else said
    return Understood(None if faults else unit, (), faults, aloud, unusual, meter_says)


def numbers_of(entries: Mapping[str, Any]) -> measured.Numbers:
    """The form's numbers, read as they were typed."""
    return measured.read(entries, KEPT_IN, USUAL)


def _halved(entries: Mapping[str, Any]) -> bool:
    """Whether anything was read on one half, which there is only where the winding has a centre tap."""
    return HALF in (entries.get("volts_across"), entries.get("ohms_across"))


def _table(columns: Mapping[str, Any]) -> io.BytesIO:
    """The columns as a table of one row, every column of an unknown unit in its header."""
    text = io.StringIO()
    writer = csv.DictWriter(text, [facts.name for facts in calib.fields(calib.UnknownUnit)])
    writer.writeheader()
    writer.writerow({name: f"{value:.12g}" if isinstance(value, float) else value for name, value in columns.items()})
    return io.BytesIO(text.getvalue().encode())


def _asked_for(missing: list[str], entries: Mapping[str, Any]) -> tuple[str, ...]:
    """The page's fields for the columns that are missing, in the words of the way in which the voltage was found."""
    asked = []
    for column in missing:
        if column == "no_load_v" and entries.get("voltage_by") != NO_LOAD:
            asked += ["excitation_v", "volts_read"]
        else:
            asked.append(FIELD_OF.get(column, column))
    return tuple(asked)


def _present(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None and value != ""}


def _plain(entries: Mapping[str, Any]) -> dict[str, Any]:
    columns = _present(**{name: entries.get(name) for name in PLAIN})
    columns |= _present(**{name: entries.get(name) for name in STANDING})
    if metal_of(entries) == ALUMINIUM:  # an empty cell is copper, or not known
        columns["conductor"] = ALUMINIUM
    columns["unit"] = entries.get("tag") or "this unit"
    if entries.get("simulated"):
        columns["simulated"] = True
    return columns


def _doubled(value: float | None, across: str | None, name: str, unit: str, aloud: dict[str, str]) -> float | None:
    if value is None or across != HALF:
        return value
    said = f"One half read {value:.6g} {unit}, so the whole winding counts as {2 * value:.6g} {unit}."
    aloud[name] = f"{aloud[name]} {said}" if name in aloud else said
    return 2 * value


def _voltage(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    across = entries.get("volts_across")
    if entries.get("voltage_by") == NO_LOAD:
        return _present(no_load_v=_doubled(entries.get("no_load_read"), across, "no_load_read", "V", aloud))
    whole = _doubled(entries.get("volts_read"), across, "volts_read", "V", aloud)
    return _present(excitation_v=entries.get("excitation_v"), hv_v=whole)


def _resistance(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    metering.four_wire_hint(entries, "ohms_read", entries.get("ohms_read"), aloud)
    net = metering.less_null(entries, entries.get("ohms_read"), aloud)
    whole = _doubled(net, entries.get("ohms_across"), "ohms_read", "Ω", aloud)
    if whole != net:
        aloud["ohms_read"] += (
            f" Halves commonly differ by 3 to 15 %, so {HALVES_U_PCT:g} % is added to its uncertainty: "
            "end to end is the better reading."
        )
    return _present(hv_resistance_ohm=whole)


def _as_read(entries: Mapping[str, Any]) -> metering.Read:
    """The readings for what the meters make of them: each as it was shown, half or whole."""
    stated = entries.get("voltage_by") == NO_LOAD
    volts = [entries.get(name) for name in ("excitation_v", "volts_read", "line_voltage_v")]
    return metering.Read(
        None if stated else metering.ratio_of(*volts),
        no_load_v=entries.get("no_load_read") if stated else None,
        ohm=entries.get("ohms_read"),
        temp_c=entries.get("winding_temp_c"),
        ohm_of_half=entries.get("ohms_across") == HALF,
        metal=metal_of(entries),
    )


def metal_of(entries: Mapping[str, Any]) -> str:
    """The metal of the winding's wire: copper, unless aluminium is said."""
    return ALUMINIUM if entries.get("conductor") == ALUMINIUM else COPPER


def _core(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    if entries.get("core_by") == AREA:
        return _present(core_area_cm2=entries.get("area"))
    tongue, stack = entries.get("tongue"), entries.get("stack")
    if tongue is None and stack is None:
        return {}
    if tongue is None or stack is None:
        said = "The core counts once tongue and stack are both there."
        aloud["stack"] = f"{aloud['stack']} {said}" if "stack" in aloud else said
        return {}
    if LIMB_MM[0] <= min(tongue, stack) and max(tongue, stack) <= LIMB_MM[1]:
        said = f"{words.figure(tongue * stack / 100)} cm² of core."
        aloud["stack"] = f"{aloud['stack']} {said}" if "stack" in aloud else said
    return {"tongue_mm": float(tongue), "stack_mm": float(stack)} | _sheets(entries, float(tongue), aloud)


def _sheets(entries: Mapping[str, Any], tongue: float, aloud: dict[str, str]) -> dict[str, Any]:
    """Shape and window of the sheets, where the shape is said to be another than that of most."""
    shape = entries.get("lamination") or SCRAPLESS
    sides = {} if shape == SCRAPLESS else {name: entries.get(name) for name in ("window_width", "window_height")}
    given = {f"{name}_mm": float(value) for name, value in sides.items() if value is not None}
    if len(given) == 1:
        said = "The window counts once width and height are both there."
        aloud["window_height"] = f"{aloud.get('window_height', '')} {said}".strip()
        given = {}
    window = tuple(given.values())
    if tongue > 0 and all(side > 0 for side in window):
        said = measured.sheets_said(tongue, shape, (window[0], window[1]) if window else None)
        aloud |= {"lamination": said} if said else {}
    return given if shape == SCRAPLESS else {"lamination": shape, **given}


def whole_volts(entries: Mapping[str, Any]) -> float | None:
    """Volts that stand across the whole winding during the ratio test; None where not read, or none was made."""
    value = entries.get("volts_read")
    if value is None or entries.get("voltage_by") == NO_LOAD:
        return None
    return float(2 * value if entries.get("volts_across") == HALF else value)


def live_warning(entries: Mapping[str, Any]) -> str:
    """What to say where the ratio test as read leaves a winding above the limit; blank where it does not.

    Source of the limit: IEC 61010-1.
    """
    entries = numbers_of(entries).kept
    if entries.get("voltage_by") == NO_LOAD:
        return ""
    whole, on_primary = whole_volts(entries) or 0.0, entries.get("excitation_v") or 0.0
    limit = bench.HAZARDOUS_LIVE_V
    if max(whole, on_primary) <= limit:
        return ""
    if on_primary >= whole:
        return f"{on_primary:.4g} V on the primary is above {limit:g} V: switch off, and feed less."
    less = f": {bench.down(limit * on_primary / whole)} V on the primary at most" if on_primary > 0.0 else ""
    return (
        f"{whole:.4g} V across the whole winding is above {limit:g} V: this is live high-voltage work. Switch off, and "
        f"feed less{less}."
    )


def feed_advice(entries: Mapping[str, Any]) -> tuple[str, ...]:
    """What may be fed in the ratio test, by each state of what is known of the leads; by the ratio, once it is read."""
    entries = numbers_of(entries).kept
    told = (entries.get("line_voltage_v"), whole_volts(entries), entries.get("excitation_v"))
    line, whole, on_primary = (None if value is None or value <= 0.0 else float(value) for value in told)
    highest = line * whole / on_primary if line and whole and on_primary else None
    return bench.feed(False).advice, bench.feed(True, line, highest).advice


def rest_warning(entries: Mapping[str, Any]) -> str:
    """What to say where the winding cannot have the room's temperature yet; blank where it can, or nothing is known."""
    entries = numbers_of(entries).kept
    hours = entries.get("rest_h")
    if hours is None or hours < 0:
        return ""
    tongue = entries.get("tongue") if entries.get("core_by") != AREA else None
    tongue = tongue if tongue and tongue > 0 else None
    needed = bench.settling_h(tongue)
    if hours >= needed:
        return ""
    left = bench.difference_left_k(hours, tongue)
    high = 100.0 * left * bench.CONDUCTORS[metal_of(entries)].coefficient_per_k
    size = "a core of this size" if tongue else "a unit"
    ago = f"{hours:g} {'hour' if hours == 1 else 'hours'} ago"
    return (
        f"Not settled yet: {size} takes about {needed:.1f} hours to the temperature of the room. If it came off a full "
        f"load {ago}, its winding may be {words.figure(left, 2)} °C above the room, and read {words.figure(high, 2)} % "
        "high. Wait, or read again later: two readings an hour apart should agree."
    )
