"""The working, reckoned again by hand from the raw readings."""

from __future__ import annotations

import html
import math
import re

import pytest

from calib.app.answer import working_table
from calib.estimate import estimate_unit
from calib.supply.form_factor import winding_rms_per_dc
from tests.estimate.asking import estimated
from tests.fitting.making import practice_fit, practice_unknown, unknown, without_core

WARM = {"hv_resistance_ohm": 197.4, "winding_temp_c": 31}


def working(changes: dict) -> tuple[dict[str, float], dict[str, str], dict[str, str], object]:
    """Values, formulas and units by step, and the answer."""
    made = estimated(changes)
    steps = made.working["step"].str.replace(r", size class .*", "", regex=True)
    steps = steps.where(~steps.isin(["V/R"]) | (made.working["unit"] != "×"), "V/R against the usual")
    assert steps.is_unique
    return (
        *(dict(zip(steps, made.working[name], strict=True)) for name in ("value", "formula", "unit")),
        made.answer.iloc[0],
    )


def test_ratio_and_voltage():
    """Both halves together 2 * 2.792757, 653.505 V at 117 V."""
    value, formula, unit, _ = working({})
    assert value["Ratio"] == pytest.approx(2 * 2.792757, rel=1e-6)
    assert value["No-load voltage"] == pytest.approx(653.505, rel=1e-6)
    assert unit["No-load voltage"] == "V"
    assert "27.76" in formula["Ratio"]
    assert "4.97" in formula["Ratio"]
    assert "117" in formula["No-load voltage"]


def test_v_over_r():
    """653.505 V over 188.6 ohm, 3.465032."""
    value, _, unit, answer = working({})
    assert value["V/R"] == pytest.approx(3.465032, rel=1e-6)
    assert unit["V/R"] == "V per ohm"
    assert answer["v_over_r"] == pytest.approx(3.465032, rel=1e-6)


def test_resistance_is_brought_to_20_degrees_by_hand():
    """R (234.5 + 20)/(234.5 + t), IEC 60034-1."""
    value, formula, unit, _ = working(WARM)
    assert value["Resistance at 20 °C"] == pytest.approx(197.4 * 254.5 / 265.5, rel=1e-12)
    assert "234.5" in formula["Resistance at 20 °C"]
    assert unit["Resistance at 20 °C"] == "ohm"
    assert "197.4" in formula["Resistance at 20 °C"]
    assert "31" in formula["Resistance at 20 °C"]


@pytest.mark.parametrize("changes", [{}, WARM, {"tongue_mm": 28, "stack_mm": 30}, {"filter": "choke"}])
def test_the_last_line_follows_from_the_raw_readings(changes):
    """117 V * 27.76/4.97 over R at 20 °C, times the unit's multiplier, is the current of the answer."""
    value, formula, unit, answer = working(changes)
    ohm = {**{"hv_resistance_ohm": 188.6, "winding_temp_c": 20}, **changes}
    by_hand = 117 * 27.76 / 4.97 / (ohm["hv_resistance_ohm"] * 254.5 / (234.5 + ohm["winding_temp_c"]))
    assert value["Multiplier of this unit"] * by_hand == pytest.approx(answer["rated_current_ma"], rel=1e-9)
    assert value["Rated current"] == pytest.approx(answer["rated_current_ma"], rel=1e-12)
    factors = [float(part) for part in re.findall(r"[\d.]+", formula["Rated current"])]
    assert factors[0] * factors[1] == pytest.approx(answer["rated_current_ma"], rel=1e-3)
    assert unit["Rated current"] == "mA"


def test_a_voltage_read_directly_is_said_to_be():
    value, formula, _, _ = working({"excitation_v": None, "hv_v": None, "no_load_v": 640})
    assert value["No-load voltage"] == 640
    assert "Ratio" not in value
    assert "read or stated" in formula["No-load voltage"]


def printed(estimate) -> list[tuple[str, str, str]]:
    """Step, how and gives as the page prints them."""
    cells = re.findall(r"<td[^>]*>(.*?)</td>", working_table(estimate.working))
    plain = [html.unescape(re.sub(r"<[^>]+>|&NoBreak;", "", cell)) for cell in cells]
    return list(zip(plain[::3], plain[1::3], plain[2::3], strict=True))


