"""What the meters say: readings to facts. Pure functions; the names below are those that other wings may use."""

from calib.bench.budget import (
    ASSUMED_OHMMETER,
    ASSUMED_VOLTMETER,
    HALVES,
    STATED_RESISTANCE,
    STATED_VOLTAGE,
    Part,
    main_part,
    uncertainty_budget,
)
from calib.bench.copper import (
    CONDUCTORS,
    FOUR_WIRE_BELOW_OHM,
    HOT_SPOT_ABOVE_MEAN_K,
    INFERRED_ZERO_C,
    REFERENCE_C,
    RESISTIVITY_OHM_M,
    Conductor,
    hot_temperature,
    less_lead_null,
    resistance_at,
    rise_by_resistance,
    wire_resistance,
)
from calib.bench.core import (
    IRON_DENSITY_KG_M3,
    OLD_STACKING_FACTOR,
    SIZE_CLASS_LABELS,
    SIZE_CLASSES,
    STACKING_FACTOR,
    core_area_cm2,
    iron_mass_kg,
    mean_turn_mm,
    path_length_mm,
    size_class,
    size_class_bounds,
    stack_effect,
    tongue_from_outside_mm,
    window_area_cm2,
)
from calib.bench.fault_signs import FaultSigns, HalfReadings, UnloadedReading, WindingReading
from calib.bench.faults import (
    PASS_PROVES_LITTLE,
    Finding,
    ShortedTurn,
    findings,
    findings_frame,
    knee_power,
    shorted_turn,
)
from calib.bench.flux import (
    DESIGN_FLUX_T,
    LOSS_W_KG,
    AreaRule,
    area_rule_va,
    flux_density_t,
    iron_loss_w_kg,
    shop_rule_area_cm2,
    square_core_for_va_cm2,
    turns_per_volt,
    usual_area_rule,
)
from calib.bench.gauge_check import Turns, WoundWire, implied_wire, turns_from_volts, wire_agreement
from calib.bench.heater_volts import Excitation, against_rated, heater_excitation, usual_heater_v
from calib.bench.hidden_core import HiddenCore, WeightCheck, core_from_outside, weight_check, winding_mass_kg
from calib.bench.insulation import (
    BEFORE_THE_TEST,
    CIRCUITS,
    InsulationTest,
    Works,
    grade_insulation,
    insulation_at_20_megohm,
    insulation_steps,
    working_stresses,
)
from calib.bench.laminations import (
    SHAPES,
    CoreSheets,
    Lamination,
    all_laminations,
    core_sheets,
    laminations_named,
    nearest_laminations,
)
from calib.bench.measures import MEASURES, Measure, in_figures, inch_fraction, measure
from calib.bench.meter import (
    DEFAULT_U_RESISTANCE_PCT,
    DEFAULT_U_VOLTAGE_PCT,
    LEAD_NULL_U_OHM,
    ONE_METER_ONE_RANGE,
    ONE_METER_OTHER_RANGE,
    ORDINARY_OHMMETER,
    ORDINARY_VOLTMETER,
    TWO_METERS,
    WINDING_TEMP_HALF_WIDTH_K,
    MeterClass,
    half_width,
    read_one,
    read_pair,
    rectangular,
    relative_pct,
    standard_uncertainty,
    with_relative,
    with_u,
)
from calib.bench.micrometer import COVERINGS, GaugeCandidate, NamedWire, micrometer_reading, name_wire
from calib.bench.numerals import NotRead, Numeral, read_number
from calib.bench.plausible import Meant, meant
from calib.bench.rating import CurrentInterval, current_interval, multiplier_of, rated_current_ma
from calib.bench.ratio import (
    EXCITATION_SHARE,
    EXCITING_DROP_U_PCT,
    FEED_RULES,
    HAZARDOUS_LIVE_V,
    Feed,
    down,
    feed,
    max_excitation_v,
    no_load_voltage,
    ratio_uncertainty,
    v_over_r,
)
from calib.bench.ratio_checks import (
    COUPLING_SUSPECT,
    LOADING_IGNORED_PCT,
    ExcitingDrop,
    TwoWay,
    exciting_drop,
    meter_loading,
    two_way,
    unloaded_voltage,
)
from calib.bench.ratio_taps import ScaledTaps, TapReading, scale_taps
from calib.bench.settling import RISE_AFTER_RUNNING_K, SETTLING_H, difference_left_k, settling_h
from calib.bench.taken import no_load_taken, ratio_taken, resistance_taken
from calib.bench.winding_halves import Halves, compare_halves, half_ratio_by_order
from calib.bench.wire import (
    MM2_PER_CIRCULAR_MIL,
    MM_PER_INCH,
    MM_PER_MIL,
    USUAL_CIRCULAR_MILS_PER_AMPERE,
    awg_diameter_mm,
    awg_from_diameter,
    circular_mils,
    circular_mils_per_ampere,
    current_density_a_mm2,
    current_ma_at_density,
    density_from_circular_mils,
    nearest_awg,
    ohm_per_metre,
    wire_area_mm2,
    wire_diameter_mm,
)
from calib.bench.wire_film import SERIES
from calib.bench.wire_tables import (
    Overall,
    approximate_overall,
    awg_overall,
    iec_overall,
    nearest_iec_mm,
    nearest_old_metric_mm,
    nearest_sizes,
    nearest_swg,
    old_metric_sizes_mm,
    swg_diameter_mm,
)

