"""The register of known units: one file, to which revisions are added and from which nothing is ever taken.

The practice register is one of simulated units to practise on, in a file of its own, renewed with the program's.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, NamedTuple, Self

from calib.errors import Code, InputError, RegisterError
from calib.paths import shipped
from calib.register import bulk, revisions
from calib.register.attachments import AttachmentStore
from calib.register.bench_book import BenchStore, latest_sessions, standing_meters
from calib.register.bench_units import KeptUnit, UnitStore, standing_units
from calib.register.bundle import attached_in
from calib.register.fields import line
from calib.register.file import (
    aside,
    copy_to,
    data_folder,
    kind_of,
    make,
    opened,
)
from calib.register.frame import checked, frame_of
from calib.register.gate import transaction
from calib.register.improbable import improbabilities
from calib.register.lakehouse import Lakehouse, found_at, place_of
from calib.register.merge import Bundle, Merged, Progress, compared, licensed, merge, read_bundle
from calib.register.package import write_package
from calib.register.records import KnownUnit, record_id
from calib.register.revisions import ImportReport
from calib.register.spreadsheet import remember
from calib.register.tables import Source, name_of, read_known
from calib.register.trouble import WAIT_S, check_name

if TYPE_CHECKING:
    import pandas as pd


class Contents(NamedTuple):
    """What stands in a register, as the calls of those names give it; `bench` is that of `bench_units`."""

    known: pd.DataFrame
    meters: pd.DataFrame
    sessions: pd.DataFrame
    bench: tuple[tuple[KeptUnit, str], ...]


class Register(BenchStore, UnitStore, AttachmentStore):
    """A register's file: each call holds it for a moment only, so that several programs can work on one at a time.

    Records are identified by contributor and unit. Nothing is overwritten: an addition that differs, an amendment and a
    withdrawal are each a later revision, and `known` gives the latest. The user's own meters, sessions at the bench and
    units there are kept in the same file.

    Parameters
    ----------
    path : str or Path
        The file.
    simulated : bool
        For a new register: whether it is for records made up for practice. One that is there says itself what it is.
    create : bool
        Whether to make the register where there is none.
    wait : float
        How long to wait while others hold the file [s].

    Raises
    ------
    RegisterError
        The file is missing, busy, damaged, no register, of a newer version, read-only, or the disk is full.
    InputError
        A simulated register is asked for and the file is one of real readings.
    """

    def __init__(
        self,
        path: str | os.PathLike[str] | Lakehouse,
        *,
        simulated: bool = False,
        create: bool = True,
        wait: float = WAIT_S,
    ) -> None:
        self.path = found_at(path)
        self._wait = wait
        if create and isinstance(self.path, Path) and not self.path.exists():
            make(self.path, simulated, wait=wait)
        with opened(self.path, wait) as con:
            self._simulated = kind_of(con)
        if simulated and not self._simulated:
            problem = "the register holds real readings, and simulated records are asked for"
            raise InputError.one(problem, "name another file for the simulated ones", where=str(self.path), code="kind")

    def __repr__(self) -> str:
        return f"Register({str(self.path)!r}{', simulated=True' if self._simulated else ''})"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing is held between calls, so there is nothing to close."""

    @property
    def is_simulated(self) -> bool:
        """Whether the register is for records made up for practice."""
        return self._simulated

    def add(self, record: KnownUnit, by: str = "", reason: str = "", revise: bool = True) -> ImportReport:
        """Add a known unit.

        Adding the same record again changes nothing, and is noted. One that differs from the register's record of that
        unit is kept as its later revision and marked for review: either may be the better, neither is lost, and
        somebody is asked. So is one that was withdrawn before.

        Parameters
        ----------
        record : KnownUnit
            The record.
        by, reason : str
            Who adds it and why; may be blank.
        revise : bool
            Whether one that differs is kept so; else it is refused, since it may be another unit's.

        Returns
        -------
        ImportReport
            With 1 in added, unchanged or revised; its notes tell of readings that are worth a second look.

        Raises
        ------
        InputError
            The record is simulated and the register is not, or the other way round; or it is none that its class would
            have made, as one with a stop that was put into a copy of it. Or the unit stands with other readings and is
            not to be revised (code exists).
        RegisterError
            The file cannot be worked on.
        """
        record = _sound(record)
        unlikely = tuple(f"{record.unit}: {one.column}: {one.why}" for one in improbabilities(record))
        report = self._bring(frame_of(KnownUnit, [record]), by, reason, "", revise)
        return replace(report, notes=(*unlikely, *report.notes))

    def import_csv(self, source: Source, by: str = "", reason: str = "") -> ImportReport:
        """Add every record of a table of known units, or none of them where one is wrong.

        Parameters
        ----------
        source : path or open binary file
            As for `read_known`.
        by, reason : str
            Who brings them and why; may be blank.

        Returns
        -------
        ImportReport
            How many were added, the same as before, and revised; its notes tell of the last, and of readings that are
            worth a second look.

        Raises
        ------
        InputError
            With every fault of the file, or where its records are simulated and the register is not, or the other way
            round.
        RegisterError
            The file cannot be worked on.
        """
        table = bulk.read_large(source)
        return self.import_table(read_known(source) if table is None else table, by, reason, where=name_of(source))

    def import_table(
        self, table: pd.DataFrame | bulk.Large, by: str = "", reason: str = "", where: str = ""
    ) -> ImportReport:
        """Add every record of a table that `read_known` gave, as `import_csv` does; `where` is what faults call it.

        One that was made or changed by hand is held to what a file is held to.
        """
        if isinstance(table, bulk.Large):
            return self._bring(table, by, reason, where)
        report = self._bring(checked(KnownUnit, table), by, reason, where)
        if header := table.attrs.get("header"):
            remember(*header)  # what was read otherwise than it stands is confirmed by being kept
        told = (line for name in ("understood", "notes", "improbable") for line in table.attrs.get(name, ()))
        return replace(report, notes=(*told, *report.notes))

    def amend(self, record: KnownUnit, by: str = "", reason: str = "", instead_of: KnownUnit | None = None) -> None:
        """Put a better record in the place of the unit's present one; its content again settles a review.

        Parameters
        ----------
        record : KnownUnit
            The whole of it: unit and contributor say whose place it takes.
        by, reason : str
            Who amends it and why; may be blank.
        instead_of : KnownUnit or None
            The record that it was made from: where another stands by now, nothing is done.

        Raises
        ------
        InputError
            The register has no such unit, it was withdrawn, it was revised meanwhile, one is simulated and the other is
            not, or the record is none that its class would have made.
        RegisterError
            The file cannot be worked on.
        """
        table = frame_of(KnownUnit, [_sound(record)])
        was = None if instead_of is None else frame_of(KnownUnit, [instead_of])
        self._of_this_kind(table, "")
        self._revise(revisions.amend, by, reason, of=_only(table), table=table, instead_of=was)

    def withdraw(self, contributor: str, unit: str, by: str = "", reason: str = "") -> None:
        """Take a unit out of those that count; its history stays.

        Raises
        ------
        InputError
            The register has no such unit, or it was withdrawn already.
        RegisterError
            The file cannot be worked on.
        """
        self._revise(revisions.withdraw, by, reason, **_revised(contributor, unit))

    def restore(self, contributor: str, unit: str, by: str = "", reason: str = "", revision: int | None = None) -> None:
        """Let a unit count again as it stood before it was withdrawn, or as at one of its revisions.

        Parameters
        ----------
        contributor, unit : str
            The unit.
        by, reason : str
            Who restores it and why; may be blank.
        revision : int or None
            The number of the revision to go back to; None for a unit that was withdrawn.

        Raises
        ------
        InputError
            The register never had such a unit, it was not withdrawn, or it has no such revision or
            stands as at that one.
        RegisterError
            The file cannot be worked on.
        """
        self._revise(revisions.restore, by, reason, **_revised(contributor, unit), revision=revision)

    def undo(self, contributor: str, unit: str, revision: int, by: str = "", reason: str = "") -> None:
        """Take the last revision of a unit back by a further one: it is as it was before.

        Parameters
        ----------
        contributor, unit : str
            The unit.
        revision : int
            The number of that revision: where another came after it, nothing is done.
        by, reason : str
            Who and why; where no reason is given, that the revision is undone.

        Raises
        ------
        InputError
            The register never had such a unit, or it was revised since.
        RegisterError
            The file cannot be worked on.
        """
        self._revise(revisions.undo, by, reason, **_revised(contributor, unit), revision=revision)

    def record(self, contributor: str, unit: str) -> KnownUnit:
        """The record of one unit as it stands.

        Raises
        ------
        InputError
            The register has no such unit, which names the tags that are like it, or it was withdrawn.
        RegisterError
            The file cannot be read.
        """
        with opened(self.path, self._wait) as con:
            return revisions.record(con, **_named(contributor, unit))

    def keep(self, contributor: str, unit: str, by: str = "", reason: str = "") -> None:
        """Note that a doubted record was looked into and is right, and why: the fit then doubts it ten times less.

        Amending its readings takes that back; the record marked for review is so no longer.

        Raises
        ------
        InputError
            The register has no such unit, it was withdrawn, or no reason is given.
        RegisterError
            The file cannot be worked on.
        """
        if not line("reason", reason):
            remedy = "say what was looked at, such as: read again on another meter"
            raise InputError.one("is needed to keep a record as it is", remedy, column="reason", code="missing")
        self._revise(revisions.keep, by, reason, **_revised(contributor, unit))

    def known(self) -> pd.DataFrame:
        """The known units as they stand, with the columns and types of `read_known`, by contributor and unit.

        Raises
        ------
        RegisterError
            The file cannot be read, or holds a record that calib would not have kept.
        """
        with opened(self.path, self._wait) as con:
            return revisions.standing(con)

    def contents(self) -> Contents:
        """All that stands in the register, as of one moment.

        Raises
        ------
        RegisterError
            As for `known`.
        """
        with opened(self.path, self._wait) as con, transaction(con):
            sessions = latest_sessions(con, "")
            return Contents(revisions.standing(con), standing_meters(con), sessions, standing_units(con))

    def revisions(self) -> pd.DataFrame:
        """Every revision, the oldest first: what was done, by whom, why and when (UTC), then the record."""
        with opened(self.path, self._wait) as con:
            return revisions.history(con)

    def foreign_revisions(self) -> pd.DataFrame:
        """Revisions that do not count, since a member wrote them who may not: `written_as`, then as in `revisions`."""
        with opened(self.path, self._wait) as con:
            return revisions.foreign(con)

    def history(self, contributor: str, unit: str) -> pd.DataFrame:
        """The revisions of one unit, the oldest first; no row where it has none."""
        identity = record_id(**_named(contributor, unit))
        with opened(self.path, self._wait) as con:
            return revisions.history(con, identity)

    def provenance(self, contributor: str, unit: str) -> pd.DataFrame:
        """Which revisions of one unit came with bundles: first_revision, last_revision, bundle, licence, by, made_at.

        No row where none did; times are UTC.
        """
        identity = record_id(**_named(contributor, unit))
        with opened(self.path, self._wait) as con:
            return revisions.provenance(con, identity)

    def holds(self, table: pd.DataFrame | bulk.Large) -> bool:
        """Whether every record of a table stands in the register word for word."""
        with opened(self.path, self._wait) as con, transaction(con):
            return bulk.holds(con, table) if isinstance(table, bulk.Large) else revisions.holds(con, table)

    def count(self) -> int:
        """How many known units stand."""
        with opened(self.path, self._wait) as con:
            return revisions.count(con)

    def merge(
        self,
        bundle: Bundle | str | os.PathLike[str],
        by: str = "",
        take: Collection[tuple[str, str]] = (),
        preview: bool = False,
        progress: Progress | None = None,
    ) -> Merged:
        """Bring in what an export of another register has more than this one: all of it or, where it fails, nothing.

        Parameters
        ----------
        bundle : Bundle or path
            As `read_bundle` gives it, or the export's folder.
        by : str
            Who merges it; may be blank.
        take : collection of (str, str)
            Contributor and unit of contradicting records that are to stand here as they do there, marked for review.
        preview : bool
            Whether only to tell what would be done.
        progress : function or None
            Called now and then with what is being done and how many rows of it are.

        Raises
        ------
        InputError
            The bundle is not sound, simulated where the register is not, or what is to be taken does not contradict.
        RegisterError
            The file cannot be worked on.
        """
        read = bundle if isinstance(bundle, Bundle) else read_bundle(bundle, progress=progress)
        by = line("by", by)
        self._of_this_kind(read.history, read.name)
        with opened(self.path, self._wait, write=not preview) as con, transaction(con):
            return compared(con, read, take) if preview else merge(con, read, by, take, progress)

    def export(self, folder: str | os.PathLike[str], force: bool = False, licence: str = "") -> tuple[Path, ...]:
        """Write known.csv, revisions.csv and, last, datapackage.json with their hashes into a folder, as of one moment.

        Parameters
        ----------
        folder : str or Path
            Made where it is missing; those files of an earlier export in it are replaced.
        force : bool
            Whether to replace files of those names that are no export's.
        licence : str
            Under which it is handed out, by name or by address; kept for the next export. The last one where blank.

        Returns
        -------
        tuple of Path
            The three files, then attachments.csv and the attached files where there are any.

        Raises
        ------
        InputError
            The folder is none, or has such files from elsewhere.
        CannotError
            Nothing can be written there, or the register cannot be read.
        """
        licence = line("licence", licence)
        with opened(self.path, self._wait, write=bool(licence)) as con, transaction(con):
            licence = licensed(con, licence)
            known, history, attached = revisions.current(con), revisions.history(con), attached_in(con)
        return write_package(Path(folder), known, history, self._simulated, force, licence, attached)

    def backup(self, path: str | os.PathLike[str]) -> Path:
        """Copy the register, its whole history with it, to a new file that is a register itself.

        Raises
        ------
        InputError
            There is a file of that name, or no such folder.
        RegisterError
            The register cannot be read or the copy cannot be written.
        """
        check_name(Path(path))
        copy = Path(os.path.realpath(path))
        if copy.exists() or not copy.parent.is_dir():
            problem = "there is a file of that name" if copy.exists() else "there is no such folder"
            code: Code = "exists" if copy.exists() else "not-found"
            raise InputError.one(problem, "name a new file in a folder that is there", where=str(copy), code=code)
        with aside(copy) as new, opened(self.path, self._wait, also=new) as con:
            copy_to(con, new, copy)
        return copy

    def _bring(
        self, table: pd.DataFrame | bulk.Large, by: str, reason: str, where: str, revise: bool = True
    ) -> ImportReport:
        by, reason = line("by", by), line("reason", reason)
        self._of_this_kind(table.kinds if isinstance(table, bulk.Large) else table, where)
        of = "" if isinstance(table, bulk.Large) else _only(table)
        with opened(self.path, self._wait, write=True, of=of) as con, transaction(con):
            if isinstance(table, bulk.Large):
                return replace(bulk.bring(con, table, by, reason), holds=revisions.count(con))
            if not revise:
                revisions.refuse_another(con, table)
            return replace(revisions.bring(con, table, by, reason), holds=revisions.count(con))

    def _revise(self, how: Callable[..., None], by: str, reason: str, *, of: str, **more: object) -> None:
        """Append one revision of one record in a transaction of its own."""
        by, reason = line("by", by), line("reason", reason)
        with opened(self.path, self._wait, write=True, of=of) as con, transaction(con):
            how(con, **more, by=by, reason=reason)

    def _of_this_kind(self, table: pd.DataFrame, where: str) -> None:
        """Refuse records that are simulated where the register is not, and the other way round."""
        others = int((table["simulated"] != self._simulated).sum())
        if not others:
            return
        if self._simulated:
            kinds, remedy = ("real", "simulated"), "add them to a register of real readings"
        else:
            kinds, remedy = ("simulated", "real"), "add them to a simulated register, such as the practice one"
        some = "the record is" if len(table) == 1 else f"{others} of the {len(table)} records are"
        problem = f"{some} {kinds[0]} but {self.path.name} is a register of {kinds[1]} records"
        value = str(not self._simulated).lower()
        raise InputError.one(problem, remedy, column="simulated", value=value, where=where, code="kind")


