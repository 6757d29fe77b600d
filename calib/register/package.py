"""Tables out: CSV with full digits, and a data package descriptor that says what the columns are."""

from __future__ import annotations

import csv
import json
import os
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO
from uuid import uuid4

from filelock import FileLock, Timeout

from calib.errors import CannotError, InputError
from calib.register.bundle import ATTACHED_HEADS, FOLDER, HEADS, TABLE, Attached, is_file, resources
from calib.register.fields import FieldFacts
from calib.register.records import KnownUnit, Unit, fields
from calib.register.tables import DESCRIPTOR, FOR_FORMULA, descriptor_of, odd_kind, sha256_of

if TYPE_CHECKING:
    import pandas as pd

_KINDS = {"text": "string", "choice": "string", "number": "number", "flag": "boolean", "date": "date"}
NAMES = ("known.csv", "revisions.csv", DESCRIPTOR)
TITLES = {True: "simulated-known-units", False: "known-units"}  # by whether the records are simulated
WAIT_S = 15.0


def write_package(
    folder: Path,
    known: pd.DataFrame,
    revisions: pd.DataFrame,
    simulated: bool,
    force: bool = False,
    licence: str = "",
    attached: Attached | None = None,
) -> tuple[Path, ...]:
    """Write known.csv, revisions.csv and, last, datapackage.json with their hashes; those of an export are replaced.

    Each file is written whole under a name that nobody can have prepared, then put in its place, where a link of that
    name is replaced and not followed. Whatever interrupts it, a table whose hash is not the descriptor's is refused by
    whoever brings it in.

    Parameters
    ----------
    folder : Path
        Where they go; made where it is missing.
    known, revisions : pandas.DataFrame
        As the register gives them.
    simulated : bool
        Whether the records were made up for practice, which the descriptor then says.
    force : bool
        Whether to replace files of those names that are no export's.
    licence : str
        Under which they are handed out, by name or by address; blank where that is not said.
    attached : Attached or None
        The files that are attached to the records: attachments.csv and a folder of that name, where there are any.

    Returns
    -------
    tuple of Path
        The three files, then attachments.csv and the attached files.

    Raises
    ------
    InputError
        The folder is none, or has such files from elsewhere.
    CannotError
        They cannot be written there.
    """
    if not force:
        _refuse_another_s(folder, simulated)
    lock = folder / ".export.lock"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if lock.is_symlink():
            lock.unlink()
        with FileLock(lock, timeout=WAIT_S):
            tables = {"known.csv": known, "revisions.csv": revisions}
            tables |= {TABLE: attached.table} if attached else {}
            files = attached.files if attached else {}
            _write_all(folder, tables, files, descriptor(simulated, licence, attached))
        with suppress(OSError):
            lock.unlink()
    except Timeout:
        raise CannotError(f"{folder}: another export is writing there; try again when it is done") from None
    except OSError as error:
        why = (error.strerror or str(error) or "for a reason unknown").lower()
        raise CannotError(f"{folder}: the tables cannot be written there, {why}") from error
    return tuple(folder / name for name in (*NAMES, *([TABLE] if attached else []), *files))


def _write_all(
    folder: Path, tables: Mapping[str, pd.DataFrame], files: Mapping[str, bytes], told: dict[str, Any]
) -> None:
    """Write the tables and the attached files, and last the descriptor; an earlier export's other files go."""
    made: dict[str, Path] = {}
    try:
        for name, table in tables.items():
            made[name] = _whole(folder, lambda file, table=table: write_table(table, file))  # type: ignore[misc]
        for path, content in files.items():
            made[path] = _whole(folder, lambda file, content=content: file.buffer.write(content))  # type: ignore[misc]
        for resource in told["resources"]:
            place = made[resource["path"]]
            resource |= {"bytes": place.stat().st_size, "hash": f"sha256:{sha256_of(place.read_bytes())}"}
        made[DESCRIPTOR] = _whole(folder, lambda file: json.dump(told, file, ensure_ascii=False, indent=2))
        _clear_attached(folder, files)
        for name in [*files, *tables, DESCRIPTOR]:
            os.replace(made[name], folder / name)
            del made[name]
        if TABLE not in tables:
            (folder / TABLE).unlink(missing_ok=True)
    finally:
        for left in made.values():
            with suppress(OSError):
                left.unlink(missing_ok=True)


def _whole(folder: Path, write: Callable[[TextIO], None]) -> Path:
    """A file written to the disk under a new name of its own."""
    new = folder / f".{uuid4().hex}.new"
    with open(new, "x", encoding="utf-8", newline="") as file:
        write(file)
        file.flush()
        os.fsync(file.fileno())
    return new


