"""Parts of a bundle: what is noted of each revision, its cells read back; and attached files, a table and a folder.

A file is looked for under the hash that the table gives, never under a path that somebody wrote; whatever else a bundle
names, or holds by a link, is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any
from zipfile import ZipInfo

from calib.errors import SHOWN, Fault, InputError, visible
from calib.register.attachments import (
    ATTACHED,
    KEPT,
    MOST_BYTES,
    MOST_FILES,
    Owner,
    attachment_history,
    attachment_id,
    content_of as kept_content,
    fault_of,
    plain_name,
    put,
    refuse_foreign_files,
)
from calib.register.fields import Refusal, name_text, one_line
from calib.register.tables import cells_of, decoded, headed, header_faults, sha256_of, text_in

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

HEADS: tuple[dict[str, Any], ...] = (
    {"name": "record_id", "type": "string", "description": "Hash of contributor and unit."},
    {
        "name": "revision",
        "type": "integer",
        "is": "revision's number",
        "description": "1 for the first of a record, and on.",
    },
    {
        "name": "action",
        "type": "string",
        "description": "What was done.",
        "enum": ["add", "amend", "withdraw", "restore", "keep"],
    },
    {"name": "by", "type": "string", "description": "Who did it.", "optional": True},
    {"name": "reason", "type": "string", "description": "Why.", "optional": True},
    {"name": "made_at", "type": "datetime", "description": "When it was done, in UTC."},
    {"name": "needs_review", "type": "boolean", "description": "Whether somebody should look at it."},
)
_SHARED = {str(one["name"]): one for one in HEADS}
ATTACHED_HEADS: tuple[dict[str, Any], ...] = (
    {"name": "attachment_id", "type": "string", "description": "Hash of what it is attached to and of its content."},
    {**_SHARED["revision"], "description": "1 for the first of an attachment, and on."},
    {**_SHARED["action"], "enum": ["attach", "detach"]},
    *(_SHARED[name] for name in ("by", "reason", "made_at", "record_id")),
    {"name": "name", "type": "string", "description": "What the file was called."},
    {"name": "media", "type": "string", "description": "Its type.", "enum": list(KEPT)},
    {"name": "size", "type": "integer", "is": "length of a file", "description": "Its length in bytes."},
    {"name": "sha256", "type": "string", "description": "Hash of its content, which is its name under attachments."},
)


def head_of(
    cells: Mapping[str, str], where: str, row: int, heads: Sequence[Mapping[str, Any]] = HEADS
) -> dict[str, object]:
    """What is noted of a revision, of its kind; text that an export kept from being a formula as it was.

    Raises
    ------
    InputError
        With every cell that is not of its kind.
    """
    read: dict[str, object] = {}
    faults = []
    for one in heads:
        name, cell = str(one["name"]), cells[str(one["name"])].strip()
        try:
            read[name] = _READ.get(one["type"], _text)(cell, one)
        except ValueError as error:
            refusal = error if isinstance(error, Refusal) else Refusal(f"is no {one['type']}", "have it exported again")
            faults.append(Fault(where, row, name, cell, refusal.problem, refusal.remedy, refusal.code))
    if faults:
        raise InputError(faults)
    return read


def _text(cell: str, one: Mapping[str, Any]) -> str:
    if not cell and not one.get("optional"):
        raise Refusal("is needed", "have it exported again", "missing")
    if cell and cell not in one.get("enum", (cell,)):
        raise Refusal("is not one of the choices", f"it is one of: {', '.join(one['enum'])}", "choice")
    return (name_text if one["name"] == "by" else one_line)(text_in(cell))


def _number(cell: str, one: Mapping[str, Any]) -> int:
    if not (cell.isascii() and cell.isdigit() and 0 < len(cell) < 10 and int(cell) > 0):
        raise Refusal(f"is no {one['is']}", "have it exported again", "not-a-number")
    return int(cell)


def _moment(cell: str, one: Mapping[str, Any]) -> datetime:
    moment = datetime.fromisoformat(cell)
    if moment.tzinfo is None:
        raise Refusal("is a time of no zone", "have it exported again", "date")
    return moment.astimezone(UTC)


def _yes(cell: str, one: Mapping[str, Any]) -> bool:
    if cell not in ("true", "false"):
        raise Refusal("is not true or false", "have it exported again", "choice")
    return cell == "true"


_READ: dict[str, Callable[[str, Mapping[str, Any]], object]] = {
    "integer": _number,
    "datetime": _moment,
    "boolean": _yes,
}


TABLE, FOLDER = "attachments.csv", "attachments"
AGAIN = "have it exported again"
_ENDS = "|".join(str(one["end"]) for one in KEPT.values())
_FILE = re.compile(rf"([0-9a-f]{{64}})\.({_ENDS})")
_LINK = 0o120000  # of a file's mode: it is a link


@dataclass(frozen=True)
class Attached:
    """What is attached to the records of a register or a bundle.

    Attributes
    ----------
    history : pandas.DataFrame or None
        What was attached and detached; None where nothing ever was.
    files : dict of str to bytes
        By path in a bundle, the files that are attached; those that were taken off are not handed out.
    """

    history: pd.DataFrame | None = None
    files: Mapping[str, bytes] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return self.history is not None

    @property
    def table(self) -> pd.DataFrame:
        """The history with the columns of the bundle's table."""
        assert self.history is not None
        named = self.history.rename(columns={"owner": "record_id"})
        return named[[str(one["name"]) for one in ATTACHED_HEADS]]