def _sound(record: KnownUnit) -> KnownUnit:
    """A record as its class makes it: a copy in which a field was changed is looked at by nothing else."""
    return KnownUnit.parse(record.values(), where="the record")


def _named(contributor: str, unit: str) -> dict[str, str]:
    """Contributor and unit as they are kept."""
    return {"contributor": line("contributor", contributor), "unit": line("unit", unit)}


def _revised(contributor: str, unit: str) -> dict[str, str]:
    """The same, and what identifies their record."""
    named = _named(contributor, unit)
    return {**named, "of": record_id(**named)}


def _only(table: pd.DataFrame) -> str:
    """What identifies the record of a table that has one; blank where it has more."""
    return record_id(table["contributor"].iloc[0], table["unit"].iloc[0]) if len(table) == 1 else ""


def default_register_path() -> Path | Lakehouse:
    """The register that CALIB_REGISTER names, else the one in the user's data folder; it need not be there."""
    named = os.environ.get("CALIB_REGISTER", "")
    return place_of(named) if named else data_folder() / "register.duckdb"


_RENEWED: set[tuple[Path, int]] = set()  # practice registers that were looked at, each with its file's number


def practice_register(path: str | os.PathLike[str] | None = None) -> Register:
    """The register of simulated records to practise on, made where there is none.

    Parameters
    ----------
    path : str, Path or None
        Its file; None for practice.duckdb beside the default register.

    Returns
    -------
    Register
        A simulated one. It held the practice records when it was made; where an earlier version made it, they are
        brought to those that come with this one, and what its user added, changed or withdrew stays.

    Raises
    ------
    RegisterError
        It cannot be made or opened, or a register of real readings has its name.
    """
    default = default_register_path()
    beside = (default if isinstance(default, Path) else data_folder() / default.name).with_name("practice.duckdb")
    place = Path(os.path.realpath(beside if path is None else path))
    if not place.exists():
        make(place, True, read_known(shipped("datasets/practice/known.csv")))
    register = Register(place)
    if not register.is_simulated:
        remedy = "give yours another name, and name it with --register or in CALIB_REGISTER"
        raise RegisterError(f"{place}: it is a register of real readings, under the practice register's name; {remedy}")
    _renew(place)
    return register


def _renew(place: Path) -> None:
    """Bring the practice register's records to those that come with the program, once in its life."""
    looked = (place, place.stat().st_ino)
    if looked in _RENEWED:
        return
    _RENEWED.add(looked)
    table = read_known(shipped("datasets/practice/known.csv"))
    with opened(place, WAIT_S) as con, transaction(con):
        behind = not revisions.holds(con, table) or revisions.count(con) != len(table)
        behind = behind and revisions.renew(con, table, write=False)
    if behind:
        with suppress(RegisterError), opened(place, WAIT_S, write=True) as con, transaction(con):
            revisions.renew(con, table)  # what cannot be written now stays as it was
