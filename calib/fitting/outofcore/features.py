"""From records to features where the records are a table of a database: features.features_of as Ibis expressions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench import core, ratio_test, resistance, uncertainty, wire
from calib.fitting.features import (
    AC,
    ALUMINIUM_SHIFT,
    CENTRE_AREA_CM2,
    CENTRE_FREQUENCY_HZ,
    CENTRE_V_OVER_R,
    CENTRE_VOLTS,
    COARSE_FROM_PCT,
    CORE,
    ERAS,
    LAST_OLD_YEAR,
    PAIRS,
    RATIO_TEST,
    READINGS,
)
from calib.fitting.gross_errors import PatternEffects
from calib.fitting.imputation import Imputation, SideRegression
from calib.fitting.model import GRADE_NAMES, MOST_NAMES, Design
from calib.fitting.prior import HANGING, MAIN, Prior
from calib.register.fields import FieldFacts
from calib.register.records import HALVES, READ_BY_RULES, WHOLE, KnownUnit, contradictions, fields

if TYPE_CHECKING:
    import ibis

NUMBERS = (
    *("rated_current_ma", "line_frequency_hz", *RATIO_TEST, "no_load_v"),
    *("hv_resistance_ohm", *HALVES, "winding_temp_c", "u_voltage_pct", "u_resistance_pct"),
    *("tongue_mm", "stack_mm", "core_area_cm2", "awg", "wire_diameter_mm"),
    *("primary_resistance_ohm", "u_primary_pct", "weight_kg", "guide_factor", "made_year"),
)
TEXTS = (
    *("contributor", "unit", "evidence", "rectifier", "filter", "conductor", "rating_basis"),
    *("maker", "transformer", "lamination", "kept"),
)
# What may be known of a record beside V and V/R: its kind has a bit for each that is, and two of Features.coarse.
BESIDE = READINGS[CORE:]
KINDS = 1 << len(BESIDE) + 2
SIZES = len(core.SIZE_CLASS_LABELS) + 1  # 0 stands for no core
# What a pass reads of each record, and the step in which it is held, so that every engine holds the same.
FINE, FINER = 2.0**-20, 2.0**-30
HELD = dict.fromkeys((*MAIN[1:], "yielded", "says_ratio", "says_volts", "counts"), FINE)
HELD |= {"reading_variance": FINER}


def pattern_of(kind: int) -> np.ndarray:
    """What is known of the records of a kind, and how well, as Features.pattern has it, shape (8,)."""
    return np.array([True] * CORE + [bool(kind >> bit & 1) for bit in range(len(BESIDE) + 2)])


def features_expression(table: ibis.Table) -> ibis.Table:
    """Features of known units as columns of a table.

    Parameters
    ----------
    table : ibis.Table
        Known units with the contract's columns, blanks NULL; a column that is not there is blank throughout.

    Returns
    -------
    ibis.Table
        One row a record: contributor, unit, maker, kept (0 or 1), era (place in ERAS); grade, pair (places in
        GRADE_NAMES and PAIRS, -1 for what is not there); size (size class 1 to 7, 0 without a core); frequency, each of
        READINGS, reading_variance, coarse and counts as in features.Features; yielded (its response less LN_FORM of the
        pair). NULL where not known.
    """
    import ibis

    table = _counted(table)
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
    guide = text["rating_basis"] == "guide"
    current = ibis.ifelse(guide, known["rated_current_ma"] / known["guide_factor"], known["rated_current_ma"])
    primary = resistance.resistance_at(known["primary_resistance_ohm"], known["winding_temp_c"], 20.0, zero)
    line = known["line_voltage_v"]
    return table.select(
        contributor=text["contributor"],
        unit=text["unit"],
        maker=text["maker"].strip().lower(),
        kept=(text["kept"] != "").ifelse(1, 0),
        era=(known["made_year"].fill_null(0) > LAST_OLD_YEAR).ifelse(1, 0),
        grade=_place(text["evidence"], GRADE_NAMES),
        pair=ibis.ifelse(guide, AC, _pair(text["rectifier"], text["filter"])),
        size=_size(area),
        core=(area / CENTRE_AREA_CM2).ln(),
        frequency=(known["line_frequency_hz"] / CENTRE_FREQUENCY_HZ).ln(),
        v_over_r=ln_ratio - float(np.log(CENTRE_V_OVER_R)),
        voltage=(volts / CENTRE_VOLTS).ln(),
        wire=(wire.wire_area_mm2(diameter) * ibis.ifelse(aluminium, conductance, 1.0)).ln(),
        primary=(line * line / (primary * volts) / CENTRE_V_OVER_R).ln(),
        weight=known["weight_kg"].ln(),
        coarse=sum(((known["u_primary_pct"] >= low).fill_null(False).ifelse(1, 0) for low in COARSE_FROM_PCT), start=0),
        reading_variance=_reading_variance(known),
        yielded=current.ln() - ln_ratio + metal,
        counts=table["counts"],
    )


def _reading_variance(known: Mapping[str, Any]) -> Any:
    import ibis

    u_voltage = ibis.coalesce(known["u_voltage_pct"], uncertainty.DEFAULT_U_VOLTAGE_PCT) / 100
    u_resistance = ibis.coalesce(known["u_resistance_pct"], uncertainty.DEFAULT_U_RESISTANCE_PCT) / 100
    return u_voltage * u_voltage + u_resistance * u_resistance


def _counted(table: ibis.Table) -> ibis.Table:
    """The table with `counts` of features.Features beside: only the few transformers of several windings are joined."""
    import ibis

    if "transformer" not in table.columns:
        return table.mutate(counts=ibis.literal(1.0))
    tagged = table.filter(text_of(table, "transformer") != "").group_by("contributor", "transformer")
    several = tagged.aggregate(windings=lambda one: one.count()).filter(lambda one: one["windings"] > 1)
    joined = table.left_join(several, ["contributor", "transformer"])
    return joined.mutate(counts=1.0 / ibis.coalesce(joined["windings"], 1))


RADIX = (MOST_NAMES + 1, len(ERAS), len(GRADE_NAMES), len(PAIRS), SIZES, 2)


def cell_of(code: Any, *parts: Any) -> Any:
    """Number of a cell by contributor, maker, era, grade, pair, size and kept: of arrays or of columns of a table."""
    for part, radix in zip(parts, RADIX, strict=True):
        code = code * radix + part
    return code


def parts_of(cell: np.ndarray) -> list[np.ndarray]:
    """Contributor, maker, era, grade, pair and size of cells, and whether their records were found right."""
    parts = []
    for radix in reversed(RADIX):
        cell, part = np.divmod(cell, radix)
        parts.append(part)
    return [cell, *reversed(parts)]


def prepared(features: ibis.Table, design: Design, imputation: Imputation, prior: Prior) -> ibis.Table:
    """What every pass reads of each record, in few and short columns.

    Parameters
    ----------
    features : ibis.Table
        As :func:`features_expression` gives it.
    design : Design
        Whose contributors and makers are told apart.
    imputation, prior
        The side regressions, and the prior whose terms carry a slip through them.

    Returns
    -------
    ibis.Table
        cell (contributor, maker, era, evidence, supply, size class and whether kept in one number; NULL for a record
        that has no place), kind, and in the steps of HELD: the covariates of main with blanks filled by expectation,
        yielded, reading_variance, counts, and what the readings beside V and V/R say of a step of these
        (PatternEffects.towards).
    """
    import ibis

    rows = features
    for name, levels in (("contributor", design.contributors), ("maker", design.makers)):
        codes = ibis.memtable({f"{name}_key": [*levels, ""], f"{name}_code": list(range(len(levels) + 1))})
        rows = rows.left_join(codes, rows[name] == codes[f"{name}_key"])
    strangers = {"contributor_code": len(design.contributors), "maker_code": len(design.makers)}
    parts = [rows[name].fill_null(stranger) for name, stranger in strangers.items()]
    parts += [rows[name] for name in ("era", "grade", "pair", "size", "kept")]
    cell = cell_of(*(part.cast("int64") for part in parts))
    kind = sum((rows[name].notnull().ifelse(1 << bit, 0) for bit, name in enumerate(BESIDE)), start=0)
    kind += rows["primary"].notnull().ifelse(1, 0) * rows["coarse"].cast("int64") * (1 << len(BESIDE))
    rows = rows.mutate(
        kind=kind.cast("int8"),
        cell=ibis.ifelse((rows["grade"] >= 0) & (rows["pair"] >= 0), cell, ibis.null("int64")),
    )
    rows = rows.join(ibis.memtable(_gains(imputation, prior)), "kind")
    rows = rows.mutate(expected_core=linear(imputation.core, rows, {"core": "expected_core"}))
    others = {name: linear(getattr(imputation, name), rows, {"core": "expected_core"}) for name in BESIDE[1:]}
    rows = rows.mutate(**{f"expected_{name}": value for name, value in others.items()})
    rows = rows.mutate(**{f"{name}_off": ibis.coalesce(rows[name] - rows[f"expected_{name}"], 0.0) for name in BESIDE})

    def gained(name: str) -> Any:
        return sum((rows[f"{name} {one}"] * rows[f"{one}_off"] for one in BESIDE), start=0.0)

    values = {**{name: rows[name] for name in HELD if name in rows.columns}}
    values |= {name: gained(name) for name in (*BESIDE, "says_ratio", "says_volts")}
    values["core"] = rows["expected_core"] + values["core"]
    held = {name: whole_steps(values[name], 1 / step).cast("int32") for name, step in HELD.items()}
    return rows.select("cell", "kind", **held)


def _gains(imputation: Imputation, prior: Prior) -> dict[str, np.ndarray]:
    """For each kind how columns of the design, and what says something of V and R, follow from the departures."""
    columns: dict[str, list[float]] = {}
    for kind in range(KINDS):
        pattern = pattern_of(kind)
        gain = dict(zip([MAIN[at] for at in HANGING], imputation.gain(pattern)[0], strict=True))
        says = PatternEffects.of(pattern, imputation, prior).towards
        follow = {**{name: gain[name] for name in BESIDE}, "says_ratio": says[0], "says_volts": says[1]}
        for name, row in follow.items():
            for one, value in zip(BESIDE, row[CORE:], strict=True):
                columns.setdefault(f"{name} {one}", []).append(float(value))
    return {"kind": np.arange(KINDS, dtype=np.int8), **{name: np.array(one) for name, one in columns.items()}}


def whole_steps(value: Any, steps: Any) -> Any:
    """The nearest whole number of steps, of which so many are 1."""
    return (value * steps + 0.5).floor()


def linear(one: SideRegression, rows: ibis.Table, instead: Mapping[str, str]) -> Any:
    """What a regression leads one to expect by columns of these names, or those instead; of the wire no departure."""
    terms = {name: float(term) for name, term in zip(one.names, one.terms, strict=True) if name != "wire"}
    start = terms.pop("one")
    return sum((rows[instead.get(name, name)] * term for name, term in terms.items()), start=start)


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
    found = run(table.group_by(pattern=pattern).aggregate(wrong=wrong.ifelse(1, 0).sum()))
    contradicted = [one for one in found["pattern"].tolist() if contradictions(_decoded(one, places), KnownUnit)]
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
