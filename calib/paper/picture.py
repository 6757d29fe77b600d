"""The picture of an estimate on paper: lines and words on one axis, told apart without colour."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from calib import words
from calib.paper.stationery import HEAVY_MM, INK, RULE_MM, SOFT, WHITE, Stationery, Style

if TYPE_CHECKING:
    import pandas as pd

LABEL, TICK = Style(7.4, bold=True), Style(6.6)
FAR_APART = 4.0  # currents further apart than by this factor stand on a logarithmic axis
ROW_MM = 3.8  # of the words of a mark, above the hill
BELOW_MM = 13.0  # room below it: interval, axis, its figures and its name
HILL, MIDDLE = 236, 205  # shades
NICE = (1.0, 2.0, 2.5, 5.0, 10.0)
TICKS_LOG = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)
DASHES = {"likely": (0.0, 0.0), "floor": (2.2, 1.2), "asked": (0.5, 0.9), "rated": (5.0, 1.2), "proven": (3.4, 0.8)}


class Mark(NamedTuple):
    """A current that the picture names: likely, floor, asked, rated or proven; what is said of it; where [mA]."""

    kind: str
    said: str
    at: float


@dataclass(frozen=True)
class Axis:
    """Where a current stands: the picture's left edge and width [mm], its ends [mA], and whether it is logarithmic."""

    left: float
    width: float
    low: float
    high: float
    is_log: bool

    def place(self, current: float) -> float:
        """The x of a current [mm]."""
        low, high, at = self.low, self.high, min(max(current, self.low), self.high)
        share = math.log(at / low) / math.log(high / low) if self.is_log else (at - low) / (high - low)
        return self.left + share * self.width

    @property
    def ticks(self) -> list[float]:
        """Round currents along it [mA]."""
        if self.is_log:
            tens = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
            found = [one * 10.0**ten for ten in tens for one in TICKS_LOG]
        else:
            rough = (self.high - self.low) / 6.0
            ten = 10.0 ** math.floor(math.log10(rough))
            step = next(one * ten for one in NICE if one * ten >= rough)
            found = [step * number for number in range(math.ceil(self.low / step), math.floor(self.high / step) + 1)]
        return [one for one in found if self.low <= one <= self.high]


def axis_of(
    curve: pd.DataFrame, marks: Sequence[Mark], interval: tuple[float, float], place: tuple[float, float]
) -> Axis:
    """An axis that holds the interval, all marks, and the curve as far as it is worth seeing."""
    seen = curve[curve["density"] > 0.03 * curve["density"].max()]["current_ma"] if len(curve) else curve.iloc[:, 0]
    found = [*interval, *(one.at for one in marks), *([seen.min(), seen.max()] if len(seen) else [])]
    low, high = min(found), max(found)
    if high > FAR_APART * low and low > 0.0:
        room = (high / low) ** 0.05
        return Axis(*place, low / room, high * room, True)
    room = 0.06 * (high - low) or 0.1 * high
    return Axis(*place, max(0.0, low - room), high + room, False)


def draw_estimate(
    sheet: Stationery,
    place: tuple[float, float, float, float],
    answer: Mapping[str, object],
    curve: pd.DataFrame,
    marks: Sequence[Mark],
    current: str,
) -> None:
    """Draw how a unit's rating is spread, its interval below, and each mark as a line of its own kind with its words.

    Parameters
    ----------
    sheet : Stationery
        The page.
    place : tuple of float
        x, y, width and height [mm].
    answer : mapping of str to object
        One row of the table of estimates.
    curve : pandas.DataFrame
        current_ma [mA] and density, per unit of ln current; no row where it was not kept.
    marks : sequence of Mark
        The likely current, the floor, what the set draws, what it is rated.
    current : str
        What the axis is called, with its unit.
    """
    x, y, width, height = place
    low, high = (float(str(answer[name])) for name in ("low_ma", "high_ma"))
    axis = axis_of(curve, marks, (low, high), (x, width))
    base = y + height - BELOW_MM
    _hill(sheet, axis, curve, (low, high), (base, height - BELOW_MM - ROW_MM * len(marks) - 0.9))
    sheet.line((x, base, x + width, base), RULE_MM, SOFT)
    _interval(sheet, axis, (low, high), base + 2.0)
    _scale(sheet, axis, base + 6.6, current)
    for row, one in enumerate(sorted(marks, key=lambda mark: mark.at)):
        _mark(sheet, axis, one, (y + row * ROW_MM, base + (2.2 if one.kind == "likely" else 0.0)))


