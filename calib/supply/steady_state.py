"""The steady state of a rectifier and its filter: what comes out, what the winding carries, a second filter section.

Units are taken off, the right solution is found (diodes exactly, valves by collocation), and units are put back. Of a
second section's ripple the first harmonic is taken, which a section passes best. Source: R. Lee, "Electronic
Transformers and Circuits"; Radiotron Designer's Handbook.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import Fault, InputError, not_negative, positive
from calib.supply import diodes
from calib.supply.parameters import Extras, Settings
from calib.supply.periodic import Array, PerUnit
from calib.supply.valves import valve_supply

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Unpack

    import pandas as pd

__all__ = ["FilterSection", "RESONANCE_BELOW", "filter_section", "resonance_hz", "ripple_hz"]

# omega L / load resistance at which the current of a lossless full-wave choke input just does not stop: the least of
# 1 - cos t - 2 t / pi, over the mean 2/pi of |sin t|. R. Lee, "Electronic Transformers and Circuits", has it as 1/3.
CRITICAL = math.pi / 2 * (math.sqrt(1 - 4 / math.pi**2) - 1) + math.asin(2 / math.pi)
NO_CAPACITOR = 1e-9  # omega C times peak over load current that stands for none


@dataclass(frozen=True)
class SupplyState:
    """Periodic steady state of a supply.

    Attributes
    ----------
    rectifier, filter : str
        The circuit.
    load_ma : float
        Direct load current [mA].
    dc_v : float
        Mean output voltage [V].
    ripple_v_pp, ripple_v_rms : float
        Ripple of the output, peak to peak and rms [V].
    winding_rms_ma : float
        rms current of one conducting side of the winding: of each half of a centre-tapped one [mA].
    peak_ma : float
        Peak current of one rectifier [mA].
    conduction_deg : float
        Angle through which one rectifier conducts in a line cycle; 180 where the current never stops [degree].
    load_ohm : float
        Resistor that draws the current; infinite without load [ohm].
    winding_rms_per_dc : float
        winding_rms_ma over load_ma; NaN without load [1].
    input_w : float
        Power that the winding's no-load voltage puts in, all sides together [W].
    critical_h : float
        Inductance above which the current of a lossless full-wave choke input never stops; NaN elsewhere [H].
    """

    rectifier: str
    filter: str
    load_ma: float
    dc_v: float
    ripple_v_pp: float
    ripple_v_rms: float
    winding_rms_ma: float
    peak_ma: float
    conduction_deg: float
    load_ohm: float
    winding_rms_per_dc: float
    input_w: float
    critical_h: float

    def as_dict(self) -> dict[str, object]:
        """Every attribute by its name; a number that does not exist is None."""
        return {
            name: None if isinstance(value, float) and not math.isfinite(value) else value
            for name, value in asdict(self).items()
        }

    def frame(self) -> pd.DataFrame:
        """The state as a table of one row."""
        import pandas as pd

        return pd.DataFrame([asdict(self)])


def steady_state(
    rectifier: str,
    filter: str,
    volts: float,
    source_ohm: float,
    capacitance_uf: float,
    load_ma: float,
    frequency_hz: float,
    **extras: Unpack[Extras],
) -> SupplyState:
    """Exact periodic steady state of a rectifier and its filter; the load is a resistor that draws load_ma at dc_v.

    Parameters
    ----------
    rectifier, filter, volts, source_ohm, capacitance_uf, load_ma, frequency_hz
        As in Settings.
    **extras
        choke_h, choke_ohm, diode_drop_v, valve, primary_ohm: as in Settings. Diodes are ideal unless a drop or a valve
        is given. A half-wave rectifier with a choke is solved as it stands: the rectifier conducts for a part of the
        cycle and there is no freewheel path, so that a large choke leaves little voltage.

    Returns
    -------
    SupplyState
        Piecewise exact with diodes; with a valve of the 3/2-power law to about 1e-6.

    Raises
    ------
    InputError
        A value is beyond its limits, the circuit does not exist, or it cannot give that current.
    """
    what = Settings(rectifier, filter, volts, source_ohm, capacitance_uf, load_ma, frequency_hz, **extras)
    return state_of(what)


def state_of(what: Settings) -> SupplyState:
    """The steady state of a supply of one case, as ``steady_state`` gives it."""
    return _state(what, float(what.load_ma), {name: float(values[0]) for name, values in _solved(what).items()})


def states_of(what: Settings) -> tuple[SupplyState | None, ...]:
    """The steady states of a supply of several loads; None for a load that the source cannot give."""
    solved = _solved(what, blank=True)
    cases = ({name: float(column[at]) for name, column in solved.items()} for at in range(len(solved["dc_v"])))
    loads = np.broadcast_to(np.asarray(what.load_ma, float), solved["dc_v"].shape)
    return tuple(
        None if math.isnan(case["dc_v"]) else _state(what, float(load), case)
        for load, case in zip(loads, cases, strict=True)
    )


def _solved(what: Settings, blank: bool = False) -> dict[str, Array]:
    """As ``solve``; where two drops of the valve are printed, currents by the least, volts by the greatest."""
    solved = solve(what, blank)
    valve = what.thermionic
    if valve and valve.drop_most_v > valve.drop_v:
        low = solve(replace(what, greatest_drop=True), blank)
        refused = np.isnan(solved["dc_v"] + low["dc_v"])
        solved |= {name: low[name] for name in ("dc_v", "load_ohm")}
        solved = {name: np.where(refused, np.nan, column) for name, column in solved.items()}
    return solved


def load_line(rectifier: str, filter: str, loads_ma: Sequence[float], **values: Unpack[_Line]) -> pd.DataFrame:
    """Steady states from no load to overload, one row a load; a load that the source cannot give has blanks.

    Parameters
    ----------
    rectifier, filter : str
        The circuit.
    loads_ma : sequence of float
        Direct load currents, 0 to 1e5 [mA].
    **values
        volts, source_ohm, capacitance_uf, frequency_hz and the extras of ``steady_state``.

    Returns
    -------
    DataFrame
        Columns as the attributes of SupplyState.
    """
    import pandas as pd

    loads = np.asarray(list(loads_ma), float)
    what = Settings(rectifier, filter, load_ma=loads, **values)
    solved = _solved(what, blank=True)
    cases = ({name: float(column[at]) for name, column in solved.items()} for at in range(len(loads)))
    return pd.DataFrame([asdict(_state(what, float(load), case)) for load, case in zip(loads, cases, strict=True)])


class _Line(Extras, total=False):
    """The values of ``load_line``."""

    volts: float
    source_ohm: float
    capacitance_uf: float
    frequency_hz: float


def _state(what: Settings, load_ma: float, solved: dict[str, float]) -> SupplyState:
    critical = math.nan
    if what.filter == "choke" and what.rectifier != "half-wave":
        critical = critical_inductance(solved["load_ohm"], float(what.frequency_hz))
    per_dc = solved["winding_rms_ma"] / load_ma if load_ma > 0 else math.nan
    more = {"load_ma": load_ma, "winding_rms_per_dc": per_dc, "critical_h": critical}
    return SupplyState(what.rectifier, what.filter, **more, **solved)


def critical_inductance(load_ohm: float, frequency_hz: float) -> float:
    """Least inductance with which the current of a full-wave choke input never stops [H].

    Parameters
    ----------
    load_ohm : float
        Load resistance, above 0 [ohm].
    frequency_hz : float
        Line, 10 to 1000 [Hz].

    Returns
    -------
    float
        omega L = 0.330674 load_ohm: winding and choke without resistance, output capacitor without limit [H].
        Source: R. Lee, "Electronic Transformers and Circuits", which keeps the second harmonic only and has 1/3.
    """
    return CRITICAL * load_ohm / (2 * math.pi * frequency_hz)


def solve(what: Settings, blank: bool = False) -> dict[str, Array]:
    """Steady state of every case of a circuit.

    Parameters
    ----------
    what : Settings
        The cases.
    blank : bool
        Whether a case without a steady state has NaN, instead of an error for all.

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
    drops = _drops(what, every)
    missing = drops >= peak
    if missing.any() and not blank:
        raise InputError([_blocked(what, drops, peak, int(np.argmax(missing)))])
    solved = _unloaded(what, peak, np.minimum(drops / peak, 1.0))
    loaded = np.flatnonzero((every["load_ma"] > 0) & ~missing)
    if len(loaded):
        columns = {name: column[loaded] for name, column in every.items()}
        scaled = _scaled(what, columns)
        ratio, result, found = _per_unit(scaled)
        if not (blank or found.all()):
            raise InputError([_no_state(what, columns, scaled, int(np.argmin(found)))])
        missing[loaded] = ~found
        for name, column in _with_units(what, columns, scaled.drop, ratio, result).items():
            solved[name][loaded] = column
    return {name: np.where(missing, np.nan, column) for name, column in solved.items()}


