"""The user's own meters: what is said of one range of one, and its revisions in an open register."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import BaseModel, ConfigDict, model_validator

from calib.bench.uncertainty import MeterClass
from calib.errors import InputError
from calib.register.fields import (
    METER,
    FieldFacts,
    Name,
    OneLine,
    Reads,
    as_number,
    of,
    trimmed,
)
from calib.register.records import Contradiction, Contradictions, parsed
from calib.register.trouble import ENTER_AGAIN, AlteredError

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

COLUMNS = tuple(facts.name for facts in METER)
_PLACE = "name, reads, range_label"


class Meter(BaseModel):
    """One range of one of the user's own meters, for one quantity, with its stated limits of error.

    A meter of several ranges is several of these under one name. A pointer meter has no per cent of reading; its per
    cent of full scale counts in hundredths of the scale: resolution a hundredth of full scale, counts that per cent.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)

    name: Name
    reads: Annotated[Reads, trimmed]
    range_label: OneLine = ""
    percent: Annotated[float, of("percent"), as_number]
    counts: Annotated[float, of("counts"), as_number]
    resolution: Annotated[float, of("resolution"), as_number]

    @model_validator(mode="after")
    def _errs(self) -> Self:
        if self.percent == 0.0 and self.counts == 0.0:
            remedy = "copy both figures, ±(% of reading + counts), from the meter's data"
            raise Contradictions([Contradiction("counts", "no meter is without error", remedy, "improbable")])
        return self

    @classmethod
    def parse(cls, values: Mapping[str, object], where: str = "") -> Self:
        """Make a meter of values as typed, or raise `InputError` with everything that is wrong with them."""
        return parsed(cls, meter_fields(), values, where)

    @property
    def accuracy(self) -> MeterClass:
        """Its limits of error, as the bench functions take them."""
        return MeterClass(self.percent, self.counts, self.resolution)

    @property
    def label(self) -> str:
        """Its name and range, as a list of meters shows them."""
        return f"{self.name}, {self.range_label}" if self.range_label else self.name


@cache
def meter_fields() -> tuple[FieldFacts, ...]:
    """The facts of a meter's fields, in their order."""
    return tuple(replace(facts, needed=Meter.model_fields[facts.name].is_required()) for facts in METER)


def meter_id(name: str, reads: str, range_label: str) -> str:
    """Hash of what identifies a meter's range, the same on every machine."""
    return hashlib.sha256(f"{len(name)}:{name}{reads}:{range_label}".encode()).hexdigest()[:32]


def keep(con: duckdb.DuckDBPyConnection, meter: Meter) -> bool:
    """Add a meter, or a later revision of one that differs, inside the caller's transaction.

    Returns
    -------
    bool
        Whether anything was written: the same again is not.
    """
    identity = meter_id(meter.name, meter.reads, meter.range_label)
    last = _last(con, identity)
    figures = [meter.percent, meter.counts, meter.resolution]
    if last is not None and last[1] == "keep" and list(last[2:]) == figures:
        return False
    _append(con, [identity, last[0] + 1 if last else 1, "keep", meter.name, meter.reads, meter.range_label, *figures])
    return True


def drop(con: duckdb.DuckDBPyConnection, name: str, reads: str, range_label: str) -> None:
    """Take a meter off the list; its revisions stay.

    Raises
    ------
    InputError
        The list has no such meter.
    """
    identity = meter_id(name, reads, range_label)
    last = _last(con, identity)
    if last is None or last[1] != "keep":
        problem = f"the register has no such meter for {reads}s, range '{range_label}'"
        raise InputError.one(
            problem, "look its name and range up among the meters", column="name", value=name, code="not-found"
        )
    _append(con, [identity, last[0] + 1, "drop", name, reads, range_label, *last[2:]])


def current(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The meters as they stand, by name and quantity, the finest range first.

    Raises
    ------
    AlteredError
        One is not as `keep` would have kept it.
    """
    table = _standing(con)
    if fault := next(_faults_in(table), ""):
        raise AlteredError(f"{fault}; {ENTER_AGAIN}")
    return _timed(table, "kept_at")


def faults_of(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    """What is wrong with the meters as they stand in a register, by what the form holds them to."""
    return _faults_in(_standing(con))


def _faults_in(table: pd.DataFrame) -> Iterator[str]:
    for row in table[list(COLUMNS)].to_dict("records"):
        try:
            Meter.parse({str(name): value for name, value in row.items()})
        except InputError as error:
            fault = error.faults[0]
            value = f" '{fault.value}'" if fault.value else ""
            yield f"meter {row['name']}: {fault.column}{value} {fault.problem}"


def history(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Every revision of every meter, the oldest first."""
    names = ", ".join(COLUMNS)
    asked = f'SELECT meter_id, revision, "action", made_at, {names} FROM meter_revisions'
    return _timed(con.execute(f"{asked} ORDER BY made_at, {_PLACE}, revision").df(), "made_at")


def _standing(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    names = ", ".join(COLUMNS)
    asked = f"SELECT {names}, revision, made_at AS kept_at FROM latest_meters WHERE \"action\" = 'keep'"
    return con.execute(f"{asked} ORDER BY name, reads, resolution, range_label").df()


def _last(con: duckdb.DuckDBPyConnection, identity: str) -> tuple[int, str, float, float, float] | None:
    asked = 'SELECT revision, "action", percent, counts, resolution FROM latest_meters WHERE meter_id = $1'
    found: tuple[int, str, float, float, float] | None = con.execute(asked, [identity]).fetchone()
    return found


def _append(con: duckdb.DuckDBPyConnection, row: list[object]) -> None:
    columns = f'meter_id, revision, "action", {", ".join(COLUMNS)}, made_at'
    marks = ", ".join("?" * (len(row) + 1))
    con.execute(
        f"INSERT INTO meter_revisions ({columns}) VALUES ({marks})", [*row, datetime.now(UTC).replace(tzinfo=None)]
    )


def _timed(table: pd.DataFrame, column: str) -> pd.DataFrame:
    return table.assign(**{column: table[column].dt.tz_localize("UTC")})
