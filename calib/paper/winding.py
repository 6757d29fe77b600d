"""The winding sheet of a rewind plan: one page with what is planned, what was, and room for what is wound."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib import words
from calib.estimate.rewind import BOLD, CAUTIOUS, RewindPlan
from calib.paper.layout import SAYS as SHEET
from calib.paper.stationery import (
    HAIR_MM,
    HEADING,
    HEAVY_MM,
    RULE_MM,
    SMALL,
    SOFT,
    TEXT,
    TITLE,
    Stationery,
    Strip,
    gap,
    height_of,
)
from calib.paths import data

if TYPE_CHECKING:
    from calib.estimate.old_winding import AsItWas
    from calib.paper.filled import Behind

SAYS, PLAN = data("paper/winding_sheet.toml"), data("estimate/rewind.toml")
GUTTER_MM, BOX_MM = 7.0, 7.6
SHARES = (0.13, 0.09, 0.07, 0.14, 0.08, 0.07, 0.10, 0.08, 0.08, 0.09, 0.07)
INSULATION_SHARES = (0.2, 0.2, 0.2, 0.2, 0.2)
OLD_SHARES = (0.34, 0.22, 0.22, 0.22)
WOUND_SHARES = (0.15, 0.13, 0.15, 0.08, 0.18, 0.10, 0.07, 0.14)


def winding_sheet(plan: RewindPlan, behind: Behind, was: AsItWas | None = None, paper: str = "a4") -> bytes:
    """The winding sheet of a plan as a PDF of one page, the same bytes for the same plan.

    Parameters
    ----------
    plan : RewindPlan
        What is to be wound.
    behind : Behind
        Which fit of which register judged it.
    was : AsItWas or None
        What was found of the old winding.
    paper : str
        a4 or letter.

    Raises
    ------
    InputError
        The paper is neither.
    """
    target = plan.target
    title = SAYS["title"].format(volts=f"{target.volts:g}", current=f"{target.current_ma:g}")
    sheet = Stationery(paper, f"{SAYS['kind']}: {title}")
    width, foot = sheet.width, _foot(sheet, behind)
    y = _head(sheet, plan, title, behind)
    bottom, more = sheet.bottom - height_of(foot), SHEET["cut"].format(where=SHEET["where"]["typed"])
    doubts = [*plan.doubts, *(was.doubts if was else ())]
    y = sheet.stack(_against(sheet, doubts), sheet.left, y)
    for strips in (_windings(sheet, plan), _insulation(sheet, plan)):
        y = sheet.stack(sheet.fitted(strips, 0.2 * bottom, width, more), sheet.left, y) + 2.0
    wide = (width - GUTTER_MM) / 2.0
    figures = [sheet.heading(SAYS["figures"], wide), *sheet.pairs(_figures(plan), wide)]
    old = [sheet.heading(SAYS["beside"], wide), *_beside(sheet, was, wide)]
    ends = [sheet.stack(figures, sheet.left, y), sheet.stack(old, sheet.left + wide + GUTTER_MM, y)]
    y = max(ends) + 2.0
    y = sheet.stack(sheet.fitted(_by_hand(sheet, plan), bottom - y - 1.0, width, more), sheet.left, y)
    sheet.ruled(SHEET["block"]["remarks"], y + 3.0, bottom - 1.0)
    sheet.stack(foot, sheet.left, bottom)
    return sheet.bytes()


def _head(sheet: Stationery, plan: RewindPlan, title: str, behind: Behind) -> float:
    """Kind of sheet, disclaimer, what is asked; where they end [mm]."""
    target, sheets = plan.target, plan.target.sheets
    y = sheet.named(SAYS["kind"], SHEET["disclaimer"])
    core = SAYS["core"].format(
        tongue=f"{target.tongue_mm:g}",
        stack=f"{target.stack_mm:g}",
        width=f"{sheets.window_width_mm:.4g}",
        height=f"{sheets.window_height_mm:.4g}",
    )
    about = SAYS["about"].format(
        supply=words.supply(target.rectifier, target.filter),
        core=core,
        line=f"{target.line_voltage_v:g}",
        hertz=f"{target.line_frequency_hz:g}",
        series=target.series,
        conductor=target.conductor,
    )
    strips = [
        gap(1.2),
        *sheet.paragraph(title, sheet.width, TITLE),
        *sheet.paragraph(words.sentence(about), sheet.width),
    ]
    strips += [gap(1.5), *sheet.paragraph(SAYS["simulated"], sheet.width, HEADING)] if behind.simulated else []
    return sheet.stack(strips, sheet.left, y) + 1.5


def _against(sheet: Stationery, doubts: list[str]) -> list[Strip]:
    """The caution in a heavy box, since it stands before the work, and the doubts in a light one."""
    inner = sheet.width - 6.0
    boxes = [(SHEET["cautions"], [PLAN["caution"]["before"]], HEAVY_MM)]
    boxes += [(SAYS["doubt"], doubts, RULE_MM)] if doubts else []
    found = []
    for title, said, rule in boxes:
        strips = [gap(0.8), *sheet.paragraph(title, inner, HEADING)]
        strips += [strip for one in said for strip in sheet.paragraph(one, inner, TEXT, hang="•" * (len(said) > 1))]
        high = height_of(strips) + 1.4

        def draw(x: float, y: float, strips: list[Strip] = strips, high: float = high, rule: float = rule) -> None:
            sheet.box((x, y, sheet.width, high), rule)
            sheet.stack(strips, x + 3.0, y)

        found += [Strip(high + 2.0, draw)]
    return found


def _windings(sheet: Stationery, plan: RewindPlan) -> list[Strip]:
    """A row a winding."""
    widths = [share * sheet.width for share in SHARES]
    flush = (1, 2, *range(4, len(SHARES)))
    strips = [sheet.heading(SAYS["plan"], sheet.width)]
    strips.append(sheet.row(SAYS["columns"], widths, replace(SMALL, shade=SOFT), flush))
    for one in plan.windings:
        cells = (
            SAYS["role"][one.role],
            words.figure(one.volts, 4),
            f"{one.turns}",
            one.wire,
            f"{one.bare_mm:.3f}",
            f"{one.layers}",
            words.figure(one.mean_turn_mm),
            words.figure(one.metres),
            words.figure(1000.0 * one.wire_kg),
            words.figure(one.ohm_20c),
            words.figure(one.amperes),
        )
        strips.append(sheet.row(cells, widths, TEXT, flush)._replace(item=len(strips)))
    return strips


def _insulation(sheet: Stationery, plan: RewindPlan) -> list[Strip]:
    """A row a winding: what lies beneath it and between its layers, and how many turns a layer takes."""
    widths, flush = [share * sheet.width for share in INSULATION_SHARES], (1, 2, 3, 4)
    title = SAYS["insulation"].format(free=f"{plan.free_mm:.1f}")
    strips = [sheet.heading(title, sheet.width)]
    strips.append(sheet.row(SAYS["insulation_columns"], widths, replace(SMALL, shade=SOFT), flush))
    for one in plan.windings:
        between = f"{one.paper_mm:.2f}" if one.layers > 1 else SAYS["one_layer"]
        cells = (SAYS["role"][one.role], f"{one.beneath_mm:.2f}", f"{one.stress_v:.0f}", f"{one.per_layer}", between)
        strips.append(sheet.row(cells, widths, TEXT, flush)._replace(item=len(strips)))
    return strips


def _figures(plan: RewindPlan) -> list[tuple[str, str]]:
    """What the plan comes to, each with its label."""
    says, width = SAYS["figure"], plan.target.sheets.window_width_mm
    judged = "cautious" if plan.quantile < CAUTIOUS else "bold" if plan.quantile > BOLD else "usual"
    told = {
        "turns_per_volt": f"{plan.turns_per_volt:.4g}",
        "flux_t": f"{plan.flux_t:.3g} T",
        "fill": f"{words.percent(plan.fill)}: {plan.fill * width:.1f} of {width:.1f} mm",
        "density_a_mm2": f"{plan.density_a_mm2:.2f} A/mm²",
        "copper_w": f"{plan.copper_w:.1f} W",
        "iron_w": f"{plan.iron_w:.1f} W",
        "rise_k": f"about {plan.rise_k:.0f} K",
        "v_over_r": f"{plan.v_over_r:.4g} V/Ω",
        "unit_multiplier": f"{plan.unit_multiplier:.4g} mA per V/Ω",
        "below": words.percent(plan.quantile),
        "judged": PLAN["judged"][judged],
        "makers": f"{plan.makers_ma:.3g} mA; {plan.makers_low_ma:.3g} to {plan.makers_high_ma:.3g} mA",
    }
    return [(says[name], value) for name, value in told.items()]


def _beside(sheet: Stationery, was: AsItWas | None, width: float) -> list[Strip]:
    """The old winding beside the planned one, as far as it was found."""
    if was is None:
        return sheet.paragraph(SAYS["nothing"], width, SMALL)
    widths = [share * width for share in OLD_SHARES]
    strips = [sheet.row(SAYS["old_columns"], widths, replace(SMALL, shade=SOFT), (1, 2, 3))]
    for name, old, new in was.rows():
        cells = (name, words.figure(old, 4), words.figure(new, 4), f"{new / old - 1.0:+.1%}")
        strips.append(sheet.row(cells, widths, TEXT, (1, 2, 3)))
    return [*strips, *sheet.paragraph(was.note, width, SMALL)]


def _by_hand(sheet: Stationery, plan: RewindPlan) -> list[Strip]:
    """Boxes to write into: a row a winding, and what is read of the new unit."""
    strips = [sheet.heading(SAYS["wound"], sheet.width)]
    widths = [share * sheet.width for share in WOUND_SHARES]
    strips.append(sheet.row(SAYS["wound_columns"], widths, replace(SMALL, shade=SOFT)))
    strips += [_boxes(sheet, SAYS["role"][one.role], widths)._replace(item=at) for at, one in enumerate(plan.windings)]
    strips += [gap(2.0), sheet.heading(SAYS["afterwards"], sheet.width)]
    labels = [one.format(v_over_r=f"{plan.v_over_r:.4g}") for one in SAYS["to_read"]]
    each = [sheet.width / len(labels)] * len(labels)
    return [*strips, sheet.row(labels, each, replace(SMALL, shade=SOFT)), _boxes(sheet, "", each)]


def _boxes(sheet: Stationery, first: str, widths: list[float]) -> Strip:
    def draw(x: float, y: float) -> None:
        at = x
        for wide in widths:
            sheet.box((at, y, wide, BOX_MM), HAIR_MM, SOFT)
            at += wide
        sheet.put(x + 1.2, y + (BOX_MM - TEXT.line_mm) / 2.0, first, TEXT)

    return Strip(BOX_MM, draw)


def _foot(sheet: Stationery, behind: Behind) -> list[Strip]:
    def rule(x: float, y: float) -> None:
        sheet.line((x, y + 0.5, x + sheet.width, y + 0.5), RULE_MM)

    return [Strip(1.4, rule), *sheet.paragraph(behind.fit, sheet.width, SMALL)]
