"""The steady state with thermionic rectifiers at a wanted load current: first guess, solution, averages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.supply import capacitor_input, choke_input, doubler, valve_wave as wave
from calib.supply.numerics import Array, newton, nodes_between
from calib.supply.valve_slopes import slopes
from calib.supply.valve_wave import Wanted

AT_ONCE = 64  # cases solved together, to bound the memory
LEAST, MOST = 0.02, 1e5  # omega C times peak over load current: beyond them nothing changes by more than 1e-4 and 1e-5
Linear = capacitor_input.Pulse | choke_input.ChokePulse | doubler.DoublerPulse


def valve_supply(wanted: Wanted) -> tuple[Array, dict[str, Array], Array]:
    """The steady state at a wanted load current.

    Parameters
    ----------
    wanted : Wanted
        The cases; kind capacitor, doubler or stopping (with a choke it is found here whether the current stops).

    Returns
    -------
    ratio, measures, found : array, dict of arrays, array of bool
        Load resistance in units of peak over load current; averages as of the other inputs but with currents in units
        of the load current, and start and stop [rad]; where the wanted current can be had.
    """
    beyond = np.maximum(wanted.reactance / MOST, 1.0)
    wanted = replace(wanted, reactance=np.clip(wanted.reactance, LEAST, MOST))
    size = len(wanted.source)
    parts = [_solved(wanted.rows(slice(at, at + AT_ONCE))) for at in range(0, size, AT_ONCE)]
    ratio, found = (np.concatenate([part[at] for part in parts]) for at in (0, 2))
    result = {name: np.concatenate([part[1][name] for part in parts]) for name in parts[0][1]}
    for name in ("ripple_pp", "ripple_rms"):
        result[name] = result[name] / beyond
    return ratio, result, found


def _solved(wanted: Wanted) -> tuple[Array, dict[str, Array], Array]:
    """At most AT_ONCE cases; a full-wave choke's are tried as never stopping first."""
    if wanted.kind != "stopping" or wanted.period > 4:
        return _of_kind(wanted)
    ratio, result, found = _of_kind(replace(wanted, kind="continuous"))
    found &= result["least"] >= 0
    rest = np.flatnonzero(~found)
    if len(rest):
        ratio[rest], part, found[rest] = _of_kind(wanted.rows(rest))
        for name, values in part.items():
            result[name][rest] = values
    return ratio, result, found


def _of_kind(wanted: Wanted) -> tuple[Array, dict[str, Array], Array]:
    unknowns, found = newton(lambda x: wave.residuals(wanted, x), _guess(wanted), lambda x: slopes(wanted, x))
    return np.exp(unknowns[:, -1]), _measures(wanted, unknowns), found


def _guess(wanted: Wanted) -> Array:
    """Unknowns from the exact solution with a resistance for the valve: its drop at the peak over the peak current."""
    most = 0.9 * capacitor_input.mean_emf(wanted.period, wanted.drop) * (0.6 if wanted.kind == "doubler" else 1)
    peak = np.full_like(wanted.source, 1.0 if wanted.kind == "continuous" else 4.0)
    for _ in range(3):
        source = np.minimum(wanted.source + (peak / wanted.perveance) ** (2 / 3) / peak, most)
        ratio, one = _linear(wanted, source)
        looks = np.linspace(one.start, np.maximum(one.stop, one.start + 0.02), 33, axis=1)
        peak = np.maximum((one.waves(looks)[1] / ratio[:, None]).max(axis=1), 0.5)
    start, stop = looks[:, 0], looks[:, -1]
    knots = []
    for low, high in wave.ends_of(wanted, start, stop):
        angle, _ = wave.angles(low, high, wave.KNOTS)
        voltage, current = one.waves(angle)
        if wanted.kind == "doubler":
            own = np.sin(angle) - one.d[:, None] - one.r[:, None] * current
            knots += [own, voltage - own]
        elif wanted.kind == "capacitor":
            knots.append(voltage)
        else:
            knots += [current / ratio[:, None], voltage]
    return np.concatenate((*knots, np.stack((start, stop, np.log(ratio)), axis=1)), axis=1)


def _linear(wanted: Wanted, source: Array) -> tuple[Array, Linear]:
    """Load resistance and pulse with a source of resistance alone."""
    if wanted.kind == "doubler":
        return doubler.doubler_pulse(source, wanted.reactance, wanted.drop)[:2]
    if wanted.kind == "capacitor":
        settled = (wanted.reactance, wanted.drop)
        ratio = capacitor_input.load_ratio(wanted.period, source, *settled, capacitor_input.GUESSED)
        return ratio, capacitor_input.pulse(wanted.period, source / ratio, wanted.reactance * ratio, wanted.drop)
    if wanted.kind == "stopping":
        ratio, one, _ = choke_input.stopping(wanted.period, source, wanted.reactance, wanted.choke, wanted.drop)
        return ratio, one
    ratio = np.maximum(2 / np.pi - wanted.drop - source, 0.01)
    r, w, x = source / ratio, wanted.reactance * ratio, wanted.choke / ratio
    return ratio, choke_input.continuous(r, w, x, wanted.drop)[0]


def _measures(wanted: Wanted, unknowns: Array) -> dict[str, Array]:
    """Averages of the solution, with the names that the other inputs use."""
    values, start, stop, ratio = wave.unpack(wanted, unknowns)
    wide = wanted.wider(1)
    sums, volts, currents = [], [], []
    for number, (low, high) in enumerate(wave.ends_of(wanted, start, stop)):
        knots = values[:, number]
        angle, stretch = wave.angles(low, high, wave.POINTS)
        state = knots @ wave.VALUE.T
        current = wave.motion(wide, angle, state, ratio[:, None])[1]
        sums.append((wave.WEIGHTS * stretch, wave.source_emf(wide, angle), _output(wanted, state), current))
        look = knots @ wave.LOOK.T
        volts.append(_output(wanted, look))
        currents.append(wave.motion(wide, wave.angles(low, high, wave.LOOK_AT)[0], look, ratio[:, None])[1])
    weight, emf, voltage, current = (np.concatenate(part, axis=1) for part in zip(*sums, strict=True))
    output, flow = np.concatenate(volts, axis=1), np.concatenate(currents, axis=1)
    period, rate = (np.pi, 2) if wanted.kind == "doubler" else (wanted.period, 1)
    w = (wanted.reactance * ratio)[:, None] / rate
    rest, rest_weight = nodes_between(stop, np.maximum(start + period, stop), 1 / w[:, 0])
    fall = output[:, -1:] * np.exp(-(rest - stop[:, None]) / w)
    spread = (weight * (voltage - ratio[:, None]) ** 2).sum(1) + (rest_weight * (fall - ratio[:, None]) ** 2).sum(1)
    return {
        "dc": ratio,
        "ripple_pp": output.max(axis=1) - output.min(axis=1),
        "ripple_rms": np.sqrt(spread / period),
        "rms": np.sqrt((weight * current**2).sum(1) / period),
        "peak": flow.max(axis=1),
        "least": flow.min(axis=1),
        "power": (weight * current * emf).sum(1) / period,
        "mean": (weight * current).sum(1) / wanted.period,
        "start": start,
        "stop": stop,
    }


def _output(wanted: Wanted, state: Array) -> Array:
    """Output voltage from states of shape (cases, states, points)."""
    return state.sum(axis=1) if wanted.kind == "doubler" else state[:, -1]