def _with_units(
    what: Settings, columns: dict[str, Array], drop: Array, ratio: Array, result: dict[str, Array]
) -> dict[str, Array]:
    """As ``solve``, of cases that all have a load, from their load resistance and averages per unit."""
    peak, current = np.sqrt(2) * columns["volts"], columns["load_ma"] / 1000
    side = np.sqrt(0.5) if what.rectifier == "full-wave" else 1.0
    return {
        "dc_v": ratio * peak,
        "ripple_v_pp": result["ripple_pp"] * peak,
        "ripple_v_rms": result["ripple_rms"] * peak,
        "winding_rms_ma": result["rms"] * current * 1000 * side,
        "peak_ma": result["peak"] * current * 1000,
        "conduction_deg": np.degrees(result["stop"] - result["start"]),
        "load_ohm": ratio * peak / current,
        "input_w": (result["power"] + drop * (2 if what.rectifier == "doubler" else 1)) * peak * current,
    }


def _drops(what: Settings, columns: dict[str, Array]) -> Array:
    """Constant drop of all rectifiers in series [V]."""
    valve = what.thermionic
    one = valve.drop_v if valve and valve.law == "constant" else columns["diode_drop_v"]
    return np.asarray(one * (2 if what.rectifier == "bridge" else 1) + 0 * columns["volts"])


