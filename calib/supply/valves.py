"""Thermionic rectifiers: the table of their drops and limits, the 3/2-power law, and the steady state that it makes.

Source of the law, i = G v^1.5: C. D. Child 1911 and I. Langmuir 1913 (space-charge limited current); of drops and
limits: the table's rows. A limit that was not read in its source is unverified and says so.

The law has no closed form through a capacitor: collocation on the conduction interval. There the states are polynomials
that satisfy the circuit's equations at Gauss points of an angle phi, t = start + (stop - start)(1 - cos phi)/2, in
which current that begins and ends as a 3/2 power is smooth; outside it the capacitor discharges exactly. The ends of
the interval and the load resistance are unknowns of the same system. Derivatives of its residuals: at a point the
motion depends on the state there alone and on the two ends and the load resistance, so a few complex steps of the
motion give every derivative, and the polynomials, which are linear, carry them to the knots.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from difflib import get_close_matches
from functools import cache
from math import inf, isnan, nan
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev, legendre

from calib.errors import InputError
from calib.paths import shipped_rows
from calib.supply import diodes
from calib.supply.periodic import Array, PerUnit, newton, nodes_between

NEAR, MOST_NEAR = 0.6, 5  # how alike a type number must be to be offered for one that is not known, and how many
ENVELOPES = ("GTB", "GT", "GY", "GB", "G")

# elements of the interval and states of the circuit, by its kind
SHAPES = {"capacitor": (1, 1), "doubler": (1, 2), "stopping": (2, 2), "continuous": (1, 2)}
AT_ONCE = 64  # cases solved together, to bound the memory
LEAST, MOST = 0.02, 1e5  # omega C times peak over load current: beyond them nothing changes by more than 1e-4 and 1e-5
STEP = 1e-30
DEGREE = 24
POINTS, WEIGHTS = legendre.leggauss(DEGREE)
KNOTS = -np.cos(np.pi * np.arange(DEGREE + 1) / DEGREE)
_BASIS = np.linalg.inv(chebyshev.chebvander(KNOTS, DEGREE))
VALUE = chebyshev.chebvander(POINTS, DEGREE) @ _BASIS
SLOPE = np.stack([chebyshev.chebval(POINTS, chebyshev.chebder(row)) for row in np.eye(DEGREE + 1)], axis=1) @ _BASIS
LOOK_AT = np.linspace(-1, 1, 301)
LOOK = chebyshev.chebvander(LOOK_AT, DEGREE) @ _BASIS


Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Valve:
    """A rectifier valve as its maker states it, by the columns of the table; NaN where it does not tell.

    Attributes
    ----------
    name : str
        Type number.
    equivalents : tuple of str
        Types to which the same limits apply.
    law : str
        power-3/2 (high vacuum) or constant (mercury vapour).
    drop_v, drop_most_v : float
        Drop of one plate at ``at_ma``, the least that is printed (for currents) and the greatest (for the direct
        voltage); the same where sources agree [V].
    at_ma : float
        Direct current of one plate [mA].
    heater_v, heater_a : float
        Heater or filament [V], [A].
    directly_heated : bool
        Whether the filament is the cathode, so that it conducts before the set's valves draw.
    plates : int
        In one bulb.
    max_ac_v_per_plate_rms, max_ac_v_choke_input : float
        No-load volts a plate with capacitor and with choke input [V rms].
    max_peak_inverse_v : float
        Of a plate [V].
    max_dc_ma_capacitor_input, max_dc_ma_choke_input : float
        Direct current of all plates together with capacitor and with choke input [mA].
    max_peak_plate_ma : float
        Of one plate [mA].
    max_first_capacitor_uf : float
        Capacitor input [µF].
    min_source_ohm_per_plate, min_source_at_v : float
        Resistance in series with one plate, capacitor input, and the volts a plate it is printed for [ohm], [V rms].
    dc_ma_by_v, source_ohm_by_v : tuple of (float, float)
        Points (volts a plate, mA or ohm) where the sheet prints several; straight between them.
    checked : frozenset of str
        Columns of the table that were read in the source.
    source : str
        Where the figures were published, by title.
    """

    name: str
    equivalents: tuple[str, ...]
    law: str
    drop_v: float
    drop_most_v: float
    at_ma: float
    heater_v: float
    heater_a: float
    directly_heated: bool
    plates: int
    max_ac_v_per_plate_rms: float
    max_ac_v_choke_input: float
    max_peak_inverse_v: float
    max_dc_ma_capacitor_input: float
    max_dc_ma_choke_input: float
    max_peak_plate_ma: float
    max_first_capacitor_uf: float
    min_source_ohm_per_plate: float
    min_source_at_v: float
    dc_ma_by_v: Points
    source_ohm_by_v: Points
    checked: frozenset[str]
    source: str

    @property
    def perveance(self) -> float:
        """G of one plate, i = G v^1.5 [A/V^1.5]; infinite for a constant drop."""
        return self.at_ma / 1000 / self.drop_v**1.5 if self.law == "power-3/2" else inf

    @property
    def drop_told(self) -> bool:
        """Whether the table tells what it drops."""
        return not isnan(self.drop_v)


@cache
def rectifier_valves() -> dict[str, Valve]:
    """Every valve of the shipped table by its type number."""
    return {row["valve"]: _valve(row) for row in shipped_rows("datasets/valves/rectifiers.csv")}


def _points(text: str) -> Points:
    pairs = (point.split(":") for point in text.split())
    return tuple((float(volts), float(value)) for volts, value in pairs)


# how a cell of the table is read, by the type of the attribute
READ: dict[str, Callable[[str], Any]] = {
    "str": str,
    "int": int,
    "float": lambda text: float(text or nan),
    "bool": lambda text: text == "true",
    "Points": _points,
    "tuple[str, ...]": lambda text: tuple(part.strip() for part in text.split(";") if part.strip()),
    "frozenset[str]": lambda text: frozenset(text.split(";")),
}


def _valve(row: dict[str, str]) -> Valve:
    cells = row | {"name": row["valve"], "drop_most_v": row["drop_most_v"] or row["drop_v"]}
    return Valve(**{field.name: READ[str(field.type)](cells[field.name]) for field in fields(Valve)})


def rectifier_valve(name: str) -> Valve:
    """The valve of that type number, or the one whose limits apply to it as an equivalent.

    Case, blanks, hyphens and strokes do not matter, nor does a trailing G, GT or GY: of several that are then alike
    the first of the table, which stands the least, is taken.

    Raises
    ------
    InputError
        The table has no such valve; the error names the types most like it.
    """
    spelt, exact, plain = _names()
    wanted = letters(name)
    found = exact.get(wanted) or plain.get(without_envelope(wanted))
    if found:
        return rectifier_valves()[found]
    alike = ((spelt[one], exact[one]) for one in get_close_matches(wanted, spelt, MOST_NEAR, NEAR))
    near = [other if other == home else f"{other} (as {home})" for other, home in alike]
    offered = (
        f"did you mean {', '.join(near)}? If not," if near else f"give one of: {', '.join(rectifier_valves())}; or"
    )
    raise InputError.one(
        "is not in the table of rectifier valves",
        f"{offered} give the drop of its data sheet as a diode drop in volts, its limits then being for you to judge",
        column="valve",
        value=name,
        code="choice",
    )


@cache
def _names() -> tuple[dict[str, str], dict[str, str], dict[str, str]]:
    """By the letters of a type number how it is spelt and its valve, and by those less the envelope's the valve."""
    valves = rectifier_valves().values()
    pairs = [(valve.name, valve.name) for valve in valves]  # a valve's own name goes first
    pairs += [(other, valve.name) for valve in valves for other in valve.equivalents]
    exact = {letters(other): home for other, home in reversed(pairs)}
    plain = {without_envelope(letters(other)): home for other, home in reversed(pairs)}
    return {letters(other): other for other, _ in pairs}, exact, plain