def path_of(sha256: str, media: str) -> str:
    """Where a file is in a bundle."""
    return f"{FOLDER}/{sha256}.{KEPT[media]['end']}"


def is_file(name: str) -> bool:
    """Whether a name, without its folder, is one of an attached file's in a bundle."""
    return bool(_FILE.fullmatch(name))


def place_in_bundle(name: str) -> str:
    """Where the file of a name, from an upload or a zip, belongs in a bundle."""
    return f"{FOLDER}/{name}" if is_file(name) else name


def attached_in(con: duckdb.DuckDBPyConnection) -> Attached:
    """What is attached to the records of the open register, to be handed out."""
    history = attachment_history(con)
    history = history[history["kind"].eq("record")].reset_index(drop=True)
    if history.empty:
        return Attached()
    standing = _latest(history)
    pairs = sorted(set(zip(standing["sha256"], standing["media"], strict=True)))
    contents = [kept_content(con, *pair) for pair in pairs]  # each is of a type that there is then
    return Attached(history, {path_of(*pair): content for pair, content in zip(pairs, contents, strict=True)})


def _latest(history: pd.DataFrame) -> pd.DataFrame:
    """The last revision of each attachment that stands."""
    last = history.sort_values("revision", kind="stable").drop_duplicates("attachment_id", keep="last")
    return last[last["action"].ne(ATTACHED.gone)]


