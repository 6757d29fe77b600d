"""From readings to facts. Worked values were reckoned by hand script from IEC 60034-1, ASTM B258 and
JCGM 100."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from calib.fitting import features_of, fit
from calib.fitting.features import WIRE
from calib.supply.form_factor import winding_rms_per_dc
from tests.fitting.making import FIGURES, known, practice_fit, practice_known, unknown

# IEC 60028 and IEC 60889: resistivities at 20 °C [ohm m]; inferred zeros of IEEE C57.12.90 practice [°C below 0].
COPPER, ALUMINIUM = 1.7241e-8, 2.8264e-8
ALUMINIUM_ZERO_C = 228.1


def test_volts_of_the_worked_ratio_test():
    """4.97 V in, 13.88 V across one half, 117 V line: 326.7525 V a half."""
    frame = features_of(known()).frame
    assert frame["no_load_v"].iloc[0] == pytest.approx(2 * 326.7525, rel=1e-6)


def test_v_over_r_and_multiplier_as_worked():
    """V/R 3.465032, and 92 mA is then a multiplier of 26.55098."""
    rows = features_of(known())
    assert rows.frame["v_over_r"].iloc[0] == pytest.approx(3.465032, rel=1e-6)
    assert np.exp(rows.response - rows.form)[0] == pytest.approx(26.55098, rel=1e-6)


def test_resistance_is_brought_to_20_degrees():
    """IEEE C57.12.90: 38.42 ohm at 19.6 °C is 38.48048 ohm at 20 °C."""
    rows = features_of(known({"hv_resistance_ohm": 38.42, "winding_temp_c": 19.6}))
    assert rows.frame["resistance_ohm"].iloc[0] == pytest.approx(38.48048, rel=1e-6)


def test_an_aluminium_winding_has_its_own_temperature_law():
    rows = features_of(known({"conductor": "aluminium", "winding_temp_c": 60}))
    expected = 188.6 * (ALUMINIUM_ZERO_C + 20) / (ALUMINIUM_ZERO_C + 60)
    assert rows.frame["resistance_ohm"].iloc[0] == pytest.approx(expected, rel=1e-12)


def test_aluminium_and_copper_of_equal_heat_speak_of_one_multiplier():
    """In the same space at equal heat J goes with resistivity to -1/2 (Magnetic Circuits and Transformers)."""
    ratio = ALUMINIUM / COPPER
    twin = {"conductor": "aluminium", "hv_resistance_ohm": 188.6 * ratio, "rated_current_ma": 92 / ratio**0.5}
    wire = {"tongue_mm": 28, "stack_mm": 30, "wire_diameter_mm": 0.2}
    rows = features_of(known(wire, {**twin, **wire}))
    assert rows.response[1] == pytest.approx(rows.response[0], abs=1e-12)
    assert rows.readings[0, WIRE] - rows.readings[1, WIRE] == pytest.approx(
        np.log(ratio), abs=1e-12
    )  # as copper of equal conductance


def test_the_ratio_test_counts_and_the_gap_to_a_stated_voltage_is_kept():
    rows = features_of(known({"no_load_v": 600}, {}))
    assert rows.frame["no_load_v"].iloc[0] == pytest.approx(653.505, rel=1e-6)
    assert rows.frame["reading_gap"].iloc[0] == pytest.approx(653.505 / 600 - 1, rel=1e-5)
    assert np.isnan(rows.frame["reading_gap"].iloc[1])


def test_wire_area_of_a_gauge():
    """ASTM B258: AWG 31 has 0.0403862 mm2."""
    rows = features_of(known({"awg": 31, "tongue_mm": 28, "stack_mm": 30}))
    assert rows.frame["wire_area_mm2"].iloc[0] == pytest.approx(0.0403862, rel=1e-5)
    assert np.exp(rows.readings[0, WIRE]) == pytest.approx(0.0403862, rel=1e-5)


def test_a_bare_diameter_wins_over_a_gauge():
    rows = features_of(known({"awg": 31, "wire_diameter_mm": 0.2}))
    assert rows.frame["wire_area_mm2"].iloc[0] == pytest.approx(np.pi * 0.2**2 / 4, rel=1e-12)


def test_reading_variance_adds_the_meters_squares():
    """JCGM 100, 5.1.2: the usual 0.9 % and 0.8 % where nothing is stated, else what is."""
    variance = features_of(
        known({}, {"u_voltage_pct": 0.4}, {"u_voltage_pct": 1.5, "u_resistance_pct": 2})
    ).reading_variance
    assert variance == pytest.approx([0.009**2 + 0.008**2, 0.004**2 + 0.008**2, 0.015**2 + 0.02**2], rel=1e-12)


def test_what_is_not_known_is_not_a_number():
    rows = features_of(unknown())
    assert rows.seen[0].tolist() == [True, True, False, False, False, False]
    assert np.isnan(rows.response[0])
    assert rows.frame["size_class"].iloc[0] == ""
    assert not rows.has_core[0]
    assert not rows.has_wire[0]


SAME = [
    ({}, {"excitation_v": None, "hv_v": None, "no_load_v": 117 * 27.76 / 4.97}),
    ({"tongue_mm": 28.6, "stack_mm": 32}, {"core_area_cm2": 2.86 * 3.2}),
    (
        {"tongue_mm": 28, "stack_mm": 30, "awg": 31},
        {"tongue_mm": 28, "stack_mm": 30, "wire_diameter_mm": 0.127 * 92 ** ((36 - 31) / 39)},
    ),
    ({}, {"hv_resistance_ohm": 188.6 * (234.5 + 31) / (234.5 + 20), "winding_temp_c": 31}),
]


@pytest.mark.parametrize(("one", "other"), SAME, ids=["voltage", "core", "wire", "temperature"])
def test_one_unit_read_in_two_ways_gets_one_estimate(one, other):
    """A core known by its area alone may be a ring's, a wire known in mm no other gauge: other slips have room then."""
    made, as_read = (practice_fit().estimate(unknown(one, other), as_read=sound) for sound in (False, True))
    assert as_read.loc[1, FIGURES].to_numpy(float) == pytest.approx(as_read.loc[0, FIGURES].to_numpy(float), rel=1e-9)
    within = 0.10 if "core_area_cm2" in other else 1e-4 if "wire_diameter_mm" in other else 1e-9
    assert made.loc[1, FIGURES].to_numpy(float) == pytest.approx(made.loc[0, FIGURES].to_numpy(float), rel=within)
    assert made["predictors"].nunique() == 1


