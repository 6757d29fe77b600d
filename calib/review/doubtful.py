"""The records of a register that somebody should look at: why, and what each would be with its slip undone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import InputError
from calib.fitting.gross_errors import GROSS_ERRORS, SWAP, SWAPPED, WITHHELD_BELOW
from calib.fitting.result import fit
from calib.register.improbable import improbabilities
from calib.register.records import HALVES, WHOLE, KnownUnit, fields
from calib.register.revisions import RECORDS, changes
from calib.review.duplicates import duplicates
from calib.units import odds as in_hundredths

if TYPE_CHECKING:
    import pandas as pd

    from calib.fitting.result import Multiplier
    from calib.register.register import Register

LABELS = {one.name: one.label for one in fields(KnownUnit)}
KINDS = ("doubted", "revised", "duplicate", "improbable", "foreign")
AGREE = 0.03  # two readings of one thing that lie no further apart tell the same, slip or not
STEPS = "Amend, withdraw, or keep it as it is where it is right: calib amend, calib withdraw, or the page."
Tag = tuple[str, str]


@dataclass(frozen=True)
class Doubt:
    """A record that somebody should look at.

    Attributes
    ----------
    record : KnownUnit
        As it stands.
    kinds : tuple of str
        Of KINDS: doubted by the fit, revised by two at once, a likely duplicate, improbable, or revised by
        a member of a shared register who may not.
    reasons : tuple of str
        Why, in words, one for each thing found.
    odds_sound : float
        Probability that it bears no slip [0 to 1]; NaN where the fit does not doubt it.
    likely_slip : str
        The slip that would explain it; blank where the fit does not doubt it.
    corrected : KnownUnit or None
        The record with that slip undone, or as it stood before the revision that is in question; None where neither is.
    same_as : tuple of (str, str)
        Contributor and unit of records that are likely of the same unit.
    """

    record: KnownUnit
    kinds: tuple[str, ...]
    reasons: tuple[str, ...]
    odds_sound: float = math.nan
    likely_slip: str = ""
    corrected: KnownUnit | None = None
    same_as: tuple[Tag, ...] = ()

    @property
    def tag(self) -> Tag:
        """Contributor and unit."""
        return self.record.contributor, self.record.unit

    @property
    def changed(self) -> dict[str, tuple[Any, Any]]:
        """The columns that the correction changes, each with its value as it stands and corrected."""
        if self.corrected is None:
            return {}
        now, then = self.record.values(), self.corrected.values()
        return {name: (now[name], then[name]) for name in now if now[name] != then[name] and name != "kept"}

    def __str__(self) -> str:
        lines = [f"{self.record.contributor}, {self.record.unit}: {'; '.join(self.reasons)}"]
        said = ", ".join(f"{name} {_shown(new)} (now {_shown(old)})" for name, (old, new) in self.changed.items())
        return "\n".join([*lines, *([f"  corrected: {said}"] if said else [])])


@dataclass(frozen=True)
class Review:
    """What somebody should look at in a register, the most doubtful first; it prints itself.

    Attributes
    ----------
    doubts : tuple of Doubt
        One a record.
    """

    doubts: tuple[Doubt, ...]

    def __len__(self) -> int:
        return len(self.doubts)

    def __iter__(self) -> Iterator[Doubt]:
        return iter(self.doubts)

    def __str__(self) -> str:
        if not self.doubts:
            return "No record is in doubt."
        number = "1 record" if len(self) == 1 else f"{len(self)} records"
        return "\n".join([f"{number} somebody should look at", "", *map(str, self.doubts), "", STEPS])

    def table(self) -> pd.DataFrame:
        """The same as a table: contributor, unit, kinds, reasons, odds_sound, likely_slip; texts joined by `; `."""
        import pandas as pd

        rows = [
            (*one.tag, "; ".join(one.kinds), "; ".join(one.reasons), one.odds_sound, one.likely_slip) for one in self
        ]
        return pd.DataFrame(rows, columns=["contributor", "unit", "kinds", "reasons", "odds_sound", "likely_slip"])

    def _repr_html_(self) -> str:
        return str(self.table().to_html(index=False, border=0, float_format="{:.2f}".format))


@dataclass
class _Found:
    """What is gathered of one record."""

    kinds: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    more: dict[str, Any] = field(default_factory=dict)

    def add(self, kind: str, reason: str, **more: Any) -> None:
        self.kinds += [kind] if kind not in self.kinds else []
        self.reasons.append(reason)
        self.more = {**more, **self.more}  # what was found first counts


def review_register(register: Register, published: bool | None = None) -> Review:
    """Say what somebody should look at in a register.

    Parameters
    ----------
    register : Register
        It is only read.
    published : bool or None
        Whether the fit learns from the published windings too; None for yes with a register of real units.

    Returns
    -------
    Review
        Of the known units as they stand.

    Raises
    ------
    RegisterError
        The register cannot be read.
    CannotError
        No fit can be made of it.
    """
    known, history = register.known(), register.revisions()
    model = fit(known, published=not register.is_simulated if published is None else published)
    return review_of(model, known, history, register.foreign_revisions())


def review_of(
    model: Multiplier,
    known: pd.DataFrame,
    history: pd.DataFrame | None = None,
    foreign: pd.DataFrame | None = None,
) -> Review:
    """Say what somebody should look at among known units.

    Parameters
    ----------
    model : Multiplier
        The fit to them.
    known : pandas.DataFrame
        The known units, as :meth:`Register.known` or :func:`calib.read_known` gives them.
    history : pandas.DataFrame or None
        Their revisions, as :meth:`Register.revisions` gives them: what two revised at once is found by it, and which of
        two duplicates came later. None where there are none.
    foreign : pandas.DataFrame or None
        Revisions that do not count, as :meth:`Register.foreign_revisions` gives them.

    Returns
    -------
    Review
        A record that was found right (`kept`) is listed only where the fit gives it odds below 0.1.
    """
    tags = list(zip(known["contributor"], known["unit"], strict=True))
    place = {tag: at for at, tag in enumerate(tags)}
    kept = known["kept"].fillna("").ne("").to_numpy() if "kept" in known else np.zeros(len(known), dtype=bool)
    found: dict[Tag, _Found] = {}

    def of(tag: Tag) -> _Found:
        return found.setdefault(tag, _Found())

    told = _told(model)
    for row in model.suspects().to_dict("records"):
        tag = (row["contributor"], row["unit"])
        if tag in place and (not kept[place[tag]] or row["odds_sound"] < WITHHELD_BELOW):
            slip, odds = row["likely_slip"], float(row["odds_sound"])
            said = f"odds that it is sound: {in_hundredths(odds)}; what would explain it: {slip}{told.get(tag, '')}"
            of(tag).add("doubted", said, odds_sound=odds, likely_slip=slip)
    first = _first_added(history)
    for tag, reason, before in _revised(history):
        if tag in place:
            of(tag).add("revised", reason, before=before)
    for tag, other, odds, apart in _twice(known, tags, first):
        if not kept[place[tag]]:
            of(tag).add("duplicate", _same(other, odds, apart))
            of(tag).more.setdefault("same_as", []).append(other)
    for row in improbabilities(known).to_dict("records"):
        if not kept[row["row"]]:
            of(tags[row["row"]]).add("improbable", f"{LABELS[row['column']]}: {row['why']}")
    alone = {}  # records of which no revision counts
    for row in () if foreign is None else foreign.to_dict("records"):
        tag = (row["contributor"], row["unit"])
        if tag not in place:
            alone[tag] = row
        when = f"{row['made_at']:%Y-%m-%d}"
        of(tag).add(
            "foreign", f"revision {row['revision']} of {when} was written as {row['written_as']}, and does not count"
        )
    doubts = [
        _doubt(_record(known.iloc[place[tag]] if tag in place else alone[tag]), one) for tag, one in found.items()
    ]
    return Review(tuple(sorted(doubts, key=lambda one: (one.odds_sound if one.likely_slip else 1.0, one.tag))))


def _record(row: Mapping[Any, Any] | pd.Series) -> KnownUnit:
    from calib.register.frame import record_of

    return record_of(KnownUnit, {str(name): value for name, value in row.items()})


def _doubt(record: KnownUnit, found: _Found) -> Doubt:
    slip, same = found.more.get("likely_slip", ""), tuple(found.more.get("same_as", ()))
    corrected = undone(record, slip) if slip else None
    corrected = corrected or found.more.get("before")
    odds = found.more.get("odds_sound", math.nan)
    return Doubt(record, tuple(found.kinds), tuple(found.reasons), odds, slip, corrected, same)


def undone(record: KnownUnit, slip: str) -> KnownUnit | None:
    """A record with a slip of the fit's undone.

    Parameters
    ----------
    record : KnownUnit
        As it stands.
    slip : str
        Its name, as :meth:`Multiplier.suspects` gives it.

    Returns
    -------
    KnownUnit or None
        None where the cause is not known, or where the record would be none that could be entered.
    """
    error = next((one for one in GROSS_ERRORS if one.name == slip), None)
    if error is None or error.v_over_r_sd or error.current_sd:
        return None
    values = record.values()
    if error == SWAP:
        values["filter"] = SWAPPED.get(record.filter, record.filter)
    for names, step in (
        (("rated_current_ma",), -error.current),
        (_volts(record), -error.volts),
        (_ohms(record), error.v_over_r - error.volts),
    ):
        for name in names if step else ():
            values[name] = float(f"{values[name] * math.exp(step):.6g}")
    try:
        return KnownUnit.parse({**values, "kept": ""})
    except InputError:
        return None


def _volts(record: KnownUnit) -> tuple[str, ...]:
    """The columns of volts that bear the reading that counts: of a ratio test, and what was stated the same beside."""
    if record.hv_v is None or record.excitation_v is None:
        return ("no_load_v",)
    tested = record.hv_v / record.excitation_v * record.line_voltage_v
    alike = record.no_load_v is not None and abs(tested / record.no_load_v - 1) <= AGREE
    return ("hv_v", "no_load_v") if alike else ("hv_v",)


def _ohms(record: KnownUnit) -> tuple[str, ...]:
    first, second = record.hv_half_1_ohm, record.hv_half_2_ohm
    alike = first is not None and second is not None and abs((first + second) / record.hv_resistance_ohm - 1) <= AGREE
    return (WHOLE, *HALVES) if alike else (WHOLE,)


def _told(model: Multiplier) -> dict[Tag, str]:
    """Of each doubted record its multiplier beside that of units like it."""
    names = set(zip(*(model.suspects()[name] for name in ("contributor", "unit")), strict=True))
    if not names:
        return {}
    rows = model.rows
    own, usual = np.exp(rows.response - rows.form), np.exp(model.fittedvalues.to_numpy() - rows.form)
    tags = zip(rows.frame["contributor"], rows.frame["unit"], strict=True)
    return {
        tag: f" (its multiplier is {mine:.3g} mA per V/ohm, of units like it about {theirs:.3g})"
        for tag, mine, theirs in zip(tags, own, usual, strict=True)
        if tag in names
    }


def _first_added(history: pd.DataFrame | None) -> dict[Tag, Any]:
    """When each record was first added."""
    if history is None or history.empty:
        return {}
    first = history.groupby(["contributor", "unit"], sort=False)["made_at"].min().reset_index()
    return dict(zip(zip(first["contributor"], first["unit"], strict=True), first["made_at"], strict=True))


def _twice(known: pd.DataFrame, tags: list[Tag], first: dict[Tag, Any]) -> Iterator[tuple[Tag, Tag, float, float]]:
    """Likely duplicates, the later one first."""
    for one, other, odds, apart in duplicates(known).itertuples(index=False, name=None):
        earlier, later = tags[one], tags[other]
        if earlier in first and later in first and first[earlier] > first[later]:
            earlier, later = later, earlier
        yield later, earlier, float(odds), float(apart)


def _same(other: Tag, odds: float, apart: float) -> str:
    near = f"volts, resistance and current at most {apart:.2g} % apart" if apart >= 0.005 else "the same readings"
    return f"likely the same unit as {other[1]} of {other[0]} (odds {in_hundredths(odds)}): {near}"


def _revised(history: pd.DataFrame | None) -> Iterator[tuple[Tag, str, KnownUnit | None]]:
    """Records whose last revision is marked for review: who made it, what it changed, and the record before."""
    if history is None or history.empty:
        return
    last = history.sort_values("revision").drop_duplicates("record_id", keep="last")
    for identity in last.loc[last["needs_review"] & last["action"].ne(RECORDS.gone), "record_id"]:
        rows = history[history["record_id"] == identity].sort_values("revision")
        before, now = rows.iloc[-2:].to_dict("records")[0], rows.iloc[-1]
        differs = changes(rows.tail(2)).to_dict("records")
        what = ", ".join(
            f"{LABELS.get(one['column'], one['column'])} {_shown(one['before'])} then, {_shown(one['after'])} now"
            for one in differs
        )
        by = f" by {now['by']}" if now["by"] else ""
        gone = before["action"] == RECORDS.gone
        said = f"added again{by}{', having been withdrawn' if gone else ''}{f': {what}' if what else ''}"
        yield (now["contributor"], now["unit"]), said, None if gone or not what else _record(rows.iloc[-2])


def _shown(value: object) -> str:
    if value is None or value == "":
        return "blank"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
