"""The insulation test: its record, brought to 20 °C, and what usual limits say of it.

CAUTION before the test: the tester's 250 or 500 V stand on the winding and stay there, so unplug, join all leads of a
winding, keep hands off for the whole minute, and discharge through a resistor afterwards. An ac withstand test at the
level of new equipment can destroy old insulation: only by qualified people, under the code in force.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.bench.copper import REFERENCE_C
from calib.bench.guard import positive, within

if TYPE_CHECKING:
    import pandas as pd

BEFORE_THE_TEST = (
    "Unplug the unit and take off rectifier, capacitors and lamps: the tester's voltage can kill them, and its charge "
    "you.",
    "Join all leads of each winding; the other windings and the core go to the tester's other lead.",
    "Start with 250 V on units from before 1940 or damp ones; keep hands off for the whole minute.",
    "Discharge the winding through a resistor afterwards and prove it dead before touching it.",
    "Limits here are orders of size: follow your local code and the edition of the standard in force.",
)
USUAL_TEST_V, GENTLE_TEST_V = 500.0, 250.0  # dc test voltage, and for old or damp units [V]; workshop practice
TEST_SECONDS = 60.0  # a reading sooner than this is still charging [s]; IEEE 43 practice
HALVES_EVERY_K = 10.0  # insulation resistance halves per so many kelvin, about [K]; IEEE 43 practice
# Orders of the least resistance between parts [Mohm]; low-voltage codes, class of limit of IEC 61558-1.
STANDARD_MEGOHM = {"basic": 2.0, "reinforced": 7.0}
GOOD_ABOVE_MEGOHM, REJECT_BELOW_MEGOHM = 100.0, 10.0  # workshop view at 20 °C (judgement)
ROUGH_BEYOND_K = 20.0  # the halving is a rough guide further than this from 20 °C (judgement)


@dataclass(frozen=True)
class InsulationTest:
    """One insulation test as read.

    Attributes
    ----------
    between : str
        What stood against what, such as "HV to core".
    megohm : float
        As read, above 0; of an over-range reading, the end of the range [Mohm].
    test_v : float
        Dc test voltage, above 0 [V].
    temp_c : float
        Temperature of the windings, -20 to 120 [°C].
    seconds : float
        How long the voltage had stood, above 0 [s].
    kind : str
        basic, or reinforced: between mains and what can be touched, and a heater at high voltage against the core.
    over_range : bool
        Whether the tester showed more than its range.
    """

    between: str
    megohm: float
    test_v: float = USUAL_TEST_V
    temp_c: float = REFERENCE_C
    seconds: float = TEST_SECONDS
    kind: str = "basic"
    over_range: bool = False

    def __post_init__(self) -> None:
        if not self.between.strip():
            raise ValueError(f"between is '{self.between}': say what stood against what, such as HV to core")
        for name, value, unit in (
            ("insulation resistance", self.megohm, "Mohm"),
            ("test voltage", self.test_v, "V"),
            ("seconds", self.seconds, "s"),
            ("temperature", self.temp_c, "°C"),
        ):
            if math.isnan(value):
                raise ValueError(f"{name} is nan {unit}: it is needed")
        positive("insulation resistance", self.megohm, "Mohm")
        positive("test voltage", self.test_v, "V")
        within("temperature", self.temp_c, -20.0, 120.0, "°C")
        positive("seconds", self.seconds, "s")
        if self.kind not in STANDARD_MEGOHM:
            raise ValueError(f"kind is '{self.kind}': it must be one of {', '.join(STANDARD_MEGOHM)}")


@dataclass(frozen=True)
class InsulationGrade:
    """What a test says.

    Attributes
    ----------
    test : InsulationTest
        The record.
    at_20_megohm : float
        Resistance at 20 °C; a lower bound where the tester was over its range [Mohm].
    grade : str
        good, dry out or reject: the workshop's view of the resistance at 20 °C; "not told" where the tester's range
        ends too soon.
    standard_megohm : float
        Order of the standards' least resistance for the kind of insulation [Mohm].
    meets_standard : bool
        Whether the resistance as read is that much.
    remedy : str
        What to do.
    notes : tuple of str
        What weakens the reading; empty where nothing does.
    """

    test: InsulationTest
    at_20_megohm: float
    grade: str
    standard_megohm: float
    meets_standard: bool
    remedy: str
    notes: tuple[str, ...]

    def frame(self) -> pd.DataFrame:
        """One row: the record's columns, then the grade's."""
        import pandas as pd

        graded = {name: value for name, value in vars(self).items() if name not in {"test", "notes"}}
        return pd.DataFrame([{**vars(self.test), **graded, "notes": "; ".join(self.notes)}])

    def __str__(self) -> str:
        more = "over " if self.test.over_range else ""
        return (
            f"{self.test.between}: {more}{self.test.megohm:.4g} Mohm at {self.test.temp_c:g} °C, {more}"
            f"{self.at_20_megohm:.4g} Mohm at 20 °C: {self.grade}. {self.remedy}"
        )


def insulation_at_20_megohm(megohm: float, temp_c: float) -> float:
    """Bring an insulation resistance to 20 °C.

    Parameters
    ----------
    megohm : float
        As read, above 0 [Mohm].
    temp_c : float
        Temperature of the windings then [°C].

    Returns
    -------
    number
        R 2^((t - 20 °C) / 10 K); a guide, since materials differ [Mohm].

    Raises
    ------
    ValueError
        A resistance of zero or less.

    Notes
    -----
    Source: IEEE 43, practice of halving per 10 K.
    """
    positive("insulation resistance", megohm, "Mohm")
    return megohm * 2.0 ** ((temp_c - REFERENCE_C) / HALVES_EVERY_K)


def grade_insulation(test: InsulationTest) -> InsulationGrade:
    """Grade an insulation test: by the workshop's view at 20 °C, and beside it the standards' order.

    Parameters
    ----------
    test : InsulationTest
        The record.

    Returns
    -------
    InsulationGrade
        good above 100 Mohm, dry out from 10 to 100, reject below 10 (judgement); a reading below the standards' order
        is rejected whatever its temperature.
    """
    at_20 = insulation_at_20_megohm(test.megohm, test.temp_c)
    standard = STANDARD_MEGOHM[test.kind]
    meets = test.megohm >= standard
    if test.over_range and at_20 <= GOOD_ABOVE_MEGOHM:
        grade, remedy = (
            "not told",
            f"Use a tester that reads beyond {GOOD_ABOVE_MEGOHM:g} Mohm; follow your local code.",
        )
    elif at_20 < REJECT_BELOW_MEGOHM or not meets:
        grade, remedy = "reject", "Apply no mains until the leak is found and explained; follow your local code."
    elif at_20 <= GOOD_ABOVE_MEGOHM:
        grade = "dry out"
        remedy = "Dry it out at 60 to 80 °C for a day, let it cool, and test again; follow your local code."
    else:
        grade, remedy = "good", "Record it; your local code and its own limits still hold."
    return InsulationGrade(test, at_20, grade, standard, meets, remedy, tuple(_notes(test)))


def _notes(test: InsulationTest) -> list[str]:
    notes = []
    if test.test_v < USUAL_TEST_V:
        notes.append(f"read at {test.test_v:g} V: once it passes, test again at {USUAL_TEST_V:g} V")
    if test.seconds < TEST_SECONDS:
        notes.append(f"read after {test.seconds:g} s: wait for {TEST_SECONDS:g} s")
    if abs(test.temp_c - REFERENCE_C) > ROUGH_BEYOND_K:
        notes.append(f"read at {test.temp_c:g} °C: the figure at 20 °C is rough")
    if test.over_range:
        notes.append("over the tester's range: the figure is the least that it can be")
    return notes
