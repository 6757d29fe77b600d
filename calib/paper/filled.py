"""A unit's sheet filled from where it stands: a register's record, a session at its bench, or an answer at hand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import calib
from calib import words
from calib.errors import InputError, visible
from calib.estimate.unit import CAUTIONS
from calib.estimate.working import of_record as working_of_record
from calib.paper import blocks
from calib.paper.blocks import of_kept
from calib.paper.layout import SAYS, Block, Photograph, UnitSheet
from calib.register.attachments import of_record as owner_of
from calib.register.fields import FIELDS
from calib.register.frame import frame_of
from calib.register.lakehouse import Lakehouse, place_of
from calib.register.records import columns, standing
from calib.session.bench_unit import UnitNow, answered, units_of
from calib.session.interpret import stops_on_the_bench
from calib.session.on_the_bench import of_bench as bench_owner
from calib.session.steps import symbols

if TYPE_CHECKING:
    from calib import KnownUnit, Multiplier, Register, UnitEstimate, UnknownUnit
    from calib.session.meters import Metered

HERE = "the unit's sheet"


@dataclass(frozen=True)
class Behind:
    """What stands behind a sheet.

    Attributes
    ----------
    register : str
        What the register is called.
    simulated : bool
        Whether it is one of simulated units.
    kind : str
        Where the unit stands: record, bench, or typed for an answer at hand.
    fit : str
        Which fit, in words.
    dated : datetime or None
        When what is shown was kept last, in UTC; None where it was not.
    photograph : Photograph or None
        One of the unit.
    """

    register: str
    simulated: bool
    kind: str
    fit: str
    dated: datetime | None = None
    photograph: Photograph | None = None

    @classmethod
    def of(cls, register: str | Path | Lakehouse, simulated: bool, kind: str, model: Multiplier, **more: Any) -> Behind:
        """With the fit's name and what it was made of."""
        noun = "unit" if model.records == 1 else "units"
        published = SAYS["with_published"].format(count=model.published) if model.published else ""
        name = visible(place_of(register).name)
        kept = " (SIMULATED practice data)" if simulated else ""
        told = {"fit": model.content_hash, "known": model.records, "noun": noun, "published": published}
        return cls(name, simulated, kind, SAYS["source"].format(**told, register=name, simulated=kept), **more)

    @property
    def source(self) -> str:
        """Which fit of which register, and how old the readings are."""
        day = SAYS["as_of"].format(day=f"{self.dated:%Y-%m-%d}") if self.dated else SAYS["no_day"]
        return f"{self.fit} {day}"

    @property
    def where(self) -> str:
        """Where all of it stands."""
        return str(SAYS["where"][self.kind].format(register=self.register))


def of_answer(record: UnknownUnit, estimate: UnitEstimate, behind: Behind, metered: Metered | None = None) -> UnitSheet:
    """The sheet of a unit whose rating is sought, of readings, estimate, and what the meters make of them."""
    more = (*blocks.of_facts(blocks.facts_of(record)), *(blocks.of_meters(metered) if metered else ()))
    return _estimated(record.values(), estimate, behind, _More(standing(record.values()), more))


class _More(NamedTuple):
    """What a sheet shows besides its columns and the estimate: what stands against the unit, blocks, proven current."""

    against: Sequence[tuple[str, str]]
    blocks: tuple[Block, ...]
    proven_ma: float = math.nan
    asked_ma: float = math.nan


