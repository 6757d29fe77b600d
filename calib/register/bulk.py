"""Large tables of known units: the database finds the rows that are plainly right, and only the others are looked at.

A row is plainly right where every cell is as the contract writes it and within the limits, which are compiled to SQL
from the one definition of the fields, where no rule between its fields speaks, and where no other row has its tag. All
others go, with their lines, through the check that every row of a smaller table goes through: a fault reads the same.
"""

from __future__ import annotations

import mmap
import os
import stat
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import Fault, InputError
from calib.register import improbable, revisions
from calib.register.fields import BLANK_WORDS, LONGEST_NAME, FieldFacts
from calib.register.gate import engine
from calib.register.records import HALVES, READ_BY_RULES, KnownUnit, columns, contradictions, fields
from calib.register.revisions import RECORDS, SIGNED, ImportReport, brought
from calib.register.tables import (
    DESCRIPTOR,
    Source,
    faults_of_header,
    headed,
    is_piped,
    lines_of,
    refuse_mixture,
    table_of,
)

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

LARGE = 16 << 20  # bytes, from which on a file is read so
ROW_BY_ROW = 64 << 20  # bytes, up to which one with faults may be a spreadsheet's, which takes fifteen times its memory
MOST_PATTERNS = 40  # of fields that do not go together, beyond which every row is looked at
CHUNK = 100_000  # rows that are looked through at a time for what is improbable
SLICE = 200_000  # rows that a statement inserts
_NONE_BEFORE = "0 AS was, false AS gone, '' AS differs"
_KINDS = {"number": "DOUBLE", "flag": "BOOLEAN", "date": "DATE"}
# Text that is kept as it stands: letters, marks, figures, signs and single blanks between them.
_PLAIN_TEXT = r"[\p{L}\p{M}\p{N}\p{P}\p{S}]([\p{L}\p{M}\p{N}\p{P}\p{S} ]*[\p{L}\p{M}\p{N}\p{P}\p{S}])?"


@dataclass(frozen=True)
class Large:
    """A large table of known units that was read and is sound.

    Attributes
    ----------
    rows : pyarrow.Table
        The columns that the file has, of the register's types, with record_id; in the file's order.
    others : pandas.DataFrame
        The rows that were looked at singly, as `read_known` gives them; their notes are in its attrs.
    improbable : tuple of str
        As ``attrs["improbable"]`` of `read_known` has it.
    """

    rows: Any
    others: pd.DataFrame
    improbable: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.rows) + len(self.others)

    @property
    def named(self) -> pd.DataFrame:
        """Whose the records are, and what stands against them."""
        return self._some({"contributor": "", "unit": "", "stop": "", "stop_cleared": ""})

    @property
    def kinds(self) -> pd.DataFrame:
        """Whether each record is simulated."""
        return self._some({"simulated": False})

    def _some(self, asked: dict[str, Any]) -> pd.DataFrame:
        """Some columns of all rows, each with what is blank in it."""
        import pandas as pd

        there = self.rows.select([name for name in asked if name in self.rows.column_names]).to_pandas()
        made = {name: there[name].fillna(blank) if name in there else blank for name, blank in asked.items()}
        whole = pd.DataFrame(made, index=range(len(self.rows)))
        return pd.concat([whole, self.others[list(asked)]], ignore_index=True) if len(self.others) else whole


