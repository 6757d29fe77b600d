"""The report of lead identification as text for people."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from calib.leads.words import named, ohms, sentence, short

if TYPE_CHECKING:
    from calib.leads.result import LeadsFound, LeadWinding

WIDTH = 100
CAUTIONS = (
    "Unplug the set, discharge every capacitor through a resistor and prove it dead with a meter before you touch "
    "a lead.",
    "Disconnect every lead: rectifier, buffer capacitors, dial lamps, heater balancing resistor. What stays joined "
    "reads as a second path.",
    "Join the clips and note what the test leads read alone: the lead null comes off every reading.",
    "Hands off the clips while you read; take them off slowly: the test current kicks.",
    "This estimates from resistances. Nothing here says that a lead is safe to energise.",
)


def report(found: LeadsFound) -> str:
    """Cautions, windings, what contradicts, and the next step, in lines that a terminal holds."""
    blocks = [
        ["Before you read", *_listed(CAUTIONS)],
        [_head(found)],
        *([*_winding(number, one)] for number, one in enumerate(found.windings, start=1)),
    ]
    if found.isolated:
        blocks.append(_alone(found))
    if found.contradictions:
        says = [one.says for one in found.contradictions]
        blocks.append(["These readings contradict one another", *_listed(map(sentence, says))])
    if found.remarks:
        blocks.append(["Note", *_listed(found.remarks)])
    blocks.append(["Next", *_wrapped(found.next.caution, "  "), *_wrapped(found.next.action, "  ")])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _head(found: LeadsFound) -> str:
    leads = sum(len(one.leads) for one in found.windings) + len(found.isolated)
    missing = f", {found.missing} not" if found.missing else ""
    windings = _count(len(found.windings), "winding")
    return f"{windings} in {_count(leads, 'lead')}, by {_count(found.read, 'pair')} read{missing}"


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" + ("" if number == 1 else "s")


def _winding(number: int, one: LeadWinding) -> Iterable[str]:
    yield f"{number}. {one.likely_role}: {one.grade}"
    taps = f"   (tap{'s' if len(one.taps) > 1 else ''}: {', '.join(one.taps)})" if one.taps else ""
    parts = " + ".join(ohms(value, one.u_ohm) for value in one.sections_ohm)
    sections = f" = {parts}" if len(one.sections_ohm) > 1 else ""
    leads = f"{' - '.join(one.leads)}{taps}"
    if not one.on_line:
        leads, sections = f"{', '.join(one.leads)}   (in no order)", " at most"
    yield from _wrapped(f"leads  {leads}", "   ", 7)
    whole = f"{ohms(one.ohm, one.u_ohm)}{sections}, u {short(one.u_ohm)}"
    yield from _wrapped(f"ohm    {whole if one.ohm == one.ohm else f'under {short(2.0 * one.u_ohm)}'}", "   ", 7)
    if len(one.leads) > 2:
        yield from _wrapped(f"check  {_checked(one)}", "   ", 7)
    yield from _wrapped(f"why    {'; '.join(one.reasons)}", "   ", 7)
    if one.colour_hint:
        yield from _wrapped(f"colour {one.colour_hint}", "   ", 7)
    if one.note:
        yield from _wrapped(f"mind   {one.note}", "   ", 7)


def _checked(one: LeadWinding) -> str:
    """How far readings beyond the needed ones agree."""
    if not one.checks:
        return "none: there are only the fewest readings that join these leads"
    u = one.worst_limit_ohm / 4.0
    if u != u:
        return f"{one.checks:,} further readings agree"
    off = f"{ohms(abs(one.worst_residual_ohm), u)} ohm off where {ohms(one.worst_limit_ohm, u)} is allowed"
    if abs(one.worst_residual_ohm) > one.worst_limit_ohm:
        return f"{_count(one.checks, 'further reading')}, and not all agree: one is {off}"
    return f"{_count(one.checks, 'further reading')} agree{'s' if one.checks == 1 else ''}, at worst {off}"


def _alone(found: LeadsFound) -> list[str]:
    proven = [lead for lead in found.isolated if lead not in found.unplaced]
    lines = []
    if proven:
        lines.append(
            f"open to all others: {', '.join(proven)}. A screen, a broken winding end or a lead to the core; screens "
            "may be bare, black or green"
        )
    if found.unplaced:
        lines.append(f"not read enough to place: {named(found.unplaced)}")
    return ["Leads alone", *_listed(map(sentence, lines))]


def _listed(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in _wrapped(f"- {text}", "  ", 2)]


def _wrapped(text: str, indent: str, hang: int = 0) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + " " * hang, break_on_hyphens=False
    )
