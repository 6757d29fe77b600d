"""Readings between lead pairs: as typed, faults at once, each with its uncertainty; how written; what they join.

A finite reading joins two leads, and continuity is transitive: the connected parts are the windings. An open reading
keeps two parts apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, count
from typing import Any, TypeAlias

from calib.bench.uncertainty import MeterClass, standard_uncertainty
from calib.errors import Code, Fault, InputError, outside
from calib.paths import data

OPEN = math.inf  # what a reading without continuity is kept as
LOW_OHM, HIGH_OHM = 0.001, 1e6  # limits of a resistance reading [ohm]; above the high one a meter shows no continuity
EXACT = 1e-6  # relative uncertainty below which no reading counts, so that exact ones can be weighed too
COLUMNS = ("lead_a", "lead_b", "ohm", "u_ohm", "colour_a", "colour_b", "notes")
NEEDED = COLUMNS[:3]

OR_EMPTY = "or leave it empty where the pair was not read"
MOST_NAMED = 8  # names in a list before the rest is only counted


@dataclass(frozen=True)
class LeadReading:
    """One reading between two leads.

    Attributes
    ----------
    lead_a, lead_b : str
        The leads as they are tagged; their order does not matter.
    ohm : float
        As the meter shows it, 0.001 to 1e6; infinite for no continuity, NaN where the pair was not read [ohm].
    u_ohm : float
        Standard uncertainty of the resistance, the lead null's included; NaN: by the meter's class [ohm].
    colour_a, colour_b : str
        Colours of the two leads' insulation, such as red/yellow; blank where unknown or told by the name.
    row : int or None
        Line in the file that it stands in, the header being 1.
    """

    lead_a: str
    lead_b: str
    ohm: float = math.nan
    u_ohm: float = math.nan
    colour_a: str = ""
    colour_b: str = ""
    row: int | None = None

    @property
    def pair(self) -> tuple[str, str]:
        """The two leads in alphabetical order."""
        return (self.lead_a, self.lead_b) if self.lead_a <= self.lead_b else (self.lead_b, self.lead_a)

    @property
    def is_open(self) -> bool:
        """Whether the meter showed no continuity."""
        return self.ohm == OPEN

    @property
    def is_finite(self) -> bool:
        """Whether the meter showed a resistance."""
        return math.isfinite(self.ohm)


def lead_readings(
    rows: Iterable[Mapping[str, object]], where: str = "", lines: Sequence[int] | None = None
) -> tuple[LeadReading, ...]:
    """Readings from rows as typed.

    Parameters
    ----------
    rows : iterable of mappings
        Each with `lead_a`, `lead_b` and `ohm`: a resistance of 0.001 to 1e6 [ohm], ``open`` for no continuity, empty
        where the pair was not read. Optional `u_ohm`, the standard uncertainty [ohm], `colour_a`, `colour_b`, `notes`.
    where : str
        What the faults call the file or form.
    lines : sequence of int, optional
        The row's line in the file; counted from 2 where not given, the header being 1.

    Returns
    -------
    tuple of LeadReading
        One for each pair, in the order of the rows.

    Raises
    ------
    InputError
        With every fault: a lead without a name or read against itself, a value that is no resistance or beyond its
        limits, a pair that stands twice with different values.
    """
    faults: list[Fault] = []
    found: list[tuple[LeadReading, str]] = []
    for line, row in zip(lines if lines is not None else count(2), rows, strict=False):
        typed = {name: _text(row.get(name)) for name in COLUMNS}
        slips = _slips(typed)
        faults += [Fault(where, line, *slip) for slip in slips]
        if not slips:
            numbers = (_ohm(typed["ohm"]), _number(typed["u_ohm"]))
            colours = (typed["colour_a"], typed["colour_b"])
            found.append((LeadReading(typed["lead_a"], typed["lead_b"], *numbers, *colours, line), typed["ohm"]))
    once, twice = _once(found, where)
    faults += twice
    if faults:
        raise InputError(sorted(faults, key=lambda fault: fault.row or 0))
    return once


def checked(readings: Iterable[LeadReading | Sequence[object]]) -> tuple[LeadReading, ...]:
    """Readings as `lead_readings` gives them, from tuples (lead_a, lead_b, ohm[, u_ohm]) or from LeadReading."""
    rows = list(readings)
    plain = [dict(zip(COLUMNS, _values(one), strict=False)) for one in rows]
    return lead_readings(plain, lines=[getattr(one, "row", None) or number for number, one in enumerate(rows, start=1)])


def _values(one: LeadReading | Sequence[object]) -> Iterable[object]:
    if not isinstance(one, LeadReading):
        return one
    return one.lead_a, one.lead_b, "open" if one.is_open else one.ohm, one.u_ohm, one.colour_a, one.colour_b


def _text(value: object) -> str:
    """A cell as typed; a number that is not known is an empty one."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    return str(value).strip()


