"""Bundles that an export wrote, merged into a register: a record's history is extended and never rewritten.

A record of a bundle is new, identical, amended (one history goes on where the other ends) or contradicting (both went
on from where they last were the same). All that is not contradicting is brought in, revision by revision as it was
made; of the contradicting ones only what is chosen is, as a further revision for review.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile, ZipFile

import numpy as np

from calib.errors import SHOWN, Code, Fault, InputError, visible
from calib.register.bundle import (
    FOLDER,
    HEADS,
    TABLE,
    Attached,
    coming,
    files_in,
    head_of,
    is_file,
    merge_attached,
    place_in_bundle,
    read_attached,
    refuse_hostile,
)
from calib.register.fields import is_blank
from calib.register.frame import frame_of
from calib.register.package import NAMES, TITLES
from calib.register.records import KnownUnit, columns, fields
from calib.register.revisions import RECORDS, brought, count
from calib.register.tables import (
    DESCRIPTOR,
    bytes_of,
    cells_of,
    decoded,
    headed,
    header_faults,
    odd_kind,
    read_known,
    record_in,
    sha256_of,
)

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

KNOWN, REVISIONS, _ = NAMES
NEW, IDENTICAL, AMENDED, HERE, CONTRADICTING = "new", "identical", "amended", "amended here", "contradicting"
STATES = (NEW, IDENTICAL, AMENDED, HERE, CONTRADICTING)
MOST_UNZIPPED = 1 << 30  # bytes of a bundle's files in a zip
EACH = 5000  # rows between two calls of whoever shows how far it is
Progress = Callable[[str, int], None]  # what is being done, and how many rows of it are


@dataclass(frozen=True)
class Bundle:
    """An export that was read and is sound.

    Attributes
    ----------
    name : str
        What it is called where it was read.
    content : str
        Hash of its revisions: the same of two copies.
    licence : str
        Under which it was handed out; blank where that was not said.
    simulated : bool
        Whether its records were made up for practice.
    history : pandas.DataFrame
        Every revision as `Register.revisions` gives it, in the file's order.
    attached : Attached
        The files that are attached to its records.
    """

    name: str
    content: str
    licence: str
    simulated: bool
    history: pd.DataFrame
    attached: Attached = field(default_factory=Attached)

    @property
    def latest(self) -> pd.DataFrame:
        """Each record's last revision."""
        return self.history.sort_values("revision", kind="stable").drop_duplicates("record_id", keep="last")


@dataclass(frozen=True)
class Differing:
    """How a record stands here and in a bundle where neither history goes on from the other.

    Attributes
    ----------
    contributor, unit : str
        Whose it is, and its tag.
    cells : tuple of (str, str, str)
        Each column that differs, with how it stands here and there.
    ours, theirs : str
        Who made the last revision here and there, and on which day.
    """

    contributor: str
    unit: str
    cells: tuple[tuple[str, str, str], ...]
    ours: str
    theirs: str

    def __str__(self) -> str:
        blank = "(blank)"
        told = ", ".join(f"{name} {here or blank} here, {there or blank} there" for name, here, there in self.cells)
        return f"{self.contributor}, {self.unit}: {told}; here by {self.ours}, there by {self.theirs}"


@dataclass(frozen=True)
class Merged:
    """What a bundle would change in a register, or did.

    Attributes
    ----------
    records : pandas.DataFrame
        A row for each record of the bundle: record_id, contributor, unit, state (new, identical, amended, amended here,
        contradicting), ours (revisions that the register had), brings (that are brought in), taken (bool).
    contradicting : tuple of Differing
        What differs in each of the contradicting records.
    written : int
        Revisions that were written; 0 for a preview.
    holds : int
        Known units that the register then holds.
    attached : int
        How often a file that is attached or taken off there is to be here, or was.
    """

    records: pd.DataFrame
    contradicting: tuple[Differing, ...]
    written: int = 0
    holds: int = 0
    attached: int = 0

    def counts(self) -> dict[str, int]:
        """How many records are in each state."""
        found = self.records["state"].value_counts()
        return {state: int(found.get(state, 0)) for state in STATES}

    def coming(self, bundle: Bundle, take: Collection[tuple[str, str]] = ()) -> pd.DataFrame:
        """The records of the bundle as they would stand here once they are brought in; not those that are withdrawn."""
        chosen = [pair in set(take) for pair in zip(self.records["contributor"], self.records["unit"], strict=True)]
        ids = self.records.loc[self.records["brings"].gt(0) | np.array(chosen, dtype=bool), "record_id"]
        latest = bundle.latest
        return latest[latest["record_id"].isin(ids) & latest["action"].ne(RECORDS.gone)]

    def __str__(self) -> str:
        told = ", ".join(f"{number} {state}" for state, number in self.counts().items())
        return f"{told}; attached files: {self.attached}" if self.attached else told


