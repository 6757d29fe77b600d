"""What stands in a form, turned into a record: halves, inches and gauges converted once, the null off, meters used.

The home page's form asks for a unit's readings as they were taken, that for a known unit for the record's own columns.
An entry that is empty is None and stays out of the record.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import calib
from calib import bench, words
from calib.paths import data
from calib.register.fields import FIELDS, is_blank
from calib.register.frame import frame_of
from calib.register.records import HALVES
from calib.session import meters as m
from calib.session.fields import Numbers, doubted, read, refused, symbols_of
from calib.session.steps import windings
from calib.session.steps.core import SCRAPLESS, sheets_said, wire_column

if TYPE_CHECKING:
    import pandas as pd

    from calib import KnownUnit, Meter, UnknownUnit
    from calib.register.fields import FieldFacts

# Codes of the form's choices: how a page puts them is its own.
RATIO_TEST, NO_LOAD = "ratio-test", "no-load"
WHOLE, HALF = "whole", "half"
LIMBS, AREA = "limbs", "area"
FORM = data("session/form.toml")
_NUMBERS: dict[str, dict[str, str]] = {**FORM["needed"], **FORM["more"]}
# The unit that each number ends in; and the form's fields that are not called as the columns that they fill.
KEPT_IN: dict[str, str] = {name: one["unit"] for name, one in _NUMBERS.items()} | m.KEPT_IN
BY_WIRE = {"awg": "wire", "wire_diameter_mm": "wire"}
FIELD_OF = {one["column"]: name for name, one in _NUMBERS.items() if "column" in one} | {"unit": "tag", **BY_WIRE}
FACTS = {facts.name: facts for facts in calib.fields(calib.UnknownUnit)}
# Where the numbers usually lie, in those units.
USUAL = {name: facts.usual for name, facts in FACTS.items()} | m.USUAL
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
    "primary_resistance_ohm",
    "weight_kg",
    "demand_ma",
    "contributor",
)
# Columns that the form for a known unit asks for in another way (the wire by any gauge, the uncertainties by the
# meters), or never.
ASKED_OTHERWISE = (*BY_WIRE, "u_voltage_pct", "u_resistance_pct", "kept", "simulated")

NOT_LOOKED_AT, NONE = "not-looked-at", "none"
MOST = 4
COUNTS = (NOT_LOOKED_AT, NONE, *(str(number) for number in range(1, MOST + 1)))
FOUR_WIRES, TWO_LEADS = "four-wires", "two-leads"
WAYS = (FOUR_WIRES, TWO_LEADS)
# Limits of what is entered of a heater: volts at the primary's line [V], resistance [ohm], current [A].
_WINDING = data("supply/fields.toml")["winding"]
LIMITS = {
    "v": (*_WINDING["no_load_v"]["limits"], "V"),
    "ohm": (*_WINDING["ohm"]["limits"], "Ω"),
    "a": (*_WINDING["rated_a"]["limits"], "A"),
}


@dataclass(frozen=True)
class Understood:
    """What the entries amount to.

    Attributes
    ----------
    record : calib.UnknownUnit, calib.KnownUnit or None
        The record, where nothing is missing or wrong.
    missing : dict of str to str
        For each field that is needed and empty, what is to be filled in.
    faults : dict of str to str
        For each field that is wrong, what is and what to do about it.
    aloud : dict of str to str
        For each field whose entry was converted, the conversion in words.
    unusual : dict of str to str
        For each field worth a second look, why.
    metered : Metered
        How sure the readings are, and what makes most of that.
    """

    record: Any
    missing: dict[str, str]
    faults: dict[str, str]
    aloud: dict[str, str] = field(default_factory=dict)
    unusual: dict[str, str] = field(default_factory=dict)
    metered: m.Metered = field(default_factory=lambda: m.Metered({}))

    @cached_property
    def unit(self) -> pd.DataFrame | None:
        """The record as a table of one row, as `calib.read_unknown` gives it; None where there is none."""
        return None if self.record is None else frame_of(type(self.record), [self.record])


def understand(entries: Mapping[str, Any], meters: Sequence[Meter] = ()) -> Understood:
    """Convert what stands in the home page's form, check it, and say what is missing, wrong, odd or was converted."""
    numbers = numbers_of(entries)
    found, typed, aloud = numbers.kept, numbers.typed, numbers.aloud
    faults = m.faults_of(found) | numbers.faults
    columns = {name: found.get(name) for name in (*PLAIN, *STANDING)} | _voltage(found, aloud)
    columns |= _resistance(found, aloud) | _halves(found, aloud) | _core(found, aloud)
    columns |= {} if found["wire"] is None else wire_column(typed, aloud, faults)
    on_halves = [found.get("volts_across") == HALF, found.get("ohms_across") == HALF, *(columns[one] for one in HALVES)]
    columns["centre_tapped"] = columns["rectifier"] == "full-wave" or any(on_halves)  # what a half reads tells of a tap
    if metal_of(found) == ALUMINIUM:  # an empty cell is copper, or not known
        columns["conductor"] = ALUMINIUM
    columns |= {"unit": found.get("tag") or "this unit", "simulated": bool(found.get("simulated"))}
    taken = (found, _as_read(found), meters, aloud, found.get("ohms_across") == HALF)
    says = m.metered(*taken) if m.tells(found, taken[-1]) else None
    made = recorded(calib.UnknownUnit, columns | (says.columns if says else {}), typed, faults, FIELD_OF)
    if found.get("voltage_by") != NO_LOAD:
        asked_by_ratio(made)
    return replace(made, aloud=aloud, metered=says or m.metered(*taken))


