"""The prior: what first principles say before any record, regressed over many worlds and widened.

``python -m calib.fit.prior`` draws the worlds anew and writes prior.json beside this file, which is all that the fit
reads. The three chains are regressions of one draw on what a bench knows of it:

core:  ln area on frequency, V/R and voltage          (what a core must be, where none was measured)
wire:  ln wire area on core, frequency, V/R, voltage  (what the gauge must be; it also betrays a slip in V or R)
main:  ln(k m) on core, frequency, V/R, voltage and the wire's departure from its chain
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

FILE = Path(__file__).with_name("prior.json")
WORLDS, UNITS, SEED = 160, 3000, 20261124
WIDER = 2.0  # factor on the standard deviations of the terms between worlds
MAIN = ("one", "core", "frequency", "v_over_r", "voltage", "wire")
CHAINS = {"core": ("one", "frequency", "v_over_r", "voltage"), "wire": MAIN[:5], "main": MAIN}


@dataclass(frozen=True)
class Chain:
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
    """The three chains, and what is usual at a size.

    Attributes
    ----------
    core, wire, main : Chain
        See the module.
    wire_gain : float
        Residual standard deviation of main with the wire known, over that without.
    usual : numpy.ndarray, shape (2, 2)
        Intercept and slope on ln(area / 10 cm2) of the V/R and of the voltage covariate.
    """

    core: Chain
    wire: Chain
    main: Chain
    wire_gain: float
    usual: np.ndarray


@cache
def load_prior() -> Prior:
    """The prior that is shipped."""
    stored = json.loads(FILE.read_text(encoding="utf-8"))
    chains = {
        name: Chain(
            names, np.array(part["mean"]), np.array(part["covariance"]), part["ln_scatter"], part["ln_scatter_sd"]
        )
        for name, names in CHAINS.items()
        for part in (stored[name],)
    }
    return Prior(**chains, wire_gain=stored["wire_gain"], usual=np.array(stored["usual"]))


def regress_worlds(worlds: int = WORLDS, units: int = UNITS, seed: int = SEED) -> dict:
    """Draw worlds, regress each, and give the prior as plain values for prior.json."""
    from calib.fit.design_model import draw, draw_world

    rng = np.random.default_rng(seed)
    each = [_regress(draw(units, draw_world(rng), rng)) for _ in range(worlds)]
    stored: dict = {
        "about": "Simulated: regressions over worlds drawn by calib.fit.design_model; regenerate with "
        "python -m calib.fit.prior",
        "worlds": worlds,
        "units_per_world": units,
        "seed": seed,
        "wider": WIDER,
    }
    for name in CHAINS:
        terms = np.array([one[name][0] for one in each])
        scatter = np.log([one[name][1] for one in each])
        stored[name] = {
            "terms": list(CHAINS[name]),
            "mean": _rounded(terms.mean(axis=0)),
            "covariance": _rounded(np.cov(terms.T) * WIDER**2),
            "ln_scatter": round(float(scatter.mean()), 6),
            "ln_scatter_sd": round(float(scatter.std() * WIDER), 6),
        }
    stored["wire_gain"] = round(float(np.mean([one["main"][1] / one["bare"][1] for one in each])), 6)
    stored["usual"] = _rounded(np.mean([one["usual"] for one in each], axis=0))
    return stored


def _rounded(values: np.ndarray) -> list:
    return np.round(values, 8).tolist()


def _regress(units) -> dict:  # type: ignore[no-untyped-def]
    """The chains of one world by least squares: terms and residual standard deviation of each."""
    from calib.fit.rows import facts

    rows = facts(units.rename(columns={"resistance_ohm": "hv_resistance_ohm"}).assign(winding_temp_c=20.0))
    x, wire = rows.covariates, rows.wire
    core, core_sd, _ = _least_squares(x[:, [0, 2, 3, 4]], x[:, 1])
    gauge, gauge_sd, departure = _least_squares(x, wire)
    main, main_sd, _ = _least_squares(np.column_stack([x, departure]), rows.response)
    _, bare_sd, _ = _least_squares(x, rows.response)
    usual = np.array([_least_squares(x[:, :2], x[:, column])[0] for column in (3, 4)])
    return {
        "core": (core, core_sd),
        "wire": (gauge, gauge_sd),
        "main": (main, main_sd),
        "bare": (x, bare_sd),
        "usual": usual,
    }


def _least_squares(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
    terms, *_ = np.linalg.lstsq(x, y, rcond=None)
    residual = y - x @ terms
    return terms, float(residual.std(ddof=x.shape[1])), residual


if __name__ == "__main__":
    FILE.write_text(json.dumps(regress_worlds(), indent=1) + "\n", encoding="utf-8")