def read_bundle(
    source: str | os.PathLike[str] | Mapping[str, bytes], name: str = "", progress: Progress | None = None
) -> Bundle:
    """Read and check what `Register.export` wrote.

    Parameters
    ----------
    source : path or mapping
        The folder, a zip of it, or the content of its three files by name.
    name : str
        What faults and histories call it; the folder's path where blank.
    progress : function or None
        Called now and then with what is being done and how many rows of it are.

    Raises
    ------
    InputError
        With every fault: a file is missing, cut short or changed, or a revision is none that a register would keep.
    """
    name = name or str(source)
    files = source if isinstance(source, Mapping) else _files(Path(source), name)
    files = {place_in_bundle(one): raw for one, raw in files.items()}
    told = _descriptor(files, name)
    history = _history(files[REVISIONS], f"{name}/{REVISIONS}", progress)
    simulated = told["name"] == TITLES[True]
    if (history["simulated"] != simulated).any():
        problem = f"has records that are {'real' if simulated else 'simulated'}, and its descriptor says otherwise"
        raise InputError.one(problem, "have it exported again", where=name, code="kind")
    bundle = Bundle(
        visible(Path(name).name, SHOWN),
        sha256_of(files[REVISIONS]),
        _licence(told),
        simulated,
        history,
        read_attached(files, _hashes(told), name, history["record_id"]),
    )
    _refuse_another_view(bundle, read_known(BytesIO(files[KNOWN]), f"{name}/{KNOWN}"), f"{name}/{KNOWN}")
    return bundle


def _files(folder: Path, where: str) -> dict[str, bytes]:
    if folder.suffix.lower() == ".zip" and folder.is_file():
        return unzipped(bytes_of(folder, where), where)
    if not folder.is_dir():
        said = odd_kind(folder) or ("it is a file" if folder.exists() else "there is no such folder")
        code: Code = "file" if folder.exists() else "not-found"
        raise InputError.one(f"cannot be read, {said}", "name the folder of an export", where=where, code=code)
    tables = {name: bytes_of(folder / name, str(folder / name)) for name in (*NAMES, TABLE) if (folder / name).exists()}
    return tables | dict(files_in(folder, where))


def unzipped(raw: bytes, where: str) -> dict[str, bytes]:
    """The files of a bundle in a zip, whatever folder of it they are in.

    Raises
    ------
    InputError
        It is none, or holds more than `MOST_UNZIPPED`.
    """
    try:
        with ZipFile(BytesIO(raw)) as packed:
            refuse_hostile(packed.infolist(), where)
            named = {Path(one.filename).name: one for one in packed.infolist()}
            held = {
                place_in_bundle(name): one for name, one in named.items() if name in (*NAMES, TABLE) or is_file(name)
            }
            if sum(one.file_size for one in held.values()) > MOST_UNZIPPED:
                problem = f"holds more than {MOST_UNZIPPED >> 20} MB"
                raise InputError.one(problem, "unpack it, and name its folder", where=where, code="file")
            return {name: packed.read(one) for name, one in held.items()}
    except (BadZipFile, RuntimeError, ValueError, EOFError, OSError, zlib.error) as error:
        if isinstance(error, InputError):
            raise
        raise InputError.one("is no zip that can be unpacked", "have it sent again", where=where, code="file") from None


def _descriptor(files: Mapping[str, bytes], where: str) -> dict[str, Any]:
    """What the descriptor says; it is an export's, and the tables beside it are those that it describes."""
    remedy = "have it exported again, and take all of its files together"
    if absent := [name for name in NAMES if name not in files]:
        raise InputError.one(f"is no export, it lacks {', '.join(absent)}", remedy, where=where, code="not-found")
    try:
        told = json.loads(files[DESCRIPTOR])
        hashes = _hashes(told)
        ours = told["name"] in TITLES.values()
    except (ValueError, TypeError, KeyError, RecursionError):
        ours = False
    if not ours:
        raise InputError.one("is not what an export writes", remedy, where=f"{where}/{DESCRIPTOR}", code="file")
    faults = [
        Fault(f"{where}/{name}", None, "", "", f"is not the table that {DESCRIPTOR} describes", remedy, "conflict")
        for name in (KNOWN, REVISIONS)
        if hashes.get(name) != f"sha256:{sha256_of(files[name])}"
    ]
    for path in hashes:
        if path not in (KNOWN, REVISIONS, TABLE) and not is_file(path.removeprefix(f"{FOLDER}/")):
            faults.append(Fault(f"{where}/{DESCRIPTOR}", None, "path", path, "is no file of an export", remedy, "file"))
    if faults:
        raise InputError(faults)
    return dict(told)


