"""Tables out: CSV with full digits, and a data package descriptor that says what the columns are."""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from calib.errors import CannotError
from calib.register.facts import FieldFacts
from calib.register.records import KnownUnit, Unit, fields

if TYPE_CHECKING:
    import pandas as pd

_KINDS = {"text": "string", "choice": "string", "number": "number", "flag": "boolean", "date": "date"}
_HEADS: tuple[dict[str, Any], ...] = (
    {"name": "record_id", "type": "string", "description": "Hash of contributor and unit."},
    {"name": "revision", "type": "integer", "description": "1 for the first of a record, and on."},
    {"name": "action", "type": "string", "description": "What was done.", "enum": ["add", "amend", "withdraw"]},
    {"name": "by", "type": "string", "description": "Who did it.", "optional": True},
    {"name": "reason", "type": "string", "description": "Why.", "optional": True},
    {"name": "made_at", "type": "datetime", "description": "When it was done, in UTC."},
    {"name": "needs_review", "type": "boolean", "description": "Whether somebody should look at it."},
)


def write_package(folder: Path, known: pd.DataFrame, revisions: pd.DataFrame, simulated: bool) -> tuple[Path, ...]:
    """Write known.csv, revisions.csv and datapackage.json; files of those names are replaced.

    Parameters
    ----------
    folder : Path
        Where they go; made where it is missing.
    known, revisions : pandas.DataFrame
        As the register gives them.
    simulated : bool
        Whether the records were made up for practice, which the descriptor then says.

    Returns
    -------
    tuple of Path
        The three files.

    Raises
    ------
    CannotError
        They cannot be written there.
    """
    written: list[tuple[str, Callable[[TextIO], None]]] = [
        ("known.csv", lambda file: write_table(known, file)),
        ("revisions.csv", lambda file: write_table(revisions, file)),
        ("datapackage.json", lambda file: json.dump(descriptor(simulated), file, ensure_ascii=False, indent=2)),
    ]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, write in written:
            new = folder / f".{name}.new"
            with open(new, "w", encoding="utf-8", newline="") as file:
                write(file)
            os.replace(new, folder / name)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise CannotError(f"{folder}: the tables cannot be written there, {why}") from error
    return tuple(folder / name for name, _ in written)


def write_table(table: pd.DataFrame, file: TextIO) -> None:
    """Write a frame as CSV: shortest digits that read back the same, true and false, blank for missing.

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


def descriptor(simulated: bool) -> dict[str, Any]:
    """What datapackage.json says: each table's columns with their types, units and limits (Data Package standard)."""
    own = [_described(facts) for facts in fields(KnownUnit)]
    origin = "Simulated for practice: no real unit was read. " if simulated else ""
    return {
        "profile": "tabular-data-package",
        "name": "simulated-known-units" if simulated else "known-units",
        "title": "Simulated known units" if simulated else "Known units",
        "description": f"{origin}High-voltage windings of known rating, and every revision of their records.",
        "resources": [
            _resource("known", "The known units as they stand.", own, ["contributor", "unit"]),
            _resource("revisions", "Every revision of every record.", [*map(_head, _HEADS), *own], None),
        ],
    }


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
    return [str(value) for value in values]


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
    kept: dict[str, Any] = {"name": facts.name, "type": _KINDS[facts.kind]}
    kept |= {"title": facts.label, "description": facts.help}
    limits: dict[str, Any] = {"required": facts.needed}
    if facts.kind == "flag":
        kept |= {"trueValues": ["true"], "falseValues": ["false"]}
    elif facts.choices:
        limits["enum"] = list(facts.choices)
    if facts.low is not None and facts.high is not None:
        limits |= {"minimum": facts.low, "maximum": facts.high}
        kept |= {"unit": facts.unit, "description": f"{facts.help} Limits: {facts.limits}."}
    return {**kept, "constraints": limits}


def _head(about: dict[str, Any]) -> dict[str, Any]:
    kept = {key: about[key] for key in ("name", "type", "description")}
    limits = {"required": not about.get("optional", False)} | ({"enum": about["enum"]} if "enum" in about else {})
    return {**kept, "constraints": limits}
