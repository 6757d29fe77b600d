"""Tables in: what is read, what is refused, every fault by row, column and value, in a time that grows as the table."""

from __future__ import annotations

import csv
import io
import math
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from calib.errors import Fault, InputError
from calib.register.records import KnownUnit, UnknownUnit, columns
from calib.register.tables import read_known, read_unknown

Table = Callable[..., Path]


def faults(path: Path, read: Callable[..., object] = read_known) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read(path)
    assert all(fault.where == str(path) for fault in caught.value.faults)
    assert all(fault.problem and fault.remedy for fault in caught.value.faults)
    assert "\n" not in "".join(str(fault) for fault in caught.value.faults)
    return caught.value.faults


def spoiled(path: Path, text: str | bytes) -> Path:
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_table_has_every_column_in_order_and_of_its_type(table: Table, typed: dict[str, str]) -> None:
    read = read_known(table({**typed, "recorded_on": "2024-03-09"}))
    assert tuple(read.columns) == columns(KnownUnit)
    row = read.iloc[0]
    assert (row["unit"], row["rated_current_ma"], row["recorded_on"]) == ("AL-7", 90.0, "2024-03-09")
    assert (row["conductor"], row["notes"]) == ("", "")
    assert math.isnan(row["no_load_v"])
    assert read["rated_current_ma"].dtype == "float64"
    assert read["awg"].dtype == "float64"
    assert read["centre_tapped"].dtype == bool
    assert read["simulated"].dtype == bool
    assert not row["simulated"]


def test_a_table_of_unknowns(table: Table, typed_unknown: dict[str, str]) -> None:
    read = read_unknown(table({**typed_unknown, "demand_ma": "60"}))
    assert tuple(read.columns) == columns(UnknownUnit)
    assert read["demand_ma"].tolist() == [60.0]
    assert read["contributor"].tolist() == [""]


def test_halves_stand_for_the_whole_in_a_table(table: Table, typed: dict[str, str]) -> None:
    row = {**typed, "hv_half_1_ohm": "148.2", "hv_half_2_ohm": "161.8"}
    blank, without = {**row, "hv_resistance_ohm": ""}, {**row}
    del without["hv_resistance_ohm"]
    for one in (blank, without):
        read = read_known(table(one))
        assert read["hv_resistance_ohm"].tolist() == [310.0]
        assert (read["doubts"].tolist(), read.attrs["improbable"]) == ([""], ())
    short = read_known(table({**row, "hv_resistance_ohm": "148"}))
    assert "half the winding was read for the whole" in short["doubts"].iloc[0]
    assert "its halves together, 310 ohm, are 109.5 % apart" in short.attrs["improbable"][-1]


def test_a_header_alone_is_a_table_without_records(table: Table, typed: dict[str, str]) -> None:
    path = table(typed)
    spoiled(path, path.read_text().splitlines()[0])
    read = read_known(path)
    assert (len(read), tuple(read.columns)) == (0, columns(KnownUnit))
    assert read["rated_current_ma"].dtype == "float64"
    assert read["centre_tapped"].dtype == bool


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n", b"\r"])
def test_marks_and_line_ends_of_any_machine(table: Table, typed: dict[str, str], mark: bytes, line_end: bytes) -> None:
    path = table({**typed, "notes": "µ, ² and \u03a9"}, {**typed, "unit": "AL-8", "rated_current_ma": "x"})
    path.write_bytes(mark + path.read_bytes().replace(b"\r\n", line_end))
    assert [(fault.row, fault.column, fault.value) for fault in faults(path)] == [(3, "rated_current_ma", "x")]
    path.write_bytes(path.read_bytes().replace(b",x,", b",80,"))
    assert read_known(path)["notes"].tolist() == ["µ, ² and \u03a9", ""]


def test_columns_may_stand_in_any_order_and_have_spaces_round_them(table: Table, typed: dict[str, str]) -> None:
    path = table(dict(reversed(typed.items())))
    assert read_known(path)["unit"].tolist() == ["AL-7"]
    spoiled(path, path.read_text().replace("unit", " unit "))
    assert read_known(path)["unit"].tolist() == ["AL-7"]


def test_an_open_file_is_read_as_well(table: Table, typed: dict[str, str]) -> None:
    raw = table(typed).read_bytes()
    assert len(read_known(io.BytesIO(raw))) == 1
    with pytest.raises(InputError, match="uploaded table, row 2, unit"):
        read_known(io.BytesIO(raw.replace(b"AL-7", b"")), where="uploaded table")