def letters(name: str) -> str:
    """The letters and digits of a type number, in capitals."""
    return "".join(part for part in name.upper() if part.isalnum())


def without_envelope(name: str) -> str:
    """The letters of a type number without those of its envelope."""
    for ending in ENVELOPES:
        if name.endswith(ending) and len(name) > len(ending) + 1:
            return name[: -len(ending)]
    return name


def current_through(volts: Array, source: Array, perveance: Array) -> Array:
    """Current through resistance and valve in series: source i + (i/perveance)^(2/3) = volts; complex steps allowed."""
    have = np.maximum(volts.real, 0)
    stiff = source * perveance
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.fmin(np.sqrt(have), np.cbrt(have / stiff))
        # from above, at most a third too large: each round squares the error, which is exact by the 6th
        for _ in range(7):
            root = root - np.where(root > 0, (stiff * root**3 + root**2 - have) / (3 * stiff * root**2 + 2 * root), 0)
    current = perveance * root**3
    if not np.iscomplexobj(volts):
        return current
    return current + 1j * volts.imag * (3 * perveance * root / (3 * stiff * root + 2))


def drop_of(current: Array, perveance: Array) -> Array:
    """Drop of the valve at a current, (i/perveance)^(2/3); complex steps allowed."""
    positive = current.real > 0
    return np.where(positive, (np.where(positive, current, 1) / perveance) ** (2 / 3), 0)


