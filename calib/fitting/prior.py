"""The prior: what first principles say before any record, regressed over many populations and widened.

The shipped prior.json is all that the fit reads; ``python -m calib.fitting.simulate.design_model`` draws it anew. The
regressions are of one draw on what a bench reads of it; all but `main` form the chain of imputation.py:

ratio:   ln V/R on frequency and voltage              (broad: small units and large ones)
core:    ln area on frequency, V/R and voltage        (what a core must be, where none was measured)
wire:    ln wire area on core, frequency, V/R, voltage
primary: ln of V over the primary's reflected resistance on these and the wire's departure from its regression
weight:  ln mass on the same
main:    ln(k m) on core, frequency, V/R, voltage and the departures of wire, primary and weight from theirs
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from calib.paths import shipped, shipped_rows

FILE = Path(__file__).with_name("prior.json")
SOURCES = shipped("datasets/published/sources.csv")
# A maker's deviation, sd in ln I: that between the sources; a maker of whom nothing is known is one more.
MAKER_SD = 0.11
OF_SOURCES, SCATTER_SPREAD = 0.75, 0.35  # share that real sources have in ln noise, and its sd (judgement)
MAIN = ("one", "core", "frequency", "v_over_r", "voltage", "wire", "primary", "weight")
HANGING = [MAIN.index(name) for name in ("core", "v_over_r", "voltage", "wire", "primary", "weight")]  # on readings
REGRESSIONS = {
    "core": ("one", "frequency", "v_over_r", "voltage"),
    "wire": MAIN[:5],
    "primary": MAIN[:6],
    "weight": MAIN[:6],
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
    core, wire, primary, weight, main, ratio : PriorRegression
        See the module.
    usual : numpy.ndarray, shape (2, 2)
        Intercept and slope on ln(area / 10 cm2) of the V/R and of the voltage covariate.
    ln_alone : float
        ln of the residual standard deviation of ln(k m) where V and R alone are read.
    """

    core: PriorRegression
    wire: PriorRegression
    primary: PriorRegression
    weight: PriorRegression
    main: PriorRegression
    ratio: PriorRegression
    usual: np.ndarray
    ln_alone: float


@dataclass(frozen=True)
class Source:
    """What a published source of real windings says of the design model's prior.

    Attributes
    ----------
    count : int
        Of its units.
    off, sd : float
        Median and standard deviation of ln(estimate of the design model's prior alone / rating).
    in_published : bool
        Whether its units stand in datasets/published/known.csv.
    """

    count: int
    off: float
    sd: float
    in_published: bool


def sources() -> list[Source]:
    """The published sources of more than a single unit."""
    rows = shipped_rows("datasets/published/sources.csv")
    return [
        Source(int(one["n"]), float(one["median_ln"]), float(one["sd_ln"]), one["in_published"] == "true")
        for one in rows
        if one["sd_ln"]
    ]


@cache
def load_prior(known_beside: bool = False) -> Prior:
    """The prior: the design model's, its level and its noise brought to real windings.

    Parameters
    ----------
    known_beside : bool
        Whether the published windings stand among the records: their source is then left out here, and counts once.

    Notes
    -----
    Each source observes the level less well than its makers differ (MAKER_SD): the level is conditioned on all of them.
    The ln of the noise is moved so far toward real sources as their mean ln scatter lies from the model's, but for the
    share that is the model's; SCATTER_SPREAD covers both.
    """
    made = design_prior()
    used = [one for one in sources() if not (known_beside and one.in_published)]
    weight = np.array([1 / (MAKER_SD**2 + one.sd**2 / one.count) for one in used])
    seen = made.main.mean[0] - float(weight @ [one.off for one in used] / weight.sum())
    covariance = made.main.covariance
    gain = covariance[:, 0] / (covariance[0, 0] + 1 / weight.sum())
    main = replace(
        made.main,
        mean=made.main.mean + gain * (seen - made.main.mean[0]),
        covariance=covariance - np.outer(gain, covariance[0]),
        ln_scatter=made.main.ln_scatter + OF_SOURCES * float(np.mean(np.log([one.sd for one in used])) - made.ln_alone),
        ln_scatter_sd=SCATTER_SPREAD,
    )
    return replace(made, main=main)


@cache
def design_prior() -> Prior:
    """What first principles alone say."""
    stored = json.loads(FILE.read_text(encoding="utf-8"))
    regressions = {
        name: PriorRegression(
            names, np.array(part["mean"]), np.array(part["covariance"]), part["ln_scatter"], part["ln_scatter_sd"]
        )
        for name, names in REGRESSIONS.items()
        for part in (stored[name],)
    }
    return Prior(**regressions, usual=np.array(stored["usual"]), ln_alone=stored["ln_scatter_alone"])