def test_every_fault_of_a_file_is_told_with_its_line(table: Table, typed: dict[str, str]) -> None:
    path = table(
        {**typed, "notes": 'two\nlines, "quoted"'},
        {**typed, "unit": "AL-8", "rated_current_ma": "NA"},
        {**typed, "unit": "AL-9", "tongue_mm": "900"},
        header=[*typed, "tongue_mm", "notes"],
    )
    found = [(fault.row, fault.column, fault.value) for fault in faults(path)]
    assert found == [(4, "rated_current_ma", "NA"), (5, "tongue_mm", "900"), (5, "stack_mm", "")]


def test_blank_lines_are_passed_over_and_counted(table: Table, typed: dict[str, str]) -> None:
    path = table(typed, {**typed, "unit": "AL-8", "awg": "99"}, header=[*typed, "awg"])
    lines = path.read_text().splitlines()
    spoiled(path, "\n".join(["", lines[0], "", lines[1], ",,,", lines[2]]))
    assert [(fault.row, fault.column) for fault in faults(path)] == [(6, "awg")]


@pytest.mark.parametrize("content", [b"", b"\n\n", b"\xef\xbb\xbf", b" , ,\n"])
def test_an_empty_file(tmp_path: Path, content: bytes) -> None:
    (fault,) = faults(spoiled(tmp_path / "empty.csv", content))
    assert fault.problem == "the file is empty"


def test_a_file_that_is_not_there_and_one_that_is_a_folder(tmp_path: Path) -> None:
    assert "there is no such file" in faults(tmp_path / "none.csv")[0].problem
    assert "it is a folder" in faults(tmp_path)[0].problem


def test_a_file_in_another_encoding_names_the_line(table: Table, typed: dict[str, str]) -> None:
    path = table({**typed, "notes": "plain"}, {**typed, "unit": "AL-8", "notes": "20 °C"})
    path.write_bytes(path.read_text(encoding="utf-8").encode("latin-1"))
    (fault,) = faults(path)
    assert (fault.row, fault.problem) == (3, "is not in UTF-8")


def test_missing_columns_are_told_once_and_not_for_every_row(table: Table, typed: dict[str, str]) -> None:
    short = {name: value for name, value in typed.items() if name not in ("evidence", "hv_v", "winding_temp_c")}
    found = faults(table(short, {**short, "unit": "AL-8", "hv_resistance_ohm": "x"}))
    assert [(fault.row, fault.column, fault.value) for fault in found] == [
        (1, "evidence", ""),
        (1, "winding_temp_c", ""),
        (1, "no_load_v", ""),
        (3, "hv_resistance_ohm", "x"),
    ]


def test_unknown_columns_are_faults_and_the_likely_name_is_offered(table: Table, typed: dict[str, str]) -> None:
    found = faults(table({**typed, "tonguemm": "28", "shelf": "4"}))
    assert [(fault.column, fault.row) for fault in found] == [("tonguemm", 1), ("shelf", 1)]
    assert "write tongue_mm if that is meant" in found[0].remedy
    assert found[1].remedy == "leave the column out"


def test_the_rating_does_not_belong_into_a_table_of_unknowns(table: Table, typed: dict[str, str]) -> None:
    found = faults(table(typed), read_unknown)
    assert [fault.column for fault in found] == ["evidence", "rated_current_ma"]


def test_a_column_that_stands_twice_and_one_without_a_name(table: Table, typed: dict[str, str]) -> None:
    path = table(typed)
    lines = path.read_text().splitlines()
    spoiled(path, f"{lines[0]},unit,,\n{lines[1]},AL-7,,x\n")
    found = faults(path)
    assert [fault.problem for fault in found] == ["stands twice in the header", "column 15 of the header has no name"]


def test_rows_too_short_and_too_long(table: Table, typed: dict[str, str]) -> None:
    path = table(typed)
    lines = path.read_text().splitlines()
    spoiled(path, "\n".join([lines[0], lines[1], lines[1].rpartition(",")[0], f"{lines[1]},extra"]))
    assert [(fault.row, fault.problem) for fault in faults(path)] == [
        (3, "the row has 12 cells where the header has 13: too few"),
        (4, "the row has 14 cells where the header has 13: too many"),
    ]


