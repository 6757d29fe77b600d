"""Choke input: exact periodic steady state with ideal diodes or diodes of constant drop, for many cases at once.

In the units of capacitor_input, with x = omega L / load resistance and j the choke's current:

    x dj/dt = e(t) - d - r j - v,   w dv/dt = j - v,   e = |sin t| (full-wave, bridge) or sin t (half-wave)

One side of the winding conducts at any instant, and r holds the choke's resistance as well. Above the critical
inductance the full-wave current never stops; below it, and always with a half-wave rectifier, conduction begins where
sin t - d = v and ends at the first zero of j. The rectifier blocks meanwhile: there is no freewheel path.
Source: R. Lee, "Electronic Transformers and Circuits".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.supply.capacitor_input import W_LEAST, mean_emf
from calib.supply.numerics import Array, bracketed_root, greatest, newton, nodes_between
from calib.supply.two_state import Circuit, Pair

W_MOST = 1e5  # beyond it nothing changes by more than 1e-5, but that ripple goes on as 1/w
LOOKS = 33  # samples of the current in which its first zero is sought


@dataclass(frozen=True)
class ChokePulse:
    """One conduction, or one half-cycle of a current that never stops, in the units of capacitor_input.

    Attributes
    ----------
    r, w, x, d : array
        Source and choke resistance, omega C times, omega L over load resistance, drop over peak [1].
    period : float
        pi (full-wave, bridge) or 2 pi (half-wave) [rad].
    start, stop : array
        First and last instant of conduction; 0 and pi where the current never stops [rad].
    first : tuple of arrays
        Choke current and output voltage at ``start``.
    """

    r: Array
    w: Array
    x: Array
    d: Array
    period: float
    start: Array
    stop: Array
    first: Pair

    def rows(self, which: Array) -> ChokePulse:
        """Some of the cases."""
        r, w, x, d, start, stop = (part[which] for part in (self.r, self.w, self.x, self.d, self.start, self.stop))
        return ChokePulse(r, w, x, d, self.period, start, stop, (self.first[0][which], self.first[1][which]))

    @property
    def circuit(self) -> Circuit:
        """The circuit while conducting."""
        return circuit(self.r, self.w, self.x, self.d)

    @property
    def turn(self) -> float:
        """Angle at which the source is turned over: pi, or never within the pulse (half-wave)."""
        return np.pi if self.period < 4 else np.inf

    def waves(self, angle: Array) -> tuple[Array, Array]:
        """Output voltage and choke current at angles within the pulse, shape (cases, angles)."""
        first = (self.first[0][:, None], self.first[1][:, None])
        current, voltage = travel(self.circuit.column(), first, self.start[:, None], angle, self.turn)
        return voltage, current

    def emf(self, angle: Array) -> Array:
        """The source less the drop at angles of shape (cases, angles), over peak [1]."""
        return np.where(angle > self.turn, -np.sin(angle), np.sin(angle)) - self.d[:, None]

    @property
    def dc(self) -> Array:
        """Mean output voltage over peak, by the balance of volt-seconds and of charge [1]."""
        to = np.minimum(self.stop, self.turn)
        emf = np.cos(self.start) - np.cos(to) + np.where(self.stop > to, 1 + np.cos(self.stop), 0.0)
        last = self.waves(self.stop[:, None])[0][:, 0]
        rise = np.where(self.always, 0.0, last - self.first[1])
        return (emf - self.d * (self.stop - self.start) + self.w * rise) / (self.period * (1 + self.r))

    @property
    def always(self) -> Array:
        """Where the current never stops."""
        return self.stop - self.start >= self.period * (1 - 1e-15)


def circuit(r: Array, w: Array, x: Array, d: Array) -> Circuit:
    """The two-state circuit of choke current and output voltage while the rectifier conducts."""
    scale = (1j * x + r) * (1j + 1 / w) + 1 / w
    settled = -d / (1 + r)
    return Circuit(-r / x, -1 / x, 1 / w, -1 / w, ((1j + 1 / w) / scale, 1 / w / scale), (settled, settled))


def travel(what: Circuit, state: Pair, start: Array, angle: Array, turn: float) -> Pair:
    """State at ``angle`` under a source that is turned over at ``turn``."""
    before = what.move(state, start, np.minimum(angle, turn))
    if not np.isfinite(turn) or not np.any(angle > turn):
        return before
    at_turn = what.move(state, start, np.full_like(start, turn))
    after = what.move(at_turn, np.full_like(start, turn), np.maximum(angle, turn), -1.0)
    return tuple(np.where(angle > turn, late, early) for late, early in zip(after, before, strict=True))  # type: ignore[return-value]


def continuous(r: Array, w: Array, x: Array, d: Array) -> tuple[ChokePulse, Array]:
    """The half-cycle of a full-wave current that never stops, and where it indeed stays above zero."""
    first = circuit(r, w, x, d).cycle(np.pi)
    zero = np.zeros_like(r)
    one = ChokePulse(r, w, x, d, np.pi, zero, zero + np.pi, first)
    looks = np.linspace(zero, zero + np.pi, 65, axis=1)
    least = -greatest(lambda at: -one.waves(at)[1], looks)
    return one, least >= 0


def pulse(period: float, r: Array, w: Array, x: Array, d: Array, tolerance: float = 1e-12) -> ChokePulse:
    """The steady pulse of a current that stops, at known load resistance, its start to a relative tolerance."""
    what = circuit(r, w, x, d)
    turn = np.pi if period < 4 else np.inf
    earliest = np.arcsin(d) + 1e-12

    def stop_of(start: Array) -> Array:
        state = (np.zeros_like(start), np.sin(start) - d)
        column, wide = what.column(), (state[0][:, None], state[1][:, None])
        share = np.linspace(0, 1, LOOKS) ** 2
        looks = start[:, None] + period * share[1:]
        current = travel(column, wide, start[:, None], looks, turn)[0]
        ended = current <= 0
        at = np.argmax(ended, axis=1)
        at[(at == 0) & ended[:, 0]] = 0
        rows = np.arange(len(start))
        low = np.where(at > 0, looks[rows, np.maximum(at - 1, 0)], start + 1e-9)

        def current_at(angle: Array) -> Array:
            return travel(what, state, start, angle, turn)[0]

        stop = bracketed_root(current_at, low, looks[rows, at], tolerance / 100)
        return np.where(ended.any(axis=1), stop, start + period)

    def closure(start: Array) -> Array:
        stop = stop_of(start)
        low = np.sin(start) - d
        high = travel(what, (np.zeros_like(start), low), start, stop, turn)[1]
        with np.errstate(divide="ignore", invalid="ignore"):
            fall = np.log(np.maximum(high, 0)) - np.log(low)
        return np.nan_to_num(fall - (period + start - stop) / w, nan=-1e6, posinf=1e6, neginf=-1e6)

    start = bracketed_root(closure, earliest, np.full_like(d, np.pi / 2) - 1e-9, tolerance)
    return ChokePulse(r, w, x, d, period, start, stop_of(start), (np.zeros_like(d), np.sin(start) - d))


def choke_pulse(
    period: float, source: Array, reactance: Array, choke: Array, d: Array
) -> tuple[Array, ChokePulse, Array]:
    """The steady state at a wanted load current.

    Parameters
    ----------
    period : float
        pi (full-wave, bridge) or 2 pi (half-wave) [rad].
    source, reactance, choke, d : array
        Source and choke resistance in units of peak over load current, omega C times that unit, omega L over that
        unit, drop over peak [1].

    Returns
    -------
    ratio, pulse, found : array, ChokePulse, array of bool
        Load resistance in units of peak over load current, the pulse, and where the wanted current can be had.
    """
    cases = (source, reactance, choke, d)
    if period > 4:
        return stopping(period, *cases)
    # while the current never stops: mean |sin| - d = dc (1 + r)
    mean = 2 / np.pi - d - source
    ratio = np.maximum(mean, 1e-6)
    one, found = continuous(source / ratio, np.clip(reactance * ratio, W_LEAST, W_MOST), choke / ratio, d)
    found &= mean > 0
    # next to no capacitor: within 1e-4 the choke and the load alone, whose current never stops
    bare, never = continuous(source / ratio, np.full_like(d, W_LEAST), choke / ratio, d)
    alone = np.flatnonzero(~found & never & (mean > 0) & (reactance * ratio < 0.01))
    one, found[alone] = _with(one, alone, bare.rows(alone)), True
    rest = np.flatnonzero(~found)
    if len(rest):
        part_ratio, part, part_found = stopping(period, *(value[rest] for value in cases))
        ratio[rest], found[rest] = part_ratio, part_found
        one = _with(one, rest, part)
    return ratio, one, found


def stopping(period: float, source: Array, reactance: Array, choke: Array, d: Array) -> tuple[Array, ChokePulse, Array]:
    """As choke_pulse, for a current that stops between two pulses."""

    cases = np.stack((source, reactance, choke, d), axis=1)
    one, ratio = _nested(period, cases, 1e-3)
    guess = np.stack((one.start, np.log(one.stop - one.start), np.log(ratio)), axis=1)
    unknowns, polished = newton(lambda trial: _residuals(period, cases, trial), guess)
    polished &= np.abs(unknowns - guess).max(axis=1) < 0.1
    one, ratio = _built(period, cases, np.where(polished[:, None], unknowns, guess))
    rest = np.flatnonzero(~polished)
    if len(rest):
        part, ratio[rest] = _nested(period, cases[rest], 1e-10)
        one = _with(one, rest, part)
    return ratio, one, (mean_emf(period, d) > source) & (np.abs(one.dc / ratio - 1) < 1e-6)


def _nested(period: float, cases: Array, tolerance: float) -> tuple[ChokePulse, Array]:
    """Pulse and load resistance by bracketing the load, and within that the start, and within that the stop."""
    source, reactance, choke, d = cases.T

    def built(ratio: Array) -> ChokePulse:
        w = np.clip(reactance * ratio, W_LEAST, W_MOST)
        return pulse(period, source / ratio, w, choke / ratio, d, tolerance / 100)

    least = mean_emf(period, d) - source
    low = np.maximum(least, 1e-6) if period < 4 else np.full_like(least, 1e-5)
    ratio = bracketed_root(lambda trial: built(trial).dc / trial - 1, low * (1 - 1e-7), 3 * (1 - d), tolerance)
    return built(ratio), ratio


def _built(period: float, cases: Array, unknowns: Array) -> tuple[ChokePulse, Array]:
    """Pulse and load resistance of start, logarithm of length and logarithm of load resistance."""
    source, reactance, choke, d = cases.T
    start, ratio = unknowns[:, 0], np.exp(unknowns[:, 2])
    w = np.clip(reactance * ratio, W_LEAST, W_MOST)
    first = (np.zeros_like(d), np.sin(start) - d)
    return ChokePulse(source / ratio, w, choke / ratio, d, period, start, start + np.exp(unknowns[:, 1]), first), ratio


def _residuals(period: float, cases: Array, unknowns: Array) -> Array:
    """What is left of: no current at the stop, the same voltage a period on, the wanted current."""
    one, ratio = _built(period, cases, unknowns)
    voltage, current = (wave[:, 0] for wave in one.waves(one.stop[:, None]))
    fall = np.exp(-(period + one.start - one.stop) / one.w)
    return np.stack((current / ratio, one.w * (voltage * fall - one.first[1]) / ratio, one.dc / ratio - 1), axis=1)


def _with(one: ChokePulse, rows: Array, part: ChokePulse) -> ChokePulse:
    """The pulses, those of some rows taken from ``part``."""

    def put(old: Array, new: Array) -> Array:
        mixed = old.copy()
        mixed[rows] = new
        return mixed

    parts = {name: put(getattr(one, name), getattr(part, name)) for name in ("r", "w", "x", "d", "start", "stop")}
    first = (put(one.first[0], part.first[0]), put(one.first[1], part.first[1]))
    return ChokePulse(period=one.period, first=first, **parts)


def blocks_once(one: ChokePulse) -> Array:
    """Where the rectifier stays blocked until the next pulse is due; elsewhere choke and capacitor ring."""
    looks = np.linspace(one.stop, one.start + one.period, 65, axis=1)[:, 1:-1]
    last = one.waves(one.stop[:, None])[0]
    voltage = last * np.exp(-(looks - one.stop[:, None]) / one.w[:, None])
    inside = np.linspace(one.start, one.stop, 65, axis=1)[:, 1:-1]
    return one.always | ((one.emf(looks) <= voltage + 1e-9).all(1) & (one.waves(inside)[1] > -1e-9).all(1))


def measures(one: ChokePulse) -> dict[str, Array]:
    """dc, ripple (peak to peak, rms), rms and peak current and mean power, in the units of capacitor_input."""
    corner = np.where((one.stop > one.turn) & (one.start < one.turn), one.turn, (one.start + one.stop) / 2)
    rate = np.abs(one.circuit.rates[1])
    panels = nodes_between(one.start, corner, rate), nodes_between(corner, one.stop, rate)
    angle, weight = (np.concatenate(parts, axis=1) for parts in zip(*panels, strict=True))
    ends = np.stack((one.start, one.stop), axis=1)
    voltage, current = one.waves(angle)
    every = np.concatenate((ends[:, :1], angle, ends[:, 1:]), axis=1)
    last = one.waves(ends[:, 1:])[0]
    rest, rest_weight = nodes_between(one.stop, one.start + one.period, 1 / one.w)
    fall = last * np.exp(-(rest - one.stop[:, None]) / one.w[:, None])
    dc = one.dc
    spread = (weight * (voltage - dc[:, None]) ** 2).sum(1) + (rest_weight * (fall - dc[:, None]) ** 2).sum(1)
    return {
        "dc": dc,
        "ripple_pp": greatest(lambda at: one.waves(at)[0], every) + greatest(lambda at: -one.waves(at)[0], every),
        "ripple_rms": np.sqrt(spread / one.period),
        "rms": np.sqrt((weight * current**2).sum(1) / one.period),
        "peak": greatest(lambda at: one.waves(at)[1], every),
        "power": (weight * current * one.emf(angle)).sum(1) / one.period,
        "mean": (weight * current).sum(1) / one.period,
    }