def _estimated(cells: Mapping[str, Any], estimate: UnitEstimate, behind: Behind, more: _More) -> UnitSheet:
    """A sheet whose current is an estimate."""
    answer, level = blocks.row_of(estimate), estimate.level
    asked = float(cells.get("demand_ma") or math.nan)
    told = {"asked": more.asked_ma if math.isnan(asked) else asked, "proven": more.proven_ma}
    withheld = estimate.withheld
    finding = [SAYS["finding"]["withheld"] if withheld else blocks.sentence_of(answer, level), blocks.slip_of(answer)]
    finding.append(blocks.other_of(estimate, str(cells["filter"])))
    supply = words.supply(str(cells["rectifier"]), str(cells["filter"]))
    return UnitSheet(
        unit=str(cells["unit"]),
        about=SAYS["about"][behind.kind].format(whose=_whose(cells), supply=supply),
        source=behind.source,
        where=behind.where,
        simulated=behind.simulated or estimate.simulated,
        dated=behind.dated,
        against=tuple(more.against),
        finding=tuple(filter(None, finding)),
        figures=tuple(blocks.figures_of(answer, level, asked)),
        answer=None if withheld else answer,
        curve=None if withheld else estimate.curve,
        marks=() if withheld else blocks.marks_of(answer, level, told),
        current=words.current_title(str(cells["rectifier"])),
        blocks=(*blocks.of_columns(cells), *more.blocks, *blocks.of_estimate(estimate)),
        working=blocks.working_rows(estimate.working),
        photograph=behind.photograph,
        cautions=estimate.cautions,
    )


def _whose(cells: Mapping[str, Any]) -> str:
    return str(cells.get("contributor") or "") or str(SAYS["nobody"])


def of_known(
    record: KnownUnit,
    model: Multiplier,
    behind: Behind,
    against: Sequence[tuple[str, str]] = (),
    now: UnitNow | None = None,
    level: float = 0.9,
) -> UnitSheet:
    """The sheet of a known unit: its rating, and beside it what its readings alone say by the fit.

    Parameters
    ----------
    record : KnownUnit
        As it stands.
    model : Multiplier
        The fit that it is among.
    behind : Behind
        What stands behind the sheet.
    against : sequence of (str, str)
        What stands against it besides what the record says, each with its kind.
    now : UnitNow or None
        The same unit on the bench, where it is there.
    level : float
        Probability of the intervals.
    """
    cells = record.values()
    asked = {name: cells[name] for name in columns(calib.UnknownUnit) if name in cells}
    estimate = calib.estimate_unit(model, calib.UnknownUnit.parse(asked, HERE), level)
    established = blocks.of_facts(blocks.facts_of(record))
    kept = of_kept(now, model, level) if now else ()
    shown = _estimated(cells, estimate, behind, _More([*standing(cells), *against], (*established, *kept)))
    rated, evidence = float(record.rated_current_ma), FIELDS["evidence"].names[record.evidence]
    current = words.figure(rated, 4) if rated < 10 else f"{rated:.6g}"
    says, said = SAYS["finding"], " ".join(shown.finding)
    finding = says["rated"].format(rated=current, evidence=evidence)
    others = says["others"].format(said=f"{said[0].lower()}{said[1:]}")
    figures = [(FIELDS["rated_current_ma"].label, f"{current} mA"), *_in_the_picture(record, model), *shown.figures]
    supply = words.supply(record.rectifier, record.filter)
    working = working_of_record(frame_of(calib.KnownUnit, [record]))
    return replace(
        shown,
        about=SAYS["about"]["known"].format(whose=_whose(cells), supply=supply),
        finding=(finding, others),
        figures=tuple(figures),
        marks=() if estimate.withheld else blocks.marks_of(blocks.row_of(estimate), level, {"rated": rated}),
        working=blocks.working_rows(working),
    )


def _in_the_picture(record: KnownUnit, model: Multiplier) -> list[tuple[str, str]]:
    """The multiplier that its rating implies, and how sound the fit takes the record to be."""
    points = model.points(record.rectifier, record.filter)
    mine = points[(points["contributor"] == record.contributor) & (points["unit"] == record.unit) & points["own"]]
    if not len(mine):
        return []
    one = mine.iloc[0]
    core = f" at {one['core_area_cm2']:.3g} cm²" if one["core_area_cm2"] > 0 else ""
    implied = (blocks.FIGURE["implied"], f"{one['multiplier']:.3g} mA per V/Ω{core}")
    return [implied, (blocks.FIGURE["implies_sound"], words.odds(float(one["odds_sound"])))]


