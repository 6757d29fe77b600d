"""Large tables: read by the database they are what they are row by row, fault for fault."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from calib.errors import InputError
from calib.register import bulk
from calib.register.fields import is_blank
from calib.register.frame import frame_of
from calib.register.records import KnownUnit, record_id
from calib.register.register import ImportReport, Register
from calib.register.tables import decoded, headed, read_known, table_of
from tests.attack import HOSTILE, hostile_table
from tests.counts import share
from tests.register.conftest import TYPED

Table = Callable[..., Path]
ODD = (*HOSTILE, " 5 ", "5e1", "+5", "1_0", "Café", "e\u0301", "'=1", "2024-03-09", "2024-02-30", "FALSE", "bridge")
MORE = {"hv_half_1_ohm": "", "hv_half_2_ohm": "", "made_year": "", "recorded_on": "", "notes": "", "stop": ""}


@pytest.fixture(autouse=True)
def all_are_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bulk, "LARGE", 0)
    monkeypatch.setattr(bulk, "ROW_BY_ROW", -1)


def row_by_row(path: Path) -> object:
    """What the check of each row makes of a table: its records by tag, or its faults."""
    try:
        table = table_of(KnownUnit, "t", *headed(decoded(path.read_bytes(), "t"), "t", ""))
        return by_tag(table.to_dict("records"))
    except InputError as error:
        return [str(fault) for fault in error.faults]


def at_large(path: Path) -> object:
    """The same by way of the database; None where it leaves the table to the others."""
    try:
        large = bulk.read_large(path, "t")
    except InputError as error:
        return [str(fault) for fault in error.faults]
    if large is None:
        return None
    rows = [{name: cell for name, cell in row.items() if name != "record_id"} for row in large.rows.to_pylist()]
    assert [row["record_id"] for row in large.rows.to_pylist()] == [
        record_id(row["contributor"], row["unit"]) for row in rows
    ]
    return by_tag([*rows, *large.others.to_dict("records")])


def by_tag(rows: list[dict[str, object]]) -> list[dict[str, str]]:
    told = [{name: str(cell) for name, cell in row.items() if not is_blank(cell) and cell is not False} for row in rows]
    return sorted(told, key=lambda row: (row["contributor"], row["unit"]))


def test_the_database_reads_what_the_rows_say_fault_for_fault(tmp_path: Path) -> None:
    left = 0
    for number in range(share(20, 3000)):
        chance, path = random.Random(number), tmp_path / "t.csv"
        path.write_bytes(hostile_table(number, chance, TYPED | MORE, ODD, rows_at_most=30))
        one, other = row_by_row(path), at_large(path)
        assert other in (None, one), number
        left += other is None
    assert left < number / 3  # headers and bytes spoiled


def test_few_rows_are_looked_at_singly(table: Table) -> None:
    rows = [{**TYPED, "unit": f"U-{number}", "notes": "Zürich, 20 °C"} for number in range(50)]
    rows[7] |= {"unit": " U-7"}
    rows[9] |= {"hv_resistance_ohm": "3100"}
    large = bulk.read_large(table(*rows))
    assert large is not None
    assert (len(large.rows), large.others["unit"].tolist()) == (49, ["U-7"])
    assert "row 11, U-9: rated_current_ma: 90 mA is " in large.improbable[0]


def test_lines_are_those_of_the_file_where_rows_run_over_several(table: Table) -> None:
    rows = [{**TYPED, "unit": f"U-{number}", "notes": "two\nlines" if number < 3 else ""} for number in range(9)]
    path = table(*(rows + [{**rows[0], "unit": "U-9", "hv_resistance_ohm": "3100"}]))
    large = bulk.read_large(path, "t")
    assert large is not None
    assert large.improbable == read_known(path, "t").attrs["improbable"]


@pytest.mark.parametrize("header", ['"unit",contributor', "UNIT,contributor", "unit;contributor", "unit,unit", ""])
def test_another_header_is_left_to_who_reads_spreadsheets(tmp_path: Path, header: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(f"{header}\nA,B\n")
    assert bulk.read_large(path) is None
    assert bulk.read_large(tmp_path / "none.csv") is None


def test_a_small_file_is_read_row_by_row(table: Table, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    assert bulk.read_large(table(TYPED)) is None
    monkeypatch.setattr(bulk, "LARGE", 0)
    assert bulk.read_large(table({**TYPED, "centre_tapped": "yes"})) is None


def test_what_the_register_has_already_is_told_as_for_a_small_table(
    table: Table, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bulk, "SLICE", 2)
    rows = [{**TYPED, "unit": f"U-{number}"} for number in range(5)]
    path, register = table(*rows), Register(tmp_path / "club.duckdb")
    large = bulk.read_large(path)
    assert large is not None
    assert not register.holds(large)
    assert register.import_csv(path, by="me") == ImportReport(5, 0, 0)
    assert register.holds(large)
    rows[1] |= {"rated_current_ma": "95"}
    other = bulk.read_large(table(*rows, {**TYPED, "unit": "U-5"}))
    assert other is not None
    told = ("Alder Lane, U-1: differs in rated_current_ma; kept as revision 2, for review",)
    assert register.import_table(other) == ImportReport(1, 4, 1, told)
    assert register.history("Alder Lane", "U-1")["needs_review"].tolist() == [False, True]
    rows.append({**TYPED, "unit": "U-5"})
    assert register.known().equals(frame_of(KnownUnit, map(KnownUnit.parse, rows)))


def test_a_mixture_and_the_other_kind_are_refused(table: Table, tmp_path: Path) -> None:
    path = table({**TYPED, "simulated": "true"})
    with pytest.raises(InputError, match="is simulated but club.duckdb is a register of real records"):
        Register(tmp_path / "club.duckdb").import_csv(path)
    (tmp_path / "datapackage.json").write_text('{"resources": [{"path": "known.csv", "hash": "sha256:0"}]}')
    with pytest.raises(InputError, match="is not the table that datapackage.json"):
        bulk.read_large(path)
