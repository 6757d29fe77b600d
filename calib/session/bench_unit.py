"""A unit on the bench as it is today: what was kept of it, its session, and what both come to by the fit at hand.

Answers are kept as they were given (:mod:`calib.register.bench_units`); here they are made of the answers, and reckoned
anew where readings or fit are others by now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import calib
from calib import words
from calib.errors import InputError
from calib.estimate.demand import odds_of_demand
from calib.fitting.predictive import Prediction
from calib.fitting.tables import estimates
from calib.paths import data
from calib.register.bench_units import KeptDemand, KeptEstimate, KeptHeatRun, KeptUnit
from calib.register.frame import frame_of
from calib.session.interpret import Session, interpret
from calib.session.meters import meters_of
from calib.session.protocol import translated

if TYPE_CHECKING:
    from calib import (
        BenchSession,
        Demand,
        HeaterReading,
        HeatRunResult,
        LineUp,
        Meter,
        Multiplier,
        Register,
        SetSupply,
        UnknownUnit,
    )
    from calib.register.bench_units import OnTheBench
    from calib.session.readings import Understood

SAID = data("session/on_the_bench.toml")
SUPPLY = ("full-wave", "capacitor")  # taken for the estimate, since a session does not ask for it
SAME_READING = 5e-4  # relative; figures that differ by less are the same reading, in other digits (judgement)


def kept_estimate(model: Multiplier, row: dict[Any, Any], supply: tuple[str, str], level: float) -> KeptEstimate:
    """An estimate as the bench keeps it.

    Parameters
    ----------
    model : Multiplier
        The fit that it is by.
    row : dict
        Its row of the table of estimates.
    supply : (str, str)
        Rectifier and filter that it is for.
    level : float
        Probability of its interval.
    """
    names = KeptEstimate.model_fields.keys() - {
        "made_at",
        "fit",
        "records",
        "published",
        "rectifier",
        "filter",
        "level",
    }
    figures = {name: row[name] for name in names if name in row}
    fit = {"fit": model.content_hash, "records": model.records, "published": model.published}
    made = {"made_at": datetime.now(UTC), "rectifier": supply[0], "filter": supply[1], "level": level}
    return KeptEstimate.model_validate({**fit, **made, **figures})


def kept_demand(
    model: Multiplier, found: Demand, line_up: LineUp, supply: SetSupply, windings: Sequence[HeaterReading] = ()
) -> KeptDemand:
    """A demand as the bench keeps it: the answer, and all that it takes to reckon it again, its windings included."""
    told = {name: value for name, value in asdict(supply).items() if value is not None}
    return KeptDemand(
        made_at=datetime.now(UTC),
        fit=model.content_hash,
        level=found.level,
        loads=tuple(dict(row) for row in line_up.rows),
        supply=told,
        answer=found.as_dict(),
        windings=tuple(asdict(one) for one in windings),
    )


def windings_of(demand: KeptDemand) -> tuple[HeaterReading, ...]:
    """The heater windings that were told with a demand.

    Raises
    ------
    InputError
        They cannot be read any more.
    """
    found = []
    for row in demand.windings:
        told: dict[str, Any] = {name: value for name, value in row.items() if value is not None}
        try:
            found.append(calib.HeaterReading(**{**told, "meter": calib.MeterClass(**told["meter"])}))
        except (KeyError, TypeError, ValueError) as error:
            problem, remedy = f"were kept by another version of calib: {error}", "enter the heater windings anew"
            raise InputError.one(problem, remedy, column="demand", code="unknown") from None
    return tuple(found)


def kept_heat_run(found: HeatRunResult) -> KeptHeatRun:
    """A heat run as the bench keeps it."""
    return KeptHeatRun(made_at=datetime.now(UTC), given=asdict(found.run), result=found.as_dict())


@dataclass(frozen=True)
class UnitNow:
    """A unit on the bench as it is today.

    Attributes
    ----------
    kept : KeptUnit
        What was kept of it.
    session : BenchSession or None
        Its session, the one that was kept last.
    read : Session or None
        What that session's entries come to; None where there is none, or it cannot be read.
    made : Understood or None
        The record that it comes to, or what it still lacks.
    record : UnknownUnit or None
        Its readings: those of the session, or those that were kept with an answer where they are newer or the session
        lacks something. With all that stands against it.
    stop, stop_cleared, doubts : str
        What stands against it, as a record's columns say it.
    known : bool
        Whether a record of its tag and bench counts among the known units.
    trouble : str
        What of it cannot be read, and what to do; blank where all can.
    estimate : KeptEstimate or None
        What it can give by the fit at hand; None where its readings do not suffice.
    odds : tuple of float or None
        Odds that the rating suffices for the kept demand, at rest and at worst, by the fit at hand; None where no
        demand was kept, or no current is told.
    """

    kept: KeptUnit
    session: BenchSession | None = None
    read: Session | None = field(default=None, repr=False)
    made: Understood | None = field(default=None, repr=False)
    record: UnknownUnit | None = None
    stop: str = ""
    stop_cleared: str = ""
    doubts: str = ""
    known: bool = False
    trouble: str = ""
    estimate: KeptEstimate | None = None
    odds: tuple[float | None, float | None] = (None, None)

    @property
    def supply(self) -> tuple[str, str]:
        """Rectifier and filter that the estimate is for."""
        of = self.record or self.kept.readings
        return (of.rectifier, of.filter) if of else SUPPLY

    @property
    def changed_on(self) -> datetime:
        """When something of it was kept last, in UTC."""
        times = [self.kept.kept_at, self.session.kept_at if self.session else None]
        return max(one for one in times if one is not None)

    @property
    def heaters(self) -> tuple[HeaterReading, ...]:
        """Its heater windings: those of the session, or those that were told with its demand where they are newer.

        Raises
        ------
        InputError
            Those of the demand cannot be read any more.
        """
        demand, read = self.kept.demand, self.read.heaters if self.read else None
        if demand is None or not demand.windings:
            return read or ()
        older = self.session is None or self.session.kept_at < demand.made_at
        return windings_of(demand) if older or not read else read

    @property
    def moved(self) -> str:
        """How the estimate differs from the one that was kept last, and why; blank where it does not."""
        return "" if self.estimate is None or self.kept.estimate is None else moved(self.kept.estimate, self.estimate)

    @property
    def odds_moved(self) -> str:
        """The same of the odds of its demand at worst; blank where they do not differ in words."""
        then, now = self.kept.demand.odds_worst if self.kept.demand else None, self.odds[1]
        if then is None or now is None or words.odds(then) == words.odds(now):
            return ""
        return str(SAID["odds_moved"].format(then=words.odds(then), now=words.odds(now)))


def moved(was: KeptEstimate, now: KeptEstimate) -> str:
    """How an estimate differs from an earlier one, and what is other by now; blank where it says the same.

    Returns
    -------
    str
        Such as ``was 82, now 76: three records more``.
    """
    then, here = (
        SAID["withheld"] if one.rated_current_ma is None else words.milliamps(one.rated_current_ma)
        for one in (was, now)
    )
    why = _why(was, now)
    if then == here or not why:
        return ""
    return str(SAID["moved"].format(then=then, now=here, why=words.joined_names(why)))


def _why(was: KeptEstimate, now: KeptEstimate) -> list[str]:
    """What is other than it was: the supply, the readings, the records that the fit is made of."""
    why = []
    if (was.rectifier, was.filter) != (now.rectifier, now.filter):
        why.append(SAID["why"]["supply"])
    if any(_differs(getattr(was, name), getattr(now, name)) for name in ("no_load_v", "v_over_r")):
        why.append(SAID["why"]["readings"])
    if _readings_in(was) != _readings_in(now):
        why.append(SAID["why"]["predictors"])
    if was.fit == now.fit:
        return why
    more = [(now.records - was.records, "record"), (now.published - was.published, "published winding")]
    told = [f"{words.few(abs(by), what)} {'more' if by > 0 else 'less'}" for by, what in more if by]
    return [*why, *(told or [SAID["why"]["fit"]])]


def _readings_in(one: KeptEstimate) -> set[str]:
    """Which readings carried an estimate, whatever the known units tell of maker and bench."""
    return {*(one.predictors or "").split("+")} - {"maker", "era", "bench"}


def _differs(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is not other
    return abs(one - other) > SAME_READING * abs(one)


def understood(session: BenchSession, fault: str, meters: Sequence[Meter]) -> tuple[Session | None, str]:
    """What a session's entries come to, and what is wrong with it; the first is None where it cannot be read."""
    if fault:
        return None, fault
    try:
        return interpret(translated(session.entries), meters), ""
    except (ValueError, TypeError, AttributeError, KeyError):  # entries of another shape than any field has
        return None, SAID["spoilt"].format(tag=session.tag or "without a tag")


