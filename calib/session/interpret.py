"""A bench session's entries understood: what each step establishes and finds, and the record that they come to.

Nothing here is asked of a page: whatever the page of the session does can be done from Python, from readings as the
meters showed them to the record that `calib.estimate_unit` takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import calib
from calib import bench, words
from calib.bench.faults import HIGHEST_HALF_RATIO, SEVERITIES
from calib.errors import Code, Fault, InputError
from calib.session.fields import Step, checked
from calib.session.meters import Metered
from calib.session.protocol import BY_NAME, HEATERS, STEPS, translated
from calib.session.readings import FIELD_OF, METALS, Understood, asked_by_ratio, recorded
from calib.session.steps import Fact, StepRead, cold, core, nominal, one_line, symbols, u_pct
from calib.session.steps.windings import HALF_1, HALF_2, heater_name, ratio, resistance

if TYPE_CHECKING:
    import pandas as pd

    from calib import HeaterReading, KnownUnit, Meter, Register, UnknownUnit

# Where it is kept what was found and done about the stops, and which they were; both are entries of the ratio test,
# which is the first step that they hold up.
EXPLAINED, EXPLAINS = "explained", "explained_stops"
DOUBTS_EXPLAINED = "explained_doubts"  # likewise, by doubt, why it no longer stands
MADE = {"insulation": "tests", "ratio": "no_load"}  # what a step is for, without which it is only planned
RUN = "heat"  # under which a session keeps the entries of a heat run, which is no step of it
KEPT_BESIDES = ("simulated", "names", "readings", EXPLAINED, EXPLAINS, DOUBTS_EXPLAINED)  # entries without a field
DIGITS = 6  # significant digits of what goes into the record, far beyond any reading's
WHERE = "the bench session"
HALVES = (HALF_1, HALF_2)  # columns that are called as the step's fields are
# The record's columns, by what the steps call them.
COLUMNS = {
    "line_voltage_v": "line_v",
    "line_frequency_hz": "frequency_hz",
    "excitation_v": "primary_v",
    "hv_v": "whole_v",
    "winding_temp_c": "temp_c",
    "tongue_mm": "tongue_mm",
    "stack_mm": "stack_mm",
    "lamination": "lamination",
    "awg": "awg",
    "wire_diameter_mm": "wire_diameter_mm",
}


@dataclass(frozen=True)
class Session:
    """A session's entries, understood. `str` gives a report for people, `frame` the facts for programs.

    Attributes
    ----------
    steps : dict of str to StepRead
        By step.
    explained : str
        What was found and done about its stops; blank where nobody said so yet.
    explains : tuple of str
        The stops that this was said of: one that came since is not explained by it.
    doubts_explained : dict of str to str
        By doubt, why it no longer stands; one whose figures have changed since stands anew.
    strange : tuple of Fault
        Entries that no step asks for.
    """

    steps: dict[str, StepRead]
    explained: str = ""
    explains: tuple[str, ...] = ()
    doubts_explained: dict[str, str] = field(default_factory=dict)
    strange: tuple[Fault, ...] = ()

    @property
    def facts(self) -> list[Fact]:
        """Everything that is established, step by step."""
        return [fact for read in self.steps.values() for fact in read.facts]

    @property
    def findings(self) -> list[bench.Finding]:
        """Everything that is not as it should be, the gravest first."""
        found = [one for read in self.steps.values() for one in read.findings]
        return sorted(found, key=lambda one: SEVERITIES.index(one.severity))

    @property
    def cleared(self) -> str:
        """Why its stops no longer stand; blank where there are none, or where any was not explained."""
        stops = self.said("stop")
        return self.explained if stops and {*stops} <= {*self.explains} else ""

    @property
    def stops(self) -> list[bench.Finding]:
        """What forbids to feed the unit; empty where it was cleared."""
        return [one for one in self.findings if one.severity == "stop" and not self.cleared]

    def holding(self, step: str) -> list[bench.Finding]:
        """The stops of the steps before this one, which hold it up until they are cleared; its own do not."""
        before = [*self.steps][: [*self.steps].index(step)]
        return [one for one in self.stops if any(one in self.steps[name].findings for name in before)]

    @property
    def standing(self) -> dict[str, str]:
        """What stands against the unit, as the record's columns stop, stop_cleared and doubts."""
        doubts = [one for one in self.said("doubt") if one not in self.doubts_explained]
        return {"stop": " | ".join(self.said("stop")), "stop_cleared": self.cleared, "doubts": " | ".join(doubts)}

    @property
    def doubts_cleared(self) -> list[str]:
        """The doubts that no longer stand, each with why."""
        return self.why_cleared(self.said("doubt"))

    def why_cleared(self, doubts: Sequence[str]) -> list[str]:
        """Those of the doubts that no longer stand, each with why."""
        why = self.doubts_explained
        return [f"{one.rstrip('.')}; why it no longer stands: {why[one]}" for one in doubts if one in why]

    def said(self, severity: str) -> list[str]:
        """Every finding of that severity, as a record holds it."""
        return said_of(self.findings, severity)

    def value(self, name: str) -> Any:
        """What some step established under that name; None where none did."""
        return next((read.known[name] for read in self.steps.values() if read.known.get(name) is not None), None)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Entries that cannot be: no numbers, beyond their limits, or asked for by no step."""
        remedy = "mend it, or leave it empty"
        odd: Code = "conflict"
        found = [
            Fault(
                WHERE, None, f"{step}.{name}", "", one_line(said).rstrip("."), remedy, read.checked.codes.get(name, odd)
            )
            for step, read in self.steps.items()
            for name, said in read.checked.faults.items()
        ]
        return (*self.strange, *found)

    @property
    def columns(self) -> dict[str, Any]:
        """The record's columns as far as they are known, in the units of the tables; those of the supply are not.

        Voltage and resistance are over the whole winding, the resistance at the temperature at which it was read, the
        leads' null taken off, and each half's beside it where both were read; their uncertainties are those of the
        meters used. Weight and primary are as read.
        """
        look, r20, no_load = self.steps["look"].checked, self.value("r20"), self.value("no_load")
        made: dict[str, Any] = {"unit": look.words("tag"), "contributor": look.words("contributor")}
        made |= {column: self.value(name) for column, name in COLUMNS.items()}
        made |= {"weight_kg": look.get("weight_kg"), "simulated": bool(look.typed.get("simulated")), **self.standing}
        if no_load is not None:
            made["u_voltage_pct"] = u_pct(no_load)
        if r20 is None:
            made["winding_temp_c"] = None
        else:
            metal = self.value("metal")
            to_20 = float(bench.resistance_at(1.0, self.value("temp_c"), inferred_zero_c=bench.INFERRED_ZERO_C[metal]))
            made |= {"hv_resistance_ohm": float(nominal(r20)) / to_20, "u_resistance_pct": u_pct(r20)}
            made["conductor"] = metal if metal != next(iter(METALS)) else None  # an empty cell is copper, or not known
            made |= {} if (halves := self.value("halves_ohm")) is None else dict(zip(HALVES, halves, strict=True))
            if (primary := self.value("primary_r20")) is not None:
                made["primary_resistance_ohm"] = float(nominal(primary)) / to_20
        if made["tongue_mm"] is None:
            made["core_area_cm2"] = self.value("area_cm2")
        made |= dict(zip(("window_width_mm", "window_height_mm"), self.value("window_mm") or (), strict=False))
        rounded = {name: _round(value) if isinstance(value, float) else value for name, value in made.items()}
        return {name: value for name, value in rounded.items() if value not in (None, "")}

    @property
    def heaters(self) -> tuple[HeaterReading, ...] | None:
        """The heater windings whose voltage is known, as read; None where there is none."""
        ohms, found = self.steps["resistance"], []
        for number in range(1, HEATERS + 1):
            volts = self.value(f"heater_volts_{number}")
            if volts is None:
                continue
            name, as_read = heater_name(ohms.checked.typed, number), ohms.known.get(f"heater_{number}")
            if as_read is None:
                found.append(calib.HeaterReading(name, volts))
                continue
            temp = self.value("temp_c")
            temp = bench.REFERENCE_C if temp is None else temp
            ohm, null_ohm, accuracy = as_read
            found.append(calib.HeaterReading(name, volts, ohm, null_ohm, accuracy, winding_temp_c=temp))
        return tuple(found) or None

    def unit(self, rectifier: str = "full-wave", filter: str = "capacitor", **more: Any) -> UnknownUnit:
        """The record of a unit whose rating is sought, for `calib.estimate_unit` with `heaters` beside it.

        Parameters
        ----------
        rectifier, filter : str
            The supply that it is meant for, as the tables name it.
        **more
            Further columns, such as demand_ma; they count before what the session says.

        Returns
        -------
        calib.UnknownUnit
            With what stands against it: stop, stop_cleared, doubts.

        Raises
        ------
        InputError
            With a fault for each entry that cannot be, or for each reading that is still needed.
        """
        record: UnknownUnit = self._record(calib.UnknownUnit, rectifier, filter, more)
        return record

    def known(self, evidence: str, rated_current_ma: float, rectifier: str, filter: str, **more: Any) -> KnownUnit:
        """The record of a unit whose rating is known, for the register.

        Parameters
        ----------
        evidence, rated_current_ma : str, float
            How the rated current is known, and what it is [mA].
        rectifier, filter, **more
            As `unit` takes them, the supply being that of the rating.

        Raises
        ------
        InputError
            As `unit` does, and where a stop stands against the unit.
        """
        more = {"evidence": evidence, "rated_current_ma": rated_current_ma, **more}
        record: KnownUnit = self._record(calib.KnownUnit, rectifier, filter, more)
        return record

    def _record(self, kind: Any, rectifier: str, filter: str, more: Mapping[str, Any]) -> Any:
        if self.faults:
            raise InputError(self.faults)
        return kind.parse(self._values(rectifier, filter, more), WHERE)

    def _values(self, rectifier: str, filter: str, more: Mapping[str, Any]) -> dict[str, Any]:
        supply = {"rectifier": rectifier, "filter": filter, "centre_tapped": rectifier == "full-wave"}
        return {"unit": "this unit", **self.columns, **supply, **more}

    def understood(self, rectifier: str, filter: str) -> Understood:
        """The record of an unknown unit, or what it still lacks, by the fields of the home page's form."""
        values, v_over_r = self._values(rectifier, filter, {}), self.value("v_over_r")
        made = asked_by_ratio(recorded(calib.UnknownUnit, values, values, {}, FIELD_OF))
        parts = (
            Metered({}, bench.uncertainty_budget(v_over_r), u_pct(v_over_r)) if v_over_r is not None else Metered({})
        )
        return replace(made, metered=parts)

    def frame(self) -> pd.DataFrame:
        """A row for each fact: step, name, value, u (standard uncertainty, NaN where not known), unit, how."""
        import pandas as pd

        rows = [{"step": step, **vars(fact)} for step, read in self.steps.items() for fact in read.facts]
        return pd.DataFrame(rows, columns=["step", "name", "value", "u", "unit", "how"])

    def __str__(self) -> str:
        told = [
            symbols(f"{before}: {one.what}. {words.sentence(one.why)} {one.remedy}")
            for severity, before in (("stop", "STOP, feed it nothing"), ("doubt", "Look again"))
            for one in self.findings
            if one.severity == severity
        ]
        told += [f"Cleared: {self.cleared}"] if self.cleared else []
        told += [f"Cleared: {one}" for one in self.doubts_cleared]
        told += [f"{BY_NAME[step].title}: {line}" for step, read in self.steps.items() for line in read.lines]
        return "\n".join([*told, *map(str, self.faults)]) or "Nothing is entered yet."


