"""What is on the bench: each unit with its state and what is next; held beside another, made known, told in full."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import calib
from calib import words
from calib.errors import InputError
from calib.register.attachments import EvidenceFile, Owner, of_record
from calib.register.bench_units import KeptDemand, KeptEstimate, bench_id
from calib.session.bench_unit import SAID, UnitNow, answered, units_of
from calib.session.fields import shown
from calib.session.interpret import stops_on_the_bench
from calib.session.protocol import BY_NAME
from calib.session.readings import FORM

if TYPE_CHECKING:
    import pandas as pd

    from calib import Demand, KnownUnit, LineUp, Multiplier, Register, SetSupply, UnknownUnit

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


AT_REST, AT_WORST = "drawn at rest", "drawn at worst"  # what a set draws, as page and sheet call it
SIDES = ("odds_worst", "odds_average", "margin", "dc_v", "dc_v_low", "dc_v_high", "dc_v_worst", "source_ohm")


def of_bench(tag: str, contributor: str = "") -> Owner:
    """A unit on the bench, as an owner of files."""
    return Owner("bench", bench_id(tag, contributor))


def set_of(demand: KeptDemand) -> tuple[LineUp, SetSupply]:
    """The set of a demand that was kept, to reckon it again.

    Raises
    ------
    InputError
        It cannot be reckoned any more: with what is wrong by now, such as a valve that no table has.
    """
    try:
        supply = calib.SetSupply(**demand.supply)  # type: ignore[arg-type]
    except TypeError as error:
        problem, remedy = f"was kept by another version of calib: {error}", "enter the set anew"
        raise InputError.one(problem, remedy, column="demand", code="unknown") from None
    return calib.load_rows(demand.loads), supply


def side_by_side(model: Multiplier, units: Sequence[UnitNow], demand: KeptDemand, level: float = 0.9) -> pd.DataFrame:
    """Units held against one demand, as they are today.

    Parameters
    ----------
    model : Multiplier
        The fit to estimate by.
    units : sequence of UnitNow
        Each with readings.
    demand : KeptDemand
        The set, as it was kept with one of them or with another.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        A row a unit: unit, contributor, rectifier, filter, rated_current_ma, low_ma, high_ma [mA], level; odds_worst,
        odds_average, margin [-]; dc_v, dc_v_low, dc_v_high, dc_v_worst [V]; source_ohm [ohm]; broken (the limits'
        codes, joined by ;), proven_ma [mA], conductor, stop, stop_cleared, doubts, and why it could not be answered
        (trouble), blank where it was.

    Raises
    ------
    InputError
        The set cannot be reckoned any more.
    """
    import pandas as pd

    line_up, supply = set_of(demand)
    rows = []
    for one in units:
        run, given = one.kept.heat_run, one.estimate
        row: dict[str, Any] = {"unit": one.kept.tag, "contributor": one.kept.contributor, "level": level}
        row |= dict(zip(("rectifier", "filter"), one.supply, strict=True))
        row |= {name: getattr(given, name, None) for name in ("rated_current_ma", "low_ma", "high_ma")}
        row |= {"proven_ma": run.reference_ma if run else None, "conductor": metal(one), "trouble": one.trouble}
        row |= {name: getattr(one, name) for name in ("stop", "stop_cleared", "doubts")}
        try:
            found = calib.demand_of(model, _record(one), line_up, supply, level)[0]
        except InputError as error:
            said = (f"{each.problem}; {each.remedy}" for each in error.faults)
            row["trouble"] = "; ".join(filter(None, (one.trouble, *said)))
        else:
            row |= {name: getattr(found, name) for name in SIDES}
            row["broken"] = ";".join(each.limit for each in found.broken)
        rows.append(row)
    return pd.DataFrame(rows)


def _record(one: UnitNow) -> UnknownUnit:
    """A unit's readings; an `InputError` where they do not suffice."""
    if one.record is None:
        remedy = "read it first, in a session or on the page 'What can it give?'"
        raise InputError.one("its readings do not suffice", remedy, column="unit", value=one.kept.tag, code="missing")
    return one.record


