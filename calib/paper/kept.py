"""The parts of a unit's sheet that the bench kept: its set, the rectifier's duty, its heat run, the last estimate.

A set and a run are reckoned again from what was told, so that the sheet has every figure that their pages show; where
that cannot be done any more, the figures that were kept stand alone.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import calib
from calib import words
from calib.errors import InputError
from calib.paper.blocks import FIGURE, TITLES, ratio_of
from calib.paper.layout import SAYS, Block
from calib.paths import data
from calib.session.bench_steps import figures_of_set, set_of
from calib.session.fields import shown
from calib.session.steps import symbols
from calib.supply.duty import AT_LIMIT, BROKEN, LEAST, NAMES, NOT_TOLD

if TYPE_CHECKING:
    from datetime import datetime

    from calib import Demand, HeatRunResult, Multiplier
    from calib.register.bench_units import KeptDemand, KeptEstimate, KeptHeatRun
    from calib.session.bench_unit import UnitNow

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
        found.append(of_estimate(kept.estimate, now.moved))
    return tuple(found)


def asked_again(now: UnitNow, model: Multiplier, level: float) -> Demand | None:
    """The kept set against the unit as it is now; None where one of them cannot be reckoned."""
    if now.kept.demand is None or now.record is None:
        return None
    with suppress(InputError):
        heaters = {"": now.read.heaters if now.read and now.read.heaters else ()}
        found: Demand = calib.demand_of(model, now.record, *set_of(now.kept.demand), level, heaters)[0]
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
    u_ma = {"drawn at rest": found.average_u_ma, "drawn at worst": found.worst_u_ma}
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


def of_estimate(then: KeptEstimate, moved: str = "") -> Block:
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
