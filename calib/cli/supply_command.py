"""``calib supply``: the steady state of a rectifier and its filter."""

from __future__ import annotations

import argparse
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

from calib.cli.options import number_of
from calib.cli.output import as_json, say
from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from calib.supply.duty import Duty
    from calib.supply.mending import Mending
    from calib.supply.parameters import Settings

HERE = "calib supply"
CAUTION = "Before you fit or change anything: unplug, discharge every capacitor through a resistor, prove it dead."


def run(asked: argparse.Namespace) -> None:
    """Solve the supply and print its state and what it asks of its parts."""
    from calib.supply.mending import mendings

    what, duty = solved(asked)
    mended = mendings(what, duty)
    if asked.format == "json":
        say(as_json(duty.as_dict() | {"mendings": [one.as_dict() for one in mended]}))
    else:
        say(report(duty, mended))


def solved(asked: argparse.Namespace) -> tuple[Settings, Duty]:
    """The supply asked for, and its steady state with what that asks of its parts.

    Raises
    ------
    InputError
        With every fault: what is no number, what is beyond its limits, what does not go together.
    """
    from calib.supply.duty import rectifier_duty
    from calib.supply.parameters import Settings
    from calib.supply.steady_state import state_of

    numeric = {one.name for one in fields(Settings)} - {"rectifier", "filter", "valve"}
    typed = {name: text for name, text in vars(asked).items() if name in numeric and text is not None}
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
    return what, duty


def report(duty: Duty, mended: Sequence[Mending]) -> str:
    """The state as text: what is beyond its limit and what would mend it, each quantity, then the other limits."""
    from calib.paths import data
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
    mends = [data("supply/mending.toml")["caution"], *(f"  {one}" for one in mended)] if mended else []
    return "\n".join([head, CAUTION, *beyond, *mends, *figures, *_fuse(duty), *rest])


def _fuse(duty: Duty) -> list[str]:
    """The fuse on the winding's side."""
    from calib.words import figure

    if duty.hv_fuse_ma != duty.hv_fuse_ma:
        return []
    where = "centre tap's lead" if duty.state.rectifier == "full-wave" else "winding's lead"
    basis = "mA time-lag, made for these volts: 1.5 to 2 times the rms current there (judgement)"
    return [f"  {'fuse in the ' + where:27}{figure(duty.hv_fuse_ma, 3):>9} {basis}"]