def last_place(shown: str) -> float:
    """One unit of the last digit that is printed, so that 32.76 gives 0.01."""
    return 10.0 ** -len(shown.partition(".")[2])


CORE = {"tongue_mm": 28, "stack_mm": 30}
ASKED = {
    "practice": practice_unknown().iloc[[0]],
    "practice, 230 V 50 Hz": practice_unknown().iloc[[3]],
    "no core": without_core(practice_unknown()).iloc[[3]],
    "aluminium": unknown({**CORE, "awg": 29, "conductor": "aluminium", "contributor": "Tin Street", **WARM}),
    "half-wave": unknown({**CORE, "rectifier": "half-wave", "centre_tapped": "false"}),
    "bridge of a centre tap": unknown({**CORE, "rectifier": "bridge"}),
    "primary and weight, no gauge": unknown({**CORE, "primary_resistance_ohm": 3.1, "weight_kg": 1.9}),
    "of a later year": unknown({**CORE, "awg": 32, "made_year": 1990}),
    "little known": unknown({"no_load_v": 120, "excitation_v": None, "hv_v": None, "filter": "choke"}),
}


@pytest.mark.parametrize("asked", ASKED)
def test_every_printed_figure_follows_from_those_beside_it(asked):
    """The mean times the printed factors is the unit's multiplier; each quotient and product is worked out again."""
    made = estimate_unit(practice_fit(), ASKED[asked])
    rows = printed(made)
    at = [step for step, _, _ in rows].index("Multiplier of this unit")
    begins = next(k for k, (step, _, _) in enumerate(rows) if step.startswith(("Mean multiplier", "Multiplier of an")))
    factors = [gives for _, _, gives in rows[begins + 1 : at]]
    assert all(gives.startswith("× ") for gives in factors)
    assert rows[at - 1][0] == "Remainder"
    start, *multiplied = rows[at][1].split(" × ")
    assert multiplied == [gives[2:] for gives in factors]
    begun = rows[begins][2].split()[0]
    assert abs(float(start) - float(begun)) <= 0.6 * last_place(begun)
    assert abs(float(factors[-1][2:]) - 1) < 0.005  # the named steps carry it, not what is left
    checked = 0
    for _, how, gives in rows:
        sum_of = re.sub(r"(?<=\d) ?(mA|A|mm²|cm²|°C|Hz|V/Ω|V|Ω)(?=[ ,)]|$)", "", how.replace(" per ohm", ""))
        sum_of = re.sub(r" \(as copper\)| in the middle of the class| usual (there|with such readings)", "", sum_of)
        sum_of = re.sub(r"^e to the power (-?[\d.]+):.*", r"2.718281828 ** (\1)", sum_of)
        sum_of = re.sub(r"^(.*), to the power (-?[\d.]+)$", r"(\1) ** (\2)", sum_of).replace("×", "*")
        if not re.fullmatch(r"[\d.()*/+ -]+", sum_of):
            continue
        checked += 1
        shown = gives.removeprefix("× ").split()[0]
        places = 1.5 if "power" in how else 0.6  # the last digit printed, or as far as the power's own digits reach
        assert abs(eval(sum_of) - float(shown)) <= places * last_place(shown), (how, gives)
    assert checked >= 7


def test_each_step_to_the_unit_is_named_and_without_a_core_it_begins_at_a_named_unit():
    value, formula, unit, answer = working({**CORE, "awg": 31, "contributor": "Alder Lane"})
    assert value["Mean multiplier"] == answer["multiplier"]
    assert formula["Mean multiplier"] == "full-wave, capacitor input, copper, 60 Hz"
    steps = ["Size within the class", "V/R against the usual", "Voltage", "Wire", "Bench of Alder Lane"]
    assert [step for step, one in unit.items() if one == "×"] == [*steps, "Slips weighed", "Remainder"]
    assert value["Multiplier of this unit"] == answer["unit_multiplier"]
    value, formula, unit, answer = working({"line_frequency_hz": 50})
    assert "Mean multiplier" not in value
    assert formula["Multiplier of an ordinary unit"].endswith("copper, 10 cm², 60 Hz, 2 V per ohm, 600 V")
    named = ["Size, judged from V/R and volts", "Frequency", "V/R against the usual", "Voltage"]
    assert [step for step, one in unit.items() if one == "×"] == [*named, "Slips weighed", "Remainder"]
    assert unit["Multiplier of an ordinary unit"] == unit["Multiplier of this unit"] == "mA per V/ohm"


