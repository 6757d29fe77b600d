"""What is on the bench: each unit that a session was begun with, its state, what it can give, what is next for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import calib
from calib import words
from calib.paths import data
from calib.register.frame import frame_of
from calib.session.interpret import Session, interpret
from calib.session.meters import meters_of
from calib.session.protocol import BY_NAME, translated
from calib.session.readings import FORM

if TYPE_CHECKING:
    import pandas as pd

    from calib import Multiplier, Register
    from calib.session.readings import Understood

SAID = data("session/on_the_bench.toml")
STATES: tuple[str, ...] = tuple(SAID["state"])  # the first that holds is a unit's
SUPPLY = ("full-wave", "capacitor")  # taken for the estimate, since a session does not ask for it
WITHHELD = "its readings do not go together, so that no current is told"


@dataclass(frozen=True)
class BenchUnit:
    """A unit on the bench.

    Attributes
    ----------
    unit : str
        What the list calls it: its tag, with the contributor where two units bear the same.
    tag, contributor, session_id : str
        Of its session, the one that was kept last.
    state : str
        One of `STATES`: the first that holds.
    changed_on : datetime
        When its session was kept last, in UTC.
    next : str
        What is next for it.
    why : str
        What the state hangs on: the stop, the doubt, or what is still to be read; blank where nothing is to be said.
    rated_current_ma, low_ma, high_ma : float
        What it can give as a full-wave winding with the capacitor first [mA]; NaN where nothing is told.
    level : float
        Probability of that interval.
    stop, stop_cleared, doubts : str
        What stands against it, as a record's columns say it; blank where nothing does.
    """

    unit: str
    tag: str
    contributor: str
    session_id: str
    state: str
    changed_on: datetime
    next: str
    why: str = ""
    rated_current_ma: float = float("nan")
    low_ma: float = float("nan")
    high_ma: float = float("nan")
    level: float = 0.9
    stop: str = ""
    stop_cleared: str = ""
    doubts: str = ""

    @property
    def told(self) -> str:
        """What it can give, in words; blank where nothing is told."""
        if not self.low_ma > 0:
            return ""
        low, likely, high = (words.milliamps(value) for value in (self.low_ma, self.rated_current_ma, self.high_ma))
        return str(SAID["estimate"].format(likely=likely, low=low, high=high, share=words.share(self.level)))

    def __str__(self) -> str:
        return f"{self.unit}: {', '.join(filter(None, (SAID['state'][self.state], self.told)))}; next: {self.next}"


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
        Of several sessions with one unit the one that was kept last counts.

    Raises
    ------
    RegisterError
        The register cannot be read, or what was entered in a session cannot.
    CannotError
        No fit can be made of the register.
    """
    rows = _one_a_unit(register.sessions())
    meters = meters_of(register.meters())
    reads = [interpret(translated(register.session(row["session_id"]).entries), meters) for row in rows]
    made = [read.understood(*SUPPLY) for read in reads]
    told = {place: one.record for place, one in enumerate(made) if one.record is not None}
    if told and model is None:
        model = calib.fit(register.known(), published=not register.is_simulated)
    estimates: dict[int, Any] = {}
    if told and model is not None:
        found = model.estimate(frame_of(calib.UnknownUnit, list(told.values())), level)
        estimates = dict(zip(told, found.to_dict("records"), strict=True))
    known = set(zip(*(register.known()[name] for name in ("contributor", "unit")), strict=True))
    names, units = Counter(row["tag"] for row in rows), []
    for place, row in enumerate(rows):
        given = estimates.get(place)
        state, why = _state(reads[place], made[place], (row["contributor"], row["tag"]) in known, given)
        currents = {name: given[name] for name in ("rated_current_ma", "low_ma", "high_ma")} if given else {}
        at = {"changed_on": row["kept_at"].to_pydatetime(), "next": SAID["next"][state].format(why=why), "why": why}
        which = {name: row[name] for name in ("tag", "contributor", "session_id")}
        against: dict[str, Any] = dict(reads[place].standing)
        units.append(BenchUnit(_name(row, names), state=state, level=level, **which, **at, **currents, **against))
    return Bench(tuple(units), model.content_hash if told and model is not None else "")


def _one_a_unit(sessions: pd.DataFrame) -> list[dict[str, Any]]:
    """Of the sessions, the last kept first, one for each tag and contributor; those without a tag each by itself."""
    found: dict[tuple[str, ...], dict[str, Any]] = {}
    for each in sessions.to_dict("records"):
        row = {str(name): value for name, value in each.items()}
        found.setdefault((row["tag"], row["contributor"]) if row["tag"] else (row["session_id"],), row)
    return list(found.values())


def _name(row: dict[str, Any], names: Counter[str]) -> str:
    """What a unit is called: one of its own."""
    if not row["tag"]:
        return str(SAID["unnamed"].format(begun=row["started_at"], session=row["session_id"]))
    return f"{row['tag']} ({row['contributor'] or 'no bench'})" if names[row["tag"]] > 1 else str(row["tag"])


def _state(read: Session, made: Understood, known: bool, given: dict[str, Any] | None) -> tuple[str, str]:
    """The first state that holds, and why."""
    standing = read.standing
    if standing["stop"] and not standing["stop_cleared"]:
        return "stopped", standing["stop"].split(" | ")[0].rstrip(".")
    if known:
        return "known", ""
    if given is None:
        return (
            ("doubtful", standing["doubts"].split(" | ")[0].rstrip("."))
            if standing["doubts"]
            else ("met", _needed(read, made))
        )
    if standing["doubts"] or given["rated_current_ma"] != given["rated_current_ma"]:
        return "doubtful", standing["doubts"].split(" | ")[0].rstrip(".") or WITHHELD
    return "measured", ""


def _needed(read: Session, made: Understood) -> str:
    """What is to be mended or read before there is an estimate."""
    if wrong := [*(_field(fault.column) for fault in read.faults), *map(_label, made.faults)]:
        return str(SAID["mend"].format(what=words.joined_names(wrong)))
    return str(SAID["needs"].format(what=words.joined_names([_label(name) for name in made.missing])))


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
