"""Which meter of the session a reading was taken on, and its limits of error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import calib
from calib import bench
from calib.session.checked import Checked
from calib.session.choices import ORDINARY, TYPED, said

if TYPE_CHECKING:
    from calib import Meter

ASSUMED = {"ohm": bench.ORDINARY_OHMMETER, "volt": bench.ORDINARY_VOLTMETER}
SYMBOLS = {"ohm": "Ω", "volt": "V"}


@dataclass(frozen=True)
class Used:
    """A meter as it was used.

    Attributes
    ----------
    accuracy : bench.MeterClass
        Its limits of error.
    said : str
        What it is, in words.
    known : bool
        Whether it is the user's own, or its figures were typed; else an ordinary one is assumed.
    """

    accuracy: bench.MeterClass
    said: str
    known: bool

    def twice(self) -> bench.MeterClass:
        """The class of a sum of two readings on it: the gain is common to both, the last digits count twice."""
        return bench.MeterClass(self.accuracy.percent, 2 * self.accuracy.counts, self.accuracy.resolution)


def used(checked: Checked, name: str, reads: str, meters: Sequence[Meter]) -> Used:
    """The meter that a field names; what is wrong with one whose figures are typed goes to the faults.

    Parameters
    ----------
    checked : Checked
        The step's entries, whose faults are added to.
    name, reads : str
        The field, and volt or ohm.
    meters : sequence of calib.Meter
        The user's own.

    Returns
    -------
    Used
        An ordinary one where none is named, or the one named is not there.
    """
    chosen = checked.chosen(name, ORDINARY)
    if chosen == TYPED:
        return _typed(checked, name, reads)
    own = next((one for one in meters if one.reads == reads and one.label == chosen), None)
    if own is not None:
        return _told(own.label, own.accuracy, reads, True)
    gone = "" if chosen == ORDINARY else f"{chosen} is not on your list now; "
    return _told(f"{gone}{said(ORDINARY)} assumed", ASSUMED[reads], reads, False)


def _typed(checked: Checked, name: str, reads: str) -> Used:
    figures = {part: checked.get(f"{name}_{part}") for part in ("percent", "counts", "resolution")}
    try:
        meter = calib.Meter.parse({"name": "this meter", "reads": reads, **figures})
    except calib.InputError as error:
        for fault in error.faults:
            value = fault.value or "empty"
            checked.faults.setdefault(f"{name}_{fault.column}", f"{value}: {fault.problem}; {fault.remedy}.")
        return _told(f"its figures are not whole yet; {said(ORDINARY)} assumed", ASSUMED[reads], reads, False)
    return _told("a meter whose figures you typed", meter.accuracy, reads, True)


def _told(name: str, accuracy: bench.MeterClass, reads: str, known: bool) -> Used:
    limits = f"±({accuracy.percent:g} % + {accuracy.counts:g} × {accuracy.resolution:g} {SYMBOLS[reads]})"
    return Used(accuracy, f"{name}, {limits}", known)
