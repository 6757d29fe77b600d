"""Bundles made by hand: their tables row by row, their hashes right."""

from __future__ import annotations

import csv
import io
import json

from calib.register.bundle import HEADS
from calib.register.package import descriptor
from calib.register.records import KnownUnit, columns, record_id
from calib.register.tables import sha256_of
from tests.register.conftest import TYPED

CELLS = columns(KnownUnit)
OWN = [str(one["name"]) for one in HEADS]


def revision(unit: str, number: int, **changed: str) -> dict[str, str]:
    """A row of revisions.csv; what is changed is of the record, or of what is noted of it."""
    row = dict.fromkeys((*OWN, *CELLS), "") | TYPED | {"unit": unit, "simulated": "false"}
    row |= {"revision": str(number), "action": "add" if number == 1 else "amend", "needs_review": "false"}
    row |= {"made_at": f"2024-03-0{min(number, 9)}T10:00:00Z"} | changed
    return row | {"record_id": changed.get("record_id", record_id(row["contributor"], row["unit"]))}


def packed(rows: list[dict[str, str]], known: list[dict[str, str]]) -> dict[str, bytes]:
    """The three files of a bundle, their hashes right."""
    files = {"known.csv": csv_of([*CELLS], known), "revisions.csv": csv_of([*OWN, *CELLS], rows)}
    told = descriptor(False, "CC0-1.0")
    for one in told["resources"]:
        one["hash"] = f"sha256:{sha256_of(files[one['path']])}"
    return files | {"datapackage.json": json.dumps(told).encode()}


def csv_of(names: list[str], rows: list[dict[str, str]], mark: str = ",") -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=mark, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([row.get(name, "") for name in names] for row in rows)
    return text.getvalue().encode("utf-8", "surrogatepass")
