"""Symmetrical doubler: exact periodic steady state, for many cases at once.

Two equal capacitors in series across the load, each fed by its own rectifier in its own half of the line cycle. In the
units of capacitor_input (r and w with the whole load and one capacitor), while the first rectifier conducts:

    w da/dt = i - a - b,   w db/dt = -a - b,   i = (sin t - d - a)/r

and with none conducting a + b dies away as exp(-2t/w) while a - b stays. After half a cycle a and b change places.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.supply.capacitor_input import GUESSED, W_LEAST, W_MOST, load_ratio, mean_emf, pulse
from calib.supply.numerics import Array, greatest, newton, nodes_between

# shares of the wanted current, from light load on, where the first guess does not lead to the answer
_SHARES = (*np.geomspace(0.02, 0.7, 12), *(1 - np.geomspace(0.25, 1e-3, 20)), 1.0)


@dataclass(frozen=True)
class DoublerPulse:
    """One conduction of the first rectifier.

    Attributes
    ----------
    r, w, d : array
        As in capacitor_input.Pulse, with the whole load and one capacitor [1].
    start, stop : array
        First and last instant of conduction [rad].
    dc : array
        Mean output voltage over peak: one pulse moves pi dc / w from the one capacitor's voltage to the other's [1].
    """

    r: Array
    w: Array
    d: Array
    start: Array
    stop: Array
    dc: Array

    @property
    def rates(self) -> tuple[Array, Array]:
        """The slow and the fast rate of the two capacitors together while one rectifier conducts [1/rad]."""
        feed = 1 / np.maximum(self.r * self.w, 1e-100)
        mean = feed / 2 + 1 / self.w
        fast = mean + np.sqrt(mean**2 - feed / self.w)
        return feed / self.w / fast, fast

    def _steady(self, angle: Array) -> tuple[Array, Array]:
        """The part of the current, and of the other capacitor's voltage, that repeats."""
        other = 1 / (1 + 1j * self.w)
        first = 1 / (1 + self.r * 1j * self.w * (1 + other))
        current, voltage = first * 1j * self.w * (1 + other), -first * other
        sine, cosine = np.sin(angle), np.cos(angle)
        return (
            current.real * sine + current.imag * cosine,
            voltage.real * sine + voltage.imag * cosine + self.d,
        )

    def _fading(self, angle: Array) -> tuple[Array, Array, Array, Array]:
        """Transition from ``start``: own to own, other to own over r, own to other times r, other to other."""
        slow, fast = self.rates
        length = angle - self.start
        gap = fast - slow
        decay = np.exp(-slow * length)
        share = -decay * np.expm1(-gap * length) / gap
        feed = 1 / np.maximum(self.r * self.w, 1e-100)
        resistance = np.maximum(self.r, 1e-100 / self.w)
        own = decay - share * (feed + 1 / self.w - slow)
        other = decay - share * (1 / self.w - slow)
        return own, -share / self.w / resistance, -share / self.w * self.r, other

    @property
    def other_excess(self) -> Array:
        """The other capacitor's voltage at ``start`` above what repeats [1]."""
        return np.sin(self.start) - self.d + np.pi * self.dc / self.w - self._steady(self.start)[1]

    def waves(self, angle: Array) -> tuple[Array, Array]:
        """Output voltage (both capacitors) and current at angles within the pulse, shape (cases, angles)."""
        one = DoublerPulse(*(value[:, None] for value in (self.r, self.w, self.d, self.start, self.stop, self.dc)))
        own, cross, back, other = one._fading(angle)
        excess, at_start = one.other_excess, one._steady(one.start)[0]
        steady, voltage = one._steady(angle)
        current = steady - own * at_start - cross * excess
        first = np.sin(angle) - one.d - one.r * current
        return first + voltage + back * at_start + other * excess, current

    def at_stop(self) -> tuple[Array, Array, Array]:
        """Both capacitors' voltages and the current at ``stop``, which is zero once the pulse is the steady one."""
        own, cross, back, other = self._fading(self.stop)
        excess = self.other_excess
        at_start = self._steady(self.start)[0]
        current, voltage = self._steady(self.stop)
        current = current - own * at_start - cross * excess
        return np.sin(self.stop) - self.d - self.r * current, voltage + back * at_start + other * excess, current


