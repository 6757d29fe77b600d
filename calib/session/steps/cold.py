"""The steps before anything is fed or counts: what the look, the leads and the insulation test say."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calib import bench, words
from calib.bench.insulation import GENTLE_TEST_V, GOOD, TEST_SECONDS, USUAL_TEST_V
from calib.leads import LeadsFound, identify_leads
from calib.session.fields import Checked
from calib.session.protocol import HEATERS, JOINED, NEEDED, TESTS, said
from calib.session.steps import StepRead, meant, nominal, symbols

SCORCHED = ("burnt", "charred", "wax-out")
Tests = list[tuple[str, Any]]  # what each test is between, and its grade
NOT_READ = "a lead has continuity to the core; what it reads is not entered"
JOINED_AT_MOST_OHM = (
    1000.0  # more than this to the core is no join of the maker's: a winding's end reads less (judgement)
)


def look(checked: Checked) -> StepRead:
    """What the eye and the nose say."""
    read = StepRead(checked)
    signs = list(checked.typed.get("signs") or ())
    if gentle(checked):
        read.lines.append(
            f"Old or damp: test its insulation with {GENTLE_TEST_V:g} V first, and with {USUAL_TEST_V:g} V "
            "only once it has passed that."
        )
    scorched = [one for one in signs if one in SCORCHED]
    if scorched:
        remedy = "Insulation test first; before mains the series lamp with all secondaries open, and somebody watching."
        read.findings.append(bench.Finding("It has been hot once", ", ".join(map(said, scorched)), remedy, "doubt"))
    if checked.chose("signs", "corroded"):
        remedy = "Free the lead-out before you pull at it: a winding that is open only there can often be mended."
        read.findings.append(bench.Finding("An open winding is likely", said("corroded"), remedy, "doubt"))
    if checked.chose("signs", "mended"):
        remedy = "Take its marks and colours as hints only; read every lead pair."
        read.findings.append(bench.Finding("It may be wound otherwise than marked", said("mended"), remedy, "doubt"))
    weight = checked.get("weight_kg")
    if weight is not None:
        read.lines.append(f"Weight {weight:.4g} kg: held against the core once that is measured.")
    return read


def gentle(checked: Checked) -> bool:
    """Whether the insulation is to be tested with the lower voltage first."""
    return checked.chose("decade", "before-1940") or checked.chose("signs", "damp")


def leads(checked: Checked) -> StepRead:
    """What is known of the leads, by hand and from the page that tells them apart."""
    read = StepRead(checked)
    _told_apart(read, checked.typed.get("readings") or [])
    _to_core(read)
    return read


def _to_core(read: StepRead) -> None:
    """Continuity to the core: a fault, unless the maker joined a screen or a tap to it on purpose."""
    checked = read.checked
    if checked.chose("core_path", "no-continuity"):
        read.lines.append("No lead touches the core by the ohmmeter; the insulation test has the last word.")
    if not checked.chose("core_path", "continuity"):
        return
    ohm, joined = checked.get("core_ohm"), checked.chosen("core_joined")
    if joined != "not-meant" and (ohm is None or ohm <= JOINED_AT_MOST_OHM):
        read.known["joined"] = joined
        told = f"Joined to the core on purpose {said(joined)}: no fault. Its insulation is tested between the others"
        read.lines.append(f"{told}; not tested: {said(JOINED[joined])}." if joined in JOINED else f"{told}.")
        return
    found = bench.findings(bench.FaultSigns(core_ohm=0.0 if ohm is None else ohm))
    read.findings.extend(found if ohm is not None else [replace(one, why=NOT_READ) for one in found])


def _told_apart(read: StepRead, rows: Sequence[Sequence[Any]]) -> None:
    """A summary of the lead-pair readings kept with the session, and what in them cannot be."""
    if not rows:
        return
    counted = f"{words.count(len(rows), 'lead pair')} read on the page 'Which lead is which?'"
    found = identified(rows)
    if found is None:
        read.lines.append(f"{counted}.")
        return
    read.lines.append(f"{counted}:")
    for winding in found.windings:
        role = f"{winding.likely_role} ({winding.grade})"
        ohm = "" if math.isnan(winding.ohm) else f", {words.figure(winding.ohm)} Ω"
        read.lines.append(f"{'–'.join(winding.leads)}: {role}{ohm}.")
    if found.windings and not found.contradictions:
        read.lines.append("These fill in the leads that are not typed here. Only a ratio test proves what each is.")
    remedy = "Explain it by the insulation tester before anything is fed."
    read.findings.extend(bench.Finding("Leakage between windings", one, remedy, "stop") for one in found.leakage)
    remedy = "Read those pairs again on the page 'Which lead is which?'."
    disputes = [bench.Finding("Lead readings disagree", one.says, remedy, "doubt") for one in found.contradictions]
    read.findings.extend(disputes)


def identified(rows: Sequence[Sequence[Any]]) -> LeadsFound | None:
    """What the lead pairs that a session keeps come to; None where they cannot be."""
    try:
        return identify_leads([tuple(row) for row in rows])
    except ValueError:
        return None


@dataclass(frozen=True)
class Plan:
    """One test of the insulation that a unit needs.

    Attributes
    ----------
    between : str
        The parts, by their code in the protocol.
    stress_v : float
        What they work at, peak; NaN where not told [V].
    steps : tuple of float
        Test voltages to go through [V].
    so_far : str
        What the tests that are noted come to.
    """

    between: str
    stress_v: float
    steps: tuple[float, ...]
    so_far: str


def insulation(checked: Checked, old: bool, works: bench.Works, joined: str) -> StepRead:
    """What each test says against what its parts work at.

    Parameters
    ----------
    checked : Checked
        The step's entries.
    old : bool
        Whether the unit is old or damp.
    works : bench.Works
        The unit's voltages as far as they are known.
    joined : str
        What the maker joined to the core on purpose; blank for nothing.

    Returns
    -------
    StepRead
        Known for later steps: tests, plan, and untested (the codes of the tests that are still to be made).
    """
    read, stresses = StepRead(checked), bench.working_stresses(works)
    left_out = JOINED.get(joined, "")
    tests: Tests = []
    for number in range(1, TESTS + 1):
        between, test = checked.words(f"between_{number}"), _test(read, number, stresses)
        if test is not None and between == left_out:
            read.lines.append(f"Test {number}, {test.between}, says nothing: they are joined on purpose.")
        elif test is not None:
            tests.append((between, bench.grade_insulation(test)))
    if not math.isnan(works.hv_v + works.line_v):
        volts = f"{works.hv_v:.4g} V end to end on {works.line_v:g} V"
        taken = "since nothing else is said above, for" if checked.chose("circuit", "unknown") else "for"
        read.lines.append(f"What the parts work at is that of {volts}, at 1.1 × line, {taken} {said(works.circuit)}.")
    for _, graded in tests:
        name = graded.test.between
        if graded.passed:  # the others are findings
            read.lines.append(symbols(str(graded) if graded.grade == GOOD else f"{name}: {graded.grade}."))
        read.lines.extend(words.sentence(symbols(f"{name}: {note}")) for note in graded.notes)
    made = [graded.test for _, graded in tests]
    read.findings.extend(bench.findings(bench.FaultSigns(insulation=tuple(made))))
    read.findings.extend(_too_hard(made) if old else ())
    plan = [_planned(one, tests, stresses[one], old) for one in NEEDED if one != left_out]
    read.known.update({"tests": made, "plan": plan, "untested": [one.between for one in plan if not one.so_far]})
    return read


def _planned(between: str, tests: Tests, stress: float, old: bool) -> Plan:
    """A test that is needed, with what those that are noted come to; several together may do as well as it."""
    steps = bench.insulation_steps(stress, old)
    for codes in ((between,), *NEEDED[between]):
        made = [[graded for code, graded in tests if code == one] for one in codes]
        if not all(made):
            continue
        low = [one.grade for grades in made for one in grades if not one.passed]
        if low:
            return Plan(between, stress, steps, low[0])
        reached = min(max(one.test.test_v for one in grades) for grades in made)
        enough = all(any(one.grade == GOOD for one in grades) for grades in made)
        later = [step for step in steps if step > reached and not enough]
        so_far = f"passed at {reached:g} V" + (f", next {later[0]:g} V" if later else "")
        return Plan(between, stress, steps, f"{GOOD}, {so_far}" if enough and not math.isnan(stress) else so_far)
    return Plan(between, stress, steps, "")


def _too_hard(tests: Iterable[bench.InsulationTest]) -> Iterable[bench.Finding]:
    """The parts of an old or damp unit that were tested without the gentle voltage first."""
    first: dict[str, float] = {}
    for test in tests:
        first[test.between] = min(test.test_v, first.get(test.between, math.inf))
    harder = [f"{between} at {volts:g} V" for between, volts in first.items() if volts > GENTLE_TEST_V]
    if harder:
        why = f"an old or damp unit was tested without {GENTLE_TEST_V:g} V first: {'; '.join(harder)}"
        remedy = f"Begin again with {GENTLE_TEST_V:g} V."
        yield bench.Finding("Tested harder than it should be", why, remedy, "doubt")


def works_at(insulated: Checked, led: Checked, ohms: Checked, volts: StepRead) -> bench.Works:
    """The voltages that the unit works at: those of the ratio test, until then those to expect.

    Where nobody says which circuit its high voltage goes to, a centre tap stands for full-wave; without one the whole
    winding is taken to stand from the core, which is the more.
    """
    circuit = insulated.chosen("circuit")
    if circuit == "unknown":
        halves = {"hv_half_1_ohm", "hv_half_2_ohm", "hv_half_1_v", "hv_half_2_v"}
        tapped = bool(led.words("hv_tap")) or bool(halves & {*ohms.values, *volts.checked.values})
        circuit = "full-wave" if tapped else "bridge"
    told = volts.known.get("no_load")
    high = insulated.get("works_hv_v") or volts.checked.get("expected_hv_v") if told is None else float(nominal(told))
    line = volts.known.get("line_v") or insulated.get("works_line_v")
    heaters = [volts.known.get(f"heater_volts_{number}") or 0.0 for number in range(1, HEATERS + 1)]
    heater = {"heater_v": max(heaters)} if max(heaters) > 0.0 else {}
    return bench.Works(math.nan if line is None else line, math.nan if high is None else high, circuit, **heater)


def _test(read: StepRead, number: int, stresses: Mapping[str, float]) -> bench.InsulationTest | None:
    """One row, where it is whole; what it still needs is said."""
    checked = read.checked
    numbers = {name: checked.get(f"{name}_{number}") for name in ("test_v", "megohm", "temp_c")}
    between = checked.words(f"between_{number}")
    if numbers["megohm"] is None:
        return None
    labels = {"test_v": "the test voltage", "temp_c": "the temperature"}
    lacking = [label for name, label in labels.items() if numbers[name] is None]
    lacking += [] if between else ["what it was between"]
    if lacking:
        read.lines.append(f"Test {number} still needs {', '.join(lacking)}.")
        return None
    known = {name: value for name, value in numbers.items() if value is not None}
    seconds, later = checked.get("seconds"), checked.get(f"ten_megohm_{number}")
    try:
        return bench.InsulationTest(
            said(between),
            seconds=TEST_SECONDS if seconds is None else seconds,
            kind=checked.chosen(f"protects_{number}"),
            over_range=checked.chose(f"over_{number}", "over-range"),
            stress_v=stresses.get(between, math.nan),
            ten_minutes_megohm=math.nan if later is None else later,
            **known,
        )
    except ValueError as error:
        checked.faults[f"megohm_{number}"], checked.codes[f"megohm_{number}"] = meant(error), "limits"
        return None
