"""Records as a data frame, the same whether they come from a file or from the register."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from calib.register.records import Unit, columns, fields

if TYPE_CHECKING:
    import pandas as pd


Kind = TypeVar("Kind", bound=Unit)


def frame_of(kind: type[Unit], records: Iterable[Unit]) -> pd.DataFrame:
    """A row for each record: numbers float64 with NaN where blank, flags bool, all else str with "" where blank."""
    import pandas as pd

    rows = [record.__dict__ for record in records]
    return settled(kind, pd.DataFrame({name: [row[name] for row in rows] for name in columns(kind)}, dtype=object))


def settled(kind: type[Unit], table: pd.DataFrame) -> pd.DataFrame:
    """The fields of a table in their order and of their types, other columns after them as they are."""
    import pandas as pd

    made: dict[str, Any] = {}
    for facts in fields(kind):
        column = table[facts.name]
        if facts.kind == "number":
            made[facts.name] = column.astype("float64")
        elif facts.kind == "flag":
            made[facts.name] = column.astype("bool")
        else:
            made[facts.name] = text_of(column)
    rest = {name: table[name] for name in table.columns if name not in made}
    return pd.DataFrame({**made, **rest})


def text_of(column: pd.Series) -> pd.Series:
    """A column as text, "" where it is blank."""
    return column.astype("str").mask(column.isna(), "")


def record_of(kind: type[Kind], row: Mapping[str, object]) -> Kind:
    """The record that a row of such a frame holds; columns that are no fields are passed over."""
    return kind.parse({name: row[name] for name in columns(kind) if name in row})