def _hashes(told: Mapping[str, Any]) -> dict[str, str]:
    return {str(one["path"]): one["hash"] for one in told["resources"]}


def _licence(told: Mapping[str, Any]) -> str:
    licences = told.get("licenses")
    one = licences[0] if isinstance(licences, list) and licences else None
    said = [one.get(key) for key in ("title", "name", "path")] if isinstance(one, dict) else []
    return visible(next((text for text in said if isinstance(text, str)), ""), SHOWN)


def _history(raw: bytes, where: str, progress: Progress | None) -> pd.DataFrame:
    """Every revision of a bundle, each checked."""
    row, names, lines = headed(decoded(raw, where), where, "have it exported again")
    known = [str(one["name"]) for one in HEADS]
    needed = {one.name for one in fields(KnownUnit) if one.needed} | {*known}
    if faults := header_faults(names, [*known, *columns(KnownUnit)], needed, (where, row)):
        raise InputError(faults)
    taken = ["" if name in known else name for name in names]
    heads: list[dict[str, object]] = []
    records: list[KnownUnit] = []
    faults = []
    for number, (row, cells) in enumerate(lines, 1):
        try:
            head = head_of(cells_of(cells, names, (where, row)), where, row)
            record = record_in(KnownUnit, taken, cells, (where, row))
            heads.append(head)
            records.append(record)
            faults += _identity_fault(head, record, where, row)
        except InputError as error:
            faults += error.faults
        if progress is not None and number % EACH == 0:
            progress(f"reading {REVISIONS}", number)
    if faults:
        raise InputError(faults)
    import pandas as pd

    noted = pd.DataFrame(heads, columns=known).astype({"revision": "int64", "needs_review": "bool"})
    noted["made_at"] = pd.to_datetime(noted["made_at"], utc=True)
    made = pd.concat([noted, frame_of(KnownUnit, records)], axis=1)
    _refuse_gaps(made, where)
    return made


def _identity_fault(head: Mapping[str, object], record: KnownUnit, where: str, row: int) -> Iterator[Fault]:
    if head["record_id"] != record.record_id:
        problem = f"does not identify the unit {record.unit} of {record.contributor}"
        yield Fault(where, row, "record_id", str(head["record_id"]), problem, "have it exported again", "conflict")


def _refuse_gaps(history: pd.DataFrame, where: str) -> None:
    """Refuse records whose revisions are not numbered from 1 without a gap."""
    found = history.groupby("record_id", sort=False)["revision"].agg(["min", "max", "count", "nunique"])
    wrong = found[(found["min"] != 1) | (found["max"] != found["count"]) | (found["nunique"] != found["count"])]
    named = history.drop_duplicates("record_id").set_index("record_id")
    faults = [
        Fault(
            *(where, None, "revision", "", f"those of {named['unit'][identity]} are not numbered 1, 2 and on"),
            "have it exported again",
            "conflict",
        )
        for identity in wrong.index
    ]
    if faults:
        raise InputError(faults)


def _refuse_another_view(bundle: Bundle, known: pd.DataFrame, where: str) -> None:
    """Refuse a table of known units that is not what the revisions amount to."""
    last = bundle.latest
    standing = last[last["action"] != RECORDS.gone][list(columns(KnownUnit))]
    order = ["contributor", "unit"]
    one, other = (table.sort_values(order, ignore_index=True) for table in (standing, known))
    if not one.equals(other):
        remedy = "have it exported again, and take all three files together"
        raise InputError.one(f"is not what {REVISIONS} amounts to", remedy, where=where, code="conflict")


def compared(con: duckdb.DuckDBPyConnection, bundle: Bundle, take: Collection[tuple[str, str]] = ()) -> Merged:
    """What a bundle would change in the open register.

    Raises
    ------
    InputError
        One that is to be taken is not among the contradicting.
    """
    last = bundle.latest
    named = last[["record_id", "contributor", "unit"]]
    found = named.merge(RECORDS.beside(con, bundle.history), on="record_id", validate="one_to_one")
    differs = RECORDS.compared(con, last).set_axis(last["record_id"]).reindex(found["record_id"])
    gone = last.set_index("record_id")["action"].eq(RECORDS.gone).reindex(found["record_id"])
    alike = (differs["differs"].eq("") & differs["gone"].eq(gone)).to_numpy()
    ours, theirs, same = (found[name] for name in ("ours", "theirs", "same"))
    both = same.eq(ours) & same.eq(theirs)
    cases = [case.to_numpy() for case in (ours.eq(0), both, same.eq(ours), same.eq(theirs))]
    records = found.assign(state=np.select([*cases, alike], [NEW, IDENTICAL, AMENDED, HERE, IDENTICAL], CONTRADICTING))
    state = records["state"]
    records["brings"] = (theirs - ours).where(state.isin([NEW, AMENDED]), 0)
    told = [*_differing(con, last[last["record_id"].isin(records["record_id"][state.eq(CONTRADICTING)])])]
    pairs = {(one.contributor, one.unit) for one in told}
    if strange := [pair for pair in take if pair not in pairs]:
        remedy = "take such as the preview lists as contradicting"
        raise InputError(
            [Fault("", None, "unit", unit, f"is no contradicting one of {whose}", remedy) for whose, unit in strange]
        )
    chosen = [pair in set(take) for pair in zip(records["contributor"], records["unit"], strict=True)]
    columns_told = ["record_id", "contributor", "unit", "state", "ours", "brings"]
    more = coming(con, bundle.attached)
    come = 0 if more is None else len(more)
    return Merged(records[columns_told].assign(taken=chosen), tuple(told), holds=count(con), attached=come)