def said_of(findings: Sequence[bench.Finding], severity: str) -> list[str]:
    """The findings of one severity, each once, as a record holds them."""
    found = [one_line(f"{one.what}: {one.why}") for one in findings if one.severity == severity]
    return [*dict.fromkeys(found)]


def interpret(entries: Mapping[str, Any], meters: Sequence[Meter] = ()) -> Session:
    """What a session's entries amount to.

    Parameters
    ----------
    entries : mapping of str to mapping
        By step, what was entered there, by field, as `calib.session.protocol` names them: a number, text such as
        '4,97 V', or the code of a choice; under a field's name with `_unit` the unit that a bare number is in.
    meters : sequence of calib.Meter
        The user's own.

    Returns
    -------
    Session
        Whatever was not entered is left out; nothing is raised for what cannot be, see `Session.faults`.

    Examples
    --------
    >>> from calib.session import interpret
    >>> session = interpret({"ratio": {"line_voltage_v": 117, "line_frequency_hz": 60, "excitation_v": 4.97,
    ...                                "hv_half_1_v": 13.88, "hv_half_2_v": "13,88 V"},
    ...                      "resistance": {"hv_ohm": 188.9, "winding_temp_c": 20, "ohm_leads": "null-on",
    ...                                     "null_ohm": 0.3}})
    >>> unit = session.unit()
    >>> unit.hv_v, unit.hv_resistance_ohm, unit.u_voltage_pct
    (27.76, 188.6, 0.476471)
    """
    entries = translated(entries)
    led = entries.get("leads") or {}
    entries["leads"] = {**found_leads(led.get("readings") or ()), **led}
    read = {step.name: checked(step, entries.get(step.name) or {}) for step in STEPS}
    insulated, on_ratio = read["insulation"], entries.get("ratio") or {}
    cores = core.core(read["core"], read["look"].get("weight_kg"))
    ohms = resistance(read["resistance"], meters, cores.known.get("tongue_mm"))
    volts = ratio(read["ratio"], meters, ohms, insulated.get("works_hv_v"))
    others = core.Others(ohms, volts, cores)
    leads, works = cold.leads(read["leads"]), cold.works_at(insulated, read["leads"], ohms.checked, volts)
    joined, old = str(leads.known.get("joined") or ""), cold.gentle(read["look"])
    why = {doubt: one_line(str(told or "")) for doubt, told in (on_ratio.get(DOUBTS_EXPLAINED) or {}).items()}
    return Session(
        {
            "look": cold.look(read["look"]),
            "leads": leads,
            "insulation": cold.insulation(insulated, old, works, joined),
            "resistance": ohms,
            "ratio": volts,
            "core": cores,
            "wire": core.wire(read["wire"], others),
            "idle": core.idle(read["idle"], others, read["look"].chosen("decade")),
            "sum": StepRead(read["sum"]),
        },
        one_line(str(on_ratio.get(EXPLAINED) or "")),
        tuple(map(str, on_ratio.get(EXPLAINS) or ())),
        {doubt: told for doubt, told in why.items() if told},
        tuple(_strange(entries)),
    )


