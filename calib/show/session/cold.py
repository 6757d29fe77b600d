"""The steps before anything is measured that counts: what the look, the leads and the insulation test say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from calib import bench
from calib.bench.insulation import GENTLE_TEST_V, TEST_SECONDS, USUAL_TEST_V
from calib.show import words
from calib.show.session import choices as c
from calib.show.session.checked import Checked
from calib.show.session.said import StepRead, meant, symbols


def look(checked: Checked) -> StepRead:
    """What the eye and the nose say."""
    read = StepRead(checked)
    signs = list(checked.said.get("signs") or ())
    if gentle(checked):
        read.lines.append(
            f"Old or damp: test its insulation with {GENTLE_TEST_V:g} V first, and with {USUAL_TEST_V:g} V "
            "once it has passed that."
        )
    scorched = [one for one in signs if one in c.SCORCHED]
    if scorched:
        remedy = "Insulation test first; before mains the series lamp with all secondaries open, and somebody watching."
        read.findings.append(bench.Finding("It has been hot once", ", ".join(map(c.said, scorched)), remedy, "doubt"))
    if c.CORRODED in signs:
        remedy = "Free the lead-out before you pull at it: a winding that is open only there can often be mended."
        read.findings.append(bench.Finding("An open winding is likely", c.said(c.CORRODED), remedy, "doubt"))
    if c.MENDED in signs:
        remedy = "Take its marks and colours as hints only; read every lead pair."
        read.findings.append(bench.Finding("It may be wound otherwise than marked", c.said(c.MENDED), remedy, "doubt"))
    weight = checked.get("weight_kg")
    if weight is not None:
        read.lines.append(f"Weight {weight:.4g} kg: held against the core once that is measured.")
    return read


def gentle(checked: Checked) -> bool:
    """Whether the insulation is to be tested with the lower voltage first."""
    return checked.chosen("decade", c.UNKNOWN) == c.BEFORE_1940 or c.DAMP in (checked.said.get("signs") or ())


def leads(checked: Checked) -> StepRead:
    """What is known of the leads, by hand and from the page that tells them apart."""
    read = StepRead(checked)
    _told_apart(read, checked.said.get("readings") or [])
    path = checked.chosen("core_path", c.CORE_UNTESTED)
    ohm = math.inf if path == c.CORE_OPEN else checked.get("core_ohm") if path == c.CORE_TOUCHES else None
    if ohm is not None:
        read.findings.extend(bench.findings(bench.FaultSigns(core_ohm=ohm)))
        if ohm == math.inf:
            read.lines.append("No lead touches the core by the ohmmeter; the insulation test has the last word.")
    return read


def _told_apart(read: StepRead, rows: Sequence[Sequence[Any]]) -> None:
    """A summary of the lead-pair readings kept with the session, and what in them cannot be."""
    if not rows:
        return
    counted = f"{words.count(len(rows), 'lead pair')} read on the page 'Which lead is which?'"
    found = _identified(rows)
    if found is None:
        read.lines.append(f"{counted}.")
        return
    read.lines.append(f"{counted}:")
    for winding in found.windings:
        role = f"{winding.likely_role} ({winding.grade})"
        ohm = "" if math.isnan(winding.ohm) else f", {words.figure(winding.ohm)} Ω"
        read.lines.append(f"{'–'.join(winding.leads)}: {role}{ohm}.")
    remedy = "Explain it by the insulation tester before anything is fed."
    read.findings.extend(bench.Finding("Leakage between windings", one, remedy, "stop") for one in found.leakage)
    remedy = "Read those pairs again on the page 'Which lead is which?'."
    disputes = [bench.Finding("Lead readings disagree", one.says, remedy, "doubt") for one in found.contradictions]
    read.findings.extend(disputes)


def _identified(rows: Sequence[Sequence[Any]]) -> Any:
    try:
        return bench.identify_leads([tuple(row) for row in rows])
    except ValueError:
        return None


def insulation(checked: Checked, looked: Checked) -> StepRead:
    """Each test graded, by the workshop's view and beside the standards' order."""
    read = StepRead(checked)
    tests = [test for number in range(1, 7) if (test := _test(read, number)) is not None]
    for test in tests:
        graded = bench.grade_insulation(test)
        if graded.grade == "good":  # the others are findings
            read.lines.append(symbols(str(graded)))
        read.lines.extend(words.sentence(note) for note in graded.notes)
    if tests:
        read.findings.extend(bench.findings(bench.FaultSigns(insulation=tuple(tests))))
    if tests and gentle(looked) and tests[0].test_v > GENTLE_TEST_V:
        remedy = f"Begin again with {GENTLE_TEST_V:g} V."
        why = f"an old or damp unit was tested with {tests[0].test_v:g} V"
        read.findings.append(bench.Finding("Tested harder than it should be", why, remedy, "doubt"))
    read.known["tests"] = tests
    return read


def _test(read: StepRead, number: int) -> bench.InsulationTest | None:
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
    seconds = checked.get("seconds")
    reinforced = checked.chosen(f"protects_{number}", c.BASIC) == c.REINFORCED
    try:
        return bench.InsulationTest(
            between,
            seconds=TEST_SECONDS if seconds is None else seconds,
            kind="reinforced" if reinforced else "basic",
            over_range=checked.chosen(f"over_{number}", c.AS_SHOWN) == c.OVER_RANGE,
            **known,
        )
    except ValueError as error:
        checked.faults[f"megohm_{number}"] = meant(error)
        return None