def ends_of(case: PerUnit, start: Array, stop: Array) -> list[tuple[Array, Array]]:
    """Bounds of the elements: two for a choke, parted where the source is turned over or else halfway."""
    if SHAPES[case.kind][0] == 1:
        return [(start, stop)]
    crosses = (stop.real > np.pi) & (case.period < 4)
    middle = np.where(crosses, np.pi + 0 * start, (start + stop) / 2)
    return [(start, middle), (middle, stop)]


def angles(start: Array, stop: Array, points: Array) -> tuple[Array, Array]:
    """Angles at points from -1 to 1 of an element, and their derivative; an axis of points is added."""
    phi = (points + 1) * np.pi / 2
    length = (stop - start)[..., None]
    return start[..., None] + length * (1 - np.cos(phi)) / 2, length * np.sin(phi) * np.pi / 4


def source_emf(case: PerUnit, angle: Array) -> Array:
    """The source less the constant drop, turned over after pi with a full-wave rectifier, over peak [1]."""
    turned = (angle.real > np.pi) & (case.period < 4)
    return np.where(turned, -np.sin(angle), np.sin(angle)) - case.drop


def motion(case: PerUnit, angle: Array, state: Array, ratio: Array) -> tuple[Array, Array]:
    """Derivative of the states and the rectifier's current, axes (…, states, points); case has an axis for points."""
    emf = source_emf(case, angle)
    first = state[..., 0, :]
    if case.kind in ("capacitor", "doubler"):
        total = state.sum(axis=-2)
        current = current_through(emf - first, case.source, case.perveance)
        drain = total / ratio
        parts = [(current - drain) / case.reactance]
        if case.kind == "doubler":
            parts.append(-drain / case.reactance)
        return np.stack(parts, axis=-2), current
    voltage = state[..., 1, :]
    swing = emf - case.source * first - drop_of(first, case.perveance) - voltage
    return np.stack((swing / case.choke, (first - voltage / ratio) / case.reactance), axis=-2), first


def unpack(case: PerUnit, unknowns: Array) -> tuple[Array, Array, Array, Array]:
    """States at the knots (…, elements, states, knots), start, stop and load resistance."""
    elements, states = SHAPES[case.kind]
    values = unknowns[..., :-3].reshape(*unknowns.shape[:-1], elements, states, DEGREE + 1)
    return values, unknowns[..., -3], unknowns[..., -2], np.exp(unknowns[..., -1])


def residuals(case: PerUnit, unknowns: Array) -> Array:
    """What the unknowns leave of the circuit's equations, zero at the steady state; case has the unknowns' axes."""
    values, start, stop, ratio = unpack(case, unknowns)
    found, charge = [], np.zeros_like(start)
    wide = case.wider(1)
    for number, (low, high) in enumerate(ends_of(case, start, stop)):
        angle, stretch = angles(low, high, POINTS)
        knots = values[..., number, :, :]
        slope, current = motion(wide, angle, knots @ VALUE.T, ratio[..., None])
        gap = knots @ SLOPE.T - stretch[..., None, :] * slope
        found.append(gap.reshape(*gap.shape[:-2], -1))
        charge = charge + (WEIGHTS * stretch * current).sum(axis=-1)
        if number:
            found.append(knots[..., 0] - values[..., number - 1, :, -1])
    conditions = edges(case, (values[..., 0, :, 0], values[..., -1, :, -1]), (start, stop), ratio)
    return np.concatenate((*found, np.stack((*conditions, charge / case.period - 1), axis=-1)), axis=-1)