__all__ = [
    "ASSUMED_OHMMETER",
    "ASSUMED_VOLTMETER",
    "BEFORE_THE_TEST",
    "CIRCUITS",
]
__all__ += ["CONDUCTORS"]
__all__ += ["COUPLING_SUSPECT", "COVERINGS", "DEFAULT_U_RESISTANCE_PCT", "DEFAULT_U_VOLTAGE_PCT", "DESIGN_FLUX_T"]
__all__ += ["EXCITATION_SHARE", "EXCITING_DROP_U_PCT", "FEED_RULES", "FOUR_WIRE_BELOW_OHM", "HALVES"]
__all__ += ["HAZARDOUS_LIVE_V"]
__all__ += ["HOT_SPOT_ABOVE_MEAN_K", "INFERRED_ZERO_C", "IRON_DENSITY_KG_M3", "LEAD_NULL_U_OHM", "LOADING_IGNORED_PCT"]
__all__ += ["LOSS_W_KG", "MEASURES", "MM2_PER_CIRCULAR_MIL", "MM_PER_INCH", "MM_PER_MIL", "OLD_STACKING_FACTOR"]
__all__ += [
    "ONE_METER_ONE_RANGE",
    "ONE_METER_OTHER_RANGE",
    "ORDINARY_OHMMETER",
    "ORDINARY_VOLTMETER",
]
__all__ += ["REFERENCE_C", "RESISTIVITY_OHM_M", "RISE_AFTER_RUNNING_K", "SERIES", "SETTLING_H", "SHAPES"]
__all__ += ["SIZE_CLASSES"]
__all__ += ["SIZE_CLASS_LABELS", "STACKING_FACTOR", "STATED_RESISTANCE", "STATED_VOLTAGE", "TWO_METERS"]
__all__ += ["USUAL_CIRCULAR_MILS_PER_AMPERE", "WINDING_TEMP_HALF_WIDTH_K", "AreaRule", "Conductor"]
__all__ += ["CoreSheets", "CurrentInterval", "Excitation", "ExcitingDrop", "FaultSigns", "Feed"]
__all__ += ["Finding"]
__all__ += [
    "GaugeCandidate",
    "HalfReadings",
    "Halves",
    "HiddenCore",
    "InsulationTest",
    "Lamination",
]
__all__ += ["Meant", "Measure", "MeterClass", "NamedWire", "NotRead"]
__all__ += ["Numeral", "Overall", "Part"]
__all__ += ["ScaledTaps", "ShortedTurn", "TapReading", "Turns", "TwoWay", "UnloadedReading", "WeightCheck"]
__all__ += ["WindingReading", "WoundWire", "against_rated", "all_laminations", "approximate_overall", "area_rule_va"]
__all__ += ["awg_diameter_mm", "awg_from_diameter", "awg_overall", "circular_mils", "circular_mils_per_ampere"]
__all__ += ["compare_halves", "core_area_cm2", "core_from_outside", "core_sheets"]
__all__ += ["current_density_a_mm2", "current_interval", "current_ma_at_density", "density_from_circular_mils"]
__all__ += ["difference_left_k", "down", "exciting_drop", "feed", "findings", "findings_frame"]
__all__ += ["flux_density_t"]
__all__ += ["grade_insulation", "half_ratio_by_order", "half_width", "heater_excitation", "hot_temperature"]
__all__ += ["iec_overall", "implied_wire", "in_figures", "inch_fraction", "insulation_at_20_megohm"]
__all__ += ["insulation_steps"]
__all__ += ["iron_loss_w_kg", "iron_mass_kg", "laminations_named", "less_lead_null", "main_part"]
__all__ += ["max_excitation_v", "mean_turn_mm", "meant", "measure", "meter_loading", "micrometer_reading"]
__all__ += ["multiplier_of", "name_wire", "nearest_awg", "nearest_iec_mm", "nearest_laminations"]
__all__ += ["nearest_old_metric_mm", "nearest_sizes", "nearest_swg", "old_metric_sizes_mm"]
__all__ += ["no_load_taken", "no_load_voltage", "ohm_per_metre", "path_length_mm"]
__all__ += [
    "rated_current_ma",
    "ratio_taken",
    "ratio_uncertainty",
    "read_number",
    "read_one",
    "read_pair",
    "rectangular",
]
__all__ += ["relative_pct", "resistance_at", "resistance_taken", "rise_by_resistance"]
__all__ += ["scale_taps", "settling_h", "shop_rule_area_cm2", "shorted_turn", "size_class", "size_class_bounds"]
__all__ += ["square_core_for_va_cm2", "stack_effect", "standard_uncertainty", "swg_diameter_mm"]
__all__ += ["tongue_from_outside_mm", "turns_from_volts", "turns_per_volt", "two_way", "uncertainty_budget"]
__all__ += ["unloaded_voltage", "usual_area_rule", "usual_heater_v", "v_over_r", "weight_check", "winding_mass_kg"]
__all__ += ["PASS_PROVES_LITTLE", "Works", "knee_power", "working_stresses"]
__all__ += ["window_area_cm2", "wire_agreement", "wire_area_mm2", "wire_diameter_mm", "wire_resistance"]
__all__ += ["with_relative", "with_u"]
