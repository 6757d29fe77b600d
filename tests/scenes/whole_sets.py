"""Six whole sets, simulated, marched in time with what the solver leaves out: leakage and a second section.

The march shares nothing with ``calib.supply``. A set is a source with resistance and leakage, a rectifier, a first
filter, a second section and the resistor that all of it feeds, marched by Runge and Kutta's fourth-order steps to the
states that a period brings back (Newton's method over the march).

``python -m tests.scenes.whole_sets`` prints how far the solver is from the march, set by set.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.supply.parameters import Settings
from calib.supply.steady_state import filter_section, state_of
from calib.supply.valves import rectifier_valve

LEAKAGE_OVER_PRIMARY = 2.6 / 5.36  # reactance over resistance of the primary; as much again on the other side
STEPS, ROUNDS = 2000, 12
PROBE = 1e-4


@dataclass(frozen=True)
class WholeSet:
    """A set: V and ohm of one conducting side, its share of the reflected primary, filter, section, load in mA."""

    name: str
    rectifier: str
    filter: str
    volts: float
    own_ohm: float
    primary_ohm: float
    uf: float
    load_ma: float
    hz: float
    section: tuple[float, float, float]  # ohm, H, µF
    valve: str | None = None
    choke: tuple[float, float] = (0.0, 0.0)  # H, ohm

    @property
    def source_ohm(self) -> float:
        return self.own_ohm + self.primary_ohm

    def leakage_h(self) -> float:
        """Of both sides, at the line's frequency [H]."""
        return 2.0 * LEAKAGE_OVER_PRIMARY * self.primary_ohm / (2.0 * np.pi * self.hz)


SETS = (
    WholeSet("table set", "full-wave", "capacitor", 290.0, 160.0, 74.0, 16.0, 58.0, 60.0, (400.0, 12.0, 16.0)),
    WholeSet("console", "full-wave", "capacitor", 326.7, 94.3, 41.8, 16.0, 84.0, 60.0, (1150.0, 15.0, 16.0), "5Y3-GT"),
    WholeSet("amplifier", "bridge", "capacitor", 260.0, 38.0, 20.0, 100.0, 170.0, 50.0, (220.0, 0.0, 47.0)),
    WholeSet("small set", "half-wave", "capacitor", 180.0, 95.0, 50.0, 32.0, 28.0, 50.0, (1200.0, 0.0, 32.0)),
    WholeSet("tape machine", "doubler", "capacitor", 125.0, 22.0, 12.0, 100.0, 75.0, 60.0, (330.0, 0.0, 50.0)),
    WholeSet(
        *("large amplifier", "full-wave", "choke", 400.0, 60.0, 30.0, 30.0, 190.0, 50.0),
        section=(90.0, 8.0, 30.0),
        valve="GZ34",
        choke=(6.0, 85.0),
    ),
)


def solved(one: WholeSet) -> dict[str, float]:
    """What the solver says: volts before and behind the section, peak and rms of one side."""
    what = Settings(
        *(one.rectifier, one.filter, one.volts, one.source_ohm, one.uf, one.load_ma, one.hz),
        choke_h=one.choke[0] or None,
        choke_ohm=one.choke[1],
        valve=one.valve,
        primary_ohm=one.primary_ohm,
    )
    state = state_of(what)
    ohm, henry, uf = one.section
    behind = filter_section(state, one.hz, ohm, uf, henry)
    figures = {"dc_v": state.dc_v, "dc_v_behind": behind.dc_v, "peak_ma": state.peak_ma}
    return figures | {"winding_rms_ma": state.winding_rms_ma, "ripple_behind_v": behind.ripple_v_rms}


def marched(one: WholeSet, leakage: bool, steps: int = STEPS) -> dict[str, float]:
    """The same by the march."""
    march = _March(one, one.leakage_h() if leakage else 0.0, steps)
    state = march.start()
    for _ in range(ROUNDS):
        probes = np.concatenate([state[:, None], state[:, None] + np.diag(march.probe)], axis=1)
        ends = march.period(probes)[-1][0]
        slopes = (ends[:, 1:] - ends[:, :1]) / march.probe
        step = np.linalg.solve(slopes - np.eye(len(state)), state - ends[:, 0])
        state = march.allowed(state + step)
        if np.all(np.abs(step) < 1e-7 * march.probe / PROBE):
            break
    return march.averages(state)