def metal(one: UnitNow) -> str:
    """Metal of a unit's wire, as read or as its heat run took it; blank where nobody said."""
    return str((one.record.conductor if one.record else None) or one.kept.conductor)


def known_of(
    one: UnitNow, evidence: str, rated_current_ma: float | str, contributor: str = "", **more: object
) -> KnownUnit:
    """The record that makes a unit on the bench a known one, with all that is on the bench of it.

    Parameters
    ----------
    one : UnitNow
        The unit.
    evidence : str
        How its rated current is known.
    rated_current_ma : float or str
        What it is [mA]: of a heat run its `reference_ma`.
    contributor : str
        Whose bench, where the unit on the bench names none.
    **more
        Further columns of the record, such as rating_basis.

    Raises
    ------
    InputError
        With every fault that the record would have: readings that are still missing, a stop that stands.
    """
    there = {name: value for name, value in _record(one).entered().items() if name != "demand_ma"}
    own = {"unit": one.kept.tag, "contributor": one.kept.contributor or contributor, "conductor": metal(one)}
    rated = {"evidence": evidence, "rated_current_ma": rated_current_ma}
    return calib.KnownUnit.parse({**there, **own, **rated, **more}, where="the unit on the bench")


def make_known(register: Register, one: UnitNow, record: KnownUnit, by: str = "", reason: str = "") -> None:
    """Add the record of a unit on the bench to the known units, with the files that are attached to it.

    Raises
    ------
    InputError
        A stop stands against it on the bench, the record cannot be added, or a record of that tag and bench stands with
        other readings.
    RegisterError
        The register cannot be worked on.
    """
    mine = (record.contributor, record.unit)
    stop = "" if record.stop_cleared else stops_on_the_bench(register, [mine]).get(mine, "")
    if stop:
        problem, remedy = f"the bench says stop, feed nothing: {stop}", "clear it there with the reason first"
        raise InputError.one(problem, remedy, column="unit", value=record.unit, code="stopped")
    register.add(record, by, reason or SAID["made_known"], revise=False)
    for each in register.attachments(of_bench(one.kept.tag, one.kept.contributor)):
        given = EvidenceFile(each.name, each.media, register.attachment(each))
        register.attach(of_record(*mine), given, each.by, each.reason)


def history_of(past: pd.DataFrame) -> list[tuple[int, str, str, str, str, str]]:
    """What was done with a unit on the bench, the last first: revision, was, when, by, why, and what changed.

    Parameters
    ----------
    past : pandas.DataFrame
        As `Register.bench_history` gives it.
    """
    rows, names = past.to_dict("records"), [*SAID["cells"]]
    found = []
    for at, row in enumerate(rows):
        before = rows[at - 1] if at else dict.fromkeys(names, "")
        changed = [str(SAID["cells"][name]) for name in names if row[name] != before[name]]
        made = f"{row['made_at']:%Y-%m-%d %H:%M} UTC"
        done = str(SAID["done"][row["action"]])
        found.append((int(row["revision"]), done, made, row["by"], row["reason"], ", ".join(changed)))
    return found[::-1]