def _scaled(what: Settings, columns: dict[str, Array]) -> PerUnit:
    peak, current = np.sqrt(2) * columns["volts"], columns["load_ma"] / 1000
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
    return PerUnit(
        source=(columns["source_ohm"] + columns["choke_ohm"]) / unit,
        reactance=np.full_like(unit, NO_CAPACITOR) if what.filter == "none" else reactance,
        choke=omega * columns["choke_h"] / unit,
        drop=drop,
        perveance=plate / series * peak**1.5 / current,
        period=np.pi if what.rectifier in ("full-wave", "bridge") else 2 * np.pi,
        kind="doubler" if what.rectifier == "doubler" else "stopping" if what.filter == "choke" else "capacitor",
    )


def _per_unit(scaled: PerUnit) -> tuple[Array, dict[str, Array], Array]:
    """Load resistance, averages (voltages over peak, currents over load current) and where they were found."""
    able = (np.abs(scaled.drop) < 1) & (scaled.mean_emf > scaled.source)
    able |= np.isfinite(scaled.perveance) & (scaled.source == 0)
    rows, size = np.flatnonzero(able), len(able)
    result = {name: np.zeros(size) for name in _NAMES}
    ratio, found = np.ones(size), np.zeros(size, bool)
    if len(rows):
        solver = valve_supply if np.isfinite(scaled.perveance).all() else _diodes
        ratio[rows], some, found[rows] = solver(scaled.rows(rows))
        for name, values in result.items():
            values[rows] = some[name]
    return ratio, result, found


_NAMES = ("dc", "ripple_pp", "ripple_rms", "rms", "peak", "power", "start", "stop")


def _diodes(case: PerUnit) -> tuple[Array, dict[str, Array], Array]:
    """The piecewise exact solutions, currents brought to units of the load current."""
    one, found = diodes.through_choke(case) if case.kind == "stopping" else diodes.stopping(case)
    result, ratio = diodes.measures(one), one.ratio
    # what charges the capacitors is what the load draws, or the root was not found
    found = found & np.isfinite(ratio) & (np.abs(result["mean"] / result["dc"] - 1) < 1e-3)
    if isinstance(one, diodes.ChokePulse):
        found &= one.blocks_once
    # the solvers stop at a greatest w; what is left of the ripple falls as 1/w
    beyond = np.maximum(case.reactance * ratio / one.w, 1.0)
    for name in ("ripple_pp", "ripple_rms"):
        result[name] = result[name] / beyond
    for name in ("rms", "peak", "power"):
        result[name] = result[name] / ratio
    return ratio, {**result, "start": one.start, "stop": one.stop}, found


def _unloaded(what: Settings, peak: Array, drop: Array) -> dict[str, Array]:
    """Steady state of a winding that gives no current."""
    level = (1 - drop) * (2 if what.rectifier == "doubler" else 1)
    names = ("ripple_v_pp", "ripple_v_rms", "winding_rms_ma", "peak_ma", "conduction_deg", "input_w")
    idle = {"dc_v": level * peak, **{name: np.zeros_like(peak) for name in names}}
    idle["load_ohm"] = np.full_like(peak, np.inf)
    if what.filter == "none":
        period = np.pi if what.rectifier != "half-wave" else 2 * np.pi
        edge = np.arcsin(drop)
        width = np.pi - 2 * edge
        mean = (2 * np.cos(edge) - drop * width) / period
        square = (width / 2 + np.sin(2 * edge) / 2 - 4 * drop * np.cos(edge) + drop**2 * width) / period
        rms = np.sqrt(square - mean**2)
        idle |= {"dc_v": mean * peak, "ripple_v_pp": (1 - drop) * peak, "ripple_v_rms": rms * peak}
    return idle


