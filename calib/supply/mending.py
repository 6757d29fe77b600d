"""What would make a supply fit its rectifier, each change solved anew and judged by the same limits.

Source: O. H. Schade, "Analysis of Rectifier Operation", Proc. IRE 1943 (series resistance, capacitor); R. Lee,
"Electronic Transformers and Circuits" (choke input).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from calib.paths import data
from calib.supply.budget import E12
from calib.supply.duty import NAMES, Duty, rectifier_duty
from calib.supply.parameters import Settings
from calib.supply.steady_state import SupplyState, states_of

__all__ = ["Mending", "mendings"]

SERIES_OHM = tuple(float(one * power) for power in (1, 10) for one in E12) + (1000.0, 1200.0, 1500.0)
CAPACITORS_UF = (100.0, 80.0, 64.0, 50.0, 47.0, 40.0, 32.0, 22.0, 20.0, 16.0, 12.0, 10.0, 8.0, 6.0, 4.0)
CHOKES_H = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0, 40.0, 60.0)
CHOKE_OHM_PER_H = 15.0  # of ordinary filter chokes (judgement)
OVER_CRITICAL = 1.5  # of the inductance, since a choke loses some with its direct current (judgement)
BLEEDERS_OHM = tuple(float(one * power) for power in (10, 100, 1000, 10_000) for one in E12)
LIGHTER = (0.75, 0.5, 0.25, 0.0)  # of what a bleeder draws
MOST_RIPPLE = 0.2  # peak to peak over the direct voltage, that a set still filters (judgement)
DIODE_DROP_V, INVERSE_SPARE = 1.0, 1.5  # of silicon; its peak inverse rating over what it sees (judgement)
# The limits that a change of a kind can mend.
MENDS = {
    "series-resistor": {"source-resistance", "peak-current"},
    "smaller-capacitor": {"first-capacitor", "peak-current"},
    "choke-input": {"first-capacitor", "peak-current", "source-resistance", "direct-current", "ac-volts"},
    "lighter-bleeder": {"direct-current", "peak-current"},
    "less-current": {"direct-current", "peak-current"},
    "bleeder": {"critical-current"},
    "larger-capacitor": {"choke-resonance"},
    "solid-state": {
        "first-capacitor",
        "peak-current",
        "source-resistance",
        "direct-current",
        "ac-volts",
        "peak-inverse",
    },
}


@dataclass(frozen=True)
class Mending:
    """One change; ``str()`` says it with its figures.

    Attributes
    ----------
    how : str
        A key of MENDS.
    mends : tuple of str
        The limits that were broken and then are not.
    leaves : tuple of str
        The limits that stay broken, which another change must mend.
    figures : dict
        ohm, watts, uf, henry, dc_v and such, in the unit of their names.
    """

    how: str
    mends: tuple[str, ...]
    leaves: tuple[str, ...]
    figures: dict[str, float]

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        told = {name: value if math.isfinite(value) else None for name, value in self.figures.items()}
        return {"how": self.how, "mends": list(self.mends), "leaves": list(self.leaves), **told}

    def __str__(self) -> str:
        says = data("supply/mending.toml")
        left = says["leaves"].format(limits=", ".join(NAMES[one] for one in self.leaves)) if self.leaves else ""
        how = "no-bleeder" if self.figures.get("bled_ma") == 0.0 else self.how
        return str(says[how]).format(**self.figures) + left


def mendings(what: Settings, duty: Duty, bled_ma: float = 0.0) -> tuple[Mending, ...]:
    """What would make the supply fit.

    Parameters
    ----------
    what : Settings
        The supply, of one case.
    duty : Duty
        What it asks of its parts, as ``rectifier_duty`` gives it.
    bled_ma : float
        What bleeders draw of the load: a lighter one draws less [mA].

    Returns
    -------
    tuple of Mending
        The least change of each kind that mends all that its kind can, else the least that mends some of it; none where
        no limit is broken.
    """
    broken = {one.limit for one in duty.broken}
    found = []
    for how, able in MENDS.items():
        wanted = broken & able
        if not wanted:
            continue
        partly: Mending | None = None
        for changed, figures in _changes(how, what, duty, bled_ma):
            left = {one.limit for one in changed.broken}
            made = Mending(how, tuple(sorted(broken - left)), tuple(sorted(left)), figures)
            if not left & wanted:
                partly = made
                break
            if partly is None and wanted - left:
                partly = made
        found += [partly] if partly is not None else []
    return tuple(found)


def _changes(how: str, what: Settings, duty: Duty, bled_ma: float) -> Iterator[tuple[Duty, dict[str, float]]]:
    """The changes of a kind, the least first, each with what it makes and its figures."""
    ohm = float(what.source_ohm)
    if how == "series-resistor" and what.filter == "capacitor":
        cases = [replace(what, source_ohm=ohm + one) for one in SERIES_OHM]
        for one, (state, new) in zip(SERIES_OHM, _duties(cases, "source_ohm"), strict=True):
            if state is not None and new is not None:
                watts = (state.winding_rms_ma / 1000.0) ** 2 * one
                yield new, {"ohm": one, "watts": watts, "dc_v": state.dc_v}
    elif how == "smaller-capacitor" and what.filter == "capacitor":
        sizes = [one for one in CAPACITORS_UF if one < float(what.capacitance_uf)]
        cases = [replace(what, capacitance_uf=one) for one in sizes]
        for one, (state, new) in zip(sizes, _duties(cases, "capacitance_uf"), strict=True):
            if state is not None and new is not None and state.ripple_v_pp <= MOST_RIPPLE * state.dc_v:
                yield new, {"uf": one, "dc_v": state.dc_v, "ripple_v_pp": state.ripple_v_pp}
    elif how == "choke-input" and what.filter == "capacitor" and what.rectifier in ("full-wave", "bridge"):
        yield from _through_choke(what)
    elif how == "less-current" and duty.valve is not None:
        yield from _with_less(what, duty)
    elif how == "lighter-bleeder" and bled_ma > 0.0:
        yield from _lighter(what, duty, bled_ma)
    elif how == "bleeder":
        yield from _bled(what, duty)
    elif how == "larger-capacitor":
        for one in reversed([one for one in CAPACITORS_UF if one > float(what.capacitance_uf)]):
            (state, new), *_ = _duties([replace(what, capacitance_uf=one)], "source_ohm")
            if state is not None and new is not None:
                yield new, {"uf": one, "dc_v": state.dc_v, "ripple_v_pp": state.ripple_v_pp}
    elif how == "solid-state" and duty.valve is not None:
        yield from _with_diodes(what, duty)


def _duties(cases: Sequence[Settings], column: str) -> list[tuple[SupplyState | None, Duty | None]]:
    """State and duty of cases that differ in one column, solved together; None where there is no state."""
    if not cases:
        return []
    values: dict[str, Any] = {column: np.array([float(getattr(one, column)) for one in cases])}
    every = replace(cases[0], **values)
    found = states_of(every)
    return [(state, rectifier_duty(one, state) if state else None) for one, state in zip(cases, found, strict=True)]


def _through_choke(what: Settings) -> Iterator[tuple[Duty, dict[str, float]]]:
    """With the least choke that is 1.5 times the critical one or more."""
    for henry in CHOKES_H:
        choke_ohm = CHOKE_OHM_PER_H * henry
        case = replace(what, filter="choke", choke_h=henry, choke_ohm=choke_ohm)
        (state, new), *_ = _duties([case], "source_ohm")
        if state is None or new is None or henry < OVER_CRITICAL * state.critical_h:
            continue
        figures = {"henry": henry, "choke_ohm": choke_ohm, "dc_v": state.dc_v, "peak_ma": state.peak_ma}
        yield new, figures | {"critical_ma": new.critical_ma}


def _with_less(what: Settings, duty: Duty) -> Iterator[tuple[Duty, dict[str, float]]]:
    """With less current, down to a half."""
    load = duty.state.load_ma
    loads = [load * share for share in np.linspace(0.98, 0.5, 25)]
    cases = [replace(what, load_ma=one) for one in loads]
    for one, (state, new) in zip(loads, _duties(cases, "load_ma"), strict=True):
        if state is not None and new is not None:
            yield new, {"load_ma": one, "less_ma": load - one, "dc_v": state.dc_v}


def _lighter(what: Settings, duty: Duty, bled_ma: float) -> Iterator[tuple[Duty, dict[str, float]]]:
    """With bleeders that draw less, down to none, and the resistance that all of them together then have."""
    others = max(duty.state.load_ma - bled_ma, 0.0)
    left = [bled_ma * share for share in LIGHTER]
    cases = [replace(what, load_ma=others + one) for one in left]
    for one, (state, new) in zip(left, _duties(cases, "load_ma"), strict=True):
        if state is not None and new is not None:
            ohm = 1e3 * state.dc_v / one if one else math.inf
            yield new, {"ohm": ohm, "bled_ma": one, "load_ma": others + one, "dc_v": state.dc_v}


def _bled(what: Settings, duty: Duty) -> Iterator[tuple[Duty, dict[str, float]]]:
    """With a bleeder beside the load, the largest of the series that keeps the choke's current from stopping."""
    load = duty.state.load_ma
    ((least, _),) = _duties([replace(what, load_ma=duty.critical_ma)], "load_ma")
    if least is None:
        return
    most_ohm = 1e3 * least.dc_v / (duty.critical_ma - load)
    for ohm in [one for one in reversed(BLEEDERS_OHM) if one < 1.02 * most_ohm][:3]:
        dc_v = least.dc_v
        for _ in range(3):  # the voltage falls little with what a smaller one draws more
            ((_, new),) = _duties([replace(what, load_ma=load + 1e3 * dc_v / ohm)], "load_ma")
            dc_v = new.state.dc_v if new is not None else dc_v
        if new is not None:
            yield new, {"ohm": ohm, "bled_ma": new.state.load_ma - load, "watts": dc_v**2 / ohm, "dc_v": dc_v}


def _with_diodes(what: Settings, duty: Duty) -> Iterator[tuple[Duty, dict[str, float]]]:
    """With silicon, and the series resistors with which the direct voltage is the valve's or just above."""
    ohm, steps = float(what.source_ohm), (0.0, *SERIES_OHM)
    bare = replace(what, valve=None, diode_drop_v=DIODE_DROP_V)
    cases = [replace(bare, source_ohm=ohm + one) for one in steps]
    best: tuple[float, SupplyState, Duty] | None = None
    for one, (state, new) in zip(steps, _duties(cases, "source_ohm"), strict=True):
        if state is None or new is None or (best is not None and state.dc_v < duty.state.dc_v):
            break
        best = (one, state, new)
    if best is not None:
        one, state, new = best
        peak = math.sqrt(2.0) * float(what.volts)
        figures = {"ohm": one, "watts": (state.winding_rms_ma / 1000.0) ** 2 * one, "dc_v": state.dc_v}
        yield new, figures | {"inverse_v": INVERSE_SPARE * duty.peak_inverse_v, "capacitor_v": peak}