def test_a_bridge_on_a_centre_tapped_winding_gives_what_its_primary_gives():
    """Equal heating: of the winding's, the primary's share is 1/sqrt(2)."""
    bridge = {"tongue_mm": 28, "stack_mm": 30, "rectifier": "bridge", "demand_ma": 40}
    whole, tapped = (estimated({**bridge, "centre_tapped": one}) for one in (False, True))
    plain, limited = (one.answer.iloc[0] for one in (whole, tapped))
    assert limited["rated_current_ma"] == pytest.approx(plain["rated_current_ma"] / math.sqrt(2), rel=1e-9)
    assert limited["floor_ma"] == pytest.approx(plain["floor_ma"] / math.sqrt(2), rel=1e-9)
    assert limited["winding_limit_ma"] == pytest.approx(plain["rated_current_ma"], rel=1e-9)
    assert math.isnan(plain["winding_limit_ma"])
    assert "primary-limit" in limited["flags"].split(";")
    assert limited["odds_of_demand"] < plain["odds_of_demand"]
    assert any("twice as far from the core" in one for one in tapped.supply)


def test_a_half_wave_supply_says_how_far_its_current_biases_the_core():
    """H = N I / l by hand: 653.5 V at 60 Hz, 1.1 T, 0.95 of 8.4 cm2 is 3142 turns; 168 mm of iron path."""
    half = {"tongue_mm": 28, "stack_mm": 30, "rectifier": "half-wave"}
    made = estimated(half)
    turns = 653.505 / (math.sqrt(2) * math.pi * 60 * 1.1 * 0.95 * 8.4e-4)
    field = turns * made.answer["rated_current_ma"].iloc[0] / 1000 / 0.168
    assert any(f"about {field:.0f} A/m" in one for one in made.supply)
    assert ("doubt" in made.answer["flags"].iloc[0].split(";")) == (field > 600)
    assert (f"about {field:.0f} A/m" in made.answer["doubts"].iloc[0]) == (field > 600)
    assert any("not told without a core" in one for one in estimated({"rectifier": "half-wave"}).supply)
    assert not any("biases" in one for one in estimated({}).supply)


def test_the_bias_goes_round_the_path_of_the_sheets_that_are_there():
    """An M65 of tongue 20 has a path of 155 mm where an EI-60 has 120 (2 (w + h + a), DIN 41302)."""
    half = {"tongue_mm": 20, "stack_mm": 27, "rectifier": "half-wave"}
    fields = []
    for sheets in ({}, {"lamination": "m"}, {"lamination": "other"}):
        (said,) = (one for one in estimated(half | sheets, as_read=True).supply if "biases the core by" in one)
        fields.append(float(said.split("about ")[1].split(" A/m")[0]))
    assert fields[1] / fields[0] == pytest.approx(120.0 / 155.0, rel=2e-3)
    assert fields[2] == fields[0]  # a window that nothing tells: the shortest path, so the stronger field


def test_current_density_by_hand():
    """AWG 31 has 0.0403862 mm2 (ASTM B258); 1 A/mm2 is 1973.525 circular mils an ampere."""
    value, _, unit, answer = working({"tongue_mm": 28, "stack_mm": 30, "awg": 31})
    rms = answer["rated_current_ma"] * winding_rms_per_dc("full-wave", "capacitor")
    assert value["Winding current, rms"] == pytest.approx(rms, rel=1e-9)
    assert value["Current density"] == pytest.approx(rms / 1000 / 0.0403862, rel=1e-5)
    assert value["the same"] == pytest.approx(1973.525 / (rms / 1000 / 0.0403862), rel=1e-5)
    assert unit["Current density"] == "A/mm²"
    assert "Current density" not in working({"tongue_mm": 28, "stack_mm": 30})[0]


def test_steps_come_in_the_order_of_the_reckoning():
    steps = list(working({"tongue_mm": 28, "stack_mm": 30, "awg": 31})[0])
    wanted = ["Ratio", "No-load voltage", "Resistance at 20 °C", "V/R", "Multiplier of this unit", "Rated current"]
    assert [step for step in steps if step in wanted] == wanted