def _number(text: str) -> float:
    try:
        return math.nan if "_" in text or not text else float(text)
    except ValueError:
        return math.nan


def _ohm(text: str) -> float:
    return OPEN if text.lower() == "open" else _number(text)


Slip: TypeAlias = tuple[str, str, str, str, Code]  # column, value, problem, remedy and code


def _slips(typed: Mapping[str, str]) -> list[Slip]:
    """What is wrong within one row: column, value, problem, remedy, code."""
    found: list[Slip] = [
        (name, "", "the lead has no name", "give every lead a tag of its own, and write the tag", "missing")
        for name in ("lead_a", "lead_b")
        if not typed[name]
    ]
    if typed["lead_a"] and typed["lead_a"] == typed["lead_b"]:
        problem = "is read against itself"
        found.append(("lead_b", typed["lead_b"], problem, "name the other lead, or leave the row out", "conflict"))
    return found + _ohm_slips(typed["ohm"]) + _u_slips(typed["u_ohm"])


def _ohm_slips(text: str) -> list[Slip]:
    if not text or text.lower() == "open":
        return []
    value = _number(text)
    if not math.isfinite(value):
        remedy = "write a resistance in ohm, without its unit, or open where there is no continuity"
        return [("ohm", text, "is no resistance", f"{remedy}, {OR_EMPTY}", "not-a-number")]
    remedy = ""
    if value > HIGH_OHM:
        remedy = "write open where there is no continuity; so high a reading is leakage"
    elif value < 0.0:
        remedy = f"check the reading and the sign of its lead null, {OR_EMPTY}"
    elif value < LOW_OHM:
        shown = "write it as shown before the lead null is taken off, and the null as an option; or read by four wires"
        remedy = f"{shown}, {OR_EMPTY}"
    return [("ohm", text, outside(f"{LOW_OHM:g} to {HIGH_OHM:g} ohm"), remedy, "limits")] if remedy else []


def _u_slips(text: str) -> list[Slip]:
    value = _number(text)
    if not text or 0.0 < value <= HIGH_OHM:
        return []
    remedy = "write the standard uncertainty in ohm, or leave it empty to take the meter's class"
    return [("u_ohm", text, f"is no uncertainty above 0 and up to {HIGH_OHM:g} ohm", remedy, "limits")]


def _once(readings: Sequence[tuple[LeadReading, str]], where: str) -> tuple[tuple[LeadReading, ...], list[Fault]]:
    """Each pair once, and a fault for one that stands twice with different values."""
    kept: dict[tuple[str, str], tuple[LeadReading, str]] = {}
    faults, remedy = [], "read the pair again and keep one row of it"
    for one, typed in readings:
        other, was = kept.get(one.pair, (one, typed))
        if math.isnan(other.ohm) or other is one:
            kept[one.pair] = (one, typed)
        elif not math.isnan(one.ohm) and (one.ohm, str(one.u_ohm)) != (other.ohm, str(other.u_ohm)):
            another = was if one.ohm != other.ohm else "another u_ohm"
            problem = f"the pair {one.lead_a} to {one.lead_b} stands in row {other.row} too, with {another}"
            faults.append(Fault(where, one.row, "ohm", typed, problem, remedy, "duplicate"))
    return tuple(one for one, _ in kept.values()), faults


