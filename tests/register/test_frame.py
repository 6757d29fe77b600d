"""Data frames that somebody made by hand: held to what a file is held to, by every public name that takes one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

import calib
from calib.errors import InputError
from calib.register.frame import checked
from calib.register.records import KnownUnit, UnknownUnit
from tests.fitting.making import FIGURES, practice_fit, practice_known, practice_unknown, scene_asked, unknown

DOORS: dict[str, Callable[[pd.DataFrame], object]] = {
    "estimate": lambda table: practice_fit().estimate(table),
    "estimate_unit": lambda table: calib.estimate_unit(practice_fit(), table.iloc[[3]]),
    "heater_currents": lambda table: calib.heater_currents(practice_fit(), table.iloc[[3]], []),
}
SPOILED = [  # column, value, what is said of it, the remedy
    ("rectifier", "fullwave", "is not one of the choices", "write one of: full-wave, bridge"),
    ("winding_temp_c", np.nan, "is needed", "fill it in"),
    ("hv_resistance_ohm", np.inf, "is not a number", "write a number"),
    ("hv_resistance_ohm", -5.0, "is outside the limits", "check the reading"),
    ("line_frequency_hz", 5.0, "is outside the limits", "check the reading"),
    ("centre_tapped", None, "is needed", "fill it in"),
    ("unit", "  ", "is needed", "fill it in"),
    ("unit", "A\u202e1", "has the character U+202E", "type it again by hand"),
    ("maker", "x" * 201, "has 201 characters, and a name has at most 200", "shorten it"),
    ("conductor", "tin", "is not one of the choices", "write one of: copper, aluminium"),
    ("stack_mm", 1.0, "is outside the limits", "check the reading"),
    ("awg", "thin", "is not a number", "write it with a point"),
]


@pytest.mark.parametrize(("column", "value", "problem", "remedy"), SPOILED)
@pytest.mark.parametrize("door", DOORS)
def test_a_spoiled_cell_is_refused_by_row_column_value_and_remedy(door, column, value, problem, remedy):
    table = practice_unknown().astype({column: object})
    table.iloc[3, table.columns.get_loc(column)] = value
    with pytest.raises(InputError) as refused:
        DOORS[door](table)
    (fault,) = [one for one in refused.value.faults if one.column == column]
    assert fault.row == (3 if door == "estimate" else 0)
    assert problem in fault.problem
    assert remedy in fault.remedy
    shown = "" if pd.isna(value) or not str(value).strip() else f"{value:.12g}" if isinstance(value, float) else value
    assert fault.value.strip() == shown


@pytest.mark.parametrize(
    ("column", "value", "problem", "remedy"), [*SPOILED, ("evidence", "hearsay", "is not", "write")]
)
def test_a_fit_refuses_them_too(column, value, problem, remedy):
    table = practice_known().astype({column: object})
    table.iloc[7, table.columns.get_loc(column)] = value
    with pytest.raises(InputError) as refused:
        calib.fit(table)
    (fault,) = [one for one in refused.value.faults if one.column == column]
    assert (fault.row, fault.where) == (7, "known units (data frame)")
    assert problem in fault.problem
    assert remedy in fault.remedy


def test_every_fault_is_told_at_once_and_a_row_is_named_by_its_index_too():
    table = practice_unknown().set_index(pd.Index([f"bench {row}" for row in range(len(practice_unknown()))]))
    table.loc["bench 2", "filter"] = "chock"
    table.loc["bench 5", ["rectifier", "filter"]] = ["none", "capacitor"]
    with pytest.raises(InputError) as refused:
        practice_fit().estimate(table)
    assert [str(fault).split(": ")[0] for fault in refused.value.faults] == [
        "unknown units (data frame), index bench 2, row 2, filter 'chock'",
        "unknown units (data frame), index bench 5, row 5, filter 'capacitor'",
    ]


def test_columns_that_are_missing_or_misspelt_are_named_once():
    table = practice_unknown().rename(columns={"hv_resistance_ohm": "resistance_ohm", "winding_temp_c": "temp"})
    with pytest.raises(InputError) as refused:
        practice_fit().estimate(table)
    assert [fault.column for fault in refused.value.faults] == ["resistance_ohm", "hv_resistance_ohm", "winding_temp_c"]
    assert "write hv_resistance_ohm" in refused.value.faults[0].remedy


@pytest.mark.parametrize("twice", [["unit"], ["no_load_v"]])
def test_a_column_that_stands_twice_is_refused(twice):
    table = pd.concat([practice_unknown(), practice_unknown()[twice]], axis=1)
    with pytest.raises(InputError, match="there are two columns of that name"):
        practice_fit().estimate(table)


def test_a_known_unit_that_stands_twice_with_other_figures_is_refused():
    table = pd.concat([practice_known(), practice_known().iloc[[4]].assign(rated_current_ma=77.0)])
    with pytest.raises(InputError, match="stands in row 4 too, with another rated_current_ma") as refused:
        calib.fit(table)
    assert refused.value.faults[0].row == len(practice_known())


def test_one_s_own_columns_are_passed_over():
    made = practice_fit().estimate(practice_unknown().assign(shelf="B2", rated_current_ma=-1.0))
    assert made[FIGURES].equals(practice_fit().estimate(practice_unknown())[FIGURES])


def test_what_a_file_takes_as_right_is_right_in_a_frame():
    """Blanks round words, numbers and flags as text, a tag that is a number, columns that are not there."""
    sound = unknown({"unit": "7", "tongue_mm": 28, "stack_mm": 30})
    typed = pd.DataFrame(
        {
            "unit": [7],
            "rectifier": [" full-wave "],
            "filter": ["capacitor "],
            "line_voltage_v": ["117"],
            "line_frequency_hz": [60],
            "centre_tapped": ["True"],
            "excitation_v": ["4.97"],
            "hv_v": [27.76],
            "hv_resistance_ohm": [" 188.6"],
            "winding_temp_c": [20],
            "tongue_mm": [28],
            "stack_mm": [30],
        }
    )
    before = typed.copy()
    made, expected = calib.estimate_unit(practice_fit(), typed), calib.estimate_unit(practice_fit(), sound)
    assert made.answer.equals(expected.answer)
    assert made.working.equals(expected.working)
    assert typed.equals(before)


def test_a_sound_frame_is_given_on_as_it_is():
    for kind, table in ((KnownUnit, practice_known()), (UnknownUnit, practice_unknown())):
        assert checked(kind, table) is table


def test_the_quick_look_lets_no_fault_of_a_record_pass():
    """Random cells of 400 rows spoiled: those refused are those that a record of each row by itself refuses."""
    rng = np.random.default_rng(8)
    table = scene_asked(count=400).assign(excitation_v=np.nan, hv_v=np.nan, conductor="copper").astype(object)
    wrong = ["", None, np.nan, "none", "choke", "full-wave", -1.0, 0.0, 1e9, np.inf, True, False, "NA", " x ", "12", 3]
    names = [name for name in table.columns if name != "rated_current_ma"]
    for row in range(0, 400, 2):
        for column in rng.choice(names, 2, replace=False):
            table.iat[row, table.columns.get_loc(column)] = wrong[rng.integers(len(wrong))]
    alone = set()
    for row in range(400):
        try:
            cells = {name: value for name, value in table.iloc[row].items() if name in UnknownUnit.model_fields}
            UnknownUnit.parse({**cells, "unit": str(cells["unit"])} if type(cells["unit"]) is int else cells)
        except InputError:
            alone.add(row)
    with pytest.raises(InputError) as refused:
        checked(UnknownUnit, table)
    assert {fault.row for fault in refused.value.faults} == alone
    assert 60 < len(alone) < 200


def test_a_frame_has_the_sum_and_the_doubts_of_halves_as_a_file_has() -> None:
    halves = {"hv_half_1_ohm": [148.2, 148.2], "hv_half_2_ohm": [161.8, 161.8], "centre_tapped": True}
    table = practice_known().iloc[:2].assign(**halves, rectifier="full-wave", doubts="")
    table["hv_resistance_ohm"] = [np.nan, 148.0]
    found = checked(KnownUnit, table)
    assert found["hv_resistance_ohm"].tolist() == [310.0, 148.0]
    assert found["doubts"].str.contains("half the winding").tolist() == [False, True]
    assert checked(KnownUnit, found) is found
    assert checked(KnownUnit, table.drop(columns="hv_resistance_ohm"))["hv_resistance_ohm"].tolist() == [310.0, 310.0]


def test_a_frame_of_wires_alone_needs_no_other_columns_and_one_row_without_a_wire_asks_for_them():
    table = pd.DataFrame({"unit": ["a", "b"], "rectifier": "full-wave", "filter": "capacitor", "awg": [34.0, 30.0]})
    made = checked(UnknownUnit, table)
    assert made["centre_tapped"].tolist() == [True, True]
    assert made[["no_load_v", "hv_resistance_ohm", "line_voltage_v"]].isna().all(axis=None)
    with pytest.raises(InputError) as refused:
        checked(UnknownUnit, table.assign(awg=[34.0, np.nan]))
    wanted = [
        "line_voltage_v",
        "line_frequency_hz",
        "centre_tapped",
        "no_load_v",
        "hv_resistance_ohm",
        "winding_temp_c",
    ]
    assert [fault.column for fault in refused.value.faults] == wanted
    said = [fault for fault in refused.value.faults if "awg or wire_diameter_mm" in fault.remedy]
    assert [fault.column for fault in said] == ["no_load_v", "hv_resistance_ohm"]