def _blocked(what: Settings, drops: Array, peak: Array, at: int) -> Fault:
    """The fault of a constant drop that the winding's peak does not reach."""
    column, value = ("valve", what.valve) if what.valve else ("diode_drop_v", f"{what.columns()['diode_drop_v'][at]:g}")
    problem = f"the drop of {drops[at]:g} V is not below the winding's peak of {peak[at]:g} V"
    return Fault("", None, column, value, problem, "give a smaller drop or more volts", "conflict")


def _no_state(what: Settings, columns: dict[str, Array], scaled: PerUnit, at: int) -> Fault:
    """The fault that says why a case without a steady state has none."""
    emf, source = scaled.mean_emf[at], scaled.source[at]
    if what.filter == "choke" and source < 0.9 * emf and scaled.period < 4:
        problem = "choke and capacitor ring: the rectifier conducts more than once in a half-cycle"
        remedy = "give a larger choke, more capacitance or more source_ohm"
        return Fault("", None, "choke_h", f"{columns['choke_h'][at]:g}", problem, remedy, "conflict")
    problem = "is more than this source can give through its resistance, choke and capacitors"
    if source < emf:
        problem += ", or so near to it that no steady state was found"
    remedy = "lower load_ma or source_ohm, or raise volts"
    return Fault("", None, "load_ma", f"{columns['load_ma'][at]:g}", problem, remedy, "conflict")


RESONANCE_BELOW = 1.0 / 3.0  # of the ripple's frequency (Lee; above it a section passes more than it should)


@dataclass(frozen=True)
class FilterSection:
    """What a second section leaves.

    Attributes
    ----------
    dc_v : float
        Direct voltage after it, which is below 0 where the section would drop more than there is [V].
    drop_v, watts : float
        Over its resistance, and its heat [V], [W].
    ripple_v_rms, ripple_v_pp : float
        After it, at most: the ripple before it taken as its first harmonic [V].
    resonance_hz : float
        Of choke and capacitor; NaN of a resistor [Hz].
    resonates : bool
        Whether that is above a third of the ripple's frequency.
    """

    dc_v: float
    drop_v: float
    watts: float
    ripple_v_rms: float
    ripple_v_pp: float
    resonance_hz: float
    resonates: bool

    def as_dict(self) -> dict[str, Any]:
        """Every attribute by its name; a number that does not exist is None."""
        told = asdict(self).items()
        return {name: None if isinstance(value, float) and math.isnan(value) else value for name, value in told}


def ripple_hz(rectifier: str, frequency_hz: float) -> float:
    """Frequency of a supply's ripple: the line's with half-wave, else twice that [Hz]."""
    return frequency_hz * (1.0 if rectifier == "half-wave" else 2.0)


def resonance_hz(henry: float, capacitance_uf: float) -> float:
    """Resonance of a choke and a capacitor, both above 0 [H], [µF]; in [Hz]."""
    positive("inductance", henry, "H")
    positive("capacitance", capacitance_uf, "µF")
    return 1.0 / (2.0 * math.pi * math.sqrt(henry * capacitance_uf * 1e-6))


def filter_section(
    state: SupplyState, frequency_hz: float, ohm: float, capacitance_uf: float, henry: float = 0.0
) -> FilterSection:
    """What a choke or a resistor and a capacitor behind the first filter leave.

    Parameters
    ----------
    state : SupplyState
        Before it, of a load that all goes through it.
    frequency_hz : float
        Line, above 0 [Hz].
    ohm : float
        The section's resistance, above 0: of a choke its own [ohm].
    capacitance_uf : float
        After it, above 0 [µF].
    henry : float
        0 or more; 0 for a resistor [H].

    Returns
    -------
    FilterSection
        Ripple times 1 / |1 + Z (jωC + 1/R_L)|, Z = R + jωL, at the ripple's frequency.

    Raises
    ------
    ValueError
        An input out of range.
    """
    positive("line frequency", frequency_hz, "Hz")
    positive("section's resistance", ohm, "ohm")
    positive("section's capacitance", capacitance_uf, "µF")
    not_negative("section's inductance", henry, "H")
    drop = ohm * state.load_ma / 1000.0
    left = state.dc_v - drop
    hz = ripple_hz(state.rectifier, frequency_hz)
    omega = 2.0 * math.pi * hz
    load = state.load_ma / 1000.0 / left if left > 0.0 else 0.0
    passed = 1.0 / abs(1.0 + complex(ohm, omega * henry) * complex(load, omega * capacitance_uf * 1e-6))
    own = resonance_hz(henry, capacitance_uf) if henry else math.nan
    rms = passed * state.ripple_v_rms
    resonates = own > RESONANCE_BELOW * hz
    return FilterSection(left, drop, drop * state.load_ma / 1000.0, rms, 2.0 * math.sqrt(2.0) * rms, own, resonates)
