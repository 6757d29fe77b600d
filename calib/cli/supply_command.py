"""``calib supply``: the steady state of a rectifier and its filter."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from calib.cli.options import number_of
from calib.cli.output import as_json, say
from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from calib.supply.duty import Duty

HERE = "calib supply"
CAUTION = "Before you fit or change anything: unplug, discharge every capacitor through a resistor, prove it dead."
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
    "capacitor_volts": ("V", False, "what each capacitor is rated for, held against what it sees with no load"),
    "primary_ohm": ("OHM", False, "the part of the source that is the reflected primary; it matters to half-wave only"),
}


def declare(part: argparse.ArgumentParser) -> None:
    """The options of ``calib supply``."""
    part.add_argument("--rectifier", metavar="full-wave|bridge|half-wave|doubler", required=True, help="the circuit")
    part.add_argument("--filter", metavar="capacitor|choke|none", required=True, help="the filter's input element")
    for name, (unit, needed, says) in NUMBERS.items():
        option = "--" + name.replace("_", "-")
        part.add_argument(option, dest=name, metavar=unit, required=needed, help=says)
    part.add_argument(
        "--valve",
        metavar="TYPE",
        help="type number of a thermionic rectifier, instead of a drop; its limits are judged",
    )
    part.add_argument("--format", choices=("text", "json"), default="text", help="text where not given")


def run(asked: argparse.Namespace) -> None:
    """Solve the supply and print its state and what it asks of its parts."""
    duty = duty_of(asked)
    say(as_json(duty.as_dict()) if asked.format == "json" else report(duty))


def duty_of(asked: argparse.Namespace) -> Duty:
    """The steady state of the supply asked for, and what it asks of its parts.

    Raises
    ------
    InputError
        With every fault: what is no number, what is beyond its limits, what does not go together.
    """
    from calib.supply.duty import rectifier_duty
    from calib.supply.parameters import Settings
    from calib.supply.steady_state import state_of

    typed = {name: getattr(asked, name) for name in NUMBERS if getattr(asked, name) is not None}
    numbers: dict[str, Any] = {}
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
        what = Settings(asked.rectifier, asked.filter, valve=asked.valve, **numbers)
        duty = rectifier_duty(what, state_of(what))
    except InputError as error:
        as_typed = typed | {"rectifier": asked.rectifier, "filter": asked.filter, "valve": asked.valve or ""}
        found = [fault for fault in error.faults if fault.column not in unread]
        faults += [replace(fault, where=HERE, value=as_typed.get(fault.column, "")) for fault in found]
    if faults:
        raise InputError(faults)
    return duty


def report(duty: Duty) -> str:
    """The state as text, what is beyond its limit first, then a line for each quantity, then the other limits."""
    from calib.words import FILTERS, RECTIFIERS, figure

    state = duty.state
    lines = [
        ("direct voltage", state.dc_v, "V"),
        ("ripple, peak to peak", state.ripple_v_pp, "V"),
        ("winding, one side", state.winding_rms_ma, "mA rms"),
        ("the same per mA of load", state.winding_rms_per_dc, ""),
        ("peak of one rectifier", state.peak_ma, "mA"),
        ("one rectifier conducts for", state.conduction_deg, "degrees of a line cycle"),
        ("peak inverse of one", duty.peak_inverse_v, "V with no load"),
        ("a capacitor with no load", duty.capacitor_v, "V (√2 x the winding's), whatever the load draws later"),
        ("load resistance", state.load_ohm, "ohm"),
        ("choke for unbroken current", state.critical_h, "H"),
        ("load for unbroken current", duty.critical_ma, "mA or more"),
        ("bleeder for that, at most", duty.bleeder_ohm, "ohm if nothing were dropped on the way"),
        ("the same, drops counted", duty.bleeder_less_drops_ohm, "ohm: fit the next standard value below"),
    ]
    shown = [(name, figure(value, 4), unit) for name, value, unit in lines if value == value]
    head = f"{RECTIFIERS[state.rectifier]}; {FILTERS[state.filter]}; {figure(state.load_ma, 4)} mA direct"
    figures = [f"  {name:27}{value:>9} {unit}".rstrip() for name, value, unit in shown]
    beyond, rest = duty.words()
    return "\n".join([head, CAUTION, *beyond, *figures, *_fuse(duty), *rest])


def _fuse(duty: Duty) -> list[str]:
    """The fuse on the winding's side."""
    from calib.words import figure

    if duty.hv_fuse_ma != duty.hv_fuse_ma:
        return []
    where = "centre tap's lead" if duty.state.rectifier == "full-wave" else "winding's lead"
    basis = "mA time-lag, made for these volts: 1.5 to 2 times the rms current there (judgement)"
    return [f"  {'fuse in the ' + where:27}{figure(duty.hv_fuse_ma, 3):>9} {basis}"]