def _hill(
    sheet: Stationery, axis: Axis, curve: pd.DataFrame, interval: tuple[float, float], place: tuple[float, float]
) -> None:
    """The likelihood, its middle part darker; per mA on an even axis, so that areas are shares."""
    if not len(curve):
        return
    base, tall = place
    currents = curve["current_ma"].to_numpy(float)
    likely = curve["density"].to_numpy(float) / (1.0 if axis.is_log else currents)
    inside = (currents >= axis.low) & (currents <= axis.high)
    steps = np.union1d(currents[inside], [one for one in interval if axis.low <= one <= axis.high])
    heights = np.interp(steps, currents, likely) / likely.max() * tall
    points = [(axis.place(float(at)), base - float(up)) for at, up in zip(steps, heights, strict=True)]
    middle = [one for one, at in zip(points, steps, strict=True) if interval[0] <= at <= interval[1]]
    for part, shade in ((points, HILL), (middle, MIDDLE)):
        if len(part) > 1:
            sheet.pdf.set_fill_color(shade)
            sheet.pdf.polygon([(part[0][0], base), *part, (part[-1][0], base)], style="F")
    sheet.pdf.set_draw_color(INK)
    sheet.pdf.set_line_width(RULE_MM)
    sheet.pdf.polyline(points)


def _interval(sheet: Stationery, axis: Axis, interval: tuple[float, float], y: float) -> None:
    """A bar with ends, its currents beside it."""
    left, right = (axis.place(one) for one in interval)
    sheet.line((left, y, right, y), HEAVY_MM)
    for at, one, align, off in ((left, interval[0], "R", -1.2), (right, interval[1], "L", 1.2)):
        sheet.line((at, y - 1.3, at, y + 1.3), HEAVY_MM)
        said = words.milliamps(one)
        wide = sheet.text_width(said, LABEL)
        beyond = at + off - wide < axis.left if align == "R" else at + off + wide > axis.left + axis.width
        if beyond:
            sheet.put(at, y + 1.2, said, LABEL, "L" if align == "R" else "R")
        else:
            sheet.put(at + off, y - 0.5 * LABEL.line_mm, said, LABEL, align)


def _scale(sheet: Stationery, axis: Axis, y: float, current: str) -> None:
    """The axis with its figures and its name."""
    sheet.line((axis.left, y, axis.left + axis.width, y), RULE_MM)
    ends = -math.inf
    for one in axis.ticks:
        at, said = axis.place(one), f"{one:g}"
        sheet.line((at, y, at, y + 1.1), RULE_MM)
        wide = sheet.text_width(said, TICK)
        if at - wide / 2.0 > ends + 1.0:
            sheet.put(at, y + 1.2, said, TICK, "C")
            ends = at + wide / 2.0
    sheet.put(axis.left + axis.width, y + 3.8, current, TICK, "R")


def _mark(sheet: Stationery, axis: Axis, mark: Mark, ends: tuple[float, float]) -> None:
    """A line from its words down to the foot of the hill."""
    at, (top, foot) = axis.place(mark.at), ends
    sheet.pdf.set_dash_pattern(*DASHES[mark.kind])
    sheet.line((at, top + 0.4, at, foot), HEAVY_MM if mark.kind == "likely" else 0.4)
    sheet.pdf.set_dash_pattern()
    wide = sheet.text_width(mark.said, LABEL)
    flipped = at + 1.2 + wide > axis.left + axis.width
    begin = max(axis.left, at - 1.2 - wide) if flipped else at + 1.2
    sheet.fill((begin - 0.5, top + 0.2, wide + 1.0, LABEL.line_mm - 0.2), WHITE)
    sheet.put(begin, top, mark.said, LABEL)
