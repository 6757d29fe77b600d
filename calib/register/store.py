"""The register of known units: one file, to which revisions are added and from which nothing is ever taken."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, NamedTuple, Self

from calib.errors import Code, InputError, RegisterError
from calib.paths import shipped
from calib.register import ledger, meters, sessions
from calib.register.bench_store import BenchStore
from calib.register.exchange import Source, name_of, read_known
from calib.register.fields import line
from calib.register.frame import checked, frame_of
from calib.register.gate import WAIT_S, transaction
from calib.register.improbable import improbabilities
from calib.register.ledger import ImportReport
from calib.register.making import aside, copy_to, data_folder, kind_of, make, opened
from calib.register.package import write_package
from calib.register.records import KnownUnit, record_id
from calib.register.trouble import check_name

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ImportReport", "Register", "default_register_path", "practice_register"]


class Contents(NamedTuple):
    """What stands in a register, as the calls of those names give it."""

    known: pd.DataFrame
    meters: pd.DataFrame
    sessions: pd.DataFrame


class Register(BenchStore):
    """A register's file: each call holds it for a moment only, so that several programs can work on one at a time.

    Records are identified by contributor and unit. Nothing is overwritten: an addition that differs, an amendment and a
    withdrawal are each a later revision, and `known` gives the latest. The user's own meters and sessions at the bench
    are kept in the same file.

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
        self, path: str | os.PathLike[str], *, simulated: bool = False, create: bool = True, wait: float = WAIT_S
    ) -> None:
        check_name(Path(path))
        self.path = Path(os.path.realpath(path))
        self._wait = wait
        if create and not self.path.exists():
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

    def add(self, record: KnownUnit, by: str = "", reason: str = "") -> ImportReport:
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

        Returns
        -------
        ImportReport
            With 1 in added, unchanged or revised; its notes tell of readings that are worth a second look.

        Raises
        ------
        InputError
            The record is simulated and the register is not, or the other way round; or it is none that its class would
            have made, as one with a stop that was put into a copy of it.
        RegisterError
            The file cannot be worked on.
        """
        record = _sound(record)
        unlikely = tuple(f"{record.unit}: {one.column}: {one.why}" for one in improbabilities(record))
        report = self._bring(frame_of(KnownUnit, [record]), by, reason, "")
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
        return self.import_table(read_known(source), by, reason, where=name_of(source))

    def import_table(self, table: pd.DataFrame, by: str = "", reason: str = "", where: str = "") -> ImportReport:
        """Add every record of a table that `read_known` gave, as `import_csv` does; `where` is what faults call it.

        One that was made or changed by hand is held to what a file is held to.
        """
        report = self._bring(checked(KnownUnit, table), by, reason, where)
        told = (line for name in ("notes", "improbable") for line in table.attrs.get(name, ()))
        return replace(report, notes=(*told, *report.notes))

    def amend(self, record: KnownUnit, by: str = "", reason: str = "") -> None:
        """Put a better record in the place of the unit's present one; its content again settles a review.

        Raises
        ------
        InputError
            The register has no such unit, it was withdrawn, one is simulated and the other is not, or the record is
            none that its class would have made.
        RegisterError
            The file cannot be worked on.
        """
        table, by, reason = frame_of(KnownUnit, [_sound(record)]), line("by", by), line("reason", reason)
        self._of_this_kind(table, "")
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            ledger.amend(con, table, by, reason)

    def withdraw(self, contributor: str, unit: str, by: str = "", reason: str = "") -> None:
        """Take a unit out of those that count; its history stays.

        Raises
        ------
        InputError
            The register has no such unit, or it was withdrawn already.
        RegisterError
            The file cannot be worked on.
        """
        by, reason = line("by", by), line("reason", reason)
        contributor, unit = line("contributor", contributor), line("unit", unit)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            ledger.withdraw(con, contributor, unit, by, reason)

    def known(self) -> pd.DataFrame:
        """The known units as they stand, with the columns and types of `read_known`, by contributor and unit.

        Raises
        ------
        RegisterError
            The file cannot be read, or holds a record that calib would not have kept.
        """
        with opened(self.path, self._wait) as con:
            return ledger.standing(con)

    def contents(self) -> Contents:
        """All that stands in the register, as of one moment.

        Raises
        ------
        RegisterError
            As for `known`.
        """
        with opened(self.path, self._wait) as con, transaction(con):
            return Contents(ledger.standing(con), meters.current(con), sessions.listed(con, ""))

    def revisions(self) -> pd.DataFrame:
        """Every revision, the oldest first: what was done, by whom, why and when (UTC), then the record."""
        with opened(self.path, self._wait) as con:
            return ledger.history(con)

    def history(self, contributor: str, unit: str) -> pd.DataFrame:
        """The revisions of one unit, the oldest first; no row where it has none."""
        identity = record_id(line("contributor", contributor), line("unit", unit))
        with opened(self.path, self._wait) as con:
            return ledger.history(con, identity)

    def holds(self, table: pd.DataFrame) -> bool:
        """Whether every record of a table stands in the register word for word."""
        with opened(self.path, self._wait) as con, transaction(con):
            return ledger.holds(con, table)

    def count(self) -> int:
        """How many known units stand."""
        with opened(self.path, self._wait) as con:
            return ledger.count(con)

    def export(self, folder: str | os.PathLike[str], force: bool = False) -> tuple[Path, ...]:
        """Write known.csv, revisions.csv and, last, datapackage.json with their hashes into a folder, as of one moment.

        Parameters
        ----------
        folder : str or Path
            Made where it is missing; those files of an earlier export in it are replaced.
        force : bool
            Whether to replace files of those names that are no export's.

        Returns
        -------
        tuple of Path
            The three files.

        Raises
        ------
        InputError
            The folder is none, or has such files from elsewhere.
        CannotError
            Nothing can be written there, or the register cannot be read.
        """
        with opened(self.path, self._wait) as con:
            known, revisions = ledger.current(con), ledger.history(con)
        return write_package(Path(folder), known, revisions, self._simulated, force)

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

    def _bring(self, table: pd.DataFrame, by: str, reason: str, where: str) -> ImportReport:
        by, reason = line("by", by), line("reason", reason)
        self._of_this_kind(table, where)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return replace(ledger.bring(con, table, by, reason), holds=ledger.count(con))

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


def default_register_path() -> Path:
    """The register that CALIB_REGISTER names, else the one in the user's data folder; it need not be there."""
    named = os.environ.get("CALIB_REGISTER", "")
    return Path(named) if named else data_folder() / "register.duckdb"


def practice_register(path: str | os.PathLike[str] | None = None) -> Register:
    """The register of simulated records to practise on, made where there is none.

    Parameters
    ----------
    path : str, Path or None
        Its file; None for practice.duckdb beside the default register.

    Returns
    -------
    Register
        A simulated one, which held the practice records when it was made.

    Raises
    ------
    RegisterError
        It cannot be made or opened, or a register of real readings has its name.
    """
    beside = default_register_path().with_name("practice.duckdb")
    place = Path(os.path.realpath(beside if path is None else path))
    if not place.exists():
        make(place, True, read_known(shipped("datasets/practice/known.csv")))
    register = Register(place)
    if not register.is_simulated:
        remedy = "give yours another name, and name it with --register or in CALIB_REGISTER"
        raise RegisterError(f"{place}: it is a register of real readings, under the practice register's name; {remedy}")
    return register
