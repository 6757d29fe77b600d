"""From records to features where the records are a table of a database: features.features_of as Ibis expressions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench import core, ratio_test, resistance, uncertainty, wire
from calib.fitting.features import (
    ALUMINIUM_SHIFT,
    CENTRE_AREA_CM2,
    CENTRE_FREQUENCY_HZ,
    CENTRE_V_OVER_R,
    CENTRE_VOLTS,
    PAIRS,
    RATIO_TEST,
)
from calib.fitting.model import GRADE_NAMES, Imputation
from calib.fitting.prior import MAIN
from calib.register.fields import FieldFacts
from calib.register.records import HALVES, READ_BY_RULES, WHOLE, KnownUnit, contradictions, fields

if TYPE_CHECKING:
    import ibis

NUMBERS = (
    *("rated_current_ma", "line_frequency_hz", *RATIO_TEST, "no_load_v"),
    *("hv_resistance_ohm", *HALVES, "winding_temp_c", "u_voltage_pct", "u_resistance_pct"),
    *("tongue_mm", "stack_mm", "core_area_cm2", "awg", "wire_diameter_mm"),
)
TEXTS = ("contributor", "unit", "evidence", "rectifier", "filter", "conductor")
BARE, CORED, WIRED = range(3)  # what is known of a record beside V/R: nothing, the core, the core and the wire
SIZES = len(core.SIZE_CLASS_LABELS) + 1  # 0 stands for no core
# What a pass reads of each record, and the step in which it is held, so that every engine holds the same.
FINE, FINER = 2.0**-20, 2.0**-30
HELD = dict.fromkeys(("core", "frequency", "v_over_r", "voltage", "wire", "yielded", "core_off"), FINE)
HELD |= {"reading_variance": FINER}


def features_expression(table: ibis.Table) -> ibis.Table:
    """Features of known units as columns of a table.

    Parameters
    ----------
    table : ibis.Table
        Known units with the contract's columns, blanks NULL; a column that is not there is blank throughout.

    Returns
    -------
    ibis.Table
        One row a record: contributor, unit; grade, pair (places in GRADE_NAMES and PAIRS, -1 for what is not there);
        size (size class 1 to 7, 0 without a core); core, frequency, v_over_r, voltage, wire and reading_variance as in
        features.Features; yielded (its response less LN_FORM of the pair). NULL where not known.
    """
    import ibis

    known: dict[str, Any] = {name: _number(table, name) for name in NUMBERS}
    text = {name: text_of(table, name) for name in TEXTS}
    aluminium = text["conductor"] == "aluminium"
    zero = ibis.ifelse(aluminium, resistance.INFERRED_ZERO_C["aluminium"], resistance.INFERRED_ZERO_C["copper"])
    whole = ibis.coalesce(known["hv_resistance_ohm"], known[HALVES[0]] + known[HALVES[1]])
    ohm = resistance.resistance_at(whole, known["winding_temp_c"], 20.0, zero)
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
        yielded=known["rated_current_ma"].ln() - ln_ratio + metal,
    )


def cell_of(code: Any, grade: Any, pair: Any, size: Any) -> Any:
    """Number of a cell: of arrays or of columns of a table."""
    return ((code * len(GRADE_NAMES) + grade) * len(PAIRS) + pair) * SIZES + size


def prepared(features: ibis.Table, codes: ibis.Table, imputation: Imputation) -> ibis.Table:
    """What every pass reads of each record, in few and short columns.

    Parameters
    ----------
    features : ibis.Table
        As :func:`features_expression` gives it.
    codes : ibis.Table
        contributor, and its place as `code`.
    imputation : Imputation
        The side regressions.

    Returns
    -------
    ibis.Table
        cell (contributor, evidence, supply and size class in one number; NULL for a record that has no place), kind,
        and in the steps of HELD: the covariates of main with blanks filled by expectation, yielded, reading_variance,
        and core_off (departure of the core, 0 without).
    """
    import ibis

    rows = features.join(codes, "contributor")
    cell = cell_of(rows["code"], rows["grade"], rows["pair"], rows["size"]).cast("int32")
    kind = ibis.cases((rows["core"].isnull(), BARE), (rows["wire"].isnull(), CORED), else_=WIRED)
    core, wire = imputation.core, imputation.wire
    rows = rows.select(
        "frequency",
        "v_over_r",
        "voltage",
        "wire",
        "yielded",
        "reading_variance",
        kind=kind.cast("int8"),
        cell=ibis.ifelse((rows["grade"] >= 0) & (rows["pair"] >= 0), cell, ibis.null("int32")),
        measured=rows["core"],
        expected=linear(core.terms, rows, MAIN[2:5]),
    )
    rows = rows.mutate(core=ibis.coalesce(rows["measured"], rows["expected"]))
    rows = rows.mutate(
        core_off=ibis.coalesce(rows["measured"] - rows["expected"], 0.0),
        wire_off=ibis.ifelse(rows["kind"] == WIRED, rows["wire"] - linear(wire.terms, rows, MAIN[1:5]), 0.0),
    )
    values = {**{name: rows[name] for name in HELD}, "wire": rows["wire_off"]}
    held = {name: whole_steps(values[name], step).cast("int32") for name, step in HELD.items()}
    return rows.select("cell", "kind", **held)


def whole_steps(value: Any, step: float) -> Any:
    """The nearest whole number of steps."""
    return (value * (1 / step) + 0.5).floor()


def linear(terms: np.ndarray, rows: ibis.Table, names: tuple[str, ...]) -> Any:
    """A constant and terms times columns of these names."""
    return sum((rows[name] * float(term) for name, term in zip(names, terms[1:], strict=True)), start=float(terms[0]))


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
        if one.name == WHOLE and {*HALVES} <= {*table.columns}:
            wrong = wrong | ~(filled | (table[HALVES[0]] + table[HALVES[1]]).notnull())
        elif one.needed:
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
    return cell.notnull() if facts.kind in ("number", "flag", "date") else text_of(table, facts.name) != ""


def _right(table: ibis.Table, facts: FieldFacts) -> Any:
    """Whether a cell that is filled is within its limits or one of its choices."""
    import ibis

    if facts.kind == "choice":
        return text_of(table, facts.name).isin(facts.choices)
    if facts.kind != "number" or facts.low is None or facts.high is None:
        return ibis.literal(True)
    value = _number(table, facts.name)
    return facts.within(value)


def _number(table: ibis.Table, name: str) -> Any:
    import ibis

    return table[name].cast("float64") if name in table.columns else ibis.null("float64")


def text_of(table: ibis.Table, name: str) -> Any:
    """A column of words, blank where there is none."""
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
