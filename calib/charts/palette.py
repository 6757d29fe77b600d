"""The colours of page and charts: one ink, one accent, one warning, for paper and for a dark bench.

Accent and warning are the blue and the vermilion of a set that colour-blind people can tell apart (Okabe and Ito,
"Color Universal Design", 2008), darkened on paper and lightened on black until text in them reads well. The practice
colour marks nothing but simulated data.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours as ``#rrggbb``, named by what they are for."""

    ground: str
    field: str
    rule: str
    ink: str
    soft_ink: str
    accent: str
    warning: str
    warning_ground: str
    practice: str
    practice_ground: str


LIGHT = Palette(
    ground="#fbf9f4",
    field="#f0ece2",
    rule="#cfc8b8",
    ink="#1d2830",
    soft_ink="#55616a",
    accent="#0a5f94",
    warning="#a8430a",
    warning_ground="#f9e9dc",
    practice="#74347c",
    practice_ground="#eadcee",
)

DARK = Palette(
    ground="#14191d",
    field="#20272d",
    rule="#46515a",
    ink="#ece8de",
    soft_ink="#a9b3ba",
    accent="#62b6e8",
    warning="#f0995c",
    warning_ground="#3a281c",
    practice="#d9a5e0",
    practice_ground="#3d2842",
)


def palette(dark: bool) -> Palette:
    """The colours for a dark ground or for paper."""
    return DARK if dark else LIGHT