def less_null(
    readings: Iterable[LeadReading], meter: MeterClass, null_ohm: float, null_u_ohm: float
) -> tuple[LeadReading, ...]:
    """Readings with the test leads' own resistance taken off, each with its standard uncertainty.

    Parameters
    ----------
    readings : iterable of LeadReading
        As the meter shows them [ohm].
    meter : MeterClass
        Of the ohmmeter, for readings that state no uncertainty of their own.
    null_ohm : float
        What the meter shows with its clips joined, 0 or more; 0 where it is off the readings already [ohm].
    null_u_ohm : float
        Standard uncertainty of the null, 0 or more [ohm].

    Returns
    -------
    tuple of LeadReading
        R = reading - null, which may come out at zero or just below; u² = u(meter)² + u(null)² [ohm].

    Raises
    ------
    InputError
        A reading that lies below the null by more than twice its uncertainty.

    Notes
    -----
    Source: JCGM 100:2008, clauses 4.3.7 and 5.1.2.
    """
    done, faults = [], []
    for one in readings:
        if not one.is_finite:
            done.append(one)
            continue
        u = one.u_ohm
        if math.isnan(u):
            u = max(math.hypot(standard_uncertainty(one.ohm, meter), null_u_ohm), EXACT * one.ohm)
        if one.ohm - null_ohm < -2.0 * u:
            told = (
                f"is less than the test leads alone read, {null_ohm:g} ohm",
                "read the pair and the lead null again",
            )
            faults.append(Fault("", one.row, "ohm", f"{one.ohm:g}", *told, "conflict"))
        done.append(replace(one, ohm=one.ohm - null_ohm, u_ohm=u))
    if faults:
        raise InputError(faults)
    return tuple(done)


def say(of: str, name: str, **values: object) -> str:
    """What ``leads/words.toml`` says of a subject by that name, the values put in."""
    return str(data("leads/words.toml")[of][name]).format(**values)


def ohms(value: float, u: float) -> str:
    """A resistance [ohm] to the digits that its standard uncertainty [ohm] leaves; a dash where unknown.

    The rule of the Particle Data Group: two digits of the uncertainty where they are 10 to 35, one from 36 to 94.
    """
    if not math.isfinite(value):
        return "–"
    if not 0.0 < u < math.inf:
        return f"{value:g}"
    power = math.floor(math.log10(u))
    leading = u / 10.0**power
    after = (1 if leading < 3.55 else 0) - power if leading < 9.5 else -power
    return f"{value:.{min(max(after, 0), 4)}f}"


def short(u: float) -> str:
    """An uncertainty to two digits, whole from 100 up."""
    return f"{u:.2g}" if u < 99.5 else f"{u:.0f}"


def pair_name(pair: Sequence[str]) -> str:
    """A pair of leads: ``red 1 to red 2``."""
    return f"{pair[0]} to {pair[1]}"


def named(names: Iterable[str], last: str = "and") -> str:
    """A list as people write it: ``A, B and C``; the rest is counted where it is long."""
    listed = list(names)
    if len(listed) > MOST_NAMED:
        return f"{', '.join(listed[:MOST_NAMED])} {last} {len(listed) - MOST_NAMED} more"
    return f" {last} ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def path_sum(path: Sequence[tuple[str, str, int]]) -> str:
    """Readings that are added and taken off: ``A to B + B to C``."""
    parts = []
    for a, b, sign in sorted(path, key=lambda step: -step[2]) if path and path[0][2] < 0 else path:
        parts.append(f"{'+' if sign > 0 else '-'} {pair_name((a, b))}")
    if len(parts) > MOST_NAMED:
        parts = [*parts[:3], "...", *parts[-2:]]
    return " ".join(parts).removeprefix("+ ")


