"""The parts of a unit's sheet: readings, facts, estimate; and what its bench kept, its set, heat run and last estimate.

A set and a run are reckoned again from what was told, so that the sheet has every figure that their pages show; where
that cannot be done any more, the figures that were kept stand alone.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import calib
from calib import bench, words
from calib.errors import InputError
from calib.fitting.features import features_of
from calib.paper.layout import SAYS, Block
from calib.paper.picture import Mark
from calib.paths import data
from calib.register.fields import FIELDS
from calib.register.frame import frame_of
from calib.session.fields import shown
from calib.session.on_the_bench import AT_REST, AT_WORST, figures_of_set, set_of
from calib.session.readings import heater_rows
from calib.session.steps import Fact, symbols
from calib.supply.duty import AT_LIMIT, BROKEN, LEAST, NAMES, NOT_TOLD

if TYPE_CHECKING:
    from datetime import datetime

    import pandas as pd

    from calib import Demand, HeatRunResult, Multiplier
    from calib.estimate.unit import UnitEstimate
    from calib.register.bench_units import KeptDemand, KeptEstimate, KeptHeatRun
    from calib.register.records import Unit
    from calib.session.bench_unit import UnitNow
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


def value_said(name: str, value: object) -> str:
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
        (FIELDS[name].label, value_said(name, value))
        for name, value in there
        if value not in (None, "") and value == value
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


DEMAND, RUN = SAYS["demand"], SAYS["heat_run"]
# Figures of a kept answer, where nothing but that is left, each with its unit.
KEPT = dict.fromkeys(("average_ma", "worst_ma", "winding_rms_ma", "peak_ma"), "mA")
KEPT |= dict.fromkeys(("dc_v", "dc_v_worst", "ripple_v_pp"), "V") | {"source_ohm": "Ω"}


def of_kept(now: UnitNow, model: Multiplier, level: float) -> tuple[Block, ...]:
    """What was kept of a unit on the bench: the set's demand, the heat run, the last estimate and how it moved."""
    kept, found = now.kept, list[Block]()
    if kept.demand is not None:
        found += of_demand(kept.demand, asked_again(now, model, level), now.odds_moved)
    if kept.heat_run is not None:
        found.append(of_heat_run(kept.heat_run))
    if kept.estimate is not None:
        found.append(of_kept_estimate(kept.estimate, now.moved))
    return tuple(found)


def asked_again(now: UnitNow, model: Multiplier, level: float) -> Demand | None:
    """The kept set against the unit as it is now; None where one of them cannot be reckoned."""
    if now.kept.demand is None or now.record is None:
        return None
    with suppress(InputError):
        asked, heaters = set_of(now.kept.demand), {"": now.heaters}
        found: Demand = calib.demand_of(model, now.record, *asked, level, heaters)[0]
        return found
    return None


def of_demand(kept: KeptDemand, found: Demand | None, moved: str = "") -> list[Block]:
    """What a set asks of a unit, the duty of its rectifier, what would mend it, and the line's side."""
    rows = [(DEMAND["asked"], _made(kept.made_at, kept.fit)), (DEMAND["loads"], _loads(kept.loads))]
    rows += _supply(kept.supply)
    answer = kept.answer if found is None else found.as_dict()
    said = [words.sentence(moved)] if moved else []
    if found is None:
        said.append(DEMAND["gone"])
        rows += [
            (DEMAND[name], f"{words.figure(value)} {unit}")
            for name, unit in KEPT.items()
            if isinstance(value := answer.get(name), float | int)
        ]
    else:
        rows += _figures(found)
    for name in ("odds_average", "odds_worst", "margin"):
        if isinstance(value := answer.get(name), float | int):
            rows.append((DEMAND[name], words.figure(value) if name == "margin" else words.odds(value)))
    blocks = [_duty(answer, found), Block(TITLES["demand"], tuple(rows), tuple(said))]
    if found is None:
        return blocks
    if found.mendings:
        mends = (data("supply/mending.toml")["caution"], *map(str, found.mendings))
        blocks.append(Block(TITLES["mending"], said=tuple(map(words.symbols, mends))))
    side = found.heater_side
    if side.words:
        told = [*([side.caution] if side.caution else []), *side.words]
        blocks.append(Block(TITLES["heater_side"], said=tuple(map(words.symbols, told))))
    fuse = [DEMAND["hv_fuse"].format(fuse=words.figure(found.hv_fuse_ma))] if found.hv_fuse_ma else []
    lines = [*found.set_words, *found.mains.words, *fuse, *found.mains.line_words, *found.notes]
    return [*blocks, Block(TITLES["line"], said=tuple(map(words.symbols, lines)))] if lines else blocks


def _loads(rows: Sequence[Mapping[str, str]]) -> str:
    return ", ".join(f"{row.get('count') or 1} × {row.get('load')}" for row in rows)


