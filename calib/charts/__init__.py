"""Pictures: frames in, Altair charts out.

Each chart states its finding as its title, and its `description` tells it in words, with every number that it shows.
What a name needs is imported when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.charts.bench_charts import cooling as cooling, windings as windings
    from calib.charts.fit_charts import (
        estimate as estimate,
        multiplier as multiplier,
        opinions as opinions,
        repair as repair,
    )
    from calib.charts.left_out_chart import left_out as left_out
    from calib.charts.style import DARK as DARK, LIGHT as LIGHT, Palette as Palette

_HOMES = {
    "bench_charts": ("cooling", "windings"),
    "fit_charts": ("estimate", "multiplier", "opinions", "repair"),
    "left_out_chart": ("left_out",),
    "style": ("DARK", "LIGHT", "Palette"),
}

__all__ = [
    "DARK",
    "LIGHT",
    "Palette",
    "cooling",
    "estimate",
    "left_out",
    "multiplier",
    "opinions",
    "repair",
    "windings",
]


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"calib.charts.{home}"), name)
    raise AttributeError(f"module 'calib.charts' has no attribute '{name}'")
