"""A winding's plan beside what it is compared with: the old winding as it was found, the new one as it reads.

Turns are counted, or follow from the voltage of one loose turn through the window. Sources: transformer equation; what
is judgement says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.bench.ratio_test import no_load_voltage
from calib.bench.resistance import REFERENCE_C, RESISTIVITY_OHM_M, metal_faults, resistance_at
from calib.bench.wire import awg_diameter_mm, ohm_per_metre, wire_area_mm2
from calib.errors import Fault, InputError, above, positive
from calib.estimate.rewind import REWIND
from calib.paths import data
from calib.register.fields import faults_of

if TYPE_CHECKING:
    from calib.estimate.rewind import RewindPlan
    from calib.register.records import UnknownUnit

__all__ = ["AsItWas", "AsWound", "NewWinding", "OLD", "OldWinding", "READ", "as_it_was", "as_wound"]
__all__ += ["asked_by", "turns_by_loose_turn"]

OLD = ("was_winding_v", "was_turn_v", "was_turns", "was_wire_mm")
READ = ("read_v", "read_ohm", "read_temp_c")  # of the new one
CORE = ("tongue_mm", "stack_mm", "window_width_mm", "window_height_mm")
SAME = (*CORE, "line_voltage_v", "line_frequency_hz", "rectifier", "filter")  # of a unit and of its rewind
APART = 0.03  # of the turns: counting and the loose turn may differ by so much (judgement)
MAKING_SHARE, READING_SHARE = 0.03, 0.015  # sd of V/R: length and pull of the wire; two ordinary meters (judgement)
READ_90 = 1.645


@dataclass(frozen=True)
class OldWinding:
    """What was found of the old high-voltage winding, checked; None where not found.

    Attributes
    ----------
    was_turns : float or None
        Of the whole winding as counted, 10 to 1e5.
    was_winding_v, was_turn_v : float or None
        Volts on it and of one loose turn through the window at the same moment; both or neither [V].
    was_wire_mm : float or None
        Bare diameter of its wire, 0.02 to 3 [mm].
    was_conductor : str
        copper or aluminium.
    """

    was_turns: float | None = None
    was_winding_v: float | None = None
    was_turn_v: float | None = None
    was_wire_mm: float | None = None
    was_conductor: str = "copper"

    def __post_init__(self) -> None:
        faults = faults_of({name: REWIND[name] for name in OLD}, vars(self))
        volts = {"was_winding_v": self.was_winding_v, "was_turn_v": self.was_turn_v}
        missing = [name for name, value in volts.items() if value is None]
        if len(missing) == 1:
            problem, remedy = "the loose turn and the winding are read together", "give both volts, or neither"
            faults.append(Fault("", None, missing[0], "", problem, remedy, "missing"))
        if self.was_winding_v is not None and self.was_turn_v is not None and self.was_turn_v >= self.was_winding_v:
            problem = f"is not less than the winding's {self.was_winding_v:g} V"
            remedy = "look whether the two were exchanged, and at millivolts"
            faults.append(Fault("", None, "was_turn_v", f"{self.was_turn_v:g}", problem, remedy, "conflict"))
        faults += metal_faults("was_conductor", self.was_conductor)
        if faults:
            raise InputError(faults)

    @property
    def by_turn(self) -> float | None:
        """Turns by the loose turn; None where it was not read."""
        if self.was_winding_v is None or self.was_turn_v is None:
            return None
        return turns_by_loose_turn(self.was_winding_v, self.was_turn_v)

    @property
    def turns(self) -> float | None:
        """Turns as counted, else by the loose turn; None where neither is told."""
        return self.by_turn if self.was_turns is None else self.was_turns


@dataclass(frozen=True)
class AsItWas:
    """The old high-voltage winding in the figures of the plan, each None where not found; ``str()`` sets them beside.

    Attributes
    ----------
    turns : float or None
        Of the whole winding.
    bare_mm : float or None
        Of its wire [mm].
    ohm_20c : float or None
        Of so many turns of that wire at the plan's mean turn [ohm].
    v_over_r : float or None
        By the plan's volts over that [V/ohm].
    density_a_mm2 : float or None
        At the plan's current [A/mm²].
    flux_t : float or None
        At which so many turns gave the plan's volts [T].
    plan : RewindPlan
        What it stands beside.
    doubts : tuple of str
        In words.
    """

    turns: float | None
    bare_mm: float | None
    ohm_20c: float | None
    v_over_r: float | None
    density_a_mm2: float | None
    flux_t: float | None
    plan: RewindPlan
    doubts: tuple[str, ...] = ()

    @property
    def planned(self) -> dict[str, float]:
        """The same figures of the plan's high-voltage winding."""
        hv = self.plan.windings[1]
        density = hv.amperes / float(wire_area_mm2(hv.bare_mm))
        figures = {"turns": hv.turns, "bare_mm": hv.bare_mm, "ohm_20c": hv.ohm_20c, "v_over_r": self.plan.v_over_r}
        return figures | {"density_a_mm2": density, "flux_t": self.plan.flux_t}

    def rows(self) -> list[tuple[str, float, float]]:
        """Name, as it was, as planned: of every figure that is known of the old winding."""
        names, mine = data("estimate/rewind.toml")["old"]["figure"], asdict_of(self)
        return [(names[name], mine[name], value) for name, value in self.planned.items() if mine[name] is not None]

    def as_dict(self) -> dict[str, Any]:
        """Plain values; None where not found."""
        return asdict_of(self) | {"doubts": list(self.doubts)}

    @property
    def note(self) -> str:
        """What the figures of the old winding rest on."""
        return str(data("estimate/rewind.toml")["old"]["note"].format(volts=self.plan.target.volts))

    def __str__(self) -> str:
        said = data("estimate/rewind.toml")["old"]
        lines = [*(f"  Doubt: {one}" for one in self.doubts), said["head"]]
        lines += [said["row"].format(name=name, was=was, planned=value) for name, was, value in self.rows()]
        return "\n".join([*lines, f"  {self.note}"])


