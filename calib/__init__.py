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

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # the same names for those who read types without running anything
    from calib import bench as bench, charts as charts, leads as leads, paper as paper, session as session
    from calib.bench import (
        MeterClass as MeterClass,
        awg_diameter_mm as awg_diameter_mm,
        awg_from_diameter as awg_from_diameter,
        core_area_cm2 as core_area_cm2,
        current_density_a_mm2 as current_density_a_mm2,
        max_excitation_v as max_excitation_v,
        no_load_voltage as no_load_voltage,
        ohm_per_metre as ohm_per_metre,
        ratio_uncertainty as ratio_uncertainty,
        resistance_at as resistance_at,
        rise_by_resistance as rise_by_resistance,
        size_class as size_class,
        size_class_bounds as size_class_bounds,
        tongue_from_outside_mm as tongue_from_outside_mm,
        v_over_r as v_over_r,
    )
    from calib.errors import (
        CannotError as CannotError,
        Fault as Fault,
        InputError as InputError,
        RegisterError as RegisterError,
    )
    from calib.estimate.core_rating import (
        CoreOpinion as CoreOpinion,
        opinion_of_core as opinion_of_core,
    )
    from calib.estimate.demand import (
        Demand as Demand,
        SetSupply as SetSupply,
        demand_of as demand_of,
    )
    from calib.estimate.heat_run import (
        HeatRun as HeatRun,
        HeatRunResult as HeatRunResult,
        heat_run as heat_run,
    )
    from calib.estimate.heater_side import winding_rows as winding_rows
    from calib.estimate.heaters import (
        HeaterAnswer as HeaterAnswer,
        HeaterReading as HeaterReading,
        heater_currents as heater_currents,
    )
    from calib.estimate.line import LineNow as LineNow, line_now as line_now
    from calib.estimate.old_winding import (
        AsItWas as AsItWas,
        AsWound as AsWound,
        NewWinding as NewWinding,
        OldWinding as OldWinding,
        as_it_was as as_it_was,
        as_wound as as_wound,
    )
    from calib.estimate.rewind import (
        RewindPlan as RewindPlan,
        RewindTarget as RewindTarget,
        rewind_plan as rewind_plan,
    )
    from calib.estimate.unit import (
        UnitEstimate as UnitEstimate,
        estimate_unit as estimate_unit,
    )
    from calib.estimate.warming import (
        Entry as Entry,
        Forecast as Forecast,
        RunPlan as RunPlan,
        entries_by_ohms as entries_by_ohms,
        forecast_rise as forecast_rise,
        run_plan as run_plan,
    )
    from calib.fitting.result import (
        Multiplier as Multiplier,
        fit as fit,
        fit_table as fit_table,
    )
    from calib.leads import (
        LeadReading as LeadReading,
        LeadsFound as LeadsFound,
        LeadWinding as LeadWinding,
        identify_leads as identify_leads,
        lead_readings as lead_readings,
    )
    from calib.paper import (
        UnitSheet as UnitSheet,
        unit_sheet as unit_sheet,
        winding_sheet as winding_sheet,
    )
    from calib.paths import (
        shipped as shipped,
    )
    from calib.register.bench_book import (
        BenchSession as BenchSession,
        Meter as Meter,
        meter_fields as meter_fields,
    )
    from calib.register.bench_units import (
        BenchEntry as BenchEntry,
        KeptDemand as KeptDemand,
        KeptEstimate as KeptEstimate,
        KeptHeatRun as KeptHeatRun,
        KeptUnit as KeptUnit,
    )
    from calib.register.improbable import (
        improbabilities as improbabilities,
    )
    from calib.register.members import (
        members as members,
        set_member as set_member,
    )
    from calib.register.moving import (
        Carried as Carried,
        carry as carry,
        set_up_lakehouse as set_up_lakehouse,
    )
    from calib.register.records import (
        KnownUnit as KnownUnit,
        UnknownUnit as UnknownUnit,
        fields as fields,
    )
    from calib.register.register import (
        Register as Register,
        default_register_path as default_register_path,
        practice_register as practice_register,
    )
    from calib.register.safekeeping import (
        RegisterCheck as RegisterCheck,
        check_register as check_register,
        restore_register as restore_register,
    )
    from calib.register.tables import (
        read_known as read_known,
        read_unknown as read_unknown,
    )
    from calib.register.trouble import (
        patience as patience,
    )
    from calib.review import (
        Doubt as Doubt,
        Review as Review,
        review_of as review_of,
        review_register as review_register,
    )
    from calib.supply.loads import (
        LineUp as LineUp,
        Load as Load,
        load_rows as load_rows,
    )

__version__ = "0.1.0"

_HOMES = {
    "calib.errors": ("CannotError", "Fault", "InputError", "RegisterError"),
    "calib.paths": ("shipped",),
    "calib.bench": (
        *("MeterClass", "awg_diameter_mm", "awg_from_diameter", "core_area_cm2", "current_density_a_mm2"),
        *("max_excitation_v", "no_load_voltage", "ohm_per_metre", "ratio_uncertainty", "resistance_at"),
        *("rise_by_resistance", "size_class", "size_class_bounds", "tongue_from_outside_mm", "v_over_r"),
    ),
    "calib.leads": ("LeadReading", "LeadWinding", "LeadsFound", "identify_leads", "lead_readings"),
    "calib.paper": ("UnitSheet", "unit_sheet", "winding_sheet"),
    "calib.register.records": ("KnownUnit", "UnknownUnit", "fields"),
    "calib.register.bench_book": ("BenchSession", "Meter", "meter_fields"),
    "calib.register.bench_units": ("BenchEntry", "KeptDemand", "KeptEstimate", "KeptHeatRun", "KeptUnit"),
    "calib.register.improbable": ("improbabilities",),
    "calib.register.members": ("members", "set_member"),
    "calib.register.moving": ("Carried", "carry", "set_up_lakehouse"),
    "calib.register.tables": ("read_known", "read_unknown"),
    "calib.register.trouble": ("patience",),
    "calib.register.register": ("Register", "default_register_path", "practice_register"),
    "calib.register.safekeeping": ("RegisterCheck", "check_register", "restore_register"),
    "calib.review": ("Doubt", "Review", "review_of", "review_register"),
    "calib.fitting.result": ("Multiplier", "fit", "fit_table"),
    "calib.estimate.heater_side": ("winding_rows",),
    "calib.estimate.line": ("LineNow", "line_now"),
    "calib.estimate.old_winding": ("AsItWas", "AsWound", "NewWinding", "OldWinding", "as_it_was", "as_wound"),
    "calib.estimate.rewind": ("RewindPlan", "RewindTarget", "rewind_plan"),
    "calib.estimate.unit": ("UnitEstimate", "estimate_unit"),
    "calib.estimate.demand": ("Demand", "SetSupply", "demand_of"),
    "calib.supply.loads": ("LineUp", "Load", "load_rows"),
    "calib.estimate.heat_run": ("HeatRun", "HeatRunResult", "heat_run"),
    "calib.estimate.warming": ("Entry", "Forecast", "RunPlan", "entries_by_ohms", "forecast_rise", "run_plan"),
    "calib.estimate.heaters": ("HeaterAnswer", "HeaterReading", "heater_currents"),
    "calib.estimate.core_rating": ("CoreOpinion", "opinion_of_core"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}
_WINGS = ("bench", "charts", "leads", "paper", "session")

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
