"""A large clean register by the fit and by statsmodels' MixedLM with crossed effects, which knows no prior."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.fitting.making import scene_asked, scene_known, without_gauge

NAMEPLATE_SD = 0.08  # the fit's judgement of a nameplate's scatter about the maker's own rating
READING_SD = np.hypot(0.009, 0.008)  # the usual meters


@pytest.fixture(scope="module")
def register() -> pd.DataFrame:
    known = without_gauge(scene_known(count=500, seed=8))
    return known.assign(evidence="nameplate", rated_current_ma=known["true_ma"])


def columns(units: pd.DataFrame) -> pd.DataFrame:
    """The fit's covariates by hand: cores are tongue times stack in this scene, and all readings at 20 °C."""
    area = units["tongue_mm"] * units["stack_mm"] / 100
    ratio = units["no_load_v"] / units["hv_resistance_ohm"]
    return pd.DataFrame(
        {
            "core": np.log(area / 10),
            "frequency": np.log(units["line_frequency_hz"] / 60),
            "ratio": np.log(ratio / 2),
            "volts": np.log(units["no_load_v"] / 600),
            "supply": units["rectifier"] + " " + units["filter"],
            "size": np.digitize(area, [4.5, 7, 10, 14, 20, 32]),
        }
    )


@pytest.fixture(scope="module")
def mixed(register):
    from statsmodels.regression.mixed_linear_model import MixedLM

    table = columns(register).assign(
        y=np.log(register["rated_current_ma"] / (register["no_load_v"] / register["hv_resistance_ohm"])),
        bench=register["contributor"],
        all=1,
    )
    parts = {"bench": "0 + C(bench)", "size": "0 + C(size)"}
    model = MixedLM.from_formula(
        "y ~ core + frequency + ratio + volts + C(supply)", groups="all", vc_formula=parts, re_formula="0", data=table
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of variances on the edge of their space, as they are here
        return model.fit(reml=True)


def test_estimates_agree(register, mixed):
    """Medians for 200 units: measured 1.5 % apart at the median, 3.3 % at most; either knows its line to some 3 %."""
    asked = without_gauge(scene_asked())
    table = columns(asked)
    theirs = np.exp(mixed.predict(table)) * asked["no_load_v"] / asked["hv_resistance_ohm"]
    ours = fit(register).estimate(asked)["rated_current_ma"]
    apart = np.abs(np.log(ours.to_numpy() / theirs.to_numpy()))
    assert np.median(apart) < 0.03
    assert apart.max() < 0.08


def test_scatter_agrees(register, mixed):
    """MixedLM's residual holds what the fit keeps apart: the nameplates' and the meters' share. Measured 2 % apart."""
    ours = np.sqrt(fit(register).scatter ** 2 + NAMEPLATE_SD**2 + READING_SD**2)
    assert ours == pytest.approx(np.sqrt(mixed.scale), rel=0.06)
