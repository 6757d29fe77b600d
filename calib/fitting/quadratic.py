"""What many records say near the end of the passes, as a quadratic form: solved at any scales without a further pass.

With so many records no odds change between one value of the scales and another; what changes is how far the deviations
of classes and contributors shrink, and that is in the prior alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve

from calib.fitting.effects import Layout, Scales
from calib.fitting.equations import Equations
from calib.fitting.mixture import Solution
from calib.fitting.prior import Prior
from calib.fitting.problem import scale_step


@dataclass(frozen=True)
class Quadratic:
    """The log-likelihood round a point, up to a constant.

    Attributes
    ----------
    equations : Equations
        Its slopes and information there.
    mean : numpy.ndarray, shape (p,)
        The coefficients there.
    scales : Scales
        The scales there.
    share : float
        Share of unsound records.
    layout, prior
        How the coefficients are laid out, and what is known of them beforehand.
    """

    equations: Equations
    mean: np.ndarray
    scales: Scales
    share: float
    layout: Layout
    prior: Prior

    def solve(self, scales: Scales, start: Solution | None = None) -> Solution:
        """Posterior at these scales, no record judged; the bound is that of the evidence but for a constant."""
        centre, precision = self.layout.prior(self.prior, scales)
        pull = precision @ (centre - self.mean) + self.equations.pull
        factor = np.linalg.cholesky(precision + self.equations.precision)
        covariance = cho_solve((factor, True), np.eye(len(pull)))
        move = covariance @ pull
        away = self.mean + move - centre
        fit = self.equations.pull @ move - 0.5 * move @ self.equations.precision @ move - 0.5 * away @ precision @ away
        bound = fit + 0.5 * np.linalg.slogdet(precision)[1] - np.log(np.diag(factor)).sum() + self._of_variance(scales)
        return Solution(self.mean + move, covariance, np.empty(0), np.empty((0, 0)), self.share, float(bound))

    def step(self, scales: Scales, solution: Solution) -> tuple[np.ndarray, np.ndarray]:
        """Slope and information of the log-likelihood in the ln of the scales."""
        slope, information = self._in_variance()
        slope = slope - information * self._change(scales) / 2
        return scale_step(self.layout, scales, solution, slope.sum(axis=0), information.sum(axis=0))

    def _in_variance(self) -> tuple[np.ndarray, np.ndarray]:
        """Twice the slope and four times the information in the variance, with a core and without, by grade."""
        noise = self.scales.noise**2
        return self.equations.noise_slope / noise, self.equations.noise_information / noise**2

    def _change(self, scales: Scales) -> np.ndarray:
        """Change of the records' variance; the class of one without a core is unknown."""
        noise = scales.noise**2 - self.scales.noise**2 + np.square(scales.grades) - np.square(self.scales.grades)
        return np.array([noise, noise + scales.size_class**2 - self.scales.size_class**2])

    def _of_variance(self, scales: Scales) -> float:
        """Change of the log-likelihood with the variance of the records."""
        slope, information = self._in_variance()
        change = self._change(scales)
        return float(np.sum(slope * change / 2 - information * change**2 / 8))