def read_large(source: Source, where: str = "") -> Large | None:
    """Read and check a large table of known units.

    Parameters
    ----------
    source : path or open binary file
        As for `read_known`.
    where : str
        What the faults call the file; its path where blank.

    Returns
    -------
    Large or None
        None where the file is not large, or is to be read as a smaller one is: it is none of the contract's, what is
        wrong with it is no row's, or it has faults and is not so large that a spreadsheet cannot have written it.

    Raises
    ------
    InputError
        With the faults of its rows, as `read_known` has them.
    """
    import duckdb

    if not isinstance(source, str | os.PathLike) or is_piped(source):
        return None
    path, where = Path(source), where or str(source)
    try:
        told = path.stat()
        if not stat.S_ISREG(told.st_mode) or told.st_size < LARGE:
            return None
        names = _plain_header(path, where)
        if names is None:
            return None
        if (path.parent / DESCRIPTOR).exists():
            with open(path, "rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
                refuse_mixture(path, content)
        with tempfile.TemporaryDirectory() as place, closing(engine()) as con:
            alias = Path(place) / "table.csv"  # a name in which nothing stands for several files
            alias.symlink_to(path.resolve())
            _see(con, alias, names)
            return _read(con, path, where, names)
    except InputError:
        if told.st_size <= ROW_BY_ROW:
            return None
        raise
    except (OSError, UnicodeDecodeError, duckdb.Error, _NotSo):
        return None


class _NotSo(Exception):
    """The file is to be read as a smaller one is."""


def _plain_header(path: Path, where: str) -> list[str] | None:
    """The names in a header that is the contract's to the letter and stands in the first line; None for another."""
    with open(path, encoding="utf-8-sig", newline="") as file:
        head = file.readline(1 << 16).rstrip("\r\n")
    if not head.strip() or '"' in head:
        return None
    try:
        row, names, _ = headed(head, where, "")
        faults, _ = faults_of_header(KnownUnit, names, where, row)
    except InputError:
        return None
    return None if faults or set(names) - {*columns(KnownUnit)} else names


def _see(con: duckdb.DuckDBPyConnection, path: Path, names: Sequence[str]) -> None:
    """Let statements read the file as `seen`: its cells as text, blank as NULL, rows with nothing in them left out."""
    told = ", ".join(f"'{name}': 'VARCHAR'" for name in names)
    quoted = str(path).replace("'", "''")
    filled = " OR ".join(f"nullif(trim(\"{name}\"), '') IS NOT NULL" for name in names)
    con.execute(f"""
        CREATE TEMP VIEW seen AS SELECT * FROM read_csv('{quoted}', columns = {{{told}}}, auto_detect = false,
            header = true, delim = ',', quote = '"', escape = '"', nullstr = '', strict_mode = true,
            max_line_size = {16 << 20}) WHERE {filled}
    """)


def _read(con: duckdb.DuckDBPyConnection, path: Path, where: str, names: Sequence[str]) -> Large:
    facts = [one for one in fields(KnownUnit) if one.name in names]
    doubt = " OR ".join([*map(_doubt, facts), *_contradicted(con, facts)])
    tag = "hash(contributor, unit)"  # of two tags with one hash both are looked at
    asked = f"SELECT count(*), count(*) FILTER ({doubt}), count(DISTINCT {tag}) FROM seen"
    ((count, odd, tags),) = con.execute(asked).fetchall()
    again = odd > 0 or tags < count
    twice = f"{tag} IN (SELECT {tag} FROM seen GROUP BY ALL HAVING count(*) > 1)"
    doubt = f"{doubt} OR coalesce({twice}, true)" if again else doubt
    places = np.zeros(0, dtype=np.int64)
    if again:
        numbered = f"SELECT row_number() OVER () - 1 AS place, {doubt} AS odd FROM seen"
        found = con.execute(f"SELECT place FROM ({numbered}) WHERE odd ORDER BY place").fetchnumpy()
        places = np.asarray(found["place"], dtype=np.int64)
    lines = _Lines(path, where, count)
    others = table_of(KnownUnit, where, 1, list(names), lines.at(places))
    plainly = f"WHERE NOT ({doubt})" if len(places) else ""
    rows: Any = con.sql(f"SELECT {_typed(facts)} FROM seen {plainly}").to_arrow_reader(CHUNK).read_all()
    if len(rows) + len(places) != count or _clash(con, rows, others):
        raise _NotSo
    plain = np.setdiff1d(np.arange(count), places, assume_unique=True) if len(places) else None
    unlikely = improbable.told_in_parts(_parts(rows), where, lambda row: lines.of(row if plain is None else plain[row]))
    return Large(rows, others, (*unlikely, *others.attrs["improbable"]))


def _doubt(facts: FieldFacts) -> str:
    """SQL that is true, never NULL, of a cell that is not plainly right."""
    cell = f'"{facts.name}"'
    if facts.name in HALVES:
        return f"{cell} IS NOT NULL"
    if facts.kind == "number":
        number, sign = f"TRY_CAST({cell} AS DOUBLE)", ">" if facts.low_excluded else ">="
        sound = f"{number} {sign} {facts.low!r} AND {number} <= {facts.high!r} AND NOT contains({cell}, '_')"
        sound += f" AND {number} % 1 = 0" if facts.whole else ""
    elif facts.kind == "flag":
        sound = f"lower({cell}) IN ('true', 'false')"
    elif facts.choices:
        sound = f"{cell} IN ({', '.join(map(repr, facts.choices))})"
    elif facts.kind == "date":
        sound = rf"regexp_full_match({cell}, '\d{{4}}-\d{{2}}-\d{{2}}') AND TRY_CAST({cell} AS DATE) IS NOT NULL"
    else:
        words = ", ".join(map(repr, sorted(BLANK_WORDS)))
        sound = f"regexp_full_match({cell}, '{_PLAIN_TEXT}') AND {cell}[1] <> '''' AND {cell} NOT IN ({words})"
        sound += f" AND (NOT regexp_matches({cell}, '[^ -~]') OR nfc_normalize({cell}) = {cell})"
        sound += f" AND length({cell}) <= {LONGEST_NAME}" if facts.most is not None else ""
    blank = "false" if facts.needed else "true"
    return f"NOT coalesce({sound}, {cell} IS NULL AND {blank})"


def _contradicted(con: duckdb.DuckDBPyConnection, facts: Sequence[FieldFacts]) -> Iterator[str]:
    """SQL of each pattern of filled fields, among those that the table has, in which some do not go together."""
    seen = [f'lower("{one.name}")' if one.name in READ_BY_RULES else f'("{one.name}" IS NOT NULL)' for one in facts]
    bad = 0
    for pattern in con.execute(f"SELECT DISTINCT {', '.join(seen)} FROM seen").fetchall():
        given = {
            one.name: value == "true" if one.kind == "flag" and value is not True else value
            for one, value in zip(facts, pattern, strict=True)
            if value not in (None, False)
        }
        if contradictions(given, KnownUnit):
            bad += 1
            if bad > MOST_PATTERNS:
                raise _NotSo
            yield (
                "("
                + " AND ".join(
                    f"{what} IS NOT DISTINCT FROM {_literal(value)}" for what, value in zip(seen, pattern, strict=True)
                )
                + ")"
            )


def _literal(value: object) -> str:
    if value is None or isinstance(value, bool):
        return "NULL" if value is None else str(value).lower()
    return "'" + str(value).replace("'", "''") + "'"


def _typed(facts: Sequence[FieldFacts]) -> str:
    """SQL of a plain row's columns, of the register's types, with what identifies its record."""
    own = (f'CAST("{one.name}" AS {_KINDS.get(one.kind, "VARCHAR")}) AS "{one.name}"' for one in facts)
    identity = "substr(sha256(length(contributor) || ':' || contributor || unit), 1, 32) AS record_id"
    return ", ".join([identity, *own])


def _clash(con: duckdb.DuckDBPyConnection, rows: Any, others: pd.DataFrame) -> bool:
    """Whether a row that was looked at singly came to the tag of a plain one."""
    if others.empty:
        return False
    con.register("plainly", rows)
    con.register("singly", others[["contributor", "unit"]])
    asked = "SELECT count(*) FROM plainly SEMI JOIN singly USING (contributor, unit)"
    ((found,),) = con.execute(asked).fetchall()
    return bool(found)


def _parts(rows: Any) -> Iterator[pd.DataFrame]:
    """What is asked whether it is improbable, some rows at a time."""
    asked = {one.name for one in fields(KnownUnit) if one.kind == "number" or one.choices} | {"unit"}
    rows = rows.select([name for name in rows.column_names if name in asked])
    for start in range(0, len(rows), CHUNK):
        yield rows.slice(start, CHUNK).to_pandas()


class _Lines:
    """The lines of a file by the places of its rows; the file is read again where some are asked for."""

    def __init__(self, path: Path, where: str, count: int) -> None:
        self._path, self._where, self._count = path, where, count
        self._plain: bool | None = None

    def at(self, places: np.ndarray) -> Iterator[Any]:
        """The rows at some places, in order, each with its line."""
        if not len(places):
            return
        wanted = set(places.tolist())
        number = -1
        for number, line in enumerate(self._all()):
            if number in wanted:
                yield line
        if number + 1 != self._count:
            raise _NotSo  # the database took other rows apart

    def of(self, place: int) -> int:
        """The line of one row."""
        if self._plain is None:
            with open(self._path, "rb") as file:
                ends = sum(block.count(b"\n") for block in iter(lambda: file.read(1 << 20), b""))
            self._plain = (
                self._count <= ends <= self._count + 1
            )  # then each row is one line, but perhaps the last's end
        if self._plain:
            return int(place) + 2
        return next(line for number, (line, _) in enumerate(self._all()) if number == place)

    def _all(self) -> Iterator[tuple[int, list[str] | Fault]]:
        with open(self._path, encoding="utf-8-sig", newline="") as file:
            lines = lines_of(file, self._where)
            next(lines)
            yield from lines


def bring(con: duckdb.DuckDBPyConnection, large: Large, by: str, reason: str) -> ImportReport:
    """Add the records of a large table, inside the caller's transaction, as `revisions.bring` does."""
    ((before,),) = con.execute("SELECT count(*) FROM revisions").fetchall()
    found = [revisions.bring(con, large.others, by, reason)]
    now = datetime.now(UTC).replace(tzinfo=None)
    for start in range(0, len(large.rows), SLICE):  # a statement keeps all that it inserts in memory until its end
        rows = large.rows.slice(start, SLICE)
        with brought(con, rows):
            state = RECORDS.state(_records(rows)) if before else f"SELECT *, {_NONE_BEFORE} FROM ({_records(rows)})"
            found.append(_bring(con, state, [by or None, reason or None, now]))
    added, unchanged, revised = (sum(getattr(one, name) for one in found) for name in ("added", "unchanged", "revised"))
    told = (*large.improbable, *large.others.attrs["notes"], *(note for one in found for note in one.notes))
    return ImportReport(added, unchanged, revised, told)


def _bring(con: duckdb.DuckDBPyConnection, state: str, noted: list[object]) -> ImportReport:
    changed = "was > 0 AND (gone OR differs <> '')"
    asked = f"SELECT count(*) FILTER (was = 0), count(*) FILTER (was > 0 AND NOT ({changed})) FROM ({state})"
    ((added, unchanged),) = con.execute(asked).fetchall()
    listed = f"SELECT contributor, unit, was, gone, differs FROM ({state}) WHERE {changed} ORDER BY ALL"
    notes = [revisions.revised(*one) for one in con.execute(listed).fetchall()]
    heads = 'CAST(was + 1 AS INTEGER) AS revision, \'add\' AS "action", $1 AS "by", $2 AS reason, $3 AS made_at'
    whose = con.execute(f"SELECT DISTINCT contributor FROM ({state}) WHERE was = 0 OR {changed}").fetchall()
    revisions.refuse_foreign(con, [one for (one,) in whose])
    made = f"* EXCLUDE (one, was, gone, differs), {heads}, was > 0 AS needs_review, {SIGNED}"
    con.execute(f"INSERT INTO revisions BY NAME SELECT {made} FROM ({state}) WHERE was = 0 OR {changed}", noted)
    return ImportReport(added, unchanged, len(notes), tuple(notes))


def holds(con: duckdb.DuckDBPyConnection, large: Large) -> bool:
    """Whether every record of a large table stands in the register word for word."""
    with brought(con, large.rows):
        asked = f"SELECT count(*) FROM ({RECORDS.state(_records(large.rows))}) WHERE was = 0 OR gone OR differs <> ''"
        ((other,),) = con.execute(asked).fetchall()
    return not other and (large.others.empty or revisions.holds(con, large.others))


def _records(rows: Any) -> str:
    """SQL of the rows that are brought as records, the columns that their file lacks blank."""
    absent = [one for one in fields(KnownUnit) if one.name not in rows.column_names]
    blank = ", ".join(f'{"false" if one.kind == "flag" else "NULL"} AS "{one.name}"' for one in absent)
    simulated = "" if "simulated" not in rows.column_names else " REPLACE (coalesce(simulated, false) AS simulated)"
    return RECORDS.typed("1 AS one", f"(SELECT *{simulated}{', ' if blank else ''}{blank} FROM brought)")