def understand_known(entries: Mapping[str, Any], meters: Sequence[Meter], simulated: bool) -> Understood:
    """The same of what stands in the form for a known unit."""
    asked = known_fields()
    facts = [one for one in asked if one.kind == "number"]
    usual = m.USUAL | {one.name: one.usual for one in facts}
    numbers = read(entries, m.KEPT_IN | {one.name: one.unit for one in facts} | {"wire": "wire"}, usual)
    found, typed, aloud = numbers.kept, numbers.typed, numbers.aloud
    ohm = found["ohms_read"] = found.get("hv_resistance_ohm")
    faults = m.faults_of(found) | numbers.faults
    columns = {one.name: found.get(one.name) for one in asked} | {"simulated": simulated}
    if columns["rating_basis"] != "guide":  # its factor is asked with it alone
        columns["guide_factor"] = None
    columns["hv_resistance_ohm"] = m.less_null(found, ohm, aloud)
    columns |= _halves(found, aloud)
    for name in ("hv_resistance_ohm", "primary_resistance_ohm"):
        m.four_wire_hint(found, name, found.get(name), aloud)
    columns |= wire_column(typed, aloud, faults)
    says = m.metered(found, found, meters, aloud)
    limbs, window = ([found.get(f"{name}_mm") or 0.0 for name in pair] for pair in (LIMBS_OF, WINDOW_OF))
    shape = found.get("lamination") or ""
    _core_aloud(limbs, shape, window if min(window) > 0 else [], aloud, "stack_mm")
    made = recorded(calib.KnownUnit, columns | says.columns, typed, faults, BY_WIRE)
    return replace(made, aloud=aloud, metered=says)


LIMBS_OF, WINDOW_OF = ("tongue", "stack"), ("window_width", "window_height")


def known_fields() -> tuple[FieldFacts, ...]:
    """The columns that the form for a known unit asks for as they are."""
    return tuple(one for one in calib.fields(calib.KnownUnit) if one.name not in ASKED_OTHERWISE)


def recorded(
    kind: type[KnownUnit] | type[UnknownUnit],
    columns: Mapping[str, Any],
    typed: Mapping[str, Any],
    faults: Mapping[str, str],
    names: Mapping[str, str],
) -> Understood:
    """The record that columns make, or what is missing or wrong at the fields that they came from.

    Parameters
    ----------
    kind : class
        Of the record.
    columns : mapping of str to object
        In the units of the tables, None where empty.
    typed : mapping of str to object
        What stands in the form, numbers read, in the units that they were typed in.
    faults : mapping of str to str
        What is wrong already, by field.
    names : mapping of str to str
        The fields that are not called as their columns are.
    """
    facts = {one.name: one for one in calib.fields(kind)}
    missing: dict[str, str] = {}
    wrong, unusual = dict(faults), dict[str, str]()
    record = None
    try:
        record = kind.parse(columns, where="the form")
    except calib.InputError as error:
        for fault in error.faults:
            name = names.get(fault.column, fault.column)
            said = refused(fault, facts.get(fault.column), typed, name)
            if fault.value:
                wrong.setdefault(name, said)
            elif name not in wrong:
                missing.setdefault(name, f"empty: {said}")
    for one in calib.improbabilities(record) if record is not None else ():
        name = names.get(one.column, one.column)
        _add(unusual, name, doubted(one, facts[one.column], typed, name))
    return Understood(None if wrong else record, missing, wrong, {}, unusual)


