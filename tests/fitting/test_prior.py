"""The prior: it is regenerated as it is shipped, and says what first principles say."""

from __future__ import annotations

import json

import numpy as np
import pytest

from calib.fitting import prior
from calib.fitting.simulate.design_model import POPULATIONS, regress_populations
from tests.counts import WHOLE, share
from tests.fitting.making import prior_fit


@pytest.fixture(scope="module")
def main():
    """The terms of the current's regression by name."""
    loaded = prior.load_prior()
    return dict(zip(loaded.main.names, loaded.main.mean, strict=True))


def test_the_populations_give_the_shipped_file_again():
    """All 160 of them to the digit; a tenth of them, in the test command, about the same means."""
    stored = json.loads(prior.FILE.read_text(encoding="utf-8"))
    again = regress_populations(share(16, POPULATIONS))
    assert again.keys() == stored.keys()
    assert again["about"] == stored["about"]
    assert not WHOLE or again == stored
    for name in prior.REGRESSIONS:
        assert again[name]["mean"] == pytest.approx(stored[name]["mean"], abs=0.15)


def test_other_populations_give_other_figures():
    stored = json.loads(prior.FILE.read_text(encoding="utf-8"))
    again = regress_populations(populations=6, units=500, seed=7)
    assert again["main"]["mean"] != stored["main"]["mean"]
    assert again["main"]["mean"] == pytest.approx(stored["main"]["mean"], abs=0.35)


def test_the_multiplier_falls_with_core_area_as_the_scaling_laws_say(main):
    """Equal current density gives -0.5, equal temperature rise -0.75 (Magnetic Circuits and Transformers); makers who
    spare small units lie between, insulation that takes less of a large window a little beyond."""
    usual = prior.load_prior().usual
    total = main["core"] + main["v_over_r"] * usual[0, 1] + main["voltage"] * usual[1, 1]
    assert -0.9 < total < -0.5


def test_the_line_of_no_records_falls_alike():
    """The multiplier over a tenfold core area, as shown before any record exists."""
    line = prior_fit().line("full-wave", "capacitor", 0.9, np.array([4.0, 40.0]))
    slope = np.log(line["multiplier"].iloc[1] / line["multiplier"].iloc[0]) / np.log(10)
    assert -0.9 < slope < -0.5


def test_current_goes_with_v_over_r_to_less_than_the_first_power():
    """With no core measured, at a given voltage, I goes with V/R to about 3/4: equal rise makes VA go with a^3.5 and
    the copper's drop with a^-1.5 (Magnetic Circuits and Transformers)."""
    loaded = prior.load_prior()
    terms = dict(zip(loaded.main.names, loaded.main.mean, strict=True))
    size = dict(zip(loaded.core.names, loaded.core.mean, strict=True))
    power = 1 + terms["v_over_r"] + terms["core"] * size["v_over_r"]
    assert 0.6 < power < 0.85


def test_lower_frequency_means_more_drop(main):
    """mu = 1000 J rho MLT / (sqrt2 pi f B A): -1 at the same flux and J, less once the wire follows the turns."""
    assert -1.2 < main["frequency"] < -0.2


def test_whole_gauges_move_resistance_and_not_the_rating(main):
    assert -0.5 < main["v_over_r"] < 0.0


def test_thicker_wire_than_the_readings_lead_one_to_expect_carries_more(main):
    assert 0.3 < main["wire"] < 1.3


def test_the_terms_are_widened_at_least_twofold():
    stored = json.loads(prior.FILE.read_text(encoding="utf-8"))
    assert stored["wider"] >= 2.0
    assert "imulated" in stored["about"]


def test_the_prior_knows_its_ignorance():
    """No record: one unit's rating is known to a factor of about 2 either way, not to 10 % and not to 10."""
    line = prior_fit().line("full-wave", "capacitor", 0.9, np.array([10.0]))
    assert 1.5 < line["unit_high"].iloc[0] / line["multiplier"].iloc[0] < 3.5


@pytest.mark.parametrize("name", ["core", "wire", "primary", "weight", "main"])
def test_each_chain_is_a_proper_distribution(name):
    chain = getattr(prior.load_prior(), name)
    assert np.allclose(chain.covariance, chain.covariance.T)
    assert np.linalg.eigvalsh(chain.covariance).min() > 0
    assert 0.03 < chain.scatter < 0.4
