"""How leads, readings and resistances are written in the findings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

MOST_NAMED = 8  # names in a list before the rest is only counted


def ohms(value: float, u: float) -> str:
    """A resistance [ohm] to the digits that its standard uncertainty [ohm] leaves; a dash where unknown.

    The rule of the Particle Data Group: two digits of the uncertainty where they are 10 to 35, one from 36 to 94.
    """
    if not math.isfinite(value):
        return "–"
    if not 0.0 < u < math.inf:
        return f"{value:g}"
    power = math.floor(math.log10(u))
    leading = u / 10.0**power
    after = (1 if leading < 3.55 else 0) - power if leading < 9.5 else -power
    return f"{value:.{min(max(after, 0), 4)}f}"


def short(u: float) -> str:
    """An uncertainty to two digits, whole from 100 up."""
    return f"{u:.2g}" if u < 99.5 else f"{u:.0f}"


def pair_name(pair: Sequence[str]) -> str:
    """A pair of leads: ``red 1 to red 2``."""
    return f"{pair[0]} to {pair[1]}"


def named(names: Iterable[str], last: str = "and") -> str:
    """A list as people write it: ``A, B and C``; the rest is counted where it is long."""
    listed = list(names)
    if len(listed) > MOST_NAMED:
        return f"{', '.join(listed[:MOST_NAMED])} {last} {len(listed) - MOST_NAMED} more"
    return f" {last} ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def path_sum(path: Sequence[tuple[str, str, int]]) -> str:
    """Readings that are added and taken off: ``A to B + B to C``."""
    parts = []
    for a, b, sign in sorted(path, key=lambda step: -step[2]) if path and path[0][2] < 0 else path:
        parts.append(f"{'+' if sign > 0 else '-'} {pair_name((a, b))}")
    if len(parts) > MOST_NAMED:
        parts = [*parts[:3], "...", *parts[-2:]]
    return " ".join(parts).removeprefix("+ ")


def sentence(text: str) -> str:
    """Text with a capital first and a full stop last."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?")) else ".") if text else ""
