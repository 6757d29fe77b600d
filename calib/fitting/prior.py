"""The prior: what first principles say before any record, regressed over many populations and widened.

The shipped prior.json is all that the fit reads; ``python -m calib.fitting.simulate.design_model`` draws it anew (its
`about` names modules by earlier names: its bytes are part of every fit's hash, and stay). Three regressions are of one
draw on what a bench knows of it, and one more says what V/R can be at all:

core:  ln area on frequency, V/R and voltage          (what a core must be, where none was measured)
wire:  ln wire area on core, frequency, V/R, voltage  (what the gauge must be; it also betrays a slip in V or R)
main:  ln(k m) on core, frequency, V/R, voltage and the wire's departure from that regression
ratio: ln V/R on frequency and voltage                (broad: small units and large ones)
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

FILE = Path(__file__).with_name("prior.json")
MAIN = ("one", "core", "frequency", "v_over_r", "voltage", "wire")
REGRESSIONS = {
    "core": ("one", "frequency", "v_over_r", "voltage"),
    "wire": MAIN[:5],
    "main": MAIN,
    "ratio": ("one", "frequency", "voltage"),
}


@dataclass(frozen=True)
class PriorRegression:
    """One regression of the prior.

    Attributes
    ----------
    names : tuple of str
        Its terms.
    mean : numpy.ndarray, shape (p,)
        Prior mean of the terms.
    covariance : numpy.ndarray, shape (p, p)
        Their covariance, widened.
    ln_scatter, ln_scatter_sd : float
        Mean and standard deviation of the ln of the residual standard deviation.
    """

    names: tuple[str, ...]
    mean: np.ndarray
    covariance: np.ndarray
    ln_scatter: float
    ln_scatter_sd: float

    @property
    def scatter(self) -> float:
        """Residual standard deviation, its median."""
        return float(np.exp(self.ln_scatter))


@dataclass(frozen=True)
class Prior:
    """The regressions, and what is usual at a size.

    Attributes
    ----------
    core, wire, main, ratio : PriorRegression
        See the module.
    usual : numpy.ndarray, shape (2, 2)
        Intercept and slope on ln(area / 10 cm2) of the V/R and of the voltage covariate.
    """

    core: PriorRegression
    wire: PriorRegression
    main: PriorRegression
    ratio: PriorRegression
    usual: np.ndarray


@cache
def load_prior() -> Prior:
    """The prior that is shipped."""
    stored = json.loads(FILE.read_text(encoding="utf-8"))
    regressions = {
        name: PriorRegression(
            names, np.array(part["mean"]), np.array(part["covariance"]), part["ln_scatter"], part["ln_scatter_sd"]
        )
        for name, names in REGRESSIONS.items()
        for part in (stored[name],)
    }
    return Prior(**regressions, usual=np.array(stored["usual"]))