def _strange(entries: Mapping[str, Any]) -> Iterator[Fault]:
    """A fault for each entry that no step asks for."""
    for step, fields in entries.items():
        if step == RUN:
            continue
        if step not in BY_NAME:
            remedy = f"write one of {', '.join(BY_NAME)}"
            yield Fault(WHERE, None, step, "", "is no step of the session", remedy, "column")
            continue
        there = BY_NAME[step].fields
        for name in fields:
            if name in there or name in KEPT_BESIDES or name.removesuffix("_unit") in there or name.endswith("_rows"):
                continue
            near = get_close_matches(name, there, 1)
            remedy = f"write {near[0]} if that is meant" if near else "calib.session.protocol() names what is asked"
            told = "is not asked at this step"
            yield Fault(WHERE, None, f"{step}.{name}", str(fields[name]), told, remedy, "column")


def found_leads(readings: Sequence[Sequence[Any]]) -> dict[str, str]:
    """The leads that the readings of lead pairs tell apart, as the fields of that step; likely, and no proof.

    Parameters
    ----------
    readings : sequence of (lead, lead, ohm)
        As `calib.leads.identify_leads` takes them.

    Returns
    -------
    dict of str to str
        primary, hv_ends, hv_tap, heaters and others, as far as they are found; empty where readings contradict.
    """
    found = cold.identified(readings) if readings else None
    if found is None or found.contradictions:
        return {}
    made = {"others": ", ".join(found.isolated)}
    for name, family in (("primary", "primary"), ("heaters", "heater")):
        made[name] = ", ".join("-".join(one.leads) for one in found.windings if one.family == family)
    for one in [one for one in found.windings if one.family == "high voltage"][:1]:
        made["hv_ends"] = f"{one.leads[0]} and {one.leads[-1]}"
        if len(one.leads) == 3 and max(one.sections_ohm) <= HIGHEST_HALF_RATIO * min(one.sections_ohm):
            made["hv_tap"] = one.leads[1]
    return {name: told for name, told in made.items() if told}


