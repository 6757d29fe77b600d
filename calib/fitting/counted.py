"""How many known units a fit went over, and of what: all of them, also where only a sample's rows are held."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from calib.fitting.rows import Facts


@dataclass(frozen=True)
class Counted:
    """Counts of the known units.

    Attributes
    ----------
    records : int
        All of them.
    simulated : bool
        Whether any is simulated.
    classes : mapping
        How many of each (size class, rectifier, filter) that occurs.
    """

    records: int
    simulated: bool
    classes: Mapping[tuple[str, str, str], int]

    @classmethod
    def of(cls, rows: Facts) -> Counted:
        """Of rows that are all there."""
        keys = zip(*(rows.frame[name] for name in ("size_class", "rectifier", "filter")), strict=True)
        return cls(len(rows), bool(rows.frame["simulated"].any()), Counter(keys))
