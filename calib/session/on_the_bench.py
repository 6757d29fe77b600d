"""What is on the bench: each unit of which something was kept, its state, what it can give, what is next for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import calib
from calib import words
from calib.session.bench_unit import SAID, UnitNow, answered, units_of
from calib.session.protocol import BY_NAME
from calib.session.readings import FORM

if TYPE_CHECKING:
    import pandas as pd

    from calib import Multiplier, Register

STATES: tuple[str, ...] = tuple(SAID["state"])  # the first that holds is a unit's
FEEDS = 0.9  # odds at worst from which a unit counts as feeding its set


@dataclass(frozen=True)
class BenchUnit:
    """A unit on the bench.

    Attributes
    ----------
    unit : str
        What the list calls it: its tag, with the contributor where two units bear the same.
    tag, contributor, session_id : str
        Of it and of its session, the one that was kept last; blank where there is none.
    state : str
        One of `STATES`: the first that holds.
    changed_on : datetime
        When something of it was kept last, in UTC.
    next : str
        What is next for it.
    why : str
        What the state hangs on: the stop, the doubt, or what is still to be read; blank where nothing is to be said.
    rectifier, filter : str
        The supply that its current is for; a session alone says none: full-wave, capacitor first.
    rated_current_ma, low_ma, high_ma : float
        What it can give by the fit at hand [mA]; NaN where nothing is told.
    level : float
        Probability of that interval.
    moved : str
        How that differs from the estimate that was kept last, and why; blank where it does not.
    odds_worst : float
        Odds that it feeds the set that was asked about, at full signal; NaN where none was.
    proven_ma : float
        What its heat run permits for 60 K in air of 40 °C [mA]; NaN where there was none.
    conductor : str
        Metal of its wire; blank where nobody said.
    stop, stop_cleared, doubts : str
        What stands against it, as a record's columns say it; blank where nothing does.
    trouble : str
        What of it cannot be read, and what to do; blank where all can.
    """

    unit: str
    tag: str
    contributor: str
    session_id: str
    state: str
    changed_on: datetime
    next: str
    why: str = ""
    rectifier: str = ""
    filter: str = ""
    rated_current_ma: float = float("nan")
    low_ma: float = float("nan")
    high_ma: float = float("nan")
    level: float = 0.9
    moved: str = ""
    odds_worst: float = float("nan")
    proven_ma: float = float("nan")
    conductor: str = ""
    stop: str = ""
    stop_cleared: str = ""
    doubts: str = ""
    trouble: str = ""

    @property
    def told(self) -> str:
        """What it can give, in words; blank where nothing is told."""
        if not self.low_ma > 0:
            return ""
        low, likely, high = (words.milliamps(value) for value in (self.low_ma, self.rated_current_ma, self.high_ma))
        return str(SAID["estimate"].format(likely=likely, low=low, high=high, share=words.share(self.level)))

    def __str__(self) -> str:
        parts = [SAID["state"][self.state], self.told, self.moved, self.trouble]
        return f"{self.unit}: {', '.join(filter(None, parts))}; next: {self.next}"


@dataclass(frozen=True)
class Bench:
    """The units on a register's bench, the one that was kept last first; it prints itself.

    Attributes
    ----------
    units : tuple of BenchUnit
        One a tag and contributor.
    fit : str
        Name of the fit that their currents are by; blank where none was needed.
    """

    units: tuple[BenchUnit, ...]
    fit: str = ""

    def __len__(self) -> int:
        return len(self.units)

    def __iter__(self) -> Iterator[BenchUnit]:
        return iter(self.units)

    def __str__(self) -> str:
        return "\n".join(map(str, self.units)) or str(SAID["empty"])

    def table(self) -> pd.DataFrame:
        """A row a unit, with the attributes of `BenchUnit` as columns."""
        import pandas as pd

        return pd.DataFrame([vars(one) for one in self], columns=list(BenchUnit.__dataclass_fields__))


def on_the_bench(register: Register, model: Multiplier | None = None, level: float = 0.9) -> Bench:
    """Say what is on the bench of a register.

    Parameters
    ----------
    register : Register
        It is only read.
    model : Multiplier or None
        The fit to estimate by; None for one of the register's known units, the published windings beside real ones.
    level : float
        Probability of the intervals.

    Returns
    -------
    Bench
        Of several sessions with one unit the one that was kept last counts; one that cannot be read is said with it.

    Raises
    ------
    RegisterError
        The register cannot be read.
    CannotError
        No fit can be made of the register.
    """
    return bench_of(*units_now(register, model, level), level)


def units_now(register: Register, model: Multiplier | None = None, level: float = 0.9) -> tuple[list[UnitNow], str]:
    """The units on a register's bench as they are today, and the name of the fit; as for `on_the_bench`."""
    known = register.known()
    units = units_of(register.on_bench(), set(zip(known["contributor"], known["unit"], strict=True)))
    if all(one.record is None for one in units):
        return units, ""
    model = calib.fit(known, published=not register.is_simulated) if model is None else model
    return answered(units, model, level), model.content_hash


