"""Tables as spreadsheets write them: what is understood is told, what may be two things is refused."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pytest

from calib.errors import InputError
from calib.register import spreadsheet
from calib.register.fields import FIELDS
from calib.register.records import KnownUnit, UnknownUnit, columns, fields
from calib.register.tables import read_known, read_unknown, template
from tests.register.conftest import TYPED

FACTS = fields(KnownUnit)
FULL = TYPED | {"tongue_mm": "28.575", "stack_mm": "38.1", "hv_resistance_ohm": "1310", "notes": "a, b"}


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A data folder of its own for what is remembered."""
    monkeypatch.setattr("calib.register.file.user_data_path", lambda *_, **__: tmp_path / "home")


def written(header: dict[str, str], cells: dict[str, str], mark: str = ";") -> bytes:
    """A table of one row, its columns and cells as a spreadsheet has them."""
    row = FULL | cells
    names = [header.get(name, name) for name in row]
    quoted = ['"' + cell + '"' if mark in cell else cell for cell in row.values()]
    return f"{mark.join(names)}\n{mark.join(quoted)}\n".encode()


def read(raw: bytes, decimal: str = "") -> pd.DataFrame:
    return read_known(io.BytesIO(raw), "bench.csv", decimal)


def plain() -> pd.DataFrame:
    return read(written({}, {}, ","))


COMMAS = {"excitation_v": "4,97", "hv_v": "27,76", "tongue_mm": "28,575", "stack_mm": "38,1", "winding_temp_c": "19,6"}
SAME = [
    (";", {}, {}),
    ("\t", {}, {}),
    ("|", {}, {}),
    (";", {}, COMMAS),
    (";", {}, COMMAS | {"hv_resistance_ohm": "1.310"}),
    (";", {}, COMMAS | {"hv_resistance_ohm": "1.310,0"}),
    (",", {}, COMMAS | {"hv_resistance_ohm": "1 310"}),
    (",", {}, {"hv_resistance_ohm": "1,310.0"}),
    (",", {}, {"hv_resistance_ohm": "1.31 kΩ", "rated_current_ma": "0.09 A"}),
    (";", {"hv_resistance_ohm": "HV resistance (kΩ)", "rated_current_ma": "Rated current / A"}, {}),
    (",", {"hv_resistance_ohm": "hv_resistance_kohm", "rated_current_ma": "RATED_CURRENT_A"}, {}),
    (",", {"tongue_mm": "Tongue [in]", "stack_mm": "stack_in"}, {"tongue_mm": "1 1/8", "stack_mm": "1.5"}),
    (",", {"winding_temp_c": "Temp °F"}, {"winding_temp_c": "67.28"}),
    (",", {name: name.upper().replace("_", " ") for name in FULL}, {"centre_tapped": "Yes", "rectifier": "Full-Wave"}),
    (",", {"centre_tapped": "Center Tap"}, {"centre_tapped": "ja", "rectifier": "full wave", "evidence": "Name plate"}),
]


@pytest.mark.parametrize(("mark", "header", "cells"), SAME)
def test_another_country_s_table_is_the_same_table_and_says_what_was_read_otherwise(mark, header, cells):
    if "kΩ" in str(header) or "kohm" in str(header):
        cells = {"hv_resistance_ohm": "1.31", "rated_current_ma": "0.09"}
    found = read(written(header, cells, mark))
    assert found.equals(plain())
    assert found.attrs["understood"]
    assert all(line.startswith("bench.csv: ") for line in found.attrs["understood"])


def test_a_table_of_the_contract_is_read_as_it_stands() -> None:
    assert "understood" not in plain().attrs
    assert read(written({}, {"hv_resistance_ohm": "1.310"}, ","))["hv_resistance_ohm"].tolist() == [1.31]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_the_encodings_of_spreadsheets_with_the_line_that_names_the_mark(encoding: str) -> None:
    assert read(("sep=;\r\n" + written({}, COMMAS).decode()).encode(encoding)).equals(plain())


def test_columns_without_a_name_and_with_nothing_in_them_are_left_out() -> None:
    head, row, _ = written({}, {}).decode().split("\n")
    assert read(f"{head};;\n{row};;\n".encode()).equals(plain())
    with pytest.raises(InputError, match=r"column 17 of the header has no name"):
        read(f"{head};\n{row};stray\n".encode())