def _clear_attached(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make the folder of attached files where there are some, and take out those of an earlier export."""
    place = folder / FOLDER
    if place.is_symlink():
        place.unlink()
    if files:
        place.mkdir(exist_ok=True)
    for each in place.iterdir() if place.is_dir() else ():
        if is_file(each.name) and f"{FOLDER}/{each.name}" not in files:
            each.unlink()


def _refuse_another_s(folder: Path, simulated: bool) -> None:
    """Refuse a place that is no folder, or whose files of these names are no export of the same kind of register."""
    remedy = "name another folder, or replace them with --force"
    if not folder.is_dir():
        if said := odd_kind(folder) or (folder.exists() and "it is a file"):
            raise InputError.one(f"cannot be written into, {said}", "name a folder", where=str(folder), code="file")
        return
    there = [name for name in (*NAMES, TABLE) if os.path.lexists(folder / name)]
    if not there:
        return
    told = descriptor_of(folder)
    if told is None or told.get("name") not in TITLES.values():
        problem = f"holds {', '.join(there)} that no export of calib describes"
        raise InputError.one(problem, remedy, where=str(folder), code="exists")
    if told["name"] != TITLES[simulated]:
        kinds = ("simulated", "real") if not simulated else ("real", "simulated")
        problem = f"holds an export of {kinds[0]} units, and these are {kinds[1]}"
        raise InputError.one(problem, remedy, where=str(folder), code="kind")


def write_table(table: pd.DataFrame, file: TextIO) -> None:
    """Write a frame as CSV: shortest digits that read back the same, true and false, blank for missing.

    Text that a spreadsheet would take for a formula has an apostrophe before it, which `read_known` takes away.

    Parameters
    ----------
    table : pandas.DataFrame
        Such as `read_known` gives.
    file : text file
        Opened with newline="".
    """
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows(zip(*(_cells(table[name]) for name in table.columns), strict=True))


def descriptor(simulated: bool, licence: str = "", attached: Attached | None = None) -> dict[str, Any]:
    """What datapackage.json says: each table's columns with their types, units and limits (Data Package standard)."""
    own = [_described(facts) for facts in fields(KnownUnit)]
    about = "What was attached to the records, and taken off again."
    more = [_resource("attachments", about, list(map(_head, ATTACHED_HEADS)), None)] if attached else []
    origin = "Simulated for practice: no real unit was read. " if simulated else ""
    return {
        "profile": "data-package" if attached else "tabular-data-package",
        "name": TITLES[simulated],
        "title": "Simulated known units" if simulated else "Known units",
        "description": f"{origin}High-voltage windings of known rating, and every revision of their records.",
        **({"licenses": [_licence(licence)]} if licence else {}),
        "resources": [
            _resource("known", "The known units as they stand.", own, ["contributor", "unit"]),
            _resource("revisions", "Every revision of every record.", [*map(_head, HEADS), *own], None),
            *more,
            *(resources(attached.files) if attached else []),
        ],
    }


def _licence(said: str) -> dict[str, str]:
    """A licence as the standard has it: by its address, or by a name of letters and figures beside what was said."""
    if re.match(r"https?://", said):
        return {"path": said}
    return {"name": re.sub(r"[^-A-Za-z0-9._]+", "-", said).strip("-") or "other", "title": said}


def table_of_units(kind: type[Unit], name: str, about: str, key: list[str] | None) -> dict[str, Any]:
    """How a data package descriptor tells of one table of known or unknown units, kept in `name`.csv."""
    return _resource(name, about, [_described(facts) for facts in fields(kind)], key)


def _cells(column: pd.Series) -> list[str]:
    values = column.tolist()
    if column.dtype.kind == "f":
        return ["" if value != value else repr(value).removesuffix(".0") for value in values]
    if column.dtype.kind == "b":
        return ["true" if value else "false" for value in values]
    if column.dtype.kind == "M":
        return [value.isoformat().replace("+00:00", "Z") for value in values]
    return [text_cell(str(value)) for value in values]


def text_cell(text: str) -> str:
    """A text as a cell that no spreadsheet takes for a formula: an apostrophe before its first sign where it needs one.

    One that stands there already is doubled, so that whoever reads it can take one away: see `cells.text_in`.
    """
    return f"'{text}" if text.startswith(("'", *FOR_FORMULA)) else text


def _resource(name: str, about: str, own: list[dict[str, Any]], key: list[str] | None) -> dict[str, Any]:
    schema: dict[str, Any] = {"fields": own, "missingValues": [""]}
    if key:
        schema["primaryKey"] = key
    return {
        "profile": "tabular-data-resource",
        "name": name,
        "path": f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "description": about,
        "schema": schema,
    }


def _described(facts: FieldFacts) -> dict[str, Any]:
    kept: dict[str, Any] = {"name": facts.name, "type": "integer" if facts.whole else _KINDS[facts.kind]}
    kept |= {"title": facts.label, "description": facts.help}
    limits: dict[str, Any] = {"required": facts.needed}
    if facts.kind == "flag":
        kept |= {"trueValues": ["true"], "falseValues": ["false"]}
    elif facts.choices:
        limits["enum"] = list(facts.choices)
    if facts.most is not None:
        limits["maxLength"] = facts.most
    if facts.low is not None and facts.high is not None:
        limits |= {"minimum": facts.low, "maximum": facts.high}
        kept |= {"unit": facts.unit, "description": f"{facts.help} Limits: {facts.limits}."}
    return {**kept, "constraints": limits}


def _head(about: dict[str, Any]) -> dict[str, Any]:
    kept = {key: about[key] for key in ("name", "type", "description")}
    limits = {"required": not about.get("optional", False)} | ({"enum": about["enum"]} if "enum" in about else {})
    return {**kept, "constraints": limits}