def of_bench(now: UnitNow, model: Multiplier, behind: Behind, level: float = 0.9) -> UnitSheet:
    """The sheet of a unit on the bench: what was read, kept and proven of it, and what it can give by the fit at hand.

    Parameters
    ----------
    now : UnitNow
        As :func:`calib.session.unit_on_the_bench` gives it.
    model : Multiplier
        The fit to estimate by.
    behind : Behind
        What stands behind the sheet.
    level : float
        Probability of the intervals.
    """
    cleared = now.read.doubts_cleared if now.read else ()
    against = [*standing(vars(now)), *(("doubts_cleared", one) for one in cleared)]
    against += [("doubt", words.sentence(now.trouble))] if now.trouble else []
    record, read = now.record, now.read
    if record is None:
        return _untold(now, behind, against, of_kept(now, model, level))
    facts = read.facts if read and read.facts else blocks.facts_of(record)
    metered = now.made.metered if now.made else None
    told = (*of_kept(now, model, level), *blocks.of_facts(facts), *(blocks.of_meters(metered) if metered else ()))
    demand, run = now.kept.demand, now.kept.heat_run
    asked, proven = (demand.worst_ma if demand else None), (run.reference_ma if run else None)
    estimate = calib.estimate_unit(model, record, level, read.heaters if read else None)
    shown = _estimated(record.values(), estimate, behind, _More(against, told, proven or math.nan, asked or math.nan))
    figures = [*shown.figures]
    if asked is not None and now.odds[1] is not None and record.demand_ma is None:
        worst = [(blocks.FIGURE["asked_worst"], f"{words.milliamps(asked)} mA")]
        figures[3:3] = [*worst, (blocks.FIGURE["odds"], words.odds(now.odds[1]))]
    if proven is not None:
        figures.insert(0, (blocks.FIGURE["proven"], f"{words.milliamps(proven)} mA"))
    return replace(shown, figures=tuple(figures))


def _untold(now: UnitNow, behind: Behind, against: Sequence[tuple[str, str]], kept: Sequence[Block]) -> UnitSheet:
    """A sheet without a current: what is wrong or missing stands in its place."""
    cells: dict[str, Any] = {"rectifier": now.supply[0], "filter": now.supply[1], "unit": now.kept.tag}
    cells |= {"contributor": now.kept.contributor, **(now.read.columns if now.read else {})}
    why = now.trouble
    if now.read is not None:
        try:
            now.read.unit(*now.supply)
        except InputError as error:
            told = ((FIELDS[one.column].label if one.column in FIELDS else one.column, one) for one in error.faults)
            why = "; ".join(f"{label} {one.problem}, {one.remedy}" for label, one in told)
    supply = words.supply(*now.supply)
    return UnitSheet(
        unit=str(cells["unit"]),
        about=SAYS["about"][behind.kind].format(whose=_whose(cells), supply=supply),
        source=behind.source,
        where=behind.where,
        simulated=behind.simulated or bool(cells.get("simulated")),
        dated=behind.dated,
        against=tuple(against),
        finding=(SAYS["finding"]["none"].format(why=why),),
        blocks=(*blocks.of_columns(cells), *blocks.of_facts(now.read.facts if now.read else ()), *kept),
        photograph=behind.photograph,
        cautions=CAUTIONS,
    )


