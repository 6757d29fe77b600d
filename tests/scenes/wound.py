"""Random transformers with taps, read pair by pair with noise, some pairs left out where they are not needed.

Simulated. What is needed is judged here by rules of its own: two windings stay apart while one open reading between
them is left; a winding's order stays determined while every other order that the readings left could mean would
contradict one of them by far more than the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

KINDS_OHM = {"high voltage": (50.0, 1000.0), "primary": (1.5, 60.0), "other": (0.02, 30.0)}
LEAST_OHM = 0.002  # least section that a reading can show [ohm]
MARGIN = 6.0  # times the readings' joint noise by which every other order contradicts a reading that is left


@dataclass(frozen=True)
class Unit:
    """A transformer as built, and as read.

    Attributes
    ----------
    windings : tuple of tuples of str
        Leads of each winding from end to end, taps included.
    places : tuple of tuples of float
        Their places along the winding [ohm].
    readings : tuple of (str, str, float)
        Pairs that were read; infinite for no continuity [ohm].
    missing : float
        Share of the pairs that were left out [1].
    noise : float
        Relative standard deviation of a reading [1].
    """

    windings: tuple[tuple[str, ...], ...]
    places: tuple[tuple[float, ...], ...]
    readings: tuple[tuple[str, str, float], ...]
    missing: float
    noise: float


def wind(rng: np.random.Generator, noise: float = 0.01, most_missing: float = 0.3) -> Unit:
    """A transformer of 2 to 8 windings with 0 to 3 taps each.

    Parameters
    ----------
    rng : numpy.random.Generator
    noise : float
        Relative standard deviation of a reading, normal [1].
    most_missing : float
        Largest share of the pairs that is left out [1].
    """
    kinds = ["high voltage", "primary", *["other"] * 6][: rng.integers(2, 9)]
    places = []
    for kind in kinds:
        low, high = KINDS_OHM[kind]
        whole = math.exp(rng.uniform(math.log(low), math.log(high)))
        places.append(tuple((whole * _cuts(rng, int(rng.integers(0, 4)), LEAST_OHM / whole)).tolist()))
    tags = iter(rng.permutation(sum(map(len, places))) + 1)
    windings = tuple(tuple(f"L{next(tags)}" for _ in each) for each in places)
    kept, missing = _left(rng, windings, places, noise, float(rng.uniform(0.0, most_missing)))
    at = {
        lead: each for leads, own in zip(windings, places, strict=True) for lead, each in zip(leads, own, strict=True)
    }
    home = {lead: number for number, leads in enumerate(windings) for lead in leads}
    readings = [
        (a, b, abs(at[a] - at[b]) * (1.0 + noise * rng.normal()) if home[a] == home[b] else math.inf) for a, b in kept
    ]
    return Unit(windings, tuple(places), tuple(readings), missing, noise)


def _cuts(rng: np.random.Generator, taps: int, least: float) -> np.ndarray:
    """Ends and taps as shares of a winding, no two closer than so much."""
    while True:
        cuts = np.sort([0.0, *rng.uniform(0.0, 1.0, taps), 1.0])
        if np.diff(cuts).min() > least:
            return cuts


Pair = tuple[str, str]


def _left(
    rng: np.random.Generator,
    windings: tuple[tuple[str, ...], ...],
    places: list[tuple[float, ...]],
    noise: float,
    share: float,
) -> tuple[list[Pair], float]:
    """The pairs that are read, in a random order, and the share of those left out."""
    leads = [lead for each in windings for lead in each]
    home = {lead: number for number, each in enumerate(windings) for lead in each}
    pairs: list[Pair] = [(a, b) if rng.random() < 0.5 else (b, a) for a, b in combinations(leads, 2)]
    rng.shuffle(pairs)
    between: dict[tuple[int, ...], int] = {}
    inside: dict[int, set[Pair]] = {number: set() for number in range(len(windings))}
    for a, b in pairs:
        key = tuple(sorted((home[a], home[b])))
        between[key] = between.get(key, 0) + 1
        if key[0] == key[1]:
            inside[key[0]].add((a, b))
    out: set[Pair] = set()
    for a, b in pairs:
        if len(out) >= share * len(pairs) - 1:
            break
        key = tuple(sorted((home[a], home[b])))
        if key[0] != key[1]:
            if between[key] > 1:
                between[key] -= 1
                out.add((a, b))
        elif determined(windings[key[0]], places[key[0]], inside[key[0]] - {(a, b)}, noise):
            inside[key[0]].remove((a, b))
            out.add((a, b))
    return [pair for pair in pairs if pair not in out], len(out) / len(pairs)


def determined(leads: tuple[str, ...], places: tuple[float, ...], pairs: set[Pair], noise: float) -> bool:
    """Whether exact readings of these pairs leave one order only, by a wide margin over the noise.

    Every way of laying the leads out along a spanning tree, each step to the left or to the right, is tried.
    """
    at = dict(zip(leads, places, strict=True))
    tree, rest = _tree(leads, pairs)
    if len(tree) < len(leads) - 1:
        return False
    joint = noise * math.sqrt(sum((at[a] - at[b]) ** 2 for a, b in pairs))
    for signs in product((1, -1), repeat=len(tree) - 1):
        laid = {tree[0][0]: 0.0}
        for (a, b), sign in zip(tree, (1, *signs), strict=True):
            laid[b] = laid[a] + sign * abs(at[a] - at[b])
        order = sorted(leads, key=laid.__getitem__)
        if order in (list(leads), list(reversed(leads))):
            continue
        worst = max((abs(abs(laid[a] - laid[b]) - abs(at[a] - at[b])) for a, b in rest), default=0.0)
        if worst < MARGIN * joint:
            return False
    return True


def _tree(leads: tuple[str, ...], pairs: set[Pair]) -> tuple[list[Pair], list[Pair]]:
    """Pairs that reach every lead, each from one reached before, and the others."""
    reached, rest = {leads[0]}, sorted(pairs)
    tree: list[Pair] = []
    while True:
        step = next(((a, b) for a, b in rest if (a in reached) != (b in reached)), None)
        if step is None:
            return tree, rest
        rest.remove(step)
        tree.append(step if step[0] in reached else (step[1], step[0]))
        reached |= set(step)
