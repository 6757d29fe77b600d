"""The parts of a unit's sheet, each made from what stands behind it: readings, facts, estimate."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from calib import bench, words
from calib.fitting.features import features_of
from calib.paper.layout import SAYS, Block
from calib.paper.picture import Mark
from calib.register.fields import FIELDS
from calib.register.frame import frame_of
from calib.session.readings import heater_rows
from calib.session.steps import Fact, symbols

if TYPE_CHECKING:
    import pandas as pd

    from calib.estimate.unit import UnitEstimate
    from calib.register.records import Unit
    from calib.session.meters import Metered

FIGURE, TITLES = SAYS["figure"], SAYS["block"]
# The record's columns by the part of the sheet that they stand in; those that are said elsewhere stand in none.
READ = (
    *("line_voltage_v", "line_frequency_hz", "excitation_v", "hv_v", "no_load_v", "u_voltage_pct"),
    *("hv_resistance_ohm", "winding_temp_c", "u_resistance_pct", "hv_half_1_ohm", "hv_half_2_ohm"),
    *("primary_resistance_ohm", "u_primary_pct", "weight_kg"),
)
OF_CORE = (
    *("tongue_mm", "stack_mm", "core_area_cm2", "lamination", "window_width_mm", "window_height_mm"),
    *("conductor", "awg", "wire_diameter_mm"),
)
OF_ORIGIN = (
    *("rated_current_ma", "evidence", "rating_basis", "guide_factor", "rectifier", "filter", "centre_tapped"),
    *("maker", "made_year", "transformer", "recorded_on", "kept"),
)
PART_SHOWN = 0.01  # a part below this share of the variance is left out of the account
IF_BLANK = {"conductor": "copper, as nothing else is said"}


def shown(name: str, value: object) -> str:
    """A column's value as the sheet writes it: choices in words, numbers with their unit."""
    facts = FIELDS[name]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{words.figure(value, 2)} %" if name.startswith("u_") else f"{value:.6g} {symbols(facts.unit)}".rstrip()
    return facts.names.get(str(value), str(value)) if facts.said else str(value)


def _rows(columns: Mapping[str, Any], names: Iterable[str]) -> tuple[tuple[str, str], ...]:
    there = [(name, columns.get(name) or IF_BLANK.get(name)) for name in names]
    return tuple(
        (FIELDS[name].label, shown(name, value)) for name, value in there if value not in (None, "") and value == value
    )


def of_columns(columns: Mapping[str, Any]) -> tuple[Block, ...]:
    """Readings, core and wire, supply and origin, notes, as far as the columns are filled in."""
    parts = [("readings", READ), ("core", OF_CORE), ("facts", OF_ORIGIN)]
    found = [Block(TITLES[part], _rows(columns, names)) for part, names in parts]
    if notes := str(columns.get("notes") or ""):
        found.append(Block(TITLES["notes"], said=(notes,)))
    return tuple(one for one in found if one.rows or one.said)


def of_facts(facts: Sequence[Fact]) -> tuple[Block, ...]:
    """What was established, each figure with its standard uncertainty and that in per cent."""
    rows = []
    for one in facts:
        value, u, share = one.shown
        rows.append((one.name, f"{value} ± {u} {one.unit} ({share})" if u else f"{value} {one.unit}".rstrip()))
    return (Block(TITLES["established"], tuple(rows)),) if rows else ()


def facts_of(record: Unit) -> list[Fact]:
    """What a record's readings come to, with the uncertainties that it states, or those of usual meters."""
    rows = features_of(frame_of(type(record), [record])).frame.iloc[0]
    shares = (
        bench.DEFAULT_U_VOLTAGE_PCT if record.u_voltage_pct is None else record.u_voltage_pct,
        bench.DEFAULT_U_RESISTANCE_PCT if record.u_resistance_pct is None else record.u_resistance_pct,
    )
    told = (
        ("no_load", "no_load_v", "V", shares[0]),
        ("resistance", "resistance_ohm", "Ω", shares[1]),
        ("v_over_r", "v_over_r", "V/Ω", math.hypot(*shares)),
    )
    found = []
    for name, column, unit, share in told:
        value = float(rows[column])
        if math.isfinite(value):
            found.append(Fact(FIGURE[name], value, value * share / 100.0, unit, ""))
    area = float(rows["core_area_cm2"])
    return [*found, *([Fact(FIGURE["area"], area, math.nan, "cm²", "")] if math.isfinite(area) else [])]