def _supply(supply: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What was told of the set's supply."""
    fields, rows = data("supply/fields.toml")["supply"], []
    for name, value in supply.items():
        if name in fields and value:
            rows.append((fields[name]["label"], f"{shown(value)} {symbols(fields[name].get('unit', ''))}".rstrip()))
        elif value:
            rows.append((DEMAND.get(name, name), str(value)))
    return rows


def _figures(found: Demand) -> list[tuple[str, str]]:
    """What the page shows, with the uncertainty of what the set draws, and what the rectifier stands with no load."""
    u_ma = {AT_REST: found.average_u_ma, AT_WORST: found.worst_u_ma}
    told = figures_of_set(found, found.level)
    rows = [
        (_label(name), f"{value} ± {words.figure(u_ma[name], 2)}" if name in u_ma else value) for name, value in told
    ]
    if found.peak_inverse_v is not None:
        rows.append((DEMAND["peak_inverse_v"], f"{words.figure(found.peak_inverse_v)} V"))
    return rows


def _label(name: str) -> str:
    return name[:1].upper() + name[1:]


def _duty(answer: Mapping[str, Any], found: Demand | None) -> Block:
    """The limits, each as it stands; broken ones and those that nothing tells in sentences."""
    rows = []
    for one in () if found is None else found.judged:
        if one.verdict == NOT_TOLD:
            continue
        bound = DEMAND["least" if one.limit in LEAST else "most"]
        value, allowed = words.figure(one.value), words.figure(one.allowed)
        verdict = DEMAND["beyond" if one.verdict == BROKEN else "at" if one.verdict == AT_LIMIT else "within"]
        rows.append((_label(NAMES[one.limit]), f"{value} {symbols(one.unit)}, {bound} {allowed}: {verdict}"))
    said = [DEMAND["broken"].format_map(_rounded(one)) for one in _parts(answer, "broken")] or [DEMAND["kept"]]
    untold = [NAMES.get(str(one), str(one)) for one in answer.get("not_told") or ()]
    said += [DEMAND["not_told"].format(limits=words.joined_names(untold))] if untold else []
    return Block(TITLES["duty"], tuple(rows), tuple(said))


def _parts(answer: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    found = answer.get(name)
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list | tuple) else []


def _rounded(one: Mapping[str, Any]) -> dict[str, str]:
    told = {name: f"{value:.4g}" if isinstance(value, float) else str(value) for name, value in one.items()}
    limit = told.get("limit", "")
    return defaultdict(lambda: "–", {**told, "limit": NAMES.get(limit, limit)})


def of_heat_run(kept: KeptHeatRun) -> Block:
    """What a heat run showed, and by which way back to the instant of switching off."""
    result, again = kept.result, run_again(kept)
    told = {**kept.given, **result}

    def figure(name: str, digits: str, unit: str) -> list[tuple[str, str]]:
        value, u = told.get(name), told.get(f"{name.removesuffix('_k')}_u_k")
        more = f" ± {u:{digits}}" if isinstance(u, float | int) else ""
        return [(RUN[name], f"{value:{digits}}{more} {unit}")] if isinstance(value, float | int) else []

    rise = kept.given.get("allowed_rise_k")
    allowed = RUN["allowed"].format(rise=rise) if isinstance(rise, float | int) else RUN["allowed_plain"]
    rules = dict.fromkeys([str(result.get("rule") or ""), *([again.reference_rule] if again else [])])
    rows = [
        (RUN["made"], f"{kept.made_at:%Y-%m-%d}"),
        *figure("load_ma", ".4g", "mA"),
        *figure("hot_ohm", ".5g", "Ω"),
        *_ways(again),
        *figure("rise_k", ".1f", "K"),
        *figure("line_rise_k", ".1f", "K"),
        *figure("drift_k", ".1f", "K"),
        *([(RUN["iron"], str(again.iron))] if again and again.iron else []),
        (allowed, _current(result, "allowed")),
        (RUN["reference"], _current(result, "reference")),
        (RUN["rule"], "; ".join(filter(None, rules))),
    ]
    return Block(TITLES["heat_run"], tuple(rows), kept.doubts)


def run_again(kept: KeptHeatRun) -> HeatRunResult | None:
    """The run reckoned again from what was read; None where that cannot be done any more."""
    given: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in kept.given.items()
    }
    with suppress(InputError, TypeError):
        found: HeatRunResult = calib.heat_run(calib.HeatRun(**given))
        return found
    return None


def _ways(again: HeatRunResult | None) -> list[tuple[str, str]]:
    if again is None:
        return []
    told = {**again.cooling.by_method}
    counts = again.cooling.method
    return [
        (RUN["way"].format(name=name, counts=RUN["counts"] if name == counts else ""), f"{words.figure(ohm, 5)} Ω")
        for name, ohm in told.items()
    ]


def _current(result: Mapping[str, Any], name: str) -> str:
    ends = [result.get(f"{name}{end}_ma") for end in ("", "_low", "_high")]
    most, low, high = (words.figure(one) if isinstance(one, float | int) else "" for one in ends)
    return f"{most} mA ({low} to {high})" if most and low and high else str(RUN["not_told"])


def of_kept_estimate(then: KeptEstimate, moved: str = "") -> Block:
    """The estimate that was kept last, and how today's differs."""
    says, ratio = SAYS["kept"], ratio_of(then.level)
    figures = (then.rated_current_ma, then.low_ma, then.high_ma, then.floor_ma)
    likely, low, high, floor = (words.milliamps(math.nan if one is None else one) for one in figures)
    rows = [
        (says["made"], _made(then.made_at, then.fit)),
        (says["supply"], words.supply(then.rectifier, then.filter)),
        (FIGURE["likely"], f"{likely} mA"),
        (FIGURE["interval"].format(ratio=ratio), f"{low} to {high} mA"),
        (FIGURE["floor"].format(ratio=ratio), f"{floor} mA"),
    ]
    return Block(TITLES["kept"], tuple(rows), (words.sentence(moved),) if moved else ())


def _made(at: datetime, fit: str) -> str:
    return str(SAYS["kept"]["by"].format(day=f"{at:%Y-%m-%d}", fit=fit))