def units_of(bench: OnTheBench, known: set[tuple[str, str]]) -> list[UnitNow]:
    """The units on a bench, those with a session alone among them, the one that was kept last first; without estimates.

    Parameters
    ----------
    bench : OnTheBench
        As `Register.on_bench` gives it.
    known : set of (str, str)
        Contributor and unit of each known unit.

    Returns
    -------
    list of UnitNow
        Of several sessions with one unit the one that was kept last counts.
    """
    meters = meters_of(bench.meters)
    kept = {(unit.tag, unit.contributor): (unit, fault) for unit, fault in bench.units}
    of_session = {name: key for key, (unit, _) in kept.items() for name in unit.sessions}
    sessions: dict[tuple[str, ...], tuple[BenchSession, str]] = {}
    every: dict[tuple[str, ...], list[str]] = {}
    for session, fault in bench.sessions:
        own = (session.tag, session.contributor) if session.tag else (session.session_id,)
        key: tuple[str, ...] = of_session.get(session.session_id, own)
        sessions.setdefault(key, (session, fault))
        every.setdefault(key, []).append(session.session_id)
    found = []
    keys: set[tuple[str, ...]] = {*sessions, *kept}
    for key in keys:
        tag, contributor = (key[0], key[1]) if len(key) == 2 else ("", sessions[key][0].contributor)
        unit, fault = (
            kept.get((tag, contributor), (KeptUnit(tag, contributor), "")) if tag else (KeptUnit("", contributor), "")
        )
        unit = replace(unit, sessions=tuple(every.get(key, ())) or unit.sessions)
        found.append(_now(unit, fault, sessions.get(key), meters, (contributor, tag) in known))
    return sorted(found, key=lambda one: one.changed_on, reverse=True)