def merge(
    con: duckdb.DuckDBPyConnection,
    bundle: Bundle,
    by: str = "",
    take: Collection[tuple[str, str]] = (),
    progress: Progress | None = None,
) -> Merged:
    """Bring in what a bundle has more than the open register, inside the caller's transaction."""
    found = compared(con, bundle, take)
    records = found.records
    history = bundle.history.merge(records[["record_id", "ours", "brings"]], on="record_id")
    bring = history[history["brings"].gt(0) & history["revision"].gt(history["ours"])]
    if progress is not None and len(bring) >= EACH:
        progress("writing revisions", len(bring))
    if len(bring):
        RECORDS.bring(con, bring)
    last = bundle.latest.merge(records.loc[records["taken"], ["record_id", "ours"]], on="record_id")
    for action in ("add", RECORDS.gone):
        rows = last[last["action"].eq(RECORDS.gone) == (action == RECORDS.gone)]
        RECORDS.append(con, rows.assign(was=rows["ours"]), action, by, f"taken from the bundle {bundle.name}")
    came = records[records["brings"].gt(0) | records["taken"]]
    number = came["brings"].where(~came["taken"], 1)
    noted = came[["record_id"]].assign(first_revision=came["ours"] + 1, last_revision=came["ours"] + number)
    now = datetime.now(UTC).replace(tzinfo=None)
    with brought(con, noted):
        asked = "INSERT INTO merges SELECT *, $1, $2, $3, $4, $5 FROM brought"
        con.execute(asked, [bundle.name, bundle.content, bundle.licence or None, by or None, now])
    come = merge_attached(con, bundle.attached)
    return Merged(records, found.contradicting, int(number.sum()), count(con), come)


def _differing(con: duckdb.DuckDBPyConnection, rows: pd.DataFrame) -> Iterator[Differing]:
    """What differs between each row of a frame of revisions and the last revision that stands here of its thing."""
    if rows.empty:
        return
    names = ", ".join(f'"{name}"' for name in ("record_id", "action", "by", "made_at", *RECORDS.cells))
    with brought(con, rows[["record_id"]]):
        asked = f"SELECT {names} FROM latest WHERE record_id IN (SELECT record_id FROM brought)"
        found = con.execute(asked).df().assign(recorded_on=lambda table: table["recorded_on"].astype(str))
    ours = {str(one["record_id"]): one for one in found.to_dict("records")}
    for their in rows.to_dict("records"):
        our = ours[str(their["record_id"])]
        cells = tuple(
            (name, _plainly(our[name]), _plainly(their[name]))
            for name in RECORDS.cells
            if _plainly(our[name]) != _plainly(their[name])
        )
        gone = (our["action"] == RECORDS.gone, their["action"] == RECORDS.gone)
        withdrawn = (("withdrawn", *map(_plainly, gone)),) if gone[0] != gone[1] else ()
        here, there = (
            f"{_plainly(one['by']) or 'nobody named'}, {_plainly(one['made_at'])[:10]}" for one in (our, their)
        )
        yield Differing(str(our["contributor"]), str(our["unit"]), (*withdrawn, *cells), here, there)


def _plainly(value: object) -> str:
    if is_blank(value) or str(value) in ("NaT", "None"):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def licensed(con: duckdb.DuckDBPyConnection, licence: str) -> str:
    """The licence under which the open register is handed out: this one, which is kept; the last where it is blank."""
    kept = [str(one) for (one,) in con.execute("SELECT licence FROM licences ORDER BY made_at DESC LIMIT 1").fetchall()]
    if licence and kept != [licence]:
        con.execute("INSERT INTO licences VALUES (?, ?)", [licence, datetime.now(UTC).replace(tzinfo=None)])
    return licence or "".join(kept)