def test_days_of_the_continent() -> None:
    found = read_known(io.BytesIO(b"Date," + written({}, {}, ",").replace(b"\n", b"\n9.3.2024,", 1)))
    assert found["recorded_on"].tolist() == ["2024-03-09"]


@pytest.mark.parametrize("mark", [",", ";"])
def test_a_number_that_may_be_two_is_refused_until_its_mark_is_said(mark: str) -> None:
    raw = written({}, {"hv_resistance_ohm": "1,310"}, mark)
    with pytest.raises(InputError) as caught:
        read(raw)
    (fault,) = caught.value.faults
    assert (fault.row, fault.column, fault.value, fault.code) == (2, "hv_resistance_ohm", "1,310", "unclear")
    assert "write 1.31 or 1310" in fault.remedy
    assert read(raw, ",")["hv_resistance_ohm"].tolist() == [1.31]
    said = read(raw, ".")
    assert said.equals(plain())
    spreadsheet.remember(*said.attrs["header"])
    assert read(raw).equals(said)
    assert "as in the last table of this header" in read(raw).attrs["understood"][0]


def test_a_point_beside_other_points_is_no_mark_of_thousands_whatever_the_commas_are() -> None:
    raw = written({}, {"stack_mm": "38,1", "tongue_mm": "28.575", "hv_resistance_ohm": "1,31"})
    for decimal in ("", ","):
        found = read(raw, decimal)
        assert found[["stack_mm", "tongue_mm", "hv_resistance_ohm"]].iloc[0].tolist() == [38.1, 28.575, 1.31]
    assert read(written({}, COMMAS | {"line_voltage_v": "1.175"}))["line_voltage_v"].tolist() == [1175.0]


def test_faults_name_the_cell_as_it_was_typed() -> None:
    with pytest.raises(InputError) as caught:
        read(written({"hv_resistance_ohm": "R"}, COMMAS | {"hv_resistance_ohm": "9", "excitation_v": "-4,97"}))
    assert [(one.row, one.column, one.value) for one in caught.value.faults][:1] == [(1, "R", "R")]
    assert ("excitation_v", "-4,97") in [(one.column, one.value) for one in caught.value.faults]


def test_two_names_of_one_column_are_a_fault() -> None:
    head, row, _ = written({}, {}, ",").decode().split("\n")
    with pytest.raises(InputError, match="tongue_mm .*stands twice in the header"):
        read(f"{head},Tongue (in)\n{row},1\n".encode())


def test_what_is_remembered_may_be_spoiled(tmp_path: Path) -> None:
    raw = written({}, COMMAS)
    spreadsheet.remember(*read(raw).attrs["header"])
    place = tmp_path / "home" / "tables.json"
    for text in ("", "[]", "{", place.read_text().replace('","', "3"), '{"x": 1}'):
        place.write_text(text)
        assert read(raw).equals(plain())


def test_each_spelling_stands_for_one_column_or_choice() -> None:
    spelt = [(spreadsheet.plain(one), name) for name, words in spreadsheet.WORDS["columns"].items() for one in words]
    spelt += [(spreadsheet.plain(one), name) for name in FIELDS for one in (name, FIELDS[name].label)]
    ours = {*columns(KnownUnit), *columns(UnknownUnit)}
    whose: dict[str, set[str]] = {}
    for spelling, name in spelt:
        if name in ours:
            whose.setdefault(spelling, set()).add(name)
    assert {spelling: names for spelling, names in whose.items() if len(names) > 1} == {}
    for name, choices in spreadsheet.WORDS["choices"].items():
        words = [spreadsheet.plain(one) for spellings in choices.values() for one in spellings]
        assert len({*words, *map(spreadsheet.plain, choices)}) == len(words) + len(choices), name
        assert name == "flag" or {*choices} <= {*FIELDS[name].choices}


def test_a_blank_table_holds_every_column_and_a_table_of_unknowns_is_understood_too() -> None:
    assert template(KnownUnit).strip().split(",") == [one.name for one in FACTS if one.name != "simulated"]
    kept = {name: cell for name, cell in FULL.items() if name in columns(UnknownUnit)}
    raw = ";".join(name.upper() for name in kept) + "\n" + ";".join(kept.values()).replace(".", ",")
    assert read_unknown(io.BytesIO(raw.encode()))["excitation_v"].tolist() == [4.97]