def test_known_units_read_in_two_ways_make_one_fit():
    """The whole practice register by no-load voltage and core area gives the estimates of ratio test and stack."""
    table = practice_known()
    rows = features_of(table)
    by_area = table.assign(
        core_area_cm2=rows.frame["core_area_cm2"].to_numpy(),
        tongue_mm=np.nan,
        stack_mm=np.nan,
        no_load_v=rows.frame["no_load_v"].to_numpy(),
        excitation_v=np.nan,
        hv_v=np.nan,
    )
    made, usual = (model.estimate(unknown()) for model in (fit(by_area), practice_fit()))
    assert made[FIGURES].to_numpy() == pytest.approx(usual[FIGURES].to_numpy(), rel=1e-6)


def test_inputs_are_not_changed():
    table, asked = practice_known().copy(), unknown({"tongue_mm": 28, "stack_mm": 30, "awg": 31})
    before, asked_before = table.copy(deep=True), asked.copy(deep=True)
    fit(table.iloc[:8]).estimate(asked)
    features_of(table)
    pd.testing.assert_frame_equal(table, before)
    pd.testing.assert_frame_equal(asked, asked_before)


def test_the_same_units_under_another_supply():
    """Only the rms current per direct current moves: by 0.5..0.65 from capacitor to choke input (Schade; Lee)."""
    rows = features_of(known())
    choke = rows.under("full-wave", "choke")
    ratio = winding_rms_per_dc("full-wave", "choke") / winding_rms_per_dc("full-wave", "capacitor")
    assert choke.form - rows.form == pytest.approx(np.log(ratio), rel=1e-12)
    assert 0.5 < ratio < 0.65
    assert choke.frame["filter"].iloc[0] == "choke"
    assert rows.frame["filter"].iloc[0] == "capacitor"


def test_a_primary_that_was_read_poorly_counts_for_less():
    """The same primary, far from what the others expect: the poorer its reading, the less it moves, and none at all
    counts as the poorest; a reading as good as an ordinary meter's counts as one of which nothing is said."""
    at = {"tongue_mm": 28, "stack_mm": 30, "primary_resistance_ohm": 8}
    told = unknown(at, *({**at, "u_primary_pct": u} for u in (1, 8, 25, 60)), {**at, "primary_resistance_ohm": ""})
    assert features_of(told).coarse.tolist() == [0, 0, 1, 2, 3, 0]
    made = practice_fit().estimate(told, as_read=True)["rated_current_ma"].to_numpy()
    away = np.abs(np.log(made[:-1] / made[-1]))
    assert away[0] == away[1] > away[2] > away[3] > away[4] > 0
    odds = practice_fit().estimate(told)["odds_sound"].to_numpy()
    assert odds[0] == odds[1] < odds[2] < odds[3] < odds[4]


def test_of_a_record_too_a_poor_reading_of_its_primary_counts_for_less():
    core = {"tongue_mm": 28, "stack_mm": 30}
    asked, beside = unknown(core), [{**core, "primary_resistance_ohm": ohm} for ohm in (4.4, 2.0)]
    fits = [known(*({**one, "u_primary_pct": u} for one in beside)) for u in (1, 50)]
    bare, good, poor = (fit(one).estimate(asked)["rated_current_ma"].iloc[0] for one in (known(core, core), *fits))
    assert abs(np.log(poor / bare)) < 0.5 * abs(np.log(good / bare))