def asdict_of(found: AsItWas) -> dict[str, Any]:
    """The figures alone, without the plan."""
    return {name: getattr(found, name) for name in found.planned}


def as_it_was(plan: RewindPlan, old: OldWinding) -> AsItWas | None:
    """The old winding in the figures of a plan; None where nothing of it was found.

    Notes
    -----
    R = N l_m rho / A with the plan's mean turn; flux B N = B_planned N_planned at the same volts.
    """
    turns, wire = old.turns, old.was_wire_mm
    if turns is None and wire is None:
        return None
    hv = plan.windings[1]
    ohm = None
    if turns is not None and wire is not None:
        metre = float(ohm_per_metre(wire, RESISTIVITY_OHM_M[old.was_conductor]))
        ohm = turns * hv.mean_turn_mm * 1e-3 * metre
    doubts = []
    if old.was_turns is not None and old.by_turn is not None and abs(math.log(old.by_turn / old.was_turns)) > APART:
        said = data("estimate/rewind.toml")["old"]["apart"]
        doubts.append(said.format(counted=old.was_turns, by_turn=old.by_turn))
    return AsItWas(
        turns,
        wire,
        ohm,
        None if ohm is None else hv.volts / ohm,
        None if wire is None else hv.amperes / float(wire_area_mm2(wire)),
        None if turns is None else plan.flux_t * hv.turns / turns,
        plan,
        tuple(doubts),
    )


def asked_by(unit: UnknownUnit) -> dict[str, float | str]:
    """What a unit's readings tell of its own rewind: fields of `RewindTarget` and `OldWinding`, those that are told.

    Notes
    -----
    Its volts at no load are to be had again, by the ratio test where both stand; its set's demand is the current.
    """
    told: dict[str, Any] = {name: getattr(unit, name) for name in SAME}
    if unit.excitation_v is not None and unit.hv_v is not None:
        told["volts"] = float(no_load_voltage(unit.excitation_v, unit.hv_v, unit.line_voltage_v))
    else:
        told["volts"] = unit.no_load_v
    told["current_ma"] = unit.demand_ma
    wire = unit.wire_diameter_mm
    told["was_wire_mm"] = float(awg_diameter_mm(unit.awg)) if wire is None and unit.awg is not None else wire
    return {name: value for name, value in told.items() if value is not None and value != ""}


def turns_by_loose_turn(winding_v: float, turn_v: float) -> float:
    """Turns of a winding from its voltage and that of one loose turn through the window, both above 0 [V].

    Raises
    ------
    ValueError
        One is not above 0, or the loose turn has as much as the winding or more.

    Notes
    -----
    N = V / V_1: both enclose the same flux. Source: transformer equation.
    """
    positive("voltage of the loose turn", turn_v, "V")
    above("voltage of the winding", winding_v, turn_v, "V")
    return winding_v / turn_v


