"""What a set asks of a winding: the steady state of its rectifier and filter, and ratings from one to another.

The names below are what other wings may use; each module is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module

_NAMES = {
    "budget": (
        *("GlowRegulator", "HeatBudget", "Inrush", "PrimaryCurrent", "Resistor", "Winding", "across", "dropping"),
        *("fuse_ma", "glow_regulator", "heat_budget", "heater_at_load", "in_series", "inrush", "preferred_ohm"),
        "primary_current",
    ),
    "steady_state": (
        *("FilterSection", "SupplyState", "critical_inductance", "filter_section", "load_line", "resonance_hz"),
        *("ripple_hz", "state_of", "steady_state"),
    ),
    "mending": ("Mending", "mendings"),
    "parameters": ("Settings",),
    "duty": ("Duty", "rectifier_duty"),
    "form_factor": ("FORM_FACTOR", "FORM_FACTOR_SD", "ConvertedRating", "convert_rating", "winding_rms_per_dc"),
    "valves": ("Valve", "rectifier_valve", "rectifier_valves"),
}
_HOME = {name: module for module, names in _NAMES.items() for name in names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return __all__