def bench_of(units: list[UnitNow], fit: str, level: float) -> Bench:
    """The list of units, each with its state."""
    names = Counter(one.kept.tag for one in units)
    return Bench(tuple(listed(one, level, names[one.kept.tag] > 1) for one in units), fit)


def listed(one: UnitNow, level: float, twice: bool = False) -> BenchUnit:
    """A unit as the list has it; `twice` says whether another of its tag is there."""
    state, why = _state(one)
    given, run = one.estimate, one.kept.heat_run
    rectifier, filter_input = one.supply
    rated, low, high = (given.rated_current_ma, given.low_ma, given.high_ma) if given else (None, None, None)
    return BenchUnit(
        unit=_name(one, twice),
        tag=one.kept.tag,
        contributor=one.kept.contributor,
        session_id=one.session.session_id if one.session else "",
        state=state,
        changed_on=one.changed_on,
        next=one.trouble.partition("; ")[2] or str(SAID["next"][state].format(why=why)),
        why=why,
        rectifier=rectifier,
        filter=filter_input,
        rated_current_ma=_number(rated),
        low_ma=_number(low),
        high_ma=_number(high),
        level=level,
        moved=one.moved,
        odds_worst=_number(one.odds[1]),
        proven_ma=_number(run.reference_ma if run else None),
        conductor=(one.record.conductor or "" if one.record else "") or one.kept.conductor,
        stop=one.stop,
        stop_cleared=one.stop_cleared,
        doubts=one.doubts,
        trouble=one.trouble,
    )


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _name(one: UnitNow, twice: bool) -> str:
    """What a unit is called: one of its own."""
    if not one.kept.tag and one.session:
        return str(SAID["unnamed"].format(begun=one.session.started_at, session=one.session.session_id))
    return f"{one.kept.tag} ({one.kept.contributor or 'no bench'})" if twice else one.kept.tag


def _state(one: UnitNow) -> tuple[str, str]:
    """The first state that holds, and why."""
    if one.stop and not one.stop_cleared:
        return "stopped", one.stop.split(" | ")[0].rstrip(".")
    if one.known:
        return "known", ""
    if one.kept.heat_run and one.kept.heat_run.reference_ma is not None:
        return "proven", words.milliamps(one.kept.heat_run.reference_ma)
    if one.odds[1] is not None and one.odds[1] >= FEEDS:
        return "feeds-the-set", words.odds(one.odds[1])
    if one.doubts or one.trouble:
        return "doubtful", (one.doubts.split(" | ")[0] or one.trouble.partition("; ")[0]).rstrip(".")
    if one.estimate is None:
        return "met", _needed(one)
    return ("doubtful", SAID["do_not_go_together"]) if one.estimate.rated_current_ma is None else ("measured", "")


def _needed(one: UnitNow) -> str:
    """What is to be mended or read before there is an estimate."""
    if one.read is None or one.made is None:
        return str(SAID["nothing_read"])
    if wrong := [*(_field(fault.column) for fault in one.read.faults), *map(_label, one.made.faults)]:
        return str(SAID["mend"].format(what=words.joined_names(wrong)))
    return str(SAID["needs"].format(what=words.joined_names([_label(name) for name in one.made.missing])))


def _field(place: str) -> str:
    """What a session's field is called, by the step and field that a fault names."""
    step, _, name = place.partition(".")
    fields = BY_NAME[step].fields if step in BY_NAME else {}
    return fields[name].label.lower() if name in fields else place


def _label(name: str) -> str:
    for part in ("needed", "more"):
        if name in FORM[part]:
            return str(FORM[part][name]["label"]).lower()
    return name
