"""``calib leads``: its JSON, its text, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from calib.paths import shipped
from tests.cli.conftest import Run
from tests.cli.tables import table

HEADER = "lead_a,lead_b,ohm"
ROWS = ("C,D,148.2", "D,E,171.9", "C,E,320.4", "A,B,5.4", "A,C,open", "A,E,", "H1,H2,0.3", "H1,A,open", "H1,C,open")


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    return table(tmp_path / "readings.csv", HEADER, *ROWS)


def test_json_has_the_contract_s_keys(called: Run, readings: Path) -> None:
    done = called("leads", "--readings", str(readings), "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert told.keys() >= {"windings", "isolated", "next_step"}
    first = told["windings"][0]
    assert first.keys() >= {"leads", "taps", "ohm", "likely_role", "note"}
    assert (first["leads"], first["taps"], first["ohm"]) == (["C", "D", "E"], ["D"], 320.4)
    assert first["likely_role"] == "high voltage (centre-tapped)"
    assert [one["leads"] for one in told["windings"][1:]] == [["A", "B"], ["H1", "H2"]]
    assert (told["isolated"], told["settled"]) == ([], True)
    assert told["next_step"].startswith("Caution: every winding becomes live")
    assert (
        "Leads not yet proven: feed C to E, the winding of highest resistance, end to end, from zero"
        in told["next_step"]
    )


def test_text_has_the_cautions_first_and_the_next_step_last(called: Run, readings: Path) -> None:
    done = called("leads", "--readings", str(readings))
    assert (done.returncode, done.stderr) == (0, "")
    blocks = done.stdout.rstrip("\n").split("\n\n")
    assert blocks[0].startswith("Before you read\n  - Unplug the set, discharge every capacitor")
    assert blocks[1] == "3 windings in 7 leads, by 8 pairs read, 13 not"
    assert blocks[2].startswith("1. high voltage (centre-tapped): probable\n   leads  C - D - E   (tap: D)")
    assert blocks[-1].startswith("Next\n  Caution: ")


def test_the_shipped_practice_readings(called: Run) -> None:
    """Simulated: primary 5.36 ohm, high voltage 148.4 + 172.2, heaters below what the meter resolves, a bare screen."""
    path = str(shipped("datasets/leads/practice.csv"))
    options = ("--null-ohm", "0.3", "--north-american", "--format", "json")
    told = json.loads(called("leads", "--readings", path, *options).stdout)
    assert [one["likely_role"] for one in told["windings"]] == [
        "high voltage (centre-tapped)", "primary", "heater, unresolved", "heater, unresolved"
    ]  # fmt: skip
    assert told["windings"][0]["leads"] == ["red 1", "red/yellow", "red 2"]
    assert told["windings"][0]["ohm"] == pytest.approx(320.6, rel=0.005)
    assert told["windings"][1]["ohm"] == pytest.approx(5.36, abs=0.1)
    assert "weight 0.8" in told["windings"][0]["colour_hint"]
    assert (told["isolated"], told["contradictions"], told["pairs_missing"]) == (["bare"], [], 0)


def test_a_better_meter_orders_what_a_poor_one_leaves_open(called: Run, tmp_path: Path) -> None:
    path = str(table(tmp_path / "taps.csv", HEADER, "A,B,0.6", "B,C,0.2", "A,C,0.8", "P,Q,20", "A,P,open"))

    def ambiguous(*options: str) -> bool:
        told = json.loads(called("leads", "--readings", path, "--format", "json", *options).stdout)
        return bool(told["windings"][1]["ambiguous"])

    assert ambiguous()
    assert not ambiguous("--meter", "0.1,1,0.001")


def test_optional_columns_are_read(called: Run, tmp_path: Path) -> None:
    rows = ("1,2,0.2,0.01,green,green,at the strip", "3,4,5.4,,black,black,", "1,3,open,,,,")
    path = table(tmp_path / "colours.csv", HEADER + ",u_ohm,colour_a,colour_b,notes", *rows)
    told = json.loads(called("leads", "--readings", str(path), "--format", "json").stdout)
    assert [one["colour_hint"].split(":")[1].split(";")[0].strip() for one in told["windings"]] == [
        "primary, untapped", "filament or heater 1"
    ]  # fmt: skip
    assert told["windings"][1]["u_ohm"] == 0.01


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ((HEADER, "A,A,3"), "row 2, lead_b 'A': is read against itself"),
        ((HEADER, "A,B,3", "B,A,4"), "row 3, ohm '4': the pair B to A stands in row 2 too, with 3"),
        ((HEADER, "A,B,-3"), "row 2, ohm '-3': is outside the limits, 0.001 to 1e+06 ohm"),
        ((HEADER, "A,B,1000001"), "row 2, ohm '1000001': is outside the limits"),
        ((HEADER, "A,B,nan"), "row 2, ohm 'nan': is no resistance"),
        ((HEADER, "", "A,B,NA"), "row 3, ohm 'NA': is no resistance"),
        ((HEADER, ",B,3"), "row 2, lead_a (empty): the lead has no name"),
        ((HEADER, "A,B"), "row 2 'A,B': the row has 2 cells where the header has 3"),
        (
            ("lead_a,lead_b,ohms", "A,B,3"),
            "row 1, ohms 'ohms': is not a column of this table; write ohm if that is meant",
        ),
        (("lead_a,lead_b", "A,B"), "row 1, ohm (empty): the header lacks this column; add the column"),
        (("lead_a;lead_b;ohm", "A;B;3"), "row 1 'lead_a;lead_b;ohm': the cells are parted by ';', not by commas"),
        (("lead_a,lead_b,ohm,ohm", "A,B,3,3"), "row 1, ohm 'ohm': stands twice in the header"),
        ((HEADER, 'A,"B,3'), "row 2: a cell's quotes do not match up"),
    ],
)
def test_a_wrong_file_is_one_line(called: Run, tmp_path: Path, lines: tuple[str, ...], told: str) -> None:
    path = table(tmp_path / "wrong.csv", *lines)
    done = called("leads", "--readings", str(path))
    faults = done.stderr.splitlines()
    assert (done.returncode, done.stdout) == (2, "")
    assert any(line.startswith(f"{path}, {told}") for line in faults), done.stderr
    assert all(line.startswith(f"{path}, ") for line in faults)


def test_every_fault_is_told_at_once_in_the_order_of_the_rows(called: Run, tmp_path: Path) -> None:
    path = table(tmp_path / "wrong.csv", HEADER, "A,B,x", "A,B", "C,C,3", "D,E,0", "D,F,2e9")
    done = called("leads", "--readings", str(path))
    places = [line.removeprefix(f"{path}, ").split(":")[0] for line in done.stderr.splitlines()]
    assert places == ["row 2, ohm 'x'", "row 3 'A,B'", "row 4, lead_b 'C'", "row 5, ohm '0'", "row 6, ohm '2e9'"]
    assert done.returncode == 2


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--null-ohm", "x"), "calib leads, --null-ohm 'x': is not a number"),
        (("--null-ohm", "-1"), "calib leads, --null-ohm '-1': is not from 0 to 100 ohm"),
        (("--meter", "1,2"), "calib leads, --meter '1,2': is not three numbers of 0 or more"),
        (("--meter", "1,2,-0.1"), "calib leads, --meter '1,2,-0.1': is not three numbers of 0 or more"),
        (("--null-ohm", "4"), ", row 8, ohm '0.3': is less than the test leads alone read, 4 ohm"),
    ],
)
def test_a_wrong_option_is_one_line(called: Run, readings: Path, options: tuple[str, ...], told: str) -> None:
    done = called("leads", "--readings", str(readings), *[f"{options[0]}={options[1]}"])
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert told in done.stderr


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "cannot be read, there is no such file; name a CSV file that is there"),
        (b"", "the file is empty; give a table with the header lead_a,lead_b,ohm"),
        (b"lead_a,lead_b,ohm\nA\xe9,B,3\n", "is not in UTF-8; save the table again as CSV with the encoding UTF-8"),
    ],
)
def test_a_missing_an_empty_and_a_foreign_file(called: Run, tmp_path: Path, content: bytes | None, told: str) -> None:
    path = tmp_path / "given.csv"
    if content is not None:
        path.write_bytes(content)
    done = called("leads", "--readings", str(path))
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert done.stderr.startswith(str(path))
    assert done.stderr.rstrip("\n").endswith(told)


def test_a_header_alone_asks_for_the_first_reading(called: Run, tmp_path: Path) -> None:
    done = called("leads", "--readings", str(table(tmp_path / "blank.csv", HEADER)))
    assert done.returncode == 0
    assert "Tag every lead, and read any two of them" in done.stdout


def test_marks_before_the_header_and_windows_line_ends_do_no_harm(called: Run, tmp_path: Path) -> None:
    path = tmp_path / "marked.csv"
    path.write_bytes(b"\xef\xbb\xbflead_a,lead_b,ohm\r\nA,B,5.4\r\n")
    assert "A - B" in called("leads", "--readings", str(path)).stdout