@pytest.mark.parametrize("cell", ['"never closed', 'closed"too" late', '"closed" early'])
def test_quotes_that_do_not_match_up(table: Table, typed: dict[str, str], cell: str) -> None:
    path = table({**typed, "notes": "sound"}, {**typed, "unit": "AL-8", "notes": "MARK"}, {**typed, "unit": "AL-9"})
    spoiled(path, path.read_text().replace("MARK", cell))
    if cell.startswith('"'):
        (fault,) = faults(path)
        assert fault.row == 3
        assert "quotes do not match up" in fault.problem
    else:
        assert read_known(path)["notes"].tolist()[1] == cell  # a quote inside a bare cell is but a character


def test_a_lost_quote_that_swallows_rows_is_told_where_it_was_opened(table: Table, typed: dict[str, str]) -> None:
    rows = [{**typed, "unit": f"AL-{number}", "notes": "n"} for number in range(5)]
    path = table(*rows)
    lines = path.read_text().splitlines()
    lines[2] = lines[2].replace("AL-1", '"AL-1')
    lines[4] = lines[4].replace("AL-3", 'AL-3"')
    assert faults(spoiled(path, "\n".join(lines)))[0].row == 3


def test_identical_rows_are_one_record_and_noted(table: Table, typed: dict[str, str]) -> None:
    again = {**typed, "rated_current_ma": "90.0", "centre_tapped": "TRUE"}
    read = read_known(table(typed, {**typed, "unit": "AL-8"}, again))
    assert read["unit"].tolist() == ["AL-7", "AL-8"]
    (note,) = read.attrs["notes"]
    assert note.endswith("row 4: the same as row 2, taken once")


def test_differing_rows_of_one_unit_are_a_fault(table: Table, typed: dict[str, str]) -> None:
    (fault,) = faults(table(typed, {**typed, "rated_current_ma": "95", "hv_v": "28"}))
    assert (fault.row, fault.column, fault.value) == (3, "unit", "AL-7")
    assert fault.problem == "stands in row 2 too, with another rated_current_ma, hv_v"


def test_the_same_tag_of_two_contributors_is_two_records(table: Table, typed: dict[str, str]) -> None:
    assert len(read_known(table(typed, {**typed, "contributor": "Tin Street"}))) == 2


def test_an_unknown_may_be_asked_for_several_supplies(table: Table, typed_unknown: dict[str, str]) -> None:
    other = {**typed_unknown, "filter": "choke"}
    assert len(read_unknown(table(typed_unknown, other))) == 2
    (fault,) = faults(table(typed_unknown, {**typed_unknown, "hv_v": "28"}), read_unknown)
    assert "another hv_v" in fault.problem


def test_practice_tables_are_sound_and_simulated() -> None:
    from calib.paths import shipped

    known, unknown = (
        read_known(shipped("datasets/practice/known.csv")),
        read_unknown(shipped("datasets/practice/unknown.csv")),
    )
    assert known["simulated"].all()
    assert unknown["simulated"].all()
    assert len(known) > 0
    assert len(unknown) > 0


def seconds(work: Callable[[], object]) -> float:
    """Processor time of the quickest of three runs [s]."""
    taken = []
    for _ in range(3):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def test_a_large_table_takes_time_in_proportion(table: Callable[..., Path], typed: dict[str, str]) -> None:
    def long(rows: int) -> Path:
        return table(*({**typed, "unit": f"U-{number}"} for number in range(rows)), name=f"{rows}.csv")

    def bare() -> int:
        with open(large, encoding="utf-8", newline="") as file:
            return sum(len(cells) for cells in csv.reader(file))

    small, large = long(1000), long(8000)
    taken = seconds(lambda: read_known(large))
    assert taken < 24 * seconds(lambda: read_known(small))  # eight times the rows; a search through all for each: 64
    assert taken < 120 * seconds(bare)


def test_a_table_of_wires_alone_and_one_without_wires(table: Table, typed_unknown: dict[str, str]) -> None:
    row = {"unit": "AL-7", "rectifier": "full-wave", "filter": "capacitor", "awg": "34"}
    assert read_unknown(table(row))["awg"].tolist() == [34.0]
    ohms = {name: value for name, value in typed_unknown.items() if name not in ("excitation_v", "hv_v")}
    (fault,) = faults(table({**ohms, "awg": ""}), read_unknown)
    assert (fault.row, fault.column) == (2, "no_load_v")
    (fault,) = faults(table(ohms), read_unknown)
    assert (fault.row, fault.column) == (1, "no_load_v")
    assert "awg or wire_diameter_mm" in fault.remedy
