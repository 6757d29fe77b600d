"""What direct current can an unmarked power transformer of a valve set give?

Three readings that anyone can take (the two voltages of a low-voltage ratio test, and the dc resistance) become
a current with error bars, by what a register of units of known rating teaches::

    import calib

    known = calib.read_known("known.csv")
    model = calib.fit(known)
    print(model)
    print(model.estimate(calib.read_unknown("mine.csv"), level=0.9))

It estimates; it does not certify. What a name needs is imported when the name is first used, so that ``import calib``
costs next to nothing.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "calib.errors": ("CannotError", "Fault", "InputError", "RegisterError"),
    "calib.places": ("shipped",),
    "calib.bench": (
        *("MeterClass", "awg_diameter_mm", "awg_from_diameter", "core_area_cm2", "current_density_a_mm2"),
        *("max_excitation_v", "no_load_voltage", "ohm_per_metre", "ratio_uncertainty", "resistance_at"),
        *("rise_by_resistance", "size_class", "size_class_bounds", "tongue_from_outside_mm", "v_over_r"),
        *("LeadReading", "LeadWinding", "LeadsFound", "identify_leads", "lead_readings"),
    ),
    "calib.register.records": ("KnownUnit", "UnknownUnit", "fields"),
    "calib.register.meters": ("Meter", "meter_fields"),
    "calib.register.sessions": ("BenchSession",),
    "calib.register.improbable": ("improbabilities",),
    "calib.register.exchange": ("read_known", "read_unknown"),
    "calib.register.patience": ("patience",),
    "calib.register.safekeeping": ("RegisterCheck", "check_register", "restore_register"),
    "calib.register.store": ("Register", "default_register_path", "practice_register"),
    "calib.fit.multiplier": ("Multiplier", "fit_table"),
    "calib.estimate.unit": ("UnitEstimate", "estimate_unit"),
    "calib.estimate.heaters": ("HeaterAnswer", "HeaterReading", "heater_currents"),
    "calib.estimate.core_opinion": ("CoreOpinion", "opinion_of_core"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}
_WINGS = ("bench", "fit")

__all__ = sorted([*_HOME_OF, *_WINGS])


def __getattr__(name: str) -> Any:
    if name in _WINGS:
        return import_module(f"calib.{name}")
    if name not in _HOME_OF:
        raise AttributeError(f"module 'calib' has no attribute '{name}'")
    value = getattr(import_module(_HOME_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])


class _FitWing(ModuleType):
    """The wing ``calib.fit``, which can be called: ``calib.fit(known)`` is `calib.fit.multiplier.fit`."""

    def __call__(self, known: Any, **settings: Any) -> Any:
        return import_module("calib.fit.multiplier").fit(known, **settings)


class _House(ModuleType):
    """This package: where the import system hangs the fit wing on it, the wing becomes one that can be called."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "fit" and type(value) is ModuleType:
            value.__class__ = _FitWing
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _House
