"""Files attached as evidence, what is attached and detached a revision each; a photograph drawn anew, a PDF as given.

What a file is is told from its content and never from its name, and nothing in it is ever run. A photograph is drawn
anew without what the camera wrote into it. A PDF that openly says that it starts a program or a script is refused; into
what is packed in it nobody looks, which is said where it is given out.

Their bytes are rows of a table rather than files of a folder beside it, since whatever copies the one file (a backup, a
restoration, a stick) then carries them whole, and a write of them is all or nothing as any other.
"""

from __future__ import annotations

import hashlib
import re
import struct
import unicodedata
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, NamedTuple

from calib.errors import SHOWN, Code, InputError, visible
from calib.paths import data
from calib.register.fields import Refusal, line, one_line
from calib.register.file import opened
from calib.register.gate import transaction
from calib.register.lakehouse import Lakehouse
from calib.register.records import record_id
from calib.register.revisions import Ledger, refuse_foreign, timed
from calib.register.tables import odd_kind, sha256_of
from calib.register.trouble import AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd
    from PIL import Image

FACTS = data("register/attachments.toml")
KEPT: dict[str, dict[str, Any]] = FACTS["kept"]
MOST_BYTES = int(FACTS["most_bytes"])
MOST_PIXELS = int(FACTS["most_pixels"])
LONGEST_NAME = 120
_MOST = f"{MOST_PIXELS / 1e6:.0f} million"
_BEGINS = {b"\xff\xd8\xff": "JPEG", b"\x89PNG\r\n\x1a\n": "PNG", b"%PDF-": "PDF"}
_STREAM = re.compile(rb"stream\r?\n.*?endstream", re.DOTALL)
_ACTS = re.compile(rb"/(JavaScript|JS|Launch)(?=[\s/<>\[\]()%]|$)")
_PNG_PARTS = {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"}  # what a picture is drawn of, and nothing that tells of it


@dataclass(frozen=True)
class EvidenceFile:
    """A file as it is kept.

    Attributes
    ----------
    name : str
        What it was called, its folder left out.
    media : str
        Its type: image/jpeg, image/png or application/pdf.
    content : bytes
        Its bytes as kept.
    """

    name: str
    media: str
    content: bytes

    @property
    def sha256(self) -> str:
        """Hash of its content, by which it is kept."""
        return sha256_of(self.content)


def read_evidence(path: str | Path) -> EvidenceFile:
    """Read a file and make of it what is kept.

    Raises
    ------
    InputError
        It is missing, a folder or a pipe, or as `evidence_of` says.
    """
    where, remedy = str(path), f"name {FACTS['says']['types']}"
    try:
        if said := odd_kind(path):
            raise InputError.one(f"cannot be read, {said}", remedy, where=where, code="file")
        with open(path, "rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        absent = isinstance(error, FileNotFoundError)
        why = "there is no such file" if absent else (getattr(error, "strerror", "") or str(error)).lower()
        raise InputError.one(
            f"cannot be read, {why}", remedy, where=where, code="not-found" if absent else "file"
        ) from None
    return evidence_of(raw, where)


def evidence_of(raw: bytes, name: str) -> EvidenceFile:
    """What is kept of a file that somebody gives.

    Parameters
    ----------
    raw : bytes
        Its content.
    name : str
        Its name or path; nothing is told from it.

    Raises
    ------
    InputError
        It is empty, too large, cut short, of another type, has too many pixels or several pictures, or is a PDF that
        starts something.
    """
    where = name
    if not raw:
        raise _refused("is empty", "have it sent again", where)
    if len(raw) > MOST_BYTES:
        remedy = "save the photograph smaller, or the page alone"
        raise _refused(f"has more than {MOST_BYTES >> 20} MB", remedy, where, "limits")
    given = _type_of(raw)
    if not given:
        raise _refused(f"is not {FACTS['says']['types']}, whatever its name says", "attach one of these", where)
    media = next(media for media, one in KEPT.items() if given in one["of"])
    if given == "PDF":
        if fault := _fault_of_pdf(raw):
            raise _refused(*fault, where)
        content = raw
    else:
        content = _drawn_anew(raw, given, KEPT[media]["of"][0], where)
        if len(content) > MOST_BYTES:
            raise _refused(f"comes to more than {MOST_BYTES >> 20} MB", "save it as JPEG", where, "limits")
    return EvidenceFile(plain_name(name), media, content)


def type_in_words(media: str) -> str:
    """What a type is called; one that is not kept, as it is."""
    return str(KEPT[media]["label"]) if media in KEPT else visible(media, 40)


def length_in_words(count: int) -> str:
    """A length in bytes as people read it."""
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(count / 1e3, 0.1):.3g} kB"


def plain_name(name: str) -> str:
    """A file's name without its folder, as one line in which nothing is hidden."""
    plain = unicodedata.normalize("NFC", PurePath(name.replace("\\", "/")).name)
    try:
        return one_line(visible(plain, LONGEST_NAME)) or "file"
    except Refusal:  # one that stands for a blank
        return "file"


def fault_of(content: bytes, media: str) -> str:
    """What keeps bytes from being a file of this type as calib keeps it; blank for nothing.

    They came with a register or a bundle, and so may be anything: the size, the type by content, and that a picture has
    nothing in it but the picture.
    """
    given = _type_of(content)
    if media not in KEPT:
        return f"is of a type that is not kept ({visible(media, 40)})"
    if len(content) > MOST_BYTES:
        return f"has more than {MOST_BYTES >> 20} MB"
    if given != KEPT[media]["of"][0]:
        return f"is no {KEPT[media]['label']}, whatever it says"
    if given == "PDF":
        return (_fault_of_pdf(content) or ("",))[0]
    try:
        with _opened(content, given) as picture:
            if fault := _fault_of_size(picture):
                return fault[0]
            names = {str(name) for name, _ in getattr(picture, "applist", [])}
    except _Unreadable as error:
        return str(error)
    bare = names <= {"APP0"} and content.endswith(b"\xff\xd9") if given == "JPEG" else _is_bare_png(content)
    return "" if bare else "has more in it than the picture"


def _refused(problem: str, remedy: str, where: str, code: Code = "file") -> InputError:
    return InputError.one(problem, remedy, where=where, code=code)


def _type_of(raw: bytes) -> str:
    """The type that the first bytes are of; blank for another."""
    if raw[:4] == b"RIFF" and raw[8:12] == b"WEBP":
        return "WEBP"
    return next((kind for begins, kind in _BEGINS.items() if raw.startswith(begins)), "")


def _fault_of_pdf(raw: bytes) -> tuple[str, str] | None:
    """What is wrong with a PDF as far as it stands openly in it, with the remedy."""
    if b"%%EOF" not in raw[-2048:]:
        return "is a PDF that was cut short", "have it sent again"
    openly = re.sub(rb"#([0-9A-Fa-f]{2})", lambda code: bytes([int(code[1], 16)]), _STREAM.sub(b"", raw))
    if found := _ACTS.search(openly):
        what = "starts a program" if found[1] == b"Launch" else "has a script in it"
        return f"is a PDF that {what}", "print the page to a new PDF, or photograph it"
    return None


class _Unreadable(Exception):
    """The bytes are no picture of that type, or not a whole one; says what they are."""


def _opened(raw: bytes, given: str) -> Image.Image:
    """A picture whose head was read and nothing more."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # its size is looked at next
            return Image.open(BytesIO(raw), formats=[given])
    except Image.DecompressionBombError:
        raise _Unreadable(f"has more pixels than a photograph: {_MOST} is the most") from None
    except Exception as error:  # of bytes that may be anything, the decoders raise whatever comes
        raise _Unreadable("cannot be read as the picture that it says it is") from error


def _fault_of_size(picture: Image.Image) -> tuple[str, str] | None:
    """What is wrong with the size of a picture, with the remedy."""
    width, height = picture.size
    if width * height > MOST_PIXELS:
        return f"has {width} x {height} pixels, and {_MOST} is the most", "save the photograph smaller"
    frames = getattr(picture, "n_frames", 1) if picture.format not in ("JPEG", "MPO") else 1  # the first is the photo
    return (f"has {frames} pictures in it", "save one of them") if frames > 1 else None


def _drawn_anew(raw: bytes, given: str, kept: str, where: str) -> bytes:
    """A picture as the camera saw it, upright, with nothing but its pixels: EXIF, place and comments are left out."""
    from PIL import ImageOps

    try:
        with _opened(raw, given) as opened:
            if fault := _fault_of_size(opened):
                raise _refused(*fault, where, "limits")
            opened.load()
            upright = ImageOps.exif_transpose(opened)
        longest = int(FACTS["longest_side_px"])
        made = _in_colours(upright, kept)
        made.thumbnail((longest, longest))
        made.info.clear()
        written = BytesIO()
        made.save(written, kept, **({"quality": int(FACTS["jpeg_quality"])} if kept == "JPEG" else {}))
    except InputError:
        raise
    except _Unreadable as error:
        raise _refused(str(error), "have it sent again, or saved smaller", where) from error
    except Exception as error:  # as in _opened
        raise _refused("cannot be read as the picture that it says it is", "have it sent again", where) from error
    return written.getvalue()


def _in_colours(picture: Image.Image, kept: str) -> Image.Image:
    """The same picture in colours that every viewer shows; what is clear in a photograph becomes white."""
    from PIL import Image

    if kept == "PNG":
        grey = "L" if picture.mode in ("1", "L") else "RGB"
        return picture.convert("RGBA" if picture.has_transparency_data else grey)
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        white = Image.new("RGB", picture.size, "white")
        white.paste(clear, mask=clear.getchannel("A"))
        return white
    return picture.convert("L" if picture.mode in ("1", "L") else "RGB")


def _is_bare_png(content: bytes) -> bool:
    """Whether a PNG is made of the parts that it is drawn of alone, and ends with the last."""
    names = list(_png_parts(content))
    return bool(names) and set(names) <= _PNG_PARTS and names[-1] == b"IEND"


def _png_parts(content: bytes) -> Iterator[bytes]:
    at = 8
    while at + 8 <= len(content):
        size, name = struct.unpack(">I4s", content[at : at + 8])
        at += 12 + size
        yield name if at <= len(content) else b"cut short"
    if at != len(content):
        yield b"more"


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
