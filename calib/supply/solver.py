"""From a supply's values to its steady state: units taken off, the right solution found, units put back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.errors import Fault, InputError
from calib.supply import capacitor_input, choke_input, doubler
from calib.supply.numerics import Array
from calib.supply.settings import Settings
from calib.supply.valve_input import valve_supply
from calib.supply.valve_wave import Wanted

NO_CAPACITOR = 1e-9  # omega C times peak over load current that stands for none


@dataclass(frozen=True)
class Scaled:
    """The cases in units of peak voltage and load current, as ``capacitor_input.load_ratio`` explains them."""

    period: float
    source: Array
    reactance: Array
    choke: Array
    drop: Array
    perveance: Array

    def rows(self, which: Array) -> Scaled:
        """Some of the cases."""
        parts = (self.source, self.reactance, self.choke, self.drop, self.perveance)
        return Scaled(self.period, *(part[which] for part in parts))


def solve(what: Settings) -> dict[str, Array]:
    """Steady state of every case of a circuit.

    Parameters
    ----------
    what : Settings
        The cases.

    Returns
    -------
    dict of arrays
        dc_v, ripple_v_pp, ripple_v_rms [V], winding_rms_ma (one side), peak_ma [mA], conduction_deg (one rectifier's
        in a line cycle) [degree], load_ohm [ohm], input_w (from the winding's no-load voltage) [W].

    Raises
    ------
    InputError
        Some case has no steady state: the load is more than the source can give, a drop is more than the peak, or
        choke and capacitor ring.
    """
    every = what.columns()
    peak = np.sqrt(2) * every["volts"]
    _refuse_blocked(what, every, peak)
    solved = _unloaded(what, peak, _drops(what, every) / peak)
    loaded = np.flatnonzero(every["load_ma"] > 0)
    if len(loaded):
        part = _loaded(what, {name: column[loaded] for name, column in every.items()})
        for name, column in part.items():
            solved[name][loaded] = column
    return solved


def _loaded(what: Settings, columns: dict[str, Array]) -> dict[str, Array]:
    """As ``solve``, for cases that all have a load."""
    peak, current = np.sqrt(2) * columns["volts"], columns["load_ma"] / 1000
    scaled = _scaled(what, columns, peak, current)
    ratio, result, found = _solved(what, scaled)
    if not np.all(found):
        raise InputError(_no_state(what, columns, scaled, ~found))
    side = np.sqrt(0.5) if what.rectifier == "full-wave" else 1.0
    return {
        "dc_v": ratio * peak,
        "ripple_v_pp": result["ripple_pp"] * peak,
        "ripple_v_rms": result["ripple_rms"] * peak,
        "winding_rms_ma": result["rms"] * current * 1000 * side,
        "peak_ma": result["peak"] * current * 1000,
        "conduction_deg": np.degrees(result["stop"] - result["start"]),
        "load_ohm": ratio * peak / current,
        "input_w": (result["power"] + scaled.drop * (2 if what.rectifier == "doubler" else 1)) * peak * current,
    }


def _drops(what: Settings, columns: dict[str, Array]) -> Array:
    """Constant drop of all rectifiers in series [V]."""
    valve = what.thermionic
    one = valve.drop_v if valve and valve.law == "constant" else columns["diode_drop_v"]
    return np.asarray(one * (2 if what.rectifier == "bridge" else 1) + 0 * columns["volts"])


def _scaled(what: Settings, columns: dict[str, Array], peak: Array, current: Array) -> Scaled:
    unit = peak / current
    omega = 2 * np.pi * columns["frequency_hz"]
    drop = _drops(what, columns) / peak
    if what.rectifier == "half-wave":
        # the primary carries no direct current: its drop is primary_ohm (i - load current)
        drop = drop - columns["primary_ohm"] / unit
    reactance = omega * columns["capacitance_uf"] * 1e-6 * unit
    valve = what.thermionic
    plate = valve.perveance if valve else np.inf
    series = 2**1.5 if what.rectifier == "bridge" else 1.0
    return Scaled(
        np.pi if what.rectifier in ("full-wave", "bridge") else 2 * np.pi,
        (columns["source_ohm"] + columns["choke_ohm"]) / unit,
        np.full_like(unit, NO_CAPACITOR) if what.filter == "none" else reactance,
        omega * columns["choke_h"] / unit,
        drop,
        plate / series * peak**1.5 / current,
    )


def _solved(what: Settings, scaled: Scaled) -> tuple[Array, dict[str, Array], Array]:
    """Load resistance, averages (voltages over peak, currents over load current) and where they were found."""
    able = (np.abs(scaled.drop) < 1) & (capacitor_input.mean_emf(scaled.period, scaled.drop) > scaled.source)
    able |= np.isfinite(scaled.perveance) & (scaled.source == 0)
    rows = np.flatnonzero(able)
    size = len(able)
    if not len(rows):
        return np.ones(size), dict.fromkeys(_NAMES, np.zeros(size)), able
    some = scaled.rows(rows)
    if np.isfinite(scaled.perveance).all():
        kind = {"doubler": "doubler", "choke": "stopping"}.get(
            what.rectifier if what.rectifier == "doubler" else what.filter, "capacitor"
        )
        wanted = Wanted(some.source, some.reactance, some.choke, some.drop, some.perveance, some.period, kind)
        ratio, result, found = valve_supply(wanted)
    else:
        ratio, result, found = _diodes(what, some)
    whole = {name: np.zeros(size) for name in _NAMES}
    for name in _NAMES:
        whole[name][rows] = result[name]
    all_ratio, all_found = np.ones(size), np.zeros(size, bool)
    all_ratio[rows], all_found[rows] = ratio, found
    return all_ratio, whole, all_found


_NAMES = ("dc", "ripple_pp", "ripple_rms", "rms", "peak", "power", "start", "stop")


def _diodes(what: Settings, some: Scaled) -> tuple[Array, dict[str, Array], Array]:
    """The piecewise exact solutions, currents brought to units of the load current."""
    found = np.ones(len(some.source), bool)
    one: capacitor_input.Pulse | choke_input.ChokePulse | doubler.DoublerPulse
    if what.rectifier == "doubler":
        ratio, one, found = doubler.doubler_pulse(some.source, some.reactance, some.drop)
        result = doubler.measures(one)
    elif what.filter == "choke":
        ratio, one, found = choke_input.choke_pulse(some.period, some.source, some.reactance, some.choke, some.drop)
        result = choke_input.measures(one)
        found = found & choke_input.blocks_once(one) & (np.abs(result["mean"] / result["dc"] - 1) < 1e-3)
    else:
        ratio = capacitor_input.load_ratio(some.period, some.source, some.reactance, some.drop)
        one = capacitor_input.pulse(some.period, some.source / ratio, some.reactance * ratio, some.drop)
        result = capacitor_input.measures(one)
    # what charges the capacitors is what the load draws, or the root was not found
    found = found & np.isfinite(ratio) & (np.abs(result["mean"] / result["dc"] - 1) < 1e-3)
    # the solvers stop at a greatest w; what is left of the ripple falls as 1/w
    beyond = np.maximum(some.reactance * ratio / one.w, 1.0)
    for name in ("ripple_pp", "ripple_rms"):
        result[name] = result[name] / beyond
    for name in ("rms", "peak", "power"):
        result[name] = result[name] / ratio
    return ratio, {**result, "start": one.start, "stop": one.stop}, found


def _unloaded(what: Settings, peak: Array, drop: Array) -> dict[str, Array]:
    """Steady state of a winding that gives no current."""
    level = (1 - drop) * (2 if what.rectifier == "doubler" else 1)
    names = ("ripple_v_pp", "ripple_v_rms", "winding_rms_ma", "peak_ma", "conduction_deg", "input_w")
    idle = {"dc_v": level * peak} | {name: np.zeros_like(peak) for name in names}
    idle["load_ohm"] = np.full_like(peak, np.inf)
    if what.filter == "none":
        period = np.pi if what.rectifier != "half-wave" else 2 * np.pi
        mean = capacitor_input.mean_emf(period, drop)
        edge = np.arcsin(drop)
        width = np.pi - 2 * edge
        square = (width / 2 + np.sin(2 * edge) / 2 - 4 * drop * np.cos(edge) + drop**2 * width) / period
        rms = np.sqrt(square - mean**2)
        idle |= {"dc_v": mean * peak, "ripple_v_pp": (1 - drop) * peak, "ripple_v_rms": rms * peak}
    return idle


def _refuse_blocked(what: Settings, columns: dict[str, Array], peak: Array) -> None:
    """Refuse a constant drop that the winding's peak does not reach."""
    drops = _drops(what, columns)
    blocked = drops >= peak
    if np.any(blocked):
        at = np.flatnonzero(blocked)[0]
        column, value = ("valve", what.valve) if what.valve else ("diode_drop_v", f"{columns['diode_drop_v'][at]:g}")
        problem = f"the drop of {drops[at]:g} V is not below the winding's peak of {peak[at]:g} V"
        raise InputError.one(problem, "give a smaller drop or more volts", column=column, value=value)


def _no_state(what: Settings, columns: dict[str, Array], scaled: Scaled, missing: Array) -> list[Fault]:
    """One fault that says why the first case without a steady state has none."""
    at = np.flatnonzero(missing)[:1]
    load = f"{columns['load_ma'][at[0]]:g}"
    one = scaled.rows(at)
    emf = capacitor_input.mean_emf(one.period, one.drop)[0]
    if what.filter == "choke" and one.source[0] < 0.9 * emf and scaled.period < 4:
        problem = "choke and capacitor ring: the rectifier conducts more than once in a half-cycle"
        value, remedy = f"{columns['choke_h'][at[0]]:g}", "give a larger choke, more capacitance or more source_ohm"
        return [Fault("", None, "choke_h", value, problem, remedy)]
    problem = "is more than this source can give through its resistance, choke and capacitors"
    if one.source[0] < emf:
        problem += ", or so near to it that no steady state was found"
    return [Fault("", None, "load_ma", load, problem, "lower load_ma or source_ohm, or raise volts")]
