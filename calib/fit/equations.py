"""The normal equations from the sums of a pass."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING

import numpy as np

from calib.fit.cells import Cells
from calib.fit.passes import STEP, SUMS, TERMS
from calib.fit.prior import MAIN

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
    sound, noise_slope, noise_information : float
        Sum of the odds of soundness; slope and information of the log-likelihood in the ln of the noise.
    """

    precision: np.ndarray
    pull: np.ndarray
    sound: float
    noise_slope: float
    noise_information: float

    @classmethod
    def of(cls, sums: dict[int, pd.DataFrame], cells: Cells) -> Equations:
        """From the sums over each cell, for each kind of record."""
        precision, pull = np.zeros((cells.layout.width,) * 2), np.zeros(cells.layout.width)
        rest = np.zeros(len(SUMS))
        columns = cells.columns()
        for kind, table in sums.items():
            place = np.searchsorted(cells.cell[cells.kind == kind], table["cell"].to_numpy())
            _add(precision, pull, table, columns[:, cells.kind == kind][:, place], TERMS[kind])
            rest += [_total(table[name].to_numpy()) for name in SUMS]
        upper = np.triu(precision)
        return cls(upper + np.triu(upper, 1).T, pull, *(float(value) for value in rest))


def _add(
    precision: np.ndarray, pull: np.ndarray, table: pd.DataFrame, columns: np.ndarray, names: tuple[str, ...]
) -> None:
    """Add the sums of one kind to the upper half of the precision, and to the pull."""
    for one, other in combinations_with_replacement(names, 2):
        precision[MAIN.index(one), MAIN.index(other)] += _total(table[f"{one} {other}"].to_numpy())
    alike = {"one": ("weight", "pull"), **{name: (f"weight {name}", f"pull {name}") for name in names}}
    for name, (weight, drawn) in alike.items():
        pull[MAIN.index(name)] += _total(table[drawn].to_numpy())
        precision[0, MAIN.index(name)] += _total(table[weight].to_numpy())
        for column in columns:
            seen = column >= 0
            values = table[weight].to_numpy()[seen] * STEP
            np.add.at(precision, (MAIN.index(name), column[seen]), values)
    weight, drawn = table["weight"].to_numpy() * STEP, table["pull"].to_numpy() * STEP
    for one, column in enumerate(columns):
        seen = column >= 0
        np.add.at(pull, column[seen], drawn[seen])
        for other in columns[one:]:
            both = seen & (other >= 0)
            np.add.at(precision, (column[both], other[both]), weight[both])


def _total(whole: np.ndarray) -> float:
    return float(whole.sum() * STEP)
