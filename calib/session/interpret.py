"""A bench session's entries understood: each step's facts and findings, and the estimate's form filled from them.

Nothing here is asked of the page itself, so that all of it can be tested without one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import calib
from calib import bench, words
from calib.bench.faults import SEVERITIES
from calib.errors import Fault, InputError
from calib.session import meters as m, readings as r
from calib.session.fields import Step, checked
from calib.session.protocol import HEATERS, STEPS, translated
from calib.session.steps import Fact, StepRead, cold, core, nominal, one_line, symbols, u_pct
from calib.session.steps.ratio import ratio
from calib.session.steps.resistance import heater_name, resistance

if TYPE_CHECKING:
    import pandas as pd

    from calib import Meter, Register

# Where it is kept what was found and done about the stops, and which they were; both are entries of the ratio test,
# which is the first step that they hold up.
EXPLAINED, EXPLAINS = "explained", "explained_stops"
DOUBTS_EXPLAINED = "explained_doubts"  # likewise, by doubt, why it no longer stands
MADE = {"insulation": "tests", "ratio": "no_load"}  # what a step is for, without which it is only planned
DIGITS = 6  # significant digits of what goes into the form, far beyond any reading's


@dataclass(frozen=True)
class Session:
    """A session's entries, understood.

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
    """

    steps: dict[str, StepRead]
    explained: str = ""
    explains: tuple[str, ...] = ()
    doubts_explained: dict[str, str] = field(default_factory=dict)

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

    def known(self, name: str) -> Any:
        """A value that some step established; None where none did."""
        return next((read.known[name] for read in self.steps.values() if read.known.get(name) is not None), None)


def said_of(findings: Sequence[bench.Finding], severity: str) -> list[str]:
    """The findings of one severity, each once, as a record holds them."""
    found = [one_line(f"{one.what}: {one.why}") for one in findings if one.severity == severity]
    return [*dict.fromkeys(found)]


def interpret(entries: Mapping[str, Any], meters: Sequence[Meter] = ()) -> Session:
    """What a session's entries amount to.

    Parameters
    ----------
    entries : mapping of str to mapping
        By step, what was entered there, by field.
    meters : sequence of calib.Meter
        The user's own.

    Returns
    -------
    Session
        Whatever was not entered is left out.
    """
    entries = translated(entries)
    read = {step.name: checked(step, entries.get(step.name) or {}) for step in STEPS}
    led, insulated, on_ratio = read["leads"], read["insulation"], entries.get("ratio") or {}
    cores = core.core(read["core"], read["look"].get("weight_kg"))
    ohms = resistance(read["resistance"], meters, cores.known.get("tongue_mm"))
    volts = ratio(read["ratio"], meters, ohms, insulated.get("works_hv_v"))
    leads, works, others = (
        cold.leads(led),
        cold.works_at(insulated, led, ohms.checked, volts),
        core.Others(ohms, volts, cores),
    )
    joined, old = str(leads.known.get("joined") or ""), cold.gentle(read["look"])
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
        {
            doubt: why
            for doubt, told in (on_ratio.get(DOUBTS_EXPLAINED) or {}).items()
            if (why := one_line(str(told or "")))
        },
    )


def stops_on_the_bench(register: Register, units: Sequence[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """The stops that stand in a register's sessions against units that are to be known ones.

    Parameters
    ----------
    register : calib.Register
        With the sessions.
    units : sequence of (str, str)
        Contributor and tag of each; a session of its tag counts where it names the same bench, or none.

    Returns
    -------
    dict of (str, str) to str
        What each stop says; a unit without one is left out.
    """
    found: dict[tuple[str, str], str] = {}
    tagged: dict[str, list[tuple[str, str]]] = {}
    for unit in units:
        tagged.setdefault(unit[1], []).append(unit)
    for one in register.sessions().to_dict("records"):
        against = [unit for unit in tagged.get(one["tag"], []) if one["contributor"] in (unit[0], "")]
        session = interpret(register.session(one["session_id"]).entries) if against else None
        if session is not None and session.stops:
            found |= {unit: session.standing["stop"] for unit in against if unit not in found}
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


def form_of(session: Session) -> dict[str, Any]:
    """The session's readings as the fields of the estimate's form; what was not read is left out.

    The uncertainties of voltage and resistance are stated, since the form knows neither both halves nor the meter's
    load. The resistance goes in at the temperature at which it was read, with its metal.
    """
    look, volts = session.steps["look"].checked, session.steps["ratio"]
    fields: dict[str, Any] = {"tag": look.words("tag"), "contributor": look.words("contributor")}
    fields |= {"line_voltage_v": session.known("line_v"), "line_frequency_hz": session.known("frequency_hz")}
    for name, entry in (("primary_v", "excitation_v"), ("whole_v", "volts_read")):
        if volts.known.get(name) is not None:
            fields |= {"voltage_by": r.RATIO_TEST, "volts_across": r.WHOLE, entry: _round(volts.known[name])}
    no_load = session.known("no_load")
    if no_load is not None:
        fields |= {"voltmeter": m.STATED, "u_voltage_pct": _round(u_pct(no_load))}
    fields |= _resistance(session) | _core_fields(session) | _heaters(session, fields)
    if session.known("wire") is not None:
        fields |= {"wire": session.known("wire"), "wire_unit": session.known("wire_unit")}
    return {name: value for name, value in fields.items() if value not in (None, "")}


def _resistance(session: Session) -> dict[str, Any]:
    r20 = session.known("r20")
    if r20 is None:
        return {}
    temp, metal = session.known("temp_c"), session.known("metal")
    ohm = float(nominal(r20)) / float(bench.resistance_at(1.0, temp, inferred_zero_c=bench.INFERRED_ZERO_C[metal]))
    return {
        "ohms_read": _round(ohm),
        "ohms_read_unit": "Ω",
        "ohms_across": r.WHOLE,
        "winding_temp_c": temp,
        "winding_temp_c_unit": "°C",
        "conductor": metal,
        "ohm_leads": m.NULL_OFF,
        "ohmmeter": m.STATED,
        "u_resistance_pct": _round(u_pct(r20)),
    }


def _core_fields(session: Session) -> dict[str, Any]:
    tongue, area = session.known("tongue_mm"), session.known("area_cm2")
    if tongue is not None:
        limbs = {"tongue": tongue, "stack": session.known("stack_mm")}
        limbs |= dict(zip(("window_width", "window_height"), session.known("window_mm") or (), strict=False))
        units = {f"{name}_unit": "mm" for name in limbs}
        return {"core_by": r.LIMBS, **limbs, **units, "lamination": session.known("lamination")}
    return {} if area is None else {"core_by": r.AREA, "area": area, "area_unit": "cm²"}


def _heaters(session: Session, form: Mapping[str, Any]) -> dict[str, Any]:
    """The heater windings whose voltage is known, as if read in the ratio test that the form holds."""
    fed, line = form.get("excitation_v"), form.get("line_voltage_v")
    known = [number for number in range(1, HEATERS + 1) if session.known(f"heater_volts_{number}") is not None]
    if not known or fed is None or line is None:
        return {}
    kept = known[: r.MOST]
    fields: dict[str, Any] = {"heaters": r.COUNTS[1 + len(kept)], "heater_leads": r.FOUR_WIRES}
    for place, number in enumerate(kept, start=1):
        fields[f"heater_v_{place}"] = _round(session.known(f"heater_volts_{number}") * fed / line)
        read = session.steps["resistance"].known.get(f"heater_{number}")
        if read is None:
            continue
        fields[f"heater_ohm_{place}"] = read[0]
        if read[1] is not None:
            fields |= {"heater_leads": r.TWO_LEADS, "heater_null": read[1]}
    return fields


def _round(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def heater_readings(session: Session) -> list[calib.HeaterReading]:
    """The heater windings whose voltage is known, as read."""
    ohms, found = session.steps["resistance"], []
    for number in range(1, HEATERS + 1):
        volts = session.known(f"heater_volts_{number}")
        if volts is None:
            continue
        name = heater_name(ohms.checked.typed, number)
        as_read = ohms.known.get(f"heater_{number}")
        if as_read is None:
            found.append(calib.HeaterReading(name, volts))
            continue
        ohm, null_ohm, accuracy = as_read
        temp = session.known("temp_c")
        temp = bench.REFERENCE_C if temp is None else temp
        found.append(calib.HeaterReading(name, volts, ohm, null_ohm, accuracy, winding_temp_c=temp))
    return found


def further(model: Any, unit: pd.DataFrame, session: Session, level: float) -> list[str]:
    """What can be said besides the high-voltage current.

    Parameters
    ----------
    model : calib.Multiplier
        A fit.
    unit : pandas.DataFrame
        The unit's one row as `calib.read_unknown` gives it.
    session : Session
        Its session.
    level : float
        Probability of the intervals, above 0 and below 1.

    Returns
    -------
    list of str
        A line for each heater winding and one for the core, or why no current is told; empty where no heater winding's
        voltage is known.
    """
    windings = heater_readings(session)
    if not windings:
        return []
    made = calib.estimate_unit(model, unit, level, windings)
    if made.withheld:
        slip = made.answer["likely_slip"].iloc[0]
        return [
            "No current is told: the readings do not go together.",
            *([f"The likeliest slip: {slip}. Read it again before you go on."] if slip else []),
        ]
    lines = [f"{one}." for one in made.heaters.windings] if made.heaters else []
    if made.core is not None:
        lines.append(f"By its core: {made.core}.")
        if made.core.remark and not math.isnan(made.core.rated_current_ma):  # else it is in the line itself
            lines.append(words.sentence(made.core.remark))
    return [symbols(line) for line in lines]
