"""What a supply is made of: the values that its steady state follows from, checked."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypedDict

import numpy as np

from calib.errors import Code, Fault, InputError
from calib.paths import data
from calib.supply.form_factor import FORM_FACTOR, not_together
from calib.supply.periodic import Array
from calib.supply.valves import Valve, rectifier_valve

CIRCUITS = tuple(pair for pair in FORM_FACTOR if pair[0] != "none")  # the rectifiers and filters that there are
# name: (least, greatest, unit, whether the least itself is allowed)
LIMITS: dict[str, tuple[float, float, str, bool]] = {
    "volts": (0, 1e4, "V", False),
    "source_ohm": (0, 1e6, "ohm", True),
    "load_ma": (0, 1e5, "mA", True),
    "frequency_hz": (10, 1000, "Hz", True),
    "primary_ohm": (0, 1e6, "ohm", True),
}
OF_SET = ("capacitance_uf", "choke_h", "choke_ohm", "diode_drop_v", "capacitor_volts")  # what a set is asked for too
LIMITS |= {
    name: (*told["limits"], told["unit"], not told.get("low_excluded"))
    for name, told in data("supply/fields.toml")["supply"].items()
    if name in OF_SET
}


class Extras(TypedDict, total=False):
    """The values of a supply that may be left out."""

    choke_h: float | None
    choke_ohm: float
    diode_drop_v: float
    valve: str | None
    primary_ohm: float
    capacitor_volts: float | None


@dataclass(frozen=True)
class Settings:
    """A supply, or many of one circuit: every number may be an array of one value a case.

    Attributes
    ----------
    rectifier : str
        full-wave (centre tap), bridge, half-wave or doubler.
    filter : str
        The input element: capacitor, choke or none.
    volts : float or array
        Winding, rms of one conducting side at no load, above 0 to 1e4 [V].
    source_ohm : float or array
        All resistance in series with that side: its own and the reflected primary's, 0 to 1e6 [ohm].
    capacitance_uf : float or array
        Filter capacitor, each one's of a doubler, 1e-6 to 1e7; not used without a filter [µF].
    load_ma : float or array
        Direct current that the load, a resistor, draws at the resulting voltage, 0 to 1e5 [mA].
    frequency_hz : float or array
        Line, 10 to 1000 [Hz].
    choke_h, choke_ohm : float or array
        Inductance and resistance of the input choke, with filter choke only [H], [ohm].
    diode_drop_v : float or array
        Constant drop of one rectifier (a bridge has two in series), 0 for an ideal one [V].
    valve : str or None
        Type number of a thermionic rectifier instead of the drop; with the drop only where the table does not tell it.
    primary_ohm : float or array
        The part of source_ohm that is the reflected primary's. It matters to a half-wave rectifier only, whose direct
        current the primary cannot carry [ohm].
    capacitor_volts : float or None
        What each capacitor is rated for, above 0; it moves nothing but is held against what they see [V].
    greatest_drop : bool
        Whether the valve drops the most that is printed of it, and not the least.
    """

    rectifier: str
    filter: str
    volts: float | Array
    source_ohm: float | Array
    capacitance_uf: float | Array
    load_ma: float | Array
    frequency_hz: float | Array
    choke_h: float | Array | None = None
    choke_ohm: float | Array = 0.0
    diode_drop_v: float | Array = 0.0
    valve: str | None = None
    primary_ohm: float | Array = 0.0
    capacitor_volts: float | None = None
    greatest_drop: bool = False

    def __post_init__(self) -> None:
        faults = _of_circuit(self) + _of_values(self)
        if faults:
            raise InputError(faults)

    @property
    def listed(self) -> Valve | None:
        """The valve of the table, None with diodes."""
        return rectifier_valve(self.valve) if self.valve else None

    @property
    def thermionic(self) -> Valve | None:
        """The valve whose law the current follows; None with diodes, and where the table does not tell its drop."""
        valve = self.listed
        if valve is None or not valve.drop_told:
            return None
        return replace(valve, drop_v=valve.drop_most_v) if self.greatest_drop else valve

    def columns(self) -> dict[str, Array]:
        """Every number as an array of one value a case; 0 where it is None."""
        given = {name: getattr(self, name) for name in LIMITS}
        numbers = {name: 0.0 if value is None else value for name, value in given.items()}
        shaped = np.broadcast_arrays(*(np.atleast_1d(np.asarray(value, float)) for value in numbers.values()))
        return {name: value.ravel() for name, value in zip(numbers, shaped, strict=True)}


def _fault(column: str, value: object, problem: str, remedy: str, code: Code = "conflict") -> Fault:
    return Fault("", None, column, str(value), problem, remedy, code)


def _of_circuit(what: Settings) -> list[Fault]:
    """Faults of the circuit: rectifier, filter, choke and valve that do not go together."""
    faults = []
    if (what.rectifier, what.filter) not in CIRCUITS:
        problem, remedy = not_together(what.filter, CIRCUITS)
        faults.append(_fault("rectifier", what.rectifier, problem, remedy))
    if what.filter == "choke" and what.choke_h is None:
        problem = "a choke-input filter needs its choke"
        faults.append(_fault("choke_h", "", problem, "give its inductance in H", "missing"))
    if what.filter != "choke" and what.choke_h is not None:
        problem = f"filter '{what.filter}' has no input choke"
        faults.append(_fault("choke_h", what.choke_h, problem, "leave the choke out, or give choke as the filter"))
    if what.filter == "none" and what.capacitor_volts is not None:
        problem = "filter 'none' has no capacitor"
        faults.append(_fault("capacitor_volts", what.capacitor_volts, problem, "leave it out, or give the filter"))
    if what.valve:
        faults += _of_valve(what.valve, bool(np.any(np.asarray(what.diode_drop_v) != 0)), what.diode_drop_v)
    return faults


def _of_valve(name: str, has_drop: bool, drop: object) -> list[Fault]:
    """Faults of a valve: not in the table, or its drop told twice or not at all."""
    try:
        valve = rectifier_valve(name)
    except InputError as error:
        return list(error.faults)
    if has_drop and valve.drop_told:
        problem = "a valve and a constant drop are given together"
        return [_fault("diode_drop_v", drop, problem, "leave one of them out")]
    if not has_drop and not valve.drop_told:
        problem = f"the table does not tell what {valve.name} drops"
        return [_fault("diode_drop_v", "", problem, "give the drop of its data sheet at this current, in V", "missing")]
    return []


def _of_values(what: Settings) -> list[Fault]:
    """Faults of the numbers: beyond their limits, or not numbers."""
    faults = []
    for field in fields(what):
        value = getattr(what, field.name)
        unused = field.name == "capacitance_uf" and what.filter == "none"
        if field.name not in LIMITS or value is None or unused:
            continue
        least, greatest, unit, closed = LIMITS[field.name]
        numbers = np.atleast_1d(np.asarray(value, float))
        good = (numbers <= greatest) & ((numbers >= least) if closed else (numbers > least))
        if not np.all(good):
            problem = f"is not {'from' if closed else 'above'} {least:g} to {greatest:g} {unit}"
            faults.append(_fault(field.name, f"{numbers[~good].flat[0]:g}", problem, f"give it in {unit}", "limits"))
    if not faults and np.any(np.asarray(what.primary_ohm) > np.asarray(what.source_ohm)):
        problem = "is more than source_ohm, of which it is a part"
        faults.append(_fault("primary_ohm", what.primary_ohm, problem, "give all resistance in source_ohm"))
    return faults
