"""The road to the fit of many records: pass after pass over one table, until little is left to come."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.fitting.cells import Cells
from calib.fitting.chains import Sides
from calib.fitting.effects import Scales, Unmeasured
from calib.fitting.equations import Equations
from calib.fitting.mixture import SHARE_PRIOR, Iteration
from calib.fitting.passes import Judge, step_for, summed
from calib.fitting.prior import MAIN, Prior
from calib.fitting.quadratic import Quadratic
from calib.fitting.scales import mode_of, scales_at

if TYPE_CHECKING:
    import ibis
    import pandas as pd

# What may be left to come when the passes end, of a coefficient in ln multiplier and of the noise in standard
# deviations of its prior; the rate at which movements are taken to die away before two are known, and the slowest.
REST, NOISE_REST, RATE, SLOWEST = 5e-4, 1e-2, 0.5, 0.9


@dataclass(frozen=True)
class State:
    """Where the passes stand.

    Attributes
    ----------
    mean, covariance : numpy.ndarray
        Of the coefficients.
    u : numpy.ndarray, shape (8,)
        The scales, in units of their prior's standard deviation.
    share : float
        Share of unsound records.
    """

    mean: np.ndarray
    covariance: np.ndarray
    u: np.ndarray
    share: float


@dataclass(frozen=True)
class Road:
    """Passes over one table of records.

    Attributes
    ----------
    rows : ibis.Table
        As passes.prepared gives it, held where the table lives.
    run : callable
        Runs an expression there, giving a data frame.
    cells : Cells
        The cells that occur there.
    sides, unmeasured, prior
        As in a Problem.
    """

    rows: ibis.Table
    run: Callable[[ibis.Table], pd.DataFrame]
    cells: Cells
    sides: Sides
    unmeasured: Unmeasured
    prior: Prior

    def scales(self, state: State) -> Scales:
        """The scales of a state."""
        return scales_at(state.u, self.prior.main)

    def equations(self, state: State) -> Equations:
        """One pass."""
        import ibis

        scales = self.scales(state)
        told = ibis.memtable(self.cells.told(state.mean, scales, self.unmeasured))
        step = step_for(int(self.cells.count.sum()))
        judge = Judge(state.mean[: len(MAIN)], state.share, scales.noise, step, self.sides, self.prior)
        kinds = [int(kind) for kind in np.unique(self.cells.kind)]
        sums = {kind: self.run(summed(self.rows, told, kind, judge)).sort_values("cell") for kind in kinds}
        return Equations.of(sums, self.cells, step)

    def quadratic(self, state: State) -> Quadratic:
        """What the records say round a state, by one pass."""
        layout = self.cells.layout
        return Quadratic(self.equations(state), state.mean, self.scales(state), state.share, layout, self.prior)

    def travelled(self, state: State, most: int) -> tuple[State, Quadratic, Iteration]:
        """The state when little is left to come, or after so many passes, the last pass, and how it ended.

        The movements of an expectation maximisation die away by a rate: the rest is a geometric series.
        """
        last, passes, converged = np.inf, 0, False
        while not converged and passes < most:
            passes += 1
            before, found = state, self.quadratic(state)
            u, solution, _ = mode_of(found, self.prior.main)
            state = State(solution.mean, solution.covariance, u, self.share(found.equations.sound))
            moved, noise = np.max(np.abs(state.mean - before.mean)), abs(u[0] - before.u[0])
            rate = min(moved / last, SLOWEST) if np.isfinite(last) else RATE
            converged = bool(moved * rate / (1 - rate) < REST and noise * rate / (1 - rate) < NOISE_REST)
            last = moved
        return state, found, Iteration("passes over the table", passes, most, converged)

    def share(self, sound: float) -> float:
        """Share of unsound records, given the sum of the odds of soundness."""
        count = float(self.cells.count.sum())
        return (SHARE_PRIOR[0] + count - sound) / (sum(SHARE_PRIOR) + count)
