"""The insulation test: what each part works at, the steps of the test, its record, and what it says of the unit.

CAUTION before the test: the tester's 250, 500 or 1000 V stand on the winding and stay there, so unplug, join all leads
of a winding, keep hands off for the whole minute, and discharge through a resistor afterwards. An ac withstand test at
the level of new equipment can destroy old insulation: only by qualified people, under the code in force.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.bench.resistance import REFERENCE_C
from calib.errors import positive, within
from calib.paths import data

__all__ = ["BEFORE_THE_TEST", "CIRCUITS", "InsulationTest", "Works", "grade_insulation", "insulation_at_20_megohm"]
__all__ += ["insulation_steps", "working_stresses"]

STEPS_V = (250.0, 500.0, 1000.0)  # dc test voltages, each only after the one before has passed [V]; workshop practice
GENTLE_TEST_V, USUAL_TEST_V = STEPS_V[:2]
WORDS = data("bench/insulation.toml")
BEFORE_THE_TEST = (*WORDS["before"], WORDS["drying"], WORDS["limits"])
TEST_SECONDS = 60.0  # a reading sooner than this is still charging [s]; IEEE 43 practice
HALVES_EVERY_K = 10.0  # insulation resistance halves per so many kelvin, about [K]; IEEE 43 practice
# Orders of the least resistance between parts [Mohm]; low-voltage codes, class of limit of IEC 61558-1.
STANDARD_MEGOHM = {"basic": 2.0, "reinforced": 7.0}
GOOD_ABOVE_MEGOHM, STOP_BELOW_MEGOHM = 100.0, 10.0  # workshop view at 20 °C (judgement)
ROUGH_BEYOND_K = 20.0  # the halving is a rough guide further than this from 20 °C (judgement)
GOOD, DRY_OUT, STOP, NOT_TOLD = "good", "dry out", "stop until explained", "not told"
# Ten-minute over one-minute reading: below this, from 100 Mohm to 5 Gohm, a hint of damp and no more; IEEE 43.
POLARISATION_LOW, POLARISATION_UP_TO_MEGOHM = 1.5, 5000.0

HIGH_LINE = 1.1  # stresses are told at so many times the nominal line [-]; workshop practice
HEATER_TAKEN_V = 6.3  # for the heaters that are not the rectifier's, where theirs is not known [V]
# Peaks of the high-voltage winding that its end, and the rectifier's heater, stand from the core, by circuit: of one
# half where its centre tap is earthed, else of the whole.
CIRCUITS = {"full-wave": 0.5, "bridge": 1.0, "half-wave": 1.0, "doubler": 2.0}
# Which parts each test has between them; "rest" is every other winding with core and screen.
PAIRS: dict[str, list[str]] = WORDS["pairs"]


@dataclass(frozen=True)
class Works:
    """The voltages that a unit works at.

    Attributes
    ----------
    line_v : float
        Nominal line, rms, above 0; NaN where not known [V].
    hv_v : float
        High-voltage winding end to end at that line without load, rms, above 0; NaN where not known [V].
    circuit : str
        One of CIRCUITS: full-wave (centre tap earthed), bridge, half-wave or doubler (its negative earthed).
    heater_v : float
        The highest heater winding that is not the rectifier's, rms, above 0 [V].
    """

    line_v: float
    hv_v: float
    circuit: str = "full-wave"
    heater_v: float = HEATER_TAKEN_V

    def __post_init__(self) -> None:
        positive("line voltage", self.line_v, "V")
        positive("high voltage", self.hv_v, "V")
        positive("heater voltage", self.heater_v, "V")
        if self.circuit not in CIRCUITS:
            raise ValueError(f"circuit is '{self.circuit}': it must be one of {', '.join(CIRCUITS)}")


def working_stresses(works: Works) -> dict[str, float]:
    """What the insulation between parts works at.

    Parameters
    ----------
    works : Works
        The unit's voltages.

    Returns
    -------
    dict of str to float
        By pair of PAIRS: peak at 1.1 times the line, in whole volts; NaN where a voltage is not known [V].

    Notes
    -----
    To the core: the primary sqrt(2) V_line; an end of the high voltage, and the rectifier's heater without load,
    sqrt(2) V_half (full-wave), sqrt(2) V (bridge, half-wave), 2 sqrt(2) V (doubler); other heaters their own peak.
    Between two windings the sum of both; a lumped test has the highest pair in it. Peaks are taken to the volt, as on
    paper.

    Examples
    --------
    >>> stress = working_stresses(Works(230.0, 700.0))
    >>> [stress[pair] for pair in ("hv-core", "rectifier-core", "hv-rectifier", "primary-hv")]
    [545.0, 545.0, 1089.0, 902.0]
    """
    high = _whole_volts(math.sqrt(2.0) * works.hv_v * min(CIRCUITS[works.circuit], 1.0))
    high *= max(CIRCUITS[works.circuit], 1.0)
    to_core = {
        "primary": _whole_volts(math.sqrt(2.0) * works.line_v),
        "high voltage": high,
        "rectifier heater": high,
        "other heaters": _whole_volts(math.sqrt(2.0) * works.heater_v),
    }
    return {pair: _whole_volts(HIGH_LINE * sum(to_core[part] for part in parts)) for pair, parts in PAIRS.items()}


def _whole_volts(volts: float) -> float:
    return volts if math.isnan(volts) else float(math.floor(volts + 0.5 + 1e-9))


def insulation_steps(stress_v: float, gentle: bool = False) -> tuple[float, ...]:
    """The test voltages to go through, each only after the one before has passed.

    Parameters
    ----------
    stress_v : float
        What the parts work at, peak; NaN where not known [V].
    gentle : bool
        Whether the unit is old or damp.

    Returns
    -------
    tuple of float
        250 V first where gentle, then 500 V, then 1000 V only where they work above 500 V, dc [V].
    """
    return STEPS_V[0 if gentle else 1 : 3 if stress_v > USUAL_TEST_V else 2]


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
    stress_v : float
        What the parts work at, peak, from `working_stresses`; NaN where not told [V].
    ten_minutes_megohm : float
        The reading after ten minutes, above 0; NaN where not taken [Mohm].
    """

    between: str
    megohm: float
    test_v: float = USUAL_TEST_V
    temp_c: float = REFERENCE_C
    seconds: float = TEST_SECONDS
    kind: str = "basic"
    over_range: bool = False
    stress_v: float = math.nan
    ten_minutes_megohm: float = math.nan

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
        positive("working stress", self.stress_v, "V")
        positive("reading after ten minutes", self.ten_minutes_megohm, "Mohm")
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
        "good": passed at or above what the parts work at; "passed at 1000 V, works at 1089 V" where the test ended
        below that; "dry out", "stop until explained": the workshop's view of the resistance at 20 °C; "not told" where
        the tester's range ends too soon.
    remedy : str
        What to do.
    notes : tuple of str
        What weakens the reading; empty where nothing does.
    """

    test: InsulationTest
    at_20_megohm: float
    grade: str
    remedy: str
    notes: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether its resistance is good, whatever voltage it was tested with."""
        return self.grade not in (STOP, DRY_OUT, NOT_TOLD)

    def __str__(self) -> str:
        more = "over " if self.test.over_range else ""
        read = f"{more}{self.test.megohm:.4g} Mohm at {self.test.temp_c:g} °C"
        if self.test.temp_c != REFERENCE_C:
            read += f", {more}{self.at_20_megohm:.4g} Mohm at 20 °C"
        return f"{self.test.between}: {read}: {self.grade}. {self.remedy}"


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
        Passed above 100 Mohm: good where the test voltage is at least what the parts work at, or where that is not
        told. Dry out from 10 to 100, stop below 10 (judgement); a reading below the standards' order stops whatever its
        temperature.
    """
    at_20 = insulation_at_20_megohm(test.megohm, test.temp_c)
    if test.over_range and at_20 <= GOOD_ABOVE_MEGOHM:
        grade, told = NOT_TOLD, "not-told"
    elif at_20 < STOP_BELOW_MEGOHM or test.megohm < STANDARD_MEGOHM[test.kind]:
        grade, told = STOP, "stop"
    elif at_20 <= GOOD_ABOVE_MEGOHM:
        grade, told = DRY_OUT, "dry-out"
    elif test.test_v < test.stress_v:
        grade = f"passed at {test.test_v:g} V, works at {test.stress_v:g} V"
        told = "held" if math.isnan(next_step_v(test)) else "next"
    else:
        grade, told = GOOD, "good"
    remedy = WORDS["remedies"][told].format(drying=WORDS["drying"], next_v=next_step_v(test))
    return InsulationGrade(test, at_20, grade, remedy, tuple(_notes(test)))


def next_step_v(test: InsulationTest) -> float:
    """The test voltage that follows, once this one has passed; NaN where none does [V]."""
    later = [step for step in insulation_steps(test.stress_v) if step > test.test_v]
    return later[0] if later else math.nan


def _notes(test: InsulationTest) -> list[str]:
    notes = []
    if math.isnan(test.stress_v):
        notes.append("what these parts work at is not told, so nothing says whether the test voltage was enough")
        if test.test_v < USUAL_TEST_V:
            notes.append(f"read at {test.test_v:g} V: once it passes, test again at {USUAL_TEST_V:g} V")
    if test.seconds < TEST_SECONDS:
        notes.append(f"read after {test.seconds:g} s: wait for {TEST_SECONDS:g} s")
    if abs(test.temp_c - REFERENCE_C) > ROUGH_BEYOND_K:
        notes.append(f"read at {test.temp_c:g} °C: the figure at 20 °C is rough")
    if test.over_range:
        notes.append("over the tester's range: the figure is the least that it can be")
    return [*notes, *_polarisation(test)]


def _polarisation(test: InsulationTest) -> list[str]:
    """What a reading after ten minutes adds: a hint, never a grade. Source: IEEE 43."""
    index = test.ten_minutes_megohm / test.megohm
    if math.isnan(index):
        return []
    said = f"ten minutes over one: {index:.2g}"
    if test.over_range or not GOOD_ABOVE_MEGOHM <= test.megohm <= POLARISATION_UP_TO_MEGOHM:
        return [f"{said}, which says nothing below {GOOD_ABOVE_MEGOHM:g} Mohm or above 5 Gohm"]
    if index < POLARISATION_LOW:
        return [f"{said}, below {POLARISATION_LOW:g}: a hint to dry it, no more; small dry coils settle in minutes"]
    return [f"{said}: no hint of damp"]
