"""Files attached as evidence, kept in the register's own file: what is attached and detached is a revision each.

Their bytes are rows of a table rather than files of a folder beside it, since whatever copies the one file (a backup, a
restoration, a stick) then carries them whole, and a write of them is all or nothing as any other.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from calib.errors import SHOWN, InputError, visible
from calib.register.evidence_file import FACTS, EvidenceFile, fault_of
from calib.register.fields import line
from calib.register.file import opened
from calib.register.gate import transaction
from calib.register.lakehouse import Lakehouse
from calib.register.records import record_id
from calib.register.revisions import Ledger, refuse_foreign, timed
from calib.register.tables import sha256_of
from calib.register.trouble import AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

ATTACHED = Ledger(
    *("attachment_revisions", "latest_attachments", "attachment_id"),
    ("attachment_id", "revision", "action", "by", "reason", "made_at"),
    {name: f'"{name}"' for name in ("kind", "owner", "name", "media", "size", "sha256")},
    gone="detach",
)
# The view of the last revisions of each kind of thing that may have files, its identity there, and what it is called.
OWNERS: Mapping[str, tuple[str, str, str]] = {
    "record": ("latest", "record_id", "known unit"),
    "bench": ("latest_bench", "bench_id", "unit on the bench"),
}
MOST_FILES = int(FACTS["most_files"])
PART = int(FACTS["part_bytes"])
SHORT = 8  # characters of a hash that are enough to name a file of one owner


class Owner(NamedTuple):
    """What a file is attached to: its kind, one of `OWNERS`, and what identifies it there."""

    kind: str
    identity: str


def of_record(contributor: str, unit: str) -> Owner:
    """The record of a known unit, as an owner of files."""
    return Owner("record", record_id(line("contributor", contributor), line("unit", unit)))


@dataclass(frozen=True)
class Attachment:
    """A file that is attached.

    Attributes
    ----------
    sha256 : str
        Hash of its content, by which `Register.attachment` finds it.
    name, media : str
        What it was called, and its type.
    size : int
        How long it is [bytes].
    by, reason : str
        Who attached it and why; may be blank.
    made_at : datetime
        When, in UTC.
    """

    sha256: str
    name: str
    media: str
    size: int
    by: str
    reason: str
    made_at: datetime

    @property
    def short(self) -> str:
        """The beginning of its hash, which names it to people."""
        return self.sha256[:SHORT]


def attachment_id(owner: Owner, sha256: str) -> str:
    """Hash of what identifies an attachment, the same on every machine."""
    return hashlib.sha256(f"{owner.kind}:{owner.identity}:{sha256}".encode()).hexdigest()[:32]


def attach(con: duckdb.DuckDBPyConnection, owner: Owner, given: EvidenceFile, by: str, reason: str) -> bool:
    """Attach a file inside the caller's transaction; whether anything was written: the same again is not.

    Raises
    ------
    InputError
        The register has no such owner, or it has as many files as it may.
    """
    import pandas as pd

    refuse_unknown(con, owner)
    there = standing(con, owner)
    sha256 = given.sha256
    if all(one.sha256 != sha256 for one in there) and len(there) >= MOST_FILES:
        problem = f"there are {len(there)} files already, and {MOST_FILES} is the most"
        raise InputError.one(problem, "take one off first", where=given.name, code="limits")
    refuse_foreign_files(con, [owner.identity] if owner.kind == "record" else [])
    row = {"attachment_id": attachment_id(owner, sha256), "kind": owner.kind, "owner": owner.identity}
    row |= {"name": given.name, "media": given.media, "sha256": sha256}
    kept = ATTACHED.keep(con, pd.DataFrame([row]).assign(size=len(given.content)), "attach", by, reason)
    put(con, sha256, given.content)
    return bool(kept["kept"].iloc[0])


def refuse_foreign_files(con: duckdb.DuckDBPyConnection, identities: Iterable[str]) -> None:
    """Refuse files of records, by their hashes, of a contributor's that whoever writes may not revise."""
    asked = "SELECT DISTINCT contributor FROM revisions WHERE list_contains($1, record_id)"
    refuse_foreign(con, [name for (name,) in con.execute(asked, [list(identities)]).fetchall()])