@dataclass(frozen=True)
class NewWinding:
    """What the new high-voltage winding reads as, checked.

    Attributes
    ----------
    read_v : float
        The whole winding at no load and line voltage, 1 to 1e4 [V].
    read_ohm, read_temp_c : float
        Its resistance, 0.001 to 1e6, and its temperature then, -40 to 200 [ohm], [°C].
    """

    read_v: float
    read_ohm: float
    read_temp_c: float

    def __post_init__(self) -> None:
        needed = {name: REWIND[name] for name in READ}
        faults = faults_of(needed, vars(self))
        for name in READ:
            if getattr(self, name, None) is None:
                problem, remedy = "the new winding is held against the plan by all three", needed[name].remedy
                faults.append(Fault("", None, name, "", problem, remedy, "missing"))
        if faults:
            raise InputError(faults)


@dataclass(frozen=True)
class AsWound:
    """The new high-voltage winding's readings against the plan; ``str()`` sets them beside.

    Attributes
    ----------
    read : dict of str to float
        volts, ohm_20c and v_over_r as read [V], [ohm], [V/ohm].
    planned : dict of str to float
        The same as planned.
    within : dict of str to float
        What readings and winding leave open of each at 90 %, over the plan's [-].
    doubts : tuple of str
        What is not as planned, in words, with what it may come from; empty where all of it is.
    """

    read: Mapping[str, float]
    planned: Mapping[str, float]
    within: Mapping[str, float]
    doubts: tuple[str, ...]

    @property
    def off(self) -> dict[str, float]:
        """Each reading over the plan's, less 1 [-]."""
        return {name: value / self.planned[name] - 1.0 for name, value in self.read.items()}

    @property
    def kept(self) -> str:
        """That V/R is as planned, in words; blank where something is not."""
        said = data("estimate/rewind.toml")["new"]["kept"]
        return "" if self.doubts else said.format(off=self.off["v_over_r"], within=self.within["v_over_r"])

    def rows(self) -> list[tuple[str, float, float, float, float]]:
        """Name, as planned, as read, how far off, and what is left open."""
        names, off = data("estimate/rewind.toml")["new"]["figure"], self.off
        return [
            (names[name], self.planned[name], self.read[name], off[name], self.within[name]) for name in self.planned
        ]

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        told = {f"{name}_off": value for name, value in self.off.items()}
        return {**self.read, **told, "within": dict(self.within), "doubts": list(self.doubts)}

    def __str__(self) -> str:
        said = data("estimate/rewind.toml")["new"]
        lines = [*(f"  Doubt: {one}" for one in self.doubts), said["head"]]
        lines += [
            said["row"].format(name=name, planned=planned, read=read, off=off, within=within)
            for name, planned, read, off, within in self.rows()
        ]
        return "\n".join([*lines, *([f"  {self.kept}"] if self.kept else [])])


def as_wound(plan: RewindPlan, new: NewWinding) -> AsWound:
    """The readings of the new high-voltage winding against the plan.

    Notes
    -----
    Volts are as the turns; ohms as length and section of the wire, so that those which are not as planned tell the
    wire's diameter by the square root. What is left open is judgement: two ordinary meters, and the wire's pull.
    """
    hv = plan.windings[1]
    cold = float(resistance_at(new.read_ohm, new.read_temp_c, REFERENCE_C, plan.target.zero_c))
    read = {"volts": new.read_v, "ohm_20c": cold, "v_over_r": new.read_v / cold}
    planned = {"volts": hv.volts, "ohm_20c": hv.ohm_20c, "v_over_r": plan.v_over_r}
    spread = {"volts": READING_SHARE, "ohm_20c": math.hypot(MAKING_SHARE, READING_SHARE)}
    within = {name: READ_90 * one for name, one in (spread | {"v_over_r": spread["ohm_20c"]}).items()}
    said, doubts = data("estimate/rewind.toml")["new"], []
    off = {name: value / planned[name] - 1.0 for name, value in read.items()}
    apart = [name for name, value in off.items() if abs(value) > within[name]]
    halves = [name for name in ("volts", "ohm_20c") if abs(2.0 * read[name] / planned[name] - 1.0) <= within[name]]
    for name in halves:
        doubts.append(said["half"].format(what=said["figure"][name], value=read[name]))
    if "volts" in apart and "volts" not in halves:
        doubts.append(said["volts"].format(off=off["volts"], turns=abs(off["volts"]) * hv.turns))
    if "ohm_20c" in apart and "ohm_20c" not in halves:
        wire = hv.bare_mm * math.sqrt(read["volts"] / planned["volts"] / (1.0 + off["ohm_20c"]))
        doubts.append(said["ohms"].format(off=off["ohm_20c"], wire=wire, planned=hv.bare_mm))
    if "v_over_r" in apart and not doubts:
        doubts.append(said["ratio"].format(off=off["v_over_r"], within=within["v_over_r"]))
    return AsWound(read, planned, within, tuple(doubts))