def edges(case: PerUnit, states: tuple[Array, Array], ends: tuple[Array, Array], ratio: Array) -> list[Array]:
    """The conditions at both ends of the interval."""
    (first, last), (start, stop) = states, ends
    w = case.reactance * ratio
    if case.kind == "continuous":
        return [start, stop - np.pi, last[..., 0] - first[..., 0], w * (last[..., 1] - first[..., 1])]
    at_start, at_stop = source_emf(case, start), source_emf(case, stop)
    if case.kind == "doubler":
        fall = np.exp(-2 * (np.pi + start - stop) / w)
        total = w * (last.sum(axis=-1) * fall - first.sum(axis=-1))
        other = w * (last[..., 0] - last[..., 1] - first[..., 1] + first[..., 0])
        return [first[..., 0] - at_start, last[..., 0] - at_stop, total, other]
    fall = np.exp(-(case.period + start - stop) / w)
    closure = w * (last[..., -1] * fall - first[..., -1])
    if case.kind == "capacitor":
        return [first[..., 0] - at_start, last[..., 0] - at_stop, closure]
    return [first[..., 0], first[..., 1] - at_start, last[..., 0], closure]


def slopes(case: PerUnit, unknowns: Array) -> Array:
    """Derivative of every residual by every unknown, shape (cases, residuals, unknowns); exact to rounding."""
    values, start, stop, ratio = unpack(case, unknowns)
    elements, states = SHAPES[case.kind]
    points, knots, size = DEGREE, DEGREE + 1, unknowns.shape[1]
    found = np.zeros((len(unknowns), size, size))
    row = 0
    for number, (low, high) in enumerate(ends_of(case, start, stop)):
        angle, stretch = angles(low, high, POINTS)
        moving, current = _by_state(case, angle, values[:, number] @ VALUE.T, ratio)
        first = number * states * knots
        block = np.einsum("ms,pk->mpsk", np.eye(states), SLOPE) - np.einsum("cp,cmsp,pk->cmpsk", stretch, moving, VALUE)
        where = slice(first, first + states * knots)
        found[:, row : row + states * points, where] = block.reshape(len(found), states * points, states * knots)
        charge = np.einsum("cp,csp,pk->csk", WEIGHTS * stretch, current, VALUE) / case.period
        found[:, -1, where] = charge.reshape(len(found), -1)
        row += states * points + (states if number else 0)
    ends = [*(block * knots + end for block in range(elements * states) for end in (0, DEGREE)), *range(size - 3, size)]
    stepped = residuals(case.wider(1), unknowns[:, None, :] + 1j * STEP * np.eye(size)[ends])
    found[:, :, ends] = np.swapaxes(stepped.imag / STEP, 1, 2)
    return found


def _by_state(case: PerUnit, angle: Array, state: Array, ratio: Array) -> tuple[Array, Array]:
    """Derivatives by the state at each point: of its motion, (cases, moved, state, points), and of the current."""
    wide, motions, currents = case.wider(1), [], []
    for one in range(state.shape[1]):
        stepped = state.astype(complex)
        stepped[:, one] += STEP * 1j
        moved, current = motion(wide, angle, stepped, ratio[:, None])
        motions.append(moved.imag / STEP)
        currents.append(current.imag / STEP)
    return np.stack(motions, axis=2), np.stack(currents, axis=1)


def valve_supply(case: PerUnit) -> tuple[Array, dict[str, Array], Array]:
    """The steady state at a wanted load current.

    Parameters
    ----------
    case : PerUnit
        The cases; kind capacitor, doubler or stopping (with a choke it is found here whether the current stops).

    Returns
    -------
    ratio, measures, found : array, dict of arrays, array of bool
        Load resistance in units of peak over load current; averages as of the other inputs but with currents in units
        of the load current, and start and stop [rad]; where the wanted current can be had.
    """
    beyond = np.maximum(case.reactance / MOST, 1.0)
    case = replace(case, reactance=np.clip(case.reactance, LEAST, MOST))
    size = len(case.source)
    parts = [_solved(case.rows(slice(at, at + AT_ONCE))) for at in range(0, size, AT_ONCE)]
    ratio, found = (np.concatenate([part[at] for part in parts]) for at in (0, 2))
    result = {name: np.concatenate([part[1][name] for part in parts]) for name in parts[0][1]}
    for name in ("ripple_pp", "ripple_rms"):
        result[name] = result[name] / beyond
    return ratio, result, found


