"""What stands against a unit, drawn wherever its figures are shown: a stop first of all, how it was cleared, doubts.

A stop has a form of its own, an eight-sided plate with its word in it, so that nobody takes it for a routine caution;
a doubt has a broken edge and its word. Neither hides a number.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

from calib.register.records import standing

PLATE = '<span class="calib-plate" aria-hidden="true">STOP</span>'


def drawn(values: Mapping[str, Any], way_out: str = "") -> str:
    """Everything that stands against a unit, as HTML; blank where nothing does.

    Parameters
    ----------
    values : mapping of str to object
        The columns stop, stop_cleared and doubts.
    way_out : str
        What to do about a stop.
    """
    found: dict[str, list[str]] = {}
    for kind, said in standing(values):
        found.setdefault(kind, []).extend(said.split(" | ") if kind == "stop" else [said])
    return "".join(
        (
            stop("Stop, feed it nothing", found.get("stop", ()), way_out),
            cleared("A stop was cleared", found.get("cleared", ())),
            doubts("In doubt, look again", found.get("doubt", ())),
        )
    )


def stop(heading: str, said: Sequence[str], way_out: str = "") -> str:
    """A stop, as HTML; blank where nothing is said."""
    if not said:
        return ""
    after = f"<p>{html.escape(way_out)}</p>" if way_out else ""
    inner = f"<p><b>{html.escape(heading)}</b></p>{_listed(said)}{after}"
    return f'<div class="calib-stop" role="alert">{PLATE}<div>{inner}</div></div>'


def cleared(heading: str, said: Sequence[str]) -> str:
    """A stop that was cleared, as HTML."""
    return _block("cleared", heading, said)


def doubts(heading: str, said: Sequence[str]) -> str:
    """Doubts, as HTML; blank where nothing is said."""
    return _block("doubts", heading, said)


def _block(kind: str, heading: str, said: Sequence[str]) -> str:
    if not said:
        return ""
    return f'<div class="calib-{kind}" role="note"><p><b>{html.escape(heading)}</b></p>{_listed(said)}</div>'


def _listed(said: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{html.escape(one)}</li>' for one in said)}</ul>"
