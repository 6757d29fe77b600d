"""``calib supply`` and ``calib demand``: the steady state of a supply, and whether units feed a set."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

from calib.cli.fit_commands import known_units, with_notes, with_published
from calib.cli.terminal import (
    SIMULATED,
    all_of,
    as_json,
    decimal_of,
    level_of,
    note,
    number_of,
    plain,
    read_rows,
    say,
)
from calib.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from calib.estimate.heaters import HeaterReading
    from calib.estimate.set_supply import SetSupply
    from calib.supply.duty import Duty
    from calib.supply.loads import LineUp
    from calib.supply.mending import Mending
    from calib.supply.parameters import Settings

SUPPLY = "calib supply"
CAUTION = "Before you fit or change anything: unplug, discharge every capacitor through a resistor, prove it dead."


def run_supply(asked: argparse.Namespace) -> None:
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
            numbers[name] = number_of(name, text, SUPPLY)
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
        faults += [replace(fault, where=SUPPLY, value=as_typed.get(fault.column, "")) for fault in found]
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


DEMAND = "calib demand"
NUMBERS = ("capacitance_uf", "choke_h", "choke_ohm", "capacitor_volts", "diode_drop_v", "series_ohm")
MORE = ("line_now_v", "line_now_hz", "section_ohm", "section_uf", "section_h")


def run_demand(asked: argparse.Namespace) -> None:
    """Hold the set's demand against every unit of the table and print what comes of it."""
    from calib.register.tables import read_unknown

    level, known, unknown, line_up, supply, windings = all_of(
        lambda: level_of(asked.level),
        lambda: known_units(asked),
        lambda: with_notes(read_unknown(asked.unknown, decimal=decimal_of(asked))),
        lambda: line_up_of(asked.loads),
        lambda: supply_of(asked),
        lambda: windings_of(asked.heater_windings),
    )
    from calib.estimate.demand import demand_of
    from calib.estimate.set_supply import SUPPLY
    from calib.fitting.result import fit
    from calib.register.fields import unlikely_of

    model = fit(known, published=with_published(asked, known))
    try:
        found = demand_of(model, unknown, line_up, supply, level, windings)
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None
    if model.simulated:
        note(SIMULATED)
    for said in unlikely_of(SUPPLY, vars(supply)):
        note(said)
    if asked.format == "json":
        say(as_json([{name: plain(value) for name, value in one.as_dict().items()} for one in found]))
    else:
        say("\n\n".join(map(str, found)))


def line_up_of(path: str) -> LineUp:
    """The loads of a file; InputError with every fault of it."""
    from calib.supply.loads import COLUMNS, NEEDED, load_rows

    return read_rows(path, COLUMNS, NEEDED, load_rows)


def windings_of(path: str | None) -> dict[str, tuple[HeaterReading, ...]]:
    """The heater windings of a file by their unit's tag, none where no file is named; InputError with every fault."""
    from calib.estimate.heater_side import WINDING_COLUMNS, winding_rows

    return {} if path is None else read_rows(path, WINDING_COLUMNS, ("no_load_v",), winding_rows)


def supply_of(asked: argparse.Namespace) -> SetSupply:
    """The set's supply as typed; InputError with every fault."""
    from calib.estimate.set_supply import SUPPLY, SetSupply
    from calib.register.fields import faults_of

    numbers: dict[str, float] = {}
    faults: list[Fault] = []
    for name in (*NUMBERS, *MORE):
        typed = getattr(asked, name)
        try:
            numbers |= {} if typed is None else {name: number_of(name, typed, DEMAND)}
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults + [_placed(fault, asked) for fault in faults_of(SUPPLY, numbers)])
    try:
        return SetSupply(valve=asked.valve, **numbers)
    except InputError as error:
        raise InputError([_placed(fault, asked) for fault in error.faults]) from None


def _placed(fault: Fault, asked: argparse.Namespace) -> Fault:
    """A fault of this command, its value as it was typed."""
    return replace(fault, where=DEMAND, value=getattr(asked, fault.column, None) or fault.value)
