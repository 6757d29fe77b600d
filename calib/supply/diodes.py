"""Exact periodic steady states with ideal diodes or diodes of constant drop: capacitor input, choke input, doubler.

Angles are omega t; voltages are in units of the winding's peak, currents of peak / load resistance. With
r = source / load resistance, w = omega C load resistance and d the drop, one pulse runs from a to b. Capacitor input:

    r w dv/dt = sin t - d - (1 + r) v,   v(a) = sin a - d,   i(b) = 0,   v(b) exp(-(period + a - b)/w) = v(a)

Choke input, with x = omega L / load resistance, r the choke's resistance as well, and j the choke's current:

    x dj/dt = e(t) - d - r j - v,   w dv/dt = j - v,   e = |sin t| (full-wave, bridge) or sin t (half-wave)

One side of the winding conducts at any instant. Above the critical inductance the full-wave current never stops; below
it, and always with a half-wave rectifier, conduction begins where sin t - d = v and ends at the first zero of j. The
rectifier blocks meanwhile: there is no freewheel path.

Symmetrical doubler: two equal capacitors in series across the load, each fed by its own rectifier in its own half of
the line cycle. With the whole load and one capacitor, while the first rectifier conducts:

    w da/dt = i - a - b,   w db/dt = -a - b,   i = (sin t - d - a)/r

and with none conducting a + b dies away as exp(-2t/w) while a - b stays. After half a cycle a and b change places.
Sources: O. H. Schade, "Analysis of Rectifier Operation", Proc. IRE 1943, whose curves are the first of these; R. Lee,
"Electronic Transformers and Circuits".
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar

import numpy as np

from calib.supply.periodic import Array, Circuit, Pair, PerUnit, each, greatest, newton, nodes_between, root

W_LEAST = 1e-6  # below it nothing changes by more than 1e-6
GUESSED = 1e-3  # how near a first guess of Newton's method is solved [1]
NEAR = 0.3  # how far Newton's method may go from a first guess; what lies further may be another solution
LOOKS = np.linspace(0, 1, 65)[1:] ** 2  # shares of the longest conduction at which a guess looks for its end
SHORT_ROUNDS = 12  # of Newton's method, from one share of the current to the next
ROUNDING = 1e-7  # of a current in units of the load's: so little below zero is zero
# shares of the wanted current, from light load on, where the first guess does not lead to the answer
SHARES = (*np.geomspace(0.02, 0.7, 12), *(1 - np.geomspace(0.25, 1e-3, 20)), 1.0)


@dataclass(frozen=True)
class Pulse:
    """One conduction of one rectifier.

    Attributes
    ----------
    r, w, x, d : array
        Source (and choke's) resistance, omega C and omega L by load resistance, drop over peak [1].
    ratio : array
        Load resistance in units of peak over load current: the mean output voltage over peak [1].
    start, stop : array
        First and last instant of conduction [rad].
    period : float
        Between two pulses into one capacitor [rad].
    """

    r: Array
    w: Array
    x: Array
    d: Array
    ratio: Array
    start: Array
    stop: Array
    period: float
    w_most: ClassVar[float] = 1e7  # beyond it nothing changes, but that ripple goes on as 1/w
    leak: ClassVar[float] = 1.0  # rate at which the output dies away with no rectifier conducting, times w

    @classmethod
    def of(cls, case: PerUnit, ratio: Array, start: Array, stop: Array) -> Pulse:
        """A pulse of known ends at a load resistance."""
        w = np.clip(case.reactance * ratio, W_LEAST, cls.w_most)
        return cls(case.source / ratio, w, case.choke / ratio, case.drop, ratio, start, stop, case.period)

    @classmethod
    def of_unknowns(cls, case: PerUnit, unknowns: Array) -> Pulse:
        """A pulse of unknowns: start, logarithm of length and logarithm of load resistance."""
        start, log_length, log_ratio = unknowns.T
        return cls.of(case, np.exp(log_ratio), start, start + np.exp(log_length))

    @property
    def unknowns(self) -> Array:
        """As ``of_unknowns`` takes them."""
        return np.stack((self.start, np.log(self.stop - self.start), np.log(self.ratio)), axis=1)

    @property
    def spacing(self) -> float:
        """Between two pulses into the output [rad]."""
        return self.period

    @property
    def rate(self) -> Array:
        """The fastest exponential of the circuit [1/rad]."""
        raise NotImplementedError

    @property
    def dc(self) -> Array:
        """Mean output voltage over peak [1]."""
        raise NotImplementedError

    @property
    def corners(self) -> tuple[Array, ...]:
        """The ends, and what is to be averaged over on either side of it."""
        return self.start, self.stop

    def waves(self, angle: Array) -> Pair:
        """Output voltage and current at angles within the pulse, shape (cases, angles)."""
        raise NotImplementedError

    def emf(self, angle: Array) -> Array:
        """The source less the drop at angles of shape (cases, angles), over peak [1]."""
        return np.sin(angle) - self.d[:, None]

    def residuals(self) -> Array:
        """What is left of: no current at the stop, the same voltage a period on, the wanted current."""
        voltage, current = (wave[:, 0] for wave in self.waves(self.stop[:, None]))
        fall = np.exp(-(self.period + self.start - self.stop) / self.w)
        again = np.maximum(self.w, 1) * (voltage * fall - np.sin(self.start) + self.d)
        return np.stack((current / self.ratio, again / self.ratio, self.dc / self.ratio - 1), axis=1)


@dataclass(frozen=True)
class CapacitorPulse(Pulse):
    """One conduction into a capacitor."""

    @property
    def dc(self) -> Array:
        """By charge balance [1]."""
        emf = np.cos(self.start) - np.cos(self.stop) - self.d * (self.stop - self.start)
        rise = np.sin(self.stop) - np.sin(self.start)
        return (emf + self.w * rise) / (self.period * (1 + self.r))

    @property
    def rate(self) -> Array:
        """At which the capacitor follows the source, (1 + r)/(r w), without limit at r = 0 [1/rad]."""
        return (1 + self.r) / np.maximum(self.r * self.w, 1e-290)

    def repeating(self, angle: Array) -> Array:
        """The part of the current that repeats: (sin t - d - steady v)/r, so that r = 0 is no division by zero."""
        scale = (1 + self.r) ** 2 + (self.r * self.w) ** 2
        in_phase, ahead = 1 + self.r + self.r * self.w**2, self.w
        return (in_phase * np.sin(angle) + ahead * np.cos(angle)) / scale - self.d / (1 + self.r)

    def waves(self, angle: Array) -> Pair:
        """Output voltage and current at angles within the pulse, shape (cases, angles)."""
        one = each(self, lambda part: part[:, None])
        fading = one.repeating(one.start) * np.exp(-one.rate * (angle - one.start))
        scale = (1 + one.r) ** 2 + (one.r * one.w) ** 2
        steady = ((1 + one.r) * np.sin(angle) - one.r * one.w * np.cos(angle)) / scale - one.d / (1 + one.r)
        return steady + one.r * fading, one.repeating(angle) - fading


@dataclass(frozen=True)
class ChokePulse(Pulse):
    """One conduction through a choke, or one half-cycle (from 0 to pi) of a current that never stops.

    Attributes
    ----------
    first_current, first_voltage : array
        Choke current and output voltage at ``start``.
    """

    first_current: Array
    first_voltage: Array
    w_most: ClassVar[float] = 1e5

    @classmethod
    def of(cls, case: PerUnit, ratio: Array, start: Array, stop: Array) -> ChokePulse:
        """A pulse of known ends at a load resistance, from no current."""
        w = np.clip(case.reactance * ratio, W_LEAST, cls.w_most)
        parts = (case.source / ratio, w, case.choke / ratio, case.drop, ratio, start, stop, case.period)
        return cls(*parts, np.zeros_like(start), np.sin(start) - case.drop)

    @property
    def circuit(self) -> Circuit:
        """The circuit of choke current and output voltage while the rectifier conducts."""
        scale = (1j * self.x + self.r) * (1j + 1 / self.w) + 1 / self.w
        settled = -self.d / (1 + self.r)
        matrix = (-self.r / self.x, -1 / self.x, 1 / self.w, -1 / self.w)
        return Circuit(*matrix, ((1j + 1 / self.w) / scale, 1 / self.w / scale), (settled, settled))

    @property
    def rate(self) -> Array:
        """The faster of the circuit's two [1/rad]."""
        return np.abs(self.circuit.rates[1])

    @property
    def turn(self) -> float:
        """Angle at which the source is turned over: pi, or never within the pulse (half-wave)."""
        return np.pi if self.period < 4 else np.inf

    @property
    def corners(self) -> tuple[Array, ...]:
        """The ends, and where the source is turned over or else the middle."""
        crosses = (self.stop > self.turn) & (self.start < self.turn)
        return self.start, np.where(crosses, self.turn, (self.start + self.stop) / 2), self.stop

    def waves(self, angle: Array) -> Pair:
        """Output voltage and choke current at angles within the pulse, shape (cases, angles)."""
        one = each(self, lambda part: part[:, None])
        circuit, start, first = one.circuit, one.start, (one.first_current, one.first_voltage)
        current, voltage = circuit.move(first, start, np.minimum(angle, self.turn))
        if np.any(angle > self.turn):
            turned = np.full_like(start, self.turn)
            late = circuit.move(circuit.move(first, start, turned), turned, np.maximum(angle, self.turn), -1.0)
            current, voltage = (
                np.where(angle > self.turn, *both) for both in zip(late, (current, voltage), strict=True)
            )
        return voltage, current

    def emf(self, angle: Array) -> Array:
        """The source, turned over or not, less the drop at angles of shape (cases, angles), over peak [1]."""
        return np.where(angle > self.turn, -np.sin(angle), np.sin(angle)) - self.d[:, None]

    @property
    def dc(self) -> Array:
        """By the balance of volt-seconds and of charge [1]."""
        to = np.minimum(self.stop, self.turn)
        emf = np.cos(self.start) - np.cos(to) + np.where(self.stop > to, 1 + np.cos(self.stop), 0.0)
        last = self.waves(self.stop[:, None])[0][:, 0]
        rise = np.where(self.always, 0.0, last - self.first_voltage)
        return (emf - self.d * (self.stop - self.start) + self.w * rise) / (self.period * (1 + self.r))

    @property
    def always(self) -> Array:
        """Where the current never stops."""
        return self.stop - self.start >= self.period * (1 - 1e-15)

    @property
    def blocks_once(self) -> Array:
        """Where the rectifier stays blocked until the next pulse is due; elsewhere choke and capacitor ring."""
        looks = np.linspace(self.stop, self.start + self.period, 65, axis=1)[:, 1:-1]
        voltage = self.waves(self.stop[:, None])[0] * np.exp(-(looks - self.stop[:, None]) / self.w[:, None])
        inside = np.linspace(self.start, self.stop, 65, axis=1)[:, 1:-1]
        return self.always | ((self.emf(looks) <= voltage + 1e-9).all(1) & (self.waves(inside)[1] > -1e-9).all(1))


@dataclass(frozen=True)
class DoublerPulse(Pulse):
    """One conduction of the first rectifier; one pulse moves pi ratio / w from one capacitor's voltage to the other."""

    leak: ClassVar[float] = 2.0

    @property
    def spacing(self) -> float:
        """Each half of the cycle has its pulse [rad]."""
        return self.period / 2

    @property
    def dc(self) -> Array:
        """As it was set [1]."""
        return self.ratio

    @property
    def rate(self) -> Array:
        """The faster of the two capacitors' together while one rectifier conducts [1/rad]."""
        feed = 1 / np.maximum(self.r * self.w, 1e-100)
        mean = feed / 2 + 1 / self.w
        return mean + np.sqrt(mean**2 - feed / self.w)

    def repeating(self, angle: Array) -> Pair:
        """The part of the current, and of the other capacitor's voltage, that repeats."""
        other = 1 / (1 + 1j * self.w)
        first = 1 / (1 + self.r * 1j * self.w * (1 + other))
        current, voltage = first * 1j * self.w * (1 + other), -first * other
        sine, cosine = np.sin(angle), np.cos(angle)
        return current.real * sine + current.imag * cosine, voltage.real * sine + voltage.imag * cosine + self.d

    def transition(self, angle: Array) -> tuple[Array, Array, Array, Array]:
        """From ``start``: own to own, other to own over r, own to other times r, other to other."""
        feed = 1 / np.maximum(self.r * self.w, 1e-100)
        fast = self.rate
        slow = feed / self.w / fast
        length = angle - self.start
        gap = fast - slow
        decay = np.exp(-slow * length)
        share = -decay * np.expm1(-gap * length) / gap
        own = decay - share * (feed + 1 / self.w - slow)
        other = decay - share * (1 / self.w - slow)
        return own, -share / self.w / np.maximum(self.r, 1e-100 / self.w), -share / self.w * self.r, other

    def apart(self, angle: Array) -> tuple[Array, Array, Array]:
        """Both capacitors' voltages and the current at angles within the pulse."""
        own, cross, back, other = self.transition(angle)
        at_start, other_at_start = self.repeating(self.start)
        excess = np.sin(self.start) - self.d + np.pi * self.ratio / self.w - other_at_start
        current, voltage = self.repeating(angle)
        current = current - own * at_start - cross * excess
        return np.sin(angle) - self.d - self.r * current, voltage + back * at_start + other * excess, current

    def waves(self, angle: Array) -> Pair:
        """Output voltage (both capacitors) and current at angles within the pulse, shape (cases, angles)."""
        first, second, current = each(self, lambda part: part[:, None]).apart(angle)
        return first + second, current

    def residuals(self) -> Array:
        """What is left of: no current at the stop, the charge that one pulse moves, the same sum half a cycle on."""
        own, other, current = self.apart(self.stop)
        fall = np.exp(-2 * (np.pi + self.start - self.stop) / self.w)
        before = 2 * (np.sin(self.start) - self.d) + np.pi * self.ratio / self.w
        moved = self.w * (own - other) / np.pi / self.ratio - 1
        return np.stack((current / self.ratio, moved, self.w * ((own + other) * fall - before) / self.ratio), axis=1)


PULSES: dict[str, type[Pulse]] = {"capacitor": CapacitorPulse, "stopping": ChokePulse, "doubler": DoublerPulse}


def bracketed(case: PerUnit) -> Array:
    """First unknowns of a pulse: the load resistance bracketed, and within that the start, the stop being looked for.

    Of a doubler those of a half-wave rectifier of the same source, which gives half the voltage.
    """
    if case.kind == "doubler":
        able = 1.5 * case.source < case.mean_emf
        source = np.where(able, case.source, 0.6 * case.mean_emf)
        return bracketed(replace(case, source=source, kind="capacitor")) + (0, 0, np.log(2))
    cls, given = PULSES[case.kind], (case.source, case.reactance, case.choke, case.drop)

    def looked(start: Array, ratio: Array, *given: Array) -> tuple[Pulse, Array]:
        """The pulse from a start on, its stop between two looks, and the mean of its current over the load's."""
        source, reactance, choke, drop = given
        some = PerUnit(source, reactance, choke, drop, case.perveance[:1], case.period, case.kind)
        longest = case.period if case.kind == "stopping" else np.pi - np.arcsin(some.drop) - start
        one = cls.of(some, ratio, start, start + longest)
        looks = start[:, None] + np.multiply.outer(longest * np.ones_like(start), LOOKS)
        current = one.waves(looks)[1]
        ended = current <= 0
        at = np.where(ended.any(axis=1), np.argmax(ended, axis=1), looks.shape[1] - 1)
        rows, before = np.arange(len(at)), np.maximum(at - 1, 0)
        high, low = current[rows, before], np.minimum(current[rows, at], 0)
        share = np.where(high > low, high / np.where(high > low, high - low, 1), 1)
        stop = looks[rows, before] + np.clip(share, 0, 1) * (looks[rows, at] - looks[rows, before])
        angles = np.concatenate((start[:, None], np.minimum(looks, stop[:, None])), axis=1)
        flow = np.where(ended.cumsum(axis=1) > 0, 0, current)
        mean = np.trapezoid(np.concatenate((0 * start[:, None], flow), axis=1), angles, axis=1) / case.period
        return replace(one, stop=stop), mean

    def closure(start: Array, ratio: Array, *given: Array) -> Array:
        one, _ = looked(start, ratio, *given)
        low, high = np.sin(start) - one.d, one.waves(one.stop[:, None])[0][:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            fall = np.log(np.maximum(high, 0)) - np.log(low)
        return np.nan_to_num(fall - (one.period + start - one.stop) / one.w, nan=-1e6, posinf=1e6, neginf=-1e6)

    def start_of(ratio: Array, *given: Array) -> Array:
        earliest = np.arcsin(given[-1])
        return root(closure, earliest + 1e-12, np.full_like(earliest, np.pi / 2 - 1e-9), (ratio, *given), GUESSED / 10)

    def excess(ratio: Array, *given: Array) -> Array:
        return looked(start_of(ratio, *given), ratio, *given)[1] / ratio - 1

    least = np.maximum(case.mean_emf - case.source, 1e-6) * (1 - 1e-6)
    if case.kind == "stopping" and case.period > 4:  # a large choke may leave less than that
        least = np.full_like(least, 1e-5)
    ratio = root(excess, least, (3 if case.kind == "stopping" else 1) * (1 - case.drop), given, GUESSED)
    start = start_of(ratio, *given)
    return looked(start, ratio, *given)[0].unknowns


def stopping(case: PerUnit) -> tuple[Pulse, Array]:
    """The steady pulse of a current that stops between two pulses, and where the wanted current can be had.

    Newton's method goes from the first guess, and where that does not lead to it, in short steps along with the current
    from light load on; what it does not find stays as guessed.
    """
    cls = PULSES[case.kind]

    def polished(part: PerUnit, trial: Array, rounds: int | None = None) -> tuple[Array, Array]:
        return newton(lambda unknowns: cls.of_unknowns(part, unknowns).residuals(), trial, rounds=rounds)

    guess = bracketed(case)
    unknowns, found = polished(case, guess)
    found &= (np.abs(unknowns - guess).max(axis=1) < NEAR) | (case.kind == "doubler")
    possible = case.mean_emf > case.source
    if case.kind == "doubler":  # what it gives short-circuited: the source through twice the capacitance
        possible = case.source**2 + 0.25 / case.reactance**2 < 1 / np.pi**2
    left = np.flatnonzero(possible & ~found)
    trial = bracketed(case.rows(left).at_share(SHARES[0])) if len(left) else guess[:0]
    for share in SHARES:
        if len(left):
            trial, there = polished(case.rows(left).at_share(share), trial, SHORT_ROUNDS)
            left, trial = left[there], trial[there]
    unknowns[left], found[left] = trial, True
    unknowns[~found] = guess[~found]
    one = cls.of_unknowns(case, unknowns)
    return one, found & possible & (one.ratio > 1e-4)


def continuous(case: PerUnit, ratio: Array, w: Array | float | None = None) -> tuple[ChokePulse, Array]:
    """The half-cycle of a full-wave current that never stops, and where it indeed stays above zero."""
    zero = np.zeros_like(ratio)
    one = ChokePulse.of(case, ratio, zero, zero + np.pi)
    one = one if w is None else replace(one, w=zero + w)
    current, voltage = one.circuit.cycle(np.pi)
    one = replace(one, first_current=current, first_voltage=voltage)
    looks = np.linspace(zero, zero + np.pi, 65, axis=1)
    return one, greatest(lambda at: -one.waves(at)[1], looks) <= ROUNDING


def through_choke(case: PerUnit) -> tuple[Pulse, Array]:
    """The steady pulse or half-cycle through a choke at the wanted current, and where it can be had."""
    if case.period > 4:
        return stopping(case)
    # while the current never stops: mean |sin| - d = dc (1 + r)
    mean = 2 / np.pi - case.drop - case.source
    ratio = np.maximum(mean, 1e-6)
    half_cycle, found = continuous(case, ratio)
    found &= mean > 0
    # next to no capacitor: within 1e-4 the choke and the load alone, whose current never stops
    bare, never = continuous(case, ratio, W_LEAST)
    alone = ~found & never & (mean > 0) & (case.reactance * ratio < 0.01)
    one = put(half_cycle, np.flatnonzero(alone), each(bare, lambda part: part[alone]))
    found |= alone
    rest = np.flatnonzero(~found)
    if len(rest):
        part, found[rest] = stopping(case.rows(rest))
        one = put(one, rest, part)
    return one, found


def first_guess(case: PerUnit, like: Pulse | None = None) -> Pulse:
    """A pulse near enough to the steady one for a first guess; of a choke whose current never stops, the half-cycle.

    Where the pulse of a case much like it is known, Newton's method goes from that.
    """
    if case.kind == "continuous":
        return continuous(case, np.maximum(2 / np.pi - case.drop - case.source, 0.01))[0]
    if like is None:
        return stopping(case)[0]
    cls = PULSES[case.kind]
    unknowns, found = newton(lambda trial: cls.of_unknowns(case, trial).residuals(), like.unknowns)
    found &= np.abs(unknowns - like.unknowns).max(axis=1) < NEAR
    one, rest = cls.of_unknowns(case, unknowns), np.flatnonzero(~found)
    return put(one, rest, stopping(case.rows(rest))[0]) if len(rest) else one


def put(one: Pulse, rows: Array, part: Pulse) -> Pulse:
    """The pulses, those of some rows taken from ``part``."""
    mixed = each(one, np.copy)
    for name, value in vars(mixed).items():
        if isinstance(value, np.ndarray):
            value[rows] = getattr(part, name)
    return mixed


def measures(one: Pulse) -> dict[str, Array]:
    """dc, ripple (peak to peak, rms), rms and peak current and mean power of a pulse, in the units of this module."""
    panels = [nodes_between(low, high, one.rate) for low, high in pairwise(one.corners)]
    angle, weight = (np.concatenate(parts, axis=1) for parts in zip(*panels, strict=True))
    ends = np.stack((one.start, one.stop), axis=1)
    voltage, current = one.waves(angle)
    every = np.concatenate((ends[:, :1], angle, ends[:, 1:]), axis=1)
    rest, rest_weight = nodes_between(one.stop, one.start + one.spacing, one.leak / one.w)
    fall = one.waves(ends[:, 1:])[0] * np.exp(-one.leak * (rest - one.stop[:, None]) / one.w[:, None])
    dc = one.dc
    spread = (weight * (voltage - dc[:, None]) ** 2).sum(1) + (rest_weight * (fall - dc[:, None]) ** 2).sum(1)
    return {
        "dc": dc,
        "ripple_pp": greatest(lambda at: one.waves(at)[0], every) + greatest(lambda at: -one.waves(at)[0], every),
        "ripple_rms": np.sqrt(spread / one.spacing),
        "rms": np.sqrt((weight * current**2).sum(1) / one.spacing),
        "peak": greatest(lambda at: one.waves(at)[1], every),
        "power": (weight * current * one.emf(angle)).sum(1) / one.spacing,
        "mean": (weight * current).sum(1) / one.period,
    }