def with_leads(entries: Mapping[str, Any], names: Sequence[str], readings: Sequence[Sequence[Any]]) -> dict[str, Any]:
    """The entries of the leads' step with other readings of lead pairs.

    The leads that these tell apart are filled in, where there is nothing or what the readings before told.
    """
    was = found_leads(entries.get("readings") or ())
    own = {name: value for name, value in entries.items() if value and was.get(name) != value}
    return {**found_leads(readings), **own, "names": [*names], "readings": [*readings]}


def stops_on_the_bench(register: Register, units: Sequence[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """The stops that stand on a register's bench against units that are to be known ones.

    Parameters
    ----------
    register : calib.Register
        With the sessions, and the units on the bench.
    units : sequence of (str, str)
        Contributor and tag of each; a session or a unit of its tag counts where it names the same bench, or none.

    Returns
    -------
    dict of (str, str) to str
        What each stop says; a unit without one is left out.
    """
    found: dict[tuple[str, str], str] = {}
    cleared: set[str] = set()
    tagged: dict[str, list[tuple[str, str]]] = {}
    for unit in units:
        tagged.setdefault(unit[1], []).append(unit)
    for one in register.sessions().to_dict("records"):
        against = [unit for unit in tagged.get(one["tag"], []) if one["contributor"] in (unit[0], "")]
        session = interpret(register.session(one["session_id"]).entries) if against else None
        if session is not None and session.stops:
            found |= {unit: session.standing["stop"] for unit in against if unit not in found}
        elif session is not None:
            cleared |= {*session.said("stop")}
    for kept, _ in register.bench_units():
        against = [unit for unit in tagged.get(kept.tag, []) if kept.contributor in (unit[0], "")]
        stands = [] if kept.stop_cleared else [one for one in kept.stop.split(" | ") if one and one not in cleared]
        if stands:
            found |= {unit: " | ".join(stands) for unit in against if unit not in found}
    return found


def refuse_stopped(register: Register, known: pd.DataFrame, where: str) -> None:
    """Refuse known units against which a stop stands in a session at the bench, and is not cleared in the row either.

    Raises
    ------
    InputError
        With a fault for each; `where` is what faults call the table.
    """
    asked = known[known["stop_cleared"] == ""]
    stops = stops_on_the_bench(register, list(zip(asked["contributor"], asked["unit"], strict=True)))
    remedy = "clear it there with the reason first, or leave the unit out"
    faults = [
        Fault(where, None, "unit", unit, f"its bench session says stop, feed nothing: {stop}", remedy, "stopped")
        for (_, unit), stop in stops.items()
    ]
    if faults:
        raise InputError(faults)


def is_done(step: Step, entries: Mapping[str, Any], read: StepRead, cleared: bool = False) -> bool:
    """Whether something was entered at a step, nothing in it is wrong, and nothing that it found forbids to go on."""
    if not cleared and any(one.severity == "stop" for one in read.findings):
        return False
    if read.known.get("bonded") is False or step.name in MADE and not read.known.get(MADE[step.name]):
        return False
    said = [name for name, one in step.fields.items() if entries.get(name) not in (None, "", [], step.first(name))]
    return bool(said or entries.get("readings")) and not read.checked.faults


def _round(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")