def in_full(one: UnitNow, state: str, past: pd.DataFrame) -> str:
    """A unit on the bench in words: what stands against it, its readings, answers over time, and its history."""
    whose = f" of {one.kept.contributor}" if one.kept.contributor else ""
    said, lines = SAID["full"], [f"{one.kept.tag}{whose}: {state}"]
    if one.stop:
        stop = said["stop_cleared"] if one.stop_cleared else said["stop"]
        lines.append(stop.format(stop=one.stop, why=one.stop_cleared))
    lines += [said["doubts"].format(doubts=one.doubts)] if one.doubts else []
    lines += [one.trouble] if one.trouble else []
    if one.record is not None:
        supply = words.supply(*one.supply)
        lines.append(said["supply"].format(supply=supply, metal=metal(one) or said["no_metal"]))
    for each in one.kept.estimates:
        lines.append(said["estimate"].format(at=f"{each.made_at:%Y-%m-%d %H:%M} UTC", told=told_of(each)))
    if one.estimate is not None:
        lines.append(said["now"].format(told=told_of(one.estimate), moved=f"; {one.moved}" if one.moved else ""))
    if (demand := one.kept.demand) is not None:
        lines.append(said["demand"].format(**demand_figures(one, demand)))
    if (run := one.kept.heat_run) is not None:
        proven = said["no_reference"] if run.reference_ma is None else f"{words.milliamps(run.reference_ma)} mA"
        lines.append(said["heat_run"].format(at=f"{run.made_at:%Y-%m-%d %H:%M} UTC", proven=proven))
    for number, was, at, by, why, _ in history_of(past):
        lines.append(
            " ".join(filter(None, (f"{number}.", at, was, f"by {by}" if by else "", f"({why})" if why else "")))
        )
    return "\n".join(lines)


def told_of(one: KeptEstimate) -> str:
    """An estimate in words, with what its fit was made of."""
    records = words.count(one.records, "record")
    if one.rated_current_ma is None or one.low_ma is None or one.high_ma is None:
        return f"{SAID['withheld']} ({records})"
    likely, low, high = (words.milliamps(value) for value in (one.rated_current_ma, one.low_ma, one.high_ma))
    given = SAID["estimate"].format(likely=likely, low=low, high=high, share=words.share(one.level))
    return f"{words.supply(one.rectifier, one.filter)}: {given} ({records})"


def figures_of_set(found: Demand, level: float) -> list[tuple[str, str]]:
    """The figures of a set against a unit, each with its unit; `level` is the probability of the interval."""
    percent = f"{level * 100:g} %"
    told: list[tuple[str, float | None, str]] = [(AT_REST, found.average_ma, "mA")]
    told += [(AT_WORST, found.worst_ma, "mA")]
    told += [("direct voltage at worst", found.dc_v_worst, "V"), ("source of one side", found.source_ohm, "Ω")]
    if found.average is not None:
        told.append(("ripple, peak to peak", found.average.ripple_v_pp, "V"))
        told.append(("winding, one side", found.average.winding_rms_ma, "mA rms"))
        told.append(("rectifier's peak", found.average.peak_ma, "mA"))
    if found.section is not None and found.section.dc_v >= 0.0:
        told.append(("behind the second section", found.section.dc_v, "V"))
        told.append(("ripple there, at most", found.section.ripple_v_pp, "V peak to peak"))
        told.append(("heat in the section", found.section.watts, "W"))
    if found.set_side.apart and found.set_side.set_worst_v >= 0.0:
        told.append(("left to the set at rest", found.set_side.set_v, "V"))
        told.append(("left to the set at worst", found.set_side.set_worst_v, "V"))
    rows = [(name, f"{words.figure(value)} {symbol}") for name, value, symbol in told if value is not None]
    for volts, amperes in found.heaters:
        figure = f"{words.figure(amperes)} A, {words.figure(volts * amperes)} VA"
        rows.append((f"heaters of {shown(volts)} V", figure))
    if found.dc_v is not None and found.dc_v_low is not None and found.dc_v_high is not None:
        middle, low, high = (words.figure(one) for one in (found.dc_v, found.dc_v_low, found.dc_v_high))
        rows.insert(2, ("direct voltage at rest", f"{middle} V ({percent}: {low} to {high} V)"))
    return rows


def demand_figures(one: UnitNow, demand: KeptDemand) -> dict[str, str]:
    """What is said of a kept demand: when, the set's current, odds then and now, broken limits."""
    then, now = (SAID["withheld"] if value is None else words.odds(value) for value in (demand.odds_worst, one.odds[1]))
    broken = [str(each.get("limit")) for each in demand.broken]
    return {
        "at": f"{demand.made_at:%Y-%m-%d %H:%M} UTC",
        "worst": "–" if demand.worst_ma is None else words.figure(demand.worst_ma),
        "then": then,
        "now": now,
        "broken": words.joined_names(broken) or "none",
    }
