"""A winding's plan beside what it is compared with: the old winding as it was found, the new one as it reads.

Turns are counted, or follow from the voltage of one loose turn through the window. Sources: transformer equation; what
is judgement says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.bench.resistance import CONDUCTORS, INFERRED_ZERO_C, REFERENCE_C, RESISTIVITY_OHM_M, resistance_at
from calib.bench.wire import ohm_per_metre, wire_area_mm2
from calib.errors import Fault, InputError, above, positive
from calib.estimate.rewind import REWIND
from calib.paths import data
from calib.register.fields import faults_of

if TYPE_CHECKING:
    from calib.estimate.rewind import RewindPlan

__all__ = ["AsItWas", "OLD", "OldWinding", "as_it_was", "as_planned", "turns_by_loose_turn"]

OLD = ("was_winding_v", "was_turn_v", "was_turns", "was_wire_mm")
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
        if self.was_conductor not in CONDUCTORS:
            problem, remedy = "is no metal that windings are of", f"give {' or '.join(CONDUCTORS)}"
            faults.append(Fault("", None, "was_conductor", self.was_conductor, problem, remedy, "choice"))
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


def as_planned(plan: RewindPlan, volts: float, ohm: float, temp_c: float) -> tuple[float, float]:
    """V/R read on the new winding over the plan's, and what around 1 readings and winding leave open at 90 % [-].

    Parameters
    ----------
    plan : RewindPlan
        What was planned.
    volts, ohm, temp_c : float
        Of the whole high-voltage winding at no load, its resistance, above 0, and its temperature [V, ohm, °C].

    Raises
    ------
    ValueError
        A voltage or resistance not above 0, or a temperature beyond the metal's.
    """
    positive("voltage", volts, "V")
    positive("resistance", ohm, "ohm")
    cold = float(resistance_at(ohm, temp_c, REFERENCE_C, INFERRED_ZERO_C[plan.target.conductor]))
    return volts / cold / plan.v_over_r, READ_90 * math.hypot(MAKING_SHARE, READING_SHARE)
