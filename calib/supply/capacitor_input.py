"""Capacitor input: exact periodic steady state with ideal diodes or diodes of constant drop, for many cases at once.

Angles are omega t; voltages are in units of the winding's peak, currents of peak / load resistance. With
r = source / load resistance, w = omega C load resistance and d the drop, one pulse runs from a to b:

    r w dv/dt = sin t - d - (1 + r) v,   v(a) = sin a - d,   i(b) = 0,   v(b) exp(-(period + a - b)/w) = v(a)

Source: O. H. Schade, "Analysis of Rectifier Operation", Proc. IRE 1943, whose curves are the same solution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.supply.numerics import Array, bracketed_root, greatest, nodes_between

W_LEAST, W_MOST = 1e-6, 1e7  # beyond them nothing changes by more than 1e-6, but that ripple goes on as 1/w
GUESSED = 1e-2  # how near a first guess of Newton's method is solved [1]


@dataclass(frozen=True)
class Pulse:
    """One conduction of one rectifier, in the units of this module.

    Attributes
    ----------
    r, w, d : array
        Source over load resistance [1], omega C times load resistance [1], drop over peak (negative where the primary
        cannot carry the direct current and so raises the source) [1].
    period : float
        Between two pulses into the capacitor: pi (full-wave, bridge) or 2 pi (half-wave) [rad].
    start, stop : array
        First and last instant of conduction [rad].
    """

    r: Array
    w: Array
    d: Array
    period: float
    start: Array
    stop: Array

    @property
    def dc(self) -> Array:
        """Mean output voltage over peak, by charge balance [1]."""
        emf = np.cos(self.start) - np.cos(self.stop) - self.d * (self.stop - self.start)
        rise = np.sin(self.stop) - np.sin(self.start)
        return (emf + self.w * rise) / (self.period * (1 + self.r))

    def waves(self, angle: Array) -> tuple[Array, Array]:
        """Output voltage and current at angles within the pulse, shape (cases, angles)."""
        r, w, d, start = (value[:, None] for value in (self.r, self.w, self.d, self.start))
        fading = current_share(r, w, d, start) * np.exp(-decay_rate(r, w) * (angle - start))
        scale = (1 + r) ** 2 + (r * w) ** 2
        steady = ((1 + r) * np.sin(angle) - r * w * np.cos(angle)) / scale - d / (1 + r)
        return steady + r * fading, current_share(r, w, d, angle) - fading


def decay_rate(r: Array, w: Array) -> Array:
    """Rate at which the capacitor follows the source, (1 + r)/(r w), without limit at r = 0 [1/rad]."""
    return (1 + r) / np.maximum(r * w, 1e-290)


def current_share(r: Array, w: Array, d: Array, angle: Array) -> Array:
    """The part of the current that repeats: (sin t - d - steady v)/r, written so that r = 0 is no division by zero."""
    scale = (1 + r) ** 2 + (r * w) ** 2
    return ((1 + r + r * w**2) * np.sin(angle) + w * np.cos(angle)) / scale - d / (1 + r)


def pulse_end(r: Array, w: Array, d: Array, start: Array, tolerance: float = 1e-14) -> Array:
    """First angle after ``start`` at which the current is back at zero, to a relative tolerance [rad]."""
    rate = decay_rate(r, w)
    scale = (1 + r) ** 2 + (r * w) ** 2
    in_phase, ahead, at_start = (1 + r + r * w**2) / scale, w / scale, current_share(r, w, d, start)

    def current_per_angle(length: Array) -> Array:
        middle = start + length / 2
        turn = np.sin(length / 2) * 2 * (in_phase * np.cos(middle) - ahead * np.sin(middle))
        return (turn - at_start * np.expm1(-rate * length)) / length

    longest = np.pi - np.arcsin(d) - start
    return start + bracketed_root(current_per_angle, 1e-9 * longest, longest, tolerance)


def pulse(period: float, r: Array, w: Array, d: Array, tolerance: float = 1e-14) -> Pulse:
    """The steady pulse at known load resistance.

    Parameters
    ----------
    period : float
        pi (full-wave, bridge) or 2 pi (half-wave) [rad].
    r, w, d : array
        As in Pulse; r from 0, d above -1 and below 1.
    """
    w = np.clip(w, W_LEAST, W_MOST)

    def closure(start: Array) -> Array:
        stop = pulse_end(r, w, d, start, tolerance)
        with np.errstate(divide="ignore", invalid="ignore"):
            fall = np.log(np.sin(stop) - d) - np.log(np.sin(start) - d)
        return np.nan_to_num(fall - (period + start - stop) / w, nan=1e6, posinf=1e6, neginf=-1e6)

    earliest = np.arcsin(d)
    start = bracketed_root(closure, earliest + 1e-14, np.full_like(earliest, np.pi / 2) - 1e-9, tolerance)
    return Pulse(r, w, d, period, start, pulse_end(r, w, d, start, tolerance))


def mean_emf(period: float, d: Array) -> Array:
    """Mean of the positive part of sin t - d over the period, over peak: what a short circuit would drive [1]."""
    d = np.clip(d, -1, 1)
    edge = np.arcsin(d)
    return (2 * np.cos(edge) - d * (np.pi - 2 * edge)) / period


def load_ratio(period: float, source: Array, reactance: Array, d: Array, tolerance: float = 1e-12) -> Array:
    """Load resistance that draws the wanted current, in units of peak over that current.

    Parameters
    ----------
    period : float
        pi or 2 pi [rad].
    source : array
        Source resistance in units of peak over load current [1]; below ``mean_emf(period, d)``.
    reactance : array
        omega C times peak over load current [1].
    d : array
        As in Pulse [1].
    """

    def excess(ratio: Array) -> Array:
        return pulse(period, source / ratio, reactance * ratio, d, tolerance / 100).dc - ratio

    least = mean_emf(period, d) - source
    return bracketed_root(excess, np.maximum(least * (1 - 1e-6), 1e-9), 1 - d, tolerance)


def measures(one: Pulse) -> dict[str, Array]:
    """dc, ripple (peak to peak, rms), rms and peak current and mean power of a pulse, in the units of this module."""
    angle, weight = nodes_between(one.start, one.stop, decay_rate(one.r, one.w))
    ends = np.stack((one.start, one.stop), axis=1)
    voltage, current = one.waves(angle)
    last = (np.sin(one.stop) - one.d)[:, None]
    rest, rest_weight = nodes_between(one.stop, one.start + one.period, 1 / one.w)
    fall = last * np.exp(-(rest - one.stop[:, None]) / one.w[:, None])
    dc = one.dc
    spread = (weight * (voltage - dc[:, None]) ** 2).sum(1) + (rest_weight * (fall - dc[:, None]) ** 2).sum(1)
    every = np.concatenate((ends[:, :1], angle, ends[:, 1:]), axis=1)
    emf = np.sin(angle) - one.d[:, None]
    return {
        "dc": dc,
        "ripple_pp": greatest(lambda at: one.waves(at)[0], every) + greatest(lambda at: -one.waves(at)[0], every),
        "ripple_rms": np.sqrt(spread / one.period),
        "rms": np.sqrt((weight * current**2).sum(1) / one.period),
        "peak": greatest(lambda at: one.waves(at)[1], every),
        "power": (weight * current * emf).sum(1) / one.period,
        "mean": (weight * current).sum(1) / one.period,
    }
