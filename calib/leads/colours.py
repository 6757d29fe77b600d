"""The lead colour code of North American power transformers: a hint at what a winding is, never a proof.

Earlier, European, military, repaired and exported units deviate, and dyes fade. Source: RMA (later RETMA, EIA) colour
code, as reproduced in Radiotron Designer's Handbook, 4th edition (Langford-Smith).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calib.paths import shipped_rows

COLOUR_TABLE = "datasets/leads/colours.csv"
# How far the colours of a unit may be believed: the prior weight that they follow the code [1] (judgement).
CODED_WEIGHT = 0.8  # North American, late 1930s or later, not repaired
OTHER_WEIGHT = 0.3  # any other, or unknown
ALIKE = {"grey": "slate", "gray": "slate"}  # other words for a colour of the code
OTHER_COLOURS = frozenset({"blue", "white", "orange", "violet", "purple", "pink", "bare", "clear"})


@dataclass(frozen=True)
class ColourHint:
    """What the colours of a winding's leads say.

    Attributes
    ----------
    role : str
        primary, high voltage, rectifier heater or heater.
    winding : str
        The winding as the code names it.
    share : float
        Share of its leads whose colours are those of that winding, above 0 to 1 [1].
    misplaced : tuple of str
        Leads that the code has as a tap and the readings at an end, or the other way round.
    """

    role: str
    winding: str
    share: float
    misplaced: tuple[str, ...]


def colour_of(text: str) -> tuple[str, str]:
    """Body and tracer of a lead from its name or description, such as ``Red/yellow 2``; blank where none is named."""
    known = {row["body"] for row in shipped_rows(COLOUR_TABLE)} | OTHER_COLOURS | {"blue"}
    words = [ALIKE.get(word, word) for word in re.findall(r"[a-z]+", text.lower())]
    named = [word for word in words if word in known]
    return (named[0], named[1] if len(named) > 1 and named[1] != named[0] else "") if named else ("", "")


def colour_hint(leads: Sequence[str], colours: Mapping[str, str]) -> ColourHint | None:
    """What the colours of a winding say of it.

    Parameters
    ----------
    leads : sequence of str
        The winding's leads from end to end.
    colours : mapping of str to str
        Colour of a lead by its name; a lead that is not in it may tell its colour by its name.

    Returns
    -------
    ColourHint or None
        The winding of the code that most leads agree with; None where fewer than half do, or two roles equally many.
    """
    worn = [colour_of(colours.get(lead, "") or lead) for lead in leads]
    scores: dict[tuple[str, str], float] = {}
    wrong: dict[tuple[str, str], tuple[str, ...]] = {}
    rows = shipped_rows(COLOUR_TABLE)
    for kind in dict.fromkeys((row["winding"], row["role"]) for row in rows):
        parts = {(row["body"], row["tracer"]): row["part"] == "tap" for row in rows if row["winding"] == kind[0]}
        hits = [lead for lead, colour in zip(leads, worn, strict=True) if colour in parts]
        taps = [parts[colour] for colour in worn if colour in parts]
        wrong[kind] = tuple(lead for lead, tap in zip(hits, taps, strict=True) if tap != (lead in leads[1:-1]))
        scores[kind] = len(hits) / len(leads) - 0.01 * len(wrong[kind]) - 0.001 * (len(parts) - len(set(worn)))
    best = max(scores, key=scores.__getitem__)
    share = sum(colour in _worn_by(best[0]) for colour in worn) / len(leads)
    rivals = {kind[1] for kind, score in scores.items() if abs(score - scores[best]) < 1e-9}
    return ColourHint(best[1], best[0], share, wrong[best]) if share >= 0.5 and len(rivals) == 1 else None


def _worn_by(winding: str) -> set[tuple[str, str]]:
    return {(row["body"], row["tracer"]) for row in shipped_rows(COLOUR_TABLE) if row["winding"] == winding}
