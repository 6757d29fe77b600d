"""What a set asks of a winding: the steady state of its rectifier and filter, and ratings from one to another.

The names below are what other wings may use; each module is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "SupplyState": "steady_state",
    "state_of": "steady_state",
    "critical_inductance": "steady_state",
    "load_line": "steady_state",
    "steady_state": "steady_state",
    "Settings": "parameters",
    "Duty": "duty",
    "rectifier_duty": "duty",
    "FORM_FACTOR": "form_factor",
    "FORM_FACTOR_SD": "form_factor",
    "winding_rms_per_dc": "form_factor",
    "ConvertedRating": "form_factor",
    "convert_rating": "form_factor",
    "Valve": "valves",
    "rectifier_valve": "valves",
    "rectifier_valves": "valves",
}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return __all__