def working_rows(table: pd.DataFrame) -> tuple[tuple[str, str, str], ...]:
    """Step, how and what it gives, as the pages write them."""
    rows = []
    for line in table.to_dict("records"):
        value, unit = line["value"], words.symbols(line["unit"])
        gives = f"× {value:.5f}" if unit == "×" else f"{words.figure(float(value), 4)} {unit}".rstrip()
        rows.append((line["step"], words.symbols(line["formula"]), gives))
    return tuple(rows)


def sentence_of(answer: Mapping[str, Any], level: float) -> str:
    """What a unit can give, in a sentence."""
    told = {name: words.milliamps(float(answer[f"{name}_ma"])) for name in ("low", "high", "floor")}
    likely = words.milliamps(float(answer["rated_current_ma"]))
    return str(SAYS["finding"]["likely"].format(likely=likely, share=words.share(level), ratio=ratio_of(level), **told))


def other_of(estimate: UnitEstimate, filter_input: str) -> str:
    """The same with the other filter; blank where there is none, or no current is told."""
    says = SAYS["finding"].get(f"other_{'choke' if filter_input == 'capacitor' else 'capacitor'}", "")
    if not len(estimate.other) or not math.isfinite(float(estimate.other["rated_current_ma"].iloc[0])):
        return ""
    said = sentence_of({str(name): value for name, value in estimate.other.iloc[0].items()}, estimate.level)
    return str(says.format(said=f"{said[0].lower()}{said[1:]}"))


def slip_of(answer: Mapping[str, Any]) -> str:
    """The likeliest slip and what its repair would give; blank where the readings are sound."""
    if not answer["likely_slip"]:
        return ""
    names = ("repaired_ma", "repaired_low_ma", "repaired_high_ma")
    likely, low, high = (words.milliamps(float(answer[name])) for name in names)
    return str(SAYS["finding"]["slip"].format(slip=answer["likely_slip"], likely=likely, low=low, high=high))


def ratio_of(level: float) -> str:
    return words.share(level).replace(" units", "")


def marks_of(answer: Mapping[str, Any], level: float, more: Mapping[str, float]) -> tuple[Mark, ...]:
    """The currents that the picture names: likely and floor, and of more those that are known, by kind [mA]."""
    told = {"likely": float(answer["rated_current_ma"]), "floor": float(answer["floor_ma"]), **more}
    return tuple(
        Mark(kind, SAYS["mark"][kind].format(at=words.milliamps(at), ratio=ratio_of(level)), at)
        for kind, at in told.items()
        if math.isfinite(at)
    )


def figures_of(answer: Mapping[str, Any], level: float, asked: float) -> list[tuple[str, str]]:
    """The chief figures of an estimate, each with its label."""
    ratio, rows = ratio_of(level), []
    if math.isfinite(float(answer["rated_current_ma"])):
        low, likely, high, floor = (
            f"{words.milliamps(float(answer[name]))}" for name in ("low_ma", "rated_current_ma", "high_ma", "floor_ma")
        )
        rows = [(FIGURE["likely"], f"{likely} mA"), (FIGURE["interval"].format(ratio=ratio), f"{low} to {high} mA")]
        rows.append((FIGURE["floor"].format(ratio=ratio), f"{floor} mA"))
        if math.isfinite(asked):
            rows.append((FIGURE["asked"], f"{words.milliamps(asked)} mA"))
            rows.append((FIGURE["odds"], words.odds(float(answer["odds_of_demand"]))))
    for name, column, unit in (
        ("no_load", "no_load_v", "V"),
        ("v_over_r", "v_over_r", "V/Ω"),
        ("own", "unit_multiplier", "mA per V/Ω"),
    ):
        if math.isfinite(value := float(answer[column])):
            rows.append((FIGURE[name], f"{words.figure(value, 4)} {unit}"))
    if answer["size_class"]:
        mean = [words.figure(float(answer[name]), 4) for name in ("multiplier", "multiplier_low", "multiplier_high")]
        rows.append((FIGURE["mean"].format(size_class=answer["size_class"]), f"{mean[0]} ({mean[1]} to {mean[2]})"))
    rows.append((FIGURE["sound"], words.odds(float(answer["odds_sound"]))))
    return [*rows, (FIGURE["stands"], words.predictors(str(answer["predictors"])))]