def entries_of(columns: Mapping[str, Any], heaters: Sequence[calib.HeaterReading] = ()) -> dict[str, Any]:
    """The home form's entries for a record's columns, whole or not: what `understand` makes of them again.

    Parameters
    ----------
    columns : mapping of str to object
        Of an unknown unit; blank ones are passed over. The supply stands in it or is left as it is in the form.
    heaters : sequence of calib.HeaterReading
        Its heater windings; as many as the form has fields for are taken.
    """
    there = {name: value for name, value in columns.items() if not is_blank(value)}
    if "wire_diameter_mm" in there:  # it counts where both stand
        there.pop("awg", None)
    own = {name: symbols_of(unit)[0] for name, unit in KEPT_IN.items()}
    own["wire"] = "mm" if "wire_diameter_mm" in there else "AWG"
    made = {FIELD_OF.get(name, name): value for name, value in there.items()}
    made = {name: made[name] for name in (*KEPT_IN, *PLAIN, "tag", "conductor", "lamination") if name in made}
    made |= {f"{name}_unit": own[name] for name in made if name in own}
    if "volts_read" in made or "excitation_v" in made:
        made |= {"voltage_by": RATIO_TEST, "volts_across": WHOLE}
    elif "no_load_read" in made:
        made |= {"voltage_by": NO_LOAD, "volts_across": WHOLE}
    if "ohms_read" in made:
        made |= {"ohms_across": WHOLE, "ohm_leads": m.NULL_OFF, "conductor": there.get("conductor", COPPER)}
    for name, meter in (("u_voltage_pct", "voltmeter"), ("u_resistance_pct", "ohmmeter")):
        made |= {meter: m.STATED} if name in made else {}
    if "tongue" in made or "area" in made:
        made["core_by"] = LIMBS if "tongue" in made else AREA
    return made | _heater_entries(made, heaters[:MOST])


def _heater_entries(made: Mapping[str, Any], heaters: Sequence[calib.HeaterReading]) -> dict[str, Any]:
    """Heater windings as if read in the form's ratio test, or without load; none where it holds neither."""
    at_line = made.get("voltage_by") == NO_LOAD
    fed, line = (1.0, 1.0) if at_line else (made.get("excitation_v"), made.get("line_voltage_v"))
    if not heaters or fed is None or line is None:
        return {}
    fields: dict[str, Any] = {"heaters": COUNTS[1 + len(heaters)], "heater_leads": FOUR_WIRES}
    for place, one in enumerate(heaters, start=1):
        fields[f"heater_v_{place}"] = float(f"{one.no_load_v * fed / line:.6g}")
        if not math.isnan(one.reading_ohm):
            fields[f"heater_ohm_{place}"] = one.reading_ohm
            fields |= {} if one.null_ohm is None else {"heater_leads": TWO_LEADS, "heater_null": one.null_ohm}
        if not math.isnan(one.drawn_a):
            fields[f"heater_a_{place}"] = one.drawn_a
    return fields


def asked_by_ratio(made: Understood) -> Understood:
    """The same, with the voltages of a ratio test asked for where the no-load voltage is missing."""
    empty = made.missing.pop(FIELD_OF["no_load_v"], "")
    wanted = [name for name in ("excitation_v", FIELD_OF["hv_v"]) if empty and name not in made.faults]
    made.missing.update(dict.fromkeys(wanted, empty))
    return made


def numbers_of(entries: Mapping[str, Any]) -> Numbers:
    """The home form's numbers, read as they were typed."""
    return read(entries, KEPT_IN, USUAL)


def metal_of(entries: Mapping[str, Any]) -> str:
    """The metal of the winding's wire: copper, unless aluminium is said."""
    return ALUMINIUM if entries.get("conductor") == ALUMINIUM else COPPER


def _add(aloud: dict[str, str], name: str, said: str) -> None:
    aloud[name] = f"{aloud.get(name, '')} {said}".strip()


def _doubled(value: float | None, across: str | None, name: str, unit: str, aloud: dict[str, str]) -> float | None:
    if value is None or across != HALF:
        return value
    _add(aloud, name, f"One half read {value:.6g} {unit}, so the whole winding counts as {2 * value:.6g} {unit}.")
    return 2 * value


