"""The normal equations from the sums of a pass."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.cells import BARE, Cells
from calib.fitting.effects import GRADE_NAMES
from calib.fitting.passes import SUMS, TERMS
from calib.fitting.prior import MAIN

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Equations:
    """What the records say of the coefficients, and of the scales.

    Attributes
    ----------
    precision : numpy.ndarray, shape (p, p)
        X' W X.
    pull : numpy.ndarray, shape (p,)
        X' W times the residuals.
    sound : float
        Sum of the odds of soundness.
    noise_slope, noise_information : numpy.ndarray, shape (2, 5)
        Slope and information of the log-likelihood in the ln of the noise by evidence grade: of the records with a
        core, and of those without.
    """

    precision: np.ndarray
    pull: np.ndarray
    sound: float
    noise_slope: np.ndarray
    noise_information: np.ndarray

    @classmethod
    def of(cls, sums: dict[int, pd.DataFrame], cells: Cells, step: float) -> Equations:
        """From the sums over each cell in steps, for each kind of record."""
        precision, pull = np.zeros((cells.layout.width,) * 2), np.zeros(cells.layout.width)
        rest = np.zeros((len(SUMS), 2, len(GRADE_NAMES)))
        columns = cells.columns()
        for kind, table in sums.items():
            place = np.searchsorted(cells.cell[cells.kind == kind], table["cell"].to_numpy())
            _add(precision, pull, table * step, columns[:, cells.kind == kind][:, place], TERMS[kind])
            grade = cells.parts[1][cells.kind == kind][place]
            for k, name in enumerate(SUMS):
                rest[k, int(kind == BARE)] += _by_column(grade, table[name].to_numpy() * step, len(GRADE_NAMES))
        upper = np.triu(precision)
        return cls(upper + np.triu(upper, 1).T, pull, float(rest[0].sum()), rest[1], rest[2])


def _add(
    precision: np.ndarray, pull: np.ndarray, table: pd.DataFrame, columns: np.ndarray, names: tuple[str, ...]
) -> None:
    """Add the sums of one kind to the upper half of the precision, and to the pull."""
    for one, other in combinations_with_replacement(names, 2):
        precision[MAIN.index(one), MAIN.index(other)] += table[f"{one} {other}"].sum()
    alike = {"one": ("weight", "pull"), **{name: (f"weight {name}", f"pull {name}") for name in names}}
    for name, (weight, drawn) in alike.items():
        row = MAIN.index(name)
        pull[row] += table[drawn].sum()
        precision[0, row] += table[weight].sum()
        for column in columns:
            precision[row] += _by_column(column, table[weight].to_numpy(), len(pull))
    for place, column in enumerate(columns):
        pull += _by_column(column, table["pull"].to_numpy(), len(pull))
        for other in columns[place:]:
            both = np.where((column >= 0) & (other >= 0), column * len(pull) + other, -1)
            precision += _by_column(both, table["weight"].to_numpy(), precision.size).reshape(precision.shape)


def _by_column(column: np.ndarray, values: np.ndarray, width: int) -> np.ndarray:
    """Sum of the values that belong to each column; -1 belongs to none."""
    return np.bincount(column[column >= 0], values[column >= 0], width)