def row_of(estimate: UnitEstimate) -> dict[str, Any]:
    """The estimate's row of the table of estimates."""
    return {str(name): value for name, value in estimate.answer.iloc[0].items()}


def of_estimate(estimate: UnitEstimate) -> tuple[Block, ...]:
    """What is to be known of an estimate, and how its readings speak."""
    answer = row_of(estimate)
    know = [f"{FIELDS[one.column].label}: {one.why}" for one in estimate.improbable]
    know += [*words.flags(str(answer["flags"])), *(FIGURE["unused"].format(what=one) for one in estimate.unused)]
    know += [words.symbols(one) for one in estimate.supply]
    blocks = [Block(TITLES["know"], said=tuple(words.sentence(one) for one in know))] if know else []
    if estimate.heaters is not None and estimate.heaters.windings:
        rows = tuple((f"{name}, {volts}, {ohm}", told) for name, volts, ohm, told in heater_rows(estimate.heaters))
        blocks.append(Block(TITLES["heaters"], rows))
    for title, table, column in (
        ("narrowing", estimate.narrowing, "reading"),
        ("opinions", estimate.opinions, "predictors"),
        ("repairs", estimate.repairs, "slip"),
    ):
        if len(table) > 1 or title == "repairs" and len(table):
            one_row = _narrowed if title == "narrowing" else _span
            spans = [one_row(one, column, at) for at, one in enumerate(table.to_dict("records"))]
            said = (SAYS["narrowing"],) if title == "narrowing" else ()
            blocks.append(Block(TITLES[title], tuple(spans), said))
    return tuple(blocks)


def of_meters(metered: Metered) -> tuple[Block, ...]:
    """How sure V/R is, and what makes it so; nothing where it is not known yet."""
    rows = [
        (part.source, f"{words.figure(part.u_pct, 2)} %, {words.percent(part.share)} of it")
        for part in metered.parts
        if part.share >= PART_SHOWN
    ]
    whole = (SAYS["sure"].format(u=words.figure(metered.u_pct, 2)),)
    return (Block(TITLES["meters"], tuple(rows), whole),) if rows else ()


def _narrowed(one: Mapping[Any, Any], column: str, at: int) -> tuple[str, str]:
    """A reading with the interval that it leaves, high over low, and that without it alone."""
    label = FIGURE["with" if at else "alone"].format(what=words.predictors(str(one[column])))
    without = f"; {words.figure(float(one['without']))}" if at else ""
    span = f"{words.milliamps(float(one['low_ma']))} to {words.milliamps(float(one['high_ma']))} mA"
    return label, f"{span}; {words.figure(float(one['width']))}{without}"


def _span(one: Mapping[Any, Any], column: str, _: int) -> tuple[str, str]:
    """A reading, an opinion or a repair with its current and interval."""
    start = "repaired_" if column == "slip" else ""
    likely = "repaired_ma" if column == "slip" else "rated_current_ma"
    low, middle, high = (words.milliamps(float(one[name])) for name in (f"{start}low_ma", likely, f"{start}high_ma"))
    label = words.sentence(str(one[column]))[:-1] if column == "slip" else words.predictors(str(one[column]))
    return label, f"{middle} mA ({low} to {high})"
