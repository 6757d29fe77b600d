"""From records to facts where the records are a table of a database: what rows.facts does, as Ibis expressions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench import core, ratio_test, resistance, uncertainty, wire
from calib.fitting.effects import GRADE_NAMES
from calib.fitting.rows import (
    ALUMINIUM_SHIFT,
    CENTRE_AREA_CM2,
    CENTRE_FREQUENCY_HZ,
    CENTRE_V_OVER_R,
    CENTRE_VOLTS,
    PAIRS,
)
from calib.register.fields import FieldFacts
from calib.register.records import READ_BY_RULES, KnownUnit, contradictions, fields
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import ibis

NUMBERS = (
    "rated_current_ma",
    "line_voltage_v",
    "line_frequency_hz",
    "excitation_v",
    "hv_v",
    "no_load_v",
    "hv_resistance_ohm",
    "winding_temp_c",
    "tongue_mm",
    "stack_mm",
    "core_area_cm2",
    "awg",
    "wire_diameter_mm",
    "u_voltage_pct",
    "u_resistance_pct",
)
TEXTS = ("contributor", "unit", "evidence", "rectifier", "filter", "conductor")
LN_FORM = np.log([FORM_FACTOR[pair][0] for pair in PAIRS])


def facts_expression(table: ibis.Table) -> ibis.Table:
    """Facts of known units as columns of a table.

    Parameters
    ----------
    table : ibis.Table
        Known units with the contract's columns, blanks NULL; a column that is not there is blank throughout.

    Returns
    -------
    ibis.Table
        One row a record: contributor, unit; grade, pair (places in GRADE_NAMES and PAIRS, -1 for what is not there);
        size (size class 1 to 7, 0 without a core); core, frequency, v_over_r, voltage, wire and reading_variance as in
        :class:`calib.fitting.rows.Facts`; metal (what Facts.form holds beside the ln of the supply's form factor);
        yielded (Facts.response less that ln, LN_FORM of the pair). NULL where not known.
    """
    import ibis

    known: dict[str, Any] = {name: _number(table, name) for name in NUMBERS}
    text = {name: _text(table, name) for name in TEXTS}
    aluminium = text["conductor"] == "aluminium"
    zero = ibis.ifelse(aluminium, resistance.INFERRED_ZERO_C["aluminium"], resistance.INFERRED_ZERO_C["copper"])
    ohm = resistance.resistance_at(known["hv_resistance_ohm"], known["winding_temp_c"], 20.0, zero)
    tested = ratio_test.no_load_voltage(known["excitation_v"], known["hv_v"], known["line_voltage_v"])
    volts = ibis.coalesce(tested, known["no_load_v"])
    area = ibis.coalesce(core.core_area_cm2(known["tongue_mm"], known["stack_mm"]), known["core_area_cm2"])
    diameter = ibis.coalesce(known["wire_diameter_mm"], wire.awg_diameter_mm(known["awg"]))
    conductance = resistance.RESISTIVITY_OHM_M["copper"] / resistance.RESISTIVITY_OHM_M["aluminium"]
    ln_ratio = (volts / ohm).ln()
    metal = ibis.ifelse(aluminium, -ALUMINIUM_SHIFT, 0.0)
    u_voltage = ibis.coalesce(known["u_voltage_pct"], uncertainty.DEFAULT_U_VOLTAGE_PCT) / 100
    u_resistance = ibis.coalesce(known["u_resistance_pct"], uncertainty.DEFAULT_U_RESISTANCE_PCT) / 100
    return table.select(
        contributor=text["contributor"],
        unit=text["unit"],
        grade=_place(text["evidence"], GRADE_NAMES),
        pair=_pair(text["rectifier"], text["filter"]),
        size=_size(area),
        core=(area / CENTRE_AREA_CM2).ln(),
        frequency=(known["line_frequency_hz"] / CENTRE_FREQUENCY_HZ).ln(),
        v_over_r=ln_ratio - float(np.log(CENTRE_V_OVER_R)),
        voltage=(volts / CENTRE_VOLTS).ln(),
        wire=(wire.wire_area_mm2(diameter) * ibis.ifelse(aluminium, conductance, 1.0)).ln(),
        reading_variance=u_voltage * u_voltage + u_resistance * u_resistance,
        metal=metal,
        yielded=known["rated_current_ma"].ln() - ln_ratio + metal,
    )


def faulty(table: ibis.Table, run: Any) -> Any:
    """Which known units of a table must be looked at one by one, as an expression; None where each is plainly sound.

    Parameters
    ----------
    table : ibis.Table
        Known units with the contract's columns, blanks NULL.
    run : callable
        Runs an expression, giving a data frame: one pass over the table.

    Notes
    -----
    Limits, choices, needed cells, and the rules between fields, which are asked once of each pattern of filled cells.
    """
    import ibis

    known = [one for one in fields(KnownUnit) if one.name in table.columns]
    wrong, pattern, shift = ibis.literal(False), ibis.literal(0, "int64"), 1
    places: dict[str, tuple[int, tuple[Any, ...]]] = {}
    for one in known:
        cell, filled = table[one.name], _filled(table, one)
        wrong = wrong | ~_right(table, one).fill_null(False) & filled
        if one.needed:
            wrong = wrong | ~filled
        values: tuple[Any, ...] = (True,)
        code = filled.ifelse(1, 0)
        if one.name in READ_BY_RULES:
            values = one.choices if one.kind == "choice" else (True, False)
            cell = cell.cast("string" if one.kind == "choice" else "boolean")
            code = ibis.cases(*((cell == value, at) for at, value in enumerate(values, 1)), else_=0)
        pattern = pattern + code.cast("int64") * shift
        places[one.name], shift = (shift, values), shift * (len(values) + 1)
    found = run(table.group_by(pattern=pattern).aggregate(wrong=wrong.cast("int64").sum()))
    contradicted = [one for one in found["pattern"].tolist() if contradictions(_decoded(one, places))]
    if not contradicted and not found["wrong"].any():
        return None
    return (wrong | pattern.isin(contradicted)) if contradicted else wrong


def _decoded(pattern: int, places: dict[str, tuple[int, tuple[Any, ...]]]) -> dict[str, object]:
    """What a pattern says is filled in, and with which of the words that the rules read."""
    codes = {name: pattern // shift % (len(values) + 1) for name, (shift, values) in places.items()}
    return {name: places[name][1][code - 1] for name, code in codes.items() if code}


def _filled(table: ibis.Table, facts: FieldFacts) -> Any:
    cell = table[facts.name]
    return cell.notnull() if facts.kind in ("number", "flag", "date") else _text(table, facts.name) != ""


def _right(table: ibis.Table, facts: FieldFacts) -> Any:
    """Whether a cell that is filled is within its limits or one of its choices."""
    import ibis

    if facts.kind == "choice":
        return _text(table, facts.name).isin(facts.choices)
    if facts.kind != "number" or facts.low is None or facts.high is None:
        return ibis.literal(True)
    value = _number(table, facts.name)
    return facts.within(value)


def _number(table: ibis.Table, name: str) -> Any:
    import ibis

    return table[name].cast("float64") if name in table.columns else ibis.null("float64")


def _text(table: ibis.Table, name: str) -> Any:
    import ibis

    return ibis.coalesce(table[name].cast("string"), "") if name in table.columns else ibis.literal("")


def _place(value: Any, names: tuple[str, ...]) -> Any:
    return value.cases(*((name, place) for place, name in enumerate(names)), else_=-1)


def _pair(rectifier: Any, filter: Any) -> Any:
    """Place in PAIRS, by rectifier first, so that few texts are compared for each record."""
    import ibis

    first = dict.fromkeys(name for name, _ in PAIRS)
    within = {
        name: filter.cases(*((pair[1], place) for place, pair in enumerate(PAIRS) if pair[0] == name), else_=-1)
        for name in first
    }
    return ibis.cases(*((rectifier == name, within[name]) for name in first), else_=-1)


def _size(area: Any) -> Any:
    import ibis

    edges = list(enumerate(core.SIZE_CLASSES[1:-1], 1))
    return ibis.cases((area.isnull(), 0), *((area < edge, size) for size, edge in edges), else_=len(edges) + 1)