def put(con: duckdb.DuckDBPyConnection, sha256: str, content: bytes) -> None:
    """Keep the bytes of a file inside the caller's transaction, once."""
    if con.execute("SELECT 1 FROM attached_files WHERE sha256 = $1 LIMIT 1", [sha256]).fetchone():
        return
    parts = [[sha256, at // PART, content[at : at + PART]] for at in range(0, len(content), PART)]
    con.executemany("INSERT INTO attached_files VALUES (?, ?, ?)", parts)


def detach(con: duckdb.DuckDBPyConnection, owner: Owner, sha256: str, by: str, reason: str) -> None:
    """Take a file off inside the caller's transaction; its revisions and its bytes stay.

    Raises
    ------
    InputError
        No such file is attached.
    """
    found = ATTACHED.last(con, attachment_id(owner, sha256))
    if found.empty:
        raise not_attached(sha256)
    refuse_foreign_files(con, [owner.identity] if owner.kind == "record" else [])
    ATTACHED.append(con, found, "detach", by, reason)


def not_attached(named: str) -> InputError:
    """That no such file is attached."""
    problem, remedy = "is no file that is attached", "take one of those that are listed"
    return InputError.one(problem, remedy, column="file", value=visible(named, SHOWN), code="not-found")


def the_one(attached: Sequence[Attachment], named: str) -> Attachment:
    """The attached file that is named by the beginning of its hash, or by its name where no other has that.

    Raises
    ------
    InputError
        None is, or several are.
    """
    by_hash = [one for one in attached if len(named) >= SHORT and one.sha256.startswith(named.lower())]
    found = by_hash or [one for one in attached if one.name == named]
    if len(found) > 1:
        problem, remedy = f"is the name of {len(found)} attached files", "name the beginning of its hash"
        raise InputError.one(problem, remedy, column="file", value=named, code="unclear")
    if not found:
        raise not_attached(named)
    return found[0]


def refuse_unknown(con: duckdb.DuckDBPyConnection, owner: Owner) -> None:
    """Refuse an owner that the register does not have.

    Raises
    ------
    InputError
        It has none of that kind or identity.
    """
    view, identity, what = OWNERS[owner.kind]
    if not con.execute(f"SELECT 1 FROM {view} WHERE {identity} = $1", [owner.identity]).fetchone():
        problem, remedy = f"the register has no such {what}", "look it up, and attach the file to one that is there"
        raise InputError.one(problem, remedy, column=identity, value=owner.identity, code="not-found")


def standing(con: duckdb.DuckDBPyConnection, owner: Owner) -> tuple[Attachment, ...]:
    """The files that are attached to one thing, in the order in which they were."""
    asked = """
        SELECT sha256, name, media, size, coalesce("by", ''), coalesce(reason, ''), made_at FROM latest_attachments
        WHERE kind = $1 AND owner = $2 AND "action" <> $3 ORDER BY made_at, sha256
    """
    found = con.execute(asked, [*owner, ATTACHED.gone]).fetchall()
    return tuple(
        Attachment(sha256, name, media, size, whose, why, made_at.replace(tzinfo=UTC))
        for sha256, name, media, size, whose, why, made_at in found
    )


def content_of(con: duckdb.DuckDBPyConnection, sha256: str, media: str) -> bytes:
    """The bytes of a file that the register keeps, held to its hash and its type.

    Raises
    ------
    AlteredError
        They are others than were kept.
    """
    asked = "SELECT content FROM attached_files WHERE sha256 = $1 ORDER BY part"
    content = b"".join(part for (part,) in con.execute(asked, [sha256]).fetchall())
    fault = "is not as it was kept" if sha256_of(content) != sha256 else fault_of(content, media)
    if fault:
        raise AlteredError(f"the attached file {visible(sha256[:SHORT])} {fault}; take it off, and attach it again")
    return content


def attachment_faults(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """What is wrong with the attachments that stand in a register: their owners, names and bytes."""
    asked = 'SELECT * FROM latest_attachments WHERE "action" <> $1 ORDER BY made_at, sha256'
    for row in con.execute(asked, [ATTACHED.gone]).df().to_dict("records"):
        owner, sha256 = Owner(str(row["kind"]), str(row["owner"])), str(row["sha256"])
        called = f"attached file {visible(str(row['name']), SHOWN)}"
        if owner.kind not in OWNERS or row["attachment_id"] != attachment_id(owner, sha256):
            yield f"{called}: it is not kept under its own name"
            continue
        try:
            refuse_unknown(con, owner)
            if len(content_of(con, sha256, str(row["media"]))) != row["size"]:
                yield f"{called}: it is not as long as was noted"
        except InputError as error:
            yield f"{called}: {error.faults[0].problem}"
        except AlteredError as error:
            yield f"{called}: {str(error).rpartition('; ')[0]}"


class AttachmentStore:
    """Files in a register; every change is a later revision, and no byte of them is ever taken out."""

    path: Path | Lakehouse
    _wait: float

    def attach(self, owner: Owner, given: EvidenceFile, by: str = "", reason: str = "") -> bool:
        """Attach a file to a record, or to another thing that may have some.

        Parameters
        ----------
        owner : Owner
            Such as `of_record` gives it.
        given : EvidenceFile
            As `read_evidence` or `evidence_of` gives it.
        by, reason : str
            Who attaches it and why; may be blank.

        Returns
        -------
        bool
            Whether anything was written: the same again is not.

        Raises
        ------
        InputError
            The register has no such owner, or it has as many files as it may, or the bytes are none of its type.
        RegisterError
            The file cannot be worked on.
        """
        by, reason = line("by", by), line("reason", reason)
        if fault := fault_of(given.content, given.media):
            raise InputError.one(fault, "have it read by evidence_of", where=given.name, code="file")
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            return attach(con, owner, given, by, reason)

    def detach(self, owner: Owner, sha256: str, by: str = "", reason: str = "") -> None:
        """Take a file off; that it was attached stays in the history, and its bytes in the register.

        Raises
        ------
        InputError
            No such file is attached.
        RegisterError
            The file cannot be worked on.
        """
        by, reason = line("by", by), line("reason", reason)
        with opened(self.path, self._wait, write=True) as con, transaction(con):
            detach(con, owner, sha256, by, reason)

    def attachments(self, owner: Owner) -> tuple[Attachment, ...]:
        """The files that are attached to one thing, in the order in which they were."""
        with opened(self.path, self._wait) as con:
            return standing(con, owner)

    def attachment(self, one: Attachment) -> bytes:
        """The bytes of an attached file, held to its hash and its type.

        Raises
        ------
        RegisterError
            The register cannot be read, or the bytes are others than were kept.
        """
        with opened(self.path, self._wait) as con:
            return content_of(con, one.sha256, one.media)

    def attachment_revisions(self, owner: Owner | None = None) -> pd.DataFrame:
        """What was attached and detached, the oldest first: action, by, reason, made_at (UTC), then the file."""
        with opened(self.path, self._wait) as con:
            return attachment_history(con, owner)


def attachment_history(con: duckdb.DuckDBPyConnection, owner: Owner | None = None) -> pd.DataFrame:
    """What was attached to one thing or to all, and detached, the oldest first."""
    names = ", ".join(f'"{name}"' for name in (*ATTACHED.heads, *ATTACHED.cells))
    where, values = ("WHERE kind = $1 AND owner = $2", [*owner]) if owner else ("", [])
    order = "made_at, attachment_id, revision"
    found = con.execute(f"SELECT {names} FROM attachment_revisions {where} ORDER BY {order}", values).df()
    blank = {name: found[name].astype(object).where(found[name].notna(), "") for name in ("by", "reason")}
    return timed(found.assign(**blank), "made_at")