def resources(files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    """How a data package descriptor tells of attached files."""
    types = {str(one["end"]): (media, str(one["label"])) for media, one in KEPT.items()}
    made = []
    for path, content in files.items():
        name, _, end = path.rpartition("/")[2].partition(".")
        media, label = types[end]
        told = {"name": name, "path": path, "format": end, "mediatype": media, "description": f"Attached: {label}."}
        made.append({**told, "bytes": len(content), "hash": f"sha256:{sha256_of(content)}"})
    return made


def files_in(folder: Path, where: str) -> Iterator[tuple[str, bytes]]:
    """The attached files of a bundle's folder by their path in it; a link is refused, and what is none is passed over.

    Raises
    ------
    InputError
        With the first that is a link or too large, or cannot be read.
    """
    place = folder / FOLDER
    if place.is_symlink():
        raise InputError.one("is a link to another place", AGAIN, where=f"{where}/{FOLDER}", code="file")
    try:
        for each in sorted(place.iterdir()) if place.is_dir() else ():
            if not is_file(each.name):
                continue
            if each.is_symlink() or not each.is_file():
                problem = "is a link to another place" if each.is_symlink() else "is no file"
                raise InputError.one(problem, AGAIN, where=f"{where}/{FOLDER}/{each.name}", code="file")
            with open(each, "rb") as file:
                yield f"{FOLDER}/{each.name}", file.read(MOST_BYTES + 1)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise InputError.one(f"cannot be read, {why}", AGAIN, where=f"{where}/{FOLDER}", code="file") from None


def refuse_hostile(entries: list[ZipInfo], where: str) -> None:
    """Refuse a zip with an entry that leads out of the folder where it is unpacked.

    Raises
    ------
    InputError
        With a fault for each.
    """
    faults = [
        Fault(where, None, "", one.filename, "leads out of the bundle", AGAIN, "file")
        for one in entries
        if _leads_out(one.filename) or (one.external_attr >> 16) & 0o170000 == _LINK
    ]
    if faults:
        raise InputError(faults)


def _leads_out(path: str) -> bool:
    plain = path.replace("\\", "/")
    return plain.startswith("/") or ":" in plain or ".." in PurePosixPath(plain).parts


def read_attached(files: Mapping[str, bytes], hashes: Mapping[str, str], where: str, records: pd.Series) -> Attached:
    """What is attached in a bundle, each file held to its hash, its length and its type.

    Parameters
    ----------
    files : mapping of str to bytes
        The bundle's files by their path in it.
    hashes : mapping of str to str
        By path, what its descriptor gives.
    where : str
        What the faults call the bundle.
    records : pandas.Series
        What identifies its records.

    Raises
    ------
    InputError
        With every fault.
    """
    if TABLE not in hashes and TABLE not in files:
        return Attached()
    if TABLE not in files or hashes.get(TABLE) != f"sha256:{sha256_of(files[TABLE])}":
        problem = "is missing" if TABLE not in files else "is not the table that datapackage.json describes"
        raise InputError.one(
            problem, f"{AGAIN}, and take all files together", where=f"{where}/{TABLE}", code="conflict"
        )
    history = _history(files[TABLE], f"{where}/{TABLE}")
    standing = _latest(history)
    faults = [*_faults_of_rows(history, records, f"{where}/{TABLE}"), *_faults_of_files(standing, files, where)]
    counts = standing["owner"].value_counts()
    if len(counts) and counts.max() > MOST_FILES:
        problem = f"has {counts.max()} files for one record, and {MOST_FILES} is the most"
        faults.append(Fault(f"{where}/{TABLE}", None, "", "", problem, "have some taken off", "limits"))
    if faults:
        raise InputError(faults)
    paths = {path_of(*pair) for pair in zip(standing["sha256"], standing["media"], strict=True)}
    return Attached(history, {path: files[path] for path in sorted(paths)})


def _history(raw: bytes, where: str) -> pd.DataFrame:
    """The rows of the table, each cell of its kind."""
    import pandas as pd

    row, names, lines = headed(decoded(raw, where), where, AGAIN)
    known = [str(one["name"]) for one in ATTACHED_HEADS]
    if faults := header_faults(names, known, set(known), (where, row)):
        raise InputError(faults)
    made, faults = [], []
    for row, cells in lines:
        try:
            made.append(head_of(cells_of(cells, names, (where, row)), where, row, ATTACHED_HEADS))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    table = pd.DataFrame(made, columns=known).astype({"revision": "int64", "size": "int64"})
    table["made_at"] = pd.to_datetime(table["made_at"], utc=True)
    return table.rename(columns={"record_id": "owner"}).assign(kind="record")


def _faults_of_rows(history: pd.DataFrame, records: pd.Series, where: str) -> Iterator[Fault]:
    """Rows of another name than their own, of records that are not there, or with gaps between them."""
    known = set(records)
    for one in history.drop_duplicates(["attachment_id", "owner", "sha256", "name"]).to_dict("records"):
        named = str(one["name"])
        if not _FILE.fullmatch(f"{one['sha256']}.jpg") or plain_name(named) != named:
            problem = "is no hash of a file" if plain_name(named) == named else "is no plain name of a file"
            yield Fault(where, None, "sha256" if plain_name(named) == named else "name", named, problem, AGAIN, "file")
        elif one["owner"] not in known:
            problem = f"is attached to a record that the bundle has not ({visible(str(one['owner']), SHOWN)})"
            yield Fault(where, None, "name", named, problem, AGAIN, "conflict")
        elif one["attachment_id"] != attachment_id(Owner("record", str(one["owner"])), str(one["sha256"])):
            yield Fault(where, None, "attachment_id", named, "does not identify that file there", AGAIN, "conflict")
    found = history.groupby("attachment_id", sort=False)["revision"].agg(["min", "max", "count", "nunique"])
    wrong = found[(found["min"] != 1) | (found["max"] != found["count"]) | (found["nunique"] != found["count"])]
    for identity in wrong.index:
        named = str(history.loc[history["attachment_id"].eq(identity), "name"].iloc[0])
        yield Fault(where, None, "revision", named, "its revisions are not numbered 1, 2 and on", AGAIN, "conflict")


def _faults_of_files(standing: pd.DataFrame, files: Mapping[str, bytes], where: str) -> Iterator[Fault]:
    """Files that are missing, or are not those that the table tells of."""
    for one in standing.drop_duplicates(["sha256", "media", "size"]).to_dict("records"):
        sha256, media = str(one["sha256"]), str(one["media"])
        path = path_of(sha256, media)
        content = files.get(path)
        if content is None:
            problem = "is missing"
        elif len(content) > MOST_BYTES:
            problem = f"has more than {MOST_BYTES >> 20} MB"
        elif sha256_of(content) != sha256 or len(content) != one["size"]:
            problem = "is not the file that was attached: its hash is another"
        else:
            problem = fault_of(content, media)
        if problem:
            yield Fault(f"{where}/{path}", None, "", str(one["name"]), problem, AGAIN, "file")


def coming(con: duckdb.DuckDBPyConnection, attached: Attached) -> pd.DataFrame | None:
    """What a bundle has more of what was attached and detached than the open register; None for nothing.

    Where both went on by themselves, what stands here stays.
    """
    if attached.history is None:
        return None
    state = ATTACHED.beside(con, attached.history)
    more = state[state["same"].eq(state["ours"]) & state["theirs"].gt(state["ours"])]
    rows = attached.history.merge(more[["attachment_id", "ours"]], on="attachment_id")
    rows = rows[rows["revision"].gt(rows["ours"])]
    return rows if len(rows) else None


def merge_attached(con: duckdb.DuckDBPyConnection, attached: Attached) -> int:
    """Bring in what a bundle has more of attached files, inside the caller's transaction; how many revisions."""
    rows = coming(con, attached)
    if rows is None:
        return 0
    refuse_foreign_files(con, {*rows["owner"]})
    ATTACHED.bring(con, rows)
    for sha256, media in {*zip(rows["sha256"], rows["media"], strict=True)}:
        if (content := attached.files.get(path_of(sha256, media))) is not None:
            put(con, sha256, content)
    return len(rows)