def _now(
    kept: KeptUnit, fault: str, given: tuple[BenchSession, str] | None, meters: Sequence[Meter], known: bool
) -> UnitNow:
    session, wrong = given or (None, "")
    read, wrong = understood(session, wrong, meters) if session else (None, "")
    supply = (kept.readings.rectifier, kept.readings.filter) if kept.readings else SUPPLY
    made = read.understood(*supply) if read else None
    of_session = made.record if made else None
    older = session is not None and kept.read_at is not None and session.kept_at < kept.read_at
    record = kept.readings if kept.readings and (older or of_session is None) else of_session
    against = _standing(kept, read, record)
    trouble = "; ".join(filter(None, (fault, wrong)))
    if record is not None:
        named = {"unit": kept.tag or record.unit, "contributor": kept.contributor}
        record = calib.UnknownUnit.parse({**record.entered(), **named, **against})
    stop, cleared, doubts = against.values()
    return UnitNow(kept, session, read, made, record, stop, cleared, doubts, known, trouble)


def _standing(kept: KeptUnit, read: Session | None, record: UnknownUnit | None) -> dict[str, str]:
    """What stands against a unit, by its session and by what was kept: stops count as cleared where each of them is."""
    own = read.standing if read else {"stop": "", "stop_cleared": "", "doubts": ""}
    here = [one for one in kept.stop.split(" | ") if one and one not in own["stop"].split(" | ")]
    cleared = (not own["stop"] or own["stop_cleared"]) and (not here or kept.stop_cleared)
    explained = read.doubts_explained if read else {}
    doubts = [own["doubts"], record.doubts if record else "", *(kept.heat_run.doubts if kept.heat_run else ())]
    said = [one for text in doubts for one in text.split(" | ") if one and one not in explained]
    whys = [own["stop_cleared"], kept.stop_cleared if here else ""] if cleared else []
    return {
        "stop": " | ".join(filter(None, [own["stop"], *here])),
        "stop_cleared": " | ".join(filter(None, whys)),
        "doubts": " | ".join(dict.fromkeys(said)),
    }


def answered(units: Sequence[UnitNow], model: Multiplier, level: float) -> list[UnitNow]:
    """The same units with what each can give by a fit, and the odds of the demand that was kept of it."""
    told = [place for place, one in enumerate(units) if one.record is not None]
    if not told:
        return list(units)
    asked = Prediction.of(model, frame_of(calib.UnknownUnit, [one.record for one in units if one.record is not None]))
    answers = estimates(asked, level)
    found = list(units)
    for at, place in enumerate(told):
        one, answer = units[place], answers.iloc[at]
        estimate = kept_estimate(model, answer.to_dict(), one.supply, level)
        found[place] = replace(one, estimate=estimate, odds=_odds(one, asked, at, answer))
    return found


def _odds(one: UnitNow, asked: Prediction, at: int, answer: Any) -> tuple[float | None, float | None]:
    """Odds of the kept demand by today's estimate: the set's currents are taken as they were reckoned then."""
    told = one.kept.demand.answer if one.kept.demand else {}
    names = ("average_ma", "worst_ma", "average_u_ma", "worst_u_ma")
    numbers = [value for name in names if isinstance(value := told.get(name), int | float)]
    if len(numbers) < len(names) or one.supply[0] == "none":
        return None, None
    drawn, u_ma = numbers[:2], numbers[2:]
    relative = [u / ma if ma else 0.0 for u, ma in zip(u_ma, drawn, strict=True)]
    average, worst = odds_of_demand(asked, at, answer, drawn, relative)
    return average, worst


def unit_on_the_bench(
    register: Register, tag: str, contributor: str = "", model: Multiplier | None = None, level: float = 0.9
) -> UnitNow:
    """One unit on a register's bench as it is today.

    Parameters
    ----------
    register : Register
        It is only read.
    tag, contributor : str
        The unit, and whose bench it is.
    model : Multiplier or None
        The fit to estimate by; None for one of the register's known units, the published windings beside real ones.
    level : float
        Probability of the interval.

    Raises
    ------
    InputError
        Nothing of that tag and contributor is on the bench.
    RegisterError
        The register cannot be read.
    CannotError
        No fit can be made of the register.
    """
    known = register.known()
    found = units_of(register.on_bench(), set(zip(known["contributor"], known["unit"], strict=True)))
    mine = [one for one in found if (one.kept.tag, one.kept.contributor) == (tag, contributor)]
    if not mine:
        register.bench_unit(tag, contributor)  # which says that it is not there
        raise InputError.one(
            "no such unit is on the bench", "look it up there", column="unit", value=tag, code="not-found"
        )
    if mine[0].record is None:
        return mine[0]
    model = calib.fit(known, published=not register.is_simulated) if model is None else model
    return answered(mine, model, level)[0]