class _March:
    """A set as states over time: currents of the source's sides, capacitors, the section's choke and its capacitor."""

    def __init__(self, one: WholeSet, leakage_h: float, steps: int) -> None:
        self.one, self.leakage, self.steps = one, leakage_h, steps
        self.whole = one.rectifier in ("half-wave", "doubler")
        self.span = (1.0 if self.whole else 0.5) / one.hz
        self.perveance = rectifier_valve(one.valve).perveance if one.valve else 0.0
        self.choked, self.doubler = one.filter == "choke", one.rectifier == "doubler"
        told = solved(one)
        self.lifted = one.primary_ohm * one.load_ma / 1000.0 if one.rectifier == "half-wave" else 0.0
        self.load = told["dc_v_behind"] / (one.load_ma / 1000.0)
        self.told = told
        # states: winding (two sides with a choke and leakage, else one), first capacitors, section's choke, capacitor
        self.names = ["i"] * (leakage_h > 0 or self.choked) + ["i2"] * (leakage_h > 0 and self.choked)
        self.names += ["v"] + ["w"] * self.doubler + ["j"] * (one.section[1] > 0) + ["u"]
        self.probe = np.array([PROBE * (0.1 if name in ("i", "i2", "j") else 100.0) for name in self.names])

    def start(self) -> np.ndarray:
        half = 0.5 if self.doubler else 1.0
        amperes = self.one.load_ma / 1000.0
        first = {"i": amperes * self.choked, "i2": 0.0, "v": half * self.told["dc_v"], "w": half * self.told["dc_v"]}
        first |= {"j": amperes, "u": self.told["dc_v_behind"]}
        return np.array([first[name] for name in self.names])

    def allowed(self, state: np.ndarray) -> np.ndarray:
        """Currents of rectifiers are not below 0, but that of a doubler's winding."""
        for at, name in enumerate(self.names):
            if name == "i2" or (name == "i" and not self.doubler):
                state[at] = np.maximum(state[at], 0.0)
        return state

    def emf(self, time: float) -> float:
        wave = np.sin(2.0 * np.pi * self.one.hz * time)
        wave = wave if self.whole else abs(wave)
        return float(np.sqrt(2.0) * self.one.volts * wave + self.lifted)

    def drop(self, current: np.ndarray) -> np.ndarray:
        return (np.maximum(current, 0.0) / self.perveance) ** (2 / 3) if self.perveance else 0.0 * current

    def driven(self, swing: np.ndarray) -> np.ndarray:
        """Current that a voltage drives through source and rectifier, without leakage."""
        swing, ohm = np.maximum(swing, 0.0), self.one.source_ohm
        if not self.perveance:
            return swing / ohm
        drop = swing.copy()
        for _ in range(12):  # the 3/2-power law in series with the source, from above: the function is convex
            root = np.sqrt(drop)
            value = drop + ohm * self.perveance * root * drop - swing
            drop = np.maximum(drop - value / (1.0 + 1.5 * ohm * self.perveance * root), 0.0)
        return self.perveance * drop**1.5

    def slope(self, time: float, state: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rates of the states, and current of the (first) rectifier."""
        of = dict(zip(self.names, state, strict=True))
        ohm, henry, uf = self.one.section
        emf, farad = self.emf(time), self.one.uf * 1e-6
        output = of["v"] + of["w"] if self.doubler else of["v"]
        drawn = of["j"] if henry else (output - of["u"]) / ohm
        rates = {"u": (drawn - of["u"] / self.load) / (uf * 1e-6)}
        if henry:
            rates["j"] = (output - of["u"] - ohm * of["j"]) / henry
        if self.choked:
            flow, rates_of_source = self.through_choke(emf, of)
            rates |= rates_of_source
        elif self.doubler:
            flow, back, rates_of_source = self.into_two(emf, of)
            rates |= rates_of_source
            rates["w"] = (back - drawn) / farad
        elif self.leakage:
            flow = np.maximum(of["i"], 0.0)
            rate = (emf - of["v"] - self.one.source_ohm * flow - self.drop(flow)) / self.leakage
            rates["i"] = np.where((flow <= 0.0) & (rate < 0.0), 0.0, rate)
        else:
            flow = self.driven(emf - of["v"])
        into = flow + np.maximum(of["i2"], 0.0) if "i2" in of else flow
        rates["v"] = (into - drawn) / farad
        return np.array([rates[name] for name in self.names]), flow

    def through_choke(self, emf: float, of: dict[str, np.ndarray]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Current of the conducting side; both sides conduct together while leakage hands one over to the other."""
        henry, ohm = self.one.choke
        flow, source = np.maximum(of["i"], 0.0), self.one.source_ohm
        if not self.leakage:
            rate = (emf - of["v"] - (source + ohm) * flow - self.drop(flow)) / henry
            return flow, {"i": np.where((flow <= 0.0) & (rate < 0.0), 0.0, rate)}
        other, leak = np.maximum(of["i2"], 0.0), self.leakage
        pulls = emf - source * flow - self.drop(flow), -emf - source * other - self.drop(other)
        after = of["v"] + ohm * (flow + other)
        both = ((pulls[0] + pulls[1]) / leak + after / henry) / (2.0 / leak + 1.0 / henry)
        alone = (pulls[0] / leak + after / henry) / (1.0 / leak + 1.0 / henry)
        node = np.where(other > 0.0, both, alone)
        rates = {"i": (pulls[0] - node) / leak, "i2": np.where(other > 0.0, (pulls[1] - node) / leak, 0.0)}
        rates["i"] = np.where((flow <= 0.0) & (rates["i"] < 0.0), 0.0, rates["i"])
        return flow, rates

    def into_two(self, emf: float, of: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
        """Currents into both capacitors of a doubler."""
        if not self.leakage:
            return self.driven(emf - of["v"]), self.driven(-emf - of["w"]), {}
        flow, ohm = of["i"], self.one.source_ohm
        forth = (flow > 0.0) | ((flow == 0.0) & (emf > of["v"]))
        back = (flow < 0.0) | ((flow == 0.0) & (-emf > of["w"]))
        rate = np.where(forth, emf - of["v"] - ohm * flow, np.where(back, emf + of["w"] - ohm * flow, 0.0))
        return np.maximum(flow, 0.0), np.maximum(-flow, 0.0), {"i": rate / self.leakage}

    def period(self, state: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        """States, shape (states, cases), and currents of the first rectifier, step by step through a period."""
        step, found = self.span / self.steps, []
        for number in range(self.steps):
            time = number * step
            one, flow = self.slope(time, state)
            found.append((state, flow))
            two, _ = self.slope(time + step / 2, state + step / 2 * one)
            three, _ = self.slope(time + step / 2, state + step / 2 * two)
            four, _ = self.slope(time + step, state + step * three)
            moved = state + step / 6 * (one + 2 * two + 2 * three + four)
            if self.doubler and self.leakage:
                moved[0] = np.where(moved[0] * state[0] < 0.0, 0.0, moved[0])
            state = self.allowed(moved)
        if "i2" in self.names:  # the sides change places with the next half-cycle
            state = state.copy()
            state[[0, 1]] = state[[1, 0]]
        return [*found, (state, self.slope(self.span, state)[1])]

    def averages(self, state: np.ndarray) -> dict[str, float]:
        rows = self.period(state[:, None])[:-1]
        states, flow = np.array([row[0][:, 0] for row in rows]), np.array([float(row[1][0]) for row in rows])
        of = dict(zip(self.names, states.T, strict=True))
        output = of["v"] + of["w"] if self.doubler else of["v"]
        square = np.mean(flow**2) + (np.mean(np.maximum(of["i2"], 0.0) ** 2) if "i2" in of else 0.0)
        share = 2.0 if self.doubler else 0.5 if self.one.rectifier == "full-wave" else 1.0
        figures = {"dc_v": output.mean(), "dc_v_behind": of["u"].mean(), "peak_ma": 1000.0 * flow.max()}
        figures["winding_rms_ma"] = 1000.0 * np.sqrt(square * share)
        return {name: float(one) for name, one in figures.items()} | {"ripple_behind_v": float(of["u"].std())}


def main() -> None:
    for one in SETS:
        ours = solved(one)
        for leakage in (False, True):
            theirs = marched(one, leakage)
            apart = {name: 100.0 * (ours[name] / theirs[name] - 1.0) for name in ours}
            said = ", ".join(f"{name} {value:+.2f} %" for name, value in apart.items())
            print(f"{one.name}{' with leakage' if leakage else ''}: {said}; {theirs['dc_v']:.1f} V", flush=True)


if __name__ == "__main__":
    main()
