"""What a core can carry: volt-amperes by the area rule, turns per volt and flux density, iron loss.

An area rule tells the volt-amperes within 30 % at best.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.core import STACKING_FACTOR
from calib.errors import Quantity, positive, within

__all__ = ["AreaRule", "DESIGN_FLUX_T", "LOSS_W_KG", "area_rule_va", "flux_density_t", "iron_loss_w_kg"]
__all__ += ["turns_per_volt", "usual_area_rule"]

EMF_FACTOR = math.sqrt(2.0) * math.pi  # rms volts per turn / (f B A), sine wave; MIT EE Staff

# Peak flux density that makers designed for [T]: steel before 1950, later, grain-oriented (upper end); McLyman.
DESIGN_FLUX_T = {"before 1950": (1.0, 1.2), "later": (1.2, 1.4), "grain-oriented": (1.4, 1.6)}
# What the usual windings of a core are taken to be: current density that falls as the tongue's root, rms, and copper's
# share of the window, layer-wound fine wire with paper and heater windings; McLyman, Lee (judgement).
USUAL_DENSITY_A_MM2, USUAL_DENSITY_TONGUE_MM = 4.0, 25.4
USUAL_COPPER_FILL = 0.195
USUAL_FLUX_T = 1.2
# Iron loss at 1.0 T, 60 Hz [W/kg]; MIT EE Staff, McLyman, makers' steel data.
SCRAPLESS_PATH = 6.0  # mean length of the iron path over the tongue, scrapless EI; geometry of the sheet
BIAS_FLUX_T = 1.1  # taken where the turns are not known (judgement)
DC_BIAS_DOUBT_A_M = 600.0  # ordinary units at their half-wave rating come to 200 to 550 A/m (judgement) [A/m]
LOSS_W_KG = {"old radio steel": (1.8, 3.0), "good non-oriented": (1.2, 1.8), "grain-oriented": (0.7, 1.0)}
LOSS_REFERENCE_T, LOSS_REFERENCE_HZ = 1.0, 60.0
LOSS_FLUX_EXPONENT, LOSS_FREQUENCY_EXPONENT = 2.0, 1.3


@dataclass(frozen=True)
class AreaRule:
    """What a core's windings are taken to be, for the area rule.

    Attributes
    ----------
    frequency_hz : float
        Line frequency [Hz].
    flux_t : float
        Peak flux density [T].
    density_a_mm2 : float
        Current density, rms [A/mm²].
    copper_fill : float
        Copper's share of the window, 0.15 to 0.35 met, above 0 to 1 [-].
    stacking_factor : float
        Iron's share of the stack, 0.5 to 1 [-].
    """

    frequency_hz: float
    flux_t: float
    density_a_mm2: float
    copper_fill: float
    stacking_factor: float = STACKING_FACTOR

    def __post_init__(self) -> None:
        positive("frequency", self.frequency_hz, "Hz")
        positive("flux density", self.flux_t, "T")
        positive("current density", self.density_a_mm2, "A/mm²")
        positive("copper fill", self.copper_fill, "")
        within("copper fill", self.copper_fill, 0.0, 1.0, "")
        within("stacking factor", self.stacking_factor, 0.5, 1.0, "")

    @property
    def va_per_cm4(self) -> float:
        """Volt-amperes per gross core area times window area [VA/cm⁴]."""
        areas_m4 = 1e-4 * 1e-4 * self.stacking_factor
        amperes_m2 = self.density_a_mm2 * 1e6
        # Half the window is the primary's: sqrt(2) pi f B J K_u A_fe A_win / 2.
        return EMF_FACTOR * self.frequency_hz * self.flux_t * amperes_m2 * self.copper_fill * areas_m4 / 2.0


def usual_area_rule(
    tongue_mm: float, frequency_hz: float, flux_t: float = USUAL_FLUX_T, stacking_factor: float = STACKING_FACTOR
) -> AreaRule:
    """What the windings of a core usually are, for the area rule.

    Parameters
    ----------
    tongue_mm : float
        Width of the centre limb, above 0 [mm].
    frequency_hz : float
        Line frequency, above 0 [Hz].
    flux_t : float
        Peak flux density, above 0; DESIGN_FLUX_T gives makers' habits [T].
    stacking_factor : float
        Iron's share of the stack, 0.5 to 1 [-].

    Returns
    -------
    AreaRule
        J = 4.0 A/mm² sqrt(25.4 mm / a), at constant temperature rise, and a copper fill of 0.195; makers differ by 40 %
        in J.

    Raises
    ------
    ValueError
        An input out of range.
    """
    positive("tongue", tongue_mm, "mm")
    density = USUAL_DENSITY_A_MM2 * math.sqrt(USUAL_DENSITY_TONGUE_MM / tongue_mm)
    return AreaRule(frequency_hz, flux_t, density, USUAL_COPPER_FILL, stacking_factor)


def area_rule_va(core_area_cm2: Quantity, window_cm2: Quantity, rule: AreaRule) -> Quantity:
    """Volt-amperes of a core by the area rule, good to 30 % at best.

    Parameters
    ----------
    core_area_cm2 : number
        Gross area, above 0 [cm²].
    window_cm2 : number
        Area of one window, above 0 [cm²].
    rule : AreaRule
        Frequency, flux density, current density and fill.

    Returns
    -------
    number
        sqrt(2) pi f B J K_u A_fe A_win / 2, half the window to each side [VA].

    Raises
    ------
    ValueError
        An area of zero or less.

    Notes
    -----
    Source: Transformer and Inductor Design Handbook (McLyman).
    """
    positive("core area", core_area_cm2, "cm²")
    positive("window area", window_cm2, "cm²")
    return rule.va_per_cm4 * core_area_cm2 * window_cm2


def turns_per_volt(
    core_area_cm2: Quantity, flux_t: Quantity, frequency_hz: Quantity, stacking_factor: float = STACKING_FACTOR
) -> Quantity:
    """Turns for each rms volt.

    Parameters
    ----------
    core_area_cm2 : number
        Gross area, above 0 [cm²].
    flux_t : number
        Peak flux density, above 0 [T].
    frequency_hz : number
        Above 0 [Hz].
    stacking_factor : float
        Iron's share of the stack, 0.5 to 1 [-].

    Returns
    -------
    number
        1 / (sqrt(2) pi f B A_fe) [1/V].

    Raises
    ------
    ValueError
        An input out of range.

    Notes
    -----
    Source: Magnetic Circuits and Transformers (MIT EE Staff).
    """
    positive("core area", core_area_cm2, "cm²")
    positive("flux density", flux_t, "T")
    positive("frequency", frequency_hz, "Hz")
    within("stacking factor", stacking_factor, 0.5, 1.0, "")
    return 1.0 / (EMF_FACTOR * frequency_hz * flux_t * core_area_cm2 * 1e-4 * stacking_factor)


def flux_density_t(
    voltage_v: Quantity,
    turns: Quantity,
    core_area_cm2: Quantity,
    frequency_hz: Quantity,
    stacking_factor: float = STACKING_FACTOR,
) -> Quantity:
    """Peak flux density of a winding on its voltage: rms, above 0 [V], turns above 0, else as `turns_per_volt` [T]."""
    positive("voltage", voltage_v, "V")
    positive("turns", turns, "")
    return turns_per_volt(core_area_cm2, 1.0, frequency_hz, stacking_factor) * voltage_v / turns


def iron_loss_w_kg(loss_w_kg: Quantity, flux_t: Quantity, frequency_hz: Quantity) -> Quantity:
    """Iron loss at another flux density and frequency.

    Parameters
    ----------
    loss_w_kg : number
        Of the steel at 1.0 T and 60 Hz, above 0; LOSS_W_KG gives the orders [W/kg].
    flux_t : number
        Peak flux density, above 0 [T].
    frequency_hz : number
        Above 0 [Hz].

    Returns
    -------
    number
        loss (B / 1.0 T)^2 (f / 60 Hz)^1.3 [W/kg].

    Raises
    ------
    ValueError
        An input of zero or less.

    Notes
    -----
    Source: Magnetic Circuits and Transformers (MIT EE Staff); makers' steel data.
    """
    positive("iron loss", loss_w_kg, "W/kg")
    positive("flux density", flux_t, "T")
    positive("frequency", frequency_hz, "Hz")
    by_flux = (flux_t / LOSS_REFERENCE_T) ** LOSS_FLUX_EXPONENT
    return loss_w_kg * by_flux * (frequency_hz / LOSS_REFERENCE_HZ) ** LOSS_FREQUENCY_EXPONENT


def dc_bias_a_m(
    current_ma: Quantity,
    no_load_v: Quantity,
    frequency_hz: Quantity,
    core_area_cm2: Quantity,
    path_mm: Quantity,
    flux_t: Quantity = BIAS_FLUX_T,
) -> Quantity:
    """Field that the direct current of a half-wave rectifier puts into the core.

    Parameters
    ----------
    current_ma : number
        Direct current through the winding [mA].
    no_load_v, frequency_hz : number
        The winding's rms volts at no load, and the frequency [V, Hz].
    core_area_cm2, path_mm : number
        Gross core area, and mean length of the iron path [cm2, mm].
    flux_t : number
        Peak flux density at no load, where the turns are not known [T].

    Returns
    -------
    number
        H = N I / l with N = V / (sqrt(2) pi f B A), A the iron of the gross area, and l the path [A/m].

    Notes
    -----
    Source: Magnetic Circuits and Transformers (MIT EE Staff).
    """
    turns = no_load_v / (EMF_FACTOR * frequency_hz * flux_t * STACKING_FACTOR * core_area_cm2 * 1e-4)
    return turns * current_ma * 1e-3 / (path_mm * 1e-3)