def sheet_of_unit(
    register: Register,
    unit: str,
    contributor: str | None = None,
    model: Multiplier | None = None,
    level: float = 0.9,
) -> UnitSheet:
    """What the sheet of a unit shows, be it a known unit of a register or one on its bench.

    Parameters
    ----------
    register : Register
        It is only read.
    unit : str
        The unit's tag.
    contributor : str or None
        Whose bench read it; needed only where several have that tag.
    model : Multiplier or None
        The fit to estimate by; None for one of the register's known units, the published windings beside real ones.
    level : float
        Probability of the intervals, above 0 and below 1.

    Returns
    -------
    UnitSheet
        Its :meth:`UnitSheet.pdf` prints it.

    Raises
    ------
    InputError
        The register has no such unit, or several have that tag and no contributor is named.
    RegisterError
        The register cannot be read.
    CannotError
        No fit can be made of it.
    """
    known = register.known()
    mine = [*known[known["unit"] == unit]["contributor"]]
    bench = units_of(register.on_bench(), set(zip(known["contributor"], known["unit"], strict=True)))
    there = {one.kept.contributor: one for one in reversed(bench) if one.kept.tag == unit and unit}
    whose = _the_one(str(register.path), unit, contributor, mine, [*there])
    if model is None:
        model = calib.fit(known, published=not register.is_simulated)
    about, now = (register.path, register.is_simulated), there.get(whose)
    now = answered([now], model, level)[0] if now else None
    if whose in mine:
        history = register.history(whose, unit)
        dated = history["made_at"].iloc[-1].to_pydatetime()
        behind = Behind.of(*about, "record", model, dated=dated, photograph=_photograph(register, whose, unit))
        besides = _besides(register, model, (whose, unit))
        return of_known(register.record(whose, unit), model, behind, besides, now, level)
    assert now is not None  # one of those that it was chosen among
    picture = _photograph(register, whose, unit)
    behind = Behind.of(*about, "bench", model, dated=now.changed_on, photograph=picture)
    return of_bench(now, model, behind, level)


def unit_sheet(
    register: Register,
    unit: str,
    contributor: str | None = None,
    paper: str = "a4",
    model: Multiplier | None = None,
    level: float = 0.9,
) -> bytes:
    """A unit's sheet as a PDF of one page: the same bytes for the same register and fit.

    Parameters
    ----------
    register, unit, contributor, model, level
        As :func:`sheet_of_unit` takes them.
    paper : str
        a4 or letter.

    Returns
    -------
    bytes
        Stops and doubts first, then what it can give with its picture, readings with their uncertainties, what was
        asked of it and proven, cautions, and which fit of which register stands behind it.

    Raises
    ------
    InputError
        As :func:`sheet_of_unit` does; or the paper is neither.
    RegisterError
        The register cannot be read.
    CannotError
        No fit can be made of it.
    """
    return sheet_of_unit(register, unit, contributor, model, level).pdf(paper)


def _the_one(where: str, unit: str, contributor: str | None, known: Sequence[str], on_bench: Sequence[str]) -> str:
    """Whose unit of that tag is meant; a session of no bench is the known unit's where only one contributor has it."""
    found = sorted({*known, *on_bench})
    if contributor is None and len(found) == 2 and found[0] == "" and len({*known}) == 1:
        found = sorted({*known})
    if contributor is not None:
        found = [one for one in found if one == contributor]
    if len(found) == 1:
        return found[0]
    if not found:
        problem = "the register has no such unit, known or on the bench"
        remedy = (
            "look it up with calib bench, or among the known units; write the tag and the contributor as they are there"
        )
        raise InputError.one(problem, remedy, column="unit", value=unit, where=where, code="not-found")
    benches = words.joined_names([one or "no bench" for one in found])
    problem, remedy = f"is the tag of {len(found)} units, read by {benches}", "say whose with --contributor"
    raise InputError.one(problem, remedy, column="unit", value=unit, where=where, code="unclear")


def _besides(register: Register, model: Multiplier, tag: tuple[str, str]) -> list[tuple[str, str]]:
    """What stands against a known unit beside what its record says: its bench, and what the fit doubts."""
    stops = stops_on_the_bench(register, [tag])
    doubts = calib.review_of(model, register.known(), register.revisions())
    reasons = next((one.reasons for one in doubts if one.tag == tag), ())
    return [*(("stop", one) for one in stops.values()), *(("doubt", symbols(words.sentence(one))) for one in reasons)]


def _photograph(register: Register, contributor: str, unit: str) -> Photograph | None:
    """The picture that was attached first, to the record or to the unit on the bench."""
    owners = owner_of(contributor, unit), bench_owner(unit, contributor)
    files = [one for owner in owners for one in register.attachments(owner)]
    pictures = [one for one in files if one.media.startswith("image/")]
    if not pictures:
        return None
    return Photograph(pictures[0].name, register.attachment(pictures[0]), len(files) - 1)