def sentence(text: str) -> str:
    """Text with a capital first and a full stop last."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?")) else ".") if text else ""


# No winding of a valve set's mains transformer reads so much [ohm] (judgement): from here on a reading that is also so
# many times another winding's is leakage between two, not a winding.
LEAKAGE_OHM, LEAKAGE_TIMES = 2e4, 20.0
OUTVOTED = 2  # open readings that outvote the only finite one between two groups of leads (judgement)


@dataclass(frozen=True)
class Clash:
    """A reading that continuity along other readings speaks against.

    Attributes
    ----------
    reading : LeadReading
        An open one inside a winding, or a finite one between two windings.
    path : tuple of str
        Leads from one of its ends to the other, joined by finite readings; empty for a finite one.
    opens : int
        How many pairs between the same two groups of leads read open.
    taken_as_slip : bool
        Whether the reading was set aside: one finite reading between two groups of leads that several others call open.
    """

    reading: LeadReading
    path: tuple[str, ...]
    opens: int
    taken_as_slip: bool


@dataclass(frozen=True)
class Parts:
    """Leads in groups.

    Attributes
    ----------
    groups : tuple of tuples of str
        Leads that continuity joins, one lead alone being a group too; both in the order of their first mention.
    apart : set of (int, int)
        Pairs of groups, lower index first, that a reading keeps apart.
    clashes : tuple of Clash
        What contradicts.
    leakage : tuple of LeadReading
        Finite readings too high to be a winding's.
    """

    groups: tuple[tuple[str, ...], ...]
    apart: frozenset[tuple[int, int]]
    clashes: tuple[Clash, ...]
    leakage: tuple[LeadReading, ...]

    def undecided(self) -> list[tuple[int, int]]:
        """Pairs of groups that may still be one winding, since no pair of leads between them was read."""
        return [pair for pair in combinations(range(len(self.groups)), 2) if pair not in self.apart]


def parts_of(readings: Sequence[LeadReading]) -> Parts:
    """Group the leads by continuity.

    Parameters
    ----------
    readings : sequence of LeadReading
        Each pair once; resistances 0.001 to 1e6 or about zero once the null is off [ohm].

    Returns
    -------
    Parts

    Notes
    -----
    Edge of the graph = finite reading, connected component = winding. Two refinements: a reading of `LEAKAGE_OHM` or
    more that is also `LEAKAGE_TIMES` another winding's does not join; and a single finite reading between two groups
    that two readings or more keep apart is taken as a slip.
    """
    import networkx as nx

    joins, leakage = _without_leakage([one for one in readings if one.is_finite])
    opens = [one for one in readings if one.is_open]
    graph = nx.Graph()
    graph.add_nodes_from(lead for one in readings for lead in (one.lead_a, one.lead_b))
    graph.add_edges_from((one.lead_a, one.lead_b, {"reading": one}) for one in joins)
    clashes: list[Clash] = []
    while True:
        group = {lead: n for n, leads in enumerate(nx.connected_components(graph)) for lead in leads}
        inside = [one for one in opens if group[one.lead_a] == group[one.lead_b]]
        slip = _slip(graph, inside) if inside else None
        if slip is None:
            break
        clashes.append(slip)
        graph.remove_edge(*slip.reading.pair)
    for one in inside:
        path = nx.single_source_shortest_path(graph, one.lead_a)[one.lead_b]
        clashes.append(Clash(one, tuple(path), 1, False))
    listed: list[list[str]] = [[] for _ in set(group.values())]
    for lead in graph:
        listed[group[lead]].append(lead)
    apart = [sorted((group[one.lead_a], group[one.lead_b])) for one in (*opens, *leakage)]
    parted = frozenset((a, b) for a, b in apart if a != b)
    return Parts(tuple(map(tuple, listed)), parted, tuple(clashes), tuple(leakage))


def _without_leakage(finite: Sequence[LeadReading]) -> tuple[list[LeadReading], list[LeadReading]]:
    """The readings that join, and those too high for it, the lowest being joined first."""
    from networkx.utils import UnionFind

    leakage: list[LeadReading] = []
    windings = UnionFind()
    most: dict[str, float] = {}  # greatest reading of those that join each winding [ohm]
    for one in sorted(finite, key=lambda each: each.ohm):
        a, b = windings[one.lead_a], windings[one.lead_b]
        wound = [most[root] for root in (a, b) if root in most]
        if a != b and one.ohm >= LEAKAGE_OHM and wound and one.ohm > LEAKAGE_TIMES * min(wound):
            leakage.append(one)
        elif a != b:
            windings.union(a, b)
            most[windings[a]] = max([*wound, one.ohm])
    too_high = set(leakage)
    return [one for one in finite if one not in too_high], leakage


def _slip(graph: Any, inside: Sequence[LeadReading]) -> Clash | None:
    """The finite reading that alone joins two groups which more open readings keep apart than any other such two."""
    import networkx as nx

    found = []
    for a, b in nx.bridges(graph):
        side = nx.node_connected_component(nx.restricted_view(graph, (), [(a, b)]), a)
        across = sum((one.lead_a in side) != (one.lead_b in side) for one in inside)
        if across >= OUTVOTED:
            found.append(Clash(graph.edges[a, b]["reading"], (), across, True))
    found.sort(key=lambda clash: -clash.opens)
    return found[0] if found and (len(found) == 1 or found[0].opens > found[1].opens) else None
