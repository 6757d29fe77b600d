"""``calib supply``: the steady state of a rectifier and its filter."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from calib.errors import Fault, InputError
from calib.show.options import number_of
from calib.show.printing import as_json, say

if TYPE_CHECKING:
    from calib.supply.rectifier import SupplyState

HERE = "calib supply"
# option: (unit, whether it must be given, what it is)
NUMBERS = {
    "volts": ("V", True, "rms of one conducting side of the winding at no load"),
    "source_ohm": ("OHM", True, "all resistance in series with that side"),
    "capacitance_uf": ("UF", False, "filter capacitor, each one's of a doubler; needed but where the filter is none"),
    "load_ma": ("MA", True, "direct current that the load, a resistor, draws"),
    "frequency_hz": ("HZ", True, "line frequency"),
    "choke_h": ("H", False, "inductance of the input choke"),
    "choke_ohm": ("OHM", False, "resistance of the input choke"),
    "diode_drop_v": ("V", False, "constant drop of one rectifier; ideal where neither this nor a valve is given"),
    "primary_ohm": ("OHM", False, "the part of the source that is the reflected primary; it matters to half-wave only"),
}


def declare(part: argparse.ArgumentParser) -> None:
    """The options of ``calib supply``."""
    part.add_argument("--rectifier", metavar="full-wave|bridge|half-wave|doubler", required=True, help="the circuit")
    part.add_argument("--filter", metavar="capacitor|choke|none", required=True, help="the filter's input element")
    for name, (unit, needed, says) in NUMBERS.items():
        option = "--" + name.replace("_", "-")
        part.add_argument(option, dest=name, metavar=unit, required=needed, help=says)
    part.add_argument("--valve", metavar="TYPE", help="type number of a thermionic rectifier, instead of a drop")
    part.add_argument("--format", choices=("text", "json"), default="text", help="text where not given")


def run(asked: argparse.Namespace) -> None:
    """Solve the supply and print its state."""
    state = state_of(asked)
    say(as_json(state.as_dict()) if asked.format == "json" else report(state))


def state_of(asked: argparse.Namespace) -> SupplyState:
    """The steady state of the supply asked for.

    Raises
    ------
    InputError
        With every fault: what is no number, what is beyond its limits, what does not go together.
    """
    from calib.supply.rectifier import steady_state

    typed = {name: getattr(asked, name) for name in NUMBERS if getattr(asked, name) is not None}
    numbers: dict[str, float] = {}
    faults: list[Fault] = []
    for name, text in typed.items():
        try:
            numbers[name] = number_of(name, text, HERE)
        except InputError as error:
            faults += error.faults
            numbers[name] = float("nan")
    unread = {fault.column for fault in faults}
    numbers.setdefault("capacitance_uf", float("nan"))
    try:
        state = steady_state(asked.rectifier, asked.filter, valve=asked.valve, **numbers)
    except InputError as error:
        as_typed = typed | {"rectifier": asked.rectifier, "filter": asked.filter, "valve": asked.valve or ""}
        found = [fault for fault in error.faults if fault.column not in unread]
        faults += [replace(fault, where=HERE, value=as_typed.get(fault.column, "")) for fault in found]
    if faults:
        raise InputError(faults)
    return state


def report(state: SupplyState) -> str:
    """The state as text, a line for each quantity."""
    from calib.show.words import FILTERS, RECTIFIERS, figure

    lines = [
        ("direct voltage", state.dc_v, "V"),
        ("ripple, peak to peak", state.ripple_v_pp, "V"),
        ("winding, one side", state.winding_rms_ma, "mA rms"),
        ("the same per mA of load", state.winding_rms_per_dc, ""),
        ("peak of one rectifier", state.peak_ma, "mA"),
        ("one rectifier conducts for", state.conduction_deg, "degrees of a line cycle"),
        ("load resistance", state.load_ohm, "ohm"),
        ("choke for unbroken current", state.critical_h, "H"),
    ]
    shown = [(name, figure(value, 4), unit) for name, value, unit in lines if value == value]
    head = f"{RECTIFIERS[state.rectifier]}; {FILTERS[state.filter]}; {figure(state.load_ma, 4)} mA direct"
    return "\n".join([head, *(f"  {name:27}{value:>9} {unit}".rstrip() for name, value, unit in shown)])
