"""Cells: contributor, evidence, supply and size class of a record in one number, and what a pass is told of each."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS
from calib.fitting.doubts import NAMES, SWAP_NAME, movements
from calib.fitting.effects import GRADE_NAMES, Layout, Scales, Unmeasured
from calib.fitting.facts_expression import LN_FORM
from calib.fitting.rows import PAIRS

if TYPE_CHECKING:
    import pandas as pd

BARE, CORED, WIRED = range(3)  # what is known of a record beside V/R: nothing, the core, the core and the wire
SIZES = len(SIZE_CLASS_LABELS) + 1  # 0 stands for no core


def cell_of(code: Any, grade: Any, pair: Any, size: Any) -> Any:
    """Number of a cell: of arrays or of columns of a table."""
    return ((code * len(GRADE_NAMES) + grade) * len(PAIRS) + pair) * SIZES + size


@dataclass(frozen=True)
class Cells:
    """The cells that occur, each with one kind of record.

    Attributes
    ----------
    cell, kind, count : numpy.ndarray of int, shape (c,)
        Number, kind and records of each; sorted by kind, then by number.
    layout : Layout
        Its contributors are the codes; a code beyond them is a record without a contributor.
    """

    cell: np.ndarray
    kind: np.ndarray
    count: np.ndarray
    layout: Layout

    @property
    def parts(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Contributor, grade, pair and size of each cell."""
        rest, size = np.divmod(self.cell, SIZES)
        rest, pair = np.divmod(rest, len(PAIRS))
        return *np.divmod(rest, len(GRADE_NAMES)), pair, size

    def columns(self) -> np.ndarray:
        """Columns of the design that are 1 in each cell, shape (4, c): supply, evidence, class, contributor; or -1."""
        code, grade, pair, size = self.parts
        starts = self.layout.starts
        return np.array(
            [
                starts["supply"] + pair,
                starts["evidence"] + grade,
                np.where(size > 0, starts["class"] + size - 1, -1),
                np.where(code < len(self.layout.contributors), starts["contributor"] + code, -1),
            ]
        )

    def told(self, mean: np.ndarray, scales: Scales, unmeasured: Unmeasured) -> pd.DataFrame:
        """What a pass is told of each cell, by the coefficients and the scales: see passes.summed."""
        import pandas as pd

        _, grade, pair, size = self.parts
        columns = self.columns()
        offset = np.where(columns >= 0, mean[columns], 0.0).sum(axis=0) - LN_FORM[pair]
        variance = scales.noise**2 + np.square(scales.grades)[grade]
        variance += np.where(self.kind == WIRED, 0.0, unmeasured.wire)
        variance += np.where(self.kind == BARE, unmeasured.core + scales.size_class**2, 0.0)
        swap = movements(np.arange(len(PAIRS)))[2][:, NAMES.index(SWAP_NAME)]
        return pd.DataFrame(
            {"cell": self.cell, "kind": self.kind, "offset": offset, "variance": variance, "swap": swap[pair]}
        )

    def classes(self) -> dict[tuple[str, str, str], int]:
        """Records of each (size class, rectifier, filter)."""
        _, _, pair, size = self.parts
        found: Counter[tuple[str, str, str]] = Counter()
        for one, place, count in zip(pair, size, self.count, strict=True):
            found[("", *SIZE_CLASS_LABELS)[place], *PAIRS[one]] += int(count)
        return dict(found)