def _voltage(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    across = entries.get("volts_across")
    if entries.get("voltage_by") == NO_LOAD:
        return {"no_load_v": _doubled(entries.get("no_load_read"), across, "no_load_read", "V", aloud)}
    whole = _doubled(entries.get("volts_read"), across, "volts_read", "V", aloud)
    return {"excitation_v": entries.get("excitation_v"), "hv_v": whole}


def _resistance(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    m.four_wire_hint(entries, "ohms_read", entries.get("ohms_read"), aloud)
    net = m.less_null(entries, entries.get("ohms_read"), aloud)
    whole = _doubled(net, entries.get("ohms_across"), "ohms_read", "Ω", aloud)
    if whole != net:
        aloud["ohms_read"] += (
            f" Halves commonly differ by 3 to 15 %, so {m.HALVES_U_PCT:g} % is added to its uncertainty: "
            "end to end is the better reading."
        )
    return {"hv_resistance_ohm": whole}


def _halves(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    """The halves read singly, each less the leads' null; with the whole empty their sum is it."""
    net = {name: m.less_null(entries, entries.get(name), aloud, name) for name in HALVES}
    read = [ohm for ohm in net.values() if ohm is not None]
    if entries.get("ohms_read") is None and len(read) == len(HALVES):
        _add(aloud, HALVES[1], f"The halves add up to {sum(read):.6g} Ω for the whole winding.")
    return net


def _as_read(entries: Mapping[str, Any]) -> dict[str, Any]:
    """The readings by the columns that they belong to, each as it was shown, half or whole."""
    told = {column: entries.get(FIELD_OF.get(column, column)) for column in m.READ}
    for name in ("excitation_v", "hv_v") if entries.get("voltage_by") == NO_LOAD else ("no_load_v",):
        told[name] = None
    halves = [ohm for ohm in _halves(entries, {}).values() if ohm is not None]
    if told["hv_resistance_ohm"] is None and len(halves) == len(HALVES):  # as it would have been shown from end to end
        null = entries.get("null_ohm") if entries.get("ohm_leads") == m.NULL else None
        told["hv_resistance_ohm"] = sum(halves) + (null or 0.0)
    return told


def _core(entries: Mapping[str, Any], aloud: dict[str, str]) -> dict[str, Any]:
    if entries.get("core_by") == AREA:
        return {"core_area_cm2": entries.get("area")}
    limbs = [entries.get(name) for name in LIMBS_OF]
    if None in limbs:
        if limbs != [None, None]:
            _add(aloud, "stack", "The core counts once tongue and stack are both there.")
        return {}
    shape = entries.get("lamination") or SCRAPLESS
    window = [value for name in WINDOW_OF if (value := entries.get(name)) is not None and shape != SCRAPLESS]
    if len(window) == 1:
        _add(aloud, "window_height", "The window counts once width and height are both there.")
        window = []
    _core_aloud(limbs, shape, window, aloud, "stack")
    columns = dict(zip(("tongue_mm", "stack_mm", "window_width_mm", "window_height_mm"), limbs + window, strict=False))
    return columns if shape == SCRAPLESS else {"lamination": shape, **columns}


def _core_aloud(limbs: Sequence[Any], shape: str, window: Sequence[float], aloud: dict[str, str], stack: str) -> None:
    """What is understood of tongue and stack, and of the sheets with that tongue."""
    if all(map(FIELDS["tongue_mm"].within, limbs)):
        _add(aloud, stack, f"{words.figure(limbs[0] * limbs[1] / 100)} cm² of core.")
    if limbs[0] > 0 and limbs[1] and all(side > 0 for side in window):
        said = sheets_said(limbs[0], shape, (window[0], window[1]) if window else None)
        aloud |= {"lamination": said} if said else {}


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
    tongue = entries.get("tongue") if entries.get("core_by") != AREA else None
    return windings.rest_warning(entries.get("rest_h"), tongue, metal_of(entries))


@dataclass(frozen=True)
class HeatersRead:
    """What the home form's entries of the heater windings amount to.

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
    numbers = _heater_numbers(entries, count)
    aloud, wrong = (
        {n: one for n, one in said.items() if n.startswith("heater_")} for said in (numbers.aloud, numbers.faults)
    )
    entries, faults, found = numbers.kept, _beyond(numbers.kept, count) | wrong, []
    fed, line = _number(entries.get("excitation_v")), _number(entries.get("line_voltage_v"))
    scale = 1.0 if at_line else line / fed if fed > 0 and line > 0 else math.nan
    null = None if entries.get("heater_leads") != TWO_LEADS else _number(entries.get("heater_null"), 0.0)
    for number in range(1, count + 1):
        volts = _number(entries.get(f"heater_v_{number}"))
        if math.isnan(volts * scale) or any(name.endswith(f"_{number}") for name in faults):
            continue
        if not at_line:
            said = f"{volts:.4g} V in the ratio test is {volts * scale:.4g} V at the line."
            _add(aloud, f"heater_v_{number}", said)
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


def _heater_numbers(entries: Mapping[str, Any], count: int) -> Numbers:
    """The numbers that the windings hang on, read as they were typed; of other fields it is said where they stand."""
    units = {"excitation_v": "V", "line_voltage_v": "V", "winding_temp_c": "°C", "heater_null": "Ω"}
    usual: dict[str, tuple[float, float] | None] = {name: USUAL[name] for name in ("excitation_v", "line_voltage_v")}
    usual["heater_null"] = LIMITS["ohm"][:2]
    for number in range(1, count + 1):
        for kind, (low, high, unit) in LIMITS.items():
            units[f"heater_{kind}_{number}"], usual[f"heater_{kind}_{number}"] = unit, (low, high)
    return read(entries, units, usual)


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


def _number(value: Any, otherwise: float = math.nan) -> float:
    return otherwise if value is None else float(value)
