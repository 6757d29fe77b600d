"""The steady state of a rectifier and its filter: what comes out, and what the winding carries for it."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from calib.errors import InputError
from calib.supply.settings import Extras, Settings
from calib.supply.solver import solve

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Unpack

    import pandas as pd

# omega L / load resistance at which the current of a lossless full-wave choke input just does not stop: the least of
# 1 - cos t - 2 t / pi, over the mean 2/pi of |sin t|. R. Lee, "Electronic Transformers and Circuits", has it as 1/3.
CRITICAL = math.pi / 2 * (math.sqrt(1 - 4 / math.pi**2) - 1) + math.asin(2 / math.pi)


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
    return _state(what, {name: float(values[0]) for name, values in _solved(what).items()})


def _solved(what: Settings) -> dict[str, np.ndarray]:
    """As ``solver.solve``; where two drops of the valve are printed, currents by the least, volts by the greatest."""
    solved = solve(what)
    valve = what.thermionic
    if valve and valve.drop_most_v > valve.drop_v:
        low = solve(replace(what, greatest_drop=True))
        solved |= {name: low[name] for name in ("dc_v", "load_ohm")}
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
    try:
        solved = _solved(what)
    except InputError:
        solved = _one_by_one(rectifier, filter, loads, values)
    rows = [
        asdict(_state(what, {name: float(column[at]) for name, column in solved.items()}, float(load)))
        for at, load in enumerate(loads)
    ]
    return pd.DataFrame(rows)


class _Line(Extras, total=False):
    """The values of ``load_line``."""

    volts: float
    source_ohm: float
    capacitance_uf: float
    frequency_hz: float


def _one_by_one(rectifier: str, filter: str, loads: np.ndarray, values: _Line) -> dict[str, np.ndarray]:
    """The steady states where some load is too much: each load alone, NaN where it cannot be given."""
    rows = []
    for load in loads:
        try:
            solved = _solved(Settings(rectifier, filter, load_ma=float(load), **values))
            rows.append({name: column[0] for name, column in solved.items()})
        except InputError:
            rows.append({})
    names = {name for row in rows for name in row} or {"dc_v"}
    return {name: np.array([row.get(name, np.nan) for row in rows]) for name in names}


def _state(what: Settings, solved: dict[str, float], load_ma: float | None = None) -> SupplyState:
    load = float(what.load_ma) if load_ma is None else load_ma
    critical = math.nan
    if what.filter == "choke" and what.rectifier != "half-wave":
        critical = critical_inductance(solved.get("load_ohm", math.nan), float(what.frequency_hz))
    per_dc = solved.get("winding_rms_ma", math.nan) / load if load > 0 else math.nan
    names = SupplyState.__dataclass_fields__
    known = {name: solved.get(name, math.nan) for name in names if name not in ("rectifier", "filter")}
    known |= {"load_ma": load, "winding_rms_per_dc": per_dc, "critical_h": critical}
    return SupplyState(rectifier=what.rectifier, filter=what.filter, **known)


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
