"""The supply of the set, whatever unit feeds it: capacitor, choke, rectifier, added resistance, today's line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.errors import Fault, InputError
from calib.paths import data
from calib.register.fields import facts_of, faults_of
from calib.supply.parameters import Settings
from calib.supply.section import FilterSection, filter_section
from calib.supply.steady_state import SupplyState

__all__ = ["SUPPLY", "SetSupply"]

SUPPLY = facts_of(data("supply/fields.toml")["supply"])
SECTION = ("section_ohm", "section_uf", "section_h")


@dataclass(frozen=True)
class SetSupply:
    """The supply of the set, whatever unit feeds it.

    Attributes
    ----------
    capacitance_uf : float or None
        First capacitor, each one's of a doubler; needed with a filter [µF].
    choke_h, choke_ohm : float or None
        Input choke; needed with filter choke [H], [ohm].
    capacitor_volts : float or None
        What the capacitors are rated for; None where not told [V].
    valve : str or None
        Type of a rectifier valve.
    diode_drop_v : float
        Of one solid-state rectifier [V].
    series_ohm : float
        Added in series with one conducting side, 0 or more [ohm].
    line_now_v : float or None
        Line that it will run on; None for the unit's nominal one, give or take 5 % [V].
    line_now_hz : float or None
        Its frequency; None for the unit's nominal one [Hz].
    section_ohm, section_uf, section_h : float or None
        A second section behind the first capacitor: its resistance, its capacitor, and the inductance of a choke or
        field coil, None of a resistor; the first two together or neither [ohm], [µF], [H].
    """

    capacitance_uf: float | None = None
    choke_h: float | None = None
    choke_ohm: float | None = None
    capacitor_volts: float | None = None
    valve: str | None = None
    diode_drop_v: float = 0.0
    series_ohm: float = 0.0
    line_now_v: float | None = None
    line_now_hz: float | None = None
    section_ohm: float | None = None
    section_uf: float | None = None
    section_h: float | None = None

    def __post_init__(self) -> None:
        given = {name: getattr(self, name) for name in SUPPLY}
        faults = faults_of(SUPPLY, given)
        if any(given[name] is not None for name in SECTION):
            missing = [name for name in SECTION if given[name] is None and name != "section_h"]
            problem = "a second section needs its resistance and its capacitor"
            faults += [_fault(name, "", problem, "missing") for name in missing]
        if faults:
            raise InputError(faults)

    def section(self, state: SupplyState, hz: float) -> FilterSection | None:
        """What the second section leaves of a steady state; None where there is none."""
        if self.section_ohm is None or self.section_uf is None:
            return None
        return filter_section(state, hz, self.section_ohm, self.section_uf, self.section_h or 0.0)

    def settings(
        self, rectifier: str, filter: str, source: tuple[float, float, float], load_ma: np.ndarray, hz: float
    ) -> Settings:
        """What the steady state follows from: source is volts, ohm and the reflected primary's part of one side.

        Raises
        ------
        InputError
            What the filter needs and was not given, or a value beyond its limits.
        """
        volts, ohm, primary = source
        faults = []
        if filter != "none" and self.capacitance_uf is None:
            faults.append(_fault("capacitance_uf", "", f"filter '{filter}' needs its capacitor", "missing"))
        if filter == "choke" and self.choke_h is None:
            faults.append(_fault("choke_h", "", "a choke-input filter needs its choke", "missing"))
        if filter == "choke" and self.choke_ohm is None:
            faults.append(_fault("choke_ohm", "", "a choke-input filter needs its choke's resistance", "missing"))
        if faults:
            raise InputError(faults)
        choked = filter == "choke"
        return Settings(
            rectifier,
            filter,
            volts,
            ohm,
            1.0 if self.capacitance_uf is None else self.capacitance_uf,
            load_ma,
            hz,
            valve=self.valve,
            diode_drop_v=self.diode_drop_v,
            primary_ohm=primary,
            capacitor_volts=None if filter == "none" else self.capacitor_volts,
            choke_h=self.choke_h if choked else None,
            choke_ohm=(self.choke_ohm or 0.0) if choked else 0.0,
        )


def _fault(column: str, value: object, problem: str, code: Any) -> Fault:
    return Fault("", None, column, str(value), problem, SUPPLY[column].remedy, code)