def doubler_pulse(source: Array, reactance: Array, d: Array) -> tuple[Array, DoublerPulse, Array]:
    """The steady pulse at a wanted load current.

    Parameters
    ----------
    source, reactance, d : array
        As in capacitor_input.load_ratio, reactance that of one capacitor [1].

    Returns
    -------
    ratio, pulse, found : array, DoublerPulse, array of bool
        Load resistance in units of peak over load current, the pulse, and where the wanted current can be had.
    """
    cases = np.stack((source, reactance, d), axis=1)
    unknowns, found = newton(lambda x: _residuals(x, *cases.T), _guess(cases, GUESSED))
    # what the short-circuited doubler gives: the source through twice the capacitance
    possible = source**2 + 0.25 / reactance**2 < 1 / np.pi**2
    left = np.flatnonzero(possible & ~found)
    if len(left):
        trial = _guess(cases[left], 1e-12)
        for share in _SHARES:
            part = cases[left] * (share, 1 / share, 1)
            trial, good = newton(lambda x, part=part: _residuals(x, *part.T), trial)  # type: ignore[misc]
        unknowns[left], found[left] = trial, good
    one = _built(unknowns, source, reactance, d)
    return one.dc, one, found & possible & (one.dc > 1e-4)


def _guess(cases: Array, tolerance: float) -> Array:
    """First unknowns, from a half-wave rectifier of the same source."""
    source, reactance, d = cases.T
    able = 1.5 * source < mean_emf(2 * np.pi, d)
    source = np.where(able, source, 0.6 * mean_emf(2 * np.pi, d))
    half = load_ratio(2 * np.pi, source, reactance, d, tolerance)
    one = pulse(2 * np.pi, source / half, reactance * half, d, tolerance)
    return np.stack((one.start, np.log(one.stop - one.start), np.log(2 * half)), axis=1)


def _built(unknowns: Array, source: Array, reactance: Array, d: Array) -> DoublerPulse:
    start, log_length, log_ratio = unknowns.T
    ratio = np.exp(log_ratio)
    w = np.clip(reactance * ratio, W_LEAST, W_MOST)
    return DoublerPulse(source / ratio, w, d, start, start + np.exp(log_length), ratio)


def _residuals(unknowns: Array, source: Array, reactance: Array, d: Array) -> Array:
    one = _built(unknowns, source, reactance, d)
    own, other, current = one.at_stop()
    fall = np.exp(-2 * (np.pi + one.start - one.stop) / one.w)
    before = 2 * (np.sin(one.start) - d) + np.pi * one.dc / one.w
    return np.stack(
        (
            current / one.dc,
            one.w * (own - other) / np.pi / one.dc - 1,
            one.w * ((own + other) * fall - before) / one.dc,
        ),
        axis=1,
    )


def measures(one: DoublerPulse) -> dict[str, Array]:
    """dc, ripple, rms and peak current and mean power, in the units of capacitor_input; rms is the winding's."""
    angle, weight = nodes_between(one.start, one.stop, one.rates[1])
    ends = np.stack((one.start, one.stop), axis=1)
    voltage, current = one.waves(angle)
    own, other, _ = one.at_stop()
    rest, rest_weight = nodes_between(one.stop, one.start + np.pi, 2 / one.w)
    fall = (own + other)[:, None] * np.exp(-2 * (rest - one.stop[:, None]) / one.w[:, None])
    dc = one.dc
    spread = (weight * (voltage - dc[:, None]) ** 2).sum(1) + (rest_weight * (fall - dc[:, None]) ** 2).sum(1)
    every = np.concatenate((ends[:, :1], angle, ends[:, 1:]), axis=1)
    emf = np.sin(angle) - one.d[:, None]
    return {
        "dc": dc,
        "ripple_pp": greatest(lambda at: one.waves(at)[0], every) + greatest(lambda at: -one.waves(at)[0], every),
        "ripple_rms": np.sqrt(spread / np.pi),
        "rms": np.sqrt((weight * current**2).sum(1) / np.pi),
        "peak": greatest(lambda at: one.waves(at)[1], every),
        "power": (weight * current * emf).sum(1) / np.pi,
        "mean": (weight * current).sum(1) / (2 * np.pi),
    }