def _solved(case: PerUnit) -> tuple[Array, dict[str, Array], Array]:
    """At most AT_ONCE cases; a full-wave choke's are tried as never stopping first."""
    if case.kind != "stopping" or case.period > 4:
        return _of_kind(case)
    ratio, result, found = _of_kind(replace(case, kind="continuous"))
    found &= result["least"] >= 0
    rest = np.flatnonzero(~found)
    if len(rest):
        ratio[rest], part, found[rest] = _of_kind(case.rows(rest))
        for name, values in part.items():
            result[name][rest] = values
    return ratio, result, found


def _of_kind(case: PerUnit) -> tuple[Array, dict[str, Array], Array]:
    unknowns, found = newton(lambda x: residuals(case, x), _guess(case), lambda x: slopes(case, x))
    return np.exp(unknowns[:, -1]), _measures(case, unknowns), found


def _guess(case: PerUnit) -> Array:
    """Unknowns from the exact solution with a resistance for the valve: its drop at the peak over the peak current."""
    most = 0.9 * case.mean_emf * (0.6 if case.kind == "doubler" else 1)
    peak = np.full_like(case.source, 1.0 if case.kind == "continuous" else 4.0)

    def guessed(peak: Array, like: diodes.Pulse | None) -> tuple[diodes.Pulse, Array, Array]:
        source = np.minimum(case.source + (peak / case.perveance) ** (2 / 3) / peak, most)
        one = diodes.first_guess(replace(case, source=source), like)
        looks = np.linspace(one.start, np.maximum(one.stop, one.start + 0.02), 33, axis=1)
        return one, looks, np.maximum((one.waves(looks)[1] / one.ratio[:, None]).max(axis=1), 0.5)

    one, looks, peak = guessed(peak, None)
    for _ in range(2):
        one, looks, peak = guessed(peak, one)
    start, stop = looks[:, 0], looks[:, -1]
    knots = []
    for low, high in ends_of(case, start, stop):
        angle, _ = angles(low, high, KNOTS)
        voltage, current = one.waves(angle)
        if case.kind == "doubler":
            own = np.sin(angle) - one.d[:, None] - one.r[:, None] * current
            knots += [own, voltage - own]
        elif case.kind == "capacitor":
            knots.append(voltage)
        else:
            knots += [current / one.ratio[:, None], voltage]
    return np.concatenate((*knots, np.stack((start, stop, np.log(one.ratio)), axis=1)), axis=1)


def _measures(case: PerUnit, unknowns: Array) -> dict[str, Array]:
    """Averages of the solution, with the names that the other inputs use."""
    values, start, stop, ratio = unpack(case, unknowns)
    wide = case.wider(1)
    sums, volts, currents = [], [], []
    for number, (low, high) in enumerate(ends_of(case, start, stop)):
        knots = values[:, number]
        angle, stretch = angles(low, high, POINTS)
        state = knots @ VALUE.T
        current = motion(wide, angle, state, ratio[:, None])[1]
        sums.append((WEIGHTS * stretch, source_emf(wide, angle), _output(case, state), current))
        look = knots @ LOOK.T
        volts.append(_output(case, look))
        currents.append(motion(wide, angles(low, high, LOOK_AT)[0], look, ratio[:, None])[1])
    weight, emf, voltage, current = (np.concatenate(part, axis=1) for part in zip(*sums, strict=True))
    output, flow = np.concatenate(volts, axis=1), np.concatenate(currents, axis=1)
    period, rate = (np.pi, 2) if case.kind == "doubler" else (case.period, 1)
    w = (case.reactance * ratio)[:, None] / rate
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
        "mean": (weight * current).sum(1) / case.period,
        "start": start,
        "stop": stop,
    }


def _output(case: PerUnit, state: Array) -> Array:
    """Output voltage from states of shape (cases, states, points)."""
    return state.sum(axis=1) if case.kind == "doubler" else state[:, -1]
